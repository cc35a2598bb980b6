"""Every test pile under a folder reviewed through an executor, each once; what is done is kept as it comes."""

import os
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

from dyntest import __version__
from dyntest.errors import DyntestError
from dyntest.reading.provenance import digests
from dyntest.reading.sheet import read_sheet
from dyntest.review import Progress, review
from dyntest.surveying.row import Row, pile_row
from dyntest.wave_equation.processes import process_pool

MATCHES = ("best", "none")
"""What may be matched in a survey: the representative blow of each drive, or nothing."""

AHEAD = 64
"""Piles handed to the executor at a time [1]: enough for a cluster, few enough to let go of quickly."""

DIED = "the process that reviewed it died, perhaps for want of memory; review it alone"
"""Said of a pile that took its process down twice, the second time with no other pile in hand."""


@dataclass(frozen=True)
class PileRecord:
    """What a survey keeps of one pile.

    Parameters
    ----------
    sheet : str
        The sheet, relative to the surveyed folder.
    inputs : dict of str to str
        SHA-256 of every file that was read, by its name relative to the sheet's folder; empty where it failed.
    match : str
        One of `MATCHES`.
    version : str
        Version of dyntest.
    row : mapping or None
        Its row of the table; None where it failed.
    problem : str
        Why it failed, in a message for its engineer; empty where it did not.
    """

    sheet: str
    inputs: Mapping[str, str]
    match: str
    version: str
    row: Row | None
    problem: str = ""


def survey(
    folder: Path,
    sheets: tuple[Path, ...],
    *,
    match: str = "best",
    known: Mapping[str, PileRecord] | None = None,
    keep: Callable[[PileRecord], None] = lambda record: None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> tuple[PileRecord, ...]:
    """Review every pile, and do none again that is done.

    Parameters
    ----------
    folder : pathlib.Path
        The surveyed folder, from which sheets get their names.
    sheets : tuple of pathlib.Path
        Test sheets in it or below it.
    match : str
        One of `MATCHES`.
    known : mapping of str to PileRecord or None
        What an earlier survey kept, by the sheet's name.
    keep : callable
        Given each pile that is newly done, as soon as it is; an interruption loses only what is in hand.
    executor : concurrent.futures.Executor or None
        Where piles are reviewed; None: a pool with a process a core. Its workers have to see the files by the same
        paths.
    progress : callable or None
        Told how many are done, how many failed, and how long it will still take.

    Returns
    -------
    tuple of PileRecord
        One a sheet, in the order of the sheets; a pile that could not be reviewed says why.

    Raises
    ------
    ValueError
        If `match` is none of `MATCHES`.
    """
    if match not in MATCHES:
        raise ValueError(f"match is {match!r}; write one of {', '.join(MATCHES)}")
    tell = progress or (lambda step, share: None)
    names = {path.relative_to(folder).as_posix(): path.resolve() for path in sheets}
    tell("looking for what is done", 0.0)
    done = {name: known[name] for name, path in names.items() if known and _unchanged(path, known.get(name), match)}
    waiting = [name for name in names if name not in done]
    begun, at_first = time.monotonic(), len(done)
    failed = 0
    for record in _reviewed(waiting, names, match, executor):
        done[record.sheet] = record
        failed += record.row is None
        if record.row is not None:
            keep(record)
        left = time_left(time.monotonic() - begun, len(done) - at_first, len(names) - len(done))
        tell(f"{len(done)} of {len(names)} piles, {failed} failed, {left}", len(done) / len(names))
    return tuple(done[name] for name in names)


def time_left(elapsed: float, done: int, waiting: int) -> str:
    """Say how long the rest will take if it goes on as it went.

    Parameters
    ----------
    elapsed : float
        Time since the first pile was begun [s].
    done, waiting : int
        Piles done since then, and piles not yet done [1].

    Returns
    -------
    str
        Words.

    Examples
    --------
    >>> time_left(60.0, 10, 5), time_left(60.0, 10, 100), time_left(60.0, 1, 0)
    ('30 s left', '10 min left', '0 s left')
    """
    seconds = elapsed / max(done, 1) * waiting
    return f"{seconds:.0f} s left" if seconds < 90.0 else f"{seconds / 60.0:.0f} min left"


def review_pile(path: str, name: str, match: str) -> PileRecord:
    """Review one pile in whatever process this is; what goes wrong is told and not raised.

    Parameters
    ----------
    path : str
        The sheet.
    name : str
        Its name in the survey.
    match : str
        One of `MATCHES`.

    Returns
    -------
    PileRecord
        With a row or a problem.
    """
    try:
        found = review(path, match=match)
        return PileRecord(name, found.inputs, match, __version__, pile_row(found, name))
    except DyntestError as error:
        problem = str(error)
    except MemoryError:
        problem = "the computer has too little memory for its records; review it alone"
    except Exception as error:  # one pile must not take the others with it
        problem = f"the program failed on it ({type(error).__name__}: {error}); please report that"
    return _failure(name, match, problem)


def _failure(name: str, match: str, problem: str) -> PileRecord:
    return PileRecord(name, {}, match, __version__, None, " ".join(problem.split()))


def _unchanged(path: Path, record: PileRecord | None, match: str) -> bool:
    """Whether a pile is done with the same choices, program and files, those that it would read today."""
    if record is None or record.row is None or (record.match, record.version) != (match, __version__):
        return False
    try:
        return digests(read_sheet(path)) == dict(record.inputs)
    except DyntestError:
        return False


def _reviewed(
    waiting: list[str], paths: Mapping[str, Path], match: str, executor: Executor | None
) -> Iterator[PileRecord]:
    """Review piles and give each as it is done; those in hand when a process died are tried again one at a time."""
    names, lost = deque(waiting), deque()
    ahead = AHEAD if executor is not None else 2 * (os.cpu_count() or 1)
    for queue, in_hand in ((names, ahead), (lost, 1)):
        while queue:
            with nullcontext(executor) if executor is not None else process_pool() as pool:
                for name, record in _through(pool, queue, paths, match, in_hand):
                    if record is not None:
                        yield record
                    elif queue is names:
                        lost.append(name)
                    else:
                        yield _failure(name, match, DIED)


def _through(
    pool: Executor, queue: deque[str], paths: Mapping[str, Path], match: str, most_in_hand: int
) -> Iterator[tuple[str, PileRecord | None]]:
    """Take piles off a queue through a pool until it is empty or a process died; None for piles lost with that."""
    in_hand: dict[Future, str] = {}
    died = False
    try:
        while in_hand or (queue and not died):
            while queue and not died and len(in_hand) < most_in_hand:
                name = queue.popleft()
                try:
                    in_hand[pool.submit(review_pile, str(paths[name]), name, match)] = name
                except BrokenExecutor:
                    died = True
                    yield name, None
            for future in wait(in_hand, return_when=FIRST_COMPLETED).done:
                name = in_hand.pop(future)
                died = died or future.exception() is not None  # `review_pile` itself raises nothing
                yield name, None if future.exception() is not None else future.result()
    finally:
        for future in in_hand:
            future.cancel()
