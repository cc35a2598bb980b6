"""The page on the resistance of the pile and its uncertainty."""

from dataclasses import replace

import altair as alt
import numpy as np
import pandas as pd
import streamlit as st

from dyntest.names import NAMES, show_required
from dyntest.presenting import palette
from dyntest.presenting.frames import shown, title
from dyntest.presenting.frames_record import resistance_against_factor
from dyntest.presenting.sentences import resistance_sentence

from .. import matching, pages, pieces, shelf, state, strip, work
from ..charts import DASHES, axis, finish, layered, line_legend, named, rule_up
from ..charts import draw as draw_chart
from ..charts.profiles import profile_data
from ..charts.record import record_data
from ..components import draw_profiles, draw_record

METHODS = {
    NAMES["case_resistance"].words: (palette.INK, "solid"),
    NAMES["case_resistance_maximum"].words: ("#d2691e", "dashed"),
}
"""Colour and line style of each method."""


def factor_chart(
    frame: pd.DataFrame, factor: float, matched: tuple[float, float, float] | None, height: int = 560
) -> alt.LayerChart:
    """Give resistance against the damping factor, with the factor in use and the matched resistance with its range."""
    drawn, titles = named(frame)
    colours = [pages.colour(colour) for colour, _ in METHODS.values()]
    dashes = [DASHES[dash] for _, dash in METHODS.values()]
    legend = line_legend(columns=1)
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
    layers: list[alt.Chart | alt.LayerChart] = [lines]
    accent = pages.colour(palette.ACCENT)
    if matched is not None:
        low, high, value = matched
        data = pd.DataFrame({"low": [low], "high": [high], "value": [value], "t": ["matched, with its range"]})
        band = alt.Chart(data).mark_rect(color=accent, opacity=0.16).encode(y=alt.Y("low:Q"), y2=alt.Y2("high:Q"))
        line = (
            alt.Chart(data)
            .mark_rule(color=accent, strokeDash=DASHES["dotted"], strokeWidth=2)
            .encode(y=alt.Y("value:Q"))
        )
        words = alt.Chart(data).mark_text(color=accent, align="right", dx=-4, dy=9, x="width")
        layers += [band, line, words.encode(y=alt.Y("low:Q"), text=alt.Text("t:N"))]  # below, away from the maximum
    if factor == factor:
        layers.append(rule_up(factor, f"J = {factor:.2f}", accent))
    return finish(layered(*layers), height, "Resistance of one blow against the Case damping factor.")


PROFILES = ("case_resistance_maximum", "case_resistance", "matched_resistance", "shaft_resistance", "toe_resistance")
"""Resistances of every blow that are drawn; matched ones only if every blow was matched."""

NUMBERS = (
    "damping_factor",
    "damping_factor_maximum",
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
    test = work.test()
    review = work.review(test)
    pieces.alerted(test, review)
    pieces.draw_answer([resistance_sentence(review, drive) for drive in review.drives], means(review))
    matching.offer(test, review.drives, "resistance")
    place = strip.place_of(test)
    drive = next(one for one in review.drives if one.name == place.drive)
    _factor(test, drive)
    matching.offer_blow(test, drive, place.blow, "resistance")
    left, right = st.columns([1, 1])
    with left:
        _against_factor(test, drive, place.blow)
    with right:
        _profile(test, review, place)
    matching.draw_match(test, drive, place.blow)
    pieces.draw_heading("Numbers")
    pieces.numbers(review.drives, (place.drive, place.blow), NUMBERS, test.system)
    data = record_data(test, drive, place.blow, ("waves",)) | {"tall": 300}
    draw_record(data, "resistance_record", lambda blow: state.look_at(drive.name, blow))
    names = ("damping_factor", "case_resistance", "case_resistance_maximum", "case_resistance_toe_at_rest")
    pieces.how(*names, "case_resistance_unloading", "matched_resistance", "range of the matched resistance")


def means(review) -> str:
    """Give the meaning of the answer: the last drive against the required resistance, and its doubts."""
    drive, required = review.drives[-1], review.answers.required.value
    if drive.trust.answer == "no" or drive.representative is None:
        return pieces.BAD
    match = drive.match
    if match is None or not match.fitted or drive.lower_bound:
        return pieces.CARE
    short = required is not None and match.matched_resistance_range[0] < required
    return pieces.CARE if short or drive.trust.answer != "yes" else pieces.GOOD


def choose_factor(test, value: float) -> None:
    """Set another damping factor; the representative blows and their matches stay the same."""
    before = {drive.name: drive.representative for drive in work.drives(test)}
    state.change(test.as_read, damping_factor=value)
    after = {drive.name: drive.representative for drive in work.drives(work.test())}
    moved = {name: one.blow for name, one in before.items() if one is not None and one.blow != after[name].blow}
    if moved:
        chosen = st.session_state["choices"]
        st.session_state["choices"] = replace(chosen, blow={**chosen.blow, **moved})


def _factor(test, drive) -> None:
    """Offer the damping factor; every result follows at once."""
    known = float(drive.table["damping_factor"].iloc[0])
    key = state.widget_key("resistance_factor", round(known, 2) if known == known else 0.5)
    st.slider(
        "Case damping factor J",
        0.0,
        1.2,
        step=0.01,
        key=key,
        on_change=state.asked(key, lambda value: choose_factor(test, float(value))),
    )
    source = {"none": "No damping factor is known: the slider shows only a starting value"}.get(
        drive.damping_source, f"The damping factor {known:.2f} is from the {drive.damping_source}"
    )
    calibrated = drive.calibrated_damping_factor
    if calibrated == calibrated:
        source += f"; with {calibrated:.2f} the Case resistance at the first peak would equal the matched one, "
        source += "and the maximum Case resistance would read high"
    pieces.draw_note(f"{source}.")


def _against_factor(test, drive, blow: int) -> None:
    waves = work.waves_of_drive(test, drive.name)
    row = int(np.flatnonzero(waves.blow == blow)[0])
    frame = resistance_against_factor(waves, row, test.sheet.pile.return_time, test.system)
    found = shelf.match_of(test, drive, blow)
    matched = None
    if found is not None and found["match"] is not None:
        match = found["match"]
        ends = (*match.matched_resistance_range, match.matched_resistance)
        low, high, value = (float(shown("matched_resistance", end, test.system)) for end in ends)
        matched = low, high, value
    pieces.draw_heading(f"Blow {blow} against the damping factor")
    draw_chart(factor_chart(frame, float(drive.table["damping_factor"].iloc[0]), matched), "resistance_against")


def _profile(test, review, place) -> None:
    tables = [drive.table for drive in review.drives]
    known = [code for code in PROFILES if any(code in table and table[code].notna().any() for table in tables)]
    pieces.draw_heading("Every blow")
    if not known:
        pieces.draw_note("Without a damping factor there is no Case resistance of every blow.")
        return
    kept = st.session_state.get("resistance_drawn", known[0])
    key = state.widget_key("resistance_profile", kept if kept in known else known[0])
    code = st.selectbox(
        "Resistance of every blow",
        known,
        key=key,
        format_func=lambda code: title(code, test.system),
        label_visibility="collapsed",
        on_change=state.asked(key, lambda value: st.session_state.update(resistance_drawn=value)),
    )
    required, limits = review.answers.required.value, {}
    if required is not None and code not in ("shaft_resistance", "toe_resistance"):
        limits[code] = (required, f"required {show_required(required, test.system)}", palette.ACCENT)
    data = profile_data(test.sheet, test.key, review.drives, [code], limits=limits, at=(place.drive, place.blow))
    draw_profiles(data, "resistance_profile_picture", state.look_at)
