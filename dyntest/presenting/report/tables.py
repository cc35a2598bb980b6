"""Tables of the drives' numbers: of the blows that stand for them, and of every blow."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyntest.names import NAMES, display_unit, show
from dyntest.presenting.explanations import reference
from dyntest.presenting.report.blocks import Block, rows
from dyntest.presenting.sentences import show_range
from dyntest.presenting.tables import representative_head, representative_numbers
from dyntest.reviewing.drive import DriveReview
from dyntest.units import unit_factor

ABREAST = 4
"""Drives side by side at most [1]; more stand in another table below."""

EVERY_BLOW = (
    "blow",
    "penetration",
    "set_per_blow",
    "stroke",
    "transferred_energy",
    "energy_ratio",
    "peak_force",
    "peak_gauge_stress",
    "toe_compression_stress",
    "peak_tension_stress",
    "case_resistance_maximum",
    "case_resistance_toe_at_rest",
    "matched_resistance",
    "integrity_factor",
)
"""Numbers of every blow in the appendix, in this order; one that no blow has is left out."""


def representative_blows(drives: Sequence[DriveReview], codes: Sequence[str], system: str) -> list[Block]:
    """Give numbers of the representative blows, a column a drive, a row a number with its equation."""
    blocks = []
    for start in range(0, len(drives), ABREAST):
        some = drives[start : start + ABREAST]
        cells = [
            [NAMES[code].words, {"symbol": NAMES[code].symbol}, *values, origin(code, some)]
            for code, values in representative_numbers(some, codes, system).items()
        ]
        head = ["", "", *map(representative_head, some), "from"]
        blocks.append(rows(head, cells, [2.3, 0.7, *(1 for _ in some), 0.9], f"ll{'r' * len(some)}l"))
    return blocks


def match_tables(drives: Sequence[DriveReview], system: str) -> list[Block]:
    """Give what signal matching found, a column a drive, with the range that explains the record about as well."""
    blocks = []
    for start in range(0, len(drives), ABREAST):
        some = drives[start : start + ABREAST]
        columns = [_matched(drive, system) for drive in some]
        cells = [[words, *(column[words][0] for column in columns), columns[0][words][1]] for words in columns[0]]
        head = ["", *map(representative_head, some), "from"]
        blocks.append(rows(head, cells, [1.6, *(1.2 for _ in some), 0.5], f"l{'r' * len(some)}l"))
    return blocks


def _matched(drive: DriveReview, system: str) -> dict[str, tuple[str, str]]:
    """Every number of a match in words, by its name, and where it comes from."""
    match, found = drive.match, {}
    for code in ("matched_resistance", "shaft_resistance", "toe_resistance"):
        ends = show_range(*getattr(match, f"{code}_range"), code, system)
        found[NAMES[code].words] = (f"{show(code, getattr(match, code), system)} ({ends})", reference(code))
    found[NAMES["misfit"].words] = (show("misfit", match.misfit, system), reference("misfit"))
    values = match.parameters
    length, unit = (unit_factor("ft", "length"), "s/ft") if system == "US" else (1.0, "s/m")
    for part in ("shaft", "toe"):
        found[f"{part} quake"] = (show("set_per_blow", values[f"{part}_quake"], system), "fitted")
        found[f"{part} damping"] = (f"{values[f'{part}_damping'] * length:.2f} {unit}", "fitted")
    factor = show("damping_factor", drive.calibrated_damping_factor, system)
    found["Case damping factor calibrated by the match"] = (factor, reference("calibrated damping factor"))
    return found


def origin(code: str, drives: Sequence[DriveReview]) -> str:
    """Say where a number comes from."""
    if code in ("penetration", "set_per_blow"):
        return "driving log" if any(drive.log is not None for drive in drives) else "sheet, record"
    if code == "stroke" and not any("blow_rate" in drive.numbers for drive in drives):
        return "driving log"
    if code == "damping_factor":
        return ", ".join(dict.fromkeys(drive.damping_source for drive in drives))
    return reference(code) or "record"


def every_blow(drive: DriveReview, system: str) -> list[Block]:
    """Give the numbers of every blow of a drive."""
    codes = [code for code in EVERY_BLOW if code in drive.table and drive.table[code].notna().any()]
    head = [{"symbol": NAMES[code].symbol, "rest": _unit(code, system)} for code in codes]
    columns = [_written(drive.table[code], code, system) for code in codes]
    key = "; ".join(f"{NAMES[code].symbol}: {NAMES[code].words}, {origin(code, (drive,))}" for code in codes)
    dense = {"kind": "dense", "head": head, "rows": [list(row) for row in zip(*columns, strict=True)]}
    return [{"kind": "key", "text": f"{key}."}, dense]


def _unit(code: str, system: str) -> str:
    unit = display_unit(code, system)[0]
    return f" [{unit}]" if unit else ""


def _written(values: pd.Series, code: str, system: str) -> list[str]:
    _, factor, decimals = display_unit(code, system)
    numbers = values.to_numpy(dtype=float) * factor
    return [f"{number:,.{decimals}f}" if np.isfinite(number) else "–" for number in numbers]
