"""Tables of the drives' numbers: representative blows, matched soil, and all blows in a summary."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyntest.names import NAMES, decimal, display_unit, show
from dyntest.presenting.explanations import reference
from dyntest.presenting.frames_match import damping, residual_stress_words, soil_numbers
from dyntest.presenting.frames_record import COUNT_LENGTHS
from dyntest.presenting.report.blocks import Block, dense, note, rows
from dyntest.presenting.sentences import drive_words, sentence, show_range
from dyntest.presenting.tables import WHY_NEGATIVE, negative_notes, representative_head, representative_numbers
from dyntest.reviewing.drive import DriveReview
from dyntest.units import unit_factor
from dyntest.wave_equation.match_results import shaft_distribution
from dyntest.wave_equation.matching import Match

ABREAST = 4
"""Drives side by side at most [1]; more are in another table below."""

MOST_ROWS = {"penetration": 40, "blow": 12}
"""Rows of a summary of blows at most [1], by depth and by number."""

SUMMED = {
    "stroke": "mean",
    "transferred_energy": "mean",
    "energy_ratio": "mean",
    "peak_force": "mean",
    "peak_gauge_stress": "max",
    "toe_compression_stress": "max",
    "peak_tension_stress": "max",
    "case_resistance_maximum": "mean",
    "case_resistance_toe_at_rest": "mean",
    "matched_resistance": "mean",
    "integrity_factor": "min",
}
"""Numbers of the summary of blows, in order, and what of an interval is shown; one that no blow has is left out."""


def representative_blows(drives: Sequence[DriveReview], codes: Sequence[str], system: str) -> list[Block]:
    """Give numbers of the representative blows, a column a drive, a row a number with its equation."""
    blocks = []
    for start in range(0, len(drives), ABREAST):
        some = drives[start : start + ABREAST]
        known = representative_numbers(some, codes, system)
        cells = [
            [NAMES[code].words, {"symbol": NAMES[code].symbol}, *values, origin(code, some)]
            for code, values in known.items()
        ]
        head = ["", "", *map(representative_head, some), "from"]
        blocks.append(rows(head, cells, [2.3, 0.7, *(1 for _ in some), 0.9], f"ll{'r' * len(some)}l"))
        blocks += [note(sentence(words)) for words in negative_notes(known)]
    return blocks


def match_tables(drives: Sequence[DriveReview], system: str) -> list[Block]:
    """Give what signal matching found, a column a drive, with the range that explains the record about as well."""
    blocks = []
    for start in range(0, len(drives), ABREAST):
        some = drives[start : start + ABREAST]
        found = [_matched(drive.match, drive, system) for drive in some if drive.match]
        cells = [[words, *(column[words][0] for column in found), found[0][words][1]] for words in found[0]]
        head = ["", *map(representative_head, some), "from"]
        blocks.append(rows(head, cells, [1.5, *(1.3 for _ in some), 0.5], f"l{'r' * len(some)}l"))
    return blocks


def _matched(match: Match, drive: DriveReview, system: str) -> dict[str, tuple[str, str]]:
    """Every number of a match in words, by its name, and where it comes from."""
    found = {}
    for code in ("matched_resistance", "shaft_resistance", "toe_resistance"):
        low, high = getattr(match, f"{code}_range")
        ends = show_range(low, high, code, system)
        found[NAMES[code].words] = (f"{show(code, getattr(match, code), system)} ({ends})", reference(code))
    found[NAMES["misfit"].words] = (show("misfit", match.misfit, system), reference("misfit"))
    found |= {words: (text, "fitted") for words, text in soil_numbers(match, system).items()}
    found["soil law"] = (match.law, "chosen" if match.misfit_other_law != match.misfit_other_law else "better fit")
    found["residual stress"] = (residual_stress_words(match, system) or "–", "")
    found["resistance mobilised"] = ("no: a lower bound" if drive.lower_bound else "fully", "")
    found["shaft and toe separated"] = ("yes" if match.separable else "no: use the sum", "")
    found["calibrated damping factor J, first peak"] = (
        show("damping_factor", drive.calibrated_damping_factor, system),
        reference("calibrated damping factor"),
    )
    return found


def soil_tables(drives: Sequence[DriveReview], system: str) -> list[Block]:
    """Give the soil model by segment: depth, resistance, resistance per length, quake and damping of each drive."""
    matched = [(drive_words(drive), drive.match) for drive in drives if drive.match is not None]
    force, length = display_unit("shaft_resistance", system)[0], display_unit("penetration", system)[0]
    movement = display_unit("set_per_blow", system)[0]
    alike: dict[tuple[str, ...], list[tuple[str, Match]]] = {}
    for name, match in matched:
        alike.setdefault(tuple(_depths(match, system)), []).append((name, match))
    blocks = []
    for depths, drives_alike in alike.items():
        for start in range(0, len(drives_alike), ABREAST - 1):
            some = drives_alike[start : start + ABREAST - 1]
            head = [f"depth [{length}]"]
            for name, match in some:
                head += [f"{name}: R [{force}]", f"R/length [{force}/{length}]", f"quake [{movement}]",
                         f"damping [{damping(match, 'shaft', system)[1]}]"]  # fmt: skip
            found = [_segments(match, system) for _, match in some]
            cells = [[place, *(cell for one in found for cell in one[row])] for row, place in enumerate(depths)]
            blocks.append(dense(head, cells))
    return blocks


def _depths(match: Match, system: str) -> list[str]:
    found, factor = shaft_distribution(match), display_unit("penetration", system)[1]
    ends = zip(found.top * factor, found.bottom * factor, strict=True)
    return [*(f"{top:.1f} to {bottom:.1f}" for top, bottom in ends), "toe"]


def _segments(match: Match, system: str) -> list[list[str]]:
    """Resistance, resistance per length, quake and damping of each segment of shaft, and of the toe, as text."""
    found, values = shaft_distribution(match), match.parameters
    force, length = display_unit("shaft_resistance", system)[1], display_unit("penetration", system)[1]

    def soil(part: str) -> list[str]:
        quake = show("set_per_blow", float(values[f"{part}_quake"]), system).rsplit(" ", 1)[0]
        return [quake, damping(match, part, system)[0]]

    shaft = [
        [decimal(force * one, 1), decimal(force / length * each, 2), *soil("shaft")]
        for one, each in zip(found.resistance, found.per_length, strict=True)
    ]
    return [*shaft, [decimal(force * match.toe_resistance, 1), "–", *soil("toe")]]


def origin(code: str, drives: Sequence[DriveReview]) -> str:
    """Say where a number comes from."""
    if code in ("penetration", "set_per_blow"):
        return "driving log" if any(drive.log is not None for drive in drives) else "sheet, record"
    if code == "stroke" and not any(_timed(drive) for drive in drives):
        return "driving log"
    if code in ("damping_factor", "damping_factor_maximum"):
        return ", ".join(dict.fromkeys(drive.damping_source for drive in drives))
    if code == "blow_rate":
        return "record"
    return reference(code) or "record"


def _timed(drive: DriveReview) -> bool:
    """Whether the stroke follows from the time between blows, as it does of an open-end diesel hammer alone."""
    hammer = drive.drive.hammer
    return hammer is not None and hammer.kind == "open-end diesel" and "blow_rate" in drive.table


def blow_summary(drive: DriveReview, system: str) -> Block:
    """Give all blows of a drive in a summary: by foot or half metre of penetration, else by groups of blows."""
    table = drive.table
    codes = [code for code in SUMMED if code in table and table[code].notna().any()]
    by_depth = drive.kind == "initial" and table["penetration"].nunique() > 1
    labels, groups, lengths = _by_depth(table, system) if by_depth else _by_number(table)
    head = [f"penetration [{display_unit('penetration', system)[0]}]" if by_depth else "blows", "n"]
    count_length, count_unit = COUNT_LENGTHS[system]
    if by_depth:
        head.append(count_unit)
    heads = [
        *head,
        *({"symbol": NAMES[code].symbol, "rest": f" {SUMMED[code]}{_unit(code, system)}"} for code in codes),
    ]
    cells = []
    for number in sorted(labels):
        part = table[groups == number]
        counted = [decimal(len(part) / lengths[number] * count_length, 0)] if by_depth else []
        cells.append(
            [labels[number], f"{len(part)}", *counted, *(_written(part[code], code, system) for code in codes)]
        )
    return dense(heads, cells)


def summary_key(drives: Sequence[DriveReview]) -> Block:
    """Give what the symbols of the summaries mean."""
    codes = [
        code for code in SUMMED if any(code in drive.table and drive.table[code].notna().any() for drive in drives)
    ]
    key = "; ".join(f"{NAMES[code].symbol}: {NAMES[code].words}, {origin(code, drives)}" for code in codes)
    negative = any((drive.table[code] < 0.0).any() for code in codes if code in WHY_NEGATIVE for drive in drives)
    left_out = " A Case resistance below zero is left out (–)." if negative else ""
    return {"kind": "key", "text": f"{key}.{left_out} Every blow is in the tables of blows beside this report."}


def _by_depth(table: pd.DataFrame, system: str) -> tuple[dict[int, str], np.ndarray, dict[int, float]]:
    """Label, group of each blow, and length of each group [m]."""
    unit = unit_factor("ft", "length") if system == "US" else 1.0
    depth = table["penetration"].to_numpy(dtype=float) / unit
    span = np.nanmax(depth) - np.nanmin(depth)
    steps = (1.0, 2.0, 5.0, 10.0) if system == "US" else (0.5, 1.0, 2.0, 5.0)
    step = next((one for one in steps if span / one <= MOST_ROWS["penetration"]), steps[-1])
    groups = np.where(np.isfinite(depth), np.ceil(depth / step - 1e-6), -1).astype(int)
    found = [number for number in np.unique(groups) if number >= 0]
    labels = {int(n): f"{(n - 1) * step:g} to {n * step:g}" for n in found}
    known = depth[np.isfinite(depth)]
    first = float(known[0] - np.diff(known[:2]).sum())  # the first blow recorded began its own set above
    lengths = {}
    for n in map(int, found):
        ends = max((n - 1) * step, first), min(n * step, float(known.max()))
        lengths[n] = unit * max(ends[1] - ends[0], 1e-3 * step)
    return labels, groups, lengths


def _by_number(table: pd.DataFrame) -> tuple[dict[int, str], np.ndarray, dict[int, float]]:
    size = -(-len(table) // MOST_ROWS["blow"])
    groups = np.arange(len(table)) // size
    blow = table["blow"].to_numpy()
    ends = {int(n): (blow[groups == n][0], blow[groups == n][-1]) for n in np.unique(groups)}
    return {n: f"{a}" if a == b else f"{a} to {b}" for n, (a, b) in ends.items()}, groups, {}


def _unit(code: str, system: str) -> str:
    unit = display_unit(code, system)[0]
    return f" [{unit}]" if unit else ""


def _written(values: pd.Series, code: str, system: str) -> str:
    value = float(getattr(values, SUMMED[code])())
    _, factor, decimals = display_unit(code, system)
    known = np.isfinite(value) and not (code in WHY_NEGATIVE and value < 0.0)
    return decimal(value * factor, decimals) if known else "–"
