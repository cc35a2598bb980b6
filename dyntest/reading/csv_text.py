"""How a CSV file is written, and its rows as text: the part that signal tables and logs share."""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from dyntest.errors import InputError
from dyntest.reading.wording import shown

DELIMITERS = ",;\t"
"""What may stand between columns."""

_COMMA_NUMBER = re.compile(r"\s*[+−-]?\d+,\d+(?:[eE][+-]?\d+)?\s*")
_POINT_NUMBER = re.compile(r"\s*[+−-]?\d*\.\d+(?:[eE][+-]?\d+)?\s*")


@dataclass(frozen=True)
class Dialect:
    """How a CSV file is written.

    Parameters
    ----------
    delimiter : str
        What stands between columns.
    decimal : str
        The decimal mark, ``"."`` or ``","``.
    """

    delimiter: str
    decimal: str


def dialect_of(lines: Sequence[str], source: str) -> Dialect:
    """Find out how a CSV file is written.

    The delimiter is the one that the header holds most often. A decimal comma is believed only between other
    delimiters, where some number has a comma and none a point.

    Parameters
    ----------
    lines : sequence of str
        The first lines, header first.
    source : str
        The file's name for messages.

    Returns
    -------
    Dialect
        Delimiter and decimal mark.

    Raises
    ------
    InputError
        If both decimal marks appear.

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
        problem = f"has both a decimal comma ({shown(comma)}) and a decimal point ({shown(point)})"
        raise InputError(source, "", problem, "write all numbers with a decimal point")
    return Dialect(delimiter, "," if comma else ".")


def header_of(line: str, dialect: Dialect) -> list[str]:
    """Give the headers of a table.

    Parameters
    ----------
    line : str
        The first line.
    dialect : Dialect
        How the file is written.

    Returns
    -------
    list of str
        One header a column.
    """
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
        Line number in the file and the fields, one a row.
    decimal : str
        The decimal mark.
    """

    source: str
    headers: tuple[str, ...]
    rows: tuple[tuple[int, list[str]], ...]
    decimal: str


def text_table(text: str, source: str) -> TextTable:
    r"""Give a CSV text as rows, each as long as the header.

    Parameters
    ----------
    text : str
        What the file holds.
    source : str
        The file's name for messages.

    Returns
    -------
    TextTable
        Rows without the blank ones.

    Raises
    ------
    InputError
        If there is no row below the header, or a row has more or fewer fields than the header.

    Examples
    --------
    >>> text_table("pile,blows\nP1,12\n", "log.csv").rows
    ((2, ['P1', '12']),)
    """
    lines = list(io.StringIO(text, newline=None))
    filled = [line for line in lines if line.strip(f"{DELIMITERS}\"' \r\n")]
    if not filled:
        raise InputError(source, "", "has nothing but blank lines", "export the table again")
    dialect = dialect_of(filled, source)
    (_, headers), *rows = _rows(lines, dialect, source)
    for line, fields in rows:
        if len(fields) != len(headers):
            raise uneven_row(source, line, len(fields), len(headers), dialect)
    if not rows:
        raise InputError(source, "", "has a header but no rows", "fill in the table")
    return TextTable(source, tuple(headers), tuple(rows), dialect.decimal)


def uneven_row(source: str, row: int, have: int, wanted: int, dialect: Dialect) -> InputError:
    """Give the message for a row that does not fit its header.

    Parameters
    ----------
    source : str
        The file's name.
    row : int
        The row as a spreadsheet numbers it [1].
    have, wanted : int
        Values in the row, and columns in the header [1].
    dialect : Dialect
        How the file is written.

    Returns
    -------
    InputError
        The error, to be raised.
    """
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
