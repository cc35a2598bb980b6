"""The driving criterion of a test pile: blows at each stroke that show the resistance, and what stands against it.

Derived from the calibrated bearing graph, which is shifted to pass through the measured blows, and compared with public
formulas. Each check of what stands against using it is one small function, the gravest first.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dyntest.decisions.bearing_oddities import DEPTH_TOLERANCE
from dyntest.decisions.criterion import (
    COUNTING,
    FOOT,
    STROKE_ROUNDING,
    WAYS,
    Counting,
    Criterion,
    CriterionRow,
    RestrikeRule,
)
from dyntest.decisions.dynamic_formulas import energy_approach, modified_gates
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.risk import SHORT_TOLD, graph_deviation
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.decisions.stroke_table import (
    StrokeRow,
    easy_driving,
    graph_strokes,
    holding_length,
    stroke_rows,
    stroke_within,
    strokes_ruled_out,
    table_strokes,
    with_chances,
)
from dyntest.decisions.trust import Caution
from dyntest.pile import Pile
from dyntest.reading.logs import GAP_TOLERANCE
from dyntest.wave_equation.bearing_graph import BearingGraph, CalibratedHammer, bearing_graph
from dyntest.wave_equation.matching import Match

AGREEMENT = 0.15
"""Share by which the resistance that the bearing graph reads from the measured blows may differ from the matched one
[1]; common practice, no source."""


SET_AGREEMENT = 1.25
"""Computed over logged penetration of the last foot, or its inverse, up to which they count as agreeing [1]: resistance
changes by about half the share of the set, so this goes with `AGREEMENT`; no source."""

RESIDUAL_TOLD = 0.10
"""Share by which the set after blows like it may differ from the set from rest before it is reported [1]; no source."""


@dataclass(frozen=True)
class MeasuredBlows:
    """Measured blows of the end of the initial drive, to be compared with the bearing graph.

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
    bending : numpy.ndarray or None
        Compression at the gauge that reads most over the mean of the gauges, shape (n_blows,) [1].
    """

    stroke: np.ndarray
    set_per_blow: np.ndarray
    transferred_energy: np.ndarray | None = None
    peak_displacement: np.ndarray | None = None
    bending: np.ndarray | None = None


@dataclass(frozen=True)
class FormulaResistance:
    """What a public formula gives for the measured blows: a sanity check, not for driving.

    Parameters
    ----------
    formula : str
        Its name.
    resistance : float
        Median over the blows [N].
    source : str
        Where it is published.
    """

    formula: str
    resistance: float
    source: str


def read_back(graph: BearingGraph, measured: MeasuredBlows, matched: float) -> tuple[float, bool | None]:
    """Read the measured blows off the bearing graph and compare with the match.

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
    """Give the resistance of the measured blows by public formulas.

    Units: ram_weight [N].

    Examples
    --------
    >>> blows = MeasuredBlows(np.array([2.0]), np.array([0.006]), np.array([30e3]), np.array([0.024]))
    >>> [(found.formula, round(found.resistance / 1e3)) for found in formula_resistances(blows, 25e3)]
    [('FHWA-modified Gates', 1987), ('energy approach', 2000)]
    """
    given = modified_gates(ram_weight * measured.stroke, measured.set_per_blow)
    found = [("FHWA-modified Gates", given, "from memory, after the FHWA manuals")]
    if measured.transferred_energy is not None and measured.peak_displacement is not None:
        given = energy_approach(measured.transferred_energy, measured.set_per_blow, measured.peak_displacement)
        found.append(("energy approach", given, "Paikowsky et al. (1994)"))
    return tuple(
        FormulaResistance(name, float(np.nanmedian(values)), source)
        for name, values, source in found
        if np.isfinite(values).any()
    )


NO_STROKE = ("no usable stroke", "stroke not reached")
"""Cautions that say why no stroke can be used."""

DISAGREEMENT = "bearing graph against measured blows"
"""Kind of the caution that goes before everything else."""

UNTESTED = "minimum penetration not tested"
"""Kind of the alert where every bearing pile would stop deeper than anything that was tested; it goes first."""

GRAPH_NOT_CHECKED = "graph not checked"
"""Kind of the caution where no measured blow has both a stroke and a set."""


def alerts(match: Match, calibrated: CalibratedHammer, read: float, agrees: bool | None) -> tuple[Caution, ...]:
    """Give the alerts that forbid using the counts until they are resolved.

    Units: read [N].
    """
    disagrees = _disagreement(match, read) if agrees is False else _sets_apart(calibrated)
    found = [disagrees, _misfit(match), _calibration(calibrated)]
    return tuple(caution for caution in found if caution is not None)


def criterion_cautions(
    match: Match, calibrated: CalibratedHammer, agrees: bool | None, rows: Sequence[StrokeRow], counting: Counting
) -> tuple[Caution, ...]:
    """Give the cautions that go with the counts."""
    found = []
    if agrees is None:
        found.append(Caution(GRAPH_NOT_CHECKED))
    if not match.fully_mobilised:
        found.append(Caution("not fully mobilised"))
    residual = calibrated.residual_ratio
    if abs(residual - 1.0) > RESIDUAL_TOLD:
        found.append(Caution("residual stress", residual, RESIDUAL_TOLD))
    usable = [row for row in rows if row.ruled_out is None]
    if not usable:
        reasons = tuple(dict.fromkeys(row.ruled_out for row in rows if row.ruled_out is not None))
        found.append(Caution("no usable stroke", facts={"reasons": reasons, "counting": counting.length}))
    elif max(row.set_per_blow for row in usable) > USUAL_LENGTH / LEAST_USUAL_COUNT:
        found.append(Caution("few blows", max(row.set_per_blow for row in usable), USUAL_LENGTH / LEAST_USUAL_COUNT))
    return tuple(found)


def _disagreement(match: Match, read: float) -> Caution:
    facts = {"read": read, "matched": match.matched_resistance}
    value = None if read != read else read / match.matched_resistance - 1.0
    return Caution(DISAGREEMENT, value, AGREEMENT, facts)


def _sets_apart(calibrated: CalibratedHammer) -> Caution | None:
    """Caution where the computed set of the last foot differs much from the log."""
    ratio = calibrated.set_ratio
    if not ratio > 0.0 or 1.0 / SET_AGREEMENT <= ratio <= SET_AGREEMENT:
        return None
    return Caution("computed set against the log", ratio, SET_AGREEMENT, {"read": calibrated.read_ratio})


def _misfit(match: Match) -> Caution | None:
    return None if match.fitted else Caution("match", match.misfit)


def _calibration(calibrated: CalibratedHammer) -> Caution | None:
    if calibrated.agrees:
        return None
    return Caution("hammer calibration", calibrated.force_ratio, None, {"energy_ratio": calibrated.energy_ratio})


EXTRAPOLATED = 1.2
"""Resistance asked for over the matched one, above which counts are said to be extrapolated [1]: the matched soil is
only scaled, with its quakes and damping as they were; our choice."""

REACHED = 0.9
"""Quantile of the last measured strokes up to which a hammer counts as reaching [1]; no source."""

RESISTANCE_POINTS = 14
"""Resistances of the bearing graph [1]; straight lines between them are within 1 % of the set (measured)."""

LEAST_USUAL_COUNT = 24
USUAL_LENGTH = FOOT
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
        Criterion for bearing piles; None where no stroke can show the resistance.
    target : EndOfDriveTarget
        The resistance to be shown.
    rows : tuple of StrokeRow
        Every stroke of the approved range, also those ruled out.
    holding_length : float
        Length over which the counts of the rows hold [m].
    graph : BearingGraph
        The bearing graph, shifted to pass through the measured blows where it agrees with them.
    shift : float
        What its resistances were multiplied by [1]; 1 where they were not.
    calibrated : CalibratedHammer
        The hammer.
    measured : MeasuredBlows
        The measured blows.
    bending : float
        Measured compression of a single gauge over the mean, with which the compression of the rows is given [1].
    formulas : tuple of FormulaResistance
        What public formulas make of the measured blows.
    graph_resistance : float
        Resistance that the graph read from the measured blows before it was shifted, their median [N]; not a number
        where none can be read.
    agrees : bool or None
        Whether it agrees with the matched resistance; None where it could not be compared.
    alerts : tuple of Caution
        What forbids the use of the counts until it is cleared up; to be said before anything else.
    cautions : tuple of Caution
        Cautions, the most serious first, beginning with the alerts.
    """

    pile: str
    test_pile: Pile
    criterion: Criterion | None
    target: EndOfDriveTarget
    rows: tuple[StrokeRow, ...]
    holding_length: float
    graph: BearingGraph
    shift: float
    calibrated: CalibratedHammer
    measured: MeasuredBlows
    bending: float
    formulas: tuple[FormulaResistance, ...]
    graph_resistance: float
    agrees: bool | None
    alerts: tuple[Caution, ...]
    cautions: tuple[Caution, ...]


def bearing_graph_of(
    match: Match, calibrated: CalibratedHammer, target: EndOfDriveTarget, measured: MeasuredBlows
) -> BearingGraph:
    """Give the bearing graph over the approved strokes and those of the blows, and the resistances asked of it."""
    strokes = graph_strokes(calibrated.hammer, measured.stroke, calibrated.stroke)
    ends = np.array([0.85 * target.value, 1.2 * target.value, match.matched_resistance])
    resistance = np.geomspace(0.3 * ends.min(), 1.8 * ends.max(), RESISTANCE_POINTS)
    return bearing_graph(match, calibrated.hammer, strokes, resistance)


def measured_graph(
    match: Match, graph: BearingGraph, measured: MeasuredBlows
) -> tuple[BearingGraph, float, float, bool | None]:
    """Give a bearing graph through the measured blows, its shift, what it read before, and whether it agreed.

    Units: returns [N] for what was read.

    The log's counts are the surest thing known of set against resistance: at the matched resistance the pile moved
    as the log says. Where the graph reads the matched resistance from them within `AGREEMENT`, its resistances are
    multiplied so that it reads just that; where it does not, nothing is smoothed and an alert says so.
    """
    read, agrees = read_back(graph, measured, match.matched_resistance)
    shift = match.matched_resistance / read if agrees else 1.0
    return replace(graph, resistance=shift * graph.resistance), shift, read, agrees


def driving_criterion(
    match: Match,
    calibrated: CalibratedHammer,
    target: EndOfDriveTarget,
    measured: MeasuredBlows,
    *,
    limits: DrivingStressLimits | None = None,
    minimum_penetration: float | None = None,
    penetration: float | None = None,
    restrike: RestrikeRule | None = None,
    doubts: Sequence[Caution] = (),
    counting: Counting = COUNTING["SI"],
    way: str = WAYS[0],
    graph: BearingGraph | None = None,
) -> DrivingCriterion:
    """Derive the driving criterion of a test pile.

    Parameters
    ----------
    match : Match
        Match of the representative blow at the end of the initial drive.
    calibrated : CalibratedHammer
        The hammer calibrated to that blow.
    target : EndOfDriveTarget
        The resistance to be shown at the end of driving; the error of the graph is added to it.
    measured : MeasuredBlows
        The last blows of the initial drive.
    limits : DrivingStressLimits or None
        Limits of the driving stresses.
    minimum_penetration : float or None
        Least penetration of the toe [m].
    penetration : float or None
        Where the toe of the test pile ended [m].
    restrike : RestrikeRule or None
        When to stop and restrike.
    doubts : sequence of Caution
        What is wrong with the test pile or its record, such as damage; each forbids the use of the counts.
    counting : Counting
        Length over which blows are counted, and in which unit strokes are round.
    way : str
        ``"whole length"`` or ``"every inch"``, how counts are asked for.
    graph : BearingGraph or None
        The bearing graph before it is shifted, where it was computed already; None: it is computed.

    Returns
    -------
    DrivingCriterion
        Counts over the holding length, rounded to the nearest whole number, with their chances.

    Notes
    -----
    ``permitted set(stroke)``: the graph's set at the target resistance (common practice, no source). The graph speaks
    of piles, soil and hammer like the test pile's. Needs a match; see the tests for an example.
    """
    strokes = table_strokes(calibrated.hammer, measured.stroke, calibrated.stroke, counting)
    graph = bearing_graph_of(match, calibrated, target, measured) if graph is None else graph
    graph, shift, read, agrees = measured_graph(match, graph, measured)
    target = target.with_graph(graph_deviation(shift))
    bending = bending_of(measured)
    rows = stroke_rows(graph, strokes, target.value, limits, counting, bending=bending, way=way)
    holding = holding_length(max(row.set_per_blow for row in rows), counting)
    rows = with_chances(rows, target, holding)
    usable = [row for row in rows if row.ruled_out is None]
    beyond = _beyond_reach(usable, measured, target)
    untested = _untested(minimum_penetration, penetration)
    grave = (*untested, *doubts, *alerts(match, calibrated, read, agrees))
    bent = _bent_beyond_limit(rows, bending)
    shallow = () if untested else _too_shallow(minimum_penetration, penetration)
    others = criterion_cautions(match, calibrated, agrees, rows, counting)
    likely = (*_extrapolated(match, target), *_likely_short(usable, target))
    weighed = (*grave, *beyond, *shallow, *likely, *others, *bent, *target.cautions)
    pile = match.problem.blow.pile
    criterion = None
    if usable and not beyond:
        asked = max(row.set_per_blow for row in usable)
        criterion = Criterion(
            tuple(criterion_row(row) for row in usable),
            holding_length=holding,
            counting=counting,
            way=way,
            required_resistance=target.value,
            minimum_penetration=minimum_penetration,
            minimum_stroke=usable[0].stroke,
            maximum_stroke=usable[-1].stroke,
            refusal_minimum_stroke=usable[0].stroke,
            restrike=restrike,
            ruled_out=strokes_ruled_out(rows),
            easy_driving=easy_driving(graph, np.array([row.stroke for row in usable]), limits, asked),
            alerts=grave,
            cautions=weighed[len(grave) :],
            piles=(pile.name,),
            targets=(target,),
            above=tuple(criterion_row(row) for row in rows if row.stroke > usable[-1].stroke),
            looked_at_stroke=_looked_at_stroke(rows, usable[-1].stroke, limits),
        )
    formulas = formula_resistances(measured, calibrated.hammer.ram_weight)
    return DrivingCriterion(
        pile.name,
        pile,
        criterion,
        target,
        rows,
        holding,
        graph,
        shift,
        calibrated,
        measured,
        bending,
        formulas,
        read,
        agrees,
        grave,
        weighed,
    )


def _untested(minimum: float | None, penetration: float | None) -> tuple[Caution, ...]:
    """Alert where bearing piles would stop deeper than anything that was tested.

    By its card every bearing pile goes on to the minimum penetration and may stop there, on counts of the soil above.
    Soil as far below the toe as piles may run past the test pile anyway counts as tested; where the minimum is deeper,
    no pile stops where anything was tested, and what the count means there, from damping to setup, is not known.
    """
    if minimum is None or penetration is None or not penetration < minimum - DEPTH_TOLERANCE - GAP_TOLERANCE:
        return ()
    return (Caution(UNTESTED, penetration, minimum),)


def _too_shallow(minimum: float | None, penetration: float | None) -> tuple[Caution, ...]:
    """Caution where the test pile itself ended somewhat above the minimum penetration, or where that is not known."""
    if minimum is None:
        return ()
    if penetration is None or penetration != penetration:
        return (Caution("minimum penetration not shown", None, minimum),)
    if not penetration < minimum - GAP_TOLERANCE:
        return ()
    return (Caution("test pile above minimum penetration", penetration, minimum),)


def _extrapolated(match: Match, target: EndOfDriveTarget) -> tuple[Caution, ...]:
    """Caution where counts are for a resistance far above any that the test pile had at the end of driving."""
    if not target.value > EXTRAPOLATED * match.matched_resistance:
        return ()
    facts = {"matched": match.matched_resistance}
    return (Caution("resistance not reached", target.value, EXTRAPOLATED, facts),)


def _likely_short(usable: Sequence[StrokeRow], target: EndOfDriveTarget) -> tuple[Caution, ...]:
    """Caution where a pile that just meets a count is rather likely to have less than is required."""
    worst = max((row.short for row in usable), default=0.0)
    if not worst > SHORT_TOLD:
        return ()
    return (Caution("short but accepted", worst, SHORT_TOLD, {"required": target.required, "kind": target.kind}),)


def bending_of(measured: MeasuredBlows) -> float:
    """Give the median of single gauge over mean compression of the measured blows [1]; 1 where it is not known."""
    if measured.bending is None or not np.isfinite(measured.bending).any():
        return 1.0
    return max(1.0, float(np.nanmedian(measured.bending)))


def _bent_beyond_limit(rows: Sequence[StrokeRow], bending: float) -> tuple[Caution, ...]:
    """Caution from which stroke on the compression exceeds its limit because of the measured bending alone."""
    over = [row.ruled_out for row in rows if row.ruled_out is not None and row.ruled_out.kind == "bending"]
    facts = {"bending": bending}
    return tuple(Caution("bending", one.value, one.limit, {"stroke": one.stroke, **facts}) for one in over[:1])


STROKE_SURE = 0.03
"""Share by which a stroke may pass the one at which the stress of the whole section reaches its limit before a pile is
looked at [1]: strokes are read to about this, and it is half as much of the stress; common practice, no source."""


def _looked_at_stroke(rows: Sequence[StrokeRow], highest: float, limits: DrivingStressLimits | None) -> float:
    """Give the stroke above which no pile is accepted without a second look [m].

    The bending that ends the table is that of the test pile's own stand, so a pile that was driven above it is told
    of, and one above what the whole section allows is looked at. Never above the approved range.
    """
    top = rows[-1].stroke
    if limits is None or highest == top:
        return highest
    strokes = np.array([row.stroke for row in rows])
    mean, tension = (np.array([getattr(row, name) for row in rows]) for name in ("mean_stress", "tension_stress"))
    within = min(
        stroke_within(strokes, mean, limits.compression.value), stroke_within(strokes, tension, limits.tension.value)
    )
    return max(highest, min(top, (1.0 + STROKE_SURE) * within))


def _beyond_reach(
    usable: Sequence[StrokeRow], measured: MeasuredBlows, target: EndOfDriveTarget
) -> tuple[Caution, ...]:
    """Caution where the lowest usable stroke is above what the hammer reached at the end of driving."""
    known = measured.stroke[np.isfinite(measured.stroke)]
    if not usable or not len(known):
        return ()
    reached = float(np.quantile(known, REACHED))
    if usable[0].stroke <= reached + STROKE_ROUNDING:
        return ()
    return (Caution("stroke not reached", usable[0].stroke, reached, {"kind": target.kind}),)


def restrike_rows(
    match: Match,
    calibrated: CalibratedHammer,
    required: float,
    measured: MeasuredBlows,
    limits: DrivingStressLimits | None = None,
    counting: Counting = COUNTING["SI"],
) -> tuple[CriterionRow, ...]:
    """Give the sets with which a restrike shows the whole requirement, from the soil and the energy of a restrike.

    Units: required [N].
    """
    approved = calibrated.hammer, measured.stroke, calibrated.stroke
    resistances = required * np.array([0.94, 1.0, 1.06])
    graph = bearing_graph(match, calibrated.hammer, graph_strokes(*approved, also_seen=False), resistances)
    strokes = table_strokes(*approved, counting)
    rows = stroke_rows(graph, strokes, required, limits, counting, bending=bending_of(measured))
    return tuple(criterion_row(row) for row in rows if row.ruled_out is None)


def criterion_row(row: StrokeRow) -> CriterionRow:
    """Give a row of the table as inspectors and the check of bearing piles take it."""
    return CriterionRow(row.stroke, row.set_per_blow, short=row.short, driven_on=row.driven_on)
