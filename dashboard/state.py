"""What a person has opened and chosen: kept in the session and by the server, found again from the address.

The address says which test, page, drive and blow are looked at. What was chosen is kept by the server under a word in
the address, so that a page that is loaded again has it; a second window with that address starts with a copy.
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
"""Environment variable by which the command line names the sheet to open first."""

STRUCTURE_VARIABLE = "DYNTEST_STRUCTURE"
"""Environment variable by which the command line names the structure to open first."""

SYSTEMS = {"US": "feet, kips", "SI": "metres, kilonewtons"}
"""What the display units are called on the switch."""

OF_A_TEST = ("choices", "before", "system", "looked_at", "drive", "compared", "production", "drafts")
"""What is forgotten when another test is opened."""

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
"""What is found again when a page is loaded again."""

MOST_DESKS = 60
"""Sessions whose choices are kept at most [1]; the one used longest ago goes first."""


@dataclass
class Desks:
    """What sessions have chosen, by a word that only their address has, and where the tests lie that were opened."""

    chosen: OrderedDict[str, dict[str, Any]] = field(default_factory=OrderedDict)
    tests: dict[str, str] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)


@st.cache_resource(show_spinner=False)
def desks() -> Desks:
    """Give what the server keeps for its sessions."""
    return Desks()


def restore() -> None:
    """Give a session that begins what its address speaks of."""
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
    """Keep what the session has chosen, and write the address."""
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
    """Give a word for a test that says nothing of where it lies."""
    named = "".join(letter for letter in path.parent.name if letter.isalnum() or letter in "-_")[:24]
    return f"{named}-{hashlib.sha256(str(path).encode()).hexdigest()[:8]}"


def sheet_path() -> Path | None:
    """Give where the open test sheet lies; None where none was opened yet."""
    path = st.session_state.get("sheet_path") or os.environ.get(SHEET_VARIABLE)
    return None if path is None else Path(path)


def open_sheet(path: Path) -> None:
    """Open a test sheet and forget what was chosen for the one before it."""
    for key in OF_A_TEST:
        st.session_state.pop(key, None)
    st.session_state["sheet_path"] = str(path)


def structure_path() -> Path | None:
    """Give where the file of the open structure lies; None where none was opened."""
    path = st.session_state.get("structure_path") or os.environ.get(STRUCTURE_VARIABLE)
    return None if path is None else Path(path)


def open_structure(path: Path) -> None:
    """Open a structure; the open test stays as it is."""
    close_structure()
    st.session_state["structure_path"] = str(path)


def close_structure() -> None:
    """Close the structure that was opened, so that the one the program was started on is open again."""
    for key in ("structure_path", "structure_pile", "structure_system"):
        st.session_state.pop(key, None)


def close_sheet() -> None:
    """Close the open test, so that the one the program was started on is open again."""
    for key in (*OF_A_TEST, "sheet_path"):
        st.session_state.pop(key, None)


def close_production() -> None:
    """Close the production log that was opened."""
    st.session_state.pop("production", None)


def system(sheet: TestSheet) -> str:
    """Give the display units, ``"SI"`` or ``"US"``."""
    return st.session_state.get("system", sheet.display_units)


def choices(sheet: TestSheet) -> Choices:
    """Give what is chosen: the sheet's own choices until something is changed."""
    return st.session_state.get("choices", sheet.choices)


def change(sheet: TestSheet, **changed: Any) -> None:
    """Change some of the choices; those before can be gone back to."""
    before = choices(sheet)
    st.session_state["before"] = [*st.session_state.get("before", []), before][-20:]
    st.session_state["choices"] = replace(before, **changed)


def undo() -> None:
    """Go back to the choices before the last change."""
    before = st.session_state.get("before", [])
    if before:
        st.session_state["before"], st.session_state["choices"] = before[:-1], before[-1]


def reset() -> None:
    """Go back to the choices of the sheet."""
    st.session_state.pop("choices", None)
    st.session_state.pop("before", None)


def looked_at(drive: str, otherwise: int) -> int:
    """Give the number of the blow that is looked at in a drive."""
    return st.session_state.get("looked_at", {}).get(drive, otherwise)


def look_at(drive: str, blow: int) -> None:
    """Look at another blow of a drive, on this page and on the others."""
    st.session_state["looked_at"] = {**st.session_state.get("looked_at", {}), drive: blow}
    st.session_state["drive"] = drive


def widget_key(key: str, value: object) -> str:
    """Have a widget show a value that is kept elsewhere; give its key.

    Streamlit forgets the state of a widget that a page does not draw, so the choices are kept apart from it.
    """
    st.session_state[key] = value
    return key


def asked(key: str, act: Callable[[Any], None]) -> Callable[[], None]:
    """Give what to do when the widget of a key has changed: act on its new value."""
    return lambda: act(st.session_state[key])
