"""Charts of what changed while the pile waited."""

import altair as alt
import pandas as pd

from dashboard import look
from dashboard.charts.base import DASHES, axis, finish, named
from dyntest.presenting import palette


def time_chart(points: pd.DataFrame, line: pd.DataFrame, required: float | None, height: int = 380) -> alt.LayerChart:
    """Give resistance against the logarithm of time, with the fitted law; dashed beyond what was measured."""
    ink, accent = look.colour(palette.INK), look.colour(palette.ACCENT)
    drawn, titles = named(line)
    seen, _ = named(points)
    scale = alt.Scale(type="log", nice=False)
    x = alt.X("c0:Q", axis=axis(titles["c0"], format="~g", tickCount=6), scale=scale)
    y = alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(zero=False))
    unit = titles["c1"].partition("[")[2].rstrip("]")
    low = alt.Y("c2:Q", axis=axis(titles["c1"]))
    band = alt.Chart(drawn).mark_area(color=ink, opacity=0.12).encode(x=x, y=low, y2="c3:Q")
    inside = alt.Chart(drawn[drawn["c4"]]).mark_line(color=ink, strokeWidth=2).encode(x=x, y=y)
    outside = alt.Chart(drawn[~drawn["c4"]]).mark_line(color=ink, strokeWidth=2, strokeDash=DASHES["dashed"])
    kinds = [kind for kind in palette.DRIVES if kind in set(seen["c4"])]
    colours = alt.Scale(domain=kinds, range=[look.colour(palette.DRIVES[kind]) for kind in kinds])
    shapes = alt.Scale(domain=kinds, range=["circle", "square"][: len(kinds)])
    legend = alt.Legend(orient="top")
    numbers = seen[["c1", "c2", "c3"]].to_numpy()
    told = seen.assign(told=[f"{value:,.0f} {unit} ({least:,.0f} to {most:,.0f})" for value, least, most in numbers])
    colour = alt.Color("c4:N", scale=colours, legend=legend)
    bars = alt.Chart(told).mark_rule(strokeWidth=2.5).encode(x=x, y="c2:Q", y2="c3:Q", color=colour)
    tips = [alt.Tooltip("c4:N", title="drive"), alt.Tooltip("c0:Q", title="days", format=".2f")]
    tips.append(alt.Tooltip("told:N", title="resistance"))
    marks = alt.Chart(told).mark_point(filled=True, size=110, opacity=1)
    marks = marks.encode(x=x, y=y, color=colour, shape=alt.Shape("c4:N", scale=shapes, legend=legend), tooltip=tips)
    layers = [band, inside, outside.encode(x=x, y=y), bars, marks]
    if required is not None:
        rule = pd.DataFrame({"v": [required], "t": [f"required, {required:,.0f} {unit}"]})
        base = alt.Chart(rule)
        layers.append(base.mark_rule(color=accent, strokeDash=DASHES["dashdot"]).encode(y="v:Q"))
        words = base.mark_text(color=accent, align="right", dx=-4, dy=-8, x="width")
        layers.append(words.encode(y="v:Q", text="t:N"))
    return finish(alt.layer(*layers), height, "Resistance against the logarithm of time since the initial drive.")


def fade_chart(frame: pd.DataFrame, line: pd.DataFrame, heading: str, height: int = 300) -> alt.LayerChart:
    """Give resistance over the blows of a restrike, with the line through the first of them."""
    colour = look.colour(palette.DRIVES["restrike"])
    x = alt.X("along:Q", axis=axis("blow number", tickMinStep=1), scale=alt.Scale(zero=False, nice=False, padding=10))
    y = alt.Y("value:Q", axis=axis(heading), scale=alt.Scale(zero=False))
    tips = [alt.Tooltip("along:Q", title="blow"), alt.Tooltip("value:Q", title=heading, format=",.0f")]
    points = alt.Chart(frame).mark_point(shape="square", filled=True, size=60, color=colour, opacity=1)
    fitted = alt.Chart(line).mark_line(color=look.colour(palette.INK), strokeWidth=2, strokeDash=DASHES["dashed"])
    layers = alt.layer(points.encode(x=x, y=y, tooltip=tips), fitted.encode(x=x, y=y))
    return finish(layers, height, f"{heading} over the blows of a restrike.")
