"""Bearing piles that want a second look, whatever their status: one function a kind, each vectorised over all piles."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyntest.decisions.bearing_intervals import pile_values
from dyntest.decisions.criterion import ABSOLUTE_REFUSAL_SET, STROKE_ROUNDING, Criterion, show_count
from dyntest.decisions.pay_length import cut_off_length, pay_length
from dyntest.names import show
from dyntest.reading.logs import GAP_TOLERANCE
from dyntest.reading.production_log import PileTable

DEPTH_TOLERANCE = 1.5
"""How far above or below the test piles' toes a pile may end before it is odd [m]; no source, set it
for the site."""

FALL = 0.5
"""Blows times stroke over length that drop below this share of their sustained peak are odd [1]; no source."""

FALL_LEAST = 0.5
"""Only a peak of at least this share of what the criterion asks is looked at [1], so that soft layers near the surface
stay quiet; no source."""

OFFSET_TOLERANCE = 0.075
"""How far from its plan position a pile may stand at cutoff before it is odd [m] (common practice, no source: 3 in)."""

COLUMNS = ("pile", "kind", "depth", "reason")


def odd_piles(
    intervals: pd.DataFrame,
    table: pd.DataFrame,
    criterion: Criterion,
    piles: PileTable | None = None,
    *,
    test_toe_elevations: Sequence[float] = (),
    test_penetrations: Sequence[float] = (),
    depth_tolerance: float = DEPTH_TOLERANCE,
    system: str = "SI",
) -> pd.DataFrame:
    """Give everything about the bearing piles that wants a second look.

    Units: test_toe_elevations, test_penetrations, depth_tolerance [m]; returns [m].

    ``pile``, ``kind``, ``depth`` along the pile [m], ``reason`` in one sentence; in the order of the table.

    Examples
    --------
    >>> from dyntest.decisions.bearing_piles import check_bearing_piles
    >>> from dyntest.decisions.criterion import CriterionRow
    >>> from dyntest.reading.production_log import ProductionLog
    >>> log = ProductionLog("log.csv", np.array(["A"]), np.array([0.0]), np.array([9.0]), np.array([900]),
    ...                     np.array([2.0]), ("",), ("spliced",))
    >>> check_bearing_piles(log, Criterion((CriterionRow(2.0, 0.004),), 0.1)).odd["kind"].tolist()
    ['splice']
    """
    found = [
        _against_test_piles(table, test_toe_elevations, test_penetrations, depth_tolerance, system),
        _fallen_counts(intervals, criterion, system),
        _low_refusal(intervals, criterion, system),
        _absolute_refusal(intervals, system),
        _high_stroke(intervals, criterion, system),
        _met_above_minimum(table, criterion, system),
        _splices(intervals, system),
        _resumed(intervals, system),
        _missing_strokes(intervals, system),
        _not_in_table(table, piles),
        _short_of_cutoff(table, piles, system),
        _off_position(table, system),
    ]
    odd = pd.concat([frame for frame in found if len(frame)] or [_frame([], "", [], [])], ignore_index=True)
    order = odd["pile"].map({mark: place for place, mark in enumerate(table["pile"])})
    return odd.assign(order=order).sort_values(["order", "depth"], kind="stable")[list(COLUMNS)].reset_index(drop=True)


def _frame(pile, kind: str, depth, reasons: list[str]) -> pd.DataFrame:
    return pd.DataFrame({"pile": list(pile), "kind": kind, "depth": list(depth), "reason": reasons}, columns=COLUMNS)


def _first(intervals: pd.DataFrame, where: np.ndarray) -> pd.DataFrame:
    """Give the first interval of each pile where something is so."""
    return intervals[where].drop_duplicates("number")


def _length(value: float, system: str) -> str:
    return show("penetration", value, system)


def _against_test_piles(table, elevations, penetrations, tolerance: float, system: str) -> pd.DataFrame:
    """Compare with the deepest and the shallowest toe of the test piles, by elevation where that is known."""
    below, above = np.full(len(table), np.nan), np.full(len(table), np.nan)
    if len(penetrations):
        below, above = table["penetration"] - max(penetrations), min(penetrations) - table["penetration"]
    if len(elevations):
        known = table["toe_elevation"].notna()
        below = np.where(known, min(elevations) - table["toe_elevation"], below)
        above = np.where(known, table["toe_elevation"] - max(elevations), above)
    frames = []
    for kind, distance, words in (
        ("ran past the test piles", np.asarray(below, dtype=float), "deeper than the deepest"),
        ("stopped short of the test piles", np.asarray(above, dtype=float), "shallower than the shallowest"),
    ):
        far = distance > tolerance
        reasons = [
            f"the toe ended {_length(by, system)} {words} test pile, more than the tolerance of "
            f"{_length(tolerance, system)}"
            for by in distance[far]
        ]
        frames.append(_frame(table["pile"][far], kind, table["penetration"][far], reasons))
    return pd.concat(frames, ignore_index=True)


def _fallen_counts(intervals: pd.DataFrame, criterion: Criterion, system: str) -> pd.DataFrame:
    """Look for falling h/s, which stands for resistance; two intervals in a row carry a peak, and two a fall."""
    stroke = intervals["stroke"]
    stroke = stroke.fillna(stroke.groupby(intervals["number"]).transform("median")).fillna(criterion.lowest_stroke)
    effort = stroke / intervals["set_per_blow"]
    by_drive = intervals["drive"]
    sustained = np.minimum(effort, effort.groupby(by_drive).shift())
    peak = sustained.groupby(by_drive).cummax().groupby(by_drive).shift()
    following = effort.groupby(by_drive).shift(-1).fillna(0.0)
    asked = min(row.stroke / row.set_per_blow for row in criterion.rows)
    fell = (np.maximum(effort, following) < FALL * peak) & (peak >= FALL_LEAST * asked)
    rows = _first(intervals.assign(share=effort / peak), fell.to_numpy())
    such = f"{len(rows)} of {intervals['number'].nunique()} piles show such a fall"
    reasons = [
        f"at {_length(depth, system)} the blows times stroke fell to {share:.0%} of what they had been, to "
        f"{show_count(moved, system)}, while driving on; unless a layer explains it, the pile may be damaged ({such})"
        for depth, share, moved in zip(rows["depth_from"], rows["share"], rows["set_per_blow"], strict=True)
    ]
    return _frame(rows["pile"], "count fell", rows["depth_from"], reasons)


def _low_refusal(intervals: pd.DataFrame, criterion: Criterion, system: str) -> pd.DataFrame:
    rows = _first(intervals, intervals["refusal_low"].to_numpy())
    least = show("stroke", criterion.refusal_stroke, system)
    reasons = [
        f"refusal counts, {show_count(moved, system)} at {_length(depth, system)}, came at a stroke of "
        f"{show('stroke', stroke, system)}, below the least of {least}, and do not count"
        for depth, moved, stroke in zip(rows["depth_to"], rows["set_per_blow"], rows["stroke"], strict=True)
    ]
    return _frame(rows["pile"], "refusal at low stroke", rows["depth_to"], reasons)


def _absolute_refusal(intervals: pd.DataFrame, system: str) -> pd.DataFrame:
    rows = _first(intervals, (intervals["set_per_blow"] < ABSOLUTE_REFUSAL_SET * (1.0 - 1e-9)).to_numpy())
    most = show_count(ABSOLUTE_REFUSAL_SET, system)
    reasons = [
        f"driven beyond absolute refusal, {show_count(moved, system)} at {_length(depth, system)} where {most} is the "
        "most; pile and hammer may have suffered"
        for depth, moved in zip(rows["depth_to"], rows["set_per_blow"], strict=True)
    ]
    return _frame(rows["pile"], "beyond absolute refusal", rows["depth_to"], reasons)


def _high_stroke(intervals: pd.DataFrame, criterion: Criterion, system: str) -> pd.DataFrame:
    if criterion.maximum_stroke is None:
        return _frame([], "", [], [])
    most = criterion.maximum_stroke + criterion.stroke_tolerance + STROKE_ROUNDING
    rows = _first(intervals, (intervals["stroke"] > most).to_numpy())
    reasons = [
        f"a stroke of {show('stroke', stroke, system)} at {_length(depth, system)}, above the approved "
        f"{show('stroke', criterion.maximum_stroke, system)}; the driving stress may have passed its limit"
        for depth, stroke in zip(rows["depth_to"], rows["stroke"], strict=True)
    ]
    return _frame(rows["pile"], "stroke above the approved range", rows["depth_to"], reasons)


def _met_above_minimum(table: pd.DataFrame, criterion: Criterion, system: str) -> pd.DataFrame:
    rows = table[(table["met_anywhere"].notna() & table["met_at"].isna()).to_numpy()]
    reasons = [
        f"the criterion was met only at {_length(depth, system)}, above the minimum penetration of "
        f"{_length(criterion.minimum_penetration, system)}"
        for depth in rows["met_anywhere"]
    ]
    return _frame(rows["pile"], "met above minimum penetration only", rows["met_anywhere"], reasons)


def _splices(intervals: pd.DataFrame, system: str) -> pd.DataFrame:
    rows = intervals[intervals["remark"].str.contains("splic", case=False, regex=False).to_numpy()]
    reasons = [
        f"a splice is noted at {_length(depth, system)}; counts just below it may hold setup from the wait"
        for depth in rows["depth_from"]
    ]
    return _frame(rows["pile"], "splice", rows["depth_from"], reasons)


def _resumed(intervals: pd.DataFrame, system: str) -> pd.DataFrame:
    drive, number = intervals["drive"], intervals["number"]
    rows = intervals[((drive != drive.shift()) & (number == number.shift())).to_numpy()]
    reasons = [
        f"driving was resumed at {_length(depth, system)} on another date ({date}); counts just below it may hold setup"
        for depth, date in zip(rows["depth_from"], rows["date"], strict=True)
    ]
    return _frame(rows["pile"], "resumed on another date", rows["depth_from"], reasons)


def _missing_strokes(intervals: pd.DataFrame, system: str) -> pd.DataFrame:
    missing = intervals["stroke"].isna() & (intervals["blows"] > 0)
    rows = _first(intervals, missing.to_numpy())
    counts = missing.groupby(intervals["number"]).sum().reindex(rows["number"])
    reasons = [
        f"no stroke is recorded in {count} intervals with blows, the first at {_length(depth, system)}; these do not "
        "count"
        for count, depth in zip(counts, rows["depth_from"], strict=True)
    ]
    return _frame(rows["pile"], "stroke not recorded", rows["depth_from"], reasons)


def _not_in_table(table: pd.DataFrame, piles: PileTable | None) -> pd.DataFrame:
    if piles is None:
        return _frame([], "", [], [])
    rows = table[~table["pile"].isin(piles.pile)]
    reasons = [f"the pile is not in {piles.source}, so its levels are unknown and it is taken as vertical"] * len(rows)
    absent = table[table["penetration"].isna()]
    none = ["the pile is in the table of piles but has no counts"] * len(absent)
    return pd.concat(
        [
            _frame(rows["pile"], "not in the table of piles", rows["penetration"], reasons),
            _frame(absent["pile"], "no counts", absent["penetration"], none),
        ]
    )


def _short_of_cutoff(table: pd.DataFrame, piles: PileTable | None, system: str) -> pd.DataFrame:
    if piles is None:
        return _frame([], "", [], [])
    names = ("cutoff_elevation", "furnished_length", "batter")
    cutoff, furnished, batter = (pile_values(table["pile"], piles, name) for name in names)
    left = cut_off_length(furnished, pay_length(cutoff, table["toe_elevation"].to_numpy(), batter))
    short = left < -GAP_TOLERANCE
    rows = table[short]
    reasons = [
        f"the head ended {_length(-missing, system)} below cutoff, for the furnished length is "
        f"{_length(length, system)}; a splice not noted, or a wrong level"
        for missing, length in zip(left[short], furnished[short], strict=True)
    ]
    return _frame(rows["pile"], "short of cutoff", rows["penetration"], reasons)


def _off_position(table: pd.DataFrame, system: str) -> pd.DataFrame:
    rows = table[(table["offset_at_cutoff"].abs() > OFFSET_TOLERANCE).to_numpy()]
    reasons = [
        f"started from another ground level than the plan's, the battered pile stands "
        f"{show('set_per_blow', abs(offset), system)} from its plan position at cutoff"
        for offset in rows["offset_at_cutoff"]
    ]
    return _frame(rows["pile"], "off plan position", rows["penetration"], reasons)
