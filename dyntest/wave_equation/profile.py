"""How sure: the profile of the misfit over a resistance.

A resistance is held at a value away from the best one and everything else is fitted again. While the cost stays within
a margin of its least, the record does not speak against that value. Bounds of the range lie where the margin is
reached:
the profile likelihood of Venzon and Moolgavkar (1988), Applied Statistics 37(1), and Raue et al. (2009), Bioinformatics
25(15) (both from memory), with the misfit that was left as the noise.
"""

import numpy as np

from dyntest.wave_equation.comparison import residuals_and_resistance
from dyntest.wave_equation.least_squares import STEP, fit
from dyntest.wave_equation.matching_problem import Problem
from dyntest.wave_equation.parameters import BOUND

MARGIN = 3.84
"""How far the cost may rise [1]: the 95 % quantile of chi-square with one degree of freedom."""
HOLD = 0.002
"""Spread with which a resistance is held at its value, in its logarithm [1]."""
REACH = (0.6, 1.2, 2.2)
"""Distances that are tried, in half widths that a linear model predicts [1]."""
FARTHEST = 1.2
"""Greatest distance tried, in the logarithm of the resistance [1]."""
ITERATIONS = 4


def profile(problem: Problem, best: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the ranges of total, shaft and toe resistance that explain the record about as well as the best model.

    Parameters
    ----------
    problem : Problem
        The blow, with the misfit that was left.
    best : numpy.ndarray
        Scores of the best model, shape (n_parameters,) [1].

    Returns
    -------
    tuple of numpy.ndarray
        Best values of total, shaft and toe, shape (3,) [N], and their ranges, shape (3, 2) [N].
    """
    least, resistance, log, toward, spread = _linear(problem, best)
    half = np.minimum(np.sqrt(MARGIN) * spread, FARTHEST / REACH[-1])
    reach = np.concatenate([-np.array(REACH[::-1]), REACH])
    distance = half[:, None] * reach
    starts = best[:, None, None] + toward[:, :, None] * (distance / spread[:, None] ** 2)[None]
    target = (log[:, None] + distance).ravel()
    kind = np.repeat(np.arange(3), len(reach))

    def held(scores: np.ndarray) -> np.ndarray:
        errors, resistance = residuals_and_resistance(problem, scores)
        each = scores.shape[1] // len(target)
        rows = np.repeat(kind, each)
        reached = np.log(np.maximum(resistance[rows, np.arange(len(rows))], 1.0))
        return np.vstack([errors, (reached - np.repeat(target, each)) / HOLD])

    ends = fit(held, starts.reshape(len(best), -1), bound=BOUND, most_iterations=ITERATIONS)
    rise = np.maximum(ends.cost - least, 0.0).reshape(3, -1)
    width = np.array([[_crossing(distance[i, side], rise[i, side]) for side in _SIDES] for i in range(3)])
    return resistance, resistance[:, None] * np.exp(width)


def linear_range(problem: Problem, best: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the same ranges as `profile` as far as the model is linear, for the price of one run.

    Parameters
    ----------
    problem : Problem
        The blow, with the misfit that was left.
    best : numpy.ndarray
        Scores of the best model, shape (n_parameters,) [1].

    Returns
    -------
    tuple of numpy.ndarray
        Best values of total, shaft and toe, shape (3,) [N], and their ranges, shape (3, 2) [N].
    """
    _, resistance, _, _, spread = _linear(problem, best)
    width = np.minimum(np.sqrt(MARGIN) * spread, FARTHEST)
    return resistance, resistance[:, None] * np.exp(np.stack([-width, width], axis=1))


def _linear(problem: Problem, best: np.ndarray):
    """Least cost, resistances and their logarithms, ways to a greater resistance and spreads of the logarithms."""
    moved = np.concatenate([best[:, None], best[:, None] + STEP * np.eye(len(best))], axis=1)
    errors, resistance = residuals_and_resistance(problem, moved)
    jacobian = (errors[:, 1:] - errors[:, :1]) / STEP
    log = np.log(np.maximum(resistance, 1.0))
    slope = (log[:, 1:] - log[:, :1]) / STEP
    toward = np.linalg.solve(jacobian.T @ jacobian + 1e-6 * np.eye(len(best)), slope.T)
    spread = np.sqrt(np.maximum(np.einsum("ij,ji->i", slope, toward), 1e-12))
    return float((errors[:, 0] ** 2).sum()), resistance[:, 0], log[:, 0], toward, spread


_SIDES = (slice(2, None, -1), slice(3, None))


def _crossing(distance: np.ndarray, rise: np.ndarray) -> float:
    """Distance at which the square root of the rise, nearly a straight line, reaches the margin."""
    root = np.maximum.accumulate(np.sqrt(np.concatenate([[0.0], rise])))
    steps = np.concatenate([[0.0], distance])
    if root[-1] < np.sqrt(MARGIN):
        return float(steps[-1] * min(np.sqrt(MARGIN) / max(root[-1], 1e-9), 1.5))
    return float(np.interp(np.sqrt(MARGIN), root, steps))
