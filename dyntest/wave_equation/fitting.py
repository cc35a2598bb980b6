"""Damped least squares for many starts at once, every Jacobian from one batched run.

One blow fitted under each soil law, and the law that the record speaks for.

The way: several starts under the elastic–plastic law with viscous damping, the best fitted again with the misfit it
left as the noise; the same under the hyperbolic law, from there; and where neither explains the record, the better of
the two with Smith's damping, and the other too where that helped. The law is chosen by misfit.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from dyntest.wave_equation.comparison import CORRELATION_TIME, noise_left, residuals, run, wave_misfit
from dyntest.wave_equation.problem import BOUND, FIRST_MISFIT, Blow, Problem, Reduction, make_problem

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

    Levenberg's and Marquardt's method: ``(JᵀJ + λ diag JᵀJ) Δ = −Jᵀr``; see Nocedal and Wright (2006), Numerical
    Optimization, 2nd ed., §10.3 (from memory).

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


ELASTIC_PLASTIC, HYPERBOLIC, BEST = "elastic-plastic", "hyperbolic", "best"
LAWS = (ELASTIC_PLASTIC, HYPERBOLIC, BEST)

STARTS = ((0.0, 0.0), (0.4, -0.6), (-0.6, 0.4), (-1.4, 0.4))
"""Scores of shaft and toe resistance at which the fit starts."""
FIRST_ITERATIONS, MORE_ITERATIONS, NEARBY_ITERATIONS = 8, 25, 10
"""Most iterations of all starts, of the promising ones, and from another law's best model [1]."""
PROMISING = 1.3
"""A start goes on while its cost is at most this many times the best one's [1]."""
SAME_NOISE = 1.3
"""Factor within which the noise that was left counts as the noise that was taken [1]."""
MOST_ROUNDS = 3
"""Most fits with a noise taken from the one before [1]."""
MISFIT_BOUNDS = (0.002, 0.05)
"""Least and greatest misfit that counts as noise [1]: gauges are never better, and worse is no fit."""
EXPLAINED = 0.004
"""Misfit at which a record counts as explained and no other form of damping is tried [1]: twice what gauges leave."""
PENALTY = 4.0
"""Points by which the hyperbolic law must be better to be taken, and a reduced section for each parameter it adds [1];
a point is one unit of ``2 n ln(misfit)`` with n independent samples, the criterion of Akaike (1974) (from memory)."""


@dataclass(frozen=True)
class LawFit:
    """The best model under one soil law.

    Parameters
    ----------
    problem : Problem
        The blow under that law; its misfit is the noise that the fit left.
    scores : numpy.ndarray
        Scores of the best model, shape (n_parameters,) [1].
    misfit : float
        Weighted root mean square difference of the upward waves over the greatest downward wave [1].
    """

    problem: Problem
    scores: np.ndarray
    misfit: float

    @property
    def points(self) -> float:
        """What the fit is judged by, less is better: ``2 n ln(misfit)`` and the penalties [1]."""
        independent = self.problem.n_steps * min(1.0, self.problem.mesh.time_step / CORRELATION_TIME)
        added = 3 if "section_left" in self.problem.layout.names else 0
        penalty = PENALTY * (added + self.problem.hyperbolic)
        return 2.0 * independent * np.log(max(self.misfit, MISFIT_BOUNDS[0])) + penalty

    @property
    def law(self) -> str:
        """The static law, one of `LAWS`."""
        return HYPERBOLIC if self.problem.hyperbolic else ELASTIC_PLASTIC


def fit_laws(blow: Blow, law: str, reduction: Reduction | None = None) -> list[LawFit]:
    """Fit the laws that are asked for."""
    problem = make_problem(blow, hyperbolic=law == HYPERBOLIC, reduction=reduction)
    found = [fit_starts(problem)]
    if law == BEST:
        curved = make_problem(blow, hyperbolic=True, reduction=reduction)
        found.append(_fit_on(curved, found[0]))
    found.sort(key=_points)
    if found[0].misfit > EXPLAINED:
        following = [_fit_on(replace(found[0].problem, smith=True), found[0])]
        if law == BEST and following[0].points < found[0].points:
            following.append(_fit_on(replace(found[1].problem, smith=True), following[0]))
        found += following
    return sorted(found, key=_points)


def fit_starts(problem: Problem, starts: np.ndarray | None = None) -> LawFit:
    """Fit one law from several starts."""
    starts = _starts(problem) if starts is None else starts
    ends = refit(problem, starts, FIRST_ITERATIONS)
    going = np.argsort(ends.cost)[:2]
    going = going[ends.cost[going] <= PROMISING * ends.cost.min()]
    ends = refit(problem, ends.scores[:, going], MORE_ITERATIONS)
    return _settle(problem, ends.scores[:, ends.cost.argmin()])


def _fit_on(problem: Problem, nearby: LawFit) -> LawFit:
    """Fit one law from the best model of another."""
    problem = replace(problem, misfit=max(nearby.problem.misfit, FIRST_MISFIT))
    return _settle(problem, refit(problem, nearby.scores[:, None], NEARBY_ITERATIONS).scores[:, 0])


def _settle(problem: Problem, scores: np.ndarray) -> LawFit:
    """Fit again with the misfit that is left as the noise while it falls; at last with errors that hang together."""
    found = LawFit(*measured(problem, scores))
    taken = problem.misfit
    for _ in range(MOST_ROUNDS):
        left = float(np.clip(found.misfit, *MISFIT_BOUNDS))
        if left > taken / SAME_NOISE:
            break
        taken = left
        scores = refit(replace(problem, misfit=taken), found.scores[:, None], FIRST_ITERATIONS).scores[:, 0]
        found = LawFit(*measured(problem, scores))
    if found.problem.misfit > SAME_NOISE * taken:
        scores = refit(found.problem, found.scores[:, None], FIRST_ITERATIONS).scores[:, 0]
        found = LawFit(*measured(problem, scores))
    return found


def refit(problem: Problem, starts: np.ndarray, iterations: int) -> Fit:
    """Fit from given starts."""
    return fit(lambda scores: residuals(problem, scores), starts, bound=BOUND, most_iterations=iterations)


def measured(problem: Problem, scores: np.ndarray) -> tuple[Problem, np.ndarray, float]:
    """Give a problem the noise that a model leaves."""
    motion, up, _ = run(problem, scores[:, None])
    difference = motion.up - up
    noise = float(np.clip(noise_left(problem, difference[:, 0]), *MISFIT_BOUNDS))
    return replace(problem, misfit=noise), scores, float(wave_misfit(problem, difference)[0])


def _points(found: LawFit) -> float:
    return found.points


def _starts(problem: Problem) -> np.ndarray:
    layout = problem.layout
    starts = np.zeros((layout.count, len(STARTS)))
    for column, (shaft, toe) in enumerate(STARTS):
        starts[: layout.n_shaft, column] = shaft
        starts[layout.row("toe_resistance"), column] = toe
    if "section_depth" in layout.names:  # where along the pile the section is reduced is what a fit finds hardest
        aside = np.zeros((layout.count, 2))
        aside[layout.row("section_depth")] = -0.7, 0.7
        starts = np.concatenate([starts, aside], axis=1)
    return starts
