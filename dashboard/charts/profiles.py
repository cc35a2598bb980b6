"""Data for the browser figure of a whole drive: quantities of every blow against depth, side by side."""

from typing import Any

import numpy as np

from dyntest.names import display_unit
from dyntest.presenting import palette
from dyntest.presenting.frames import shown, thinned_rows, title
from dyntest.reading.parts import TestSheet

from .. import pages
from .record import colours

MOST_BLOWS = 500
"""Most blows of a drive drawn in one column [1]; all of them are computed."""

SOILS = {"sand": "#e0b04a", "silt": "#9a8f6a", "clay": "#7d9cb8", "rock": "#77706c"}
"""Fill of a layer by its soil; the layer is also labelled, so that colour is not needed."""

TALL = 380


def profile_data(
    sheet: TestSheet,
    key: str,
    drives,
    codes,
    *,
    limits: dict[str, tuple[float, str, str]],
    at: tuple[str, int] | None,
) -> dict[str, Any]:
    """Give columns of quantities: initial drives against penetration, restrikes blow by blow below them.

    `limits` has a value in SI, words and a colour of the palette by quantity. Without `at` no blow can be selected.
    """
    system = sheet.display_units
    deep = [drive for drive in drives if drive.table["penetration"].nunique() > 1]
    main = [drive for drive in drives if drive in deep] or list(drives[:1])
    against = "penetration" if deep else "blow"
    strips = [drive for drive in drives if drive not in main]
    values = np.concatenate([shown(against, drive.table[against].to_numpy(), system) for drive in main])
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    air = 0.02 * (high - low or 1.0)
    unit = display_unit(against, system)[0]
    return {
        "test": key[:16],
        "key": "".join(letter for letter in key[:8] + codes[0] if letter.isalnum()),
        "along": title(against, system).replace("\N{NO-BREAK SPACE}", " "),
        "alongUnit": unit or "blow",
        "domain": [low - air, high + air],
        "tall": TALL,
        "hint": "Drag down to select depths." + ("" if at is None else " Click to select a blow."),
        "strips": [drive.name for drive in strips],
        "columns": [_column(code, main, strips, against, system, limits.get(code)) for code in codes],
        "soil": _soil(sheet, system) if against == "penetration" else [],
        "at": None if at is None else {"drive": at[0], "blow": at[1]},
        "colours": colours(),
    }


def _column(code: str, main, strips, against: str, system: str, limit) -> dict[str, Any]:
    words, _, unit = title(code, system).replace("\N{NO-BREAK SPACE}", " ").partition(" [")
    limits = []
    if limit is not None:
        limits = [
            {
                "value": float(shown(code, np.array(limit[0]), system)),
                "words": limit[1],
                "colour": pages.colour(limit[2]),
            }
        ]
    series = [_series(drive, code, against, system) for drive in main]
    series += [_series(drive, code, "blow", system) for drive in strips]
    known = [one for one in series if one is not None]
    return {"key": code, "title": words, "unit": unit.rstrip("]"), "limits": limits, "series": known}


def _series(drive, code: str, against: str, system: str) -> dict[str, Any] | None:
    if code not in drive.table or drive.table[code].notna().sum() == 0:
        return None
    values = shown(code, drive.table[code].to_numpy(), system)
    rows = thinned_rows(values, MOST_BLOWS)
    found: dict[str, Any] = {
        "drive": drive.name,
        "words": drive.name.replace("_", " "),
        "colour": pages.colour(palette.DRIVES[drive.kind]),
        "square": drive.kind == "restrike",
        "blow": drive.table["blow"].to_numpy()[rows].tolist(),
        "along": rounded(shown(against, drive.table[against].to_numpy()[rows], system)),
        "value": rounded(values[rows]),
    }
    if f"{code}_low" in drive.table:
        for end in ("low", "high"):
            found[end] = rounded(shown(code, drive.table[f"{code}_{end}"].to_numpy()[rows], system))
    return found


def rounded(values: np.ndarray) -> list[float | None]:
    """Give values rounded for the screen; values that are not a number are None."""
    return [float(f"{value:.5g}") if value == value else None for value in values]


def _soil(sheet: TestSheet, system: str) -> list[dict[str, Any]]:
    return [
        {
            "top": float(shown("penetration", np.array(layer.top), system)),
            "bottom": float(shown("penetration", np.array(layer.bottom), system)),
            "words": layer.words or layer.soil,
            "colour": SOILS[layer.soil],
        }
        for layer in sheet.soil.layers
    ]
