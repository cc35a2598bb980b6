"""Shaft resistance that shows in the upward wave before the toe's return.

Resistance R_i that the passing wave mobilises sends ``+R_i/2`` up, so just before the toe answers

(1) ``R_shaft = F − Zv = 2 W_u``, static and dynamic, with the damping of that moment.

Notes
-----
It is an indicator: it holds the damping along the shaft, and at the moment it is read the wave has not yet mobilised
the last metres above the toe. As a share of the total resistance, which holds all damping at full velocity, it is
low for piles that stand on their shaft: on the six invented reference records of the tests it is 0.16 to 0.48 where
the static share is 0.12 to 0.80. Signal matching gives shaft and toe apart.

References
----------
From memory, after Rausche, Goble & Likins (1985), ASCE J. Geotech. Eng. 111(3); exact for plastic resistance.
"""

import numpy as np

from dyntest.quantities.sampling import value_at


def shaft_resistance_before_return(
    up: np.ndarray, onset: np.ndarray, return_time: float, time_step: float
) -> np.ndarray:
    """Give the shaft resistance, damping included, from the upward wave just before the toe's return: equation (1).

    Parameters
    ----------
    up : numpy.ndarray
        Upward wave, shape (n_blows, n_samples) [N], compression positive.
    onset : numpy.ndarray
        Sample at which the impact begins, shape (n_blows,) [1].
    return_time : float
        Time T for the wave to the toe and back [s].
    time_step : float
        Time between samples [s].

    Returns
    -------
    numpy.ndarray
        Shaft resistance, shape (n_blows,) [N], not below zero; not a number where the record ends before it.

    Examples
    --------
    >>> shaft_resistance_before_return(np.array([[0.0, 0.0, 100.0, 150.0, -300.0]]), np.array([0]), 3.0, 1.0)
    array([300.])
    """
    return np.maximum(2.0 * value_at(up, onset + return_time / time_step), 0.0)  # (1)


def shaft_share(shaft_resistance: np.ndarray, total_resistance: np.ndarray) -> np.ndarray:
    """Give the share of the shaft in the total resistance.

    Parameters
    ----------
    shaft_resistance : numpy.ndarray
        From `shaft_resistance_before_return`, shape (n_blows,) [N].
    total_resistance : numpy.ndarray
        Total resistance at the first peak, shape (n_blows,) [N].

    Returns
    -------
    numpy.ndarray
        Share, shape (n_blows,), between 0 and 1 [1]; not a number where the total is not positive.

    Examples
    --------
    >>> shaft_share(np.array([300.0]), np.array([1200.0]))
    array([0.25])
    """
    return np.clip(shaft_resistance / np.where(total_resistance > 0, total_resistance, np.nan), 0.0, 1.0)
