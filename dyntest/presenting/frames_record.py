"""Tidy frames of the records: a blow's motion, energy, gauges and times, and the numbers and findings of a drive."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyntest.conditioning.corrections import integrate
from dyntest.names import NAMES, display_unit
from dyntest.pile import Pile
from dyntest.presenting.frames import TIME, force_title, milliseconds, shown, thinned, title
from dyntest.quantities.case_resistance import case_resistance, case_resistance_maximum
from dyntest.reading.logs import DrivingLog
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

COUNT_LENGTHS = {"US": (0.3048, "blows/ft"), "SI": (0.25, "blows/0.25\N{NO-BREAK SPACE}m")}
"""Length over which a driving log counts blows [m], and its unit, by the system of units."""

OVERLAYS = ("force", "impedance × velocity", "downward wave", "upward wave")
"""Traces that can be overlaid for several blows."""


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


def quarter_marks(pile: Pile, system: str) -> list[tuple[float, str]]:
    """Give when a wave from each quarter of the pile is back at the gauges, after t1, and that depth in words.

    Units: returns [ms].

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> [(round(time, 2), words) for time, words in quarter_marks(
    ...     Pile("A", "steel", (PilePart(20.0, 0.01, 210e9, 7850.0),)), "SI")][::2]
    [(1.93, '5.0 m'), (5.8, '15.0 m')]
    """
    unit, factor, _ = display_unit("penetration", system)
    depths = [pile.length * share for share in (0.25, 0.5, 0.75, 1.0)]
    # a wave from a depth is back when one from the soil there could be: the toe stands so far below a ground at it
    times = [soil_free_until(pile, pile.length - depth) for depth in depths]
    return [(time, f"{depth * factor:.1f} {unit}") for time, depth in zip(times, depths, strict=True)]


def record_traces(waves: Waves, signals: Signals | AveragedTraces, system: str) -> dict[str, np.ndarray]:
    """Give every trace of some blows by its name, a row per blow, in the units the engineer reads.

    The gauges are as they were recorded; averaged records have none.
    """
    found = {
        "force": shown("peak_force", waves.force, system),
        "impedance × velocity": shown("peak_force", waves.impedance * waves.velocity, system),
        "downward wave": shown("peak_force", waves.down, system),
        "upward wave": shown("peak_force", waves.up, system),
        "displacement": shown("peak_displacement", integrate(waves.velocity, waves.time_step), system),
        "energy": shown("transferred_energy", integrate(waves.force * waves.velocity, waves.time_step), system),
    }
    if isinstance(signals, Signals):
        for kind, names in (("strain", signals.strain_names), ("acceleration", signals.acceleration_names)):
            factor = GAUGE_UNITS[kind, system][1]
            readings = getattr(signals, kind)
            found |= {name: factor * readings[:, gauge] for gauge, name in enumerate(names)}
    return found


def blows_from_impact(
    blows: dict[str, tuple[Waves, int]], system: str
) -> tuple[np.ndarray, dict[tuple[str, str], np.ndarray]]:
    """Give force and Z·velocity of several blows on one time axis from impact, by blow and trace.

    Units: returns [ms].

    Each is read between its own samples; where a record has none it is not a number.
    """
    step = 1e3 * min(waves.time_step for waves, _ in blows.values())
    times = {name: milliseconds(waves, row) for name, (waves, row) in blows.items()}
    first, last = min(time[0] for time in times.values()), max(time[-1] for time in times.values())
    axis = first + step * np.arange(int((last - first) / step) + 1)
    found = {}
    for name, (waves, row) in blows.items():
        lines = {"force": waves.force[row], "impedance × velocity": waves.impedance * waves.velocity[row]}
        for trace, line in lines.items():
            values = np.interp(axis, times[name], line, left=np.nan, right=np.nan)
            found[name, trace] = shown("peak_force", values, system)
    return axis, found


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


def counts_by_depth(drive: str, log: DrivingLog, system: str) -> pd.DataFrame:
    """Give the blow count of a driving log against penetration, as `profile` gives numbers; both ends of an interval.

    Examples
    --------
    >>> log = DrivingLog("log", np.array([1.0]), np.array([1.5]), np.array([12]), np.array([2.0]), ("",))
    >>> counts_by_depth("initial", log, "SI")["value"].tolist()
    [6.0, 6.0]
    """
    unit = COUNT_LENGTHS[system]
    counts = log.blows / (log.depth_to - log.depth_from) * unit[0]
    depth = np.column_stack([log.depth_from, log.depth_to]).ravel()
    return pd.DataFrame(
        {
            "drive": drive,
            title("penetration", system): shown("penetration", depth, system),
            "quantity": f"blow count [{unit[1]}]",
            "value": np.repeat(counts, 2),
        }
    )


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
