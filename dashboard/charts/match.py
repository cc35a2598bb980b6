"""Charts of a signal match: waves measured and computed, the soil along the pile, and a computed static load test."""

import altair as alt
import pandas as pd

from dashboard import look
from dashboard.charts.base import DASHES, axis, finish, named
from dashboard.charts.traces import lines
from dyntest.presenting import palette
from dyntest.presenting.frames import TIME
from dyntest.presenting.frames_match import COMPUTED, GAUGE_LEVEL, MEASURED, TOE

PLACES = {GAUGE_LEVEL: (palette.INK, "solid"), TOE: ("#d2691e", "dashed")}
"""Colour and line style of each place of a static load test."""


def match_chart(frame: pd.DataFrame, height: int = 290) -> alt.LayerChart:
    """Give the measured and the computed upward wave."""
    styles = {MEASURED: (palette.TRACES[MEASURED][0], "solid"), COMPUTED: palette.TRACES[COMPUTED]}
    window = (float(frame[TIME].min()), float(frame[TIME].max()))
    return finish(
        alt.layer(*lines(frame, window, styles, under=MEASURED)), height, "The upward wave, measured and computed."
    )


def distribution_chart(frame: pd.DataFrame, height: int = 360) -> alt.LayerChart:
    """Give the resistance of each length of shaft against depth, and of the toe below."""
    drawn, titles = named(frame)
    unit = titles["c3"].partition("[")[2].rstrip("]")
    drawn = drawn.assign(told=[f"{value:,.0f} {unit}" for value in drawn["c3"]])
    shaft, toe = drawn[drawn["c0"] == "shaft"], drawn[drawn["c0"] == "toe"]
    bottom = float(drawn["c2"].max())
    scale = alt.Scale(domain=[float(drawn["c1"].min()), bottom * 1.07], reverse=True, nice=False)
    tips = [alt.Tooltip("c0:N", title="part"), alt.Tooltip("c1:Q", title=titles["c1"], format=".1f")]
    tips += [alt.Tooltip("c2:Q", title=titles["c2"], format=".1f"), alt.Tooltip("told:N", title="resistance")]
    bars = (
        alt.Chart(shaft)
        .mark_rect(fill=look.colour(palette.INK), opacity=0.55, stroke=look.colour(palette.QUIET))
        .encode(
            x=alt.X("zero:Q", axis=axis(f"{titles['c3']} of each length"), scale=alt.Scale(zero=True)),
            x2="c3:Q",
            y=alt.Y("c1:Q", axis=axis(titles["c1"].removeprefix("top, ")), scale=scale),
            y2="c2:Q",
            tooltip=tips,
        )
        .transform_calculate(zero="0")
    )
    at_toe = toe.assign(words=[f"toe, {told}" for told in toe["told"]], zero=0.0, low=bottom, high=bottom * 1.045)
    tip = alt.Chart(at_toe).mark_rect(fill=look.colour("#d2691e"))
    words = alt.Chart(at_toe).mark_text(color=look.colour(palette.INK), align="left", dx=6, dy=-9)
    layers = [
        bars,
        tip.encode(x="zero:Q", x2="c3:Q", y="low:Q", y2="high:Q", tooltip=tips),
        words.encode(x="zero:Q", y="low:Q", text="words:N"),
    ]
    return finish(alt.layer(*layers), height, "Resistance of each length of shaft, and of the toe.")


def load_chart(frame: pd.DataFrame, height: int = 360) -> alt.LayerChart:
    """Give the static load–movement curve at the gauges and at the toe, movement downward."""
    drawn, titles = named(frame)
    colours = [look.colour(colour) for colour, _ in PLACES.values()]
    dashes = [DASHES[dash] for _, dash in PLACES.values()]
    legend = alt.Legend(orient="top", symbolStrokeWidth=2.5)
    base = alt.Chart(drawn).encode(
        x=alt.X("c0:Q", axis=axis(titles["c0"])),
        y=alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(reverse=True)),
    )
    curve = base.mark_line(strokeWidth=2).encode(
        color=alt.Color("c2:N", scale=alt.Scale(domain=list(PLACES), range=colours), legend=legend),
        strokeDash=alt.StrokeDash("c2:N", scale=alt.Scale(domain=list(PLACES), range=dashes), legend=legend),
        order="c1:Q",
    )
    tips = [alt.Tooltip("c2:N", title="place"), alt.Tooltip("c0:Q", title=titles["c0"], format=",.0f")]
    tips.append(alt.Tooltip("c1:Q", title=titles["c1"], format=".2f"))
    points = base.mark_point(opacity=0, size=100).encode(tooltip=tips, detail="c2:N")
    return finish(alt.layer(curve, points), height, "Computed static load against movement, at the gauges and the toe.")
