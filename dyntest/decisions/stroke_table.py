"""The table an inspector reads: for each stroke of the approved range the count, and what rules a stroke out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from dyntest.decisions.criterion import PRACTICAL_REFUSAL_SET, show_count
from dyntest.decisions.dynamic_formulas import modified_gates_set
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.hammer import Hammer
from dyntest.names import show
from dyntest.units import unit_factor
from dyntest.wave_equation.bearing_graph import BearingGraph

STROKE_STEPS = {"US": (0.25, 0.5, 1.0, 2.0), "SI": (0.05, 0.1, 0.25, 0.5, 1.0)}
"""Steps between the rows of the table [ft], [m]; the smallest that gives at most `MOST_ROWS` rows is taken."""

MOST_ROWS = 9
"""Rows that an inspector still finds at a glance [1]; no source."""

ROUNDING = 1e-9
"""Share by which a count may pass a whole number without being rounded up to the next [1], for arithmetic only."""


@dataclass(frozen=True)
class StrokeRow:
    """What one stroke asks for, and what it does to the pile.

    Parameters
    ----------
    stroke : float
        Stroke of the ram [m].
    graph_set : float
        Set per blow that the bearing graph gives at the target [m].
    set_per_blow : float
        Set that the rounded count stands for [m].
    count : int
        Blows per inch (US) or per 25 mm (SI), rounded up [1].
    compression_stress, tension_stress : float
        Greatest stresses anywhere along the pile [Pa].
    transferred_energy : float
        Transferred energy [J].
    gates_set : float
        Set that the FHWA-modified Gates formula asks for, a sanity check only [m].
    ruled_out : str
        Why the stroke cannot be used; empty where it can.
    """

    stroke: float
    graph_set: float
    set_per_blow: float
    count: int
    compression_stress: float
    tension_stress: float
    transferred_energy: float
    gates_set: float
    ruled_out: str = ""


def table_strokes(hammer: Hammer, seen: np.ndarray, stroke: float, system: str) -> np.ndarray:
    """Give the strokes of the table: round numbers over the approved range, and its ends.

    Parameters
    ----------
    hammer : Hammer
        Its approved range, where the sheet gives one.
    seen : numpy.ndarray
        Measured strokes, shape (n_blows,) [m], which stand for an end that is not given.
    stroke : float
        Stroke of the representative blow [m], where none was measured.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    numpy.ndarray
        Strokes, rising, shape (n_rows,) [m].

    Examples
    --------
    >>> hammer = Hammer("drop", 3000.0, minimum_stroke=0.8, maximum_stroke=1.2)
    >>> table_strokes(hammer, np.array([1.0]), 1.0, "SI")[::2].tolist()
    [0.8, 0.9, 1.0, 1.1, 1.2]
    """
    seen = seen[np.isfinite(seen)]
    seen = seen if len(seen) else np.array([stroke])
    lowest = hammer.minimum_stroke or float(seen.min())
    highest = max(hammer.maximum_stroke or float(seen.max()), lowest)
    unit = unit_factor("ft", "length") if system == "US" else 1.0
    steps = STROKE_STEPS[system]
    step = next((one for one in steps if (highest - lowest) / unit / one < MOST_ROWS - 0.5), steps[-1])
    first, last = ceil(lowest / unit / step - 1e-6), int(highest / unit / step + 1e-6)
    inner = np.arange(first, last + 1) * step * unit
    return np.unique(np.round(np.concatenate([[lowest], inner, [highest]]), 6))


def stroke_rows(
    graph: BearingGraph, strokes: np.ndarray, resistance: float, limits: DrivingStressLimits | None, system: str
) -> tuple[StrokeRow, ...]:
    """Give the rows of the table from a bearing graph.

    Parameters
    ----------
    graph : BearingGraph
        The bearing graph, over these strokes and maybe others.
    strokes : numpy.ndarray
        Strokes of the table, shape (n_rows,) [m], rising.
    resistance : float
        Resistance to be shown [N].
    limits : DrivingStressLimits or None
        Limits of the driving stresses.
    system : str
        ``"SI"`` or ``"US"``: per 25 mm or per inch.

    Returns
    -------
    tuple of StrokeRow
        One a stroke. Counts are whole, rounded up, so that the set asked for is never larger than the graph's, and a
        higher stroke never asks for more blows. A stroke is ruled out where a stress passes its limit there or at a
        lower stroke, and where the count would be beyond practical refusal.
    """
    unit = unit_factor("in", "length") if system == "US" else 0.025
    at = np.searchsorted(graph.stroke, strokes)
    sets, compression, tension, energy = (
        graph.at_resistance(resistance, name)[at]
        for name in ("set_per_blow", "peak_compression_stress", "peak_tension_stress", "transferred_energy")
    )
    counts = np.ceil(unit / sets * (1.0 - ROUNDING))
    counts = np.maximum.accumulate(counts[::-1])[::-1]
    gates = modified_gates_set(np.full(len(strokes), resistance), graph.hammer.ram_weight * strokes)
    rows, too_high = [], ""
    for i, stroke in enumerate(strokes):
        numbers = (float(values[i]) for values in (compression, tension, energy, gates))
        row = StrokeRow(float(stroke), float(sets[i]), float(unit / counts[i]), int(counts[i]), *numbers)
        reason = too_high or _stress_reason(row, limits, system)
        if reason and not too_high:
            too_high = f"a lower stroke is ruled out: at {show('stroke', stroke, system)} {reason}"
        rows.append(replace(row, ruled_out=reason or _refusal_reason(row, system)))
    return tuple(rows)


def ruled_out_words(rows: Sequence[StrokeRow], system: str) -> tuple[str, ...]:
    """Say which strokes cannot be used and why, neighbours with one reason together.

    Parameters
    ----------
    rows : sequence of StrokeRow
        The rows, some of which can be used.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    tuple of str
        At most two sentences: strokes too low, and strokes too high.
    """
    usable = [row for row in rows if not row.ruled_out]
    if not usable:
        return tuple(f"{show('stroke', row.stroke, system)}: {row.ruled_out}" for row in rows)
    low = [row for row in rows if row.ruled_out and row.stroke < usable[0].stroke]
    high = [row for row in rows if row.ruled_out and row.stroke > usable[-1].stroke]
    words = []
    if low:
        above = show("stroke", usable[0].stroke, system)
        words.append(f"strokes below {above}: at {show('stroke', low[-1].stroke, system)} {low[-1].ruled_out}")
    if high:
        words.append(f"strokes of {show('stroke', high[0].stroke, system)} and more: {high[0].ruled_out} there")
    return tuple(words)


def _stress_reason(row: StrokeRow, limits: DrivingStressLimits | None, system: str) -> str:
    if limits is None:
        return ""
    for name, code, stress, limit in (
        ("compression", "peak_compression_stress", row.compression_stress, limits.compression.value),
        ("tension", "peak_tension_stress", row.tension_stress, limits.tension.value),
    ):
        if limit is not None and stress > limit:
            shown, allowed = show(code, stress, system), show(code, limit, system)
            above = "just above" if shown == allowed else f"of {shown} is above"
            return f"the {name} stress {'is ' if shown == allowed else ''}{above} the limit of {allowed}"
    return ""


def _refusal_reason(row: StrokeRow, system: str) -> str:
    if row.graph_set >= PRACTICAL_REFUSAL_SET:
        return ""
    return f"the count would be {show_count(row.graph_set, system, asked=True)}, beyond practical refusal"
