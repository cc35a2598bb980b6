"""Energy passed into the pile, movement at the gauges, and force and velocity at the first peak.

The displacement at the end of the record is `dyntest.conditioning.corrections.final_displacement`, since removing the
drift rests on it.

Shaft resistance that shows in the upward wave before the toe's return.

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

from dyntest.conditioning.channel_measures import at
from dyntest.conditioning.corrections import integrate
from dyntest.quantities.sampling import value_at


def transferred_energy(force: np.ndarray, velocity: np.ndarray, time_step: float) -> np.ndarray:
    """Give the largest energy that had gone past the gauges into the pile at any time.

    ``E_max = max over t of ∫ F v dt`` from the beginning of the record, by the trapezoidal rule. In waves it is
    ``∫ (W_d² − W_u²)/Z dt``, which holds without friction between gauges and head.

    Units: force [N]; velocity [m/s]; time_step [s]; returns [J].

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

    Units: energy, available [J].

    Examples
    --------
    >>> energy_ratio(np.array([15e3]), 60e3)
    array([0.25])
    """
    return energy / available


def peak_displacement(velocity: np.ndarray, time_step: float) -> np.ndarray:
    """Give the greatest displacement at the gauges, ``max ∫v dt``.

    Units: velocity [m/s]; time_step [s]; returns [m].

    Acceleration integrated twice: what is left of the drift grows with time, so the peak, some 10 ms after the
    impact, is surer than the end.

    Examples
    --------
    >>> peak_displacement(np.array([[0.0, 2.0, 0.0, -1.0]]), 0.01)
    array([0.02])
    """
    return integrate(velocity, time_step).max(axis=1)


def proportionality(force: np.ndarray, velocity: np.ndarray, impedance: float, first_peak: np.ndarray) -> np.ndarray:
    """Give force over impedance times velocity at the first peak: 1 while nothing has come back from the pile.

    Units: force [N]; velocity [m/s]; impedance [N s/m].

    Examples
    --------
    >>> proportionality(np.array([[0.0, 2.2e6]]), np.array([[0.0, 4.0]]), 5e5, np.array([1]))
    array([1.1])
    """
    moving = at(velocity, first_peak)
    return at(force, first_peak) / (impedance * np.where(moving > 0, moving, np.nan))


def bending_ratio(gauge_strain: np.ndarray, first_peak: np.ndarray, pair: tuple[int, int] = (0, 1)) -> np.ndarray:
    """Give the difference of two strain gauges on opposite faces over their sum at the first peak.

    It is 0 where the blow is central.

    Units: gauge_strain [m/m].

    Examples
    --------
    >>> bending_ratio(np.array([[[0.0, 1.2e-3], [0.0, 0.8e-3]]]), np.array([1])).round(3)
    array([0.2])
    """
    one, other = (at(gauge_strain[:, place], first_peak) for place in pair)
    total = one + other
    return (one - other) / np.where(total > 0, total, np.nan)


def shaft_resistance_before_return(
    up: np.ndarray, onset: np.ndarray, return_time: float, time_step: float
) -> np.ndarray:
    """Give the shaft resistance, damping included, from the upward wave just before the toe's return: equation (1).

    Units: up [N]; return_time, time_step [s]; returns [N].

    Examples
    --------
    >>> shaft_resistance_before_return(np.array([[0.0, 0.0, 100.0, 150.0, -300.0]]), np.array([0]), 3.0, 1.0)
    array([300.])
    """
    return np.maximum(2.0 * value_at(up, onset + return_time / time_step), 0.0)  # (1)


def shaft_share(shaft_resistance: np.ndarray, total_resistance: np.ndarray) -> np.ndarray:
    """Give the share of the shaft in the total resistance.

    Units: shaft_resistance, total_resistance [N].

    Examples
    --------
    >>> shaft_share(np.array([300.0]), np.array([1200.0]))
    array([0.25])
    """
    return np.clip(shaft_resistance / np.where(total_resistance > 0, total_resistance, np.nan), 0.0, 1.0)
