"""Files of general recorders: one module per format, each with `recognise` and `read`."""

from importlib import import_module
from pathlib import Path
from types import ModuleType

from dyntest.errors import InputError
from dyntest.reading.files import check_file
from dyntest.reading.formats.contents import Contents, beside
from dyntest.reading.parts import Records
from dyntest.reading.text_tables import header_parts
from dyntest.reading.wording import known_as, listed

FORMATS = ("parquet", "excel", "tdms", "uff58", "matlab", "hdf5", "text")
"""Every format by its word in the sheet; text is last, since any other file may pass as text."""

MAX_RECORD_BYTES = 20_000_000_000
"""Largest recorder file that is opened [byte]; an hour of four channels at 20 kHz has 2.3 gigabytes. Our own."""


def format_module(name: str) -> ModuleType:
    """Give the module of a format."""
    return import_module(f"dyntest.reading.formats.{name}")


def format_of(path: Path, records: Records) -> str:
    """Give the format of a recorder's file, by the sheet or by its name and first bytes."""
    source = known_as(path)
    check_file(path, MAX_RECORD_BYTES)
    with path.open("rb") as stream:
        head = stream.read(4096)
    name = path.name.lower()
    chosen = records.format or next((word for word in FORMATS if format_module(word).recognise(name, head)), None)
    if chosen is None:
        problem = "is not in a known format, by its name or its first bytes"
        cure = f"export the records as text, or write [records] format as {listed(sorted(FORMATS))}"
        raise InputError(source, "", problem, cure)
    return chosen


def open_records(path: Path, records: Records) -> tuple[Contents, ...]:
    """Open a recorder's file: one `Contents`, or one for each group or sheet that a pattern in the sheet names."""
    found = format_module(format_of(path, records)).read(path, records)
    return tuple(_by_rows(one, records) for one in found)


def _by_rows(contents: Contents, records: Records) -> Contents:
    """Give a file with blows side by side with a row for each, unless the sheet names single columns of it."""
    if records.blows not in (None, "rows"):
        return contents
    laid = beside(contents)
    named = [one.column for one in records.channels.values()]
    own = {name for one in contents.channels for name in (one.name, header_parts(one.name)[0])}
    left = {name for one in laid.channels for name in (one.name, header_parts(one.name)[0])} if laid else set()
    single = any(isinstance(column, int) or column in own - left for column in named)
    return contents if laid is None or single else laid
