"""Signal tables of a drive: from Parquet or CSV files to arrays of all its blows."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.blow_layout import (
    SMALLEST_MOVEMENT,
    TIME_STEP_AGREEMENT,
    Piece,
    check_magnitude,
    constant_in_blow,
    layout_of,
    single_blow,
    uniform_time,
)
from dyntest.reading.number_table import NumberTable, open_table
from dyntest.reading.parts import Drive, Gauges, Records, TestSheet
from dyntest.reading.streams import StreamCut
from dyntest.reading.text_tables import find_columns
from dyntest.signals import AveragedTraces, Signals, StreamImpacts
from dyntest.units import DIMENSIONS

OWN_ENDINGS = (".parquet", ".csv", ".csv.gz")
"""Extensions of files that may be tables in the program's own format."""

LARGEST_PENETRATION = 300.0
"""Largest penetration accepted [m]. Common practice, no source."""

PENETRATION_REBOUND = 0.01
"""Largest decrease of penetration between blows [m], to allow for rounding. Our own, no source."""


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
    pieces, cuts = read_pieces(sheet, drive.signals)
    return signals_of(sheet, drive, pieces, cuts)


def read_pieces(sheet: TestSheet, paths: Sequence[Path]) -> tuple[list[Piece], list[StreamCut]]:
    """Read the files of a drive one by one; for streams also give where they were cut."""
    channels = channels_of(sheet.gauges)
    if sheet.records is None and all(path.name.lower().endswith(OWN_ENDINGS) for path in paths):
        return [piece_of_table(open_table(path), channels) for path in paths], []
    from dyntest.reading.recorder_files import read_recorder_files

    pieces, cuts = read_recorder_files(paths, sheet.records or Records(), channels, channels_left_out(sheet))
    return _numbered_onward(pieces), cuts


def channels_left_out(sheet: TestSheet) -> frozenset[str]:
    """Give the channels that are not to be used."""
    return frozenset(sheet.gauges.leave_out) | frozenset(sheet.choices.leave_out)


def signals_of(
    sheet: TestSheet, drive: Drive, pieces: Sequence[Piece], cuts: Sequence[StreamCut] = ()
) -> Signals | AveragedTraces:
    """Join the files of a drive, as `read_signals` gives them."""
    channels, left_out = channels_of(sheet.gauges), channels_left_out(sheet)
    _check_together(pieces)
    first = pieces[0]
    source = first.source if len(pieces) == 1 else f"{first.source} and {len(pieces) - 1} more"
    numbers = np.concatenate([piece.layout.blow for piece in pieces])
    blow = numbers if first.numbered else np.arange(1, len(pieces) + 1)
    if drive.first_blow is not None and (cuts or not first.numbered):
        blow = blow + (drive.first_blow - int(blow[0]))
    clock = _stacked_clock(pieces, bool(cuts))
    penetration = _stacked([piece.penetration for piece in pieces])
    _check_clock(clock, blow, source)
    _check_penetration(penetration, blow, source)
    traces = {kind: _all_blows([piece.traces[kind] for piece in pieces]) for kind in channels}
    for kind, names in channels.items():
        _check_movement(traces[kind], kind, names, source)
    if sheet.gauges.averaged:
        return AveragedTraces(
            source,
            blow,
            first.time,
            force=traces["force"][:, 0],
            velocity=traces["velocity"][:, 0],
            clock=clock,
            penetration=penetration,
        )
    return Signals(
        source,
        blow,
        first.time,
        strain=traces["strain"],
        acceleration=traces["acceleration"],
        strain_names=channels["strain"],
        acceleration_names=channels["acceleration"],
        left_out=left_out,
        clock=clock,
        penetration=penetration,
        impacts=_impacts(cuts, first.time) if cuts else None,
        untold={name: text for piece in pieces for name, text in piece.untold.items() if name not in left_out},
    )


def _impacts(cuts: Sequence[StreamCut], time: np.ndarray) -> StreamImpacts:
    """Give the impacts other than blows in the streams of a drive."""
    step = float((time[-1] - time[0]) / (len(time) - 1))
    return StreamImpacts(
        trigger=max(cut.trigger for cut in cuts),
        noise=max(cut.noise for cut in cuts),
        bounces=np.concatenate([cut.bounce for cut in cuts]) * step,
        double_strikes=np.concatenate([cut.double_strike for cut in cuts]) * step,
        incomplete=sum(cut.incomplete for cut in cuts),
    )


def _numbered_onward(pieces: Sequence[Piece]) -> list[Piece]:
    """Give files that each number their blows from 1, or from 0, numbered consecutively from file to file."""
    if len(pieces) < 2 or not _each_anew(pieces):
        return list(pieces)
    onward, last = [], 0
    for piece in pieces:
        onward.append(replace(piece, layout=replace(piece.layout, blow=piece.layout.blow + last)))
        last += int(piece.layout.blow[-1]) + 1 - int(piece.layout.blow[0])
    return onward


def _each_anew(pieces: Sequence[Piece]) -> bool:
    """Whether each file numbers its blows anew, from 1 or from 0."""
    first = {int(piece.layout.blow[0]) if piece.numbered else -1 for piece in pieces}
    return first in ({0}, {1})


def _stacked_clock(pieces: Sequence[Piece], streams: bool) -> np.ndarray | None:
    """Give the clock of all files; none if the times between several streams are unknown."""
    clock = _stacked([piece.clock for piece in pieces])
    if streams and clock is not None and len(pieces) > 1 and (np.diff(clock) <= 0.0).any():
        return None
    return clock


def channels_of(gauges: Gauges) -> dict[str, tuple[str, ...]]:
    """Give the columns of each kind; the kind is also their dimension."""
    if gauges.force is not None and gauges.velocity is not None:
        return {"force": (gauges.force,), "velocity": (gauges.velocity,)}
    return {"strain": gauges.strain or (), "acceleration": gauges.acceleration or ()}


def piece_of_table(table: NumberTable, channels: dict[str, tuple[str, ...]]) -> Piece:
    """Read one file, one column at a time, each straight into its place."""
    kinds = [(name, kind) for kind, names in channels.items() for name in names]
    found = find_columns(
        table.headers,
        required={"time": "time", **dict(kinds)},
        optional={"blow": "", "clock": "time", "penetration": "length"},
        source=table.source,
        gauges=[name for name, _ in kinds],
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
            check_magnitude(values, found[name].factor, found[name].header.unit, found[name].text, kind, table)
            np.multiply(values.reshape(layout.shape), found[name].factor, out=traces[kind][:, channel], dtype=float)
    return Piece(
        source=table.source,
        numbered="blow" in found,
        layout=layout,
        time=time,
        traces=traces,
        clock=constant.get("clock"),
        penetration=constant.get("penetration"),
    )


def _check_movement(traces: np.ndarray, kind: str, names: Sequence[str], source: str) -> None:
    """Refuse records in which no blow moves any channel of a kind; one dead channel of two is a finding."""
    moves = float((traces.max(axis=-1) - traces.min(axis=-1)).max())
    if moves < SMALLEST_MOVEMENT[kind]:
        unit = DIMENSIONS[kind][0]
        article = "an" if kind[0] in "aeiou" else "a"
        problem = f"no blow has {article} {kind} that moves by more than {moves:.2g} {unit}"
        problem += f", less than {SMALLEST_MOVEMENT[kind]:g} {unit}"
        place = f"column{'s' if len(names) > 1 else ''} {' and '.join(names)}"
        raise InputError(source, place, problem, "check the unit in the header, and whether the gauges were connected")


def _check_together(pieces: Sequence[Piece]) -> None:
    """Refuse files of one drive that do not match each other."""
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
            problem = f"has {piece.layout.n_samples} samples per blow, {first.source} has {first.layout.n_samples}"
            raise InputError(piece.source, "", problem, "export every blow with the same number of samples")
        step, wanted = piece.time[1] - piece.time[0], first.time[1] - first.time[0]
        if abs(step / wanted - 1.0) > TIME_STEP_AGREEMENT:
            problem = f"has a time step of {step:.6g} s, {first.source} has {wanted:.6g} s"
            raise InputError(piece.source, "column time", problem, "export all blows at one sampling rate")
        if piece.numbered and piece.layout.blow[0] <= last:
            problem = f"begins with blow {piece.layout.blow[0]}, the file before ends with blow {last}"
            raise InputError(piece.source, "column blow", problem, "number the blows consecutively from file to file")
        last = int(piece.layout.blow[-1])
    if not first.numbered and first.clock is None:
        _refuse_copies(pieces)


def _refuse_copies(pieces: Sequence[Piece]) -> None:
    """Refuse two files with the same records and nothing that tells them apart."""
    seen: dict[tuple[int, ...], str] = {}
    for piece in pieces:
        other = seen.setdefault(tuple(hash(one.tobytes()) for one in piece.traces.values()), piece.source)
        if other != piece.source:
            problem = f"has the same records as {other}, to the last digit"
            raise InputError(piece.source, "", problem, "copy the right file, or name only one of them")


def _all_blows(arrays: Sequence[np.ndarray]) -> np.ndarray:
    """Give the arrays of all files one after the other; one file's own array is not copied."""
    return arrays[0] if len(arrays) == 1 else np.concatenate(arrays)


def _stacked(arrays: Sequence[np.ndarray | None]) -> np.ndarray | None:
    """Give the joined arrays if all files have them, else None."""
    there = [array for array in arrays if array is not None]
    return _all_blows(there) if there else None


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
        problem = f"blow {blow[index]} is shallower than blow {blow[index - 1]}"
        raise InputError(source, "column penetration", problem, "write depth below ground, not elevation")
