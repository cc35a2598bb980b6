from dataclasses import replace

import numpy as np
import pytest

from dyntest.wave_equation.simulator import impose_down_wave, impose_force, simulate
from dyntest.wave_equation.soil import SoilModel, mesh_pile
from dyntest.wave_equation.step import add_splices

N, MIDDLE = 40, 20


@pytest.fixture
def free():
    return SoilModel(*(np.zeros((N, 1)) for _ in range(3)))


def spliced(mesh, slack):
    return add_splices(mesh, (10.0,), (slack,))


def square(height, length, n_steps=400):
    return np.where(np.arange(n_steps) < length, height, 0.0)


@pytest.mark.parametrize("options", [{}, {"smith": True}, {"hyperbolic": True}, {"plug_mass": np.array([1e2, 2e2])}])
def test_without_slack_a_splice_is_no_splice(mesh, make_soil, pulse, options):
    plain = simulate(mesh, make_soil(**options), impose_down_wave(pulse), 600, envelope=True, work=True)
    joined = simulate(spliced(mesh, 0.0), make_soil(**options), impose_down_wave(pulse), 600, envelope=True, work=True)
    np.testing.assert_allclose(joined.up, plain.up, atol=1e-6)
    np.testing.assert_allclose(joined.least_force, plain.least_force, atol=1e-6)
    np.testing.assert_allclose(joined.dissipated, plain.dissipated, rtol=1e-9)
    assert not joined.state.opening.any()


def test_compression_passes_at_once(mesh, free):
    wave = square(1e6, 30)
    loose = simulate(spliced(mesh, np.inf), free, impose_down_wave(wave), 2 * N)
    np.testing.assert_allclose(loose.up, 0.0, atol=1e-6)


def test_a_loose_joint_turns_tension_back(mesh, free):
    """The toe's tension comes to the joint as to a free end and goes back down as compression; none of it arrives."""
    wave = square(1e6, 15)
    late = simulate(spliced(mesh, np.inf), free, impose_down_wave(wave), 3 * N)
    np.testing.assert_allclose(late.up, 0.0, atol=1e-6)
    motion = simulate(spliced(mesh, np.inf), free, impose_down_wave(wave), 2 * N, envelope=True)
    np.testing.assert_allclose(motion.least_force[MIDDLE - 1], 0.0, atol=1e-6)
    apart = 2.0 * 1e6 / mesh.impedance[0] * 15 * mesh.time_step  # the lower end moves by 2 D/Z for the pulse's time
    np.testing.assert_allclose(motion.state.opening, apart, rtol=1e-9)
    assert motion.least_force.min() == pytest.approx(-1e6)  # the lower piece has it


def test_a_slack_joint_pulls_after_it_has_opened_by_its_slack(mesh, free):
    """Of a tension wave of 30 steps the first ones open the joint; the rest arrives."""
    speed = 2.0 * 1e6 / mesh.impedance[0]
    opening_steps = 10
    slack = speed * opening_steps * mesh.time_step
    motion = simulate(spliced(mesh, slack), free, impose_down_wave(square(1e6, 30)), 3 * N)
    tension = -motion.up[2 * N : 2 * N + 30, 0]
    np.testing.assert_allclose(tension[:opening_steps], 0.0, atol=1e-6)
    np.testing.assert_allclose(tension[opening_steps:], 1e6, rtol=1e-9)


def energy_lost(mesh, end=0.05):
    """Share of the energy that is gone after many openings, and the last state."""
    mesh, n_steps = spliced(mesh, 0.001), round(end / mesh.time_step)
    time = np.arange(n_steps) * mesh.time_step
    force = 1e6 * np.sin(np.pi * np.minimum(time / 3e-3, 1.0)) ** 2
    soil = SoilModel(*(np.zeros((mesh.n_segments, 1)) for _ in range(3)))
    motion = simulate(mesh, soil, impose_force(force), n_steps)
    state, z = motion.state, mesh.impedance[:, None]
    momentum = (state.down[:-1] - state.up[1:-1]).sum() * mesh.time_step
    assert momentum == pytest.approx(force.sum() * mesh.time_step, rel=1e-9)
    assert ((state.opening >= -1e-12) & (state.opening <= 0.001 + 1e-12)).all()
    entered = ((motion.down**2 - motion.up**2) / z[0]).sum()
    return 1.0 - ((state.down[:-1] ** 2 + state.up[1:-1] ** 2) / z).sum() / entered


def test_energy_and_momentum_through_an_opening_joint(steel_pile):
    """Ends that meet within a step lose what that step takes, none is made; with short steps hardly any is lost."""
    coarse, fine = (energy_lost(mesh_pile(steel_pile, n)) for n in (40, 320))
    assert 0.0 <= fine < 0.03
    assert fine < 0.25 * coarse


def test_every_candidate_has_its_own_slack_and_runs_go_on(mesh, make_soil, pulse):
    soil = make_soil(shaft=(1e5, 1e5), toe=(4e4, 4e4))
    both = spliced(mesh, np.array([0.0005, np.inf]))
    whole = simulate(both, soil, impose_down_wave(pulse), 600)
    first = simulate(both, soil, impose_down_wave(pulse), 170)
    second = simulate(both, soil, impose_down_wave(pulse[170:]), 430, start=first.state)
    assert first.state.opening.any()
    np.testing.assert_allclose(np.vstack([first.up, second.up]), whole.up, atol=1e-6)
    alone = simulate(spliced(mesh, 0.0005), soil, impose_down_wave(pulse), 600)
    np.testing.assert_allclose(alone.up[:, 0], whole.up[:, 0], atol=1e-6)


def test_a_splice_above_the_soil_and_one_between_sections(mesh, make_soil, pulse):
    thin = np.where(np.arange(N) < MIDDLE, 1.0, 0.6) * mesh.impedance
    uneven = replace(mesh, impedance=thin)
    plain = simulate(uneven, make_soil(), impose_down_wave(pulse), 600)
    joined = simulate(add_splices(uneven, (1.0, 10.0), (0.0, 0.0)), make_soil(), impose_down_wave(pulse), 600)
    np.testing.assert_allclose(joined.up, plain.up, atol=1e-6)


@pytest.mark.parametrize(
    ("depths", "slacks", "message"),
    [
        ((0.0,), (0.001,), "upper end or the toe"),
        ((20.0,), (0.001,), "upper end or the toe"),
        ((10.0, 10.1), (0.001, 0.001), "two splices"),
        ((10.0,), (-0.001,), "0 or more"),
        ((10.0,), (np.nan,), "0 or more"),
        ((10.0,), (), "a depth and a slack"),
    ],
)
def test_what_cannot_be_a_splice(mesh, depths, slacks, message):
    with pytest.raises(ValueError, match=message):
        add_splices(mesh, depths, slacks)
