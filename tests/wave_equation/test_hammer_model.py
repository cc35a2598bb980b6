from dataclasses import replace

import numpy as np
import pytest

from dyntest.hammer import Hammer
from dyntest.pile import Pile, PilePart
from dyntest.units import STANDARD_GRAVITY
from dyntest.wave_equation.hammer_model import (
    ATMOSPHERE,
    BORE_OF_RAM,
    COMPRESSION_STROKE,
    Gas,
    HammerHead,
    HammerSetting,
    _Cushion,
    hammer_setting,
)
from dyntest.wave_equation.simulator import simulate
from dyntest.wave_equation.soil import SoilModel, build_soil, mesh_pile, place_shaft

DROP = Hammer("drop", 3400.0, efficiency=0.9, helmet_mass=900.0, hammer_cushion_stiffness=1.5e9)


def test_setting_takes_the_hammers_own_efficiency_or_another():
    stroke = np.array([0.5, 1.0])
    own, other = hammer_setting(DROP, stroke), hammer_setting(DROP, stroke, 0.4)
    np.testing.assert_allclose(own.impact_velocity, np.sqrt(2 * STANDARD_GRAVITY * stroke * 0.9))
    np.testing.assert_allclose(other.impact_velocity, np.sqrt(2 * STANDARD_GRAVITY * stroke * 0.4))
    assert np.isinf(own.pile_cushion_stiffness).all()


def test_setting_names_what_is_missing():
    with pytest.raises(ValueError, match="helmet_mass, hammer_cushion_stiffness, efficiency"):
        hammer_setting(Hammer("drop", 3400.0), np.array([1.0]))


def setting(candidates=2, **changes):
    numbers = {
        "ram_mass": 3400.0,
        "helmet_mass": 900.0,
        "impact_velocity": 4.0,
        "hammer_cushion_stiffness": 1.5e9,
        "hammer_cushion_restitution": 1.0,
        "pile_cushion_stiffness": np.inf,
        "pile_cushion_restitution": 1.0,
    }
    return HammerSetting(**{name: np.full(candidates, value) for name, value in (numbers | changes).items()})


def long_pile(head, n_steps, dt=2e-5, candidates=2):
    """Force and velocity at a head from which nothing comes back."""
    down = np.array([head(step, np.zeros(candidates)) for step in range(n_steps)])
    return down, np.arange(n_steps) * dt


@pytest.mark.parametrize("cushion", [{}, {"pile_cushion_stiffness": 5e8}], ids=["no pile cushion", "pile cushion"])
def test_momentum_goes_into_the_pile(cushion):
    """The momentum that ram and helmet lose is the impulse on the pile, to rounding."""
    head = HammerHead(setting(**cushion), 5.6e5, 2e-5, gravity=0.0)
    force, _ = long_pile(head, 1500)
    left = 3400.0 * head.ram_velocity + 900.0 * head.helmet_velocity
    np.testing.assert_allclose(force.sum(axis=0) * 2e-5 + left, 3400.0 * 4.0, rtol=1e-9)


@pytest.mark.parametrize(
    "cushion",
    [
        pytest.param({}, marks=pytest.mark.sweep, id="no pile cushion"),
        pytest.param({"pile_cushion_stiffness": 5e8}, id="pile cushion"),
    ],
)
def test_energy_is_not_made(cushion):
    head = HammerHead(setting(**cushion), 5.6e5, 2e-6, gravity=0.0)
    force, _ = long_pile(head, 15000, 2e-6)
    passed = (force**2).sum(axis=0) / 5.6e5 * 2e-6
    left = 0.5 * 3400.0 * head.ram_velocity**2 + 0.5 * 900.0 * head.helmet_velocity**2
    np.testing.assert_allclose(passed + left, 0.5 * 3400.0 * 4.0**2, rtol=0.005)  # first order in the substep


def test_a_cushion_that_gives_back_less_transfers_less():
    energies = []
    for restitution in (1.0, 0.8, 0.5):
        head = HammerHead(setting(hammer_cushion_restitution=restitution), 5.6e5, 2e-5, gravity=0.0)
        force, _ = long_pile(head, 1500)
        energies.append((force[:, 0] ** 2).sum())
    assert energies[0] > energies[1] > energies[2]


def test_the_cushion_eats_the_share_that_its_restitution_says():
    """Loading along K and unloading along K/e² gives back e² of the work: triangles with equal tops."""
    cushion, step = _Cushion(np.array([1e9]), np.array([0.8])), 1e-6
    moves = np.concatenate([np.full(1000, step), np.full(1000, -step)])
    forces = np.array([cushion.squeeze(np.array([move]))[0] for move in moves])
    assert forces.max() == pytest.approx(1e9 * 1e-3)
    work = forces * moves
    assert -work[1000:].sum() / work[:1000].sum() == pytest.approx(0.64, abs=0.002)
    # It stays 0.36 mm thinner: pressed again, it bears after that and not before.
    again = np.array([cushion.squeeze(np.array([step]))[0] for _ in range(1000)])
    assert (again[:358] == 0.0).all()
    assert again[362:].min() > 0.0
    assert again[-1] == pytest.approx(1e9 * 1e-3)


def test_nothing_pulls_on_the_pile():
    head = HammerHead(setting(), 5.6e5, 2e-5, gravity=0.0)
    arriving = -1e6 * np.ones(2)  # the head runs away downward
    sent = np.array([head(step, arriving) for step in range(200)])
    assert ((sent + arriving) >= -1e-6).all()


def test_impact_waits_for_its_step():
    head = HammerHead(setting(), 5.6e5, 2e-5, impact_step=3)
    arriving = np.array([100.0, 200.0])
    for step in range(3):
        np.testing.assert_allclose(head(step, arriving), -arriving)  # a free end
    assert (head(3, np.zeros(2)) > 0.0).all()


def test_candidates_do_not_touch_each_other(mesh, make_soil):
    both = setting(impact_velocity=np.array([3.0, 5.0]))
    together = simulate(mesh, make_soil(), HammerHead(both, mesh.impedance[0], mesh.time_step), 400)
    for candidate, velocity in enumerate((3.0, 5.0)):
        one = setting(1, impact_velocity=velocity)
        soil = make_soil(shaft=[(6e5, 9e5)[candidate]], toe=[(3e5, 5e5)[candidate]])
        alone = simulate(mesh, soil, HammerHead(one, mesh.impedance[0], mesh.time_step), 400)
        np.testing.assert_allclose(together.up[:, candidate], alone.up[:, 0], atol=1e-6)


@pytest.mark.parametrize("kind", ["drop", "open-end diesel"])
def test_whole_steps_are_the_substeps_added_up(mesh, make_soil, monkeypatch, kind):
    hammer = Hammer(kind, 2000.0, efficiency=0.8, helmet_mass=900.0, hammer_cushion_stiffness=1.2e9)
    driven = hammer_setting(hammer, np.array([1.5, 2.5]))
    taken, move = [], HammerHead._on_head

    def counted(*arguments):
        taken.append(1)
        return move(*arguments)

    def motion():
        taken.clear()
        head = HammerHead(driven, mesh.impedance[0], mesh.time_step)
        return simulate(mesh, make_soil(), head, 3000), len(taken)

    monkeypatch.setattr(HammerHead, "_on_head", counted)
    quick, few = motion()
    monkeypatch.setattr(HammerHead, "_rides", lambda *_: None)
    slow, many = motion()
    assert few < 0.5 * many
    for name in ("up", "down", "toe_displacement"):
        there = getattr(slow, name)
        np.testing.assert_allclose(getattr(quick, name), there, atol=1e-9 * np.abs(there).max())


def test_gravity_pulls_ram_and_helmet():
    soft = setting(hammer_cushion_stiffness=1.0, pile_cushion_stiffness=1.0, impact_velocity=0.0)
    head = HammerHead(soft, 5.6e5, 1e-3, gravity=STANDARD_GRAVITY)
    long_pile(head, 100, 1e-3)
    np.testing.assert_allclose(head.ram_velocity, STANDARD_GRAVITY * 0.1, rtol=1e-3)
    np.testing.assert_allclose(head.helmet_velocity, STANDARD_GRAVITY * 0.1, rtol=1e-3)


def test_a_hammer_on_a_free_pile_lets_the_whole_fly(mesh):
    """Ram, helmet and pile keep their momentum together: nothing else holds them."""
    free = SoilModel(*(np.zeros((40, 2)) for _ in range(3)))
    head = HammerHead(setting(), mesh.impedance[0], mesh.time_step, gravity=0.0)
    state = simulate(mesh, free, head, 1000).state
    pile = ((state.down[:-1] - state.up[1:-1]) * mesh.time_step).sum(axis=0)  # Z v · dt = m v in each segment
    np.testing.assert_allclose(
        pile + 3400.0 * head.ram_velocity + 900.0 * head.helmet_velocity, 3400.0 * 4.0, rtol=1e-9
    )


@pytest.mark.parametrize("cushion", [None, 2.0e8])
def test_free_flight_in_one_step_is_that_of_the_substeps(cushion, monkeypatch):
    mesh = mesh_pile(Pile("P1", "steel", (PilePart(14.0, 0.0168, 207e9, 7850.0),)), 40)
    strokes = np.array([0.7, 1.0, 1.6])
    shaft = place_shaft(mesh, 2.0, 14.0, np.full((12, 3), 6e4))
    values = {"shaft_quake": 0.0025, "toe_quake": 0.004, "shaft_damping": 0.3, "toe_damping": 0.3}
    soil = build_soil(shaft, np.array([2e5, 5e5, 9e5]), **values)
    hammer = Hammer("drop", 2000.0, efficiency=0.8, helmet_mass=700.0, hammer_cushion_stiffness=1.5e9)
    hammer = replace(hammer, hammer_cushion_restitution=0.8, pile_cushion_stiffness=cushion)
    flights = []

    def run():
        head = HammerHead(hammer_setting(hammer, strokes), float(mesh.impedance[0]), mesh.time_step)
        flies = head._flies
        head._flies = lambda arriving: flights.append(flies(arriving)) or flights[-1]
        return simulate(mesh, soil, head, 2500)

    quick = run()
    assert 100 < sum(flights) < 2400  # the ram flies and comes down again
    monkeypatch.setattr(HammerHead, "_flies", lambda *_: False)
    np.testing.assert_allclose(quick.down, run().down, atol=1e-9 * quick.down.max())


DIESEL = Hammer("open-end diesel", 3000.0, efficiency=0.9, helmet_mass=900.0, hammer_cushion_stiffness=1.6e9)


def test_only_diesels_have_gas():
    stroke = np.array([2.4])
    assert all(hammer_setting(replace(DIESEL, kind=kind), stroke).gas is None for kind in ("drop", "hydraulic", "air"))
    assert hammer_setting(replace(DIESEL, gas_share=0.0), stroke).gas is None
    gas = hammer_setting(replace(DIESEL, combustion_pressure=9e6), stroke).gas
    assert (gas.area[0], gas.compression_stroke[0], gas.combustion_pressure[0]) == pytest.approx(
        (BORE_OF_RAM * 3000.0, COMPRESSION_STROKE, 9e6)
    )
    closed = hammer_setting(replace(DIESEL, kind="closed-end diesel", compression_stroke=0.3), stroke).gas
    assert closed.compression_stroke[0] == 0.3


def test_efficiency_may_change_with_the_stroke():
    hammer = replace(DIESEL, efficiency_power=0.5, efficiency_stroke=2.0)
    speed = hammer_setting(hammer, np.array([2.0, 2.88])).impact_velocity
    np.testing.assert_allclose(speed**2, 2 * STANDARD_GRAVITY * 0.9 * np.array([2.0, 2.88 * 1.2]))


def test_the_work_of_compression_is_the_integral_of_the_force():
    gas = Gas(np.array([0.13]), np.array([0.4]), np.array([8e6]))
    apart = np.linspace(0.4, 0.0, 20001)
    n, whole, depth = 1.35, 0.4 + gas.clearance, apart + gas.clearance
    force = 0.13 * ATMOSPHERE * ((whole / depth) ** n - 1.0)
    assert gas.work(np.zeros(1))[0] == pytest.approx(np.trapezoid(force, -apart), rel=1e-6)
    assert gas.work(np.array([0.5]))[0] == 0.0


def test_gas_presses_before_the_ram_arrives_and_long_after():
    mesh = mesh_pile(Pile("P1", "steel", (PilePart(200.0, 0.01, 207e9, 7850.0),)), 400)
    heads = [
        HammerHead(hammer_setting(replace(DIESEL, gas_share=share), np.array([2.4])), float(mesh.impedance[0]), 1e-4)
        for share in (0.0, 0.5, 1.0)
    ]
    force = np.array([long_pile(head, 400, 1e-4, 1)[0][:, 0] for head in heads])
    rise = [int(np.argmax(trace > 0.5 * trace.max())) for trace in force]
    assert rise[0] < 10 < 60 < rise[2] < 150  # no gas: the ram arrives at once; gas: from 60 mm above
    assert 0.0 < force[1, 1] < force[2, 1] < 0.1 * force[2].max()
    left = [trace[at + 150] for trace, at in zip(force, rise, strict=True)]  # 15 ms after impact
    assert left[0] < left[1] < left[2]
    assert force[2].max() < force[0].max()  # the ram arrives slower
