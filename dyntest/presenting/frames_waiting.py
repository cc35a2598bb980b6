"""Tidy frames of what changed while a pile waited: resistance over time, and over the blows of a restrike."""

import numpy as np
import pandas as pd

from dyntest.decisions.restrike_fade import RestrikeFade
from dyntest.decisions.setup import Setup
from dyntest.decisions.time_law import TimeLaw, resistance_after
from dyntest.decisions.waits import SECONDS_PER_DAY, show_wait
from dyntest.names import NAMES
from dyntest.presenting.frames import shown
from dyntest.presenting.frames_drive import resistance_title

WAIT = "time since the end of the initial drive [days]"

LINE_POINTS = 60
"""Points of the law's line [1]; it is straight over the logarithm of time."""

BEYOND = 3.0
"""How far past the last restrike the law's line is drawn [1], as a multiple of its wait."""


def measured_over_time(law: TimeLaw, system: str) -> pd.DataFrame:
    """Give the resistance of each drive at its time; the initial drive stands at the time from which the law holds.

    Parameters
    ----------
    law : TimeLaw
        The fitted law with what it was fitted through.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns time [days], resistance [kN or kip], `low`, `high`, `drive` (its kind).
    """
    times = np.maximum(np.array(law.times), law.reference_time) / SECONDS_PER_DAY
    numbers = {end: [getattr(one, end) for one in law.resistances] for end in ("value", "low", "high")}
    scaled = {end: shown("matched_resistance", values, system) for end, values in numbers.items()}
    kinds = ["initial" if time == 0.0 else "restrike" for time in law.times]
    return pd.DataFrame(
        {WAIT: times, resistance_title(system): scaled["value"], "low": scaled["low"], "high": scaled["high"]}
    ).assign(drive=kinds)


def law_over_time(law: TimeLaw, system: str) -> pd.DataFrame:
    """Give the line of a time law with its range.

    Parameters
    ----------
    law : TimeLaw
        The fitted law.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns time [days], resistance [kN or kip], `low`, `high`, `measured` (whether the time lies among the
        drives'; beyond them the line is no measurement).
    """
    last = max(max(law.times), law.reference_time)
    times = np.union1d(np.geomspace(law.reference_time, BEYOND * last, LINE_POINTS), last)  # ends at the last drive
    found = resistance_after(law, times, extrapolate=True)
    ends = {end: shown("matched_resistance", getattr(found, end), system) for end in ("value", "low", "high")}
    frame = pd.DataFrame({WAIT: times / SECONDS_PER_DAY, resistance_title(system): ends["value"]})
    return frame.assign(low=ends["low"], high=ends["high"], measured=times <= last)


def fade_line(fade: RestrikeFade, first_blow: int, system: str) -> pd.DataFrame:
    """Give the line through the first blows of a restrike.

    Parameters
    ----------
    fade : RestrikeFade
        The fitted line.
    first_blow : int
        Number of the first blow that was fitted [1].
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns `along` (blow number) and `value` [kN or kip], two rows.
    """
    ends = shown("case_resistance", np.array([fade.first_resistance, fade.last_resistance]), system)
    return pd.DataFrame({"along": [first_blow, first_blow + fade.span - 1], "value": ends})


def setup_rows(setups: tuple[Setup, ...]) -> pd.DataFrame:
    """Give the setup factors as a person reads them.

    Parameters
    ----------
    setups : tuple of Setup
        Every restrike held against the initial drive.

    Returns
    -------
    pandas.DataFrame
        A row a restrike: its wait, and the factor with its range for each resistance.
    """
    rows = []
    for setup in setups:
        row = {"restrike": setup.restrike.replace("_", " "), "waited": show_wait(setup.wait)}
        for code, factor in setup.factors.items():
            spread = f" ({factor.low:.2f} to {factor.high:.2f})" if factor.has_range else ""
            row[NAMES[code].words] = f"{factor.value:.2f}{spread}"
        rows.append(row)
    return pd.DataFrame(rows).fillna("–")
