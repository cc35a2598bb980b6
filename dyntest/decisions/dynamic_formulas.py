"""Public dynamic formulas: resistance from hammer energy and set, as a sanity check beside measured resistance.

They know nothing of the pile, the soil or what the hammer really delivered. Never a substitute for the measurement.
"""

import numpy as np

from dyntest.units import unit_factor

LEAST_COUNT, MOST_COUNT = 24.0, 120.0
"""Blows per foot [1] between which dynamic methods are usable; below they tend to over-predict, above to under-predict
(UFC 3-220-20, 2025, 6-4.1.2)."""


def modified_gates(energy: np.ndarray, set_per_blow: np.ndarray) -> np.ndarray:
    """Give the nominal resistance by the FHWA-modified Gates formula, US form.

    Units: energy [J]; set_per_blow [m]; returns [N].

    ``R = 1.75 √E log10(10 N) − 100`` with R in kips, E in ft·lb, N in blows per inch [N]; not a number where energy
    or set is not positive or the formula gives nothing above zero.

    From memory, after FHWA-NHI-05-042 and AASHTO LRFD 10.7.3.8.5. Meant for the end of driving, for resistances up
    to 600 kip (2,670 kN; from memory, after the same), and for counts from `LEAST_COUNT` to `MOST_COUNT`. The
    form printed in SI units is not an exact conversion; this one, in which the formula was calibrated, stands.

    Examples
    --------
    >>> ft_lb, kip = 1.3558179483314, 4448.2216152605
    >>> round(float(modified_gates(40000 * ft_lb, 0.0254 / 8)) / kip, 1)
    566.1
    """
    root, count = _root_and_count(energy, set_per_blow)
    return _above_zero(1.75 * root * np.log10(10.0 * count) - 100.0) * unit_factor("kip", "force")


def modified_gates_set(resistance: np.ndarray, energy: np.ndarray) -> np.ndarray:
    """Give the set per blow at which the FHWA-modified Gates formula gives a resistance.

    Units: resistance [N]; energy [J]; returns [m].

    ``s = 1/N`` with ``N = 10^((R + 100)/(1.75 √E)) / 10``, R in kips, E in ft·lb, N in blows per inch [m]; not a
    number where resistance or energy is not positive.

    The inverse of `modified_gates`, with its range of validity.

    Examples
    --------
    >>> kip, ft_lb = 4448.2216152605, 1.3558179483314
    >>> round(0.0254 / float(modified_gates_set(566.0815 * kip, 40000 * ft_lb)), 3)
    8.0
    """
    resistance = _positive(resistance) / unit_factor("kip", "force")
    root = np.sqrt(_positive(energy) / unit_factor("ft lbf", "energy"))
    count = 10.0 ** ((resistance + 100.0) / (1.75 * root)) / 10.0
    return unit_factor("in", "length") / count


def gates(energy: np.ndarray, set_per_blow: np.ndarray) -> np.ndarray:
    """Give the ultimate resistance by the original Gates formula.

    Units: energy [J]; set_per_blow [m]; returns [N].

    ``P = 27 √(0.85 E) (1 − log10 s)`` with P in kips, E in ft·kip, s in inches [N]; not a number as in
    `modified_gates`.

    University of Florida thesis pages in the course reader TTE 4004c (c. 1998), Eq. 3-6. A safety factor of 3 goes
    with it there.

    Examples
    --------
    >>> ft_kip, kip = 1355.8179483314, 4448.2216152605
    >>> round(float(gates(40 * ft_kip, 0.125 * 0.0254)) / kip, 1)
    299.6
    """
    root, count = _root_and_count(energy, set_per_blow)
    return _above_zero(27.0 * np.sqrt(0.85 / 1000.0) * root * (1.0 + np.log10(count))) * unit_factor("kip", "force")


def energy_approach(transferred_energy: np.ndarray, set_per_blow: np.ndarray, displacement: np.ndarray) -> np.ndarray:
    """Give the resistance by the energy approach, from measured energy and movement.

    Units: transferred_energy [J]; set_per_blow, displacement [m]; returns [N].

    ``R = E_max / [s + (D − s)/2]``, shape (n_blows,) [N]; not a number where energy or displacement is not
    positive, the set is negative, or the set is above the peak displacement.

    Paikowsky et al. (1994), as in the course reader TTE 4004c (c. 1998), Eq. 3-8. All energy is taken as spent on
    an elastic-plastic static resistance, so R still holds the dynamic part: it tends to be high in easy driving.

    Examples
    --------
    >>> round(float(energy_approach(30e3, 0.006, 0.024)))
    2000000
    """
    energy, displacement = _positive(transferred_energy), _positive(displacement)
    moved = np.asarray(set_per_blow, dtype=float)
    moved = np.where((moved >= 0.0) & (moved <= displacement), moved, np.nan)
    return energy / (moved + (displacement - moved) / 2.0)  # Eq. 3-8


def _root_and_count(energy: np.ndarray, set_per_blow: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Root of the energy in ft·lb, and blows per inch."""
    energy = _positive(energy) / unit_factor("ft lbf", "energy")
    return np.sqrt(energy), unit_factor("in", "length") / _positive(set_per_blow)


def _positive(value: np.ndarray) -> np.ndarray:
    value = np.asarray(value, dtype=float)
    return np.where(value > 0.0, value, np.nan)


def _above_zero(resistance: np.ndarray) -> np.ndarray:
    return np.where(resistance > 0.0, resistance, np.nan)
