"""Length of pile paid for, and where a battered pile ends up when the ground is not where the plan has it.

Common practice, no source: driven length below cutoff, measured along the pile, is paid. The contract decides.
Batter is given as horizontal run per vertical rise; 0 is a vertical pile.
"""

import numpy as np


def axis_per_rise(batter: np.ndarray) -> np.ndarray:
    """Give the length along the pile for each length of rise.

    Parameters
    ----------
    batter : numpy.ndarray
        Horizontal run per vertical rise [m/m].

    Returns
    -------
    numpy.ndarray
        ``√(1 + b²)`` [m/m].

    Examples
    --------
    >>> round(float(axis_per_rise(0.75)), 4)
    1.25
    """
    return np.sqrt(1.0 + np.square(batter))


def toe_elevation(ground_elevation: np.ndarray, penetration: np.ndarray, batter: np.ndarray = 0.0) -> np.ndarray:
    """Give the elevation of the toe.

    Parameters
    ----------
    ground_elevation : numpy.ndarray
        Elevation of the ground where the pile enters it [m].
    penetration : numpy.ndarray
        Length in the ground along the pile, as the inspector reads the marks on it [m].
    batter : numpy.ndarray
        Horizontal run per vertical rise [m/m].

    Returns
    -------
    numpy.ndarray
        Elevation of the toe [m].

    Examples
    --------
    >>> float(toe_elevation(100.0, 20.0)), float(toe_elevation(100.0, 25.0, 0.75))
    (80.0, 80.0)
    """
    return ground_elevation - penetration / axis_per_rise(batter)


def pay_length(
    cutoff_elevation: np.ndarray,
    toe_elevation: np.ndarray,
    batter: np.ndarray = 0.0,
    *,
    tip_reinforcement: np.ndarray = 0.0,
) -> np.ndarray:
    """Give the length along the pile from toe to cutoff.

    Parameters
    ----------
    cutoff_elevation : numpy.ndarray
        Elevation at which the pile is cut off [m].
    toe_elevation : numpy.ndarray
        Elevation of the toe, the bottom of any tip reinforcement [m].
    batter : numpy.ndarray
        Horizontal run per vertical rise [m/m].
    tip_reinforcement : numpy.ndarray
        Length of tip reinforcement that is paid apart and left out here [m]; 0 where it is paid as pile.

    Returns
    -------
    numpy.ndarray
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

    Parameters
    ----------
    furnished_length : numpy.ndarray
        Length of the pile as furnished, with splices and any tip reinforcement [m].
    length_below_cutoff : numpy.ndarray
        Length along the pile from toe to cutoff with the tip in it [m].

    Returns
    -------
    numpy.ndarray
        What is cut off [m]; negative where the pile is short of its cutoff by so much.

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

    Parameters
    ----------
    batter : numpy.ndarray
        Horizontal run per vertical rise [m/m].
    planned_ground_elevation : numpy.ndarray
        Ground elevation for which the starting point was staked out [m].
    actual_ground_elevation : numpy.ndarray
        Ground elevation at which the pile was started on that stake [m].

    Returns
    -------
    numpy.ndarray
        Horizontal distance from the plan position at cutoff, ``b (actual − planned)`` [m]: positive towards the side
        the toe runs out to, negative towards the other.

    Notes
    -----
    The plan gives the position at cutoff. The stake stands where a pile of exactly this batter, through that position,
    would meet the ground at the planned elevation; the pile is started with its axis on the stake in plan and keeps its
    batter and direction. Nothing else (drift while driving, a turned leader) is in it.

    Examples
    --------
    >>> float(offset_at_cutoff(0.25, 100.0, 98.0))
    -0.5
    """
    return np.asarray(batter, dtype=float) * (np.asarray(actual_ground_elevation) - planned_ground_elevation)
