"""The driving criterion as data: what an inspector holds a pile against, blow by blow.

How it is derived from a test pile stands elsewhere; here is what it says and how it is read between its rows.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, isfinite

import numpy as np

from dyntest.decisions.caution import GOVERNING_SPECIFICATION
from dyntest.errors import InputError
from dyntest.units import unit_factor

PRACTICAL_REFUSAL_SET = 0.0254 / 10
PRACTICAL_REFUSAL_LENGTH = 3 * 0.0254
"""Practical refusal: 10 blows per inch [m per blow] for 3 consecutive inches [m] (UFC 3-220-20, 2025, 6-4.1.2). Other
agencies use 20 blows per inch (from memory)."""

ABSOLUTE_REFUSAL_SET = 0.3048 / 240
"""Absolute refusal: 5 blows per quarter inch, 240 blows per foot [m per blow] (UFC 3-220-20, 2025, 6-4.1.2)."""

STROKE_ROUNDING = 1e-6
"""Strokes closer than this are the same [m], so that 7 ft is 7 ft after conversion."""


@dataclass(frozen=True)
class CriterionRow:
    """What is asked at one stroke.

    Parameters
    ----------
    stroke : float
        Stroke of the ram h [m].
    set_per_blow : float
        Largest set per blow s that meets the criterion at that stroke [m].
    governing : str
        What governs this row, such as the bearing graph, the measured blows or a limit of the count; free text.
    notes : tuple of str
        What else to know about this row.
    """

    stroke: float
    set_per_blow: float
    governing: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class RestrikeRule:
    """When to stop and restrike instead of driving on, and what the restrike has to show.

    Parameters
    ----------
    change : str
        What waiting was measured to do to the test pile: ``"setup"``, ``"relaxation"``, ``"no sure change"`` or
        ``"not measured"``.
    stop_penetration : float or None
        Length along the pile in the ground beyond which it is not driven on without the count [m]; None where the test
        pile's is not known.
    wait : float or None
        Least wait before the restrike [s], as long as the test pile waited; None where it is not known.
    resistance : float
        Resistance that the restrike has to show, the whole requirement [N].
    rows : tuple of CriterionRow
        Sets that show it, by stroke; empty where only a dynamic test can judge the restrike.
    judged_length : float
        Length over which the restrike is judged, its first [m].
    most_length : float
        Length after which the restrike stops at the latest, before it drives away what was gained [m].
    """

    change: str
    stop_penetration: float | None
    wait: float | None
    resistance: float
    rows: tuple[CriterionRow, ...]
    judged_length: float
    most_length: float


@dataclass(frozen=True)
class Criterion:
    """What every bearing pile is held against.

    Parameters
    ----------
    rows : tuple of CriterionRow
        From the lowest stroke to the highest; at least one. A higher stroke never asks for a smaller set.
    holding_length : float
        Length along the pile over which the set has to hold without a break [m].
    required_resistance : float or None
        Nominal resistance the criterion stands for [N].
    minimum_penetration : float or None
        Least depth of the toe below the ground, vertical [m].
    minimum_stroke, maximum_stroke : float or None
        Approved range of the stroke [m]; where absent that end is not checked.
    stroke_tolerance : float
        A reading this much below the lowest row still counts as that row, and this much outside the approved range as
        inside [m]. No universal value is published, so it is 0 unless the specification gives one.
    refusal_set : float
        Set per blow at practical refusal [m].
    refusal_length : float
        Length over which it has to hold [m].
    refusal_minimum_stroke : float or None
        Refusal counts only at this stroke or more [m]; the lowest row's where absent.
    restrike : RestrikeRule or None
        When to stop and restrike.
    ruled_out : tuple of str
        Strokes of the approved range that cannot be used, each with its reason in a sentence.
    alerts : tuple of str
        What has to be cleared up before the criterion is used at all; said before everything else.
    source : str
        Where the criterion comes from.
    notes : tuple of str
        Assumptions and conditions.
    reminder : str
        Who decides.
    """

    rows: tuple[CriterionRow, ...]
    holding_length: float
    required_resistance: float | None = None
    minimum_penetration: float | None = None
    minimum_stroke: float | None = None
    maximum_stroke: float | None = None
    stroke_tolerance: float = 0.0
    refusal_set: float = PRACTICAL_REFUSAL_SET
    refusal_length: float = PRACTICAL_REFUSAL_LENGTH
    refusal_minimum_stroke: float | None = None
    restrike: RestrikeRule | None = None
    ruled_out: tuple[str, ...] = ()
    alerts: tuple[str, ...] = ()
    source: str = ""
    notes: tuple[str, ...] = ()
    reminder: str = GOVERNING_SPECIFICATION

    def __post_init__(self):
        """Refuse a criterion that no inspector could use."""
        if not self.rows:
            raise InputError("criterion", "rows", "there is no row", "give a set for at least one stroke")
        numbers = [self.holding_length, self.refusal_set, self.refusal_length]
        numbers += [number for row in self.rows for number in (row.stroke, row.set_per_blow)]
        if not all(isfinite(number) and number > 0.0 for number in numbers) or not self.stroke_tolerance >= 0.0:
            raise InputError("criterion", "rows and lengths", "a number is not above zero", "correct it")
        strokes, sets = [row.stroke for row in self.rows], [row.set_per_blow for row in self.rows]
        if any(after <= before for before, after in pairwise(strokes)):
            raise InputError("criterion", "rows", "the strokes do not rise from row to row", "sort them, each once")
        if any(after < before for before, after in pairwise(sets)):
            problem = "a higher stroke asks for a smaller set"
            raise InputError("criterion", "rows", problem, "check the derivation; more energy never needs more blows")

    @property
    def lowest_stroke(self) -> float:
        """Lowest stroke that counts, without the tolerance [m]."""
        return self.rows[0].stroke

    @property
    def refusal_stroke(self) -> float:
        """Lowest stroke at which refusal counts [m]."""
        return self.lowest_stroke if self.refusal_minimum_stroke is None else self.refusal_minimum_stroke


def permitted_set(criterion: Criterion, stroke: np.ndarray) -> np.ndarray:
    """Give the largest set per blow that meets a criterion at any stroke.

    Units: stroke [m]; returns [m].

    Between two rows the lower stroke's set stands, as an inspector reads the card; above the highest row the
    highest row's set stands, for more energy is then not credited.

    Examples
    --------
    >>> rows = (CriterionRow(2.0, 0.003), CriterionRow(3.0, 0.005))
    >>> permitted_set(Criterion(rows, 0.075), np.array([1.9, 2.0, 2.5, 3.5])).tolist()
    [nan, 0.003, 0.003, 0.005]
    """
    return set_at(criterion.rows, stroke, criterion.stroke_tolerance)


def set_at(rows: tuple[CriterionRow, ...], stroke: np.ndarray, tolerance: float = 0.0) -> np.ndarray:
    """Give the set of the row at or below any stroke.

    Units: stroke, tolerance [m]; returns [m].

    Examples
    --------
    >>> set_at((CriterionRow(2.0, 0.003),), np.array([1.95, 2.0]), 0.1).tolist()
    [0.003, 0.003]
    """
    stroke = np.asarray(stroke, dtype=float)
    strokes, sets = (np.array(values) for values in zip(*((r.stroke, r.set_per_blow) for r in rows), strict=True))
    row = np.searchsorted(strokes - STROKE_ROUNDING, stroke, side="right") - 1
    with np.errstate(invalid="ignore"):
        reaches = stroke >= strokes[0] - tolerance - STROKE_ROUNDING
    return np.where(reaches, sets[np.maximum(row, 0)], np.nan)


def blow_count(set_per_blow: np.ndarray, system: str) -> np.ndarray:
    """Give the count an inspector keeps.

    Units: set_per_blow [m].

    Examples
    --------
    >>> float(blow_count(0.0254 / 8, "US")), float(blow_count(0.005, "SI"))
    (8.0, 5.0)
    """
    length = unit_factor("in", "length") if system == "US" else 0.025
    return length / np.asarray(set_per_blow, dtype=float)


def show_count(set_per_blow: float, system: str, *, asked: bool = False) -> str:
    """Write a count as an inspector reads it.

    Units: set_per_blow [m].

    Examples
    --------
    >>> show_count(0.0254 / 8, "US"), show_count(0.005, "SI")
    ('8.0 blows per inch', '5.0 blows per 25 mm')
    >>> show_count(0.0254 / 8.01, "US", asked=True)
    '8.1 blows per inch'
    """
    if set_per_blow is None or set_per_blow != set_per_blow:
        return "–"
    count = float(blow_count(set_per_blow, system))
    if asked:
        count = ceil(round(count * 10.0, 6)) / 10.0
    return f"{count:.1f} blows per {'inch' if system == 'US' else '25 mm'}"
