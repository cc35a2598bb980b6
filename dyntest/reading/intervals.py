"""Intervals of depth with their blow counts: what a driving log and a production log share."""

from dataclasses import dataclass

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.log_table import LogTable
from dyntest.reading.plausible import LENGTH_FROM_ZERO, STROKE, Range
from dyntest.units import unit_factor

DEPTHS = {"depth_from": "length", "depth_to": "length", "blows": ""}
"""Columns that every log has, with their dimensions."""

OPTIONAL = {"stroke": "length", "remark": ""}
"""Columns that a log may have, with their dimensions."""

BLOWS = Range(0, 20_000)
"""Blows of one interval that are believed [1]; absolute refusal is 240 blows per foot (UFC 3-220-20, 6-4.1.2), and an
interval may be long."""

GAP_TOLERANCE = 0.002
"""Most that one interval may end above or below the start of the next [m]: depths rounded to a hundredth of a foot.
Our own, no source."""

FOOT = unit_factor("ft", "length")


@dataclass(frozen=True)
class Intervals:
    """Intervals of depth in the order of the file.

    Parameters
    ----------
    row : numpy.ndarray
        Row of each in the file, shape (n_intervals,) [1].
    depth_from, depth_to : numpy.ndarray
        Top and bottom, shape (n_intervals,) [m].
    blows : numpy.ndarray
        Blow counts, shape (n_intervals,) [1].
    stroke : numpy.ndarray
        Stroke, shape (n_intervals,) [m]; not a number where there is none.
    """

    row: np.ndarray
    depth_from: np.ndarray
    depth_to: np.ndarray
    blows: np.ndarray
    stroke: np.ndarray


def read_intervals(table: LogTable) -> Intervals:
    """Give the intervals of a log.

    Parameters
    ----------
    table : LogTable
        The log with its columns found.

    Returns
    -------
    Intervals
        In SI.

    Raises
    ------
    InputError
        If a number is missing or not plausible, a blow count is no whole number, or an interval runs upward.
    """
    depth_from, depth_to = (
        whole_inches(table.numbers(name, LENGTH_FROM_ZERO), table.columns[name].factor)
        for name in ("depth_from", "depth_to")
    )
    blows = table.numbers("blows", BLOWS)
    rows = table.row_numbers
    broken = np.flatnonzero(blows != np.rint(blows))
    if broken.size:
        place = f"row {rows[broken[0]]}, column blows"
        raise InputError(table.source, place, f"{blows[broken[0]]:g} is not a whole number", "write the counted blows")
    upward = np.flatnonzero(depth_to <= depth_from)
    if upward.size:
        problem = "depth_to is not below depth_from"
        raise InputError(
            table.source, f"row {rows[upward[0]]}", problem, "write the interval from its top to its bottom"
        )
    return Intervals(
        row=rows,
        depth_from=depth_from,
        depth_to=depth_to,
        blows=blows.astype(np.int64),
        stroke=table.numbers("stroke", STROKE, blank=np.nan),
    )


def whole_inches(depth: np.ndarray, factor: float) -> np.ndarray:
    """Give depths in which those written in feet as a rounded whole inch are that inch again.

    An inspector who counts by the inch writes 60 ft 1 in as 60.08 ft, and 60.17 ft next: as they stand, five blows in
    each would be 5.2 and 4.6 blows per inch.

    Parameters
    ----------
    depth : numpy.ndarray
        Depths as written, shape (n,) [m].
    factor : float
        Length of the unit they were written in [m].

    Returns
    -------
    numpy.ndarray
        Depths, shape (n,) [m]; only a depth in feet that is a whole inch rounded to 2, 3 or 4 decimals is changed.

    Examples
    --------
    >>> (whole_inches(np.array([60.08, 60.17, 60.1, 60.25]) * 0.3048, 0.3048) / 0.3048).round(4).tolist()
    [60.0833, 60.1667, 60.1, 60.25]
    """
    if abs(factor - FOOT) > 1e-9:
        return depth
    feet = depth / FOOT
    inch = np.rint(12.0 * feet) / 12.0
    rounded = [np.abs(np.round(inch, decimals) - feet) < 1e-9 for decimals in (2, 3, 4)]
    return np.where(np.any(rounded, axis=0), inch * FOOT, depth)


def check_contiguous(intervals: Intervals, chosen: np.ndarray, source: str) -> None:
    """Refuse intervals of one pile that leave a gap, overlap or are out of order.

    Parameters
    ----------
    intervals : Intervals
        All intervals of the file.
    chosen : numpy.ndarray
        Places of those of one pile, in the order of the file, shape (n_chosen,) [1].
    source : str
        The file's name for messages.

    Raises
    ------
    InputError
        Naming the row where it happens.
    """
    step = intervals.depth_from[chosen[1:]] - intervals.depth_to[chosen[:-1]]
    wrong = np.flatnonzero(np.abs(step) > GAP_TOLERANCE)
    if not wrong.size:
        return
    index = int(wrong[0])
    before, row = intervals.row[chosen[index]], intervals.row[chosen[index + 1]]
    size = abs(step[index])
    if step[index] > 0.0:
        problem, cure = f"leaves a gap of {size:.3g} m below row {before}", "add the interval between, with its blows"
    else:
        problem, cure = f"begins {size:.3g} m above the end of row {before}", "put the rows in order without overlap"
    raise InputError(source, f"row {row}, column depth_from", problem, cure)
