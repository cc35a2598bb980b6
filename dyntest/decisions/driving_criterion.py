"""The driving criterion of a test pile: blows at each stroke that show the resistance.

Derived from the calibrated bearing graph, and held against the measured blows and public formulas.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dyntest.decisions.caution import GOVERNING_SPECIFICATION, Caution
from dyntest.decisions.criterion import Criterion, CriterionRow, RestrikeRule
from dyntest.decisions.criterion_cautions import alerts, cautions
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.measured_blows import FormulaResistance, MeasuredBlows, formula_resistances, read_back
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.decisions.stroke_table import StrokeRow, ruled_out_words, stroke_rows, table_strokes
from dyntest.pile import Pile
from dyntest.units import unit_factor
from dyntest.wave_equation.bearing_graph import BearingGraph, bearing_graph
from dyntest.wave_equation.hammer_calibration import CalibratedHammer
from dyntest.wave_equation.matching import Match

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
    The graph speaks of piles, soil and hammer like the test pile's. Needs a match; see the tests for an example.
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

    Parameters
    ----------
    match : Match
        Match of the representative blow of the restrike.
    calibrated : CalibratedHammer
        The calibrated hammer.
    required : float
        Required nominal resistance [N].
    strokes : numpy.ndarray
        Strokes of the table, shape (n_rows,) [m], rising.
    limits : DrivingStressLimits or None
        Limits of the driving stresses.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    tuple of CriterionRow
        One for every stroke that is not ruled out.
    """
    graph = bearing_graph(match, calibrated.hammer, strokes, required * np.array([0.999, 1.0, 1.001]))
    rows = stroke_rows(graph, strokes, required, limits, system)
    return tuple(criterion_row(row, "bearing graph of the restrike") for row in rows if not row.ruled_out)


def criterion_row(row: StrokeRow, governing: str) -> CriterionRow:
    """Give a row of the table as inspectors and the check of bearing piles take it.

    Parameters
    ----------
    row : StrokeRow
        The row.
    governing : str
        Where it comes from.

    Returns
    -------
    CriterionRow
        With a note where the count is one at which dynamic methods tend to over-predict.
    """
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
