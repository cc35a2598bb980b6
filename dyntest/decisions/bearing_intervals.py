"""Every interval of a production log checked against the criterion, all piles at once.

Also the length that is paid for, and the position of a battered pile where the ground is not at plan level. Common
practice, no source: driven length below cutoff, measured along the pile, is paid. The contract decides. Batter is given
as horizontal run per vertical rise; 0 is a vertical pile.
"""

import numpy as np
import pandas as pd

from dyntest.decisions.criterion import FLOOR, ROUNDING, STROKE_ROUNDING, WAYS, Criterion, permitted_set
from dyntest.reading.logs import GAP_TOLERANCE
from dyntest.reading.production_log import PileTable, ProductionLog


def axis_per_rise(batter: np.ndarray | float) -> np.ndarray:
    """Give the length along the pile for each length of rise.

    Units: batter [m/m]; returns [m/m].

    ``√(1 + b²)`` [m/m].

    Examples
    --------
    >>> round(float(axis_per_rise(0.75)), 4)
    1.25
    """
    return np.sqrt(1.0 + np.square(batter))


def toe_elevation(
    ground_elevation: np.ndarray | float, penetration: np.ndarray | float, batter: np.ndarray | float = 0.0
) -> np.ndarray:
    """Give the elevation of the toe.

    Units: ground_elevation, penetration [m]; batter [m/m]; returns [m].

    Examples
    --------
    >>> float(toe_elevation(100.0, 20.0)), float(toe_elevation(100.0, 25.0, 0.75))
    (80.0, 80.0)
    """
    return ground_elevation - penetration / axis_per_rise(batter)


def pay_length(
    cutoff_elevation: np.ndarray,
    toe_elevation: np.ndarray,
    batter: np.ndarray | float = 0.0,
    *,
    tip_reinforcement: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Give the length along the pile from toe to cutoff.

    Units: cutoff_elevation, toe_elevation, tip_reinforcement [m]; batter [m/m]; returns [m].

    ``(cutoff − toe) √(1 + b²) − tip`` [m]; not a number where the toe is not below the cutoff by more than the tip.

    Examples
    --------
    >>> float(pay_length(100.0, 80.0, 0.75, tip_reinforcement=0.15))
    24.85
    """
    length = (np.asarray(cutoff_elevation, dtype=float) - toe_elevation) * axis_per_rise(batter) - tip_reinforcement
    return np.where(length > 0.0, length, np.nan)


def cut_off_length(furnished_length: np.ndarray, length_below_cutoff: np.ndarray) -> np.ndarray:
    """Give the length of pile left above cutoff.

    Units: furnished_length, length_below_cutoff [m]; returns [m].

    Examples
    --------
    >>> float(cut_off_length(27.0, 25.0)), float(cut_off_length(24.0, 25.0))
    (2.0, -1.0)
    """
    return np.asarray(furnished_length, dtype=float) - length_below_cutoff


def offset_at_cutoff(
    batter: np.ndarray, planned_ground_elevation: np.ndarray, actual_ground_elevation: np.ndarray
) -> np.ndarray:
    """Give how far from its plan position a battered pile stands at cutoff when the ground is not at plan level.

    Units: batter [m/m]; planned_ground_elevation, actual_ground_elevation [m]; returns [m].

    Horizontal distance from the plan position at cutoff, ``b (actual − planned)`` [m]: positive towards the side
    the toe runs out to, negative towards the other.

    The plan gives the position at cutoff. The stake stands where a pile of exactly this batter, through that
    position, would meet the ground at the planned elevation; the pile is started with its axis on the stake in plan
    and keeps its batter and direction. Nothing else (drift while driving, a turned leader) is in it.

    Examples
    --------
    >>> float(offset_at_cutoff(0.25, 100.0, 98.0))
    -0.5
    """
    return np.asarray(batter, dtype=float) * (np.asarray(actual_ground_elevation) - planned_ground_elevation)


PILE_COLUMNS = ("cutoff_elevation", "ground_elevation", "furnished_length", "batter", "planned_ground_elevation")
"""Columns of the table of piles."""


def judged_intervals(log: ProductionLog, criterion: Criterion, piles: PileTable | None = None) -> pd.DataFrame:
    """Give the intervals of a production log with what each is worth.

    Units: returns [m].

    The log's columns and: ``number`` of the pile in the order of the log; ``drive``, which changes with the pile
    and where driving was resumed on another date; ``depth``, the vertical depth of the interval's bottom [m];
    ``set_per_blow`` [m], infinite where no blow was needed; ``permitted`` [m]; ``window``, the length that was judged
    down to here [m]; ``counted`` and ``asked``, the blows over it; ``under_floor``, whether the interval itself
    has fewer blows than every inch needs; ``holds``, whether the criterion holds over the holding length down
    to here; ``refusal`` and ``refusal_low``, practical refusal down to here at or above and below its least stroke.

    An interval counts as a whole: the log says nothing of what happened inside it. What was held before a pause to
    another date does not add to what is held after it, because the pile may have set up while it waited.

    Examples
    --------
    >>> from dyntest.decisions.criterion import CriterionRow
    >>> log = ProductionLog("log.csv", np.array(["A", "A"]), np.array([0.0, 1.0]), np.array([1.0, 1.2]),
    ...                     np.array([20, 60]), np.array([2.0, 2.0]), ("", ""), ("", ""))
    >>> judged_intervals(log, Criterion((CriterionRow(2.0, 0.004),), 0.1))["holds"].tolist()
    [False, True]
    """
    table = pd.DataFrame(
        {name: getattr(log, name) for name in ("pile", "depth_from", "depth_to", "blows", "stroke", "date", "remark")}
    )
    table["number"] = pd.factorize(table["pile"])[0]
    table = table.sort_values("number", kind="stable", ignore_index=True)
    table["drive"] = _drives(table)
    table["depth"] = table["depth_to"] / axis_per_rise(_batter(table["pile"], piles))
    length = (table["depth_to"] - table["depth_from"]).to_numpy()
    blows = table["blows"].to_numpy(dtype=float)
    with np.errstate(divide="ignore"):
        table["set_per_blow"] = length / blows
    table["permitted"] = permitted_set(criterion, table["stroke"].to_numpy())
    drive, moved = table["drive"].to_numpy(), table["set_per_blow"].to_numpy()
    table = table.assign(**_over_windows(length, blows, table["permitted"].to_numpy(), drive, criterion))
    hard = moved <= criterion.refusal_set * (1.0 + ROUNDING)
    strong = table["stroke"].to_numpy() >= criterion.refusal_stroke - criterion.stroke_tolerance - STROKE_ROUNDING
    weak = table["stroke"].notna().to_numpy() & ~strong
    least = criterion.refusal_length - GAP_TOLERANCE
    table["refusal"] = held_length(hard & strong, length, drive) >= least
    table["refusal_low"] = held_length(hard & weak, length, drive) >= least
    return table


def _over_windows(
    length: np.ndarray, blows: np.ndarray, permitted: np.ndarray, drive: np.ndarray, criterion: Criterion
) -> dict[str, np.ndarray]:
    """Judge the intervals that make up the holding length above and with each interval.

    Units: length, permitted [m].
    """
    asked = length / permitted  # not a number where the stroke is missing or too low
    known = np.isfinite(asked)
    per_count = criterion.counting.length / permitted
    if criterion.way == WAYS[1]:
        each = np.ceil(per_count * (1.0 - ROUNDING)) * length / criterion.counting.length
    else:
        each = np.floor(FLOOR * asked * (1.0 + ROUNDING))
    low = known & (blows < each * (1.0 - ROUNDING))
    total = np.cumsum(length)
    place = np.arange(len(length))
    above = np.searchsorted(total - length, total - criterion.holding_length + GAP_TOLERANCE, side="right") - 1
    first = np.searchsorted(drive, drive, side="left")  # drives rise down the table
    start = np.clip(above, first, place)

    def over(values: np.ndarray) -> np.ndarray:
        upto = np.concatenate([[0.0], np.cumsum(values)])
        return upto[place + 1] - upto[start]

    window, counted, needed = over(length), over(blows), over(np.where(known, asked, 0.0))
    whole = np.maximum(np.floor(needed + 0.5 + ROUNDING), 1.0)
    clean = (over(low.astype(float)) == 0.0) & (over((~known).astype(float)) == 0.0)
    enough = counted >= whole if criterion.way == WAYS[0] else np.ones(len(length), dtype=bool)
    long = window >= criterion.holding_length - GAP_TOLERANCE
    return {
        "window": window,
        "counted": counted,
        "asked": np.where(over((~known).astype(float)) == 0.0, whole, np.nan),
        "under_floor": low,
        "each": each,
        "holds": clean & enough & long,
    }


def held_length(meets: np.ndarray, length: np.ndarray, drive: np.ndarray) -> np.ndarray:
    """Give the length over which something has held without a break down to each interval.

    Units: length [m]; returns [m].

    Examples
    --------
    >>> held_length(np.array([True, True, False, True, True]), np.ones(5), np.array([0, 0, 0, 0, 1])).tolist()
    [1.0, 2.0, 0.0, 1.0, 1.0]
    """
    if not len(length):
        return np.zeros(0)
    total = np.cumsum(length)
    first = np.ones(len(length), dtype=bool)
    first[1:] = (drive[1:] != drive[:-1]) | ~meets[:-1]
    start = np.maximum.accumulate(np.where(first, total - length, 0.0))  # totals rise, so the last start is the largest
    return np.where(meets, total - start, 0.0)


def pile_values(marks: pd.Series, piles: PileTable | None, column: str) -> np.ndarray:
    """Give a column of the table of piles for each mark.

    Examples
    --------
    >>> table = PileTable("piles.csv", ("A",), *(np.array([value]) for value in (5.0, 4.0, 20.0, 0.1)))
    >>> pile_values(pd.Series(["A", "B"]), table, "ground_elevation").tolist()
    [4.0, nan]
    """
    if piles is None or getattr(piles, column) is None:
        return np.full(len(marks), np.nan)
    place = pd.Index(piles.pile).get_indexer(pd.Index(marks))
    return np.where(place >= 0, np.append(getattr(piles, column), np.nan)[place], np.nan)


def _batter(marks: pd.Series, piles: PileTable | None) -> np.ndarray:
    return np.nan_to_num(pile_values(marks, piles, "batter"), nan=0.0)


def _drives(table: pd.DataFrame) -> np.ndarray:
    """Give a number that rises with every pile and every later date of it; an empty date is the one above."""
    date = table["date"].where(table["date"] != "").groupby(table["number"]).ffill()
    before = date.groupby(table["number"]).shift()
    resumed = (date != before) & date.notna() & before.notna()
    return (table["number"].ne(table["number"].shift()) | resumed).cumsum().to_numpy()
