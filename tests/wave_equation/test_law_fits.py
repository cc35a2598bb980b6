import numpy as np
import pytest

from dyntest.wave_equation.comparison import Task, run_tasks
from dyntest.wave_equation.fitting import (
    MISFIT_BOUNDS,
    PENALTY,
    Descent,
    LawFit,
    descend,
    evaluate,
    fit_laws,
    laws_of,
    moving,
    normal_equations,
)
from dyntest.wave_equation.problem import SOIL_LAWS, Reduction, make_problem


@pytest.fixture(scope="module")
def blow(invented_blow):
    return invented_blow().blow


def test_a_reduced_section_must_earn_its_parameters(blow):
    def found(misfit, **options):
        problem = make_problem(blow, **options)
        return LawFit(problem, np.zeros(problem.layout.count), misfit)

    plain = found(0.01)
    assert found(0.01, reduction=Reduction(10.0)).points == pytest.approx(plain.points + 3 * PENALTY)
    assert found(0.008, reduction=Reduction(10.0)).points < plain.points
    assert found(1e-5).points == found(MISFIT_BOUNDS[0]).points


def test_laws_side_by_side_march_as_they_do_alone(blow):
    """Candidates of every law and of two blows in one run give what each gives in a run of its own."""
    problems = [make_problem((blow, blow), law=law) for law in SOIL_LAWS]
    tasks = [
        Task(problem, place, np.full((problem.layout.count, 2), 0.3) * np.array([0.0, 1.0]))
        for problem in problems
        for place in range(2)
    ]
    together = run_tasks(tasks, peaks=True)
    for task, found in zip(tasks, together, strict=True):
        alone = run_tasks([task], peaks=True)[0]
        scale = task.problem.scale[0]
        np.testing.assert_allclose(found.difference, alone.difference, atol=1e-5 * scale)
        np.testing.assert_allclose(found.resistance, alone.resistance, rtol=1e-4, atol=1e-5 * scale)
        np.testing.assert_allclose(found.set_per_blow, alone.set_per_blow, atol=1e-6)


def test_the_normal_equations_are_those_of_difference_quotients(blow):
    problem = make_problem((blow, blow))
    descent = Descent(problem, np.full(problem.layout.count, 0.1))
    evaluate([descent])
    normal, gradient = normal_equations([descent])[0][0]
    direction = np.linspace(-1.0, 1.0, problem.layout.count)
    ahead, behind = (Descent(problem, descent.scores + sign * 1e-2 * direction) for sign in (1.0, -1.0))
    evaluate([ahead, behind])
    assert 2.0 * gradient @ direction == pytest.approx((ahead.cost - behind.cost) / 2e-2, rel=0.05)
    assert normal.shape == (problem.layout.count,) * 2
    np.testing.assert_allclose(normal, normal.T)


def test_a_blow_is_not_moved_by_the_drift_of_another(blow):
    problem = make_problem((blow, blow, blow))
    names = [problem.layout.names[row] for row in moving(problem, 1)]
    assert "drift_2" in names
    assert {"drift", "drift_3"}.isdisjoint(names)


def test_going_down_never_goes_up(blow):
    problem = make_problem(blow)
    descents = [Descent(problem, np.full(problem.layout.count, at)) for at in (0.0, 0.5)]
    evaluate(descents)
    before = [each.cost for each in descents]
    descend(descents, 4)
    assert all(each.cost < cost for each, cost in zip(descents, before, strict=True))


def test_weights_add_up_and_the_law_of_the_soil_has_the_most(blow):
    fits = fit_laws((blow,), laws_of("best"))
    assert sum(fit.weight for fit in fits) == pytest.approx(1.0)
    assert fits[0].weight == max(fit.weight for fit in fits)
    assert all(fit.criterion >= fits[0].criterion for fit in fits)


def test_a_choice_of_static_law_leaves_the_forms_of_damping():
    assert {law.backbone for law in laws_of("hyperbolic")} == {"hyperbolic"}
    assert len(laws_of("best")) == len(SOIL_LAWS)
