"""Text in columns separated by commas, semicolons, tabs, pipes or spaces, below any number of lines on the recorder."""

import csv
import io
import re
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from pathlib import Path
from typing import Any

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.files import MAX_TABLE_BYTES, read_bytes
from dyntest.reading.formats.contents import Contents, FileChannel, check_channels, parts_of
from dyntest.reading.parts import Records
from dyntest.reading.text_tables import (
    are_units,
    has_thousands,
    header_parts,
    is_summary,
    refuse_doubtful_mark,
    written_number,
)
from dyntest.reading.wording import as_written, known_as, printable

SNIFFED = 1 << 17
"""Bytes at the beginning of a text that are examined to find its layout."""

LEAST_ROWS = 3
"""Successive rows of numbers that are taken as the table [1]; a line on the recorder may have numbers too."""

_DIALECTS = (*((mark, decimal) for mark in "\t;|" for decimal in ".,"), (",", "."), (" ", "."), (" ", ","), (",", ","))
_NUMBER = {
    mark: re.compile(rf"[+−-]?(?:\d+(?:{re.escape(mark)}\d*)?|{re.escape(mark)}\d+)(?:[eEdD][+-]?\d+)?")
    for mark in ".,"
}
ROWS_OF_TABLE = 20
"""Successive rows of numbers that belong to the table even where a header stands below [1]: it was interrupted."""

_CLOCK = re.compile(r"(?:.*[\sT])?(\d{1,2}:\d{2}:\d{2}(?:[.,]\d+)?)(?:Z|\s*[+-]\d{2}:?\d{2})?")
"""A time of day with or without its date before it."""

_EXPONENT = re.compile(rb"(?<=[\d.])[dD](?=[+-]?\d)")

_BREAK = re.compile(rb"""\n(?=[ \t]*(?:[^\s\d+.,;|"'\xe2-]|--|["'][^\s\d+.-]|[\t;,|]*\r?(?:\n|$)))""")
"""The end of a line above one that is no row: it is blank or begins with a letter or the mark of a comment."""

MOST_BREAKS = 20_000
"""Most lines between blows that are looked at [1]. Our own bound, no source."""

LEAST_PART = 64
"""Rows of a blow at least, where lines part the blows [1]. Our own bound, no source."""

_COMMENTS = ("#", "%", "//", "!", "*", "--", "==")
_TITLE = re.compile(
    r"(?:blow|hit|impact|shot|schlag|coup|golpe|锤击|\bno\b|\bnr\b|n°)[^\d\n]{0,12}(\d{1,9})(?![\d:]|[.,]\d)",
    re.IGNORECASE,
)
"""A line above the rows of a blow that numbers it."""

MOST_FOOTERS = 50
"""Most lines of words below a table that are passed over [1]. Our own bound, no source."""

_NOT_TEXT = (b"\x89HDF", b"TDSm", b"PAR1", b"PK\x03\x04", b"MATLAB", b"\xd0\xcf\x11\xe0")


@dataclass(frozen=True)
class TextLayout:
    """Layout of a text in columns.

    Parameters
    ----------
    delimiter, decimal : str
        Delimiter between columns, and the decimal mark.
    first : int
        Line of the first row of numbers, from 0 [1].
    header : int or None
        Line of the header, from 0 [1]; None where there is none.
    names, units : tuple of str
        By column; units are empty if the file does not give them.
    most : int
        Fields of a row with what stands behind the last column: a delimiter at the end [1].
    """

    delimiter: str
    decimal: str
    first: int
    header: int | None
    names: tuple[str, ...]
    units: tuple[str, ...]
    most: int


def recognise(name: str, head: bytes) -> bool:
    """Whether a file is text."""
    if head.startswith(_NOT_TEXT):
        return False
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return True
    return b"\x00" not in head or name.endswith((".csv", ".txt", ".asc", ".dat", ".csv.gz", ".txt.gz"))


def read(path: Path, records: Records) -> tuple[Contents, ...]:
    """Open a text in columns."""
    return (contents_of(read_bytes(path, MAX_TABLE_BYTES), records, known_as(path)),)


def layout_of_text(data: bytes, records: Records, source: str) -> tuple[TextLayout, list[str]]:
    """Give the layout of a text in UTF-8, and its first lines."""
    lines = [line.rstrip("\r") for line in data[:SNIFFED].decode("utf-8", "replace").split("\n")]
    if len(data) > SNIFFED or not lines[-1]:
        lines = lines[:-1]
    return text_layout(lines, records, source), lines


def contents_of(data: bytes, records: Records, source: str) -> Contents:
    """Give the contents of a text in columns."""
    data = as_utf8(data)
    layout, lines = layout_of_text(data, records, source)
    start = 0
    for _ in range(layout.first):
        start = data.index(b"\n", start) + 1
    body = data[start:].rstrip(b" \r\n\t\x1a") if layout.delimiter != "\t" else data[start:].rstrip(b"\r\n\x1a ")
    width = len(layout.names)
    body = _plain_numbers(_without_footer(body, width, layout))
    body, parts = _without_breaks(body, lines[: layout.first], layout)
    n_rows = body.count(b"\n") + 1
    if records.decimal is None:
        refuse_doubtful_mark(body, layout.delimiter, layout.decimal, source)

    def row(index: int) -> str:
        between = parts.between[: index // parts.length] if parts is not None else ()
        return f"row {layout.first + index + sum(between) + 1}"

    cache: dict[int, np.ndarray] = {}

    def column(place: int) -> np.ndarray:
        if place == width and parts is not None:
            return np.repeat(np.array(parts.blow, dtype=float), parts.length)
        if not cache:
            cache.update(_all_numbers(body, width, layout))
            if not cache:
                _refuse_longer_rows(body, width, layout, source, row)
        if place not in cache:
            read = _seconds if channels[place].clock else _numbers
            cache[place] = read(body, width, place, layout, source, row)
        return cache[place]

    clocks = [_CLOCK.fullmatch(field) is not None for field in fields_of(lines[layout.first], layout.delimiter)]
    channels = tuple(
        FileChannel(name, (n_rows,), "s" if clock else unit, clock=clock)
        for name, unit, clock in zip(layout.names, layout.units, clocks[:width], strict=True)
    )
    if parts is not None and parts.blow:
        channels = (*channels, FileChannel("blow", (n_rows,)))
    check_channels(channels, source)
    settings: dict[str, object] = {
        "skip_lines": layout.first if layout.header is None else layout.header,
        "delimiter": layout.delimiter,
        "decimal": layout.decimal,
        "header": layout.header is not None,
    }
    head = tuple(lines[: layout.first + LEAST_ROWS])
    return Contents(source, "text", channels, column, parts_of(column), settings, head, row)


def _plain_numbers(body: bytes) -> bytes:
    """Write minus signs and exponents as every computer reads them: some have a dash for the one, FORTRAN D for E."""
    body = body.replace("−".encode(), b"-") if "−".encode() in body else body
    return _EXPONENT.sub(b"e", body) if _EXPONENT.search(body[: body.find(b"\n") + 1]) else body


@dataclass(frozen=True)
class Parts:
    """Blows of one length, parted by lines that are no rows.

    Parameters
    ----------
    length : int
        Rows of each blow [1].
    between : tuple of int
        Lines between each two blows [1].
    blow : tuple of int
        Their numbers; none where a column numbers them [1].
    """

    length: int
    between: tuple[int, ...]
    blow: tuple[int, ...]


def _without_breaks(body: bytes, above: Sequence[str], layout: TextLayout) -> tuple[bytes, Parts | None]:
    """Leave out blank lines, comments, titles and repeated headers between blows of one length.

    They must be blank, or comments, or like lines above the table or between other blows; else nothing is left out.
    """
    starts = [match.start() + 1 for match in islice(_BREAK.finditer(body), MOST_BREAKS + 1)]
    if not starts or len(starts) > MOST_BREAKS:
        return body, None
    rows, breaks, at = [], [[]], 0  # type: tuple[list[bytes], list[list[str]], int]
    for start in starts:
        if start > at:
            rows.append(body[at:start])
            breaks.append([])
        end = body.find(b"\n", start) + 1 or len(body)
        breaks[-1].append(body[start:end].decode("utf-8", "replace").strip())
        at = end
    rows.append(body[at:])
    del breaks[0]
    lengths = {block.strip(b"\r\n").count(b"\n") + 1 for block in rows}
    known = [_like(line) for line in above]
    every = [[_like(line) for line in one if line] for one in breaks]
    fit = all(one == every[0] for one in every) and all(
        len(every) > 1 or one in known or one.startswith(_COMMENTS) for one in every[0]
    )
    if len(lengths) > 1 or min(lengths) < LEAST_PART or not fit:
        return body, None
    titles = [_TITLE.findall("\n".join(one)) for one in (above, *breaks)]
    blow = [int(found[-1]) for found in titles if found]
    if len(blow) < len(rows) or any(later <= one for one, later in pairwise(blow)):
        blow = list(range(1, len(rows) + 1))
    ends = [
        [fields_of(block.strip(b"\r\n").decode("utf-8", "replace").split("\n")[n], layout.delimiter) for n in (0, -1)]
        for block in rows
    ]
    numbered = any(
        all(len(one) > place and one[place] == last[place] for one, last in ends)
        and len({one[place] for one, _ in ends}) == len(ends)
        for place in range(len(layout.names))
        if all(len(one) > place and len(last) > place for one, last in ends)
    )
    parts = Parts(lengths.pop(), tuple(map(len, breaks)), () if numbered else tuple(blow))
    return b"\n".join(block.strip(b"\r\n") for block in rows), parts


def _like(line: str) -> str:
    """Give a line without its numbers."""
    return re.sub(r"[+-]?\d+(?:[.,:]\d+)*", "#", line.strip())


def _without_footer(body: bytes, width: int, layout: TextLayout) -> bytes:
    """Leave out lines of words below the table, and its summary; no other row with a number is ever left out."""
    for _ in range(MOST_FOOTERS):
        start = body.rfind(b"\n") + 1
        fields = fields_of(body[start:].decode("utf-8", "replace").rstrip("\r"), layout.delimiter)
        short = len(fields) < width if layout.delimiter != " " else len(fields) != width
        blank = not any(fields)
        summary = is_summary(next((field for field in fields if field), ""))
        wrong = not (short or blank) or any(_is_number(field, layout.decimal) for field in fields)
        if not start or (wrong and not summary):
            break
        body = body[:start].rstrip(b"\r\n")
    return body


def as_utf8(data: bytes) -> bytes:
    """Give a text in UTF-8, from UTF-8, UTF-16 with its mark, or a Western single-byte code page."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        data = data.decode("utf-16", "replace").encode()
    for first, wide in ((1, "utf-16-le"), (0, "utf-16-be")):
        if data[first:64:2].count(0) > 24:  # UTF-16 without its mark: every other byte of a plain letter is zero
            data = data.decode(wide, "replace").encode()
    if data[:3] == b"\xef\xbb\xbf":
        data = data[3:]
    head = data[:SNIFFED]
    if b"\r" in head and b"\n" not in head:  # lines end as on the oldest of computers
        data = data.replace(b"\r", b"\n")
        head = data[:SNIFFED]
    elif b"\r\r\n" in head:
        data = data.replace(b"\r\r\n", b"\n")
        head = data[:SNIFFED]
    try:
        head.rpartition(b"\n")[0].decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace").encode()
    return data


def text_layout(lines: Sequence[str], records: Records, source: str) -> TextLayout:
    """Find the layout of a text; what the sheet gives is not guessed."""
    wanted = [
        (delimiter, decimal)
        for delimiter, decimal in _DIALECTS
        if records.delimiter in (None, delimiter) and records.decimal in (None, decimal)
    ]
    begin = records.skip_lines or 0
    best, delimiter, decimal, run = 0.0, "", ".", (0, 0)
    for one in wanted:
        rows = [fields_of(line, one[0]) for line in lines]
        found = _longest_run(rows, one[1], begin)
        width = len(rows[found[0]]) if found[1] > found[0] else 0
        score = _numbers_in(rows[slice(*found)], one[1])
        score *= 1.0 if width > 1 else 0.5 if one[0] == records.delimiter else 0.1
        if score > best:
            best, delimiter, decimal, run = score, one[0], one[1], found
    if run[1] - run[0] < min(LEAST_ROWS, max(1, len(lines) - begin - 1)):
        problem = "has no rows of numbers" + (f" below line {begin}" if begin else "")
        said = begin or records.delimiter or records.decimal
        cure = "check skip_lines, delimiter and decimal in [records]" if said else "export the records again"
        raise InputError(source, "", problem, cure)
    first = _table_start([fields_of(line, delimiter) for line in lines[: run[0] + 1]], decimal, begin)
    width = most = len(fields_of(lines[first], delimiter))
    header, names, units = _header(lines, first, width, delimiter, decimal, records.skip_lines)
    while width > 1 and not fields_of(lines[first], delimiter)[width - 1] and (header is None or not names[width - 1]):
        width -= 1  # a delimiter at the end of every row
    names = [name or f"column {number}" for number, name in enumerate(names[:width], start=1)]
    return TextLayout(delimiter, decimal, first, header, tuple(names), tuple(units[:width]), most)


def fields_of(line: str, delimiter: str) -> list[str]:
    """Give the fields of a line, without the blanks around them."""
    if delimiter == " ":
        return line.split()
    if '"' in line:
        try:
            return [field.strip() for field in next(csv.reader([line], delimiter=delimiter), [])]
        except csv.Error:  # not a text at all
            return [line]
    return [field.strip() for field in line.split(delimiter)]


def _is_number(field: str, decimal: str) -> bool:
    plain = _NUMBER[decimal].fullmatch(field) is not None or has_thousands(field, decimal)
    return plain or field.lower() in ("nan", "inf", "-inf")


def _longest_run(rows: list[list[str]], decimal: str, begin: int) -> tuple[int, int]:
    """Give first line and end of the longest run of rows of numbers of one width."""
    best, start, width = (0, 0), None, 0
    for number in range(begin, len(rows) + 1):
        fields = rows[number] if number < len(rows) else []
        numeric = sum(_is_number(field, decimal) for field in fields)
        filled = sum(bool(field) for field in fields)
        ok = numeric >= 1 and 2 * numeric >= filled and (numeric >= 2 or filled == 1)
        if ok and start is not None and len(fields) == width:
            continue
        if start is not None and number - start > best[1] - best[0]:
            best = (start, number)
        start, width = (number, len(fields)) if ok else (None, 0)
    return best


def _table_start(rows: list[list[str]], decimal: str, begin: int) -> int:
    """Give where the table begins whose longest run of rows begins with the last of these [line].

    A row that is too short or too long, or a line of words, interrupts a table; what stands above it is not lost. Only
    a header, which has a word for each column, or a short run of numbers above one, stands above a table.
    """
    width, first = len(rows[-1]), len(rows) - 1
    start, number = first, first - 1
    while number >= begin:
        run = number
        while run >= begin and len(rows[run]) == width and _of_numbers(rows[run], decimal):
            run -= 1
        size = number - run
        if size >= ROWS_OF_TABLE or (size >= LEAST_ROWS and not _has_header(rows[number + 1 : start], width, decimal)):
            start = run + 1
        number = run - 1 if size == 0 else run
    return start


def _of_numbers(fields: list[str], decimal: str) -> bool:
    """Whether a row has numbers in most of its filled fields."""
    return 2 * sum(_is_number(field, decimal) for field in fields) >= sum(map(bool, fields)) > 0


def _has_header(rows: list[list[str]], width: int, decimal: str) -> bool:
    """Whether some rows have one that is as wide as the table, or nearly, and of words."""
    return any(width - 1 <= len(row) <= width + 1 and any(row) and not _of_numbers(row, decimal) for row in rows)


def _numbers_in(rows: list[list[str]], decimal: str) -> float:
    """Give for how many rows the numbers in some rows would do, if every filled field were one [1]."""
    shares = ((sum(_is_number(field, decimal) for field in row), sum(bool(field) for field in row)) for row in rows)
    return sum(numeric / filled for numeric, filled in shares if filled)


def _header(
    lines: Sequence[str], first: int, width: int, delimiter: str, decimal: str, skip: int | None
) -> tuple[int | None, list[str], list[str]]:
    """Give line, names and units of the header; a row of units may be between it and the numbers."""
    above = [number for number in range(skip or 0, first) if lines[number].strip()]
    nothing = [""] * width
    unit_row: list[str] | None = None
    while above:
        number = above.pop() if skip is None else above.pop(0)
        fields = _header_fields(lines[number], delimiter, width)
        if skip is None and unit_row is None and fields is not None and are_units(fields):
            unit_row = fields
            continue
        if fields is None or sum(_is_number(field, decimal) for field in fields) > width // 2:
            return None, nothing, nothing
        if skip is not None:
            later = (_header_fields(lines[n], delimiter, width) for n in above)
            unit_row = next((row for row in later if row is not None and are_units(row)), None)
        parted = [header_parts(field) for field in fields]
        units = [unit for _, unit in parted] if unit_row is None else [field.strip("[]() ") for field in unit_row]
        return number, fields, units
    return None, nothing, nothing


def _header_fields(line: str, delimiter: str, width: int) -> list[str] | None:
    fields = fields_of(line, delimiter)
    if len(fields) == width:
        return fields
    if len(fields) == width - 1 or (len(fields) == width + 1 and not fields[-1]):
        return [*fields, ""][:width]
    if delimiter == " ":  # names of two words, separated by wider gaps
        wide = [field.strip() for field in re.split(r"\s{2,}|\t", line.strip())]
        return wide if len(wide) == width else None
    return None


def _parsed(body: bytes, layout: TextLayout, places: list[int] | None) -> Any:
    """Give columns as a frame of floats; where none is named all of them, the last of which rows have too many."""
    import pandas as pd

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", pd.errors.ParserWarning)  # a delimiter at the end of every row
        return pd.read_csv(
            io.BytesIO(body),
            header=None,
            sep=r"\s+" if layout.delimiter == " " else layout.delimiter,
            decimal=layout.decimal,
            names=range(layout.most + (places is None)),
            usecols=places,
            index_col=False,
            dtype=float,
            skip_blank_lines=False,
            encoding_errors="replace",
        )


def _all_numbers(body: bytes, width: int, layout: TextLayout) -> dict[int, np.ndarray]:
    """Give every column at once if all are finite numbers; else nothing."""
    try:
        table = _parsed(body, layout, None)
    except Exception:  # a column of text perhaps, which nobody may have asked for
        return {}
    columns = {place: table[place].to_numpy() for place in range(width)}
    return (
        columns
        if table[layout.most].isna().all() and all(np.isfinite(values).all() for values in columns.values())
        else {}
    )


def _numbers(
    body: bytes, width: int, place: int, layout: TextLayout, source: str, row: Callable[[int], str]
) -> np.ndarray:
    """Give one column."""
    try:
        values = _parsed(body, layout, [place])[place].to_numpy()
    except (ValueError, OverflowError):
        return _one_by_one(body, place, width, layout, source, row)
    except Exception as trouble:
        reason = printable(" ".join(str(trouble).split()), 80)
        where = f"column {printable(layout.names[place])}"
        raise InputError(source, where, f"cannot be read ({reason})", "export the records again") from None
    if not np.isfinite(values).all():
        return _one_by_one(body, place, width, layout, source, row)
    return values


def _refuse_longer_rows(body: bytes, width: int, layout: TextLayout, source: str, row: Callable[[int], str]) -> None:
    """Refuse a row with more values than columns: one of its numbers may have been cut in two."""
    for index, line in enumerate(body.decode("utf-8", "replace").split("\n")):
        fields = fields_of(line.rstrip("\r"), layout.delimiter)
        if any(fields[layout.most :]):
            cure = "copy or export the file again, or remove the line"
            raise InputError(source, row(index), f"has {len(fields)} values for {width} columns", cure)


def _seconds(
    body: bytes, width: int, place: int, layout: TextLayout, source: str, row: Callable[[int], str]
) -> np.ndarray:
    """Give a column of times of day, counted from the first [s]."""
    texts = [fields_of(line, layout.delimiter) for line in body.decode("utf-8", "replace").split("\n")]
    seconds = np.empty(len(texts))
    for index, fields in enumerate(texts):
        match = _CLOCK.fullmatch(fields[place]) if len(fields) > place else None
        if match is None:
            what = as_written(fields[place]) if len(fields) > place else "the row"
            where = f"{row(index)}, column {printable(layout.names[place])}"
            raise InputError(source, where, f"{what} has no time of day", "copy or export the file again")
        hours, minutes, rest = match[1].replace(",", ".").split(":")
        seconds[index] = 3600.0 * int(hours) + 60.0 * int(minutes) + float(rest)
    midnight = np.cumsum(np.diff(seconds, prepend=seconds[0]) < -43200.0) * 86400.0
    return seconds + midnight - seconds[0]


def _one_by_one(
    body: bytes, place: int, width: int, layout: TextLayout, source: str, row: Callable[[int], str]
) -> np.ndarray:
    """Give a column whose thousands are set apart; refuse a row that is too short, or whose value is not a number."""
    where = f"column {printable(layout.names[place])}"
    values = []
    for index, line in enumerate(body.decode("utf-8", "replace").split("\n")):
        fields = fields_of(line.rstrip("\r"), layout.delimiter)
        if len(fields) <= place:
            cure = "copy or export the file again, or remove the line"
            raise InputError(source, row(index), f"has {len(fields)} values for {width} columns", cure)
        text = fields[place]
        if not _is_number(text, layout.decimal):
            problem = "is empty" if not text else f"{as_written(text)} is not a number"
            raise InputError(source, f"{row(index)}, {where}", problem, "write a number or remove the blow")
        number = written_number(text, layout.decimal)
        if not np.isfinite(number):
            problem = f"is {number}, not a finite number"
            raise InputError(source, f"{row(index)}, {where}", problem, "write a number or remove the blow")
        values.append(number)
    return np.array(values)


HEAD_BYTES = 1 << 17
"""Bytes at the beginning of a text that must include its header."""


class TextRows:
    """The rows of a growing text, each read once; only complete lines count."""

    def __init__(self, path: Path, records: Records | None, source: str):
        self.path = path
        with path.open("rb") as file:
            data = file.read(HEAD_BYTES)
        self.records = records
        if records is None:
            first = 1
        else:
            layout, _ = layout_of_text(as_utf8(data), records, source)
            first = layout.first
            skip = layout.first if layout.header is None else layout.header
            self.records = replace(records, delimiter=layout.delimiter, decimal=layout.decimal, skip_lines=skip)
        end = 0
        for _ in range(first):
            end = data.find(b"\n", end) + 1
            if end == 0:
                raise InputError(source, "", "has no rows yet", "wait until the recorder has written some")
        self.head = data[:end]
        self.begins = {0: end}
        """Where rows begin that were asked for lately [byte]."""

    def rows(self, start: int, most: int, ended: bool = False) -> tuple[bytes, int]:
        """Give header and at most so many whole rows from a row on, and how many there are.

        The last line counts without its line's end only where the file has `ended`.
        """
        row = max(one for one in self.begins if one <= start)
        byte = self.begins[row]
        kept: list[bytes] = []
        with self.path.open("rb") as file:
            file.seek(byte)
            while row < start:
                line = file.readline()
                if not line or not (ended or line.endswith(b"\n")):
                    break
                row, byte = row + (not line.isspace()), byte + len(line)
            end, asked = byte, most if row == start else 0
            while len(kept) < asked and (lines := list(islice(file, asked - len(kept)))):
                if not (ended or lines[-1].endswith(b"\n")):
                    lines.pop()
                kept += [line for line in lines if not line.isspace()]
                end += sum(map(len, lines))
        self._remember(row, byte)
        if kept and kept[-1].endswith(b"\n"):
            self._remember(row + len(kept), end)
        for old in list(self.begins)[1:-16]:
            del self.begins[old]
        self.begins.setdefault(0, len(self.head))
        return self.head + b"".join(kept), len(kept)

    def _remember(self, row: int, byte: int) -> None:
        """Keep where a row begins; the newest stands last."""
        self.begins.pop(row, None)
        self.begins[row] = byte
