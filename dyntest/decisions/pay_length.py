"""Length of pile paid for, and where a battered pile ends up when the ground is not where the plan has it.

Common practice, no source: driven length below cutoff, measured along the pile, is paid. The contract decides.
Batter is given as horizontal run per vertical rise; 0 is a vertical pile.
"""

import numpy as np


def axis_per_rise(batter: np.ndarray | float) -> np.ndarray:
    """Give the length along the pile for each length of rise.

    Units: batter [m/m]; returns [m/m].

    ``√(1 + b²)`` [m/m].

    Examples
    --------
    >>> round(float(axis_per_rise(0.75)), 4)
    1.25
    """
    return np.sqrt(1.0 + np.square(batter))


def toe_elevation(
    ground_elevation: np.ndarray | float, penetration: np.ndarray | float, batter: np.ndarray | float = 0.0
) -> np.ndarray:
    """Give the elevation of the toe.

    Units: ground_elevation, penetration [m]; batter [m/m]; returns [m].

    Examples
    --------
    >>> float(toe_elevation(100.0, 20.0)), float(toe_elevation(100.0, 25.0, 0.75))
    (80.0, 80.0)
    """
    return ground_elevation - penetration / axis_per_rise(batter)


def pay_length(
    cutoff_elevation: np.ndarray,
    toe_elevation: np.ndarray,
    batter: np.ndarray | float = 0.0,
    *,
    tip_reinforcement: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Give the length along the pile from toe to cutoff.

    Units: cutoff_elevation, toe_elevation, tip_reinforcement [m]; batter [m/m]; returns [m].

    ``(cutoff − toe) √(1 + b²) − tip`` [m]; not a number where the toe is not below the cutoff by more than the tip.

    Examples
    --------
    >>> float(pay_length(100.0, 80.0, 0.75, tip_reinforcement=0.15))
    24.85
    """
    length = (np.asarray(cutoff_elevation, dtype=float) - toe_elevation) * axis_per_rise(batter) - tip_reinforcement
    return np.where(length > 0.0, length, np.nan)


def cut_off_length(furnished_length: np.ndarray, length_below_cutoff: np.ndarray) -> np.ndarray:
    """Give the length of pile left above cutoff.

    Units: furnished_length, length_below_cutoff [m]; returns [m].

    Examples
    --------
    >>> float(cut_off_length(27.0, 25.0)), float(cut_off_length(24.0, 25.0))
    (2.0, -1.0)
    """
    return np.asarray(furnished_length, dtype=float) - length_below_cutoff


def offset_at_cutoff(
    batter: np.ndarray, planned_ground_elevation: np.ndarray, actual_ground_elevation: np.ndarray
) -> np.ndarray:
    """Give how far from its plan position a battered pile stands at cutoff when the ground is not at plan level.

    Units: batter [m/m]; planned_ground_elevation, actual_ground_elevation [m]; returns [m].

    Horizontal distance from the plan position at cutoff, ``b (actual − planned)`` [m]: positive towards the side
    the toe runs out to, negative towards the other.

    The plan gives the position at cutoff. The stake stands where a pile of exactly this batter, through that
    position, would meet the ground at the planned elevation; the pile is started with its axis on the stake in plan
    and keeps its batter and direction. Nothing else (drift while driving, a turned leader) is in it.

    Examples
    --------
    >>> float(offset_at_cutoff(0.25, 100.0, 98.0))
    -0.5
    """
    return np.asarray(batter, dtype=float) * (np.asarray(actual_ground_elevation) - planned_ground_elevation)
