"""The pile as it stood when it was tested."""

import altair as alt
import pandas as pd

from dashboard import look
from dashboard.charts.base import axis, finish
from dyntest.presenting import palette


def pile_chart(parts: pd.DataFrame, title: str, ground: float | None, height: int = 420) -> alt.LayerChart:
    """Give the pile from head to toe with gauges, ground and toe; depths are below the gauges, in its display unit."""
    ink, accent = look.colour(palette.INK), look.colour(palette.ACCENT)
    low, high = float(parts["top"].min()), float(parts["bottom"].max())
    scale = alt.Scale(domain=[low - 0.06 * (high - low), high + 0.06 * (high - low)], reverse=True, nice=False)
    scale_across = alt.Scale(domain=[-1.6, 2.6])

    def across(column: str) -> alt.X:
        return alt.X(f"{column}:Q", axis=None, scale=scale_across)

    drawn = parts.assign(left=-0.32 * parts["width"], right=0.32 * parts["width"])
    body = (
        alt.Chart(drawn)
        .mark_rect(stroke=ink, strokeWidth=1.5, fill=ink, fillOpacity=0.16)
        .encode(
            x=across("left"),
            x2="right:Q",
            y=alt.Y("top:Q", axis=axis(title), scale=scale),
            y2="bottom:Q",
            tooltip=[alt.Tooltip("part:N"), alt.Tooltip("top:Q", format=".1f"), alt.Tooltip("bottom:Q", format=".1f")],
        )
    )
    places = [(0.0, "gauges", accent), (high, "toe", ink)]
    layers = [body]
    if ground is not None:
        soil = pd.DataFrame({"a": [-1.6], "b": [2.6], "t": [max(ground, low)], "u": [high + 0.06 * (high - low)]})
        earth = alt.Chart(soil).mark_rect(fill=look.colour(palette.DRIVES["restrike"]), opacity=0.16)
        layers.insert(0, earth.encode(x=across("a"), x2="b:Q", y="t:Q", y2="u:Q"))
        places.append((ground, "ground", look.quiet_text()))
    for depth, words, colour in places:
        data = pd.DataFrame({"x": [-0.5], "x2": [0.5], "w": [0.6], "y": [depth], "t": [words]})
        rule = alt.Chart(data).mark_rule(color=colour, strokeWidth=2).encode(x=across("x"), x2="x2:Q", y="y:Q")
        text = alt.Chart(data).mark_text(color=colour, align="left").encode(x=across("w"), y="y:Q", text="t:N")
        layers += [rule, text]
    return finish(alt.layer(*layers), height, "The pile from its head to its toe, with its gauges and the ground.")
