"""Inspectors' own logs: workbooks or text, header rows, remarks, cumulative counts, dates in either order."""

import datetime
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path

from dyntest.errors import InputError
from dyntest.reading.files import MAX_TEXT_BYTES, read_bytes
from dyntest.reading.formats.excel import read_sheets
from dyntest.reading.formats.text import as_utf8, fields_of
from dyntest.reading.parts import Channel, LogLayout
from dyntest.reading.text_tables import (
    Column,
    Header,
    TextTable,
    find_columns,
    header_parts,
    is_unit_of,
    thousands_or_decimals,
    written_number,
)
from dyntest.reading.wording import as_written, known_as, nearest, printable
from dyntest.units import unit_factor

WORKBOOKS = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
"""File extensions of workbooks."""

MOST_CELL_LINES = 4
"""Most lines of one cell in quotes [1]. Our own, no source."""

_FEET_AND_INCHES = re.compile(
    r"""\s*(\d+)\s*(?:'|ft\.?|′|’)\s*-?\s*(?:(\d+(?:\.\d+)?)?(?:\s*-?\s*(\d+)/(\d+))?\s*(?:"|''|in\.?|″|”)?)?\s*"""
)
_FRACTION = re.compile(r"\s*(\d+)[\s-]+(\d+)/(\d+)\s*")
"""A number with a fraction, such as ``10 1/2``."""

_VULGAR = {"¼": " 1/4", "½": " 1/2", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
_RANGE = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(?:-|–|—|to|bis|à|a)\s*(\d+(?:[.,]\d+)?)\s*")
"""A depth written as the top and the bottom of its interval."""

PART_COUNT = re.compile(
    r"(\d+)\s*(?:blows?|bl\.?)?\s*(?:/|\bin\b|\bfor\b|\bper\b)\s*(\d+(?:\.\d+)?)"
    r"\s*(\"|''|″|”|in\.?|inch|inches|ft|mm|cm|m)",
    re.IGNORECASE,
)
"""Blows over part of an interval, as refusal is often written, such as ``15/3in``."""

NO_BLOWS = re.compile(
    r"w\.?o\.?[hpr]\b\.?|w/h\b|(?:wt|weight)\.? of (?:the )?(?:hammer|pile|ram|rods?)"
    r"|(?:ran )?(?:under )?(?:its )?(?:own|self)[- ]?weight|eigengewicht|poids propre|peso propio",
    re.IGNORECASE,
)
"""Words for an interval in which the pile ran under a weight, without a blow."""

LOWER_BOUND = re.compile(r"(?:[>≥]|over|more than)\s*\d+|\d+\s*(?:\+|plus)", re.IGNORECASE)
"""A count that is only a lower bound, such as ``100+``."""

STROKE_RANGE = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:-|–|—|to|bis|à|a)\s*(\d+(?:[.,]\d+)?)")
"""A stroke written as its lowest and highest value."""

_NEARLY_NUMBER = re.compile(r"\d+(?![\d:])")
_WITH_UNIT = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*([A-Za-z]+\.?)\s*")
_LONE_QUOTE = re.compile(r"(?:(?<=[;,\t|])|^)\s*\"\s*(?=[;,\t|]|$)")
_DITTO = ('"', "''", "〃", "do", "do.", "ditto", '-"-', "-''-")
"""Marks for the same as above, in small letters."""

_TOTAL = re.compile(r"\s*(?:sub)?(?:total|sum|summe)\b.*", flags=re.IGNORECASE)
_RUNNING = re.compile(r"cum|running|total|accum", flags=re.IGNORECASE)


def laid_out_rows(
    path: Path, required: dict[str, str], optional: dict[str, str], layout: LogLayout
) -> tuple[TextTable, dict[str, Column]]:
    """Give the rows of a log and its columns, as stated in the sheet or by their own names."""
    source = known_as(path)
    named = {name: layout.columns[name].column if name in layout.columns else name for name in (*required, *optional)}
    if path.suffix.lower() in WORKBOOKS or layout.format == "excel":
        rows, place = _workbook_rows(path, named, required, layout, source)
        decimal = "."
    else:
        rows, place, decimal = _text_rows(path, named, required, layout, source)
    header = _header_row(rows, named, required, layout)
    if header is None:
        wanted = ", ".join(str(named[name]) for name in required)
        problem = f"has no row with the headers {printable(wanted, 200)}"
        cells = sorted({header_parts(cell)[0] for row in rows[:200] for cell in row if cell} - set(wanted.split(", ")))
        guesses = [guess for name in required if (guess := nearest(str(named[name]), cells, cutoff=0.75))]
        cure = f"write {printable(guesses[0])} if that is meant, or correct" if guesses else "correct"
        raise InputError(source, place, problem, f"{cure} the columns in [log], or skip_lines")
    headers = [field.strip() for field in rows[header]]
    columns = _columns(headers, named, required, optional, layout, f"{source}{', ' + place if place else ''}")
    body = [(number + 1, fields) for number, fields in enumerate(rows) if number > header]
    repeated = [name for name in _REPEATED if name != "blows" or not counts_run_on(layout, columns)]
    kept = _rows(body, columns, len(headers), decimal, repeated)
    if not kept:
        raise InputError(source, place, "has a header but no rows", "fill in the table")
    if (
        "depth_from" in optional
        and "depth_from" not in columns
        and all(_RANGE.fullmatch(fields[columns["depth_to"].index]) for _, fields in kept)
    ):
        columns["depth_from"] = replace(columns["depth_to"], index=len(headers))
        headers.append("top of the interval")
        kept = [(number, _split_range(fields, columns["depth_to"].index)) for number, fields in kept]
    return TextTable(source, tuple(headers), tuple(kept), decimal, layout.decimal is not None), columns


def _split_range(fields: list[str], depth: int) -> list[str]:
    """Give a row whose depth is written as top and bottom, such as ``30-31``, with the top in a column of its own."""
    match = _RANGE.fullmatch(fields[depth])
    assert match is not None
    return [*fields[:depth], match[2], *fields[depth + 1 :], match[1]]


_LOG_HINTS = {
    "depth_to": re.compile(r"\b(to|bottom|depth|tip|toe|penetration|bis|tiefe|profond\w*|profund\w*)\b", re.IGNORECASE),
    "depth_from": re.compile(r"\b(from|top|von|desde)\b", re.IGNORECASE),
    "blows": re.compile(r"blow|count|schl|coup|golpe|\bbpf\b", re.IGNORECASE),
    "stroke": re.compile(r"stroke|fall|drop|hub|hauteur|ca[ií]da|altura", re.IGNORECASE),
    "remark": re.compile(r"remark|note|comment|bemerk|observ", re.IGNORECASE),
}
"""Likely words in the header of each column; the first match is used."""


def guess_log_layout(path: Path, unit: str) -> LogLayout:
    """Guess the layout of a driving log; the first row with a depth and a count is taken as its header.

    `unit` is that of depths and strokes whose header has none.
    """
    if path.suffix.lower() in WORKBOOKS:
        tables = {
            name: [[_cell(cell) for cell in row] for row in rows] for name, rows in read_sheets(path, None).items()
        }
    else:
        text = as_utf8(read_bytes(path, MAX_TEXT_BYTES)).decode("utf-8", "replace")
        lines = text.splitlines()[:500]
        tables = {mark: [fields_of(line, mark) for line in lines] for mark in ("\t", ";", ",", "|")}
    for name, rows in tables.items():
        for number, row in enumerate(rows[:200]):
            columns = _guessed_columns(row, unit)
            if "depth_to" in columns and "blows" in columns:
                for kind in ("depth_to", "blows"):
                    title = row[int(columns[kind].column) - 1]
                    _refuse_twice(row, int(columns[kind].column) - 1, kind, title, known_as(path))
                sheet = name if path.suffix.lower() in WORKBOOKS else None
                return LogLayout(sheet=sheet, skip_lines=number, delimiter=None if sheet else name, columns=columns)
    problem = "has no row with headers of a depth and a blow count"
    raise InputError(known_as(path), "", problem, "name the columns Depth and Blows, or type the log into the table")


def _guessed_columns(row: Sequence[str], unit: str) -> dict[str, Channel]:
    found: dict[str, Channel] = {}
    for place, field in enumerate(row, start=1):
        title, said = header_parts(field.strip())
        kind = next((kind for kind, hint in _LOG_HINTS.items() if kind not in found and hint.search(title)), None)
        if kind is None or len(field) > 40:
            continue
        deep = kind in ("depth_to", "depth_from", "stroke")
        if deep and not is_unit_of(said, "length"):
            found[kind] = Channel(place, unit)
        else:
            found[kind] = Channel(place, said if deep else None)
    return found


def counts_run_on(layout: LogLayout | None, columns: dict[str, Column]) -> bool:
    """Whether the blow count is cumulative from the start of driving, by the sheet or by the header."""
    if layout is not None and layout.cumulative is not None:
        return layout.cumulative
    return layout is not None and _RUNNING.search(columns["blows"].text) is not None


def _workbook_rows(
    path: Path, named: dict[str, str | int], required: dict[str, str], layout: LogLayout, source: str
) -> tuple[list[list[str]], str]:
    sheets = read_sheets(path, layout.sheet)
    rows = {name: [[_cell(cell) for cell in row] for row in cells] for name, cells in sheets.items()}
    fitting = [name for name, table in rows.items() if _header_row(table, named, required, layout) is not None]
    if len(fitting) > 1:
        have = printable(", ".join(fitting), 200)
        raise InputError(source, "", f"has several sheets that could be the log: {have}", "name one as [log] sheet")
    chosen = fitting[0] if fitting else next(iter(rows))
    return _with_points(rows[chosen]), f"sheet {as_written(chosen)}"


def _with_points(rows: list[list[str]]) -> list[list[str]]:
    """Give cells of text with a decimal comma with a point; left as they are where it may set thousands apart."""
    written = [[field for field in row if re.fullmatch(r"[+-]?\d+,\d+", field)] for row in rows]
    if thousands_or_decimals(written, ","):
        return rows
    return [
        [field.replace(",", ".") if field in commas else field for field in row]
        for row, commas in zip(rows, written, strict=True)
    ]


def _cell(cell: object) -> str:
    """Give a cell as text: numbers with a decimal point, dates in ISO 8601."""
    if cell is None:
        return ""
    if isinstance(cell, datetime.datetime):
        return cell.date().isoformat()
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(cell)
    return str(cell).strip()


def _text_rows(
    path: Path, named: dict[str, str | int], required: dict[str, str], layout: LogLayout, source: str
) -> tuple[list[list[str]], str, str]:
    text = as_utf8(read_bytes(path, MAX_TEXT_BYTES)).decode("utf-8", "replace")
    if "\x00" in text:
        raise InputError(source, "", "is not text", "save the log as CSV, text or a workbook")
    lines = [_with_ditto_marks(line) for line in text.splitlines()]
    marks = (layout.delimiter,) if layout.delimiter else ("\t", ";", ",", "|", " ")
    for given, delimiter in product((lines, _whole_lines(lines)), marks):
        rows = [fields_of(line, delimiter) for line in given]
        if delimiter == " ":
            rows = [re.split(r"\s{2,}|\t", line.strip()) for line in given]
        header = _header_row(rows, named, required, layout)
        if header is not None:
            if delimiter == " ":
                rows = [_remark_last(row, len(rows[header])) for row in rows]
            break
    else:
        widest = max(",;\t|", key=lambda mark: max((line.count(mark) for line in lines[:500]), default=0))
        rows = [fields_of(line, widest) for line in lines]
    decimal = layout.decimal or "."
    if layout.decimal is None:
        fields = [field for row in rows for field in row]
        fields += [part for field in fields if (match := _RANGE.fullmatch(field)) for part in match.groups()]
        comma = any(re.fullmatch(r"[+-]?\d+,\d+", field) for field in fields)
        point = any(re.fullmatch(r"[+-]?(?:\d+|\d{1,3}(?:,\d{3})+)\.\d+", field) for field in fields)
        comma = comma or any(re.fullmatch(r"[+-]?\d{1,3}(?:[. ]\d{3})+,\d+", field) for field in fields)
        decimal = "," if comma and not point else "."
    return rows, "", decimal


def _with_ditto_marks(line: str) -> str:
    """Give a line in which a quote that fills a cell, for the same as above, is no quote around a text."""
    lone = len(_LONE_QUOTE.findall(line))
    return _LONE_QUOTE.sub("〃", line) if lone and (lone == line.count('"') or line.count('"') % 2) else line


def _whole_lines(lines: list[str]) -> list[str]:
    """Join the lines of a header in quotes that has several; below the first row of numbers nothing is joined.

    There a single quote is an inch or the same as above.
    """
    whole: list[str] = []
    number = 0
    while number < len(lines) and len(re.findall(r"(?:^|[,;\t|])\s*\d", lines[number])) < 2:
        line, size = lines[number], 1
        while line.count('"') % 2 and size < MOST_CELL_LINES and number + size < len(lines):
            line, size = f"{line} {lines[number + size]}", size + 1
        if line.count('"') % 2:  # a quote left open
            line, size = lines[number], 1
        whole.append(line)
        number += size
    return whole + lines[number:]


def _remark_last(row: list[str], width: int) -> list[str]:
    """Give a row of blank-separated columns with its remark in the last one, if a column before it is empty.

    Examples
    --------
    >>> _remark_last(["0", "5", "0", "ran"], 5)
    ['0', '5', '0', '', 'ran']
    """
    if len(row) < 2 or len(row) >= width or _is_number(row[-1], ".") or _is_number(row[-1], ","):
        return row
    return [*row[:-1], *[""] * (width - len(row)), row[-1]]


def _header_row(
    rows: Sequence[Sequence[str]], named: dict[str, str | int], required: dict[str, str], layout: LogLayout
) -> int | None:
    """Give the header row: after the lines to skip, or the first with every required name."""
    wanted = [named[name] for name in required]

    def fits(row: Sequence[str]) -> bool:
        return all(_place(row, column) is not None for column in wanted)

    if layout.skip_lines is not None:
        return layout.skip_lines if layout.skip_lines < len(rows) and fits(rows[layout.skip_lines]) else None
    return next((number for number, row in enumerate(rows[:500]) if any(row) and fits(row)), None)


def _place(headers: Sequence[str], column: str | int) -> int | None:
    """Give the place of a column: by number from 1, by its header, or by its header without the unit."""
    if isinstance(column, int):
        return column - 1 if column <= len(headers) else None
    plain = [" ".join(header.split()) for header in headers]
    for names in (plain, [header_parts(name)[0] for name in plain], [name.lower() for name in plain]):
        wanted = column.lower() if names and names[0] == plain[0].lower() and column not in names else column
        if wanted in names:
            return names.index(wanted)
    return None


def _refuse_twice(headers: Sequence[str], index: int, name: str, column: str | int, source: str) -> None:
    """Refuse a name that two columns have: the log may go on in a second block beside the first."""
    alike = [place + 1 for place, header in enumerate(headers) if header.split() == headers[index].split()]
    if isinstance(column, str) and len(alike) > 1:
        problem = f"{as_written(column)} occurs twice, as columns {alike[0]} and {alike[1]}"
        cure = "write the number of the column, and put what stands side by side one below the other"
        raise InputError(source, f"column {name}", problem, cure)


def _columns(
    headers: Sequence[str],
    named: dict[str, str | int],
    required: dict[str, str],
    optional: dict[str, str],
    layout: LogLayout,
    source: str,
) -> dict[str, Column]:
    found = {}
    for name, dimension in (required | optional).items():
        index = _place(headers, named[name])
        if index is not None:
            _refuse_twice(headers, index, name, named[name], source)
        if index is None:
            if name in layout.columns:
                guess = nearest(str(named[name]), headers)
                cure = f"write {guess} if that is meant" if guess else "correct [log]"
                have = printable(", ".join(header for header in headers if header), 200)
                problem = f"{as_written(named[name])} is not there; the columns are {have}"
                raise InputError(source, f"column {name}", problem, cure)
            continue
        title, unit = header_parts(headers[index])
        said = layout.columns[name].unit if name in layout.columns else None
        unit = said or (unit if dimension and is_unit_of(unit, dimension) else "")
        if dimension and not unit:
            cure = f'write {name} = {{ column = {as_written(named[name])}, unit = "ft" }} into [log]'
            raise InputError(source, f"column {printable(headers[index])}", f"has no unit of {dimension}", cure)
        factor = unit_factor(unit, dimension) if dimension else 1.0
        found[name] = Column(index, factor, Header(title, unit, printable(headers[index])))
    if not found:  # asked only to give the message of this program's own tables
        return find_columns(headers, required, optional, source)
    return found


def _rows(
    body: Sequence[tuple[int, Sequence[str]]],
    columns: dict[str, Column],
    width: int,
    decimal: str,
    repeated: Sequence[str],
) -> list[tuple[int, list[str]]]:
    """Give the rows of intervals; remark rows go to the interval above, sums and rows of units are skipped."""
    kept: list[tuple[int, list[str]]] = []
    depth, blows = columns["depth_to"].index, columns["blows"].index
    remark = columns["remark"].index if "remark" in columns else None
    for number, fields in body:
        row = [*(field.strip() for field in fields), *[""] * (width - len(fields))]
        texts = [field for field in row if field]
        if not texts or any(_TOTAL.fullmatch(field) for field in (row[: blows + 1] if row[depth] else row)):
            continue
        for name in repeated:
            if name in columns and kept and row[columns[name].index].lower() in _DITTO:
                row[columns[name].index] = kept[-1][1][columns[name].index]
        for name, column in columns.items():
            if name in ("depth_from", "depth_to", "stroke"):
                row[column.index] = _in_unit(row[column.index], column, decimal)
        counted = _is_number(row[blows], decimal) or any(one.match(row[blows]) for one in _COUNTS)
        counted = counted or all(_NEARLY_NUMBER.match(row[place]) for place in (depth, blows))  # such as "31?"
        if not (_is_number(row[depth], decimal) or _RANGE.fullmatch(row[depth]) or counted):
            if not kept and all(is_unit_of(field.strip("[]() "), "length") or len(field) < 8 for field in texts):
                continue  # a row of units below the headers
            if kept and remark is not None:
                note = " ".join(texts)
                kept[-1][1][remark] = f"{kept[-1][1][remark]}; {note}".strip("; ")
            continue
        kept.append((number, row))
    return kept


_COUNTS = (PART_COUNT, NO_BLOWS, LOWER_BOUND)
"""Ways in which a count is written that is not a number."""

_REPEATED = ("blows", "stroke", "pile", "date")
"""Columns in which a mark may stand for the value above."""


def _is_number(text: str, decimal: str) -> bool:
    try:
        written_number(text, decimal)
    except ValueError:
        return False
    return True


def _in_unit(text: str, column: Column, decimal: str) -> str:
    """Give feet and inches, such as ``53'-6"``, or a number with its unit, as a number in the column's unit."""
    for sign, fraction in _VULGAR.items():
        text = text.replace(sign, fraction)
    match = _FEET_AND_INCHES.fullmatch(text)
    broken = _FRACTION.fullmatch(text)
    if broken is not None and 0 < int(broken[2]) < int(broken[3]):
        return f"{int(broken[1]) + int(broken[2]) / int(broken[3]):.6f}".replace(".", decimal)
    own = _WITH_UNIT.fullmatch(text)
    if match is None and own is not None and is_unit_of(own[2], "length"):
        metres = float(own[1].replace(",", ".")) * unit_factor(own[2], "length")
        return f"{metres / column.factor:.6f}".replace(".", decimal)
    if match is None or _is_number(text, decimal):
        return text
    inches = float(match[2] or 0.0) + int(match[3] or 0) / max(1, int(match[4] or 1))
    metres = (float(match[1]) + inches / 12.0) * unit_factor("ft", "length")
    return f"{metres / column.factor:.6f}".replace(".", decimal)


_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ].*)?")
_NUMBERS = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})(?:\s.*)?")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-. ]+([A-Za-z]{3,9})\.?,?[-. ]+(\d{4}|\d{2})")
_MONTH_DAY = re.compile(r"([A-Za-z]{3,9})\.?[- ]+(\d{1,2})(?:st|nd|rd|th)?,?[- ]+(\d{4}|\d{2})")


def iso_dates(
    texts: Sequence[str], rows: Sequence[int], order: str | None, source: str, column: str
) -> tuple[str, ...]:
    """Give dates in ISO 8601; text that is not a date is unchanged, and an ambiguous date is refused.

    Examples
    --------
    >>> iso_dates(["5/13/2026", "5/4/2026", "11 May 2026"], [2, 3, 4], None, "log.csv", "date")
    ('2026-05-13', '2026-05-04', '2026-05-11')
    """
    parts = {index: match for index, text in enumerate(texts) if (match := _NUMBERS.fullmatch(text.strip()))}
    day_first = [index for index, match in parts.items() if int(match[1]) > 12]
    month_first = [index for index, match in parts.items() if int(match[2]) > 12]
    if day_first and month_first:
        first, second = sorted((day_first[0], month_first[0]))
        if first == second:
            problem = f'"{texts[first]}" is not a date'
            raise InputError(source, f"row {rows[first]}, column {column}", problem, "correct it")
        problem = f'"{texts[first]}" and "{texts[second]}" cannot both be read in one order'
        raise InputError(source, f"row {rows[second]}, column {column}", problem, "write dates as 2026-05-11")
    if order is None and parts:
        order = "day first" if day_first else "month first" if month_first else None
    if order is None:
        doubtful = next((index for index, match in parts.items() if match[1].lstrip("0") != match[2].lstrip("0")), None)
        if doubtful is not None:
            problem = f'"{texts[doubtful]}" is ambiguous: month first or day first'
            cure = 'write [log] dates = "month first" or "day first", or dates as 2026-05-11'
            raise InputError(source, f"row {rows[doubtful]}, column {column}", problem, cure)
    found = []
    for index, text in enumerate(texts):
        date = _date(text.strip(), parts.get(index), order or "month first")
        if date is None and index in parts:
            raise InputError(source, f"row {rows[index]}, column {column}", f'"{text}" is not a date', "correct it")
        found.append(text if date is None else date)
    return tuple(found)


def _date(text: str, numbers: re.Match[str] | None, order: str) -> str | None:
    iso = _ISO.fullmatch(text)
    try:
        if iso:
            return datetime.date(int(iso[1]), int(iso[2]), int(iso[3])).isoformat()
        if numbers:
            day, month = (1, 2) if order == "day first" else (2, 1)
            return datetime.date(_year(numbers[3]), int(numbers[month]), int(numbers[day])).isoformat()
        for pattern, day, month in ((_DAY_MONTH, 1, 2), (_MONTH_DAY, 2, 1)):
            match = pattern.fullmatch(text)
            if match and match[month][:3].lower() in _MONTHS:
                number = _MONTHS.index(match[month][:3].lower()) + 1
                return datetime.date(_year(match[3]), number, int(match[day])).isoformat()
    except ValueError:
        return None
    return None


def _year(text: str) -> int:
    return int(text) if len(text) == 4 else 2000 + int(text)
