"""Figures draw the frame they are given, the same bytes each time, in line styles as well as colours."""

import numpy as np
import pandas as pd
import pytest

from dyntest.presenting import frames
from dyntest.presenting.figures import profiles_figure, traces_figure
from dyntest.presenting.frames_record import profile
from dyntest.signals import Waves

NEWTONS_PER_KIP = 1000 * 0.45359237 * 9.80665  # exact: 1000 pounds-force


@pytest.fixture
def waves():
    time = np.arange(400) * 1e-4
    pulse = np.where(time > 5e-3, np.exp(-(time - 5e-3) / 3e-3), 0.0)
    velocity = 4.0 * np.stack([pulse, 0.5 * pulse])
    return Waves(np.array([7, 8]), time, 5e5 * velocity, velocity, 5e5, np.array([51, 51]), np.array([51, 51]), 7.8e-3)


@pytest.fixture
def tables():
    blow = np.arange(1, 31)
    initial = pd.DataFrame({"blow": blow, "penetration": 10 + 0.02 * blow, "stroke": 2.0 + 0.01 * blow})
    restrike = pd.DataFrame({"blow": blow[:5], "penetration": 10.6 + 0.001 * blow[:5], "stroke": 2.4})
    return {"initial": initial, "restrike": restrike}


def test_trace_frame_is_the_blow_asked_for_in_the_units_asked_for(waves):
    frame = frames.traces(waves, 1, "US")
    assert list(frame.columns) == ["time after the impact begins [ms]", "force [kip]", "trace"]
    force = frame.loc[frame["trace"] == "force", "force [kip]"]
    assert force.max() * NEWTONS_PER_KIP == pytest.approx(waves.force[1].max())
    assert frame.loc[frame["trace"] == "force", frame.columns[0]].iloc[51] == 0.0


def test_wave_frame_adds_up_to_force_and_impedance_times_velocity(waves):
    frame = frames.wave_traces(waves, 0, "SI", computed_up=np.zeros(400))
    wide = {name: lines["force [kN]"].to_numpy() for name, lines in frame.groupby("trace")}
    assert wide["downward wave"] + wide["upward wave"] == pytest.approx(waves.force[0] / 1e3)
    assert wide["downward wave"] - wide["upward wave"] == pytest.approx(5e5 * waves.velocity[0] / 1e3)
    assert wide["upward wave, computed"] == pytest.approx(np.zeros(400))


def test_profile_frame_holds_each_point_once(tables):
    frame = profile(tables, ("stroke", "misfit"), "penetration", "SI")
    assert frame.groupby("drive").size().to_dict() == {"initial": 30, "restrike": 5}
    assert set(frame["quantity"]) == {"stroke [m]"}


def test_a_profile_of_nothing_is_empty(tables):
    assert profile(tables, ("misfit",), "blow", "SI").empty


def test_the_same_frame_gives_the_same_bytes(waves, tables):
    frame = frames.traces(waves, 0, "SI")
    first, second = (traces_figure([frame], "P1, blow 7", {"t₁": 0.0}, 30.0) for _ in range(2))
    assert first == second
    drawn = profile(tables, ("stroke",), "penetration", "US")
    kinds = {"initial": "initial", "restrike": "restrike"}
    assert profiles_figure(drawn, "P1", kinds, {}) == profiles_figure(drawn, "P1", kinds, {})


def test_force_and_velocity_differ_in_line_style(waves):
    drawn = traces_figure([frames.traces(waves, 0, "SI")], "P1", {}, 30.0).decode()
    assert drawn.count("stroke-dasharray") >= 1
    assert "date" not in drawn.lower()


def test_a_limit_is_drawn_on_its_own_panel(tables):
    frame = profile(tables, ("stroke",), "blow", "SI")
    kinds = {"initial": "initial", "restrike": "restrike"}
    without = profiles_figure(frame, "P1", kinds, {"another quantity": ("limit", 2.0)})
    assert profiles_figure(frame, "P1", kinds, {"stroke [m]": ("limit", 2.2)}).count(b"#a8321e") > 0
    assert without.count(b"#a8321e") == 0
