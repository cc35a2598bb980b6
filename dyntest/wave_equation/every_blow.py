"""Matching every blow of a drive, each started from its neighbour's soil, through any executor.

Blows are handed out in runs of neighbours; the middle one of a run starts from the soil of the representative blow, the
others start from the middle one's and march together. What goes wrong with one blow is noted beside it and stops
nothing.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, Executor, Future, as_completed
from contextlib import nullcontext
from dataclasses import dataclass

import numpy as np

from dyntest.processes import process_pool
from dyntest.wave_equation.matching import Match, match_from, match_together
from dyntest.wave_equation.problem import Blow

RUN = 24
"""Blows handed out together [1]: enough for a start from a neighbour to pay, few enough for progress to be seen."""


@dataclass(frozen=True)
class DriveMatches:
    """Resistance of every blow that was matched; one row a blow, not a number where it was not.

    Parameters
    ----------
    total, shaft, toe : numpy.ndarray
        Best values, shape (n_blows,) [N].
    total_range, shaft_range, toe_range : numpy.ndarray
        Ranges of a linear model, shape (n_blows, 2) [N].
    misfit : numpy.ndarray
        Misfit, shape (n_blows,) [1].
    fitted : numpy.ndarray
        Whether the blow would fit, shape (n_blows,) [1].
    reasons : dict of int to str
        Why a blow was not matched, by its place in the drive.
    complete : bool
        Whether all blows were reached before an interruption.
    """

    total: np.ndarray
    shaft: np.ndarray
    toe: np.ndarray
    total_range: np.ndarray
    shaft_range: np.ndarray
    toe_range: np.ndarray
    misfit: np.ndarray
    fitted: np.ndarray
    reasons: dict[int, str]
    complete: bool


def match_every_blow(
    blows: Sequence[Blow],
    representative: Match,
    *,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    keep_going: Callable[[], bool] = lambda: True,
) -> DriveMatches:
    """Match every blow of a drive.

    Parameters
    ----------
    blows : sequence of Blow
        The blows in driving order.
    representative : Match
        Match of the drive's representative blow; its soil law and any reduced section are kept.
    executor : concurrent.futures.Executor or None
        Where the work is done; a Dask cluster's executor serves as it is. None: a pool with a process a core.
    progress : callable or None
        Called with the number of blows done and of all.
    keep_going : callable
        Asked after every run of blows; False ends the work.

    Returns
    -------
    DriveMatches
        What was done before an interruption (keyboard, or `keep_going`) is kept, and `complete` says that it is not
        all. A blow that could not be matched, or would not fit, has its reason.

    Notes
    -----
    The fit is that of `match_blow` (wave equation after Smith, 1960), started from the soil of a neighbour that
    would fit rather than from several starts. It holds where neighbouring blows are alike; where one is not, its
    misfit says so.
    """
    n = len(blows)
    rows = np.full((n, 11), np.nan)
    reasons: dict[int, str] = {}
    done, complete = 0, True
    own = process_pool() if executor is None else nullcontext(executor)  # a caller's executor is the caller's to close
    with own as pool:
        runs = {pool.submit(_match_run, list(blows[at : at + RUN]), representative): at for at in range(0, n, RUN)}
        try:
            for future in as_completed(runs):
                at = runs[future]
                found, failed = _result(future, len(blows[at : at + RUN]))
                rows[at : at + len(found)] = found
                reasons |= {at + place: reason for place, reason in failed.items()}
                done += len(found)
                if progress is not None:
                    progress(done, n)
                if not keep_going():
                    complete = done == n
                    break
        except (KeyboardInterrupt, CancelledError):
            complete = False
        finally:
            for future in runs:
                future.cancel()
    return DriveMatches(
        rows[:, 0],
        rows[:, 1],
        rows[:, 2],
        rows[:, 3:5],
        rows[:, 5:7],
        rows[:, 7:9],
        rows[:, 9],
        rows[:, 10] == 1.0,
        reasons,
        complete,
    )


def _result(future: Future, n_blows: int) -> tuple[np.ndarray, dict[int, str]]:
    """Give what a run of blows came to; a worker that broke down leaves a reason for each."""
    try:
        return future.result()
    except CancelledError:
        raise
    except Exception as problem:  # of any executor there is, its own kinds included
        why = f"the work on it broke down ({type(problem).__name__}: {problem})"
        return np.full((n_blows, 11), np.nan), dict.fromkeys(range(n_blows), why)


def _match_run(blows: list[Blow], start: Match) -> tuple[np.ndarray, dict[int, str]]:
    """Match neighbouring blows; only numbers go back through the executor."""
    rows = np.full((len(blows), 11), np.nan)
    failed: dict[int, str] = {}
    order = sorted(range(len(blows)), key=lambda place: abs(place - len(blows) // 2))
    found: dict[int, Match] = {}
    neighbour = start
    while order and neighbour is start:  # the first that fits is where the others start
        first = order.pop(0)
        found |= _matched_alone(blows, (first,), start, failed)
        neighbour = found[first] if first in found and found[first].fitted else start
    try:
        found |= dict(zip(order, match_together(tuple(blows[place] for place in order), neighbour), strict=True))
    except Exception:  # one of them broke it down; which, and how, shows by itself
        found |= _matched_alone(blows, tuple(order), neighbour, failed)
    for place, match in found.items():
        rows[place] = [
            match.matched_resistance,
            match.shaft_resistance,
            match.toe_resistance,
            *match.matched_resistance_range,
            *match.shaft_resistance_range,
            *match.toe_resistance_range,
            match.misfit,
            match.fitted,
        ]
        if not match.fitted:
            failed[place] = f"its misfit is {match.misfit:.3f}: the model does not explain this blow"
    return rows, failed


def _matched_alone(
    blows: list[Blow], places: tuple[int, ...], neighbour: Match, failed: dict[int, str]
) -> dict[int, Match]:
    """Match blows one after the other and note why one could not be."""
    found: dict[int, Match] = {}
    for place in places:
        try:
            found[place] = match_from(blows[place], neighbour)
        except ValueError as problem:  # the text is fit for a user
            failed[place] = str(problem)
        except Exception as problem:  # one blow out of hundreds shall not lose the others
            failed[place] = f"the fit broke down ({type(problem).__name__}: {problem})"
    return found
