"""What stands above and below every page: which test this is, in which units, and who decides."""

import html

import streamlit as st

from dyntest.decisions.caution import GOVERNING_SPECIFICATION
from dyntest.errors import DyntestError

from . import look, state, work
from .pages import PAGES


def head() -> None:
    """Put the open test and the switch of its units over a page."""
    look.style()
    try:
        test = work.test()
    except DyntestError:
        return  # the page itself says what is wrong
    strip = st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center")
    named = [test.sheet.pile_name, test.sheet.structure, test.sheet.project]
    strip.html(f'<div class="dyntest-strip">{html.escape(" · ".join(name for name in named if name))}</div>')
    key = state.shown("units", test.system)
    with strip:
        st.segmented_control(
            "Units",
            list(state.SYSTEMS),
            key=key,
            help="; ".join(f"{system}: {words}" for system, words in state.SYSTEMS.items()),
            label_visibility="collapsed",
            width="content",
            on_change=state.asked(key, lambda value: st.session_state.update(system=value or test.system)),
        )


def foot(pages: dict, page) -> None:
    """Lead on to the next question, and say under every page who decides."""
    names = list(pages)
    place = list(pages.values()).index(page) + 1
    if place < len(names):
        following = names[place]
        st.page_link(pages[following], label=f"Next: {PAGES[following].question}", icon=":material/arrow_forward:")
    st.html(f'<div class="dyntest-foot">{html.escape(GOVERNING_SPECIFICATION)}</div>')
