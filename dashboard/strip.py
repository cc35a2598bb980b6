"""Routing from address to page, with test, drive, blow and running jobs above it, and the disclaimer below it."""

import html
import os
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import numpy as np
import streamlit as st

from dyntest.errors import DyntestError
from dyntest.names import show, show_required
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION

from . import pages, pieces, shelf, state, work
from .pages import PAGES

LOOKING = ("trust", "hammer", "resistance")
"""Pages on one blow, which can be selected above them."""

LIVE, STRUCTURE = "live", "structure"
"""The page on a drive being recorded, and the page on many tests."""

POLLING = 1.0
"""Interval at which running jobs are checked [s]."""


@dataclass(frozen=True)
class Place:
    """Selected drive and blow."""

    drive: str
    blow: int


def head(page: str) -> None:
    """Show the open test, its status, and the selection of drive and blow above a page."""
    state.begin_page()
    pages.style()
    above = st.container()
    pieces.question(page)  # before anything is computed
    state.restore()
    if page not in ("new_test", LIVE, STRUCTURE):  # no test yet, records still to come, or many tests
        with above:
            _head(page)


def _head(page: str) -> None:
    try:
        test = work.test()
    except DyntestError:
        return  # the page shows the error and can open another test
    place = None
    try:
        place = _strip(test, page)
    except (DyntestError, OSError):
        _line(test, [])  # the page shows the error, with ways back
    state.remember(test.sheet.path, *((place.drive, place.blow) if place else (None, None)))


def place_of(test) -> Place:
    """Give the selected drive and blow: those of the session, if the test has them."""
    names = [drive.name for drive in test.sheet.drives]
    kept = st.session_state.get("drive")
    drive = work.drive(test, str(kept) if kept in names else names[0])
    known = drive.table["blow"].to_numpy()
    standing = int(known[-1]) if drive.representative is None else drive.representative.blow
    wanted = state.looked_at(drive.name, standing)
    return Place(drive.name, int(known[np.abs(known - wanted).argmin()]))


def _strip(test, page: str) -> Place:
    announce(test.key)
    review = work.review(test)
    place = place_of(test)
    drive = next(one for one in review.drives if one.name == place.drive)
    system = test.system
    factor = drive.table["damping_factor"].iloc[0] if "damping_factor" in drive.table else float("nan")
    trusted = {"yes": "✓ trusted", "with care": "! with care", "no": "✗ not trusted"}[drive.trust.answer]
    chips = [
        (f"{drive.name.replace('_', ' ')}, blow {place.blow}", ""),
        (trusted, drive.trust.answer),
        (f"J {factor:.2f}" if factor == factor else "J unknown", ""),
    ]
    numbers = drive.numbers
    matched = shelf.match_of(test, drive, place.blow)
    if matched is not None and matched["match"] is not None:
        chips.append(("blow matched", ""))
    elif drive.match is not None:
        chips.append((f"blow {drive.representative.blow} matched", ""))
    else:
        chips.append(("not matched", "with care"))
    required = review.answers.required.value
    code = next((one for one in ("matched_resistance", "case_resistance_maximum") if one in numbers), None)
    if code is not None and drive.trust.answer != "no":
        short = required is not None and numbers[code] < required
        way = "matched" if code == "matched_resistance" else "Case"
        chips.append((f"resistance {show(code, numbers[code], system)} ({way})", "with care" if short else ""))
    if required is not None:
        chips.append((f"required {show_required(required, system)}", ""))
    alerts = len(pieces.alerts_of(test, review))
    if alerts:
        chips.append((f"{alerts} alert{'s' if alerts > 1 else ''}", "no"))
    if state.choices(test.as_read) != test.as_read.choices:
        chips.append(("unsaved choices", "with care"))
    _line(test, chips)
    if page in LOOKING or len(review.drives) > 1:
        _controls(test, drive, place, page)
    show_work(test.key)
    structure = work.nearest_structure()
    if structure is not None:
        announce(str(structure))
        show_work(str(structure), kind="structure")
    return place


def _line(test, chips: list[tuple[str, str]]) -> None:
    named = [test.sheet.pile_name, test.sheet.structure]
    told = "".join(f'<span class="chip {kind.replace(" ", "-")}">{html.escape(words)}</span>' for words, kind in chips)
    strip = st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center")
    name = html.escape(" · ".join(one for one in named if one))
    strip.html(f'<div class="dyntest-strip"><b>{name}</b> {told}</div>')
    key = state.widget_key("units", test.system)
    with strip:
        st.segmented_control(
            "Units",
            list(state.SYSTEMS),
            key=key,
            help="; ".join(f"{system}: {words}" for system, words in state.SYSTEMS.items()),
            label_visibility="collapsed",
            width="content",
            on_change=state.asked(key, lambda value: st.session_state.update(system=value or test.system)),
        )


def _controls(test, drive, place: Place, page: str) -> None:
    """Offer the selection of drive and blow; the arrow keys step where a record is drawn."""
    names = [one.name for one in test.sheet.drives]
    row = st.container(horizontal=True, vertical_alignment="center")
    with row:
        if len(names) > 1:
            key = state.widget_key("strip_drive", place.drive)
            st.segmented_control(
                "Drive",
                names,
                key=key,
                width="content",
                wrap=True,
                label_visibility="collapsed",
                format_func=lambda name: name.replace("_", " "),
                on_change=state.asked(key, lambda value: st.session_state.update(drive=value or place.drive)),
            )
        if page in LOOKING:
            first, last = int(drive.table["blow"].iloc[0]), int(drive.table["blow"].iloc[-1])
            key = state.widget_key("strip_blow", place.blow)
            st.number_input(
                f"Blow, {first} to {last}",
                first,
                last,
                step=1,
                key=key,
                width=170,
                label_visibility="collapsed",
                help=f"Blow, {first} to {last}",
                on_change=state.asked(key, lambda value: state.look_at(drive.name, int(value))),
            )
            standing = None if drive.representative is None else drive.representative.blow
            if standing is not None and standing != place.blow:
                st.button(
                    f"Representative blow {standing}",
                    key="strip_standing",
                    on_click=state.look_at,
                    args=(drive.name, standing),
                )


def show_work(key: str, *, kind: str = "strip", each_step: bool = False) -> None:
    """Show the jobs running on a test or structure; redraw the page at each step if requested."""
    if any(job.is_alive() for job in shelf.jobs().of(key)):
        _watch(key, kind, each_step)


@st.fragment(run_every=POLLING)
def _watch(key: str, kind: str, each_step: bool) -> None:
    """Show the progress of a job; the whole page is redrawn when it is done, or at each step."""
    alive = [job for job in shelf.jobs().of(key) if job.is_alive()]
    shares = [job.share for job in alive]
    before = st.session_state.get("watched_shares")
    st.session_state["watched_shares"] = shares
    if not alive or (each_step and before is not None and before != shares):
        st.rerun()
    for place, job in enumerate(alive):
        bar, stop = st.columns([5, 1], vertical_alignment="center")
        words = "stopping" if job.asked_to_stop.is_set() else job.words
        left = job.left()
        bar.progress(job.share, text=f"{words[0].upper()}{words[1:]}{', ' + left if left else ''} …")
        stop.button("Stop", key=f"{kind}_stop_{place}", on_click=job.asked_to_stop.set)


def announce(key: str) -> None:
    """Tell each session once how a job on its test or structure ended."""
    told = st.session_state.setdefault("jobs_told", set())
    for job in shelf.jobs().of(key):
        if job.is_alive():
            st.session_state.setdefault("jobs_seen", set()).add(job.began)
        elif job.began in st.session_state.get("jobs_seen", set()) - told:
            told.add(job.began)
            if job.problem:
                st.error(pieces.plain(job.problem), icon=":material/error:")
            elif job.asked_to_stop.is_set():
                st.info("Stopped\\. Finished results are kept\\.")


def foot(pages: dict, page) -> None:
    """Link to the next question, and show under every page who decides."""
    names = list(pages)
    place = list(pages.values()).index(page) + 1
    if place < len(names):
        following = names[place]
        st.page_link(pages[following], label=f"Next: {PAGES[following].question}", icon=":material/arrow_forward:")
    st.html(f'<div class="dyntest-foot">{html.escape(GOVERNING_SPECIFICATION)}</div>')


ICON = Path(__file__).parent / "pictures" / "icon.svg"
"""A file of our own, since emoji icons are fetched from the internet."""


def route() -> None:
    """Draw the page named in the address."""
    st.set_page_config(page_title="dyntest", page_icon=str(ICON), layout="wide")
    first = next(iter(PAGES)) if state.STRUCTURE_VARIABLE not in os.environ else STRUCTURE
    pages = {
        name: st.Page(drawing(name), title=page.title, icon=page.icon, url_path=name) for name, page in PAGES.items()
    }
    # Streamlit knows its first page by no address of its own, so that one kept as /structure would not be found.
    start = st.Page(drawing(first), title=PAGES[first].title, icon=PAGES[first].icon, url_path="start", default=True)
    page = st.navigation([start, *pages.values()], position="hidden")
    if page == start:
        pages[first] = start
    wanted = st.session_state.pop("go_to", None)
    if wanted in pages:
        st.switch_page(pages[wanted])
    with st.container(horizontal=True, key="pages"):  # Streamlit's own bar hides pages in a narrow window
        for one in pages.values():
            st.page_link(one, label=one.title, width="content")
    page.run()
    foot(pages, page)


def drawing(name: str) -> Callable[[], None]:
    """Give the function that draws a page with the strip above it; its module is loaded on first use."""

    def draw() -> None:
        head(name)
        pieces.guarded(import_module(f".views.{name}", __package__).draw)

    return draw
