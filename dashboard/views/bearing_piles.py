"""The bearing piles side by side, as deep as each stands.

The page that asks whether the bearing piles meet the criterion, and whether any of them behaves strangely.
"""

from pathlib import Path

import altair as alt
import pandas as pd
import streamlit as st

from dyntest.errors import DyntestError
from dyntest.names import show
from dyntest.presenting import palette
from dyntest.presenting.bearing_pile_answers import answer, check_files
from dyntest.presenting.frames import shown
from dyntest.presenting.frames_decisions import FAILS, MEETS, bearing_rows, pile_depths
from dyntest.presenting.sentences import criterion_sentence

from .. import look, matching, pieces, samples, uploads, work
from ..charts.base import axis, finish, layered, named, rule_across
from ..charts.base import draw as draw_chart

COLOURS = {MEETS: palette.DRIVES["initial"], FAILS: palette.WARNING}
"""Colour of a pile by whether it meets the criterion; those that do not are hatched by their outline besides."""


def piles_chart(frame: pd.DataFrame, minimum: float | None, height: int = 400) -> alt.LayerChart:
    """Give each pile as deep as it stands, where it first met the criterion, and a mark on those to be looked at."""
    drawn, titles = named(frame.dropna(subset=[frame.columns[1]]))
    order = alt.X("c0:N", axis=axis("pile", labelAngle=-60), sort=None)
    deepest = 1.1 * max(float(drawn["c1"].max()), minimum or 0.0)  # room for the signs below the piles
    deep = alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(domain=[0.0, deepest], reverse=True))
    colours = alt.Scale(domain=list(COLOURS), range=[look.colour(colour) for colour in COLOURS.values()])
    legend = alt.Legend(orient="top")
    tips = [alt.Tooltip("c0:N", title="pile"), alt.Tooltip("c3:N", title="shows")]
    tips += [alt.Tooltip("c1:Q", title=titles["c1"], format=".1f"), alt.Tooltip("c5:N", title="because")]
    bars = (
        alt.Chart(drawn)
        .mark_bar(opacity=0.75)
        .encode(
            x=order,
            y=deep,
            color=alt.Color("c3:N", scale=colours, legend=legend),
            strokeWidth=alt.condition(alt.datum.c3 == FAILS, alt.value(3), alt.value(0)),
            stroke=alt.value(look.colour(palette.INK)),
            tooltip=tips,
        )
    )
    ink = look.colour(palette.INK)
    met = alt.Chart(drawn.dropna(subset=["c2"])).mark_tick(color=ink, thickness=3).encode(x=order, y="c2:Q")
    odd = drawn[drawn["c4"]].assign(sign="?")
    signs = alt.Chart(odd).mark_text(color=ink, fontSize=17, fontWeight="bold", dy=12)
    layers = [bars, met, signs.encode(x=order, y="c1:Q", text="sign:N", tooltip=tips)]
    if minimum is not None:
        layers.append(rule_across(minimum, "", look.colour(palette.ACCENT)))
    return finish(layered(*layers), height, "The bearing piles side by side, as deep as each stands.")


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
