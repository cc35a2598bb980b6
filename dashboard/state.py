"""What the user has opened and chosen: kept in the session and by the server, restored from the address.

The address has test, page, drive and blow. Choices are kept by the server under a key in the address, so that they
survive reloading a page; a second window with that address starts with a copy.
"""

import hashlib
import os
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import streamlit as st

from dyntest.reading.parts import Choices, TestSheet

SHEET_VARIABLE = "DYNTEST_SHEET"
"""Environment variable with the sheet to open first."""

STRUCTURE_VARIABLE = "DYNTEST_STRUCTURE"
"""Environment variable with the structure to open first."""

SYSTEMS = {"US": "feet, kips", "SI": "metres, kilonewtons"}
"""Names of the display units on the switch."""

OF_A_TEST = ("choices", "before", "system", "looked_at", "drive", "compared", "production", "drafts")
"""State that is dropped when another test is opened."""

OF_A_SESSION = (
    "sheet_path",
    "folder",
    "production_folder",
    "hammer_drawn",
    "resistance_drawn",
    "new_test",
    "other",
    "structure_path",
    "structure_pile",
    "structure_system",
)

KEPT = (*OF_A_TEST, *OF_A_SESSION)
"""State that is restored when a page is reloaded."""

MOST_DESKS = 60
"""Most sessions whose choices are kept [1]; the one used longest ago is dropped first."""


@dataclass
class Desks:
    """Choices of sessions, by a key that only their address has, and paths of the opened tests."""

    chosen: OrderedDict[str, dict[str, Any]] = field(default_factory=OrderedDict)
    tests: dict[str, str] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)


@st.cache_resource(show_spinner=False)
def desks() -> Desks:
    """Give the state that the server keeps for its sessions."""
    return Desks()


def restore() -> None:
    """Give a new session the state named in its address."""
    if "desk" in st.session_state:
        return
    asked, kept = st.query_params, desks()
    with kept.lock:
        for name, value in kept.chosen.get(asked.get("kept", ""), {}).items():
            st.session_state[name] = value
        path = kept.tests.get(asked.get("test", ""))
    st.session_state["desk"] = secrets.token_hex(6)
    if path is not None and st.session_state.get("sheet_path", path) == path:
        st.session_state["sheet_path"] = path
        drive, blow = asked.get("drive"), asked.get("blow", "")
        if drive:
            st.session_state["drive"] = drive
            if blow.isdecimal():
                look_at(drive, int(blow))


def remember(path: Path, drive: str | None, blow: int | None) -> None:
    """Store the choices of the session, and update the address."""
    kept = desks()
    name = _short(path)
    with kept.lock:
        kept.tests[name] = str(path)
        desk = st.session_state["desk"] = st.session_state.get("desk") or secrets.token_hex(6)
        kept.chosen[desk] = {key: st.session_state[key] for key in KEPT if key in st.session_state}
        kept.chosen.move_to_end(desk)
        while len(kept.chosen) > MOST_DESKS:
            kept.chosen.popitem(last=False)
    wanted = {"test": name, "kept": desk}
    wanted |= {key: str(value) for key, value in (("drive", drive), ("blow", blow)) if value is not None}
    if st.query_params.to_dict() != wanted:
        st.query_params.from_dict(wanted)


def _short(path: Path) -> str:
    """Give a key for a test that does not reveal its path."""
    named = "".join(letter for letter in path.parent.name if letter.isalnum() or letter in "-_")[:24]
    return f"{named}-{hashlib.sha256(str(path).encode()).hexdigest()[:8]}"


def sheet_path() -> Path | None:
    """Give the path of the open test sheet; None if none was opened."""
    path = st.session_state.get("sheet_path") or os.environ.get(SHEET_VARIABLE)
    return None if path is None else Path(path)


def open_sheet(path: Path) -> None:
    """Open a test sheet and drop the choices for the previous one."""
    for key in OF_A_TEST:
        st.session_state.pop(key, None)
    st.session_state["sheet_path"] = str(path)


def structure_path() -> Path | None:
    """Give the path of the open structure; None if none was opened."""
    path = st.session_state.get("structure_path") or os.environ.get(STRUCTURE_VARIABLE)
    return None if path is None else Path(path)


def open_structure(path: Path) -> None:
    """Open a structure; the open test stays open."""
    close_structure()
    st.session_state["structure_path"] = str(path)


def close_structure() -> None:
    """Close the opened structure; the one the program was started with is open again."""
    for key in ("structure_path", "structure_pile", "structure_system"):
        st.session_state.pop(key, None)


def close_sheet() -> None:
    """Close the open test; the one the program was started with is open again."""
    for key in (*OF_A_TEST, "sheet_path"):
        st.session_state.pop(key, None)


def close_production() -> None:
    """Close the opened production log."""
    st.session_state.pop("production", None)


def system(sheet: TestSheet) -> str:
    """Give the display units, ``"SI"`` or ``"US"``."""
    return st.session_state.get("system", sheet.display_units)


def choices(sheet: TestSheet) -> Choices:
    """Give the choices: those of the sheet until something is changed."""
    return st.session_state.get("choices", sheet.choices)


def change(sheet: TestSheet, **changed: Any) -> None:
    """Change some of the choices; the change can be undone."""
    before = choices(sheet)
    st.session_state["before"] = [*st.session_state.get("before", []), before][-20:]
    st.session_state["choices"] = replace(before, **changed)


def undo() -> None:
    """Undo the last change of choices."""
    before = st.session_state.get("before", [])
    if before:
        st.session_state["before"], st.session_state["choices"] = before[:-1], before[-1]


def reset() -> None:
    """Restore the choices of the sheet."""
    st.session_state.pop("choices", None)
    st.session_state.pop("before", None)


def looked_at(drive: str, otherwise: int) -> int:
    """Give the number of the selected blow of a drive."""
    return st.session_state.get("looked_at", {}).get(drive, otherwise)


def look_at(drive: str, blow: int) -> None:
    """Select another blow of a drive, on this page and on the others."""
    st.session_state["looked_at"] = {**st.session_state.get("looked_at", {}), drive: blow}
    st.session_state["drive"] = drive


def widget_key(key: str, value: object) -> str:
    """Make a widget show a value stored elsewhere; give its key.

    Streamlit drops the state of a widget that a page does not draw, so choices are stored separately.
    """
    st.session_state[key] = value
    return key


def typed(key: str) -> Any:
    """Give what a widget holds when a button is pressed.

    A press can arrive with what was typed before it; what the page was last drawn with may then be older.
    """
    return st.session_state.get(key)


def asked(key: str, act: Callable[[Any], None]) -> Callable[[], None]:
    """Give the callback of a widget: act on its new value."""
    return lambda: act(st.session_state[key])


def once(key: str, act: Callable[..., None]) -> Callable[..., None]:
    """Give what a button calls back, done once a click.

    Streamlit calls back again where another request to draw the page comes in during the first call. The page has not
    begun to be drawn between the two, by which they are told from two clicks.
    """

    def called_back(*given: Any, **named: Any) -> None:
        done = st.session_state.setdefault("called_back", set())
        if key not in done:
            done.add(key)
            act(*given, **named)

    return called_back


def begin_page() -> None:
    """Take the next call back of every button as a new click."""
    st.session_state["called_back"] = set()
