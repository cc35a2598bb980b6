from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares, rosen

from dyntest.wave_equation.comparison import (
    LATER,
    MISFIT_BOUNDS,
    PENALTY,
    LawFit,
    Runs,
    Task,
    fit,
    main_directions,
    run_search,
    run_tasks,
    side_by_side,
)
from dyntest.wave_equation.fitting import (
    COARSE,
    Descent,
    descend,
    evaluate,
    exchanged,
    fit_laws,
    laws_of,
    moving,
    normal_equations,
    take_slopes,
)
from dyntest.wave_equation.problem import SOIL_LAWS, TARGET_STEP, TOE_GAP, Reduction, make_problem, physical

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


def test_laws_side_by_side_run_as_they_do_alone(blow):
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
        np.testing.assert_array_equal(found.difference, alone.difference)
        np.testing.assert_array_equal(found.resistance, alone.resistance)
        np.testing.assert_array_equal(found.set_per_blow, alone.set_per_blow)


def test_blows_of_unlike_length_have_runs_of_their_own(blow, invented_blow):
    short = make_problem(invented_blow(duration=0.04).blow)
    problem = make_problem(blow)
    assert short.n_steps < problem.n_steps
    tasks = [Task(each, 0, np.zeros((each.layout.count, 1))) for each in (short, problem, short)]
    together = run_tasks(tasks)
    assert [len(outcome.difference) for outcome in together] == [each.problem.n_steps for each in tasks]
    np.testing.assert_array_equal(together[0].difference, together[2].difference)
    np.testing.assert_allclose(together[1].difference, run_tasks(tasks[1:2])[0].difference)


def test_searches_side_by_side_find_what_each_finds_alone(blow, invented_blow):
    """To the last digit, however long each of them takes, and one that needs no run does not hold the others."""
    other = invented_blow(duration=0.04).blow
    kinds = [((blow,), SOIL_LAWS[:1]), ((other,), SOIL_LAWS[3:4]), ((blow, blow), SOIL_LAWS[7:8])]
    alone = [run_search(fit_laws(*kind)) for kind in kinds]

    def nothing():
        yield Runs([])
        return []

    found = run_search(side_by_side([fit_laws(*kinds[0]), nothing(), *(fit_laws(*kind) for kind in kinds[1:])]))
    assert found.pop(1) == []
    for one, same in zip(alone, found, strict=True):
        assert len(one) == len(same)
        for fit_alone, fit_beside in zip(one, same, strict=True):
            np.testing.assert_array_equal(fit_alone.scores, fit_beside.scores)
            np.testing.assert_array_equal(fit_alone.covariance, fit_beside.covariance)
            assert (fit_alone.weight, fit_alone.stress) == (fit_beside.weight, fit_beside.stress)


def test_another_noise_counts_as_if_it_had_been_there(blow):
    """Rows, slopes and cost are those of a descent that had that noise from the start; the set keeps its own."""
    known = replace(blow, set_per_blow=6e-3)
    problem = make_problem(known)
    one, other = Descent(problem, np.zeros(problem.layout.count)), None
    run_search(evaluate([one]))
    run_search(take_slopes([one]))
    one.take_noise(0.004)
    other = Descent(replace(problem, misfit=0.004), np.zeros(problem.layout.count))
    run_search(evaluate([other]))
    run_search(take_slopes([other]))
    assert one.cost == pytest.approx(other.cost)
    np.testing.assert_allclose(one.rows[0], other.rows[0])
    np.testing.assert_allclose(one.slopes[0], other.slopes[0])


def test_the_normal_equations_are_those_of_difference_quotients(blow):
    problem = make_problem((blow, blow))
    descent = Descent(problem, np.full(problem.layout.count, 0.1))
    run_search(evaluate([descent]))
    run_search(take_slopes([descent]))
    normal, gradient = normal_equations(descent)
    direction = np.linspace(-1.0, 1.0, problem.layout.count)
    ahead, behind = (Descent(problem, descent.scores + sign * 1e-2 * direction) for sign in (1.0, -1.0))
    run_search(evaluate([ahead, behind]))
    assert 2.0 * gradient @ direction == pytest.approx((ahead.cost - behind.cost) / 2e-2, rel=0.05)
    assert normal.shape == (problem.layout.count,) * 2
    np.testing.assert_allclose(normal, normal.T)


def test_slopes_of_a_coarser_mesh_lead_the_same_way(blow):
    """They stand for those of the mesh that is wanted: along the way down and in what the record tells."""
    fine, coarse = make_problem(blow), make_problem(blow, time_step=COARSE * TARGET_STEP)
    descents = [Descent(fine, np.full(fine.layout.count, 0.1), sloped=sloped) for sloped in (None, coarse)]
    run_search(evaluate(descents))
    for each in descents:
        run_search(take_slopes([each]))
    (normal, gradient), (other_normal, other_gradient) = (normal_equations(each) for each in descents)
    assert gradient @ other_gradient > 0.99 * np.linalg.norm(gradient) * np.linalg.norm(other_gradient)
    spreads = [np.sqrt(np.diag(np.linalg.inv(one))) for one in (normal, other_normal)]
    np.testing.assert_allclose(spreads[0], spreads[1], rtol=0.15)


def test_slopes_are_put_right_along_the_way_that_was_gone(blow):
    """After a step the slopes tell exactly what the step did to the waves (Broyden's condition)."""
    problem = make_problem(blow)
    descent = Descent(problem, np.zeros(problem.layout.count), sloped=make_problem(blow, time_step=2.0 * TARGET_STEP))
    run_search(descend([descent], 1))
    before = Descent(problem, np.zeros(problem.layout.count))
    run_search(evaluate([before]))
    np.testing.assert_allclose(
        descent.slopes[0] @ descent.scores, descent.rows[0] - before.rows[0], atol=1e-6 * np.abs(before.rows[0]).max()
    )


def test_neighbouring_lengths_move_together_while_starts_are_tried(blow):
    layout = make_problem(blow).layout
    basis = main_directions(layout)
    assert basis.sum() == len({*layout.names} - {*LATER})
    assert basis[: layout.n_shaft].sum(axis=1).tolist() == [1.0] * layout.n_shaft
    still = np.abs(basis).sum(axis=1) == 0.0
    assert {layout.names[row] for row in np.flatnonzero(still)} == {*LATER}


def test_what_the_last_length_and_the_toe_carry_is_split_in_other_ways(blow):
    """The sum stays, and a toe that took over what lay along the shaft moves as far as the shaft did there."""
    problem = make_problem(blow, law=SOIL_LAWS[0], time_step=COARSE * TARGET_STEP)
    layout = problem.layout
    best = Descent(problem, np.zeros(layout.count))
    best.scores[layout.n_shaft - 1], best.scores[layout.row("quake_rise")] = 1.0, 3.0

    def carried(each):
        values = physical(layout, each.scores[:, None])
        return values["shaft"][-1, 0], values["toe_resistance"][0], values["toe_quake"][0]

    same, more, alike = exchanged([best])
    assert same is best
    last, toe, quake = carried(best)
    for other in (more, alike):
        assert sum(carried(other)[:2]) == pytest.approx(last + toe)
    assert carried(more)[0] > 1.5 * last
    assert carried(alike)[0] == pytest.approx(physical(layout, best.scores[:, None])["shaft"][-2, 0])
    shaft_quake = physical(layout, best.scores[:, None])["shaft_quake"][0]
    assert quake < carried(alike)[2] == pytest.approx(shaft_quake * np.exp(0.5 * 3.0 * 0.4))


def test_a_blow_is_not_moved_by_the_drift_of_another(blow):
    problem = make_problem((blow, blow, blow))
    names = [problem.layout.names[row] for row in moving(problem, 1)]
    assert "drift_2" in names
    assert {"drift", "drift_3"}.isdisjoint(names)


@pytest.mark.parametrize("law", [SOIL_LAWS[0], SOIL_LAWS[3]], ids=["elastic-plastic", "hyperbolic"])
def test_no_descent_leaves_what_has_a_meaning(blow, law):
    """No gap below none and no share above the whole, save that a hyperbola may unload softer than it was loaded."""
    problem = make_problem(blow, law=law, time_step=COARSE * TARGET_STEP)
    for score in (-4.0, 4.0):
        scores = Descent(problem, np.full(problem.layout.count, score)).scores
        values = {name: value[..., 0] for name, value in physical(problem.layout, scores[:, None]).items()}
        assert scores[problem.layout.row("toe_gap")] == max(score, 0.0)
        assert values["toe_gap"] == (0.0 if score < 0.0 else pytest.approx(4.0 * TOE_GAP))
        assert values["upward_share"] <= 1.0 + 1e-12
        assert (values["unloading_share"] > 1.0 + 1e-9) == (score > 0.0 and problem.hyperbolic)


def test_a_slope_is_taken_on_the_side_that_counts(blow):
    """Where a share is whole, a step up would show nothing; a move over the bound is left out of the next step."""
    problem = make_problem(blow, law=SOIL_LAWS[0], time_step=COARSE * TARGET_STEP)
    descent = Descent(problem, np.full(problem.layout.count, 4.0))
    whole = problem.layout.row("unloading_share")
    assert descent.sides()[whole] == -1.0
    assert descent.sides()[problem.layout.row("toe_damping")] == -1.0  # at its greatest score too
    descent.scores[whole] -= 0.1
    assert descent.sides()[whole] == 1.0
    run_search(evaluate([descent]))
    run_search(take_slopes([descent]))
    descent.scores[whole] = descent.high[whole]
    outward, inward = np.zeros(problem.layout.count), np.zeros(problem.layout.count)
    outward[whole], inward[whole] = -1.0, 1.0  # the cost falls against its gradient
    assert whole not in descent.free(outward)
    assert whole in descent.free(inward)


def test_going_down_never_goes_up(blow):
    problem = make_problem(blow)
    descents = [Descent(problem, np.full(problem.layout.count, at)) for at in (0.0, 0.5)]
    run_search(evaluate(descents))
    before = [each.cost for each in descents]
    run_search(descend(descents, 4))
    assert all(each.cost < cost for each, cost in zip(descents, before, strict=True))


def test_weights_add_up_and_the_law_of_the_soil_has_the_most(matched):
    fits = matched[1].fits
    assert sum(fit.weight for fit in fits) == pytest.approx(1.0)
    assert fits[0].weight == max(fit.weight for fit in fits)
    assert all(fit.criterion >= fits[0].criterion for fit in fits)


def test_a_choice_of_static_law_leaves_the_forms_of_damping():
    assert {law.backbone for law in laws_of("hyperbolic")} == {"hyperbolic"}
    assert len(laws_of("best")) == len(SOIL_LAWS)
