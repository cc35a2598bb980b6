"""Velocity from acceleration, displacement from velocity."""

import numpy as np


def integrate(signal: np.ndarray, time_step: float) -> np.ndarray:
    """Give the running integral over time by the trapezoidal rule, 0 at the first sample.

    Parameters
    ----------
    signal : numpy.ndarray
        Samples along the last axis, shape (..., n_samples) [any unit].
    time_step : float
        Time between two samples [s].

    Returns
    -------
    numpy.ndarray
        Integral, shape (..., n_samples) [unit of `signal` times s].

    Notes
    -----
    ``I[k] = I[k−1] + Δt·(y[k−1] + y[k])/2``: exact for straight lines between samples, and without phase error.

    Examples
    --------
    >>> integrate(np.array([0.0, 2.0, 4.0]), 0.5).tolist()
    [0.0, 0.5, 2.0]
    """
    total = np.cumsum(signal, axis=-1)
    total -= 0.5 * signal
    total -= 0.5 * signal[..., :1]
    total *= time_step
    return total
