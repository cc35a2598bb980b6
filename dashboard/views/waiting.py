"""The page that asks what changed while the pile waited."""

import numpy as np
import streamlit as st

from dashboard import matching, pieces, state, work
from dashboard.charts.base import HINT
from dashboard.charts.base import draw as draw_chart
from dashboard.charts.traces import overlay_chart, overlay_styles
from dashboard.charts.waiting import fade_chart, time_chart
from dyntest.presenting.frames import shown, title
from dyntest.presenting.frames_blow import OVERLAYS, overlay
from dyntest.presenting.frames_drive import by_blow
from dyntest.presenting.frames_waiting import fade_line, law_over_time, measured_over_time, setup_rows
from dyntest.presenting.sentences import drive_words, setup_sentence
from dyntest.reviewing.answers import fade_basis

MOST_COMPARED = 8
"""Blows laid over each other at most [1]; more cannot be told apart."""


def draw() -> None:
    """Draw the page."""
    pieces.question("waiting")
    test = work.test()
    review = work.review(test)
    setups = review.answers.setups
    if not setups:
        pieces.answer(["This pile was not struck again, so nothing is known of what waiting changes."])
        pieces.note("A restrike after a wait shows setup or relaxation; add it to the sheet as another [[drive]].")
    else:
        told = [setup_sentence(setup) for setup in setups]
        told += [_fading(fade, name) for name, fade in review.answers.fades.items() if fade.fades]
        lost = any(setup.setup_factor is not None and setup.setup_factor.value < 1.0 for setup in setups)
        pieces.answer(told, bad=lost)
    matching.offer(test, review.drives, "waiting")
    pieces.heading("Blows laid over each other, aligned at impact")
    _overlay(test, review)
    for setup in setups:
        for caution in setup.cautions:
            pieces.caution(f"{setup.restrike.replace('_', ' ')}, {caution.check}", caution.message, caution.cure)
    if review.answers.time_law is not None:
        _law(test, review)
    if review.answers.fades:
        _fades(test, review)
    if setups:
        pieces.heading("Resistance at the restrike over that at the end of driving")
        pieces.worded(setup_rows(setups))
    pieces.how("setup_factor", "resistance over time", "how resistance fades in a restrike")


def _fading(fade, name: str) -> str:
    words = name.replace("_", " ").capitalize()
    return f"{words}: resistance fell by {fade.lost_share:.0%} over its first {fade.span} blows."


def _overlay(test, review) -> None:
    """Lay blows of any drive over each other; first those that stand for the drives."""
    names = {_called(drive, blow): (drive, int(blow)) for drive in review.drives for blow in _some(drive)}
    standing = [_called(drive, drive.representative.blow) for drive in review.drives if drive.representative]
    kept = [name for name in st.session_state.get("compared", standing) if name in names]
    key = state.shown("waiting_blows", kept)
    left, right = st.columns([3, 1])
    with left:
        chosen = st.multiselect(
            "Blows",
            list(names),
            key=key,
            max_selections=MOST_COMPARED,
            on_change=state.asked(key, lambda value: st.session_state.update(compared=value)),
        )
    with right:
        trace = st.selectbox("Draw", OVERLAYS, key="waiting_trace")
    if not chosen:
        pieces.note("Choose the blows to be laid over each other.")
        return
    blows, kinds = {}, {}
    for name in chosen:
        drive, blow = names[name]
        waves = work.waves(test, drive.name)
        blows[name] = waves, int(np.flatnonzero(waves.blow == blow)[0])
        kinds[name] = drive.kind
    usual = (-1.0, float(round(4e3 * test.sheet.pile.return_time)))
    longest = max(float(round(1e3 * (waves.time[-1] - waves.time[0]), 1)) for waves, _ in blows.values())
    window = st.slider("Time drawn [ms]", -5.0, max(longest, usual[1]), usual, 0.5, key="waiting_window")
    draw_chart(overlay_chart(overlay(blows, trace, test.system), window, overlay_styles(kinds)), "waiting_overlay")
    pieces.note(HINT)


def _called(drive, blow: int) -> str:
    return f"{drive_words(drive)}, blow {blow}"


def _some(drive) -> list[int]:
    """Give the blows of a drive that can be chosen: all of a short one, of a long one enough to find any phase."""
    blows = drive.table["blow"].to_numpy()
    step = max(1, len(blows) // 200)
    standing = [] if drive.representative is None else [drive.representative.blow]
    return sorted({*blows[::step].tolist(), *blows[-20:].tolist(), *standing})


def _law(test, review) -> None:
    law = review.answers.time_law
    required = review.answers.required.value
    level = None if required is None else float(shown("matched_resistance", required, test.system))
    pieces.heading("Resistance over time")
    points, line = measured_over_time(law, test.system), law_over_time(law, test.system)
    draw_chart(time_chart(points, line, level), "waiting_time")
    rate = law.rate
    told = f"Each tenfold time adds {rate.value:.0%} of the resistance at {law.reference_time / 86400:.1f} days"
    told += f" ({rate.low:.0%} to {rate.high:.0%}); {law.method}. Dashed: no measurement, and nothing to count on."
    pieces.note(told)


def _fades(test, review) -> None:
    pieces.heading("Resistance over the blows of each restrike")
    shown_drives = [drive for drive in review.drives if drive.name in review.answers.fades]
    columns = st.columns(max(len(shown_drives), 2))
    for column, drive in zip(columns, shown_drives, strict=False):
        code, sound = fade_basis(drive)
        frame = by_blow({drive.name: drive.table[sound]}, code, "blow", test.system)
        line = fade_line(review.answers.fades[drive.name], int(drive.table["blow"][sound].iloc[0]), test.system)
        with column:
            pieces.note(drive_words(drive).capitalize())
            draw_chart(fade_chart(frame, line, title(code, test.system)), f"waiting_fade_{drive.name}")


if __name__ == "__main__":
    pieces.guarded(draw)
