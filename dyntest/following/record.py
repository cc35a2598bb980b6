"""What is saved beside the sheet while a drive is followed, blow by blow, so that it can resume after any stop.

In ``follow/<drive>/``: one line of JSON for each blow, match, note and entry of the inspector; the raw record of each
blow as one small file; and force and velocity of the last blow for the page. A line cut off by a crash or a full disk
is skipped when the file is read, and the next one begins on a new line.
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
"""Folder beside the sheet in which everything is saved."""

BLOWS, MATCHES, NOTES, DEPTHS = "blows.jsonl", "matches.jsonl", "notes.jsonl", "depth.jsonl"
RECORDS, LAST, STATE = "records", "last_blow.npz", "state.json"


_MAKE_ROOM = "free some disk space or change the folder's permissions; blows not saved yet are read again"


class FullError(InputError):
    """Something could not be saved; it does not count as read, and is read again."""


def folder_of(sheet: TestSheet, drive: str) -> Path:
    """Give the folder of a drive."""
    return sheet.path.parent / FOLDER / drive


def append(path: Path, entry: Mapping[str, Any]) -> None:
    """Append one line to a saved file; raises `FullError` if it cannot be written; then nothing counts as saved."""
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
        raise FullError(known_as(path), "", f"could not be written ({trouble.strerror})", _MAKE_ROOM) from trouble


def _ends_a_line(file: Any) -> bool:
    file.seek(-1, os.SEEK_END)
    return file.read(1) == b"\n"


@dataclass
class Lines:
    """A saved file, read in parts: each call of `look` reads only what was added since the last."""

    path: Path
    at: int = 0

    def look(self) -> list[dict[str, Any]]:
        """Give the new entries; an incomplete line is left for the next call."""
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
    """Give all entries of a saved file."""
    return Lines(path).look()


@dataclass(frozen=True)
class KeptBlow:
    """One blow as read and computed.

    Parameters
    ----------
    blow : int
        Its number in the drive [1].
    own : int
        Its number by the recorder [1].
    file : str
        The file it came from, relative to the sheet.
    size, changed : int
        Size [byte] and time of change [ns] of that file when it was read.
    digest : str
        SHA-256 of a file of one blow, else empty.
    samples : int
        Samples of its record [1].
    clock : float or None
        Time since the start of the drive by the recorder [s].
    taken : str
        Local time at which it was read, ISO 8601.
    trust : str
        ``"yes"``, ``"with care"`` or ``"no"`` for this blow alone.
    doubts : tuple of (str, str)
        The checks it fails and the gauge of each, empty if it is no single gauge; the worst first.
    place : int
        Its place in a file of many blows: its first row, its number from 0, or the sample of its impact in a stream
        [1]; -1 in a file of one blow.
    numbers : dict of str to float
        Every quantity by its name in code [SI unit of the name]; values that are not a number are omitted.
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
        """Give a blow from its saved line."""
        doubts = tuple((str(check), str(gauge)) for check, gauge in entry["doubts"])
        return cls(**{**entry, "doubts": doubts})


def keep_signals(folder: Path, number: int, signals: Signals | AveragedTraces) -> None:
    """Save the raw record of one blow, whole or not at all."""
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
        raise FullError(trouble.source, trouble.place, trouble.problem, _MAKE_ROOM) from trouble


def record_name(number: int) -> str:
    """Give the file name of a blow's raw record.

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
    """Give the raw record of a saved blow under its number in the drive."""
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
    """Refuse a second follower of the same drive, and a folder that cannot be written to."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file = (folder / "lock").open("ab")
    except OSError as trouble:
        problem = f"cannot be written to ({trouble.strerror})"
        cure = "change the permissions of the folder or free some disk space, or copy the test to another folder"
        raise InputError(known_as(folder), "", problem, cure) from None
    with file:
        try:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ImportError:  # a system without such locks
            pass
        except OSError:
            problem = "is already followed by another dyntest follow"
            raise InputError(known_as(folder), "", problem, "stop the other one first") from None
        yield


def keep_last(folder: Path, waves: Waves) -> None:
    """Save force and velocity of the last blow for the page."""
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
    """Give force and impedance × velocity of the last blow [N]; None if none is saved."""
    try:
        with np.load(folder / LAST, allow_pickle=False) as file:
            return {name: file[name] for name in file.files}
    except (OSError, ValueError):
        return None


def keep_state(folder: Path, **state: Any) -> None:
    """Save what the follower is doing now."""
    _write(folder, STATE, json.dumps(state, ensure_ascii=False, sort_keys=True).encode())


def state_of(folder: Path) -> dict[str, Any]:
    """Give what the follower last did; empty if nothing is followed."""
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
    """Everything saved of a drive, read in parts; the page shows nothing else."""

    folder: Path
    blows: dict[int, KeptBlow] = field(default_factory=dict)
    matches: dict[int, dict[str, Any]] = field(default_factory=dict)
    notes: list[dict[str, Any]] = field(default_factory=list)
    depths: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Start at the beginning of every file."""
        self._lines = [Lines(self.folder / name) for name in (BLOWS, MATCHES, NOTES, DEPTHS)]

    def look(self) -> "Kept":
        """Read what was added since the last call."""
        blows, matches, notes, depths = (lines.look() for lines in self._lines)
        for entry in blows:
            try:
                one = KeptBlow.of(entry)
            except (KeyError, TypeError, ValueError):  # a line of another version
                continue
            self.blows[one.blow] = one
        self.matches |= {int(entry["blow"]): entry for entry in matches if "blow" in entry}
        for note in notes:  # one saved twice after a crash counts once
            if {**note, "at": ""} not in [{**one, "at": ""} for one in self.notes[-20:]]:
                self.notes.append(note)
        self.depths += depths
        return self

    @property
    def last(self) -> KeptBlow | None:
        """The last blow; None before the first."""
        return self.blows[max(self.blows)] if self.blows else None

    def table(self, most: int | None = None) -> pd.DataFrame:
        """Give one row per blow in the order of driving, quantities and trust; only the last `most` if given."""
        chosen = sorted(self.blows)[-most:] if most else sorted(self.blows)
        rows = [self.blows[number] for number in chosen]
        table = pd.DataFrame([one.numbers for one in rows], index=range(len(rows)))
        table["blow"] = np.array([one.blow for one in rows], dtype=int)
        table["trust"] = [one.trust for one in rows]
        return table
