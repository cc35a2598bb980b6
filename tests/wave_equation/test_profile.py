import numpy as np
import pytest

from dyntest.wave_equation.matching import MARGIN, _crossing, linear_range, profile


def test_a_parabola_is_crossed_where_it_is_crossed():
    distance = np.array([0.1, 0.2, 0.4])
    for half in (0.05, 0.15, 0.31):
        assert _crossing(distance, MARGIN * (distance / half) ** 2) == pytest.approx(half)


def test_a_rise_that_stays_too_small_goes_farther_but_not_for_ever():
    distance = np.array([0.1, 0.2, 0.4])
    assert _crossing(distance, 0.5 * MARGIN * (distance / 0.4) ** 2) == pytest.approx(0.4 * np.sqrt(2.0))
    assert _crossing(distance, np.zeros(3)) == pytest.approx(0.6)


def test_the_profile_agrees_with_a_linear_model_where_noise_is_small(matched):
    """Two ways to the same ranges: everything else fitted again, and the curvature at the best model."""
    _, match = matched
    best, ranges = profile(match.problem, match.scores)
    again, straight = linear_range(match.problem, match.scores)
    np.testing.assert_allclose(best, again)
    np.testing.assert_allclose(np.log(ranges[0] / best[0]), np.log(straight[0] / best[0]), atol=0.01)
    assert (ranges[:, 0] < best).all()
    assert (ranges[:, 1] > best).all()


def test_the_cost_at_the_ends_of_the_range_has_risen_by_the_margin(matched):
    """Held at the end of the range, with everything else free, the fit is worse by just what the range allows."""
    from dyntest.wave_equation.comparison import residuals_and_resistance
    from dyntest.wave_equation.fitting import fit

    _, match = matched
    problem, best = match.problem, match.scores
    values, ranges = profile(problem, best)
    least = (residuals_and_resistance(problem, best[:, None])[0] ** 2).sum()

    def held(scores):
        errors, resistance = residuals_and_resistance(problem, scores)
        return np.vstack([errors, np.log(resistance[1] / ranges[1, 1])[None] / 0.002])

    end = fit(held, best[:, None], bound=4.0, most_iterations=30)
    assert end.cost[0] - least == pytest.approx(MARGIN, rel=0.5)
    assert values[1] < ranges[1, 1]
