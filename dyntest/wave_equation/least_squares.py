"""Damped least squares for many starts at once, every Jacobian from one batched run."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

STEP = 0.03
"""Step of the difference quotients [scores]: far above the rounding of a run, far below a spread."""
LONGEST_MOVE = 1.5
"""Greatest change of one parameter in one iteration [scores]."""
TRIALS = (0.3, 3.0)
"""Factors on the damping that are tried side by side."""


@dataclass(frozen=True)
class Fit:
    """Where the starts ended.

    Parameters
    ----------
    scores : numpy.ndarray
        Parameters, shape (n_parameters, n_starts) [1].
    cost : numpy.ndarray
        Sum of squares, shape (n_starts,) [1].
    iterations : int
        Number of iterations [1].
    """

    scores: np.ndarray
    cost: np.ndarray
    iterations: int


def fit(
    residuals: Callable[[np.ndarray], np.ndarray],
    starts: np.ndarray,
    *,
    bound: float,
    most_iterations: int = 25,
    tolerance: float = 2e-3,
) -> Fit:
    """Minimise sums of squares from several starts, all marching together.

    Parameters
    ----------
    residuals : callable
        From parameters, shape (n_parameters, n_candidates), to residuals, shape (n_residuals, n_candidates).
    starts : numpy.ndarray
        First parameters, shape (n_parameters, n_starts) [1].
    bound : float
        Greatest absolute value of a parameter [1].
    most_iterations : int
        Number of iterations after which it ends anyhow [1].
    tolerance : float
        Share of the cost by which every start must still fall for another iteration [1].

    Returns
    -------
    Fit
        Parameters and cost of every start; no start ever ends above the cost it began with.

    Notes
    -----
    Levenberg's and Marquardt's method: ``(JᵀJ + λ diag JᵀJ) Δ = −Jᵀr``; see Nocedal and Wright (2006), Numerical
    Optimization,
    2nd ed., §10.3 (from memory).

    Examples
    --------
    >>> line = lambda p: np.array([p[0] - 1.0, 3.0 * (p[1] + 2.0)])
    >>> fit(line, np.zeros((2, 1)), bound=5.0).scores.round(3).ravel().tolist()
    [1.0, -2.0]
    """
    scores = np.clip(np.array(starts, dtype=float), -bound, bound)
    n, n_starts = scores.shape
    damping = np.full(n_starts, 0.1)
    current = residuals(scores)
    cost = (current**2).sum(axis=0)
    iterations = 0
    while iterations < most_iterations:
        iterations += 1
        jacobian = _jacobian(residuals, scores, current)
        normal = np.matmul(jacobian.transpose(0, 2, 1), jacobian)
        slope = np.matmul(jacobian.transpose(0, 2, 1), current.T[:, :, None])[:, :, 0]
        candidates = np.empty((n, n_starts, len(TRIALS)))
        for trial, factor in enumerate(TRIALS):
            damped = normal + np.einsum("s,sij,ij->sij", damping * factor, normal, np.eye(n)) + 1e-9 * np.eye(n)
            move = np.linalg.solve(damped, -slope[:, :, None])[:, :, 0]
            candidates[:, :, trial] = np.clip(scores + np.clip(move, -LONGEST_MOVE, LONGEST_MOVE).T, -bound, bound)
        tried = residuals(candidates.reshape(n, -1)).reshape(len(current), n_starts, len(TRIALS))
        costs = (tried**2).sum(axis=0)
        best = costs.argmin(axis=1)
        each = np.arange(n_starts)
        better = costs[each, best] < cost
        gain = np.where(better, cost - costs[each, best], 0.0)
        stuck = ~better & (damping > 1e2)
        moved = each[better]
        scores[:, moved] = candidates[:, moved, best[moved]]
        current[:, moved] = tried[:, moved, best[moved]]
        damping = np.where(better, np.maximum(damping * np.array(TRIALS)[best], 1e-5), damping * 6.0)
        settled = better & (gain <= tolerance * cost)
        cost = np.where(better, costs[each, best], cost)
        if (settled | stuck).all():
            break
    return Fit(scores, cost, iterations)


def _jacobian(residuals, scores: np.ndarray, current: np.ndarray) -> np.ndarray:
    """Give the derivatives at every start from one run over all of them, each parameter moved in turn."""
    n, n_starts = scores.shape
    moved = np.repeat(scores[:, :, None], n, axis=2)
    moved[np.arange(n), :, np.arange(n)] += STEP
    there = residuals(moved.reshape(n, -1)).reshape(len(current), n_starts, n)
    return np.moveaxis(there - current[:, :, None], 1, 0) / STEP
