"""Force and velocity at the first peak, and the two strain gauges there, held against each other."""

import numpy as np

from dyntest.conditioning.pair_checks import at


def proportionality(force: np.ndarray, velocity: np.ndarray, impedance: float, first_peak: np.ndarray) -> np.ndarray:
    """Give force over impedance times velocity at the first peak: 1 while nothing has come back from the pile.

    Parameters
    ----------
    force : numpy.ndarray
        Force, shape (n_blows, n_samples) [N], compression positive.
    velocity : numpy.ndarray
        Velocity, shape (n_blows, n_samples) [m/s], downward positive.
    impedance : float
        Impedance at the gauges [N s/m].
    first_peak : numpy.ndarray
        Sample of the first peak, shape (n_blows,) [1].

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1]; above 1 where the soil already resists; not a number without downward movement.

    Examples
    --------
    >>> proportionality(np.array([[0.0, 2.2e6]]), np.array([[0.0, 4.0]]), 5e5, np.array([1]))
    array([1.1])
    """
    moving = at(velocity, first_peak)
    return at(force, first_peak) / (impedance * np.where(moving > 0, moving, np.nan))


def bending_ratio(gauge_strain: np.ndarray, first_peak: np.ndarray) -> np.ndarray:
    """Give the difference of the two strain gauges over their sum at the first peak: 0 where the blow is central.

    Parameters
    ----------
    gauge_strain : numpy.ndarray
        Strain of each gauge in use, shape (n_blows, n_gauges, n_samples) [m/m], compression positive.
    first_peak : numpy.ndarray
        Sample of the first peak, shape (n_blows,) [1].

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1], positive where the first gauge has more; not a number with one gauge alone.

    Examples
    --------
    >>> bending_ratio(np.array([[[0.0, 1.2e-3], [0.0, 0.8e-3]]]), np.array([1])).round(3)
    array([0.2])
    """
    strain = at(gauge_strain, first_peak)
    if strain.shape[1] < 2:
        return np.full(len(strain), np.nan)
    total = strain.sum(axis=1)
    return (strain[:, 0] - strain[:, 1]) / np.where(total > 0, total, np.nan)
