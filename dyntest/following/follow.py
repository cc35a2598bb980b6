"""Following one drive: scan, read, compute and save each blow, and match some of them in a separate process.

A blow counts as read only when it is saved, so that a stop at any moment loses nothing: what was not saved is read
again. Only a few records are in memory at once, however long the drive is.
"""

import contextlib
import hashlib
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import BrokenExecutor, Executor, Future
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from math import isfinite
from pathlib import Path
from typing import Any

import numpy as np

from dyntest.errors import InputError, missing_library
from dyntest.following import intake
from dyntest.following.compute import CONTEXT, compute_blows, joined, match_one
from dyntest.following.depth import penetration_at
from dyntest.following.intake import Count, Growing, IntakeNote, Onward, Stamp
from dyntest.following.record import (
    BLOWS,
    FOLDER,
    MATCHES,
    NOTES,
    FullError,
    Kept,
    KeptBlow,
    append,
    folder_of,
    keep_last,
    keep_signals,
    keep_state,
    kept_arrays,
    kept_signals,
)
from dyntest.reading.blow_layout import Piece
from dyntest.reading.parts import Drive, TestSheet
from dyntest.reading.signal_tables import read_pieces, signals_of
from dyntest.signals import AveragedTraces, Signals, Waves

PATIENCE = 40
"""Scans in which an unchanged file that cannot be read is tried again before it is set aside [1]: about 10 s."""

AT_ONCE = 16
"""Most blows that are computed and saved together [1]."""

REST = 0.5
"""How long the last file must be unchanged when following is stopped [s]."""

LARGE = 4_000_000
"""A file larger than this is read in parts even the first time [byte]."""

OPEN_AT_ONCE = 2
"""Growing files whose reading position is remembered [1]: recorders write one after the other."""

EVERY = 1
"""Fewest blows between two matches [1]: with 1 the newest is matched as soon as the last match is done."""

NICE = 10
"""Steps of system priority by which matching runs below the reading of blows [1]."""


@dataclass
class _Source:
    """A file as far as it was read: blows from it, number and place of the last, digest of a one-blow file."""

    stamp: Stamp
    blows: int = 0
    digest: str = ""
    number: int = 0
    own: int = 0
    place: int = -1


def _grown(piece: Piece, known: _Source) -> bool:
    """Whether a file that numbers its blows still has those read before, perhaps with more after them."""
    numbers = piece.layout.blow
    more = len(numbers) > known.blows or (len(numbers) == known.blows and not known.digest)
    return piece.numbered and known.blows > 0 and more and int(numbers[known.blows - 1]) == known.own


def _same_record(piece: Piece | None, kept: Mapping[str, np.ndarray]) -> bool:
    """Whether a blow of a file is the one saved from it."""
    if piece is None:
        return False
    return all(
        piece.traces[kind][0].shape == np.atleast_2d(kept[kind]).shape
        and np.allclose(piece.traces[kind][0], np.atleast_2d(kept[kind]), rtol=1e-9, atol=0.0)
        for kind in piece.traces
    )


class Follower:
    """Follows one drive of a test. It holds only the last few records and the state of each file."""

    def __init__(self, sheet: TestSheet, drive: Drive, *, every: int = EVERY):
        self.sheet, self.drive, self.every = sheet, drive, every
        self.folder = folder_of(sheet, drive.name)
        self.root = sheet.path.parent
        self.patterns = intake.patterns_of(sheet, drive)
        self.before: dict[str, Stamp] = {}
        self.sources: dict[str, _Source] = {}
        self.aside: dict[str, Stamp] = {}
        self.tried: dict[str, tuple[Stamp, int]] = {}
        self.growing: dict[str, Growing | None] = {}
        self.ended = False
        self.context: deque[Signals | AveragedTraces] = deque(maxlen=CONTEXT)
        self.candidate: tuple[Waves, dict[str, float]] | None = None
        self.matching: tuple[int, Future] | None = None
        self.matched_at = 0
        self.calibrated: float | None = None
        self.samples = 0
        self.renumbered = False
        self.noted: list[dict[str, Any]] = []
        self.passed: set[tuple[str, int]] = set()
        self._go_on()

    def _go_on(self) -> None:
        """Resume from what was saved before."""
        kept = Kept(self.folder).look()
        self.count = Count()
        for number in sorted(kept.blows):
            one = kept.blows[number]
            self._know(one)
            clock = float("nan") if one.clock is None else one.clock
            self.count = Count(one.blow, one.own, one.numbers.get("clock", float("nan")), clock)
        for entry in kept.notes:
            if "size" in entry:
                self.aside[entry["file"]] = Stamp(entry["size"], entry["changed"])
            if "place" in entry:
                self.passed.add((entry["file"], entry["place"]))
            self.renumbered |= entry.get("kind") in (intake.RESTARTED, intake.CLOCK_BACK)
        if kept.last is not None:
            self.samples = kept.last.samples
        for number in sorted(kept.blows)[-CONTEXT:]:
            with contextlib.suppress(OSError, ValueError, KeyError):
                self.context.append(kept_signals(self.sheet, self.folder, number, kept.blows[number]))
        if kept.matches:
            self.matched_at = max(kept.matches)
            found = kept.matches[self.matched_at].get("damping_factor")
            self.calibrated = None if found is None or found < 0.0 else round(float(found), 2)

    def _know(self, one: KeptBlow) -> None:
        source = self.sources.setdefault(one.file, _Source(Stamp(one.size, one.changed)))
        if one.own <= source.own or one.place < source.place:  # the file was started again
            source.blows = 0
        source.own, source.place = one.own, one.place
        source.stamp, source.digest, source.number = Stamp(one.size, one.changed), one.digest, one.blow
        source.blows += 1

    @property
    def damping_factor(self) -> float | None:
        """The engineer's Case damping factor [1], else that of the last match where the soil suggests none."""
        chosen = self.sheet.damping_factor
        return self.calibrated if chosen is None and self.sheet.soil.toe is None else chosen

    def look(self) -> list[KeptBlow]:
        """Read the blows that are complete now, and give them as saved."""
        now = intake.stamps(self.root, self.patterns)
        taken = {name: source.stamp for name, source in self.sources.items()}
        taken |= {name: stamp for name, stamp in self.aside.items() if name not in taken or now.get(name) == stamp}
        found: list[KeptBlow] = []
        resting = set(intake.steady(self.before, now, taken))
        for name, stamp in now.items():
            if name in resting or (stamp.size and taken.get(name) != stamp and self._grows(name)):
                found += self._take(name, stamp, name in resting)
        self.before = now
        return found

    def _grows(self, name: str) -> bool:
        """Whether a file is known to have many blows, or is named in the sheet."""
        known = self.sources.get(name)
        return (known is not None and known.blows > 1) or name in self.growing or name in self.patterns

    @property
    def unsettled(self) -> bool:
        """Whether another scan soon may find more: a file is new, still growing, or could not be read yet."""
        known = {name: source.stamp for name, source in self.sources.items()}
        return any(known.get(name) != stamp and self.aside.get(name) != stamp for name, stamp in self.before.items())

    def _take(self, name: str, stamp: Stamp, rests: bool) -> list[KeptBlow]:
        """Read what is new in one file, unchanged or growing."""
        try:
            growing = self._growing(name, stamp)
        except (InputError, OSError, ValueError) as problem:
            self._try_again(name, stamp, str(problem))
            return []
        if growing is not None:
            return self._take_onward(growing, name, stamp, rests)
        return self._take_whole(name, stamp) if rests else []

    def _growing(self, name: str, stamp: Stamp) -> Growing | None:
        """Give a file to be read in parts; None for a file of one blow or of a format that is rewritten each time."""
        known = self.sources.get(name)
        many = known is not None and known.blows > 1
        if not (many or name in self.growing or name in self.patterns or stamp.size > LARGE or self._streams):
            return None
        if name not in self.growing:
            file = Growing(self.sheet, self.root / name)
            while len(self.growing) >= OPEN_AT_ONCE:
                del self.growing[next(iter(self.growing))]
            self.growing[name] = file if file.grows else None
        return self.growing[name]

    @property
    def _streams(self) -> bool:
        records = self.sheet.records
        return records is not None and records.blows == "continuous"

    def _take_onward(self, growing: Growing, name: str, stamp: Stamp, rests: bool) -> list[KeptBlow]:
        """Read the new complete blows of a growing file."""
        found: list[KeptBlow] = []
        try:
            known = self._still(growing, name, stamp)
            place, count, time = -1, 0, None
            if known is not None:
                place, count = known.place, known.blows
                time = self.context[-1].time if self.context else None
            onward = growing.after(place, count, self.samples, rests, self.ended, time)
            for one in onward:
                found += self._keep_onward(one, name, stamp)
        except (InputError, OSError, ValueError) as problem:
            if isinstance(problem, FullError):
                raise
            self._try_again(name, stamp, str(problem))
            return found
        known = self.sources.get(name)
        if found and known is not None:
            known.stamp = Stamp(stamp.size, 0)  # there may be more; the next scan will show
        elif growing.left and rests:
            self._try_again(name, stamp, growing.left)
        elif rests and known is not None:  # all of it is read
            known.stamp = stamp
        elif rests:
            self.aside[name] = stamp
        return found

    def _still(self, growing: Growing, name: str, stamp: Stamp) -> _Source | None:
        """Give how far a file was read; None if it was replaced by another, which is read from the start."""
        known = self.sources.get(name)
        if known is None or not known.blows:
            return None
        same = stamp.size >= known.stamp.size
        if known.place < 0:  # saved while the file had one blow
            known.place = (known.blows - 1) * (self.samples if growing.kind == "column" else 1)
        if same and growing.kind != "continuous":
            kept = kept_arrays(self.folder, known.number)
            same = _same_record(growing.at(known.place, len(kept["time"])), kept)
        if same:
            return known
        self.growing.pop(name, None)
        if growing.kind == "continuous":
            raise InputError(name, "", "is shorter than it was", "wait until the recorder has written more")
        del self.sources[name]
        return None

    def _keep_onward(self, one: Onward, name: str, stamp: Stamp) -> list[KeptBlow]:
        """Read some blows of a growing file; a blow that cannot be used is skipped with a note."""
        drive = replace(self.drive, first_blow=None)
        found: list[KeptBlow] = []
        if one.piece is None:
            self._skip(name, int(one.places[0]), one.problem)
            return found
        for first in range(0, len(one.places), AT_ONCE):
            rows = slice(first, min(first + AT_ONCE, len(one.places)))
            part = _rows_of(one.piece, rows)
            try:
                signals = signals_of(self.sheet, drive, [part])
                self._check_length(signals, name)
                found += self._keep(signals, part, name, stamp, "", None, one.places[rows], one.named)
                continue
            except FullError:
                raise
            except (InputError, ValueError) as problem:
                if rows.stop - rows.start == 1:
                    self._skip(name, int(one.places[first]), str(problem))
                    continue
            for row in range(rows.start, rows.stop):
                alone = Onward(_rows_of(one.piece, slice(row, row + 1)), one.places[row : row + 1], one.named)
                found += self._keep_onward(alone, name, stamp)
        return found

    def _skip(self, name: str, place: int, problem: str) -> None:
        """Note once that a blow in a file of many blows cannot be used."""
        if (name, place) in self.passed:
            return
        self.passed.add((name, place))
        note = IntakeNote(intake.UNREADABLE, self.count.last + 1, name, problem=problem)
        self._note(note, {"place": place})

    def _take_whole(self, name: str, stamp: Stamp) -> list[KeptBlow]:
        """Read what is new in one unchanged file, as a whole."""
        path, known = self.root / name, self.sources.get(name)
        try:
            pieces, cuts = read_pieces(self.sheet, [path])
            digest = "" if sum(len(piece.layout.blow) for piece in pieces) > 1 else _digest(path, stamp.size)
            signals = signals_of(self.sheet, replace(self.drive, first_blow=None), pieces, cuts)
            self._check_length(signals, name)
        except (InputError, OSError, ValueError) as problem:
            self._try_again(name, stamp, str(problem))
            return []
        start, again = 0, None
        if known is not None:
            if known.digest and known.digest == digest:
                known.stamp = stamp
                return []
            if _grown(pieces[0], known):
                start = known.blows
            elif known.digest and _digest(path, known.stamp.size) == known.digest:
                again = known.number  # it was incomplete when it was read
        found: list[KeptBlow] = []
        for first in range(start, signals.n_blows, AT_ONCE):
            rows = slice(first, min(first + AT_ONCE, signals.n_blows))
            places = np.arange(rows.start, rows.stop) * (len(signals.time) if pieces[0].numbered else 1)
            places = np.full(len(places), -1) if digest else places
            try:
                found += self._keep(signals.take(rows), pieces[0], name, stamp, digest, again, places)
            except FullError:
                raise
            except (InputError, ValueError) as problem:  # an unusable record does not hold up the others
                self._try_again(name, stamp, str(problem))
        if known is not None and not found and name not in self.tried and name not in self.aside:
            known.stamp = stamp
        return found

    def _check_length(self, signals: Signals | AveragedTraces, name: str) -> None:
        """Refuse a record of another length: it is cut short or was recorded with other settings."""
        if self.samples and len(signals.time) != self.samples:
            problem = f"has {len(signals.time)} samples per blow, earlier blows have {self.samples}"
            raise InputError(name, "", problem, "wait until it is complete, or restore the recorder's settings")

    def _try_again(self, name: str, stamp: Stamp, problem: str) -> None:
        """Try an unreadable file again in later scans, and set it aside with a note if that does not help."""
        before, times = self.tried.get(name, (stamp, 0))
        times = times + 1 if before == stamp else 1
        self.tried[name] = (stamp, times)
        if times >= PATIENCE:
            note = IntakeNote(intake.UNREADABLE, self.count.last + 1, name, problem=problem)
            self._note(note, asdict(stamp))
            self.aside[name] = stamp
            del self.tried[name]

    def _note(self, note: IntakeNote, more: Mapping[str, Any] | None = None) -> None:
        """Save a note, and report it."""
        entry = intake.as_entry(note, _now()) | dict(more or {})
        append(self.folder / NOTES, entry)
        self.noted.append(entry)
        self.renumbered |= note.kind in (intake.RESTARTED, intake.CLOCK_BACK)

    def _keep(
        self,
        new: Signals | AveragedTraces,
        piece: Piece,
        name: str,
        stamp: Stamp,
        digest: str,
        again: int | None,
        places: np.ndarray,
        named: bool = True,
    ) -> list[KeptBlow]:
        """Give some blows their number and results, and save them; they count as read only when all is saved."""
        counts, notes = self._counted(new, piece, name, again, named)
        blow = np.array([count.last for count in counts])
        own_clock = new.clock
        numbered = replace(new, blow=blow, clock=None if own_clock is None else np.array([c.clock for c in counts]))
        before = joined(list(self.context)) if self.context and again is None else None
        worked = compute_blows(self.sheet, self.drive, numbered, before, self.damping_factor, self.calibrated)
        codes, values = [str(code) for code in worked.table], worked.table.to_numpy(dtype=float)
        rows = [{code: float(row[at]) for at, code in enumerate(codes) if isfinite(row[at])} for row in values]
        kept = [
            KeptBlow(
                blow=int(blow[place]),
                own=counts[place].own,
                file=name,
                size=stamp.size,
                changed=stamp.changed,
                digest=digest,
                samples=len(new.time),
                clock=None if own_clock is None else float(own_clock[place]),
                taken=_now(),
                trust=worked.trust[place],
                doubts=worked.doubts[place],
                numbers=rows[place],
                place=int(places[place]),
            )
            for place in range(len(blow))
        ]
        for place, one in enumerate(kept):
            keep_signals(self.folder, one.blow, numbered.take(slice(place, place + 1)))
        for note in notes:
            self._note(note)
        self.tried.pop(name, None)
        for place, one in enumerate(kept):
            append(self.folder / BLOWS, asdict(one))
            self._know(one)
            if again is None:
                self.count = counts[place]
                self.context.append(numbered.take(slice(place, place + 1)))
            if one.trust != "no":
                self.candidate = worked.waves.take(slice(place, place + 1)), one.numbers
        self.samples = len(new.time)
        keep_last(self.folder, worked.waves)
        return kept

    def _counted(
        self, new: Signals | AveragedTraces, piece: Piece, name: str, again: int | None, named: bool
    ) -> tuple[list[Count], list[IntakeNote]]:
        """Give number and time of each blow in the drive, and what to note."""
        if again is not None:
            clock = float("nan") if new.clock is None else float(new.clock[0])
            return [replace(self.count, last=again, own=intake.number_in(name), clock=clock, own_clock=clock)], []
        count, counts, notes = self.count, [], []
        if count.last == 0 and not piece.numbered and self.drive.first_blow is not None:
            count = replace(count, last=self.drive.first_blow - 1)
        for place, own in enumerate(new.blow):
            number = int(own) if piece.numbered else intake.number_in(name)
            if not named:  # its own numbers would restart with every file
                number = count.own + 1
            count, told = intake.counted_on(number, count, piece.numbered, name)
            notes += told
            if new.clock is not None:
                count, told = intake.clocked_on(float(new.clock[place]), count, name)
                another = name not in self.sources  # whose clock starts at its own first sample
                notes += told if named or not another else []
            counts.append(count)
        return counts, notes

    def match(self, executor: Executor) -> dict[str, Any] | None:
        """Start a match if one is due, and give the one just finished."""
        done = None
        if self.matching is not None and self.matching[1].done():
            blow, future = self.matching
            self.matching = None
            try:
                done = {"blow": blow, "at": _now(), **future.result()}
            except Exception as trouble:  # the process was killed; the next blow starts another
                done = {"blow": blow, "at": _now(), "problem": " ".join(str(trouble).split()) or type(trouble).__name__}
            append(self.folder / MATCHES, done)
            factor = done.get("damping_factor")
            if isinstance(factor, float) and factor >= 0.0 and not done["problem"]:
                self.calibrated = round(factor, 2)
        if self.every and self.matching is None and self.candidate is not None:
            waves, numbers = self.candidate
            blow = int(waves.blow[0])
            if self.matched_at == 0 or blow >= self.matched_at + self.every:
                kept = Kept(self.folder).look()
                depth = penetration_at(kept.depths, self.drive.penetration_at_start, np.array([blow]))[0]
                last = [one for one in (depth, numbers.get("penetration"), _deepest(kept.depths)) if one == one and one]
                row = {**numbers, "penetration": float(last[0]) if last else float("nan")}
                self.matched_at = blow
                try:
                    self.matching = blow, executor.submit(match_one, self.sheet, waves, row, NICE)
                except BrokenExecutor:  # its process was killed; blows are still followed
                    self.every = 0
                    return {
                        "blow": blow,
                        "problem": "the matching process has ended; restart dyntest follow to match again",
                    }
                self.candidate = None
        return done


def _rows_of(piece: Piece, rows: slice) -> Piece:
    """Give some blows of a piece."""
    return replace(
        piece,
        layout=replace(piece.layout, blow=piece.layout.blow[rows]),
        traces={kind: values[rows] for kind, values in piece.traces.items()},
        clock=None if piece.clock is None else piece.clock[rows],
        penetration=None if piece.penetration is None else piece.penetration[rows],
    )


def _deepest(depths: list[dict[str, Any]]) -> float | None:
    found = [float(entry["depth"]) for entry in depths if entry.get("kind") == "mark"]
    return max(found, default=None)


SOON = 200
"""Time after which an unfinished file is read again [ms]."""

SELDOM = 3000
"""Time after which the folder is scanned without any notice of a change [ms]; network drives may give none."""


@contextlib.contextmanager
def watching(root: Path) -> Iterator[Callable[[bool], None]]:
    """Give a function that waits for a change below a folder: `wait(True)` returns soon, `wait(False)` on a change."""
    try:
        from watchfiles import watch
    except ImportError:
        raise missing_library("dyntest follow", "watchfiles", "follow") from None
    own = str(root / FOLDER)
    heard = watch(
        root,
        watch_filter=lambda _, path: not path.startswith(own),
        debounce=100,
        step=50,
        rust_timeout=SOON,
        yield_on_timeout=True,
        raise_interrupt=True,
        ignore_permission_denied=True,
    )

    def wait(soon: bool) -> None:
        for _ in range(1 if soon else SELDOM // SOON):
            if next(heard):
                return

    try:
        yield wait
    finally:
        heard.close()


def follow(
    follower: Follower,
    executor: Executor,
    wait: Callable[[bool], None],
    told: Callable[[str, Mapping[str, Any]], None],
    keep_going: Callable[[], bool] = lambda: True,
) -> None:
    """Follow a drive until stopped.

    `wait` returns when there may be something new, soon if a file is unfinished. `told` is called with every blow,
    match and problem. A full disk does not stop it: the blows are read again.
    """
    troubled = ""
    while keep_going():
        try:
            for one in follower.look():
                told("blow", asdict(one))
            for note in follower.noted:
                told("note", note)
            follower.noted.clear()
            match = follower.match(executor)
            if match is not None:
                told("match", match)
            keep_state(follower.folder, doing="following", beat=_now(), drive=follower.drive.name)
            if troubled:
                troubled = ""
                told("mended", {})
        except InputError as problem:
            if str(problem) != troubled:
                troubled = str(problem)
                told("problem", {"problem": troubled})
        wait(follower.unsettled or bool(troubled) or follower.matching is not None)


def stopped(follower: Follower) -> None:
    """Read what is complete now, and save that following has stopped."""
    with contextlib.suppress(InputError):
        follower.look()
        if follower.unsettled:
            time.sleep(REST)
            follower.ended = True
            follower.look()
    with contextlib.suppress(InputError):
        keep_state(follower.folder, doing="stopped", beat=_now(), drive=follower.drive.name)


def _digest(path: Path, size: int) -> str:
    """Give the SHA-256 of the first bytes of a file. Units: size [byte]."""
    with path.open("rb") as stream:
        return hashlib.sha256(stream.read(size)).hexdigest()


def _now() -> str:
    return datetime.now().isoformat(timespec="seconds")
