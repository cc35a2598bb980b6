"""Workbooks: xlsx, xlsm, xlsb, xls and ods; a sheet is read as rows of cells."""

import datetime
import zipfile
from collections.abc import Sequence
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.files import check_file
from dyntest.reading.formats.contents import Contents, FileChannel, check_channels, damaged, library, parts_of
from dyntest.reading.parts import Records
from dyntest.reading.text_tables import (
    are_units,
    doubtful_mark,
    header_parts,
    is_summary,
    said_decimal,
    thousands_or_decimals,
    written_number,
)
from dyntest.reading.wording import as_written, known_as, natural_order, printable

MAX_WORKBOOK_BYTES = 300_000_000
"""Largest workbook that is read [byte]. Our own bound, no source."""

MAX_UNPACKED_BYTES = 2_000_000_000
"""Largest unpacked workbook [byte]; a full sheet of a million rows has about half. Our own."""

_PACKED = b"PK\x03\x04"
_OLD = b"\xd0\xcf\x11\xe0"

Cell = Any
"""A number, a text, a date, or None."""


def recognise(name: str, head: bytes) -> bool:
    """Whether a file is a workbook, by its extension."""
    return name.endswith((".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")) and not name.startswith("~$")


def read(path: Path, records: Records) -> tuple[Contents, ...]:
    """Open the sheet of a workbook, or each sheet that fits the pattern in the test sheet."""
    sheets = read_sheets(path, records.sheet)
    several = records.sheet is None and len(sheets) > 1
    named = sheets_with_numbers(sheets, records.decimal) if several else list(sheets)
    found = [_contents(known_as(path), name, sheets[name], records) for name in named]
    if several and len(found) > 1:
        have = printable(", ".join(named), 200)
        problem = f"has {len(found)} sheets with numbers: {have}"
        raise InputError(known_as(path), "", problem, "name one as [records] sheet")
    if not found:
        raise InputError(known_as(path), "", "has no sheet with rows of numbers", "check the file")
    return tuple(found)


def sheets_with_numbers(sheets: dict[str, list[list[Cell]]], decimal: str | None = None) -> list[str]:
    """Give the names of the sheets that have rows of numbers; the others are notes."""
    return [name for name, rows in sheets.items() if _first_row(rows, 0, decimal or _decimal(rows)) is not None]


def read_sheets(path: Path, wanted: str | None) -> dict[str, list[list[Cell]]]:
    """Give the rows of every sheet, or of those that a name or pattern fits."""
    source = known_as(path)
    check_file(path, MAX_WORKBOOK_BYTES)
    _check_unpacked(path, source)
    calamine = library("python_calamine", source)
    try:
        book = calamine.CalamineWorkbook.from_path(str(path))
        names = list(book.sheet_names)
    except Exception as trouble:
        raise damaged(source, "workbook", trouble) from None
    chosen = names
    if wanted is not None:
        chosen = [wanted] if wanted in names else [name for name in names if fnmatchcase(name, wanted)]
        if not chosen:
            have = printable(", ".join(names), 200)
            raise InputError(
                source, f"sheet {as_written(wanted)}", f"is not there; the sheets are {have}", "correct it"
            )
        chosen.sort(key=natural_order)
    rows = {}
    for name in chosen:
        try:
            rows[name] = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
        except Exception as trouble:
            raise damaged(source, "workbook", trouble) from None
    return rows


def _check_unpacked(path: Path, source: str) -> None:
    """Refuse a file that would unpack to far too many bytes."""
    with path.open("rb") as stream:
        head = stream.read(8)
    if head.startswith(_OLD):
        if not path.name.lower().endswith(".xls"):
            problem = "is protected by a password, or is an old workbook under a new name"
            raise InputError(source, "", problem, "save it as xlsx without a password")
        return
    if not head.startswith(_PACKED):
        raise InputError(source, "", "is not a workbook, despite its name", "save it as xlsx, or as text")
    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(one.file_size for one in packed.infolist())
            locked = any(one.flag_bits & 1 for one in packed.infolist())
    except (OSError, zipfile.BadZipFile, ValueError) as trouble:
        raise damaged(source, "workbook", trouble) from None
    if locked:
        raise InputError(source, "", "is protected by a password", "save it without one")
    if size > MAX_UNPACKED_BYTES:
        problem = f"would unpack to {size / 1e9:.0f} gigabytes"
        raise InputError(source, "", problem, "save only the sheet with the records")


def _contents(source: str, name: str, rows: list[list[Cell]], records: Records) -> Contents:
    place = f"sheet {as_written(name)}"
    decimal = records.decimal or _decimal(rows)
    first = _first_row(rows, records.skip_lines or 0, decimal)
    if first is None:
        raise InputError(source, place, "has no rows of numbers", "check skip_lines and sheet in [records]")
    header, names, units = _header(rows, first, records.skip_lines, decimal)
    body = _without_footer(rows[first:], decimal)
    texts = [[cell for cell in column if isinstance(cell, str)] for column in zip(*body, strict=False)]
    doubt = "" if records.decimal else thousands_or_decimals(texts, decimal)
    if doubt:
        cure = f"store the cells as numbers, not as text; {said_decimal(doubt, decimal)}"
        raise doubtful_mark(source, place, doubt, cure)
    filled = [place for place, title in enumerate(names) if title or rows[first][place] not in ("", None)]
    channels = tuple(
        FileChannel(names[place] or f"column {place + 1}", (len(body),), units[place])
        for place in range((max(filled) if filled else -1) + 1)
    )
    check_channels(channels, source)

    def row(index: int) -> str:
        return f"{place}, row {first + index + 1}"

    def column(number: int) -> np.ndarray:
        values = np.empty(len(body))
        for index, cells in enumerate(body):
            values[index] = _number(cells[number], source, f"{row(index)}, column {channels[number].name}", decimal)
        return values

    settings: dict[str, object] = {
        "skip_lines": first if header is None else header,
        "sheet": name,
        "header": header is not None,
    }
    if any(isinstance(cell, str) and "," in cell for cell in rows[first]):
        settings["decimal"] = decimal
    head = tuple("\t".join("" if cell is None else str(cell) for cell in cells) for cells in rows[: first + 3])
    return Contents(source, "excel", channels, column, parts_of(column), settings, head, row)


def _without_footer(rows: list[list[Cell]], decimal: str) -> list[list[Cell]]:
    """Leave out blank rows, rows of words alone and the summary below a table."""
    last = len(rows)
    while last > 1:
        cells = [cell for cell in rows[last - 1] if cell not in ("", None)]
        words = all(isinstance(cell, str) and not _is_number(cell, decimal) for cell in cells)
        if cells and not words and not (isinstance(cells[0], str) and is_summary(cells[0])):
            break
        last -= 1
    return rows[:last]


def _decimal(rows: Sequence[Sequence[Cell]]) -> str:
    """Give the decimal mark of numbers stored as text."""
    texts = [cell for row in rows[:200] for cell in row if isinstance(cell, str) and cell]
    comma = any(_is_number(cell, ",") and "," in cell for cell in texts)
    point = any(_is_number(cell, ".") and "." in cell for cell in texts)
    return "," if comma and not point else "."


def _is_number(cell: Cell, decimal: str = ".") -> bool:
    if isinstance(cell, bool) or cell is None:
        return False
    if isinstance(cell, (int, float)):
        return True
    if not isinstance(cell, str):
        return False
    try:
        written_number(cell, decimal)
    except ValueError:
        return False
    return True


def _first_row(rows: Sequence[Sequence[Cell]], begin: int, decimal: str = ".") -> int | None:
    """Give the first of three rows of numbers, or of all that are left."""
    good = [sum(_is_number(cell, decimal) for cell in row) >= 2 for row in rows]
    for number in range(begin, len(rows)):
        if good[number] and all(good[number : number + 3]):
            return number
    return None


def _header(
    rows: Sequence[Sequence[Cell]], first: int, skip: int | None, decimal: str
) -> tuple[int | None, list[str], list[str]]:
    width = len(rows[first])
    above = [n for n in range(skip or 0, first) if any(cell not in ("", None) for cell in rows[n])]
    texts = {n: ["" if cell is None else str(cell).strip() for cell in rows[n]] for n in above}
    unit_row: list[str] | None = None
    for number in above if skip is not None else reversed(above):
        fields = texts[number]
        if sum(_is_number(cell, decimal) for cell in rows[number]) > width // 2:
            break
        if skip is None and are_units(fields):
            unit_row = [field.strip("[]() ") for field in fields]
            continue
        if skip is not None:
            for later in above:
                if later > number and are_units(texts[later]):
                    unit_row = [field.strip("[]() ") for field in texts[later]]
        if sum(bool(field) for field in fields) < 2:
            break
        return number, fields, unit_row or [header_parts(field)[1] for field in fields]
    return None, [""] * width, [""] * width


def _number(cell: Cell, source: str, where: str, decimal: str) -> float:
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        if np.isfinite(cell):
            return float(cell)
        raise InputError(source, where, f"is {cell}, not a finite number", "write a number or remove the blow")
    if cell is None or cell == "":
        problem = "is empty, an error, or a formula without a computed value"
        raise InputError(source, where, problem, "open the workbook, fill the cell in and save it")
    if isinstance(cell, datetime.timedelta):
        return cell.total_seconds()
    if isinstance(cell, str) and _is_number(cell, decimal):
        return written_number(cell, decimal)
    raise InputError(source, where, f"{as_written(str(cell))} is not a number", "write a number or remove the blow")
