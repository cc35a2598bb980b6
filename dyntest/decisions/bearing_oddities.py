"""Bearing piles that need a second look, whatever their status: one function a kind, each vectorised over all piles.

Each gives rows with the numbers that were found; `dyntest.presenting.bearing_words` says them.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyntest.decisions.bearing_intervals import cut_off_length, pay_length, pile_values
from dyntest.decisions.criterion import ABSOLUTE_REFUSAL_SET, ROUNDING, STROKE_ROUNDING, Criterion
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

CUTOFF_TOLERANCE = 0.05
"""How far below cutoff a head may end before its pile is looked at [m] (common practice, no source: 2 in). Further down
it does not reach into the cap: it has to be built up, or an elevation is wrong and the penetration with it."""

COLUMNS = ("pile", "kind", "depth", "value", "limit", "note")
"""Of the table of odd piles: value and limit in SI, as its kind asks; note is text from the log or a count."""

PAST, SHORT_OF = "ran past the test piles", "stopped short of the test piles"
FELL, LOW_REFUSAL, ABSOLUTE = "count fell", "refusal at low stroke", "beyond absolute refusal"
BENT = "stroke above what bending allows"
HIGH_STROKE, ABOVE_MINIMUM = "stroke above the approved range", "met above minimum penetration only"
SPLICE, RESUMED, NO_STROKE = "splice", "resumed on another date", "stroke not recorded"
NOT_IN_TABLE, NO_COUNTS = "not in the table of piles", "no counts"
BELOW_CUTOFF, OFF_PLAN = "short of cutoff", "off plan position"

HURT_TEST = "damaged test pile"
"""A test pile whose record shows damage; added by the caller that has the tests."""

GRAVE = (ABSOLUTE, FELL, RESUMED, HIGH_STROKE, HURT_TEST, BELOW_CUTOFF)
"""Kinds for which no pile is accepted without a second look; a head below cutoff from `CUTOFF_TOLERANCE` on."""


def odd_piles(
    intervals: pd.DataFrame,
    table: pd.DataFrame,
    criterion: Criterion,
    piles: PileTable | None = None,
    *,
    test_toe_elevations: Sequence[float] = (),
    test_penetrations: Sequence[float] = (),
    depth_tolerance: float = DEPTH_TOLERANCE,
) -> pd.DataFrame:
    """Give everything about the bearing piles that needs a second look.

    Units: test_toe_elevations, test_penetrations, depth_tolerance [m]; returns [m].

    `COLUMNS`, depth being along the pile [m]; in the order of the table.

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
        *_against_test_piles(table, test_toe_elevations, test_penetrations, depth_tolerance),
        _fallen_counts(intervals, criterion),
        _low_refusal(intervals, criterion),
        _absolute_refusal(intervals),
        *_high_strokes(intervals, criterion),
        _met_above_minimum(table, criterion),
        _splices(intervals),
        _resumed(intervals),
        _missing_strokes(intervals),
        *_not_in_table(table, piles),
        _short_of_cutoff(table, piles),
        _off_position(table),
    ]
    odd = pd.concat([frame for frame in found if len(frame)] or [_frame([], "", [])], ignore_index=True)
    order = odd["pile"].map({mark: place for place, mark in enumerate(table["pile"])})
    return odd.assign(order=order).sort_values(["order", "depth"], kind="stable")[list(COLUMNS)].reset_index(drop=True)


def _frame(pile, kind: str, depth, value=np.nan, limit=np.nan, note="") -> pd.DataFrame:
    """Give rows of one kind; a single value applies to all."""
    count = len(pile)

    def many(values) -> list:
        return [values] * count if np.ndim(values) == 0 else list(values)

    columns = (list(pile), [kind] * count, many(depth), many(value), many(limit), many(note))
    return pd.DataFrame(dict(zip(COLUMNS, columns, strict=True)))


def _first(intervals: pd.DataFrame, where: np.ndarray) -> pd.DataFrame:
    """Give the first interval of each pile where something is so."""
    return intervals[where].drop_duplicates("number")


def _against_test_piles(table, elevations, penetrations, tolerance: float) -> list[pd.DataFrame]:
    """Compare with the deepest and the shallowest toe of the test piles, by elevation where that is known."""
    below, above = np.full(len(table), np.nan), np.full(len(table), np.nan)
    if len(penetrations):
        below, above = table["penetration"] - max(penetrations), min(penetrations) - table["penetration"]
    if len(elevations):
        known = table["toe_elevation"].notna()
        below = np.where(known, min(elevations) - table["toe_elevation"], below)
        above = np.where(known, table["toe_elevation"] - max(elevations), above)
    frames = []
    for kind, distance in ((PAST, np.asarray(below, dtype=float)), (SHORT_OF, np.asarray(above, dtype=float))):
        far = distance > tolerance
        frames.append(_frame(table["pile"][far], kind, table["penetration"][far], distance[far], tolerance))
    return frames


def _fallen_counts(intervals: pd.DataFrame, criterion: Criterion) -> pd.DataFrame:
    """Look for falling h/s, which stands for resistance; two intervals in a row make a peak, and two a fall."""
    stroke = intervals["stroke"]
    stroke = stroke.fillna(stroke.groupby(intervals["number"]).transform("median")).fillna(criterion.lowest_stroke)
    effort = stroke / intervals["set_per_blow"]
    by_drive = intervals["drive"]
    above = effort.groupby(by_drive).shift()
    sustained = effort.where(effort <= above, above)
    peak = sustained.groupby(by_drive).cummax().groupby(by_drive).shift()
    following = effort.groupby(by_drive).shift(-1).fillna(0.0)
    asked = min(row.stroke / row.set_per_blow for row in criterion.rows)
    fell = (effort < FALL * peak) & (following < FALL * peak) & (peak >= FALL_LEAST * asked)
    rows = _first(intervals.assign(share=effort / peak), fell.to_numpy())
    such = f"{len(rows)} of {intervals['number'].nunique()}"
    return _frame(rows["pile"], FELL, rows["depth_from"], rows["share"], rows["set_per_blow"], such)


def _low_refusal(intervals: pd.DataFrame, criterion: Criterion) -> pd.DataFrame:
    rows = _first(intervals, intervals["refusal_low"].to_numpy())
    return _frame(rows["pile"], LOW_REFUSAL, rows["depth_to"], rows["stroke"], criterion.refusal_stroke)


def _absolute_refusal(intervals: pd.DataFrame) -> pd.DataFrame:
    rows = _first(intervals, (intervals["set_per_blow"] < ABSOLUTE_REFUSAL_SET * (1.0 - ROUNDING)).to_numpy())
    return _frame(rows["pile"], ABSOLUTE, rows["depth_to"], rows["set_per_blow"], ABSOLUTE_REFUSAL_SET)


def _high_strokes(intervals: pd.DataFrame, criterion: Criterion) -> list[pd.DataFrame]:
    """Look for strokes above the highest that is accepted without a second look, and above the end of the table."""
    most, end = criterion.highest_stroke, criterion.maximum_stroke
    if most is None or end is None:
        return []
    margin = criterion.stroke_tolerance + STROKE_ROUNDING
    high = (intervals["stroke"] > most + margin).to_numpy()
    higher = _first(intervals, high)
    bent = _first(
        intervals, (intervals["stroke"] > end + margin).to_numpy() & ~intervals["number"].isin(higher["number"])
    )
    return [
        _frame(higher["pile"], HIGH_STROKE, higher["depth_to"], higher["stroke"], most),
        _frame(bent["pile"], BENT, bent["depth_to"], bent["stroke"], end),
    ]


def _met_above_minimum(table: pd.DataFrame, criterion: Criterion) -> pd.DataFrame:
    rows = table[(table["met_anywhere"].notna() & table["met_at"].isna()).to_numpy()]
    return _frame(
        rows["pile"], ABOVE_MINIMUM, rows["met_anywhere"], rows["met_anywhere"], criterion.minimum_penetration or np.nan
    )


def _splices(intervals: pd.DataFrame) -> pd.DataFrame:
    rows = intervals[intervals["remark"].str.contains("splic", case=False, regex=False).to_numpy()]
    return _frame(rows["pile"], SPLICE, rows["depth_from"])


def _resumed(intervals: pd.DataFrame) -> pd.DataFrame:
    drive, number = intervals["drive"], intervals["number"]
    rows = intervals[((drive != drive.shift()) & (number == number.shift())).to_numpy()]
    return _frame(rows["pile"], RESUMED, rows["depth_from"], note=rows["date"])


def _missing_strokes(intervals: pd.DataFrame) -> pd.DataFrame:
    missing = intervals["stroke"].isna() & (intervals["blows"] > 0)
    rows = _first(intervals, missing.to_numpy())
    counts = missing.groupby(intervals["number"]).sum().reindex(rows["number"])
    return _frame(rows["pile"], NO_STROKE, rows["depth_from"], counts)


def _not_in_table(table: pd.DataFrame, piles: PileTable | None) -> list[pd.DataFrame]:
    if piles is None:
        return []
    rows, absent = table[~table["pile"].isin(piles.pile)], table[table["penetration"].isna()]
    return [
        _frame(rows["pile"], NOT_IN_TABLE, rows["penetration"], note=piles.source),
        _frame(absent["pile"], NO_COUNTS, absent["penetration"]),
    ]


def _short_of_cutoff(table: pd.DataFrame, piles: PileTable | None) -> pd.DataFrame:
    if piles is None:
        return _frame([], "", [])
    cutoff, furnished, batter = (
        pile_values(table["pile"], piles, name) for name in ("cutoff_elevation", "furnished_length", "batter")
    )
    left = cut_off_length(furnished, pay_length(cutoff, table["toe_elevation"].to_numpy(), batter))
    short = left < -GAP_TOLERANCE
    rows = table[short]
    return _frame(rows["pile"], BELOW_CUTOFF, rows["penetration"], -left[short], furnished[short])


def _off_position(table: pd.DataFrame) -> pd.DataFrame:
    rows = table[(table["offset_at_cutoff"].abs() > OFFSET_TOLERANCE).to_numpy()]
    return _frame(rows["pile"], OFF_PLAN, rows["penetration"], rows["offset_at_cutoff"].abs(), OFFSET_TOLERANCE)
