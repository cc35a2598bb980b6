"""Data for the browser figure of a record: a run of blows, an overlay of drives, or a match.

Traces are sent as 16-bit integers with one scale each, finer than any screen, so that a step needs few bytes.
"""

import base64
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from dyntest.names import display_unit
from dyntest.presenting import palette
from dyntest.presenting.frames import TIME, shown
from dyntest.presenting.frames_match import COMPUTED, MEASURED
from dyntest.presenting.frames_record import (
    GAUGE_UNITS,
    SHOWN_RETURNS,
    blows_from_impact,
    quarter_marks,
    record_traces,
    soil_free_until,
)
from dyntest.signals import Signals

from .. import pages, work
from . import DASHES

MOST_VALUES = 160_000
"""Most values sent for a run of blows [1]: some tenths of a megabyte, which a local browser loads at once."""

MOST_RUN = 24
"""Most blows of a run [1]; stepping within it needs no request to the server."""

WIDE = 4.5
"""Width of the measured wave under the computed one [px]."""

_GAUGES = ((palette.INK, "solid"), ("#d2691e", "dashed"), (palette.ACCENT, "dotted"), (palette.WARNING, "dashdot"))
"""Colour and line style of gauges and other traces without one of their own, in their order."""

_FULL = 32_000
"""Largest integer of a value [1]."""


def colours() -> dict[str, str]:
    """Give the colours for the background of the page."""
    named = {"ink": palette.INK, "accent": palette.ACCENT, "warning": palette.WARNING}
    found = {name: pages.colour(colour) for name, colour in named.items()}
    found |= {"quiet": pages.quiet_text(), "line": pages.colour(palette.QUIET) + "38"}
    return found | {"ground": palette.GROUNDS[pages.ground()]}


def packed(values: np.ndarray) -> dict[str, Any]:
    """Give values as text: 16-bit integers and their scale; values that are not a number become 0."""
    known = np.nan_to_num(np.asarray(values, dtype=float), posinf=0.0, neginf=0.0)
    most = float(np.abs(known).max()) if known.size else 0.0
    scale = most / _FULL if most > 0.0 else 1.0
    whole = np.round(known / scale).astype("<i2")
    return {"scale": scale, "data": base64.b64encode(whole.tobytes()).decode("ascii")}


def record_data(test, drive, blow: int, below: tuple[str, ...] = ("waves",)) -> dict[str, Any]:
    """Give the record of a blow and its neighbours, with the results of each."""
    known = drive.table["blow"].to_numpy()
    at = int(np.flatnonzero(known == blow)[0])
    waves = work.waves_of_drive(test, drive.name)
    traces = 6 + (len(drive.signals.strain_names) + len(drive.signals.acceleration_names) if _single(drive) else 0)
    run = int(np.clip(MOST_VALUES // (traces * len(waves.time)), 1, MOST_RUN))
    part = at // run
    kept = _run(test.key, drive.name, work.conditioning(test.sheet.choices), test.system, part, run, test, drive)
    rows = slice(part * run, part * run + run)
    table, pile, system = drive.table.iloc[rows], test.sheet.pile, test.system
    factor = float(drive.table["damping_factor"].iloc[0]) if "damping_factor" in drive.table else float("nan")
    unit, scale, _ = display_unit("penetration", system)
    for_most = table["damping_factor_maximum"].iloc[0] if "damping_factor_maximum" in table else float("nan")
    most = table["case_resistance_maximum"] if "case_resistance_maximum" in table else [float("nan")] * len(table)
    marked = {b for finding in drive.findings if finding.severity != "note" for b in finding.blows}
    last = float(kept["longest"][1])
    return kept | {
        "drive": drive.name,
        "blow": int(blow),
        "order": [int(one) for one in known],
        "findings": [int(one) for one in known if int(one) in marked],
        "below": list(below),
        "resistance": ["force", "impedance × velocity"],
        "factor": factor if factor == factor else None,
        "maximumFactor": float(for_most) if for_most == for_most else None,
        "maximum": _numbers(shown("case_resistance_maximum", np.asarray(most, dtype=float), system)),
        "back": 1e3 * pile.return_time,
        "speed": pile.wave_speed * scale,
        "speedUnit": f"{unit}/s",
        "quarters": [{"time": time, "words": words} for time, words in quarter_marks(pile, system)],
        "soilFree": soil_free_until(pile, float(drive.table["penetration"].iloc[at])),
        "usual": [-1.0, min(last, float(round(1e3 * SHOWN_RETURNS * pile.return_time)))],
        "colours": colours(),
        "panels": _panels(drive, system),
    }


def _single(drive) -> bool:
    return isinstance(drive.signals, Signals)


@st.cache_resource(max_entries=48, show_spinner=False)
def _run(key: str, name: str, conditioned: tuple, system: str, part: int, run: int, _test, _drive) -> dict[str, Any]:
    """Give the traces of a run of blows, packed once."""
    rows = slice(part * run, part * run + run)
    waves = work.waves_of_drive(_test, name).take(rows)
    step = 1e3 * waves.time_step
    begins = [-step * int(onset) for onset in waves.onset]
    peaks = [step * int(peak - onset) for peak, onset in zip(waves.first_peak, waves.onset, strict=True)]
    traces = record_traces(waves, _drive.signals.take(rows), system)
    return {
        "test": key[:16],
        "conditioned": repr(conditioned),
        "blows": [int(one) for one in waves.blow],
        "begins": begins,
        "peaks": peaks,
        "step": step,
        "samples": len(waves.time),
        "longest": [max(-5.0, max(begins)), step * (len(waves.time) - 1) + min(begins)],
        "values": {name: packed(values) for name, values in traces.items()},
    }


def _numbers(values) -> list[float | None]:
    return [float(value) if value == value else None for value in np.asarray(values, dtype=float)]


def _trace(name: str, colour: str, dash: str, **more: Any) -> dict[str, Any]:
    dashes = "" if dash == "solid" else " ".join(map(str, DASHES[dash]))
    return {"key": name, "name": name, "colour": pages.colour(colour), "dash": dashes, **more}


def _panels(drive, system: str) -> list[dict[str, Any]]:
    """Give the panels of a blow: force and Z·velocity tall, others below on request."""
    force, moved = display_unit("peak_force", system)[0], display_unit("peak_displacement", system)[0]
    waves = [_trace(name, *palette.TRACES[name]) for name in ("downward wave", "upward wave")]
    panels = [
        ("force", "force", force, [_trace(name, *palette.TRACES[name]) for name in ("force", "impedance × velocity")]),
        ("waves", "waves", force, waves),
        ("displacement", "displacement", moved, [_trace("displacement", *_GAUGES[0])]),
        ("energy", "energy", display_unit("transferred_energy", system)[0], [_trace("energy", *_GAUGES[0])]),
    ]
    if _single(drive):
        for kind, names in (("strain", drive.signals.strain_names), ("acceleration", drive.signals.acceleration_names)):
            unit = GAUGE_UNITS[kind, system][0].partition("[")[2].rstrip("]")
            panels.append((kind, kind, unit, [_trace(name, *_GAUGES[place % 4]) for place, name in enumerate(names)]))
    return [{"key": key, "title": title, "unit": unit, "traces": traces} for key, title, unit, traces in panels]


def overlay_data(test, blows: dict[str, tuple], kinds: dict[str, str], difference: bool) -> dict[str, Any]:
    """Give blows overlaid from impact: force and Z·velocity of each, and differences from the first.

    The colour of a blow is that of its kind of drive, darkest first; Z·velocity is dashed.
    """
    system, pile = test.system, test.sheet.pile
    axis, found = blows_from_impact(blows, system)
    names = list(blows)
    unit = display_unit("peak_force", system)[0]
    values = {f"{name} {trace}": packed(line) for (name, trace), line in found.items()}
    traces, seen = [], dict.fromkeys(kinds.values(), 0)
    for name in names:
        again = seen[kinds[name]]
        seen[kinds[name]] += 1
        for trace, dash in (("force", "solid"), ("impedance × velocity", "dashed")):
            one = _trace(f"{name}, {trace}", palette.DRIVES[kinds[name]], dash, wide=2.4 - 0.7 * min(again, 2))
            traces.append(one | {"key": f"{name} {trace}"} | _of_a_blow(name, trace))
    panels = [{"key": "force", "title": "force", "unit": unit, "traces": traces}]
    if difference and len(names) > 1:
        lines = []
        for place, name in enumerate(names[1:]):
            for trace, dash in (("force", "solid"), ("impedance × velocity", "dashed")):
                key = f"difference {name} {trace}"
                values[key] = packed(found[name, trace] - found[names[0], trace])
                words = f"{name} − {names[0]}"
                one = _trace(f"{words}, {trace}", _GAUGES[place % 4][0], dash)
                lines.append(one | {"key": key} | _of_a_blow(words, trace))
        panels.append({"key": "difference", "title": "difference", "unit": unit, "traces": lines})
    waves, row = blows[names[0]]
    step = float(axis[1] - axis[0])
    peak = 1e3 * waves.time_step * float(waves.first_peak[row] - waves.onset[row])
    return _alone(test, values, axis, step, panels, peak) | {
        "below": ["difference"],
        "words": "Overlay of blows",
        "resistance": [f"{names[0]} force", f"{names[0]} impedance × velocity"],
        "factor": None,
        "whose": names[0],
        "quarters": [{"time": time, "words": words} for time, words in quarter_marks(pile, system)],
    }


def _of_a_blow(words: str, trace: str) -> dict[str, str]:
    """Name a blow once, at its force: in the legend, and before its numbers in the line above the figure."""
    first = trace == "force"
    return {"legend": words if first else "", "told": f"\n{words}: {trace}" if first else trace}


def match_data(test, match, waves: pd.DataFrame) -> dict[str, Any]:
    """Give the measured and the computed upward wave of a match, and their difference."""
    unit = display_unit("peak_force", test.system)[0]
    lines = {name: part.iloc[:, 1].to_numpy() for name, part in waves.groupby("trace", sort=False)}
    axis = waves.loc[waves["trace"] == MEASURED, TIME].to_numpy()
    values = {name: packed(line) for name, line in lines.items()}
    values["residual"] = packed(lines[COMPUTED] - lines[MEASURED])
    measured = _trace("measured", palette.TRACES[MEASURED][0], "solid", wide=WIDE, opacity=0.45) | {"key": MEASURED}
    computed = _trace("computed", *palette.TRACES[COMPUTED]) | {"key": COMPUTED}
    residual = _trace("computed − measured", palette.WARNING, "solid") | {"key": "residual"}
    panels = [
        {"key": "upward", "title": "upward wave", "unit": unit, "traces": [measured, computed]},
        {"key": "residual", "title": "residual", "unit": unit, "traces": [residual]},
    ]
    step = float(np.median(np.diff(axis)))
    told = {"below": ["residual"], "words": "Upward wave, measured and computed", "resistance": None, "tall": 300}
    return _alone(test, values, axis, step, panels, 0.0) | told | {"usual": [float(axis[0]), float(axis[-1])]}


def _alone(test, values: dict, axis: np.ndarray, step: float, panels: list, peak: float) -> dict[str, Any]:
    """Give the data of a figure without stepping."""
    pile = test.sheet.pile
    scale = display_unit("penetration", test.system)
    last = float(axis[-1])
    return {
        "test": test.key[:16] + panels[0]["key"],
        "conditioned": "",
        "drive": panels[0]["key"],
        "blow": 1,
        "blows": [1],
        "order": [1],
        "findings": [],
        "begins": [float(axis[0])],
        "peaks": [peak],
        "maximum": [None],
        "step": step,
        "samples": len(axis),
        "longest": [max(-5.0, float(axis[0])), last],
        "usual": [-1.0, min(last, float(round(1e3 * SHOWN_RETURNS * pile.return_time)))],
        "values": values,
        "back": 1e3 * pile.return_time,
        "speed": pile.wave_speed * scale[1],
        "speedUnit": f"{scale[0]}/s",
        "quarters": [],
        "soilFree": 0.0,
        "colours": colours(),
        "panels": panels,
    }
