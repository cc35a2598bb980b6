"""Parquet with other headers than this program's own."""

from pathlib import Path

import numpy as np

from dyntest.reading.formats.contents import Contents, FileChannel, check_channels, parts_of
from dyntest.reading.number_table import open_table
from dyntest.reading.parts import Records
from dyntest.reading.text_tables import Header


def recognise(name: str, head: bytes) -> bool:
    """Whether a file is Parquet, by its first bytes."""
    return head.startswith(b"PAR1") or name.endswith((".parquet", ".pq"))


def read(path: Path, records: Records) -> tuple[Contents, ...]:
    """Open a Parquet table."""
    table = open_table(path, "parquet")
    headers = [Header.parse(text) for text in table.headers]
    channels = tuple(FileChannel(one.name, (table.n_rows,), one.unit) for one in headers)
    check_channels(channels, table.source)

    def column(place: int) -> np.ndarray:
        return next(table.columns([place]))

    return (Contents(table.source, "parquet", channels, column, parts_of(column), place=table.place),)
