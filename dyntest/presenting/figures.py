"""Figures on paper: which ones a review has, each drawn by matplotlib from a tidy frame.

The same frame gives the same bytes. Names are those of each drive, of all drives together, and of the decisions.
"""

import io
import textwrap
import warnings
from collections.abc import Collection, Iterator, Sequence
from typing import Any

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from dyntest.decisions.stress_limits import driving_stress_limits
from dyntest.names import display_unit
from dyntest.presenting import palette
from dyntest.presenting.frames import TIME, milliseconds, shown, soil_layers, title, traces, wave_traces
from dyntest.presenting.frames_decisions import (
    ASKED,
    GATES,
    GRAPH,
    RULED_OUT,
    criterion_lines,
    law_over_time,
    law_requirement,
    measured_counts,
    measured_over_time,
    refusal_count,
)
from dyntest.presenting.frames_match import (
    GAUGE_LEVEL,
    TOE,
    failure_loads,
    load_movements,
    of_drives,
    shaft_lengths,
    stresses_along,
)
from dyntest.presenting.frames_record import SHOWN_RETURNS, counts_by_depth, marks, overlay, profile
from dyntest.presenting.sentences import drive_words
from dyntest.presenting.terms import drive_name
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review
from dyntest.signals import Waves
from dyntest.wave_equation.match_results import matched_waves

WIDTH = 6.7
"""Width of a figure [in], the text width of a page of A4 or US Letter with margins of about 0.8 in."""


HALF = 0.49 * WIDTH
"""Width of a figure that shares its row with another [in]."""

CHARACTERS_PER_INCH = 13
"""Letters of a heading that fit into an inch of a figure's width [1/in], found by drawing."""

MOST_TICKS, TICKS_OF_NARROW, NEAR_END = 4, 2, 0.12
"""Intervals between the ticks of an axis at most [1], and across a narrow panel; each tick costs as much as a line.
Share of a narrow panel beside its ends where labels are moved inward [1]."""

DASHES = ("solid", "dashed", "dotted", "dashdot")
"""Line styles that distinguish drives without colour, repeated after the last."""


def by_name(frame: pd.DataFrame, column: str) -> Iterator[tuple[str, pd.DataFrame]]:
    """Give the rows of each name of a column, in their order."""
    for name, rows in frame.groupby(column, sort=False):
        yield str(name), rows


def _looks(kinds: dict[str, str]) -> dict[str, dict[str, Any]]:
    """Colour by kind of drive, line style by its number."""
    styles = (DASHES[number % len(DASHES)] for number in range(len(kinds)))
    return {
        name: {"color": palette.DRIVES[kind], "linestyle": style}
        for (name, kind), style in zip(kinds.items(), styles, strict=True)
    }


def _few_ticks(*axes: Axes, narrow: bool = False) -> None:
    """Set few ticks; across a narrow panel fewer, with labels that do not reach into the panels beside it."""
    for one in axes:
        one.xaxis.set_major_locator(MaxNLocator(TICKS_OF_NARROW if narrow else MOST_TICKS))
        one.yaxis.set_major_locator(MaxNLocator(MOST_TICKS))
        for label, at in zip(one.get_xticklabels(), one.get_xticks(), strict=True) if narrow else ():
            share = (at - one.get_xlim()[0]) / np.ptp(one.get_xlim())
            label.set_horizontalalignment("left" if share < NEAR_END else "right" if share > 1 - NEAR_END else "center")


def traces_figure(
    panels: Sequence[pd.DataFrame],
    heading: str,
    marks: dict[str, float],
    last: float,
    residual: pd.DataFrame | None = None,
) -> bytes:
    """Draw traces of one blow against time: force and velocity, the waves beside them, and what the match leaves.

    Units: marks, last [ms].
    """
    with matplotlib.rc_context(palette.STYLE):
        figure = Figure(figsize=(WIDTH, 2.45))
        rows = 1 if residual is None else 4
        grid = figure.add_gridspec(rows, len(panels), hspace=0.25, wspace=0.34)
        upper = [figure.add_subplot(grid[: max(1, rows - 1) if place else rows, place]) for place in range(len(panels))]
        for place, (axes, frame) in enumerate(zip(upper, panels, strict=True)):
            value = frame.columns[1]
            axes.axhline(0.0, color=palette.QUIET, linewidth=0.6)
            for name, line in by_name(frame[frame[TIME].between(-1.0, last)], "trace"):
                colour, dash = palette.TRACES[name]
                look = {"color": colour, "linestyle": dash, **(palette.TRACE_LOOKS.get(name, {}) if place else {})}
                axes.plot(line[TIME], line[value], label=name, **look)
            axes.set(ylabel=value, xlim=(-1.0, last))
            axes.legend(loc="upper right", borderaxespad=0.0)
        lowest = list(upper)
        if residual is not None:
            below = figure.add_subplot(grid[-1, -1], sharex=upper[-1])
            upper[-1].xaxis.set_visible(False)
            near = residual[residual[TIME].between(-1.0, last)]
            below.axhline(0.0, color=palette.QUIET, linewidth=0.6)
            below.plot(near[TIME], near[residual.columns[1]], color=palette.INK, linewidth=0.8)
            below.set_ylabel(f"residual\n[{panels[-1].columns[1].partition('[')[2]}", fontsize=7)
            largest = max(float(near[residual.columns[1]].abs().max()), 1e-9)
            below.set_ylim(-1.2 * largest, 1.2 * largest)
            lowest[-1] = below
        for axes in lowest:
            axes.set_xlabel(TIME)
        for axes in dict.fromkeys([*upper, *lowest]):
            for moment in marks.values():
                axes.axvline(moment, color=palette.ACCENT, linewidth=0.8)
        place_of: dict[str, Any] = {
            "xycoords": ("data", "axes fraction"),
            "xytext": (2, 1),
            "textcoords": "offset points",
        }
        for name, moment in marks.items():
            upper[0].annotate(name, (moment, 1.0), color=palette.ACCENT, fontsize=7.5, **place_of)
        _few_ticks(*upper)
        return finished(figure, heading, left=0.68, spread=False)


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
    size = (WIDTH, 4.3 if downward else 1.9)
    with matplotlib.rc_context(palette.STYLE):
        figure = Figure(figsize=size)
        panels = figure.subplots(1, len(quantities), sharex=not downward, sharey=downward, squeeze=False).ravel()
        for panel, quantity in zip(panels, quantities, strict=True):
            _profile_panel(panel, frame[frame["quantity"] == quantity], kinds, downward)
            if matched and quantity in matched:
                _matched(panel, matched[quantity], downward)
            if quantity in lines:
                _line(panel, *lines[quantity], downward)
            name, _, unit = quantity.partition(" [")
            wrapped = textwrap.fill(name, 17 if len(quantities) > 4 else 21) + (f"\n[{unit}" if unit else "")
            if downward:
                panel.set_xlabel(wrapped, fontsize=7.5)
            else:
                panel.set_title(wrapped, fontsize=7.5, loc="left")
                panel.set_xlabel(along)
            panel.tick_params(labelsize=7)
        _few_ticks(*panels, narrow=downward and len(quantities) > 4)
        if downward:
            for panel in panels[1:]:
                panel.yaxis.set_visible(False)
            panels[0].invert_yaxis()
            panels[0].set_ylabel(along)
        else:
            figure.subplots_adjust(wspace=0.32)
        if len(kinds) > 1:
            handles, labels = panels[0].get_legend_handles_labels()
            figure.legend(handles, labels, loc="upper right", ncols=4, handlelength=3.0, borderaxespad=0.2)
        bottom, top = (0.95, 0.3) if downward else (0.42, 0.68)
        return finished(figure, heading, left=0.55, bottom=bottom, top=top, spread=downward)


def _profile_panel(panel: Axes, frame: pd.DataFrame, kinds: dict[str, str], downward: bool) -> None:
    along = frame.columns[1]
    looks = _looks(kinds)
    for drive, points in by_name(frame, "drive"):
        across, up = (points["value"], points[along]) if downward else (points[along], points["value"])
        number = list(kinds).index(drive)
        marker = palette.MARKERS[number % len(palette.MARKERS)]
        long = len(points) > 60
        panel.plot(
            across,
            up,
            marker="" if long else marker,
            markersize=2.6 if len(points) > 1 else 4.5,
            linewidth=0.7 if long else 1.0,
            label=drive_name(drive),
            **looks[drive],
        )


def _matched(panel: Axes, frame: pd.DataFrame, downward: bool) -> None:
    along = frame.columns[1]
    across, up = (frame["value"], frame[along]) if downward else (frame[along], frame["value"])
    panel.plot(across, up, color=palette.ACCENT, marker="D", markersize=5.0, linestyle="none", zorder=3)


def _line(panel: Axes, label: str, value: float, downward: bool) -> None:
    colour = palette.WARNING if label == "limit" else palette.ACCENT
    draw = panel.axvline if downward else panel.axhline
    draw(value, color=colour, linestyle="dashdot", linewidth=1.0)
    place: dict[str, Any]
    if downward:
        place = {"xy": (value, 0.01), "xycoords": ("data", "axes fraction"), "xytext": (-2, 2)}
    else:
        place = {"xy": (0.99, value), "xycoords": ("axes fraction", "data"), "xytext": (0, 2)}
    rotation = 90 if downward else 0
    panel.annotate(label, textcoords="offset points", color=colour, ha="right", fontsize=7, rotation=rotation, **place)


def finished(
    figure: Figure, heading: str, left: float, bottom: float = 0.45, top: float = 0.4, spread: bool = True
) -> bytes:
    """Set heading and margins, which is far quicker than having them found, and give the SVG.

    Units: left, bottom, top [in].
    """
    width, height = figure.get_size_inches()
    gaps = (0.12, 0.14) if spread else (None, None)
    figure.subplots_adjust(left / width, bottom / height, 1.0 - 0.1 / width, 1.0 - top / height, *gaps)
    most = int(CHARACTERS_PER_INCH * width)
    shown = "".join(letter if letter.isprintable() else " " for letter in heading)
    cut = shown if len(shown) <= most else f"{shown[: most - 1]}…"
    figure.text(0.1 / width, 1.0 - 0.08 / height, cut, va="top", fontsize=9, parse_math=False)
    buffer = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # its text stays text: see legible_figures
        FigureCanvasSVG(figure).print_svg(buffer, metadata={"Date": None, "Creator": "dyntest"})
    return buffer.getvalue()


def overlay_figure(
    frames: dict[str, pd.DataFrame], heading: str, kinds: dict[str, str], toe_return: float, last: float
) -> bytes:
    """Draw the overlay of several drives, aligned at impact, a panel a wave.

    Units: toe_return, last [ms].
    """
    looks = _looks(kinds)
    with matplotlib.rc_context(palette.STYLE):
        figure = Figure(figsize=(WIDTH, 2.5))
        panels = figure.subplots(1, len(frames), squeeze=False).ravel()
        for axes, (wave, frame) in zip(panels, frames.items(), strict=True):
            near = frame[frame[TIME].between(-1.0, last)]
            force = frame.columns[1]
            axes.axhline(0.0, color=palette.QUIET, linewidth=0.6)
            for drive, line in by_name(near, "trace"):
                axes.plot(line[TIME], line[force], label=drive_name(drive), **looks[drive])
            axes.axvline(toe_return, color=palette.ACCENT, linewidth=0.8)
            axes.set(ylabel=f"{wave}, {force}", xlabel=TIME, xlim=(-1.0, last))
        place: dict[str, Any] = {
            "xycoords": ("data", "axes fraction"),
            "xytext": (3, -8),
            "textcoords": "offset points",
        }
        panels[0].annotate("t₁ + 2L/c", (toe_return, 1.0), color=palette.ACCENT, **place)
        panels[0].legend(loc="center right", handlelength=3.0)
        figure.subplots_adjust(wspace=0.22)
        _few_ticks(*panels)
        return finished(figure, heading, left=0.6, top=0.3, spread=False)


def load_movement_figure(
    frame: pd.DataFrame, heading: str, kinds: dict[str, str], failures: pd.DataFrame | None = None
) -> bytes:
    """Draw computed load–movement curves with their ranges and failures, load across and movement downward."""
    load, movement, _, low, high = frame.columns[:5]
    looks = _looks(kinds)
    with matplotlib.rc_context(palette.STYLE):
        figure = Figure(figsize=(0.36 * WIDTH, 3.3))
        axes = figure.subplots()
        for drive, lines in by_name(frame, "drive"):
            for place, line in by_name(lines, "place"):
                at_head = place == GAUGE_LEVEL
                label = drive_name(drive) if at_head else "_nolegend_"
                axes.plot(
                    line[load], line[movement], label=label, **{**looks[drive], "linewidth": 1.5 if at_head else 0.7}
                )
                if at_head:
                    look = {"color": looks[drive]["color"], "alpha": 0.15, "linewidth": 0}
                    axes.fill_betweenx(line[movement], line[low], line[high], **look)
        marks = zip("os", by_name(failures, "criterion"), strict=False) if failures is not None else ()
        for mark, (criterion, at) in marks:
            axes.plot(at[load], at[movement], mark, color=palette.INK, markersize=4, fillstyle="none", label=criterion)
        axes.set(xlabel=f"{load}\nthin lines: {TOE}", ylabel=movement)
        axes.set_xlim(0.0, 1.12 * axes.get_xlim()[1])  # the last number stays within the figure
        axes.set_ylim(frame[movement].max(), 0.0)
        figure.legend(loc="lower left", ncols=2, handlelength=1.4, handletextpad=0.5, columnspacing=0.8)
        _few_ticks(axes)
        return finished(figure, heading, left=0.62, bottom=1.1)


def shaft_figure(
    frame: pd.DataFrame,
    heading: str,
    kinds: dict[str, str],
    length: float,
    soil: pd.DataFrame | None = None,
    stresses: pd.DataFrame | None = None,
) -> bytes:
    """Draw the soil, the shaft resistance and the matched stresses along the pile, depth downward.

    Units: length [m or ft, as the frame].
    """
    _, top, bottom, _, value, *_ = frame.columns
    shaft = frame[frame["part"] == "shaft"]
    looks = _looks(kinds)
    shares = [*([0.45] if soil is not None else []), 1.6, *([1.3] if stresses is not None else [])]
    with matplotlib.rc_context(palette.STYLE):
        figure = Figure(figsize=(HALF if len(shares) == 1 else 0.62 * WIDTH, 3.3))
        panels = figure.subplots(1, len(shares), sharey=True, width_ratios=shares, squeeze=False).ravel()
        axes = panels[1 if soil is not None else 0]
        if soil is not None:
            _soil_panel(panels[0], soil, length)
        for drive, line in by_name(shaft, "drive"):
            depth = line[[top, bottom]].to_numpy().ravel()  # both ends of each length, so that the line is stepped
            axes.plot(line[value].repeat(2), depth, label=drive_name(drive), **looks[drive])
        axes.axhline(length, color=palette.QUIET, linewidth=0.8)
        axes.annotate("toe", (0.0, length), xycoords=("axes fraction", "data"), xytext=(3, 3),
                      textcoords="offset points", ha="left", color=palette.QUIET)  # fmt: skip
        axes.set(xlabel=textwrap.fill(value, 22))
        axes.set_xlim(left=0.0)
        figure.legend(*axes.get_legend_handles_labels(), loc="lower left", ncols=4, handlelength=2.6)
        if stresses is not None:
            _stress_panel(panels[-1], stresses, looks)
        _few_ticks(*panels[1 if soil is not None else 0 :])
        panels[0].set_ylabel(str(top).removeprefix("top, "))
        panels[0].set_ylim(1.03 * length, 0.0)
        return finished(figure, heading, left=0.55, bottom=0.82)


def _soil_panel(panel: Axes, soil: pd.DataFrame, length: float) -> None:
    """Draw the layers as a column with their names."""
    for layer in soil.to_dict("records"):
        top, bottom = max(layer["top"], 0.0), min(layer["bottom"], 1.03 * length)
        if bottom <= top:
            continue
        ground, _ = palette.SOILS.get(layer["soil"], ("#eeeeee", ""))
        panel.axhspan(top, bottom, color=ground, linewidth=0.4)
        panel.text(0.5, 0.5 * (top + bottom), layer["soil"], ha="center", va="center", rotation=90, fontsize=7)
    panel.set(xticks=[], xlim=(0.0, 1.0), xlabel="soil")


def _stress_panel(panel: Axes, stresses: pd.DataFrame, looks: dict[str, dict[str, Any]]) -> None:
    """Draw compression to the right and tension to the left of zero."""
    depth, compression, tension = stresses.columns[:3]
    panel.axvline(0.0, color=palette.QUIET, linewidth=0.6)
    for drive, line in by_name(stresses, "drive"):
        panel.plot(line[compression], line[depth], **{**looks[drive], "linewidth": 1.1})
        panel.plot(-line[tension], line[depth], **{**looks[drive], "linewidth": 0.7})
    unit = str(compression).partition("[")[2]
    panel.set(xlabel=f"matched stress [{unit}\ntension | compression")


def setup_figure(measured: pd.DataFrame, fitted: pd.DataFrame, heading: str, required: float | None) -> bytes:
    """Draw resistance against the logarithm of the time waited; the law no further than it was measured."""
    wait, value = measured.columns[:2]
    known = fitted[fitted["measured"]]
    with matplotlib.rc_context(palette.STYLE):
        figure = Figure(figsize=(WIDTH, 2.4))
        axes = figure.subplots()
        top = 1.15 * max(float(measured["high"].max()), required or 0.0)
        axes.plot(known[wait], known[value], color=palette.QUIET, label="time law")
        bars = [measured[value] - measured["low"], measured["high"] - measured[value]]
        axes.errorbar(measured[wait], measured[value], bars, fmt="o", color=palette.ACCENT, capsize=3,
                      label="measured, with range")  # fmt: skip
        if required is not None:
            axes.axhline(required, color=palette.WARNING, linestyle="dashdot", linewidth=1.0, label="required")
        axes.set(xlabel=f"{wait}, logarithmic", ylabel=value, xscale="log", ylim=(0.0, top))
        axes.xaxis.set_major_formatter("{x:g}")
        axes.xaxis.set_minor_formatter("{x:g}")
        axes.legend(loc="lower right")
        return finished(figure, heading, left=0.6)


CRITERION_LOOKS: dict[str, dict[str, Any]] = {
    GRAPH: {"color": palette.INK, "linewidth": 1.0},
    GATES: {"color": palette.QUIET, "linewidth": 1.0, "linestyle": "dotted"},
    ASKED: {"color": palette.ACCENT, "linestyle": "none", "marker": "o"},
    RULED_OUT: {"color": palette.WARNING, "linestyle": "none", "marker": "x"},
}
"""How each part of the criterion chart looks, in the order of drawing."""


def criterion_figure(lines: pd.DataFrame, measured: pd.DataFrame, heading: str, refusal: float) -> bytes:
    """Draw the blow count required at each stroke, with the measured blows beside them."""
    stroke, count = lines.columns[:2]
    with matplotlib.rc_context(palette.STYLE):
        figure = Figure(figsize=(WIDTH, 2.9))
        axes = figure.subplots()
        for line, look in CRITERION_LOOKS.items():
            points = lines[lines["line"] == line]
            if len(points):
                axes.plot(points[stroke], points[count], label=line, **look)
        if len(measured):
            initial = palette.DRIVES["initial"]
            axes.plot(measured[stroke], measured[count], ".", color=initial, label="last measured blows")
        axes.axhline(refusal, color=palette.WARNING, linestyle="dashdot", linewidth=1.0)
        axes.annotate("practical refusal", (1.0, refusal), xycoords=("axes fraction", "data"), xytext=(0, 3),
                      textcoords="offset points", ha="right", color=palette.WARNING)  # fmt: skip
        axes.set(xlabel=stroke, ylabel=count)
        axes.set_ylim(0.0, 1.15 * max(refusal, lines[count].max()))
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=3, columnspacing=1.2)
        return finished(figure, heading, left=0.6, bottom=0.85)


PROFILE = ("stroke", "transferred_energy", "peak_gauge_stress", "peak_tension_stress", "case_resistance_maximum",
           "matched_resistance")  # fmt: skip
"""Numbers drawn for every blow beside the blow count; one that no blow has is left out."""

RESTRIKE_PROFILE = ("stroke", "transferred_energy", "peak_gauge_stress", "case_resistance_maximum")
"""Numbers drawn for the blows of the restrikes."""

LEAST_TIMES, LATER = 2, 1.5
"""Resistance over time is drawn from so many restrikes on [1] that came later than so many reference times [1]: the
initial drive stands at the reference time, and a line through two points says nothing more than they do."""

OVERLAID = ("downward wave", "upward wave")
"""Waves in which drives are overlaid, a panel each."""


def review_figures(review: Review, drawn: Collection[str] = ()) -> dict[str, bytes]:
    """Give every figure of a review, without blows and profiles that were drawn before, by their names.

    SVG by name, such as ``"blow_initial"``; a figure that would show nothing is not there.
    """
    figures: dict[str, bytes] = {}
    sheet, required = review.sheet, review.answers.required.value
    restrikes = tuple(drive for drive in review.drives if drive.kind == "restrike")
    for drive in review.drives:
        if f"blow_{drive.name}" not in drawn:
            figures |= blow_figure(sheet, drive)
        if drive.kind == "initial" and f"profile_{drive.name}" not in drawn:
            figures |= initial_profile(sheet, drive, required)
    if restrikes and "profile_restrikes" not in drawn:
        figures |= restrikes_profile(sheet, restrikes, required)
    return {**figures, **_overlay(review), **_matches(review), **_setup(review), **_criterion(review)}


def initial_profile(sheet: TestSheet, drive: DriveReview, required: float | None) -> dict[str, bytes]:
    """Give the figure of all blows of an initial drive by its name.

    Units: required [N].
    """
    heading = f"{sheet.pile_name}, {drive_words(drive)}: driving record"
    along = "penetration" if drive.table["penetration"].nunique() > 1 else "blow"
    return _profiles(f"profile_{drive.name}", (drive,), PROFILE, along, heading, sheet, required)


def restrikes_profile(sheet: TestSheet, restrikes: tuple[DriveReview, ...], required: float | None) -> dict[str, bytes]:
    """Give the figure of all blows of all restrikes by its name.

    Units: required [N].
    """
    heading = f"{sheet.pile_name}: blows of the restrikes"
    return _profiles("profile_restrikes", restrikes, RESTRIKE_PROFILE, "blow", heading, sheet, required)


def blow_figure(sheet: TestSheet, drive: DriveReview) -> dict[str, bytes]:
    """Give the figure of a drive's representative blow by its name; none where it has no such blow."""
    waves, blow, system = drive.waves, drive.representative, sheet.display_units
    if waves is None or blow is None:
        return {}
    times = marks(waves, 0, sheet.pile)
    toe_return = times["toe return"]
    drawn = {"t₁": times["first peak"], "t₁ + 2L/c": toe_return}
    heading = f"{sheet.pile_name}, {drive_words(drive)}, blow {blow.blow}"
    computed, residual = None, None
    if drive.match is not None:
        matched = matched_waves(drive.match)
        computed = np.interp(waves.time, matched.time, matched.up_computed, left=np.nan, right=np.nan)
        left = shown("peak_force", computed - waves.up[0], system)
        residual = pd.DataFrame({TIME: milliseconds(waves, 0), "residual": left})
    panels = (traces(waves, 0, system), wave_traces(waves, 0, system, computed))
    return {f"blow_{drive.name}": traces_figure(panels, heading, drawn, _last(waves, toe_return), residual)}


def _last(waves: Waves, toe_return: float) -> float:
    """Where the time axis of a blow ends [ms]."""
    return min(1e3 * float(waves.time[-1] - waves.time[waves.onset[0]]), SHOWN_RETURNS * toe_return)


def _profiles(
    name: str,
    drives: tuple[DriveReview, ...],
    codes: tuple[str, ...],
    along: str,
    heading: str,
    sheet: TestSheet,
    required: float | None,
) -> dict[str, bytes]:
    system, limits = sheet.display_units, driving_stress_limits(sheet.pile, sheet.requirement)
    frame = profile({drive.name: drive.table for drive in drives}, codes, along, system)
    if frame.empty:
        return {}
    log = drives[0].log
    if along == "penetration" and log is not None and (log.blows > 0).any():
        frame = pd.concat([counts_by_depth(drives[0].name, log, system), frame], ignore_index=True)
    known = {
        "case_resistance_maximum": ("required", required),
        "matched_resistance": ("required", required),
        "peak_gauge_stress": ("limit", limits.compression.value),
        "peak_tension_stress": ("limit", limits.tension.value),
    }
    lines = {
        title(code, system): (label, float(shown(code, value, system)))
        for code, (label, value) in known.items()
        if value is not None
    }
    return {name: profiles_figure(frame, heading, _kinds(drives), lines, _matched_profiles(drives, along, system))}


def _matched_profiles(drives: tuple[DriveReview, ...], along: str, system: str) -> dict[str, pd.DataFrame]:
    """Give the matched resistance of the representative blow, to be drawn where not every blow was matched."""
    tables = {}
    for drive in drives:
        if drive.every is None and drive.match is not None:
            numbers = drive.numbers
            known = {code: [numbers.get(code, np.nan)] for code in {"blow", along, "matched_resistance"}}
            tables[drive.name] = pd.DataFrame(known)
    frame = profile(tables, ("matched_resistance",), along, system)
    return {} if frame.empty else {title("case_resistance_maximum", system): frame}


def _overlay(review: Review) -> dict[str, bytes]:
    drives = [drive for drive in review.drives if drive.waves is not None]
    if len({drive.kind for drive in drives}) < 2:
        return {}
    blows = {drive.name: (drive.waves, 0) for drive in drives if drive.waves is not None}
    toe_return = marks(blows[drives[0].name][0], 0, review.sheet.pile)["toe return"]
    frames = {wave: overlay(blows, wave, review.sheet.display_units) for wave in OVERLAID}
    heading = f"{review.sheet.pile_name}: initial drive against restrike, aligned at impact"
    last = min(_last(waves, toe_return) for waves, _ in blows.values())
    return {"initial_against_restrike": overlay_figure(frames, heading, _kinds(drives), toe_return, last)}


def _matches(review: Review) -> dict[str, bytes]:
    drives, system = [drive for drive in review.drives if drive.match is not None], review.sheet.display_units
    if not drives:
        return {}
    length = display_unit("penetration", system)[1] * review.sheet.pile.length
    shaft, movement, stress, failed = (
        of_drives(frame, drives, system) for frame in (shaft_lengths, load_movements, stresses_along, failure_loads)
    )
    depth = next(
        (float(d.table["penetration"].iloc[-1]) for d in drives if d.table["penetration"].notna().any()), np.nan
    )
    soil, kinds = soil_layers(review.sheet, depth, system), _kinds(drives)
    return {
        "shaft_resistance": shaft_figure(
            shaft, "Matched soil and stresses along the pile", kinds, length, soil, stress
        ),
        "load_movement": load_movement_figure(movement, "Computed load–movement", kinds, failed),
    }


def _setup(review: Review) -> dict[str, bytes]:
    law, required, system = review.answers.time_law, review.answers.required.value, review.sheet.display_units
    if law is None or sum(time > LATER * law.reference_time for time in law.times) < LEAST_TIMES:
        return {}
    required = law_requirement(law, required)
    line = None if required is None else float(shown("matched_resistance", required, system))
    measured, fitted = measured_over_time(law, system), law_over_time(law, system)
    heading = f"{review.sheet.pile_name}: {measured.columns[1].partition(' [')[0]} over time"
    return {"setup": setup_figure(measured, fitted, heading, line)}


def _criterion(review: Review) -> dict[str, bytes]:
    found, system = review.answers.criterion, review.sheet.display_units
    if found is None:
        return {}
    heading = f"{review.sheet.pile_name}: blow count required at each stroke"
    lines, measured = criterion_lines(found, system), measured_counts(found, system)
    return {"criterion": criterion_figure(lines, measured, heading, refusal_count(found, system))}


def _kinds(drives) -> dict[str, str]:
    return {drive.name: drive.kind for drive in drives}
