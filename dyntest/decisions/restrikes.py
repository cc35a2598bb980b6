"""Restrikes of bearing piles: when to stop and wait, and whether a pile struck again showed the whole requirement.

When to wait follows from what waiting was measured to do to the test pile.
"""

from collections.abc import Sequence
from math import ceil

import numpy as np
import pandas as pd

from dyntest.decisions.bearing_oddities import DEPTH_TOLERANCE
from dyntest.decisions.criterion import COUNTING, Counting, CriterionRow, RestrikeRule, set_at
from dyntest.decisions.setup import SECONDS_PER_DAY, Setup, compared_for_sure, gained, lost
from dyntest.reading.logs import GAP_TOLERANCE

JUDGED_COUNTS = 1
"""Length of a restrike that is judged, its first [inch or 25 mm]: what was gained fades blow by blow (common practice,
no source)."""

MOST_COUNTS = 3
"""Length after which a restrike stops at the latest [inch or 25 mm] (from memory: agencies stop at 3 or 6 in)."""

SETUP, RELAXATION, NO_CHANGE, NOT_MEASURED = "setup", "relaxation", "no significant change", "not measured"


def restrike_rule(
    required: float,
    setups: Sequence[Setup] = (),
    penetration: float | None = None,
    rows: Sequence[CriterionRow] = (),
    *,
    minimum_penetration: float | None = None,
    counting: Counting = COUNTING["SI"],
) -> RestrikeRule:
    """Give the rule for piles whose count falls short, and for piles that are struck again.

    Units: required [N]; penetration, minimum_penetration [m].

    No pile stops above the minimum penetration for want of the count. Any restrike that lost for sure makes it
    relaxation; a gain counts only where it is sure.

    Examples
    --------
    >>> rule = restrike_rule(1.7e6, penetration=18.0)
    >>> rule.change, rule.stop_penetration
    ('not measured', 19.5)
    """
    stop = None if penetration is None or penetration != penetration else penetration + DEPTH_TOLERANCE
    stop = None if stop is None else max(stop, minimum_penetration or 0.0)
    change, wait = _change(setups)
    lengths = (JUDGED_COUNTS * counting.length, MOST_COUNTS * counting.length)
    return RestrikeRule(change, stop, wait, required, tuple(rows), *lengths)


def _change(setups: Sequence[Setup]) -> tuple[str, float | None]:
    """Give what waiting did, and after which wait."""
    measured = compared_for_sure(setups)
    if not measured:
        return NOT_MEASURED, None
    losses = [(setup, factor) for setup, factor in measured if lost(factor)]
    if losses:
        return RELAXATION, min(losses, key=lambda pair: pair[1].value)[0].wait
    last, factor = measured[-1]
    return (SETUP if gained(factor) else NO_CHANGE), last.wait


DATE = "%Y-%m-%d"
"""How a date has to be written for a wait to be counted from it (ISO 8601)."""


def judged_restrikes(intervals: pd.DataFrame, rule: RestrikeRule | None) -> pd.DataFrame:
    """Give what the last restrike of each pile showed.

    Units: returns [m].

    One row a pile, by ``number``: ``resumed``, whether driving was resumed on another date; ``restrike_shown``;
    ``restrike_early``, whether only the wait is not shown; and ``restrike_set`` [m], ``restrike_stroke`` [m] of the
    first interval of its last drive. A restrike shows the
    requirement where every interval that begins within the judged length meets the rule, after at least the rule's wait
    in whole days between the dates of the log.

    A pile that was never left for another date has no restrike. Dates that are not written as 2026-05-11 give no
    wait.
    """
    number, drive = intervals["number"], intervals["drive"]
    last = drive == drive.groupby(number).transform("max")
    again = last & (drive != drive.groupby(number).transform("min"))
    begins = intervals["depth_from"].groupby(drive).transform("min")
    if rule is None or not rule.rows:
        meets = unwaited = pd.Series(False, intervals.index)
    else:
        judged = intervals["depth_from"] - begins < rule.judged_length - GAP_TOLERANCE
        asked = set_at(rule.rows, intervals["stroke"].to_numpy())
        with np.errstate(invalid="ignore"):
            enough = intervals["set_per_blow"].to_numpy() <= asked * (1.0 + 1e-9)
        unwaited = again & (enough | ~judged)
        meets = unwaited & _waited(intervals, rule.wait)
    first = intervals[last].groupby(number)
    return pd.DataFrame(
        {
            "resumed": again.groupby(number).any(),
            "restrike_shown": (meets | ~last).groupby(number).all(),
            "restrike_early": (unwaited | ~last).groupby(number).all() & ~(meets | ~last).groupby(number).all(),
            "restrike_set": first["set_per_blow"].first(),
            "restrike_stroke": first["stroke"].first(),
        }
    )


def _waited(intervals: pd.DataFrame, wait: float | None) -> pd.Series:
    """Whether at least a wait lies between the date of each interval and the drive of its pile before."""
    if wait is None:
        return pd.Series(False, intervals.index)
    date = intervals["date"].where(intervals["date"] != "").groupby(intervals["drive"]).transform("first")
    day = pd.to_datetime(date, format=DATE, errors="coerce")
    drives = pd.DataFrame({"number": intervals["number"], "day": day}).groupby(intervals["drive"]).first()
    between = drives["day"] - drives["day"].groupby(drives["number"]).shift()
    return intervals["drive"].map(between.dt.days >= ceil(wait / SECONDS_PER_DAY))
