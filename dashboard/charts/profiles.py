"""Charts of whole drives: a number of every blow, findings on blows, and a click that opens a blow."""

from typing import Any

import altair as alt
import pandas as pd

from dyntest.presenting import palette
from dyntest.presenting.frames import title

from .. import look
from ..charts.base import DASHES, SHAPES, axis, draw, finish, layered, rule_across, rule_up

MOST_BLOWS = 600
"""Blows of a drive that are drawn at most in one profile [1]; all of them are computed."""

PICK = "pick"

SEVERITY = {
    "reject": (palette.WARNING, "cross"),
    "warning": ("#d2691e", "triangle-up"),
    "note": (palette.QUIET, "circle"),
}
"""Colour and shape of a finding by how bad it is."""


def profile_chart(
    frame: pd.DataFrame,
    heading: str,
    along: str,
    kinds: dict[str, str],
    *,
    limit: tuple[str, float] | None = None,
    at: tuple[str, int] | None = None,
    height: int = 380,
) -> alt.LayerChart:
    """Give one number of every blow: against the penetration downward, or against the blow number across."""
    downward = along.startswith(title("penetration", "SI").split(" [")[0])
    domain, ranges = list(kinds), [look.colour(palette.DRIVES[kind]) for kind in kinds.values()]
    shapes = list(SHAPES[: len(kinds)])
    place = alt.Scale(reverse=True, zero=False) if downward else alt.Scale(zero=False, nice=False)
    number = alt.Scale(zero=False)
    along_axis: dict[str, Any] = {"field": "along", "type": "quantitative", "axis": axis(along), "scale": place}
    value_axis: dict[str, Any] = {
        "field": "value",
        "type": "quantitative",
        "axis": axis(heading, wide=24 if downward else 80),
        "scale": number,
    }
    x, y = (alt.X(**value_axis), alt.Y(**along_axis)) if downward else (alt.X(**along_axis), alt.Y(**value_axis))
    unit = heading.partition("[")[2].rstrip("]").replace("\N{NO-BREAK SPACE}", " ")
    digits = 0 if frame["value"].abs().max() >= 100.0 else 2
    told = [f"{value:,.{digits}f} {unit}".strip() for value in frame["value"]]
    frame = frame.assign(told=told, name=[name.replace("_", " ") for name in frame["drive"]])
    words = heading.partition(" [")[0]
    tips = [alt.Tooltip("name:N", title="drive"), alt.Tooltip("blow:Q"), alt.Tooltip("told:N", title=words)]
    tips.append(alt.Tooltip("along:Q", title=along, format=",.1f"))
    pick = alt.selection_point(name=PICK, fields=["drive", "blow"], on="click", nearest=True, empty=False)
    colour = alt.Color("drive:N", scale=alt.Scale(domain=domain, range=ranges), legend=None)
    base = alt.Chart(frame).encode(x=x, y=y, color=colour)
    lines = base.mark_line(strokeWidth=1, opacity=0.45, clip=True).encode(order="blow:Q", detail="drive:N")
    shape = alt.Shape("drive:N", scale=alt.Scale(domain=domain, range=shapes), legend=None)
    points = (
        base.mark_point(filled=True, size=26, opacity=0.9, clip=True).encode(shape=shape, tooltip=tips).add_params(pick)
    )
    layers = [lines, points]
    if "low" in frame:
        layers.insert(0, _range(frame.dropna(subset=["low", "high"]), downward, colour))
    if at is not None:
        layers.append(_here(frame, at, x, y))
    if limit is not None:
        accent = look.colour(palette.WARNING if limit[0] == "limit" else palette.ACCENT)
        far = limit[1] > 0.5 * (frame["value"].min() + frame["value"].max())
        up = rule_up(limit[1], limit[0], accent, left=bool(far))
        layers.append(up if downward else rule_across(limit[1], limit[0], accent))
    described = f"{heading} of every blow of {', '.join(kinds)} against {along}."
    return finish(layered(*layers), height, described)


def _range(frame: pd.DataFrame, downward: bool, colour: alt.Color) -> alt.Chart:
    span = (
        {"x": "low:Q", "x2": "high:Q", "y": "along:Q"} if downward else {"y": "low:Q", "y2": "high:Q", "x": "along:Q"}
    )
    return alt.Chart(frame).mark_rule(opacity=0.35, strokeWidth=2.5, clip=True).encode(color=colour, **span)


def _here(frame: pd.DataFrame, at: tuple[str, int], x: alt.X, y: alt.Y) -> alt.Chart:
    """Give a ring around the blow that is looked at."""
    rows = frame[frame["drive"] == at[0]]
    nearest = rows.iloc[(rows["blow"] - at[1]).abs().argsort()[:1]]
    ring = alt.Chart(nearest).mark_point(size=190, strokeWidth=2.5, color=look.colour(palette.ACCENT), filled=False)
    return ring.encode(x=x, y=y)


def findings_chart(frame: pd.DataFrame, last: int, at: int, height: int | None = None) -> alt.LayerChart:
    """Give which blows carry which finding, a row a check, with the blow that is looked at."""
    severities = [name for name in SEVERITY if name in set(frame["severity"])]
    colours = [look.colour(SEVERITY[name][0]) for name in severities]
    shapes = [SEVERITY[name][1] for name in severities]
    legend = alt.Legend(orient="top", title=None)
    pick = alt.selection_point(name=PICK, fields=["blow"], on="click", nearest=True, empty=False)
    marks = (
        alt.Chart(frame)
        .mark_point(filled=True, size=55, opacity=0.85)
        .encode(
            x=alt.X("blow:Q", axis=axis("blow number"), scale=alt.Scale(domain=[0, last + 1], nice=False)),
            y=alt.Y("check:N", axis=alt.Axis(labelLimit=190, title=None), sort=None),
            color=alt.Color("severity:N", scale=alt.Scale(domain=severities, range=colours), legend=legend),
            shape=alt.Shape("severity:N", scale=alt.Scale(domain=severities, range=shapes), legend=legend),
            tooltip=[alt.Tooltip("check:N"), alt.Tooltip("severity:N"), alt.Tooltip("blow:Q")],
        )
        .add_params(pick)
    )
    here = alt.Chart(pd.DataFrame({"v": [at]})).mark_rule(
        color=look.colour(palette.ACCENT), strokeDash=DASHES["dashdot"], strokeWidth=1.5
    )
    checks = frame["check"].nunique()
    described = f"Findings of {checks} checks over the blows of the drive."
    return finish(layered(marks, here.encode(x="v:Q")), height or 70 + 26 * checks, described)


def picked(event) -> dict | None:
    """Give what was clicked on, as the fields of its point."""
    found = (event.selection.get(PICK) or []) if event is not None else []
    return found[0] if found else None


def draw_pickable(chart: alt.LayerChart, key: str, act) -> None:
    """Put a chart on the page whose points act when they are clicked: `act` takes the fields of the point."""
    import streamlit as st

    def clicked() -> None:
        point = picked(st.session_state[key])
        if point is not None:
            act(point)

    draw(chart, key, on_select=clicked, selection_mode=PICK)
