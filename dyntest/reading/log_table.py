"""Small CSV tables with units in their headers: driving logs, production logs, tables of piles."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.columns import Column, find_columns
from dyntest.reading.csv_text import TextTable, text_table
from dyntest.reading.plausible import Range
from dyntest.reading.text_files import read_text
from dyntest.reading.wording import known_as, printable, shown
from dyntest.units import plain_number


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
        """Give a column as text, in one line each.

        Parameters
        ----------
        name : str
            Name of the column.

        Returns
        -------
        tuple of str
            Empty texts where the column is not there.
        """
        if name not in self.columns:
            return ("",) * len(self.text.rows)
        index = self.columns[name].index
        return tuple(printable(fields[index].strip(), 1000) for _, fields in self.text.rows)

    def numbers(self, name: str, allowed: Range, blank: float | None = None) -> np.ndarray:
        """Give a column as numbers in SI.

        Parameters
        ----------
        name : str
            Name of the column.
        allowed : Range
            What is plausible [SI unit of the column].
        blank : float or None
            What an empty field, or a column that is not there, stands for [SI unit of the column]; None where a number
            must stand.

        Returns
        -------
        numpy.ndarray
            Shape (n_rows,) [SI unit of the column].

        Raises
        ------
        InputError
            If a field is no number or not plausible.
        """
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
    """Read a small CSV table.

    Parameters
    ----------
    path : Path
        The file.
    required, optional : dict of str to str
        Name of each column to its dimension, ``""`` where it has no unit.

    Returns
    -------
    LogTable
        Rows as text, and the columns found.

    Raises
    ------
    InputError
        If the file cannot be read, a row does not fit the header, or a column is missing, comes twice or has a wrong
        unit.
    """
    source = known_as(path)
    text = text_table(read_text(path), source)
    return LogTable(text, find_columns(text.headers, required, optional, source))
