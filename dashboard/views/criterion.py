"""The page that asks what to tell the inspectors."""

import streamlit as st

from dashboard import matching, pieces, state, work
from dashboard.charts.base import draw as draw_chart
from dashboard.charts.criterion import criterion_chart
from dyntest.decisions.criterion_words import card
from dyntest.decisions.resistance_factors import RESISTANCE_FACTORS
from dyntest.presenting.frames_criterion import (
    RULED_OUT,
    criterion_lines,
    criterion_rows,
    formula_rows,
    measured_counts,
    refusal_count,
)
from dyntest.presenting.sentences import alert_sentences, criterion_sentence

CREDIT = {None: "not decided, so not counted on", True: "count on it", False: "do not count on it"}
"""What can be decided about setup that a restrike measured."""


def draw() -> None:
    """Draw the page."""
    pieces.question("criterion")
    test = work.test()
    review = work.review(test, criterion=True)
    found = review.answers.criterion
    alerts = alert_sentences(review)
    pieces.answer([*alerts, criterion_sentence(review)], bad=bool(alerts) or found is None or found.criterion is None)
    matching.offer(test, review.drives, "criterion")
    _choices(test, review)
    required = review.answers.required
    if required.value is not None:
        pieces.note(f"Required: {required.how} ({required.source}).")
    for caution in required.cautions:
        pieces.caution(caution.check, caution.message, caution.cure)
    if found is None:
        pieces.how("required resistance", "resistance at the end of driving", "driving criterion")
        return
    if found.criterion is not None:
        pieces.heading("Blows to be counted at each stroke")
        lines, measured = criterion_lines(found, test.system), measured_counts(found, test.system)
        draw_chart(criterion_chart(lines, measured, refusal_count(found, test.system)), "criterion_chart")
        told = "Circles: the last measured blows of the initial drive, where their stroke and set are known."
        if RULED_OUT in set(lines["line"]):
            told += " Crosses: strokes that are not to be used, for the reasons in the table."
        pieces.note(told)
    for caution in found.cautions:
        pieces.caution(caution.check, caution.message, caution.cure)
    pieces.worded(criterion_rows(found, test.system))
    if found.criterion is not None:
        _card(test, review)
    pieces.heading("What other ways make of the measured blows")
    pieces.worded(formula_rows(found, test.system))
    names = ("required resistance", "resistance at the end of driving", "hammer", "bearing graph", "driving criterion")
    pieces.how(*names, "modified Gates formula")


def _choices(test, review) -> None:
    """Let a person say how resistance is verified and whether setup counts."""
    left, right = st.columns(2)
    asked = test.sheet.requirement
    chosen = test.sheet.choices
    with left:
        if asked.factored_load is not None:
            ways = [None, *RESISTANCE_FACTORS]
            key = state.shown("criterion_verification", chosen.verification)
            st.selectbox(
                "How the resistance is verified in the field",
                ways,
                key=key,
                format_func=lambda way: "not chosen" if way is None else f"{way}: {RESISTANCE_FACTORS[way].value:.2f}",
                on_change=state.asked(key, lambda way: state.change(test.as_read, verification=way)),
            )
            if chosen.verification in RESISTANCE_FACTORS:
                pieces.note(f"It asks for {RESISTANCE_FACTORS[chosen.verification].condition}.")
        else:
            pieces.note("The sheet states the nominal resistance itself, so no resistance factor is chosen here.")
    with right:
        if review.answers.setups:
            key = state.shown("criterion_credit", chosen.setup_credit)
            st.selectbox(
                "Setup that a restrike measured",
                list(CREDIT),
                key=key,
                format_func=CREDIT.get,
                on_change=state.asked(key, lambda credit: state.change(test.as_read, setup_credit=credit)),
            )


def _card(test, review) -> None:
    """Show what an inspector carries, and let it be taken along."""
    sentences = card(review.answers.criterion.criterion, test.system)
    pieces.heading("For the inspector")
    pieces.listed(sentences, bordered=True)
    st.download_button(
        "Save the card (PDF)",
        lambda: work.criterion_card(review),
        "criterion_card.pdf",
        "application/pdf",
        key="criterion_card",
        on_click="ignore",
    )


if __name__ == "__main__":
    pieces.guarded(draw)
