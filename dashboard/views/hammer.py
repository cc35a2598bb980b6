"""The page that asks what the hammer delivered, and whether it hurt the pile."""

import streamlit as st

from dyntest.decisions.caution import GOVERNING_SPECIFICATION
from dyntest.decisions.criterion import show_count
from dyntest.names import NAMES, show
from dyntest.presenting.finding_words import finding_message
from dyntest.presenting.frames import shown, title
from dyntest.presenting.frames_record import by_blow
from dyntest.presenting.sentences import STRESSES, drive_words, stress_sentences

from .. import blows, pieces, state, work
from ..charts.profiles import MOST_BLOWS, draw_pickable, profile_chart

PROFILES = (
    "set_per_blow",
    "stroke",
    "transferred_energy",
    "energy_ratio",
    "peak_gauge_stress",
    "toe_compression_stress",
    "peak_tension_stress",
    "integrity_factor",
    "peak_force",
    "blow_rate",
)
"""Numbers of every blow that can be drawn."""

FIRST_DRAWN = ("stroke", "energy_ratio", "peak_gauge_stress")
"""Those that are drawn before a choice."""

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
    pieces.question("hammer")
    test = work.test()
    review = work.review(test)
    told = [sentence for drive in review.drives if (sentence := _delivered(drive, test.system))]
    stresses = stress_sentences(review)
    damage = [text for drive in review.drives for text in _damage(drive, test.system)]
    pieces.answer([*told, *stresses, *damage], bad=bool(damage) or any("ABOVE" in text for text in stresses))

    _profiles(test, review)
    pieces.heading("Numbers of the blows that stand for the drives")
    pieces.table(pieces.numbers_by_drive(review.drives, NUMBERS, test.system), "hammer_table", height="content")
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    with left:
        drive = blows.choose_drive(test, "hammer")
    with right:
        blow = blows.choose_blow(drive, "hammer")
    blows.picture(test, drive, blow, "hammer", "energy")
    pieces.table(pieces.one_blow(drive, blow, NUMBERS, test.system), "hammer_blow_table", height="content")
    _limits(review)
    pieces.how("transferred_energy", "energy_ratio", "stroke", *(code for _, code in STRESSES), "integrity_factor")


def _delivered(drive, system: str) -> str:
    """Say what the hammer delivered in the blow that stands for a drive."""
    numbers = drive.numbers
    if "transferred_energy" not in numbers:
        return ""
    told = f"{drive_words(drive).capitalize()}: blow {drive.representative.blow} delivered"
    told += f" {show('transferred_energy', numbers['transferred_energy'], system)}"
    if "energy_ratio" in numbers:
        told += f", {numbers['energy_ratio']:.0%} of the rated energy"
    if "stroke" in numbers:
        told += f", at a stroke of {show('stroke', numbers['stroke'], system)}"
    if "set_per_blow" in numbers:
        told += f" and {show_count(numbers['set_per_blow'], system)}"
    return f"{told}."


def _damage(drive, system: str) -> list[str]:
    found = [finding for finding in drive.findings if finding.check == "integrity" and finding.severity != "note"]
    return [f"{drive_words(drive).capitalize()}: {finding_message(finding, system)}." for finding in found]


def _profiles(test, review) -> None:
    """Draw numbers of every blow side by side, with their limits; a click opens the blow."""
    tables = {drive.name: drive.table for drive in review.drives}
    known = [c for c in PROFILES if any(c in table and table[c].notna().any() for table in tables.values())]
    asked = [code for code in st.session_state.get("hammer_drawn", FIRST_DRAWN) if code in known] or known[:3]
    kinds = {drive.name: drive.kind for drive in review.drives}
    deep = all(drive.table["penetration"].notna().any() for drive in review.drives)
    along = "penetration" if deep else "blow"
    limits = _lines(review)
    key = state.shown("hammer_profiles", asked)
    st.multiselect(
        "Numbers of every blow",
        known,
        key=key,
        format_func=lambda code: NAMES[code].words,
        max_selections=6,
        on_change=state.asked(key, lambda codes: st.session_state.update(hammer_drawn=tuple(codes))),
    )
    at = _at(test, review)
    pieces.key_to_drives(kinds)
    for start in range(0, len(asked), 3):
        columns = st.columns(3)
        for column, code in zip(columns, asked[start : start + 3], strict=False):
            frame = by_blow(tables, code, along, test.system, MOST_BLOWS)
            heading, axis = title(code, test.system), title(along, test.system)
            limit = limits.get(code)
            chart = profile_chart(frame, heading, axis, kinds, limit=limit, at=at)
            with column:
                draw_pickable(chart, f"hammer_profile_{code}", _open)
    pieces.note("A click on a point opens that blow below.")


def _open(point: dict) -> None:
    state.look_at(point["drive"], int(point["blow"]))


def _at(test, review) -> tuple[str, int]:
    names = [drive.name for drive in review.drives]
    name = st.session_state.get("drive")
    drive = review.drives[names.index(name) if name in names else 0]
    standing = int(drive.table["blow"].iloc[-1]) if drive.representative is None else drive.representative.blow
    return drive.name, state.looked_at(drive.name, standing)


def _lines(review) -> dict[str, tuple[str, float]]:
    """Give the limits that are drawn, by the number they hold for."""
    system = review.sheet.display_units
    found = {}
    for sense, code in STRESSES:
        value = getattr(review.limits, sense).value
        if value is not None:
            found[code] = ("limit", float(shown(code, value, system)))
    return found


def _limits(review) -> None:
    """Say where the limits come from."""
    system = review.sheet.display_units
    for limit in (review.limits.compression, review.limits.tension):
        if limit.value is not None:
            told = f"Limit in {limit.sense}: {show('peak_gauge_stress', limit.value, system)} = {limit.equation}"
            note = limit.note.removesuffix(GOVERNING_SPECIFICATION).strip()  # stands under every page
            pieces.note(f"{told}; {limit.source}. {note}")
