"""Figures draw the frame they are given on the right axes, the same bytes each time, in line styles and colours."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from dyntest.presenting import figures, frames
from dyntest.presenting.figures import profiles_figure, review_figures, traces_figure
from dyntest.presenting.frames import TIME
from dyntest.presenting.frames_decisions import ASKED, GRAPH, criterion_lines, law_over_time, measured_over_time
from dyntest.presenting.frames_match import GAUGE_LEVEL, failure_loads, load_movements, of_drives, shaft_lengths
from dyntest.presenting.frames_record import overlay, profile
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
    assert list(frame.columns) == ["time after impact [ms]", "force [kip]", "trace"]
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


def test_force_and_velocity_differ_in_line_style(waves, drawn):
    written = traces_figure([frames.traces(waves, 0, "SI")], "P1", {}, 30.0).decode()
    (axes,) = drawn["P1"].axes
    named = [one for one in axes.lines if not one.get_label().startswith("_")]
    assert len({one.get_linestyle() for one in named}) == len(named) == 2
    assert "date" not in written.lower()


KINDS = {"initial": "initial", "restrike": "restrike"}


@pytest.fixture
def drawn(monkeypatch):
    """Every figure that is finished while a test runs, by its heading."""
    kept = {}
    finish = figures.finished

    def keep(figure, heading, *given, **named):
        kept[heading] = figure
        return finish(figure, heading, *given, **named)

    monkeypatch.setattr(figures, "finished", keep)
    return kept


def line(axes, label):
    """Points of a line of a panel by its name in the legend, as two arrays."""
    found = [one for one in axes.lines if one.get_label() == label]
    assert len(found) == 1, [one.get_label() for one in axes.lines]
    return np.asarray(found[0].get_xdata(), dtype=float), np.asarray(found[0].get_ydata(), dtype=float)


def straight_lines(axes):
    """Heights of the lines that go right across a panel, and places of those that go right up it."""
    pairs = [(np.asarray(one.get_xdata()), np.asarray(one.get_ydata())) for one in axes.lines]
    across = [up[0] for x, up in pairs if list(x) == [0, 1] and up[0] == up[-1]]
    up = [x[0] for x, y in pairs if list(y) == [0, 1] and x[0] == x[-1]]
    return across, up


def test_traces_stand_over_time(waves, drawn):
    frame = frames.traces(waves, 0, "SI")
    traces_figure([frame], "P1", {"t₁": 1.5}, 30.0)
    (axes,) = drawn["P1"].axes
    near = frame[frame[TIME].between(-1.0, 30.0) & (frame["trace"] == "force")]
    time, force = line(axes, "force")
    np.testing.assert_array_equal(time, near[TIME])
    np.testing.assert_array_equal(force, near["force [kN]"])
    assert (axes.get_xlabel(), axes.get_ylabel()) == (TIME, "force [kN]")
    assert 1.5 in straight_lines(axes)[1]


@pytest.mark.parametrize("along", ["blow", "penetration"])
def test_profiles_go_across_with_the_blow_and_down_with_the_penetration(tables, drawn, along):
    frame = profile(tables, ("stroke",), along, "SI")
    profiles_figure(frame, "P1", KINDS, {"stroke [m]": ("required", 2.2)})
    (axes,) = drawn["P1"].axes
    x, y = line(axes, "initial")
    blows, strokes = tables["initial"][along].to_numpy(), tables["initial"]["stroke"].to_numpy()
    across, up = straight_lines(axes)
    if along == "blow":
        np.testing.assert_allclose([x, y], [blows, strokes])
        assert (axes.get_xlabel(), across, up) == (frame.columns[1], [2.2], [])
    else:
        np.testing.assert_allclose([x, y], [strokes, blows])
        assert axes.yaxis_inverted() and not axes.xaxis_inverted()
        assert (axes.get_ylabel(), across, up) == (frame.columns[1], [], [2.2])


def test_a_limit_is_drawn_on_its_own_panel(tables, drawn):
    frame = profile(tables, ("stroke", "penetration"), "blow", "SI")
    profiles_figure(frame, "P1", KINDS, {"stroke [m]": ("limit", 2.2), "another quantity": ("limit", 2.0)})
    stroke, penetration = drawn["P1"].axes
    assert (straight_lines(stroke)[0], straight_lines(penetration)[0]) == ([2.2], [])


def test_the_required_resistance_stands_in_the_figures_of_a_review(matched_review, drawn):
    review_figures(matched_review)
    required = frames.shown("matched_resistance", matched_review.answers.required.value, "US")
    limit = frames.shown("peak_gauge_stress", matched_review.limits.compression.value, "US")
    panels = {
        (axes.get_title("left") + axes.get_xlabel()).replace("\n", " "): [
            *straight_lines(axes)[0],
            *straight_lines(axes)[1],
        ]
        for heading, figure in drawn.items()
        if "driving record" in heading or "restrikes" in heading
        for axes in figure.axes
    }
    for word, value in (("Case", required), ("compression stress", limit)):
        found = [places for label, places in panels.items() if word in label]
        assert found and all(value == pytest.approx(places[0]) for places in found)


def test_waves_of_drives_stand_over_time(matched_review, drawn):
    blows = {drive.name: (drive.waves, 0) for drive in matched_review.drives}
    frame = overlay(blows, "downward wave", "SI")
    figures.overlay_figure({"downward wave": frame}, "P1", KINDS, 9.0, 30.0)
    (axes,) = drawn["P1"].axes
    one = frame[(frame["trace"] == "initial") & frame[TIME].between(-1.0, 30.0)]
    np.testing.assert_array_equal(line(axes, "initial"), one[[TIME, "force [kN]"]].to_numpy().T)
    assert (axes.get_xlabel(), straight_lines(axes)[1]) == (TIME, [9.0])


def test_load_goes_across_and_movement_down(matched_review, drawn):
    frame = of_drives(load_movements, matched_review.drives, "US")
    figures.load_movement_figure(frame, "P1", KINDS)
    (axes,) = drawn["P1"].axes
    one = frame[(frame["drive"] == "initial") & (frame["place"] == GAUGE_LEVEL)]
    np.testing.assert_array_equal(line(axes, "initial"), one.iloc[:, :2].to_numpy().T)
    assert axes.get_xlabel().startswith(frame.columns[0]) and axes.get_ylabel() == frame.columns[1]
    assert axes.yaxis_inverted() and not axes.xaxis_inverted()


def test_the_range_of_the_load_is_shaded_and_its_failures_are_marked(matched_review, drawn):
    frame, failed = (of_drives(each, matched_review.drives, "SI") for each in (load_movements, failure_loads))
    figures.load_movement_figure(frame, "P1", KINDS, failed)
    (axes,) = drawn["P1"].axes
    bands = [path for shade in axes.collections for path in shade.get_paths()]
    assert len(bands) == len(matched_review.drives)
    one = frame[(frame["drive"] == "initial") & (frame["place"] == GAUGE_LEVEL)]
    ends = bands[0].vertices[:, 0]
    assert (ends.min(), ends.max()) == (one["load, low end [kN]"].min(), one["load, high end [kN]"].max())
    assert len(failed) > 0
    for criterion, marks in failed.groupby("criterion"):
        np.testing.assert_array_equal(line(axes, criterion), marks.iloc[:, :2].to_numpy().T)


def test_shaft_resistance_goes_across_and_depth_down(matched_review, drawn):
    frame = of_drives(shaft_lengths, matched_review.drives, "US")
    figures.shaft_figure(frame, "P1", KINDS, 46.0)
    (axes,) = drawn["P1"].axes
    resistance, depth = line(axes, "initial")
    part, _, bottom, _, value, *_ = frame.columns
    shaft = frame[(frame["drive"] == "initial") & (frame[part] == "shaft")]
    np.testing.assert_array_equal(resistance[1::2], shaft[value])
    np.testing.assert_array_equal(depth[1::2], shaft[bottom])
    assert (axes.get_xlabel().replace("\n", " "), straight_lines(axes)[0]) == (value, [46.0])
    assert axes.yaxis_inverted() and not axes.xaxis_inverted()


def test_labels_of_narrow_panels_stay_below_their_own_panel(drawn):
    """Strokes of 7.95 to 8.40 ft beside energies of 35.2 to 37.6 kip ft: the last label ran into the first."""
    depth = np.linspace(63.85, 64.85, 40)
    ends = {"stroke [ft]": (7.9, 8.4), "transferred energy [kip ft]": (35.2, 37.6)}
    ends |= {f"stress {number} [ksi]": (39.6, 45.0) for number in range(4)}
    parts = [
        pd.DataFrame({"quantity": name, "penetration of the toe [ft]": depth, "value": np.linspace(low, high, 40)})
        for name, (low, high) in ends.items()
    ]
    frame = pd.concat(parts, ignore_index=True).assign(drive="initial")
    figures.profiles_figure(frame, "P1", {"initial": "initial"}, {})
    figure = drawn["P1"]
    figure.canvas.draw()
    boxes = []
    for panel in figure.axes:
        (first, last), places = panel.get_xlim(), panel.get_xticks()
        shown = [label for label, at in zip(panel.get_xticklabels(), places, strict=True) if first <= at <= last]
        assert len(shown) >= 2
        boxes += [label.get_window_extent() for label in shown]
    for left, right in pairwise(boxes):
        assert left.x1 < right.x0


@pytest.mark.parametrize("required", [None, 380.0])
def test_resistance_stands_over_the_time_waited_with_what_is_required(law, drawn, required):
    measured, fitted = measured_over_time(law, "US"), law_over_time(law, "US")
    figures.setup_figure(measured, fitted, "P1", required)
    (axes,) = drawn["P1"].axes
    (points,) = [one for one in axes.containers if one.get_label() == "measured, with range"]
    np.testing.assert_allclose(
        np.asarray(points.lines[0].get_data(), dtype=float), measured.iloc[:, :2].to_numpy(dtype=float).T
    )
    assert axes.get_xlabel().startswith(measured.columns[0]) and axes.get_ylabel() == measured.columns[1]
    assert axes.get_xscale() == "log"
    assert straight_lines(axes)[0] == ([] if required is None else [required])


def test_counts_stand_over_the_stroke_with_practical_refusal(matched_review, drawn):
    frame = criterion_lines(matched_review.answers.criterion, "US")
    figures.criterion_figure(frame, frame.iloc[:0], "P1", 10.0)
    (axes,) = drawn["P1"].axes
    for name in (ASKED, GRAPH):
        expected = frame.loc[frame["line"] == name].iloc[:, :2].to_numpy().T
        np.testing.assert_array_equal(line(axes, name), expected)
    assert (axes.get_xlabel(), axes.get_ylabel()) == tuple(frame.columns[:2])
    assert straight_lines(axes)[0] == [10.0]


@pytest.fixture
def law():
    """A time law through three invented resistances."""
    from dyntest.decisions.estimate import exactly
    from dyntest.decisions.time_law import fit_time_law

    days = 86400.0
    return fit_time_law([0.0, 10 * days, 100 * days], [exactly(1e6), exactly(1.6e6), exactly(2.2e6)], days)


def test_every_axis_of_force_of_a_blow_has_its_unit(matched_figures):
    """Force, waves and what the match leaves of them, each on an axis of its own."""
    drawn = matched_figures["blow_initial"].decode()
    assert drawn.count("[kip]") == 3 and "residual" in drawn
