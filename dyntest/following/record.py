"""What following a drive keeps beside the sheet, blow by blow, so that it goes on where it was after any stop.

In ``follow/<drive>/``: a line of JSON a blow, a match, a note or an entry of the inspector; the raw record of each blow
as one small file; and the last blow's force and velocity for the page. A line that was cut off by a crash or a full
disk is passed over when the file is read, and the next one begins on a line of its own.
"""

import contextlib
import io
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyntest.errors import InputError
from dyntest.reading.files import FOLLOWED, write_all
from dyntest.reading.parts import TestSheet
from dyntest.reading.signal_tables import channels_left_out, channels_of
from dyntest.reading.wording import known_as
from dyntest.signals import AveragedTraces, Signals, Waves

FOLDER = FOLLOWED
"""Folder beside the sheet in which everything is kept."""

BLOWS, MATCHES, NOTES, DEPTHS = "blows.jsonl", "matches.jsonl", "notes.jsonl", "depth.jsonl"
RECORDS, LAST, STATE = "records", "last_blow.npz", "state.json"


class FullError(InputError):
    """Something could not be kept; it does not count as taken, and is taken again."""


def folder_of(sheet: TestSheet, drive: str) -> Path:
    """Give where a drive is kept."""
    return sheet.path.parent / FOLDER / drive


def append(path: Path, entry: Mapping[str, Any]) -> None:
    """Add one line to a kept file; raises `FullError` where it cannot be written, and then nothing counts as kept."""
    line = json.dumps(dict(entry), ensure_ascii=False, allow_nan=False).encode() + b"\n"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("ab+") as file:
            if file.tell() and not _ends_a_line(file):
                line = b"\n" + line
            file.write(line)
            file.flush()
            os.fsync(file.fileno())
    except OSError as trouble:
        cure = "make room on the disk; what is not kept yet is taken again"
        raise FullError(known_as(path), "", f"could not be written ({trouble.strerror})", cure) from trouble


def _ends_a_line(file: Any) -> bool:
    file.seek(-1, os.SEEK_END)
    return file.read(1) == b"\n"


@dataclass
class Lines:
    """A kept file, read onward: each look reads only what was added since the last one."""

    path: Path
    at: int = 0

    def look(self) -> list[dict[str, Any]]:
        """Give the entries that were added; a line that is not whole yet is left for the next look."""
        try:
            with self.path.open("rb") as file:
                file.seek(self.at)
                data = file.read()
        except OSError:
            return []
        whole = data[: data.rfind(b"\n") + 1]
        self.at += len(whole)
        found = []
        for line in whole.splitlines():
            try:
                entry = json.loads(line)
            except ValueError:  # cut off by a crash
                continue
            if isinstance(entry, dict):
                found.append(entry)
        return found


def entries(path: Path) -> list[dict[str, Any]]:
    """Give everything that a kept file holds."""
    return Lines(path).look()


@dataclass(frozen=True)
class KeptBlow:
    """One blow as it was taken and computed.

    Parameters
    ----------
    blow : int
        Its number in the drive [1].
    own : int
        Its number by the recorder [1].
    file : str
        The file it came from, relative to the sheet.
    size, changed : int
        Length [byte] and time of change [ns] of that file when it was taken.
    digest : str
        SHA-256 of the file where it is one of one blow, else empty.
    samples : int
        Samples of its record [1].
    clock : float or None
        Time since the start of the drive by the recorder [s].
    taken : str
        Local time at which it was taken, ISO 8601.
    trust : str
        ``"yes"``, ``"with care"`` or ``"no"`` for this blow alone.
    doubts : tuple of (str, str)
        The checks that speak against it and the gauge of each, empty where it is none; the worst first.
    place : int
        Where it stands in a file of many blows: its first row, its number from 0, or the sample of its impact in a
        stream [1]; -1 in a file of one blow.
    numbers : dict of str to float
        Every quantity by its name in code [SI unit of the name]; what is not a number is left out.
    """

    blow: int
    own: int
    file: str
    size: int
    changed: int
    digest: str
    samples: int
    clock: float | None
    taken: str
    trust: str
    doubts: tuple[tuple[str, str], ...]
    numbers: dict[str, float] = field(default_factory=dict)
    place: int = -1

    @classmethod
    def of(cls, entry: Mapping[str, Any]) -> "KeptBlow":
        """Give a blow from its line."""
        doubts = tuple((str(check), str(gauge)) for check, gauge in entry["doubts"])
        return cls(**{**entry, "doubts": doubts})


def keep_signals(folder: Path, number: int, signals: Signals | AveragedTraces) -> None:
    """Keep the raw record of one blow, whole or not at all."""
    arrays = {"time": signals.time}
    if isinstance(signals, Signals):
        arrays |= {"strain": signals.strain[0], "acceleration": signals.acceleration[0]}
    else:
        arrays |= {"force": signals.force[0], "velocity": signals.velocity[0]}
    for name in ("clock", "penetration"):
        value = getattr(signals, name)
        if value is not None:
            arrays[name] = np.array(value[:1])
    _write(folder / RECORDS, record_name(number), _npz(arrays))


def _write(folder: Path, name: str, content: bytes) -> None:
    try:
        write_all(folder, {name: content})
    except InputError as trouble:
        raise FullError(trouble.source, trouble.place, trouble.problem, trouble.cure) from trouble


def record_name(number: int) -> str:
    """Give the name of a blow's raw record.

    Examples
    --------
    >>> record_name(12)
    '000012.npz'
    """
    return f"{number:06d}.npz"


def kept_arrays(folder: Path, number: int) -> dict[str, np.ndarray]:
    """Give the raw record of a blow as arrays in SI, by the names of `Signals` or `AveragedTraces`."""
    with np.load(folder / RECORDS / record_name(number), allow_pickle=False) as file:
        return {name: file[name] for name in file.files}


def kept_signals(sheet: TestSheet, folder: Path, number: int, one: KeptBlow) -> Signals | AveragedTraces:
    """Give the raw record of a kept blow under its number in the drive."""
    arrays = kept_arrays(folder, number)
    marks: dict[str, Any] = {name: arrays.get(name) for name in ("clock", "penetration")}
    blow = np.array([number])
    if sheet.gauges.averaged:
        return AveragedTraces(one.file, blow, arrays["time"], arrays["force"][None], arrays["velocity"][None], **marks)
    names = channels_of(sheet.gauges)
    return Signals(
        one.file,
        blow,
        arrays["time"],
        arrays["strain"][None],
        arrays["acceleration"][None],
        strain_names=names["strain"],
        acceleration_names=names["acceleration"],
        left_out=channels_left_out(sheet),
        **marks,
    )


@contextlib.contextmanager
def only_follower(folder: Path) -> Iterator[None]:
    """Refuse a second follower of the same drive."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("ab") as file:
        try:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ImportError:  # a system without such locks
            pass
        except OSError:
            problem = "is followed already by another dyntest follow"
            raise InputError(known_as(folder), "", problem, "stop that one first") from None
        yield


def keep_last(folder: Path, waves: Waves) -> None:
    """Keep force and velocity of the last blow for the page."""
    arrays = {
        "blow": waves.blow[-1:],
        "time": waves.time,
        "force": waves.force[-1],
        "impedance_velocity": waves.impedance * waves.velocity[-1],
        "onset": waves.onset[-1:],
        "return_time": np.array([waves.return_time]),
    }
    _write(folder, LAST, _npz(arrays))


def last_blow(folder: Path) -> dict[str, np.ndarray] | None:
    """Give force and impedance × velocity of the last blow [N]; None where none is kept."""
    try:
        with np.load(folder / LAST, allow_pickle=False) as file:
            return {name: file[name] for name in file.files}
    except (OSError, ValueError):
        return None


def keep_state(folder: Path, **state: Any) -> None:
    """Keep what the follower is doing now."""
    write_all(folder, {STATE: json.dumps(state, ensure_ascii=False, sort_keys=True).encode()})


def state_of(folder: Path) -> dict[str, Any]:
    """Give what the follower was doing last; empty where nothing is followed."""
    try:
        found = json.loads((folder / STATE).read_bytes())
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _npz(arrays: Mapping[str, np.ndarray]) -> bytes:
    stream = io.BytesIO()
    named: dict[str, Any] = dict(arrays)
    np.savez(stream, **named)
    return stream.getvalue()


@dataclass
class Kept:
    """Everything that is kept of a drive, read onward; what a page shows comes from here alone."""

    folder: Path
    blows: dict[int, KeptBlow] = field(default_factory=dict)
    matches: dict[int, dict[str, Any]] = field(default_factory=dict)
    notes: list[dict[str, Any]] = field(default_factory=list)
    depths: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Begin at the beginning of every file."""
        self._lines = [Lines(self.folder / name) for name in (BLOWS, MATCHES, NOTES, DEPTHS)]

    def look(self) -> "Kept":
        """Read what was added since the last look."""
        blows, matches, notes, depths = (lines.look() for lines in self._lines)
        for entry in blows:
            try:
                one = KeptBlow.of(entry)
            except (KeyError, TypeError, ValueError):  # a line of another version
                continue
            self.blows[one.blow] = one
        self.matches |= {int(entry["blow"]): entry for entry in matches if "blow" in entry}
        for note in notes:  # one that was kept again after a crash counts once
            if {**note, "at": ""} not in [{**one, "at": ""} for one in self.notes[-20:]]:
                self.notes.append(note)
        self.depths += depths
        return self

    @property
    def last(self) -> KeptBlow | None:
        """The blow that was taken last; None where there is none."""
        return self.blows[max(self.blows)] if self.blows else None

    def table(self, most: int | None = None) -> pd.DataFrame:
        """Give a row a blow, in the order of driving: the quantities and whether the blow is sound; the last `most`."""
        chosen = sorted(self.blows)[-most:] if most else sorted(self.blows)
        rows = [self.blows[number] for number in chosen]
        table = pd.DataFrame([one.numbers for one in rows], index=range(len(rows)))
        table["blow"] = np.array([one.blow for one in rows], dtype=int)
        table["trust"] = [one.trust for one in rows]
        return table
