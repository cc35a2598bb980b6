"""Small CSV tables with units in their headers: driving logs, production logs, tables of piles.

Intervals of depth with their blow counts: what a driving log and a production log share.

The driving log: the inspector's blow counts, which alone tie blow numbers to depth.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.files import read_text
from dyntest.reading.text_tables import Column, TextTable, find_columns, text_table
from dyntest.reading.values import LENGTH_FROM_ZERO, STROKE, Range
from dyntest.reading.wording import known_as, printable, shown
from dyntest.units import plain_number, unit_factor


@dataclass(frozen=True)
class LogTable:
    """A table as text with its columns found.

    Parameters
    ----------
    text : TextTable
        Rows as text.
    columns : dict of str to Column
        The columns that were found.
    """

    text: TextTable
    columns: dict[str, Column]

    @property
    def source(self) -> str:
        """The file's name for messages."""
        return self.text.source

    @property
    def row_numbers(self) -> np.ndarray:
        """Number of each row as a spreadsheet shows it, shape (n_rows,) [1]."""
        return np.array([number for number, _ in self.text.rows])

    def texts(self, name: str) -> tuple[str, ...]:
        """Give a column as text, in one line each."""
        if name not in self.columns:
            return ("",) * len(self.text.rows)
        index = self.columns[name].index
        return tuple(printable(fields[index].strip(), 1000) for _, fields in self.text.rows)

    def numbers(self, name: str, allowed: Range, blank: float | None = None) -> np.ndarray:
        """Give a column as numbers in SI."""
        if name not in self.columns:
            return np.full(len(self.text.rows), np.nan if blank is None else blank)
        column = self.columns[name]
        return np.array(
            [self._number(row, fields[column.index], column, allowed, blank) for row, fields in self.text.rows]
        )

    def _number(self, row: int, field: str, column: Column, allowed: Range, blank: float | None) -> float:
        place = f"row {row}, column {column.text}"
        if not field.strip():
            if blank is None:
                raise InputError(self.source, place, "is empty", "fill in the number")
            return blank
        try:
            value = plain_number(field, self.text.decimal)
        except ValueError:
            raise InputError(
                self.source, place, f"{shown(field.strip())} is not a number", "write a plain number"
            ) from None
        if value * column.factor not in allowed:
            problem = f"{shown(field.strip())} cannot be right, it lies outside {allowed}"
            raise InputError(self.source, place, problem, "check the number and the unit in the header")
        return value * column.factor


def read_log_table(path: Path, required: dict[str, str], optional: dict[str, str]) -> LogTable:
    """Read a small CSV table."""
    source = known_as(path)
    text = text_table(read_text(path), source)
    return LogTable(text, find_columns(text.headers, required, optional, source))


DEPTHS = {"depth_from": "length", "depth_to": "length", "blows": ""}
"""Columns that every log has, with their dimensions."""

OPTIONAL = {"stroke": "length", "remark": ""}
"""Columns that a log may have, with their dimensions."""

BLOWS = Range(0, 20_000)
"""Blows of one interval that are believed [1]; absolute refusal is 240 blows per foot (UFC 3-220-20, 6-4.1.2), and an
interval may be long."""

GAP_TOLERANCE = 0.002
"""Most that one interval may end above or below the start of the next [m]: depths rounded to a hundredth of a foot.
Our own, no source."""

FOOT = unit_factor("ft", "length")


@dataclass(frozen=True)
class Intervals:
    """Intervals of depth in the order of the file.

    Parameters
    ----------
    row : numpy.ndarray
        Row of each in the file, shape (n_intervals,) [1].
    depth_from, depth_to : numpy.ndarray
        Top and bottom, shape (n_intervals,) [m].
    blows : numpy.ndarray
        Blow counts, shape (n_intervals,) [1].
    stroke : numpy.ndarray
        Stroke, shape (n_intervals,) [m]; not a number where there is none.
    """

    row: np.ndarray
    depth_from: np.ndarray
    depth_to: np.ndarray
    blows: np.ndarray
    stroke: np.ndarray


def read_intervals(table: LogTable) -> Intervals:
    """Give the intervals of a log."""
    depth_from, depth_to = (
        whole_inches(table.numbers(name, LENGTH_FROM_ZERO), table.columns[name].factor)
        for name in ("depth_from", "depth_to")
    )
    blows = table.numbers("blows", BLOWS)
    rows = table.row_numbers
    broken = np.flatnonzero(blows != np.rint(blows))
    if broken.size:
        place = f"row {rows[broken[0]]}, column blows"
        raise InputError(table.source, place, f"{blows[broken[0]]:g} is not a whole number", "write the counted blows")
    upward = np.flatnonzero(depth_to <= depth_from)
    if upward.size:
        problem = "depth_to is not below depth_from"
        raise InputError(
            table.source, f"row {rows[upward[0]]}", problem, "write the interval from its top to its bottom"
        )
    return Intervals(
        row=rows,
        depth_from=depth_from,
        depth_to=depth_to,
        blows=blows.astype(np.int64),
        stroke=table.numbers("stroke", STROKE, blank=np.nan),
    )


def whole_inches(depth: np.ndarray, factor: float) -> np.ndarray:
    """Give depths in which those written in feet as a rounded whole inch are that inch again.

    An inspector who counts by the inch writes 60 ft 1 in as 60.08 ft, and 60.17 ft next: as they stand, five blows in
    each would be 5.2 and 4.6 blows per inch.

    Units: depth, factor [m]; returns [m].

    Examples
    --------
    >>> (whole_inches(np.array([60.08, 60.17, 60.1, 60.25]) * 0.3048, 0.3048) / 0.3048).round(4).tolist()
    [60.0833, 60.1667, 60.1, 60.25]
    """
    if abs(factor - FOOT) > 1e-9:
        return depth
    feet = depth / FOOT
    inch = np.rint(12.0 * feet) / 12.0
    rounded = [np.abs(np.round(inch, decimals) - feet) < 1e-9 for decimals in (2, 3, 4)]
    return np.where(np.any(rounded, axis=0), inch * FOOT, depth)


def check_contiguous(intervals: Intervals, chosen: np.ndarray, source: str) -> None:
    """Refuse intervals of one pile that leave a gap, overlap or are out of order."""
    step = intervals.depth_from[chosen[1:]] - intervals.depth_to[chosen[:-1]]
    wrong = np.flatnonzero(np.abs(step) > GAP_TOLERANCE)
    if not wrong.size:
        return
    index = int(wrong[0])
    before, row = intervals.row[chosen[index]], intervals.row[chosen[index + 1]]
    size = abs(step[index])
    if step[index] > 0.0:
        problem, cure = f"leaves a gap of {size:.3g} m below row {before}", "add the interval between, with its blows"
    else:
        problem, cure = f"begins {size:.3g} m above the end of row {before}", "put the rows in order without overlap"
    raise InputError(source, f"row {row}, column depth_from", problem, cure)


@dataclass(frozen=True)
class DrivingLog:
    """Blow counts by interval of depth, from the top down, without gaps.

    Parameters
    ----------
    source : str
        Where it was read from, for messages.
    depth_from, depth_to : numpy.ndarray
        Top and bottom of each interval, shape (n_intervals,) [m], penetration of the toe.
    blows : numpy.ndarray
        Blows in each interval, shape (n_intervals,) [1]; none where the pile ran under its own weight.
    stroke : numpy.ndarray
        Stroke of the ram, shape (n_intervals,) [m]; not a number where the log has none.
    remark : tuple of str
        What the inspector noted; empty where nothing.
    """

    source: str
    depth_from: np.ndarray
    depth_to: np.ndarray
    blows: np.ndarray
    stroke: np.ndarray
    remark: tuple[str, ...]


def read_driving_log(path: str | Path) -> DrivingLog:
    """Read a driving log."""
    table = read_log_table(Path(path), required=DEPTHS, optional=OPTIONAL)
    intervals = read_intervals(table)
    check_contiguous(intervals, np.arange(len(intervals.row)), table.source)
    return DrivingLog(
        source=table.source,
        depth_from=intervals.depth_from,
        depth_to=intervals.depth_to,
        blows=intervals.blows,
        stroke=intervals.stroke,
        remark=table.texts("remark"),
    )


def penetration_by_blow(log: DrivingLog) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give set and penetration of every blow in the log, spread evenly within each interval.

    Blow k of N in an interval from d₀ to d₁ has the set ``s = (d₁ − d₀)/N`` and leaves the toe at ``d₀ + k·s``.

    Units: returns [m].

    Examples
    --------
    >>> log = DrivingLog("log.csv", np.array([0.0, 1.0]), np.array([1.0, 1.5]), np.array([0, 2]),
    ...                  np.array([np.nan, 2.0]), ("ran", ""))
    >>> [values.tolist() for values in penetration_by_blow(log)]
    [[0.25, 0.25], [1.25, 1.5], [2.0, 2.0]]
    """
    size = (log.depth_to - log.depth_from) / np.maximum(log.blows, 1)
    set_per_blow = np.repeat(size, log.blows)
    before = np.repeat(np.cumsum(log.blows) - log.blows, log.blows)
    count = np.arange(1, len(before) + 1) - before
    penetration = np.repeat(log.depth_from, log.blows) + count * set_per_blow
    return set_per_blow, penetration, np.repeat(log.stroke, log.blows)
