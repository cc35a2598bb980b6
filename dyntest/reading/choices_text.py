"""The engineer's choices written into the text of a test sheet, so that anyone who runs it gets the same numbers."""

import json
import tomllib

from dyntest.errors import InputError
from dyntest.reading.sheet_parts import Choices
from dyntest.reading.toml_statements import Statement, statements
from dyntest.units import to_si

TABLE = "choices"


def with_choices(text: str, choices: Choices) -> str:
    r"""Give the text of a sheet with its ``[choices]`` replaced or added, and every other byte as it was.

    Parameters
    ----------
    text : str
        The sheet as read, a sheet that can be read.
    choices : Choices
        What the engineer decided; what is left at its default is not written.

    Returns
    -------
    str
        The sheet. Remarks stay, also those at a choice that changed.

    Raises
    ------
    InputError
        If the sheet is written in a way in which its choices cannot be replaced safely.

    Examples
    --------
    >>> print(with_choices("format = 1\n", Choices(blow={"initial": 480}, low_pass=2000.0)))
    format = 1
    <BLANKLINE>
    [choices]
    blow = { initial = 480 }
    low_pass = "2000.0 Hz"
    <BLANKLINE>
    """
    wanted = written(choices)
    ending = "\r\n" if "\r\n" in text else "\n"
    kept, place, left = [], None, dict(wanted)
    for one in statements(text):
        keys = (*one.table, *_first_keys(one)) if not one.header else one.table
        if keys[:1] != (TABLE,):
            kept.append(one.text)
        elif one.table == (TABLE,) and one.header:
            if wanted:
                kept.append(one.text if one.text.endswith("\n") else one.text + ending)
                place = len(kept)
            else:
                kept += _remark(one, ending)
        elif one.table == (TABLE,) and one.values and _first_keys(one)[0] in left and _is_plain(one):
            key = _first_keys(one)[0]
            kept.append(_replaced(one, key, left.pop(key), ending))
        elif one.values or one.header:
            kept += _remark(one, ending)
        else:
            kept.append(one.text)
    lines = [f"{key} = {value}{ending}" for key, value in left.items()]
    if place is not None:
        kept[place:place] = lines
    elif lines:
        before = "".join(kept)
        gap = "" if not before or before.endswith("\n") else ending
        kept += [gap + ending, f"[{TABLE}]{ending}", *lines]
    result = "".join(kept)
    _check(text, result, wanted)
    return result


def written(choices: Choices) -> dict[str, str]:
    """Give every choice that is not at its default as TOML writes it.

    Parameters
    ----------
    choices : Choices
        What the engineer decided.

    Returns
    -------
    dict of str to str
        Value as text by its key, in the order of the sheet.

    Examples
    --------
    >>> written(Choices(leave_out=("strain_1",), align=True, setup_credit=False))
    {'leave_out': '["strain_1"]', 'align': 'true', 'setup_credit': 'false'}
    """
    values = {}
    if choices.blow:
        values["blow"] = "{ " + ", ".join(f"{name} = {number}" for name, number in choices.blow.items()) + " }"
    if choices.damping_factor is not None:
        values["damping_factor"] = repr(float(choices.damping_factor))
    if choices.leave_out:
        values["leave_out"] = json.dumps(list(choices.leave_out), ensure_ascii=False)
    if choices.low_pass is not None:
        values["low_pass"] = f'"{float(choices.low_pass)!r} Hz"'
    if choices.align:
        values["align"] = "true"
    if choices.soil_law != Choices().soil_law:
        values["soil_law"] = json.dumps(choices.soil_law)
    if choices.verification is not None:
        values["verification"] = json.dumps(choices.verification, ensure_ascii=False)
    if choices.setup_credit is not None:
        values["setup_credit"] = "true" if choices.setup_credit else "false"
    return values


def _first_keys(one: Statement) -> tuple[str, ...]:
    return tuple(one.values)[:1]


def _is_plain(one: Statement) -> bool:
    """Whether a statement gives one key of the table itself, not ``blow.initial = 3``."""
    return "." not in one.text.partition("=")[0]


def _replaced(one: Statement, key: str, value: str, ending: str) -> str:
    """Give a statement with another value; the one that stands where it means the same."""
    if _same(one.values[key], tomllib.loads(f"value = {value}")["value"]):
        return one.text if one.text.endswith("\n") else one.text + ending
    remark = f"  {one.remark}" if one.remark else ""
    return f"{key} = {value}{remark}{ending}"


def _same(before: object, after: object) -> bool:
    if before == after and isinstance(before, bool) == isinstance(after, bool):
        return True
    if isinstance(after, str) and after.endswith(" Hz") and isinstance(before, str):
        return to_si(before, "frequency") == to_si(after, "frequency")
    return False


def _remark(one: Statement, ending: str) -> list[str]:
    return [one.remark + ending] if one.remark else []


def _check(before: str, after: str, wanted: dict[str, str]) -> None:
    """Make sure by reading both that nothing but the choices has changed."""
    old, new = tomllib.loads(before), tomllib.loads(after)
    found = new.pop(TABLE, {})
    old.pop(TABLE, None)
    asked = tomllib.loads("".join(f"{key} = {value}\n" for key, value in wanted.items()))
    same = set(found) == set(asked) and all(_same(found[key], asked[key]) for key in asked)
    if old != new or not same:
        cure = "write the choices as one table [choices] with a line each"
        raise InputError("test sheet", f"[{TABLE}]", "is written in a way that cannot be replaced safely", cure)
