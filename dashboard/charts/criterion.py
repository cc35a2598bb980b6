"""The chart an inspector works by: blows asked at each stroke, and what was measured at the test pile."""

import altair as alt
import pandas as pd

from dashboard import look
from dashboard.charts.base import DASHES, axis, finish, named, rule_across
from dyntest.presenting import palette
from dyntest.presenting.frames_criterion import ASKED, GATES, GRAPH, RULED_OUT

LINES = {ASKED: (palette.ACCENT, "solid"), GRAPH: (palette.INK, "dashed"), GATES: ("#d2691e", "dotted")}
"""Colour and style of each line."""


def criterion_chart(lines: pd.DataFrame, measured: pd.DataFrame, refusal: float, height: int = 420) -> alt.LayerChart:
    """Give counts against stroke: at or above the steps a blow meets the criterion, and there it is shaded."""
    drawn, titles = named(lines)
    asked, barred = drawn[drawn["c2"] == ASKED], drawn[drawn["c2"] == RULED_OUT]
    top = max(float(drawn["c1"].max()), refusal, float(measured.iloc[:, 1].max()) if len(measured) else 0.0) * 1.12
    low, high = float(drawn["c0"].min()), float(drawn["c0"].max())
    seen = measured.iloc[:, 0].tolist()
    first, last = min([low, *seen]), max([high, *seen])
    margin = 0.04 * max(last - first, 0.1)
    across = alt.Scale(domain=[first - margin, last + margin], nice=False)
    x = alt.X("c0:Q", axis=axis(titles["c0"]), scale=across)
    y = alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(domain=[0.0, top], nice=False))
    accent = look.colour(palette.ACCENT)
    area = alt.Chart(asked.assign(top=top)).mark_area(color=accent, opacity=0.14, interpolate="step-after", clip=True)
    colours = [look.colour(colour) for colour, _ in LINES.values()]
    dashes = [DASHES[dash] for _, dash in LINES.values()]
    legend = alt.Legend(orient="top", columns=3, symbolStrokeWidth=2.5)
    shared = {
        "color": alt.Color("c2:N", scale=alt.Scale(domain=list(LINES), range=colours), legend=legend),
        "strokeDash": alt.StrokeDash("c2:N", scale=alt.Scale(domain=list(LINES), range=dashes), legend=legend),
    }
    tips = [alt.Tooltip("c2:N", title="line"), alt.Tooltip("c0:Q", title=titles["c0"], format=".2f")]
    tips.append(alt.Tooltip("c1:Q", title=titles["c1"], format=".1f"))
    steps = alt.Chart(asked).mark_line(strokeWidth=2.5, interpolate="step-after", clip=True).encode(x=x, y=y, **shared)
    others = (
        alt.Chart(drawn[drawn["c2"].isin([GRAPH, GATES])])
        .mark_line(strokeWidth=2, clip=True)
        .encode(x=x, y=y, **shared)
    )
    spots = alt.Chart(drawn).mark_point(opacity=0, size=110).encode(x=x, y=y, tooltip=tips)
    words = pd.DataFrame({"x": [float(asked["c0"].min())], "y": [top], "t": ["meets the criterion"]})
    inside = alt.Chart(words).mark_text(color=accent, align="left", dx=6, dy=12).encode(x="x:Q", y="y:Q", text="t:N")
    layers = [area.encode(x=x, y=y, y2="top:Q"), steps, others, spots, inside]
    if len(measured):
        blows, _ = named(measured)
        colour = look.colour(palette.DRIVES["initial"])
        marks = alt.Chart(blows).mark_point(size=70, color=colour, strokeWidth=2, filled=False, opacity=0.9)
        layers.append(marks.encode(x=x, y=y, tooltip=tips[1:]))
    if len(barred):
        crosses = alt.Chart(barred).mark_point(shape="cross", angle=45, size=90, color=look.colour(palette.WARNING))
        layers.append(crosses.encode(x=x, y=y, tooltip=tips))
    layers.append(rule_across(refusal, "practical refusal", look.colour(palette.WARNING)))
    described = "Blows asked at each stroke, the bearing graph, the modified Gates formula, and the measured blows."
    return finish(alt.layer(*layers), height, described)
