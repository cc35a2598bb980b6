"""Charts of resistance: against the damping factor, and what a match shows.

The page that asks what resistance the pile has, and how sure that is.
"""

import altair as alt
import numpy as np
import pandas as pd
import streamlit as st

from dyntest.names import NAMES, show
from dyntest.presenting import palette
from dyntest.presenting.frames import shown, title
from dyntest.presenting.frames_record import by_blow, resistance_against_factor
from dyntest.presenting.sentences import resistance_sentence

from .. import blows, look, matching, pieces, state, work
from ..charts.base import DASHES, axis, finish, layered, named, rule_up
from ..charts.base import draw as draw_chart
from ..charts.profiles import MOST_BLOWS, draw_pickable, profile_chart

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
    return finish(layered(*layers), height, "Resistance of one blow against the Case damping factor.")


PROFILES = ("case_resistance_maximum", "case_resistance", "matched_resistance", "shaft_resistance", "toe_resistance")
"""Resistances of every blow that can be drawn; those by matching only where every blow was matched."""

NUMBERS = (
    "damping_factor",
    "total_resistance",
    "case_resistance",
    "case_resistance_maximum",
    "case_resistance_toe_at_rest",
    "case_resistance_unloading",
    "shaft_share",
    "matched_resistance",
    "shaft_resistance",
    "toe_resistance",
    "misfit",
)


def draw() -> None:
    """Draw the page."""
    pieces.question("resistance")
    test = work.test()
    review = work.review(test)
    pieces.answer([resistance_sentence(review, drive) for drive in review.drives])
    matching.offer(test, review.drives, "resistance")
    left, right = st.columns([2, 1], vertical_alignment="bottom")
    with left:
        drive = blows.choose_drive(test, "resistance")
    with right:
        blow = blows.choose_blow(drive, "resistance")
    _factor(test, drive)

    left, right = st.columns(2)
    with left:
        _against_factor(test, drive, blow)
    with right:
        _profile(test, review, drive, blow)
    matching.show(test, drive)
    pieces.heading("Numbers of the blows that stand for the drives")
    pieces.table(pieces.numbers_by_drive(review.drives, NUMBERS, test.system), "resistance_table", height="content")
    pieces.heading(f"The record of blow {blow}")
    blows.picture(test, drive, blow, "resistance", "waves")
    names = ("damping_factor", "case_resistance", "case_resistance_maximum", "case_resistance_toe_at_rest")
    pieces.how(*names, "case_resistance_unloading", "matched_resistance", "range of the matched resistance")


def _factor(test, drive) -> None:
    """Let a person choose the damping factor; every number follows at once."""
    known = float(drive.table["damping_factor"].iloc[0])
    key = state.shown("resistance_factor", round(known, 2) if known == known else 0.5)
    st.slider(
        "Case damping factor J",
        0.0,
        1.2,
        step=0.01,
        key=key,
        on_change=state.asked(key, lambda value: state.change(test.as_read, damping_factor=float(value))),
    )
    source = {"none": "No damping factor is known: the slider is only a start"}.get(
        drive.damping_source, f"The damping factor {known:.2f} is from the {drive.damping_source}"
    )
    calibrated = drive.calibrated_damping_factor
    if calibrated == calibrated:
        source += f"; with {calibrated:.2f} the Case resistance at the first peak would equal the matched one"
    pieces.note(f"{source}.")


def _against_factor(test, drive, blow: int) -> None:
    waves = work.waves(test, drive.name)
    row = int(np.flatnonzero(waves.blow == blow)[0])
    frame = resistance_against_factor(waves, row, test.sheet.pile.return_time, test.system)
    matched = None
    if drive.match is not None and drive.representative is not None and blow == drive.representative.blow:
        ends = (*drive.match.matched_resistance_range, drive.match.matched_resistance)
        low, high, value = (float(shown("matched_resistance", end, test.system)) for end in ends)
        matched = low, high, value
    pieces.heading(f"Blow {blow} against the damping factor")
    draw_chart(factor_chart(frame, float(drive.table["damping_factor"].iloc[0]), matched), "resistance_against")


def _profile(test, review, drive, blow: int) -> None:
    known = [code for code in PROFILES if code in drive.table and drive.table[code].notna().any()]
    if not known:
        pieces.note("No resistance of every blow is known without a damping factor.")
        return
    code = st.session_state.get("resistance_drawn", known[0])
    key = state.shown("resistance_profile", code if code in known else known[0])
    pieces.heading("Every blow")
    code = st.selectbox(
        "Resistance of every blow",
        known,
        key=key,
        format_func=lambda code: title(code, test.system),
        label_visibility="collapsed",
        on_change=state.asked(key, lambda value: st.session_state.update(resistance_drawn=value)),
    )
    along = "penetration" if drive.table["penetration"].nunique() > 1 else "blow"
    frame = by_blow({drive.name: drive.table}, code, along, test.system, MOST_BLOWS)
    required = review.answers.required.value
    limit = None
    if required is not None and code not in ("shaft_resistance", "toe_resistance"):
        limit = (f"required, {show(code, required, test.system)}", float(shown(code, required, test.system)))
    chart = profile_chart(
        frame,
        title(code, test.system),
        title(along, test.system),
        {drive.name: drive.kind},
        limit=limit,
        at=(drive.name, blow),
    )
    draw_pickable(chart, "resistance_profile_chart", lambda point: state.look_at(point["drive"], int(point["blow"])))
    pieces.note("A click on a point opens that blow.")
