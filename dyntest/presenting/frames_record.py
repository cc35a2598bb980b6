"""Tidy frames of single blows beyond force and waves: motion, energy, gauges, overlays, and the times that matter.

Tidy frames of a whole drive: numbers of every blow that can be traced back to their blow, and findings on blows.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyntest.conditioning.corrections import integrate
from dyntest.conditioning.findings import SEVERITIES, Finding
from dyntest.names import NAMES, display_unit
from dyntest.pile import Pile
from dyntest.presenting.finding_words import finding_message
from dyntest.presenting.frames import TIME, force_title, milliseconds, shown, thinned, title
from dyntest.quantities.case_resistance import case_resistance, case_resistance_maximum
from dyntest.signals import AveragedTraces, Signals, Waves
from dyntest.units import STANDARD_GRAVITY

GAUGE_UNITS = {
    ("strain", "SI"): ("strain [µm/m]", 1e6),
    ("strain", "US"): ("strain [µin/in]", 1e6),
    ("acceleration", "SI"): ("acceleration [m/s²]", 1.0),
    ("acceleration", "US"): ("acceleration [g]", 1.0 / STANDARD_GRAVITY),
}
"""Title and factor from SI of what a gauge reads."""

SHOWN_RETURNS = 4.0
"""Length of the picture of one blow, in travel times to the toe and back [1]: the toe's return and what follows."""

OVERLAYS = ("force", "impedance × velocity", "downward wave", "upward wave")
"""Traces of which several blows can be laid over each other."""


def marks(waves: Waves, row: int, pile: Pile) -> dict[str, float]:
    """Give the times that matter in the record of a blow, by what they are.

    Units: returns [ms].
    """
    peak = 1e3 * waves.time_step * float(waves.first_peak[row] - waves.onset[row])
    return {"impact": 0.0, "first peak": peak, "toe return": peak + 1e3 * pile.return_time}


def soil_free_until(pile: Pile, penetration: float) -> float:
    """Give the time until which no wave from the soil can be back at the gauges.

    Units: penetration [m]; returns [ms].

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

    Units: returns [ms].
    """
    moved = integrate(waves.velocity[row], waves.time_step)
    heading = f"displacement [{display_unit('peak_displacement', system)[0]}]"
    return _one(waves, row, heading, shown("peak_displacement", moved, system), "displacement")


def energy_trace(waves: Waves, row: int, system: str) -> pd.DataFrame:
    """Give the energy that has passed the gauges during a blow.

    Units: returns [ms].
    """
    passed = integrate(waves.force[row] * waves.velocity[row], waves.time_step)
    return _one(waves, row, title("transferred_energy", system), shown("transferred_energy", passed, system), "energy")


def gauge_traces(signals: Signals | AveragedTraces, row: int, onset: int, kind: str, system: str) -> pd.DataFrame:
    """Give what the two gauges of a kind recorded, as recorded.

    Units: returns [ms].
    """
    heading, factor = GAUGE_UNITS[kind, system]
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

    Units: returns [ms].
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


FACTORS = np.round(np.linspace(0.0, 1.2, 25), 3)
"""Damping factors over which a resistance is drawn [1]: from none to beyond the highest published for any soil."""


def by_blow(
    tables: dict[str, pd.DataFrame], code: str, against: str, system: str, most: int | None = None
) -> pd.DataFrame:
    """Give one number of every blow of every drive, each with its drive and its blow.

    Examples
    --------
    >>> by_blow({"initial": pd.DataFrame({"blow": [1, 2], "stroke": [2.0, np.nan]})}, "stroke", "blow", "SI")
         drive  blow  along  value
    0  initial     1    1.0    2.0
    """
    parts = []
    for drive, table in tables.items():
        if code not in table or against not in table:
            continue
        columns = {"drive": drive, "blow": table["blow"], "along": shown(against, table[against], system)}
        columns["value"] = shown(code, table[code], system)
        for end in ("low", "high"):
            if f"{code}_{end}" in table:
                columns[end] = shown(code, table[f"{code}_{end}"], system)
        parts.append(pd.DataFrame(columns).dropna(subset=["along", "value"]))
    if not parts:
        return pd.DataFrame(columns=["drive", "blow", "along", "value"])
    frame = pd.concat(parts, ignore_index=True)
    return frame if most is None else thinned(frame, "value", "drive", most)


def profile(tables: dict[str, pd.DataFrame], codes: Sequence[str], against: str, system: str) -> pd.DataFrame:
    """Give several numbers of every blow of every drive, each as `by_blow` gives it.

    Examples
    --------
    >>> table = pd.DataFrame({"blow": [1, 2], "stroke": [2.0, np.nan]})
    >>> profile({"initial": table}, ("stroke", "misfit"), "blow", "SI")
         drive  blow number    quantity  value
    0  initial          1.0  stroke [m]    2.0
    """
    parts = [by_blow(tables, code, against, system).assign(quantity=title(code, system)) for code in codes]
    known = [part for part in parts if len(part)]
    frame = pd.concat(known, ignore_index=True) if known else parts[0]
    columns = ["drive", title(against, system), "quantity", "value"]
    return frame.rename(columns={"along": columns[1]})[columns]


def resistance_against_factor(waves: Waves, row: int, return_time: float, system: str) -> pd.DataFrame:
    """Give the Case resistance of one blow against the damping factor.

    Units: return_time [s].
    """
    part = slice(row, row + 1)
    record = (waves.down[part], waves.up[part], waves.first_peak[part], return_time, waves.time_step, FACTORS)
    found = {
        "case_resistance": case_resistance(*record)[0],
        "case_resistance_maximum": case_resistance_maximum(*record)[0],
    }
    parts = [
        pd.DataFrame(
            {
                title("damping_factor", system): FACTORS,
                resistance_title(system): shown(code, values, system),
                "method": NAMES[code].words,
            }
        )
        for code, values in found.items()
    ]
    return pd.concat(parts, ignore_index=True)


def resistance_title(system: str) -> str:
    """Give the title of an axis of resistances of several kinds.

    ``resistance`` and its unit.

    Examples
    --------
    >>> resistance_title("SI")
    'resistance [kN]'
    """
    return title("shaft_resistance", system).replace("shaft ", "")


def findings_by_blow(
    findings: Sequence[Finding], blows: np.ndarray, system: str, most: int | None = None
) -> pd.DataFrame:
    """Give which blows carry which finding."""
    known = {int(blow) for blow in blows}
    ordered = sorted(findings, key=lambda finding: -SEVERITIES.index(finding.severity))
    parts = []
    for finding in ordered:
        named = [blow for blow in finding.blows if blow in known]
        step = 1 if most is None else max(1, -(-len(named) // most))
        parts.append(
            pd.DataFrame(
                {
                    "check": finding.check,
                    "severity": finding.severity,
                    "blow": named[::step],
                    "message": finding_message(finding, system),
                }
            )
        )
    columns = ["check", "severity", "blow", "message"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
