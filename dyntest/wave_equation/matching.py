"""Signal matching of one blow: the soil that turns the measured downward wave into the measured upward one.

The way: several starts under the elastic–plastic law, the best fitted again with the misfit it left as the noise; the
same under the
hyperbolic law, from there; the law chosen by misfit; then the range of resistances that explain the record about as
well.
"""

from dataclasses import dataclass, replace

import numpy as np

from dyntest.wave_equation.least_squares import fit
from dyntest.wave_equation.matching_problem import (
    CORRELATION_TIME,
    Blow,
    Problem,
    make_problem,
    residuals,
    run,
    wave_misfit,
)
from dyntest.wave_equation.parameters import BOUND, LOGARITHMS_OF_SCALE, Reduction, physical
from dyntest.wave_equation.profile import linear_range, profile

ELASTIC_PLASTIC, HYPERBOLIC, BEST = "elastic-plastic", "hyperbolic", "best"
LAWS = (ELASTIC_PLASTIC, HYPERBOLIC, BEST)

STARTS = ((0.0, 0.0), (0.4, -0.6), (-0.6, 0.4))
"""Scores of shaft and toe resistance at which the fit starts."""
FIRST_ITERATIONS, MORE_ITERATIONS = 8, 25
PROMISING = 1.3
"""A start goes on while its cost is at most this many times the best one's [1]."""
MISFIT_BOUNDS = (0.002, 0.05)
"""Least and greatest misfit that counts as noise [1]: gauges are never better, and worse is no fit."""
HYPERBOLIC_PENALTY = 4.0
"""Points by which the hyperbolic law must be better to be taken, and a reduced section for each parameter it adds [1];
a point
is one unit of ``2 n ln(misfit)`` with n independent samples, the criterion of Akaike (1974) (from memory)."""
POOR_MISFIT = 0.03
"""Misfit above which a blow counts as not fitted [1]; common practice, no source."""
MODEL_SHARE = 0.03
"""Half width that every range has at least, as a share of the total [1]: no soil follows a simple law better than
this."""
SEPARABLE_SHARE = 0.35
"""Width of the shaft's range, as a share of the total, above which shaft and toe count as not separated [1]."""
MOBILISED_SHARE = {"elastic-plastic": 0.95, "hyperbolic": 0.75}
"""Share of the limit that must be reached for a resistance to count as fully mobilised [1]; a hyperbola is at 0.75
after three
times its quake."""


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
        Misfit under the law that was not taken [1]; not a number where it was not tried.
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
    def parameters(self) -> dict[str, np.ndarray | float]:
        """Values of the best model by name, in SI units as in `dyntest.wave_equation.parameters.physical`."""
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
        One of `LAWS`.
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
    """
    if law not in LAWS:
        raise ValueError(f"the soil law {law!r} is not known; write one of {', '.join(LAWS)}")
    blow_end = blow.time[blow.first_peak] + blow.pile.return_time
    if blow_end >= blow.time[-1]:
        raise ValueError("the record ends before the toe's return; record for longer, or match another blow")
    chosen = _fit_laws(blow, law, None)
    uniform = float("nan")
    if reduction is not None:
        hurt = _fit_laws(blow, law, reduction)
        uniform = chosen[0][1]
        if _points(*hurt[0]) + 3 * HYPERBOLIC_PENALTY < _points(*chosen[0]):
            chosen = hurt
    (problem, misfit, scores), *others = sorted(chosen, key=_rank)
    other = others[0][1] if others else float("nan")
    values, ranges = profile(problem, scores)
    return _match(problem, scores, misfit, values, ranges, misfit_other_law=other, misfit_uniform=uniform)


def match_from(blow: Blow, neighbour: Match) -> Match:
    """Match one blow starting from its neighbour's soil; its ranges are those of a linear model.

    Parameters
    ----------
    blow : Blow
        The record.
    neighbour : Match
        A match of a blow close by; its law and its reduced section are kept.

    Returns
    -------
    Match
        The best model from there.

    Raises
    ------
    ValueError
        If the record ends before the toe's return.
    """
    if blow.time[blow.first_peak] + blow.pile.return_time >= blow.time[-1]:
        raise ValueError("the record ends before the toe's return; record for longer, or match another blow")
    problem = make_problem(blow, hyperbolic=neighbour.law == HYPERBOLIC, reduction=neighbour.section)
    noise = float(np.clip(neighbour.misfit, *MISFIT_BOUNDS))
    ends = _refit(replace(problem, misfit=noise), carry_over(neighbour, problem)[:, None], 12)
    scores = ends.scores[:, ends.cost.argmin()]
    misfit = _misfit(problem, scores)
    problem = replace(problem, misfit=float(np.clip(misfit, *MISFIT_BOUNDS)))
    values, ranges = linear_range(problem, scores)
    return _match(problem, scores, misfit, values, ranges)


def carry_over(neighbour: Match, problem: Problem) -> np.ndarray:
    """Give the scores that stand for a neighbour's soil in another blow's problem.

    Parameters
    ----------
    neighbour : Match
        A match of a blow close by.
    problem : Problem
        The problem of this blow; its lengths of shaft may be more or fewer.

    Returns
    -------
    numpy.ndarray
        Scores, shape (n_parameters,) [1].
    """
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


def _fit_laws(blow: Blow, law: str, reduction: Reduction | None) -> list[tuple[Problem, float, np.ndarray]]:
    """Fit the laws that are asked for, the best first: problem, misfit and scores of each."""
    first_hyperbolic = law == HYPERBOLIC
    problem = make_problem(blow, hyperbolic=first_hyperbolic, reduction=reduction)
    found = [_fit_starts(problem, _starts(problem))]
    if law == BEST:
        curved = make_problem(blow, hyperbolic=True, reduction=reduction)
        found.append(_fit_starts(curved, found[0][2][:, None]))
    return sorted(found, key=_rank)


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


def _fit_starts(problem: Problem, starts: np.ndarray) -> tuple[Problem, float, np.ndarray]:
    ends = _refit(problem, starts, FIRST_ITERATIONS)
    going = np.argsort(ends.cost)[:2]
    going = going[ends.cost[going] <= PROMISING * ends.cost.min()]
    ends = _refit(problem, ends.scores[:, going], MORE_ITERATIONS)
    scores = ends.scores[:, ends.cost.argmin()]
    noise = float(np.clip(_misfit(problem, scores), *MISFIT_BOUNDS))
    ends = _refit(replace(problem, misfit=noise), scores[:, None], FIRST_ITERATIONS)
    scores = ends.scores[:, 0]
    misfit = _misfit(problem, scores)
    return replace(problem, misfit=float(np.clip(misfit, *MISFIT_BOUNDS))), misfit, scores


def _refit(problem: Problem, starts: np.ndarray, iterations: int):
    return fit(lambda scores: residuals(problem, scores), starts, bound=BOUND, most_iterations=iterations)


def _misfit(problem: Problem, scores: np.ndarray) -> float:
    motion, up, _ = run(problem, scores[:, None])
    return float(wave_misfit(problem, motion.up - up)[0])


def _points(problem: Problem, misfit: float, scores: np.ndarray) -> float:
    independent = problem.n_steps * min(1.0, problem.mesh.time_step / CORRELATION_TIME)
    return 2.0 * independent * np.log(max(misfit, MISFIT_BOUNDS[0]))


def _rank(found: tuple[Problem, float, np.ndarray]) -> float:
    return _points(*found) + (HYPERBOLIC_PENALTY if found[0].hyperbolic else 0.0)


def _match(problem, scores, misfit, values, ranges, **more) -> Match:
    limits = physical(problem.layout, scores[:, None])
    limit = float(limits["shaft"].sum() + limits["toe_resistance"][0])
    total = values[0]
    floor = MODEL_SHARE * total
    least = np.maximum(np.minimum(ranges[:, 0], values - floor), 0.0)
    greatest = np.maximum(ranges[:, 1], values + floor)
    if problem.hyperbolic:  # what a longer movement would have mobilised cannot be ruled out
        greatest[0] = max(greatest[0], limit)
    bounds = [(float(low), float(high)) for low, high in zip(least, greatest, strict=True)]
    law = HYPERBOLIC if problem.hyperbolic else ELASTIC_PLASTIC
    return Match(
        problem,
        scores,
        law,
        misfit,
        *(float(value) for value in values),
        *bounds,
        limit=limit,
        fitted=misfit <= POOR_MISFIT,
        separable=bool(bounds[1][1] - bounds[1][0] <= SEPARABLE_SHARE * total),
        fully_mobilised=bool(total >= MOBILISED_SHARE[law] * limit),
        **more,
    )
