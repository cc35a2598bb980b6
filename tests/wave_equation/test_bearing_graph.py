"""The bearing graph: what it reads between its points, and how it answers to stroke and resistance."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.hammer import Hammer
from dyntest.wave_equation.bearing_graph import BearingGraph, DrivenBlows, bearing_graph, drive_blows, scaled_soil
from dyntest.wave_equation.comparison import candidate_soil
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
