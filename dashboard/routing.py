"""Leads from the address to a page, with the strip above it and the next question below it."""

from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import streamlit as st

from . import pieces
from .pages import PAGES
from .strip import foot, head

ICON = Path(__file__).parent / "pictures" / "icon.svg"
"""A file of our own: signs in letters are fetched from afar."""


def route() -> None:
    """Draw the page that the address asks for."""
    st.set_page_config(page_title="dyntest", page_icon=str(ICON), layout="wide")
    first = next(iter(PAGES))
    pages = {
        name: st.Page(drawing(name), title=page.title, icon=page.icon, url_path=name, default=name == first)
        for name, page in PAGES.items()
    }
    page = st.navigation(list(pages.values()), position="hidden")
    wanted = st.session_state.pop("go_to", None)
    if wanted in pages:
        st.switch_page(pages[wanted])
    with st.container(horizontal=True, key="pages"):  # Streamlit's own bar hides pages in a narrow window
        for one in pages.values():
            st.page_link(one, label=one.title, width="content")
    page.run()
    foot(pages, page)


def drawing(name: str) -> Callable[[], None]:
    """Give what draws a page with the strip above it; its module is loaded when it is first asked for."""

    def draw() -> None:
        head(name)
        pieces.guarded(import_module(f".views.{name}", __package__).draw)

    return draw
