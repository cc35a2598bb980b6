"""TDMS: channels in groups, each with its own properties of time, read in pieces."""

import logging
from collections.abc import Sequence
from dataclasses import replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.formats.contents import (
    Contents,
    FileChannel,
    Keeper,
    check_channels,
    damaged,
    library,
    untold_factor,
)
from dyntest.reading.parts import Records
from dyntest.reading.wording import as_written, known_as, natural_order, printable

_STEPS = ("wf_increment", "dt", "time_step", "sample_interval")
_RATES = ("sample_rate", "Sample Rate", "SampleRate", "sampling_rate", "SamplingRate", "fs", "Fs", "rate", "Rate")
"""Properties commonly used in TDMS for the time step [s] or the rate [Hz]."""

_BEGUN = "wf_start_time"
"""Property commonly used in TDMS for the time of day at which a channel begins."""

_UNITS = ("unit_string", "NI_UnitDescription", "unit", "Unit", "units", "Units")


def recognise(name: str, head: bytes) -> bool:
    """Whether a file is TDMS, by its lead-in."""
    return head.startswith(b"TDSm") or name.endswith(".tdms")


def read(path: Path, records: Records) -> tuple[Contents, ...]:
    """Open a TDMS file."""
    source = known_as(path)
    nptdms = library("nptdms", source)
    nptdms.log.log_manager.set_level(logging.ERROR)  # what it warns of is refused where it matters
    try:
        keeper = Keeper(nptdms.TdmsFile.open(path))
        groups = {group.name: group.channels() for group in keeper.file.groups()}
        said = {group.name: dict(group.properties) for group in keeper.file.groups()}
    except Exception as trouble:  # a damaged file makes the library fail in many ways
        raise damaged(source, "TDMS file", trouble) from None
    incomplete = bool(keeper.file.file_status.incomplete_final_segment)
    chosen = _chosen(groups, records.group, source)
    return tuple(_contents(source, groups, said, names, keeper, incomplete) for names in chosen)


def _chosen(groups: dict[str, Any], wanted: str | None, source: str) -> list[list[str]]:
    if wanted is None:
        return [list(groups)]
    if wanted in groups:
        return [[wanted]]
    fitting = [name for name in groups if fnmatchcase(name, wanted)]
    if not fitting:
        have = printable(", ".join(groups), 200)
        raise InputError(
            source, f"group {as_written(wanted)}", f"is not there; the groups are {have}", "correct the group"
        )
    return [[name] for name in sorted(fitting, key=natural_order)]


def _contents(
    source: str,
    groups: dict[str, Any],
    said: dict[str, dict[str, Any]],
    names: Sequence[str],
    keeper: Keeper,
    incomplete: bool,
) -> Contents:
    entries = [channel for name in names for channel in groups[name]]
    root = dict(keeper.file.properties)
    channels = _from_first([_channel(entry, said[entry.group_name], root) for entry in entries], entries)
    check_channels(channels, source)

    def piece(place: int, start: int, count: int | None) -> np.ndarray:
        assert keeper.file is not None  # holds the file open
        try:
            values = entries[place].read_data(offset=start, length=count)
        except Exception as trouble:
            raise damaged(source, "TDMS file", trouble) from None
        if values.dtype.kind == "M":  # a channel of clock times
            values = (values - entries[place].read_data(offset=0, length=1)[0]) / np.timedelta64(1, "s")
        wanted = channels[place].shape[0] - start if count is None else count
        if len(values) < wanted:
            problem = f"ends after {start + len(values):,} samples, but {channels[place].shape[0]:,} are declared"
            where = f"channel {printable(channels[place].name)}"
            raise InputError(source, where, problem, "copy or export the file again")
        return values

    def part(places: Sequence[int], start: int, count: int) -> np.ndarray:
        return np.array([piece(place, start, count) for place in places], dtype=float)

    return Contents(
        source, "tdms", tuple(channels), lambda place: piece(place, 0, None), part, {"incomplete": incomplete}
    )


def _first_number(keys: Sequence[str], *above: dict[str, Any]) -> float | None:
    """Give the first of some properties that is a number above zero, of the channel, its group or the file."""
    for properties in above:
        for key in keys:
            value = properties.get(key)
            if isinstance(value, (int, float, np.number)) and value > 0:
                return float(value)
    return None


def _from_first(channels: list[FileChannel], entries: Sequence[Any]) -> list[FileChannel]:
    """Give the channels with their start counted from that of the first, where each says when it began."""
    begun = [entry.properties.get(_BEGUN) for entry in entries]
    said = [one for one in begun if isinstance(one, np.datetime64)]
    if len(said) < len(begun) or not said:
        return channels
    late = (np.array(said) - min(said)) / np.timedelta64(1, "s")
    return [replace(one, start=(one.start or 0.0) + float(more)) for one, more in zip(channels, late, strict=True)]


def _channel(entry: Any, group: dict[str, Any], root: dict[str, Any]) -> FileChannel:
    properties = entry.properties
    step = _first_number(_STEPS, properties, group, root)
    rate = _first_number(_RATES, properties, group, root)
    if step is None and rate is not None:
        step = 1.0 / rate
    start = properties.get("wf_start_offset", 0.0)
    unit = next((str(properties[key]) for key in _UNITS if properties.get(key)), "")
    kind = getattr(entry.dtype, "kind", "O")
    return FileChannel(
        f"{entry.group_name}/{entry.name}",
        (len(entry),),
        unit,
        float(start) if isinstance(start, (int, float)) else 0.0,
        step,
        kind in "iufM" and len(entry) > 0,
        kind == "M",
        untold=untold_factor(properties),
    )
