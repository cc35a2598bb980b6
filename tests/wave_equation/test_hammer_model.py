from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import trapezoid

from dyntest.hammer import Hammer
from dyntest.pile import Pile, PilePart
from dyntest.units import STANDARD_GRAVITY
from dyntest.wave_equation.hammer_model import (
    BORE_OF_RAM,
    COMPRESSION_STROKE,
    Gas,
    HammerHead,
    HammerSetting,
    hammer_setting,
)
from dyntest.wave_equation.simulator import simulate
from dyntest.wave_equation.soil import Mesh, SoilModel, at_rest, mesh_pile
from dyntest.wave_equation.step import ATMOSPHERE, squeeze

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


def long_pile(head, n_steps):
    """A run on a head from which nothing comes back: a dashpot of the pile's own impedance stands under it."""
    z, candidates = head.impedance, len(head.setting.ram_mass)
    mesh = Mesh(head.time_step, np.array([0.0, 1.0]), np.array([z]), np.array([0.01]), np.array([80.0]))
    nothing = np.zeros((1, candidates))
    return simulate(mesh, SoilModel(nothing, nothing, nothing + z), head, n_steps)


@pytest.mark.parametrize("cushion", [{}, {"pile_cushion_stiffness": 5e8}], ids=["no pile cushion", "pile cushion"])
def test_momentum_goes_into_the_pile(cushion):
    """The momentum that ram and helmet lose is the impulse on the pile, to rounding."""
    head = HammerHead(setting(**cushion), 5.6e5, 2e-5, gravity=0.0)
    motion = long_pile(head, 1500)
    left = 3400.0 * motion.ram_velocity + 900.0 * motion.helmet_velocity
    np.testing.assert_allclose(motion.down.sum(axis=0) * 2e-5 + left, 3400.0 * 4.0, rtol=1e-9)


@pytest.mark.parametrize("cushion", [{}, {"pile_cushion_stiffness": 5e8}], ids=["no pile cushion", "pile cushion"])
def test_energy_is_not_made(cushion):
    head = HammerHead(setting(**cushion), 5.6e5, 2e-6, gravity=0.0)
    motion = long_pile(head, 15000)
    passed = (motion.down**2).sum(axis=0) / 5.6e5 * 2e-6
    left = 0.5 * 3400.0 * motion.ram_velocity**2 + 0.5 * 900.0 * motion.helmet_velocity**2
    np.testing.assert_allclose(passed + left, 0.5 * 3400.0 * 4.0**2, rtol=0.005)  # first order in the substep


def test_a_cushion_that_gives_back_less_transfers_less():
    energies = []
    for restitution in (1.0, 0.8, 0.5):
        head = HammerHead(setting(hammer_cushion_restitution=restitution), 5.6e5, 2e-5, gravity=0.0)
        energies.append((long_pile(head, 1500).down[:, 0] ** 2).sum())
    assert energies[0] > energies[1] > energies[2]


def test_the_cushion_eats_the_share_that_its_restitution_says():
    """Loading along K and unloading along K/e² gives back e² of the work: triangles with equal tops."""
    cushion, move = (0.0, 0.0), 1e-6

    def press(moves):
        nonlocal cushion
        forces = []
        for each in moves:
            cushion = squeeze(*cushion, each, 1e9, 1e9 / 0.8**2)
            forces.append(max(cushion[1], 0.0))
        return np.array(forces)

    moves = np.concatenate([np.full(1000, move), np.full(1000, -move)])
    forces = press(moves)
    assert forces.max() == pytest.approx(1e9 * 1e-3)
    work = forces * moves
    assert -work[1000:].sum() / work[:1000].sum() == pytest.approx(0.64, abs=0.002)
    # It stays 0.36 mm thinner: pressed again, it bears after that and not before.
    again = press(np.full(1000, move))
    assert (again[:358] == 0.0).all()
    assert again[362:].min() > 0.0
    assert again[-1] == pytest.approx(1e9 * 1e-3)


def arriving(head, wave):
    """A run on a pile in which a wave [N] runs up to the head, a row of values a step."""
    n, candidates = wave.shape
    mesh = Mesh(head.time_step, np.arange(n + 1.0), np.full(n, head.impedance), np.full(n, 0.01), np.full(n, 80.0))
    free = SoilModel(*(np.zeros((n, candidates)) for _ in range(3)))
    up = np.vstack([np.zeros((1, candidates)), wave, np.zeros((1, candidates))])
    return simulate(mesh, free, head, n, start=replace(at_rest(mesh, free), up=up))


def test_nothing_pulls_on_the_pile():
    """Where the head runs away downward."""
    motion = arriving(HammerHead(setting(), 5.6e5, 2e-5, gravity=0.0), np.full((200, 2), -1e6))
    np.testing.assert_allclose(motion.up, -1e6)
    assert (motion.down + motion.up >= -1e-6).all()


def test_impact_waits_for_its_step():
    wave = np.zeros((5, 2))
    wave[:3] = 100.0, 200.0
    motion = arriving(HammerHead(setting(), 5.6e5, 2e-5, impact_step=3), wave)
    np.testing.assert_allclose(motion.down[:3], -wave[:3])  # a free end
    assert (motion.down[3] > 0.0).all()


def test_candidates_do_not_touch_each_other(mesh, make_soil):
    both = setting(impact_velocity=np.array([3.0, 5.0]))
    together = simulate(mesh, make_soil(), HammerHead(both, mesh.impedance[0], mesh.time_step), 400)
    for candidate, velocity in enumerate((3.0, 5.0)):
        one = setting(1, impact_velocity=velocity)
        soil = make_soil(shaft=[(6e5, 9e5)[candidate]], toe=[(3e5, 5e5)[candidate]])
        alone = simulate(mesh, soil, HammerHead(one, mesh.impedance[0], mesh.time_step), 400)
        np.testing.assert_array_equal(together.up[:, candidate], alone.up[:, 0])


def test_gravity_pulls_ram_and_helmet():
    soft = setting(hammer_cushion_stiffness=1.0, pile_cushion_stiffness=1.0, impact_velocity=0.0)
    head = HammerHead(soft, 5.6e5, 1e-3, gravity=STANDARD_GRAVITY)
    motion = long_pile(head, 100)
    np.testing.assert_allclose(motion.ram_velocity, STANDARD_GRAVITY * 0.1, rtol=1e-3)
    np.testing.assert_allclose(motion.helmet_velocity, STANDARD_GRAVITY * 0.1, rtol=1e-3)


def test_a_hammer_on_a_free_pile_lets_the_whole_fly(mesh):
    """Ram, helmet and pile keep their momentum together: nothing else holds them."""
    free = SoilModel(*(np.zeros((40, 2)) for _ in range(3)))
    head = HammerHead(setting(), mesh.impedance[0], mesh.time_step, gravity=0.0)
    motion = simulate(mesh, free, head, 1000)
    state = motion.state
    pile = ((state.down[:-1] - state.up[1:-1]) * mesh.time_step).sum(axis=0)  # Z v · dt = m v in each segment
    np.testing.assert_allclose(
        pile + 3400.0 * motion.ram_velocity + 900.0 * motion.helmet_velocity, 3400.0 * 4.0, rtol=1e-9
    )


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
    assert gas.work(np.zeros(1))[0] == pytest.approx(trapezoid(force, -apart), rel=1e-6)
    assert gas.work(np.array([0.5]))[0] == 0.0


def test_gas_presses_before_the_ram_arrives_and_long_after():
    mesh = mesh_pile(Pile("P1", "steel", (PilePart(200.0, 0.01, 207e9, 7850.0),)), 400)
    heads = [
        HammerHead(hammer_setting(replace(DIESEL, gas_share=share), np.array([2.4])), float(mesh.impedance[0]), 1e-4)
        for share in (0.0, 0.5, 1.0)
    ]
    force = np.array([long_pile(head, 400).down[:, 0] for head in heads])
    rise = [int(np.argmax(trace > 0.5 * trace.max())) for trace in force]
    assert rise[0] < 10 < 60 < rise[2] < 150  # no gas: the ram arrives at once; gas: from 60 mm above
    assert 0.0 < force[1, 1] < force[2, 1] < 0.1 * force[2].max()
    left = [trace[at + 150] for trace, at in zip(force, rise, strict=True)]  # 15 ms after impact
    assert left[0] < left[1] < left[2]
    assert force[2].max() < force[0].max()  # the ram arrives slower
