"""Which blows of a growing drive are complete: each is read once, never half-written, never lost.

A file of one blow is complete when its size and time of change were the same in two scans and it reads without error.
A growing file of many blows is read from the last blow read before, a part at a time, and gives the complete blows
after it, whether it still grows or not. A continuous stream is cut into blows as it grows.
"""

import os
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.blow_layout import BlowLayout, Piece
from dyntest.reading.build import fitting_files
from dyntest.reading.formats import format_of, open_records
from dyntest.reading.formats.contents import Contents, window_of
from dyntest.reading.formats.text import TextRows, contents_of
from dyntest.reading.number_table import NumberTable, csv_table, parquet_table
from dyntest.reading.parts import Drive, Records, TestSheet
from dyntest.reading.recorder_files import (
    Found,
    blow_rows,
    find_places,
    gauges_of,
    layout_kind,
    locate,
    stacked_samples,
    stream_channels,
    stream_part,
    stream_piece,
    stream_time,
    with_one_start,
)
from dyntest.reading.signal_tables import OWN_ENDINGS, channels_left_out, channels_of, piece_of_table
from dyntest.reading.streams import DOUBLE_STRIKE_GAP, StrainStream, impacts_of, window_from
from dyntest.reading.text_tables import Header
from dyntest.reading.wording import known_as, natural_order

PAUSE = 60.0
"""Time assumed between two blows when the recorder's clock goes back [s]: a pause, from which no stroke is computed.
Our own choice."""

RESTARTED, MISSING, CLOCK_BACK, UNREADABLE = (
    "numbering restarted",
    "blow missing",
    "clock went back",
    "file cannot be read",
)
"""Kinds of notes on the recorder's files."""


_in_order = lru_cache(maxsize=50_000)(natural_order)


@dataclass(frozen=True)
class Stamp:
    """Size [byte] and time of change [ns] of a file."""

    size: int
    changed: int


@dataclass(frozen=True)
class IntakeNote:
    """A note on the recorder's files for the engineer.

    Parameters
    ----------
    kind : str
        One of those above.
    blow : int
        The blow of the drive from which it applies [1].
    file : str
        The file, relative to the sheet.
    first, last : int
        Recorder's numbers before and after [1].
    problem : str
        Error on reading the file; empty if there was none.
    """

    kind: str
    blow: int
    file: str = ""
    first: int = 0
    last: int = 0
    problem: str = ""


def patterns_of(sheet: TestSheet, drive: Drive) -> tuple[str, ...]:
    """Give the file names and patterns that the sheet lists as signals of a drive."""
    table = tomllib.loads(sheet.text)["drive"][[one.name for one in sheet.drives].index(drive.name)]
    named = table["signals"]
    return (named,) if isinstance(named, str) else tuple(named)


def stamps(folder: Path, patterns: Sequence[str]) -> dict[str, Stamp]:
    """Give every file that matches the patterns now, by its name from the folder, in the order of driving."""
    found: dict[str, Stamp] = {}
    for pattern in patterns:
        try:
            fitting = [path.as_posix()[len(folder.as_posix()) + 1 :] for path in fitting_files(folder, pattern)]
            names = sorted(fitting, key=_in_order)
        except OSError:  # a folder that is being created
            continue
        for name in names:
            try:
                told = os.stat(f"{folder}/{name}")  # noqa: PTH116  a path object for each of thousands takes as long again
            except OSError:  # renamed between the two
                continue
            found.setdefault(name, Stamp(told.st_size, told.st_mtime_ns))
    return found


def steady(before: Mapping[str, Stamp], now: Mapping[str, Stamp], taken: Mapping[str, Stamp]) -> list[str]:
    """Give the files that have not changed since the last scan and were not read in this state.

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
    """Blow count and time of a drive so far.

    Parameters
    ----------
    last : int
        Number of the last blow in the drive; 0 before the first [1].
    own : int
        Number that the recorder gave it; 0 if unknown [1].
    clock, own_clock : float
        Its time since the start of the drive, and by the recorder [s]; not a number if unknown.
    """

    last: int = 0
    own: int = 0
    clock: float = float("nan")
    own_clock: float = float("nan")


def counted_on(own: int, count: Count, numbered: bool, file: str) -> tuple[Count, list[IntakeNote]]:
    """Give the count after one more blow.

    Files that number their blows keep these numbers, with a gap where one is missing. If the recorder restarts its
    numbering, and in files without numbers, blows are numbered consecutively.

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
    """Give the time of a blow since the start of the drive; a clock that went back continues after a pause [s].

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
    """Give the last number in a file name, by which a recorder counts; 0 if there is none.

    Examples
    --------
    >>> number_in("P2-4/blow_0041.csv"), number_in("last.csv")
    (41, 0)
    """
    stem = Path(name).name.partition(".")[0]
    found = re.findall(r"\d+", stem)
    return int(found[-1][-9:]) if found else 0


def as_entry(note: IntakeNote, at: str) -> dict[str, Any]:
    """Give a note as the line that is saved."""
    return {"kind": note.kind, "blow": note.blow, "file": note.file, "first": note.first, "last": note.last} | {
        "problem": note.problem,
        "at": at,
    }


ROWS_AT_ONCE = 1 << 17
"""Samples of each channel read from a growing file at a time [1]: some 60 blows, 10 megabytes."""

BLOWS_AT_ONCE = 64
"""Blows read at a time from a file with one row or group per blow [1]."""

STREAM_BLOWS = 12
"""Last blows of a stream kept in memory, to distinguish bounces and double strikes from the next blows [1]."""

STREAM_HELD = 60.0
"""Longest part of a stream kept in memory [s]."""

LEAST_OF_STREAM = 1000
"""Samples of a stream required before its time step is determined [1]."""

BEFORE_WINDOW = 0.05
"""Part of a stream kept before the oldest blow in memory, for the baseline [s]."""

GROWING_FORMATS = ("text", "parquet", "tdms", "hdf5")
"""Formats that a recorder can append to."""


class Onward(NamedTuple):
    """Complete blows from a growing file: the place of each in it, and whether the file itself numbers them.

    Without a piece it is one blow that cannot be read, with the problem.
    """

    piece: Piece | None
    places: np.ndarray
    named: bool
    problem: str = ""


class Growing:
    """A growing file of many blows, read in parts: `after` gives only blows not given before.

    Parameters
    ----------
    sheet : TestSheet
        Format of the records, and the gauges.
    path : Path
        The file.
    """

    def __init__(self, sheet: TestSheet, path: Path):
        self.sheet, self.path, self.source = sheet, path, known_as(path)
        self.channels = channels_of(sheet.gauges)
        self.seen = 0
        self.left = ""
        """Incomplete blow at the end of the file; empty if all are complete."""
        self.stream: _Stream | None = None
        self.text: TextRows | None = None
        self.own = sheet.records is None and path.name.lower().endswith(OWN_ENDINGS)
        self.records = sheet.records or Records()
        self.format = "own" if self.own else format_of(path, self.records)
        self.kind = "one a file"
        if path.suffix.lower() == ".gz" or not (self.own or self.format in GROWING_FORMATS):
            return  # cannot be read in parts
        if path.suffix.lower() != ".parquet" if self.own else self.format == "text":
            self.text = TextRows(path, None if self.own else self.records, self.source)
        if self.own:
            table, _ = self._rows(0, 1, rests=True, ended=True)
            if isinstance(table, NumberTable) and "blow" in _names(table):
                self.kind = "column"
            return
        opened = self.opened(0, 16)
        self.kind = layout_kind(opened[0], self.records, len(opened))
        if len(opened) > 1 and self.kind == "one a file":
            self.kind = "groups"
        if self.kind == "continuous":
            self.stream = _Stream(self)

    @property
    def grows(self) -> bool:
        """Whether the file can be read in parts: many blows, in a format that can be appended to."""
        return self.kind != "one a file"

    def after(
        self, place: int, count: int, samples: int, rests: bool, ended: bool = False, time: np.ndarray | None = None
    ) -> Iterator[Onward]:
        """Give the complete blows after the one at a place, all of them if the place is -1.

        Parameters
        ----------
        place : int
            Place of the last blow read: its first row, its number from 0, or its impact in a stream [1].
        count : int
            Blows read from the file so far [1].
        samples : int
            Samples of a blow, 0 if not yet known [1].
        rests : bool
            Whether the file is unchanged since the last scan; else only what was there then is read.
        ended : bool
            Whether recording has ended.
        time : numpy.ndarray or None
            Times of the samples of the last blow read, from its impact [s].
        """
        self.left = ""
        if self.stream is not None:
            yield from self.stream.after(place, count, time)
        elif self.kind == "column":
            yield from self._columns(0 if place < 0 else place + samples, samples, rests, ended)
        else:
            yield from self._whole_blows(place + 1, rests)

    def at(self, place: int, samples: int) -> Piece | None:
        """Give the blow at a place; None in a stream, or if there is none."""
        if self.kind == "column":
            table, rows = self._rows(place, samples, rests=True, ended=True)
            return None if rows < samples or len(self._starts(table)) > 1 else self._piece(table)
        if self.stream is None:
            return next((one.piece for one in self._whole_blows(place, True, 1)), None)
        return None

    def opened(self, start: int = 0, most: int = ROWS_AT_ONCE) -> tuple[Contents, ...]:
        """Open the file; of a text file only some rows."""
        if self.text is not None:
            data, _ = self.text.rows(start, most)
            return (contents_of(data, self.text.records or self.records, self.source),)
        return tuple(with_one_start(one, self.records, self.channels) for one in open_records(self.path, self.records))

    def _rows(self, start: int, most: int, rests: bool, ended: bool) -> tuple[NumberTable | Contents | None, int]:
        """Give up to `most` rows from a start row, and how many there are."""
        if self.text is not None:
            data, rows = self.text.rows(start, most, ended)
            if not rows:
                return None, 0
            if self.own:
                return csv_table(data, self.source), rows
            return contents_of(data, self.text.records or self.records, self.source), rows
        if self.own:
            table = parquet_table(self.path, start, most)
            return table, table.n_rows
        (contents,) = self.opened()
        first = gauges_of(contents, self.records, self.channels)
        total = min(contents.channels[one.places[0]].shape[0] for one in first.values())
        there = total if rests else min(total, self.seen)
        self.seen = total
        rows = max(0, min(most, there - start))
        every = [place for place, one in enumerate(contents.channels) if len(one.shape) == 1]
        return (window_of(contents, every, start, rows), rows) if rows else (None, 0)

    def _starts(self, table: NumberTable | Contents | None) -> np.ndarray:
        """Give the row of each blow's first sample in a part of the file."""
        if isinstance(table, NumberTable):
            numbers = next(table.columns([_names(table).index("blow")]))
        else:
            assert table is not None
            found = locate(table, "blow", "", self.records)
            assert found is not None
            numbers = np.asarray(table.column(found.places[0]))
        return np.concatenate([[0], np.flatnonzero(np.diff(numbers)) + 1])

    def _piece(self, table: NumberTable | Contents | None) -> Piece:
        if isinstance(table, NumberTable):
            return piece_of_table(table, self.channels)
        assert table is not None
        return stacked_samples(table, self.records, self.channels, numbered=True)

    def _columns(self, start: int, samples: int, rests: bool, ended: bool) -> Iterator[Onward]:
        """Give blows whose samples are in consecutive rows, with a column that numbers them."""
        while True:
            most = max(ROWS_AT_ONCE, 4 * samples)
            table, rows = self._rows(start, most, rests, ended)
            if not rows:
                return
            starts = self._starts(table)
            usual = samples or (int(starts[1]) if len(starts) > 1 else rows if rests else 0)
            last = rows - int(starts[-1])
            whole = rows if last == usual else int(starts[-1])
            if last != usual and rows < most:
                self.left = f"ends within a blow, after {last} of {usual or 'its'} samples"
            if not whole:
                return
            table, _ = (table, rows) if whole == rows else self._rows(start, whole, True, ended)
            begins = starts[starts < whole]
            try:
                yield Onward(self._piece(table), start + begins, True)
            except InputError:
                yield from self._one_by_one(start + begins, np.diff(begins, append=whole), ended)
            samples = usual
            start += whole

    def _one_by_one(self, begins: np.ndarray, lengths: np.ndarray, ended: bool) -> Iterator[Onward]:
        """Give one at a time blows that cannot be read together."""
        for begin, length in zip(begins.tolist(), lengths.tolist(), strict=True):
            table, _ = self._rows(begin, length, True, ended)
            piece, problem = None, ""
            try:
                piece = self._piece(table)
            except InputError as trouble:
                problem = str(trouble)
            yield Onward(piece, np.array([begin]), True, problem)

    def _whole_blows(self, start: int, rests: bool, most: int = BLOWS_AT_ONCE) -> Iterator[Onward]:
        """Give blows stored as one row of an array, or one group, each."""
        opened = self.opened()
        if self.kind == "groups":
            there = len(opened) if rests else min(len(opened), self.seen)
            self.seen = len(opened)
            for place in range(start, there):
                try:
                    piece = stacked_samples(opened[place], self.records, self.channels, numbered=False)
                except InputError as trouble:
                    yield Onward(None, np.array([place]), False, str(trouble))
                    continue
                yield Onward(_numbered(piece, place + 1), np.array([place]), False)
            return
        (contents,) = opened
        gauges = gauges_of(contents, self.records, self.channels)
        marks = [locate(contents, name, kind, self.records, required=False) for name, kind in _BY_BLOW.items()]
        places = [one.places[0] for one in (*gauges.values(), *(mark for mark in marks if mark is not None))]
        total = min(contents.channels[place].shape[0] for place in places)
        there = total if rests else min(total, self.seen)
        self.seen = total
        times = find_places(contents, "time", self.records.group)
        places += [place for place in times if len(contents.channels[place].shape) == 2]
        for first in range(start, there, most):
            rows = window_of(contents, places, first, min(most, there - first))
            try:
                piece = blow_rows(rows, self.records, self.channels)
            except InputError as trouble:
                if most == 1:
                    yield Onward(None, np.array([first]), False, str(trouble))
                else:
                    yield from self._whole_blows(first, True, 1)
                    return
                continue
            yield Onward(_numbered(piece, first + 1), first + np.arange(len(piece.layout.blow)), False)


_BY_BLOW = {"clock": "time", "penetration": "length"}


def _names(table: NumberTable) -> list[str]:
    return [Header.parse(text).name for text in table.headers]


def _numbered(piece: Piece, first: int) -> Piece:
    """Give blows numbered consecutively from a first number."""
    numbers = first + np.arange(len(piece.layout.blow))
    return replace(piece, numbered=True, layout=BlowLayout(numbers, piece.layout.n_samples))


class _Stream:
    """The end of a continuous stream: its last few blows and the samples after them."""

    def __init__(self, file: Growing):
        self.file = file
        self.begin = 0
        self.held = np.empty((sum(len(names) for names in file.channels.values()), 0))
        self.onsets: list[int] = []
        self.window: tuple[int, int] | None = None
        self.time: tuple[float, float] | None = None

    def after(self, place: int, count: int, time: np.ndarray | None) -> Iterator[Onward]:
        """Cut new samples into blows and give the complete ones."""
        first = self.time is None
        start, step = self.time = self.time or self._times()
        if first and place >= 0 and time is not None:  # read before the program was restarted
            self.window = round(-float(time[0]) / step), len(time)
            self.begin = max(0, place - self.window[0] - round(BEFORE_WINDOW / step))
            self.onsets = [place]
        elif self.onsets and place < self.onsets[-1]:  # blows that could not be saved are read again
            self.onsets = [one for one in self.onsets if one <= place]
            lead = 0 if self.window is None else self.window[0]
            self.begin = max(0, place - lead - round(BEFORE_WINDOW / step)) if self.onsets else 0
            self.held = self.held[:, :0]
        self._drop(place, step)
        while self.held.shape[1] * step < 2.0 * STREAM_HELD:
            contents, gauges, new = self._more()
            if contents is None or not new.shape[1]:
                return
            self.held = np.concatenate([self.held, new], axis=1)
            onset = self._cut(gauges, place, step)
            if onset.size:
                assert self.window is not None
                lead, size = self.window
                windows = np.stack([self.held[:, at - lead : at - lead + size] for at in onset - self.begin])
                cut = stream_piece(contents, gauges, self.file.channels, windows, onset, lead, (start, step))
                self.onsets += onset.tolist()
                yield Onward(_numbered(cut, count + 1), onset, False)
                place, count = int(onset[-1]), count + len(onset)
            self._drop(place, step)
            if new.shape[1] < ROWS_AT_ONCE:
                return

    def _times(self) -> tuple[float, float]:
        """Give the time of the first sample and the time step [s]."""
        file = self.file
        contents = file.opened(0, ROWS_AT_ONCE)[0]
        gauges = stream_channels(contents, file.records, file.channels)
        total = min(contents.channels[next(iter(gauges.values())).places[0]].shape[0], ROWS_AT_ONCE)
        if total < LEAST_OF_STREAM:
            raise InputError(
                file.source, "", f"has only {total} samples so far", "wait until the recorder has written more"
            )
        every = [place for place, one in enumerate(contents.channels) if len(one.shape) == 1]
        return stream_time(window_of(contents, every, 0, total), file.records, list(gauges.values()), total)

    def _more(self) -> tuple[Contents | None, dict[str, Found], np.ndarray]:
        """Give the next samples not yet in memory, shape (n_channels, n) [unit of the file]."""
        file, start = self.file, self.begin + self.held.shape[1]
        if file.text is not None:
            data, rows = file.text.rows(start, ROWS_AT_ONCE)
            if not rows:
                return None, {}, self.held[:, :0]
            contents, first = contents_of(data, file.text.records or file.records, file.source), 0
        else:
            (contents,), first = file.opened(), start
        gauges = stream_channels(contents, file.records, file.channels)
        total = contents.channels[next(iter(gauges.values())).places[0]].shape[0]
        there = total if file.text is not None else min(total, max(file.seen, 0))
        file.seen = total
        count = max(0, min(ROWS_AT_ONCE, there - first))
        return contents, gauges, stream_part(contents, list(gauges.values()), first, count)

    def _cut(self, gauges: dict[str, Found], place: int, step: float) -> np.ndarray:
        """Give the impacts of the complete blows after a place, shape (n_blows,) [1]."""
        file, names = self.file, list(gauges)
        used = [name for name in file.channels["strain"] if name not in channels_left_out(file.sheet)]
        strain = self.held[[names.index(name) for name in used]]
        factors = np.array([gauges[name].factor for name in used]) / len(used)

        def piece(begin: int, number: int) -> np.ndarray:
            return strain[:, begin : begin + number]

        try:
            stretch = StrainStream(iter([strain]), piece, factors, step, file.source)
            found = impacts_of(stretch, file.records.trigger)
        except InputError:  # no impact
            return np.empty(0, dtype=int)
        blows = self.begin + found.onset[found.kinds == 0]
        if place >= 0:
            blows = blows[blows > place + round(DOUBLE_STRIKE_GAP / step)]
        if not blows.size:
            return blows
        self.window = self.window or window_from(int(blows[0]), step, file.records.before, file.records.length)
        lead, size = self.window
        return blows[(blows - lead >= self.begin) & (blows - lead + size <= self.begin + self.held.shape[1])]

    def _drop(self, place: int, step: float) -> None:
        """Keep in memory only the last blows read and the samples after them."""
        self.onsets = [one for one in self.onsets if one <= place][-STREAM_BLOWS:]
        keep = self.begin + self.held.shape[1] - round(STREAM_HELD / step)
        if self.onsets and self.window is not None:
            keep = max(keep, self.onsets[0] - self.window[0] - round(BEFORE_WINDOW / step))
        if keep > self.begin:
            self.held, self.begin = self.held[:, keep - self.begin :].copy(), keep
