"""Reading `structure.toml`: groups of bearing piles, the test piles of each group, and their logs."""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError

from dyntest.errors import InputError
from dyntest.reading.build import one_file
from dyntest.reading.files import read_text
from dyntest.reading.schema import Keys, Text, Word
from dyntest.reading.sheet import MAX_SHEET_BYTES, parsed_toml, read_sheet_text
from dyntest.reading.sheet_errors import explain
from dyntest.reading.wording import as_written, known_as

_OF_A_STRUCTURE = re.compile(r"^\s*\[\s*structure\s*\]|^\s*\[\[\s*group\s*\]\]", re.M)
_OF_A_TEST = re.compile(r"^\s*\[\s*pile\s*\]|^\s*\[\[\s*drive\s*\]\]", re.M)


class StructureTable(Keys):
    """``[structure]``: name and display of the structure."""

    name: Word = Field(examples=['"Mill Creek bridge"'])
    display_units: Literal["SI", "US"] | None = None
    reference_system: Text = ""


class GroupTable(Keys):
    """``[[group]]``: bearing piles that share a criterion."""

    name: Word = Field(examples=['"Pier 2"'])
    tests: list[Word] = Field(min_length=1, examples=['["pier_2/sheet.toml"]'])
    production_log: Word | None = None
    piles: Word | None = None


class StructureModel(Keys):
    """The whole file."""

    format: Literal[1]
    structure: StructureTable
    group: list[GroupTable] = Field(min_length=1)


@dataclass(frozen=True)
class Group:
    """Bearing piles that share a criterion.

    Parameters
    ----------
    name : str
        Such as ``"Pier 2"``.
    tests : tuple of pathlib.Path
        Sheets of the test piles that the criterion is based on.
    production_log : pathlib.Path or None
        Log of its bearing piles.
    piles : pathlib.Path or None
        Table of their elevations, lengths and, if known, coordinates.
    """

    name: str
    tests: tuple[Path, ...]
    production_log: Path | None
    piles: Path | None


@dataclass(frozen=True)
class StructureSheet:
    """A structure as described by its file.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    name : str
        The structure's name.
    display_units : str or None
        ``"SI"``, ``"US"``, or None to use that of the test sheets.
    reference_system : str
        Name of the coordinates' reference system, such as ``"EPSG:26917"``; empty where it is not known.
    groups : tuple of Group
        In the order of the file.
    """

    path: Path
    name: str
    display_units: str | None
    reference_system: str
    groups: tuple[Group, ...]

    @property
    def tests(self) -> tuple[Path, ...]:
        """Every test sheet once, in the order of the groups."""
        return tuple(dict.fromkeys(path for group in self.groups for path in group.tests))

    @property
    def inputs(self) -> tuple[Path, ...]:
        """The file itself and every table it names, without the test sheets."""
        named = (path for group in self.groups for path in (group.production_log, group.piles) if path is not None)
        return (self.path, *dict.fromkeys(named))


def usual_folder(path: Path) -> Path:
    """Give the default folder for the results of a structure: ``structure/`` beside its file."""
    return path.parent / "structure"


def is_structure(path: Path) -> bool:
    """Whether a file describes a structure and not a test pile, by its tables."""
    try:
        text = read_text(path, MAX_SHEET_BYTES)
    except InputError:
        return False  # errors are reported when it is read
    return bool(_OF_A_STRUCTURE.search(text)) and not _OF_A_TEST.search(text)


def read_structure(path: str | Path) -> StructureSheet:
    """Read a structure's file.

    Parameters
    ----------
    path : str or pathlib.Path
        The TOML file.

    Returns
    -------
    StructureSheet
        Its groups; all files exist and are below its folder.

    Raises
    ------
    InputError
        With file, place and cure, for the first thing that cannot be used.
    """
    path = Path(path)
    source = known_as(path)
    raw = parsed_toml(read_sheet_text(path, "structure.toml"), source)
    try:
        model = StructureModel.model_validate(raw)
    except ValidationError as error:
        raise explain(error, source, StructureModel) from None
    folder = path.parent.resolve()
    _refuse_twice((group.name for group in model.group), source, "[[group]] name", "give each group its own name")
    groups = tuple(_group(table, number, folder, source) for number, table in enumerate(model.group, start=1))
    logs = (as_written(_below(folder, group.production_log)) for group in groups if group.production_log)
    _refuse_twice(logs, source, "[[group]] production_log", "give each group its own log")
    table = model.structure
    return StructureSheet(folder / path.name, table.name, table.display_units, table.reference_system, groups)


def _group(table: GroupTable, number: int, folder: Path, source: str) -> Group:
    place = f"[[group]] {number}"

    def file(name: str | None, key: str) -> Path | None:
        return None if name is None else one_file(name, folder, f"{place} {key}", source)

    tests = tuple(one_file(name, folder, f"{place} tests", source) for name in table.tests)
    _refuse_twice((known_as(path.resolve()) for path in tests), source, f"{place} tests", "name each test sheet once")
    if table.piles is not None and table.production_log is None:
        problem = "is given without production_log"
        raise InputError(source, f"{place} piles", problem, "write production_log too, or remove it")
    return Group(table.name, tests, file(table.production_log, "production_log"), file(table.piles, "piles"))


def _below(folder: Path, file: Path) -> str:
    """Give a file as the structure names it, however it was written; files of one name lie in several folders."""
    return file.resolve().relative_to(folder).as_posix()


def _refuse_twice(names: Iterable[str], source: str, place: str, cure: str) -> None:
    """Refuse a name that occurs more than once."""
    for name, times in Counter(names).items():
        if times > 1:
            raise InputError(source, place, f"{name} occurs {times} times", cure)
