"""The page that asks whether the record can be trusted."""

import streamlit as st

from dyntest.presenting.finding_words import choice_words
from dyntest.presenting.frames_record import findings_by_blow
from dyntest.presenting.sentences import trust_sentence

from .. import blows, pieces, state, work
from ..charts.profiles import draw_pickable, findings_chart

MOST_MARKS = 400
"""Marks of one finding that are drawn at most [1]."""

FILTERS = (None, 1000.0, 2000.0, 3000.0, 5000.0)
"""Corners of the low-pass filter to choose from [Hz]."""


def draw() -> None:
    """Draw the page."""
    pieces.question("trust")
    test = work.test()
    review = work.review(test)
    told = [trust_sentence(review)]
    told += [
        f"{drive.name.replace('_', ' ').capitalize()}: {drive.trust.answer}"
        + (f", because of {', '.join(drive.trust.reasons)}." if drive.trust.reasons else ".")
        for drive in review.drives
        if len(review.drives) > 1
    ]
    pieces.answer(told, bad=review.trust.answer == "no")

    left, right = st.columns([2, 1], vertical_alignment="bottom")
    with left:
        drive = blows.choose_drive(test, "trust")
    with right:
        blow = blows.choose_blow(drive, "trust")
    blows.picture(test, drive, blow, "trust")
    _standing(test, drive, blow)

    pieces.heading("What was found, and on which blows")
    frame = findings_by_blow(drive.findings, drive.table["blow"].to_numpy(), test.system, MOST_MARKS)
    if frame.empty:
        pieces.note("No check found anything on any blow of this drive.")
    else:
        chart = findings_chart(frame, int(drive.table["blow"].iloc[-1]), blow)
        draw_pickable(chart, "trust_findings", lambda point: state.look_at(drive.name, int(point["blow"])))
        pieces.note("A click on a mark opens that blow.")
    if drive.findings:
        pieces.worded(pieces.findings(drive.findings, test.system))
    _conditioning(test)
    pieces.how("force and velocity", "trust", "representative blow", "proportionality", "bending_ratio")


def _standing(test, drive, blow: int) -> None:
    """Let a person take the blow for the one that stands for the drive."""
    chosen = drive.representative
    if chosen is not None:
        pieces.note(f"Blow {chosen.blow} stands for this drive: {choice_words(chosen, test.system)}.")
    if chosen is None or chosen.blow != blow:

        def take() -> None:
            state.change(test.as_read, blow={**test.sheet.choices.blow, drive.name: blow})

        st.button(f"Let blow {blow} stand for this drive", key="trust_take", on_click=take)
    if drive.name in test.sheet.choices.blow:

        def leave() -> None:
            kept = {name: number for name, number in test.sheet.choices.blow.items() if name != drive.name}
            state.change(test.as_read, blow=kept)
            st.session_state.get("looked_at", {}).pop(drive.name, None)

        st.button("Go back to the blow by the rule", key="trust_rule", on_click=leave)


def _conditioning(test) -> None:
    """Let a person leave gauges out, filter, and align; every later page follows."""
    chosen, gauges = test.sheet.choices, test.sheet.gauges
    with st.expander("Leave a gauge out, filter, or align", icon=":material/tune:"):
        if not gauges.averaged:
            key = state.shown("trust_leave_out", list(chosen.leave_out))
            st.multiselect(
                "Gauges left out",
                [*gauges.strain, *gauges.acceleration],
                key=key,
                on_change=state.asked(key, lambda names: state.change(test.as_read, leave_out=tuple(names))),
            )
        corners = sorted({*FILTERS[1:], *([chosen.low_pass] if chosen.low_pass else [])})
        key = state.shown("trust_low_pass", chosen.low_pass)
        st.selectbox(
            "Low-pass filter, zero phase",
            [None, *corners],
            key=key,
            format_func=lambda corner: "none" if corner is None else f"{corner:,.0f} Hz",
            on_change=state.asked(key, lambda corner: state.change(test.as_read, low_pass=corner)),
        )
        key = state.shown("trust_align", chosen.align)
        st.toggle(
            "Correct the lag between strain and acceleration",
            key=key,
            on_change=state.asked(key, lambda on: state.change(test.as_read, align=bool(on))),
        )
