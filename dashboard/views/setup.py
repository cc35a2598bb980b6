"""The page on setup or relaxation of the pile."""

import altair as alt
import numpy as np
import pandas as pd
import streamlit as st

from dyntest.decisions.setup import compared_for_sure, lost
from dyntest.names import decimal, percent, show_required
from dyntest.presenting import palette
from dyntest.presenting.decision_words import told as in_words
from dyntest.presenting.frames import shown, title
from dyntest.presenting.frames_decisions import (
    fade_line,
    law_over_time,
    law_requirement,
    law_title,
    measured_over_time,
    setup_rows,
)
from dyntest.presenting.frames_record import by_blow
from dyntest.presenting.sentences import drive_words, law_words, rate_sentence, sentence, setup_sentence
from dyntest.presenting.terms import drive_name
from dyntest.reviewing.answers import fade_basis

from .. import matching, pages, pieces, state, work
from ..charts import DASHES, FIGURES, axis, finish, layered, named
from ..charts import draw as draw_chart
from ..charts.record import overlay_data
from ..components import draw_record


def time_chart(
    points: pd.DataFrame, line: pd.DataFrame, required: tuple[float, str] | None, height: int = 380
) -> alt.LayerChart:
    """Give resistance against the logarithm of time, with the fitted law; dashed beyond the measurements.

    `required` has the level of the required resistance and its words.
    """
    ink, accent = pages.colour(palette.INK), pages.colour(palette.ACCENT)
    drawn, titles = named(line)
    seen, _ = named(points)
    scale = alt.Scale(type="log", nice=False)
    x = alt.X("c0:Q", axis=axis(titles["c0"], format="~g", tickCount=6), scale=scale)
    y = alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(zero=False))
    unit = titles["c1"].partition("[")[2].rstrip("]")
    low = alt.Y("c2:Q", axis=axis(titles["c1"]))
    band = alt.Chart(drawn).mark_area(color=ink, opacity=0.12).encode(x=x, y=low, y2=alt.Y2("c3:Q"))
    inside = alt.Chart(drawn[drawn["c4"]]).mark_line(color=ink, strokeWidth=2).encode(x=x, y=y)
    outside = alt.Chart(drawn[~drawn["c4"]]).mark_line(color=ink, strokeWidth=2, strokeDash=DASHES["dashed"])
    kinds = [kind for kind in palette.DRIVES if kind in set(seen["c4"])]
    colours = alt.Scale(domain=kinds, range=[pages.colour(palette.DRIVES[kind]) for kind in kinds])
    shapes = alt.Scale(domain=kinds, range=["circle", "square"][: len(kinds)])
    legend = alt.Legend(orient="top")
    numbers = seen[["c1", "c2", "c3"]].to_numpy()
    told = seen.assign(
        told=[
            f"{decimal(value, 0)} {unit} ({decimal(least, 0)} to {decimal(most, 0)})" for value, least, most in numbers
        ]
    )
    colour = alt.Color("c4:N", scale=colours, legend=legend)
    bars = alt.Chart(told).mark_rule(strokeWidth=2.5).encode(x=x, y=alt.Y("c2:Q"), y2=alt.Y2("c3:Q"), color=colour)
    tips = [alt.Tooltip("c4:N", title="drive"), alt.Tooltip("c0:Q", title="days", format=FIGURES)]
    tips.append(alt.Tooltip("told:N", title="resistance"))
    marks = alt.Chart(told).mark_point(filled=True, size=110, opacity=1)
    marks = marks.encode(x=x, y=y, color=colour, shape=alt.Shape("c4:N", scale=shapes, legend=legend), tooltip=tips)
    layers = [band, inside, outside.encode(x=x, y=y), bars, marks]
    if required is not None:
        rule = pd.DataFrame({"v": [required[0]], "t": [required[1]]})
        base = alt.Chart(rule)
        layers.append(base.mark_rule(color=accent, strokeDash=DASHES["dashdot"]).encode(y=alt.Y("v:Q")))
        words = base.mark_text(color=accent, align="right", dx=-4, dy=-8, x="width")
        layers.append(words.encode(y=alt.Y("v:Q"), text=alt.Text("t:N")))
    return finish(layered(*layers), height, "Resistance against the logarithm of time since the initial drive.")


def fade_chart(frame: pd.DataFrame, line: pd.DataFrame, heading: str, height: int = 300) -> alt.LayerChart:
    """Give resistance over the blows of a restrike, with the line through the first blows."""
    colour = pages.colour(palette.DRIVES["restrike"])
    x = alt.X("along:Q", axis=axis("blow number", tickMinStep=1), scale=alt.Scale(zero=False, nice=False, padding=10))
    y = alt.Y("value:Q", axis=axis(heading), scale=alt.Scale(zero=False))
    tips = [alt.Tooltip("along:Q", title="blow"), alt.Tooltip("value:Q", title=heading, format=FIGURES)]
    points = alt.Chart(frame).mark_point(shape="square", filled=True, size=60, color=colour, opacity=1)
    fitted = alt.Chart(line).mark_line(color=pages.colour(palette.INK), strokeWidth=2, strokeDash=DASHES["dashed"])
    layers = layered(points.encode(x=x, y=y, tooltip=tips), fitted.encode(x=x, y=y))
    return finish(layers, height, f"{heading} over the blows of a restrike.")


MOST_COMPARED = 6
"""Most blows overlaid [1]; more cannot be distinguished."""


def draw() -> None:
    """Draw the page."""
    test = work.test()
    review = work.review(test)
    setups = review.answers.setups
    pieces.alerted(test, review)
    if not setups:
        pieces.draw_answer(["This pile has no restrike, so its setup or relaxation is not known."], pieces.CARE)
        pieces.draw_note("Add a restrike to the sheet as another [[drive]].")
    else:
        told = [setup_sentence(setup) for setup in setups]
        told += [_fading(fade, name) for name, fade in review.answers.fades.items() if fade.fades]
        loss = any(lost(factor) for _, factor in compared_for_sure(setups))
        unsure = any(setup.cautions for setup in setups) or any(drive.match is None for drive in review.drives)
        pieces.draw_answer(told, pieces.BAD if loss else pieces.CARE if unsure else pieces.GOOD)
    matching.offer(test, review.drives, "setup")
    if review.answers.time_law is not None:
        _law(test, review)
    if setups:
        pieces.draw_heading("Setup factors")
        pieces.draw_note("Resistance at the restrike over that at the end of initial driving, with its range.")
        pieces.worded(setup_rows(setups))
    pieces.draw_heading("Overlay")
    _overlay(test, review)
    if review.answers.fades:
        _fades(test, review)
    pieces.draw_cautions(
        (f"{drive_name(setup.restrike)}, {one.check}", one.message, one.cure)
        for setup in setups
        for one in (in_words(caution, test.system) for caution in setup.cautions)
    )
    pieces.how("setup_factor", "resistance over time", "resistance during a restrike")


def _fading(fade, name: str) -> str:
    words = name.replace("_", " ").capitalize()
    return f"{words}: resistance fell by {percent(fade.lost_share)} over its first {fade.span} blows."


def _overlay(test, review) -> None:
    """Overlay blows of any drives; first the representative ones."""
    names = {_called(drive, blow): (drive, int(blow)) for drive in review.drives for blow in _some(drive)}
    standing = [_called(drive, drive.representative.blow) for drive in review.drives if drive.representative]
    kept = [name for name in st.session_state.get("compared", standing) if name in names]
    key = state.widget_key("setup_blows", kept)
    chosen = st.multiselect(
        "Blows; the others are compared with the first",
        list(names),
        key=key,
        max_selections=MOST_COMPARED,
        on_change=state.asked(key, lambda value: st.session_state.update(compared=value)),
    )
    if not chosen:
        pieces.draw_note("Choose blows to overlay.")
        return
    blows, kinds = {}, {}
    for name in chosen:
        drive, blow = names[name]
        waves = work.waves_of_drive(test, drive.name)
        blows[name] = waves, int(np.flatnonzero(waves.blow == blow)[0])
        kinds[name] = drive.kind
    draw_record(overlay_data(test, blows, kinds, len(blows) > 1), "setup_overlay")
    pieces.draw_note("Solid: force. Dashed: impedance × velocity.")


def _called(drive, blow: int) -> str:
    return f"{drive_words(drive)}, blow {blow}"


def _some(drive) -> list[int]:
    """Give the blows of a drive that can be chosen: all of a short drive, a selection of a long one."""
    blows = drive.table["blow"].to_numpy()
    step = max(1, len(blows) // 200)
    standing = [] if drive.representative is None else [drive.representative.blow]
    looked = [blow for name, blow in st.session_state.get("looked_at", {}).items() if name == drive.name]
    known = set(blows.tolist())
    return sorted({*blows[::step].tolist(), *blows[-20:].tolist(), *standing, *(b for b in looked if b in known)})


def _law(test, review) -> None:
    law = review.answers.time_law
    required = law_requirement(law, review.answers.required.value)
    asked = None
    if required is not None:
        level = float(shown("matched_resistance", required, test.system))
        asked = level, f"required {show_required(required, test.system)}"
    name = law_title(law, test.system).partition(" [")[0]
    pieces.draw_heading(f"{name[0].upper()}{name[1:]} over time")
    points, line = measured_over_time(law, test.system), law_over_time(law, test.system)
    draw_chart(time_chart(points, line, asked), "setup_time")
    told = f"{rate_sentence(law, name)} {sentence(law_words(law))}"
    if required is None and review.answers.required.value is not None:
        told += " The requirement is for shaft and toe together, so it is not drawn."
    if not line["measured"].all():
        told += " Dashed: not measured; do not rely on it."
    pieces.draw_note(told)


def _fades(test, review) -> None:
    pieces.draw_heading("Resistance over the blows of each restrike")
    shown_drives = [drive for drive in review.drives if drive.name in review.answers.fades]
    columns = st.columns(max(len(shown_drives), 2))
    for column, drive in zip(columns, shown_drives, strict=False):
        code, sound = fade_basis(drive)
        frame = by_blow({drive.name: drive.table[sound]}, code, "blow", test.system)
        line = fade_line(review.answers.fades[drive.name], int(drive.table["blow"][sound].iloc[0]), test.system)
        with column:
            pieces.draw_note(drive_words(drive).capitalize())
            draw_chart(fade_chart(frame, line, title(code, test.system)), f"setup_fade_{drive.name}")
