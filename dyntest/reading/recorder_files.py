"""A recorder's own files arranged as blows, as described in ``[records]``."""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.blow_layout import (
    MIN_SAMPLES,
    TIME_STEP_AGREEMENT,
    TIME_STEP_RANGE,
    BlowLayout,
    Piece,
    check_magnitude,
    constant_in_blow,
    layout_of,
    single_blow,
    uniform_time,
)
from dyntest.reading.formats import open_records
from dyntest.reading.formats.contents import Contents, from_one_start
from dyntest.reading.mapping import MARKS
from dyntest.reading.parts import Channel, Records
from dyntest.reading.streams import StrainStream, StreamCut, cut_stream
from dyntest.reading.text_tables import header_parts, is_unit_of
from dyntest.reading.wording import as_written, nearest, printable
from dyntest.units import DIMENSIONS, unit_factor

LONGEST_BLOW = 1.5
"""Longest record of one blow [s]; a longer one is a stream. Common practice, no source."""

CUT_CHANNEL = re.compile(r"(.+)\(:, *(\d+)\)")
"""A column of a matrix as MATLAB writes it, such as ``data(:,3)``."""


@dataclass(frozen=True)
class Found:
    """A channel of the test, found in a file.

    Parameters
    ----------
    name : str
        Its name in the test.
    places : tuple of int
        Its places in the file, from 0; several data sets of one name are one blow each [1].
    member : int or None
        Column of a matrix, from 0 [1].
    factor : float
        From the number in the file to SI, with its sign [SI unit per unit of the file].
    unit : str
        Unit after the factor, for messages.
    """

    name: str
    places: tuple[int, ...]
    member: int | None
    factor: float
    unit: str


def read_recorder_files(
    paths: Sequence[Path], records: Records, channels: dict[str, tuple[str, ...]], left_out: frozenset[str]
) -> tuple[list[Piece], list[StreamCut]]:
    """Read the files of a drive; for streams also give where they were cut."""
    pieces, cuts = [], []
    opened = [contents for path in paths for contents in open_records(path, records)]
    for contents in (with_one_start(one, records, channels) for one in opened):
        if contents.settings.get("incomplete"):
            problem = "ends before its last segment is complete"
            raise InputError(contents.source, "", problem, "copy or export the file again")
        kind = layout_kind(contents, records, len(opened))
        if kind == "continuous":
            piece, cut = _stream(contents, records, channels, left_out)
            cuts.append(cut)
        elif kind == "rows":
            piece = blow_rows(contents, records, channels)
        else:
            piece = stacked_samples(contents, records, channels, numbered=kind == "column")
        pieces.append(replace(piece, untold=_untold(contents, records, channels)))
    return pieces, cuts


def _untold(contents: Contents, records: Records, channels: dict[str, tuple[str, ...]]) -> dict[str, str]:
    """Give the factors that a file states for gauges and that may not be in its numbers, where the sheet has none."""
    factors = {name: records.channels.get(name, Channel(name)).factor for names in channels.values() for name in names}
    gauges = gauges_of(contents, records, channels).items()
    said = {name: contents.channels[one.places[0]].untold for name, one in gauges if factors[name] == 1.0}
    return {name: text for name, text in said.items() if text}


def with_one_start(contents: Contents, records: Records, channels: dict[str, tuple[str, ...]]) -> Contents:
    """Give a file in which all gauges begin at one time, as far as it says when they begin."""
    if all(one.start is None for one in contents.channels):
        return contents
    gauges = gauges_of(contents, records, channels).values()
    marked = "time" in records.channels or any(
        name in records.channels or find_places(contents, name, records.group) for name in MARKS if name != "time"
    )
    return from_one_start(contents, zip(*(one.places for one in gauges), strict=False), cut=not marked)


def layout_kind(contents: Contents, records: Records, files: int) -> str:
    """Give the arrangement of blows in a file, by the sheet or by the shape of its arrays."""
    if records.blows is not None:
        return records.blows
    if "blow" in records.channels or find_places(contents, "blow", records.group):
        return "column"
    if any(getattr(records, key) is not None for key in ("trigger", "before", "length")):
        return "continuous"
    named = [one.column for one in records.channels.values()]
    found = [find_places(contents, column, records.group) for column in named]
    if any(len(contents.channels[place].shape) == 2 for places in found for place in places):
        matrix = any(isinstance(column, str) and CUT_CHANNEL.fullmatch(column) for column in named)
        return "one a file" if matrix else "rows"
    if "beside" in contents.settings or (contents.format == "uff58" and any(len(places) > 1 for places in found)):
        return "rows"
    return "one a file"


def find_places(contents: Contents, column: str | int, group: str | None = None) -> tuple[int, ...]:
    """Give the place of a column in a file, by number from 1 or by name: in full, without unit, or without group.

    Examples
    --------
    >>> from dyntest.reading.formats.contents import FileChannel
    >>> channels = (FileChannel("Log/eps A", (9,)), FileChannel("Log/acc [g]", (9,)))
    >>> file = Contents("f.tdms", "tdms", channels, lambda place: None, lambda *where: None)
    >>> find_places(file, "eps A"), find_places(file, "acc"), find_places(file, 2)
    ((0,), (1,), (1,))
    """
    if isinstance(column, int):
        return (column - 1,) if column <= len(contents.channels) else ()
    names = [channel.name for channel in contents.channels]
    whole = [f"{group.strip('/')}{mark}{column}" for mark in "/."] if group else []
    trials = (
        lambda name: name == column,
        lambda name: name in whole or name.replace("/", ".") == column.replace("/", "."),
        lambda name: header_parts(name)[0] == column,
        lambda name: _leaf(name) == column,
        lambda name: header_parts(_leaf(name))[0] == column,
        lambda name: _leaf(name).lower() == column.lower(),
    )
    for trial in trials:
        places = tuple(place for place, name in enumerate(names) if trial(name))
        if places:
            return places
    return ()


def _leaf(name: str) -> str:
    return re.split(r"[/.](?=[^/.\s])", name)[-1] if not header_parts(name)[1] else name.rpartition("/")[2]


def locate(contents: Contents, name: str, dimension: str, records: Records, required: bool = True) -> Found | None:
    """Find a channel of the test in a file, with its factor; None if it is optional and missing."""
    entry = records.channels.get(name)
    channel = entry or Channel(name)
    place = f"[records.channels.{name}]"
    matrix = CUT_CHANNEL.fullmatch(channel.column) if isinstance(channel.column, str) else None
    member = int(matrix[2]) - 1 if matrix else None
    places = find_places(contents, matrix[1] if matrix else channel.column, records.group)
    if not places:
        if entry is None and not required:
            return None
        raise _missing(contents, name, channel, entry is not None)
    first = contents.channels[places[0]]
    if len(places) > 1 and contents.format != "uff58":
        where = " and ".join(printable(contents.channels[one].name) for one in places[:2])
        numbers = " and ".join(str(one + 1) for one in places[:2])
        problem = f"column {as_written(channel.column)} occurs twice, as {where} (numbers {numbers})"
        cure = "name the group in [records]" if "/" in first.name else f"write its number as column in {place}"
        raise InputError(contents.source, f"channel {name}", problem, cure)
    if not first.numbers:
        what = "does not contain plain numbers" if all(first.shape) else "is empty"
        problem = f"column {printable(first.name)} {what}"
        raise InputError(
            contents.source, f"channel {name}", problem, "name a channel of numbers, or export it as numbers"
        )
    if member is not None and (len(first.shape) != 2 or not 0 <= member < first.shape[1]):
        shape = " × ".join(str(size) for size in first.shape)
        problem = f"{as_written(channel.column)} is not in {first.name}, which is {shape}"
        raise InputError(contents.source, f"channel {name}", problem, "correct the column")
    if not dimension:
        return Found(name, places, member, 1.0, "")
    if first.clock and (dimension != "time" or unit_factor(channel.unit or "s", "time") * channel.factor != 1.0):
        problem = f"column {printable(first.name)} has times of day, which are counted in seconds"
        cure = f'write unit = "s" in {place}' if dimension == "time" else "correct the column"
        raise InputError(contents.source, f"channel {name}", problem, cure)
    unit = channel.unit or ("s" if first.clock else "") or (first.unit if is_unit_of(first.unit, dimension) else "")
    if not unit:
        said = f", and the file gives {as_written(first.unit)}" if first.unit else ""
        cure = f'write unit = "{DIMENSIONS[dimension][0]}" or another in {place}'
        raise InputError(contents.source, f"channel {name}", f"has no unit of {dimension}{said}", cure)
    twice = first.scale != 1.0 and math.isclose(channel.factor, first.scale, rel_tol=1e-6)  # the sheet repeats the file
    factor = 1.0 if twice else channel.factor
    return Found(name, places, member, unit_factor(unit, dimension) * factor * channel.sign, unit)


def _missing(contents: Contents, name: str, channel: Channel, mapped: bool) -> InputError:
    have = printable(", ".join(one.name for one in contents.channels), 200)
    if isinstance(channel.column, int):
        problem = f"column {channel.column} is not there; the file has {len(contents.channels)}"
        return InputError(contents.source, f"channel {name}", problem, "correct the number")
    guess = nearest(channel.column, [_leaf(one.name) for one in contents.channels], cutoff=0.75)
    if mapped:
        other = "correct column, or skip_lines" if contents.format in ("text", "excel") else "correct column"
        cure = f"write {guess} if that is meant" if guess else other
        problem = f"column {as_written(channel.column)} is not there; the file has {have}"
    else:
        cure = f"write its column in [records.channels.{name}]"
        cure += "" if name in MARKS else ", or correct its name in [gauges]"
        problem = f"is not there under its own name; the file has {have}"
    links = contents.settings.get("links")
    if isinstance(links, tuple) and any(link.rpartition("/")[2] == channel.column for link in links):
        problem, cure = "is a link to another file, which is not followed", "store the records in the file itself"
    return InputError(contents.source, f"channel {name}", problem, cure)


def _values(contents: Contents, found: Found) -> np.ndarray:
    """Give all numbers of a channel as recorded; they must be finite."""
    arrays = [np.asarray(contents.column(place)) for place in found.places]
    if len(arrays) > 1:
        if len({array.shape for array in arrays}) > 1:
            problem = "has data sets of different lengths"
            raise InputError(
                contents.source, f"channel {found.name}", problem, "export every blow with as many samples"
            )
        values = np.stack(arrays)
    else:
        values = arrays[0] if found.member is None else arrays[0][:, found.member]
    if values.dtype.kind == "O" or values.dtype.kind not in "iufb":
        raise InputError(
            contents.source,
            f"channel {found.name}",
            "does not contain plain numbers",
            "export it as numbers of one type",
        )
    if not np.isfinite(values).all():
        _refuse_gaps(contents, found.name, values, 0)
    return values


def _refuse_gaps(contents: Contents, name: str, values: np.ndarray, start: int) -> None:
    flat = values.ravel()
    wrong = np.flatnonzero(~np.isfinite(flat))
    index = int(wrong[0])
    run = int(np.argmax(np.append(np.diff(wrong) != 1, True))) + 1
    many = f" and the {run - 1:,} after it" if run > 1 else ""
    place = f"{contents.place(start + index)}, channel {name}"
    problem = f"is {flat[index]}{many}, not a finite number"
    raise InputError(contents.source, place, problem, "remove the blow, or leave the channel out in [gauges]")


def _time_step(contents: Contents, records: Records, gauges: Sequence[Found]) -> tuple[float, float]:
    """Give time of the first sample and time step of a file without a channel of time [s]."""
    said = [contents.channels[found.places[0]] for found in gauges]
    steps = _steps(contents, gauges)
    step = next(iter(steps), None)
    if step is not None and records.sample_rate is not None:
        if abs(step * records.sample_rate - 1.0) > TIME_STEP_AGREEMENT:
            problem = f"is at {1.0 / step:g} Hz, but [records] sample_rate is {records.sample_rate:g} Hz"
            raise InputError(contents.source, "time", problem, "remove sample_rate from the sheet, or correct it")
    elif step is None:
        if records.sample_rate is None:
            cure = 'write [records] sample_rate, such as "20 kHz", or [records.channels.time]'
            raise InputError(contents.source, "time", "is given neither in the file nor in the sheet", cure)
        step = 1.0 / records.sample_rate
    low, high = TIME_STEP_RANGE
    if not low <= step <= high:
        problem = f"a time step of {step:.3g} s is not one of a blow record ({low:g} to {high:g} s)"
        raise InputError(contents.source, "time", problem, "check sample_rate, or the rate in the file")
    start = said[0].start
    return (start if start is not None and abs(start) < LONGEST_BLOW else 0.0), step


def _steps(contents: Contents, gauges: Iterable[Found]) -> set[float]:
    """Give the time steps that the file gives with the gauges [s]; they must agree."""
    steps = {step for one in gauges if (step := contents.channels[one.places[0]].step) is not None}
    if len(steps) > 1 and max(steps) / min(steps) - 1.0 > TIME_STEP_AGREEMENT:
        rates = " and ".join(f"{1.0 / step:g} Hz" for step in sorted(steps, reverse=True)[:2])
        problem = f"has channels of different sampling rates, {rates}"
        raise InputError(contents.source, "", problem, "export all channels at one sampling rate")
    return steps


def _check_rate(contents: Contents, records: Records, step: float) -> None:
    if records.sample_rate is not None and abs(step * records.sample_rate - 1.0) > TIME_STEP_AGREEMENT:
        problem = f"the channel time is at {1.0 / step:g} Hz, but [records] sample_rate is {records.sample_rate:g} Hz"
        raise InputError(contents.source, "channel time", problem, "remove one of the two from the sheet")


def _wants_time(contents: Contents, records: Records, gauges: Sequence[Found]) -> bool:
    """Whether a time channel is needed: neither the sheet nor the file gives the rate otherwise."""
    told = records.sample_rate is not None or contents.channels[gauges[0].places[0]].step is not None
    return "time" in records.channels or not told


def gauges_of(contents: Contents, records: Records, channels: dict[str, tuple[str, ...]]) -> dict[str, Found]:
    """Find every gauge in a file."""
    found = {}
    for name, kind in ((name, kind) for kind, names in channels.items() for name in names):
        one = locate(contents, name, kind, records)
        assert one is not None
        found[name] = one
    owners: dict[tuple[tuple[int, ...], int | None], str] = {}
    for name, one in found.items():
        other = owners.setdefault((one.places, one.member), name)
        if other != name:
            column = contents.channels[one.places[0]].name
            problem = f"is the same column as {other}, {printable(column)}"
            raise InputError(contents.source, f"channel {name}", problem, "give each gauge its own column")
    if "time" not in records.channels:
        _steps(contents, found.values())
    return found


def _time_entry(contents: Contents, records: Records, gauges: Sequence[Found]) -> Found | None:
    if not _wants_time(contents, records, gauges):
        return None
    if "time" not in records.channels and not find_places(contents, "time", records.group):
        return None
    return locate(contents, "time", "time", records)


def _same_length(contents: Contents, arrays: dict[str, np.ndarray]) -> None:
    lengths = {name: array.shape for name, array in arrays.items()}
    first = next(iter(lengths))
    for name, shape in lengths.items():
        if shape != lengths[first]:
            have, other = (" × ".join(f"{size:,}" for size in lengths[one]) for one in (name, first))
            problem = f"has {have} samples, {first} has {other}"
            raise InputError(contents.source, f"channel {name}", problem, "export all channels with as many samples")


def stacked_samples(
    contents: Contents, records: Records, channels: dict[str, tuple[str, ...]], numbered: bool
) -> Piece:
    """Give the blows of a file with samples in consecutive rows: one blow, or numbered in a column."""
    gauges = gauges_of(contents, records, channels)
    arrays = {name: _values(contents, one) for name, one in gauges.items()}
    if any(array.ndim != 1 for array in arrays.values()):
        if all(array.ndim == 2 for array in arrays.values()):
            cure = 'write [records] blows = "rows"'
        else:
            cure = "name columns of a matrix such as data(:,2)"
        raise InputError(contents.source, f"channel {next(iter(arrays))}", "has several rows", cure)
    blow = locate(contents, "blow", "", records, required=numbered)
    marks = {"blow": blow} if blow is not None else {}
    for name in ("clock", "penetration"):
        one = locate(contents, name, MARKS[name], records, required=False)
        if one is not None:
            marks[name] = one
    time = _time_entry(contents, records, list(gauges.values()))
    if time is not None:
        marks["time"] = time
    others = {name: _values(contents, one) for name, one in marks.items()}
    _same_length(contents, arrays | others)
    n_rows = len(next(iter(arrays.values())))
    layout = layout_of(others["blow"], "blow", contents) if blow is not None else single_blow(n_rows, contents)
    if time is not None:
        grid = uniform_time(others["time"], time.factor, layout, "time", contents)
        _check_rate(contents, records, grid[1] - grid[0])
    else:
        start, step = _time_step(contents, records, list(gauges.values()))
        grid = start + step * np.arange(layout.n_samples)
    if grid[-1] - grid[0] > LONGEST_BLOW:
        problem = f"has a record of {grid[-1] - grid[0]:.3g} s, longer than one blow"
        cure = 'write [records] blows = "continuous" if it is a stream, or name the column that numbers the blows'
        raise InputError(contents.source, "", problem, cure)
    constant = {
        name: constant_in_blow(others[name], marks[name].factor, layout, name, contents)
        for name in ("clock", "penetration")
        if name in others
    }
    traces = {
        kind: _traces(contents, {name: gauges[name] for name in names}, arrays, kind, layout.shape)
        for kind, names in channels.items()
    }
    return Piece(
        contents.source, blow is not None, layout, grid, traces, constant.get("clock"), constant.get("penetration")
    )


def _traces(
    contents: Contents, gauges: dict[str, Found], arrays: dict[str, np.ndarray], kind: str, shape: tuple[int, int]
) -> np.ndarray:
    traces = np.empty((shape[0], len(gauges), shape[1]))
    for number, (name, found) in enumerate(gauges.items()):
        check_magnitude(arrays[name], found.factor, found.unit, name, kind, contents)
        np.multiply(arrays[name].reshape(shape), found.factor, out=traces[:, number], dtype=float)
    return traces


def blow_rows(contents: Contents, records: Records, channels: dict[str, tuple[str, ...]]) -> Piece:
    """Give the blows of a file with one row per blow in two-dimensional arrays."""
    gauges = gauges_of(contents, records, channels)
    arrays = {name: np.atleast_2d(_values(contents, one)) for name, one in gauges.items()}
    time = _time_entry(contents, records, list(gauges.values()))
    seconds = None if time is None else _values(contents, time)
    shape = next(iter(arrays.values())).shape
    upright = shape[1] < MIN_SAMPLES <= shape[0]  # too few for a blow, so columns are blows
    if upright or (seconds is not None and seconds.ndim == 1 and len(seconds) == shape[0] != shape[1]):
        arrays = {name: array.T for name, array in arrays.items()}
        shape = shape[::-1]
    _same_length(contents, arrays)
    _refuse_columns(contents, arrays)
    if len(shape) != 2 or shape[1] < MIN_SAMPLES:
        size = " × ".join(str(length) for length in shape)
        problem = f"is {size}; rows are blows of at least {MIN_SAMPLES} samples"
        raise InputError(
            contents.source, f"channel {next(iter(arrays))}", problem, "store the array with a row per blow"
        )
    layout = BlowLayout(np.arange(1, shape[0] + 1), shape[1])
    if time is not None and seconds is not None:
        if seconds.shape[-1] != shape[1] or (seconds.ndim == 2 and seconds.shape[0] not in (1, shape[0])):
            problem = f"has {seconds.shape[-1]:,} samples, {next(iter(arrays))} has {shape[1]:,} per blow"
            raise InputError(contents.source, "channel time", problem, "export all channels with as many samples")
        stacked = np.broadcast_to(np.atleast_2d(seconds), shape).ravel()
        grid = uniform_time(stacked, time.factor, layout, "time", contents)
        _check_rate(contents, records, grid[1] - grid[0])
    else:
        start, step = _time_step(contents, records, list(gauges.values()))
        grid = start + step * np.arange(shape[1])
    constant = {}
    for name in ("clock", "penetration"):
        one = locate(contents, name, MARKS[name], records, required=False)
        if one is not None:
            values = np.ravel(_values(contents, one))
            if len(values) != shape[0]:
                problem = f"has {len(values)} values for {shape[0]} blows"
                raise InputError(contents.source, f"channel {name}", problem, "write one value per blow")
            constant[name] = values * one.factor
    traces = {
        kind: _traces(contents, {name: gauges[name] for name in names}, arrays, kind, layout.shape)
        for kind, names in channels.items()
    }
    return Piece(contents.source, True, layout, grid, traces, constant.get("clock"), constant.get("penetration"))


QUIETER = 0.5
"""Share of the steps at the beginning of rows that those of columns have at most where columns are blows [1]. Our own,
no source; where rows are blows it is above 2."""

LOOKED_AT = 2000
"""Rows and columns of an array that are examined [1]."""

FIRST_SAMPLES = 8
"""Samples at the beginning of a record that are quiet [1]: fewer than a millisecond has at 10 kHz."""


def _refuse_columns(contents: Contents, arrays: dict[str, np.ndarray]) -> None:
    """Refuse arrays whose columns begin quieter than their rows: those are the blows."""
    name, array = next(iter(arrays.items()))
    if len(array) < MIN_SAMPLES:
        return
    part = array[:LOOKED_AT, :LOOKED_AT].astype(float)
    steps = [np.abs(np.diff(one, axis=1)) for one in (part, part.T)]
    rows, columns = (one[:, : FIRST_SAMPLES - 1].max() / max(float(one.max()), 1e-300) for one in steps)
    if columns < QUIETER * rows:
        problem = f"is {array.shape[0]:,} × {array.shape[1]:,}, and its columns look like blows, not its rows"
        cure = "store the array with a row per blow, or name the channel of time in [records.channels.time]"
        raise InputError(contents.source, f"channel {name}", problem, cure)


def _stream(
    contents: Contents, records: Records, channels: dict[str, tuple[str, ...]], left_out: frozenset[str]
) -> tuple[Piece, StreamCut]:
    """Give the blows of a continuous stream, which is never in memory as a whole."""
    gauges = stream_channels(contents, records, channels)
    total = contents.channels[next(iter(gauges.values())).places[0]].shape[0]
    start, step = stream_time(contents, records, list(gauges.values()), total)
    used = [gauges[name] for name in channels["strain"] if name not in left_out]
    factors = np.array([one.factor for one in used]) / len(used)

    def piece(begin: int, count: int, which: Sequence[Found] = used) -> np.ndarray:
        return stream_part(contents, which, begin, count)

    from dyntest.reading.formats.contents import BLOCK

    blocks = (piece(begin, min(BLOCK, total - begin)) for begin in range(0, total, BLOCK))
    stream = StrainStream(blocks, piece, factors, step, contents.source)
    cut = cut_stream(stream, records.trigger, records.before, records.length)
    every = list(gauges.values())
    windows = np.empty((len(cut.onset), len(every), cut.length))
    for row, onset in enumerate(cut.onset):
        windows[row] = piece(int(onset) - cut.before, cut.length, every)
    return stream_piece(contents, gauges, channels, windows, cut.onset, cut.before, (start, step)), cut


def stream_channels(contents: Contents, records: Records, channels: dict[str, tuple[str, ...]]) -> dict[str, Found]:
    """Give the gauges of a stream, each one array as long as the others."""
    if "strain" not in channels:
        cure = "export single gauges, or the blows one by one"
        raise InputError(
            contents.source, "", "is a stream of averaged traces, which has no strain to find the blows", cure
        )
    gauges = gauges_of(contents, records, channels)
    for name, one in gauges.items():
        if len(one.places) > 1 or (one.member is None and len(contents.channels[one.places[0]].shape) != 1):
            raise InputError(contents.source, f"channel {name}", "is not one stream", 'write [records] blows = "rows"')
    lengths = {name: contents.channels[one.places[0]].shape[0] for name, one in gauges.items()}
    first = next(iter(lengths))
    for name, length in lengths.items():
        if length != lengths[first]:
            problem = f"has {length:,} samples, {first} has {lengths[first]:,}"
            raise InputError(contents.source, f"channel {name}", problem, "export all channels with as many samples")
    return gauges


def stream_part(contents: Contents, which: Sequence[Found], begin: int, count: int) -> np.ndarray:
    """Give some samples of some channels of a stream as recorded, finite, shape (n_channels, count)."""
    block = np.empty((len(which), count))
    for row, one in enumerate(which):
        if one.member is None:
            block[row] = contents.part(one.places, begin, count)[0]
        else:
            rows = contents.rows
            values = contents.column(one.places[0])[begin:] if rows is None else rows(one.places[0], begin, count)
            block[row] = np.asarray(values)[:count, one.member]
    if not np.isfinite(block).all():
        row = int(np.flatnonzero(~np.isfinite(block).all(axis=1))[0])
        _refuse_gaps(contents, which[row].name, block[row], begin)
    return block


def stream_piece(
    contents: Contents,
    gauges: dict[str, Found],
    channels: dict[str, tuple[str, ...]],
    windows: np.ndarray,
    onset: np.ndarray,
    before: int,
    time: tuple[float, float],
) -> Piece:
    """Give the blows cut from a stream, from their samples as recorded.

    Units: windows of shape (n_blows, n_channels, n_samples) [unit of the file]; onset, before [1]; time: of the first
    sample of the stream, and between two [s].
    """
    start, step = time
    length = windows.shape[-1]
    traces, at = {}, 0
    layout = BlowLayout(np.arange(1, len(onset) + 1), length)
    for kind, names in channels.items():
        part = windows[:, at : at + len(names)]
        for number, name in enumerate(names):
            check_magnitude(part[:, number], gauges[name].factor, gauges[name].unit, name, kind, contents)
            part[:, number] *= gauges[name].factor
        traces[kind] = np.ascontiguousarray(part)
        at += len(names)
    if length < MIN_SAMPLES:
        problem = f"has only {length} samples per blow, and at least {MIN_SAMPLES} are needed"
        raise InputError(contents.source, "[records] length", problem, "write a longer length")
    grid = step * (np.arange(length) - before)
    return Piece(contents.source, True, layout, grid, traces, start + onset * step, None)


def stream_time(contents: Contents, records: Records, gauges: Sequence[Found], length: int) -> tuple[float, float]:
    """Give time of the first sample and time step of a stream [s]; a time channel must be uniform."""
    time = _time_entry(contents, records, gauges)
    if time is None:
        return _time_step(contents, records, gauges)
    from dyntest.reading.formats.contents import BLOCK

    size = contents.channels[time.places[0]].shape[0]
    if size != length:
        problem = f"has {size:,} samples, the gauges have {length:,}"
        raise InputError(contents.source, "channel time", problem, "export all channels with as many samples")
    first = last = step = 0.0
    for begin in range(0, length, BLOCK):
        block = stream_part(contents, [time], begin, min(BLOCK, length - begin))[0] * time.factor
        if begin == 0:
            if len(block) < 2:
                raise InputError(contents.source, "channel time", "has one sample", "export the whole stream")
            first, step = float(block[0]), float(np.median(np.diff(block[:10_001])))
            last = first - step
            low, high = TIME_STEP_RANGE
            if not low <= step <= high:
                problem = f"a time step of {step:.3g} s is not one of a blow record ({low:g} to {high:g} s)"
                raise InputError(contents.source, "channel time", problem, "check the unit of time")
        jumps = np.diff(block, prepend=last)
        wrong = np.flatnonzero((jumps < 0.0) | (np.abs(jumps - step) > 1.5 * step))
        if wrong.size:
            index = int(wrong[0])
            place = f"{contents.place(begin + index)}, channel time"
            problem = f"jumps by {jumps[index]:.4g} s, where samples are {step:.4g} s apart"
            raise InputError(contents.source, place, problem, "export the stream without a pause, or in two files")
        last = float(block[-1])
    step = (last - first) / (length - 1)
    _check_rate(contents, records, step)
    return first, step
