"""Which bearing piles meet the driving criterion, where, and which of them need a second look."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyntest.decisions.bearing_intervals import (
    judged_intervals,
    offset_at_cutoff,
    pay_length,
    pile_values,
    toe_elevation,
)
from dyntest.decisions.bearing_oddities import (
    BELOW_CUTOFF,
    CUTOFF_TOLERANCE,
    DEPTH_TOLERANCE,
    GRAVE,
    RESUMED,
    odd_piles,
)
from dyntest.decisions.criterion import STROKE_ROUNDING, Criterion
from dyntest.decisions.restrikes import judged_restrikes
from dyntest.decisions.trust import Caution
from dyntest.reading.logs import GAP_TOLERANCE
from dyntest.reading.production_log import PileTable, ProductionLog

ACCEPTED = ("accepted", "accepted at restrike")
"""Statuses of a pile that meets the criterion."""

STATUSES = (
    *ACCEPTED,
    "practical refusal",
    "criterion lost",
    "minimum penetration not reached",
    "stroke out of range",
    "stroke not recorded",
    "resumed after a wait",
    "not met",
    "no counts",
)
"""What a pile's log can show, best first."""

VERDICTS = ("accepted", "second look", "not met")
"""Verdict on a pile: accepted; its count is enough but something serious has to be checked first, or it refused;
not met."""

LOOKED_AT = ("practical refusal", "stroke out of range")
"""Statuses that need a second look in any case: the resistance may be there, and the pile may have suffered."""

FAR = 2.0 * DEPTH_TOLERANCE
"""How far from the test piles most piles may end before the log is said to be of another structure [m]; no source."""

STRANGERS = 0.5
"""Share of the piles whose strokes or depths do not belong to the criterion from which that is told of all together
[1]; no source."""


@dataclass(frozen=True)
class BearingPileCheck:
    """The bearing piles checked against a criterion.

    Parameters
    ----------
    piles : pandas.DataFrame
        One row a pile, as `check_bearing_piles` says.
    odd : pandas.DataFrame
        One row for each thing that needs a second look: ``pile``, ``kind``, ``depth`` along the pile [m], ``value`` and
        ``limit`` in SI, ``note``.
    criterion : Criterion
        The criterion they were checked against.
    cautions : tuple of Caution
        What speaks against holding these piles against this criterion at all.
    """

    piles: pd.DataFrame
    odd: pd.DataFrame
    criterion: Criterion
    cautions: tuple[Caution, ...] = ()


def check_bearing_piles(
    log: ProductionLog,
    criterion: Criterion,
    piles: PileTable | None = None,
    *,
    test_toe_elevations: Sequence[float] = (),
    test_penetrations: Sequence[float] = (),
    depth_tolerance: float = DEPTH_TOLERANCE,
    tip_reinforcement: float = 0.0,
) -> BearingPileCheck:
    """Check every pile of a production log against a criterion.

    Parameters
    ----------
    log : ProductionLog
        The log.
    criterion : Criterion
        The criterion.
    piles : PileTable or None
        Levels, lengths and batter of the piles.
    test_toe_elevations, test_penetrations : sequence of float
        Where the toes of the test piles ended: elevation [m], and length along the pile in the ground [m]. Elevations
        are used where the pile's ground elevation is known.
    depth_tolerance : float
        How far above or below those a pile may end before it is odd [m].
    tip_reinforcement : float
        Length of tip reinforcement, left out where it is paid apart [m].

    Returns
    -------
    BearingPileCheck
        Its table `piles` has, in SI: ``pile``, ``verdict`` of `VERDICTS`, ``status`` of `STATUSES`, ``penetration``
        along the pile [m], ``depth`` of the toe below ground [m], ``toe_elevation`` [m], ``blows``, ``last_set`` [m]
        and ``last_stroke`` [m] of the last interval, ``permitted`` set at that stroke [m], ``counted`` and ``asked``
        blows over the last ``window`` [m] of the log, ``failed_from`` and ``failed_to``, the last interval of it
        with too few blows by itself, and its ``failed_blows``; ``met_at``, the penetration along the pile at which the
        criterion first held at or below minimum penetration [m], ``met_at_end``, ``minimum_penetration_reached``,
        ``stroke_in_range``, ``refusal``, ``resumed``, ``pay_length`` from toe to cutoff [m] and
        ``pay_length_without_tip`` [m], and ``offset_at_cutoff`` of a battered pile from its plan position [m].

    Notes
    -----
    A pile is accepted where the criterion holds over its length at the end of driving, the toe lies at or below
    minimum penetration and the strokes of that length lie in the approved range. Where a stress limit ends that range,
    a pile that was driven above it is judged by what its own stroke asks, and looked at where more than the bending of
    the test pile takes the stress beyond its limit. A pile that was left for another date
    and struck again is accepted only where its last restrike showed the whole requirement, as the criterion's rule
    for restrikes asks: the count at the end of driving may be lowered by setup that this pile has had already.
    Practical refusal alone does not accept a pile, nor is one accepted that went beyond absolute refusal: the
    engineer looks at it (common practice, no source). So is a pile whose head ended below cutoff.

    Examples
    --------
    >>> from dyntest.decisions.criterion import CriterionRow
    >>> log = ProductionLog("log.csv", np.array(["A", "A"]), np.array([0.0, 9.0]), np.array([9.0, 9.2]),
    ...                     np.array([300, 60]), np.array([2.0, 2.0]), ("", ""), ("", ""))
    >>> check_bearing_piles(log, Criterion((CriterionRow(2.0, 0.004),), 0.1)).piles["status"].tolist()
    ['accepted']
    """
    intervals = judged_intervals(log, criterion, piles)
    table = _per_pile(intervals, criterion).join(judged_restrikes(intervals, criterion.restrike))
    table = table.reset_index(drop=True)
    table = _add_missing(table, piles)
    ground, batter = (pile_values(table["pile"], piles, name) for name in ("ground_elevation", "batter"))
    table["toe_elevation"] = toe_elevation(ground, table["penetration"].to_numpy(), batter)
    cutoff = pile_values(table["pile"], piles, "cutoff_elevation")
    toe = table["toe_elevation"].to_numpy()
    table["pay_length"] = pay_length(cutoff, toe, batter)
    tip = np.full(len(table), tip_reinforcement)
    table["pay_length_without_tip"] = pay_length(cutoff, toe, batter, tip_reinforcement=tip)
    planned = pile_values(table["pile"], piles, "planned_ground_elevation")
    table["offset_at_cutoff"] = offset_at_cutoff(batter, planned, ground)
    table["status"] = _status(table)
    odd = odd_piles(
        intervals,
        table,
        criterion,
        piles,
        test_toe_elevations=test_toe_elevations,
        test_penetrations=test_penetrations,
        depth_tolerance=depth_tolerance,
    )
    table["verdict"] = _verdict(table, odd)
    columns = ["pile", "verdict", "status", "penetration", "depth", "toe_elevation", "blows", "last_set", "last_stroke"]
    columns += ["permitted", "window", "counted", "asked", "failed_from", "failed_to", "failed_blows", "failed_each"]
    columns += ["met_at", "met_anywhere", "met_at_end", "minimum_penetration_reached", "stroke_in_range", "refusal"]
    columns += ["resumed", "restrike_early", "restrike_set", "restrike_stroke", "pay_length", "pay_length_without_tip"]
    table = table[[*columns, "offset_at_cutoff"]]
    return BearingPileCheck(table, odd, criterion, _other_structure(table, criterion, test_penetrations))


def _per_pile(intervals: pd.DataFrame, criterion: Criterion) -> pd.DataFrame:
    """One row a pile from its intervals; `deciding` are the intervals of the last holding length."""
    least = criterion.minimum_penetration or 0.0
    held = intervals["holds"]
    deep = intervals["depth"] >= least - GAP_TOLERANCE
    group = intervals.groupby("number", sort=False)
    last = group.tail(1).set_index("number")
    bottom = last["depth_to"].reindex(intervals["number"]).to_numpy()
    deciding = intervals["depth_to"] > bottom - criterion.holding_length + GAP_TOLERANCE
    low, high = _stroke_limits(criterion)
    inside = intervals["stroke"].between(low, high)
    failed = intervals[deciding & intervals["under_floor"]].groupby("number").tail(1).set_index("number")
    depth = intervals["depth_to"]
    return pd.DataFrame(
        {
            "pile": last["pile"],
            "penetration": last["depth_to"],
            "depth": last["depth"],
            "blows": group["blows"].sum(),
            "last_set": last["set_per_blow"],
            "last_stroke": last["stroke"],
            "permitted": last["permitted"],
            "window": last["window"],
            "counted": last["counted"],
            "asked": last["asked"],
            "failed_from": failed["depth_from"],
            "failed_to": failed["depth_to"],
            "failed_blows": failed["blows"],
            "failed_each": failed["each"],
            "met_at": depth.where(held & deep).groupby(intervals["number"]).min(),
            "met_anywhere": depth.where(held).groupby(intervals["number"]).min(),
            "met_at_end": held[last_rows(intervals)].to_numpy(),
            "minimum_penetration_reached": deep[last_rows(intervals)].to_numpy(),
            "stroke_in_range": (inside | ~deciding).groupby(intervals["number"]).all(),
            "stroke_missing": (intervals["stroke"].isna() & deciding).groupby(intervals["number"]).any(),
            "refusal": last["refusal"],
        }
    )


def last_rows(intervals: pd.DataFrame) -> np.ndarray:
    """Give where the last interval of each pile stands.

    Examples
    --------
    >>> last_rows(pd.DataFrame({"number": [0, 0, 1]})).tolist()
    [False, True, True]
    """
    return intervals["number"].ne(intervals["number"].shift(-1)).to_numpy()


def _stroke_limits(criterion: Criterion) -> tuple[float, float]:
    margin = criterion.stroke_tolerance + STROKE_ROUNDING
    low = -np.inf if criterion.minimum_stroke is None else criterion.minimum_stroke - margin
    high = np.inf if criterion.highest_stroke is None else criterion.highest_stroke + margin
    return low, high


def _add_missing(table: pd.DataFrame, piles: PileTable | None) -> pd.DataFrame:
    """Add the piles of the table that have no counts, so that none is forgotten."""
    if piles is None:
        return table
    known = set(table["pile"])
    absent = [mark for mark in piles.pile if mark not in known]
    if not absent:
        return table
    flags = ["met_at_end", "minimum_penetration_reached", "stroke_in_range", "stroke_missing", "refusal"]
    flags += ["resumed", "restrike_shown", "restrike_early"]
    rows = pd.DataFrame({name: absent if name == "pile" else np.nan for name in table.columns}).astype(
        {"pile": object, **dict.fromkeys(flags, bool)}
    )
    rows[flags] = False
    rows["blows"] = 0
    return pd.concat([table, rows], ignore_index=True)


def _status(table: pd.DataFrame) -> np.ndarray:
    """Give the status of the first condition that is true, in this order."""
    reached, in_range = table["minimum_penetration_reached"], table["stroke_in_range"]
    resumed = table["resumed"]
    conditions = {
        "no counts": table["penetration"].isna(),
        "accepted": table["met_at_end"] & reached & in_range & ~resumed,
        "accepted at restrike": table["restrike_shown"] & reached & in_range,
        "resumed after a wait": table["met_at_end"] & reached & resumed,
        "practical refusal": table["refusal"],
        "minimum penetration not reached": table["met_anywhere"].notna() & ~reached,
        "stroke out of range": table["met_at_end"] & reached,
        "stroke not recorded": table["stroke_missing"],
        "criterion lost": table["met_at"].notna(),
    }
    return np.select(list(conditions.values()), list(conditions), default="not met")


def _verdict(table: pd.DataFrame, odd: pd.DataFrame) -> np.ndarray:
    """Give the verdict on each pile, one of `VERDICTS`."""
    accepted = table["status"].isin(ACCEPTED)
    by_restrike = set(table["pile"][table["status"] == ACCEPTED[1]])
    kind = odd["kind"]
    shown = (kind == RESUMED) & odd["pile"].isin(by_restrike)
    near = (kind == BELOW_CUTOFF) & (odd["value"] <= CUTOFF_TOLERANCE)
    grave = odd[kind.isin(GRAVE) & ~shown & ~near]
    look = accepted & table["pile"].isin(grave["pile"]) | table["status"].isin(LOOKED_AT)
    return np.select([look, accepted], [VERDICTS[1], VERDICTS[0]], default=VERDICTS[2])


def _other_structure(table: pd.DataFrame, criterion: Criterion, penetrations: Sequence[float]) -> tuple[Caution, ...]:
    """Caution where strokes or depths of the piles do not fit the criterion: another hammer or structure."""
    counted = table[table["penetration"].notna()]
    if counted.empty:
        return ()
    found = []
    low, high = _stroke_limits(criterion)
    known = counted["last_stroke"].dropna()
    outside = int((~known.between(max(low, criterion.lowest_stroke - criterion.stroke_tolerance), high)).sum())
    if len(known) and outside > STRANGERS * len(known):
        facts = {"of": len(known), "low": criterion.lowest_stroke, "high": criterion.highest_stroke}
        found.append(Caution("strokes of another hammer", outside, None, facts))
    if len(penetrations):
        limits = (min(penetrations) - FAR, max(penetrations) + FAR)
        outside = int((~counted["penetration"].between(*limits)).sum())
        if outside > STRANGERS * len(counted):
            facts = {"of": len(counted), "low": min(penetrations), "high": max(penetrations), "far": FAR}
            found.append(Caution("depths of another structure", outside, None, facts))
    return tuple(found)
