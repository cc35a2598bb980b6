"""Fewer points to draw, with the peaks kept; numbers are computed from all of them before.

Tidy frames behind every figure, one row a point, drawn on paper by matplotlib and on a page by Altair alike.

Columns are titled as an axis is, name and unit, in the units the engineer reads.
"""

from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyntest.names import NAMES, display_unit
from dyntest.signals import Waves


def thinned_rows(values: np.ndarray, most: int) -> np.ndarray:
    """Give which points of a line to draw, so that it looks the same.

    Examples
    --------
    >>> line = np.zeros(1000)
    >>> line[123] = 5.0
    >>> rows = thinned_rows(line, 100)
    >>> len(rows) <= 100, 123 in rows, (rows[0], rows[-1]) == (0, 999)
    (True, True, True)
    """
    values = np.asarray(values, dtype=float)
    n = len(values)
    if n <= most:
        return np.arange(n)
    runs = max((most - 2) // 2, 1)
    edges = np.linspace(0, n, runs + 1).astype(int)
    low = np.where(np.isfinite(values), values, np.inf)
    high = np.where(np.isfinite(values), values, -np.inf)
    kept = {0, n - 1}
    for start, end in pairwise(edges):
        kept |= {start + int(low[start:end].argmin()), start + int(high[start:end].argmax())}
    return np.array(sorted(kept))


def thinned(frame: pd.DataFrame, value: str, by: str, most: int) -> pd.DataFrame:
    """Give a tidy frame with fewer points to each line."""
    if frame.empty:
        return frame
    parts = [part.iloc[thinned_rows(part[value].to_numpy(), most)] for _, part in frame.groupby(by, sort=False)]
    return pd.concat(parts, ignore_index=True)


NO_BREAK = "\N{NO-BREAK SPACE}"
"""Between the words of a unit, so that no title is broken there."""


def title(code: str, system: str) -> str:
    """Give the title of an axis: the name in words and its unit.

    Examples
    --------
    >>> title("set_per_blow", "SI"), title("damping_factor", "US")
    ('set per blow [mm]', 'Case damping factor')
    """
    unit, _, _ = display_unit(code, system)
    return f"{NAMES[code].words} [{unit.replace(' ', NO_BREAK)}]" if unit else NAMES[code].words


def shown(code: str, values: ArrayLike, system: str) -> np.ndarray:
    """Give numbers in the units the engineer reads.

    Examples
    --------
    >>> shown("transferred_energy", np.array([36000.0]), "SI")
    array([36.])
    """
    return np.asarray(values, dtype=float) * display_unit(code, system)[1]


TIME = "time after the impact begins [ms]"


def force_title(system: str) -> str:
    """Give the title of an axis of forces that are not the peak force.

    ``force`` and its unit.

    Examples
    --------
    >>> force_title("US")
    'force [kip]'
    """
    return f"force [{display_unit('peak_force', system)[0]}]"


def traces(waves: Waves, row: int, system: str) -> pd.DataFrame:
    """Give the measured force and Z·velocity of one blow.

    Units: returns [ms].
    """
    return _long(
        waves, row, {"force": waves.force[row], "impedance × velocity": waves.impedance * waves.velocity[row]}, system
    )


def wave_traces(waves: Waves, row: int, system: str, computed_up: np.ndarray | None = None) -> pd.DataFrame:
    """Give the downward and upward waves of one blow, and the computed upward wave where there is one.

    Units: computed_up [N]; returns [ms].
    """
    alone = waves.take([row])
    lines = {"downward wave": alone.down[0], "upward wave": alone.up[0]}
    if computed_up is not None:
        lines["upward wave, computed"] = computed_up
    return _long(waves, row, lines, system)


def milliseconds(waves: Waves, row: int) -> np.ndarray:
    """Give the time of the samples of a blow after its impact begins.

    Units: returns [ms].
    """
    return np.round(1e3 * (waves.time - waves.time[waves.onset[row]]), 6)


def _long(waves: Waves, row: int, lines: dict[str, np.ndarray], system: str) -> pd.DataFrame:
    time = milliseconds(waves, row)
    parts = [
        pd.DataFrame({TIME: time, force_title(system): shown("peak_force", line, system), "trace": name})
        for name, line in lines.items()
    ]
    return pd.concat(parts, ignore_index=True)
