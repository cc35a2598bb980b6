"""Energy that the hammer passed into the pile."""

import numpy as np

from dyntest.conditioning.integration import integrate


def transferred_energy(force: np.ndarray, velocity: np.ndarray, time_step: float) -> np.ndarray:
    """Give the largest energy that had gone past the gauges into the pile at any time.

    ``E_max = max over t of ∫ F v dt`` from the beginning of the record, by the trapezoidal rule. In waves it is
    ``∫ (W_d² − W_u²)/Z dt``, which holds without friction between gauges and head.

    Parameters
    ----------
    force : numpy.ndarray
        Force, shape (n_blows, n_samples) [N], compression positive.
    velocity : numpy.ndarray
        Velocity, shape (n_blows, n_samples) [m/s], downward positive.
    time_step : float
        Time between samples [s].

    Returns
    -------
    numpy.ndarray
        Transferred energy, shape (n_blows,) [J].

    References
    ----------
    The definition of ASTM D4633 and of lecture notes on dynamic testing, read at second hand; exact as physics.

    Examples
    --------
    >>> transferred_energy(np.array([[0.0, 1000.0, 0.0]]), np.array([[0.0, 2.0, 0.0]]), 0.001)
    array([2.])
    """
    return integrate(force * velocity, time_step).max(axis=1)


def energy_ratio(energy: np.ndarray, available: float | np.ndarray) -> np.ndarray:
    """Give the share of the available energy that reached the gauges.

    Parameters
    ----------
    energy : numpy.ndarray
        Transferred energy, shape (n_blows,) [J].
    available : float or numpy.ndarray
        The hammer's rated energy, or ram weight times stroke, one or shape (n_blows,) [J].

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1].

    Examples
    --------
    >>> energy_ratio(np.array([15e3]), 60e3)
    array([0.25])
    """
    return energy / available
