import numpy as np
import pytest
from scipy.optimize import least_squares, rosen

from dyntest.wave_equation.fitting import fit

TIME = np.linspace(0.0, 3.0, 40)


def decay(parameters):
    """An exponential with an offset, against data with a known error."""
    data = 2.0 * np.exp(-1.3 * TIME) + 0.4 + 0.01 * np.sin(40.0 * TIME)
    height, rate, offset = parameters[:, None, :]
    return height * np.exp(-rate * TIME[:, None]) + offset - data[:, None]


def valley(parameters):
    x, y = parameters
    return np.array([1.0 - x, 10.0 * (y - x**2)])


def test_agrees_with_scipy():
    starts = np.array([[1.0, 0.5, 0.0], [3.0, 3.0, 1.0]]).T
    found = fit(decay, starts, bound=10.0, tolerance=1e-10, most_iterations=60)
    expected = least_squares(lambda p: decay(p[:, None])[:, 0], [1.0, 0.5, 0.0])
    for column in found.scores.T:
        np.testing.assert_allclose(column, expected.x, rtol=1e-3)
    np.testing.assert_allclose(found.cost, 2.0 * expected.cost, rtol=1e-5)


def test_walks_down_a_curved_valley():
    start = np.array([[-1.2], [1.0]])
    found = fit(valley, start, bound=4.0, most_iterations=200, tolerance=1e-9)
    assert found.cost[0] == pytest.approx(rosen(found.scores[:, 0]))
    np.testing.assert_allclose(found.scores[:, 0], 1.0, atol=0.02)


def test_stays_within_its_bounds():
    found = fit(lambda p: p - 9.0, np.zeros((3, 2)), bound=2.0)
    np.testing.assert_allclose(found.scores, 2.0)


def test_never_ends_above_its_start():
    rng = np.random.default_rng(5)
    starts = rng.uniform(-3.0, 3.0, (2, 30))
    for iterations in (1, 3, 10):
        found = fit(valley, starts, bound=3.0, most_iterations=iterations)
        assert (found.cost <= (valley(starts) ** 2).sum(axis=0) + 1e-12).all()


def test_many_starts_do_not_disturb_each_other():
    starts = np.array([[1.0, 0.5, 0.0], [3.0, 3.0, 1.0]]).T
    together = fit(decay, starts, bound=10.0, most_iterations=4, tolerance=0.0)
    alone = fit(decay, starts[:, 1:], bound=10.0, most_iterations=4, tolerance=0.0)
    np.testing.assert_allclose(together.scores[:, 1], alone.scores[:, 0], rtol=1e-9)
