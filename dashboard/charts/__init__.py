"""Parts common to all charts: background, safe column names, axes, and marks."""

import textwrap
from functools import partial
from typing import Any, TypeVar

import altair as alt
import pandas as pd
import streamlit as st
from altair.utils import schemapi

from dyntest.presenting import palette

from .. import pages

schemapi.disable_debug_mode()
# Altair validates every part of a chart, which takes longer than all else on a page; tests turn it on.

DASHES = {"solid": [1, 0], "dashed": [7, 4], "dotted": [2, 3], "dashdot": [9, 3, 2, 3]}
"""Line styles of the palette as Vega-Lite writes them."""

FIGURES = ",.4~r"
"""Format of numbers in tooltips: four significant figures, so that no small number shows as zero."""

FONT = '"Source Sans", sans-serif'
"""The font of the pages, also used in charts."""

Drawn = TypeVar("Drawn", alt.Chart, alt.LayerChart)


def named(frame: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, str]]:
    """Give a frame with column names that are safe in Vega-Lite, and their titles.

    Brackets and dots in a column name have a meaning there, so titles go to the axes and columns become c0, c1, …
    """
    codes = {f"c{place}": title for place, title in enumerate(frame.columns)}
    return frame.set_axis(list(codes), axis=1), codes


def axis(title: str, *, wide: int = 80, **more: Any) -> alt.Axis:
    """Give an axis with a title, in lines of limited length; a unit is not split."""
    lines = [line.replace("\N{NO-BREAK SPACE}", " ") for line in textwrap.wrap(title, wide)]
    return alt.Axis(
        title=lines if len(lines) > 1 else "".join(lines), **{"labelOverlap": True, "labelFlush": False, **more}
    )


def line_legend(**more: Any) -> alt.Legend:
    """Give a legend of lines above a chart, each long enough to show its dashes."""
    return alt.Legend(orient="top", symbolType="stroke", symbolStrokeWidth=2.5, symbolSize=900, **more)


def rule_across(value: float, label: str, colour: str) -> alt.LayerChart:
    """Give a labelled line at a value of the vertical axis."""
    data = pd.DataFrame({"v": [value], "t": [label]})
    line = alt.Chart(data).mark_rule(color=colour, strokeDash=DASHES["dashdot"]).encode(y=alt.Y("v:Q"))
    words = (
        alt.Chart(data)
        .mark_text(color=colour, align="right", dx=-3, dy=-8, x="width")
        .encode(y=alt.Y("v:Q"), text=alt.Text("t:N"))
    )
    return layered(line, words)


def rule_up(value: float, label: str, colour: str, *, top: int = 10, left: bool = False) -> alt.LayerChart:
    """Give a line at a value of the horizontal axis, labelled to its right or left."""
    data = pd.DataFrame({"v": [value], "t": [label]})
    line = alt.Chart(data).mark_rule(color=colour, strokeDash=DASHES["dashdot"]).encode(x=alt.X("v:Q"))
    words = alt.Chart(data).mark_text(color=colour, align="right" if left else "left", dx=-4 if left else 4, y=top)
    return layered(line, words.encode(x=alt.X("v:Q"), text=alt.Text("t:N")))


def layered(*layers: alt.Chart | alt.LayerChart) -> alt.LayerChart:
    """Give layered charts, the first at the bottom."""
    return alt.LayerChart(layer=list(layers))


def finish(chart: Drawn, height: int, description: str) -> Drawn:
    """Give a chart the background of the page and a text alternative.

    The chart is changed in place: Altair's own configuration copies it each time.
    """
    ink, quiet = pages.colour(palette.INK), pages.quiet_text()
    axes: dict[str, Any] = {
        "labelColor": ink,
        "titleColor": ink,
        "gridColor": pages.colour(palette.QUIET) + "40",
        "domainColor": quiet,
        "tickColor": quiet,
        "labelFontSize": 13,
        "titleFontSize": 13,
        "titleFontWeight": "normal",
        "titlePadding": 8,
    }
    legend: dict[str, Any] = {
        "labelColor": ink,
        "labelFontSize": 13,
        "symbolSize": 160,
        "labelLimit": 320,
        "title": None,
    }
    setting: Any = chart  # attributes that Altair's classes accept but do not declare
    setting.height, setting.description = height, description
    setting.config = alt.Config(
        background=palette.GROUNDS[pages.ground()],  # a saved figure needs its own background
        font=FONT,
        view=alt.ViewConfig(stroke=None),
        axis=alt.AxisConfig(**axes),
        legend=alt.LegendConfig(**legend),
        text=alt.MarkConfig(fontSize=12.5, font=FONT),
    )
    return chart


def draw(chart: alt.Chart | alt.LayerChart, key: str, **more: Any):
    """Show a finished chart on the page; Streamlit takes its dictionary, for which Altair would validate all of it."""
    object.__setattr__(chart, "to_dict", partial(chart.to_dict, validate=schemapi.DEBUG_MODE))
    return st.altair_chart(chart, width="stretch", theme=None, key=key, **more)
