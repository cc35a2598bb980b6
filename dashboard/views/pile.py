"""The page on which a test is opened: which pile this is and how it was tested."""

from pathlib import Path

import numpy as np
import pandas as pd
import streamlit as st

from dashboard import pieces, samples, state, uploads, work
from dyntest.decisions.waits import show_wait, wait
from dyntest.errors import DyntestError
from dyntest.names import show
from dyntest.presenting.frames import shown
from dyntest.presenting.frames_pile import depth_title, pile_parts, sheet_rows


def draw() -> None:
    """Draw the page."""
    pieces.question("pile")
    try:
        _pile(work.test())
    except DyntestError as problem:
        st.error(pieces.plain(str(problem)), icon=":material/error:")
    _open()


def _pile(test) -> None:
    sheet, system = test.sheet, test.system
    pile = sheet.pile
    named = pile.section or f"a {pile.material} pile"
    length = show("penetration", pile.length, system)
    told = [f"{sheet.pile_name} is {_article(named)}, {length} long below its gauges."]
    told.append(_drives(sheet))
    pieces.answer(told)
    if "invented" in f"{sheet.project} {sheet.structure}".lower():
        pieces.note("This is an invented test: place, people and pile do not exist, and the records are computed.")
    from dashboard.charts.base import draw as draw_chart  # after the answer, which is seen while this is loaded
    from dashboard.charts.pile import pile_chart

    left, right = st.columns([2, 3])
    with left:
        draw_chart(pile_chart(pile_parts(sheet, system), depth_title(system), _ground(sheet, system)), "pile_drawing")
    with right:
        pieces.table(sheet_rows(sheet, system), "pile_table", height="content")
    pieces.heading("The drives")
    pieces.table(_drive_rows(sheet, system), "pile_drives")
    with st.expander("The test sheet as read", icon=":material/article:"):
        st.code(sheet.text, language="toml")


def _article(named: str) -> str:
    return named if named.startswith("a ") else f"a pile of section {named}"


def _drives(sheet) -> str:
    initial = [drive for drive in sheet.drives if drive.kind == "initial"]
    restrikes = [drive for drive in sheet.drives if drive.kind == "restrike"]
    end = initial[-1].end if initial else None
    waits = [wait(end, drive.start, sheet.path.name) for drive in restrikes]
    told = "It was recorded while it was driven" if initial else "Its driving was not recorded"
    if not restrikes:
        return f"{told}, and it was not struck again."
    times = "once" if len(restrikes) == 1 else "twice" if len(restrikes) == 2 else f"{len(restrikes)} times"
    after = [show_wait(seconds) for seconds in waits if seconds is not None]
    return f"{told}, and {times} again" + (f", after {' and '.join(after)}." if after else ".")


def _ground(sheet, system: str) -> float | None:
    """Give how deep the ground lies below the gauges at the end of the first drive, where the log says it."""
    drive = sheet.drives[0]
    depth = drive.penetration_at_start
    if drive.log is not None:
        from dyntest.reading.driving_log import read_driving_log

        depth = float(np.max(read_driving_log(drive.log).depth_to))
    return None if depth is None else float(shown("penetration", sheet.pile.length - depth, system))


def _drive_rows(sheet, system: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "drive": [drive.name.replace("_", " ") for drive in sheet.drives],
            "start": [f"{drive.start:%Y-%m-%d %H:%M}" if drive.start else "–" for drive in sheet.drives],
            "end": [f"{drive.end:%Y-%m-%d %H:%M}" if drive.end else "–" for drive in sheet.drives],
            "penetration at its start": [show("penetration", d.penetration_at_start, system) for d in sheet.drives],
            "records": [", ".join(path.name for path in drive.signals) for drive in sheet.drives],
            "driving log": [drive.log.name if drive.log else "–" for drive in sheet.drives],
        }
    )


def _open() -> None:
    """Let a person open another test."""
    with st.expander("Open another test", icon=":material/folder_open:"):
        found = samples.sheets()
        if found:
            chosen = st.selectbox("A sample, invented", list(found), format_func=samples.NAMES.get, key="pile_sample")
            st.button("Open the sample", key="pile_open_sample", on_click=state.open_sheet, args=(found[chosen],))
        else:
            pieces.note("The samples were not installed with the program; they are in sample_signals of its source.")
        path = st.text_input("A test sheet on this computer", placeholder="/path/to/sheet.toml", key="pile_path")
        st.button(
            "Open the sheet",
            key="pile_open_path",
            disabled=not path,
            on_click=lambda: state.open_sheet(Path(path).expanduser()),
        )
        files = st.file_uploader(
            "Or upload a test sheet together with every table it names",
            type=["toml", "csv", "gz", "parquet"],
            accept_multiple_files=True,
            key="pile_files",
        )
        pieces.note(
            f"At most {uploads.MOST_FILES} files of {uploads.MOST_BYTES / 1e6:,.0f} MB together; they stay on this"
            " computer, in a temporary folder that is removed when the session ends."
        )
        if st.button("Open what was uploaded", key="pile_open_files", disabled=not files):
            _take(files)


def _take(files) -> None:
    folder = uploads.Folder()
    try:
        sheet = uploads.unpack(files, folder)
    except DyntestError as problem:
        st.error(pieces.plain(str(problem)), icon=":material/error:")
        return
    state.open_sheet(sheet)
    st.session_state["folder"] = folder  # the folder before it, if any, goes now
    st.rerun()


if __name__ == "__main__":
    pieces.guarded(draw)
