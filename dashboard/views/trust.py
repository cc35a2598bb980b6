"""The page on whether the record can be trusted: the record and its findings."""

import streamlit as st

from dyntest.presenting.finding_words import choice_words
from dyntest.presenting.sentences import trust_reasons, trust_sentence

from .. import pieces, state, strip, work
from ..charts.record import record_data
from ..components import draw_record

FILTERS = (None, 1000.0, 2000.0, 3000.0, 5000.0)
"""Corners of the low-pass filter to choose from [Hz]."""

MEANS = {"yes": pieces.GOOD, "with care": pieces.CARE, "no": pieces.BAD}
"""Meaning of an answer on trust."""


def draw() -> None:
    """Draw the page."""
    test = work.test()
    above, below = st.container(), st.container()
    with below:  # drawn first, so that a choice that causes an error can be undone there
        _conditioning(test)
    with above:
        _record(test)
    pieces.how("force and velocity", "trust", "representative blow", "proportionality", "bending_ratio")


def _record(test) -> None:
    review = work.review(test)
    told = [trust_sentence(review)]
    if len(review.drives) > 1 and review.trust.answer != "yes":
        told += [
            f"{drive.name.replace('_', ' ').capitalize()}: {drive.trust.answer}"
            + (f", because of {trust_reasons(drive.trust)}." if drive.trust.reasons else ".")
            for drive in review.drives
        ]
    pieces.draw_answer(told, MEANS[review.trust.answer])
    place = strip.place_of(test)
    drive = next(one for one in review.drives if one.name == place.drive)
    draw_record(record_data(test, drive, place.blow), "trust_record", lambda blow: state.look_at(drive.name, blow))
    pieces.draw_note(
        "← and → step from blow to blow. Drag across to zoom. Drag a mark, or move it with the arrow keys."
    )
    _standing(test, drive, place.blow)
    pieces.draw_heading("Findings")
    if drive.findings:
        pieces.findings(drive.findings, drive.table["blow"].tolist(), test.system)
    else:
        pieces.draw_note("No findings on any blow of this drive.")


def _standing(test, drive, blow: int) -> None:
    """Offer the selected blow as the representative one."""
    chosen = drive.representative
    if chosen is not None:
        pieces.draw_note(f"Representative blow {chosen.blow}: {choice_words(chosen, test.system).rstrip('.')}.")
    row = st.container(horizontal=True)
    if chosen is None or chosen.blow != blow:

        def take() -> None:
            state.change(test.as_read, blow={**test.sheet.choices.blow, drive.name: blow})

        row.button(f"Make blow {blow} the representative blow", key="trust_take", on_click=take)
    if drive.name in test.sheet.choices.blow:

        def leave() -> None:
            kept = {name: number for name, number in test.sheet.choices.blow.items() if name != drive.name}
            state.change(test.as_read, blow=kept)
            st.session_state.get("looked_at", {}).pop(drive.name, None)

        row.button("Use the blow chosen by the rule", key="trust_rule", on_click=leave)


def _conditioning(test) -> None:
    """Offer to leave gauges out, filter, and align; every other page follows."""
    chosen, gauges = test.sheet.choices, test.sheet.gauges
    with st.expander("Leave a gauge out, filter, or align", icon=":material/tune:"):
        if not gauges.averaged:
            key = state.widget_key("trust_leave_out", list(chosen.leave_out))
            st.pills(
                "Gauges left out",
                [*(gauges.strain or ()), *(gauges.acceleration or ())],
                key=key,
                wrap=True,
                selection_mode="multi",
                on_change=state.asked(key, lambda names: state.change(test.as_read, leave_out=tuple(names))),
            )
        corners = sorted({*FILTERS[1:], *([chosen.low_pass] if chosen.low_pass else [])})
        key = state.widget_key("trust_low_pass", chosen.low_pass)
        st.selectbox(
            "Low-pass filter, zero phase",
            [None, *corners],
            key=key,
            placeholder="none",
            format_func=lambda corner: "none" if corner is None else f"{corner:,.0f} Hz",
            on_change=state.asked(key, lambda corner: state.change(test.as_read, low_pass=corner)),
        )
        key = state.widget_key("trust_align", chosen.align)
        st.toggle(
            "Correct the lag between strain and acceleration",
            key=key,
            on_change=state.asked(key, lambda on: state.change(test.as_read, align=bool(on))),
        )
