"""Two figures drawn in the browser: the record of a blow, and quantities of every blow of a drive."""

from collections.abc import Callable
from importlib.resources import files
from typing import Any

import streamlit as st


def _javascript(name: str) -> str:
    folder = files(__name__)
    return (folder / "shared.js").read_text(encoding="utf-8") + (folder / f"{name}.js").read_text(encoding="utf-8")


@st.cache_resource(show_spinner=False)
def _mounted(name: str) -> Callable[..., Any]:
    return st.components.v2.component(f"dyntest_{name}", js=_javascript(name), isolate_styles=False)


def draw_record(data: dict[str, Any], key: str, on_blow: Callable[[int], None] | None = None) -> None:
    """Show the record of a blow; `on_blow` receives the number of the blow stepped to."""

    def stepped() -> None:
        found = st.session_state[key].get("blow")
        if found is not None and on_blow is not None:
            on_blow(int(found))

    _mounted("record")(data=data, key=key, on_blow_change=stepped)


def draw_profiles(data: dict[str, Any], key: str, on_pick: Callable[[str, int], None]) -> None:
    """Show quantities of every blow; `on_pick` receives drive and number of the blow clicked on."""

    def picked() -> None:
        found = st.session_state[key].get("pick")
        if found is not None:
            on_pick(str(found["drive"]), int(found["blow"]))

    _mounted("profiles")(data=data, key=key, on_pick_change=picked)
