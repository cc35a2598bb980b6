"""The page of a structure: several test piles, the criterion of each group, and every bearing pile on one board."""

from functools import partial
from pathlib import Path

import altair as alt
import pandas as pd
import streamlit as st

from dyntest.decisions.setup import SECONDS_PER_DAY
from dyntest.names import display_unit
from dyntest.presenting import palette
from dyntest.presenting import structure_board as board
from dyntest.presenting.bearing_words import reason
from dyntest.presenting.frames import shown, title
from dyntest.presenting.frames_decisions import (
    NO_SOIL,
    count_title,
    pile_counts,
    setup_band,
    setup_points,
    setup_starts,
)
from dyntest.presenting.sentences import sentence

from .. import pages, pieces, shelf, state, strip, uploads, work
from ..charts import DASHES, FIGURES, axis, finish, layered, line_legend, named, rule_across, rule_up
from ..charts import draw as draw_chart
from .bearing_piles import log_chart, plan_chart

LINES = ("solid", "dashed", "dotted", "dashdot")

MOST_LINES = 8
"""Most test piles distinguished by line style and legend [1]; of more, the tooltip names each line."""

FEW_PILES = 10
"""Most test piles whose marks stand upright below a chart [1]."""

FROM_ZERO = 0.45
"""Depths that begin below this share of the deepest are not drawn from the ground [1]."""

SAVED = {"structure.pdf": "application/pdf", "bearing_piles.csv": "text/csv", "test_piles.csv": "text/csv"}
"""Files that can be downloaded."""


def draw() -> None:
    """Draw the page."""
    above, opening = st.container(), st.container()
    with opening:
        _open()
    with above:
        _board()


def _board() -> None:
    path = work.nearest_structure()
    if path is None:
        pieces.draw_answer(["No structure is open."], pieces.CARE)
        pieces.draw_note("Open one below, or put its structure.toml beside or above the folder of the open test.")
        return
    key = str(path)
    strip.announce(key)
    opened = work.opened_structure(path, st.session_state.get("structure_system"))
    state.remember(state.sheet_path() or uploads.first_sample() or path, None, None)
    review = opened.review
    _line(review)
    strip.show_work(key, kind="structure", each_step=True)
    unusable = board.is_unusable(review)
    means = pieces.BAD if unusable else pieces.GOOD if board.is_sound(review) else pieces.CARE
    pieces.draw_answer(board.board_answer(review), means)
    _offer(path, opened)
    places, odd = work.board_frames(opened.key, review)
    _piles(review, places)
    _groups(review)
    _odd(review, odd)
    _tested(review, path)
    _together(review)
    _pair(review, path)
    _files(opened)
    pieces.how("driving criterion", "setup_factor", "bearing piles", "pay length")


def _line(review) -> None:
    """Show the structure's name and the unit switch."""
    row = st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center")
    row.markdown(f"**{pieces.plain(review.sheet.name)}**")
    key = state.widget_key("structure_units", review.display_units)
    change = state.asked(key, lambda value: st.session_state.update(structure_system=value or review.display_units))
    with row:
        st.segmented_control(
            "Units",
            list(state.SYSTEMS),
            key=key,
            label_visibility="collapsed",
            width="content",
            on_change=change,
        )


def _offer(path: Path, opened: work.OpenedStructure) -> None:
    """Offer to review the remaining test piles in the background."""
    if not opened.waiting or any(job.is_alive() for job in shelf.jobs().of(str(path))):
        return
    count = len(opened.waiting)
    sheet, folder, kept = opened.review.sheet, work.kept_folder(path), shelf.shelf()

    def begin() -> None:
        shelf.jobs().begin(
            ("structure", str(path)),
            lambda tell, keep_going: shelf.review_test_piles(kept, sheet, folder, tell, keep_going),
            "reviewing test piles",
            str(path),
        )

    words = "Review the test pile" if count == 1 else f"Review the {count} test piles"
    told = f"Takes some seconds per test pile and can be stopped: {', '.join(opened.waiting[:12])}"
    st.button(f"{words} not reviewed yet", key="structure_review", type="primary", help=told, on_click=begin)


@st.fragment
def _piles(review, places: pd.DataFrame) -> None:
    """Show plan, open tasks and the log of one pile; a click on a pile redraws only these."""
    pile = _chosen(places)
    left, right = st.columns([3, 2])
    with left:
        _plans(review, places, pile)
    with right:
        _to_do(review)
    _one(review, places, pile)


def _chosen(places: pd.DataFrame) -> str | None:
    """Give the selected pile: the one clicked on, else the first to be checked."""
    piles = places["pile"].tolist()
    kept = st.session_state.get("structure_pile")
    if kept in piles:
        return kept
    asked = places[places["verdict"].isin(("not met", "second look"))]
    return None if places.empty else str((asked if len(asked) else places)["pile"].iloc[0])


def _plans(review, places: pd.DataFrame, pile: str | None) -> None:
    unit = display_unit("penetration", review.display_units)[0]
    frame = places.rename(columns={"x": f"x [{unit}]", "y": f"y [{unit}]"})
    frame = frame[[f"x [{unit}]", f"y [{unit}]", "pile", "verdict", "odd", "because"]]
    placed = places["placed"].astype(bool)
    for key, rows, on_plan in (("structure_plan", placed, True), ("structure_grid", ~placed, False)):
        if not rows.any():
            continue

        def clicked(key: str = key) -> None:
            points = st.session_state[key].selection.get("pick") or []
            if points:
                st.session_state["structure_pile"] = points[0]["c2"]

        high = 380 if on_plan else 110 + 52 * places.loc[rows, "y"].nunique()
        chart = plan_chart(frame[rows], pile, high, placed=on_plan)
        draw_chart(chart, key, on_select=clicked, selection_mode="pick")
        if not on_plan:
            pieces.draw_note("No coordinates: piles are arranged by group and name.")
    if len(places):
        pieces.draw_note("Click a pile for its log. A question mark: something unusual.")


def _to_do(review) -> None:
    pieces.draw_heading("Still to do")
    pieces.draw_list(board.to_do(review) or ("Nothing.",))
    pay = board.pay_rows(review)
    if len(pay):
        pieces.draw_heading("Pay lengths")
        pieces.worded(pay, numeric=True)


MOST_ALERTS = 4
"""Most alerts of a group shown in full [1]; all are listed with the test piles."""


def _groups(review) -> None:
    """Show the criterion of each group, with reasons against its use first."""
    for group in review.groups:
        words = board.group_words(group, review.display_units)
        pieces.draw_heading(words.name)
        grave = [one for one in words.cautions if one.startswith("Do not use yet")]
        if grave:
            more = len(grave) - MOST_ALERTS
            told = [f"{one[0].upper()}{one[1:].rstrip('.')}." for one in grave[:MOST_ALERTS]]
            pieces.draw_alert([*told, *([f"{more} more are listed with the test piles below."] if more > 0 else [])])
        st.markdown(pieces.plain(words.answer))
        others = [one for one in words.cautions if one not in grave]
        pieces.draw_list(f"{one[0].upper()}{one[1:].rstrip('.')}." for one in others)
        if words.criterion:
            strokes, counts = zip(*words.criterion, strict=True)
            pieces.worded(pd.DataFrame([[words.head[1], *counts]], columns=["stroke", *strokes]), numeric=True)
            pieces.draw_note(f"{words.basis[0].upper()}{words.basis[1:]}.")


def _one(review, places: pd.DataFrame, pile: str | None) -> None:
    """Show the log of one pile against the criterion of its group."""
    if pile is None:
        return
    pieces.draw_heading("One pile against its criterion")
    left, right = st.columns([2, 3])
    with left:
        key = state.widget_key("structure_one", pile)
        choose = state.asked(key, lambda value: st.session_state.update(structure_pile=value))
        st.selectbox("Pile", places["pile"].tolist(), key=key, on_change=choose)
        row = places[places["pile"] == pile].iloc[0]
        group = next(one for one in review.groups if one.group.name == row["group"])
        st.markdown(f"**{pieces.plain(str(row['verdict']))}**, {pieces.plain(str(row['group']))}")
        if row["because"]:
            pieces.draw_note(sentence(row["because"]))
        if row["verdict"] == board.TEST_PILE and group.check is not None and pile in set(group.check.piles["pile"]):
            own = group.check.piles.set_index("pile").loc[pile]
            words = reason({**own.to_dict(), "pile": pile}, group.check.criterion, review.display_units)
            pieces.draw_note(f"Its own log, {own['status']}: {words}.")
    with right:
        _log(review, group, pile)


def _log(review, group, pile: str) -> None:
    system = review.display_units
    if group.check is None or group.log is None or pile not in group.log.piles:
        pieces.draw_note("There is no log of this pile, or no criterion for it.")
        return
    frame = pile_counts(group.log, group.check.criterion, pile, system)
    if frame.empty:
        pieces.draw_note("The log has no counts for this pile.")
        return
    minimum = group.check.criterion.minimum_penetration
    level = None if minimum is None else float(shown("penetration", minimum, system))
    unit = display_unit("penetration", system)[0]
    draw_chart(log_chart(frame, unit, count_title(system), level, 360), "structure_log")
    pieces.draw_note("Bars: counted. Green: required at the stroke of the interval.")


MOST_ROWS = 150
"""Most piles listed with their reasons [1]; the downloads have all."""


def _odd(review, odd: list[pd.DataFrame]) -> None:
    for group, rows in zip(review.groups, odd, strict=True):
        if len(rows):
            count = f"{len(rows):,} piles" if len(rows) > 1 else "1 pile"
            pieces.draw_heading(f"{group.group.name}: {count} to check")
            shown_rows = rows.sort_values("verdict", ascending=False, kind="stable") if len(rows) > MOST_ROWS else rows
            pieces.worded(shown_rows.head(MOST_ROWS))
            if len(rows) > MOST_ROWS:
                pieces.draw_note(f"The first {MOST_ROWS}; bearing_piles.csv has all.")


def _tested(review, path: Path) -> None:
    """Show the test piles, each with a link to its own pages."""
    pieces.draw_heading("Test piles")
    pieces.worded(board.result_rows(review))
    names = {
        record.sheet if record.result is None else record.result.pile: path.parent / record.sheet
        for record in review.records
    }
    row = st.container(horizontal=True, vertical_alignment="bottom")
    with row:
        asked = st.selectbox("Test pile", list(names), key="structure_test", width=260)

        def open_pages() -> None:
            state.open_sheet(names[state.typed("structure_test")])
            st.session_state["go_to"] = "resistance"

        st.button("Open the pages of this pile", key="structure_open_test", on_click=open_pages, disabled=asked is None)


def _together(review) -> None:
    """Draw the joint results of the test piles: resistance beside the soil, setup, and the hammer."""
    told = board.pooled_words(review)
    if not told:
        return
    pieces.draw_heading("All test piles together")
    pieces.draw_list([*told, *board.hammer_words(review)])
    system = review.display_units
    lines, layers = board.resistance_lines(review.results, system), board.soil_profiles(review.results, system)
    left, right = st.columns(2)
    with left:
        if len(lines):
            draw_chart(depth_chart(lines, layers), "structure_depth")
            more = ", with the soil at each beside it" if len(layers) else ""
            pieces.draw_note(f"Maximum Case resistance of the test piles against depth{more}.")
    with right:
        points = setup_points(review)
        if len(points):
            draw_chart(setup_chart(review, points), "structure_setup")
            pieces.draw_note(board.setup_note(review))
    struck = board.hammer_points(review)
    if len(struck) > 1:
        pieces.draw_heading("Hammer from pile to pile")
        left, right = st.columns(2)
        with left:
            heading = title("energy_ratio_stroke", review.display_units)
            draw_chart(hammer_chart(struck, "ratio", heading), "structure_energy")
        with right:
            draw_chart(hammer_chart(struck, "stress", "maximum compression / limit"), "structure_stress")
        pieces.worded(board.hammer_rows(review))


def depth_chart(lines: pd.DataFrame, layers: pd.DataFrame, height: int = 380) -> alt.LayerChart:
    """Give maximum Case resistance against penetration of every test pile, the soil profiles at the right edge."""
    drawn, titles = named(lines)
    piles = drawn["c0"].unique().tolist()
    ink, most = pages.colour(palette.INK), float(drawn["c2"].max())
    wide = 0.12 * most
    strips = layers["pile"].unique().tolist()[:4]
    shallowest, deepest = float(drawn["c1"].min()), float(drawn["c1"].max())
    air = 0.05 * (deepest - shallowest)
    start = shallowest - air if shallowest > FROM_ZERO * deepest else 0.0  # else the curves would fill a corner only
    last = most * 1.05 + wide * len(strips)
    x = alt.X("c2:Q", axis=axis(titles["c2"]), scale=alt.Scale(domain=[0.0, last], nice=False))
    depths = alt.Scale(domain=[start, max(deepest + air, deepest * 1.001)], reverse=True, nice=False)
    y = alt.Y("c1:Q", axis=axis(titles["c1"]), scale=depths)
    tips = [alt.Tooltip("c0:N", title="pile"), alt.Tooltip("c1:Q", title=titles["c1"], format=FIGURES)]
    tips.append(alt.Tooltip("c2:Q", title=titles["c2"], format=FIGURES))
    base = alt.Chart(drawn).mark_line(strokeWidth=2)
    if len(piles) <= MOST_LINES:
        colours = [pages.colour((palette.INK, "#d2691e")[place // 4 % 2]) for place in range(len(piles))]
        dashes = [DASHES[LINES[place % 4]] for place in range(len(piles))]
        legend = line_legend()
        line = base.encode(
            x=x,
            y=y,
            order=alt.Order("c1:Q"),
            tooltip=tips,
            color=alt.Color("c0:N", scale=alt.Scale(domain=piles, range=colours), legend=legend),
            strokeDash=alt.StrokeDash("c0:N", scale=alt.Scale(domain=piles, range=dashes), legend=legend),
        )
    else:
        thin = alt.Chart(drawn).mark_line(strokeWidth=1.0, opacity=0.7, color=ink)
        line = thin.encode(x=x, y=y, order=alt.Order("c1:Q"), detail=alt.Detail("c0:N"), tooltip=tips)
    found: list[alt.Chart | alt.LayerChart] = [line]
    for place, pile in enumerate(strips):
        own = layers[(layers["pile"] == pile) & (layers["top"] < deepest) & (layers["bottom"] > start)].copy()
        own["top"], own["bottom"] = own["top"].clip(lower=start), own["bottom"].clip(upper=deepest)
        own["left"], own["right"] = most * 1.05 + wide * place, most * 1.05 + wide * (place + 0.9)
        own["middle"], own["across"] = 0.5 * (own["top"] + own["bottom"]), 0.5 * (own["left"] + own["right"])
        boxes = alt.Chart(own).mark_rect(fill=ink, opacity=0.1, stroke=ink, strokeWidth=1)
        words = alt.Chart(own).mark_text(color=ink, fontSize=11)
        tips = [alt.Tooltip(f"{name}:N") for name in ("pile", "soil", "words")]
        found.append(
            boxes.encode(x=alt.X("left:Q"), x2=alt.X2("right:Q"), y=alt.Y("top:Q"), y2=alt.Y2("bottom:Q"), tooltip=tips)
        )
        found.append(words.encode(x=alt.X("across:Q"), y=alt.Y("middle:Q"), text=alt.Text("soil:N")))
    return finish(
        layered(*found), height, "Maximum Case resistance of the test piles against depth, and the soil at each."
    )


def setup_chart(review, points: pd.DataFrame, height: int = 380) -> alt.LayerChart:
    """Give every measured setup factor over time, and the pooled line of each soil with its range."""
    ink, restrike = pages.colour(palette.INK), pages.colour(palette.DRIVES["restrike"])
    longest = 2.0 * float(points["days"].max())
    first = min([float(points["days"].min()), *(one.reference_time / SECONDS_PER_DAY for one in review.setups)])
    ends = alt.Scale(type="log", domain=[0.9 * first, 1.1 * longest], nice=False)
    places = [step * 10.0**power for power in range(-3, 5) for step in (1, 2, 5)]
    values = [day for day in places if 0.9 * first <= day <= 1.1 * longest]  # all of a decade would lie on each other
    x = alt.X("days:Q", axis=axis("time since end of driving [days]", format="~g", values=values), scale=ends)
    y = alt.Y("factor:Q", axis=axis("setup factor"), scale=alt.Scale(zero=False))
    found: list[alt.Chart | alt.LayerChart] = []
    for place, setup in enumerate(review.setups):
        band = setup_band(setup, longest).assign(soil=setup.soil or NO_SOIL)
        if band["low"].notna().all():
            area = alt.Chart(band).mark_area(color=ink, opacity=0.12)
            found.append(area.encode(x=x, y=alt.Y("low:Q", axis=axis("setup factor")), y2=alt.Y2("high:Q")))
        line = alt.Chart(band).mark_line(color=ink, strokeWidth=2, strokeDash=DASHES[LINES[place % 4]])
        found.append(line.encode(x=x, y=y, tooltip=[alt.Tooltip("soil:N"), alt.Tooltip("factor:Q", format=FIGURES)]))
    tips = [
        alt.Tooltip("pile:N"),
        alt.Tooltip("soil:N"),
        alt.Tooltip("days:Q", format=FIGURES),
        alt.Tooltip("factor:Q", format=FIGURES),
    ]
    for place, start in enumerate(setup_starts(review).itertuples()):
        found.append(rule_up(float(str(start.days)), str(start.words), pages.quiet_text(), top=10 + 16 * place))
    piles = points["pile"].unique().tolist()
    legend = alt.Legend(orient="top") if len(piles) <= MOST_LINES else None
    shape = alt.Shape("pile:N", scale=alt.Scale(domain=piles), legend=legend)
    for fitted, face in ((True, restrike), (False, palette.GROUNDS[pages.ground()])):  # the legend is as the first
        marks = alt.Chart(points[points["fitted"] == fitted])
        marks = marks.mark_point(filled=True, size=110, opacity=1, color=face, stroke=ink)
        found.append(marks.encode(x=x, y=y, shape=shape, tooltip=tips))
    return finish(layered(*found), height, "Setup factor of all test piles over time.")


def hammer_chart(frame: pd.DataFrame, column: str, heading: str, height: int = 260) -> alt.LayerChart:
    """Give energy or stress of the hammer from test pile to test pile in the order of driving."""
    ink = pages.colour(palette.INK)
    turned = {} if frame["pile"].nunique() > FEW_PILES else {"labelAngle": 0}
    x = alt.X("pile:N", sort=None, axis=axis("test pile, in the order of driving", **turned))
    y = alt.Y(f"{column}:Q", axis=axis(heading), scale=alt.Scale(zero=True))
    tips = [alt.Tooltip("pile:N"), alt.Tooltip("hammer:N"), alt.Tooltip(f"{column}:Q", format=FIGURES)]
    legend = alt.Legend(orient="top")
    line = alt.Chart(frame).mark_line(color=ink, strokeWidth=1.5).encode(x=x, y=y, detail=alt.Detail("hammer:N"))
    marks = alt.Chart(frame).mark_point(filled=True, size=110, opacity=1, color=ink)
    found: list[alt.Chart | alt.LayerChart] = [line]
    found.append(marks.encode(x=x, y=y, shape=alt.Shape("hammer:N", legend=legend), tooltip=tips))
    if column == "stress":
        found.append(rule_across(1.0, "limit", pages.colour(palette.WARNING)))
    return finish(layered(*found), height, f"{heading}, test pile by test pile.")


def _pair(review, path: Path) -> None:
    """Compare two test piles."""
    names = [one.pile for one in review.results]
    if len(names) < 2:
        return
    pieces.draw_heading("Two test piles side by side")
    left, right = st.columns(2)
    one = left.selectbox("Test pile", names, key="structure_left")
    others = [name for name in names if name != one]
    other = right.selectbox("Beside it", others, key="structure_right")
    pieces.worded(board.pair_rows(review, (one, other)))
    counts = board.pair_counts(review, (one, other))
    if len(counts):
        pieces.worded(counts, numeric=True)
    sheets = {record.result.pile: path.parent / record.sheet for record in review.records if record.result is not None}

    def open_both() -> None:
        state.open_sheet(sheets[state.typed("structure_left")])
        st.session_state["other"] = str(sheets[state.typed("structure_right")])
        st.session_state["go_to"] = "compare"

    st.button("Every blow of both", key="structure_both", on_click=open_both)


def _files(opened: work.OpenedStructure) -> None:
    pieces.draw_heading("Files")
    row = st.container(horizontal=True)
    for name, kind in SAVED.items():
        written = partial(work.file_of_structure, opened.key, name, opened.review)  # written on request
        row.download_button(name, written, name, kind, key=f"structure_save_{name}", on_click="ignore")


def _open() -> None:
    """Offer to open a structure on this computer."""
    with st.expander("Open a structure", icon=":material/folder_open:"):
        path = st.text_input(
            "A structure file on this computer", placeholder="/path/to/structure.toml", key="structure_path_text"
        )
        st.button(
            "Open the structure",
            key="structure_open",
            disabled=not path,
            on_click=lambda: state.open_structure(Path(state.typed("structure_path_text") or path).expanduser()),
        )
