"""Signal matching on the page: run it for any blow and show its results."""

import altair as alt
import pandas as pd
import streamlit as st

from dyntest.decisions.trust import ANSWERS
from dyntest.names import decimal, show
from dyntest.presenting import palette
from dyntest.presenting.frames_match import GAUGE_LEVEL, TOE
from dyntest.quantities.representative import moved_too_little

from . import pages, pieces, shelf, state, work
from .charts import DASHES, FIGURES, axis, draw, finish, layered, line_legend, named
from .charts.record import match_data
from .components import draw_record

PLACES = {GAUGE_LEVEL: (palette.INK, "solid"), TOE: ("#d2691e", "dashed")}
"""Colour and line style at gauges and toe of a static load test."""


def distribution_chart(frame: pd.DataFrame, height: int = 340) -> alt.LayerChart:
    """Give the resistance of each shaft segment against depth, and of the toe below."""
    drawn, titles = named(frame)
    unit = titles["c3"].partition("[")[2].rstrip("]")
    drawn = drawn.assign(told=[f"{decimal(value, 0)} {unit}" for value in drawn["c3"]])
    shaft, toe = drawn[drawn["c0"] == "shaft"], drawn[drawn["c0"] == "toe"]
    bottom = float(drawn["c2"].max())
    scale = alt.Scale(domain=[float(drawn["c1"].min()), bottom * 1.14], reverse=True, nice=False)
    tips = [alt.Tooltip("c0:N", title="part"), alt.Tooltip("c1:Q", title=titles["c1"], format=FIGURES)]
    tips += [alt.Tooltip("c2:Q", title=titles["c2"], format=FIGURES), alt.Tooltip("told:N", title="resistance")]
    bars = (
        alt.Chart(shaft)
        .mark_rect(fill=pages.colour(palette.INK), opacity=0.55, stroke=pages.colour(palette.QUIET))
        .encode(
            x=alt.X("zero:Q", axis=axis(f"{titles['c3']} of each segment"), scale=alt.Scale(zero=True)),
            x2=alt.X2("c3:Q"),
            y=alt.Y("c1:Q", axis=axis(titles["c1"].removeprefix("top, ")), scale=scale),
            y2=alt.Y2("c2:Q"),
            tooltip=tips,
        )
        .transform_calculate(zero="0")
    )
    at_toe = toe.assign(words=[f"toe, {told}" for told in toe["told"]], zero=0.0, low=bottom, high=bottom * 1.045)
    tip = alt.Chart(at_toe).mark_rect(fill=pages.colour("#d2691e"))
    words = alt.Chart(at_toe).mark_text(color=pages.colour(palette.INK), align="left", dx=6, dy=10)
    layers = [
        bars,
        tip.encode(x=alt.X("zero:Q"), x2=alt.X2("c3:Q"), y=alt.Y("low:Q"), y2=alt.Y2("high:Q"), tooltip=tips),
        words.encode(x=alt.X("zero:Q"), y=alt.Y("high:Q"), text=alt.Text("words:N")),
    ]
    return finish(layered(*layers), height, "Resistance of each shaft segment, and of the toe.")


def load_chart(frame: pd.DataFrame, failures: pd.DataFrame, height: int = 340) -> alt.LayerChart:
    """Give the static load–movement curve at gauges and toe, movement downward, with range and failure load."""
    drawn, titles = named(frame)
    colours = [pages.colour(colour) for colour, _ in PLACES.values()]
    dashes = [DASHES[dash] for _, dash in PLACES.values()]
    legend = line_legend()
    across = alt.X("c0:Q", axis=axis(titles["c0"]))
    down = alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(reverse=True))
    base = alt.Chart(drawn).encode(x=across, y=down)
    curve = base.mark_line(strokeWidth=2).encode(
        color=alt.Color("c2:N", scale=alt.Scale(domain=list(PLACES), range=colours), legend=legend),
        strokeDash=alt.StrokeDash("c2:N", scale=alt.Scale(domain=list(PLACES), range=dashes), legend=legend),
        order=alt.Order("c1:Q"),
    )
    tips = [alt.Tooltip("c2:N", title="place"), alt.Tooltip("c0:Q", title=titles["c0"], format=FIGURES)]
    tips += [alt.Tooltip(f"c{end}:Q", title=titles[f"c{end}"], format=FIGURES) for end in (3, 4)]
    tips.append(alt.Tooltip("c1:Q", title=titles["c1"], format=FIGURES))
    points = base.mark_point(opacity=0, size=100).encode(tooltip=tips, detail=alt.Detail("c2:N"))
    at_head = alt.Chart(drawn[drawn["c2"] == GAUGE_LEVEL])
    band = at_head.mark_area(opacity=0.15, color=colours[0], orient="horizontal")
    marked, _ = named(failures)
    ink = pages.colour(palette.ACCENT)
    layers = [band.encode(x=alt.X("c3:Q", axis=axis(titles["c0"])), x2=alt.X2("c4:Q"), y=down), curve, points]
    for place, row in enumerate(marked.index):
        at = alt.Chart(marked.loc[[row]]).encode(x=alt.X("c0:Q"), y=alt.Y("c1:Q"))
        layers.append(
            at.mark_point(size=70, color=ink, shape=("circle", "square")[place]).encode(tooltip=alt.Tooltip("c3:N"))
        )
        layers.append(at.mark_text(color=ink, align="right", dx=-8, dy=12).encode(text=alt.Text("c3:N")))
    return finish(layered(*layers), height, "Computed static load against movement, at the gauges and the toe.")


SOIL_LAWS = {"best": "the better fit", "elastic-plastic": "elastic-plastic", "hyperbolic": "hyperbolic"}
"""Names of the soil laws on the page."""


def offer(test, drives, page: str, of: str = "") -> None:
    """Offer the match of representative blows not yet matched, of the pile named where there are several."""
    missing = [one for one in _can(drives) if one.match is None and not one.match_problem]
    if not missing:
        return
    row = st.container(horizontal=True, vertical_alignment="bottom")
    with row:
        _button(
            test,
            tuple(missing),
            "Match the representative blow" + ("" if len(missing) == 1 else "s") + (f" of {of}" if of else ""),
            f"{page}_match",
            primary=True,
        )
        if page == "resistance":
            _soil_law(test, page)


def offer_blow(test, drive, blow: int, page: str) -> None:
    """Offer the match of the selected blow, or of every blow of the drive."""
    row = st.container(horizontal=True, vertical_alignment="bottom")
    standing = drive.representative is not None and drive.representative.blow == blow
    with row:
        if not standing and shelf.match_of(test, drive, blow) is None and drive.trust.answer != ANSWERS[-1]:
            at = work.drive_at(test, drive.name, blow)
            _button(test, (at,), f"Match this blow ({blow})", f"{page}_match_this")
        if drive.match is not None and not (drive.every and drive.every.complete):
            keys = ("every", shelf.match_key(test, drive))
            st.button(
                f"Match every blow ({len(drive.table):,})",
                key=f"{page}_match_every",
                help="Takes some minutes. Progress is shown on every page, and it can be stopped.",
                on_click=_begin,
                args=(keys, shelf.match_every, test, (drive,), "matching every blow"),
            )


def _can(drives) -> list:
    return [one for one in drives if one.representative is not None and one.trust.answer != ANSWERS[-1]]


def _button(test, drives: tuple, words: str, key: str, *, primary: bool = False) -> None:
    told = ", ".join(f"{one.name.replace('_', ' ')} blow {one.representative.blow}" for one in drives)
    keys = ("blows", *(shelf.match_key(test, one) for one in drives))
    st.button(
        words,
        key=key,
        type="primary" if primary else "secondary",
        help=f"A few seconds: {told}",
        on_click=_begin,
        args=(keys, shelf.match_blows, test, drives, "matching"),
    )


def _begin(key: tuple, run, test, drives: tuple, words: str) -> None:
    kept = shelf.shelf()
    shelf.jobs().begin(key, lambda tell, keep_going: run(kept, test, drives, tell, keep_going), words, test.key)


def _soil_law(test, page: str) -> None:
    key = state.widget_key(f"{page}_soil_law", test.sheet.choices.soil_law)
    st.selectbox(
        "Soil law for matching",
        list(SOIL_LAWS),
        key=key,
        width=260,
        format_func=SOIL_LAWS.__getitem__,
        on_change=state.asked(key, lambda law: state.change(test.as_read, soil_law=law)),
    )


def segment_rows(lengths: pd.DataFrame) -> pd.DataFrame:
    """Give the resistance of each shaft segment and of the toe as text, from top to bottom."""
    top, bottom, force, each = lengths.columns[1:5]
    rows = []
    for part, first, last, value, per_length in lengths[["part", top, bottom, force, each]].itertuples(index=False):
        shaft = part == "shaft"
        rows.append(
            (
                f"{first:.1f} to {last:.1f}" if shaft else "toe",
                decimal(value, 1),
                decimal(per_length, 2) if shaft else "–",
            )
        )
    return pd.DataFrame(rows, columns=[top.removeprefix("top, "), force, each])


def draw_match(test, drive, blow: int) -> None:
    """Draw the match of a blow: waves, soil along the pile, and the computed static load test."""
    found = shelf.match_of(test, drive, blow)
    if found is None or (found["match"] is None and not found["match_problem"]):
        return
    pieces.draw_heading(f"The match of blow {blow}")
    match = found["match"]
    if match is None:
        pieces.draw_note(f"Not matched: {found['match_problem'].rstrip('.')}.")
        return
    from dyntest.presenting.frames_match import failure_loads, load_movements, match_rows, match_waves, shaft_lengths

    if not match.fitted:
        misfit = show("misfit", match.misfit, test.system)
        told = f"the misfit is {misfit}: computed and measured waves differ too much to rely on the match"
        pieces.draw_cautions([("poor match", told, "match another blow, or check pile and record")])
    draw_record(match_data(test, match, match_waves(match, test.system)), "match_waves")
    left, right = st.columns(2)
    with left:
        draw(distribution_chart(shaft_lengths(match, test.system)), "match_distribution")
    with right:
        draw(load_chart(load_movements(match, test.system), failure_loads(match, test.system)), "match_load")
    left, right = st.columns(2)
    with left:
        row = drive.table.loc[drive.table["blow"] == blow].iloc[0]
        pieces.worded(match_rows(match, test.system, moved_too_little(row)))
    with right:
        pieces.worded(segment_rows(shaft_lengths(match, test.system)), numeric=True)
