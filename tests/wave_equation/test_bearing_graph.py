"""The bearing graph: what it reads between its points, and how it answers to stroke and resistance.

Calibration finds the efficiency and cushion stiffness that made a blow, and says where it cannot.
"""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.hammer import Hammer
from dyntest.wave_equation.bearing_graph import (
    ACCEPTED,
    BearingGraph,
    DrivenBlows,
    StruckBlows,
    bearing_graph,
    calibrate_hammer,
    drive_blows,
    scaled_soil,
)
from dyntest.wave_equation.candidates import candidate_soil
from dyntest.wave_equation.hammer_model import hammer_setting
from dyntest.wave_equation.problem import ELASTIC_PLASTIC, SMITH, VISCOUS, SoilLaw, make_problem, physical
from dyntest.wave_equation.soil import mesh_pile

HAMMER = Hammer(
    "hydraulic",
    3500.0,
    efficiency=0.9,
    helmet_mass=800.0,
    hammer_cushion_stiffness=1.0e9,
    hammer_cushion_restitution=0.85,
)
STROKES, RESISTANCES = np.array([0.8, 1.2, 1.6]), np.array([0.6e6, 1.0e6, 1.5e6])


@pytest.fixture(scope="module")
def graph(matched):
    return bearing_graph(matched[1], HAMMER, STROKES, RESISTANCES)


def made_up(sets):
    """A graph of two strokes whose numbers can be read by hand."""
    sets = np.array(sets, dtype=float)
    return BearingGraph(
        np.array([1.0, 2.0]), np.array([1.0e6, 2.0e6, 3.0e6]), DrivenBlows(sets, *(1e3 * sets,) * 4), HAMMER
    )


BY_HAND = [[0.010, 0.006, 0.002], [0.020, 0.012, 0.004]]


def test_more_resistance_moves_less_and_more_stroke_more(graph):
    assert (np.diff(graph.blows.set_per_blow, axis=1) < 0).all()
    assert (np.diff(graph.blows.set_per_blow, axis=0) > 0).all()
    assert (np.diff(graph.blows.peak_force, axis=0) > 0).all()
    assert (np.diff(graph.blows.transferred_energy, axis=0) > 0).all()


def test_energy_never_exceeds_what_the_ram_brings(graph):
    falls = graph.blows.set_per_blow + 0.05  # the ram goes on falling with the pile
    brought = HAMMER.ram_weight * (0.9 * STROKES[:, None] + falls)
    assert (graph.blows.transferred_energy < brought).all()
    assert (graph.blows.transferred_energy > 0.5 * brought).all()


def test_one_run_gives_what_single_runs_give(matched, graph):
    alone = drive_blows(matched[1], hammer_setting(HAMMER, STROKES[1:2]), RESISTANCES[2:])
    for name in DrivenBlows.__dataclass_fields__:
        assert getattr(alone, name)[0] == pytest.approx(getattr(graph.blows, name)[1, 2], rel=1e-5)


def test_soil_is_scaled_and_nothing_else(matched):
    match = matched[1]
    mesh = mesh_pile(match.problem.blow.pile, 60, from_head=True)
    soil = scaled_soil(match, mesh, np.array([1.0, 2.0]) * match.modelled_resistance)
    assert soil.limit[:, 1] == pytest.approx(2 * soil.limit[:, 0])
    assert soil.damping[:, 1] == pytest.approx(2 * soil.damping[:, 0])
    np.testing.assert_array_equal(soil.quake[:, 0], soil.quake[:, -1])
    assert soil.limit[:, 0].sum() == pytest.approx(match.limit, rel=1e-6)


@pytest.mark.parametrize("smith", [False, True])
def test_the_soil_is_the_one_that_was_matched(matched, smith):
    """Smith's damping and the share that holds upward stay, whichever room asks for the soil."""
    law = SoilLaw(ELASTIC_PLASTIC, SMITH if smith else VISCOUS)
    problem = make_problem(matched[1].problem.blow, law=law)
    match = replace(matched[1], problem=problem, scores=np.full(problem.layout.count, 0.3))
    problem, values = match.problem, physical(match.problem.layout, match.scores[:, None])
    fitted = candidate_soil(problem, values | {"wave_speed_error": np.zeros(1)})
    graphed = scaled_soil(match, problem.mesh, np.array([match.modelled_resistance]))
    for name in ("limit", "quake", "damping", "smith_damping", "upward_limit"):
        a, b = getattr(fitted, name), getattr(graphed, name)
        assert (a is None) == (b is None) == (name == "smith_damping" and not smith)
        if a is not None:
            np.testing.assert_allclose(a, b, rtol=1e-9)


def test_reading_at_a_resistance():
    graph = made_up(BY_HAND)
    assert graph.at_resistance(1.5e6, "set_per_blow") == pytest.approx([0.008, 0.016])
    with pytest.raises(ValueError, match="outside"):
        graph.at_resistance(3.1e6, "set_per_blow")


def test_reading_a_resistance_back():
    graph = made_up(BY_HAND)
    read = graph.resistance_at(
        np.array([1.0, 2.0, 1.5, 1.0, 0.9, 2.1]), np.array([0.008, 0.012, 0.009, 0.05, 0.008, 0.008])
    )
    # half-way between the strokes the sets are 15, 9 and 3 mm
    assert read == pytest.approx([1.5e6, 2.0e6, 2.0e6, np.nan, np.nan, np.nan], nan_ok=True)


def test_what_is_read_back_is_what_went_in(graph):
    for at, resistance in enumerate(RESISTANCES):
        assert graph.resistance_at(STROKES, graph.blows.set_per_blow[:, at]) == pytest.approx(resistance, rel=1e-9)


TRUE = Hammer(
    "hydraulic",
    3500.0,
    efficiency=0.83,
    helmet_mass=800.0,
    hammer_cushion_stiffness=0.8e9,
    hammer_cushion_restitution=0.85,
)
STROKE = 1.1


def struck(match, hammer):
    blows = drive_blows(match, hammer_setting(hammer, np.array([STROKE])), np.array([match.matched_resistance]))
    return float(blows.peak_force[0]), float(blows.transferred_energy[0]), float(blows.set_per_blow[0])


@pytest.mark.parametrize(("efficiency", "stiffness"), [(0.95, 1.2e9), (None, 0.6e9)])
def test_the_hammer_that_struck_is_found(matched, efficiency, stiffness):
    match = matched[1]
    force, energy, moved = struck(match, TRUE)
    told = replace(TRUE, efficiency=efficiency, hammer_cushion_stiffness=stiffness)
    found = calibrate_hammer(match, told, STROKE, force, energy)
    assert found.agrees
    assert found.cushion == "hammer cushion"
    assert (found.force_ratio, found.energy_ratio) == pytest.approx((1.0, 1.0), abs=0.01)
    assert found.hammer.efficiency == pytest.approx(0.83, rel=0.02)
    assert found.hammer.hammer_cushion_stiffness == pytest.approx(0.8e9, rel=0.1)
    assert found.set_per_blow == pytest.approx(moved, rel=0.02)


def test_a_pile_cushion_is_calibrated_where_there_is_one(matched):
    cushioned = replace(TRUE, pile_cushion_stiffness=0.4e9, pile_cushion_restitution=0.5)
    force, energy, _ = struck(matched[1], cushioned)
    found = calibrate_hammer(matched[1], replace(cushioned, pile_cushion_stiffness=0.6e9), STROKE, force, energy)
    assert found.cushion == "pile cushion"
    assert found.hammer.pile_cushion_stiffness == pytest.approx(0.4e9, rel=0.1)
    assert found.hammer.hammer_cushion_stiffness == cushioned.hammer_cushion_stiffness


def test_a_blow_no_such_hammer_strikes_is_said(matched):
    force, energy, _ = struck(matched[1], TRUE)
    found = calibrate_hammer(matched[1], TRUE, STROKE, force, 4.0 * energy)
    assert not found.agrees
    assert abs(found.energy_ratio - 1.0) > ACCEPTED


def test_what_is_missing_is_named(matched):
    with pytest.raises(ValueError, match="helmet_mass"):
        calibrate_hammer(matched[1], replace(TRUE, helmet_mass=None), STROKE, 2e6, 2e4)
    with pytest.raises(ValueError, match="stroke"):
        calibrate_hammer(matched[1], TRUE, float("nan"), 2e6, 2e4)


def drive_of(match, power, set_factor=1.0, strokes=(0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3)):
    """Blows of a hammer whose efficiency changes with the stroke, in soil that grows."""
    strokes = np.array(strokes)
    hammer = replace(TRUE, efficiency_power=power, efficiency_stroke=STROKE)
    resistance = match.matched_resistance * np.linspace(0.85, 1.05, len(strokes))
    blows = drive_blows(match, hammer_setting(hammer, strokes), resistance)
    sets = set_factor * blows.set_per_blow
    return StruckBlows(strokes, blows.peak_force, blows.transferred_energy, resistance, sets)


@pytest.mark.sweep
@pytest.mark.parametrize("power", [-0.2, 0.0, 0.25])
def test_efficiency_follows_the_stroke_of_other_blows(matched, power):
    match = matched[1]
    force, energy, _ = struck(match, TRUE)
    found = calibrate_hammer(match, TRUE, STROKE, force, energy, drive_of(match, power))
    assert found.hammer.efficiency_power == pytest.approx(power, abs=0.05)
    np.testing.assert_allclose(found.blow_energy_ratio, 1.0, atol=0.03)
    np.testing.assert_allclose(found.blow_force_ratio, 1.0, atol=0.03)
    assert (found.set_ratio, found.read_ratio) == pytest.approx((1.0, 1.0), abs=0.04)


def test_strokes_that_hardly_differ_tell_nothing_about_the_efficiency(matched):
    match = matched[1]
    force, energy, _ = struck(match, TRUE)
    narrow = drive_of(match, 0.0, strokes=(1.09, 1.095, 1.1, 1.105))
    noisy = replace(narrow, transferred_energy=narrow.transferred_energy * [0.97, 1.02, 0.98, 1.03])
    assert abs(calibrate_hammer(match, TRUE, STROKE, force, energy, noisy).hammer.efficiency_power) < 0.05


@pytest.mark.parametrize("factor", [0.7, pytest.param(1.4, marks=pytest.mark.sweep)])
def test_what_is_left_of_the_set_is_told(matched, factor):
    """Sets that the model does not explain, either way, in set and in resistance."""
    match = matched[1]
    force, energy, _ = struck(match, TRUE)
    blows = drive_of(match, 0.0, factor)
    found = calibrate_hammer(match, TRUE, STROKE, force, energy, blows)
    assert found.set_ratio == pytest.approx(1.0 / factor, rel=0.03)
    assert (found.read_ratio - 1.0) * (factor - 1.0) < 0.0  # a larger set reads as less resistance
    again = drive_blows(match, hammer_setting(found.hammer, blows.stroke), found.read_ratio * blows.resistance)
    assert again.set_per_blow.sum() == pytest.approx(blows.set_per_blow.sum(), rel=0.03)


def test_blows_without_set_or_stroke_say_nothing(matched):
    match = matched[1]
    force, energy, _ = struck(match, TRUE)
    nothing = StruckBlows(*(np.full(3, np.nan) for _ in range(5)))
    found = calibrate_hammer(match, TRUE, STROKE, force, energy, nothing)
    assert found.hammer.efficiency_power == 0.0
    assert np.isnan([found.set_ratio, found.read_ratio]).all()


def test_stress_locked_in_between_blows_is_told_by_its_set(matched):
    """The set once blows repeat, over that of a first blow from rest."""
    match = matched[1]
    force, energy, moved = struck(match, TRUE)
    found = calibrate_hammer(match, TRUE, STROKE, force, energy)
    assert 0.005 < abs(found.residual_ratio - 1.0) < 0.3
    assert found.set_per_blow == pytest.approx(moved, rel=0.02)  # the graph itself starts from rest


def test_sets_run_smoothly_over_resistance(matched):
    """A pile that still swings when its set is read would give sets that jump by some percent."""
    match = matched[1]
    resistance = match.matched_resistance * np.linspace(0.7, 1.3, 25)
    sets = drive_blows(match, hammer_setting(TRUE, np.full(25, STROKE)), resistance).set_per_blow
    smooth = np.polyval(np.polyfit(resistance, np.log(sets), 4), resistance)
    np.testing.assert_allclose(np.log(sets), smooth, atol=0.01)
