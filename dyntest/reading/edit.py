"""The engineer's choices written into the text of a test sheet, so that anyone who runs it gets the same numbers.

The text is split into statements, so that one can be replaced while every other byte stays the same.
"""

import json
import tomllib
from dataclasses import dataclass

from dyntest.errors import InputError
from dyntest.reading.parts import Choices
from dyntest.units import to_si


@dataclass(frozen=True)
class Statement:
    """One statement, comment or empty line, with its line break.

    Parameters
    ----------
    text : str
        As in the file; over several lines if brackets or texts continue.
    remark : str
        The comment at its end, with its sign; empty if there is none.
    table : tuple of str
        Keys of the table it is in; its own keys if it is a header.
    """

    text: str
    remark: str
    table: tuple[str, ...]

    @property
    def header(self) -> bool:
        """Whether it opens a table."""
        return self.text.lstrip().startswith("[")

    @property
    def values(self) -> dict:
        """The key and the value that it gives; empty if it gives none."""
        return {} if self.header else tomllib.loads(self.text)


def statements(text: str) -> list[Statement]:
    r"""Split a TOML text into its statements.

    Examples
    --------
    >>> [(one.table, one.values) for one in statements('a = 1\n[b]\nc = "#" # remark\n')]
    [((), {'a': 1}), (('b',), {}), (('b',), {'c': '#'})]
    """
    found: list[Statement] = []
    table: tuple[str, ...] = ()
    start = 0
    while start < len(text):
        end, remark = _end(text, start)
        piece = text[start:end]
        if piece.lstrip().startswith("["):
            table = _keys(tomllib.loads(piece))
        found.append(Statement(piece, text[remark:end].rstrip("\r\n") if remark >= 0 else "", table))
        start = end
    return found


def _end(text: str, start: int) -> tuple[int, int]:
    """Give where the statement ends, and where its last comment begins; -1 without one."""
    at, depth, remark = start, 0, -1
    while at < len(text):
        sign = text[at]
        if sign == "#":
            remark = at
            at = _found(text, "\n", at)
            continue
        if sign in "\"'":
            at = _after_text(text, at)
            continue
        depth += (sign in "[{") - (sign in "]}")
        at += 1
        if sign == "\n" and depth <= 0:
            return at, remark
    return len(text), remark


def _after_text(text: str, at: int) -> int:
    """Give the place after a quoted text that begins here."""
    quote = text[at : at + 3] if text[at : at + 3] in ('"""', "'''") else text[at]
    at += len(quote)
    while at < len(text) and not text.startswith(quote, at):
        at += 2 if text[at] == "\\" and quote[0] == '"' else 1
    at += len(quote)
    while len(quote) == 3 and at < len(text) and text[at] == quote[0]:  # up to two more quotes belong to the text
        at += 1
    return at


def _found(text: str, sign: str, at: int) -> int:
    place = text.find(sign, at)
    return len(text) if place < 0 else place


def _keys(opened: dict | list) -> tuple[str, ...]:
    """Give the keys of a header from what it opens."""
    keys = []
    while opened:
        opened = opened[0] if isinstance(opened, list) else opened
        if not opened:
            break
        key, opened = next(iter(opened.items()))
        keys.append(key)
    return tuple(keys)


CHOICES_TABLE, DRIVE_TABLE = "choices", "drive"


def with_choices(text: str, choices: Choices) -> str:
    r"""Give the text of a sheet with its ``[choices]`` replaced or added, and every other byte as it was.

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
    wanted = choice_values(choices)
    ending = "\r\n" if "\r\n" in text else "\n"
    kept, place, left = [], None, dict(wanted)
    for one in statements(text):
        keys = (*one.table, *_first_keys(one)) if not one.header else one.table
        if keys[:1] != (CHOICES_TABLE,):
            kept.append(one.text)
        elif one.table == (CHOICES_TABLE,) and one.header:
            if wanted:
                kept.append(one.text if one.text.endswith("\n") else one.text + ending)
                place = len(kept)
            else:
                kept += _remark(one, ending)
        elif one.table == (CHOICES_TABLE,) and one.values and _first_keys(one)[0] in left and _is_plain(one):
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
        kept += [gap + ending, f"[{CHOICES_TABLE}]{ending}", *lines]
    result = "".join(kept)
    _check(text, result, wanted)
    return result


def choice_values(choices: Choices) -> dict[str, str]:
    """Give every choice that is not at its default, in TOML.

    Examples
    --------
    >>> choice_values(Choices(leave_out=("strain_1",), align=True, setup_credit=False))
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
    """Give a statement with another value; unchanged if it already means the same."""
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
    """Check by reading both texts that only the choices have changed."""
    old, new = tomllib.loads(before), tomllib.loads(after)
    found = new.pop(CHOICES_TABLE, {})
    old.pop(CHOICES_TABLE, None)
    asked = tomllib.loads("".join(f"{key} = {value}\n" for key, value in wanted.items()))
    same = set(found) == set(asked) and all(_same(found[key], asked[key]) for key in asked)
    if old != new or not same:
        cure = "write the choices as one table [choices], one line per key"
        raise InputError("test sheet", f"[{CHOICES_TABLE}]", "is written in a way that cannot be replaced safely", cure)


def with_drive_files(text: str, number: int, files: dict[str, str]) -> str:
    r"""Give the text of a sheet with ``signals`` or ``log`` of one drive set, and every other byte as it was.

    Units: number, the place of the drive from 0 [1].

    Examples
    --------
    >>> print(with_drive_files('[[drive]]\nkind = "initial"\nsignals = "b/*.csv"\n', 0, {"log": "follow/log.csv"}))
    [[drive]]
    kind = "initial"
    signals = "b/*.csv"
    log = "follow/log.csv"
    <BLANKLINE>
    """
    ending = "\r\n" if "\r\n" in text else "\n"
    kept: list[str] = []
    left = dict(files)
    seen, last = -1, 0
    for one in statements(text):
        seen += one.header and one.table == (DRIVE_TABLE,)
        inside = seen == number and one.table == (DRIVE_TABLE,)
        key = _first_keys(one)[0] if one.values else ""
        if inside and key in left:
            kept.append(_replaced(one, key, json.dumps(left.pop(key), ensure_ascii=False), ending))
        else:
            kept.append(one.text if one.text.endswith("\n") or not inside else one.text + ending)
        if inside and (one.values or one.header):
            last = len(kept)
    kept[last:last] = [f"{key} = {json.dumps(value, ensure_ascii=False)}{ending}" for key, value in left.items()]
    result = "".join(kept)
    wanted = tomllib.loads(text)
    wanted[DRIVE_TABLE][number] |= files
    if tomllib.loads(result) != wanted:
        cure = "write each drive as a table [[drive]], one line per key"
        raise InputError("test sheet", f"[[{DRIVE_TABLE}]]", "is written in a way that cannot be changed safely", cure)
    return result
