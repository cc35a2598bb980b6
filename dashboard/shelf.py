"""Signal matches that were run, kept by what they depend on, and the jobs that run them beside the pages.

Jobs belong to the server: every session on the same test sees them, and the same work is never run twice at a time.
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
"""Matches that are kept at most [1]; the one that was used longest ago goes first."""

POLL = 0.2
"""How often work in another process is asked about [s]; a job stops within a few of these."""

LEAST_SHARE = 0.02
"""Share of the work below which the time left is not guessed [1]."""


@dataclass
class Shelf:
    """What was matched, by its key; shared by sessions, whose keys never meet unless files and choices are the same."""

    kept: OrderedDict = field(default_factory=OrderedDict)
    looked_for: OrderedDict = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def first_time(self, key: tuple) -> bool:
        """Whether a key was not looked for beside the sheet yet."""
        with self.lock:
            first = key not in self.looked_for
            self.looked_for[key] = True
            while len(self.looked_for) > MOST_MATCHES:
                self.looked_for.popitem(last=False)
            return first

    def get(self, key: tuple):
        """Give what is kept under a key, or None."""
        with self.lock:
            if key in self.kept:
                self.kept.move_to_end(key)
            return self.kept.get(key)

    def put(self, key: tuple, value: dict) -> None:
        """Keep something under a key."""
        with self.lock:
            self.kept[key] = value
            self.kept.move_to_end(key)
            while len(self.kept) > MOST_MATCHES:
                self.kept.popitem(last=False)


@st.cache_resource(show_spinner=False)
def shelf() -> Shelf:
    """Give the one shelf."""
    return Shelf()


def match_key(test, drive, blow: int | None = None) -> tuple:
    """Give what the match of a blow depends on, the representative one where none is named; J is not among it."""
    chosen = test.sheet.choices
    if blow is None and drive.representative is not None:
        blow = drive.representative.blow
    conditioned = (tuple(sorted(chosen.leave_out)), chosen.low_pass, chosen.align)
    return test.key, drive.name, conditioned, blow, chosen.soil_law


def with_match(test, drive):
    """Give a drive with what was matched of it."""
    found = shelf().get(match_key(test, drive)) or _kept_beside(test, drive)
    if found is None:
        return drive
    from dyntest.reviewing.drive_match import with_matches

    matched = replace(drive, **found)
    return matched if matched.every is None else with_matches(matched, matched.every)


def _kept_beside(test, drive) -> dict[str, Any] | None:
    """Give what was matched when the drive had been followed, put on the shelf; looked for once."""
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
    """Give what was matched of any blow of a drive; None where it was not asked for."""
    return shelf().get(match_key(test, drive, blow))


def match_fields(drive) -> dict[str, Any]:
    """Give what a match adds to a drive."""
    fields = ("match", "match_problem", "calibrated_damping_factor", "every")
    return {name: getattr(drive, name) for name in fields}


def matched_fields(sheet, drive) -> dict[str, Any]:
    """Match the representative blow of a drive, and give what that adds to it; done in another process."""
    from dyntest.reviewing.drive_match import match_drive

    return match_fields(match_drive(sheet, drive))


class _StoppedError(Exception):
    """Somebody asked to stop."""


class Job(threading.Thread):
    """Work beside the pages: it says how far it is, and stops when asked.

    `work` takes `tell`, to be called with words and the share that is done, and `keep_going`, which says whether to go
    on; `name` is what is being done, in words; `test` is the key of the test that it works on.
    """

    def __init__(self, work: Callable, name: str, test: str = ""):
        super().__init__(name=name, daemon=True)
        self.work, self.words, self.share, self.problem, self.test = work, name, 0.0, "", test
        self.asked_to_stop = threading.Event()
        self.began = time.monotonic()
        self.told: set[str] = set()
        self.start()

    def run(self) -> None:
        """Do the work; a problem is kept for the page."""
        try:
            self.work(self.tell, self.keep_going)
        except _StoppedError:
            self.problem = ""
        except (DyntestError, ValueError) as problem:
            self.problem = str(problem)
        except MemoryError:
            self.problem = "the computer has too little memory for this; match fewer blows at a time"
        except Exception as error:  # whatever it is, the page must not wait for ever or show a trace
            self.problem = f"the work ended by itself ({type(error).__name__}); what was done before is kept"

    def tell(self, words: str, share: float) -> None:
        """Say what is being done and how far it is."""
        self.words, self.share = words, min(max(share, 0.0), 1.0)

    def keep_going(self) -> bool:
        """Say whether nobody asked to stop."""
        return not self.asked_to_stop.is_set()

    def left(self) -> str:
        """Say how long the rest takes if it goes on as it has so far; nothing while that cannot be said."""
        if self.share < LEAST_SHARE:
            return ""
        seconds = (time.monotonic() - self.began) * (1.0 - self.share) / self.share
        return f"about {seconds:.0f} s left" if seconds < 90.0 else f"about {seconds / 60.0:.0f} min left"


@dataclass
class Jobs:
    """The jobs of the server by what they work on; at most one of a key is alive."""

    known: dict[tuple, Job] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, key: tuple, work: Callable, name: str, test: str) -> Job:
        """Start a job, or give the one that already works on the same."""
        with self.lock:
            known = self.known.get(key)
            if known is None or not known.is_alive():
                self.known[key] = known = Job(work, name, test)
            return known

    def of(self, test: str) -> list[Job]:
        """Give the jobs of a test, those that have ended among them."""
        with self.lock:
            return [job for job in self.known.values() if job.test == test]


@st.cache_resource(show_spinner=False)
def jobs() -> Jobs:
    """Give the jobs of the server."""
    return Jobs()


def wait_or_stop(future: Future, keep_going: Callable[[], bool]):
    """Give what work in a pool came to; asked to stop, it leaves the pool, which then ends its processes."""
    while True:
        try:
            return future.result(timeout=POLL)
        except TimeoutError:
            if future.done():  # the work's own
                raise
            if not keep_going():
                raise _StoppedError from None


def match_blows(kept: Shelf, test, drives: tuple, tell: Callable, keep_going: Callable) -> None:
    """Match the representative blow of each drive in a process of its own, which ends at once when asked to."""
    with process_pool(1) as pool:
        for number, drive in enumerate(drives):
            tell(f"matching {drive.name.replace('_', ' ')} blow {drive.representative.blow}", number / len(drives))
            future = pool.submit(matched_fields, test.sheet, drive)
            kept.put(match_key(test, drive), wait_or_stop(future, keep_going))


def review_test_piles(kept: Shelf, sheet, folder: Path, tell: Callable, keep_going: Callable) -> None:
    """Review every test pile of a structure that is not done yet; each is kept in the folder as it is done.

    What failed is kept on the shelf, so that the page can say why.
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
    """Match every blow of each drive in a process per core; what is done when asked to stop is kept."""
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
