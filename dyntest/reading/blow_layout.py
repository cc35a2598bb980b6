"""Stacked samples arranged blow by blow: all blows have the same length and time grid."""

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from dyntest.errors import InputError

MIN_SAMPLES = 64
"""Fewest samples of a blow [1]: too few for a quiet part, a rise and a return. Our own bound, no source."""

TIME_TOLERANCE = 0.05
"""Largest deviation of a sample from the uniform time grid, in time steps [1]: a time rounded to a microsecond passes,
a missing sample does not. Our own, no source."""

TIME_STEP_AGREEMENT = 1e-3
"""Largest difference between the time steps of two blows [1], to allow for rounding. Our own, no source."""

TIME_STEP_RANGE = (1e-7, 1e-3)
"""Time steps that a record of a blow can have [s], 1 kHz to 10 MHz; ASTM D4945 asks for several kHz (from memory)."""

CLOCK_TOLERANCE = 1e-6
"""Largest variation of clock or penetration within a blow, relative to its size or to 1 [1]; for rounding only."""

_EXPORT = "export the record again with the blows one after the other"


class SampleTable(Protocol):
    """A file that can give the place of a sample."""

    @property
    def source(self) -> str:
        """The file's name for messages."""

    def place(self, index: int) -> str:
        """Give the place of a sample, in words."""


@dataclass(frozen=True)
class BlowLayout:
    """How the rows of a table are divided into blows.

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


def layout_of(column: np.ndarray, header: str, table: SampleTable) -> BlowLayout:
    """Find the blows in the column that numbers them."""
    where = f"column {header}"
    whole = (column == np.rint(column)) & (column >= 0) & (column < 2**53)
    if not whole.all():
        index = int(np.flatnonzero(~whole)[0])
        problem = f"{column[index]:g} is not a blow number"
        raise InputError(table.source, f"{table.place(index)}, {where}", problem, "number the blows 1, 2, 3 and so on")
    starts = np.concatenate([[0], np.flatnonzero(np.diff(column)) + 1])
    blow = column[starts].astype(np.int64)
    fallen = np.flatnonzero(np.diff(blow) < 0)
    if fallen.size:
        index = int(fallen[0]) + 1
        place = f"{table.place(int(starts[index]))}, {where}"
        if blow[index] in blow[:index]:
            raise InputError(
                table.source, place, f"blow {blow[index]} occurs again after blow {blow[index - 1]}", _EXPORT
            )
        problem = f"blow {blow[index]} comes after blow {blow[index - 1]}"
        raise InputError(table.source, place, problem, "put the blows in the order of driving")
    lengths = np.diff(np.append(starts, len(column)))
    values, counts = np.unique(lengths, return_counts=True)
    usual = int(values[counts.argmax()])
    odd = np.flatnonzero(lengths != usual)
    if odd.size:
        index = int(odd[0])
        place = f"{table.place(int(starts[index]))}, {where}"
        problem = f"blow {blow[index]} has {lengths[index]} samples, most have {usual}"
        raise InputError(table.source, place, problem, "export every blow with the same number of samples")
    _check_length(usual, table)
    return BlowLayout(blow, usual)


def single_blow(n_rows: int, table: SampleTable) -> BlowLayout:
    """Read a table without blow numbers as one blow, number 1."""
    _check_length(n_rows, table)
    return BlowLayout(np.array([1]), n_rows)


def _check_length(n_samples: int, table: SampleTable) -> None:
    if n_samples < MIN_SAMPLES:
        problem = f"has only {n_samples} samples per blow, and at least {MIN_SAMPLES} are needed"
        raise InputError(table.source, "", problem, "export the whole record of each blow")


def uniform_time(column: np.ndarray, factor: float, layout: BlowLayout, header: str, table: SampleTable) -> np.ndarray:
    """Give the time grid that all blows share.

    The time of each blow is counted from its own first sample: it may restart with every blow, or continue.

    Units: returns [s].
    """
    time = np.multiply(column, factor, dtype=float).reshape(layout.shape)

    def refuse(blow: int, sample: int, problem: str, cure: str) -> InputError:
        place = f"{table.place(blow * layout.n_samples + sample)}, column {header}"
        return InputError(table.source, place, f"blow {layout.blow[blow]}: {problem}", cure)

    back = np.argwhere(np.diff(time, axis=1) <= 0.0)
    if back.size:
        blow, sample = (int(i) for i in back[0])
        cure = "give each blow its own number in a column blow, and each sample its own time"
        raise refuse(blow, sample + 1, "time decreases or does not change", cure)
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


def constant_in_blow(
    column: np.ndarray, factor: float, layout: BlowLayout, header: str, table: SampleTable
) -> np.ndarray:
    """Give one value per blow of a column that must not vary within a blow."""
    values = column.reshape(layout.shape)
    first = values[:, :1]
    varies = np.abs(values - first) > CLOCK_TOLERANCE * np.maximum(np.abs(first), 1.0)
    if varies.any():
        blow, sample = (int(i) for i in np.argwhere(varies)[0])
        place = f"{table.place(blow * layout.n_samples + sample)}, column {header}"
        problem = f"varies within blow {layout.blow[blow]}"
        raise InputError(table.source, place, problem, "write one value for the whole blow, or remove the column")
    return np.multiply(values[:, 0], factor, dtype=float)


LARGEST_VALUE = {"strain": 0.1, "acceleration": 1e6, "force": 1e9, "velocity": 100.0}
"""Largest magnitude accepted in a record, by dimension [m/m], [m/s^2], [N], [m/s]: far above anything a pile survives.
Beyond it the unit in the header is wrong. Common practice, no source."""

SMALLEST_MOVEMENT = {"strain": 5e-6, "acceleration": 10.0, "force": 1e3, "velocity": 0.01}
"""Smallest range of the strongest blow accepted, by dimension [m/m], [m/s^2], [N], [m/s]: about 1 MPa of stress in
steel, and 1 g. If every channel of a kind is below it, the unit in the header is wrong or no gauge was connected.
Common practice, no source."""


@dataclass(frozen=True)
class Piece:
    """One file of a drive; each of its traces has the shape (n_blows, channels of that kind, n_samples).

    `untold` has by gauge a factor that the file states and that may not be in its numbers.
    """

    source: str
    numbered: bool
    layout: BlowLayout
    time: np.ndarray
    traces: dict[str, np.ndarray]
    clock: np.ndarray | None
    penetration: np.ndarray | None
    untold: dict[str, str] = field(default_factory=dict)


def check_magnitude(values: np.ndarray, factor: float, unit: str, header: str, kind: str, table: SampleTable) -> None:
    """Refuse numbers far beyond anything that a pile survives.

    Units: factor [SI unit of the kind per unit].
    """
    low, high = float(values.min()), float(values.max())
    if max(-low, high) * abs(factor) > LARGEST_VALUE[kind]:
        index = int(values.argmin() if -low > high else values.argmax())
        place = f"{table.place(index)}, column {header}"
        problem = f"{float(values.flat[index]):g} {unit} is far beyond any {kind} that a pile survives"
        raise InputError(table.source, place, problem, "check the unit of the column")
