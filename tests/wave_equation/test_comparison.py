from dataclasses import replace

import numpy as np
import pytest

from dyntest.pile import Pile, PilePart, pile_width
from dyntest.wave_equation.candidates import candidate_mesh, dashpots, measured_waves
from dyntest.wave_equation.comparison import CORRELATION_TIME, noise_left, wave_misfit
from dyntest.wave_equation.problem import (
    POISSON,
    SOIL_DENSITY,
    Reduction,
    make_problem,
    physical,
)


@pytest.fixture
def problem(invented_blow):
    return make_problem(invented_blow().blow)


@pytest.fixture
def values(problem):
    found = physical(problem.layout, np.zeros((problem.layout.count, 1)))

    def changed(**changes):
        return found | {name: np.array([value]) for name, value in changes.items()}

    return changed


@pytest.mark.parametrize(
    "error",
    [{"lag": 5e-5}, {"velocity_factor": 1.02}, {"stretch": 0.015}],
    ids=["lag", "velocity", "wave speed"],
)
def test_a_known_gauge_error_is_put_right(invented_blow, problem, values, error):
    """Waves of a record with an error, put right for just that error, are those of the record without."""
    spoilt = make_problem(invented_blow(noise=0.0, **error).blow)
    sound = make_problem(invented_blow(noise=0.0).blow)
    right = {
        "lag": {"lag": 5e-5},
        "velocity_factor": {"velocity_error": 1 / 1.02 - 1},
        "stretch": {"wave_speed_error": 0.0},
    }[next(iter(error))]
    if "stretch" in error:  # one error stretches the mesh and the other the clock: the steps agree again
        right = {"wave_speed_error": spoilt.mesh.time_step / sound.mesh.time_step - 1.0}
    mended = measured_waves(spoilt, values(**right))
    wanted = measured_waves(sound, values())
    left = measured_waves(spoilt, values())
    steps = min(len(mended[0]), len(wanted[0])) - 5
    worse = max(np.abs(a[:steps] - b[:steps]).max() for a, b in zip(left, wanted, strict=True))
    better = max(np.abs(a[:steps] - b[:steps]).max() for a, b in zip(mended, wanted, strict=True))
    assert better < 0.25 * worse


def test_noise_that_is_new_each_moment_is_the_misfit(problem):
    rng = np.random.default_rng(0)
    coarse = rng.standard_normal(problem.n_steps)
    window = round(CORRELATION_TIME / problem.mesh.time_step)
    white = np.convolve(coarse, np.ones(window) / window, "same") * problem.scale * 0.01
    misfit = wave_misfit(problem, white[:, None])[0]
    samples = problem.n_steps * problem.mesh.time_step / CORRELATION_TIME
    freedom = np.sqrt(samples / max(samples - problem.layout.count, samples / 2))
    assert noise_left(problem, white) == pytest.approx(misfit * freedom, rel=0.35)


def test_an_error_that_lasts_counts_for_more_than_its_misfit(problem):
    lasting = 0.01 * problem.scale * np.cos(np.arange(problem.n_steps) * problem.mesh.time_step * 2 * np.pi / 0.02)
    misfit = wave_misfit(problem, lasting[:, None])[0]
    assert noise_left(problem, lasting) > 2.0 * misfit
    assert noise_left(problem, np.zeros(problem.n_steps)) == 0.0


def test_a_reduced_section_takes_its_share_of_every_segment(invented_blow):
    problem = make_problem(invented_blow().blow, reduction=Reduction(10.3, 0.6, 1.7))
    found = physical(problem.layout, np.zeros((problem.layout.count, 1)))
    mesh = candidate_mesh(problem, found)
    lost = ((1.0 - mesh.impedance[:, 0] / problem.mesh.impedance) * np.diff(problem.mesh.depth)).sum()
    assert lost == pytest.approx(0.4 * 1.7)
    outside = (problem.mesh.depth[1:] < 10.3) | (problem.mesh.depth[:-1] > 12.0)
    np.testing.assert_array_equal(mesh.impedance[outside, 0], problem.mesh.impedance[outside])


def test_the_window_ends_with_the_record(invented_blow):
    blow = invented_blow().blow
    cut = replace(blow, time=blow.time[:300], force=blow.force[:300], velocity=blow.velocity[:300])
    whole, short = make_problem(blow), make_problem(cut)
    assert short.n_steps < whole.n_steps
    assert short.start + short.n_steps * short.mesh.time_step <= cut.time[-1] + 1e-12
    assert short.weight[0] == 1.0


def test_radiating_ground_has_the_dashpots_of_its_springs():
    """On the shaft ρ V_s of its surface; at the toe 0.85 r √(ρ/G) of the stiffness (Lysmer, from memory)."""
    pile = Pile("P1", "concrete", (PilePart(10.0, 0.16, 40e9, 2450.0),))
    rigidity, lengths = 20e6, np.array([0.0, 1.0, 0.5, 0.0])
    radius = pile_width(pile) / np.sqrt(np.pi)
    toe = 4.0 * rigidity * radius / (1.0 - POISSON)
    stiffness = np.array([0.0, 2.9 * rigidity, 0.5 * 2.9 * rigidity, toe])[:, None]
    even, uneven = (dashpots(stiffness, lengths, pile, np.array([power])) for power in (0.5, 1.0))
    surface = 4.0 * pile_width(pile) * lengths[:3]
    np.testing.assert_allclose(even[:3, 0], surface * np.sqrt(rigidity * SOIL_DENSITY), rtol=1e-2)
    assert even[3, 0] == pytest.approx(0.85 * radius * np.sqrt(SOIL_DENSITY / rigidity) * toe)
    np.testing.assert_allclose(even, uneven, rtol=1e-6)  # the ground is the same all along
    stiffness[1] *= 4.0
    even, uneven = (dashpots(stiffness, lengths, pile, np.array([power]))[:3, 0] for power in (0.5, 1.0))
    assert even[1] / even[2] == pytest.approx(2.0 * 2.0)
    assert uneven[1] / uneven[2] == pytest.approx(4.0 * 2.0)
