"""The page on the driving criterion: the table of strokes and counts, the card, and their basis."""

import altair as alt
import pandas as pd
import streamlit as st

from dyntest.decisions.driving_criterion import NO_STROKE
from dyntest.decisions.resistance_factors import RESISTANCE_FACTORS, resistance_factor
from dyntest.presenting import palette
from dyntest.presenting.criterion_words import inspectors_card, requirement_words
from dyntest.presenting.decision_words import told as in_words
from dyntest.presenting.frames_decisions import (
    ASKED,
    GATES,
    GRAPH,
    RULED_OUT,
    criterion_lines,
    criterion_rows,
    formula_rows,
    measured_counts,
    refusal_count,
    ruled_out_lines,
)
from dyntest.presenting.sentences import criterion_sentence, own_blow_sentences, risk_words

from .. import matching, pages, pieces, state, work
from ..charts import DASHES, FIGURES, axis, finish, layered, line_legend, named, rule_across
from ..charts import draw as draw_chart

LINES = {ASKED: (palette.ACCENT, "solid"), GRAPH: (palette.INK, "dashed"), GATES: ("#d2691e", "dotted")}
"""Colour and style of each line."""


def criterion_chart(lines: pd.DataFrame, measured: pd.DataFrame, refusal: float, height: int = 420) -> alt.LayerChart:
    """Give counts against stroke; the shaded area at or above the line meets the criterion."""
    drawn, titles = named(lines)
    asked, barred = drawn[drawn["c2"] == ASKED], drawn[drawn["c2"] == RULED_OUT]
    top = max(float(drawn["c1"].max()), refusal, float(measured.iloc[:, 1].max()) if len(measured) else 0.0) * 1.12
    low, high = float(drawn["c0"].min()), float(drawn["c0"].max())
    seen = measured.iloc[:, 0].tolist()
    first, last = min([low, *seen]), max([high, *seen])
    margin = 0.04 * max(last - first, 0.1)
    across = alt.Scale(domain=[first - margin, last + margin], nice=False)
    x = alt.X("c0:Q", axis=axis(titles["c0"], tickCount=10), scale=across)
    y = alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(domain=[0.0, top], nice=False))
    accent = pages.colour(palette.ACCENT)
    area = alt.Chart(asked.assign(top=top)).mark_area(color=accent, opacity=0.14, clip=True)
    colours = [pages.colour(colour) for colour, _ in LINES.values()]
    dashes = [DASHES[dash] for _, dash in LINES.values()]
    legend = line_legend(columns=3)
    shared = {
        "color": alt.Color("c2:N", scale=alt.Scale(domain=list(LINES), range=colours), legend=legend),
        "strokeDash": alt.StrokeDash("c2:N", scale=alt.Scale(domain=list(LINES), range=dashes), legend=legend),
    }
    tips = [alt.Tooltip("c2:N", title="line"), alt.Tooltip("c0:Q", title=titles["c0"], format=FIGURES)]
    tips.append(alt.Tooltip("c1:Q", title=titles["c1"], format=FIGURES))
    steps = alt.Chart(asked).mark_line(strokeWidth=2.5, clip=True).encode(x=x, y=y, **shared)
    others = (
        alt.Chart(drawn[drawn["c2"].isin([GRAPH, GATES])])
        .mark_line(strokeWidth=2, clip=True)
        .encode(x=x, y=y, **shared)
    )
    spots = alt.Chart(drawn).mark_point(opacity=0, size=110).encode(x=x, y=y, tooltip=tips)
    words = pd.DataFrame({"x": [float(asked["c0"].min())], "y": [top], "t": ["meets the criterion"]})
    inside = (
        alt.Chart(words)
        .mark_text(color=accent, align="left", dx=6, dy=12)
        .encode(x=alt.X("x:Q"), y=alt.Y("y:Q"), text=alt.Text("t:N"))
    )
    layers = [area.encode(x=x, y=y, y2=alt.Y2("top:Q")), steps, others, spots, inside]
    if len(measured):
        blows, _ = named(measured)
        colour = pages.colour(palette.DRIVES["initial"])
        marks = alt.Chart(blows).mark_point(size=70, color=colour, strokeWidth=2, filled=False, opacity=0.9)
        layers.append(marks.encode(x=x, y=y, tooltip=tips[1:]))
    if len(barred):
        crosses = alt.Chart(barred).mark_point(shape="cross", angle=45, size=90, color=pages.colour(palette.WARNING))
        layers.append(crosses.encode(x=x, y=y, tooltip=tips))
    layers.append(rule_across(refusal, "practical refusal", pages.colour(palette.WARNING)))
    described = (
        "Required blow count at each stroke, the bearing graph, the modified Gates formula, and the measured blows."
    )
    return finish(layered(*layers), height, described)


CREDIT = {
    None: "not decided, so not credited",
    True: "credit the measured setup",
    False: "do not credit the measured setup",
}
"""Choices on measured setup."""


def draw() -> None:
    """Draw the page."""
    test = work.test()
    above, choices, below = st.container(), st.container(), st.container()
    plain = work.review(test)
    with choices:  # drawn before the criterion, so that a choice that causes an error can be undone
        _choices(test, plain)
    with above:
        review = work.review(test, criterion=True)
        found = review.answers.criterion
        usable = found is not None and found.criterion is not None
        alerted = pieces.alerted(test, review)
        care = usable and (not found.agrees or bool(found.cautions))
        pieces.draw_answer(
            [criterion_sentence(review)],
            pieces.BAD if alerted or not usable else pieces.CARE if care else pieces.GOOD,
        )
        matching.offer(test, review.drives, "criterion")
        if usable:
            _table(test, review)
    with below:
        _behind(test, review)


def _table(test, review) -> None:
    """Show the table of strokes and counts, the card, and the last blows of the test pile."""
    found = review.answers.criterion
    left, right = st.columns([3, 2])
    with left:
        pieces.worded(criterion_rows(found, test.system), numeric=True)
        pieces.draw_list(ruled_out_lines(found, test.system))
        pieces.draw_note(risk_words())
        pieces.draw_list(own_blow_sentences(found, test.system))
    with right:
        st.download_button(
            "Download the card (PDF)",
            work.criterion_card(work.card_key(test, review), review),
            "criterion_card.pdf",
            "application/pdf",
            key="criterion_card",
            on_click="ignore",
            type="primary",
        )
        words = inspectors_card(found.criterion, test.system)
        pieces.draw_list([*words.sentences, words.basis], bordered=True)


def _behind(test, review) -> None:
    """Show the basis of the criterion."""
    found, required = review.answers.criterion, review.answers.required
    if required.value is not None:
        pieces.draw_note(f"Required: {requirement_words(required, test.system)} ({required.source}).")
    decided = () if found is None else tuple(one for one in found.cautions if one not in found.alerts)
    if found is not None and found.criterion is None:
        decided = tuple(one for one in decided if one.kind not in NO_STROKE)  # the answer above says that
    told = [in_words(one, test.system) for one in (*required.cautions, *decided)]
    pieces.draw_cautions((one.check, one.message, one.cure) for one in told)
    names = ["required resistance", "resistance at the end of driving", "driving criterion"]
    if found is not None:
        if found.criterion is not None:
            lines, measured = criterion_lines(found, test.system), measured_counts(found, test.system)
            draw_chart(criterion_chart(lines, measured, refusal_count(found, test.system)), "criterion_chart")
            told_below = "Circles: the last measured blows of the initial drive whose stroke and set are known."
            if RULED_OUT in set(lines["line"]):
                told_below += " Crosses: strokes not to be used, with reasons below the table."
            pieces.draw_note(told_below)
        pieces.draw_heading("Dynamic formulas for comparison")
        pieces.worded(formula_rows(found, test.system))
        names += ["hammer", "bearing graph", "modified Gates formula"]
    pieces.how(*names)


def _choices(test, review) -> None:
    """Offer the verification method and the setup credit."""
    left, right = st.columns(2)
    asked = test.sheet.requirement
    chosen = test.sheet.choices
    with left:
        if asked.factored_load is not None:
            way = None if chosen.verification is None else resistance_factor(chosen.verification)
            ways = [None, *RESISTANCE_FACTORS]
            if way is not None and way.verification not in ways:  # of EN 1997-1, whose number of tested piles is free
                ways.append(way.verification)
            key = state.widget_key("criterion_verification", None if way is None else way.verification)
            st.selectbox(
                "Verification of the resistance in the field",
                ways,
                key=key,
                placeholder="not chosen",
                format_func=lambda way: "not chosen" if way is None else f"{way}: {resistance_factor(way).value:.2f}",
                on_change=state.asked(key, lambda way: state.change(test.as_read, verification=way)),
            )
            if way is not None:
                pieces.draw_note(f"It requires {way.condition}.")
        else:
            pieces.draw_note("The sheet gives the nominal resistance, so no resistance factor is chosen here.")
    with right:
        if review.answers.setups:
            key = state.widget_key("criterion_credit", chosen.setup_credit)
            st.selectbox(
                "Setup measured by a restrike",
                list(CREDIT),
                key=key,
                placeholder=str(CREDIT[None]),
                format_func=CREDIT.__getitem__,
                on_change=state.asked(key, lambda credit: state.change(test.as_read, setup_credit=credit)),
            )
