"""Movement of the pile at the gauges.

The displacement at the end of the record is `dyntest.conditioning.drift.final_displacement`, since removing the drift
rests on it.
"""

import numpy as np

from dyntest.conditioning.integration import integrate


def peak_displacement(velocity: np.ndarray, time_step: float) -> np.ndarray:
    """Give the greatest displacement at the gauges, ``max ∫v dt``.

    Parameters
    ----------
    velocity : numpy.ndarray
        Velocity, shape (n_blows, n_samples) [m/s], downward positive.
    time_step : float
        Time between samples [s].

    Returns
    -------
    numpy.ndarray
        Displacement since the beginning of the record, shape (n_blows,) [m], downward positive.

    Notes
    -----
    Acceleration integrated twice: what is left of the drift grows with time, so the peak, some 10 ms after the
    impact, is surer than the end.

    Examples
    --------
    >>> peak_displacement(np.array([[0.0, 2.0, 0.0, -1.0]]), 0.01)
    array([0.02])
    """
    return integrate(velocity, time_step).max(axis=1)
