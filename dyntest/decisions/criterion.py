"""The driving criterion as data: what an inspector checks a pile against, count by count.

How it is derived from a test pile stands elsewhere; here is what it says and how it is read between its rows.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor, isfinite

import numpy as np

from dyntest.decisions.trust import Caution
from dyntest.errors import InputError

INCH, FOOT = 0.0254, 0.3048
"""Inch and foot [m], exact."""

PRACTICAL_REFUSAL_SET = INCH / 10
PRACTICAL_REFUSAL_LENGTH = 3 * INCH
"""Practical refusal: 10 blows per inch [m per blow] for 3 consecutive inches [m] (UFC 3-220-20, 2025, 6-4.1.2). Other
agencies use 20 blows per inch (from memory)."""

ABSOLUTE_REFUSAL_SET = FOOT / 240
"""Absolute refusal: 5 blows per quarter inch, 240 blows per foot [m per blow] (UFC 3-220-20, 2025, 6-4.1.2)."""

STROKE_ROUNDING = 1e-6
"""Strokes closer than this are the same [m], so that 7 ft is 7 ft after conversion."""

ROUNDING = 1e-9
"""Share by which a count may miss a whole number and still be it [1], for arithmetic only."""

WAYS = ("whole length", "every inch")
"""How a count is asked for: over the whole holding length, or again in every inch (or 25 mm) of it."""

FLOOR = 0.75
"""Share of the average count below which no inch of the holding length may fall, where the count is asked over the
whole length [1]: about what whole numbers do to a steady count of three to six; our choice."""


@dataclass(frozen=True)
class Counting:
    """How a site counts blows.

    Parameters
    ----------
    length : float
        Length over which blows are counted, an inch or 25 mm [m].
    stroke_unit : float
        Unit in which strokes are round numbers [m].
    stroke_steps : tuple of float
        Steps between the rows of the table, in that unit [1].
    stroke_reading : float
        Smallest difference between strokes that the table shows, in that unit [1].
    """

    length: float
    stroke_unit: float
    stroke_steps: tuple[float, ...]
    stroke_reading: float


COUNTING = {
    "US": Counting(INCH, FOOT, (0.25, 0.5, 1.0, 2.0), 0.1),
    "SI": Counting(0.025, 1.0, (0.05, 0.1, 0.25, 0.5, 1.0), 0.01),
}
"""Customs of counting, by the units of the test sheet."""


@dataclass(frozen=True)
class CriterionRow:
    """What is asked at one stroke.

    Parameters
    ----------
    stroke : float
        Stroke of the ram h [m].
    set_per_blow : float
        Largest average set per blow s that meets the criterion at that stroke [m].
    pile : str
        Test pile that governs, where several stand together; empty where there is only one.
    others : tuple of (str, float)
        The other test piles and the sets they alone would ask for [m].
    short : float
        Chance that a pile which just passes is short of what is required [1]; not a number where not known.
    driven_on : float
        Chance that a pile with `SOUND` times what is required is rejected [1]; not a number where not known.
    """

    stroke: float
    set_per_blow: float
    pile: str = ""
    others: tuple[tuple[str, float], ...] = ()
    short: float = float("nan")
    driven_on: float = float("nan")


@dataclass(frozen=True)
class RuledOut:
    """Why a stroke cannot be used.

    Parameters
    ----------
    kind : str
        ``"compression"``, ``"bending"``, with which alone the compression passes its limit, ``"tension"``,
        ``"lower stroke"``, whose lower neighbour is ruled out, or ``"refusal"``.
    stroke : float
        Stroke at which it is so [m].
    value : float
        Stress there [Pa]; for refusal the set asked for [m].
    limit : float
        Limit of the stress [Pa]; for refusal its set [m].
    """

    kind: str
    stroke: float
    value: float
    limit: float


@dataclass(frozen=True)
class StrokesRuledOut:
    """Strokes of the approved range that cannot be used.

    Parameters
    ----------
    side : str
        ``"below"`` or ``"from"`` the stroke given.
    stroke : float
        That stroke [m].
    reason : RuledOut
        Why.
    pile : str
        Test pile it is about, where several stand together.
    """

    side: str
    stroke: float
    reason: RuledOut
    pile: str = ""


@dataclass(frozen=True)
class EasyDriving:
    """A limit of the stroke while the pile still moves far a blow, for the tension or compression it makes.

    Parameters
    ----------
    stroke : float
        Stroke that must not be passed [m].
    set_per_blow : float
        As long as the set is larger than this [m].
    kind : str
        Stress that limits it, ``"tension"`` or ``"compression"``.
    depth_from, depth_to : float
        Penetrations between which measured blows passed the limit [m]; not a number where none did.
    blows : int
        How many measured blows passed it [1].
    """

    stroke: float
    set_per_blow: float
    kind: str
    depth_from: float = float("nan")
    depth_to: float = float("nan")
    blows: int = 0


@dataclass(frozen=True)
class RestrikeRule:
    """When to stop and restrike instead of driving on, and what the restrike has to show.

    Parameters
    ----------
    change : str
        What waiting was measured to do to the test pile: ``"setup"``, ``"relaxation"``, ``"no significant change"`` or
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
    """The criterion that every bearing pile is checked against.

    Parameters
    ----------
    rows : tuple of CriterionRow
        From the lowest stroke to the highest; at least one. A higher stroke never asks for a smaller set.
    holding_length : float
        Length along the pile over which the set has to hold without a break [m].
    counting : Counting
        Length over which blows are counted.
    way : str
        One of `WAYS`.
    required_resistance : float or None
        Nominal resistance that the criterion shows [N].
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
    ruled_out : tuple of StrokesRuledOut
        Strokes of the approved range that cannot be used.
    easy_driving : tuple of EasyDriving
        Limits of the stroke while driving is easy.
    alerts : tuple of Caution
        What has to be cleared up before the criterion is used at all; said before everything else.
    cautions : tuple of Caution
        What to weigh besides.
    piles : tuple of str
        Test piles it comes from.
    targets : tuple of object
        The `EndOfDriveTarget` of each, in their order.
    above : tuple of CriterionRow
        What is asked at strokes above the approved range, where a stress limit ends it: nobody drives by them, but a
        pile that was driven so is judged by them.
    looked_at_stroke : float or None
        Stroke above which no pile is accepted without a look [m]; the maximum stroke where absent.
    """

    rows: tuple[CriterionRow, ...]
    holding_length: float
    counting: Counting = COUNTING["SI"]
    way: str = WAYS[0]
    required_resistance: float | None = None
    minimum_penetration: float | None = None
    minimum_stroke: float | None = None
    maximum_stroke: float | None = None
    stroke_tolerance: float = 0.0
    refusal_set: float = PRACTICAL_REFUSAL_SET
    refusal_length: float = PRACTICAL_REFUSAL_LENGTH
    refusal_minimum_stroke: float | None = None
    restrike: RestrikeRule | None = None
    ruled_out: tuple[StrokesRuledOut, ...] = ()
    easy_driving: tuple[EasyDriving, ...] = ()
    alerts: tuple[Caution, ...] = ()
    cautions: tuple[Caution, ...] = ()
    piles: tuple[str, ...] = ()
    targets: tuple = ()
    above: tuple[CriterionRow, ...] = ()
    looked_at_stroke: float | None = None

    def __post_init__(self) -> None:
        """Refuse a criterion that no inspector could use."""
        if not self.rows:
            raise InputError("criterion", "rows", "there is no row", "give a set for at least one stroke")
        numbers = [self.holding_length, self.refusal_set, self.refusal_length]
        numbers += [number for row in self.rows for number in (row.stroke, row.set_per_blow)]
        if not all(isfinite(number) and number > 0.0 for number in numbers) or not self.stroke_tolerance >= 0.0:
            raise InputError("criterion", "rows and lengths", "a number is not above zero", "correct it")
        if self.way not in WAYS:
            ways = " or ".join(f'"{way}"' for way in WAYS)
            raise InputError("criterion", "count", f'"{self.way}" is not known', f"write {ways}")
        strokes, sets = [row.stroke for row in self.rows], [row.set_per_blow for row in self.rows]
        if any(after <= before for before, after in pairwise(strokes)):
            raise InputError("criterion", "rows", "the strokes do not increase from row to row", "sort them, each once")
        if any(after < before for before, after in pairwise(sets)):
            problem = "a higher stroke requires a smaller set"
            raise InputError("criterion", "rows", problem, "check the derivation; more energy never needs more blows")

    @property
    def lowest_stroke(self) -> float:
        """Lowest stroke that counts, without the tolerance [m]."""
        return self.rows[0].stroke

    @property
    def refusal_stroke(self) -> float:
        """Lowest stroke at which refusal counts [m]."""
        return self.lowest_stroke if self.refusal_minimum_stroke is None else self.refusal_minimum_stroke

    @property
    def highest_stroke(self) -> float | None:
        """Stroke above which no pile is accepted without a look [m]; None where no end is given."""
        return self.maximum_stroke if self.looked_at_stroke is None else self.looked_at_stroke


def permitted_set(criterion: Criterion, stroke: np.ndarray) -> np.ndarray:
    """Give the largest set per blow that meets a criterion at any stroke.

    Units: stroke [m]; returns [m].

    On the straight line between two rows, those above the approved range among them; beyond the last the last one's
    set stands, for more energy is then not credited.

    Examples
    --------
    >>> rows = (CriterionRow(2.0, 0.003), CriterionRow(3.0, 0.005))
    >>> permitted_set(Criterion(rows, 0.075), np.array([1.9, 2.0, 2.5, 3.5])).tolist()
    [nan, 0.003, 0.004, 0.005]
    """
    return set_at((*criterion.rows, *criterion.above), stroke, criterion.stroke_tolerance)


def set_at(rows: tuple[CriterionRow, ...], stroke: np.ndarray, tolerance: float = 0.0) -> np.ndarray:
    """Give the set asked at any stroke, on the straight line between two rows.

    Units: stroke, tolerance [m]; returns [m].

    Examples
    --------
    >>> set_at((CriterionRow(2.0, 0.003),), np.array([1.95, 2.0]), 0.1).tolist()
    [0.003, 0.003]
    """
    stroke = np.asarray(stroke, dtype=float)
    strokes, sets = (np.array(values) for values in zip(*((r.stroke, r.set_per_blow) for r in rows), strict=True))
    with np.errstate(invalid="ignore"):
        reaches = stroke >= strokes[0] - tolerance - STROKE_ROUNDING
    return np.where(reaches, np.interp(stroke, strokes, sets), np.nan)


def blow_count(set_per_blow: np.ndarray, length: float) -> np.ndarray:
    """Give the blows over a length, as an inspector counts them.

    Units: set_per_blow, length [m]; returns [1].

    Examples
    --------
    >>> float(blow_count(0.0254 / 8, 0.0254)), float(blow_count(0.005, 0.025))
    (8.0, 5.0)
    """
    return length / np.asarray(set_per_blow, dtype=float)


def count_over(set_per_blow: float, length: float, each: float | None = None) -> int:
    """Give the whole count that is asked over a length: the nearest one, so that rounding favours neither side.

    Units: set_per_blow, length, each [m].

    A pile of exactly this set shows, as its blows happen to fall, the whole number below or above; the nearest one
    is passed as often by a pile a little short as it is missed by one a little sound. Where the count is asked again
    in `each` inch (or 25 mm) of the length, it is rounded up there: so few blows cannot be told nearer.

    Examples
    --------
    >>> count_over(0.0254 / 4.6, 3 * 0.0254), count_over(0.0254 / 4.6, 3 * 0.0254, 0.0254)
    (14, 15)
    """
    if each is None:
        return max(1, floor(length / set_per_blow + 0.5 + ROUNDING))
    return max(1, ceil(each / set_per_blow * (1.0 - ROUNDING))) * round(length / each)


def least_count(criterion: Criterion, set_per_blow: float) -> int:
    """Give the count that every inch (or 25 mm) has to show at least.

    Units: set_per_blow [m].

    None where blows are asked for over the whole length and are so few that an inch may pass without one.

    Examples
    --------
    >>> criterion = Criterion((CriterionRow(2.0, 0.025 / 4.6),), 0.075)
    >>> least_count(criterion, 0.025 / 4.6)
    3
    """
    length = criterion.counting.length
    if criterion.way == WAYS[1]:
        return count_over(set_per_blow, length, length)
    return floor(FLOOR * length / set_per_blow * (1.0 + ROUNDING))
