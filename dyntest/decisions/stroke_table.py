"""The table an inspector reads: for each stroke of the approved range the count, its chances, and what rules it out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, hypot
from typing import Any

import numpy as np

from dyntest.decisions.criterion import (
    PRACTICAL_REFUSAL_SET,
    ROUNDING,
    WAYS,
    Counting,
    EasyDriving,
    RuledOut,
    StrokesRuledOut,
    count_over,
)
from dyntest.decisions.dynamic_formulas import modified_gates_set
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.risk import chance_driven_on, chance_short, count_deviation
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.hammer import Hammer
from dyntest.wave_equation.bearing_graph import BearingGraph

HOLDING_COUNTS, MOST_HOLDING_COUNTS = 3, 6
"""Length over which the count has to hold [inch or 25 mm]: three consecutive inches, as for practical refusal in UFC
3-220-20 (2025), 6-4.1.2, and up to six where blows are few; several consecutive inches or a foot are common practice,
no source."""

BLOWS_TO_HOLD = 12
"""Blows over the holding length from which whole numbers hardly matter [1]: they then scatter by 3 % of the set, about
1.5 % of the resistance, well below the other errors. A longer length would lag behind a resistance that rises."""

MOST_ROWS = 9
"""Rows that an inspector still finds at a glance [1]; no source."""


GRAPH_STEP, MOST_GRAPH_STROKES = 0.15, 13
"""Distance of the strokes of a bearing graph [m], and how many there are at most [1]: stresses need not rise evenly
with the stroke, and where they are looked at must not depend on the units that are shown."""


@dataclass(frozen=True)
class StrokeRow:
    """What one stroke asks for, and what it does to the pile.

    Parameters
    ----------
    stroke : float
        Stroke of the ram [m].
    set_per_blow : float
        Set per blow that the bearing graph gives at the target [m].
    count : int
        Blows over the holding length, the nearest whole number; rounded up in every inch (or 25 mm) of it where they
        are asked so [1].
    compression_stress, tension_stress : float
        Greatest stresses anywhere along the pile, compression with the measured bending [Pa]; what is compared with the
        limits.
    mean_stress : float
        Greatest compression of the whole section, without bending [Pa].
    transferred_energy : float
        Transferred energy [J].
    gates_set : float
        Set that the FHWA-modified Gates formula asks for, a sanity check only [m].
    sensitivity : float
        Share by which the resistance changes with the share of the set, ``−d ln R / d ln s`` [1].
    ruled_out : RuledOut or None
        Why the stroke cannot be used; None where it can.
    short, driven_on : float
        Chances that a pile which just passes is short, and that a sound one is rejected [1].
    """

    stroke: float
    set_per_blow: float
    count: int
    compression_stress: float
    tension_stress: float
    mean_stress: float
    transferred_energy: float
    gates_set: float
    sensitivity: float = 0.5
    ruled_out: RuledOut | None = None
    short: float = float("nan")
    driven_on: float = float("nan")


def table_strokes(hammer: Hammer, seen: np.ndarray, stroke: float, counting: Counting) -> np.ndarray:
    """Give the strokes of the table: round numbers over the approved range, and its ends.

    Units: seen, stroke [m]; returns [m].

    Examples
    --------
    >>> from dyntest.decisions.criterion import COUNTING
    >>> hammer = Hammer("drop", 3000.0, minimum_stroke=0.8, maximum_stroke=1.2)
    >>> table_strokes(hammer, np.array([1.0]), 1.0, COUNTING["SI"])[::2].tolist()
    [0.8, 0.9, 1.0, 1.1, 1.2]
    """
    lowest, highest = _stroke_range(hammer, seen, stroke)
    unit, steps = counting.stroke_unit, counting.stroke_steps
    step = next((one for one in steps if (highest - lowest) / unit / one < MOST_ROWS - 0.5), steps[-1])
    first, last = ceil(lowest / unit / step - 1e-6), int(highest / unit / step + 1e-6)
    inner = np.arange(first, last + 1) * step * unit
    apart = 0.5 * counting.stroke_reading * unit  # two rows must not read alike
    inner = inner[(inner > lowest + apart) & (inner < highest - apart)]
    return np.unique(np.round(np.concatenate([[lowest], inner, [highest]]), 6))


def _stroke_range(hammer: Hammer, seen: np.ndarray, stroke: float) -> tuple[float, float]:
    """Give lowest and highest approved stroke [m]; where the hammer has none, those that were seen."""
    seen = seen[np.isfinite(seen)]
    seen = seen if len(seen) else np.array([stroke])
    lowest = hammer.minimum_stroke or float(seen.min())
    return lowest, max(hammer.maximum_stroke or float(seen.max()), lowest)


def graph_strokes(hammer: Hammer, seen: np.ndarray, stroke: float, *, also_seen: bool = True) -> np.ndarray:
    """Give the strokes of a bearing graph: evenly over the approved range, and beyond as far as blows were measured.

    Units: seen, stroke [m]; returns [m].

    Examples
    --------
    >>> hammer = Hammer("drop", 3000.0, minimum_stroke=0.8, maximum_stroke=1.1)
    >>> graph_strokes(hammer, np.array([1.0, 1.2]), 1.0).round(3).tolist()
    [0.8, 0.95, 1.1, 1.224]
    """
    lowest, highest = _stroke_range(hammer, seen, stroke)
    pieces = min(ceil((highest - lowest) / GRAPH_STEP - 1e-6), MOST_GRAPH_STROKES - 1)
    strokes = np.linspace(lowest, highest, pieces + 1)
    seen = seen[np.isfinite(seen)]
    ends = [0.98 * seen.min(), 1.02 * seen.max()] if also_seen and len(seen) else []
    strokes = np.append(strokes, [end for end in ends if not lowest <= end <= highest])
    return np.unique(np.round(strokes, 6))  # as those of the table, whose ends must not lie outside


def stroke_rows(
    graph: BearingGraph,
    strokes: np.ndarray,
    resistance: float,
    limits: DrivingStressLimits | None,
    counting: Counting,
    *,
    bending: float = 1.0,
    way: str = WAYS[0],
) -> tuple[StrokeRow, ...]:
    """Give the rows of the table from a bearing graph.

    Units: strokes [m]; resistance [N]; bending [1].

    The compression that is compared with its limit is that of the section times the measured ratio of single gauge to
    mean. Where a stress passes its limit between two strokes, the stroke at which it does is a row of its own, so that
    the approved range ends where the stress does and not at the round number below.
    """
    names = ("set_per_blow", "peak_compression_stress", "peak_tension_stress", "transferred_energy")
    columns = {name: graph.at_resistance(resistance, name) for name in names}
    columns["set_per_blow"] = np.maximum.accumulate(columns["set_per_blow"])
    strokes = _with_limit_strokes(graph.stroke, strokes, columns, limits, bending, counting)
    at = {name: np.interp(strokes, graph.stroke, values) for name, values in columns.items()}
    gates = modified_gates_set(np.full(len(strokes), resistance), graph.hammer.ram_weight * strokes)
    slope = _sensitivity(graph, resistance)
    holding = holding_length(float(at["set_per_blow"].max()), counting)
    rows: list[StrokeRow] = []
    between = _first_beyond(graph.stroke, strokes, columns, limits, bending)
    too_high: RuledOut | None = None
    for i, stroke in enumerate(strokes):
        compression, tension, energy = (float(at[name][i]) for name in names[1:])
        moved = float(at["set_per_blow"][i])
        count = count_over(moved, holding, counting.length if way == WAYS[1] else None)
        numbers = (compression, energy, float(gates[i]), float(np.interp(stroke, graph.stroke, slope)))
        row = StrokeRow(float(stroke), moved, count, bending * compression, tension, *numbers)
        reason = too_high or _stress_reason(row, limits)
        if reason is None and between is not None and stroke > between.stroke:
            reason = between
        if reason is not None and too_high is None:
            too_high = replace(reason, kind="lower stroke")
        rows.append(replace(row, ruled_out=reason or _refusal_reason(row, holding)))
    return tuple(rows)


def _first_beyond(
    known: np.ndarray,
    strokes: np.ndarray,
    columns: dict[str, np.ndarray],
    limits: DrivingStressLimits | None,
    bending: float,
) -> RuledOut | None:
    """Give the lowest stroke of the graph within the table at which a stress is above its limit; None where none is.

    A stress can pass its limit between two rows and be below it at both.
    """
    if limits is None:
        return None
    found = []
    compression = columns["peak_compression_stress"]
    stresses = compression, columns["peak_tension_stress"], bending * compression
    for name, stress, limit in _against_limits(stresses, limits):
        over = (stress > limit * (1.0 + ROUNDING)) & (known >= strokes[0]) & (known <= strokes[-1])
        found += [RuledOut(name, float(known[i]), float(stress[i]), limit) for i in np.flatnonzero(over)[:1]]
    return min(found, key=lambda one: one.stroke, default=None)


def _with_limit_strokes(
    known: np.ndarray,
    strokes: np.ndarray,
    columns: dict[str, np.ndarray],
    limits: DrivingStressLimits | None,
    bending: float,
    counting: Counting,
) -> np.ndarray:
    """Add the strokes at which a stress reaches its limit with the bending and without.

    They are rounded down to what the table shows: a card that shows more would approve a stroke above the limit.
    """
    if limits is None:
        return strokes
    ends = [
        min(
            stroke_within(known, factor * columns["peak_compression_stress"], limits.compression.value),
            stroke_within(known, columns["peak_tension_stress"], limits.tension.value),
        )
        for factor in {1.0, bending}
    ]
    read = counting.stroke_reading * counting.stroke_unit
    inside = [
        end
        for end in np.floor(np.array(ends) / read + ROUNDING) * read
        if strokes[0] < end < strokes[-1] and np.abs(strokes - end).min() > 0.5 * read
    ]
    return np.unique(np.concatenate([strokes, inside]))


def stroke_within(strokes: np.ndarray, stress: np.ndarray, limit: float | None) -> float:
    """Give the stroke up to which a stress stays within its limit; infinite where it does at every stroke.

    Units: strokes [m]; stress, limit [Pa]; returns [m].

    Examples
    --------
    >>> stroke_within(np.array([1.0, 2.0]), np.array([100.0, 200.0]), 150.0)
    1.5
    """
    above = np.flatnonzero(stress > limit) if limit is not None else np.empty(0, dtype=int)
    if not len(above):
        return np.inf
    i = above[0]
    if i == 0:
        return float(strokes[0])
    share = (limit - stress[i - 1]) / (stress[i] - stress[i - 1])
    return float(strokes[i - 1] + share * (strokes[i] - strokes[i - 1]))


def _sensitivity(graph: BearingGraph, resistance: float) -> np.ndarray:
    """Give ``−d ln R / d ln s`` at a resistance for every stroke of a graph [1]."""
    ends = np.clip(np.array([0.95, 1.05]) * resistance, graph.resistance[0], graph.resistance[-1])
    low, high = (graph.at_resistance(float(end), "set_per_blow") for end in ends)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.log(ends[1] / ends[0]) / np.log(low / high)
    return np.clip(np.nan_to_num(slope, nan=1.0, posinf=1.0), 0.0, 1.0)


def with_chances(rows: Sequence[StrokeRow], target: EndOfDriveTarget, holding: float) -> tuple[StrokeRow, ...]:
    """Give rows with the chances that go with their whole counts.

    Units: holding [m].

    A pile that just passes shows the whole count on average: its resistance at the end of driving is the target's
    moved by the rounding, ``R = R_target (s / s_asked)^b``.
    """
    found = []
    for row in rows:
        shown = target.value * (row.set_per_blow * row.count / holding) ** row.sensitivity
        over = shown / target.middle if target.middle == target.middle else shown / target.value
        sigma = hypot(target.deviation, count_deviation(row.count, row.sensitivity))
        found.append(replace(row, short=chance_short(over, sigma), driven_on=chance_driven_on(over, sigma)))
    return tuple(found)


def strokes_ruled_out(rows: Sequence[StrokeRow]) -> tuple[StrokesRuledOut, ...]:
    """Give which strokes cannot be used and why, neighbours together."""
    usable = [row for row in rows if row.ruled_out is None]
    if not usable:
        return tuple(StrokesRuledOut("from", row.stroke, row.ruled_out) for row in rows[:1] if row.ruled_out)
    low = [row for row in rows if row.ruled_out is not None and row.stroke < usable[0].stroke]
    high = [row for row in rows if row.ruled_out is not None and row.stroke > usable[-1].stroke]
    found = [StrokesRuledOut("below", usable[0].stroke, row.ruled_out) for row in low[-1:] if row.ruled_out]
    found += [StrokesRuledOut("from", row.stroke, row.ruled_out) for row in high[:1] if row.ruled_out]
    return tuple(found)


def _stress_reason(row: StrokeRow, limits: DrivingStressLimits | None) -> RuledOut | None:
    if limits is None:
        return None
    stresses = row.mean_stress, row.tension_stress, row.compression_stress
    for name, stress, limit in _against_limits(stresses, limits):
        if stress > limit * (1.0 + ROUNDING):
            return RuledOut(name, row.stroke, stress, limit)
    return None


def _against_limits(stresses: tuple, limits: DrivingStressLimits) -> list[tuple[str, Any, float]]:
    """Give compression of the section, tension, and compression with bending, each with its limit, where it has one.

    Units: stresses [Pa], one value or an array each.
    """
    held = limits.compression.value, limits.tension.value, limits.compression.value
    named = zip(("compression", "tension", "bending"), stresses, held, strict=True)
    return [(name, stress, limit) for name, stress, limit in named if limit is not None]


def _refusal_reason(row: StrokeRow, holding: float) -> RuledOut | None:
    """Refusal lies beyond acceptance: a count that reaches practical refusal cannot be asked for."""
    refusal = holding / PRACTICAL_REFUSAL_SET
    if row.set_per_blow > PRACTICAL_REFUSAL_SET and row.count < refusal * (1.0 - ROUNDING):
        return None
    return RuledOut("refusal", row.stroke, row.set_per_blow, PRACTICAL_REFUSAL_SET)


def easy_driving(
    graph: BearingGraph, strokes: np.ndarray, limits: DrivingStressLimits | None, asked: float
) -> tuple[EasyDriving, ...]:
    """Give how high the stroke may go while the pile still moves far a blow.

    Units: strokes [m]; asked [m], the set per blow from which the criterion itself limits the stroke.

    From the bearing graph at low resistance: for each stroke the set above which a stress passes its limit, where that
    set is above the one asked for. The lowest stroke without such a set needs no limit.
    """
    if limits is None:
        return ()
    found = []
    for kind, limit in (("tension", limits.tension.value), ("compression", limits.compression.value)):
        if limit is None:
            continue
        stress = getattr(graph.blows, f"peak_{kind}_stress")
        for i, stroke in enumerate(graph.stroke):
            lower = strokes[strokes < stroke - 1e-6]
            sets = graph.blows.set_per_blow[i]
            over = (stress[i] > limit) & (sets > asked)
            if over.any() and len(lower) and stroke <= strokes[-1] + 1e-6:
                found.append(EasyDriving(float(lower[-1]), float(sets[over].min()), kind))
    kept: list[EasyDriving] = []
    for one in sorted(found, key=lambda limit: (limit.stroke, limit.set_per_blow)):
        if not kept or one.set_per_blow < kept[-1].set_per_blow * (1.0 - 1e-6):
            kept.append(one)
    return tuple(kept)


def holding_length(largest_set: float, counting: Counting) -> float:
    """Give the length over which counts hold, by the largest set per blow that is asked for.

    Units: largest_set [m]; returns [m].

    Examples
    --------
    >>> from dyntest.decisions.criterion import COUNTING
    >>> [round(holding_length(0.0254 / n, COUNTING["US"]) / 0.0254) for n in (8, 3)]
    [3, 4]
    """
    needed = ceil(BLOWS_TO_HOLD * largest_set / counting.length - ROUNDING)
    return min(max(needed, HOLDING_COUNTS), MOST_HOLDING_COUNTS) * counting.length
