"""Bearing piles that were struck again after a wait: whether the restrike showed the whole requirement."""

from math import ceil

import numpy as np
import pandas as pd

from dyntest.decisions.criterion import RestrikeRule, set_at
from dyntest.decisions.waits import SECONDS_PER_DAY
from dyntest.reading.intervals import GAP_TOLERANCE

DATE = "%Y-%m-%d"
"""How a date has to be written for a wait to be counted from it (ISO 8601)."""


def judged_restrikes(intervals: pd.DataFrame, rule: RestrikeRule | None) -> pd.DataFrame:
    """Give what the last restrike of each pile showed.

    Parameters
    ----------
    intervals : pandas.DataFrame
        The judged intervals, with ``number`` of the pile and ``drive``.
    rule : RestrikeRule or None
        What a restrike has to show; without its rows no restrike shows anything.

    Returns
    -------
    pandas.DataFrame
        One row a pile, by ``number``: ``restrike_shown``, and ``restrike_set`` [m], ``restrike_stroke`` [m] of the
        first interval of its last drive. A restrike shows the requirement where every interval that begins within
        the judged length meets the rule, after at least the rule's wait in whole days between the dates of the log.

    Notes
    -----
    A pile that was never left for another date has no restrike. Dates that are not written as 2026-05-11 give no wait.
    """
    number, drive = intervals["number"], intervals["drive"]
    last = drive == drive.groupby(number).transform("max")
    again = last & (drive != drive.groupby(number).transform("min"))
    begins = intervals["depth_from"].groupby(drive).transform("min")
    if rule is None or not rule.rows:
        meets = pd.Series(False, intervals.index)
    else:
        judged = intervals["depth_from"] - begins < rule.judged_length - GAP_TOLERANCE
        asked = set_at(rule.rows, intervals["stroke"].to_numpy())
        with np.errstate(invalid="ignore"):
            enough = intervals["set_per_blow"].to_numpy() <= asked * (1.0 + 1e-9)
        meets = again & (enough | ~judged) & _waited(intervals, rule.wait)
    first = intervals[last].groupby(number)
    return pd.DataFrame(
        {
            "restrike_shown": (meets | ~last).groupby(number).all(),
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
