"""Appearance of the pages: light or dark background, and a few styles beyond streamlit's own."""

from pathlib import Path

import streamlit as st

from dyntest.presenting import palette

FOLDER = Path(__file__).parent / "components"

CARE = {"light": "#a35200", "dark": "#f2a05a"}
"""Colour of what is to be used with care, by background."""


def ground() -> str:
    """Give the background, ``"light"`` or ``"dark"``."""
    theme = getattr(st.context, "theme", None)
    return "dark" if theme is not None and theme.type == "dark" else "light"


def colour(of_palette: str) -> str:
    """Give a colour of the palette for this background."""
    return palette.on(ground(), of_palette)


def quiet_text() -> str:
    """Give the colour of secondary text that can still be read in sunlight."""
    return {"light": "#55626f", "dark": "#a9b5c0"}[ground()]


def style() -> None:
    """Add the styles to the page."""
    colours = {"accent": colour(palette.ACCENT), "warning": colour(palette.WARNING), "quiet": quiet_text()}
    more = {
        "care": {"light": "#a35200", "dark": "#f2a05a"}[ground()],
        "line": colour(palette.QUIET) + "66",
        "ink": colour(palette.INK),
        "ground": palette.GROUNDS[ground()],
    }
    st.html(f"<style>\n{(FOLDER / 'page.css').read_text(encoding='utf-8') % (colours | more)}</style>")
