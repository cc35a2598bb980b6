"""Stacked samples laid out blow by blow: every blow as long as the others and on the same time grid."""

from dataclasses import dataclass

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.number_table import NumberTable

MIN_SAMPLES = 64
"""Fewest samples of a blow [1]: too few for a quiet part, a rise and a return. Our own bound, no source."""

TIME_TOLERANCE = 0.05
"""Most that a sample may lie off the uniform grid, in time steps [1]: a time rounded to a microsecond passes, a missing
sample does not. Our own, no source."""

TIME_STEP_AGREEMENT = 1e-3
"""Most that the time steps of two blows may differ [1], so that rounded times pass. Our own, no source."""

TIME_STEP_RANGE = (1e-7, 1e-3)
"""Time steps that a record of a blow can have [s], 1 kHz to 10 MHz; ASTM D4945 asks for several kHz (from memory)."""

CLOCK_TOLERANCE = 1e-6
"""Most that a clock or a penetration may vary inside a blow, relative to its size or to 1 [1]; only rounding passes."""

_EXPORT = "export the record again with the blows one after the other"


@dataclass(frozen=True)
class Layout:
    """How the rows of a table fall into blows.

    Parameters
    ----------
    blow : numpy.ndarray
        Number of each blow, shape (n_blows,) [1], rising.
    n_samples : int
        Samples of every blow [1].
    """

    blow: np.ndarray
    n_samples: int

    @property
    def shape(self) -> tuple[int, int]:
        """Blows and samples [1]."""
        return len(self.blow), self.n_samples


def layout_of(column: np.ndarray, header: str, table: NumberTable) -> Layout:
    """Find the blows in the column that numbers them.

    Parameters
    ----------
    column : numpy.ndarray
        Blow number of every row, shape (n_rows,) [1].
    header : str
        The column's header, for messages.
    table : NumberTable
        Where the column is from, for messages.

    Returns
    -------
    Layout
        The numbers and the common number of samples.

    Raises
    ------
    InputError
        If a number is no whole one, comes back after another blow, falls, or if a blow is shorter or longer than most.
    """
    where = f"column {header}"
    whole = (column == np.rint(column)) & (column >= 0) & (column < 2**53)
    if not whole.all():
        index = int(np.flatnonzero(~whole)[0])
        problem = f"{column[index]:g} is not a blow number"
        raise InputError(
            table.source, f"row {table.row(index)}, {where}", problem, "number the blows 1, 2, 3 and so on"
        )
    starts = np.concatenate([[0], np.flatnonzero(np.diff(column)) + 1])
    blow = column[starts].astype(np.int64)
    fallen = np.flatnonzero(np.diff(blow) < 0)
    if fallen.size:
        index = int(fallen[0]) + 1
        place = f"row {table.row(int(starts[index]))}, {where}"
        if blow[index] in blow[:index]:
            raise InputError(
                table.source, place, f"blow {blow[index]} comes again after blow {blow[index - 1]}", _EXPORT
            )
        problem = f"blow {blow[index]} comes after blow {blow[index - 1]}"
        raise InputError(table.source, place, problem, "put the blows in the order of driving")
    lengths = np.diff(np.append(starts, len(column)))
    values, counts = np.unique(lengths, return_counts=True)
    usual = int(values[counts.argmax()])
    odd = np.flatnonzero(lengths != usual)
    if odd.size:
        index = int(odd[0])
        place = f"row {table.row(int(starts[index]))}, {where}"
        problem = f"blow {blow[index]} has {lengths[index]} samples, most have {usual}"
        raise InputError(table.source, place, problem, "export every blow with the same number of samples")
    _check_length(usual, table)
    return Layout(blow, usual)


def one_blow(n_rows: int, table: NumberTable) -> Layout:
    """Take a table without blow numbers as one blow, number 1.

    Parameters
    ----------
    n_rows : int
        Samples [1].
    table : NumberTable
        The table, for messages.

    Returns
    -------
    Layout
        One blow.

    Raises
    ------
    InputError
        If the record is too short.
    """
    _check_length(n_rows, table)
    return Layout(np.array([1]), n_rows)


def _check_length(n_samples: int, table: NumberTable) -> None:
    if n_samples < MIN_SAMPLES:
        problem = f"has only {n_samples} samples a blow, and at least {MIN_SAMPLES} are needed"
        raise InputError(table.source, "", problem, "export the whole record of each blow")


def uniform_time(column: np.ndarray, factor: float, layout: Layout, header: str, table: NumberTable) -> np.ndarray:
    """Give the time grid that all blows share.

    The time of each blow is counted from its own first sample: it may start again with every blow, or run on.

    Parameters
    ----------
    column : numpy.ndarray
        Time of every row, shape (n_rows,) [unit of the column].
    factor : float
        What makes seconds of it [s per unit].
    layout : Layout
        How the rows fall into blows.
    header : str
        The column's header, for messages.
    table : NumberTable
        Where the column is from, for messages.

    Returns
    -------
    numpy.ndarray
        Time of the first blow, laid on its uniform grid, shape (n_samples,) [s].

    Raises
    ------
    InputError
        If time goes back or stands still within a blow, leaves the uniform grid by more than `TIME_TOLERANCE` of a
        step, if two blows have another time step, or if the step is none that a record can have.
    """
    time = np.multiply(column, factor, dtype=float).reshape(layout.shape)

    def refuse(blow: int, sample: int, problem: str, cure: str) -> InputError:
        place = f"row {table.row(blow * layout.n_samples + sample)}, column {header}"
        return InputError(table.source, place, f"blow {layout.blow[blow]}: {problem}", cure)

    back = np.argwhere(np.diff(time, axis=1) <= 0.0)
    if back.size:
        blow, sample = (int(i) for i in back[0])
        cure = "give each blow its own number in a column blow, and each sample its own time"
        raise refuse(blow, sample + 1, "time goes back or stands still", cure)
    step = (time[:, -1] - time[:, 0]) / (layout.n_samples - 1)
    low, high = TIME_STEP_RANGE
    if not low <= step[0] <= high:
        problem = f"a time step of {step[0]:.3g} s is not one of a blow record ({low:g} to {high:g} s)"
        raise refuse(0, 1, problem, "check the unit of the column")
    other = np.flatnonzero(np.abs(step / step[0] - 1.0) > TIME_STEP_AGREEMENT)
    if other.size:
        blow = int(other[0])
        problem = f"the mean time step is {step[blow]:.6g} s, that of blow {layout.blow[0]} is {step[0]:.6g} s"
        raise refuse(blow, 0, problem, "look for missing samples, and export all blows at one sampling rate")
    grid = time[:, :1] + step[:, None] * np.arange(layout.n_samples)
    off = np.abs(time - grid).max(axis=1) > TIME_TOLERANCE * step
    if off.any():
        blow = int(off.argmax())
        steps = np.diff(time[blow])
        sample = int(np.abs(steps - np.median(steps)).argmax())
        problem = f"the time step is not uniform ({steps[sample]:.4g} s here, {step[blow]:.4g} s on the whole)"
        raise refuse(blow, sample + 1, problem, "look for a missing sample, or write time with more digits")
    return np.linspace(time[0, 0], time[0, -1], layout.n_samples)


def constant_in_blow(column: np.ndarray, factor: float, layout: Layout, header: str, table: NumberTable) -> np.ndarray:
    """Give one value a blow of a column that must not vary inside a blow.

    Parameters
    ----------
    column : numpy.ndarray
        Value of every row, shape (n_rows,) [unit of the column].
    factor : float
        What makes it SI [SI unit per unit].
    layout : Layout
        How the rows fall into blows.
    header : str
        The column's header, for messages.
    table : NumberTable
        Where the column is from, for messages.

    Returns
    -------
    numpy.ndarray
        Value of each blow, shape (n_blows,) [SI unit of the column].

    Raises
    ------
    InputError
        If the value varies inside a blow.
    """
    values = column.reshape(layout.shape)
    first = values[:, :1]
    varies = np.abs(values - first) > CLOCK_TOLERANCE * np.maximum(np.abs(first), 1.0)
    if varies.any():
        blow, sample = (int(i) for i in np.argwhere(varies)[0])
        place = f"row {table.row(blow * layout.n_samples + sample)}, column {header}"
        problem = f"varies inside blow {layout.blow[blow]}"
        raise InputError(table.source, place, problem, "write one value for the whole blow, or take the column out")
    return np.multiply(values[:, 0], factor, dtype=float)
