"""What the gauges recorded, and the force and velocity that follow from it."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Signals:
    """Raw records of a drive: two strains and two accelerations a blow. They never change.

    Parameters
    ----------
    source : str
        Where they were read from, for messages.
    blow : numpy.ndarray
        Blow numbers, shape (n_blows,) [1].
    time : numpy.ndarray
        Time of the samples, shape (n_samples,) [s]; uniform.
    strain : numpy.ndarray
        Strain, shape (n_blows, 2, n_samples) [m/m], compression positive.
    acceleration : numpy.ndarray
        Acceleration, shape (n_blows, 2, n_samples) [m/s^2], downward positive.
    strain_names, acceleration_names : tuple of str
        Names of the two channels of each kind.
    left_out : frozenset of str
        Channels that the engineer left out; the other of the pair stands alone.
    clock : numpy.ndarray or None
        Time of each blow since the start of the drive, shape (n_blows,) [s].
    penetration : numpy.ndarray or None
        Penetration of the toe at each blow, shape (n_blows,) [m].
    """

    source: str
    blow: np.ndarray
    time: np.ndarray
    strain: np.ndarray
    acceleration: np.ndarray
    strain_names: tuple[str, str] = ("strain_1", "strain_2")
    acceleration_names: tuple[str, str] = ("acceleration_1", "acceleration_2")
    left_out: frozenset[str] = frozenset()
    clock: np.ndarray | None = None
    penetration: np.ndarray | None = None

    @property
    def n_blows(self) -> int:
        """Number of blows [1]."""
        return len(self.blow)

    @property
    def time_step(self) -> float:
        """Time between two samples [s]."""
        return float((self.time[-1] - self.time[0]) / (len(self.time) - 1))


@dataclass(frozen=True)
class AveragedTraces:
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

    source: str
    blow: np.ndarray
    time: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    clock: np.ndarray | None = None
    penetration: np.ndarray | None = None

    @property
    def n_blows(self) -> int:
        """Number of blows [1]."""
        return len(self.blow)

    @property
    def time_step(self) -> float:
        """Time between two samples [s]."""
        return float((self.time[-1] - self.time[0]) / (len(self.time) - 1))


@dataclass(frozen=True)
class Waves:
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
    """

    blow: np.ndarray
    time: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    impedance: float
    onset: np.ndarray
    first_peak: np.ndarray

    @property
    def time_step(self) -> float:
        """Time between two samples [s]."""
        return float((self.time[-1] - self.time[0]) / (len(self.time) - 1))

    @property
    def down(self) -> np.ndarray:
        """Downward wave, ``(F + Zv)/2``, shape (n_blows, n_samples) [N]."""
        return 0.5 * (self.force + self.impedance * self.velocity)

    @property
    def up(self) -> np.ndarray:
        """Upward wave, ``(F − Zv)/2``, shape (n_blows, n_samples) [N]."""
        return 0.5 * (self.force - self.impedance * self.velocity)
