"""Tidy frames of the pile itself and of what the sheet says about it."""

import pandas as pd

from dyntest.hammer import Hammer
from dyntest.names import show
from dyntest.presenting.frames import shown
from dyntest.reading.parts import TestSheet
from dyntest.units import unit_factor


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
    """Give what the sheet says of pile, hammer and requirement, as a person reads it."""
    pile, hammer, asked = sheet.pile, sheet.hammer, sheet.requirement
    rows = [
        ("pile", "material", pile.material),
        ("pile", "section", pile.section),
        ("pile", "area at the gauges", _written(pile.area, "area", ("cm^2", "in^2"), system)),
        ("pile", "length from gauges to toe", show("penetration", pile.length, system)),
        ("pile", "wave speed", _written(pile.wave_speed, "velocity", ("m/s", "ft/s"), system, 0)),
        ("pile", "time to the toe and back", f"{1e3 * pile.return_time:.2f} ms"),
        ("pile", "impedance", impedance(pile.impedance, system)),
    ]
    if hammer is not None:
        rows += [
            ("hammer", "kind", hammer.kind),
            ("hammer", "ram weight", _written(hammer.ram_weight, "force", ("kN", "kip"), system)),
            ("hammer", "rated energy", show("transferred_energy", hammer.rated_energy, system)),
            ("hammer", "approved stroke", _stroke(hammer, system)),
        ]
    rows += [
        ("requirement", "nominal resistance", show("case_resistance", asked.required_resistance, system)),
        ("requirement", "minimum penetration", show("penetration", asked.minimum_penetration, system)),
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
        return f"{value * unit_factor('ft', 'length') / unit_factor('kip', 'force'):,.1f} kip s/ft"
    return f"{value / 1e3:,.1f} kN s/m"


def _written(value: float, dimension: str, units: tuple[str, str], system: str, digits: int = 1) -> str:
    unit = units[system == "US"]
    return f"{value / unit_factor(unit, dimension):,.{digits}f} {unit.replace('^2', '²')}"


def _stroke(hammer: Hammer, system: str) -> str:
    least, most = (show("stroke", stroke, system) for stroke in (hammer.minimum_stroke, hammer.maximum_stroke))
    return "–" if least == most == "–" else f"{least} to {most}"
