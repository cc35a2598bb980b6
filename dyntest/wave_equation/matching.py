"""How sure: the profile of the misfit over a resistance.

A resistance is held at a value away from the best one and everything else is fitted again. While the cost stays within
a margin of its least, the record does not speak against that value. Bounds of the range lie where the margin is
reached:
the profile likelihood of Venzon and Moolgavkar (1988), Applied Statistics 37(1), and Raue et al. (2009), Bioinformatics
25(15) (both from memory), with the misfit that was left as the noise.

Signal matching of one blow: the soil that turns the measured downward wave into the measured upward one.

`dyntest.wave_equation.fitting` finds the best model under each soil law; here the law is taken and the range of
resistances that explain the record about as well is put around it.
"""

from dataclasses import dataclass, replace

import numpy as np

from dyntest.wave_equation.comparison import residuals_and_resistance
from dyntest.wave_equation.fitting import (
    BEST,
    LAWS,
    MISFIT_BOUNDS,
    STEP,
    LawFit,
    fit,
    fit_laws,
    fit_starts,
    measured,
    refit,
)
from dyntest.wave_equation.problem import BOUND, LOGARITHMS_OF_SCALE, Blow, Problem, Reduction, make_problem, physical

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

    Units: returns [N].
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

    Units: returns [N].
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


WARM_ITERATIONS = 12
"""Most iterations from a neighbour's soil [1]."""
STRANGE = 1.5
"""Misfit over a neighbour's from which on a blow is fitted afresh [1]: its soil, or the fit, is another."""
POOR_MISFIT = 0.03
"""Misfit above which a blow counts as not fitted [1]; common practice, no source."""
MODEL_SHARE = 0.03
"""Uncertainty of every range that no record can take away, as a share of the total [1]: no soil follows a simple law
better than this. Common practice, no source."""
CALIBRATION_SHARE = 0.02
"""The same for the calibration of the strain gauges and the modulus, which scale every force alike [1]; common
practice, no source."""
PART_SHARE = 0.06
"""The same for shaft and toe each, instead of `MODEL_SHARE` [1]: a law that is a little wrong moves resistance from one
to the other more easily than it changes their sum. Common practice, no source."""
SUPPORTED = 10.0
"""Points within which another law stays in the range [1]: beyond ten a model has essentially no support (Burnham and
Anderson 2002, Model Selection and Multimodel Inference, §2.6, from memory)."""
WHOLE = 0.95
"""Share of the impedance from which on a fitted section counts as whole [1]: calibration and drawings are no better."""
SEPARABLE_SHARE = 0.35
"""Width of the shaft's range, as a share of the total, above which shaft and toe count as not separated [1]."""
MOBILISED_SHARE = {"elastic-plastic": 0.95, "hyperbolic": 0.75}
"""Share of the limit that must be reached for a resistance to count as fully mobilised [1]; a hyperbola is at 0.75
after three times its quake."""


@dataclass(frozen=True)
class Match:
    """The soil that explains one blow, and how sure that is.

    Parameters
    ----------
    problem : Problem
        The blow and how it was compared.
    scores : numpy.ndarray
        Scores of the best model, shape (n_parameters,) [1].
    law : str
        ``"elastic-plastic"`` or ``"hyperbolic"``.
    misfit : float
        Weighted root mean square difference of the upward waves over the greatest downward wave [1].
    matched_resistance, shaft_resistance, toe_resistance : float
        Static resistance that the blow mobilised [N].
    matched_resistance_range, shaft_resistance_range, toe_resistance_range : tuple of float
        Least and greatest values that explain the record about as well [N].
    limit : float
        What the model would mobilise with any movement [N].
    fitted : bool
        Whether the misfit is small enough for the numbers to mean anything.
    separable : bool
        Whether the record tells shaft from toe.
    fully_mobilised : bool
        Whether the blow reached the limit; if not, the resistance is a lower bound.
    misfit_other_law : float
        Least misfit under a law or form of damping that was not taken [1]; not a number where none was tried.
    misfit_uniform : float
        Misfit without the reduced section [1]; not a number where none was fitted.
    """

    problem: Problem
    scores: np.ndarray
    law: str
    misfit: float
    matched_resistance: float
    shaft_resistance: float
    toe_resistance: float
    matched_resistance_range: tuple[float, float]
    shaft_resistance_range: tuple[float, float]
    toe_resistance_range: tuple[float, float]
    limit: float
    fitted: bool
    separable: bool
    fully_mobilised: bool
    misfit_other_law: float = float("nan")
    misfit_uniform: float = float("nan")

    @property
    def damping_form(self) -> str:
        """``"Smith"`` or ``"viscous"``."""
        return "Smith" if self.problem.smith else "viscous"

    @property
    def parameters(self) -> dict[str, np.ndarray | float]:
        """Values of the best model by name, as `dyntest.wave_equation.problem.physical` gives them [SI units]."""
        values = physical(self.problem.layout, self.scores[:, None])
        return {name: value[:, 0] if value.ndim == 2 else float(value[0]) for name, value in values.items()}

    @property
    def section(self) -> Reduction | None:
        """The reduced section that was fitted, or None."""
        values = self.parameters
        if "section_left" not in values:
            return None
        return Reduction(values["section_depth"], values["section_left"], values["section_length"])


def match_blow(blow: Blow, *, law: str = BEST, reduction: Reduction | None = None) -> Match:
    """Match one blow from several starts, with ranges.

    Parameters
    ----------
    blow : Blow
        The record.
    law : str
        One of `dyntest.wave_equation.fitting.LAWS`.
    reduction : Reduction or None
        Where a reduced section is suspected; it is fitted beside the soil, and kept only if the misfit falls enough.

    Returns
    -------
    Match
        The best model and its ranges.

    Raises
    ------
    ValueError
        If the law is not known or the record ends before the toe's return.

    Notes
    -----
    The measured downward wave is imposed and the soil found whose upward wave is nearest the measured one, by
    damped least squares. The range holds every resistance at which the cost stays within a margin of its least: the
    profile likelihood of Venzon and Moolgavkar (1988), Applied Statistics 37(1) (from memory). One soil explains a
    blow; others may too.
    """
    if law not in LAWS:
        raise ValueError(f"the soil law {law!r} is not known; write one of {', '.join(LAWS)}")
    found = fit_laws(blow, law)
    uniform = float("nan")
    if reduction is not None:
        uniform = found[0].misfit
        if uniform > MISFIT_BOUNDS[0]:  # else the pile explains the record without a reduction, as well as can be told
            found = _hurt(fit_laws(blow, law, reduction), found)
    best, *others = found
    values, ranges = profile(best.problem, best.scores)
    ranges = _widened(best, others, values, ranges)
    other = min((other.misfit for other in others), default=float("nan"))
    return _match(best, values, ranges, misfit_other_law=other, misfit_uniform=uniform)


def match_from(blow: Blow, neighbour: Match) -> Match:
    """Match one blow starting from its neighbour's soil and from the expected one, with ranges of a linear model."""
    kept = neighbour.problem
    problem = make_problem(blow, hyperbolic=kept.hyperbolic, smith=kept.smith, reduction=neighbour.section)
    carried = carry_over(neighbour, problem)
    starts = np.stack([carried, np.zeros(len(carried))], axis=1)  # also from what is expected: soil can change at once
    ends = refit(replace(problem, misfit=kept.misfit), starts, WARM_ITERATIONS)
    best = LawFit(*measured(problem, ends.scores[:, ends.cost.argmin()]))
    if best.misfit > STRANGE * max(neighbour.misfit, MISFIT_BOUNDS[0]):
        best = min(best, fit_starts(problem), key=lambda found: found.misfit)
    values, ranges = linear_range(best.problem, best.scores)
    return _match(best, values, _widened(best, [], values, ranges))


def carry_over(neighbour: Match, problem: Problem) -> np.ndarray:
    """Give the scores that stand for a neighbour's soil in another blow's problem."""
    here, there = problem.layout, neighbour.problem.layout
    values = neighbour.parameters
    scores = np.zeros(here.count)
    for row, name in enumerate(here.names):
        if row < here.n_shaft:
            at = (row + 0.5) / here.n_shaft * there.n_shaft - 0.5
            value = np.interp(at, np.arange(there.n_shaft), np.log(values["shaft"]))
            value += np.log(there.n_shaft / here.n_shaft)
        else:
            value = np.log(values[name]) if name in LOGARITHMS_OF_SCALE else values[name]
        scores[row] = (value - here.expected[row]) / here.spread[row]
    return np.clip(scores, -0.95 * BOUND, 0.95 * BOUND)


def _hurt(hurt: list[LawFit], uniform: list[LawFit]) -> list[LawFit]:
    """Fits with the reduced section where it explains enough more and is more than a blemish, else those without."""
    layout = hurt[0].problem.layout
    left = float(physical(layout, hurt[0].scores[:, None])["section_left"][0])
    return hurt if hurt[0].points < uniform[0].points and left <= WHOLE else uniform


def _widened(best: LawFit, others: list[LawFit], values: np.ndarray, ranges: np.ndarray) -> np.ndarray:
    """Ranges with what other laws say that explain the record about as well, and with what no record can tell."""
    ways = [ranges]
    for other in others:
        # noise grows with the square root of the time over which errors hang together, and points count such times
        apart = (best.misfit / best.problem.misfit) ** 2 * (other.points - best.points)
        if apart <= SUPPORTED:
            ways.append(linear_range(other.problem, other.scores)[1])
    least, greatest = np.min(ways, axis=0)[:, 0], np.max(ways, axis=0)[:, 1]
    share = np.hypot((MODEL_SHARE, PART_SHARE, PART_SHARE), CALIBRATION_SHARE) * values[0]
    least = values - np.hypot(values - np.minimum(least, values), share)
    greatest = values + np.hypot(np.maximum(greatest, values) - values, share)
    return np.stack([np.maximum(least, 0.0), greatest], axis=1)


def _match(best: LawFit, values: np.ndarray, ranges: np.ndarray, **more) -> Match:
    problem, total = best.problem, values[0]
    limits = physical(problem.layout, best.scores[:, None])
    limit = float(limits["shaft"].sum() + limits["toe_resistance"][0])
    bounds = [(float(low), float(high)) for low, high in ranges]
    if problem.hyperbolic:  # what a longer movement would have mobilised cannot be ruled out
        bounds[0] = bounds[0][0], max(bounds[0][1], limit)
    return Match(
        problem,
        best.scores,
        best.law,
        best.misfit,
        *(float(value) for value in values),
        *bounds,
        limit=limit,
        fitted=best.misfit <= POOR_MISFIT,
        separable=bool(bounds[1][1] - bounds[1][0] <= SEPARABLE_SHARE * total),
        fully_mobilised=bool(total >= MOBILISED_SHARE[best.law] * limit),
        **more,
    )
