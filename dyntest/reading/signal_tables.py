"""Stacked samples laid out blow by blow: every blow as long as the others and on the same time grid.

Signal tables of a drive: from Parquet or CSV files to arrays of all its blows.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.number_table import NumberTable, open_table
from dyntest.reading.parts import Drive, Gauges, TestSheet
from dyntest.reading.text_tables import Column, find_columns
from dyntest.signals import AveragedTraces, Signals
from dyntest.units import DIMENSIONS

MIN_SAMPLES = 64
"""Fewest samples of a blow [1]: too few for a quiet part, a rise and a return. Our own bound, no source."""

TIME_TOLERANCE = 0.05
"""Most that a sample may lie off the uniform grid, in time steps [1]: a time rounded to a microsecond passes, a missing
sample does not. Our own, no source."""

TIME_STEP_AGREEMENT = 1e-3
"""Most that the time steps of two blows may differ [1], so that rounded times pass. Our own, no source."""

TIME_STEP_RANGE = (1e-7, 1e-3)
"""Time steps that a record of a blow can have [s], 1 kHz to 10 MHz; ASTM D4945 asks for several kHz (from memory)."""

CLOCK_TOLERANCE = 1e-6
"""Most that a clock or a penetration may vary inside a blow, relative to its size or to 1 [1]; only rounding passes."""

_EXPORT = "export the record again with the blows one after the other"


@dataclass(frozen=True)
class BlowLayout:
    """How the rows of a table fall into blows.

    Parameters
    ----------
    blow : numpy.ndarray
        Number of each blow, shape (n_blows,) [1], rising.
    n_samples : int
        Samples of every blow [1].
    """

    blow: np.ndarray
    n_samples: int

    @property
    def shape(self) -> tuple[int, int]:
        """Blows and samples [1]."""
        return len(self.blow), self.n_samples


def layout_of(column: np.ndarray, header: str, table: NumberTable) -> BlowLayout:
    """Find the blows in the column that numbers them."""
    where = f"column {header}"
    whole = (column == np.rint(column)) & (column >= 0) & (column < 2**53)
    if not whole.all():
        index = int(np.flatnonzero(~whole)[0])
        problem = f"{column[index]:g} is not a blow number"
        raise InputError(
            table.source, f"row {table.row(index)}, {where}", problem, "number the blows 1, 2, 3 and so on"
        )
    starts = np.concatenate([[0], np.flatnonzero(np.diff(column)) + 1])
    blow = column[starts].astype(np.int64)
    fallen = np.flatnonzero(np.diff(blow) < 0)
    if fallen.size:
        index = int(fallen[0]) + 1
        place = f"row {table.row(int(starts[index]))}, {where}"
        if blow[index] in blow[:index]:
            raise InputError(
                table.source, place, f"blow {blow[index]} comes again after blow {blow[index - 1]}", _EXPORT
            )
        problem = f"blow {blow[index]} comes after blow {blow[index - 1]}"
        raise InputError(table.source, place, problem, "put the blows in the order of driving")
    lengths = np.diff(np.append(starts, len(column)))
    values, counts = np.unique(lengths, return_counts=True)
    usual = int(values[counts.argmax()])
    odd = np.flatnonzero(lengths != usual)
    if odd.size:
        index = int(odd[0])
        place = f"row {table.row(int(starts[index]))}, {where}"
        problem = f"blow {blow[index]} has {lengths[index]} samples, most have {usual}"
        raise InputError(table.source, place, problem, "export every blow with the same number of samples")
    _check_length(usual, table)
    return BlowLayout(blow, usual)


def single_blow(n_rows: int, table: NumberTable) -> BlowLayout:
    """Take a table without blow numbers as one blow, number 1."""
    _check_length(n_rows, table)
    return BlowLayout(np.array([1]), n_rows)


def _check_length(n_samples: int, table: NumberTable) -> None:
    if n_samples < MIN_SAMPLES:
        problem = f"has only {n_samples} samples a blow, and at least {MIN_SAMPLES} are needed"
        raise InputError(table.source, "", problem, "export the whole record of each blow")


def uniform_time(column: np.ndarray, factor: float, layout: BlowLayout, header: str, table: NumberTable) -> np.ndarray:
    """Give the time grid that all blows share.

    The time of each blow is counted from its own first sample: it may start again with every blow, or run on.

    Units: returns [s].
    """
    time = np.multiply(column, factor, dtype=float).reshape(layout.shape)

    def refuse(blow: int, sample: int, problem: str, cure: str) -> InputError:
        place = f"row {table.row(blow * layout.n_samples + sample)}, column {header}"
        return InputError(table.source, place, f"blow {layout.blow[blow]}: {problem}", cure)

    back = np.argwhere(np.diff(time, axis=1) <= 0.0)
    if back.size:
        blow, sample = (int(i) for i in back[0])
        cure = "give each blow its own number in a column blow, and each sample its own time"
        raise refuse(blow, sample + 1, "time goes back or stands still", cure)
    step = (time[:, -1] - time[:, 0]) / (layout.n_samples - 1)
    low, high = TIME_STEP_RANGE
    if not low <= step[0] <= high:
        problem = f"a time step of {step[0]:.3g} s is not one of a blow record ({low:g} to {high:g} s)"
        raise refuse(0, 1, problem, "check the unit of the column")
    other = np.flatnonzero(np.abs(step / step[0] - 1.0) > TIME_STEP_AGREEMENT)
    if other.size:
        blow = int(other[0])
        problem = f"the mean time step is {step[blow]:.6g} s, that of blow {layout.blow[0]} is {step[0]:.6g} s"
        raise refuse(blow, 0, problem, "look for missing samples, and export all blows at one sampling rate")
    grid = time[:, :1] + step[:, None] * np.arange(layout.n_samples)
    off = np.abs(time - grid).max(axis=1) > TIME_TOLERANCE * step
    if off.any():
        blow = int(off.argmax())
        steps = np.diff(time[blow])
        sample = int(np.abs(steps - np.median(steps)).argmax())
        problem = f"the time step is not uniform ({steps[sample]:.4g} s here, {step[blow]:.4g} s on the whole)"
        raise refuse(blow, sample + 1, problem, "look for a missing sample, or write time with more digits")
    return np.linspace(time[0, 0], time[0, -1], layout.n_samples)


def constant_in_blow(
    column: np.ndarray, factor: float, layout: BlowLayout, header: str, table: NumberTable
) -> np.ndarray:
    """Give one value a blow of a column that must not vary inside a blow."""
    values = column.reshape(layout.shape)
    first = values[:, :1]
    varies = np.abs(values - first) > CLOCK_TOLERANCE * np.maximum(np.abs(first), 1.0)
    if varies.any():
        blow, sample = (int(i) for i in np.argwhere(varies)[0])
        place = f"row {table.row(blow * layout.n_samples + sample)}, column {header}"
        problem = f"varies inside blow {layout.blow[blow]}"
        raise InputError(table.source, place, problem, "write one value for the whole blow, or take the column out")
    return np.multiply(values[:, 0], factor, dtype=float)


LARGEST_VALUE = {"strain": 0.1, "acceleration": 1e6, "force": 1e9, "velocity": 100.0}
"""Largest magnitude that a record can hold, by dimension [m/m], [m/s^2], [N], [m/s]: far above anything a pile
survives, so that beyond it the unit in the header is wrong. Common practice, no source."""

SMALLEST_MOVEMENT = {"strain": 5e-6, "acceleration": 10.0, "force": 1e3, "velocity": 0.01}
"""Smallest movement of the liveliest blow that a hammer can have caused, by dimension [m/m], [m/s^2], [N], [m/s]: about
1 MPa of stress in steel, and 1 g. Below it on every channel of a kind the unit in the header is wrong, or nothing was
connected. Common practice, no source."""

LARGEST_PENETRATION = 300.0
"""Deepest penetration that is believed [m]. Common practice, no source."""

PENETRATION_REBOUND = 0.01
"""Most that penetration may fall from blow to blow [m], for rounding. Our own, no source."""


@dataclass(frozen=True)
class _Piece:
    """One file of a drive; each of its traces has the shape (n_blows, channels of that kind, n_samples)."""

    source: str
    numbered: bool
    layout: BlowLayout
    time: np.ndarray
    traces: dict[str, np.ndarray]
    clock: np.ndarray | None
    penetration: np.ndarray | None


def read_signals(sheet: TestSheet, drive: Drive) -> Signals | AveragedTraces:
    """Read everything that was recorded in a drive.

    Files are stacked in their order. Blows have the numbers of the column ``blow``; files without one hold one blow
    each and are numbered from 1 in their order. Time is that of the first blow; the others are counted from their own
    first sample.

    Parameters
    ----------
    sheet : TestSheet
        The sheet, for the names of the gauges and what is left out.
    drive : Drive
        One of its drives.

    Returns
    -------
    Signals or AveragedTraces
        In SI, compression and downward motion positive, as recorded: nothing is corrected.

    Raises
    ------
    InputError
        With file, row or column and cure, for the first thing that cannot be used.
    """
    channels = _channels(sheet.gauges)
    pieces = [_read_piece(open_table(path), channels) for path in drive.signals]
    _check_together(pieces)
    first = pieces[0]
    source = first.source if len(pieces) == 1 else f"{first.source} and {len(pieces) - 1} more"
    numbers = np.concatenate([piece.layout.blow for piece in pieces])
    blow = numbers if first.numbered else np.arange(1, len(pieces) + 1)
    clock = _stacked([piece.clock for piece in pieces])
    penetration = _stacked([piece.penetration for piece in pieces])
    _check_clock(clock, blow, source)
    _check_penetration(penetration, blow, source)
    traces = {kind: _stacked([piece.traces[kind] for piece in pieces]) for kind in channels}
    for kind, names in channels.items():
        _check_movement(traces[kind], kind, names, source)
    common = {"source": source, "blow": blow, "time": first.time, "clock": clock, "penetration": penetration}
    if sheet.gauges.averaged:
        return AveragedTraces(force=traces["force"][:, 0], velocity=traces["velocity"][:, 0], **common)
    return Signals(
        **traces,
        strain_names=sheet.gauges.strain,
        acceleration_names=sheet.gauges.acceleration,
        left_out=frozenset(sheet.gauges.leave_out) | frozenset(sheet.choices.leave_out),
        **common,
    )


def _channels(gauges: Gauges) -> dict[str, tuple[str, ...]]:
    """Give the columns of each kind; the kind is also their dimension."""
    if gauges.averaged:
        return {"force": (gauges.force,), "velocity": (gauges.velocity,)}
    return {"strain": gauges.strain, "acceleration": gauges.acceleration}


def _read_piece(table: NumberTable, channels: dict[str, tuple[str, ...]]) -> _Piece:
    """Read one file, one column at a time, each straight into its place."""
    kinds = [(name, kind) for kind, names in channels.items() for name in names]
    found = find_columns(
        table.headers,
        required={"time": "time", **dict(kinds)},
        optional={"blow": "", "clock": "time", "penetration": "length"},
        source=table.source,
    )
    by_blow = [name for name in ("clock", "penetration") if name in found]
    order = [*(["blow"] if "blow" in found else []), "time", *by_blow, *(name for name, _ in kinds)]
    columns = table.columns([found[name].index for name in order])
    layout = layout_of(next(columns), found["blow"].text, table) if "blow" in found else None
    seconds = next(columns)
    layout = layout or single_blow(len(seconds), table)
    time = uniform_time(seconds, found["time"].factor, layout, found["time"].text, table)
    constant = {
        name: constant_in_blow(next(columns), found[name].factor, layout, found[name].text, table) for name in by_blow
    }
    traces = {}
    for kind, names in channels.items():
        traces[kind] = np.empty((layout.shape[0], len(names), layout.n_samples))
        for channel, name in enumerate(names):
            values = next(columns)
            _check_magnitude(values, found[name], kind, table)
            np.multiply(values.reshape(layout.shape), found[name].factor, out=traces[kind][:, channel], dtype=float)
    return _Piece(
        source=table.source,
        numbered="blow" in found,
        layout=layout,
        time=time,
        traces=traces,
        clock=constant.get("clock"),
        penetration=constant.get("penetration"),
    )


def _check_magnitude(values: np.ndarray, column: Column, kind: str, table: NumberTable) -> None:
    low, high = float(values.min()), float(values.max())
    if max(-low, high) * column.factor > LARGEST_VALUE[kind]:
        index = int(values.argmin() if -low > high else values.argmax())
        place = f"row {table.row(index)}, column {column.text}"
        problem = f"{float(values[index]):g} {column.header.unit} is far beyond any {kind} that a pile survives"
        raise InputError(table.source, place, problem, "check the unit of the column")


def _check_movement(traces: np.ndarray, kind: str, names: Sequence[str], source: str) -> None:
    """Refuse records in which no blow moves any channel of a kind; one dead channel of two is a finding."""
    moves = float((traces.max(axis=-1) - traces.min(axis=-1)).max())
    if moves < SMALLEST_MOVEMENT[kind]:
        unit = DIMENSIONS[kind][0]
        problem = f"no blow has a {kind} that moves by more than {moves:.2g} {unit}"
        problem += f", less than {SMALLEST_MOVEMENT[kind]:g} {unit}"
        place = f"column{'s' if len(names) > 1 else ''} {' and '.join(names)}"
        raise InputError(source, place, problem, "check the unit in the header, and whether the gauges were connected")


def _check_together(pieces: Sequence[_Piece]) -> None:
    """Refuse files of one drive that do not go together."""
    first = pieces[0]
    last = -1
    for piece in pieces:
        cure = "write the same columns into every file of the drive"
        for name in ("clock", "penetration"):
            if (getattr(piece, name) is None) != (getattr(first, name) is None):
                problem = f"is in only one of this file and {first.source}"
                raise InputError(piece.source, f"column {name}", problem, cure)
        if piece.numbered != first.numbered:
            raise InputError(piece.source, "column blow", f"is in only one of this file and {first.source}", cure)
        if piece.layout.n_samples != first.layout.n_samples:
            problem = f"has {piece.layout.n_samples} samples a blow, {first.source} has {first.layout.n_samples}"
            raise InputError(piece.source, "", problem, "export every blow with the same number of samples")
        step, wanted = piece.time[1] - piece.time[0], first.time[1] - first.time[0]
        if abs(step / wanted - 1.0) > TIME_STEP_AGREEMENT:
            problem = f"has a time step of {step:.6g} s, {first.source} has {wanted:.6g} s"
            raise InputError(piece.source, "column time", problem, "export all blows at one sampling rate")
        if piece.numbered and piece.layout.blow[0] <= last:
            problem = f"begins with blow {piece.layout.blow[0]}, the file before ends with blow {last}"
            raise InputError(piece.source, "column blow", problem, "number the blows onward from file to file")
        last = int(piece.layout.blow[-1])


def _stacked(arrays: Sequence[np.ndarray | None]) -> np.ndarray | None:
    """Give the arrays of all files one after the other; one file's own array is not copied."""
    return arrays[0] if len(arrays) == 1 or arrays[0] is None else np.concatenate(arrays)


def _check_clock(clock: np.ndarray | None, blow: np.ndarray, source: str) -> None:
    if clock is None:
        return
    back = np.flatnonzero(np.diff(clock) <= 0.0)
    if back.size:
        index = int(back[0]) + 1
        problem = f"blow {blow[index]} is not later than blow {blow[index - 1]}"
        raise InputError(source, "column clock", problem, "write the time of each blow since the drive began")


def _check_penetration(penetration: np.ndarray | None, blow: np.ndarray, source: str) -> None:
    if penetration is None:
        return
    wrong = np.flatnonzero((penetration < 0.0) | (penetration > LARGEST_PENETRATION))
    if wrong.size:
        problem = f"blow {blow[wrong[0]]} has {penetration[wrong[0]]:g} m, outside 0 to {LARGEST_PENETRATION:g} m"
        raise InputError(source, "column penetration", problem, "check the unit, and write depth below ground")
    back = np.flatnonzero(np.diff(penetration) < -PENETRATION_REBOUND)
    if back.size:
        index = int(back[0]) + 1
        problem = f"blow {blow[index]} is less deep than blow {blow[index - 1]}"
        raise InputError(source, "column penetration", problem, "write depth below ground, not level")
