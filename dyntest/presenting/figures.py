"""Figures on paper: a tidy frame drawn by matplotlib, the same bytes for the same frame.

Figures of matching, waiting and criterion on paper, drawn from the frames that the pages draw.
"""

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
from dyntest.presenting.frames_decisions import ASKED, GATES, GRAPH, RULED_OUT
from dyntest.presenting.frames_match import GAUGE_LEVEL, TOE

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

    Units: marks, last [ms].
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
    """Draw numbers of every blow side by side, against the blow number across or the penetration downward."""
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

    Units: left, bottom [in].
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


HALF = 0.49 * WIDTH
"""Width of a figure that shares its row with another [in]."""

DASHES = ("solid", "dashed", "dotted", "dashdot")
"""Line styles that tell drives of one kind apart, after which they come again."""


def _looks(names: list[str], kinds: dict[str, str]) -> dict[str, dict]:
    """Colour by kind of drive, line style by its number within the kind."""
    seen: dict[str, int] = {}
    looks = {}
    for name in names:
        number = seen.setdefault(kinds[name], 0)
        seen[kinds[name]] += 1
        looks[name] = {"color": palette.DRIVES[kinds[name]], "linestyle": DASHES[number % len(DASHES)]}
    return looks


def overlay_figure(
    frames: dict[str, pd.DataFrame], heading: str, kinds: dict[str, str], toe_return: float, last: float
) -> bytes:
    """Draw the waves of several drives over each other, aligned at impact.

    Units: toe_return, last [ms].
    """
    looks = _looks(list(kinds), kinds)
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH, 4.2))
        panels = figure.subplots(len(frames), 1, sharex=True, squeeze=False).ravel()
        for axes, (wave, frame) in zip(panels, frames.items(), strict=True):
            near = frame[frame[TIME].between(-1.0, last)]
            force = frame.columns[1]
            axes.axhline(0.0, color=palette.QUIET, linewidth=0.6)
            for drive, line in near.groupby("trace", sort=False):
                axes.plot(line[TIME], line[force], label=drive.replace("_", " "), **looks[drive])
            axes.axvline(toe_return, color=palette.ACCENT, linewidth=0.8)
            axes.set(ylabel=f"{wave}\n{force}", xlim=(-1.0, last))
        place = {"xycoords": ("data", "axes fraction"), "xytext": (3, -8), "textcoords": "offset points"}
        panels[0].annotate("t₁ + 2L/c", (toe_return, 1.0), color=palette.ACCENT, **place)
        panels[0].legend(loc="upper right", handlelength=3.0)
        panels[-1].set_xlabel(TIME)
        return finished(figure, heading, left=0.85)


def load_movement_figure(frame: pd.DataFrame, heading: str, kinds: dict[str, str]) -> bytes:
    """Draw computed load–movement curves, load across and movement downward."""
    load, movement = frame.columns[:2]
    looks = _looks(list(frame["drive"].unique()), kinds)
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(HALF, 3.3))
        axes = figure.subplots()
        for (drive, place), line in frame.groupby(["drive", "place"], sort=False):
            at_head = place == GAUGE_LEVEL
            label = f"{drive.replace('_', ' ')}" if at_head else "_nolegend_"
            axes.plot(line[load], line[movement], label=label, linewidth=1.5 if at_head else 0.7, **looks[drive])
        axes.set(xlabel=f"{load}; thin lines: {TOE}", ylabel=movement)
        axes.set_xlim(left=0.0)
        axes.set_ylim(frame[movement].max(), 0.0)
        axes.legend(loc="lower left", handlelength=3.0)
        return finished(figure, heading, left=0.6)


def shaft_figure(frame: pd.DataFrame, heading: str, kinds: dict[str, str], length: float) -> bytes:
    """Draw the shaft resistance along the pile, depth downward."""
    _, top, bottom, _, value, *_ = frame.columns
    shaft = frame[frame["part"] == "shaft"]
    looks = _looks(list(frame["drive"].unique()), kinds)
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(HALF, 3.3))
        axes = figure.subplots()
        for drive, line in shaft.groupby("drive", sort=False):
            depth = line[[top, bottom]].to_numpy().ravel()  # both ends of each length, so that the line is stepped
            axes.plot(line[value].repeat(2), depth, label=drive.replace("_", " "), **looks[drive])
        axes.axhline(length, color=palette.QUIET, linewidth=0.8)
        axes.annotate("toe", (1.0, length), xycoords=("axes fraction", "data"), xytext=(0, 3),
                      textcoords="offset points", ha="right", color=palette.QUIET)  # fmt: skip
        axes.set(xlabel=value, ylabel=top.removeprefix("top, "))
        axes.set_xlim(left=0.0)
        axes.set_ylim(1.03 * length, 0.0)
        axes.legend(loc="upper right", handlelength=3.0)
        return finished(figure, heading, left=0.6)


def setup_figure(measured: pd.DataFrame, fitted: pd.DataFrame, heading: str, required: float | None) -> bytes:
    """Draw resistance against the logarithm of the time waited; the law no further than it was measured."""
    wait, value = measured.columns[:2]
    known = fitted[fitted["measured"]]
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH, 2.9))
        axes = figure.subplots()
        top = 1.25 * max(measured["high"].max(), required or 0.0)
        axes.fill_between(known[wait], known["low"], known["high"], color=palette.QUIET, alpha=0.2, linewidth=0)
        axes.plot(known[wait], known[value], color=palette.QUIET, label="fitted law and its range")
        bars = [measured[value] - measured["low"], measured["high"] - measured[value]]
        axes.errorbar(measured[wait], measured[value], bars, fmt="o", color=palette.ACCENT, capsize=3,
                      label="measured, with range")  # fmt: skip
        if required is not None:
            axes.axhline(required, color=palette.WARNING, linestyle="dashdot", linewidth=1.0, label="required")
        axes.set(xlabel=f"{wait}, logarithmic", ylabel=value, xscale="log", ylim=(0.0, top))
        axes.xaxis.set_major_formatter("{x:g}")
        axes.xaxis.set_minor_formatter("{x:g}")
        axes.legend(loc="lower right")
        return finished(figure, heading, left=0.75)


CRITERION_LOOKS = {
    GRAPH: {"color": palette.INK, "linewidth": 1.0},
    GATES: {"color": palette.QUIET, "linewidth": 1.0, "linestyle": "dotted"},
    ASKED: {"color": palette.ACCENT, "linestyle": "none", "marker": "o"},
    RULED_OUT: {"color": palette.WARNING, "linestyle": "none", "marker": "x"},
}
"""How each part of the criterion chart looks, in the order of drawing."""


def criterion_figure(lines: pd.DataFrame, measured: pd.DataFrame, heading: str, refusal: float) -> bytes:
    """Draw the blows asked for at each stroke, with the measured blows beside them."""
    stroke, count = lines.columns[:2]
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH, 3.4))
        axes = figure.subplots()
        for line, look in CRITERION_LOOKS.items():
            points = lines[lines["line"] == line]
            if len(points):
                axes.plot(points[stroke], points[count], label=line, **look)
        if len(measured):
            look = {"color": palette.DRIVES["initial"], "label": "last measured blows"}
            axes.plot(measured[stroke], measured[count], ".", **look)
        axes.axhline(refusal, color=palette.WARNING, linestyle="dashdot", linewidth=1.0)
        axes.annotate("practical refusal", (1.0, refusal), xycoords=("axes fraction", "data"), xytext=(0, 3),
                      textcoords="offset points", ha="right", color=palette.WARNING)  # fmt: skip
        axes.set(xlabel=stroke, ylabel=count)
        axes.set_ylim(0.0, 1.15 * max(refusal, lines[count].max()))
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=3, columnspacing=1.2)
        return finished(figure, heading, left=0.6, bottom=0.95)
