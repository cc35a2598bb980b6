"""Small CSV tables with units in their headers: driving logs, production logs, tables of piles.

The driving log is the inspector's blow counts, the only link between blow numbers and depth.
"""

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.files import read_text
from dyntest.reading.log_layouts import (
    LOWER_BOUND,
    NO_BLOWS,
    PART_COUNT,
    STROKE_RANGE,
    WORKBOOKS,
    counts_run_on,
    laid_out_rows,
)
from dyntest.reading.parts import LogLayout
from dyntest.reading.text_tables import (
    Column,
    Header,
    TextTable,
    doubtful_mark,
    find_columns,
    text_table,
    thousands_or_decimals,
    written_number,
)
from dyntest.reading.values import LENGTH_FROM_ZERO, STROKE, Range
from dyntest.reading.wording import as_written, known_as, printable
from dyntest.units import unit_factor


@dataclass(frozen=True)
class LogTable:
    """A table as text with its columns found.

    Parameters
    ----------
    text : TextTable
        Rows as text.
    columns : dict of str to Column
        The columns that were found.
    running : bool
        Whether the blow count is cumulative from the start of driving.
    stated : bool
        Whether that is certain: stated in the sheet, or a table in the program's own format.
    """

    text: TextTable
    columns: dict[str, Column]
    running: bool = False
    stated: bool = True

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
        self._refuse_thousands(column, allowed)
        return np.array(
            [self._number(row, fields[column.index], column, allowed, blank) for row, fields in self.text.rows]
        )

    def _refuse_thousands(self, column: Column, allowed: Range) -> None:
        """Refuse a column whose numbers would also be possible if their mark set thousands apart."""
        names = [one.index for name, one in self.columns.items() if name not in ("pile", "date", "remark")]
        written = [[fields[index] for _, fields in self.text.rows] for index in names]
        if self.text.marked or not thousands_or_decimals(written, self.text.decimal):
            return
        doubt = thousands_or_decimals([[fields[column.index] for _, fields in self.text.rows]], self.text.decimal)
        if doubt and 1000.0 * written_number(doubt, self.text.decimal) * column.factor in allowed:
            row = next(number for number, row in self.text.rows if row[column.index].strip() == doubt)
            cure = "write the numbers without thousands marks; if they are decimals, write the mark as decimal in [log]"
            raise doubtful_mark(self.source, f"row {row}, column {column.text}", doubt, cure)

    def _number(self, row: int, field: str, column: Column, allowed: Range, blank: float | None) -> float:
        place = f"row {row}, column {column.text}"
        if not field.strip():
            if blank is None:
                cure = "fill in the number"
                if self.source.lower().endswith(WORKBOOKS):
                    cure += "; a formula has none until the workbook is computed and saved"
                raise InputError(self.source, place, "is empty", cure)
            return blank
        try:
            value = written_number(field, self.text.decimal)
        except ValueError:
            problem, cure = f"{as_written(field.strip())} is not a number", "write a plain number"
            if allowed in (BLOWS, RUNNING_BLOWS) and LOWER_BOUND.fullmatch(field.strip()):
                problem = f"{as_written(field.strip())} says only how many blows there were at least"
                cure = "write the blows counted, and the depth at which they ended"
            elif allowed in (BLOWS, RUNNING_BLOWS):
                cure += ", 0 where the pile ran under its own weight"
            raise InputError(self.source, place, problem, cure) from None
        if value * column.factor not in allowed:
            problem = f"{as_written(field.strip())} cannot be right: it is outside {allowed}"
            raise InputError(self.source, place, problem, "check the number and the unit in the header")
        return value * column.factor


def read_log_table(
    path: Path, required: dict[str, str], optional: dict[str, str], layout: LogLayout | None = None
) -> LogTable:
    """Read a small table in the program's own format, or in the layout given in the sheet."""
    if layout is not None or path.suffix.lower() in WORKBOOKS:
        layout = layout or LogLayout()
        text, columns = laid_out_rows(path, required, optional, layout)
        return _in_numbers(LogTable(text, columns, counts_run_on(layout, columns), layout.cumulative is not None))
    source = known_as(path)
    text = text_table(read_text(path), source)
    return _in_numbers(LogTable(text, find_columns(text.headers, required, optional, source)))


_COUNT_IN_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:[.,]\d{3})+")


def _in_numbers(table: LogTable) -> LogTable:
    """Give a log with numbers for what inspectors write in words: no blows, and a stroke as a range, with a remark."""
    if "blows" not in table.columns:
        return table
    blows, stroke = table.columns["blows"].index, table.columns.get("stroke")
    counts = [fields[blows].strip() for _, fields in table.text.rows]
    apart = [one for one in counts if _COUNT_IN_THOUSANDS.fullmatch(one)]
    small = [one for one in counts if one.isdecimal() and len(one) < 4]
    grouped = len(small) < len(small) + len(apart) == len(counts) and any(
        re.search(r"[1-9]", one[-3:]) for one in apart
    )
    columns, headers = dict(table.columns), table.text.headers
    if "remark" not in columns:
        columns["remark"] = Column(len(headers), 1.0, Header("remark", "", "remark"))
        headers = (*headers, "remark")
    remark, pile = columns["remark"].index, table.columns.get("pile")
    rows: list[tuple[int, list[str]]] = []
    before: dict[str, str] = {}
    mark = ""
    for number, fields in table.text.rows:
        row = [*fields, *[""] * (len(headers) - len(fields))]
        mark = mark if pile is None else row[pile.index].strip() or mark
        none = NO_BLOWS.match(row[blows].strip())
        if none:
            rest = row[blows].strip()[none.end() :].strip()
            row[blows] = before.get(mark, "0") if table.running else f"0 {rest}".strip()
        elif grouped and row[blows].strip() in apart:
            row[blows] = re.sub(r"[.,]", "", row[blows])
        before[mark] = row[blows]
        middle = None if stroke is None else _middle(row[stroke.index].strip())
        if stroke is not None and middle is not None:
            note = f"stroke {row[stroke.index].strip()}, its middle is used"
            row[remark] = f"{row[remark].strip()}; {note}".strip("; ")
            row[stroke.index] = middle.replace(".", table.text.decimal)
        rows.append((number, row))
    return replace(table, text=replace(table.text, headers=headers, rows=tuple(rows)), columns=columns)


def _middle(text: str) -> str | None:
    """Give the middle of a stroke written as a range, such as ``7.5`` for ``7-8``; None for another text."""
    match = STROKE_RANGE.fullmatch(text)
    low, high = (float(end.replace(",", ".")) for end in match.groups()) if match else (0.0, 0.0)
    return f"{0.5 * (low + high):.6g}" if low < high <= WIDEST_STROKE * low else None


DEPTHS = {"depth_from": "length", "depth_to": "length", "blows": ""}
"""Columns that every log has, with their dimensions."""

OPTIONAL = {"stroke": "length", "remark": ""}
"""Columns that a log may have, with their dimensions."""

FOOT = unit_factor("ft", "length")

BLOWS = Range(0, 20_000)
"""Largest blow count of one interval accepted [1]; absolute refusal is 240 blows per foot (UFC 3-220-20, 6-4.1.2), and
an interval may be long."""

RUNNING_BLOWS = Range(0, 1_000_000)
"""Largest cumulative count accepted [1]. Our own, no source."""

ABSOLUTE_REFUSAL = 240 / FOOT
"""Blow count that no long interval exceeds [1/m]: 240 blows per foot (UFC 3-220-20, 6-4.1.2)."""

RISING_INTERVALS = 8
"""Successive intervals of rising count before it is suspected to be cumulative [1]. Our own, no source."""

PART_TOLERANCE = 0.005
"""Largest difference between the length of a row and that over which its blows are said to be counted [m]. Our own."""

WIDEST_STROKE = 1.5
"""Largest ratio of the ends of a stroke written as a range [1]: a wider one is no stroke of one interval. Our own."""

GAP_TOLERANCE = 0.002
"""Largest gap or overlap between intervals [m]: depths are rounded to a hundredth of a foot. Our own, no source."""


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
    start_assumed : bool
        Whether the top of the first interval had to be assumed from the length of the next.
    """

    row: np.ndarray
    depth_from: np.ndarray
    depth_to: np.ndarray
    blows: np.ndarray
    stroke: np.ndarray
    start_assumed: bool = False


def read_intervals(table: LogTable, pile: np.ndarray | None = None, start: float | None = None) -> Intervals:
    """Give the intervals of a log, pile by pile if there are several.

    If the log has no tops, an interval begins where the one above ended, and the first at the start of driving.

    Units: start [m].
    """
    table = _without_start(table, start) if pile is None and "depth_from" not in table.columns else table
    rows = table.row_numbers
    depth_to = _depths(table, "depth_to")
    piles = np.zeros(len(rows), dtype=int) if pile is None else np.unique(pile, return_inverse=True)[1]
    assumed = False
    if "depth_from" in table.columns:
        depth_from = _depths(table, "depth_from")
    else:
        depth_from = np.empty(len(rows))
        for one in np.unique(piles):
            own = np.flatnonzero(piles == one)
            depth_from[own[1:]] = depth_to[own[:-1]]
            depth_from[own[0]], guessed = _first_top(table, rows[own], depth_to[own], start)
            assumed = assumed or guessed
    _refuse_rates(table, depth_to - depth_from, piles)
    if not table.running:
        table = _with_part_counts(table, depth_to - depth_from)
    blows = table.numbers("blows", RUNNING_BLOWS if table.running else BLOWS)
    broken = np.flatnonzero(blows != np.rint(blows))
    if broken.size:
        place = f"row {rows[broken[0]]}, column blows"
        raise InputError(table.source, place, f"{blows[broken[0]]:g} is not a whole number", "write the counted blows")
    if table.running:
        blows = _by_interval(table, blows, piles)
    upward = np.flatnonzero(depth_to <= depth_from)
    if upward.size:
        problem, cure = "depth_to is not below depth_from", "write the interval from its top to its bottom"
        if "depth_from" not in table.columns:
            problem, cure = "is no deeper than the row before", "put the rows in the order of driving"
        raise InputError(table.source, f"row {rows[upward[0]]}", problem, cure)
    _refuse_running_counts(table, depth_to - depth_from, blows, piles)
    return Intervals(
        row=rows,
        depth_from=depth_from,
        depth_to=depth_to,
        blows=blows.astype(np.int64),
        stroke=table.numbers("stroke", STROKE, blank=np.nan),
        start_assumed=assumed,
    )


def _without_start(table: LogTable, start: float | None) -> LogTable:
    """Give a log without a first row that only says where driving starts: at that depth, with no blow.

    Units: start [m].
    """
    if len(table.text.rows) < 2:
        return table
    first = replace(table, text=replace(table.text, rows=table.text.rows[:1]))
    try:
        depth, blows = _depths(first, "depth_to")[0], first.numbers("blows", RUNNING_BLOWS, blank=0.0)[0]
    except InputError:
        return table
    if blows != 0.0 or abs(depth - (start or 0.0)) > GAP_TOLERANCE:
        return table
    return replace(table, text=replace(table.text, rows=table.text.rows[1:]))


_RATE = re.compile(
    r"(?:/|\bper\b|\bje\b|\bpro\b|\bpar\b|\bpor\b)\s*(\d+(?:[.,]\d+)?)?\s*(feet|foot|ft|inch|in|cm|mm|metre|meter|m)\b\.?|\b(bpf)\b",
    re.IGNORECASE,
)
"""A header of counts that says over which length they are counted."""


def _refuse_rates(table: LogTable, size: np.ndarray, piles: np.ndarray) -> None:
    """Refuse intervals of another length than the header of the counts says: counts and rates cannot be told apart.

    The first interval of a pile may begin anywhere. Units: size [m].
    """
    title = table.columns["blows"].text
    match = _RATE.search(title)
    if match is None or table.running or table.stated:
        return
    unit = {"feet": "ft", "foot": "ft", "inch": "in", "metre": "m", "meter": "m"}.get(
        (match[2] or "ft").lower(), (match[2] or "ft").lower()
    )
    length = float((match[1] or "1").replace(",", ".")) * unit_factor(unit, "length")
    other = np.flatnonzero(np.abs(size - length) > max(PART_TOLERANCE, 0.02 * length))
    part = [PART_COUNT.fullmatch(field.strip()) for field in table.texts("blows")]
    first = np.unique(piles, return_index=True)[1]
    other = np.array([index for index in other if part[index] is None and index not in first], dtype=int)
    if other.size:
        row = table.row_numbers[other[0]]
        problem = f"is {size[other[0]]:.4g} m long, but its header counts over {length:.4g} m"
        cure = "write [log] cumulative = false if each row has the blows counted in it, else these"
        raise InputError(table.source, f"row {row}, column {title}", problem, cure)


def _with_part_counts(table: LogTable, size: np.ndarray) -> LogTable:
    """Give a log in which blows over part of an interval are the count of a row of that length, which it must have.

    Units: size [m].
    """
    index = table.columns["blows"].index
    rows = []
    for (number, fields), length in zip(table.text.rows, size, strict=True):
        match = PART_COUNT.fullmatch(fields[index].strip())
        if match:
            unit = "in" if match[3] in ('"', "''") else match[3]
            part = float(match[2]) * unit_factor(unit, "length")
            if abs(part - length) > PART_TOLERANCE:
                problem = f"{as_written(match[0])} is a count over {part:.3g} m, but the row is {length:.3g} m long"
                cure = f"write {match[1]}, and the depth at which these blows ended"
                raise InputError(table.source, f"row {number}, column {table.columns['blows'].text}", problem, cure)
            fields = [*fields[:index], match[1], *fields[index + 1 :]]
        rows.append((number, fields))
    return replace(table, text=replace(table.text, rows=tuple(rows)))


def _depths(table: LogTable, name: str) -> np.ndarray:
    return whole_inches(table.numbers(name, LENGTH_FROM_ZERO), table.columns[name].factor)


def _first_top(table: LogTable, rows: np.ndarray, depth_to: np.ndarray, start: float | None) -> tuple[float, bool]:
    """Give the top of the first interval [m], and whether it had to be assumed from the next."""
    if start is not None:
        if start >= depth_to[0]:
            problem = f"ends at {depth_to[0]:.4g} m, but penetration_at_start is {start:.4g} m"
            raise InputError(table.source, f"row {rows[0]}", problem, "correct one of the two")
        return start, False
    if len(depth_to) < 2 or depth_to[1] <= depth_to[0]:
        problem = "does not give the top of its first interval"
        raise InputError(table.source, f"row {rows[0]}", problem, "write penetration_at_start in the [[drive]]")
    size = depth_to[1] - depth_to[0]
    if depth_to[0] <= size * (1.0 + 1e-6):
        return 0.0, False  # the count starts at the ground
    return float(depth_to[0] - size), True


def _by_interval(table: LogTable, running: np.ndarray, piles: np.ndarray) -> np.ndarray:
    """Give the blows of each interval from cumulative counts."""
    blows = running.copy()
    for one in np.unique(piles):
        own = np.flatnonzero(piles == one)
        blows[own[1:]] = np.diff(running[own])
        fallen = np.flatnonzero(blows[own] < 0)
        if fallen.size:
            place = f"row {table.row_numbers[own[fallen[0]]]}, column {table.columns['blows'].text}"
            problem = "the cumulative count decreases"
            raise InputError(table.source, place, problem, "correct it, or write [log] cumulative = false")
    return blows


def _refuse_running_counts(table: LogTable, size: np.ndarray, blows: np.ndarray, piles: np.ndarray) -> None:
    """Refuse counts that look cumulative: never decreasing over many intervals, and beyond any refusal."""
    if table.running or table.stated:
        return
    for one in np.unique(piles):
        own = piles == one
        count, rate = blows[own], blows[own] / size[own]
        rising = len(count) >= RISING_INTERVALS and (np.diff(count) > 0).all()
        if rising and (rate > ABSOLUTE_REFUSAL).sum() >= RISING_INTERVALS // 2:
            row = table.row_numbers[own][-1]
            problem = f"counts rise in every interval, to {count[-1]:.0f}, beyond any refusal"
            cure = "write [log] cumulative = true if the counts are cumulative, else false"
            raise InputError(table.source, f"row {row}, column blows", problem, cure)


def whole_inches(depth: np.ndarray, factor: float) -> np.ndarray:
    """Give depths in which whole inches, rounded in feet, are exact inches again.

    An inspector who counts by the inch writes 60 ft 1 in as 60.08 ft, and 60.17 ft next. Unchanged, five blows in each
    would be 5.2 and 4.6 blows per inch.

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
        Blows in each interval, shape (n_intervals,) [1]; 0 where the pile ran under its own weight.
    stroke : numpy.ndarray
        Stroke of the ram, shape (n_intervals,) [m]; not a number where the log has none.
    remark : tuple of str
        Remark of the inspector; empty if none.
    start_assumed : bool
        Whether the top of the first interval had to be taken from the length of the next.
    """

    source: str
    depth_from: np.ndarray
    depth_to: np.ndarray
    blows: np.ndarray
    stroke: np.ndarray
    remark: tuple[str, ...]
    start_assumed: bool = False


def read_driving_log(path: str | Path, layout: LogLayout | None = None, start: float | None = None) -> DrivingLog:
    """Read a driving log, in the program's own format or in an inspector's layout.

    Units: start, the penetration at the start of driving [m].
    """
    required, optional = log_columns(layout)
    table = read_log_table(Path(path), required, optional, layout)
    intervals = read_intervals(table, start=start)
    check_contiguous(intervals, np.arange(len(intervals.row)), table.source)
    return DrivingLog(
        source=table.source,
        depth_from=intervals.depth_from,
        depth_to=intervals.depth_to,
        blows=intervals.blows,
        stroke=intervals.stroke,
        remark=table.texts("remark"),
        start_assumed=intervals.start_assumed,
    )


def log_columns(layout: LogLayout | None) -> tuple[dict[str, str], dict[str, str]]:
    """Give the required and the optional columns of a log; an inspector's log may omit the tops of its intervals."""
    if layout is None:
        return DEPTHS, OPTIONAL
    return {name: DEPTHS[name] for name in ("depth_to", "blows")}, {"depth_from": "length", **OPTIONAL}


def penetration_by_blow(log: DrivingLog) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give set and penetration of every blow in the log, uniform within each interval.

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
