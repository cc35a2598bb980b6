"""What the gauges recorded, and the force and velocity that follow from it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar, Self

import numpy as np

Rows = slice | np.ndarray | Sequence[int]
"""Which blows, by their place in the record: a slice, places or a mask."""


def _cut(values: np.ndarray | None, rows: Rows) -> np.ndarray | None:
    """Give the rows of an array with one entry a blow; nothing where there is none."""
    return None if values is None else values[rows]


def opposite_pairs(n_gauges: int) -> list[tuple[int, ...]]:
    """Give the places of gauges on opposite faces: they follow each other, a last odd one stands alone.

    Examples
    --------
    >>> opposite_pairs(2), opposite_pairs(4), opposite_pairs(1)
    ([(0, 1)], [(0, 1), (2, 3)], [(0,)])
    """
    return [tuple(range(first, min(first + 2, n_gauges))) for first in range(0, n_gauges, 2)]


class _Blows:
    """What every record of blows can do; `_per_blow` names what has an entry a blow."""

    blow: np.ndarray
    time: np.ndarray
    _per_blow: ClassVar[tuple[str, ...]]

    @property
    def n_blows(self) -> int:
        """Number of blows [1]."""
        return len(self.blow)

    @property
    def time_step(self) -> float:
        """Time between two samples [s]."""
        return float((self.time[-1] - self.time[0]) / (len(self.time) - 1))

    def take(self, rows: Rows) -> Self:
        """Give some of the blows, by their place in the record."""
        record: Any = self  # each that inherits this is a dataclass
        return replace(record, **{name: _cut(getattr(self, name), rows) for name in self._per_blow})


@dataclass(frozen=True)
class StreamImpacts:
    """What was struck besides the blows in a continuous stream, and how it was cut.

    Parameters
    ----------
    trigger : float
        Mean strain that starts a blow [m/m].
    noise : float
        Scatter of the mean strain while nothing is struck [m/m].
    bounces, double_strikes : numpy.ndarray
        Time of each impact that is no blow of its own [s], from the first sample of its stream.
    incomplete : int
        Blows at the ends of the stream that were left out, since they are not whole [1].
    """

    trigger: float
    noise: float
    bounces: np.ndarray
    double_strikes: np.ndarray
    incomplete: int


@dataclass(frozen=True)
class Signals(_Blows):
    """Raw records of a drive: one, two or four strains and accelerations a blow. They never change.

    Parameters
    ----------
    source : str
        Where they were read from, for messages.
    blow : numpy.ndarray
        Blow numbers, shape (n_blows,) [1].
    time : numpy.ndarray
        Time of the samples, shape (n_samples,) [s]; uniform.
    strain : numpy.ndarray
        Strain, shape (n_blows, n_gauges, n_samples) [m/m], compression positive.
    acceleration : numpy.ndarray
        Acceleration, shape (n_blows, n_gauges, n_samples) [m/s^2], downward positive.
    strain_names, acceleration_names : tuple of str
        Names of the channels of each kind, one for each gauge; opposite faces follow each other (`opposite_pairs`).
    left_out : frozenset of str
        Channels that the engineer left out.
    clock : numpy.ndarray or None
        Time of each blow since the start of the drive, shape (n_blows,) [s].
    penetration : numpy.ndarray or None
        Penetration of the toe at each blow, shape (n_blows,) [m].
    impacts : StreamImpacts or None
        How a continuous stream was cut; None where the blows were recorded one by one.
    untold : mapping of str to str
        By channel a factor that the file states and that may not be in its numbers, such as ``"gain = 0.9"``.
    """

    _per_blow: ClassVar[tuple[str, ...]] = ("blow", "strain", "acceleration", "clock", "penetration")

    source: str
    blow: np.ndarray
    time: np.ndarray
    strain: np.ndarray
    acceleration: np.ndarray
    strain_names: tuple[str, ...] = ("strain_1", "strain_2")
    acceleration_names: tuple[str, ...] = ("acceleration_1", "acceleration_2")
    left_out: frozenset[str] = frozenset()
    clock: np.ndarray | None = None
    penetration: np.ndarray | None = None
    impacts: StreamImpacts | None = None
    untold: Mapping[str, str] = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class AveragedTraces(_Blows):
    """Records that only exist as averaged force and velocity; no gauge can be judged by its twin.

    Parameters
    ----------
    source : str
        Where they were read from, for messages.
    blow : numpy.ndarray
        Blow numbers, shape (n_blows,) [1].
    time : numpy.ndarray
        Time of the samples, shape (n_samples,) [s]; uniform.
    force : numpy.ndarray
        Force, shape (n_blows, n_samples) [N], compression positive.
    velocity : numpy.ndarray
        Velocity, shape (n_blows, n_samples) [m/s], downward positive.
    clock : numpy.ndarray or None
        Time of each blow since the start of the drive, shape (n_blows,) [s].
    penetration : numpy.ndarray or None
        Penetration of the toe at each blow, shape (n_blows,) [m].
    """

    _per_blow: ClassVar[tuple[str, ...]] = ("blow", "force", "velocity", "clock", "penetration")

    source: str
    blow: np.ndarray
    time: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    clock: np.ndarray | None = None
    penetration: np.ndarray | None = None


def waves(force: np.ndarray, velocity: np.ndarray, impedance: float) -> tuple[np.ndarray, np.ndarray]:
    """Give the downward and the upward wave.

    Units: force [N]; velocity [m/s]; impedance [N s/m]; returns [N].

    Examples
    --------
    >>> waves(np.array([3.0]), np.array([1.0]), 2.0)
    (array([2.5]), array([0.5]))
    """
    return 0.5 * (force + impedance * velocity), 0.5 * (force - impedance * velocity)


@dataclass(frozen=True)
class Waves(_Blows):
    """Force and velocity at the gauges, conditioned, with the marks that every quantity needs.

    Parameters
    ----------
    blow : numpy.ndarray
        Blow numbers, shape (n_blows,) [1].
    time : numpy.ndarray
        Time of the samples, shape (n_samples,) [s]; uniform.
    force : numpy.ndarray
        Force, shape (n_blows, n_samples) [N], compression positive.
    velocity : numpy.ndarray
        Velocity, shape (n_blows, n_samples) [m/s], downward positive.
    impedance : float
        Impedance of the pile at the gauges [N s/m].
    onset : numpy.ndarray
        Sample at which the impact begins, shape (n_blows,) [1].
    first_peak : numpy.ndarray
        Sample of the first peak of the downward wave, t1, shape (n_blows,) [1].
    return_time : float
        Time T for the wave from the gauges to the toe and back [s].
    """

    _per_blow: ClassVar[tuple[str, ...]] = ("blow", "force", "velocity", "onset", "first_peak")

    blow: np.ndarray
    time: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    impedance: float
    onset: np.ndarray
    first_peak: np.ndarray
    return_time: float

    @property
    def down(self) -> np.ndarray:
        """Downward wave, ``(F + Zv)/2``, shape (n_blows, n_samples) [N]."""
        return waves(self.force, self.velocity, self.impedance)[0]

    @property
    def up(self) -> np.ndarray:
        """Upward wave, ``(F − Zv)/2``, shape (n_blows, n_samples) [N]."""
        return waves(self.force, self.velocity, self.impedance)[1]

    @classmethod
    def join(cls, parts: Sequence["Waves"]) -> "Waves":
        """Put slices of one drive together."""
        return replace(
            parts[0],
            blow=np.concatenate([part.blow for part in parts]),
            force=np.concatenate([part.force for part in parts]),
            velocity=np.concatenate([part.velocity for part in parts]),
            onset=np.concatenate([part.onset for part in parts]),
            first_peak=np.concatenate([part.first_peak for part in parts]),
        )
