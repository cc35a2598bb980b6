"""Charts of resistance: against the damping factor, and what a match shows."""

import altair as alt
import pandas as pd

from dashboard import look
from dashboard.charts.base import DASHES, axis, finish, named, rule_up
from dyntest.names import NAMES
from dyntest.presenting import palette

METHODS = {
    NAMES["case_resistance"].words: (palette.INK, "solid"),
    NAMES["case_resistance_maximum"].words: ("#d2691e", "dashed"),
}
"""Colour and line style of each way of reading the resistance."""


def factor_chart(
    frame: pd.DataFrame, factor: float, matched: tuple[float, float, float] | None, height: int = 380
) -> alt.LayerChart:
    """Give resistance against the damping factor, with the factor in use and the matched resistance with its range."""
    drawn, titles = named(frame)
    colours = [look.colour(colour) for colour, _ in METHODS.values()]
    dashes = [DASHES[dash] for _, dash in METHODS.values()]
    legend = alt.Legend(orient="top", columns=1, symbolStrokeWidth=2.5)
    unit = titles["c1"].partition("[")[2].rstrip("]")
    drawn = drawn.assign(told=[f"{value:,.0f} {unit}" for value in drawn["c1"]])
    lines = (
        alt.Chart(drawn)
        .mark_line(strokeWidth=2, clip=True)
        .encode(
            x=alt.X("c0:Q", axis=axis(titles["c0"]), scale=alt.Scale(nice=False)),
            y=alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(zero=False)),
            color=alt.Color("c2:N", scale=alt.Scale(domain=list(METHODS), range=colours), legend=legend),
            strokeDash=alt.StrokeDash("c2:N", scale=alt.Scale(domain=list(METHODS), range=dashes), legend=legend),
        )
    )
    points = (
        alt.Chart(drawn)
        .mark_point(opacity=0, size=120)
        .encode(
            x="c0:Q",
            y="c1:Q",
            tooltip=[
                alt.Tooltip("c2:N", title="method"),
                alt.Tooltip("c0:Q", title="damping factor", format=".2f"),
                alt.Tooltip("told:N", title="resistance"),
            ],
        )
    )
    layers = [lines, points]
    accent = look.colour(palette.ACCENT)
    if matched is not None:
        low, high, value = matched
        data = pd.DataFrame({"low": [low], "high": [high], "value": [value], "t": ["matched, with its range"]})
        band = alt.Chart(data).mark_rect(color=accent, opacity=0.16).encode(y="low:Q", y2="high:Q")
        line = alt.Chart(data).mark_rule(color=accent, strokeDash=DASHES["dotted"], strokeWidth=2).encode(y="value:Q")
        words = alt.Chart(data).mark_text(color=accent, align="right", dx=-4, dy=-8, x="width")
        layers += [band, line, words.encode(y="value:Q", text="t:N")]
    if factor == factor:
        layers.append(rule_up(factor, f"J = {factor:.2f}", accent))
    return finish(alt.layer(*layers), height, "Resistance of one blow against the Case damping factor.")
