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
from dyntest.presenting.frames import TIME, milliseconds, shown, title, traces, wave_traces
from dyntest.presenting.frames_decisions import (
    criterion_lines,
    law_over_time,
    measured_counts,
    measured_over_time,
    refusal_count,
)
from dyntest.presenting.frames_match import load_movements, of_drives, shaft_lengths, stresses_along
from dyntest.presenting.frames_pile import soil_layers
from dyntest.presenting.frames_record import SHOWN_RETURNS, counts_by_depth, marks, overlay, profile
from dyntest.presenting.sentences import drive_words
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review
from dyntest.signals import Waves
from dyntest.wave_equation.match_results import matched_waves

PROFILE = ("stroke", "transferred_energy", "peak_gauge_stress", "peak_tension_stress", "case_resistance_maximum",
           "matched_resistance")  # fmt: skip
"""Numbers drawn for every blow beside the blow count; one that no blow has is left out."""

RESTRIKE_PROFILE = ("stroke", "transferred_energy", "peak_gauge_stress", "case_resistance_maximum")
"""Numbers drawn for the blows of the restrikes."""

LEAST_TIMES, LATER = 2, 1.5
"""Resistance over time is drawn from so many restrikes on [1] that came later than so many reference times [1]: the
initial drive stands at the reference time, and a line through two points says nothing more than they do."""

OVERLAID = ("downward wave", "upward wave")
"""Waves in which drives are overlaid, a panel each."""


def review_figures(review: Review) -> dict[str, bytes]:
    """Give every figure of a review.

    SVG by name, such as ``"blow_initial"``; a figure that would show nothing is not there.
    """
    figures: dict[str, bytes] = {}
    for drive in review.drives:
        if drive.waves is not None and drive.representative is not None:
            figures |= _blow(drive, drive.waves, drive.representative.blow, review)
        if drive.kind == "initial":
            heading = f"{review.sheet.pile_name}, {drive_words(drive)}: driving record"
            along = "penetration" if drive.table["penetration"].nunique() > 1 else "blow"
            figures |= _profiles(f"profile_{drive.name}", (drive,), PROFILE, along, heading, review)
    restrikes = tuple(drive for drive in review.drives if drive.kind == "restrike")
    if restrikes:
        heading = f"{review.sheet.pile_name}: blows of the restrikes"
        figures |= _profiles("profile_restrikes", restrikes, RESTRIKE_PROFILE, "blow", heading, review)
    return {**figures, **_overlay(review), **_matches(review), **_setup(review), **_criterion(review)}


def _blow(drive: DriveReview, waves: Waves, blow: int, review: Review) -> dict[str, bytes]:
    system = review.sheet.display_units
    times = marks(waves, 0, review.sheet.pile)
    toe_return = times["toe return"]
    drawn = {"t₁": times["first peak"], "t₁ + 2L/c": toe_return}
    heading = f"{review.sheet.pile_name}, {drive_words(drive)}, blow {blow}"
    computed, residual = None, None
    if drive.match is not None:
        matched = matched_waves(drive.match)
        computed = np.interp(waves.time, matched.time, matched.up_computed, left=np.nan, right=np.nan)
        left = shown("peak_force", computed - waves.up[0], system)
        residual = pd.DataFrame({TIME: milliseconds(waves, 0), "residual": left})
    panels = (traces(waves, 0, system), wave_traces(waves, 0, system, computed))
    return {f"blow_{drive.name}": traces_figure(panels, heading, drawn, _last(waves, toe_return), residual)}


def _last(waves: Waves, toe_return: float) -> float:
    """Where the time axis of a blow ends [ms]."""
    return min(1e3 * float(waves.time[-1] - waves.time[waves.onset[0]]), SHOWN_RETURNS * toe_return)


def _profiles(
    name: str, drives: tuple[DriveReview, ...], codes: tuple[str, ...], along: str, heading: str, review: Review
) -> dict[str, bytes]:
    system = review.sheet.display_units
    frame = profile({drive.name: drive.table for drive in drives}, codes, along, system)
    if frame.empty:
        return {}
    log = drives[0].log
    if along == "penetration" and log is not None and (log.blows > 0).any():
        frame = pd.concat([counts_by_depth(drives[0].name, log, system), frame], ignore_index=True)
    required = ("required", review.answers.required.value)
    known = {
        "case_resistance_maximum": required,
        "matched_resistance": required,
        "peak_gauge_stress": ("limit", review.limits.compression.value),
        "peak_tension_stress": ("limit", review.limits.tension.value),
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
    return {} if frame.empty else {title("case_resistance_maximum", system): frame}


def _overlay(review: Review) -> dict[str, bytes]:
    drives = [drive for drive in review.drives if drive.waves is not None]
    if len({drive.kind for drive in drives}) < 2:
        return {}
    blows = {drive.name: (drive.waves, 0) for drive in drives if drive.waves is not None}
    toe_return = marks(blows[drives[0].name][0], 0, review.sheet.pile)["toe return"]
    frames = {wave: overlay(blows, wave, review.sheet.display_units) for wave in OVERLAID}
    heading = f"{review.sheet.pile_name}: initial drive against restrike, aligned at impact"
    last = min(_last(waves, toe_return) for waves, _ in blows.values())
    return {"initial_against_restrike": overlay_figure(frames, heading, _kinds(drives), toe_return, last)}


def _matches(review: Review) -> dict[str, bytes]:
    drives, system = [drive for drive in review.drives if drive.match is not None], review.sheet.display_units
    if not drives:
        return {}
    length = display_unit("penetration", system)[1] * review.sheet.pile.length
    shaft, movement, stress = (
        of_drives(frame, drives, system) for frame in (shaft_lengths, load_movements, stresses_along)
    )
    depth = next(
        (float(d.table["penetration"].iloc[-1]) for d in drives if d.table["penetration"].notna().any()), np.nan
    )
    soil, kinds = soil_layers(review.sheet, depth, system), _kinds(drives)
    return {
        "shaft_resistance": shaft_figure(
            shaft, "Matched soil and stresses along the pile", kinds, length, soil, stress
        ),
        "load_movement": load_movement_figure(movement, "Computed load–movement", kinds),
    }


def _setup(review: Review) -> dict[str, bytes]:
    law, required, system = review.answers.time_law, review.answers.required.value, review.sheet.display_units
    if law is None or sum(time > LATER * law.reference_time for time in law.times) < LEAST_TIMES:
        return {}
    line = None if required is None else float(shown("matched_resistance", required, system))
    heading = f"{review.sheet.pile_name}: resistance over time"
    measured, fitted = measured_over_time(law, system), law_over_time(law, system)
    return {"setup": setup_figure(measured, fitted, heading, line)}


def _criterion(review: Review) -> dict[str, bytes]:
    found, system = review.answers.criterion, review.sheet.display_units
    if found is None:
        return {}
    heading = f"{review.sheet.pile_name}: blow count required at each stroke"
    lines, measured = criterion_lines(found, system), measured_counts(found, system)
    return {"criterion": criterion_figure(lines, measured, heading, refusal_count(found, system))}


def _kinds(drives) -> dict[str, str]:
    return {drive.name: drive.kind for drive in drives}
