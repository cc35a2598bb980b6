"""The driving log laid against the recorded blows: set, penetration and stroke of each, and where they disagree."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from dyntest.conditioning.findings import Finding
from dyntest.quantities.drive_findings import LARGEST_DEPTH_DIFFERENCE
from dyntest.reading.logs import DrivingLog, penetration_by_blow

LEAST_COUNTED = 10
"""Blows over which a set is averaged at the least [1]: a count of whole blows in a short interval is coarse, 3 blows in
an inch may be anything from 2.5 to 3.5, and over ten it is within about 5 % (exact arithmetic; the number is ours)."""

TAKEN_FOR_INITIAL = "taken for initial"
"""Case of the finding that the records are taken for the last blows of an initial drive."""

ANOTHER_START = "another start"
"""Case of the finding that the drive starts at a depth at which neither the log nor the recorded blows do."""


@dataclass(frozen=True)
class LogMatch:
    """What the log says about each recorded blow.

    Parameters
    ----------
    set_per_blow : numpy.ndarray
        Set, shape (n_blows,) [m], downward positive, as `steady_set` gives it; not a number where the log has no such
        blow.
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

    @property
    def certain(self) -> bool:
        """Whether each recorded blow is known to be the log's: only then may its set correct the record."""
        return sets_are_certain(self.findings)


def sets_are_certain(findings: Iterable[Finding]) -> bool:
    """Whether the set of each recorded blow is known: the log is of this drive, and its blows are told one by one."""
    return all(finding.case not in (TAKEN_FOR_INITIAL, ANOTHER_START) for finding in findings)


def match_log(
    log: DrivingLog | None,
    blow: np.ndarray,
    first_blow: int | None = None,
    kind: str = "initial",
    penetration_at_start: float | None = None,
) -> LogMatch:
    """Lay the cumulative count of a driving log against recorded blow numbers.

    With `first_blow` the first recorded blow is that one of the log. Without it blow number n is the log's n-th; but
    where a record numbered from 1 has fewer blows than the log counts, its blows are taken as the last ones of an
    initial drive and the first ones of a restrike. Nothing is stretched to fit: set and penetration are as sure as
    the numbers, and a finding says what was taken and where the counts differ.

    Units: penetration_at_start, where the drive starts as the sheet has it [m].

    Examples
    --------
    >>> log = DrivingLog("log.csv", np.array([0.0]), np.array([0.3]), np.array([3]), np.array([2.0]), ("",))
    >>> found = match_log(log, np.array([2, 3, 4]))
    >>> found.penetration.round(2), found.findings[0].severity
    (array([0.2, 0.3, nan]), 'warning')
    >>> two = np.array([1, 2])
    >>> match_log(log, two).penetration.round(2), match_log(log, two, first_blow=1).penetration.round(2)
    (array([0.2, 0.3]), array([0.1, 0.2]))
    """
    nothing = np.full(len(blow), np.nan)
    if log is None or not len(blow):
        return LogMatch(nothing, nothing, nothing)
    set_per_blow, (alone, penetration, stroke) = steady_set(log), penetration_by_blow(log)
    counted, last = len(penetration), int(blow.max())
    unnumbered = first_blow is None and int(blow.min()) in (0, 1) and last < counted
    shift = 0 if first_blow is None else first_blow - int(blow[0])
    if unnumbered and kind == "initial":
        shift = counted - last
    number = blow + shift
    inside = (number >= 1) & (number <= counted)
    index = np.where(inside, number - 1, 0).astype(np.intp)

    def by_blow(column: np.ndarray) -> np.ndarray:
        return np.where(inside, column[index], np.nan) if counted else nothing

    findings = _count_findings(log, blow, number, inside, counted, f"taken for {kind}" if unnumbered else "")
    if log.start_assumed:
        size = float(log.depth_to[0] - log.depth_from[0])
        findings += (Finding("log start", "note", (), size, size, more={"log": log.source}),)
    findings += _start_findings(log, by_blow(penetration - alone), penetration_at_start)
    return LogMatch(by_blow(set_per_blow), by_blow(penetration), by_blow(stroke), findings)


def _start_findings(log: DrivingLog, before: np.ndarray, at_start: float | None) -> tuple[Finding, ...]:
    """Say where a drive starts deeper than its log does, and not at its first recorded blow either.

    A log may begin deeper than the drive, where the pile first ran under its own weight or no blows were counted.

    Units: before, penetration before each recorded blow [m]; at_start [m].
    """
    top, bottom = float(log.depth_from[0]), float(log.depth_to[-1])
    known = before[np.isfinite(before)]
    first = float(known.min()) if len(known) else top
    row = int(np.searchsorted(log.depth_to, first, side="right").clip(0, len(log.depth_to) - 1))
    doubt = max(LARGEST_DEPTH_DIFFERENCE, float(log.depth_to[row] - log.depth_from[row]))
    if at_start is None or at_start <= top + LARGEST_DEPTH_DIFFERENCE or abs(at_start - first) <= doubt:
        return ()
    more: dict[str, float | str] = {"log": log.source, "top": top, "bottom": bottom}
    return (Finding("log depth", "warning", (), at_start, first, case=ANOTHER_START, more=more),)


def steady_set(log: DrivingLog) -> np.ndarray:
    """Give the set of every blow in a log, averaged over `LEAST_COUNTED` blows where its interval has fewer.

    An interval with that many blows stands alone. A shorter one borrows the nearest blows of the intervals above and
    below, as many from each, or all from one side at the ends of the log. No average reaches over an interval without
    blows, where the pile ran under its own weight.

    Units: returns [m].

    Examples
    --------
    >>> log = DrivingLog("log.csv", np.array([0.0, 0.3]), np.array([0.3, 0.325]), np.array([40, 3]),
    ...                  np.array([2.0, 2.0]), ("", ""))
    >>> steady_set(log)[[0, -1]].round(5).tolist()
    [0.0075, 0.00775]
    """
    alone, _, _ = penetration_by_blow(log)
    upto = np.concatenate([[0.0], np.cumsum(alone)])
    last = np.cumsum(log.blows)
    first = last - log.blows
    run = np.cumsum(log.blows == 0)  # a new run of intervals after each one without blows
    begins = np.array([first[run == number].min() for number in run], dtype=np.intp)
    ends = np.array([last[run == number].max() for number in run], dtype=np.intp)
    lacking = np.maximum(LEAST_COUNTED - log.blows, 0)
    start, stop = first - (lacking + 1) // 2, last + lacking // 2
    stop = np.minimum(stop + np.maximum(begins - start, 0), ends)
    start = np.maximum(np.maximum(start, begins) - np.maximum(last + lacking // 2 - ends, 0), begins)
    average = (upto[stop] - upto[start]) / np.maximum(stop - start, 1)
    return np.repeat(average, log.blows)


def _count_findings(
    log: DrivingLog, blow: np.ndarray, number: np.ndarray, inside: np.ndarray, counted: int, case: str
) -> tuple[Finding, ...]:
    """Say which blows of the log were taken for the recorded ones, or where the counts differ."""
    last = int(number.max())
    if last == counted and not case:
        return ()
    outside = tuple(int(one) for one in blow[~inside])
    more: dict[str, float | str] = {"log": log.source, "first": f"{int(number.min())}", "last": f"{last}"}
    severity = "note" if case else "warning"
    value = float(len(blow)) if case else float(last)
    return (Finding("log count", severity, outside, value, float(counted), case=case, n_blows=len(blow), more=more),)
