"""What a person has opened and chosen: kept in the session, gone with it, and seen by no other session."""

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import streamlit as st

from dyntest.reading.parts import Choices, TestSheet

SHEET_VARIABLE = "DYNTEST_SHEET"
"""Environment variable by which the command line names the sheet to open first."""

SYSTEMS = {"US": "feet, kips", "SI": "metres, kilonewtons"}
"""What the display units are called on the switch."""


def sheet_path() -> Path | None:
    """Give where the open test sheet lies; None where none was opened yet."""
    path = st.session_state.get("sheet_path") or os.environ.get(SHEET_VARIABLE)
    return None if path is None else Path(path)


def open_sheet(path: Path) -> None:
    """Open a test sheet and forget what was chosen for the one before it."""
    for key in ("choices", "system", "looked_at", "compared", "production", "job"):
        st.session_state.pop(key, None)
    st.session_state["sheet_path"] = str(path)


def system(sheet: TestSheet) -> str:
    """Give the display units, ``"SI"`` or ``"US"``."""
    return st.session_state.get("system", sheet.display_units)


def choices(sheet: TestSheet) -> Choices:
    """Give what is chosen: the sheet's own choices until something is changed."""
    return st.session_state.get("choices", sheet.choices)


def change(sheet: TestSheet, **changed: Any) -> None:
    """Change some of the choices."""
    st.session_state["choices"] = replace(choices(sheet), **changed)


def reset() -> None:
    """Go back to the choices of the sheet."""
    st.session_state.pop("choices", None)


def looked_at(drive: str, otherwise: int) -> int:
    """Give the number of the blow that is looked at in a drive."""
    return st.session_state.get("looked_at", {}).get(drive, otherwise)


def look_at(drive: str, blow: int) -> None:
    """Look at another blow of a drive, on this page and on the others."""
    st.session_state["looked_at"] = {**st.session_state.get("looked_at", {}), drive: blow}
    st.session_state["drive"] = drive


def shown(key: str, value: object) -> str:
    """Have a widget show a value that is kept elsewhere; give its key.

    Streamlit forgets the state of a widget that a page does not draw, so the choices are kept apart from it.
    """
    st.session_state[key] = value
    return key


def asked(key: str, act: Callable[[Any], None]) -> Callable[[], None]:
    """Give what to do when the widget of a key has changed: act on its new value."""
    return lambda: act(st.session_state[key])
