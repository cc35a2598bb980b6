"""Which drive and which blow a page looks at, and the picture of that blow."""

import numpy as np
import streamlit as st

from dyntest.presenting.frames import traces, wave_traces
from dyntest.presenting.frames_record import (
    SHOWN_RETURNS,
    displacement_trace,
    energy_trace,
    gauge_traces,
    marks,
    soil_free_until,
)

from . import pieces, state, work
from .charts.base import HINT, draw
from .charts.traces import blow_chart

PICTURES = {
    "force": "Force and velocity",
    "waves": "Waves up and down",
    "displacement": "Displacement",
    "energy": "Energy",
    "strain": "Strain gauges",
    "acceleration": "Accelerometers",
}
"""What of a blow can be drawn."""


def choose_drive(test, page: str):
    """Let a person choose the drive; give it."""
    names = [drive.name for drive in test.sheet.drives]
    kept = st.session_state.get("drive")
    name = str(kept) if kept in names else names[0]
    if len(names) == 1:
        return work.drive(test, name)
    key = state.shown(f"{page}_drive", name)
    st.segmented_control(
        "Drive",
        names,
        key=key,
        format_func=lambda name: name.replace("_", " "),
        on_change=state.asked(key, lambda value: st.session_state.update(drive=value or name)),
    )
    return work.drive(test, name)


def choose_blow(drive, page: str) -> int:
    """Let a person choose the blow that is looked at; give its number."""
    first, last = int(drive.table["blow"].iloc[0]), int(drive.table["blow"].iloc[-1])
    standing = last if drive.representative is None else drive.representative.blow
    blow = state.looked_at(drive.name, standing)
    known = drive.table["blow"].to_numpy()
    blow = int(known[np.abs(known - blow).argmin()])
    key = state.shown(f"{page}_blow", blow)
    st.number_input(
        f"Blow, {first} to {last}",
        first,
        last,
        step=1,
        key=key,
        on_change=state.asked(key, lambda value: state.look_at(drive.name, int(value))),
    )
    return blow


def picture(test, drive, blow: int, page: str, first: str = "force") -> None:
    """Draw a blow: what of it, and which span of time, is the person's choice."""
    waves = work.waves(test, drive.name)
    row = int(np.flatnonzero(waves.blow == blow)[0])
    moments = marks(waves, row, test.sheet.pile)
    longest = float(round(1e3 * (waves.time[-1] - waves.time[0]), 1))
    usual = (-1.0, float(round(min(longest, 1e3 * SHOWN_RETURNS * test.sheet.pile.return_time))))
    key = state.shown(f"{page}_picture", st.session_state.get("picture", first))
    st.pills(
        "Draw",
        list(PICTURES),
        key=key,
        format_func=PICTURES.__getitem__,
        label_visibility="collapsed",
        on_change=state.asked(key, lambda value: st.session_state.update(picture=value or first)),
    )
    window = st.slider("Time drawn [ms]", -5.0, longest, usual, 0.5, key=f"{page}_window_{drive.name}")
    frame = _frame(test, drive, waves, row, st.session_state.get("picture", first))
    penetration = float(drive.table["penetration"].iloc[row])
    draw(blow_chart(frame, window, moments, soil_free_until(test.sheet.pile, penetration)), f"{page}_traces")
    pieces.note(HINT)


def _frame(test, drive, waves, row: int, what: str):
    if what == "waves":
        return wave_traces(waves, row, test.system)
    if what == "displacement":
        return displacement_trace(waves, row, test.system)
    if what == "energy":
        return energy_trace(waves, row, test.system)
    if what in ("strain", "acceleration"):
        return gauge_traces(drive.signals, row, int(waves.onset[row]), what, test.system)
    return traces(waves, row, test.system)
