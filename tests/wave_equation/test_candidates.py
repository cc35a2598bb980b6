"""What candidates begin from where stress is locked into the pile."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.wave_equation.candidates import begin, candidate_mesh, candidate_soil, locked_in
from dyntest.wave_equation.comparison import Task, run_tasks
from dyntest.wave_equation.problem import make_problem, physical


@pytest.fixture
def problem(invented_blow):
    """Give a blow whose expected model has locked its stress in, on a coarse mesh."""
    plain = make_problem(invented_blow().blow, time_step=160e-6)
    return replace(plain, locked=locked_in([(plain, np.zeros((plain.layout.count, 1)))], 3)[0])


def moved(problem, *, toe=(), drift=()):
    scores = np.zeros((problem.layout.count, max(len(toe), len(drift))))
    scores[problem.layout.row("toe_resistance"), : len(toe)] = toe
    scores[problem.layout.row("drift"), : len(drift)] = drift
    return scores


def start_of(problem, scores):
    values = physical(problem.layout, scores)
    return begin([(problem, scores)], [candidate_mesh(problem, values)], [candidate_soil(problem, values)])


def test_each_candidate_begins_from_the_stress_that_its_own_soil_leaves(problem):
    start = start_of(problem, moved(problem, toe=(-0.5, 0.0, 0.5)))
    weak, usual, strong = start.spring[-1]
    assert weak < usual < strong
    alone = locked_in([(problem, moved(problem, toe=(0.5,)))])[0]
    np.testing.assert_allclose(start.spring[:, 2], alone.spring[:, 0], rtol=1e-6)


def test_candidates_that_differ_by_a_drift_alone_share_their_stress(problem):
    start = start_of(problem, moved(problem, drift=(0.0, 0.3)))
    np.testing.assert_array_equal(start.spring[:, 0], start.spring[:, 1])


def test_blows_of_one_run_begin_with_and_without_stress(problem):
    """A run of both gives what runs of each alone give."""
    plain, scores = replace(problem, locked=None), moved(problem, toe=(0.0, 0.2))
    tasks = [Task(plain, 0, scores), Task(problem, 0, scores)]
    for task, together in zip(tasks, run_tasks(tasks), strict=True):
        np.testing.assert_allclose(run_tasks([task])[0].difference, together.difference, atol=1e-5 * problem.scale[0])


def test_no_pile_has_residual_stress_where_none_is_locked_in(problem):
    assert start_of(replace(problem, locked=None), moved(problem, toe=(0.0,))) is None
    assert float(problem.locked.spring[-1, 0]) > 0.0  # while blows do leave some
