"""Tidy frames behind the figures of waiting and criterion; titled and in display units as in `frames`."""

import numpy as np
import pandas as pd

from dyntest.decisions.criterion import blow_count
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.decisions.time_law import TimeLaw, resistance_after
from dyntest.decisions.waits import SECONDS_PER_DAY
from dyntest.presenting.frames import NO_BREAK, shown, title

WAIT = "days since the end of the initial drive, logarithmic"
"""Title of the axis of waits."""

LAW_POINTS = 40
"""Points of a drawn time law [1]."""


def waits(law: TimeLaw, system: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give resistance against the time that was waited: as measured, and as the fitted law has it.

    Parameters
    ----------
    law : TimeLaw
        The fitted law.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    tuple of pandas.DataFrame
        Measured and fitted, each with the columns `WAIT`, `low`, `value` and `high` [display unit of a resistance];
        a drive before the law's reference time stands at that time.
    """
    observed = np.maximum(np.array(law.times), law.reference_time)
    ends = [[getattr(q, end) for q in law.resistances] for end in ("low", "value", "high")]
    measured = _ranges(observed, *np.array(ends), system)
    times = np.geomspace(law.reference_time, max(observed.max(), 1.01 * law.reference_time), LAW_POINTS)
    fitted = resistance_after(law, times, extrapolate=True)
    return measured, _ranges(times, fitted.low, fitted.value, fitted.high, system)


def _ranges(seconds, low, value, high, system: str) -> pd.DataFrame:
    numbers = {"low": low, "value": value, "high": high}
    shown_numbers = {name: shown("matched_resistance", number, system) for name, number in numbers.items()}
    return pd.DataFrame({WAIT: seconds / SECONDS_PER_DAY, **shown_numbers})


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
