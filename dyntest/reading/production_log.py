"""The production log of the bearing piles, and the table of their elevations and lengths."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.log_layouts import iso_dates
from dyntest.reading.logs import DrivingLog, LogTable, check_contiguous, log_columns, read_intervals, read_log_table
from dyntest.reading.parts import LogLayout
from dyntest.reading.values import ELEVATION, LENGTH, Range

PLACE = Range(-1e5, 1e5, "m")
"""Range of plan coordinates."""

BATTER = Range(0.0, 1.0)
"""Largest batter accepted, horizontal run per vertical rise [1]. Common practice, no source."""


@dataclass(frozen=True)
class ProductionLog:
    """Blow counts of many piles by interval of depth; the rows of a pile are together, from the top down.

    Parameters
    ----------
    source : str
        Where it was read from, for messages.
    pile : numpy.ndarray of str
        The pile's mark, shape (n_intervals,).
    depth_from, depth_to : numpy.ndarray
        Top and bottom of each interval, shape (n_intervals,) [m], penetration of the toe.
    blows : numpy.ndarray
        Blows in each interval, shape (n_intervals,) [1].
    stroke : numpy.ndarray
        Stroke of the ram, shape (n_intervals,) [m]; not a number where the log has none.
    date, remark : tuple of str
        As written; empty where absent.
    """

    source: str
    pile: np.ndarray
    depth_from: np.ndarray
    depth_to: np.ndarray
    blows: np.ndarray
    stroke: np.ndarray
    date: tuple[str, ...]
    remark: tuple[str, ...]

    @property
    def piles(self) -> tuple[str, ...]:
        """The piles' marks, each once, in the order of the file."""
        return tuple(dict.fromkeys(self.pile.tolist()))

    def of(self, pile: str) -> DrivingLog:
        """Give the log of one pile."""
        (own,) = np.nonzero(self.pile == pile)
        return DrivingLog(
            source=self.source,
            depth_from=self.depth_from[own],
            depth_to=self.depth_to[own],
            blows=self.blows[own],
            stroke=self.stroke[own],
            remark=tuple(self.remark[i] for i in own),
        )


@dataclass(frozen=True)
class PileTable:
    """Elevations and lengths of the bearing piles.

    Parameters
    ----------
    source : str
        Where it was read from, for messages.
    pile : tuple of str
        The piles' marks, each once.
    cutoff_elevation, ground_elevation : numpy.ndarray
        Elevations, shape (n_piles,) [m], upward positive.
    furnished_length : numpy.ndarray
        Length delivered, shape (n_piles,) [m].
    batter : numpy.ndarray
        Horizontal run per vertical rise, shape (n_piles,) [1]; 0 for a plumb pile.
    planned_ground_elevation : numpy.ndarray or None
        Elevation of the ground on the plan, shape (n_piles,) [m]; not a number where it is not given.
    x, y : numpy.ndarray or None
        Place on the plan, shape (n_piles,) [m]; not a number where it is not given.
    """

    source: str
    pile: tuple[str, ...]
    cutoff_elevation: np.ndarray
    ground_elevation: np.ndarray
    furnished_length: np.ndarray
    batter: np.ndarray
    planned_ground_elevation: np.ndarray | None = None
    x: np.ndarray | None = None
    y: np.ndarray | None = None

    def take(self, rows: Sequence[bool]) -> "PileTable":
        """Give some of the piles."""
        kept = np.flatnonzero(rows)

        def some(values: np.ndarray | None) -> np.ndarray | None:
            return None if values is None else values[kept]

        return replace(
            self,
            pile=tuple(self.pile[place] for place in kept),
            cutoff_elevation=self.cutoff_elevation[kept],
            ground_elevation=self.ground_elevation[kept],
            furnished_length=self.furnished_length[kept],
            batter=self.batter[kept],
            planned_ground_elevation=some(self.planned_ground_elevation),
            x=some(self.x),
            y=some(self.y),
        )


def read_production_log(path: str | Path, layout: LogLayout | None = None) -> ProductionLog:
    """Read a production log, in the program's own format or in the inspectors' layout."""
    required, optional = log_columns(layout)
    table = read_log_table(Path(path), {"pile": "", **required}, {"date": "", **optional}, layout)
    pile = np.array(_marks(table, layout is not None))
    intervals = read_intervals(table, pile)
    _, first, member = np.unique(pile, return_index=True, return_inverse=True)
    order = np.argsort(first[member], kind="stable")
    starts = np.flatnonzero(np.diff(first[member][order])) + 1
    for own in np.split(order, starts):
        check_contiguous(intervals, own, table.source)
    writing = None if layout is None else layout.dates
    where = table.columns["date"].text if "date" in table.columns else "date"
    date = iso_dates(table.texts("date"), table.row_numbers.tolist(), writing, table.source, where)
    remark = table.texts("remark")
    return ProductionLog(
        source=table.source,
        pile=pile[order],
        depth_from=intervals.depth_from[order],
        depth_to=intervals.depth_to[order],
        blows=intervals.blows[order],
        stroke=intervals.stroke[order],
        date=tuple(date[i] for i in order),
        remark=tuple(remark[i] for i in order),
    )


def read_pile_table(path: str | Path) -> PileTable:
    """Read the table of piles that belongs to a production log."""
    lengths = ("cutoff_elevation", "ground_elevation", "furnished_length")
    table = read_log_table(Path(path), {"pile": "", **dict.fromkeys(lengths, "length")}, _OPTIONAL)
    marks = _marks(table)
    first: dict[str, int] = {}
    for row, mark in zip(table.row_numbers.tolist(), marks, strict=True):
        if mark in first:
            problem = f"pile {mark} is already in row {first[mark]}"
            raise InputError(table.source, f"row {row}, column pile", problem, "keep one row per pile")
        first[mark] = row
    return PileTable(
        source=table.source,
        pile=marks,
        cutoff_elevation=table.numbers("cutoff_elevation", ELEVATION),
        ground_elevation=table.numbers("ground_elevation", ELEVATION),
        furnished_length=table.numbers("furnished_length", LENGTH),
        batter=table.numbers("batter", BATTER, blank=0.0),
        planned_ground_elevation=table.numbers("planned_ground_elevation", ELEVATION, blank=np.nan),
        x=table.numbers("x", PLACE, blank=np.nan),
        y=table.numbers("y", PLACE, blank=np.nan),
    )


def refuse_other_piles(log: ProductionLog, piles: PileTable | None) -> None:
    """Refuse a table of piles that has none of the piles of a production log: one of them is of another structure."""
    if piles is None or not log.piles or set(log.piles) & set(piles.pile):
        return
    theirs, own = (", ".join(marks[:3]) + (" …" if len(marks) > 3 else "") for marks in (log.piles, piles.pile))
    problem = f"has none of the piles of {log.source}: it has {own}, the log {theirs}"
    raise InputError(
        piles.source, "column pile", problem, "give log and table of the same structure, with the same marks"
    )


_OPTIONAL = {"batter": "", "planned_ground_elevation": "length", "x": "length", "y": "length"}


def _marks(table: LogTable, merged: bool = False) -> tuple[str, ...]:
    """Give the piles' marks, none empty; in an inspector's log one mark may apply to the rows below it."""
    marks = table.texts("pile")
    if merged:
        filled: list[str] = []
        for mark in marks:
            filled.append(mark or (filled[-1] if filled else ""))
        marks = tuple(filled)
    if "" in marks:
        row = table.row_numbers[marks.index("")]
        raise InputError(table.source, f"row {row}, column pile", "is empty", "write the pile's mark in every row")
    return marks
