"""The colours and line styles of every figure, on paper and on the page.

Each pair that appears together differs for people who confuse red and green as well, and in a grey print; force and
Z·velocity differ in line style besides. The set is our own; `tests/presenting/test_palette.py` measures it.
"""

from typing import Any

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
"""Markers that distinguish drives of one kind."""

STYLE: dict[Any, Any] = {
    "svg.hashsalt": "dyntest",  # the same names inside the file each time
    "svg.fonttype": "none",  # text stays text: found in the report, and quicker to draw
    "font.family": ["DejaVu Sans"],
    "font.size": 8.5,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "legend.frameon": False,
    "legend.fontsize": 7.5,
    "lines.linewidth": 1.4,
}
"""What matplotlib is told of every figure on paper."""

TRACE_LOOKS: dict[str, dict[str, Any]] = {
    "upward wave": {"linewidth": 3.2, "alpha": 0.45, "linestyle": "solid"},
    "upward wave, computed": {"linewidth": 1.0, "linestyle": "solid", "color": INK},
}
"""How lines of the figure of a blow differ from the palette: the computed wave is seen on the measured one."""

SOILS = {"sand": ("#f1e3c1", "···"), "silt": ("#dcd6c8", "---"), "clay": ("#c7c0b4", "///"), "rock": ("#a9a9a9", "xxx")}
"""Ground and hatching of each soil in a profile."""

GROUNDS = {"light": PAPER, "dark": "#10181f"}
"""What figures are drawn on: paper and a light page, or a dark page."""

_ON_DARK = {
    INK: "#e9eef4",
    QUIET: "#8593a1",
    ACCENT: "#3cc6ba",
    WARNING: "#f4614a",
    "#d2691e": "#f2a05a",
    DRIVES["initial"]: "#6ba3e6",
    DRIVES["restrike"]: "#ffdb85",
}
"""What a colour becomes on a dark ground."""


def on(ground: str, colour: str) -> str:
    """Give a colour of the palette as it is drawn on a ground.

    Examples
    --------
    >>> on("light", INK), on("dark", INK)
    ('#1f3147', '#e9eef4')
    """
    return colour if ground == "light" else _ON_DARK[colour]
