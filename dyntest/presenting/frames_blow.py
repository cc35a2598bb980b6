"""Tidy frames of single blows beyond force and waves: motion, energy, gauges, overlays, and the times that matter."""

import numpy as np
import pandas as pd

from dyntest.conditioning.integration import integrate
from dyntest.names import display_unit
from dyntest.pile import Pile
from dyntest.presenting.frames import TIME, force_title, milliseconds, shown, title
from dyntest.signals import AveragedTraces, Signals, Waves

GAUGE_UNITS = {"strain": ("strain [µm/m]", 1e6), "acceleration": ("acceleration [m/s²]", 1.0)}
"""Title and factor from SI of what a gauge reads; gauges are calibrated in these units everywhere."""

SHOWN_RETURNS = 4.0
"""Length of the picture of one blow, in travel times to the toe and back [1]: the toe's return and what follows."""

OVERLAYS = ("force", "impedance × velocity", "downward wave", "upward wave")
"""Traces of which several blows can be laid over each other."""


def marks(waves: Waves, row: int, pile: Pile) -> dict[str, float]:
    """Give the times that matter in the record of a blow, by what they are.

    Parameters
    ----------
    waves : Waves
        Conditioned force and velocity.
    row : int
        Row of the blow in `waves` [1].
    pile : Pile
        The pile, for its return time.

    Returns
    -------
    dict of str to float
        Time after the impact begins [ms].
    """
    peak = 1e3 * waves.time_step * float(waves.first_peak[row] - waves.onset[row])
    return {"impact": 0.0, "first peak": peak, "toe return": peak + 1e3 * pile.return_time}


def soil_free_until(pile: Pile, penetration: float) -> float:
    """Give the time until which no wave from the soil can be back at the gauges.

    Parameters
    ----------
    pile : Pile
        The pile.
    penetration : float
        Penetration of the toe [m]; not a number where it is not known.

    Returns
    -------
    float
        Time after the impact begins [ms]: to the ground and back, ``2 (L − d)/c``; 0 where the gauges stand at the
        ground or the penetration is not known.

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> round(soil_free_until(Pile("A", "steel", (PilePart(20.0, 0.01, 210e9, 7850.0),)), 15.0), 2)
    1.93
    """
    if not np.isfinite(penetration):
        return 0.0
    left, time = max(pile.length - penetration, 0.0), 0.0
    for part in pile.parts:
        length = min(part.length, left)
        time += 2e3 * length / part.wave_speed
        left -= length
    return time


def displacement_trace(waves: Waves, row: int, system: str) -> pd.DataFrame:
    """Give the displacement at the gauges during a blow.

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
        Columns time after the impact begins [ms], displacement [mm or in], `trace`.
    """
    moved = integrate(waves.velocity[row], waves.time_step)
    heading = f"displacement [{display_unit('peak_displacement', system)[0]}]"
    return _one(waves, row, heading, shown("peak_displacement", moved, system), "displacement")


def energy_trace(waves: Waves, row: int, system: str) -> pd.DataFrame:
    """Give the energy that has passed the gauges during a blow.

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
        Columns time after the impact begins [ms], energy [kJ or kip ft], `trace`.
    """
    passed = integrate(waves.force[row] * waves.velocity[row], waves.time_step)
    return _one(waves, row, title("transferred_energy", system), shown("transferred_energy", passed, system), "energy")


def gauge_traces(signals: Signals | AveragedTraces, row: int, onset: int, kind: str) -> pd.DataFrame:
    """Give what the two gauges of a kind recorded, as recorded.

    Parameters
    ----------
    signals : Signals or AveragedTraces
        Raw records.
    row : int
        Row of the blow in `signals` [1].
    onset : int
        Sample at which the impact begins [1].
    kind : str
        ``"strain"`` or ``"acceleration"``.

    Returns
    -------
    pandas.DataFrame
        Columns time after the impact begins [ms], the reading, `trace` (the channel's name); empty where only averaged
        traces exist.
    """
    heading, factor = GAUGE_UNITS[kind]
    if isinstance(signals, AveragedTraces):
        return pd.DataFrame(columns=[TIME, heading, "trace"])
    time = np.round(1e3 * (signals.time - signals.time[onset]), 6)
    names = signals.strain_names if kind == "strain" else signals.acceleration_names
    readings = getattr(signals, kind)[row]
    parts = [
        pd.DataFrame({TIME: time, heading: factor * readings[gauge], "trace": name}) for gauge, name in enumerate(names)
    ]
    return pd.concat(parts, ignore_index=True)


def overlay(blows: dict[str, tuple[Waves, int]], trace: str, system: str) -> pd.DataFrame:
    """Give one trace of several blows, each from the time its impact begins.

    Parameters
    ----------
    blows : dict of str to (Waves, int)
        Waves and the row of the blow in them [1], by what the blow is called.
    trace : str
        One of `OVERLAYS`.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns time after the impact begins [ms], force [kN or kip], `trace` (what the blow is called).
    """
    parts = []
    for name, (waves, row) in blows.items():
        force, zv = waves.force[row], waves.impedance * waves.velocity[row]
        lines = (force, zv, 0.5 * (force + zv), 0.5 * (force - zv))
        values = shown("peak_force", lines[OVERLAYS.index(trace)], system)
        parts.append(pd.DataFrame({TIME: milliseconds(waves, row), force_title(system): values, "trace": name}))
    return pd.concat(parts, ignore_index=True)


def _one(waves: Waves, row: int, heading: str, values: np.ndarray, name: str) -> pd.DataFrame:
    return pd.DataFrame({TIME: milliseconds(waves, row), heading: values, "trace": name})
