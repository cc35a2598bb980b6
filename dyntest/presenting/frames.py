"""Tidy frames behind every figure, one row a point, drawn on paper by matplotlib and on a page by Altair alike.

Columns are titled as an axis is, name and unit, in the units the engineer reads. Fewer points are drawn than there are,
with the peaks kept; numbers are computed from all of them before. Frames of the pile and of the sheet stand here.
"""

from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from dyntest.hammer import Hammer
from dyntest.names import NAMES, decimal, display_unit, show, show_length, show_required
from dyntest.presenting.terms import show_ram
from dyntest.reading.parts import TestSheet
from dyntest.signals import Waves
from dyntest.units import unit_factor


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


TIME = "time after impact [ms]"


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


def depth_title(system: str) -> str:
    """Give the title of an axis of depths below the gauges.

    Examples
    --------
    >>> depth_title("US")
    'depth below the gauges [ft]'
    """
    return f"depth below the gauges [{'ft' if system == 'US' else 'm'}]"


def pile_parts(sheet: TestSheet, system: str) -> pd.DataFrame:
    """Give the parts of the pile from its head to its toe."""
    pile = sheet.pile
    edges, rows = 0.0, []
    widest = max(part.area for part in pile.parts) ** 0.5
    if pile.length_above_gauges > 0.0:
        rows.append(("above the gauges", -pile.length_above_gauges, 0.0, pile.area**0.5 / widest))
    for number, part in enumerate(pile.parts, start=1):
        name = "below the gauges" if len(pile.parts) == 1 else f"part {number}"
        rows.append((name, edges, edges + part.length, part.area**0.5 / widest))
        edges += part.length
    frame = pd.DataFrame(rows, columns=["part", "top", "bottom", "width"])
    return frame.assign(**{end: shown("penetration", frame[end], system) for end in ("top", "bottom")})


def soil_layers(sheet: TestSheet, penetration: float, system: str) -> pd.DataFrame | None:
    """Give the layers of the soil as depths below the gauges; None where the sheet has none.

    Units: penetration [m].
    """
    layers = sheet.soil.layers
    if not layers or penetration != penetration:
        return None
    ground = max(sheet.pile.length - penetration, 0.0)
    frame = pd.DataFrame([(layer.soil, layer.words, layer.top, layer.bottom) for layer in layers],
                         columns=["soil", "words", "top", "bottom"])  # fmt: skip
    ends = {end: shown("penetration", frame[end] + ground, system) for end in ("top", "bottom")}
    return frame.assign(**ends)


def sheet_rows(sheet: TestSheet, system: str) -> pd.DataFrame:
    """Give what the sheet says of pile, hammer and requirement, as shown to a reader."""
    pile, hammer, asked = sheet.pile, sheet.hammer, sheet.requirement
    rows = [
        ("pile", "material", pile.material),
        ("pile", "section", pile.section),
        ("pile", "area at the gauges", _written(pile.area, "area", ("cm^2", "in^2"), system)),
        ("pile", "length below the gauges", show_length(pile.length, system)),
        ("pile", "wave speed", _written(pile.wave_speed, "velocity", ("m/s", "ft/s"), system, 0)),
        ("pile", "return time 2L/c", f"{1e3 * pile.return_time:.2f} ms"),
        ("pile", "impedance", impedance(pile.impedance, system)),
    ]
    if hammer is not None:
        rows += [
            ("hammer", "kind", hammer.kind),
            ("hammer", "ram weight", show_ram(hammer.ram_weight, system)),
            ("hammer", "rated energy", show("transferred_energy", hammer.rated_energy, system)),
            ("hammer", "approved stroke", _stroke(hammer, system)),
        ]
    rows += [
        ("requirement", "nominal resistance", show_required(asked.required_resistance, system)),
        ("requirement", "minimum penetration", show_length(asked.minimum_penetration, system)),
        ("soil", "along the shaft", sheet.soil.shaft),
        ("soil", "at the toe", sheet.soil.toe),
    ]
    return pd.DataFrame([row for row in rows if row[2] not in (None, "–")], columns=["of", "what", "value"])


def impedance(value: float, system: str) -> str:
    """Write an impedance.

    Units: value [N s/m].

    Examples
    --------
    >>> impedance(6.0e5, "SI"), impedance(6.0e5, "US")
    ('600.0 kN s/m', '41.1 kip s/ft')
    """
    if system == "US":
        return f"{decimal(value * unit_factor('ft', 'length') / unit_factor('kip', 'force'), 1)} kip s/ft"
    return f"{decimal(value / 1e3, 1)} kN s/m"


def _written(value: float, dimension: str, units: tuple[str, str], system: str, digits: int = 1) -> str:
    unit = units[system == "US"]
    return f"{decimal(value / unit_factor(unit, dimension), digits)} {unit.replace('^2', '²')}"


def _stroke(hammer: Hammer, system: str) -> str:
    least, most = (show("stroke", stroke, system) for stroke in (hammer.minimum_stroke, hammer.maximum_stroke))
    return "–" if least == most == "–" else f"{least} to {most}"
