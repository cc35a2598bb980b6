"""One clear message from the errors that pydantic finds in a test sheet."""

from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError

from dyntest.errors import InputError
from dyntest.reading.schema import Physical, SheetModel
from dyntest.reading.wording import as_written, listed, nearest, printable

_KINDS = {
    "string_type": "text in quotes",
    "float_type": "a number without quotes",
    "int_type": "a whole number without quotes",
    "bool_type": "true or false",
    "list_type": "a list in square brackets",
    "dict_type": "a table of keys and values",
    "model_type": "a table of keys and values",
    "model_attributes_type": "a table of keys and values",
    "finite_number": "a finite number",
}
"""Types that pydantic expects, in plain words."""


_BOUNDS = {"greater_than_equal": ("at least", "ge"), "less_than_equal": ("at most", "le")}
"""Bounds that pydantic reports, in plain words."""

REPEATED = ("drive", "pile.part", "soil.layer", "group")
"""Tables that may occur more than once."""


def explain(error: ValidationError, source: str, root: type[BaseModel] = SheetModel) -> InputError:
    """Give the one most helpful message on a file whose model is `root`."""
    found = error.errors(include_url=False)
    first = next((item for item in found if item["type"] == "extra_forbidden"), found[0])
    location = first["loc"]
    place, model = _place(location, root)
    kind, value = first["type"], first["input"]
    if kind == "extra_forbidden":
        return InputError(source, place, "is not a key of the sheet", _cure_for_unknown(str(location[-1]), model, root))
    if kind == "missing":
        _, above = _place(location[:-1], root)  # a table that is missing is a key of the table above it
        return InputError(source, place, "is missing", _cure_for_missing(str(location[-1]), above))
    if kind == "value_error":
        problem, _, cure = str(first["ctx"]["error"]).partition("; ")
        return InputError(source, place, problem, cure)
    if kind == "literal_error":
        field = model.model_fields[str(location[-1])]
        words = [as_written(word) for word in _literals(field.annotation)]
        guess = nearest(str(value), _literals(field.annotation)) if isinstance(value, str) else None
        cure = f'write "{guess}" if that is meant; allowed are {listed(words)}' if guess else f"write {listed(words)}"
        return InputError(source, place, f"{as_written(value)} is not allowed here", cure)
    if kind == "too_short":
        tables = (
            _table_in(model.model_fields[str(location[-1])].annotation) if location[-1] in model.model_fields else None
        )
        cure = "name at least one" if tables is None else f"write at least one {place} table"
        return InputError(source, place, "is empty", cure)
    if kind in _BOUNDS:
        side, bound = _BOUNDS[kind]
        limit = f"{side} {first['ctx'][bound]}"
        return InputError(source, place, f"{as_written(value)} cannot be right", f"write a number of {limit}")
    wanted = _KINDS.get(kind)
    if wanted is None:
        return InputError(
            source, place, f"{as_written(value)} cannot be used ({printable(first['msg'])})", "correct it"
        )
    return InputError(source, place, _what_came(value), f"write {wanted}")


def explain_value(error: ValidationError) -> tuple[str, str]:
    """Give the error in one value typed into a form, and what to write instead."""
    first = error.errors(include_url=False)[-1]
    kind, value = first["type"], first["input"]
    if kind == "value_error":
        problem, _, cure = str(first["ctx"]["error"]).partition("; ")
        return problem, cure.replace(' in quotes, such as "', ', such as "')
    if kind == "literal_error":
        return f"{as_written(value)} is not allowed here", f"write {first['ctx']['expected']}"
    wanted = _KINDS.get(kind)
    return _what_came(value), f"write {wanted}" if wanted else "correct it"


def _place(location: tuple[str | int, ...], root: type[BaseModel]) -> tuple[str, type[BaseModel]]:
    """Give the place of an error in the sheet, and the model of its table."""
    model = root
    table: list[str] = []
    keys: list[str] = []
    number, entry, free = "", "", False
    for item in location:
        if isinstance(item, int):
            if keys:
                entry = f", entry {item + 1}"
            else:
                number = f" {item + 1}"
            continue
        if free:  # a table whose name is the user's, such as that of a channel
            table.append(printable(item))
            free = False
            continue
        field = model.model_fields.get(item) if not keys else None
        inner = None if field is None else _table_in(field.annotation)
        if inner is None or number:
            if not keys or not (item in ("str", "int") or "[" in item):  # which kind of value was tried
                keys.append(printable(item))
        else:
            table.append(item)
            free = field is not None and get_origin(field.annotation) is dict
        model = inner or model
    if not table:
        return "".join(keys), model
    repeated = ".".join(table) in REPEATED
    name = ".".join(table)
    label = f"[[{name}]]{number}" if repeated else f"[{name}]"
    return f"{label} {'.'.join(keys)}".rstrip() + entry, model


def _table_in(annotation: Any) -> type[BaseModel] | None:
    """Give the model inside an annotation such as ``list[DriveKeys]`` or ``HammerKeys | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _table_in(part))), None)


def _literals(annotation: Any) -> list[str]:
    """Give the words of a Literal, also inside an optional one."""
    words: list[Any] = []
    for part in get_args(annotation):
        words += _literals(part) if get_args(part) else [part] if isinstance(part, (str, int)) else []
    return words


def _what_came(value: object) -> str:
    """Give a value and its type in words."""
    kinds = ((str, "text"), (bool, "true or false"), ((int, float), "a number"))
    kind = next((words for types, words in kinds if isinstance(value, types)), None)
    return f"{as_written(value)} is {kind}" if kind else f"is {as_written(value)}"


def _cure_for_unknown(key: str, model: type[BaseModel], root: type[BaseModel]) -> str:
    guess = nearest(key, model.model_fields)
    if guess:
        return f"write {guess} if that is meant"
    home = _home_of(key, root, (), root)
    if home:
        return f"move it to {home}"
    return f"remove it, or write one of {printable(', '.join(model.model_fields), 400)}"


def _home_of(key: str, model: type[BaseModel], above: tuple[str, ...], root: type[BaseModel]) -> str | None:
    """Give the table that a key belongs to."""
    for name, field in model.model_fields.items():
        inner = _table_in(field.annotation)
        if inner is None:
            continue
        if key in inner.model_fields:
            return _place((*above, name), root)[0]
        deeper = _home_of(key, inner, (*above, name), root)
        if deeper:
            return deeper
    return None


def _cure_for_missing(key: str, model: type[BaseModel]) -> str:
    field = model.model_fields[key]
    inner = _table_in(field.annotation)
    if inner is not None:
        keys = field.examples or [name for name, part in inner.model_fields.items() if part.is_required()]
        return f"write the table with {' and '.join(keys)}"
    example = next((mark.example for mark in field.metadata if isinstance(mark, Physical)), None)
    if field.examples or example:
        return f"write {key} = {example or (field.examples or [''])[0]}, with your own value"
    return f"write {key} with its value"
