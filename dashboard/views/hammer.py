"""The page on the hammer along the drive: what it delivered, and whether it damaged the pile."""

import streamlit as st

from dyntest.names import NAMES, show, show_required
from dyntest.presenting import palette
from dyntest.presenting.sentences import (
    STRESSES,
    drive_words,
    energy_share,
    estimate_sentences,
    gauge_stress,
    limit_note,
    stress_sentences,
    worst_stress,
)
from dyntest.presenting.terms import show_count

from .. import pieces, state, strip, work
from ..charts.profiles import profile_data
from ..charts.record import record_data
from ..components import draw_profiles, draw_record

PROFILES = (
    "stroke",
    "energy_ratio",
    "peak_gauge_stress",
    "case_resistance_maximum",
    "matched_resistance",
    "set_per_blow",
    "toe_compression_stress",
    "peak_tension_stress",
    "transferred_energy",
    "integrity_factor",
    "peak_force",
    "blow_rate",
)
"""Quantities of every blow that can be drawn."""

MOST_DRAWN = 6
"""Most columns drawn [1]; more would be too narrow."""

NUMBERS = (
    "penetration",
    "set_per_blow",
    "stroke",
    "blow_rate",
    "transferred_energy",
    "energy_ratio",
    "energy_ratio_stroke",
    "peak_force",
    "peak_velocity",
    "peak_displacement",
    "peak_compression_stress",
    "peak_gauge_stress",
    "toe_compression_stress",
    "peak_tension_stress",
    "integrity_factor",
    "integrity_depth",
)


def draw() -> None:
    """Draw the page."""
    test = work.test()
    review = work.review(test)
    told = [sentence for drive in review.drives if (sentence := _delivered(drive, test.system))]
    stresses = stress_sentences(review)
    pieces.alerted(test, review)
    limits = _limits(review)
    stressed = {code for _, code in STRESSES}
    above = [code for code in limits if code in stressed and _above(review, code, limits[code][0])]
    pieces.draw_answer([*told, *stresses], stress_standing(review))
    for words in estimate_sentences(review):
        pieces.draw_note(words)
    place = strip.place_of(test)
    _profiles(test, review, limits, above, place)
    drive = next(one for one in review.drives if one.name == place.drive)
    data = record_data(test, drive, place.blow, ("energy",)) | {"tall": 300}
    draw_record(data, "hammer_record", lambda blow: state.look_at(drive.name, blow))
    pieces.draw_heading("Numbers")
    pieces.numbers(review.drives, (place.drive, place.blow), NUMBERS, test.system)
    _sources(review)
    pieces.how("transferred_energy", "energy_ratio", "stroke", *(code for _, code in STRESSES), "integrity_factor")


def stress_standing(review) -> str:
    """Give the meaning of the answer: the stresses that it tells against their limits."""
    worst = [one for sense in ("compression", "tension") if (one := worst_stress(review, sense)) is not None]
    bent, limit = gauge_stress(review), review.limits.compression.value
    if any(one.above for one in worst) or (bent is not None and limit is not None and bent[0] > limit):
        return pieces.BAD
    return pieces.CARE if any(one.may_be_above for one in worst) else pieces.GOOD


def _delivered(drive, system: str) -> str:
    """Say what the hammer delivered in the representative blow of a drive."""
    numbers = drive.numbers
    if "transferred_energy" not in numbers:
        return ""
    told = f"{drive_words(drive).capitalize()}: blow {drive.representative.blow} delivered"
    told += f" {show('transferred_energy', numbers['transferred_energy'], system)}"
    share = energy_share(drive)
    told += f", {share}" if share else ""
    if "stroke" in numbers:
        told += f", at a stroke of {show('stroke', numbers['stroke'], system)}"
    if "set_per_blow" in numbers:
        told += f" and {show_count(numbers['set_per_blow'], system)}"
    return f"{told}."


def _limits(review) -> dict[str, tuple[float, str, str]]:
    """Give the limits drawn in columns, by quantity: a value in SI, its words, and its colour."""
    system = review.sheet.display_units
    found = {}
    for sense, code in STRESSES:
        value = getattr(review.limits, sense).value
        if value is not None:
            found[code] = (value, f"limit {show(code, value, system)}", palette.WARNING)
    required = review.answers.required.value
    if required is not None:
        for code in ("case_resistance_maximum", "matched_resistance", "case_resistance"):
            found[code] = (required, f"required {show_required(required, system)}", palette.ACCENT)
    return found


def _above(review, code: str, limit: float) -> bool:
    return any(code in drive.table and (drive.table[code] > limit).any() for drive in review.drives)


def _profiles(test, review, limits, above: list[str], place) -> None:
    """Draw quantities of every blow side by side, those above their limit first; a click selects the blow."""
    tables = [drive.table for drive in review.drives]
    known = [code for code in PROFILES if any(code in table and table[code].notna().any() for table in tables)]
    usual = list(dict.fromkeys([*(code for code in above if code in known), *known]))[:5]
    asked = [code for code in st.session_state.get("hammer_drawn", usual) if code in known] or usual
    key = state.widget_key("hammer_profiles", asked)
    data = profile_data(test.sheet, test.key, review.drives, asked, limits=limits, at=(place.drive, place.blow))
    draw_profiles(data, "hammer_profiles_picture", state.look_at)
    st.multiselect(
        "Quantities of every blow",
        known,
        key=key,
        format_func=lambda code: NAMES[code].words,
        max_selections=MOST_DRAWN,
        on_change=state.asked(key, lambda codes: st.session_state.update(hammer_drawn=tuple(codes))),
    )


def _sources(review) -> None:
    """Show the source of the limits."""
    system = review.sheet.display_units
    for limit in (review.limits.compression, review.limits.tension):
        if limit.value is not None:
            told = f"Limit in {limit.sense}: {show('peak_gauge_stress', limit.value, system)} = {limit.equation}"
            pieces.draw_note(f"{told}; {limit.source}. {limit_note(limit)}".strip())
