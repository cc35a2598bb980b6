"""Which figures a review has, by name: of each drive, of all drives together, and of the decisions."""

import numpy as np
import pandas as pd

from dyntest.names import display_unit
from dyntest.presenting.figures import (
    criterion_figure,
    load_movement_figure,
    overlay_figure,
    profiles_figure,
    setup_figure,
    shaft_figure,
    traces_figure,
)
from dyntest.presenting.frames import shown, title, traces, wave_traces
from dyntest.presenting.frames_decisions import (
    criterion_lines,
    law_over_time,
    measured_counts,
    measured_over_time,
    refusal_count,
)
from dyntest.presenting.frames_match import load_movements, of_drives, shaft_lengths
from dyntest.presenting.frames_record import SHOWN_RETURNS, marks, overlay, profile
from dyntest.presenting.sentences import drive_words
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review
from dyntest.wave_equation.match_results import matched_waves

PROFILE = ("case_resistance_maximum", "matched_resistance", "peak_gauge_stress", "transferred_energy", "stroke")
"""Numbers drawn for every blow; one that no blow has is left out."""

OVERLAID = ("downward wave", "upward wave")
"""Waves in which drives are laid over each other, a panel each."""


def review_figures(review: Review) -> dict[str, bytes]:
    """Give every figure of a review.

    SVG by name, such as ``"blow_initial"``; a figure that would show nothing is not there.
    """
    figures: dict[str, bytes] = {}
    for drive in review.drives:
        if drive.waves is not None:
            figures |= _blow(drive, review)
        heading = f"{review.sheet.pile_name}, {drive_words(drive)}: every blow"
        along = "penetration" if drive.kind == "initial" and drive.table["penetration"].nunique() > 1 else "blow"
        figures |= _profiles(f"profile_{drive.name}", (drive,), along, heading, review)
    if len(review.drives) > 1 and all(drive.table["penetration"].notna().any() for drive in review.drives):
        heading = f"{review.sheet.pile_name}: every blow of every drive"
        figures |= _profiles("profiles", review.drives, "penetration", heading, review)
    return {**figures, **_overlay(review), **_matches(review), **_setup(review), **_criterion(review)}


def _blow(drive: DriveReview, review: Review) -> dict[str, bytes]:
    waves, system = drive.waves, review.sheet.display_units
    times = marks(waves, 0, review.sheet.pile)
    toe_return = times["toe return"]
    drawn = {"t₁": times["first peak"], "t₁ + 2L/c": toe_return}
    heading = f"{review.sheet.pile_name}, {drive_words(drive)}, blow {drive.representative.blow}"
    computed = None
    if drive.match is not None:
        matched = matched_waves(drive.match)
        computed = np.interp(waves.time, matched.time, matched.up_computed, left=np.nan, right=np.nan)
    panels = (traces(waves, 0, system), wave_traces(waves, 0, system, computed))
    return {f"blow_{drive.name}": traces_figure(panels, heading, drawn, _last(drive, toe_return))}


def _last(drive: DriveReview, toe_return: float) -> float:
    """Where the time axis of a blow ends [ms]."""
    waves = drive.waves
    return min(1e3 * float(waves.time[-1] - waves.time[waves.onset[0]]), SHOWN_RETURNS * toe_return)


def _profiles(name: str, drives: tuple[DriveReview, ...], along: str, heading: str, review: Review) -> dict[str, bytes]:
    system = review.sheet.display_units
    frame = profile({drive.name: drive.table for drive in drives}, PROFILE, along, system)
    if frame.empty:
        return {}
    required = ("required", review.answers.required.value)
    known = {
        "case_resistance_maximum": required,
        "matched_resistance": required,
        "peak_gauge_stress": ("limit", review.limits.compression.value),
    }
    lines = {
        title(code, system): (label, float(shown(code, value, system)))
        for code, (label, value) in known.items()
        if value is not None
    }
    return {name: profiles_figure(frame, heading, _kinds(drives), lines, _matched(drives, along, system))}


def _matched(drives: tuple[DriveReview, ...], along: str, system: str) -> dict[str, pd.DataFrame]:
    """Give the matched resistance of the representative blow, to be drawn where not every blow was matched."""
    tables = {}
    for drive in drives:
        if drive.every is None and drive.match is not None:
            numbers = drive.numbers
            known = {code: [numbers.get(code, np.nan)] for code in {"blow", along, "matched_resistance"}}
            tables[drive.name] = pd.DataFrame(known)
    frame = profile(tables, ("matched_resistance",), along, system)
    return {} if frame.empty else {title(PROFILE[0], system): frame}


def _overlay(review: Review) -> dict[str, bytes]:
    drives = [drive for drive in review.drives if drive.waves is not None]
    if len({drive.kind for drive in drives}) < 2:
        return {}
    toe_return = marks(drives[0].waves, 0, review.sheet.pile)["toe return"]
    blows = {drive.name: (drive.waves, 0) for drive in drives}
    frames = {wave: overlay(blows, wave, review.sheet.display_units) for wave in OVERLAID}
    heading = f"{review.sheet.pile_name}: initial drive against restrike, aligned at impact"
    last = min(_last(drive, toe_return) for drive in drives)
    return {"initial_against_restrike": overlay_figure(frames, heading, _kinds(drives), toe_return, last)}


def _matches(review: Review) -> dict[str, bytes]:
    drives, system = [drive for drive in review.drives if drive.match is not None], review.sheet.display_units
    if not drives:
        return {}
    length = display_unit("penetration", system)[1] * review.sheet.pile.length
    shaft, movement = (of_drives(frame, drives, system) for frame in (shaft_lengths, load_movements))
    return {
        "shaft_resistance": shaft_figure(shaft, "Matched resistance along the shaft", _kinds(drives), length),
        "load_movement": load_movement_figure(movement, "Computed static load–movement", _kinds(drives)),
    }


def _setup(review: Review) -> dict[str, bytes]:
    law, required, system = review.answers.time_law, review.answers.required.value, review.sheet.display_units
    if law is None:
        return {}
    line = None if required is None else float(shown("matched_resistance", required, system))
    heading = f"{review.sheet.pile_name}: resistance against the time waited"
    measured, fitted = measured_over_time(law, system), law_over_time(law, system)
    return {"setup": setup_figure(measured, fitted, heading, line)}


def _criterion(review: Review) -> dict[str, bytes]:
    found, system = review.answers.criterion, review.sheet.display_units
    if found is None:
        return {}
    heading = f"{review.sheet.pile_name}: blows asked for at each stroke"
    lines, measured = criterion_lines(found, system), measured_counts(found, system)
    return {"criterion": criterion_figure(lines, measured, heading, refusal_count(found, system))}


def _kinds(drives) -> dict[str, str]:
    return {drive.name: drive.kind for drive in drives}
