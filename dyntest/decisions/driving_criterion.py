"""The driving criterion of a test pile: blows at each stroke that show the resistance.

Derived from the calibrated bearing graph, and held against the measured blows and public formulas.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from dyntest.decisions.caution import GOVERNING_SPECIFICATION, Caution
from dyntest.decisions.criterion import PRACTICAL_REFUSAL_SET, Criterion, CriterionRow, show_count
from dyntest.decisions.dynamic_formulas import modified_gates_set
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.errors import InputError
from dyntest.hammer import Hammer
from dyntest.names import show
from dyntest.units import unit_factor
from dyntest.wave_equation.bearing_graph import BearingGraph, bearing_graph
from dyntest.wave_equation.hammer_calibration import CalibratedHammer
from dyntest.wave_equation.matching import Match

STROKE_STEPS = {"US": (0.25, 0.5, 1.0, 2.0), "SI": (0.05, 0.1, 0.25, 0.5, 1.0)}
"""Steps between the rows of the table [ft], [m]; the smallest that gives at most `MOST_ROWS` rows is taken."""
MOST_ROWS = 9
RESISTANCE_POINTS = 14
HOLDING_INCHES = 3
"""Length over which the count has to hold [in]: three consecutive inches, as for practical refusal in UFC 3-220-20
(2025),
6-4.1.2."""
AGREEMENT = 0.15
"""Share by which the resistance that the bearing graph reads from the measured blows may differ from the matched one
[1]; common
practice, no source."""
USUAL_SETS = (0.3048 / 120, 0.3048 / 24)
"""Sets outside which dynamic methods under- or over-predict [m]: 120 and 24 blows per foot (UFC 3-220-20, 2025,
6-4.1.2)."""


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


@dataclass(frozen=True)
class MeasuredBlows:
    """Measured blows of the end of the initial drive, to be laid beside the bearing graph.

    Parameters
    ----------
    stroke : numpy.ndarray
        Strokes, shape (n_blows,) [m].
    set_per_blow : numpy.ndarray
        Sets from the driving log, shape (n_blows,) [m].
    """

    stroke: np.ndarray
    set_per_blow: np.ndarray


@dataclass(frozen=True)
class DrivingCriterion:
    """A driving criterion with everything it rests on.

    Parameters
    ----------
    pile : str
        The test pile.
    criterion : Criterion or None
        What bearing piles are held against; None where no stroke can show the resistance.
    target : EndOfDriveTarget
        The resistance to be shown.
    rows : tuple of StrokeRow
        Every stroke of the approved range, also those ruled out.
    graph : BearingGraph
        The bearing graph.
    calibrated : CalibratedHammer
        The hammer.
    measured : MeasuredBlows
        The measured blows.
    graph_resistance : float
        Resistance that the graph reads from the measured blows, their median [N]; not a number where none can be read.
    agrees : bool or None
        Whether it is within `AGREEMENT` of the matched resistance; None where it could not be compared.
    cautions : tuple of Caution
        What to weigh, the gravest first.
    reminder : str
        Who decides.
    """

    pile: str
    criterion: Criterion | None
    target: EndOfDriveTarget
    rows: tuple[StrokeRow, ...]
    graph: BearingGraph
    calibrated: CalibratedHammer
    measured: MeasuredBlows
    graph_resistance: float
    agrees: bool | None
    cautions: tuple[Caution, ...]
    reminder: str = GOVERNING_SPECIFICATION


def driving_criterion(
    match: Match,
    calibrated: CalibratedHammer,
    target: EndOfDriveTarget,
    measured: MeasuredBlows,
    *,
    limits: DrivingStressLimits | None = None,
    minimum_penetration: float | None = None,
    system: str = "SI",
) -> DrivingCriterion:
    """Derive the driving criterion of a test pile.

    Parameters
    ----------
    match : Match
        Match of the representative blow at the end of the initial drive.
    calibrated : CalibratedHammer
        The hammer calibrated to that blow.
    target : EndOfDriveTarget
        The resistance to be shown at the end of driving.
    measured : MeasuredBlows
        The last blows of the initial drive.
    limits : DrivingStressLimits or None
        Limits of the driving stresses.
    minimum_penetration : float or None
        Least penetration of the toe [m].
    system : str
        ``"SI"`` or ``"US"``: per 25 mm or per inch, strokes in metres or feet.

    Returns
    -------
    DrivingCriterion
        Counts rounded up, so that the set asked for is never larger than the graph's.

    Examples
    --------
    See ``tests/decisions/test_driving_criterion.py``; a match is needed.
    """
    hammer = calibrated.hammer
    strokes = stroke_rows(hammer, measured, calibrated.stroke, system)
    levels = np.array([target.value, match.matched_resistance])
    resistance = np.geomspace(0.4 * levels.min(), 1.6 * levels.max(), RESISTANCE_POINTS)
    graph = bearing_graph(match, hammer, _graph_strokes(strokes, measured), resistance)
    rows = _rows(graph, strokes, target, limits, hammer, system)
    read, agrees = _read_back(graph, measured, match.matched_resistance)
    usable = [row for row in rows if not row.ruled_out]
    cautions = _cautions(match, calibrated, read, agrees, rows, usable, system) + target.cautions
    criterion = _criterion(usable, target, hammer, minimum_penetration, match, cautions, system) if usable else None
    return DrivingCriterion(
        match.problem.blow.pile.name,
        criterion,
        target,
        tuple(rows),
        graph,
        calibrated,
        measured,
        read,
        agrees,
        cautions,
    )


def stroke_rows(hammer: Hammer, measured: MeasuredBlows, stroke: float, system: str) -> np.ndarray:
    """Give the strokes of the table: round numbers over the approved range.

    Parameters
    ----------
    hammer : Hammer
        Its approved range, where the sheet gives one.
    measured : MeasuredBlows
        Measured strokes, which stand for a range that is not given.
    stroke : float
        Stroke of the representative blow [m].
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    numpy.ndarray
        Strokes, rising, shape (n_rows,) [m].
    """
    seen = measured.stroke[np.isfinite(measured.stroke)]
    seen = seen if len(seen) else np.array([stroke])
    lowest = hammer.minimum_stroke or float(seen.min())
    highest = max(hammer.maximum_stroke or float(seen.max()), lowest)
    unit = unit_factor("ft", "length") if system == "US" else 1.0
    steps = STROKE_STEPS[system]
    step = next((one for one in steps if (highest - lowest) / unit / one < MOST_ROWS - 1), steps[-1])
    first, last = ceil(lowest / unit / step - 1e-6), int(highest / unit / step + 1e-6)
    inner = np.arange(first, last + 1) * step * unit
    return np.unique(np.round(np.concatenate([[lowest], inner, [highest]]), 6))


def _graph_strokes(strokes: np.ndarray, measured: MeasuredBlows) -> np.ndarray:
    """Strokes of the graph: those of the table, and beyond them as far as blows were measured."""
    seen = measured.stroke[np.isfinite(measured.stroke)]
    ends = [] if not len(seen) else [0.98 * seen.min(), 1.02 * seen.max()]
    outside = [end for end in ends if not strokes[0] <= end <= strokes[-1]]
    return np.unique(np.concatenate([strokes, outside]))


def _rows(graph, strokes, target, limits, hammer, system) -> list[StrokeRow]:
    unit = unit_factor("in", "length") if system == "US" else 0.025
    at = np.searchsorted(graph.stroke, strokes)
    sets = graph.at_resistance(target.value, "set_per_blow")[at]
    compression = graph.at_resistance(target.value, "peak_compression_stress")[at]
    tension = graph.at_resistance(target.value, "peak_tension_stress")[at]
    energy = graph.at_resistance(target.value, "transferred_energy")[at]
    counts = np.ceil(unit / sets - 1e-9)
    counts = np.maximum.accumulate(counts[::-1])[::-1]  # more stroke never needs more blows
    gates = modified_gates_set(np.full(len(strokes), target.value), hammer.ram_weight * strokes)
    rows = []
    for i, stroke in enumerate(strokes):
        reason = _ruled_out(compression[i], tension[i], sets[i], limits, system)
        numbers = (compression[i], tension[i], energy[i], gates[i])
        rows.append(StrokeRow(stroke, sets[i], unit / counts[i], int(counts[i]), *(float(x) for x in numbers), reason))
    return rows


def _ruled_out(compression, tension, graph_set, limits, system) -> str:
    for name, stress, limit in (
        ("compression", compression, limits.compression if limits else None),
        ("tension", tension, limits.tension if limits else None),
    ):
        allowed = None if limit is None else limit.value
        if allowed is not None and stress > allowed:
            code = "peak_compression_stress" if name == "compression" else "peak_tension_stress"
            return (
                f"the {name} stress of {show(code, stress, system)} is above the limit of {show(code, allowed, system)}"
            )
    if graph_set < PRACTICAL_REFUSAL_SET:
        return f"the count would be beyond practical refusal, {show_count(graph_set, system)}"
    return ""


def _read_back(graph: BearingGraph, measured: MeasuredBlows, matched: float) -> tuple[float, bool | None]:
    """Resistance that the graph reads from the measured blows, and whether it agrees with the match."""
    known = np.isfinite(measured.stroke) & np.isfinite(measured.set_per_blow)
    if not known.any():
        return float("nan"), None
    read = graph.resistance_at(measured.stroke[known], measured.set_per_blow[known])
    if not np.isfinite(read).any():
        return float("nan"), None
    middle = float(np.nanmedian(read))
    return middle, bool(abs(middle / matched - 1.0) <= AGREEMENT)


def _cautions(match, calibrated, read, agrees, rows, usable, system) -> tuple[Caution, ...]:
    cautions = []
    matched = show("matched_resistance", match.matched_resistance, system)
    if agrees is False:
        cautions.append(
            Caution(
                "bearing graph against measured blows",
                f"the bearing graph reads {show('matched_resistance', read, system)} from the measured blows, the "
                f"match gives {matched}: they disagree by more than {AGREEMENT:.0%}",
                "do not use the counts before the reason is found: stroke, log, cushions, or soil that changes while "
                "driving",
                read / match.matched_resistance,
                AGREEMENT,
            )
        )
    if agrees is None:
        cautions.append(
            Caution(
                "bearing graph against measured blows",
                "no measured blow has both a stroke and a set, so the bearing graph is not checked by the log",
                "add a driving log with strokes",
            )
        )
    if not match.fitted:
        cautions.append(
            Caution(
                "match",
                f"the matched blow has a misfit of {match.misfit:.3f}, so soil and bearing graph may be wrong",
                "match another blow, or look at pile and record",
                match.misfit,
            )
        )
    if not calibrated.agrees:
        cautions.append(
            Caution(
                "hammer calibration",
                f"the calibrated hammer gives {calibrated.force_ratio:.2f} of the measured force and "
                f"{calibrated.energy_ratio:.2f} of the measured energy",
                "check ram, helmet and cushions in the sheet",
                calibrated.force_ratio,
            )
        )
    if not usable:
        reasons = "; ".join(dict.fromkeys(row.ruled_out for row in rows))
        text = f"no stroke of the approved range can show the resistance: {reasons}"
        cautions.append(Caution("no usable stroke", text, "use another hammer or cushion, or restrike after a wait"))
    return tuple(cautions)


def _criterion(usable, target, hammer, minimum_penetration, match, cautions, system) -> Criterion:
    inch = unit_factor("in", "length") if system == "US" else 0.025
    rows = []
    for row in usable:
        notes = []
        if row.set_per_blow > USUAL_SETS[1]:
            notes.append("below 24 blows per foot dynamic methods tend to over-predict (UFC 3-220-20, 6-4.1.2)")
        rows.append(CriterionRow(row.stroke, row.set_per_blow, "calibrated bearing graph", tuple(notes)))
    return Criterion(
        tuple(rows),
        holding_length=HOLDING_INCHES * inch,
        required_resistance=target.value,
        minimum_penetration=minimum_penetration,
        minimum_stroke=usable[0].stroke,
        maximum_stroke=usable[-1].stroke,
        refusal_minimum_stroke=usable[0].stroke,
        source=f"test pile {match.problem.blow.pile.name}: signal matching, calibrated hammer, bearing graph",
        notes=(target.how, *(f"{caution.message}; {caution.cure}" for caution in cautions)),
    )


def combine(criteria: Sequence[DrivingCriterion]) -> Criterion:
    """Combine the criteria of several test piles of one structure; the least favourable governs at every stroke.

    Parameters
    ----------
    criteria : sequence of DrivingCriterion
        One a test pile, for the same kind of pile and hammer.

    Returns
    -------
    Criterion
        Over the strokes that every test pile allows; each row says which pile governs.

    Raises
    ------
    InputError
        If there is none, one of them has no usable stroke, or they share no stroke.
    """
    place = "criteria of the structure"
    if not criteria:
        raise InputError(place, "", "there is no test pile", "review at least one")
    without = [one.pile for one in criteria if one.criterion is None]
    if without:
        problem = f"no stroke is usable at {', '.join(without)}"
        raise InputError(place, "", problem, "leave that pile out only with a reason, or change the hammer")
    parts = [one.criterion for one in criteria]
    lowest = max(part.rows[0].stroke for part in parts)
    highest = min(part.rows[-1].stroke for part in parts)
    strokes = sorted({row.stroke for part in parts for row in part.rows if lowest <= row.stroke <= highest})
    if not strokes:
        raise InputError(place, "", "the test piles share no usable stroke", "issue a criterion for each kind of pile")
    rows = []
    for stroke in strokes:
        sets = [float(np.interp(stroke, *_curve(part))) for part in parts]
        governing = int(np.argmin(sets))
        others = [
            f"{criteria[i].pile} alone would allow {1e3 * s:.1f} mm" for i, s in enumerate(sets) if i != governing
        ]
        rows.append(CriterionRow(stroke, sets[governing], f"test pile {criteria[governing].pile}", tuple(others)))
    penetrations = [part.minimum_penetration for part in parts if part.minimum_penetration is not None]
    return replace(
        parts[0],
        rows=tuple(rows),
        required_resistance=max(part.required_resistance for part in parts),
        minimum_penetration=max(penetrations) if penetrations else None,
        minimum_stroke=lowest,
        maximum_stroke=highest,
        holding_length=max(part.holding_length for part in parts),
        refusal_minimum_stroke=max(part.refusal_stroke for part in parts),
        source=f"test piles {', '.join(one.pile for one in criteria)}; the least favourable governs at every stroke",
        notes=tuple(dict.fromkeys(note for part in parts for note in part.notes)),
    )


def _curve(criterion: Criterion) -> tuple[list[float], list[float]]:
    return [row.stroke for row in criterion.rows], [row.set_per_blow for row in criterion.rows]
