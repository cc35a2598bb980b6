"""Which blows of a growing drive are complete: taken once each, never half-written, never lost.

A file is complete when size and time of change were the same in two looks and it reads without error. A file that
holds many blows and grows gives those beyond the ones taken, and never the last one before it is as long as the
others and the file rests.
"""

import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from dyntest.reading.build import fitting_files, natural_order
from dyntest.reading.parts import Drive, TestSheet

PAUSE = 60.0
"""Time that is put between two blows where the recorder's clock goes back [s]: a pause, from which no stroke is
worked out. Our own choice."""

RESTARTED, MISSING, CLOCK_BACK, UNREADABLE = (
    "numbering restarted",
    "blow missing",
    "clock went back",
    "file cannot be read",
)
"""What is noted while blows are taken."""


_in_order = lru_cache(maxsize=50_000)(natural_order)


@dataclass(frozen=True)
class Stamp:
    """Length [byte] and time of change [ns] of a file."""

    size: int
    changed: int


@dataclass(frozen=True)
class IntakeNote:
    """Something about the recorder's files that the engineer must know.

    Parameters
    ----------
    kind : str
        One of those above.
    blow : int
        The blow of the drive from which on it holds [1].
    file : str
        The file, relative to the sheet.
    first, last : int
        Recorder's numbers before and after [1].
    problem : str
        What a reader said of the file; empty where it is none.
    """

    kind: str
    blow: int
    file: str = ""
    first: int = 0
    last: int = 0
    problem: str = ""


def patterns_of(sheet: TestSheet, drive: Drive) -> tuple[str, ...]:
    """Give the names and patterns that the sheet has for the signals of a drive."""
    table = tomllib.loads(sheet.text)["drive"][[one.name for one in sheet.drives].index(drive.name)]
    named = table["signals"]
    return (named,) if isinstance(named, str) else tuple(named)


def stamps(folder: Path, patterns: Sequence[str]) -> dict[str, Stamp]:
    """Give every file that fits the patterns now, by its name from the folder, in the order of driving."""
    found: dict[str, Stamp] = {}
    for pattern in patterns:
        try:
            fitting = [path.as_posix()[len(folder.as_posix()) + 1 :] for path in fitting_files(folder, pattern)]
            names = sorted(fitting, key=_in_order)
        except OSError:  # a folder that is being made
            continue
        for name in names:
            try:
                told = os.stat(f"{folder}/{name}")  # noqa: PTH116  a path object for each of thousands takes as long again
            except OSError:  # renamed between the two
                continue
            found.setdefault(name, Stamp(told.st_size, told.st_mtime_ns))
    return found


def steady(before: Mapping[str, Stamp], now: Mapping[str, Stamp], taken: Mapping[str, Stamp]) -> list[str]:
    """Give the files that rest since the look before and are not taken as they stand.

    Examples
    --------
    >>> one, two = Stamp(100, 1), Stamp(200, 2)
    >>> steady({"a": one, "b": one}, {"a": one, "b": two, "c": one}, {})
    ['a']
    >>> steady({"a": one}, {"a": one}, {"a": one}), steady({"a": two}, {"a": two}, {"a": one})
    ([], ['a'])
    """
    resting = (name for name, stamp in now.items() if stamp.size > 0 and before.get(name) == stamp)
    return [name for name in resting if taken.get(name) != now[name]]


@dataclass(frozen=True)
class Count:
    """How far a drive is counted.

    Parameters
    ----------
    last : int
        Number of the last blow in the drive; 0 before the first [1].
    own : int
        Number that the recorder gave it; 0 where none is known [1].
    clock, own_clock : float
        Its time since the start of the drive, as counted on and by the recorder [s]; not a number where unknown.
    """

    last: int = 0
    own: int = 0
    clock: float = float("nan")
    own_clock: float = float("nan")


def counted_on(own: int, count: Count, numbered: bool, file: str) -> tuple[Count, list[IntakeNote]]:
    """Count one blow onward from the count before it.

    Files that number their blows keep these numbers, with a gap where one is missing. Where the recorder begins again,
    and in files without numbers, blows are numbered on.

    Examples
    --------
    >>> after, notes = counted_on(1, Count(40, 40), True, "b.csv")
    >>> after.last, [note.kind for note in notes]
    (41, ['numbering restarted'])
    >>> counted_on(43, Count(41, 41), True, "b.csv")[0].last
    43
    """
    first = count.own == 0
    blow = count.last + 1
    notes = []
    if not first and 0 < own <= count.own:
        notes.append(IntakeNote(RESTARTED, blow, file, count.own, own))
    elif not first and own > count.own + 1:
        notes.append(IntakeNote(MISSING, blow, file, count.own, own))
        blow += own - count.own - 1 if numbered else 0
    if numbered and first and own > 0:
        blow = count.last + own
    return replace(count, last=blow, own=own), notes


def clocked_on(own: float, count: Count, file: str) -> tuple[Count, list[IntakeNote]]:
    """Give the time of a blow on the one clock of the drive; a clock that went back goes on after a pause [s].

    Examples
    --------
    >>> after, notes = clocked_on(3.0, Count(41, 41, 55.0, 55.0), "b.csv")
    >>> after.clock, after.own_clock, notes[0].kind
    (115.0, 3.0, 'clock went back')
    """
    if not np.isfinite(count.own_clock) or not np.isfinite(own):
        return replace(count, clock=own, own_clock=own), []
    gone = own - count.own_clock
    if gone > 0.0:
        return replace(count, clock=count.clock + gone, own_clock=own), []
    return replace(count, clock=count.clock + PAUSE, own_clock=own), [IntakeNote(CLOCK_BACK, count.last, file)]


def number_in(name: str) -> int:
    """Give the last number in the name of a file, by which a recorder counts; 0 without one.

    Examples
    --------
    >>> number_in("P2-4/blow_0041.csv"), number_in("last.csv")
    (41, 0)
    """
    stem = Path(name).name.partition(".")[0]
    found = re.findall(r"\d+", stem)
    return int(found[-1][-9:]) if found else 0


def as_entry(note: IntakeNote, at: str) -> dict[str, Any]:
    """Give a note as the line that is kept."""
    return {"kind": note.kind, "blow": note.blow, "file": note.file, "first": note.first, "last": note.last} | {
        "problem": note.problem,
        "at": at,
    }
