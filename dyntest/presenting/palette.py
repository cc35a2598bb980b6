"""The colours and line styles of every figure, on paper and on the page.

Each pair that appears together differs for people who confuse red and green as well, and in a grey print; force and
Z·velocity differ in line style besides. The set is our own; `tests/presenting/test_palette.py` measures it.
"""

INK = "#1f3147"
"""Text, axes, and the force."""

PAPER = "#ffffff"

QUIET = "#8b97a5"
"""Grid, notes and what is only there for comparison."""

ACCENT = "#0a7f78"
"""The one accent: what the reader is meant to see first, such as the representative blow."""

WARNING = "#a8321e"
"""A limit, and what went past it."""

TRACES = {
    "force": (INK, "solid"),
    "impedance × velocity": ("#d2691e", "dashed"),
    "downward wave": (INK, "solid"),
    "upward wave": ("#d2691e", "dashed"),
    "upward wave, computed": (ACCENT, "dotted"),
}
"""Colour and line style of each trace by its name."""

DRIVES = {"initial": "#2d5f9a", "restrike": "#e09a2f"}
"""Colour of each kind of drive, the same on every figure."""

MARKERS = ("o", "s", "^", "D", "v", "P")
"""Markers that tell drives of one kind apart."""
