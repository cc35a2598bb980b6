import numpy as np
import pytest

from dyntest.hammer import Hammer
from dyntest.units import STANDARD_GRAVITY
from dyntest.wave_equation.hammer_model import HammerHead, hammer_setting
from dyntest.wave_equation.rest import (
    begin_side_by_side,
    candidates_of,
    come_to_rest,
    next_blow,
    on_mesh,
    repeat_blows,
)
from dyntest.wave_equation.simulator import impose_down_wave, simulate
from dyntest.wave_equation.soil import SoilModel, mesh_pile

DROP = Hammer("drop", 3400.0, efficiency=0.8, helmet_mass=900.0, hammer_cushion_stiffness=1.5e9)
LAWS = {
    "elastic-plastic": {},
    "Smith damping": {"smith": True},
    "hyperbolic": {"hyperbolic": True},
    "unloading quake": {"unloading_quake": np.full((40, 2), 0.0012)},
    "plug": {"plug_mass": np.array([100.0, 200.0])},
}
every_law = pytest.mark.parametrize("options", LAWS.values(), ids=LAWS)


def strike(mesh, soil, **options):
    hammer = HammerHead(hammer_setting(DROP, np.array([0.6, 1.0])), mesh.impedance[0], mesh.time_step)
    return repeat_blows(mesh, soil, hammer, 700, **options)


@every_law
def test_a_pile_at_rest_is_in_equilibrium(options, mesh, make_soil, pulse):
    """Soil carries the weight; each segment carries what soil and weight below it leave."""
    soil = make_soil(**options)
    struck = simulate(mesh, soil, impose_down_wave(pulse), 600, gravity=STANDARD_GRAVITY).state
    rest = come_to_rest(mesh, soil, struck, gravity=STANDARD_GRAVITY)
    static = np.maximum(rest.spring, np.where(np.arange(40) < 39, -np.inf, 0.0)[:, None])
    weight = mesh.mass.sum() * STANDARD_GRAVITY
    scale = soil.limit.sum()
    np.testing.assert_allclose(static.sum(axis=0), weight, atol=1e-5 * scale)
    below = np.cumsum((static - mesh.mass[:, None] * STANDARD_GRAVITY)[::-1], axis=0)[::-1]
    np.testing.assert_allclose(rest.force(), below, atol=1e-5 * scale)
    assert np.abs(rest.velocity * mesh.impedance[0]).max() < 1e-5 * scale


@every_law
def test_rest_lasts(options, mesh, make_soil, pulse):
    """With its own soil again and a free head, nothing moves any more."""
    soil = make_soil(**options)
    rest = next_blow(come_to_rest(mesh, soil, simulate(mesh, soil, impose_down_wave(pulse), 600).state))
    motion = simulate(mesh, soil, lambda step, arriving: -arriving, 400, start=rest)
    np.testing.assert_allclose(motion.toe_displacement, 0.0, atol=1e-6)
    np.testing.assert_allclose(motion.state.spring, rest.spring, atol=1e-4 * soil.limit.sum())


@every_law
def test_the_set_repeats(options, mesh, make_soil):
    soil = make_soil(**options)
    blows = strike(mesh, soil, tolerance=1e-3)
    assert blows.repeats.all()
    assert 2 <= len(blows.set_per_blow) <= 8
    assert (blows.set_per_blow > 1e-3).all()
    np.testing.assert_allclose(blows.after.spring, blows.before.spring, atol=0.02 * soil.limit.max())
    np.testing.assert_allclose(blows.after.force(), blows.before.force(), atol=0.01 * soil.limit.sum())


def test_a_driven_pile_stays_under_compression(mesh, make_soil):
    """The toe pushes up, the upper shaft is pulled up and holds down: the pile between is pressed together."""
    blows = strike(mesh, make_soil())
    assert (blows.after.spring[-1] > 2e4).all()
    np.testing.assert_allclose(blows.after.spring.sum(axis=0), 0.0, atol=10.0)
    assert (blows.after.force().max(axis=0) > 5e4).all()
    assert (blows.set_per_blow[-1] > blows.set_per_blow[0]).all()  # the toe begins nearer to its limit


def test_movements_count_from_each_blow(mesh, make_soil):
    blows = strike(mesh, make_soil())
    assert not blows.before.toe_displacement.any()
    np.testing.assert_allclose(blows.after.toe_displacement, blows.set_per_blow[-1])
    assert np.abs(blows.motion.toe_displacement[0]).max() < 1e-6


def test_what_does_not_repeat_is_said(mesh, make_soil):
    blows = strike(mesh, make_soil(), most=1)
    assert len(blows.set_per_blow) == 1
    assert not blows.repeats.any()


def test_no_stress_without_a_cause(mesh, make_soil):
    rest = come_to_rest(mesh, make_soil())
    assert not rest.spring.any()
    assert not rest.force().any()


def test_a_pile_that_nothing_holds_is_refused(mesh):
    free = SoilModel(*(np.zeros((40, 1)) for _ in range(3)))
    with pytest.raises(ValueError, match="rest"):
        come_to_rest(mesh, free, gravity=STANDARD_GRAVITY)


def test_stress_locked_in_keeps_its_force_on_another_mesh_and_holds_itself(mesh, make_soil, steel_pile):
    blows = strike(mesh, make_soil())
    before = candidates_of(next_blow(blows.after), slice(1, 2))
    finer = mesh_pile(steel_pile, 80)
    there = on_mesh(before, mesh, finer)
    assert there.force().max() == pytest.approx(before.force().max(), rel=0.02)
    assert there.spring[-1, 0] == pytest.approx(before.spring[-1, 0], rel=0.05)
    np.testing.assert_allclose(np.cumsum(there.spring[::-1], axis=0)[::-1], there.force(), atol=1e-6)  # equilibrium


def test_blows_can_go_on_from_stress_locked_in_before(mesh, make_soil):
    """Blows that go on where earlier ones ended leave what as many blows without a break leave."""
    soil = make_soil()
    whole = strike(mesh, soil, most=4, tolerance=0.0)
    begun = strike(mesh, soil, most=2, tolerance=0.0)
    rest = strike(mesh, soil, most=2, tolerance=0.0, start=next_blow(begun.after))
    np.testing.assert_allclose(rest.after.spring, whole.after.spring, atol=1e-6 * soil.limit.sum())


def test_candidates_begin_side_by_side_with_and_without_stress(mesh, make_soil):
    soil = make_soil()
    locked = candidates_of(next_blow(strike(mesh, soil).after), slice(0, 1))
    began = begin_side_by_side([None, locked], [mesh, mesh], [soil, soil])
    assert began.spring.shape == (40, 4)
    np.testing.assert_array_equal(began.spring[:, 2:], np.repeat(locked.spring, 2, axis=1))
    assert not began.spring[:-1, :2].any() and not began.force()[:, :2].any()
    assert begin_side_by_side([None, None], [mesh, mesh], [soil, soil]) is None
