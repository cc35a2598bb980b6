"""Signal matches that were run, kept by what they depend on, and the work that runs them beside the page."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import streamlit as st

from dyntest.errors import DyntestError

MOST_MATCHES = 200
"""Matches that are kept at most [1]; the one that was used longest ago goes first."""


@dataclass
class Shelf:
    """What was matched, by its key; shared by sessions, whose keys never meet unless files and choices are the same."""

    kept: OrderedDict = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

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


def match_key(test, drive) -> tuple:
    """Give what a match depends on; the damping factor is not among it."""
    chosen = test.sheet.choices
    blow = None if drive.representative is None else drive.representative.blow
    conditioned = (tuple(sorted(chosen.leave_out)), chosen.low_pass, chosen.align)
    return test.key, drive.name, conditioned, blow, chosen.soil_law


def with_match(test, drive):
    """Give a drive with what was matched of it."""
    found = shelf().get(match_key(test, drive))
    if found is None:
        return drive
    from dyntest.reviewing.drive_match import with_matches

    matched = replace(drive, **found)
    return matched if matched.every is None else with_matches(matched, matched.every)


def keep_match(kept: Shelf, test, drive) -> None:
    """Keep the match of a drive, and of every blow where that was run."""
    fields = ("match", "match_problem", "calibrated_damping_factor", "every")
    kept.put(match_key(test, drive), {name: getattr(drive, name) for name in fields})


class Job(threading.Thread):
    """Work beside the page: it says how far it is, and stops when asked.

    Parameters
    ----------
    work : callable
        Takes `tell`, to be called with words and the share that is done, and `keep_going`, which says whether to go on.
    name : str
        What is being done, in words.
    """

    def __init__(self, work: Callable, name: str):
        super().__init__(name=name, daemon=True)
        self.work, self.words, self.share, self.problem = work, name, 0.0, ""
        self.asked_to_stop = threading.Event()
        self.start()

    def run(self) -> None:
        """Do the work; a problem is kept for the page."""
        try:
            self.work(self.tell, self.keep_going)
        except (DyntestError, ValueError) as problem:
            self.problem = str(problem)
        except MemoryError:
            self.problem = "the computer has too little memory for this; match fewer blows at a time"
        except Exception as error:  # whatever it is, the page must not wait for ever or show a trace
            self.problem = f"matching ended by itself ({type(error).__name__}); what was matched before is kept"

    def tell(self, words: str, share: float) -> None:
        """Say what is being done and how far it is."""
        self.words, self.share = words, min(max(share, 0.0), 1.0)

    def keep_going(self) -> bool:
        """Say whether nobody asked to stop."""
        return not self.asked_to_stop.is_set()
