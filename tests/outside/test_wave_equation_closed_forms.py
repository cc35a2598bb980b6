"""The simulator against exact solutions of the wave equation: d'Alembert's, a rigid ram, energy, momentum.

Exact physics needs no source. Where a wave crosses a segment in one time step, the scheme itself is exact for waves,
so most of these hold to rounding.
"""

import numpy as np
import pytest

from dyntest.pile import Pile, PilePart
from dyntest.wave_equation.hammer_model import HammerHead, HammerSetting
from dyntest.wave_equation.simulator import impose_down_wave, impose_force, simulate
from dyntest.wave_equation.soil import Mesh, SoilModel, build_soil, mesh_pile, place_shaft

N = 40
ROUNDING = 1e-12


def uniform(area=0.0138, n_segments=N):
    return mesh_pile(Pile("P1", "steel", (PilePart(20.0, area, 207e9, 7850.0),)), n_segments)


def free(candidates=1, **toe):
    """No soil but what is given for the toe."""
    limit, quake, damping = (np.zeros((N, candidates)) for _ in range(3))
    limit[-1], quake[-1], damping[-1] = toe.get("limit", 0.0), toe.get("quake", 1.0), toe.get("damping", 0.0)
    return SoilModel(limit, quake, damping)


@pytest.fixture
def pulse():
    """A rough pulse of 60 steps, then nothing: the scheme must be exact for any shape."""
    return np.concatenate([1e6 * np.random.default_rng(1).random(60), np.zeros(200)])


def later(pulse, steps):
    return np.concatenate([np.zeros(steps), pulse])[: len(pulse)]


def test_a_free_end_turns_the_wave_over(pulse):
    motion = simulate(uniform(), free(), impose_down_wave(pulse), 260, envelope=True)
    np.testing.assert_allclose(motion.up[:, 0], -later(pulse, 2 * N), atol=ROUNDING * 1e6)
    np.testing.assert_allclose(motion.greatest_force[-1], 0.0, atol=ROUNDING * 1e6)  # no force on the free end
    velocity = 2.0 * later(pulse, N) / uniform().impedance[0]  # which moves at twice the speed
    moved = uniform().time_step * (np.cumsum(velocity) - 0.5 * velocity)
    np.testing.assert_allclose(motion.toe_displacement[:, 0], moved, atol=1e-15)


def test_a_fixed_end_sends_the_wave_back_and_doubles_the_force(pulse):
    fixed = free(limit=1e13, quake=1e-9)
    motion = simulate(uniform(), fixed, impose_down_wave(pulse), 260, envelope=True)
    np.testing.assert_allclose(motion.up[:, 0], later(pulse, 2 * N), atol=1e-10 * 1e6)  # stiff, so rounding counts more
    np.testing.assert_allclose(motion.greatest_force[-1], 2.0 * pulse.max(), rtol=1e-10)
    np.testing.assert_allclose(motion.toe_displacement, 0.0, atol=1e-15)


def test_a_dashpot_of_the_piles_impedance_swallows_the_wave(pulse):
    silent = free(damping=uniform().impedance[0])
    motion = simulate(uniform(), silent, impose_down_wave(pulse), 260, work=True)
    np.testing.assert_allclose(motion.up, 0.0, atol=ROUNDING * 1e6)
    mesh = uniform()
    np.testing.assert_allclose(motion.dissipated, (pulse**2).sum() / mesh.impedance[0] * mesh.time_step, rtol=1e-12)


@pytest.mark.parametrize("ratio", [0.5, 2.0, 3.7], ids=["step down", "step up", "large step up"])
def test_an_impedance_step(pulse, ratio):
    """Reflected (Z2 − Z1)/(Z2 + Z1), transmitted 2 Z2/(Z1 + Z2); what comes back through gets 2 Z1/(Z1 + Z2)."""
    parts = PilePart(10.0, 0.0138, 207e9, 7850.0), PilePart(10.0, 0.0138 * ratio, 207e9, 7850.0)
    mesh = mesh_pile(Pile("P1", "steel", parts), N)
    motion = simulate(mesh, free(), impose_down_wave(pulse), 260)
    reflected = (ratio - 1.0) / (ratio + 1.0)
    through = 4.0 * ratio / (1.0 + ratio) ** 2
    expected = reflected * later(pulse, N)  # from the step, half way
    for trip in range(6):  # a free toe turns each wave over, and inside it meets the step from below
        expected -= through * reflected**trip * later(pulse, 2 * N + trip * N)
    np.testing.assert_allclose(motion.up[: 7 * N, 0], expected[: 7 * N], atol=ROUNDING * 1e6)


def test_each_candidate_has_its_own_impedance_step(pulse):
    z = uniform().impedance[0]
    column = np.where(np.arange(N)[:, None] < N // 2, z, z * np.array([0.5, 1.0, 2.0]))
    mesh = uniform()
    mesh = type(mesh)(mesh.time_step, mesh.depth, column, mesh.area, mesh.mass)
    motion = simulate(mesh, free(3), impose_down_wave(pulse), 2 * N)
    expected = later(pulse, N)[: 2 * N, None] * np.array([-1 / 3, 0.0, 1 / 3])
    np.testing.assert_allclose(motion.up, expected, atol=ROUNDING * 1e6)


def test_a_passing_wave_mobilises_the_shaft():
    """Before the toe returns, F − Z v = 2 u at the gauges is the whole shaft resistance passed so far."""
    mesh = uniform()
    shaft = place_shaft(mesh, 4.0, 16.0, np.full((6, 1), 1e5))
    soil = build_soil(shaft, np.zeros(1), shaft_quake=1e-9, toe_quake=1.0, shaft_damping=0.0, toe_damping=0.0)
    motion = simulate(mesh, soil, impose_down_wave(np.full(2 * N, 2e6)), 2 * N)
    np.testing.assert_allclose(2.0 * motion.up[2 * 33 :, 0], 6e5, rtol=1e-9)
    for node in (5, 8, 9, 21, 32):  # where the wave was when the answer that arrives now set out
        np.testing.assert_allclose(2.0 * motion.up[2 * node, 0], shaft[:node].sum(), rtol=1e-9, atol=1e-6)


def test_a_rigid_ram_on_a_long_pile():
    """``F = Z v0 exp(−Z t/m)``: Z = 567.9 kN s/m, 3000 kg from 1 m give 2515 kN, decaying in 5.283 ms."""
    z, mass, velocity = 567.9e3, 3000.0, 4.4287
    errors = []
    for dt in (2e-5, 1e-5, 5e-6):
        numbers = (mass, 1e-6, velocity, z / dt, 1.0, np.inf, 1.0)  # next to no helmet, a cushion as stiff as dt allows
        head = HammerHead(HammerSetting(*(np.array([number]) for number in numbers)), z, dt, gravity=0.0)
        time = (np.arange(round(0.02 / dt)) + 0.5) * dt  # the head's force is a mean over its step
        under = Mesh(dt, np.array([0.0, 1.0]), np.array([z]), np.array([0.01]), np.array([z * dt]))
        nothing = np.zeros((1, 1))  # but a dashpot of the pile's own impedance, which sends nothing back
        force = simulate(under, SoilModel(nothing, nothing, nothing + z), head, len(time)).down[:, 0]
        exact = z * velocity * np.exp(-z * time / mass)
        errors.append(np.abs(force - exact)[8:].max() / (z * velocity))  # after the cushion's rise
    assert errors[-1] < 2e-3
    assert errors[0] / errors[-1] == pytest.approx(4.0, rel=0.1)  # of first order in the step
    rate, peak = np.polyfit(time[100:], np.log(force[100:]), 1)
    assert np.exp(peak) == pytest.approx(2515e3, rel=2e-3)
    assert -1.0 / rate == pytest.approx(5.283e-3, rel=2e-3)
    passed = (force**2).sum() / z * dt  # all of ½ m v0² goes into the pile
    assert passed / (1.0 - np.exp(-2 * z * 0.02 / mass)) == pytest.approx(0.5 * mass * velocity**2, rel=2e-3)


def wave_energy(mesh, state):
    """What travels in the pile, ``Σ (d² + u²)/Z · dt`` [J]."""
    z = mesh.impedance[:, None]
    return ((state.down[:-1] ** 2 + state.up[1:-1] ** 2) / z).sum(axis=0) * mesh.time_step


SOILS = {
    "elastic-plastic": {},
    "Smith damping": {"smith": True},
    "hyperbolic": {"hyperbolic": True},
    "unloading quake": {"unloading_quake": np.full((N, 2), 0.001)},
    "gap": {"toe_gap": np.array([0.002, 0.004])},
}


def soil_of(mesh, **options):
    shaft = place_shaft(mesh, 3.0, 20.0, np.array([[6e5, 9e5]] * 4) / 4)
    toe = {"shaft_quake": 0.0025, "toe_quake": 0.004, "shaft_damping": 0.4, "toe_damping": 0.3}
    return build_soil(shaft, np.array([3e5, 5e5]), **toe, **options)


@pytest.mark.parametrize("n_steps", [55, 300, 2000], ids=["under way", "rebounding", "late"])
@pytest.mark.parametrize("options", SOILS.values(), ids=SOILS)
def test_energy_is_kept(options, n_steps):
    """What came in at the gauges and did not go out again is in the pile's waves or went into the soil, to rounding."""
    mesh = uniform()
    time = np.arange(n_steps) * mesh.time_step
    pulse = 1.4e6 * np.minimum(time / 1e-3, 1.0) * np.exp(-time / 5e-3)
    motion = simulate(mesh, soil_of(mesh, **options), impose_down_wave(pulse), n_steps, work=True)
    entered = ((motion.down**2 - motion.up**2) / mesh.impedance[0]).sum(axis=0) * mesh.time_step
    kept = wave_energy(mesh, motion.state) + motion.dissipated
    np.testing.assert_allclose(kept, entered, rtol=1e-10)
    assert (motion.dissipated > 0.0).all()


def test_an_elastic_soil_gives_back_what_it_took():
    """Work on springs that never yield is ``S²/(2k)`` in the springs at that moment; the rest of it comes back."""
    mesh = uniform()
    strong = soil_of(mesh)
    soil = SoilModel(1e3 * strong.limit, 1e3 * strong.quake, 0.0 * strong.damping, upward_limit=1e3 * strong.limit)
    time = np.arange(2000) * mesh.time_step
    pulse = 1.4e6 * np.minimum(time / 1e-3, 1.0) * np.exp(-time / 5e-3)
    for n_steps in (60, 90, 2000):
        motion = simulate(mesh, soil, impose_down_wave(pulse), n_steps, work=True)
        spring = np.maximum(motion.state.spring, 0.0) ** 2 * (soil.limit > 0.0)
        spring[:-1] = motion.state.spring[:-1] ** 2
        stored = (spring * soil.quake / np.maximum(soil.limit, 1.0) / 2.0).sum(axis=0)
        entered = (pulse[:n_steps] ** 2).sum() / mesh.impedance[0] * mesh.time_step
        now = (motion.state.spring * motion.state.velocity).sum(
            axis=0
        ) * mesh.time_step  # half belongs to the next step
        np.testing.assert_allclose(motion.dissipated - 0.5 * now, stored, atol=1e-3 * entered)
    assert (motion.dissipated < 1e-3 * entered).all()


def test_a_plug_takes_only_its_kinetic_energy():
    """A free pile with a mass at its toe: energy in waves and plug is what came in, and so is momentum."""
    mesh = uniform()
    soil = SoilModel(*(np.zeros((N, 1)) for _ in range(3)), plug_mass=np.array([200.0]))
    time = np.arange(400) * mesh.time_step
    pulse = 1.4e6 * np.sin(np.pi * np.minimum(time / 4e-3, 1.0)) ** 2
    motion = simulate(mesh, soil, impose_force(pulse), 400, work=True)
    entered = ((motion.down**2 - motion.up**2) / mesh.impedance[0]).sum(axis=0) * mesh.time_step
    state = motion.state
    np.testing.assert_allclose(motion.dissipated, 0.0, atol=1e-6)
    plug = state.up[-1] ** 2 / (2.0 * 200.0 / mesh.time_step) * mesh.time_step  # a wave in the plug, as in a segment
    np.testing.assert_allclose(wave_energy(mesh, state) + plug, entered, rtol=1e-10)
    momentum = ((state.down[:-1] - state.up[1:-1]) * mesh.time_step).sum(axis=0) - state.up[-1] * mesh.time_step
    np.testing.assert_allclose(momentum, pulse.sum() * mesh.time_step, rtol=1e-9)


def test_a_plug_answers_as_a_mass():
    """A mass on the end of a rod: Z v + m dv/dt = 2 d. For d = D a step, m v = (2 D m/Z)(1 − exp(−Z t/m))."""
    mesh = uniform(n_segments=200)
    soil = SoilModel(*(np.zeros((200, 1)) for _ in range(3)), plug_mass=np.array([400.0]))
    motion = simulate(mesh, soil, impose_down_wave(np.full(400, 1e6)), 400)
    z, time = mesh.impedance[0], np.arange(200) * mesh.time_step  # a jump between two samples comes half way
    exact = 1e6 * (1.0 - 2.0 * (1.0 - np.exp(-z * time / 400.0)))  # u = d − Z v: first as if fixed, then as if free
    velocity = np.diff(motion.toe_displacement[199:, 0]) / mesh.time_step
    np.testing.assert_allclose((1e6 - z * velocity)[1:], exact[1:], atol=1e-3 * 1e6)


def test_momentum_of_a_free_pile_is_the_impulse(pulse):
    mesh = uniform()
    state = simulate(mesh, free(), impose_force(pulse), 260).state
    momentum = ((state.down[:-1] - state.up[1:-1]) * mesh.time_step).sum(axis=0)
    np.testing.assert_allclose(momentum, pulse.sum() * mesh.time_step, rtol=1e-9)


def test_a_free_pile_falls():
    mesh = uniform()
    state = simulate(mesh, free(), impose_force(np.zeros(1000)), 1000, gravity=9.8).state
    momentum = ((state.down[:-1] - state.up[1:-1]) * mesh.time_step).sum(axis=0)
    np.testing.assert_allclose(momentum, mesh.mass.sum() * 9.8 * 1000 * mesh.time_step, rtol=1e-9)
