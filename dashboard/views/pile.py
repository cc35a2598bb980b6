"""The first page of a test: which pile this is and how it was tested."""

from pathlib import Path

import altair as alt
import numpy as np
import pandas as pd
import streamlit as st

from dyntest.decisions.setup import wait
from dyntest.errors import DyntestError
from dyntest.names import show_length
from dyntest.presenting import palette
from dyntest.presenting.frames import depth_title, pile_parts, sheet_rows, shown
from dyntest.presenting.terms import show_wait

from .. import pages, pieces, state, uploads, work
from ..charts import FIGURES, axis, finish, layered


def pile_chart(parts: pd.DataFrame, title: str, ground: float | None, height: int = 420) -> alt.LayerChart:
    """Give the pile from head to toe with gauges, ground and toe; depths are below the gauges, in its display unit."""
    ink, accent = pages.colour(palette.INK), pages.colour(palette.ACCENT)
    low, high = float(parts["top"].min()), float(parts["bottom"].max())
    scale = alt.Scale(domain=[low - 0.06 * (high - low), high + 0.06 * (high - low)], reverse=True, nice=False)
    scale_across = alt.Scale(domain=[-1.6, 2.6])

    def across(column: str) -> alt.X:
        return alt.X(f"{column}:Q", axis=None, scale=scale_across)

    drawn = parts.assign(left=-0.32 * parts["width"], right=0.32 * parts["width"])
    body = (
        alt.Chart(drawn)
        .mark_rect(stroke=ink, strokeWidth=1.5, fill=ink, fillOpacity=0.16)
        .encode(
            x=across("left"),
            x2=alt.X2("right:Q"),
            y=alt.Y("top:Q", axis=axis(title), scale=scale),
            y2=alt.Y2("bottom:Q"),
            tooltip=["part:N", *(alt.Tooltip(f"{end}:Q", format=FIGURES) for end in ("top", "bottom"))],
        )
    )
    places = [(0.0, "gauges", accent), (high, "toe", ink)]
    layers = [body]
    if ground is not None:
        soil = pd.DataFrame({"a": [-1.6], "b": [2.6], "t": [max(ground, low)], "u": [high + 0.06 * (high - low)]})
        earth = alt.Chart(soil).mark_rect(fill=pages.colour(palette.DRIVES["restrike"]), opacity=0.16)
        layers.insert(0, earth.encode(x=across("a"), x2=alt.X2("b:Q"), y=alt.Y("t:Q"), y2=alt.Y2("u:Q")))
        places.append((ground, "ground", pages.quiet_text()))
    for depth, words, colour in places:
        data = pd.DataFrame({"x": [-0.5], "x2": [0.5], "w": [0.6], "y": [depth], "t": [words]})
        rule = (
            alt.Chart(data)
            .mark_rule(color=colour, strokeWidth=2)
            .encode(x=across("x"), x2=alt.X2("x2:Q"), y=alt.Y("y:Q"))
        )
        text = (
            alt.Chart(data)
            .mark_text(color=colour, align="left")
            .encode(x=across("w"), y=alt.Y("y:Q"), text=alt.Text("t:N"))
        )
        layers += [rule, text]
    return finish(layered(*layers), height, "The pile from its head to its toe, with its gauges and the ground.")


def draw() -> None:
    """Draw the page."""
    above, opening = st.container(), st.container()
    with opening:
        _open()
    with above:
        _pile(work.test())


def _pile(test) -> None:
    sheet, system = test.sheet, test.system
    pile = sheet.pile
    named = pile.section or f"a {pile.material} pile"
    length = show_length(pile.length, system)
    told = [f"{sheet.pile_name} is {_article(named)}, {length} long below its gauges."]
    told.append(_drives(sheet))
    pieces.draw_answer(told)
    if "invented" in f"{sheet.project} {sheet.structure}".lower():
        pieces.draw_note("This is an invented test: place, people and pile do not exist, and the records are computed.")
    from ..charts import draw as draw_chart  # after the answer, which is shown while this loads

    left, right = st.columns([2, 3])
    with left:
        draw_chart(pile_chart(pile_parts(sheet, system), depth_title(system), _ground(sheet, system)), "pile_drawing")
    with right:
        pieces.worded(sheet_rows(sheet, system))
    pieces.draw_heading("The drives")
    pieces.worded(_drive_rows(sheet, system))
    with st.expander("The test sheet as read", icon=":material/article:"):
        st.code(sheet.text, language="toml")


def _article(named: str) -> str:
    return named if named.startswith("a ") else f"a pile of section {named}"


def _drives(sheet) -> str:
    initial = [drive for drive in sheet.drives if drive.kind == "initial"]
    restrikes = [drive for drive in sheet.drives if drive.kind == "restrike"]
    end = initial[-1].end if initial else None
    waits = [wait(end, drive.start, sheet.path.name) for drive in restrikes]
    told = "It was tested during initial driving" if initial else "It was not tested during initial driving"
    if not restrikes:
        return f"{told}; there is no restrike."
    times = "once" if len(restrikes) == 1 else "twice" if len(restrikes) == 2 else f"{len(restrikes)} times"
    after = [show_wait(seconds) for seconds in waits if seconds is not None]
    return f"{told} and restruck {times}" + (f", after {' and '.join(after)}." if after else ".")


def _ground(sheet, system: str) -> float | None:
    """Give the depth of the ground below the gauges at the end of the first drive, if the log gives it."""
    drive = sheet.drives[0]
    depth = drive.penetration_at_start
    if drive.log is not None:
        from dyntest.reading.logs import read_driving_log

        log = read_driving_log(drive.log, sheet.log_layout, drive.penetration_at_start)
        depth = float(np.max(log.depth_to))
    return None if depth is None else float(shown("penetration", sheet.pile.length - depth, system))


def _drive_rows(sheet, system: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "drive": [drive.name.replace("_", " ") for drive in sheet.drives],
            "start": [f"{drive.start:%Y-%m-%d %H:%M}" if drive.start else "–" for drive in sheet.drives],
            "end": [f"{drive.end:%Y-%m-%d %H:%M}" if drive.end else "–" for drive in sheet.drives],
            "penetration at start": [show_length(d.penetration_at_start, system) for d in sheet.drives],
            "records": [", ".join(path.name for path in drive.signals) for drive in sheet.drives],
            "driving log": [drive.log.name if drive.log else "–" for drive in sheet.drives],
        }
    )


def _open() -> None:
    """Offer to open another test."""
    with st.expander("Open another test", icon=":material/folder_open:"):
        found = uploads.sample_sheets()
        if found:
            st.selectbox(
                "Sample (invented)", list(found), format_func=uploads.SAMPLE_NAMES.__getitem__, key="pile_sample"
            )
            st.button(
                "Open the sample",
                key="pile_open_sample",
                on_click=lambda: state.open_sheet(found[state.typed("pile_sample")]),
            )
        else:
            pieces.draw_note("The samples are not installed; they are in sample_signals of the source code.")
        path = st.text_input("A test sheet on this computer", placeholder="/path/to/sheet.toml", key="pile_path")
        st.button(
            "Open the sheet",
            key="pile_open_path",
            disabled=not path,
            on_click=lambda: state.open_sheet(Path(state.typed("pile_path") or path).expanduser()),
        )
        files = st.file_uploader(
            "Or upload a test sheet with every table it names",
            type=["toml", "csv", "gz", "parquet"],
            accept_multiple_files=True,
            key="pile_files",
        )
        pieces.draw_note(
            f"At most {uploads.MOST_FILES} files of {uploads.MOST_BYTES / 1e6:,.0f} MB in total. They stay on this"
            " computer, in a temporary folder that is removed when the session ends."
        )
        if st.button("Open the uploaded files", key="pile_open_files", disabled=not files):
            _take(files)


def _take(files) -> None:
    folder = uploads.Folder()
    try:
        sheet = uploads.unpack(files, folder)
    except DyntestError as problem:
        st.error(pieces.plain(str(problem)), icon=":material/error:")
        return
    state.open_sheet(sheet)
    st.session_state["folder"] = folder  # the previous folder, if any, is removed now
    st.rerun()
