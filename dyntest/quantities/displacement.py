"""Movement of the pile at the gauges."""

import numpy as np
from scipy.integrate import cumulative_trapezoid


def displacement(velocity: np.ndarray, time_step: float) -> np.ndarray:
    """Give the displacement over time, the velocity integrated once by the trapezoidal rule.

    Parameters
    ----------
    velocity : numpy.ndarray
        Velocity, shape (n_blows, n_samples) [m/s], downward positive.
    time_step : float
        Time between samples [s].

    Returns
    -------
    numpy.ndarray
        Displacement since the beginning of the record, shape (n_blows, n_samples) [m], downward positive.

    Notes
    -----
    Any error of the velocity grows with time here. The last value is the set of the blow only as far as the drift
    of the accelerometers was removed by something better, such as the set of the driving log.

    Examples
    --------
    >>> displacement(np.array([[0.0, 2.0, 0.0]]), 0.01)
    array([[0.  , 0.01, 0.02]])
    """
    return cumulative_trapezoid(velocity, dx=time_step, axis=1, initial=0.0)


def peak_and_final(displacement: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the greatest and the last displacement of each blow.

    Parameters
    ----------
    displacement : numpy.ndarray
        Displacement, shape (n_blows, n_samples) [m], downward positive.

    Returns
    -------
    tuple of numpy.ndarray
        Greatest and last displacement, each of shape (n_blows,) [m].

    Examples
    --------
    >>> peak_and_final(np.array([[0.0, 0.02, 0.015]]))
    (array([0.02]), array([0.015]))
    """
    return displacement.max(axis=1), displacement[:, -1].copy()
