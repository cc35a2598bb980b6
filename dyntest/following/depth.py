"""Depths called out by the inspector, each tied to a blow, and the driving log made from them.

Entries are only added: a correction names the depth mark it corrects, and both are saved.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from dyntest.errors import InputError
from dyntest.following.record import DEPTHS, append, entries
from dyntest.reading.files import write_all
from dyntest.units import unit_factor

LOG = "driving_log.csv"
"""The driving log made from the depth marks, in the folder of the drive."""

STEPS = {"US": (("foot", 0.3048), ("inch", 0.0254)), "SI": (("0.25 m", 0.25), ("25 mm", 0.025))}
"""What one button adds to the depth, by the display units [m]."""

DEEPEST = 300.0
"""Largest penetration accepted [m], as in the records. Common practice, no source."""


@dataclass(frozen=True)
class Mark:
    """A depth that was called out.

    Parameters
    ----------
    number : int
        Its number in the order of entry, from 1 [1].
    blow : int
        The last blow before the mark; 0 before the first blow [1].
    depth : float
        Penetration of the toe [m].
    at : str
        Local time, ISO 8601.
    counted : int or None
        The inspector's own count since the previous mark [1].
    corrected : bool
        Whether it was corrected after entry.
    """

    number: int
    blow: int
    depth: float
    at: str
    counted: int | None = None
    corrected: bool = False


@dataclass(frozen=True)
class Remark:
    """Remark of the inspector, with the blow and the local time."""

    blow: int
    text: str
    at: str


def marks_of(kept: Sequence[Mapping[str, Any]]) -> tuple[Mark, ...]:
    """Give the depth marks after all corrections, in the order of the blows.

    Examples
    --------
    >>> first = {"kind": "mark", "blow": 12, "depth": 1.0, "at": ""}
    >>> marks_of([first, {"kind": "correction", "mark": 1, "depth": 0.9, "at": ""}])[0].depth
    0.9
    """
    found: dict[int, Mark] = {}
    entered = 0
    for entry in kept:
        if entry.get("kind") == "mark":
            entered += 1
            found[entered] = Mark(entered, int(entry["blow"]), float(entry["depth"]), entry["at"], entry.get("counted"))
        elif entry.get("kind") == "correction" and entry.get("mark") in found:
            number = int(entry["mark"])
            if entry.get("removed"):
                del found[number]
                continue
            changed = {name: entry[name] for name in ("depth", "blow", "counted") if entry.get(name) is not None}
            found[number] = replace(found[number], corrected=True, **changed)
    return tuple(sorted(found.values(), key=lambda mark: (mark.blow, mark.depth)))


def remarks_of(kept: Sequence[Mapping[str, Any]]) -> tuple[Remark, ...]:
    """Give the remarks in the order of entry."""
    return tuple(Remark(int(one["blow"]), one["text"], one["at"]) for one in kept if one.get("kind") == "remark")


def enter_mark(
    folder: Path, blow: int, depth: float, system: str, *, start: float | None = None, counted: int | None = None
) -> None:
    """Enter a depth [m] at a blow and write the driving log; raises `InputError` if the depth is not possible."""
    marks = marks_of(entries(folder / DEPTHS))
    _check(folder, (*marks, Mark(0, blow, depth, "")), start)
    entry = {"kind": "mark", "blow": blow, "depth": depth, "at": _now(), "counted": counted}
    append(folder / DEPTHS, entry)
    write_log(folder, system, start)


def correct_mark(
    folder: Path,
    number: int,
    system: str,
    *,
    start: float | None = None,
    depth: float | None = None,
    counted: int | None = None,
    removed: bool = False,
) -> None:
    """Correct or remove a depth mark; the first entry stays in the file."""
    marks = [mark for mark in marks_of(entries(folder / DEPTHS)) if not (removed and mark.number == number)]
    if depth is not None:
        marks = [replace(mark, depth=depth) if mark.number == number else mark for mark in marks]
    _check(folder, marks, start)
    entry = {"kind": "correction", "mark": number, "depth": depth, "counted": counted, "removed": removed}
    append(folder / DEPTHS, {**entry, "at": _now()})
    write_log(folder, system, start)


def enter_remark(folder: Path, blow: int, text: str, system: str, *, start: float | None = None) -> None:
    """Save a remark with its blow and time, and write the driving log."""
    append(folder / DEPTHS, {"kind": "remark", "blow": blow, "text": " ".join(text.split())[:300], "at": _now()})
    write_log(folder, system, start)


def _check(folder: Path, marks: Sequence[Mark], start: float | None) -> None:
    """Refuse depths that do not increase with the blows."""
    above, before = (start if start is not None else 0.0), 0
    for mark in sorted(marks, key=lambda mark: (mark.blow, mark.depth)):
        if not 0.0 <= mark.depth <= DEEPEST:
            problem = f"{mark.depth:g} m is outside 0 to {DEEPEST:g} m"
            raise InputError("depth", f"blow {mark.blow}", problem, "check the number and its unit")
        if mark.depth < above - 1e-9:
            problem = f"{mark.depth:g} m is above {above:g} m at blow {before}"
            raise InputError("depth", f"blow {mark.blow}", problem, "enter depth below ground, or correct the mark")
        above, before = mark.depth, mark.blow


@dataclass(frozen=True)
class Interval:
    """One row of the driving log.

    Parameters
    ----------
    depth_from, depth_to : float
        Penetration of the toe [m].
    recorded : int
        Blow count from the records [1].
    counted : int or None
        Blow count of the inspector [1].
    first, last : int
        First and last blow of the interval, both included; last below first if there is none [1].
    remark : str
        Remarks made during the interval.
    """

    depth_from: float
    depth_to: float
    recorded: int
    counted: int | None
    first: int
    last: int
    remark: str


def intervals_of(kept: Sequence[Mapping[str, Any]], start: float | None) -> tuple[Interval, ...]:
    """Give the intervals between the depth marks, the first from the start of the drive.

    Without that depth the log begins at the first mark.

    Examples
    --------
    >>> kept = [{"kind": "mark", "blow": blow, "depth": depth, "at": ""} for blow, depth in ((10, 1.0), (25, 1.3))]
    >>> [(one.depth_from, one.depth_to, one.recorded) for one in intervals_of(kept, 0.7)]
    [(0.7, 1.0, 10), (1.0, 1.3, 15)]
    """
    marks, remarks = list(marks_of(kept)), remarks_of(kept)
    if start is not None:
        marks.insert(0, Mark(0, 0, start, ""))
    found = []
    for above, below in pairwise(marks):
        if below.depth <= above.depth:
            continue
        said = [one.text for one in remarks if above.blow < one.blow <= below.blow]
        if below is marks[-1]:
            said += [one.text for one in remarks if one.blow > below.blow]
        number = below.blow - above.blow
        interval = Interval(
            above.depth, below.depth, number, below.counted, above.blow + 1, below.blow, "; ".join(said)
        )
        found.append(interval)
    return tuple(found)


def penetration_at(kept: Sequence[Mapping[str, Any]], start: float | None, blow: np.ndarray) -> np.ndarray:
    """Give the penetration after each blow, interpolated between depth marks [m]; not a number outside them."""
    marks = list(marks_of(kept))
    if start is not None:
        marks.insert(0, Mark(0, 0, start, ""))
    if not marks:
        return np.full(len(blow), np.nan)
    numbers, depths = np.array([[mark.blow, mark.depth] for mark in marks], dtype=float).T
    return np.interp(blow, numbers, depths, left=np.nan, right=np.nan)


def log_text(kept: Sequence[Mapping[str, Any]], system: str, start: float | None, strokes: Mapping[int, float]) -> str:
    """Give the driving log as CSV in the layout that test sheets use.

    Blows are the inspector's count where there is one; the recorded count is given beside it. Units: start, strokes
    by blow [m].
    """
    unit = "ft" if system == "US" else "m"
    scale = 1.0 / unit_factor(unit, "length")
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(
        [f"depth_from [{unit}]", f"depth_to [{unit}]", "blows", f"stroke [{unit}]", "remark", "recorded blows"]
    )
    for one in intervals_of(kept, start):
        known = [strokes[blow] for blow in range(one.first, one.last + 1) if blow in strokes]
        stroke = f"{np.median(known) * scale:.2f}" if known else ""
        blows = one.recorded if one.counted is None else one.counted
        depths = [f"{round(depth * scale, 4):g}" for depth in (one.depth_from, one.depth_to)]
        remark = one.remark if not one.remark.startswith(("=", "+", "-", "@")) else f"'{one.remark}"
        writer.writerow([*depths, blows, stroke, remark, one.recorded])
    return stream.getvalue()


def write_log(folder: Path, system: str, start: float | None) -> Path:
    """Write the driving log of a drive, whole or not at all."""
    from dyntest.following.record import Kept

    kept = Kept(folder).look()
    strokes = {one.blow: one.numbers["stroke"] for one in kept.blows.values() if "stroke" in one.numbers}
    return write_all(folder, {LOG: log_text(kept.depths, system, start, strokes).encode()})[0]


def _now() -> str:
    return datetime.now().isoformat(timespec="seconds")
