"""The page on the report: report with notes and sign-off, tables, and choices."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pandas as pd
import streamlit as st

from dyntest.errors import InputError
from dyntest.presenting.sentences import (
    criterion_sentence,
    drive_words,
    resistance_sentence,
    setup_sentence,
    stress_sentences,
    trust_sentence,
)
from dyntest.presenting.terms import names_in_sentence
from dyntest.reading.notes import (
    DECISIONS,
    NOTES_FILE,
    Note,
    Notes,
    SignOff,
    change_notes,
    fingerprint,
    notes_toml,
    read_notes,
)

from .. import matching, pieces, state, work

PAPERS = {"US": "US Letter", "SI": "A4"}
"""Paper size by display units."""


def draw() -> None:
    """Draw the page."""
    test = work.test()
    above, choices = st.container(), st.container()
    with choices:
        _choices(test)
    with above:
        review = work.review(test, criterion=True)
        unmatched = [drive for drive in review.drives if drive.match is None and not drive.match_problem]
        alerted = pieces.alerted(test, review)
        told = ["The report has these answers, how each number was computed, and the files used."]
        if unmatched:
            names = names_in_sentence([drive_words(drive) for drive in unmatched])
            of_them = "it" if len(unmatched) == 1 else "them"
            told.append(f"Not yet matched: {names}. The report will have no matched resistance for {of_them}.")
        pieces.draw_answer(told, pieces.BAD if alerted else pieces.CARE if unmatched else pieces.GOOD)
        matching.offer(test, review.drives, "report")
        _files(test, review)
        _notes(test, review)
        pieces.draw_heading("Answers in the report")
        sentences = [trust_sentence(review), *stress_sentences(review)]
        sentences += [resistance_sentence(review, drive) for drive in review.drives]
        sentences += [setup_sentence(setup) for setup in review.answers.setups]
        pieces.draw_list([*sentences, criterion_sentence(review)])
    with st.expander("Files and their SHA-256"):
        pieces.worded(pd.DataFrame({"file": list(review.inputs), "SHA-256": list(review.inputs.values())}))


def _files(test, review) -> None:
    """Offer the report, tables and summary for download."""
    pieces.draw_heading("Download")
    row = st.container(horizontal=True, vertical_alignment="center")
    with row:
        paper = st.segmented_control(
            "Paper",
            list(PAPERS.values()),
            default=PAPERS[test.system],
            required=True,
            key="report_paper",
            label_visibility="collapsed",
            width="content",
        )
    key = work.review_key(test, review) + fingerprint({"": repr(read_notes(test.sheet.path))})
    if row.button("Make the report", key="report_make", type="primary"):
        st.session_state["report"] = (key, paper, work.report(key, paper, review))
    made = st.session_state.get("report")
    name = _file_name(test.sheet.pile_name)
    if made is not None and made[:2] == (key, paper):
        row.download_button(
            "Download the report (PDF)",
            made[2],
            f"{name}_report.pdf",
            "application/pdf",
            key="report_save",
            type="primary",
            on_click="ignore",
        )
    elif made is not None:
        pieces.draw_note("Inputs or choices were changed since the report was made; make it again.")
    row.download_button(
        "Summary (JSON)",
        work.summary_file(key, review),
        f"{name}_summary.json",
        "application/json",
        key="report_summary",
        on_click="ignore",
    )
    for drive in review.drives:
        row.download_button(
            f"Every blow, {drive.name.replace('_', ' ')} (CSV)",
            work.blows(f"{key} {drive.name}", test.system, drive),
            f"{name}_blows_{drive.name}.csv",
            "text/csv",
            key=f"report_blows_{drive.name}",
            on_click="ignore",
        )


def _notes(test, review) -> None:
    """Show notes and sign-off saved beside the sheet, and offer to add to them."""
    pieces.draw_heading("Notes and sign-off")
    kept, path = read_notes(test.sheet.path), test.sheet.path
    now = fingerprint(review.inputs)
    if kept.notes:
        rows = [(note.day.isoformat(), note.name, note.text) for note in kept.notes]
        pieces.worded(pd.DataFrame(rows, columns=["date", "name", "note"]))
    signed = kept.sign_off
    if signed is not None:
        told = f"{signed.decision[0].upper()}{signed.decision[1:]} by {signed.name} on {signed.day.isoformat()}"
        told += f": {signed.reasons}" if signed.reasons else ""
        if signed.fingerprint == now:
            pieces.draw_note(told)
        else:
            cure = "review the changes and sign again"
            pieces.draw_cautions([("sign-off", f"{told}; the files have been changed since", cure)])
    shown = st.session_state.get("sign_shown")
    st.session_state["sign_shown"] = now, signed  # nobody can sign what was not shown
    who = st.session_state.get("signer", test.sheet.engineer)
    left, right = st.columns(2)
    for problem in st.session_state.pop("report_problems", []):
        st.error(pieces.plain(problem), icon=":material/error:")
    with left, st.form("report_note"):
        st.text_area("A note", key="report_note_text", max_chars=4000, height=96)
        st.text_input("Name", who, key="report_note_name")
        st.form_submit_button("Add the note", on_click=state.once("report_note", _add_note), args=(path,))
    with right, st.form("report_sign"):
        decision = st.selectbox("Decision", DECISIONS, key="report_decision")
        reasons = st.text_input("Reasons", key="report_reasons")
        name = st.text_input("Name", who, key="report_sign_name")
        signing = st.form_submit_button("Sign")
        if signing and not name.strip():
            st.error("Enter your name to sign\\.", icon=":material/error:")
        elif signing:
            if shown not in (None, (now, signed)):
                problem = "the files or the sign-off were changed by another program after this page was shown"
                raise InputError("sign-off", "", problem, "review the pages again, then sign")
            sign_off = SignOff(name.strip(), date.today(), decision, reasons.strip(), now)
            _keep(path, lambda notes: replace(notes, sign_off=sign_off), name)
    if kept.notes or signed:
        pieces.draw_note(f"They are saved in {NOTES_FILE} beside the sheet and printed in the report.")
        st.download_button("Download the notes", notes_toml(kept), NOTES_FILE, key="report_notes", on_click="ignore")


def _add_note(sheet) -> None:
    """Add a note as it is typed; what cannot be added yet stays in its field."""
    text, name = ((state.typed(f"report_note_{field}") or "").strip() for field in ("text", "name"))
    if not (text and name):
        st.session_state["report_problems"] = ["Write the note and your name; it is not added yet."]
        return
    try:
        change_notes(sheet, lambda now: replace(now, notes=(*now.notes, Note(text, name, date.today()))))
    except InputError as problem:
        st.session_state["report_problems"] = [str(problem)]
        return
    st.session_state["report_note_text"] = ""
    st.session_state["signer"] = name


def _keep(sheet, change: Callable[[Notes], Notes], name: str) -> None:
    change_notes(sheet, change)
    st.session_state["signer"] = name.strip()
    st.rerun()


def _choices(test) -> None:
    """Show the choices, and offer to save them in a sheet or to restore those of the sheet."""
    from dyntest.presenting.sentences import choice_rows

    pieces.draw_heading("Choices made on these pages")
    rows = choice_rows(test.sheet)
    if rows.empty:
        pieces.draw_note("None: the program's rules apply.")
    else:
        pieces.worded(rows)
    problem = st.session_state.pop("not_saved", "")
    if problem:
        st.error(pieces.plain(problem), icon=":material/error:")
    row = st.container(horizontal=True)
    row.download_button(
        "Download the sheet with these choices",
        work.sheet_text(test),
        "sheet.toml",
        "application/toml",
        key="report_sheet",
        on_click="ignore",
        help="Replace the old sheet with it; every command then gives the results on these pages.",
    )
    if state.choices(test.as_read) != test.as_read.choices:
        row.button("Save them in the sheet", key="report_write", on_click=work.save_choices, args=(test,))
        row.button("Restore the choices of the sheet", key="report_reset", on_click=state.reset)


def _file_name(pile: str) -> str:
    return "".join(character if character.isalnum() or character in "-_" else "_" for character in pile)[:60] or "pile"
