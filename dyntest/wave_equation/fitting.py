"""Damped least squares for many starts at once, every Jacobian from one batched run.

Every soil law is fitted to one blow, or to several blows of one soil, always: all laws, all blows and all starts run
together in one batch. Several starts go on a coarse mesh; the best of each law goes on, on the mesh that is wanted,
with the misfit that was left as the noise. Laws are then weighed by what they leave unexplained. What a search asks for
is computed by `comparison.run_search`.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from dyntest.wave_equation.candidates import locked_in
from dyntest.wave_equation.comparison import (
    LONGEST_MOVE,
    MISFIT_BOUNDS,
    STEP,
    TOLERANCE,
    LawFit,
    Outcome,
    Runs,
    Search,
    StressChange,
    Task,
    differences_in,
    first_starts,
    lasting_force,
    main_directions,
    noise_of,
    other_splits,
    prior_residuals,
    prior_slope,
    score_bounds,
    toe_heavier,
    wave_misfit,
    wave_residuals,
    wave_slopes,
)
from dyntest.wave_equation.problem import (
    ELASTIC_PLASTIC,
    HYPERBOLIC,
    POWER,
    SMITH,
    SOIL_LAWS,
    TARGET_STEP,
    VISCOUS,
    Blow,
    Parameters,
    Problem,
    Reduction,
    SoilLaw,
    drift_name,
    make_problem,
    physical,
)
from dyntest.wave_equation.rest import on_mesh

TRIALS = (0.01, 0.1, 1.0, 10.0)
"""Factors on the damping that are tried side by side [1]."""
FIRST_DAMPING, LATER_DAMPING = 0.1, 0.03
"""Damping of the first iteration from an expected model, and from one that was fitted on another mesh [1]."""
SLOPES_SERVE = 3
"""Steps that slopes serve before they are taken anew [1]."""

BEST = "best"
LAWS = (ELASTIC_PLASTIC, HYPERBOLIC, BEST)

ALIKE, ALIKE_QUAKE = 0.02, 0.1
"""Differences of the shaft's share and of the logarithm of a quake from which on two ends of one law count as
different explanations [1]."""
COARSE, SLOPED = 2.5, 2.0
"""Time steps on which starts are tried and on which slopes are taken at last, over the one that is aimed at [1]."""
FIRST_SPAN = 15e-3
"""Time after the toe's return up to which waves are compared while starts are tried [s]."""
GIVEN_UP, STARTS_LEFT = 6.0, 2
"""Cost over the best start's from which on a start is given up, and starts of every law that go on after the first
iterations [1]."""
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
"""Misfit above which a search is made again with all the noise for noise [1]: gauges and laws seldom leave as much."""
SETTLED, LAST_SETTLED, LAST_TOLERANCE = 0.05, 0.02, 2e-4
"""Gain of a round over the cost below which a descent is settled on either mesh, and of a step that is its last [1]."""
EXCHANGE_ROUND = 3
"""Iterations of a round of models in which toe and last length carry other shares [1]."""
FIRST_ITERATIONS, LAST_ITERATIONS = 4, 4
"""Iterations of all starts, and of the laws that are left once the noise is known [1]."""
USUAL_LAWS = tuple(SoilLaw(ELASTIC_PLASTIC, damping) for damping in (VISCOUS, SMITH, POWER))
"""Laws that are tried with stress locked into the pile, or with a reduced section, beside those supported without."""
FIRST_BLOWS = 4
"""Blows that lock their stress in at first [1]; one more is struck after every round."""
RIVALS, STRESSED_ITERATIONS, DISMISSED = 3, (1, 2, 2), (300.0, 50.0, 0.0)
"""How many models with stress locked in go on; the iterations of their rounds on the first blow; and the cost over that
without the stress from which on none goes on after them [1]: of 32 piles without residual stress none cost less with it
in the end; of six with it none cost more, nor more than 88 and 9 after the first two rounds."""
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
    def kind(self) -> tuple[SoilLaw, bool]:
        """The soil law, and whether blows begin from the stress that blows before them have locked in."""
        return self.problem.law, self.problem.locked is not None

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


def evaluate(descents: list[Descent], *, peaks: bool = False) -> Search[list[list[Outcome]]]:
    """Put cost and residuals of every descent where it stands now."""
    tasks = [task for each in descents for task in each.tasks(each.scores[:, None])]
    outcomes = iter((yield Runs(tasks, peaks)) if tasks else ())
    found = []
    for each in descents:
        own = [next(outcomes) for _ in each.problem.blows]
        found.append(own)
        rows, costs = _judged(each, each.scores[:, None], own)
        each.rows, each.cost = tuple(of[:, 0] for of in rows), float(costs[0])
    return found


def _judged(descent: Descent, candidates: np.ndarray, outcomes: list[Outcome]) -> tuple[list[np.ndarray], np.ndarray]:
    """Give what is to be made small, each of shape (n_rows, n_candidates), and every candidate's sum of squares [1]."""
    tasks = descent.tasks(candidates)
    rows = [wave_residuals(task, outcome) for task, outcome in zip(tasks, outcomes, strict=True)]
    rows.append(prior_residuals(descent.problem, candidates))
    return rows, sum((np.einsum("ij,ij->j", of, of) for of in rows), np.zeros(candidates.shape[1]))


def moving(problem: Problem, blow: int) -> np.ndarray:
    """Give the parameters that move one blow's waves: all but the drifts of the others."""
    others = {drift_name(place) for place in range(len(problem.blows)) if place != blow}
    return np.array([row for row, name in enumerate(problem.layout.names) if name not in others])


def take_slopes(descents: list[Descent], *, peaks: bool = False) -> Search[list[np.ndarray]]:
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
    outcomes = iter((yield Runs(tasks, peaks)))
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


def descend(descents: list[Descent], iterations: int, tolerance: float = TOLERANCE) -> Search[None]:
    """Take every descent downhill, all run together, by Levenberg's and Marquardt's method as in `comparison.fit`.

    Slopes serve for `SLOPES_SERVE` steps, each of which puts them right along its own direction (the secant version of
    the method; Madsen, Nielsen and Tingleff 2004, Methods for Non-Linear Least Squares Problems, §3.5, from memory).
    """
    begun = [each for each in descents if not each.rows]
    if begun:
        yield from evaluate(begun)
    for _ in range(iterations):
        going = [each for each in descents if each.active]
        if not going:
            return
        stale = [each for each in going if not each.slopes or each.age >= SLOPES_SERVE]
        if stale:
            yield from take_slopes(stale)
        trials, tasks = [], []
        for each in going:
            normal, gradient = normal_equations(each)
            free = each.free(gradient)
            normal, gradient, basis = normal[np.ix_(free, free)], gradient[free], each.basis[:, free]
            ridge = each.damping * np.array(TRIALS)[:, None] * np.diag(normal) + 1e-9
            damped = normal + ridge[:, :, None] * np.eye(len(gradient))
            moves = basis @ np.linalg.solve(damped, np.tile(-gradient[:, None], (len(TRIALS), 1, 1)))[:, :, 0].T
            candidates = each.scores[:, None] + np.clip(moves, -LONGEST_MOVE, LONGEST_MOVE)
            candidates = np.clip(candidates, each.low[:, None], each.high[:, None])
            trials.append(candidates)
            tasks += each.tasks(candidates)
        outcomes = iter((yield Runs(tasks)))
        for each, candidates in zip(going, trials, strict=True):
            own = [next(outcomes) for _ in each.problem.blows]
            _go_on(each, candidates, *_judged(each, candidates, own), tolerance)


def _go_on(each: Descent, candidates: np.ndarray, tried: list[np.ndarray], costs: np.ndarray, tolerance: float) -> None:
    """Take the better trial if it leads down; stop where fresh slopes lead nowhere."""
    best = int(np.argmin(costs))
    rows, cost = tuple(of[:, best] for of in tried), float(costs[best])
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


def fit_laws(
    blows: tuple[Blow, ...], laws: tuple[SoilLaw, ...], reduction: Reduction | None = None
) -> Search[list[LawFit]]:
    """Fit soil laws to blows of one soil, the best first.

    Where much is left unexplained, the search may have given up the right law: it is made once more in another way.
    """
    found = yield from _searched(blows, laws, reduction, SEARCH)
    if found[0].misfit <= DOUBTFUL_MISFIT or reduction is not None:
        return found
    return min(found, (yield from _searched(blows, laws, reduction, 1.0)), key=lambda fits: fits[0].misfit)


def _searched(
    blows: tuple[Blow, ...], laws: tuple[SoilLaw, ...], reduction: Reduction | None, share: float
) -> Search[list[LawFit]]:
    """Fit soil laws with so much of the noise for noise while they are searched [1], see `SEARCH`."""
    coarse = COARSE * TARGET_STEP
    descents = []
    for law in laws:
        problem = make_problem(blows[0], law=law, reduction=reduction, time_step=coarse, span=FIRST_SPAN)
        together = main_directions(problem.layout)
        descents += [Descent(problem, start, directions=together) for start in first_starts(problem).T]
    yield from descend(descents, FIRST_ITERATIONS)
    ranked = sorted(descents, key=lambda each: each.cost)
    ranked = [each for each in ranked if each.cost <= GIVEN_UP * ranked[0].cost]
    descents = [each for law in laws for each in [one for one in ranked if one.problem.law == law][:STARTS_LEFT]]
    for struck in (blows[:1], blows)[: len(blows)]:
        (noise,) = yield from _noises([descents])
        descents = _refined(_unlike(descents), struck, reduction, coarse, share * noise)
        patience = PATIENCE if len(struck) == 1 else 0
        (descents,) = yield from _narrowed([descents], ROUND, TOLERANCE, SETTLED, share, patience)
    descents = exchanged(_unlike(_supported(descents, share)))
    (descents,) = yield from _narrowed([descents], EXCHANGE_ROUND, TOLERANCE, SETTLED, share)
    change = None
    if reduction is None:
        rivals, change = yield from with_stress(descents, blows, laws)
        if rivals:
            for each in descents:
                each.active = False  # they have settled
            (descents,) = yield from _narrowed([descents + rivals], EXCHANGE_ROUND, TOLERANCE, SETTLED, share)
    (noise,) = yield from _noises([descents])
    for each in descents:
        each.take_noise(noise)
    (fits,) = yield from fit_to_the_end([(descents, blows)], reduction)
    return [replace(each, stress=change) for each in fits]


def exchanged(descents: list[Descent]) -> list[Descent]:
    """Add to the best model of every law two that split what the last length and the toe carry in other ways.

    The waves hardly tell one from the other, and a descent may end in the wrong one of two valleys.
    """
    best = {each.problem.law: each for each in sorted(descents, key=lambda each: -each.cost)}.values()
    return descents + [
        Descent(each.problem, scores, LATER_DAMPING)
        for each in best
        for scores in other_splits(each.problem.layout, each.scores)
    ]


def with_stress(
    descents: list[Descent], blows: tuple[Blow, ...], laws: tuple[SoilLaw, ...]
) -> Search[tuple[list[Descent], StressChange | None]]:
    """Give rivals whose blows begin from the stress that blows before them locked into the pile, and what it changes.

    Tried on the first blow, under the law of the best model and the usual ones allowed: what looks like one law
    without the stress may be another with it. None where the record fits no better with the stress, or too badly.
    """
    best = min(descents, key=lambda each: each.cost)
    if wave_misfit(best.problem, differences_in(best.problem, best.rows)[0][:, None])[0] > DOUBTFUL_MISFIT:
        return [], None
    without = _on_the_first_blow(best, best.problem.law, heavier=False)
    others = [law for law in USUAL_LAWS if law in laws and law != best.problem.law]
    rivals, against = [_on_the_first_blow(best, best.problem.law, heavier=heavier) for heavier in (True, False)], True
    for more, iterations, bar in zip(([], [], others), STRESSED_ITERATIONS, DISMISSED, strict=True):
        rivals += [_on_the_first_blow(best, law, heavier=True) for law in more]
        rivals = _locked(rivals) + lock_in([each for each in rivals if each.problem.locked is None], FIRST_BLOWS)
        if not rivals:
            return [], None
        yield from descend([without, *rivals], iterations)
        rivals.sort(key=lambda each: each.cost)
        against = _criterion(rivals[0]) > _criterion(without) + bar
        if against:
            break
    (before, *_), (after, *_) = yield from evaluate([without, rivals[0]], peaks=True)
    change = StressChange(
        0.0 if rivals[0].problem.locked is None else max(float(rivals[0].problem.locked.spring[-1, 0]), 0.0),
        tuple(float(one) for one in after.resistance[:, 0] / np.maximum(before.resistance[:, 0], 1.0)),
        float(wave_misfit(without.problem, after.difference)[0]),
        float(wave_misfit(without.problem, before.difference)[0]),
    )
    if against:
        return [], change
    return _refined(_few(rivals, 1)[:RIVALS], blows, None, COARSE * TARGET_STEP, best.problem.misfit), change


def _on_the_first_blow(best: Descent, law: SoilLaw, *, heavier: bool) -> Descent:
    """Give a model of the first blow alone under a law, as it is or with a heavier toe."""
    problem = make_problem(best.problem.blow, law=law, time_step=COARSE * TARGET_STEP)
    scores = _scores_of(best, problem.layout)
    scores = toe_heavier(problem.layout, scores) if heavier else scores
    return Descent(replace(problem, misfit=best.problem.misfit), scores, LATER_DAMPING)


def lock_in(descents: list[Descent], most: int = 1) -> list[Descent]:
    """Put the stress that so many blows lock in where descents stand now; give those whose pile comes to rest."""
    kept = []
    for each, state in zip(
        descents, locked_in([(one.problem, one.scores[:, None]) for one in descents], most), strict=True
    ):
        if state is not None:
            each.problem, each.slopes, each.rows = replace(each.problem, locked=state), [], ()
            if each.sloped is not None:
                each.sloped = replace(each.sloped, locked=on_mesh(state, each.problem.mesh, each.sloped.mesh))
            kept.append(each)
    return kept


def _locked(descents: list[Descent]) -> list[Descent]:
    return [each for each in descents if each.problem.locked is not None]


def _best_without(descents: list[Descent]) -> list[Descent]:
    """Give the best model without stress locked in, from which bearing graphs take their soil."""
    return sorted((each for each in descents if each.problem.locked is None), key=lambda each: each.cost)[:1]


def _narrowed(
    groups: list[list[Descent]],
    iterations: int,
    tolerance: float,
    settled: float,
    share: float = 1.0,
    patience: int = 0,
) -> Search[list[list[Descent]]]:
    """Take groups of descents downhill in rounds, all run together, until those that may be the best have settled.

    After every round those are given up that `FURTHER_GAIN` would not bring within `SUPPORTED` of the best of their
    group; the best of every law only after so many rounds as `patience` says.
    """
    for number in range(ROUNDS):
        together = [each for group in groups for each in group]
        yield from evaluate(lock_in(_locked(together)) if number else together)
        before = [[each.cost for each in group] for group in groups]
        yield from descend([each for group in groups for each in group], iterations, tolerance)
        kept, still = [], False
        for group, costs, noise in zip(groups, before, (yield from _noises(groups)), strict=True):
            taken = max(share * noise, MISFIT_BOUNDS[0])
            gains = [(was - each.cost) / max(each.cost, 1e-9) for each, was in zip(group, costs, strict=True)]
            for each in group:
                each.active = each.active or taken < LESS_NOISE * each.problem.misfit
                each.take_noise(taken)
            best = min(_criterion(each) for each in group)
            bar = best + SUPPORTED / share**2
            spared = _best_without(group) + (_few(group, 1) if number < patience else [])
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


def fit_to_the_end(
    groups: list[tuple[list[Descent], tuple[Blow, ...]]], reduction: Reduction | None = None
) -> Search[list[list[LawFit]]]:
    """Fit groups of descents, each with blows and noise of its own, on the mesh that is wanted; weigh their laws."""
    begun = [_few(_unlike(_supported(descents)), ENDS) for descents, _ in groups]
    fine = [
        _refined(descents, blows, reduction, TARGET_STEP, SEARCH * noise)
        for descents, (_, blows), noise in zip(begun, groups, (yield from _noises(begun)), strict=True)
    ]
    fine = yield from _narrowed(fine, LAST_ROUND, LAST_TOLERANCE, LAST_SETTLED, SEARCH)
    fine = [_unlike(_supported(group, SEARCH)) for group in fine]
    lock_in(_locked([each for group in fine for each in group]))
    for group, noise in zip(fine, (yield from _noises(fine)), strict=True):
        for each in group:
            each.take_noise(noise)
            each.active, each.damping = True, LATER_DAMPING
    yield from descend([each for group in fine for each in group], LAST_ITERATIONS, LAST_TOLERANCE)
    return (yield from _weighed(fine))


def _refined(
    descents: list[Descent], blows: tuple[Blow, ...], reduction: Reduction | None, time_step: float, noise: float
) -> list[Descent]:
    """Give the same models on all blows and another mesh, with the noise that the best of them leaves."""
    refined = []
    for each in descents:
        law = each.problem.law
        problem = make_problem(blows, law=law, reduction=reduction, time_step=time_step)
        coarse = None
        if time_step < SLOPED * TARGET_STEP:
            coarse = make_problem(blows, law=law, reduction=reduction, time_step=SLOPED * TARGET_STEP)
        if each.problem.locked is not None:
            problem = replace(problem, locked=on_mesh(each.problem.locked, each.problem.mesh, problem.mesh))
        scores = _scores_of(each, problem.layout)
        refined.append(Descent(replace(problem, misfit=noise), scores, LATER_DAMPING, sloped=coarse))
    lock_in(_locked(refined))
    return refined


def _scores_of(each: Descent, layout: Parameters) -> np.ndarray:
    """Give a model's scores by name in another layout, shape (n_parameters,) [1]."""
    there = dict(zip(each.problem.layout.names, each.scores, strict=True))
    return np.array([there.get(name, 0.0) for name in layout.names])


def _supported(descents: list[Descent], share: float = 1.0) -> list[Descent]:
    best, either = min(_criterion(each) for each in descents), _best_without(descents)
    return [
        each
        for each in descents
        if _criterion(each) <= best + SUPPORTED / share**2 or any(each is one for one in either)
    ]


def _unlike(descents: list[Descent]) -> list[Descent]:
    """Leave out ends of one law that are the same explanation as a better one; laws stay side by side."""
    kept: list[tuple[np.ndarray, Descent]] = []
    for each in sorted(descents, key=lambda each: each.cost):
        values = physical(each.problem.layout, each.scores[:, None])
        shaft, toe = float(values["shaft"].sum()), float(values["toe_resistance"][0])
        quakes = np.log([float(values[name][0]) for name in ("shaft_quake", "toe_quake")])
        here = np.array([shaft / (shaft + toe) / ALIKE, *(quakes / ALIKE_QUAKE)])
        if all(each.kind != other.kind or np.abs(here - of).max() > 1.0 for of, other in kept):
            kept.append((here, each))
    order = {law: place for place, law in enumerate(SOIL_LAWS)}
    return sorted((each for _, each in kept), key=lambda each: order[each.problem.law])


def _few(descents: list[Descent], most: int) -> list[Descent]:
    """Leave the best so many of every law."""
    places: dict[tuple[SoilLaw, bool], int] = {}
    kept = []
    for each in sorted(descents, key=lambda each: each.cost):
        places[each.kind] = places.get(each.kind, 0) + 1
        if places[each.kind] <= most:
            kept.append(each)
    return kept


def _noises(groups: list[list[Descent]]) -> Search[list[float]]:
    """Give the noise that the best model of every group leaves, over all its blows."""
    best = [min(descents, key=lambda each: each.cost) for descents in groups]
    yield from evaluate([each for each in best if not each.rows])
    return [noise_of(each.problem, differences_in(each.problem, each.rows)) for each in best]


def _weighed(groups: list[list[Descent]]) -> Search[list[list[LawFit]]]:
    """Give the fits of every group with their misfit, covariance and weight, the best first."""
    descents = [each for group in groups for each in group]
    outcomes = iter((yield from evaluate(descents, peaks=True)))
    changes = iter((yield from take_slopes(descents, peaks=True)))
    found = []
    for group in groups:
        criteria = np.array([_criterion(each) for each in group])
        weights = np.exp(-0.5 * (criteria - criteria.min()))
        weights /= weights.sum()
        fits = []
        for each, criterion, weight in zip(group, criteria, weights, strict=True):
            own = next(outcomes)
            fits.append(
                LawFit(
                    each.problem,
                    each.scores,
                    float(wave_misfit(each.problem, own[0].difference)[0]),
                    float(criterion),
                    np.log(np.maximum(own[0].resistance[:, 0], 1.0)),
                    next(changes),
                    np.linalg.inv(normal_equations(each)[0] + 1e-6 * np.eye(len(each.scores))),
                    float(weight),
                    float(own[0].set_per_blow[0]),
                    lasting=lasting_force(each.problem, own),
                )
            )
        found.append(sorted(fits, key=lambda fit: fit.criterion))
    return found
