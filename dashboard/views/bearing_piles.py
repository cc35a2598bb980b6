"""The page that asks whether the bearing piles meet the criterion, and whether any of them behaves strangely."""

from pathlib import Path

import streamlit as st

from dashboard import matching, pieces, samples, uploads, work
from dashboard.charts.base import draw as draw_chart
from dashboard.charts.bearing import piles_chart
from dyntest.errors import DyntestError
from dyntest.names import show
from dyntest.presenting.bearing_piles_files import check_files
from dyntest.presenting.bearing_piles_text import answer
from dyntest.presenting.frames import shown
from dyntest.presenting.frames_bearing import bearing_rows, pile_depths
from dyntest.presenting.sentences import criterion_sentence

SAVED = {"bearing_piles.csv": "Save the table of piles", "odd_piles.csv": "Save what wants a second look"}
"""Tables that can be taken along, by the names of their files."""


def draw() -> None:
    """Draw the page."""
    pieces.question("bearing_piles")
    test = work.test()
    review = work.review(test, criterion=True)
    found = review.answers.criterion
    if found is None or found.criterion is None:
        pieces.answer([f"The bearing piles cannot be judged yet. {criterion_sentence(review)}"], bad=True)
        matching.offer(test, review.drives, "bearing_piles")
        return
    chosen = _logs(test)
    if chosen is None:
        pieces.answer(["No production log is open, so no bearing pile can be judged."])
        _open(test)
        return
    check = work.bearing_piles(test, review, *chosen)
    odd = check.odd["pile"].nunique()
    pieces.answer([answer(check)], bad=bool(odd))
    minimum = found.criterion.minimum_penetration
    level = None if minimum is None else float(shown("penetration", minimum, test.system))
    draw_chart(piles_chart(pile_depths(check, test.system), level), "bearing_chart")
    told = "A dash across a pile: where it first met the criterion. A question mark: it wants a second look."
    if minimum is not None:
        told += f" The line across: minimum penetration, {show('penetration', minimum, test.system)}."
    pieces.note(told)
    pieces.heading("The piles, those that want a look first")
    pieces.worded(bearing_rows(check, test.system))
    tables = check_files(check, {})
    saves = st.container(horizontal=True)
    for name, words in SAVED.items():
        saves.download_button(words, tables[name], name, "text/csv", key=f"bearing_save_{name}", on_click="ignore")
    _open(test)
    pieces.how("bearing piles", "pay length", "driving criterion")


def _logs(test) -> tuple[Path, Path | None] | None:
    """Give the production log and table of piles that are open; with a sample those of the samples."""
    opened = st.session_state.get("production")
    if opened is not None:
        return opened
    return samples.production_log() if test.sheet.path in samples.sheets().values() else None


def _open(test) -> None:
    """Let a person open a production log with its table of piles, from disk or uploaded."""
    with st.expander("Open a production log", icon=":material/folder_open:"):
        left, right = st.columns(2)
        log = left.text_input("A production log on this computer", placeholder="/path/to/log.csv", key="bearing_log")
        piles = right.text_input("Its table of piles, where there is one", key="bearing_table_path")

        def open_paths() -> None:
            st.session_state["production"] = (Path(log).expanduser(), Path(piles).expanduser() if piles else None)

        st.button("Open them", key="bearing_open", disabled=not log, on_click=open_paths)
        sent = st.file_uploader("Or upload the production log", type=["csv"], key="bearing_log_file")
        sent_piles = st.file_uploader("And its table of piles", type=["csv"], key="bearing_piles_file")
        if st.button("Open what was uploaded", key="bearing_open_files", disabled=sent is None):
            _take(sent, sent_piles)


def _take(log, piles) -> None:
    folder = uploads.Folder()
    try:
        paths = uploads.keep([log] if piles is None else [log, piles], folder)
    except DyntestError as problem:
        st.error(pieces.plain(str(problem)), icon=":material/error:")
        return
    st.session_state["production"] = (paths[0], paths[1] if piles is not None else None)
    st.session_state["production_folder"] = folder
    st.rerun()


if __name__ == "__main__":
    pieces.guarded(draw)
