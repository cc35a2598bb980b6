"""Which bearing piles meet the driving criterion, where, and which of them want a second look."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyntest.decisions.bearing_intervals import judged_intervals, pile_values
from dyntest.decisions.bearing_oddities import DEPTH_TOLERANCE, odd_piles
from dyntest.decisions.bearing_words import reason
from dyntest.decisions.criterion import STROKE_ROUNDING, Criterion
from dyntest.decisions.pay_length import offset_at_cutoff, pay_length, toe_elevation
from dyntest.decisions.restrikes import judged_restrikes
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
    "not met",
    "no counts",
)
"""What a pile's log can show, from good to nothing."""


@dataclass(frozen=True)
class BearingPileCheck:
    """The bearing piles held against a criterion.

    Parameters
    ----------
    piles : pandas.DataFrame
        One row a pile, as `check_bearing_piles` says.
    odd : pandas.DataFrame
        One row for each thing that wants a second look: ``pile``, ``kind``, ``depth`` along the pile [m], ``reason``.
    criterion : Criterion
        What they were held against.
    """

    piles: pd.DataFrame
    odd: pd.DataFrame
    criterion: Criterion


def check_bearing_piles(
    log: ProductionLog,
    criterion: Criterion,
    piles: PileTable | None = None,
    *,
    test_toe_elevations: Sequence[float] = (),
    test_penetrations: Sequence[float] = (),
    depth_tolerance: float = DEPTH_TOLERANCE,
    tip_reinforcement: float = 0.0,
    system: str = "SI",
) -> BearingPileCheck:
    """Hold every pile of a production log against a criterion.

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
    system : str
        ``"SI"`` or ``"US"``, the units of the sentences.

    Returns
    -------
    BearingPileCheck
        Its table `piles` has, in SI: ``pile``, ``penetration`` along the pile [m], ``depth`` of the toe below ground
        [m], ``toe_elevation`` [m], ``blows``, ``last_set`` [m] and ``last_stroke`` [m] of the last interval,
        ``permitted`` set at that stroke [m], ``met_at``, the penetration along the pile at which the criterion first
        held at or below minimum penetration [m], ``met_at_end``, ``minimum_penetration_reached``, ``stroke_in_range``,
        ``refusal``, ``pay_length`` from toe to cutoff [m] and ``pay_length_without_tip`` [m], ``offset_at_cutoff`` of a
        battered pile from its plan position [m], ``status`` of `STATUSES` and ``reason``, one sentence.

    Notes
    -----
    A pile is accepted where the criterion holds over its length at the end of driving, the toe lies at or below
    minimum penetration and the strokes of that length lie in the approved range; or where its last restrike showed the
    whole requirement as the criterion's rule for restrikes asks. Practical refusal alone does not
    accept a pile: the engineer does (common practice, no source).

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
    table["pay_length_without_tip"] = pay_length(cutoff, toe, batter, tip_reinforcement=tip_reinforcement)
    planned = pile_values(table["pile"], piles, "planned_ground_elevation")
    table["offset_at_cutoff"] = offset_at_cutoff(batter, planned, ground)
    table["status"] = _status(table)
    table["reason"] = [reason(row, criterion, system) for row in table.to_dict("records")]
    odd = odd_piles(
        intervals,
        table,
        criterion,
        piles,
        test_toe_elevations=test_toe_elevations,
        test_penetrations=test_penetrations,
        depth_tolerance=depth_tolerance,
        system=system,
    )
    columns = ["pile", "penetration", "depth", "toe_elevation", "blows", "last_set", "last_stroke", "permitted"]
    columns += ["met_at", "met_at_end", "minimum_penetration_reached", "stroke_in_range", "refusal"]
    columns += ["pay_length", "pay_length_without_tip", "offset_at_cutoff"]
    return BearingPileCheck(table[[*columns, "status", "reason"]], odd, criterion)


def _per_pile(intervals: pd.DataFrame, criterion: Criterion) -> pd.DataFrame:
    """One row a pile from its intervals; `deciding` are the intervals of the last holding length."""
    least = criterion.minimum_penetration or 0.0
    held = intervals["held"] >= criterion.holding_length - GAP_TOLERANCE
    deep = intervals["depth"] >= least - GAP_TOLERANCE
    group = intervals.groupby("number", sort=False)
    last = group.tail(1).set_index("number")
    bottom = last["depth_to"].reindex(intervals["number"]).to_numpy()
    deciding = intervals["depth_to"] > bottom - criterion.holding_length + GAP_TOLERANCE
    low, high = _stroke_limits(criterion)
    inside = intervals["stroke"].between(low, high)
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
    high = np.inf if criterion.maximum_stroke is None else criterion.maximum_stroke + margin
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
    flags.append("restrike_shown")
    rows = pd.DataFrame({name: absent if name == "pile" else np.nan for name in table.columns}).astype(
        {"pile": object, **dict.fromkeys(flags, bool)}
    )
    rows[flags] = False
    rows["blows"] = 0
    return pd.concat([table, rows], ignore_index=True)


def _status(table: pd.DataFrame) -> np.ndarray:
    """Give the status of the first condition that is true, in this order."""
    reached, in_range = table["minimum_penetration_reached"], table["stroke_in_range"]
    conditions = {
        "no counts": table["penetration"].isna(),
        "accepted": table["met_at_end"] & reached & in_range,
        "accepted at restrike": table["restrike_shown"] & reached & in_range,
        "practical refusal": table["refusal"],
        "minimum penetration not reached": table["met_anywhere"].notna() & ~reached,
        "stroke out of range": table["met_at_end"] & reached,
        "stroke not recorded": table["stroke_missing"],
        "criterion lost": table["met_at"].notna(),
    }
    return np.select(list(conditions.values()), list(conditions), default="not met")
