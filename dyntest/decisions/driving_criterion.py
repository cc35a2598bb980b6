"""The measured blows of a test pile beside the bearing graph, and what public formulas make of the same blows.

The table an inspector reads: for each stroke of the approved range the count, and what rules a stroke out.

What stands against using a driving criterion, the gravest first: one small function a check.

The driving criterion of a test pile: blows at each stroke that show the resistance.

Derived from the calibrated bearing graph, and held against the measured blows and public formulas.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from dyntest.decisions.caution import GOVERNING_SPECIFICATION, Caution
from dyntest.decisions.criterion import PRACTICAL_REFUSAL_SET, Criterion, CriterionRow, RestrikeRule, show_count
from dyntest.decisions.dynamic_formulas import energy_approach, modified_gates, modified_gates_set
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.hammer import Hammer
from dyntest.names import show
from dyntest.pile import Pile
from dyntest.units import unit_factor
from dyntest.wave_equation.bearing_graph import BearingGraph, CalibratedHammer, bearing_graph
from dyntest.wave_equation.matching import Match

AGREEMENT = 0.15
"""Share by which the resistance that the bearing graph reads from the measured blows may differ from the matched one
[1]; common practice, no source."""


@dataclass(frozen=True)
class MeasuredBlows:
    """Measured blows of the end of the initial drive, to be laid beside the bearing graph.

    Parameters
    ----------
    stroke : numpy.ndarray
        Strokes, shape (n_blows,) [m].
    set_per_blow : numpy.ndarray
        Sets from the driving log, shape (n_blows,) [m].
    transferred_energy : numpy.ndarray or None
        Transferred energies, shape (n_blows,) [J]; for the energy approach.
    peak_displacement : numpy.ndarray or None
        Peak displacements at the gauges, shape (n_blows,) [m]; for the energy approach.
    """

    stroke: np.ndarray
    set_per_blow: np.ndarray
    transferred_energy: np.ndarray | None = None
    peak_displacement: np.ndarray | None = None


@dataclass(frozen=True)
class FormulaResistance:
    """What a public formula gives for the measured blows: a sanity check, nothing to drive by.

    Parameters
    ----------
    formula : str
        Its name.
    resistance : float
        Median over the blows [N].
    source : str
        Where it is published, and what to know about it.
    """

    formula: str
    resistance: float
    source: str


def read_back(graph: BearingGraph, measured: MeasuredBlows, matched: float) -> tuple[float, bool | None]:
    """Read the measured blows off the bearing graph and hold that against the match.

    Units: matched [N]; returns [N].
    """
    known = np.isfinite(measured.stroke) & np.isfinite(measured.set_per_blow)
    if not known.any():
        return float("nan"), None
    read = graph.resistance_at(measured.stroke[known], measured.set_per_blow[known])
    if np.isfinite(read).sum() * 2 < known.sum():
        return float("nan"), False
    middle = float(np.nanmedian(read))
    return middle, bool(abs(middle / matched - 1.0) <= AGREEMENT)


def formula_resistances(measured: MeasuredBlows, ram_weight: float) -> tuple[FormulaResistance, ...]:
    """Give what public formulas make of the measured blows.

    Units: ram_weight [N].

    Examples
    --------
    >>> blows = MeasuredBlows(np.array([2.0]), np.array([0.006]), np.array([30e3]), np.array([0.024]))
    >>> [(found.formula, round(found.resistance / 1e3)) for found in formula_resistances(blows, 25e3)]
    [('FHWA-modified Gates', 1987), ('energy approach', 2000)]
    """
    given = modified_gates(ram_weight * measured.stroke, measured.set_per_blow)
    found = [
        ("FHWA-modified Gates", given, "from memory, after the FHWA manuals; stroke times ram weight as its energy")
    ]
    if measured.transferred_energy is not None and measured.peak_displacement is not None:
        given = energy_approach(measured.transferred_energy, measured.set_per_blow, measured.peak_displacement)
        note = "Paikowsky et al. (1994), without a reduction: high in easy driving, for it holds the dynamic part too"
        found.append(("energy approach", given, note))
    return tuple(
        FormulaResistance(name, float(np.nanmedian(values)), source)
        for name, values, source in found
        if np.isfinite(values).any()
    )


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

    Units: seen, stroke [m]; returns [m].

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

    Units: strokes [m]; resistance [N].
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
    """Say which strokes cannot be used and why, neighbours with one reason together."""
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


DISAGREEMENT = "bearing graph against measured blows"
"""Name of the check that goes before everything else."""


def alerts(match: Match, calibrated: CalibratedHammer, read: float, agrees: bool | None, system: str):
    """Give what forbids the use of the counts until it is cleared up.

    Units: read [N].
    """
    found = [_disagreement(match, read, system) if agrees is False else None, _misfit(match), _calibration(calibrated)]
    return tuple(caution for caution in found if caution is not None)


def cautions(
    match: Match, agrees: bool | None, rows: Sequence[StrokeRow], usable: Sequence[StrokeRow]
) -> tuple[Caution, ...]:
    """Give what to weigh beside the counts."""
    found = []
    if agrees is None:
        message = "no measured blow has both a stroke and a set, so the bearing graph is not checked by the log"
        found.append(Caution(DISAGREEMENT, message, "add a driving log with strokes"))
    if not match.fully_mobilised:
        message = (
            "the matched blow did not mobilise all the resistance, so the bearing graph is drawn from a lower bound"
        )
        found.append(
            Caution("not fully mobilised", message, "expect fewer blows than asked for at the same resistance")
        )
    if not usable:
        reasons = "; ".join(dict.fromkeys(row.ruled_out for row in rows))
        message = f"no stroke of the approved range can show the resistance: {reasons}"
        found.append(Caution("no usable stroke", message, "use another hammer or cushion, or restrike after a wait"))
    return tuple(found)


def _disagreement(match: Match, read: float, system: str) -> Caution:
    matched = show("matched_resistance", match.matched_resistance, system)
    cure = "do not use the counts before the reason is found: stroke, log, cushions, or soil that changes while driving"
    if read != read:
        message = f"the measured blows lie outside the bearing graph, which is drawn around the match of {matched}"
        return Caution(DISAGREEMENT, message, cure, None, AGREEMENT)
    message = (
        f"the bearing graph reads {show('matched_resistance', read, system)} from the measured blows, the match gives "
        f"{matched}: they disagree by more than {AGREEMENT:.0%}"
    )
    return Caution(DISAGREEMENT, message, cure, read / match.matched_resistance - 1.0, AGREEMENT)


def _misfit(match: Match) -> Caution | None:
    if match.fitted:
        return None
    message = f"the matched blow has a misfit of {match.misfit:.3f}, so soil and bearing graph may be wrong"
    return Caution("match", message, "match another blow, or look at pile and record", match.misfit)


def _calibration(calibrated: CalibratedHammer) -> Caution | None:
    if calibrated.agrees:
        return None
    message = (
        f"the calibrated hammer gives {calibrated.force_ratio:.2f} of the measured force and "
        f"{calibrated.energy_ratio:.2f} of the measured energy"
    )
    return Caution("hammer calibration", message, "check ram, helmet and cushions in the sheet", calibrated.force_ratio)


RESISTANCE_POINTS = 14
"""Resistances of the bearing graph [1]; straight lines between them are within 1 % of the set (measured)."""

HOLDING_INCHES = 3
"""Length over which the count has to hold [in]: three consecutive inches, as for practical refusal in UFC 3-220-20
(2025), 6-4.1.2."""

LEAST_USUAL_COUNT = 24
USUAL_LENGTH = 0.3048
"""Blows per foot [m] below which dynamic methods tend to over-predict (UFC 3-220-20, 2025, 6-4.1.2)."""


@dataclass(frozen=True)
class DrivingCriterion:
    """A driving criterion with everything it rests on.

    Parameters
    ----------
    pile : str
        The test pile.
    test_pile : Pile
        The same with its sections; bearing piles have to be like it.
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
    formulas : tuple of FormulaResistance
        What public formulas make of the measured blows.
    graph_resistance : float
        Resistance that the graph reads from the measured blows, their median [N]; not a number where none can be read.
    agrees : bool or None
        Whether it agrees with the matched resistance; None where it could not be compared.
    alerts : tuple of Caution
        What forbids the use of the counts until it is cleared up; to be said before anything else.
    cautions : tuple of Caution
        What to weigh, the gravest first, beginning with the alerts.
    reminder : str
        Who decides.
    """

    pile: str
    test_pile: Pile
    criterion: Criterion | None
    target: EndOfDriveTarget
    rows: tuple[StrokeRow, ...]
    graph: BearingGraph
    calibrated: CalibratedHammer
    measured: MeasuredBlows
    formulas: tuple[FormulaResistance, ...]
    graph_resistance: float
    agrees: bool | None
    alerts: tuple[Caution, ...]
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
    restrike: RestrikeRule | None = None,
    doubts: Sequence[Caution] = (),
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
    restrike : RestrikeRule or None
        When to stop and restrike.
    doubts : sequence of Caution
        What is wrong with the test pile or its record, such as damage; each forbids the use of the counts.
    system : str
        ``"SI"`` or ``"US"``: per 25 mm or per inch, strokes in metres or feet.

    Returns
    -------
    DrivingCriterion
        Counts rounded up, so that the set asked for is never larger than the graph's.

    Notes
    -----
    ``permitted set(stroke)``: the graph's set at the target resistance (common practice, no source). The graph speaks
    of piles, soil and hammer like the test pile's. Needs a match; see the tests for an example.
    """
    strokes = table_strokes(calibrated.hammer, measured.stroke, calibrated.stroke, system)
    levels = np.array([target.value, match.matched_resistance])
    resistance = np.geomspace(0.4 * levels.min(), 1.6 * levels.max(), RESISTANCE_POINTS)
    graph = bearing_graph(match, calibrated.hammer, _graph_strokes(strokes, measured.stroke), resistance)
    rows = stroke_rows(graph, strokes, target.value, limits, system)
    usable = [row for row in rows if not row.ruled_out]
    read, agrees = read_back(graph, measured, match.matched_resistance)
    grave = (*alerts(match, calibrated, read, agrees, system), *doubts)
    weighed = (*grave, *cautions(match, agrees, rows, usable), *target.cautions)
    pile = match.problem.blow.pile
    criterion = None
    if usable:
        criterion = Criterion(
            tuple(criterion_row(row, "calibrated bearing graph") for row in usable),
            holding_length=HOLDING_INCHES * (unit_factor("in", "length") if system == "US" else 0.025),
            required_resistance=target.value,
            minimum_penetration=minimum_penetration,
            minimum_stroke=usable[0].stroke,
            maximum_stroke=usable[-1].stroke,
            refusal_minimum_stroke=usable[0].stroke,
            restrike=restrike,
            ruled_out=ruled_out_words(rows, system),
            alerts=tuple(f"{caution.message}; {caution.cure}" for caution in grave),
            source=f"test pile {pile.name}: signal matching, calibrated hammer, bearing graph",
            notes=(target.how, *(f"{caution.message}; {caution.cure}" for caution in weighed[len(grave) :])),
        )
    formulas = formula_resistances(measured, calibrated.hammer.ram_weight)
    return DrivingCriterion(
        pile.name,
        pile,
        criterion,
        target,
        rows,
        graph,
        calibrated,
        measured,
        formulas,
        read,
        agrees,
        grave,
        weighed,
    )


def restrike_rows(
    match: Match,
    calibrated: CalibratedHammer,
    required: float,
    strokes: np.ndarray,
    *,
    limits: DrivingStressLimits | None = None,
    system: str = "SI",
) -> tuple[CriterionRow, ...]:
    """Give the sets with which a restrike shows the whole requirement, from the soil matched at a restrike.

    Units: required [N]; strokes [m].
    """
    graph = bearing_graph(match, calibrated.hammer, strokes, required * np.array([0.999, 1.0, 1.001]))
    rows = stroke_rows(graph, strokes, required, limits, system)
    return tuple(criterion_row(row, "bearing graph of the restrike") for row in rows if not row.ruled_out)


def criterion_row(row: StrokeRow, governing: str) -> CriterionRow:
    """Give a row of the table as inspectors and the check of bearing piles take it."""
    notes = ()
    if row.set_per_blow > USUAL_LENGTH / LEAST_USUAL_COUNT:
        notes = (
            f"below {LEAST_USUAL_COUNT} blows per foot dynamic methods tend to over-predict (UFC 3-220-20, 6-4.1.2)",
        )
    return CriterionRow(row.stroke, row.set_per_blow, governing, notes)


def _graph_strokes(strokes: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """Strokes of the graph: those of the table, and beyond them as far as blows were measured."""
    seen = seen[np.isfinite(seen)]
    ends = [] if not len(seen) else [0.98 * seen.min(), 1.02 * seen.max()]
    outside = [end for end in ends if not strokes[0] <= end <= strokes[-1]]
    return np.unique(np.concatenate([strokes, outside]))
