"""Tidy frames behind the figures of matching, waiting and criterion; titled and in display units as in `frames`."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyntest.decisions.criterion import blow_count
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.decisions.time_law import TimeLaw, resistance_after
from dyntest.decisions.waits import SECONDS_PER_DAY
from dyntest.names import display_unit
from dyntest.presenting.frames import NO_BREAK, force_title, shown, title, wave_traces
from dyntest.reviewing.drive_review import DriveReview
from dyntest.wave_equation.load_movement import load_movement
from dyntest.wave_equation.matched_waves import shaft_distribution

WAIT = "days since the end of the initial drive, logarithmic"
"""Title of the axis of waits."""

LAW_POINTS = 40
"""Points of a drawn time law [1]."""


def aligned_waves(drives: Sequence[DriveReview], system: str) -> pd.DataFrame:
    """Give the waves of every drive's representative blow, with time counted from each one's impact.

    Parameters
    ----------
    drives : sequence of DriveReview
        Drives with a representative blow.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        As `frames.wave_traces`, with `drive` besides.
    """
    return pd.concat([wave_traces(d.waves, 0, system).assign(drive=d.name) for d in drives], ignore_index=True)


def movement_title(system: str) -> str:
    """Give the title of an axis of movements that are not the set.

    Parameters
    ----------
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    str
        ``movement`` and its unit.

    Examples
    --------
    >>> movement_title("SI")
    'movement [mm]'
    """
    return f"movement [{display_unit('peak_displacement', system)[0]}]"


def load_movements(drives: Sequence[DriveReview], system: str) -> pd.DataFrame:
    """Give the computed static load–movement curves of matched drives.

    Parameters
    ----------
    drives : sequence of DriveReview
        Drives with a match.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns force, movement [display units], `drive`, `part` (``"at the gauges"`` or ``"at the toe"``).
    """
    parts = []
    for drive in drives:
        curve = load_movement(drive.match)
        for part, load, movement in (
            ("at the gauges", curve.head_load, curve.head_movement),
            ("at the toe", curve.toe_load, curve.toe_movement),
        ):
            columns = {
                force_title(system): shown("peak_force", load, system),
                movement_title(system): shown("peak_displacement", movement, system),
            }
            parts.append(pd.DataFrame(columns).assign(drive=drive.name, part=part))
    return pd.concat(parts, ignore_index=True)


def per_length_title(system: str) -> str:
    """Give the title of an axis of shaft resistance per length of pile.

    Parameters
    ----------
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    str
        Words and unit.

    Examples
    --------
    >>> per_length_title("SI").replace(NO_BREAK, " ")
    'shaft resistance per length [kN/m]'
    """
    force, length = display_unit("shaft_resistance", system)[0], display_unit("penetration", system)[0]
    return f"shaft resistance per length [{force}/{length}]"


DEPTH = "depth below the gauges"


def shaft_profiles(drives: Sequence[DriveReview], system: str) -> pd.DataFrame:
    """Give the matched shaft resistance along the pile as the corners of a stepped line.

    Parameters
    ----------
    drives : sequence of DriveReview
        Drives with a match.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns resistance per length, depth below the gauges [display units], `drive`.
    """
    length = display_unit("penetration", system)
    parts = []
    for drive in drives:
        shaft = shaft_distribution(drive.match)
        depth = np.stack([shaft.top, shaft.bottom], axis=1).ravel()
        value = np.repeat(shown("shaft_resistance", shaft.per_length, system) / length[1], 2)
        columns = {per_length_title(system): value, f"{DEPTH} [{length[0]}]": depth * length[1]}
        parts.append(pd.DataFrame(columns).assign(drive=drive.name))
    return pd.concat(parts, ignore_index=True)


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
