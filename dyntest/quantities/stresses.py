"""Driving stresses from the record: compression at the gauges and at the toe, and tension along the pile.

Compression at the gauges is the mean over the section, and the highest single gauge. Tension comes from the waves
superposed. At depth x below the gauges the wave that goes down passed the gauges x/c earlier and the wave that comes up
reaches them x/c later; with friction left out

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

from dyntest.quantities.case_resistance import SEARCH_WINDOW
from dyntest.quantities.sampling import aligned, lowest_before


def peak_compression_stress(force: np.ndarray, area: float) -> np.ndarray:
    """Give the greatest mean compression stress at the gauges, ``max F / A``.

    Units: force [N]; area [m^2]; returns [Pa].

    Examples
    --------
    >>> peak_compression_stress(np.array([[0.0, 2e6, 1e6]]), 0.01)
    array([2.e+08])
    """
    return force.max(axis=1) / area


def peak_gauge_stress(gauge_strain: np.ndarray, modulus: float) -> np.ndarray:
    """Give the greatest compression stress at a single strain gauge, ``E max ε``, which shows bending.

    Where the driver is not in line with the pile one face is pressed more than the mean; that face is the one to
    hold against the limit. The two gauges lie on the middle of opposite faces, so a corner may see more still.

    Units: gauge_strain [m/m]; modulus [Pa]; returns [Pa].

    Examples
    --------
    >>> peak_gauge_stress(np.array([[[0.0, 1.2e-3], [0.0, 0.8e-3]]]), 210e9).round()
    array([2.52e+08])
    """
    return np.fmax.reduce(gauge_strain.max(axis=2), axis=1) * modulus


def toe_compression_stress(
    down: np.ndarray,
    up: np.ndarray,
    first_peak: np.ndarray,
    return_time: float,
    time_step: float,
    shaft_resistance: np.ndarray,
    toe_area: float,
) -> np.ndarray:
    """Give the greatest compression stress at the toe: what resistance is left when the shaft's is taken off.

    ``σ_toe = max over t of [W_d(t) + W_u(t + T) − R_shaft] / A_toe``; a free toe gives 0, a fixed one ``2 W_d``.

    Units: down, up, shaft_resistance [N]; return_time, time_step [s]; toe_area [m^2]; returns [Pa].

    The shaft resistance seen in the upward wave lacks part of the damping at the moment the peak runs down, so too
    little is taken off and the stress comes out high. On the six invented reference records of the tests it is 11 %
    to 12 % high for a pile standing on its toe and up to 104 % high for one standing on its shaft. A toe that bears
    on one edge only, as on sloping rock, sees far more than any mean.

    Examples
    --------
    >>> down, up = np.array([[0.0, 500e3, 0.0, 0.0]]), np.array([[0.0, 0.0, 50e3, 500e3]])
    >>> toe_compression_stress(down, up, np.array([1]), 2.0, 1.0, np.array([100e3]), 0.01)
    array([90000000.])
    """
    start, count = np.asarray(first_peak, dtype=float), round(SEARCH_WINDOW / time_step) + 1
    total = aligned(down, start, count) + aligned(up, start + return_time / time_step, count)
    return np.maximum(np.fmax.reduce(total, axis=1) - shaft_resistance, 0.0) / toe_area


def peak_tension(
    down: np.ndarray, up: np.ndarray, return_time: float, time_step: float
) -> tuple[np.ndarray, np.ndarray]:
    """Give the greatest tension force between gauges and toe and where it acts: equation (2).

    Units: down, up [N]; return_time, time_step [s]; returns [N].

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
    lowest = lowest_before(down, window)  # the window ends at t2
    force = up + lowest
    arrival = force.argmin(axis=1)  # t2
    tension = np.maximum(-np.take_along_axis(force, arrival[:, np.newaxis], axis=1)[:, 0], 0.0)  # (2)
    lags = np.arange(window)
    earlier = np.maximum(arrival[:, np.newaxis] - lags, 0)
    lag = np.take_along_axis(down, earlier, axis=1).argmin(axis=1)  # t2 − t3
    return tension, np.where(tension > 0, np.minimum(lag * time_step / return_time, 1.0), np.nan)
