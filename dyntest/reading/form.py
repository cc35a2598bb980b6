"""The test sheet as a form: every field of its tables, the values it accepts, and the text of the sheet with them.

Fields, words and units come from the sheet's schema; a value is typed without quotes, ``53 ft``.
"""

import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files
from typing import Annotated, Any, get_args

from pydantic import TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from dyntest.errors import InputError
from dyntest.reading.build import named_section
from dyntest.reading.edit import Statement, statements
from dyntest.reading.schema import (
    DriveKeys,
    HammerKeys,
    JobKeys,
    Keys,
    LayerKeys,
    PartKeys,
    Physical,
    PileKeys,
    RequirementKeys,
    SoilKeys,
)
from dyntest.reading.sheet_errors import explain_value

TABLES: dict[str, type[Keys]] = {
    "test": JobKeys,
    "pile": PileKeys,
    "hammer": HammerKeys,
    "requirement": RequirementKeys,
    "soil": SoilKeys,
    "drive": DriveKeys,
    "soil.layer": LayerKeys,
    "pile.part": PartKeys,
}
"""Tables shown as a form, with their models."""


@dataclass(frozen=True)
class FormField:
    """One field: table, key and kind, which is physical, number, text, choice, flag or time.

    `choices` are the words of a choice, `example` is a possible value, `remark` is the comment in the blank sheet.
    """

    table: str
    key: str
    kind: str
    choices: tuple[str, ...] = ()
    example: str = ""
    required: bool = False
    remark: str = ""

    @property
    def words(self) -> str:
        """The key in plain words."""
        return self.key.replace("_", " ")


def form_fields(table: str) -> tuple[FormField, ...]:
    """Give the fields of a table in the order of the schema, without tables inside it.

    Examples
    --------
    >>> [(field.key, field.kind, field.example) for field in form_fields("pile")][3:5]
    [('length_below_gauges', 'physical', '57 ft'), ('total_length', 'physical', '60 ft')]
    """
    blank = _of_blank_sheet()
    found = []
    for key, info in TABLES[table].model_fields.items():
        kind, choices, example = _kind(info)
        if kind:
            value, remark = blank.get((table, key), ("", ""))
            example = value if value and kind in ("physical", "number") else example
            if value and kind == "time":
                example = datetime.fromisoformat(value).strftime("%Y-%m-%d %H:%M")
            found.append(FormField(table, key, kind, choices, example, info.is_required(), remark))
    return tuple(found)


def field_toml(field: FormField, typed: str) -> str:
    """Give what was typed in TOML; raises InputError with the error and what to write instead.

    Examples
    --------
    >>> fields = {field.key: field for field in form_fields("pile")}
    >>> field_toml(fields["length_below_gauges"], "53 ft"), field_toml(fields["material"], "steel")
    ('"53 ft"', '"steel"')
    """
    text = typed.strip()
    if field.kind == "flag":
        written = {"yes": "true", "no": "false"}.get(text, text)
    elif field.kind == "time":
        written = _moment(text, field)
    elif field.kind == "number":
        written = text.replace(",", ".")
    else:
        written = json.dumps(text, ensure_ascii=False)
    try:
        value = tomllib.loads(f"value = {written}")["value"]
    except tomllib.TOMLDecodeError:
        problem = f'"{text}" is not a {"number" if field.kind == "number" else "value"}'
        raise InputError(field.words, "", problem, "write a plain number, such as 0.5") from None
    if field.kind == "number" and isinstance(value, int) and not isinstance(value, bool):
        value = value if _info(field).annotation in (int, int | None) or "int" in str(_info(field)) else float(value)
    try:
        _adapter(field).validate_python(value, strict=True)
    except ValidationError as error:
        problem, cure = explain_value(error)
        raise InputError(field.words, "", problem, cure) from error
    if (field.table, field.key) == ("pile", "section"):
        named_section(text)
    return written


def _moment(text: str, field: FormField) -> str:
    for form in ("%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"):
        try:
            return datetime.strptime(text, form).isoformat()
        except ValueError:
            continue
    problem = f'"{text}" is not a date with a time'
    raise InputError(field.words, "", problem, "write it as 2026-05-04 13:05")


def _info(field: FormField) -> FieldInfo:
    return TABLES[field.table].model_fields[field.key]


def _adapter(field: FormField) -> TypeAdapter:
    info = _info(field)
    marked: Any = info.annotation
    for mark in info.metadata:
        marked = Annotated[marked, mark]
    return TypeAdapter(marked)


def _kind(info: FieldInfo) -> tuple[str, tuple[str, ...], str]:
    parts = list(_parts(info.annotation)) + list(info.metadata)
    physical = next((part for part in parts if isinstance(part, Physical)), None)
    if physical is not None:
        return "physical", (), physical.example.strip('"')
    words = tuple(part for part in parts if isinstance(part, str))
    if words:
        return "choice", words, ""
    for kinds, word in (((bool,), "flag"), ((datetime,), "time"), ((float, int), "number"), ((str,), "text")):
        if any(part in kinds for part in parts if isinstance(part, type)) and list not in parts and dict not in parts:
            whole = word == "number" and int in parts
            return word, (), "12" if whole else "0.5" if word == "number" else ""
    return "", (), ""


def _parts(annotation: Any):
    origin = getattr(annotation, "__origin__", None)
    if origin in (list, dict):
        yield origin
        return
    inner = get_args(annotation)
    if not inner:
        yield annotation
    for part in inner:
        yield from _parts(part)
    yield from getattr(annotation, "__metadata__", ())


def _blank() -> str:
    return (files("dyntest.reading") / "template" / "sheet.toml").read_text(encoding="utf-8")


def _of_blank_sheet() -> dict[tuple[str, str], tuple[str, str]]:
    """Give value, without quotes, and comment of each key in the blank sheet, also of keys not in use there."""
    found: dict[tuple[str, str], tuple[str, str]] = {}
    table = ""
    for line in _blank().splitlines():
        opened = re.match(r"#?\s*\[\[?([\w.]+)\]\]?", line)
        if opened:
            table = opened[1]
            continue
        named = re.match(r"#?\s*(\w+)\s*=\s*([^#]*)(?:#\s*(.+))?$", line)
        if named:
            known = named[2].strip().strip('"'), (named[3] or "").strip()
            found.setdefault((table, named[1]), known)  # of two tables of a name, the first has every key
    return found


def with_values(text: str, table: str, values: Mapping[str, str | None], number: int = 0) -> str:
    r"""Give the text of a sheet with keys of one table written, replaced or removed, and every other byte as it was.

    A key that is commented out, as in the blank sheet, is written in its place. `number` counts tables of the same name
    from 0; None removes a key.

    Examples
    --------
    >>> print(with_values('[pile]\nsection = "HP12x53"  # named\n# area = "1 m^2"\n', "pile",
    ...     {"section": None, "area": '"15.5 in^2"'}))
    [pile]
    # named
    area = "15.5 in^2"
    <BLANKLINE>
    """
    if not values:
        return text
    ending = "\r\n" if "\r\n" in text else "\n"
    keys = tuple(table.split("."))
    found = statements(text)
    heads = [at for at, one in enumerate(found) if one.header and one.table == keys]
    wanted = {key: value for key, value in values.items() if value is not None}
    if number >= len(heads):
        if not wanted:
            return text
        header = f"[[{table}]]" if table in ("drive", "soil.layer", "pile.part") else f"[{table}]"
        gap = "" if not text or text.endswith("\n") else ending
        lines = [f"{key} = {value}{ending}" for key, value in wanted.items()]
        return _checked(text, text + gap + ending + header + ending + "".join(lines), keys, values, number)
    start = heads[number] + 1
    end = next((at for at in range(start, len(found)) if found[at].header), len(found))
    pieces = [one.text for one in found]
    last = heads[number]
    for at in range(start, end):
        one = found[at]
        own = next(iter(one.values), "") if one.text.strip() else ""
        if own:
            last = at
        if own in values:
            pieces[at] = _instead(one, own, values[own], ending)
            wanted.pop(own, None)
    for at in range(start, end):
        named = re.match(r"\s*#\s*(\w+)\s*=", pieces[at])
        if named and named[1] in wanted:
            _, sign, remark = pieces[at].lstrip().lstrip("#").partition("#")
            value = wanted.pop(named[1])
            pieces[at] = f"{named[1]} = {value}{'  # ' + remark.strip() if sign else ''}{ending}"
    if not pieces[last].endswith("\n"):
        pieces[last] += ending
    pieces[last] += "".join(f"{key} = {value}{ending}" for key, value in wanted.items())
    return _checked(text, "".join(pieces), keys, values, number)


def _instead(one: Statement, key: str, value: str | None, ending: str) -> str:
    if value is None:
        return f"{one.remark}{ending}" if one.remark else ""
    return f"{key} = {value}{'  ' + one.remark if one.remark else ''}{ending}"


def _checked(before: str, after: str, keys: tuple[str, ...], values: Mapping[str, str | None], number: int) -> str:
    """Check by reading both texts that only the values have changed."""
    cure = f"write [{'.'.join(keys)}] as a table with a line for each key"
    unsafe = InputError("test sheet", f"[{'.'.join(keys)}]", "is written in a way that cannot be changed safely", cure)
    try:
        old, new = tomllib.loads(before), tomllib.loads(after)
    except tomllib.TOMLDecodeError:
        raise unsafe from None
    was, now = _inside(old, keys, number), _inside(new, keys, number)
    for key, value in values.items():
        was.pop(key, None)
        if value is not None:
            was[key] = tomllib.loads(f"value = {value}")["value"]
    if old != new or was != now:
        raise unsafe
    return after


def _inside(read: dict, keys: tuple[str, ...], number: int) -> dict:
    """Give a table of a sheet that was read; create it if it is missing."""
    inside: Any = read
    for place, key in enumerate(keys):
        repeated = place == len(keys) - 1 and keys in (("drive",), ("soil", "layer"), ("pile", "part"))
        inside = inside.setdefault(key, [] if repeated else {})
        if isinstance(inside, list):
            while len(inside) <= number:
                inside.append({})
            inside = inside[number]
    return inside


def as_remarks(text: str, table: str, keys: set[str]) -> str:
    r"""Give the text of a sheet with some keys of a table commented out, as unused keys are in the blank sheet.

    Examples
    --------
    >>> as_remarks('[pile]\nsection = "HP12x53"  # named\n', "pile", {"section"})
    '[pile]\n# section = "HP12x53"  # named\n'
    """
    own = tuple(table.split("."))
    return "".join(
        f"# {one.text}" if one.table == own and keys & set(one.values) else one.text for one in statements(text)
    )


def without_tables(text: str, table: str) -> str:
    """Give the text of a sheet without any table of a name; comments inside them are removed too."""
    keys = tuple(table.split("."))
    return "".join(one.text for one in statements(text) if one.table[: len(keys)] != keys)


def typed_rows(text: str, table: str) -> list[dict[str, str]]:
    r"""Give the values of each table of one name, as typed in a form.

    Examples
    --------
    >>> typed_rows('[[soil.layer]]\nto = "12 ft"\nsoil = "clay"', "soil.layer")
    [{'to': '12 ft', 'soil': 'clay'}]
    """
    *above, last = table.split(".")
    inside: Any = tomllib.loads(text)
    for key in above:
        inside = inside.get(key, {})
    return [typed_values(text, table, number) for number in range(len(inside.get(last, [])))]


def typed_values(text: str, table: str, number: int = 0) -> dict[str, str]:
    """Give the values of a table as typed in a form."""
    given = _inside(tomllib.loads(text), tuple(table.split(".")), number)
    found = {}
    for field in form_fields(table):
        value = given.get(field.key)
        if isinstance(value, bool):
            found[field.key] = "yes" if value else "no"
        elif isinstance(value, datetime):
            found[field.key] = value.strftime("%Y-%m-%d %H:%M:%S")
        elif value is not None and not isinstance(value, (list, dict)):
            found[field.key] = str(value)
    return found
