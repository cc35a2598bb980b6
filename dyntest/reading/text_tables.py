"""Text tables: delimiter, decimal mark, rows as text, and headers of a name and a unit in square brackets."""

import csv
import io
import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from dyntest.errors import InputError
from dyntest.reading.wording import as_written, nearest, printable
from dyntest.units import DIMENSIONS, plain_number, unit_factor

DELIMITERS = ",;\t"
"""What may stand between columns."""

_COMMA_NUMBER = re.compile(r"\s*[+−-]?\d+,\d+(?:[eE][+-]?\d+)?\s*")
_POINT_NUMBER = re.compile(r"\s*[+−-]?\d*\.\d+(?:[eE][+-]?\d+)?\s*")


_APART = "'’\u00a0\u202f\u2009"
"""What sets thousands apart and never is a decimal mark; a plain blank may also part two numbers."""


def _with_thousands(decimal: str) -> re.Pattern[str]:
    other, mark = re.escape("," if decimal == "." else "."), re.escape(decimal)
    ways = (
        rf"(?:([{_APART}])\d{{3}}(?:\1\d{{3}})*)(?:{mark}\d*)?",
        rf"(?:[ {other}]\d{{3}}|(?: \d{{3}}){{2,}}|(?:{other}\d{{3}}){{2,}}){mark}\d*",
        rf"(?:{other}\d{{3}}){{2,}}",
    )
    return re.compile(rf"[+−-]?[1-9]\d{{0,2}}(?:{'|'.join(ways)})")


_THOUSANDS = {decimal: _with_thousands(decimal) for decimal in ".,"}
"""Numbers whose thousands are set apart, where nothing else can be meant; ``1,234`` alone could be 1.234."""

_ONE_GROUP = {decimal: re.compile(rf"[+−-]?[1-9]\d{{0,2}}{re.escape(decimal)}\d{{3}}") for decimal in ".,"}
"""Numbers whose mark could set thousands apart: just three digits follow it, and no zero stands alone before it."""


def written_number(text: str, decimal: str) -> float:
    """Read a number, also one whose thousands are set apart by blanks, apostrophes or the other mark.

    Examples
    --------
    >>> written_number("1,234.5", "."), written_number("1 234,5", ","), written_number("1'234'567", ".")
    (1234.5, 1234.5, 1234567.0)
    """
    field, other = text.strip(), "," if decimal == "." else "."
    if _ONE_GROUP[other].fullmatch(field):
        raise ValueError(f"{field!r} may have a decimal mark or not")
    if _THOUSANDS[decimal].fullmatch(field):
        field = re.sub(f"[ {_APART}{other}]", "", field)
    return plain_number(field, decimal)


def thousands_or_decimals(columns: Iterable[Sequence[str]], decimal: str) -> str:
    """Give a number whose mark may be a decimal mark or set thousands apart; empty if other numbers settle it.

    A decimal comma is settled by a number with other than three digits behind it, or with 0 before it. A point is also
    settled where every number of a column has one.

    Examples
    --------
    >>> thousands_or_decimals([["850", "1,234"]], ","), thousands_or_decimals([["850", "1,234", "0,5"]], ",")
    ('1,234', '')
    >>> thousands_or_decimals([["2.512", "2.498"]], "."), thousands_or_decimals([["2,512", "2,498"]], ",")
    ('', '2,512')
    """
    doubt = ""
    for fields in columns:
        numbers = [field.strip() for field in fields if _is_plain(field, decimal)]
        marked = [field for field in numbers if decimal in field]
        if not all(_ONE_GROUP[decimal].fullmatch(field) for field in marked):
            return ""
        above = any(len(field.lstrip("+−-")) > 3 for field in numbers if decimal not in field)
        if marked and not above and (decimal == "," or len(marked) < len(numbers)):
            doubt = doubt or marked[0]
    return doubt


def said_decimal(number: str, decimal: str) -> str:
    """Say how a doubtful mark is settled as decimal mark, in a sheet and before there is one."""
    meant = f'if {number.replace(",", ".")} is meant, write decimal = "{decimal}" in [records]'
    return f"{meant}, --decimal {decimal} to inspect and new, or the decimal mark on the page New test"


def _settling(decimal: str) -> re.Pattern[bytes]:
    mark, parts = re.escape(decimal), r";|\s\"" + ("," if decimal == "." else "")
    ways = (r"0?M\d+", r"0M", r"\d+M(?:\d{1,2}|\d{4,})?", r"\d{4,}M\d+", r"\d+M\d+[eEdD][+-]?\d+")
    return re.compile(rf"(?<![^{parts}])[+-]?(?:{'|'.join(ways)})(?![^{parts}])".replace("M", mark).encode())


_SETTLED = {decimal: _settling(decimal) for decimal in ".,"}


def refuse_doubtful_mark(body: bytes, delimiter: str, decimal: str, source: str) -> None:
    """Refuse a table of numbers whose mark may set thousands apart: no number in it tells."""
    if decimal.encode() not in body or _SETTLED[decimal].search(body):
        return
    text = body.decode("utf-8", "replace")
    rows = [
        [field.strip('" \r') for field in line.split(None if delimiter == " " else delimiter)]
        for line in text.split("\n")
    ]
    columns = [[row[place] for row in rows if place < len(row)] for place in range(max(map(len, rows)))]
    doubt = thousands_or_decimals(columns, decimal)
    if doubt:
        raise doubtful_mark(source, "", doubt, f"export them without thousands marks; {said_decimal(doubt, decimal)}")


def has_thousands(text: str, decimal: str) -> bool:
    """Whether a text is a number whose thousands are set apart.

    Examples
    --------
    >>> has_thousands("1,234.5", "."), has_thousands("1234.5", ".")
    (True, False)
    """
    return _THOUSANDS[decimal].fullmatch(text) is not None


def _is_plain(text: str, decimal: str) -> bool:
    try:
        plain_number(text, decimal)
    except ValueError:
        return False
    return True


def doubtful_mark(source: str, place: str, number: str, cure: str) -> InputError:
    """Give the message for numbers that could be a thousand times larger."""
    plain = re.sub(r"[.,]", "", number)
    problem = f"{as_written(number)} may be {plain} or {number.replace(',', '.')}"
    return InputError(source, place, problem, cure)


@dataclass(frozen=True)
class Dialect:
    """Delimiter and decimal mark of a CSV file.

    Parameters
    ----------
    delimiter : str
        Delimiter between columns.
    decimal : str
        The decimal mark, ``"."`` or ``","``.
    """

    delimiter: str
    decimal: str


def dialect_of(lines: Sequence[str], source: str) -> Dialect:
    """Find delimiter and decimal mark of a CSV file.

    The delimiter is the most frequent one in the header. A decimal comma is accepted only with another delimiter, if
    some number has a comma and none has a point.

    Examples
    --------
    >>> dialect_of(["depth;blows", "0,5;12"], "log.csv")
    Dialect(delimiter=';', decimal=',')
    """
    outside_quotes = re.sub(r'"[^"]*"', "", lines[0])
    delimiter = max(DELIMITERS, key=outside_quotes.count)
    if delimiter == ",":
        return Dialect(",", ".")
    fields = [field.strip('" ') for line in lines[1:] for field in line.strip().split(delimiter)]
    comma = next((field for field in fields if _COMMA_NUMBER.fullmatch(field)), None)
    point = next((field for field in fields if _POINT_NUMBER.fullmatch(field)), None)
    if comma and point:
        problem = f"has both a decimal comma ({as_written(comma)}) and a decimal point ({as_written(point)})"
        raise InputError(source, "", problem, "write all numbers with a decimal point")
    return Dialect(delimiter, "," if comma else ".")


def header_of(line: str, dialect: Dialect) -> list[str]:
    """Give the headers of a table."""
    return next(csv.reader([line], delimiter=dialect.delimiter), [])


@dataclass(frozen=True)
class TextTable:
    """A small table as text, for logs.

    Parameters
    ----------
    source : str
        The file's name for messages.
    headers : tuple of str
        The first row.
    rows : tuple of tuple
        Line number in the file and the fields, one per row.
    decimal : str
        The decimal mark.
    marked : bool
        Whether the sheet gives it.
    """

    source: str
    headers: tuple[str, ...]
    rows: tuple[tuple[int, list[str]], ...]
    decimal: str
    marked: bool = False


def text_table(text: str, source: str) -> TextTable:
    r"""Give a CSV text as rows, each as long as the header.

    Examples
    --------
    >>> text_table("pile,blows\nP1,12\n", "log.csv").rows
    ((2, ['P1', '12']),)
    """
    lines = list(io.StringIO(text, newline=None))
    filled = [line for line in lines if line.strip(f"{DELIMITERS}\"' \r\n")]
    if not filled:
        raise InputError(source, "", "has only blank lines", "export the table again")
    dialect = dialect_of(filled, source)
    (_, headers), *rows = _rows(lines, dialect, source)
    for line, fields in rows:
        if len(fields) != len(headers):
            raise uneven_row(source, line, len(fields), len(headers), dialect)
    if not rows:
        raise InputError(source, "", "has a header but no rows", "fill in the table")
    return TextTable(source, tuple(headers), tuple(rows), dialect.decimal)


def uneven_row(source: str, row: int, have: int, wanted: int, dialect: Dialect) -> InputError:
    """Give the message for a row whose length differs from the header."""
    cure = "give each column its value, and put text with a comma in quotes"
    if dialect.delimiter == "," and have > wanted:
        cure += "; decimal commas need semicolons between the columns"
    return InputError(source, f"row {row}", f"has {have} values for {wanted} columns", cure)


def _rows(lines: Iterable[str], dialect: Dialect, source: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(lines, delimiter=dialect.delimiter, strict=True)  # a quote left open is an error
    try:
        for fields in reader:
            if any(field.strip() for field in fields):
                yield reader.line_num, fields
    except csv.Error as trouble:
        raise InputError(source, f"row {reader.line_num}", f"cannot be read ({trouble})", "correct the row") from None


_HEADER = re.compile(r"\s*([^\[\]]*?)\s*(?:\[([^\[\]]*)\]\s*)?")


@dataclass(frozen=True)
class Header:
    """A column's header, split into name and unit.

    Parameters
    ----------
    name : str
        Text before the brackets.
    unit : str
        Text in the brackets; empty if there are none.
    text : str
        The header as written, for messages.
    """

    name: str
    unit: str
    text: str

    @classmethod
    def parse(cls, text: str) -> "Header":
        """Split a header into name and unit.

        Examples
        --------
        >>> Header.parse("strain_1 [µm/m]").unit
        'µm/m'
        """
        match = _HEADER.fullmatch(text[:200])
        name, unit = (match[1], match[2] or "") if match else (text.strip(), "")
        return cls(name, unit.strip(), printable(text.strip()))


@dataclass(frozen=True)
class Column:
    """A column found in a table.

    Parameters
    ----------
    index : int
        Its place, from 0 [1].
    factor : float
        Conversion factor to SI [SI unit per unit of the column].
    header : Header
        Its header.
    """

    index: int
    factor: float
    header: Header

    @property
    def text(self) -> str:
        """The header as written, for messages."""
        return self.header.text


def find_columns(
    headers: Sequence[str],
    required: dict[str, str],
    optional: dict[str, str],
    source: str,
    gauges: Collection[str] = (),
) -> dict[str, Column]:
    """Find columns by name, with the factors of their units.

    An unknown column is skipped, unless its name is so close to a missing one that it must be a misspelling. The names
    of `gauges` are from the sheet, where they may be misspelt too.

    Examples
    --------
    >>> find_columns(["depth [ft]", "blows"], {"depth": "length"}, {"blows": ""}, "log.csv")["depth"].factor
    0.3048
    """
    parsed = [Header.parse(text) for text in headers]
    asked = required | optional
    found: dict[str, Column] = {}
    for index, header in enumerate(parsed):
        if header.name not in asked:
            continue
        if header.name in found:
            problem = f"occurs twice, as column {found[header.name].index + 1} and column {index + 1}"
            raise InputError(source, f"column {header.text}", problem, "keep one of them")
        found[header.name] = Column(index, _factor(header, asked[header.name], source), header)
    _refuse_missing_gauge(parsed, [name for name in gauges if name not in found], found, source)
    _refuse_near_misses(parsed, asked, found, source)
    for name in required:
        if name not in found:
            have = printable(", ".join(header.text for header in parsed), 300)
            example = header_text(name, required[name])
            raise InputError(source, f"column {name}", f"is missing; the columns are {have}", f"add {example}")
    return found


def header_text(name: str, dimension: str) -> str:
    """Give the text of a header.

    Examples
    --------
    >>> header_text("time", "time")
    'time [s]'
    """
    return f"{name} [{DIMENSIONS[dimension][0]}]" if dimension else name


def _factor(header: Header, dimension: str, source: str) -> float:
    place = f"column {header.text}"
    if not dimension:
        if header.unit:
            raise InputError(source, place, "has a unit but is a plain number or text", f"write {header.name} alone")
        return 1.0
    if not header.unit:
        example = header_text(header.name, dimension)
        raise InputError(source, place, "has no unit", f"write it in square brackets, such as {example}")
    try:
        return unit_factor(header.unit, dimension)
    except ValueError as trouble:
        problem = printable(str(trouble).partition("; ")[0], 120)
        raise InputError(
            source, place, problem, f"write a unit of {dimension}, such as {header_text(header.name, dimension)}"
        ) from None


def _refuse_missing_gauge(parsed: list[Header], missing: list[str], found: dict[str, Column], source: str) -> None:
    """Refuse a gauge that the sheet names and the table lacks, where a column is named nearly alike."""
    free = {header.name: header.text for header in parsed if header.name not in found}
    for name in missing:
        guess = nearest(name, free)
        if guess:
            problem = f"is named in [gauges] and is not in this file; the nearest column is {free[guess]}"
            cure = f"write {printable(guess)} in [gauges] if that is meant, or correct the header in the file"
            raise InputError(source, f"column {printable(name)}", problem, cure)


def _refuse_near_misses(parsed: list[Header], asked: Iterable[str], found: dict[str, Column], source: str) -> None:
    """Refuse a misspelt column, whose numbers would otherwise be lost without notice."""
    missing = [name for name in asked if name not in found]
    for header in parsed:
        if header.name in found:
            continue
        guess = nearest(header.name, missing, cutoff=0.8)
        if guess:
            raise InputError(
                source, f"column {header.text}", "is not a column of this table", f"write {guess} if that is meant"
            )


_UNIT_AT_END = (
    re.compile(r"(?P<name>.*?)\s*\[(?P<unit>[^\[\]]*)\]\s*"),
    re.compile(r"(?P<name>.*?)\s*\((?P<unit>[^()]*)\)\s*"),
    re.compile(r"(?P<name>.*?)\s*\{(?P<unit>[^{}]*)\}\s*"),
    re.compile(r"(?P<name>.*?)\s+in\s+(?P<unit>\S+)\s*"),
    re.compile(r"(?P<name>.*?\S)\s*[/,:|]\s*(?P<unit>\S.*?)\s*"),
)
"""Ways in which recorders write a unit after a name: in brackets, after "in", a slash or a comma."""

_AFTER_A_BLANK = re.compile(r"(?P<name>.*?\S)[_ ]+(?P<unit>[^\s_]{2,}|[%‰])\s*")
"""A unit after a blank; a single letter there names a gauge, such as "top N" on the north face."""


def header_parts(text: str) -> tuple[str, str]:
    """Split the header of any recorder into name and unit, which is empty if none is recognised.

    Examples
    --------
    >>> header_parts("top N (µm/m)"), header_parts("t / ms"), header_parts("Strain 1")
    (('top N', 'µm/m'), ('t', 'ms'), ('Strain 1', ''))
    """
    for pattern in (*_UNIT_AT_END, _AFTER_A_BLANK):
        match = pattern.fullmatch(text[:200])
        if match and is_unit(match["unit"]):
            return match["name"].rstrip(","), match["unit"].strip()
    return text.strip(), ""


def are_units(fields: Sequence[str]) -> bool:
    """Whether a row below the headers has only units, at least one.

    Examples
    --------
    >>> are_units(["No.", "[ms]", "µm/m"]), are_units(["1", "2"])
    (True, False)
    """
    plain = [field.strip("[]() ") for field in fields]
    known = [is_unit(field) for field in plain]
    return any(known) and all(ok or field.lower() in _NO_UNIT for ok, field in zip(known, plain, strict=True))


_NO_UNIT = ("", "-", "1", "#", "n", "no", "no.", "nr", "nr.", "unit", "units")
"""What a row of units has for a column without one."""


@lru_cache(maxsize=1024)
def is_unit(text: str) -> bool:
    """Whether a text is a unit that a gauge record can have.

    Examples
    --------
    >>> is_unit("µm/m"), is_unit("g"), is_unit("Notes")
    (True, True, False)
    """
    plain = text.strip()
    if plain in VOLTS:
        return True
    return plain not in _FACES and any(is_unit_of(plain, dimension) for dimension in _MEASURED)


_SUMMARY = re.compile(
    r"(?:max|min|mean|avg|average|sum|total|std|rms|peak|range|count|mittel|summe|spitze|moyenne|m[aá]x|m[ií]n|media|promedio"
    r"|最大|最小|平均)\w*\.?(?: *\([^()]*\)| values?| +abs\.?)?\s*[:=]?",
    re.IGNORECASE,
)


def is_summary(text: str) -> bool:
    """Whether a text begins a row that sums up the rows above it.

    Examples
    --------
    >>> is_summary("Max:"), is_summary("Mittelwert"), is_summary("0.15")
    (True, True, False)
    """
    return len(text) < 40 and _SUMMARY.fullmatch(text.strip()) is not None


_MEASURED = ("strain", "acceleration", "time", "length", "force", "velocity", "stress")
_FACES = ("S", "M")
"""Letters that name a gauge on the south face or in the middle rather than seconds or metres."""

VOLTS = ("V", "mV", "volt", "Volt", "volts", "Volts", "mV/V")
"""Units of a channel that still needs its calibration factor."""


def is_unit_of(text: str, dimension: str) -> bool:
    """Whether a text is a unit of a dimension."""
    if not text.strip() or len(text) > 20:
        return False
    try:
        unit_factor(text, dimension)
    except ValueError:
        return False
    return True
