"""Figures of matching, waiting and criterion on paper, drawn from the frames that the pages draw."""

import matplotlib
import pandas as pd
from matplotlib.figure import Figure

from dyntest.presenting import palette
from dyntest.presenting.figures import STYLE, WIDTH, finished
from dyntest.presenting.frames import TIME
from dyntest.presenting.frames_criterion import ASKED, GATES, GRAPH, RULED_OUT
from dyntest.presenting.frames_match import GAUGE_LEVEL, TOE

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

    Parameters
    ----------
    frames : dict of str to pandas.DataFrame
        From `frames_blow.overlay`, drives by name, by the name of the wave; a panel each.
    heading : str
        What the picture shows, over it.
    kinds : dict of str to str
        Kind of each drive by its name.
    toe_return : float
        When the answer of the toe begins to arrive [ms].
    last : float
        Where the time axis ends [ms].

    Returns
    -------
    bytes
        The figure as SVG.
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
    """Draw computed load–movement curves, load across and movement downward.

    Parameters
    ----------
    frame : pandas.DataFrame
        From `frames_match.load_movements` of several drives.
    heading : str
        What the picture shows, over it.
    kinds : dict of str to str
        Kind of each drive by its name.

    Returns
    -------
    bytes
        The figure as SVG.
    """
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
    """Draw the shaft resistance along the pile, depth downward.

    Parameters
    ----------
    frame : pandas.DataFrame
        From `frames_match.shaft_lengths` of several drives.
    heading : str
        What the picture shows, over it.
    kinds : dict of str to str
        Kind of each drive by its name.
    length : float
        Depth of the toe below the gauges [display unit of the depth].

    Returns
    -------
    bytes
        The figure as SVG.
    """
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
    """Draw resistance against the logarithm of the time waited; the law no further than it was measured.

    Parameters
    ----------
    measured, fitted : pandas.DataFrame
        From `frames_waiting.measured_over_time` and `frames_waiting.law_over_time`.
    heading : str
        What the picture shows, over it.
    required : float or None
        Required nominal resistance [display unit of the resistances].

    Returns
    -------
    bytes
        The figure as SVG.
    """
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
    """Draw the blows asked for at each stroke, with the measured blows beside them.

    Parameters
    ----------
    lines, measured : pandas.DataFrame
        From `frames_criterion.criterion_lines` and `frames_criterion.measured_counts`.
    heading : str
        What the picture shows, over it.
    refusal : float
        Count at practical refusal [blows per the unit of the frames' counts].

    Returns
    -------
    bytes
        The figure as SVG.
    """
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
