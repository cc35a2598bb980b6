"""The driving log: the inspector's blow counts, which alone tie blow numbers to depth."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dyntest.reading.intervals import DEPTHS, OPTIONAL, check_contiguous, read_intervals
from dyntest.reading.log_table import read_log_table


@dataclass(frozen=True)
class DrivingLog:
    """Blow counts by interval of depth, from the top down, without gaps.

    Parameters
    ----------
    source : str
        Where it was read from, for messages.
    depth_from, depth_to : numpy.ndarray
        Top and bottom of each interval, shape (n_intervals,) [m], penetration of the toe.
    blows : numpy.ndarray
        Blows in each interval, shape (n_intervals,) [1]; none where the pile ran under its own weight.
    stroke : numpy.ndarray
        Stroke of the ram, shape (n_intervals,) [m]; not a number where the log has none.
    remark : tuple of str
        What the inspector noted; empty where nothing.
    """

    source: str
    depth_from: np.ndarray
    depth_to: np.ndarray
    blows: np.ndarray
    stroke: np.ndarray
    remark: tuple[str, ...]


def read_driving_log(path: str | Path) -> DrivingLog:
    """Read a driving log.

    Parameters
    ----------
    path : str or Path
        A CSV with the columns ``depth_from [ft]``, ``depth_to [ft]`` and ``blows``, and optionally ``stroke [ft]`` and
        ``remark``; any unit of length.

    Returns
    -------
    DrivingLog
        In SI.

    Raises
    ------
    InputError
        With file, row and cure, if a column is missing, a value is no number, or intervals leave a gap, overlap or run
        upward.
    """
    table = read_log_table(Path(path), required=DEPTHS, optional=OPTIONAL)
    intervals = read_intervals(table)
    check_contiguous(intervals, np.arange(len(intervals.row)), table.source)
    return DrivingLog(
        source=table.source,
        depth_from=intervals.depth_from,
        depth_to=intervals.depth_to,
        blows=intervals.blows,
        stroke=intervals.stroke,
        remark=table.texts("remark"),
    )


def penetration_by_blow(log: DrivingLog) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give set and penetration of every blow in the log, spread evenly within each interval.

    Blow k of N in an interval from d₀ to d₁ has the set ``s = (d₁ − d₀)/N`` and leaves the toe at ``d₀ + k·s``.

    Parameters
    ----------
    log : DrivingLog
        The log.

    Returns
    -------
    set_per_blow : numpy.ndarray
        Set of each blow, shape (n_blows,) [m], downward positive; n_blows is the cumulative count of the log.
    penetration : numpy.ndarray
        Penetration of the toe after each blow, shape (n_blows,) [m].
    stroke : numpy.ndarray
        Stroke at each blow, shape (n_blows,) [m]; not a number where the log has none.

    Examples
    --------
    >>> log = DrivingLog("log.csv", np.array([0.0, 1.0]), np.array([1.0, 1.5]), np.array([0, 2]),
    ...                  np.array([np.nan, 2.0]), ("ran", ""))
    >>> [values.tolist() for values in penetration_by_blow(log)]
    [[0.25, 0.25], [1.25, 1.5], [2.0, 2.0]]
    """
    size = (log.depth_to - log.depth_from) / np.maximum(log.blows, 1)
    set_per_blow = np.repeat(size, log.blows)
    before = np.repeat(np.cumsum(log.blows) - log.blows, log.blows)
    count = np.arange(1, len(before) + 1) - before
    penetration = np.repeat(log.depth_from, log.blows) + count * set_per_blow
    return set_per_blow, penetration, np.repeat(log.stroke, log.blows)
