"""Large tables of numbers, column by column from Parquet or CSV.

pyarrow is imported only when a table is read.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.files import MAX_TABLE_BYTES, check_file, decode, read_bytes
from dyntest.reading.text_tables import Dialect, dialect_of, header_of, refuse_doubtful_mark, uneven_row
from dyntest.reading.wording import as_written, known_as, printable
from dyntest.units import plain_number

MAX_ROWS = 25_000_000
"""Most samples of one table [1], 12,000 blows of 2,048 samples: about 0.8 gigabytes of signals. Our own bound, no
source."""

_SNIFFED = 1 << 16
"""Bytes of a CSV that are examined to find its delimiter and decimal mark."""

_BATCH = 1 << 16
"""Rows of a Parquet table that are read at a time if only some are needed [1]."""


@dataclass(frozen=True)
class NumberTable:
    """A table read column by column.

    Parameters
    ----------
    source : str
        The file's name for messages.
    headers : tuple of str
        Header of each column.
    columns : callable
        From places of columns to an iterator of their numbers, each of shape (n_rows,) [unit of the column]; at least
        one row, all finite.
    row : callable
        From the place of a value, from 0, to the number of its row as a spreadsheet shows it.
    n_rows : int
        Rows, if the file declares them; else 0 [1].
    """

    source: str
    headers: tuple[str, ...]
    columns: Callable[[Sequence[int]], Iterator[np.ndarray]]
    row: Callable[[int], int]
    n_rows: int = 0

    def place(self, index: int) -> str:
        """Give the place of a value, in words."""
        return f"row {self.row(index)}"


def open_table(path: Path, kind: str | None = None) -> NumberTable:
    """Open a table of numbers by its file extension, or as the type given."""
    name = path.name.lower()
    if kind == "parquet" or name.endswith(".parquet"):
        return parquet_table(path)
    if name.endswith((".csv", ".csv.gz")):
        return csv_table(read_bytes(path, MAX_TABLE_BYTES), known_as(path))
    cure = "export the signals as .parquet, .csv or .csv.gz"
    raise InputError(known_as(path), "", "is neither a Parquet nor a CSV file by its extension", cure)


def _check_rows(n_rows: int, source: str) -> None:
    if n_rows == 0:
        raise InputError(source, "", "has a header but no rows", "export the signals again")
    if n_rows > MAX_ROWS:
        problem = f"has {n_rows:,} rows, and at most {MAX_ROWS:,} are read from one file"
        raise InputError(source, "", problem, "split the drive into several files and name them in a list")


def parquet_table(path: Path, start: int = 0, most: int | None = None) -> NumberTable:
    """Open a Parquet table, or at most `most` rows from a start row; earlier row groups are not read."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    source = known_as(path)
    check_file(path, MAX_TABLE_BYTES)
    trouble_kinds = (pa.ArrowException, OSError, ValueError, KeyError, IndexError)
    try:
        with pq.ParquetFile(path, page_checksum_verification=True) as file:
            schema, n_rows = file.schema_arrow, file.metadata.num_rows
            groups = [file.metadata.row_group(number).num_rows for number in range(file.metadata.num_row_groups)]
    except trouble_kinds as trouble:
        raise _damaged(source, trouble) from None
    _check_rows(n_rows, source)
    whole = start == 0 and most is None
    n_rows = max(0, n_rows - start) if most is None else max(0, min(most, n_rows - start))

    def row(index: int) -> int:
        return start + index + 1

    def read(file: pq.ParquetFile, name: str) -> pa.ChunkedArray:
        if whole:
            return file.read(columns=[name]).column(0)
        ends = np.cumsum(groups)
        wanted = np.flatnonzero((ends > start) & (ends - groups < start + n_rows))
        at, parts = int(ends[wanted[0]] - groups[wanted[0]]) if wanted.size else start, []
        for batch in file.iter_batches(_BATCH, row_groups=wanted.tolist(), columns=[name]):
            first = min(max(0, start - at), batch.num_rows)
            parts.append(batch.column(0).slice(first, max(0, start + n_rows - at - first)))
            at += batch.num_rows
        return pa.chunked_array(parts)

    def columns(places: Sequence[int]) -> Iterator[np.ndarray]:
        with pq.ParquetFile(path, page_checksum_verification=True) as file:
            for place in places:
                where = f"column {printable(schema.names[place])}"
                kind = schema.types[place]
                if not (pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)):
                    raise InputError(source, where, f"contains {kind}, not numbers", "export the column as numbers")
                try:
                    column = read(file, schema.names[place])
                    if not (pa.types.is_integer(kind) or kind in (pa.float32(), pa.float64())):
                        column = column.cast(pa.float64())
                except trouble_kinds as trouble:
                    raise _damaged(source, trouble) from None
                if len(column) != n_rows:
                    problem = f"has {len(column):,} values, but the file declares {n_rows:,} rows"
                    raise InputError(source, where, problem, "copy or export the file again")
                yield _finite(column, source, where, row)

    return NumberTable(source, tuple(schema.names), columns, row, n_rows)


def _damaged(source: str, trouble: Exception) -> InputError:
    problem = f"is not a complete Parquet file ({printable(str(trouble), 80)})"
    return InputError(source, "", problem, "copy or export the file again")


def csv_table(data: bytes, source: str) -> NumberTable:
    """Give the table in the bytes of a CSV file."""
    head = data if len(data) <= _SNIFFED else data[:_SNIFFED].rpartition(b"\n")[0]
    lines = decode(head, source).splitlines()
    if not lines or not lines[0].strip():
        raise InputError(source, "row 1", "is blank", "write the headers of the columns into the first row")
    if not any(line.strip() for line in lines[1:]):
        _check_rows(0, source)
    dialect = dialect_of(lines, source)
    if dialect.decimal == ",":
        refuse_doubtful_mark("\n".join(lines[1:]).encode(), dialect.delimiter, ",", source)
    headers = header_of(lines[0], dialect)

    def row(index: int) -> int:
        filled = (number for number, line in enumerate(data.splitlines(), start=1) if line and number > 1)
        return next((number for place, number in enumerate(filled) if place == index), index + 2)

    def columns(places: Sequence[int]) -> Iterator[np.ndarray]:
        parsed = _parse_csv(data, len(headers), places, dialect, source, row, headers)
        _check_rows(parsed.num_rows, source)
        for place, column in zip(places, parsed.columns, strict=True):
            yield _finite(column, source, f"column {printable(headers[place])}", row)

    return NumberTable(source, tuple(headers), columns, row)


def _parse_csv(
    data: bytes,
    width: int,
    places: Sequence[int],
    dialect: Dialect,
    source: str,
    row: Callable[[int], int],
    headers: Sequence[str],
):
    """Give the wanted columns as an Arrow table of floats."""
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    names = [str(index) for index in range(width)]
    wanted = [names[place] for place in places]
    uneven = []

    def note(bad: arrow_csv.InvalidRow) -> str:
        uneven.append(bad)
        return "error"

    def parse(kind: pa.DataType, threads: bool) -> pa.Table:
        return arrow_csv.read_csv(
            pa.BufferReader(data),
            arrow_csv.ReadOptions(column_names=names, skip_rows=1, use_threads=threads),
            arrow_csv.ParseOptions(delimiter=dialect.delimiter, invalid_row_handler=note),
            arrow_csv.ConvertOptions(
                include_columns=wanted,
                column_types=dict.fromkeys(wanted, kind),
                null_values=[""],
                decimal_point=dialect.decimal,
            ),
        )

    with suppress(pa.ArrowInvalid):
        return parse(pa.float64(), threads=True)
    uneven.clear()  # one thread knows the rows by number
    try:
        as_text = parse(pa.binary(), threads=False)
    except pa.ArrowInvalid as trouble:
        if uneven:
            number = row(uneven[0].number - 2)
            raise uneven_row(source, number, uneven[0].actual_columns, width, dialect) from None
        raise InputError(source, "", f"is not a CSV table ({printable(str(trouble), 80)})", "export it again") from None
    raise _first_text(as_text, [headers[place] for place in places], dialect.decimal, source, row)


def _first_text(table, headers: Sequence[str], decimal: str, source: str, row: Callable[[int], int]) -> InputError:
    """Give the message for the first value that is not a number."""
    for header, column in zip(headers, table.columns, strict=True):
        for index, value in enumerate(column.to_pylist()):
            text = (value or b"0").decode("utf-8", "replace")
            try:
                plain_number(text, decimal)
            except ValueError:
                where = f"row {row(index)}, column {printable(header)}"
                return InputError(
                    source, where, f"{as_written(text)} is not a number", "write a number or remove the blow"
                )
    return InputError(source, "", "has values that are not numbers", "export the table again")


def _finite(column, source: str, where: str, row: Callable[[int], int]) -> np.ndarray:
    """Give an Arrow column as an array, after a check that it has no gaps."""
    if column.null_count:
        values = np.where(column.is_null().to_numpy(), np.nan, 0.0)
    else:
        values = column.to_numpy()
        if values.dtype.kind in "iu" or np.isfinite(values).all():
            return values
    index = int(np.flatnonzero(~np.isfinite(values))[0])
    problem = "is empty" if column.null_count else f"is {values[index]}, not a finite number"
    raise InputError(source, f"row {row(index)}, {where}", problem, "fill in the number or remove the blow")
