"""The page on bearing piles: whether they meet the criterion, and which are unusual."""

from pathlib import Path

import altair as alt
import pandas as pd
import streamlit as st

from dyntest.errors import DyntestError
from dyntest.names import display_unit, show
from dyntest.presenting import palette
from dyntest.presenting.bearing_pile_answers import bearing_pile_answer, check_files
from dyntest.presenting.bearing_words import reason
from dyntest.presenting.frames import shown
from dyntest.presenting.frames_decisions import (
    ACCEPTED_VERDICT,
    NO_COUNTS,
    NOT_MET,
    SECOND_LOOK,
    UNUSUAL,
    bearing_rows,
    count_title,
    pile_counts,
    pile_depths,
    pile_plan,
)
from dyntest.presenting.sentences import criterion_sentence
from dyntest.presenting.structure_board import VERDICT_MARKS

from .. import matching, pages, pieces, state, uploads, work
from ..charts import FIGURES, axis, finish, layered, named, rule_across
from ..charts import draw as draw_chart

MARKS = {name: (mark.colour, mark.shape) for name, mark in VERDICT_MARKS.items()}
"""Colour and symbol of a pile by its verdict, as on the page Structure; colour is not needed to distinguish them."""


def piles_chart(frame: pd.DataFrame, minimum: float | None, height: int = 400) -> alt.LayerChart:
    """Give the penetration of each pile, where it first met the criterion, and a mark on those to be checked."""
    first = frame.columns[1]
    drawn, titles = named(frame.assign(**{first: frame[first].fillna(0.0)}))
    order = alt.X("c0:N", axis=axis("pile", labelAngle=-60), sort=None)
    deepest = 1.1 * max(float(drawn["c1"].max()), minimum or 0.0)  # room for the signs below the piles
    deep = alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(domain=[0.0, deepest], reverse=True))
    known = [name for name in MARKS if name in set(drawn["c3"])]
    colours = alt.Scale(domain=known, range=[pages.colour(MARKS[name][0]) for name in known])
    legend = alt.Legend(orient="top")
    tips = [alt.Tooltip("c0:N", title="pile"), alt.Tooltip("c3:N", title="shows")]
    tips += [alt.Tooltip("c1:Q", title=titles["c1"], format=FIGURES), alt.Tooltip("c5:N", title="because")]
    bars = (
        alt.Chart(drawn)
        .mark_bar(opacity=0.75)
        .encode(
            x=order,
            y=deep,
            color=alt.Color("c3:N", scale=colours, legend=legend),
            strokeWidth=alt.condition(alt.datum.c3 == NOT_MET, alt.value(3), alt.value(0)),
            stroke=alt.StrokeValue(pages.colour(palette.INK)),
            tooltip=tips,
        )
    )
    ink = pages.colour(palette.INK)
    met = alt.Chart(drawn.dropna(subset=["c2"])).mark_tick(color=ink, thickness=3).encode(x=order, y=alt.Y("c2:Q"))
    odd = drawn[drawn["c4"]].assign(sign="?")
    signs = alt.Chart(odd).mark_text(color=ink, fontSize=17 if len(drawn) <= 30 else 10, fontWeight="bold", dy=12)
    layers = [bars, met, signs.encode(x=order, y=alt.Y("c1:Q"), text=alt.Text("sign:N"), tooltip=tips)]
    if minimum is not None:
        layers.append(rule_across(minimum, "", pages.colour(palette.ACCENT)))
    return finish(layered(*layers), height, "Penetration of the bearing piles, side by side.")


MOST_MARKS = 150
"""Most piles on a plan that are labelled [1]."""


def plan_chart(
    frame: pd.DataFrame,
    chosen: str | None,
    height: int = 330,
    *,
    placed: bool = True,
) -> alt.LayerChart:
    """Give the plan of the piles, with symbol and colour for the verdict on each, or a grid without coordinates."""
    drawn, titles = named(frame)
    few = len(drawn) <= MOST_MARKS
    ink = pages.colour(palette.INK)
    pick = alt.selection_point(name="pick", fields=["c2"], on="click", nearest=True, empty=False)
    padded = alt.Scale(zero=False, padding=24)
    x = alt.X("c0:Q", axis=axis(titles["c0"]) if placed else None, scale=padded)
    y = alt.Y("c1:Q", axis=axis(titles["c1"]) if placed else None, scale=padded)
    domain = [name for name in MARKS if name in set(drawn["c3"])]
    colours = alt.Scale(domain=domain, range=[pages.colour(MARKS[name][0]) for name in domain])
    shapes = alt.Scale(domain=domain, range=[MARKS[name][1] for name in domain])
    legend = alt.Legend(orient="top")
    tips = [alt.Tooltip("c2:N", title="pile"), alt.Tooltip("c3:N", title="shows"), alt.Tooltip("c5:N", title="because")]
    points = (
        alt.Chart(drawn)
        .mark_point(size=260 if few else 60, strokeWidth=2.5, filled=True, opacity=0.9)
        .encode(
            x=x,
            y=y,
            color=alt.Color("c3:N", scale=colours, legend=legend),
            shape=alt.Shape("c3:N", scale=shapes, legend=legend),
            tooltip=tips,
        )
        .add_params(pick)
    )
    names = alt.Chart(drawn if few else drawn.iloc[:0]).mark_text(dy=19, fontSize=10.5, color=ink)
    signs = alt.Chart(drawn[drawn["c4"].astype(bool) & few].assign(sign="?")).mark_text(
        dx=14, dy=-10, fontWeight="bold", fontSize=15, color=ink
    )
    layers: list[alt.Chart | alt.LayerChart] = [
        points,
        names.encode(x=x, y=y, text=alt.Text("c2:N")),
        signs.encode(x=x, y=y, text=alt.Text("sign:N")),
    ]
    if chosen is not None:
        here = alt.Chart(drawn[drawn["c2"] == chosen])
        ring = here.mark_point(size=620, strokeWidth=2.5, color=pages.colour(palette.ACCENT), filled=False)
        layers.append(ring.encode(x=x, y=y))
    return finish(layered(*layers), height, "Plan of the bearing piles, with the status of each.")


def log_chart(frame: pd.DataFrame, unit: str, count: str, minimum: float | None, height: int = 420) -> alt.LayerChart:
    """Give the count of each interval of a pile's log against depth, and the count required at its stroke.

    A minimum penetration far above the first interval is not drawn, since it would leave no room for the log.
    """
    first, last = float(frame["top"].min()), float(frame["bottom"].max())
    if minimum is not None and minimum < first - 0.25 * (last - first):
        minimum = None
    deep = alt.Y("top:Q", axis=axis(f"penetration of the toe [{unit}]"), scale=alt.Scale(reverse=True, zero=False))
    ink, accent = pages.colour(palette.INK), pages.colour(palette.ACCENT)
    tips = [alt.Tooltip(f"{name}:Q", format=FIGURES) for name in ("top", "bottom", "counted", "required", "stroke")]
    tips.append(alt.Tooltip("remark:N"))
    base = alt.Chart(frame.assign(zero=0.0))
    bars = base.mark_rect(fill=ink, opacity=0.5, stroke=ink, strokeWidth=0.4).encode(
        x=alt.X("zero:Q", axis=axis(count, tickMinStep=1)),
        x2=alt.X2("counted:Q"),
        y=deep,
        y2=alt.Y2("bottom:Q"),
        tooltip=tips,
    )
    required = base.mark_rule(color=accent, strokeWidth=2.5).encode(
        x=alt.X("required:Q"), y=deep, y2=alt.Y2("bottom:Q"), tooltip=tips
    )
    layers: list[alt.Chart | alt.LayerChart] = [bars, required]
    if minimum is not None:
        layers.append(rule_across(minimum, "minimum penetration", accent))
    return finish(layered(*layers), height, "Counts of one pile's log against the counts required at its strokes.")


SAVED = {"bearing_piles.csv": "Download the table of piles", "odd_piles.csv": "Download the piles to check"}
"""Tables that can be downloaded, by file name."""

FILTERS = ("all", NOT_MET, SECOND_LOOK, UNUSUAL, NO_COUNTS, ACCEPTED_VERDICT)
"""Selections of piles."""


def draw() -> None:
    """Draw the page."""
    test = work.test()
    above, opening = st.container(), st.container()
    with opening:  # drawn first, so that an unreadable log can be replaced
        _open(test)
    with above:
        _answered(test)


def _answered(test) -> None:
    review = work.review(test, criterion=True)
    found = review.answers.criterion
    if found is None or found.criterion is None:
        pieces.alerted(test, review)
        pieces.draw_answer([f"The bearing piles cannot be judged yet. {criterion_sentence(review)}"], pieces.BAD)
        matching.offer(test, review.drives, "bearing_piles")
        return
    chosen = work.production_log(test)
    if chosen is None:
        pieces.alerted(test, review)
        pieces.draw_answer(["No production log is open, so no bearing pile can be judged."], pieces.CARE)
        return
    counts, table = work.production(test, *chosen)
    check = work.bearing_piles(test, review, *chosen)
    alerted = pieces.alerted(test, review)
    odd = bool(len(check.odd)) or bool((check.piles["verdict"] != ACCEPTED_VERDICT).any())
    pieces.draw_answer([bearing_pile_answer(check)], pieces.BAD if alerted else pieces.CARE if odd else pieces.GOOD)
    rows = bearing_rows(check, test.system)
    shown_piles = _filtered(check, rows)
    pile = _chosen_pile(shown_piles)
    left, right = st.columns([3, 2])
    with left:
        _pictures(test, found, check, table, pile)
    with right:
        _one(test, check, counts, pile)
    pieces.worded(rows[rows["pile"].isin(shown_piles)])
    tables = check_files(check, {}, test.system)
    saves = st.container(horizontal=True)
    for name, words in SAVED.items():
        saves.download_button(words, tables[name], name, "text/csv", key=f"bearing_save_{name}", on_click="ignore")
    pieces.how("bearing piles", "pay length", "driving criterion")


def _filtered(check, rows: pd.DataFrame) -> list[str]:
    """Offer a selection of the piles; give their marks, those to be checked first."""
    odd = set(check.odd["pile"])
    piles, verdicts = rows["pile"].tolist(), rows["verdict"].tolist()
    counted = {
        name: [pile for pile, verdict in zip(piles, verdicts, strict=True) if name in ("all", verdict)]
        for name in FILTERS
    }
    counted[UNUSUAL] = [pile for pile in piles if pile in odd]
    asked = st.pills(
        "Piles",
        FILTERS,
        default="all",
        required=True,
        wrap=True,
        key="bearing_filter",
        label_visibility="collapsed",
        format_func=lambda name: f"{name} ({len(counted[name])})",
    )
    return counted[asked] or piles


def _chosen_pile(piles: list[str]) -> str:
    kept = st.session_state.get("bearing_pile")
    return kept if kept in piles else piles[0]


def _pictures(test, found, check, table, pile: str) -> None:
    """Draw the plan if the piles have coordinates, and the penetration of each."""
    plan = pile_plan(check, table, test.system)

    def clicked(key: str, name: str) -> None:
        points = st.session_state[key].selection.get("pick") or []
        if points:
            st.session_state["bearing_pile"] = points[0][name]

    if len(plan):
        key = "bearing_plan"
        draw_chart(plan_chart(plan, pile), key, on_select=lambda: clicked(key, "c2"), selection_mode="pick")
    minimum = found.criterion.minimum_penetration
    level = None if minimum is None else float(shown("penetration", minimum, test.system))
    depths = pile_depths(check, test.system)
    draw_chart(piles_chart(depths, level, 300), "bearing_chart")
    told = "A dash across a pile: where it first met the criterion. A question mark: something unusual."
    if minimum is not None:
        told += f" The horizontal line: minimum penetration, {show('penetration', minimum, test.system)}."
    pieces.draw_note(told)


def _one(test, check, counts, pile: str) -> None:
    """Show the log of one pile against the criterion."""
    marks = check.piles["pile"].tolist()
    key = state.widget_key("bearing_one", pile)
    choose = state.asked(key, lambda value: st.session_state.update(bearing_pile=value))
    st.selectbox("Pile", marks, key=key, on_change=choose)
    row = check.piles.set_index("pile").loc[pile]
    pieces.draw_note(f"{row['status']}: {reason(row.to_dict(), check.criterion, test.system)}")
    frame = pile_counts(counts, check.criterion, pile, test.system) if pile in counts.piles else pd.DataFrame()
    if frame.empty:
        pieces.draw_note("The log has no counts for this pile.")
        return
    minimum = check.criterion.minimum_penetration
    level = None if minimum is None else float(shown("penetration", minimum, test.system))
    unit = display_unit("penetration", test.system)[0]
    draw_chart(log_chart(frame, unit, count_title(test.system), level), "bearing_log_chart")
    pieces.draw_note("Bars: counted. Green: required at the stroke of the interval.")


def _open(test) -> None:
    """Offer to open a production log with its table of piles, from disk or uploaded."""
    with st.expander("Open a production log", icon=":material/folder_open:"):
        if st.session_state.get("production") is not None:
            st.button("Close the production log", key="bearing_close", on_click=state.close_production)
        left, right = st.columns(2)
        log = left.text_input("A production log on this computer", placeholder="/path/to/log.csv", key="bearing_log")
        right.text_input("Its table of piles, if there is one", key="bearing_table_path")

        def open_paths() -> None:
            typed = state.typed("bearing_log") or log, state.typed("bearing_table_path")
            st.session_state["production"] = tuple(Path(one).expanduser() if one else None for one in typed)

        st.button("Open them", key="bearing_open", disabled=not log, on_click=open_paths)
        sent = st.file_uploader("Or upload the production log", type=["csv"], key="bearing_log_file")
        sent_piles = st.file_uploader("And its table of piles", type=["csv"], key="bearing_piles_file")
        if st.button("Open the uploaded files", key="bearing_open_files", disabled=sent is None):
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
