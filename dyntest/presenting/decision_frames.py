"""Tidy frames behind the figure of the criterion; titled and in display units as in `frames`."""

import numpy as np
import pandas as pd

from dyntest.decisions.criterion import blow_count
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.presenting.frames import NO_BREAK, shown, title


def count_title(system: str) -> str:
    """Give the title of an axis of blow counts.

    Parameters
    ----------
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    str
        What the count is per.

    Examples
    --------
    >>> count_title("US")
    'blows per inch'
    """
    return "blows per inch" if system == "US" else f"blows per 25{NO_BREAK}mm"


def criterion_points(found: DrivingCriterion, system: str) -> pd.DataFrame:
    """Give everything that the criterion chart shows.

    Parameters
    ----------
    found : DrivingCriterion
        The derived criterion.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns stroke [display unit], count, `what`: ``"bearing graph"``, ``"required"``, ``"ruled out"``,
        ``"measured"`` or ``"modified Gates formula"``; only points that exist.
    """
    rows = found.rows
    groups = {
        "bearing graph": [(row.stroke, row.graph_set) for row in rows],
        "required": [(row.stroke, row.set_per_blow) for row in rows if not row.ruled_out],
        "ruled out": [(row.stroke, row.set_per_blow) for row in rows if row.ruled_out],
        "modified Gates formula": [(row.stroke, row.gates_set) for row in rows],
        "measured": list(zip(found.measured.stroke, found.measured.set_per_blow, strict=True)),
    }
    parts = []
    for what, points in groups.items():
        stroke, sets = np.array(points, dtype=float).reshape(-1, 2).T
        columns = {title("stroke", system): shown("stroke", stroke, system), count_title(system): 0.0}
        frame = pd.DataFrame(columns).assign(what=what)
        with np.errstate(divide="ignore"):
            frame[count_title(system)] = blow_count(sets, system)
        parts.append(frame)
    together = pd.concat(parts, ignore_index=True).replace(np.inf, np.nan)
    return together.dropna(ignore_index=True)
