"""Damped least squares for many starts at once, every Jacobian from one batched run.

Every soil law is fitted to one blow, or to several blows of one soil, always: all laws, all blows and all starts run
together in one batch. Several starts go on a coarse mesh; the best of each law goes on, on the mesh that is wanted,
with the misfit that was left as the noise. Laws are then weighed by what they leave unexplained.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from dyntest.wave_equation.comparison import (
    LONGEST_MOVE,
    MISFIT_BOUNDS,
    STEP,
    TOLERANCE,
    LawFit,
    Outcome,
    Task,
    noise_of,
    prior_residuals,
    prior_slope,
    run_tasks,
    score_bounds,
    wave_misfit,
    wave_residuals,
    wave_slopes,
)
from dyntest.wave_equation.problem import (
    BOUND,
    ELASTIC_PLASTIC,
    GAUGE_ERRORS,
    HYPERBOLIC,
    SOIL_LAWS,
    TARGET_STEP,
    Blow,
    Parameters,
    Problem,
    Reduction,
    SoilLaw,
    drift_name,
    make_problem,
    physical,
)

TRIALS = (0.01, 0.1, 1.0, 10.0)
"""Factors on the damping that are tried side by side [1]."""
FIRST_DAMPING, LATER_DAMPING = 0.1, 0.03
"""Damping of the first iteration from an expected model, and from one that was fitted on another mesh [1]."""
SLOPES_SERVE = 3
"""Steps that slopes serve before they are taken anew [1]."""
LAST_TOLERANCE = 2e-4
"""Gain of a step, over the cost, below which a descent on the mesh that is wanted has ended [1]."""


BEST = "best"
LAWS = (ELASTIC_PLASTIC, HYPERBOLIC, BEST)

STARTS = ((0.0, 0.0, 0.0, 0.0), (0.5, -0.7, 1.0, -0.8), (-0.8, 0.4, -0.8, 0.8))
"""Scores of shaft and toe resistance, shaft and toe quake at which the fit starts: a stiff toe under a soft shaft and
a soft toe under a stiff one can explain a record equally well."""
ALIKE, ALIKE_QUAKE = 0.02, 0.1
"""Differences of the shaft's share and of the logarithm of a quake from which on two ends of one law count as
different explanations [1]."""
COARSE = 2.0
"""Time step on which the starts are tried and slopes are taken, over the one that is aimed at [1]."""
FIRST_SPAN = 15e-3
"""Time after the toe's return up to which waves are compared while starts are tried [s]."""
GIVEN_UP = 6.0
"""Cost over the best start's from which on a start is given up [1]."""
STARTS_LEFT = 2
"""Starts of every law that go on after the first iterations [1]."""
PATIENCE = 3
"""Rounds before the best descent of a law may be given up on the first blow [1]: a law that is right may lag behind."""
ENDS = 2
"""Ends of one law that are followed on the mesh that is wanted [1]."""
ROUNDS, ROUND, LAST_ROUND = 5, 2, 3
"""Most rounds on one mesh, and iterations of a round on the first mesh and on the one that is wanted [1]."""
FURTHER_GAIN, LESS_NOISE = 4.0, 0.8
"""Gain that is still expected over the last round's, and fall of the noise after which a settled start goes on [1]."""
SEARCH = 0.5
"""Share of the noise that a search takes for it [1]: a poor fit leaves so much that what is expected would hold it
where it is."""
DOUBTFUL_MISFIT = 0.007
"""Misfit above which a search is made once more with all the noise for noise [1]: gauges and laws seldom leave as much;
our own choice."""
SETTLED, LAST_SETTLED = 0.05, 0.005
"""Gain of a round over the cost below which a descent counts as settled on either mesh [1]."""
EXCHANGE, EXCHANGE_ROUND = 3.0, 3
"""Factor on what the last length of shaft carries over what the toe carries, in a model tried beside the best of every
law, and iterations of a round of those [1]."""
FIRST_LENGTHS = 5
"""Pieces of shaft that move by themselves while starts are tried [1]."""
LATER = ("quake_rise", "toe_gap", "unloading_share", *GAUGE_ERRORS)
"""Parameters that stand still while starts are tried: a wrong start that is free to bend clock and gauges finds a wrong
valley. The share of the limit on the way up is not among them: without it a start stays where the toe is too weak."""
FIRST_ITERATIONS, LAST_ITERATIONS = 4, 4
"""Iterations of all starts, and of the laws that are left once the noise is known [1]."""
SUPPORTED = 10.0
"""Rise of the cost over the best law's within which a law stays in the mixture, and is fitted to the end [1]: beyond
ten a model has essentially no support (Burnham and Anderson 2002, Model Selection and Multimodel Inference, §2.6, from
memory), and the last iterations may still lower a cost."""


@dataclass
class Descent:
    """One start of one law on its way down.

    Slopes are taken on the problem `sloped`, of a coarser mesh where one is given: they decide the way, not the end.
    `directions`, shape (n_parameters, n_moves), says what is moved together; None: every parameter by itself.
    """

    problem: Problem
    scores: np.ndarray
    damping: float = FIRST_DAMPING
    cost: float = np.inf
    rows: tuple[np.ndarray, ...] = ()
    active: bool = True
    sloped: Problem | None = None
    directions: np.ndarray | None = None
    slopes: list[np.ndarray] = field(default_factory=list)
    age: int = 0

    def __post_init__(self) -> None:
        self.low, self.high = score_bounds(self.problem.layout, self.problem.hyperbolic)
        self.scores = np.clip(self.scores, self.low, self.high)

    def tasks(self, candidates: np.ndarray) -> list[Task]:
        """Give the runs of candidates, shape (n_parameters, n_candidates), for every blow."""
        return [Task(self.problem, blow, candidates) for blow in range(len(self.problem.blows))]

    @property
    def basis(self) -> np.ndarray:
        """What is moved together, shape (n_parameters, n_moves) [1]."""
        return np.eye(len(self.scores)) if self.directions is None else self.directions

    def take_noise(self, noise: float) -> None:
        """Put another misfit in the place of the one that counted as one standard deviation [1]."""
        factor, n = self.problem.misfit / noise, self.problem.n_steps
        self.problem = replace(self.problem, misfit=noise)
        for rows in (*self.rows[:-1], *self.slopes):
            rows[:n] *= factor
        self.cost = float(sum(row @ row for row in self.rows))

    def sides(self) -> np.ndarray:
        """Give which way each move is tried, shape (n_moves,) [1]: up, or down where the way up ends."""
        beyond = self.scores[:, None] + STEP * self.basis > self.high[:, None]
        return np.where(np.any(beyond, axis=0), -1.0, 1.0)

    def free(self, gradient: np.ndarray) -> np.ndarray:
        """Give the moves that do not lead over a bound where the descent stands already, shape (n_free,)."""
        over = (self.scores >= self.high - 1e-9)[:, None] & (self.basis * -gradient > 0.0)
        under = (self.scores <= self.low + 1e-9)[:, None] & (self.basis * -gradient < 0.0)
        return np.flatnonzero(~np.any(over | under, axis=0))

    def step_from(self, before: np.ndarray) -> np.ndarray:
        """Give the moves that led here from other scores, shape (n_moves,) [1]."""
        basis = self.basis
        return basis.T @ (self.scores - before) / (basis**2).sum(axis=0)


def evaluate(descents: list[Descent], *, peaks: bool = False) -> list[list[Outcome]]:
    """Put cost and residuals of every descent where it stands now."""
    tasks = [task for each in descents for task in each.tasks(each.scores[:, None])]
    outcomes = iter(run_tasks(tasks, peaks=peaks))
    found = []
    for each in descents:
        own = [next(outcomes) for _ in each.problem.blows]
        found.append(own)
        each.rows, each.cost = _judged(each, each.scores[:, None], own, 0)
    return found


def _judged(descent: Descent, candidates: np.ndarray, outcomes: list[Outcome], column: int):
    rows = [
        wave_residuals(task, outcome, column) for task, outcome in zip(descent.tasks(candidates), outcomes, strict=True)
    ]
    rows.append(prior_residuals(descent.problem, candidates[:, column : column + 1])[:, 0])
    return tuple(rows), float(sum(row @ row for row in rows))


def moving(problem: Problem, blow: int) -> np.ndarray:
    """Give the parameters that move one blow's waves: all but the drifts of the others."""
    others = {drift_name(place) for place in range(len(problem.blows)) if place != blow}
    return np.array([row for row, name in enumerate(problem.layout.names) if name not in others])


def take_slopes(descents: list[Descent], *, peaks: bool = False) -> list[np.ndarray]:
    """Put the derivatives of the waves of every descent from one run.

    Gives the derivatives of the logarithms of the first blow's resistances, where asked for.
    """
    tasks, moves = [], []
    for each in descents:
        problem, basis = each.sloped or each.problem, each.basis
        for blow in range(len(problem.blows)):
            columns = np.flatnonzero(np.any(basis[moving(problem, blow)] != 0.0, axis=0))
            candidates = np.repeat(each.scores[:, None], len(columns) + 1, axis=1)
            sides = each.sides()[columns]
            candidates[:, :-1] += STEP * sides * basis[:, columns]
            tasks.append(Task(problem, blow, candidates))
            moves.append((columns, sides))
    outcomes = iter(run_tasks(tasks, peaks=peaks))
    taken, resistances = iter(zip(tasks, moves, strict=True)), []
    for each in descents:
        each.slopes, each.age = [], 0
        n_moves = each.basis.shape[1]
        for blow in range(len(each.problem.blows)):
            (task, (columns, sides)), outcome = next(taken), next(outcomes)
            slope = np.zeros((len(each.rows[blow]), n_moves))
            slope[:, columns] = wave_slopes(each.problem, task, outcome) / (STEP * sides)
            each.slopes.append(slope)
            if blow == 0 and peaks:
                logarithm = np.log(np.maximum(outcome.resistance, 1.0))
                change = np.zeros((3, n_moves))
                change[:, columns] = (logarithm[:, :-1] - logarithm[:, -1:]) / (STEP * sides)
                resistances.append(change)
    return resistances


def normal_equations(descent: Descent) -> tuple[np.ndarray, np.ndarray]:
    """Give ``JᵀJ`` and ``Jᵀr`` where a descent stands, from the slopes that it has."""
    slope = prior_slope(descent.problem, descent.scores) @ descent.basis
    normal, gradient = slope.T @ slope, slope.T @ descent.rows[-1]
    for jacobian, rows in zip(descent.slopes, descent.rows, strict=False):
        normal += jacobian.T @ jacobian
        gradient += jacobian.T @ rows
    return normal, gradient


def _carry_slopes(descent: Descent, step: np.ndarray, rows: tuple[np.ndarray, ...]) -> None:
    """Put right the slopes along a step by what the step has shown (Broyden 1965, Math. Comp. 19, from memory)."""
    square = float(step @ step)
    if square > 0.0:
        for place, slope in enumerate(descent.slopes):
            slope += np.outer(rows[place] - descent.rows[place] - slope @ step, step / square)
    descent.age += 1


def descend(descents: list[Descent], iterations: int, tolerance: float = TOLERANCE) -> None:
    """Take every descent downhill, all run together, by Levenberg's and Marquardt's method as in `comparison.fit`.

    Slopes serve for `SLOPES_SERVE` steps, each of which puts them right along its own direction (the secant version of
    the method; Madsen, Nielsen and Tingleff 2004, Methods for Non-Linear Least Squares Problems, §3.5, from memory).
    """
    begun = [each for each in descents if not each.rows]
    if begun:
        evaluate(begun)
    for _ in range(iterations):
        going = [each for each in descents if each.active]
        if not going:
            return
        stale = [each for each in going if not each.slopes or each.age >= (1 if each.sloped is None else SLOPES_SERVE)]
        if stale:
            take_slopes(stale)
        trials, tasks = [], []
        for each in going:
            normal, gradient = normal_equations(each)
            free = each.free(gradient)
            normal, gradient, basis = normal[np.ix_(free, free)], gradient[free], each.basis[:, free]
            candidates = np.empty((len(each.scores), len(TRIALS)))
            for trial, factor in enumerate(TRIALS):
                damped = normal + each.damping * factor * np.diag(np.diag(normal)) + 1e-9 * np.eye(len(gradient))
                move = np.clip(basis @ np.linalg.solve(damped, -gradient), -LONGEST_MOVE, LONGEST_MOVE)
                candidates[:, trial] = np.clip(each.scores + move, each.low, each.high)
            trials.append(candidates)
            tasks += each.tasks(candidates)
        outcomes = iter(run_tasks(tasks))
        for each, candidates in zip(going, trials, strict=True):
            own = [next(outcomes) for _ in each.problem.blows]
            judged = [_judged(each, candidates, own, column) for column in range(len(TRIALS))]
            _go_on(each, candidates, judged, tolerance)


def _go_on(each: Descent, candidates: np.ndarray, judged: list, tolerance: float) -> None:
    """Take the better trial if it leads down; stop where fresh slopes lead nowhere."""
    best = int(np.argmin([cost for _, cost in judged]))
    rows, cost = judged[best]
    fresh = each.age == 0
    if cost < each.cost:
        gain, before = each.cost - cost, each.scores
        each.scores = candidates[:, best]
        _carry_slopes(each, each.step_from(before), rows)
        each.rows, each.cost = rows, cost
        each.active = gain > tolerance * cost
        each.damping = max(each.damping * TRIALS[best], 1e-5)
    elif not fresh:
        each.slopes = []
    else:
        each.active = each.damping <= 1e2
        each.damping *= 6.0
        each.age = 0


def laws_of(law: str) -> tuple[SoilLaw, ...]:
    """Give the soil laws that a choice allows."""
    return tuple(each for each in SOIL_LAWS if law in (BEST, each.backbone))


def fit_laws(blows: tuple[Blow, ...], laws: tuple[SoilLaw, ...], reduction: Reduction | None = None) -> list[LawFit]:
    """Fit soil laws to blows of one soil, the best first.

    Where much is left unexplained, the search may have given up the right law: it is made once more in another way.
    """
    found = _searched(blows, laws, reduction, SEARCH)
    if found[0].misfit <= DOUBTFUL_MISFIT or reduction is not None:
        return found
    return min(found, _searched(blows, laws, reduction, 1.0), key=lambda fits: fits[0].misfit)


def _searched(
    blows: tuple[Blow, ...], laws: tuple[SoilLaw, ...], reduction: Reduction | None, share: float
) -> list[LawFit]:
    """Fit soil laws with so much of the noise for noise while they are searched [1], see `SEARCH`."""
    coarse = COARSE * TARGET_STEP
    descents = []
    for law in laws:
        problem = make_problem(blows[0], law=law, reduction=reduction, time_step=coarse, span=FIRST_SPAN)
        together = main_directions(problem.layout)
        descents += [Descent(problem, start, directions=together) for start in _starts(problem).T]
    descend(descents, FIRST_ITERATIONS)
    ranked = sorted(descents, key=lambda each: each.cost)
    ranked = [each for each in ranked if each.cost <= GIVEN_UP * ranked[0].cost]
    descents = [each for law in laws for each in [one for one in ranked if one.problem.law == law][:STARTS_LEFT]]
    for struck in (blows[:1], blows)[: len(blows)]:
        descents = _refined(_unlike(descents), struck, reduction, coarse, share * _noises([descents])[0])
        (descents,) = _narrowed([descents], ROUND, TOLERANCE, SETTLED, share, PATIENCE if len(struck) == 1 else 0)
    descents = exchanged(_unlike(_supported(descents, share)))
    (descents,) = _narrowed([descents], EXCHANGE_ROUND, TOLERANCE, SETTLED, share)
    noise = _noises([descents])[0]
    for each in descents:
        each.take_noise(noise)
    return fit_to_the_end(descents, blows, reduction)


def exchanged(descents: list[Descent]) -> list[Descent]:
    """Add to the best model of every law two that split what the last length and the toe carry in other ways.

    The waves hardly tell one from the other, and a descent may end in the wrong one of two valleys. In one the last
    length carries more; in the other as much as its neighbour, and the toe has the quake that the shaft had grown to.
    """
    found = list(descents)
    for best in {each.problem.law: each for each in sorted(descents, key=lambda each: -each.cost)}.values():
        layout = best.problem.layout
        values = {name: value[..., 0] for name, value in physical(layout, best.scores[:, None]).items()}
        *_, neighbour, last = values["shaft"]
        both = last + values["toe_resistance"]
        grown = values["shaft_quake"] * np.exp(0.5 * values["quake_rise"])
        more = EXCHANGE * last / (EXCHANGE * last + values["toe_resistance"]) * both
        alike = min(neighbour, 0.5 * both)
        for there, others in (
            (more, {}),
            (alike, {"toe_quake": max(np.log(values["toe_quake"]), np.log(grown)), "quake_rise": 0.0}),
        ):
            scores = best.scores.copy()
            changed = {
                layout.names[layout.n_shaft - 1]: np.log(there),
                "toe_resistance": np.log(both - there),
                **others,
            }
            for name, value in changed.items():
                row = layout.row(name)
                scores[row] = (value - layout.expected[row]) / layout.spread[row]
            found.append(Descent(best.problem, np.clip(scores, -BOUND, BOUND), LATER_DAMPING))
    return found


def _narrowed(
    groups: list[list[Descent]],
    iterations: int,
    tolerance: float,
    settled: float,
    share: float = 1.0,
    patience: int = 0,
) -> list[list[Descent]]:
    """Take groups of descents downhill in rounds, all run together, until those that may be the best have settled.

    After every round those are given up that `FURTHER_GAIN` would not bring within `SUPPORTED` of the best of their
    group; the best of every law only after so many rounds as `patience` says.
    """
    evaluate([each for group in groups for each in group])
    for number in range(ROUNDS):
        before = [[each.cost for each in group] for group in groups]
        descend([each for group in groups for each in group], iterations, tolerance)
        kept, still = [], False
        for group, costs, noise in zip(groups, before, _noises(groups), strict=True):
            taken = max(share * noise, MISFIT_BOUNDS[0])
            gains = [(was - each.cost) / max(each.cost, 1e-9) for each, was in zip(group, costs, strict=True)]
            for each in group:
                each.active = each.active or taken < LESS_NOISE * each.problem.misfit
                each.take_noise(taken)
            best = min(_criterion(each) for each in group)
            bar = best + SUPPORTED / share**2
            spared = _few(group, 1) if number < patience else []
            left = [
                (each, gain)
                for each, gain in zip(group, gains, strict=True)
                if _criterion(each) - (FURTHER_GAIN * gain * each.cost if each.active else 0.0) <= bar
                or any(each is other for other in spared)
            ]
            kept.append([each for each, _ in left])
            still = still or any(each.active and gain > settled for each, gain in left)
        groups = kept
        if not still:
            break
    return groups


def _criterion(each: Descent) -> float:
    """Give the sum of squares and twice the number of parameters, less is better [1]."""
    return each.cost + 2.0 * len(each.scores)


def main_directions(layout: Parameters) -> np.ndarray:
    """Give what moves while starts are tried, shape (n_parameters, n_moves) [1].

    Neighbouring lengths of shaft move together, and what changes the waves little stands still.
    """
    basis = [
        np.isin(np.arange(layout.count), rows).astype(float)
        for rows in np.array_split(np.arange(layout.n_shaft), min(layout.n_shaft, FIRST_LENGTHS))
    ]
    for row in range(layout.n_shaft, layout.count):
        if layout.names[row] not in LATER:
            basis.append((np.arange(layout.count) == row).astype(float))
    return np.stack(basis, axis=1)


def fit_to_the_end(
    descents: list[Descent], blows: tuple[Blow, ...], reduction: Reduction | None = None
) -> list[LawFit]:
    """Fit on the mesh that is wanted with the noise that is left, and weigh the laws."""
    return fit_each_to_the_end([(descents, blows)], reduction)[0]


def fit_each_to_the_end(
    groups: list[tuple[list[Descent], tuple[Blow, ...]]], reduction: Reduction | None = None
) -> list[list[LawFit]]:
    """Do so for several groups of descents of one pile, each with blows and noise of its own, all run together."""
    begun = [_few(_unlike(_supported(descents)), ENDS) for descents, _ in groups]
    fine = [
        _refined(descents, blows, reduction, TARGET_STEP, SEARCH * noise)
        for descents, (_, blows), noise in zip(begun, groups, _noises(begun), strict=True)
    ]
    fine = _narrowed(fine, LAST_ROUND, LAST_TOLERANCE, LAST_SETTLED, SEARCH)
    fine = [_unlike(_supported(group, SEARCH)) for group in fine]
    for group, noise in zip(fine, _noises(fine), strict=True):
        for each in group:
            each.take_noise(noise)
            each.active, each.damping = True, LATER_DAMPING
    descend([each for group in fine for each in group], LAST_ITERATIONS, LAST_TOLERANCE)
    return _weighed(fine)


def _refined(
    descents: list[Descent], blows: tuple[Blow, ...], reduction: Reduction | None, time_step: float, noise: float
) -> list[Descent]:
    """Give the same models on all blows and another mesh, with the noise that the best of them leaves."""
    refined = []
    for each in descents:
        law = each.problem.law
        problem = make_problem(blows, law=law, reduction=reduction, time_step=time_step)
        coarse = None
        if time_step < COARSE * TARGET_STEP:
            coarse = make_problem(blows, law=law, reduction=reduction, time_step=COARSE * TARGET_STEP)
        scores = np.zeros(problem.layout.count)
        for row, name in enumerate(problem.layout.names):
            if name in each.problem.layout.names:
                scores[row] = each.scores[each.problem.layout.row(name)]
        refined.append(Descent(replace(problem, misfit=noise), scores, LATER_DAMPING, sloped=coarse))
    return refined


def _supported(descents: list[Descent], share: float = 1.0) -> list[Descent]:
    best = min(_criterion(each) for each in descents)
    return [each for each in descents if _criterion(each) <= best + SUPPORTED / share**2]


def _unlike(descents: list[Descent]) -> list[Descent]:
    """Leave out ends of one law that are the same explanation as a better one; laws stay side by side."""
    kept: list[tuple[np.ndarray, Descent]] = []
    for each in sorted(descents, key=lambda each: each.cost):
        values = physical(each.problem.layout, each.scores[:, None])
        shaft, toe = float(values["shaft"].sum()), float(values["toe_resistance"][0])
        quakes = np.log([float(values[name][0]) for name in ("shaft_quake", "toe_quake")])
        here = np.array([shaft / (shaft + toe) / ALIKE, *(quakes / ALIKE_QUAKE)])
        if all(each.problem.law != other.problem.law or np.abs(here - of).max() > 1.0 for of, other in kept):
            kept.append((here, each))
    order = {law: place for place, law in enumerate(SOIL_LAWS)}
    return sorted((each for _, each in kept), key=lambda each: order[each.problem.law])


def _few(descents: list[Descent], most: int) -> list[Descent]:
    """Leave the best so many of every law."""
    places: dict[SoilLaw, int] = {}
    kept = []
    for each in sorted(descents, key=lambda each: each.cost):
        places[each.problem.law] = places.get(each.problem.law, 0) + 1
        if places[each.problem.law] <= most:
            kept.append(each)
    return kept


def _noises(groups: list[list[Descent]]) -> list[float]:
    """Give the noise that the best model of every group leaves, over all its blows."""
    best = [min(descents, key=lambda each: each.cost) for descents in groups]
    return [noise_of(each.problem, outcomes) for each, outcomes in zip(best, evaluate(best), strict=True)]


def _weighed(groups: list[list[Descent]]) -> list[list[LawFit]]:
    """Give the fits of every group with their misfit, covariance and weight, the best first."""
    descents = [each for group in groups for each in group]
    outcomes = iter(evaluate(descents, peaks=True))
    changes = iter(take_slopes(descents, peaks=True))
    found = []
    for group in groups:
        criteria = np.array([_criterion(each) for each in group])
        weights = np.exp(-0.5 * (criteria - criteria.min()))
        weights /= weights.sum()
        fits = []
        for each, criterion, weight in zip(group, criteria, weights, strict=True):
            first = next(outcomes)[0]
            fits.append(
                LawFit(
                    each.problem,
                    each.scores,
                    float(wave_misfit(each.problem, first.difference)[0]),
                    float(criterion),
                    np.log(np.maximum(first.resistance[:, 0], 1.0)),
                    next(changes),
                    np.linalg.inv(normal_equations(each)[0] + 1e-6 * np.eye(len(each.scores))),
                    float(weight),
                    float(first.set_per_blow[0]),
                )
            )
        found.append(sorted(fits, key=lambda fit: fit.criterion))
    return found


def _starts(problem: Problem) -> np.ndarray:
    layout = problem.layout
    starts = np.zeros((layout.count, len(STARTS)))
    for column, (shaft, *others) in enumerate(STARTS):
        starts[: layout.n_shaft, column] = shaft
        for name, score in zip(("toe_resistance", "shaft_quake", "toe_quake"), others, strict=True):
            starts[layout.row(name), column] = score
    if "section_depth" in layout.names:  # where along the pile the section is reduced is what a fit finds hardest
        aside = np.zeros((layout.count, 2))
        aside[layout.row("section_depth")] = -0.7, 0.7
        starts = np.concatenate([starts, aside], axis=1)
    return starts
