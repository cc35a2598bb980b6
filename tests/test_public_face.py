"""The public face, listed in README, is closed and described in full; every dataclass gives each number's unit."""

import ast
import dataclasses
import importlib
import inspect
import re
import typing
from pathlib import Path

import pytest

from dyntest.names import NAMES

ROOT = Path(__file__).parent.parent
LIBRARY = ROOT / "dyntest"

SOURCE = re.compile(r"\b(?:19|20)\d\d\b|definition|from memory|no source|exact")
"""What the notes of a function say about where its equation comes from."""

COMPUTING = ("dyntest.conditioning", "dyntest.quantities", "dyntest.wave_equation", "dyntest.decisions")
"""Floors whose public functions rest on an equation or a rule."""

NUMBER = re.compile(r"\b(float|int|complex|ndarray|array|arrays|Series)\b")
"""Types that carry numbers; text, flags, paths, tables and dataclasses carry their units themselves."""

NOT_NUMBERS = re.compile(r"\bof (?:bool|str)\b(?! to)|\bto str\b")
"""Arrays of something else."""

SYMBOL = r"(?:1|%|N|kN|MN|m|mm|s|ms|Pa|MPa|kPa|kg|J|kJ|Hz|day|days|rad|µm|sample|samples|byte|bytes|ft|in|kip|blows)"
EXPRESSION = rf"{SYMBOL}(?:\^-?\d)?(?:[ /·]+{SYMBOL}(?:\^-?\d)?)*"
UNIT = re.compile(rf"\[(?:{EXPRESSION}(?:, {EXPRESSION})*|[^\[\]]*\bunits?\b[^\[\]]*)\]")
"""A unit in square brackets, or words that say whose unit it is, such as [SI unit of the dimension]."""


def entries(docstring: str, section: str) -> list[tuple[str, str, str]]:
    """Name, type and text of each entry in a section of a numpydoc docstring."""
    lines = [line.rstrip() for line in docstring.split("\n")]
    found, index = [], next((i for i in range(len(lines) - 1) if is_heading(lines, i) and lines[i] == section), None)
    if index is None:
        return []
    for number in range(index + 2, len(lines)):
        line = lines[number]
        if is_heading(lines, number):
            break
        if line and not line.startswith(" "):
            name, _, kind = line.partition(" : ") if section == "Parameters" else ("", "", line)
            found.append([name.strip(), kind.strip(), ""])
        elif found:
            found[-1][2] += " " + line.strip()
    return [tuple(entry) for entry in found]


def is_heading(lines: list[str], number: int) -> bool:
    """Whether a line is underlined with dashes."""
    return number + 1 < len(lines) and lines[number] != "" and set(lines[number + 1]) == {"-"}


def complaints(source: str, module: str = "", face: set[str] = frozenset()) -> list[str]:
    """What is missing in the docstrings of the public functions, properties and dataclasses of a module.

    Sections are asked of the public face alone; everything public has a docstring.
    """
    wrong = []
    for owner, node in public_nodes(ast.parse(source)):
        label = f"{owner}{node.name}"
        docstring = ast.get_docstring(node) or ""
        if not docstring:
            wrong.append(f"{label}: no docstring")
        if isinstance(node, ast.ClassDef):
            wrong += units_missing(label, docstring)
            continue
        if any(".command" in ast.unparse(d) or ".group" in ast.unparse(d) for d in node.decorator_list):
            continue  # its docstring is the help text of the command line
        returns = ast.unparse(node.returns) if node.returns else "None"
        if any(isinstance(d, ast.Name) and "property" in d.id for d in node.decorator_list):
            if NUMBER.search(returns) and not UNIT.search(docstring):
                wrong.append(f"{label}: property gives {returns} without a [unit]")
            continue
        if module and f"{module}.{label}" not in face:
            continue
        wrong += parameters_missing(label, node, docstring) + units_missing(label, docstring)
        if returns != "None" and not entries(docstring, "Returns") and not entries(docstring, "Yields"):
            wrong.append(f"{label}: no Returns section")
    return wrong


def public_nodes(tree: ast.Module):
    """Each public function and class of a module, and each public method, with its owner's name before it."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield "", node
            if isinstance(node, ast.ClassDef):
                for inner in node.body:
                    if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                        yield f"{node.name}.", inner


def parameters_missing(label: str, node: ast.FunctionDef, docstring: str) -> list[str]:
    """Parameters of the signature that the docstring leaves out, and the other way round."""
    arguments = node.args
    given = [a.arg for a in (*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs)]
    given += [a.arg for a in (arguments.vararg, arguments.kwarg) if a]
    given = {name for name in given if name not in ("self", "cls") and not name.startswith("_")}
    told = {name.strip().lstrip("*") for entry in entries(docstring, "Parameters") for name in entry[0].split(",")}
    return [f"{label}: parameter {name} in one of signature and docstring only" for name in sorted(given ^ told)]


def units_missing(label: str, docstring: str) -> list[str]:
    """Numbers among the parameters and returns that carry no unit, or another one than the table of names gives."""
    wrong = []
    for section in ("Parameters", "Returns", "Yields"):
        for name, kind, text in entries(docstring, section):
            if not NUMBER.search(kind) or NOT_NUMBERS.search(kind):
                continue
            if not UNIT.search(f"{kind} {text}"):
                wrong.append(f"{label}: {section} {name or kind} has no [unit]")
            for code in (part.strip() for part in name.split(",")):
                if code in NAMES and f"[{NAMES[code].unit}]" not in text:
                    wrong.append(f"{label}: {code} is not in [{NAMES[code].unit}] as in the table of names")
    return wrong


def found_at(name: str) -> object:
    """What a dotted name of the list stands for."""
    module, _, last = name.rpartition(".")
    return getattr(importlib.import_module(module), last)


def own_types(hint: object, found: set[type]) -> None:
    """Add every type of the library that an annotation needs, and those that its fields and members need in turn."""
    if isinstance(hint, type) and hint.__module__.startswith("dyntest."):
        if hint in found:
            return
        found.add(hint)
        members = [getattr(member, "fget", member) for name, member in vars(hint).items() if not name.startswith("_")]
        for member in (hint, *filter(inspect.isfunction, members)):
            for inner in typing.get_type_hints(member).values():
                own_types(inner, found)
    for part in typing.get_args(hint):
        for inner in part if isinstance(part, list) else [part]:
            own_types(inner, found)


def sections(docstring: str) -> set[str]:
    """Headings of a numpydoc docstring."""
    lines = docstring.split("\n")
    return {line for number, line in enumerate(lines) if is_heading(lines, number)}


def test_every_listed_name_exists(public_face):
    assert len(public_face) > 60
    assert [name for name in sorted(public_face) if not callable(found_at(name))] == []


def test_the_public_face_is_closed(public_face):
    needed = set()
    for name in public_face:
        listed = found_at(name)
        own_types(listed, needed)
        for hint in typing.get_type_hints(listed).values():
            own_types(hint, needed)
    assert {f"{one.__module__}.{one.__name__}" for one in needed} - public_face == set()


def test_every_listed_function_is_described_in_full(public_face):
    wrong = {}
    for name in sorted(public_face):
        listed = found_at(name)
        if inspect.isfunction(listed):
            docstring = inspect.getdoc(listed)
            wanted = {"Parameters", "Returns"}
            if any(isinstance(node, ast.Raise) for node in ast.walk(ast.parse(inspect.getsource(listed)))):
                wanted.add("Raises")
            if name.startswith(COMPUTING):
                wanted.add("Notes")
            missing = wanted - sections(docstring)
            if not missing and "Notes" in wanted and not SOURCE.search(docstring.partition("\nNotes\n")[2]):
                missing = {"source"}
            if missing:
                wrong[name] = missing
    assert wrong == {}


def test_every_listed_dataclass_lists_its_fields(public_face):
    for name in sorted(public_face):
        listed = found_at(name)
        if dataclasses.is_dataclass(listed):
            told = entries(inspect.getdoc(listed), "Parameters")
            named = {one.strip() for entry in told for one in entry[0].split(",")}
            assert {field.name for field in dataclasses.fields(listed)} == named, name


def test_numbers_carry_their_units(public_face):
    wrong = {}
    for path in sorted(LIBRARY.rglob("*.py")):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        wrong[module] = complaints(path.read_text(encoding="utf-8"), module, public_face)
    assert {module: found for module, found in wrong.items() if found} == {}


GOOD = '''
def force(area, name):
    """Give the force.

    Parameters
    ----------
    area : float
        Area [m^2].
    name : str
        Name.

    Returns
    -------
    float
        Force [N].
    """
'''


def test_a_good_docstring_passes():
    assert complaints(GOOD) == []


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("Area [m^2].", "Area.", "force: Parameters area has no [unit]"),
        ("Area [m^2].", "Area, shape (n,), see tuple[int, ...].", "force: Parameters area has no [unit]"),
        ("Force [N].", "Force.", "force: Returns float has no [unit]"),
        ("(area, name)", "(area, name, more)", "force: parameter more in one of signature and docstring only"),
        ("area : float", "penetration : float", "force: penetration is not in [m] as in the table of names"),
    ],
)
def test_a_bad_docstring_is_seen(old, new, complaint):
    assert complaint in complaints(GOOD.replace(old, new))
