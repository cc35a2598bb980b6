"""The bearing piles side by side, as deep as each stands."""

import altair as alt
import pandas as pd

from dashboard import look
from dashboard.charts.base import axis, finish, named, rule_across
from dyntest.presenting import palette
from dyntest.presenting.frames_bearing import FAILS, MEETS

COLOURS = {MEETS: palette.DRIVES["initial"], FAILS: palette.WARNING}
"""Colour of a pile by whether it meets the criterion; those that do not are hatched by their outline besides."""


def piles_chart(frame: pd.DataFrame, minimum: float | None, height: int = 400) -> alt.LayerChart:
    """Give each pile as deep as it stands, where it first met the criterion, and a mark on those to be looked at."""
    drawn, titles = named(frame.dropna(subset=[frame.columns[1]]))
    order = alt.X("c0:N", axis=axis("pile", labelAngle=-60), sort=None)
    deepest = 1.1 * max(float(drawn["c1"].max()), minimum or 0.0)  # room for the signs below the piles
    deep = alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(domain=[0.0, deepest], reverse=True))
    colours = alt.Scale(domain=list(COLOURS), range=[look.colour(colour) for colour in COLOURS.values()])
    legend = alt.Legend(orient="top")
    tips = [alt.Tooltip("c0:N", title="pile"), alt.Tooltip("c3:N", title="shows")]
    tips += [alt.Tooltip("c1:Q", title=titles["c1"], format=".1f"), alt.Tooltip("c5:N", title="because")]
    bars = (
        alt.Chart(drawn)
        .mark_bar(opacity=0.75)
        .encode(
            x=order,
            y=deep,
            color=alt.Color("c3:N", scale=colours, legend=legend),
            strokeWidth=alt.condition(alt.datum.c3 == FAILS, alt.value(3), alt.value(0)),
            stroke=alt.value(look.colour(palette.INK)),
            tooltip=tips,
        )
    )
    ink = look.colour(palette.INK)
    met = alt.Chart(drawn.dropna(subset=["c2"])).mark_tick(color=ink, thickness=3).encode(x=order, y="c2:Q")
    odd = drawn[drawn["c4"]].assign(sign="?")
    signs = alt.Chart(odd).mark_text(color=ink, fontSize=17, fontWeight="bold", dy=12)
    layers = [bars, met, signs.encode(x=order, y="c1:Q", text="sign:N", tooltip=tips)]
    if minimum is not None:
        layers.append(rule_across(minimum, "", look.colour(palette.ACCENT)))
    return finish(alt.layer(*layers), height, "The bearing piles side by side, as deep as each stands.")
