"""Resistance from force and velocity by the Case method, at the first peak and by its variants.

The pile is uniform and linear, its resistance is plastic while the wave passes, and all damping acts at the toe in
proportion to the toe's velocity. With ``W_d = (F + Zv)/2``, ``W_u = (F − Zv)/2`` and ``T = 2L/c``:

(1) ``R(t1) = W_d(t1) + W_u(t1 + T)``, the total resistance, static and dynamic;
(2) ``Z v_toe(t1 + T/2) = 2 W_d(t1) − R(t1) = W_d(t1) − W_u(t1 + T)``, the velocity of the toe;
(3) ``R_s(J, t1) = R − J Z v_toe = (1−J)/2 [F + Zv](t1) + (1+J)/2 [F − Zv](t1 + T)``, the static resistance.

In (2) the shaft resistance drops out: it takes ``R_shaft/2`` from the wave going down and adds the same to the wave
coming up. A return time that is not a whole number of samples is met by linear interpolation.

Notes
-----
All values are estimates that rest on the damping factor and on enough movement to mobilise the resistance; they do
not replace signal matching, a static load test or the judgement of the engineer in charge.

References
----------
Goble, Likins & Rausche (1975), *Bearing capacity of piles from dynamic measurements*, report OHIO-DOT-05-75; the
forms of (1) to (3) from memory, after that report and Rausche, Goble & Likins (1985), ASCE J. Geotech. Eng. 111(3).
They also follow exactly from the one-dimensional wave equation, which is how the tests check them.

Case damping factors to begin with, by the soil at the toe.

The factors are from memory, after FHWA-HI-97-013 (1996), chapter 17, which lists the ranges of 1975 and narrower
ones of 1996. They belong to the resistance at the first peak. They are a start only: a factor calibrated by signal
matching or by a static load test on the site goes before them. The factor is not Smith's damping and has no unit;
overall it reaches from about 0.1 in sand to about 1.0 in clay (UFC 3-220-20, section 6-9.2).
"""

import math
from dataclasses import dataclass

import numpy as np

from dyntest.quantities.sampling import aligned, first_not_positive, value_at

SEARCH_WINDOW = 0.030
"""How long after the first peak t1 is moved for the maximum and for the toe at rest [s]; from memory, common use."""

AT_REST = 0.01
"""The toe counts as at rest below this share of its greatest velocity [1]; our own choice.

A toe that stops without rebounding would else be missed for the least error in the velocity.
"""


def total_resistance(
    down: np.ndarray, up: np.ndarray, first_peak: np.ndarray, return_time: float, time_step: float
) -> np.ndarray:
    """Give the total resistance at the first peak, with nothing taken off for damping: equation (1), or J = 0.

    Units: down, up [N]; return_time, time_step [s]; returns [N].

    Examples
    --------
    >>> down, up = np.array([[0.0, 500.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 0.0, -100.0]])
    >>> total_resistance(down, up, np.array([1]), return_time=2.0, time_step=1.0)
    array([400.])
    """
    arrived, returned = _at_first_peak(down, up, first_peak, return_time, time_step)
    return arrived + returned  # (1)


def case_resistance(
    down: np.ndarray,
    up: np.ndarray,
    first_peak: np.ndarray,
    return_time: float,
    time_step: float,
    damping_factor: float | np.ndarray,
) -> np.ndarray:
    """Give the static resistance at the first peak for one or many damping factors: equation (3).

    Parameters
    ----------
    down, up : numpy.ndarray
        Downward and upward wave, shape (n_blows, n_samples) [N], compression positive.
    first_peak : numpy.ndarray
        Sample t1 of the first peak, shape (n_blows,) [1].
    return_time : float
        Time T for the wave to the toe and back [s].
    time_step : float
        Time between samples [s].
    damping_factor : float or numpy.ndarray
        Case damping factor J, one or shape (n_factors,) [1].

    Returns
    -------
    numpy.ndarray
        Resistance, shape (n_blows,) or (n_blows, n_factors) [N]; not a number where the record ends before t1 + T.

    Notes
    -----
    ``R_s(J, t1) = (1 − J)·W_d(t1) + (1 + J)·W_u(t1 + T)``. It holds for a uniform, linear pile, resistance that is
    plastic while the wave passes, and all damping at the toe. From memory, after Goble, Likins & Rausche (1975),
    OHIO-DOT-05-75.

    Examples
    --------
    >>> down, up = np.array([[0.0, 500.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 0.0, -100.0]])
    >>> case_resistance(down, up, np.array([1]), 2.0, 1.0, np.array([0.0, 0.5]))
    array([[400., 100.]])
    """
    arrived, returned = _at_first_peak(down, up, first_peak, return_time, time_step)
    return _static(arrived + returned, arrived - returned, damping_factor)


def case_resistance_maximum(
    down: np.ndarray,
    up: np.ndarray,
    first_peak: np.ndarray,
    return_time: float,
    time_step: float,
    damping_factor: float | np.ndarray,
    search_window: float = SEARCH_WINDOW,
) -> np.ndarray:
    """Give the largest static resistance while t1 moves on from the first peak and T stays: the maximum of (3).

    For resistance that comes late, as with a large toe quake. From memory: its damping factor is usually 0.4 or more
    and about 0.2 above the one that suits the first peak, so with one and the same factor it is on the high side.

    Units: down, up [N]; return_time, time_step, search_window [s]; returns [N].

    Examples
    --------
    >>> down, up = np.array([[0.0, 500.0, 400.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 0.0, -100.0, 100.0]])
    >>> case_resistance_maximum(down, up, np.array([1]), 2.0, 1.0, 0.5, search_window=1.0)
    array([350.])
    """
    arrived, returned = _while_t1_moves(down, up, first_peak, return_time, time_step, search_window)
    total, toe = arrived + returned, arrived - returned
    factors = np.asarray(damping_factor, dtype=float)
    largest = [np.fmax.reduce(total - factor * toe, axis=1) for factor in factors.ravel()]  # a few factors, all blows
    return np.stack(largest, axis=-1).reshape(len(down), *factors.shape)


def case_resistance_toe_at_rest(
    down: np.ndarray,
    up: np.ndarray,
    first_peak: np.ndarray,
    return_time: float,
    time_step: float,
    search_window: float = SEARCH_WINDOW,
) -> np.ndarray:
    """Give the resistance at the time the toe stops, which needs no damping factor.

    At the first zero of the toe's velocity (2) the damping term of (3) vanishes for every J, so the total (1) is
    static there; it is read at `AT_REST` of the greatest velocity, which leaves 1 % of the greatest damping in it.
    Damping along the shaft is not at rest then, and a shaft that already rebounds lowers the value: on the six
    invented reference records of the tests it is 14 % under to 14 % over the true resistance.

    Units: down, up [N]; return_time, time_step, search_window [s]; returns [N].

    Examples
    --------
    >>> down, up = np.array([[0.0, 500.0, 300.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 0.0, 100.0, 500.0]])
    >>> case_resistance_toe_at_rest(down, up, np.array([1]), 2.0, 1.0, search_window=2.0).round(1)
    array([732.])
    """
    arrived, returned = _while_t1_moves(down, up, first_peak, return_time, time_step, search_window)
    toe = arrived - returned  # (2)
    at_rest = first_not_positive(toe - AT_REST * np.fmax.reduce(toe, axis=1)[:, np.newaxis])
    return value_at(arrived + returned, at_rest)  # (1)


def case_resistance_unloading(
    down: np.ndarray,
    up: np.ndarray,
    first_peak: np.ndarray,
    return_time: float,
    time_step: float,
    damping_factor: float | np.ndarray,
) -> np.ndarray:
    """Give the static resistance at the first peak, corrected for a shaft that unloads before the toe's return.

    A long pile rebounds at its top at t_u before t1 + T, so the shaft over the upper length ``c Δt/2`` with
    ``Δt = t1 + T − t_u`` has let go and is missing in (1). What that length held while it was loaded shows in
    ``F − Zv`` at t1 + Δt; half of it is added to the total before damping is taken off:

    (4) ``R' = R + [F − Zv](t1 + Δt)/2``, then (3) with R' in the place of R.

    Units: down, up [N]; return_time, time_step [s]; returns [N].

    From memory, after Rausche, Goble & Likins (1985); half is a compromise, for not all of that length has let go.

    Examples
    --------
    >>> down = np.array([[0.0, 500.0, 200.0, 50.0, 0.0, 0.0]])
    >>> up = np.array([[0.0, 0.0, 60.0, 150.0, 100.0, 0.0]])
    >>> case_resistance_unloading(down, up, np.array([1]), 4.0, 1.0, 0.0).round(1)
    array([629.2])
    """
    arrived, returned = _at_first_peak(down, up, first_peak, return_time, time_step)
    delay = return_time / time_step
    rebound = first_not_positive(aligned(down - up, first_peak, math.ceil(delay) + 1))
    unloaded = np.maximum(value_at(up, first_peak + delay - rebound), 0.0)
    total = arrived + returned + np.where(rebound < delay, unloaded, 0.0)  # (4), for (F − Zv)/2 = W_u
    return _static(total, 2.0 * arrived - total, damping_factor)


def calibrated_damping_factor(
    down: np.ndarray,
    up: np.ndarray,
    first_peak: np.ndarray,
    return_time: float,
    time_step: float,
    resistance: float | np.ndarray,
) -> np.ndarray:
    """Give the damping factor with which the Case resistance at the first peak equals a known resistance.

    Equation (3) solved for J: ``J = (R − R_known)/(Z v_toe)``.

    Units: down, up, resistance [N]; return_time, time_step [s].

    Examples
    --------
    >>> down, up = np.array([[0.0, 500.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 0.0, -100.0]])
    >>> calibrated_damping_factor(down, up, np.array([1]), 2.0, 1.0, resistance=100.0)
    array([0.5])
    """
    arrived, returned = _at_first_peak(down, up, first_peak, return_time, time_step)
    toe = arrived - returned  # (2)
    return (arrived + returned - resistance) / np.where(toe > 0, toe, np.nan)


def _static(total: np.ndarray, toe: np.ndarray, damping_factor: float | np.ndarray) -> np.ndarray:
    """Give the static resistance (3) from the total and from Z·v_toe; the factors become the last axis."""
    factors = np.asarray(damping_factor, dtype=float)
    return total.reshape(-1, *(1,) * factors.ndim) - np.multiply.outer(toe, factors)  # (3)


def _at_first_peak(down, up, first_peak, return_time, time_step):
    """Give the downward wave at t1 and the upward wave at t1 + T."""
    start = np.asarray(first_peak, dtype=float)
    return value_at(down, start), value_at(up, start + return_time / time_step)


def _while_t1_moves(down, up, first_peak, return_time, time_step, search_window):
    """Give the downward wave at every t1 from the first peak on, and the upward wave at t1 + T."""
    start, count = np.asarray(first_peak, dtype=float), round(search_window / time_step) + 1
    return aligned(down, start, count), aligned(up, start + return_time / time_step, count)


SOURCE = "from memory, after FHWA-HI-97-013 (1996), chapter 17"
"""Where the table stands; shown wherever a suggested factor is used."""

FACTORS = {
    "clean sand": ((0.05, 0.20), (0.10, 0.15)),
    "silty sand, sandy silt": ((0.15, 0.30), (0.15, 0.25)),
    "silt": ((0.20, 0.45), (0.25, 0.40)),
    "silty clay, clayey silt": ((0.40, 0.70), (0.40, 0.70)),
    "clay": ((0.60, 1.10), (0.70, None)),
}
"""Soil at the toe: range of 1975 and range of 1996 [1]; the last has no upper end ("0.70 or higher")."""

ADDED_FOR_MAXIMUM, LEAST_FOR_MAXIMUM = 0.2, 0.4
"""What the factor of the largest resistance over time has above that of the first peak, and its usual least [1]; from
memory, common practice. With the factor of the first peak the largest over time comes out too high."""

_ROW = {"sand": "clean sand", "silt": "silt", "clay": "clay"}
"""The row of the table for the soils that a test sheet may name; rock is not in the table."""


@dataclass(frozen=True)
class SuggestedDamping:
    """A damping factor suggested by the soil at the toe.

    Parameters
    ----------
    damping_factor : float
        Case damping factor J to begin with [1].
    lowest : float
        Lower end of the range [1].
    highest : float or None
        Upper end of the range [1]; none where the source gives none.
    soil : str
        The row of the table.
    source : str
        Where the range comes from.
    """

    damping_factor: float
    lowest: float
    highest: float | None
    soil: str
    source: str = SOURCE

    @property
    def factor_for_maximum(self) -> float:
        """Damping factor to begin with for the largest resistance over time [1]."""
        return factor_for_maximum(self.damping_factor)


def factor_for_maximum(damping_factor: float) -> float:
    """Give the damping factor of the largest resistance over time from that of the first peak [1].

    Examples
    --------
    >>> round(factor_for_maximum(0.33), 2), factor_for_maximum(0.1)
    (0.53, 0.4)
    """
    return max(damping_factor + ADDED_FOR_MAXIMUM, LEAST_FOR_MAXIMUM)


def suggested_damping(toe_soil: str | None) -> SuggestedDamping | None:
    """Give the damping factor suggested by the soil at the toe: the middle of the range of 1996.

    Examples
    --------
    >>> round(suggested_damping("sand").damping_factor, 3), suggested_damping("clay").damping_factor
    (0.125, 0.7)
    >>> suggested_damping("sand").factor_for_maximum
    0.4
    >>> suggested_damping("rock") is None
    True
    """
    row = None if toe_soil is None else _ROW.get(toe_soil, toe_soil)
    if row is None or row not in FACTORS:
        return None
    lowest, highest = FACTORS[row][1]
    middle = lowest if highest is None else 0.5 * (lowest + highest)
    return SuggestedDamping(middle, lowest, highest, row)
