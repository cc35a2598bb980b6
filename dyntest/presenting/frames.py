"""Tidy frames behind every figure, one row a point, drawn on paper by matplotlib and on a page by Altair alike.

Columns are titled as an axis is, name and unit, in the units the engineer reads.
"""

import numpy as np
import pandas as pd

from dyntest.names import NAMES, display_unit
from dyntest.signals import Waves

NO_BREAK = "\N{NO-BREAK SPACE}"
"""Between the words of a unit, so that no title is broken there."""


def title(code: str, system: str) -> str:
    """Give the title of an axis: the name in words and its unit.

    Parameters
    ----------
    code : str
        A key of `dyntest.names.NAMES`.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    str
        Words, and the unit in square brackets where there is one.

    Examples
    --------
    >>> title("set_per_blow", "SI"), title("damping_factor", "US")
    ('set per blow [mm]', 'Case damping factor')
    """
    unit, _, _ = display_unit(code, system)
    return f"{NAMES[code].words} [{unit.replace(' ', NO_BREAK)}]" if unit else NAMES[code].words


def shown(code: str, values: np.ndarray, system: str) -> np.ndarray:
    """Give numbers in the units the engineer reads.

    Parameters
    ----------
    code : str
        A key of `dyntest.names.NAMES`.
    values : numpy.ndarray
        The numbers, any shape [SI unit of the name].
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    numpy.ndarray
        The numbers [display unit of the name].

    Examples
    --------
    >>> shown("transferred_energy", np.array([36000.0]), "SI")
    array([36.])
    """
    return np.asarray(values, dtype=float) * display_unit(code, system)[1]


TIME = "time after the impact begins [ms]"


def force_title(system: str) -> str:
    """Give the title of an axis of forces that are not the peak force.

    Parameters
    ----------
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    str
        ``force`` and its unit.

    Examples
    --------
    >>> force_title("US")
    'force [kip]'
    """
    return f"force [{display_unit('peak_force', system)[0]}]"


def traces(waves: Waves, row: int, system: str) -> pd.DataFrame:
    """Give the measured force and Z·velocity of one blow.

    Parameters
    ----------
    waves : Waves
        Conditioned force and velocity.
    row : int
        Row of the blow in `waves` [1].
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns time after the impact begins [ms], force [kN or kip], `trace`.
    """
    return _long(
        waves, row, {"force": waves.force[row], "impedance × velocity": waves.impedance * waves.velocity[row]}, system
    )


def wave_traces(waves: Waves, row: int, system: str, computed_up: np.ndarray | None = None) -> pd.DataFrame:
    """Give the downward and upward waves of one blow, and the computed upward wave where there is one.

    Parameters
    ----------
    waves : Waves
        Conditioned force and velocity.
    row : int
        Row of the blow in `waves` [1].
    system : str
        ``"SI"`` or ``"US"``.
    computed_up : numpy.ndarray or None
        Upward wave from signal matching at the samples of the record, shape (n_samples,) [N].

    Returns
    -------
    pandas.DataFrame
        Columns time after the impact begins [ms], force [kN or kip], `trace`.
    """
    zv = waves.impedance * waves.velocity[row]
    lines = {"downward wave": 0.5 * (waves.force[row] + zv), "upward wave": 0.5 * (waves.force[row] - zv)}
    if computed_up is not None:
        lines["upward wave, computed"] = computed_up
    return _long(waves, row, lines, system)


def milliseconds(waves: Waves, row: int) -> np.ndarray:
    """Give the time of the samples of a blow after its impact begins.

    Parameters
    ----------
    waves : Waves
        Conditioned force and velocity.
    row : int
        Row of the blow in `waves` [1].

    Returns
    -------
    numpy.ndarray
        Time, shape (n_samples,) [ms].
    """
    return np.round(1e3 * (waves.time - waves.time[waves.onset[row]]), 6)


def _long(waves: Waves, row: int, lines: dict[str, np.ndarray], system: str) -> pd.DataFrame:
    time = milliseconds(waves, row)
    parts = [
        pd.DataFrame({TIME: time, force_title(system): shown("peak_force", line, system), "trace": name})
        for name, line in lines.items()
    ]
    return pd.concat(parts, ignore_index=True)
