"""Charts of a signal match: waves measured and computed, the soil along the pile, and a computed static load test.

Signal matching on the page: run it, watch it, stop it, and see what it shows.
"""

import altair as alt
import pandas as pd
import streamlit as st

from dyntest.decisions.trust import ANSWERS
from dyntest.presenting import palette
from dyntest.presenting.frames import TIME
from dyntest.presenting.frames_match import COMPUTED, GAUGE_LEVEL, MEASURED, TOE

from . import look, pieces, shelf, state
from .charts.base import DASHES, axis, draw, finish, layered, named
from .charts.traces import lines

PLACES = {GAUGE_LEVEL: (palette.INK, "solid"), TOE: ("#d2691e", "dashed")}
"""Colour and line style of each place of a static load test."""


def match_chart(frame: pd.DataFrame, height: int = 290) -> alt.LayerChart:
    """Give the measured and the computed upward wave."""
    styles = {MEASURED: (palette.TRACES[MEASURED][0], "solid"), COMPUTED: palette.TRACES[COMPUTED]}
    window = (float(frame[TIME].min()), float(frame[TIME].max()))
    return finish(
        layered(*lines(frame, window, styles, under=MEASURED)), height, "The upward wave, measured and computed."
    )


def distribution_chart(frame: pd.DataFrame, height: int = 360) -> alt.LayerChart:
    """Give the resistance of each length of shaft against depth, and of the toe below."""
    drawn, titles = named(frame)
    unit = titles["c3"].partition("[")[2].rstrip("]")
    drawn = drawn.assign(told=[f"{value:,.0f} {unit}" for value in drawn["c3"]])
    shaft, toe = drawn[drawn["c0"] == "shaft"], drawn[drawn["c0"] == "toe"]
    bottom = float(drawn["c2"].max())
    scale = alt.Scale(domain=[float(drawn["c1"].min()), bottom * 1.07], reverse=True, nice=False)
    tips = [alt.Tooltip("c0:N", title="part"), alt.Tooltip("c1:Q", title=titles["c1"], format=".1f")]
    tips += [alt.Tooltip("c2:Q", title=titles["c2"], format=".1f"), alt.Tooltip("told:N", title="resistance")]
    bars = (
        alt.Chart(shaft)
        .mark_rect(fill=look.colour(palette.INK), opacity=0.55, stroke=look.colour(palette.QUIET))
        .encode(
            x=alt.X("zero:Q", axis=axis(f"{titles['c3']} of each length"), scale=alt.Scale(zero=True)),
            x2="c3:Q",
            y=alt.Y("c1:Q", axis=axis(titles["c1"].removeprefix("top, ")), scale=scale),
            y2="c2:Q",
            tooltip=tips,
        )
        .transform_calculate(zero="0")
    )
    at_toe = toe.assign(words=[f"toe, {told}" for told in toe["told"]], zero=0.0, low=bottom, high=bottom * 1.045)
    tip = alt.Chart(at_toe).mark_rect(fill=look.colour("#d2691e"))
    words = alt.Chart(at_toe).mark_text(color=look.colour(palette.INK), align="left", dx=6, dy=-9)
    layers = [
        bars,
        tip.encode(x="zero:Q", x2="c3:Q", y="low:Q", y2="high:Q", tooltip=tips),
        words.encode(x="zero:Q", y="low:Q", text="words:N"),
    ]
    return finish(layered(*layers), height, "Resistance of each length of shaft, and of the toe.")


def load_chart(frame: pd.DataFrame, height: int = 360) -> alt.LayerChart:
    """Give the static load–movement curve at the gauges and at the toe, movement downward."""
    drawn, titles = named(frame)
    colours = [look.colour(colour) for colour, _ in PLACES.values()]
    dashes = [DASHES[dash] for _, dash in PLACES.values()]
    legend = alt.Legend(orient="top", symbolStrokeWidth=2.5)
    base = alt.Chart(drawn).encode(
        x=alt.X("c0:Q", axis=axis(titles["c0"])),
        y=alt.Y("c1:Q", axis=axis(titles["c1"]), scale=alt.Scale(reverse=True)),
    )
    curve = base.mark_line(strokeWidth=2).encode(
        color=alt.Color("c2:N", scale=alt.Scale(domain=list(PLACES), range=colours), legend=legend),
        strokeDash=alt.StrokeDash("c2:N", scale=alt.Scale(domain=list(PLACES), range=dashes), legend=legend),
        order="c1:Q",
    )
    tips = [alt.Tooltip("c2:N", title="place"), alt.Tooltip("c0:Q", title=titles["c0"], format=",.0f")]
    tips.append(alt.Tooltip("c1:Q", title=titles["c1"], format=".2f"))
    points = base.mark_point(opacity=0, size=100).encode(tooltip=tips, detail="c2:N")
    return finish(layered(curve, points), height, "Computed static load against movement, at the gauges and the toe.")


SOIL_LAWS = {"best": "the one that fits better", "elastic-plastic": "elastic–plastic", "hyperbolic": "hyperbolic"}
"""What the soil laws are called on the page."""


def offer(test, drives, page: str) -> None:
    """Let a person run the match of the blows that stand for the drives, or of every blow; watch it, and stop it."""
    job = st.session_state.get("job")
    if job is not None:
        if job.is_alive():
            _watch(page)
            return
        _finish(job)
    can = [drive for drive in drives if drive.representative is not None and drive.trust.answer != ANSWERS[-1]]
    missing = [drive for drive in can if drive.match is None and not drive.match_problem]
    unmatched = [drive for drive in can if drive.match is not None and not (drive.every and drive.every.complete)]
    if not missing and not (unmatched and page == "resistance"):
        return
    law, run, every = st.columns([2, 2, 2], vertical_alignment="bottom")
    with law:
        _soil_law(test, page)
    if missing:
        words = ", ".join(f"{drive.name.replace('_', ' ')} blow {drive.representative.blow}" for drive in missing)
        run.button(
            f"Match {'the blow' if len(missing) == 1 else 'the blows'} by signal matching",
            key=f"{page}_match",
            type="primary",
            help=f"A few seconds: {words}",
            on_click=_start,
            args=("matching", _match_each, test, tuple(missing)),
        )
    if unmatched and page == "resistance":
        count = sum(len(drive.table) for drive in unmatched)
        every.button(
            f"Match every blow ({count:,})",
            key=f"{page}_match_every",
            help="Takes some minutes, shows how far it is, and can be stopped",
            on_click=_start,
            args=("matching every blow", _match_every, test, tuple(unmatched)),
        )


def _soil_law(test, page: str) -> None:
    key = state.shown(f"{page}_soil_law", test.sheet.choices.soil_law)
    st.selectbox(
        "Soil law for matching",
        list(SOIL_LAWS),
        key=key,
        format_func=SOIL_LAWS.__getitem__,
        on_change=state.asked(key, lambda law: state.change(test.as_read, soil_law=law)),
    )


def _start(words: str, work, test, drives: tuple) -> None:
    kept = shelf.shelf()
    st.session_state["job"] = shelf.Job(lambda tell, keep_going: work(kept, test, drives, tell, keep_going), words)


def _match_each(kept, test, drives: tuple, tell, keep_going) -> None:
    from dyntest.reviewing.drive_match import match_drive

    for number, drive in enumerate(drives):
        if not keep_going():
            return
        tell(f"matching blow {drive.representative.blow} of {drive.name.replace('_', ' ')}", number / len(drives))
        shelf.keep_match(kept, test, match_drive(test.sheet, drive))


def _match_every(kept, test, drives: tuple, tell, keep_going) -> None:
    from dyntest.reviewing.drive_match import match_drive_blows

    whole, before = sum(len(drive.table) for drive in drives), 0
    for drive in drives:
        if not keep_going():
            return

        def progress(done: int, of: int, drive=drive, before=before) -> None:
            words = f"matching every blow of {drive.name.replace('_', ' ')}, {done:,} of {of:,}"
            tell(words, (before + done) / whole)

        progress(0, len(drive.table))
        matched = match_drive_blows(test.sheet, drive, progress=progress, keep_going=keep_going)
        shelf.keep_match(kept, test, matched)
        before += len(drive.table)


@st.fragment(run_every=0.5)
def _watch(page: str) -> None:
    """Show how far the work is; the whole page is drawn again when it is done."""
    job = st.session_state.get("job")
    if job is None or not job.is_alive():
        st.rerun()
    bar, stop = st.columns([4, 1], vertical_alignment="center")
    words = "stopping after what is being matched now" if job.asked_to_stop.is_set() else job.words
    bar.progress(job.share, text=f"{words[0].upper()}{words[1:]} …")
    stop.button("Stop", key=f"{page}_stop", on_click=job.asked_to_stop.set)


def _finish(job) -> None:
    """Take a job that has ended off the page, with what it has to say."""
    if job.problem:
        st.error(pieces.plain(job.problem), icon=":material/error:")
    elif job.asked_to_stop.is_set():
        st.info("Stopped\\. What was matched before is kept\\.")
    st.session_state.pop("job", None)


def show(test, drive) -> None:
    """Draw what the match of a drive shows: waves, soil along the pile, and the computed static load test."""
    match = drive.match
    if match is None:
        return
    from dyntest.presenting.frames_match import load_movements, match_rows, match_waves, shaft_lengths

    blow = drive.representative.blow
    pieces.heading(f"The match of blow {blow}")
    if not match.fitted:
        told = f"the misfit is {match.misfit:.3f}, so computed and measured waves differ too much to rely on it"
        pieces.caution("poor match", told, "match another blow, or look at pile and record")
    draw(match_chart(match_waves(match, test.system)), "match_waves")
    left, right = st.columns(2)
    with left:
        draw(distribution_chart(shaft_lengths(match, test.system)), "match_distribution")
    with right:
        draw(load_chart(load_movements(match, test.system)), "match_load")
    pieces.table(match_rows(match, test.system), "match_table", height="content")
