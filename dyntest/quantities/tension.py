"""Tension along the pile from the waves superposed.

At depth x below the gauges the wave that goes down passed the gauges x/c earlier and the wave that comes up reaches
them x/c later; with friction left out

(1) ``F(x, t) = W_d(t − x/c) + W_u(t + x/c)``,

and the greatest tension between gauges and toe is

(2) ``−min over t2 of [W_u(t2) + min over t2 − T ≤ t3 ≤ t2 of W_d(t3)]`` at ``x = c (t2 − t3)/2``.

Notes
-----
Friction between the gauges and x makes (1) wrong by what acts on that length, either way: resistance that still
pushes up adds to the tension, resistance that rebounds takes from it. The pile is taken as uniform: a joint, a
reduced section or a crack carries the same force on less area. On the five sound reference records of the tests
(invented piles; tension 7 to 43 MPa) (2) lies between 13 % under and 59 % over the greatest tension anywhere; where
a section of the pile is reduced to half it sees 42 to 45 % of the stress there.

References
----------
Exact for a uniform pile without friction; (2) in this form from memory, common practice.
"""

import math

import numpy as np
from scipy.ndimage import minimum_filter1d

from dyntest.quantities.sampling import value_at


def peak_tension(
    down: np.ndarray, up: np.ndarray, return_time: float, time_step: float
) -> tuple[np.ndarray, np.ndarray]:
    """Give the greatest tension force between gauges and toe and where it acts: equation (2).

    Parameters
    ----------
    down, up : numpy.ndarray
        Downward and upward wave, shape (n_blows, n_samples) [N], compression positive.
    return_time : float
        Time T for the wave to the toe and back [s].
    time_step : float
        Time between samples [s].

    Returns
    -------
    tuple of numpy.ndarray
        Tension force, tension positive and 0 where there is none, shape (n_blows,) [N]; and its depth as a share
        of the length from gauges to toe, shape (n_blows,) [1], not a number where there is no tension.

    Examples
    --------
    >>> down = np.array([[0.0, 500.0, 0.0, 0.0, 0.0, 0.0]])
    >>> up = np.array([[0.0, 0.0, 0.0, 0.0, 0.0, -500.0]])
    >>> force, share = peak_tension(down, up, return_time=4.0, time_step=1.0)
    >>> force, share
    (array([500.]), array([0.]))
    """
    reach = math.floor(return_time / time_step)  # whole samples inside T
    window = reach + 1
    # the filter's window ends at t2: shifted back by what lies ahead of its middle
    lowest = minimum_filter1d(down, window, axis=1, mode="nearest", origin=(window - 1) // 2)
    force = up + lowest
    arrival = force.argmin(axis=1)  # t2
    tension = np.maximum(-np.take_along_axis(force, arrival[:, np.newaxis], axis=1)[:, 0], 0.0)  # (2)
    lags = np.arange(window)
    earlier = np.maximum(arrival[:, np.newaxis] - lags, 0)
    lag = np.take_along_axis(down, earlier, axis=1).argmin(axis=1)  # t2 − t3
    return tension, np.where(tension > 0, np.minimum(lag * time_step / return_time, 1.0), np.nan)


def tension_with_depth(
    down: np.ndarray, up: np.ndarray, return_time: float, time_step: float, depth_share: np.ndarray
) -> np.ndarray:
    """Give the greatest tension force at chosen depths: equation (1), its least value over time.

    Parameters
    ----------
    down, up : numpy.ndarray
        Downward and upward wave, shape (n_blows, n_samples) [N], compression positive.
    return_time : float
        Time T for the wave to the toe and back [s].
    time_step : float
        Time between samples [s].
    depth_share : numpy.ndarray
        Depths as shares of the length from gauges to toe, shape (n_depths,) [1].

    Returns
    -------
    numpy.ndarray
        Tension force, tension positive and 0 where there is none, shape (n_blows, n_depths) [N].

    Examples
    --------
    >>> down = np.array([[0.0, 500.0, 0.0, 0.0, 0.0, 0.0]])
    >>> up = np.array([[0.0, 0.0, 0.0, 0.0, 0.0, -500.0]])
    >>> tension_with_depth(down, up, 4.0, 1.0, np.array([0.0, 0.5, 1.0]))
    array([[500., 500.,   0.]])
    """
    samples = np.broadcast_to(np.arange(down.shape[1], dtype=float), down.shape)
    profile = []
    for share in depth_share:  # depths, not blows
        lag = 0.5 * share * return_time / time_step
        profile.append(np.fmin.reduce(value_at(down, samples - lag) + value_at(up, samples + lag), axis=1))  # (1)
    return np.maximum(-np.stack(profile, axis=1), 0.0)
