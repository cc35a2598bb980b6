import numpy as np
import pytest

from dyntest.wave_equation.fitting import MISFIT_BOUNDS, PENALTY, LawFit, fit_starts, measured
from dyntest.wave_equation.problem import Reduction, make_problem


@pytest.fixture
def found(invented_blow):
    """A fit of a given misfit under a given law, not fitted at all."""
    blow = invented_blow().blow

    def make(misfit, **law):
        problem = make_problem(blow, **law)
        return LawFit(problem, np.zeros(problem.layout.count), misfit)

    return make


def test_a_law_with_more_freedom_must_earn_it(found):
    plain = found(0.01)
    assert found(0.01, hyperbolic=True).points == pytest.approx(plain.points + PENALTY)
    assert found(0.01, reduction=Reduction(10.0)).points == pytest.approx(plain.points + 3 * PENALTY)
    assert found(0.01, smith=True).points == plain.points
    assert found(0.008, hyperbolic=True).points < plain.points


def test_no_law_gains_by_fitting_better_than_gauges_are(found):
    assert found(1e-5).points == found(MISFIT_BOUNDS[0]).points


def test_more_starts_never_fit_worse(invented_blow):
    problem = make_problem(invented_blow().blow)
    alone = fit_starts(problem, np.zeros((problem.layout.count, 1)))
    assert fit_starts(problem).misfit <= 1.1 * alone.misfit


def test_a_start_that_ends_elsewhere_says_so_in_its_misfit(found):
    problem, _, misfit = measured(found(0.01).problem, np.full(found(0.01).scores.shape, 2.0))
    assert misfit > 0.05
    assert problem.misfit == MISFIT_BOUNDS[1]
