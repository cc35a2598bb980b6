"""The range of a resistance from the mixture of laws."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from dyntest.wave_equation.comparison import LawFit, Outcome, lasting_force
from dyntest.wave_equation.matching import (
    FLOOR,
    FLOOR_OF_RADIATION,
    TAIL,
    TAIL_OF_PARTS,
    UNEXPLAINED,
    WIDENING,
    mixture_range,
    resistance_mixture,
)
from dyntest.wave_equation.problem import HYPERBOLIC, RADIATING, SOIL_LAWS, VISCOUS, SoilLaw, make_problem


def test_one_law_gives_the_quantiles_of_a_normal_distribution():
    low, high = mixture_range(np.array([np.log(1e6)]), np.array([0.05]), np.array([1.0]))
    assert np.log([low, high]) == pytest.approx(stats.norm(np.log(1e6), 0.05).ppf([TAIL, 1.0 - TAIL]), abs=1e-3)


def test_two_laws_that_are_far_apart_are_both_in_the_range():
    low, high = mixture_range(np.log([1e6, 2e6]), np.array([0.01, 0.01]), np.array([0.5, 0.5]))
    assert low < 1e6
    assert high > 2e6


def test_a_law_without_weight_does_not_widen_the_range():
    alone = mixture_range(np.log([1e6]), np.array([0.02]), np.array([1.0]))
    both = mixture_range(np.log([1e6, 2e6]), np.array([0.02, 0.02]), np.array([1.0, 0.0]))
    assert both == pytest.approx(alone, rel=1e-3)


@pytest.fixture
def fits(invented_blow):
    """Two laws of equal weight whose record tells nothing but what is written here."""
    problem = make_problem(invented_blow().blow)

    def fit(total, shaft, spread, weight):
        slope = np.zeros((3, problem.layout.count))
        slope[:, 0] = spread
        covariance = np.eye(problem.layout.count)
        return LawFit(
            problem,
            np.zeros(problem.layout.count),
            0.01,
            logarithm=np.log([total, shaft, total - shaft]),
            slope=slope,
            covariance=covariance,
            weight=weight,
        )

    return [fit(1.0e6, 6e5, 0.01, 0.5), fit(1.1e6, 5e5, 0.01, 0.5)]


def test_shaft_and_toe_add_up_to_the_total(fits):
    values, ranges = resistance_mixture(fits)
    assert values[1] + values[2] == pytest.approx(values[0])
    assert values[0] == pytest.approx(np.sqrt(1.0e6 * 1.1e6))
    for value, (low, high) in zip(values, ranges, strict=True):
        assert low <= value <= high


def test_what_no_record_takes_away_is_in_every_range(fits):
    alone = [replace(fits[0], weight=1.0)]
    (low, high), *parts = resistance_mixture(alone)[1]
    total, part = WIDENING["one blow"]
    spread = np.hypot(total * 0.01, FLOOR["total"])
    reach = stats.norm.ppf(1.0 - TAIL)
    assert np.log(high / low) == pytest.approx(2.0 * reach * spread, rel=2e-3)
    reach = stats.norm.ppf(1.0 - TAIL_OF_PARTS)
    for (low, high), share in zip(parts, (0.6, 0.4), strict=True):
        assert np.log(high / low) == pytest.approx(2.0 * reach * np.hypot(part * 0.01, FLOOR["part"] / share), rel=2e-2)


def test_a_hyperbola_tells_shaft_from_toe_less_surely(fits, invented_blow):
    """Two fits alike in all but the backbone: the total is as sure, its parts are not."""
    plain = replace(fits[0], weight=1.0)
    problem = make_problem(invented_blow().blow, law=SoilLaw(HYPERBOLIC, VISCOUS))
    assert problem.layout.count == plain.problem.layout.count
    (total, *parts), (same, *wider) = (resistance_mixture([fit])[1] for fit in (plain, replace(plain, problem=problem)))
    assert same == pytest.approx(total)
    for (low, high), (least, most) in zip(parts, wider, strict=True):
        assert most - least > 1.4 * (high - low)


def test_one_blow_tells_shaft_from_toe_less_surely_than_several(fits):
    problem = fits[0].problem
    together = replace(fits[0], problem=replace(problem, blows=problem.blows * 2))
    for (low, high), (least, most) in zip(
        *(resistance_mixture([replace(fit, weight=1.0)])[1][1:] for fit in (together, fits[0])), strict=True
    ):
        assert least < low < high < most


def test_what_a_law_leaves_unexplained_widens_every_range(fits):
    alone = replace(fits[0], weight=1.0)
    lasting = 0.01 * np.exp(alone.logarithm[0])
    (low, high), *parts = resistance_mixture([replace(alone, lasting=lasting)])[1]
    reach = stats.norm.ppf(1.0 - TAIL)
    known = np.hypot(WIDENING["one blow"][0] * 0.01, FLOOR["total"])
    assert np.log(high / low) == pytest.approx(2.0 * reach * np.hypot(known, 0.01 * UNEXPLAINED["total"]), rel=2e-3)
    for (low, high), (before, after) in zip(parts, resistance_mixture([alone])[1][1:], strict=True):
        assert high - low > 2.0 * (after - before)


def test_noise_does_not_count_as_unexplained_and_a_wrong_model_does(invented_blow):
    problem = make_problem(invented_blow().blow)
    random = np.random.default_rng(4)
    noise = random.standard_normal((problem.n_steps, 1))
    blow = problem.blow
    since = problem.start[0] + problem.mesh.time_step * np.arange(problem.n_steps)
    since -= blow.time[blow.first_peak] + blow.pile.return_time

    def bump(at):
        return np.exp(-(((since - at) / 1e-3) ** 2))[:, None]

    def lasting(*differences):
        together = make_problem((blow,) * len(differences))
        nothing = np.zeros((3, 1)), np.zeros(1)
        return lasting_force(together, [Outcome(difference, *nothing) for difference in differences])

    seen = (since > -2e-3) & (since < 10e-3)
    size = np.sqrt(np.mean(bump(4e-3)[seen] ** 2))
    assert lasting(noise) < 0.5  # the mean of some six samples
    assert lasting(bump(4e-3)) == pytest.approx(size, rel=0.05)
    assert lasting(noise + 5.0 * bump(4e-3)) == pytest.approx(5.0 * size, rel=0.15)
    assert lasting(bump(4e-3), 0.0 * noise) == pytest.approx(size / np.sqrt(2.0), rel=0.05)
    assert lasting(np.full((40, 1), 2.0)) == pytest.approx(2.0)  # the record ends before the toe's return
    assert lasting(bump(-6e-3)) < 0.01 * size and lasting(bump(16e-3)) < 0.01 * size


def test_a_record_without_any_error_still_leaves_a_range(fits):
    sure = replace(fits[0], slope=np.zeros_like(fits[0].slope), weight=1.0)
    values, ranges = resistance_mixture([sure])
    for value, (low, high), least in zip(values, ranges, (0.025, 0.03, 0.03), strict=True):
        assert min(value - low, high - value) > least * values[0]  # no soil follows a law better than that


def test_a_law_with_radiation_leaves_a_wider_range(fits, invented_blow):
    """Two fits alike in all but the law: the forms of radiation differ most from author to author."""
    law = next(law for law in SOIL_LAWS if law.damping in RADIATING)
    plain = replace(fits[0], weight=1.0)
    problem = make_problem(invented_blow().blow, law=law)
    slope = np.zeros((3, problem.layout.count))
    slope[:, 0] = 0.01
    radiating = replace(plain, problem=problem, slope=slope, covariance=np.eye(problem.layout.count))
    reach = stats.norm.ppf(1.0 - TAIL)
    (low, high), *_ = resistance_mixture([radiating])[1]
    spread = np.hypot(WIDENING["one blow"][0] * 0.01, FLOOR_OF_RADIATION["total"])
    assert np.log(high / low) == pytest.approx(2.0 * reach * spread, rel=2e-3)
    assert high - low > 1.5 * np.ptp(resistance_mixture([plain])[1][0])
