"""Finished signal matches, stored by what they depend on, and the background jobs that run them.

Jobs belong to the server: every session on the same test sees them, and the same work never runs twice at a time.
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import streamlit as st

from dyntest.errors import DyntestError
from dyntest.processes import process_pool
from dyntest.reading.files import FOLLOWED

MOST_MATCHES = 200
"""Most matches kept in memory [1]; the one used longest ago is dropped first."""

POLL = 0.2
"""Interval at which work in another process is checked [s]; a job stops within a few of these."""

LEAST_SHARE = 0.02
"""Share of the work below which the time left is not estimated [1]."""


@dataclass
class Shelf:
    """Match results by key, shared by sessions; keys are equal only if files and choices are the same."""

    kept: OrderedDict = field(default_factory=OrderedDict)
    looked_for: OrderedDict = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def first_time(self, key: tuple) -> bool:
        """Whether a key has not been searched beside the sheet yet."""
        with self.lock:
            first = key not in self.looked_for
            self.looked_for[key] = True
            while len(self.looked_for) > MOST_MATCHES:
                self.looked_for.popitem(last=False)
            return first

    def get(self, key: tuple):
        """Give what is stored under a key, or None."""
        with self.lock:
            if key in self.kept:
                self.kept.move_to_end(key)
            return self.kept.get(key)

    def put(self, key: tuple, value: dict) -> None:
        """Store something under a key."""
        with self.lock:
            self.kept[key] = value
            self.kept.move_to_end(key)
            while len(self.kept) > MOST_MATCHES:
                self.kept.popitem(last=False)


@st.cache_resource(show_spinner=False)
def shelf() -> Shelf:
    """Give the one store."""
    return Shelf()


def match_key(test, drive, blow: int | None = None) -> tuple:
    """Give what the match of a blow depends on, by default the representative one; J is not part of it."""
    chosen = test.sheet.choices
    if blow is None and drive.representative is not None:
        blow = drive.representative.blow
    conditioned = (tuple(sorted(chosen.leave_out)), chosen.low_pass, chosen.align)
    return test.key, drive.name, conditioned, blow, chosen.soil_law


def with_match(test, drive):
    """Give a drive with its match."""
    found = shelf().get(match_key(test, drive)) or _kept_beside(test, drive)
    if found is None:
        return drive
    from dyntest.reviewing.drive_match import with_matches

    matched = replace(drive, **found)
    return matched if matched.every is None else with_matches(matched, matched.every)


def _kept_beside(test, drive) -> dict[str, Any] | None:
    """Give the match saved when the drive was followed, and store it; searched once."""
    key = match_key(test, drive)
    if not (test.sheet.path.parent / FOLLOWED / drive.name).is_dir() or not shelf().first_time(key):
        return None
    from dyntest.reviewing.drive_match import calibrated_with_match, kept_match

    match = None if drive.waves is None else kept_match(test.sheet, drive)
    if match is None:
        return None
    factor = calibrated_with_match(match, drive.waves, test.sheet)
    found = match_fields(replace(drive, match=match, calibrated_damping_factor=factor))
    shelf().put(key, found)
    return found


def match_of(test, drive, blow: int | None) -> dict[str, Any] | None:
    """Give the match of any blow of a drive; None if it was not run."""
    return shelf().get(match_key(test, drive, blow))


def match_fields(drive) -> dict[str, Any]:
    """Give the results that a match adds to a drive."""
    fields = ("match", "match_problem", "calibrated_damping_factor", "every")
    return {name: getattr(drive, name) for name in fields}


def matched_fields(sheet, drive) -> dict[str, Any]:
    """Match the representative blow of a drive and give the results; runs in another process."""
    from dyntest.reviewing.drive_match import match_drive

    return match_fields(match_drive(sheet, drive))


class _StoppedError(Exception):
    """The user asked to stop."""


class Job(threading.Thread):
    """Background work that reports its progress and can be stopped.

    `work` takes `tell`, called with a text and the share done, and `keep_going`, which says whether to continue. `name`
    is the task in words; `test` is the key of the test it works on.
    """

    def __init__(self, work: Callable, name: str, test: str = ""):
        super().__init__(name=name, daemon=True)
        self.work, self.words, self.share, self.problem, self.test = work, name, 0.0, "", test
        self.asked_to_stop = threading.Event()
        self.began = time.monotonic()
        self.told: set[str] = set()
        self.start()

    def run(self) -> None:
        """Do the work; a problem is stored for the page."""
        try:
            self.work(self.tell, self.keep_going)
        except _StoppedError:
            self.problem = ""
        except (DyntestError, ValueError) as problem:
            self.problem = str(problem)
        except MemoryError:
            self.problem = "not enough memory; match fewer blows at a time"
        except Exception as error:  # the page must neither wait for ever nor show a traceback
            self.problem = f"the work failed ({type(error).__name__}); finished results are kept"

    def tell(self, words: str, share: float) -> None:
        """Report the task and its progress."""
        self.words, self.share = words, min(max(share, 0.0), 1.0)

    def keep_going(self) -> bool:
        """Whether nobody asked to stop."""
        return not self.asked_to_stop.is_set()

    def left(self) -> str:
        """Give the time left at the rate so far; empty while it cannot be estimated."""
        if self.share < LEAST_SHARE:
            return ""
        seconds = (time.monotonic() - self.began) * (1.0 - self.share) / self.share
        return f"about {seconds:.0f} s left" if seconds < 90.0 else f"about {seconds / 60.0:.0f} min left"


@dataclass
class Jobs:
    """The jobs of the server by key; at most one per key is running."""

    known: dict[tuple, Job] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, key: tuple, work: Callable, name: str, test: str) -> Job:
        """Start a job, or give the one already running on the same key."""
        with self.lock:
            known = self.known.get(key)
            if known is None or not known.is_alive():
                self.known[key] = known = Job(work, name, test)
            return known

    def of(self, test: str) -> list[Job]:
        """Give the jobs of a test, including finished ones."""
        with self.lock:
            return [job for job in self.known.values() if job.test == test]


@st.cache_resource(show_spinner=False)
def jobs() -> Jobs:
    """Give the jobs of the server."""
    return Jobs()


def wait_or_stop(future: Future, keep_going: Callable[[], bool]):
    """Give the result of work in a pool; on a stop it leaves the pool, which then ends its processes."""
    while True:
        try:
            return future.result(timeout=POLL)
        except TimeoutError:
            if future.done():  # an error of the work itself
                raise
            if not keep_going():
                raise _StoppedError from None


def match_blows(kept: Shelf, test, drives: tuple, tell: Callable, keep_going: Callable) -> None:
    """Match the representative blow of each drive in a separate process, which ends at once on a stop."""
    with process_pool(1) as pool:
        for number, drive in enumerate(drives):
            tell(f"matching {drive.name.replace('_', ' ')} blow {drive.representative.blow}", number / len(drives))
            future = pool.submit(matched_fields, test.sheet, drive)
            kept.put(match_key(test, drive), wait_or_stop(future, keep_going))


def review_test_piles(kept: Shelf, sheet, folder: Path, tell: Callable, keep_going: Callable) -> None:
    """Review every test pile of a structure not reviewed yet; each is saved in the folder when finished.

    Failures are stored, so that the page can show why.
    """
    from dyntest.reading.files import check_folder
    from dyntest.reviewing.survey import keep_record, kept_records, survey

    def progress(words: str, share: float) -> None:
        if not keep_going():
            raise _StoppedError
        tell(words, share)

    check_folder(folder)
    here = sheet.path.parent
    names = [path.relative_to(here).as_posix() for path in sheet.tests]
    known = kept_records(folder, names)
    records = survey(here, sheet.tests, known=known, keep=lambda one: keep_record(folder, one), progress=progress)
    for record in records:
        kept.put(("failed", str(here / record.sheet)), {"problem": record.problem})


def match_every(kept: Shelf, test, drives: tuple, tell: Callable, keep_going: Callable) -> None:
    """Match every blow of each drive with one process per core; finished results are kept on a stop."""
    from dyntest.reviewing.drive_match import match_drive_blows

    whole, before = sum(len(drive.table) for drive in drives), 0
    for drive in drives:

        def progress(done: int, of: int, drive=drive, before=before) -> None:
            words = f"matching every blow of {drive.name.replace('_', ' ')}, {done:,} of {of:,}"
            tell(words, (before + done) / whole)

        progress(0, len(drive.table))
        with process_pool() as pool:
            over = threading.Event()

            def end(pool=pool, over=over) -> None:
                while not over.wait(POLL):
                    if not keep_going():
                        pool.shutdown(wait=False, cancel_futures=True)
                        return

            threading.Thread(target=end, daemon=True).start()
            try:
                matched = match_drive_blows(test.sheet, drive, executor=pool, progress=progress, keep_going=keep_going)
            finally:
                over.set()
            kept.put(match_key(test, drive), match_fields(matched))
            if not keep_going():
                raise _StoppedError  # leaves the pool, which ends its processes
        before += len(drive.table)
