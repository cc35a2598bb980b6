"""The driving log laid against the recorded blows: set, penetration and stroke of each, and where they disagree."""

from dataclasses import dataclass

import numpy as np

from dyntest.conditioning.check import Finding, blow_words
from dyntest.reading.driving_log import DrivingLog, penetration_by_blow


@dataclass(frozen=True)
class LogMatch:
    """What the log says about each recorded blow.

    Parameters
    ----------
    set_per_blow : numpy.ndarray
        Set, shape (n_blows,) [m], downward positive; not a number where the log has no such blow.
    penetration : numpy.ndarray
        Penetration of the toe after the blow, shape (n_blows,) [m].
    stroke : numpy.ndarray
        Stroke as observed, shape (n_blows,) [m]; not a number where the log has none.
    findings : tuple of Finding
        Where the cumulative count of the log and the recorded blow numbers disagree.
    """

    set_per_blow: np.ndarray
    penetration: np.ndarray
    stroke: np.ndarray
    findings: tuple[Finding, ...] = ()


def match_log(log: DrivingLog | None, blow: np.ndarray) -> LogMatch:
    """Lay the cumulative count of a driving log against recorded blow numbers.

    Blow number n is the log's n-th blow. Nothing is stretched to fit: where the counts differ, set and penetration
    are as sure as the blow numbers, and the finding says by how much they differ.

    Parameters
    ----------
    log : DrivingLog or None
        The log; without one every value is not a number.
    blow : numpy.ndarray
        Recorded blow numbers, shape (n_blows,) [1].

    Returns
    -------
    LogMatch
        Set, penetration and stroke of each recorded blow, and findings.

    Examples
    --------
    >>> log = DrivingLog("log.csv", np.array([0.0]), np.array([0.3]), np.array([3]), np.array([2.0]), ("",))
    >>> found = match_log(log, np.array([2, 3, 4]))
    >>> found.penetration.round(2), found.findings[0].severity
    (array([0.2, 0.3, nan]), 'warning')
    """
    nothing = np.full(len(blow), np.nan)
    if log is None:
        return LogMatch(nothing, nothing, nothing)
    by_count = penetration_by_blow(log)
    counted = len(by_count[0])
    inside = (blow >= 1) & (blow <= counted)
    index = np.where(inside, blow - 1, 0).astype(np.intp)
    values = (np.where(inside, column[index], np.nan) if counted else nothing for column in by_count)
    return LogMatch(*values, _count_findings(log, blow, inside, counted))


def _count_findings(log: DrivingLog, blow: np.ndarray, inside: np.ndarray, counted: int) -> tuple[Finding, ...]:
    last = int(blow.max(initial=0))
    if last == counted:
        return ()
    outside = tuple(int(number) for number in blow[~inside])
    consequence = (
        f"{blow_words(blow[~inside], len(blow))} have no depth"
        if outside
        else "some blows were not recorded or the numbering starts elsewhere"
    )
    return (
        Finding(
            "log count",
            "warning",
            outside,
            float(last),
            float(counted),
            f"the records end with blow {last} but {log.source} counts {counted} blows; {consequence}",
            "compare the blow numbers with the inspector's log; set and penetration are only as sure as they are",
        ),
    )
