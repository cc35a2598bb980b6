"""Tidy frames of a signal match: waves, the soil along the pile, and the computed static load test."""

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from dyntest.names import NAMES, decimal, display_unit, show
from dyntest.presenting.frames import TIME, depth_title, force_title, shown
from dyntest.presenting.frames_record import resistance_title
from dyntest.presenting.sentences import STRESS_TOLD, show_range
from dyntest.reviewing.drive import DriveReview
from dyntest.wave_equation.match_results import (
    OF_WIDTH,
    OFFSET,
    load_movement,
    matched_waves,
    shaft_distribution,
    stress_along_pile,
)
from dyntest.wave_equation.matching import Match

MEASURED, COMPUTED = "upward wave", "upward wave, computed"
"""Names of the two waves, as the palette knows them."""

LEAST_GAP = 1e-4
"""Smaller gaps under the toe are told as none [m]: no record shows them; our own choice."""

GAUGE_LEVEL, TOE = "at the gauges", "at the toe"
"""Where the load of a static test is taken."""


def of_drives(frame: Callable[[Match, str], pd.DataFrame], drives: Sequence[DriveReview], system: str) -> pd.DataFrame:
    """Give a frame of this module for several drives, one below the other."""
    matched = [(drive.match, drive.name) for drive in drives if drive.match is not None]
    return pd.concat([frame(match, system).assign(drive=name) for match, name in matched], ignore_index=True)


def match_waves(match: Match, system: str) -> pd.DataFrame:
    """Give the measured and the computed upward wave of a match.

    Units: returns [ms].
    """
    waves, blow = matched_waves(match), match.problem.blow
    time = (1e3 * (waves.time - blow.time[blow.onset])).round(6)
    parts = [
        pd.DataFrame({TIME: time, force_title(system): shown("peak_force", values, system), "trace": name})
        for name, values in ((MEASURED, waves.up_measured), (COMPUTED, waves.up_computed))
    ]
    return pd.concat(parts, ignore_index=True)


def shaft_lengths(match: Match, system: str) -> pd.DataFrame:
    """Give the resistance of each length of shaft, whole and per length of pile, and of the toe.

    Columns `part` (``"shaft"`` or ``"toe"``), `top` and `bottom`, titled as depths below the gauges [m or ft] are,
    resistance [kN or kip], and shaft resistance per length [kN/m or kip/ft]; the toe's top and bottom are the same,
    and it has no resistance per length.
    """
    found, length = shaft_distribution(match), match.problem.blow.pile.length
    shaft = pd.DataFrame({"part": "shaft", "top": found.top, "bottom": found.bottom, "value": found.resistance})
    shaft = shaft.assign(per_length=found.per_length)
    toe = pd.DataFrame({"part": ["toe"], "top": [length], "bottom": [length], "value": [match.toe_resistance]})
    frame = pd.concat([shaft, toe], ignore_index=True)
    ends = {end: shown("penetration", frame[end], system) for end in ("top", "bottom")}
    per_length = shown("shaft_resistance", frame["per_length"], system) / display_unit("penetration", system)[1]
    frame = frame.assign(**ends, value=shown("shaft_resistance", frame["value"], system), per_length=per_length)
    depth = depth_title(system)
    titles = ["part", f"top, {depth}", f"bottom, {depth}", resistance_title(system), per_length_title(system)]
    return frame.set_axis(titles, axis=1)


def per_length_title(system: str) -> str:
    """Give the title of an axis of shaft resistance per length of pile.

    Examples
    --------
    >>> per_length_title("SI")
    'shaft resistance per length [kN/m]'
    """
    force, length = display_unit("shaft_resistance", system)[0], display_unit("penetration", system)[0]
    return f"shaft resistance per length [{force}/{length}]"


def stresses_along(match: Match, system: str) -> pd.DataFrame:
    """Give the greatest matched stresses along the pile: depth below the gauges, compression and tension."""
    found = stress_along_pile(match)
    unit = display_unit("peak_gauge_stress", system)[0]
    return pd.DataFrame(
        {
            depth_title(system): shown("penetration", found.depth, system),
            f"compression [{unit}]": shown("peak_gauge_stress", found.compression, system),
            f"tension [{unit}]": shown("peak_tension_stress", found.tension, system),
        }
    )


def load_movements(match: Match, system: str) -> pd.DataFrame:
    """Give the static load–movement curve that the matched soil implies, at the gauges with its range.

    Columns: load, movement, `place`, and the ends of the load's range at that movement; at the toe these are the load.
    """
    curve = load_movement(match)
    unit = display_unit("shaft_resistance", system)[0]
    load, moved = f"load [{unit}]", display_unit("set_per_blow", system)[0]
    parts = [
        pd.DataFrame(
            {
                load: shown("shaft_resistance", values, system),
                f"movement [{moved}]": shown("set_per_blow", movement, system),
                "place": place,
                f"load, low end [{unit}]": shown("shaft_resistance", low, system),
                f"load, high end [{unit}]": shown("shaft_resistance", high, system),
            }
        )
        for place, values, movement, low, high in (
            (GAUGE_LEVEL, curve.head_load, curve.head_movement, curve.head_load_low, curve.head_load_high),
            (TOE, curve.toe_load, curve.toe_movement, curve.toe_load, curve.toe_load),
        )
    ]
    return pd.concat(parts, ignore_index=True)


_CRITERIA = {OFFSET: "Davisson's offset", OF_WIDTH: "5 % of the width"}
"""Criteria of failure in words."""


def failure_loads(match: Match, system: str) -> pd.DataFrame:
    """Give where criteria call the computed static test failed; a row each that its curve reaches.

    Columns: load, movement, `criterion`, and `told`, the criterion with its load and range in words.
    """
    found = [failure for failure in load_movement(match).failures if failure.load == failure.load]
    rows = [
        (
            float(shown("shaft_resistance", failure.load, system)),
            float(shown("set_per_blow", failure.movement, system)),
            _CRITERIA[failure.criterion],
            f"{_CRITERIA[failure.criterion]}: {show('shaft_resistance', failure.load, system)} "
            f"({show_range(*failure.load_range, 'shaft_resistance', system)})",
        )
        for failure in found
    ]
    load, moved = display_unit("shaft_resistance", system)[0], display_unit("set_per_blow", system)[0]
    return pd.DataFrame(rows, columns=[f"load [{load}]", f"movement [{moved}]", "criterion", "told"])


def match_rows(match: Match, system: str, moved_little: bool = False) -> pd.DataFrame:
    """Give the numbers of a match as shown to a reader; `moved_little` where its blow moved the pile too little."""
    rows = []
    for code in ("matched_resistance", "shaft_resistance", "toe_resistance"):
        low, high = getattr(match, f"{code}_range")
        ends = show_range(low, high, code, system)
        rows.append((NAMES[code].words, show(code, getattr(match, code), system), ends))
    rows.append((NAMES["misfit"].words, show("misfit", match.misfit, system), "–"))
    rows.append(("soil law", match.law, "–"))
    rows += [(words, text, "–") for words, text in soil_numbers(match, system).items()]
    if match.stress is not None:
        rows.append(("residual stress", residual_stress_words(match, system), "–"))
    rows.append(
        ("resistance mobilised", "fully" if match.fully_mobilised and not moved_little else "no: a lower bound", "–")
    )
    rows.append(("shaft and toe separated", "yes" if match.separable else "no: use the sum", "–"))
    if match.section is not None:
        words = f"reduced section {show('integrity_depth', match.section.depth, system)} below the gauges"
        rows.append((words, f"{match.section.section_left:.2f} of the impedance is left", "–"))
    return pd.DataFrame(rows, columns=["what", "value", "range"])


def residual_stress_words(match: Match, system: str) -> str:
    """Say in short whether the record shows residual stress, and what it changes; nothing where it was not tried."""
    change = match.stress
    if change is None:
        return ""
    force, (_, shaft, toe) = show("shaft_resistance", change.toe_force, system), change.ratio
    if match.weight_of_stress <= STRESS_TOLD:
        return "none shown"
    if match.weight_of_stress < 1.0 - STRESS_TOLD:
        return f"possible: {force} at the toe (shaft × {decimal(shaft, 2)}, toe × {decimal(toe, 2)})"
    return f"{force} at the toe (without it shaft × {decimal(1.0 / shaft, 2)}, toe × {decimal(1.0 / toe, 2)})"


def soil_numbers(match: Match, system: str) -> dict[str, str]:
    """Give quakes, dampings and what else the best law says of the soil, as text with units, by name."""
    values, found = match.parameters, {}
    for part in ("shaft", "toe"):
        number, unit = damping(match, part, system)
        found[f"{part} quake"] = show("set_per_blow", float(values[f"{part}_quake"]), system)
        found[f"{part} damping"] = f"{number} {unit}"
    share = float(values.get("unloading_share", np.nan))  # soil that radiates has none; only a hyperbola unloads softer
    share = share if match.problem.hyperbolic else float(np.minimum(share, 1.0))
    found["unloading quake / loading quake"] = "–" if np.isnan(share) else decimal(share, 2)
    gap = float(values["toe_gap"])
    found["toe gap"] = "none" if gap < LEAST_GAP else show("set_per_blow", gap, system)
    fade = match.fade
    found["shaft resistance lost per blow"] = "–" if fade is None else f"{decimal(100.0 * fade, 1)} %"
    return found


def damping(match: Match, part: str, system: str) -> tuple[str, str]:
    """Give the damping of ``"shaft"`` or ``"toe"`` and its unit, as text; a power of the velocity is in the unit too.

    Units: returns [s/m or s/ft], or that to the power.
    """
    unit, factor, _ = display_unit("penetration", system)
    power = float(match.parameters.get("rate_power", 1.0))
    value = float(match.parameters[f"{part}_damping"]) / factor**power
    return decimal(value, 2), f"s/{unit}" if power == 1.0 else f"(s/{unit})^{power:.2f}"
