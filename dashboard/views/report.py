"""The page that asks what goes on file."""

import pandas as pd
import streamlit as st

from dyntest.presenting.sentences import (
    criterion_sentence,
    resistance_sentence,
    setup_sentence,
    stress_sentences,
    trust_sentence,
)

from .. import matching, pieces, state, work

PAPERS = {"US": "US Letter", "SI": "A4"}
"""Paper that goes with the display units."""


def draw() -> None:
    """Draw the page."""
    pieces.question("report")
    test = work.test()
    review = work.review(test, criterion=True)
    unmatched = [drive for drive in review.drives if drive.match is None and not drive.match_problem]
    told = ["The report says all of this, how each number was computed, and which files it came from."]
    if unmatched:
        names = " and ".join(drive.name.replace("_", " ") for drive in unmatched)
        told.append(f"Not yet matched: {names}. The report then holds no matched resistance for it, and may lack more.")
    pieces.answer(told, bad=bool(unmatched))
    matching.offer(test, review.drives, "report")

    pieces.heading("What it says")
    sentences = [trust_sentence(review), *stress_sentences(review)]
    sentences += [resistance_sentence(review, drive) for drive in review.drives]
    sentences += [setup_sentence(setup) for setup in review.answers.setups]
    pieces.listed([*sentences, criterion_sentence(review)])

    _files(test, review)
    _choices(test)
    pieces.heading("Which files it came from")
    pieces.worded(pd.DataFrame({"file": list(review.inputs), "SHA-256": list(review.inputs.values())}))


def _files(test, review) -> None:
    """Let a person make the report and take it along, with tables and summary."""
    pieces.heading("Take it along")
    paper = st.segmented_control(
        "Paper", list(PAPERS.values()), default=PAPERS[test.system], key="report_paper", label_visibility="collapsed"
    )
    paper = paper or PAPERS[test.system]
    key = work.review_key(test, review)
    if st.button("Make the report", key="report_make", type="primary"):
        st.session_state["report"] = (key, paper, work.report(key, paper, review))
    made = st.session_state.get("report")
    name = _file_name(test.sheet.pile_name)
    saves = st.container(horizontal=True)
    if made is not None and made[:2] == (key, paper):
        saves.download_button(
            "Save the report (PDF)",
            made[2],
            f"{name}_report.pdf",
            "application/pdf",
            key="report_save",
            type="primary",
            on_click="ignore",
        )
    elif made is not None:
        pieces.note("Something was changed since the report was made; make it again.")
    saves.download_button(
        "Save the summary (JSON)",
        work.summary(key, review),
        f"{name}_summary.json",
        "application/json",
        key="report_summary",
        on_click="ignore",
    )
    for drive in review.drives:
        saves.download_button(
            f"Save every blow of {drive.name.replace('_', ' ')} (CSV)",
            work.blows(f"{key} {drive.name}", drive),
            f"{name}_blows_{drive.name}.csv",
            "text/csv",
            key=f"report_blows_{drive.name}",
            on_click="ignore",
        )


def _choices(test) -> None:
    """Show what was chosen, and let it be saved into a sheet or taken back."""
    from dyntest.presenting.sentences import choice_rows

    pieces.heading("What was chosen on these pages")
    rows = choice_rows(test.sheet)
    if rows.empty:
        pieces.note("Nothing: everything is as the rules have it.")
    else:
        pieces.table(rows, "report_choices", height="content")
    saves = st.container(horizontal=True)
    saves.download_button(
        "Save the sheet with these choices",
        work.sheet_text(test),
        "sheet.toml",
        "application/toml",
        key="report_sheet",
        on_click="ignore",
        help="Put it in the place of the old one, beside its tables; every command then does what these pages show",
    )
    saves.button("Go back to the choices of the sheet", key="report_reset", on_click=state.reset)


def _file_name(pile: str) -> str:
    return "".join(character if character.isalnum() or character in "-_" else "_" for character in pile)[:60] or "pile"
