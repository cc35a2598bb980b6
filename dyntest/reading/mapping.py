"""Layout of a recorder's files and an inspector's logs, from ``[records]`` and ``[log]`` of the sheet."""

import math

from dyntest.errors import InputError
from dyntest.reading.parts import Channel, Gauges, LogLayout, Records
from dyntest.reading.schema import ChannelKeys, LogColumnKeys, LogKeys, RecordKeys
from dyntest.reading.wording import as_written, listed, nearest, printable
from dyntest.units import DIMENSIONS, unit_factor

DELIMITER_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t", "space": " ", "pipe": "|"}
"""Column delimiters, by their word in the sheet."""

MARKS = {"time": "time", "blow": "", "clock": "time", "penetration": "length"}
"""Channels other than gauges, with their dimensions."""

SIGN_WORDS = {
    "strain": ("compression", "tension"),
    "force": ("compression", "tension"),
    "acceleration": ("down", "up"),
    "velocity": ("down", "up"),
}
"""Words for the sign of each kind of gauge; the first is positive in the program."""

LOG_COLUMNS = {
    "depth_from": "length",
    "depth_to": "length",
    "blows": "",
    "stroke": "length",
    "remark": "",
    "pile": "",
    "date": "",
}
"""Columns that a log may have, with their dimensions."""


def kinds_of(gauges: Gauges) -> dict[str, str]:
    """Give the kind of every gauge channel by its name; the kind is also its dimension."""
    kinds = dict.fromkeys(gauges.strain or (), "strain")
    kinds |= dict.fromkeys(gauges.acceleration or (), "acceleration")
    if gauges.force is not None:
        kinds[gauges.force] = "force"
    if gauges.velocity is not None:
        kinds[gauges.velocity] = "velocity"
    return kinds


def records_from(table: RecordKeys, gauges: Gauges, source: str) -> Records:
    """Give the format of a recorder's files."""
    kinds = kinds_of(gauges)
    channels = {name: _channel(name, keys, kinds, source) for name, keys in table.channels.items()}
    for key in ("trigger", "before", "length"):
        if getattr(table, key) is not None and table.blows not in (None, "continuous"):
            problem = f'belongs to blows = "continuous", but blows is "{table.blows}"'
            raise InputError(source, f"[records] {key}", problem, "remove it")
    if table.before is not None and table.length is not None and table.before >= table.length:
        problem = "is not shorter than length, which includes the part before the impact"
        raise InputError(source, "[records] before", problem, "write a smaller before, or a larger length")
    if "blow" in channels and table.blows in ("rows", "continuous"):
        problem = f'numbers the blows, but blows is "{table.blows}"'
        raise InputError(source, "[records.channels.blow]", problem, 'remove it, or write blows = "column"')
    return Records(
        **table.model_dump(exclude={"channels", "delimiter"}),
        delimiter=None if table.delimiter is None else DELIMITER_WORDS[table.delimiter],
        channels=channels,
    )


def _channel(name: str, keys: ChannelKeys, kinds: dict[str, str], source: str) -> Channel:
    place = f"[records.channels.{as_written(name)[1:-1]}]"
    if name not in kinds and name not in MARKS:
        known = [*kinds, *MARKS]
        guess = nearest(name, known)
        cure = f"write {guess} if that is meant" if guess else f"write {listed(known)}"
        if guess in kinds:
            cure += f", or {printable(name)} in [gauges]"
        raise InputError(source, place, "is neither a gauge of [gauges] nor time, blow, clock or penetration", cure)
    if not math.isfinite(keys.factor) or keys.factor == 0.0:
        raise InputError(source, f"{place} factor", f"{keys.factor:g} cannot be right", "write the calibration factor")
    dimension = kinds.get(name) or MARKS[name]
    words = SIGN_WORDS.get(dimension, ())
    if keys.positive is not None and keys.positive not in words:
        cure = f"write {listed(words)}" if words else "remove it"
        problem = f'"{keys.positive}" is not a sign of a {dimension or "blow number"}'
        raise InputError(source, f"{place} positive", problem, cure)
    check_unit(keys.unit, dimension, f"{place} unit", source)
    return Channel(name if keys.column is None else keys.column, keys.unit, keys.factor, keys.positive)


def check_unit(unit: str | None, dimension: str, place: str, source: str) -> None:
    """Refuse a unit of another dimension."""
    if unit is None:
        return
    if not dimension:
        raise InputError(source, place, "is given for a plain number or text", "remove it")
    try:
        unit_factor(unit, dimension)
    except ValueError as trouble:
        problem, _, _ = str(trouble).partition("; ")
        cure = f'write a unit of {dimension}, such as "{DIMENSIONS[dimension][0]}"'
        raise InputError(source, place, problem, cure) from None


def log_layout_from(table: LogKeys, source: str) -> LogLayout:
    """Give the layout of the logs of a test."""
    columns: dict[str, Channel] = {}
    for name, dimension in LOG_COLUMNS.items():
        keys: LogColumnKeys | None = getattr(table, name)
        if keys is not None:
            check_unit(keys.unit, dimension, f"[log] {name}", source)
            other = next((known for known, one in columns.items() if one.column == keys.column), None)
            if other is not None:
                problem = f"names the same column as {other}, {as_written(keys.column)}"
                raise InputError(source, f"[log] {name}", problem, "give each its own column")
            columns[name] = Channel(keys.column, keys.unit)
    return LogLayout(
        format=table.format,
        sheet=table.sheet,
        skip_lines=table.skip_lines,
        delimiter=None if table.delimiter is None else DELIMITER_WORDS[table.delimiter],
        decimal=table.decimal,
        dates=table.dates,
        cumulative=table.cumulative,
        columns=columns,
    )
