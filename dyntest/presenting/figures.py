"""Figures on paper: a tidy frame drawn by matplotlib, the same bytes for the same frame."""

import io
import textwrap
import warnings
from collections.abc import Sequence

import matplotlib
import pandas as pd
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from dyntest.presenting import palette
from dyntest.presenting.frames import TIME, title

WIDTH = 6.7
"""Width of a figure [in], the text width of a page of A4 or US Letter with margins of about 0.8 in."""

CHARACTERS_PER_INCH = 13
"""Letters of a heading that fit into an inch of a figure's width [1/in], found by drawing."""

STYLE = {
    "svg.hashsalt": "dyntest",  # the same names inside the file each time
    "font.size": 8.5,
    "axes.edgecolor": palette.QUIET,
    "axes.labelcolor": palette.INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": palette.INK,
    "xtick.color": palette.INK,
    "ytick.color": palette.INK,
    "legend.frameon": False,
    "lines.linewidth": 1.4,
}


def traces_figure(panels: Sequence[pd.DataFrame], heading: str, marks: dict[str, float], last: float) -> bytes:
    """Draw traces of one blow against time, a panel a frame.

    Parameters
    ----------
    panels : sequence of pandas.DataFrame
        From `frames.traces` and `frames.wave_traces`.
    heading : str
        What the picture shows, over it.
    marks : dict of str to float
        Times after the impact begins that matter, such as the first peak, by what they are [ms].
    last : float
        Where the time axis ends [ms].

    Returns
    -------
    bytes
        The figure as SVG.
    """
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH, 0.6 + 2.1 * len(panels)))
        all_axes = figure.subplots(len(panels), 1, sharex=True, squeeze=False).ravel()
        for axes, frame in zip(all_axes, panels, strict=True):
            value = frame.columns[1]
            axes.axhline(0.0, color=palette.QUIET, linewidth=0.6)
            for name, line in frame[frame[TIME].between(-1.0, last)].groupby("trace", sort=False):
                colour, dash = palette.TRACES[name]
                axes.plot(line[TIME], line[value], color=colour, linestyle=dash, label=name)
            for moment in marks.values():
                axes.axvline(moment, color=palette.ACCENT, linewidth=0.8)
            axes.set(ylabel=value, xlim=(-1.0, last))
            axes.legend(loc="upper right")
        for name, moment in marks.items():
            place = {"xycoords": ("data", "axes fraction"), "xytext": (3, -8), "textcoords": "offset points"}
            all_axes[0].annotate(name, (moment, 1.0), color=palette.ACCENT, **place)
        all_axes[-1].set_xlabel(TIME)
        return finished(figure, heading, left=0.75)


def profiles_figure(
    frame: pd.DataFrame,
    heading: str,
    kinds: dict[str, str],
    lines: dict[str, tuple[str, float]],
    matched: dict[str, pd.DataFrame] | None = None,
) -> bytes:
    """Draw numbers of every blow side by side, against the blow number across or the penetration downward.

    Parameters
    ----------
    frame : pandas.DataFrame
        From `frames_drive.profile`.
    heading : str
        What the picture shows, over it.
    kinds : dict of str to str
        Kind of each drive, ``"initial"`` or ``"restrike"``, by its name.
    lines : dict of str to (str, float)
        A line to draw and what it is, ``"limit"`` or ``"required"``, by the title of its quantity [display unit of
        the quantity].
    matched : dict of str to pandas.DataFrame or None
        Results of signal matching to draw over a quantity, by its title; columns as `frame` [display unit of the
        quantity].

    Returns
    -------
    bytes
        The figure as SVG.
    """
    along = frame.columns[1]
    quantities = list(frame["quantity"].unique())
    downward = along.startswith(title("penetration", "SI").split(" [")[0])
    shape = (1, len(quantities)) if downward else (len(quantities), 1)
    size = (WIDTH, 4.8) if downward else (WIDTH, 1.25 * len(quantities) + 0.6)
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=size)
        panels = figure.subplots(*shape, sharex=not downward, sharey=downward, squeeze=False).ravel()
        for panel, quantity in zip(panels, quantities, strict=True):
            _profile_panel(panel, frame[frame["quantity"] == quantity], kinds, downward)
            if matched and quantity in matched:
                _matched(panel, matched[quantity], downward)
            if quantity in lines:
                _line(panel, *lines[quantity], downward)
            wrapped = textwrap.fill(quantity, 20 if downward else 26)
            if downward:
                panel.set_xlabel(wrapped)
            else:
                panel.set_ylabel(wrapped, rotation="horizontal", ha="right", va="center")
        if downward:
            panels[0].invert_yaxis()
            panels[0].set_ylabel(along)
        elif len(panels):
            panels[-1].set_xlabel(along)
        if len(kinds) > 1:
            panels[0].legend(loc="best")
        return finished(figure, heading, left=0.6 if downward else 2.3, bottom=0.85 if downward else 0.45)


def _profile_panel(panel, frame: pd.DataFrame, kinds: dict[str, str], downward: bool) -> None:
    along = frame.columns[1]
    for number, (drive, points) in enumerate(frame.groupby("drive", sort=False)):
        across, up = (points["value"], points[along]) if downward else (points[along], points["value"])
        kind = kinds[drive]
        marker = palette.MARKERS[number % len(palette.MARKERS)]
        style = "" if len(points) > 1 else marker
        panel.plot(
            across,
            up,
            color=palette.DRIVES[kind],
            marker=marker,
            markersize=2.2 if style == "" else 4.5,
            markevery=max(1, len(points) // 12),
            linewidth=1.0,
            label=drive.replace("_", " "),
        )


def _matched(panel, frame: pd.DataFrame, downward: bool) -> None:
    along = frame.columns[1]
    across, up = (frame["value"], frame[along]) if downward else (frame[along], frame["value"])
    panel.plot(across, up, color=palette.ACCENT, marker="D", markersize=5.0, linestyle="none", zorder=3)


def _line(panel, label: str, value: float, downward: bool) -> None:
    colour = palette.WARNING if label == "limit" else palette.ACCENT
    draw = panel.axvline if downward else panel.axhline
    draw(value, color=colour, linestyle="dashdot", linewidth=1.0)
    if downward:
        place, across, offset = (value, 0.01), ("data", "axes fraction"), (-2, 2)
    else:
        place, across, offset = (0.99, value), ("axes fraction", "data"), (0, 2)
    panel.annotate(label, place, xycoords=across, xytext=offset, textcoords="offset points", color=colour, ha="right")


def finished(figure: Figure, heading: str, left: float, bottom: float = 0.45) -> bytes:
    """Set heading and margins, which is far quicker than having them found, and give the SVG.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The drawn figure.
    heading : str
        Text over it, cut where it would be too long; never read as a formula. None is drawn where it is empty.
    left, bottom : float
        Margins [in].

    Returns
    -------
    bytes
        The figure as SVG, the same bytes for the same figure.
    """
    width, height = figure.get_size_inches()
    figure.subplots_adjust(left / width, bottom / height, 1.0 - 0.1 / width, 1.0 - 0.4 / height, 0.12, 0.14)
    most = int(CHARACTERS_PER_INCH * width)
    shown = "".join(letter if letter.isprintable() else " " for letter in heading)
    cut = shown if len(shown) <= most else f"{shown[: most - 1]}…"
    figure.text(0.1 / width, 1.0 - 0.12 / height, cut, va="top", fontsize=9.5, parse_math=False)
    buffer = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # a letter the font lacks is drawn as a box
        FigureCanvasSVG(figure).print_svg(buffer, metadata={"Date": None, "Creator": "dyntest"})
    return buffer.getvalue()
