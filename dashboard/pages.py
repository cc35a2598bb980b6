"""The pages: the question that each answers, in the order of an engineer's work, and their appearance."""

from pathlib import Path
from typing import NamedTuple

import streamlit as st

from dyntest.presenting import palette


class Asked(NamedTuple):
    """A page's short name, icon and question."""

    title: str
    icon: str
    question: str


PAGES = {
    "pile": Asked("Pile", ":material/straighten:", "Which pile is this, and how was it tested?"),
    "new_test": Asked("New test", ":material/add:", "What was tested, and with which files?"),
    "trust": Asked("Record", ":material/rule:", "Can I trust this record?"),
    "hammer": Asked("Hammer", ":material/hardware:", "What did the hammer deliver, and did it damage the pile?"),
    "resistance": Asked(
        "Resistance", ":material/vertical_align_bottom:", "What resistance does the pile have, and how certain is it?"
    ),
    "setup": Asked("Setup", ":material/hourglass_top:", "Did the pile gain or lose resistance?"),
    "criterion": Asked("Criterion", ":material/checklist:", "What do I tell the inspectors?"),
    "bearing_piles": Asked(
        "Bearing piles", ":material/grid_on:", "Do the bearing piles meet the criterion, and is any of them unusual?"
    ),
    "structure": Asked(
        "Structure", ":material/map:", "What is the result for the whole structure, and what is still to do?"
    ),
    "compare": Asked("Two piles", ":material/compare_arrows:", "How do two test piles compare?"),
    "live": Asked("Live", ":material/sensors:", "What is the status of the drive?"),
    "report": Asked("Report", ":material/description:", "What is in the report?"),
}
"""By the file name in ``views/``; the first page opens first."""

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
