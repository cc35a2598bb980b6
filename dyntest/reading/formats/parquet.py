"""Parquet with other headers than this program's own."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from dyntest.reading.formats.contents import Contents, FileChannel, check_channels, parts_of
from dyntest.reading.number_table import parquet_table
from dyntest.reading.parts import Records
from dyntest.reading.text_tables import Header


def recognise(name: str, head: bytes) -> bool:
    """Whether a file is Parquet, by its first bytes."""
    return head.startswith(b"PAR1") or name.endswith((".parquet", ".pq"))


def read(path: Path, records: Records) -> tuple[Contents, ...]:
    """Open a Parquet table."""
    table = parquet_table(path)
    headers = [Header.parse(text) for text in table.headers]
    channels = tuple(FileChannel(one.name, (table.n_rows,), one.unit) for one in headers)
    check_channels(channels, table.source)

    def column(place: int) -> np.ndarray:
        return next(table.columns([place]))

    whole = parts_of(column)

    def part(places: Sequence[int], start: int, count: int) -> np.ndarray:
        if start == 0 and count == table.n_rows:
            return whole(places, start, count)
        return np.array(list(parquet_table(path, start, count).columns(places)), dtype=float)

    return (Contents(table.source, "parquet", channels, column, part, place=table.place),)
