"""Computed against measured waves: what a candidate model gets wrong, in standard deviations, and how to make it less.

Candidates of several soil laws and several blows are computed together in one run: each `Task` brings some columns.
"""

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple, TypeVar

import numpy as np

from dyntest.wave_equation.candidates import (
    begin,
    candidate_mesh,
    candidate_soil,
    join_meshes,
    join_soils,
    measured_waves,
    waves_side_by_side,
)
from dyntest.wave_equation.problem import (
    BOUND,
    GAUGE_ERRORS,
    LAST_STEP,
    NEIGHBOUR_SPREAD,
    SHAFT_RISE,
    SOIL_LAWS,
    Parameters,
    Problem,
    physical,
    set_spread,
)
from dyntest.wave_equation.simulator import Motion, impose_down_wave, simulate
from dyntest.wave_equation.soil import SoilModel, lower_bound, unloading_stiffness

CORRELATION_TIME = 0.5e-3
"""Least time over which errors of model and gauges hang together [s]; samples closer than that do not count as new."""
MOST_LASTING = 3.0
"""Greatest noise over misfit [1]: an offset that stays to the end of the record says little of the resistance."""
LASTING_TIME, LASTING_WINDOW = 0.5e-3, (-2e-3, 10e-3)
"""Time over which the noise of gauges evens out, and errors of a model do not, and the time from the toe's return in
which soil is told from the waves [s]; chosen among seventeen measures as the best sign of a wrong total."""
MISFIT_BOUNDS = (0.003, 0.05)
"""Least and greatest misfit that counts as noise [1]: gauges are never better, and worse is no fit."""
COMMON_ERROR = 0.25
"""Power of the number of blows by which the noise of each counts more [1]: 0 would take the errors of the model for new
in each blow, 0.5 for the same in all; our own choice between them."""
PENALTY = 4.0
"""Points by which a reduced section must be better for each parameter it adds [1]; a point is one unit of
``2 n ln(misfit)`` with n independent samples, the criterion of Akaike (1974) (from memory)."""

STARTS = ((0.0, 0.0, 0.0, 0.0), (0.5, -0.7, 1.0, -0.8), (-0.8, 0.4, -0.8, 0.8))
"""Scores of shaft and toe resistance, shaft and toe quake at which the fit starts: a stiff toe under a soft shaft and
a soft toe under a stiff one can explain a record equally well."""
FIRST_LENGTHS = 5
"""Pieces of shaft that move by themselves while starts are tried [1]."""
LATER = ("quake_rise", "toe_gap", "unloading_share", *GAUGE_ERRORS)
"""Parameters that stand still while starts are tried: a wrong start that is free to bend clock and gauges finds a wrong
valley. The share of the limit on the way up is not among them: without it a start stays where the toe is too weak."""
EXCHANGE = 3.0
"""Factor on what the last length of shaft carries over what the toe carries, in another split of both [1]."""
MOVED = 0.4
"""Share of the shaft's resistance that a start with stress locked in has on the toe instead [1]."""


@dataclass(frozen=True)
class Task:
    """Candidate models of one problem for one of its blows; scores of shape (n_parameters, n_candidates) [1].

    `search` tells apart the searches that run side by side.
    """

    problem: Problem
    blow: int
    scores: np.ndarray
    search: tuple[int, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """What the candidates of a task gave.

    `difference` of the upward waves, shape (n_steps, n_candidates) [N]; `resistance` mobilised in all, along the shaft
    and at the toe, shape (3, n_candidates) [N], empty where it was not asked for; `set_per_blow`, shape (n_candidates,)
    [m].
    """

    difference: np.ndarray
    resistance: np.ndarray
    set_per_blow: np.ndarray


def run(problem: Problem, scores: np.ndarray, place: int = 0, **options) -> tuple[Motion, np.ndarray, dict]:
    """Drive every candidate of one problem with a measured downward wave, the first blow's unless said otherwise.

    Units: returns [N].
    """
    values = physical(problem.layout, scores)
    down, up = measured_waves(problem, values, place)
    mesh, soil = candidate_mesh(problem, values), candidate_soil(problem, values, place)
    start = begin([(problem, scores)], [mesh], [soil])
    motion = simulate(mesh, soil, impose_down_wave(down), problem.n_steps, start=start, **options)
    return motion, up, values


def run_tasks(tasks: list[Task], *, peaks: bool = False) -> list[Outcome]:
    """Compute all candidates of tasks of one pile together, those of as many steps in one run.

    Their problems differ in law, blow and soil, and in nothing else. Those of one law stand side by side, since each
    run of neighbours with a kind of dashpot costs array calls of its own.
    """

    def steps(task: Task) -> tuple[int, float, int]:
        mesh = task.problem.mesh
        return task.problem.n_steps, mesh.time_step, mesh.n_segments

    done: dict[int, Outcome] = {}
    for length in dict.fromkeys(map(steps, tasks)):
        places = [place for place, task in enumerate(tasks) if steps(task) == length]
        places.sort(key=lambda place: SOIL_LAWS.index(tasks[place].problem.law))
        done |= dict(zip(places, _run_side_by_side([tasks[place] for place in places], peaks), strict=True))
    return [done[place] for place in range(len(tasks))]


def _run_side_by_side(tasks: list[Task], peaks: bool) -> list[Outcome]:
    """Compute all candidates of tasks of as many steps in one run."""
    models = {(id(task.problem), id(task.scores)): task for task in tasks}  # the same ones often meet several blows
    values = {key: physical(task.problem.layout, task.scores) for key, task in models.items()}
    each = [(task, values[id(task.problem), id(task.scores)]) for task in tasks]
    read = waves_side_by_side([(task.problem, of, task.blow) for task, of in each])
    soils = [candidate_soil(task.problem, of, task.blow) for task, of in each]
    meshes = [candidate_mesh(task.problem, of) for task, of in each]
    counts = [task.scores.shape[1] for task in tasks]
    soil, mesh = join_soils(soils), join_meshes(meshes)
    start = begin([(task.problem, task.scores) for task in tasks], meshes, soils, [task.search for task in tasks])
    head, n_steps = impose_down_wave(np.hstack([down for down, _ in read])), tasks[0].problem.n_steps
    motion = simulate(mesh, soil, head, n_steps, start=start, peaks=peaks)
    settled = motion.toe_displacement[-1] + coming_rest(soil, motion.state.spring)
    peak = motion.greatest_spring
    found = (
        np.stack([peak.sum(axis=0), peak[:-1].sum(axis=0), peak[-1]]) if peaks else np.full((3, sum(counts)), np.nan)
    )
    edges = np.cumsum([0, *counts])
    return [
        Outcome(motion.up[:, a:b] - up, found[:, a:b], settled[a:b])
        for (_, up), a, b in zip(read, edges[:-1], edges[1:], strict=True)
    ]


class Runs(NamedTuple):
    """What a search asks to be computed: runs, and whether with the resistance that they mobilise."""

    tasks: list[Task]
    peaks: bool = False


Found = TypeVar("Found")
Search = Generator[Runs, list[Outcome], Found]
"""Asks for runs, one after the other, until it has found what it looks for."""


def run_search(search: Search[Found]) -> Found:
    """Take a search to its end."""
    try:
        runs = next(search)
        while True:
            runs = search.send(run_tasks(runs.tasks, peaks=runs.peaks))
    except StopIteration as end:
        return end.value


def side_by_side(searches: Sequence[Search[Found]]) -> Search[list[Found]]:
    """Take searches of one pile to their ends, what they ask for always in one run.

    A run of few candidates takes nearly as long as one of many, and no candidate feels the others beside it.
    """
    found: dict[int, Found] = {}
    answers: dict[int, list[Outcome] | None] = dict.fromkeys(range(len(searches)))
    while answers:
        asked: dict[int, Runs] = {}
        for place, outcomes in answers.items():
            try:
                asked[place] = searches[place].send(outcomes)  # type: ignore[arg-type]  # None begins it
            except StopIteration as end:
                found[place] = end.value
        answers = {}
        if asked:
            tasks = [
                replace(task, search=(place, *task.search)) for place, runs in asked.items() for task in runs.tasks
            ]
            every = iter((yield Runs(tasks, any(runs.peaks for runs in asked.values()))))
            answers = {place: [next(every) for _ in runs.tasks] for place, runs in asked.items()}
    return [found[place] for place in range(len(searches))]


REST_HALVINGS = 16


def coming_rest(soil: SoilModel, spring: np.ndarray) -> np.ndarray:
    """Give how far a pile still moves until its springs are in balance, taken as rigid.

    Units: spring [N]; returns [m], downward positive.
    """
    stiffness, lower = unloading_stiffness(soil), lower_bound(soil)
    reach = np.maximum((soil.limit / np.maximum(stiffness, 1.0)).max(axis=0), 1e-4) * 2.0
    low, high = -reach, reach
    for _ in range(REST_HALVINGS):
        middle = 0.5 * (low + high)
        force = np.clip(spring + stiffness * middle, lower, soil.limit).sum(axis=0)
        low, high = np.where(force < 0.0, middle, low), np.where(force < 0.0, high, middle)
    return 0.5 * (low + high)


def wave_residuals(task: Task, outcome: Outcome) -> np.ndarray:
    """Give what is to be made small for one blow, shape (n_rows, n_candidates) [1].

    These are the differences of the waves and, where the log knows it, of the set.
    """
    blow = task.problem.blows[task.blow]
    rows = outcome.difference * _unit(task.problem, task.blow)[:, None]
    if blow.set_per_blow == blow.set_per_blow:
        rows = np.vstack([rows, (outcome.set_per_blow - blow.set_per_blow) / set_spread(blow)])
    return rows


def differences_in(problem: Problem, rows: tuple[np.ndarray, ...]) -> list[np.ndarray]:
    """Give the differences of the waves of every blow, each of shape (n_steps,) [N], from its `wave_residuals`."""
    return [rows[blow][: problem.n_steps] / _unit(problem, blow) for blow in range(len(problem.blows))]


def _unit(problem: Problem, blow: int) -> np.ndarray:
    """Give what one newton counts at every step, shape (n_steps,) [1/N]."""
    counts = min(1.0, problem.mesh.time_step / CORRELATION_TIME)
    return problem.weight * np.sqrt(counts) / (problem.misfit * problem.scale[blow])


def wave_slopes(problem: Problem, task: Task, outcome: Outcome) -> np.ndarray:
    """Give how the rows of `wave_residuals` of a problem change from the last candidate of a task to each other one.

    The task may be of the same blow on a coarser mesh; its steps are then read between by straight lines.
    """
    change = outcome.difference[:, :-1] - outcome.difference[:, -1:]
    if task.problem.n_steps != problem.n_steps:
        at = np.arange(problem.n_steps) * (problem.mesh.time_step / task.problem.mesh.time_step)
        at = np.minimum(at, task.problem.n_steps - 1.0)
        below = np.minimum(at.astype(int), task.problem.n_steps - 2)
        share = (at - below)[:, None]
        change = change[below] * (1.0 - share) + change[below + 1] * share
    rows = change * _unit(problem, task.blow)[:, None]
    blow = problem.blows[task.blow]
    if blow.set_per_blow == blow.set_per_blow:
        moved = outcome.set_per_blow[:-1] - outcome.set_per_blow[-1]
        rows = np.vstack([rows, moved[None] / set_spread(blow)])
    return rows


def prior_residuals(problem: Problem, scores: np.ndarray) -> np.ndarray:
    """Give the scores, the trend of the shaft resistance with depth, and the steps of neighbouring lengths beside it.

    A step d counts as ``2 (√(1 + d²) − 1)``: its square while it is small, and no more than in proportion to it where
    soil changes at once (the pseudo-Huber loss; Hartley and Zisserman 2004, Multiple View Geometry, A6.8, from memory).
    """
    layout = problem.layout
    logarithms = (layout.expected[:, None] + layout.spread[:, None] * scores)[: layout.n_shaft]
    rise = logarithms[-1:] - logarithms[:1]
    steps = (np.diff(logarithms, axis=0) - rise / (layout.n_shaft - 1)) / step_spread(layout.n_shaft)[:, None]
    bent = np.sign(steps) * np.sqrt(2.0 * (np.hypot(1.0, steps) - 1.0))
    return np.vstack([scores, rise / SHAFT_RISE, bent])


def score_bounds(layout: Parameters, hyperbolic: bool) -> tuple[np.ndarray, np.ndarray]:
    """Give least and greatest scores, shape (n_parameters,) [1]: no gap less than none, no share above the whole.

    Beyond these nothing changes, and a slope taken there would lead nowhere.
    """
    low, high = np.full(layout.count, -BOUND), np.full(layout.count, BOUND)
    low[layout.row("toe_gap")] = 0.0
    shares = {"upward_share", "section_left"} | (set() if hyperbolic else {"unloading_share"})
    for name in shares & set(layout.names):
        row = layout.row(name)
        high[row] = -layout.expected[row] / layout.spread[row]
    return low, high


def first_starts(problem: Problem) -> np.ndarray:
    """Give the scores from which a fit starts, shape (n_parameters, n_starts) [1]."""
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


def other_splits(layout: Parameters, scores: np.ndarray) -> list[np.ndarray]:
    """Give the scores of a model with what its last length and its toe carry split in two other ways.

    In one the last length carries more; in the other as much as its neighbour, and the toe has the quake that the shaft
    had grown to.
    """
    values = {name: value[..., 0] for name, value in physical(layout, scores[:, None]).items()}
    *_, neighbour, last = values["shaft"]
    both = last + values["toe_resistance"]
    grown = values["shaft_quake"] * np.exp(0.5 * values["quake_rise"])
    more = EXCHANGE * last / (EXCHANGE * last + values["toe_resistance"]) * both
    alike = min(neighbour, 0.5 * both)
    softer = {"toe_quake": max(np.log(values["toe_quake"]), np.log(grown)), "quake_rise": 0.0}
    found = []
    for there, others in ((more, {}), (alike, softer)):
        other = scores.copy()
        changed = {
            layout.names[layout.n_shaft - 1]: np.log(there),
            "toe_resistance": np.log(both - there),
            **others,
        }
        for name, value in changed.items():
            row = layout.row(name)
            other[row] = (value - layout.expected[row]) / layout.spread[row]
        found.append(np.clip(other, -BOUND, BOUND))
    return found


def toe_heavier(layout: Parameters, scores: np.ndarray) -> np.ndarray:
    """Give the scores with a share of the shaft's resistance on the toe: without the stress in it, it looks weaker."""
    values, found, toe = physical(layout, scores[:, None]), scores.copy(), layout.row("toe_resistance")
    more = MOVED * float(values["shaft"].sum()) / float(values["toe_resistance"][0])
    found[: layout.n_shaft] += np.log(1.0 - MOVED) / layout.spread[: layout.n_shaft]
    found[toe] += np.log1p(more) / layout.spread[toe]
    return np.clip(found, -BOUND, BOUND)


def step_spread(n_shaft: int) -> np.ndarray:
    """Give the spread of the logarithm of each length's resistance over the one above, shape (n_shaft - 1,) [1]."""
    return NEIGHBOUR_SPREAD * np.append(np.ones(n_shaft - 2), LAST_STEP)


def prior_slope(problem: Problem, scores: np.ndarray) -> np.ndarray:
    """Give the derivatives of `prior_residuals` at scores (n_parameters,), shape (n_rows, n_parameters)."""
    layout, n = problem.layout, problem.layout.n_shaft
    logarithms = (layout.expected + layout.spread * scores)[:n]
    rise = np.zeros(layout.count)
    rise[0], rise[n - 1] = -layout.spread[0], layout.spread[n - 1]
    steps = np.zeros((n - 1, layout.count))
    rows = np.arange(n - 1)
    steps[rows, rows] = -layout.spread[: n - 1]
    steps[rows, rows + 1] = layout.spread[1:n]
    steps = (steps - rise / (n - 1)) / step_spread(n)[:, None]
    size = np.abs(np.diff(logarithms) - (logarithms[-1] - logarithms[0]) / (n - 1)) / step_spread(n)
    bent = np.sqrt(2.0 * (np.hypot(1.0, size) - 1.0))
    steep = np.where(size > 1e-3, size / np.hypot(1.0, size) / np.maximum(bent, 1e-9), 1.0)
    return np.vstack([np.eye(layout.count), rise / SHAFT_RISE, steps * steep[:, None]])


def wave_misfit(problem: Problem, difference: np.ndarray, place: int = 0) -> np.ndarray:
    """Give the misfit of computed and measured upward wave.

    Units: difference [N].
    """
    square = (difference * problem.weight[:, None]) ** 2
    return np.sqrt(square.sum(axis=0) / (problem.weight**2).sum()) / problem.scale[place]


def noise_left(problem: Problem, difference: np.ndarray, place: int = 0) -> float:
    """Give the misfit that counts as one standard deviation, from what a fitted model leaves.

    Units: difference [N].

    With ``τ = Δt (1 + 2 Σ ρ_k)``, ρ the autocorrelation of the difference up to its first zero, a record of length
    t has ``t/τ`` independent samples (Bayley and Hammersley 1946, Suppl. J. R. Stat. Soc. 8(2), from memory). A
    model error lasts for milliseconds; it must not count as often as there are samples.
    """
    step = problem.mesh.time_step
    wave = difference * problem.weight
    square = float(wave @ wave)
    time = step
    if square > 0.0:
        rho = np.correlate(wave, wave, "full")[len(wave) :] / square
        ends = np.flatnonzero(rho <= 0.0)
        time = step * (1.0 + 2.0 * rho[: ends[0] if len(ends) else None].sum())
    nominal = max(step, CORRELATION_TIME)
    samples = problem.n_steps * step / nominal
    freedom = max(samples - problem.layout.count, 0.5 * samples)
    misfit = float(wave_misfit(problem, difference[:, None], place)[0])
    return misfit * min(float(np.sqrt(max(time / nominal, 1.0) * samples / freedom)), MOST_LASTING)


def lasting_force(problem: Problem, outcomes: list[Outcome]) -> float:
    """Give how large the difference of the waves is apart from noise, around the toe's return [N].

    That is the root mean square of its means over `LASTING_TIME`, over all blows.
    """
    step, squares = problem.mesh.time_step, []
    together = max(round(LASTING_TIME / step), 1)
    for blow, start, outcome in zip(problem.blows, problem.start, outcomes, strict=True):
        toe_return = blow.time[blow.first_peak] + blow.pile.return_time - start
        first, last = (int((toe_return + end) / step) for end in LASTING_WINDOW)
        first = max(min(first, len(outcome.difference) - together), 0)  # a record may end soon after the toe's return
        wave = outcome.difference[first : max(last, first + together), 0]
        wave = wave[: len(wave) // together * together]
        squares.append(float(np.mean(wave.reshape(-1, together).mean(axis=1) ** 2)))
    return float(np.sqrt(np.mean(squares)))


def noise_of(problem: Problem, differences: list[np.ndarray]) -> float:
    """Give the misfit that counts as one standard deviation, from the differences of the waves of all blows [N]."""
    left = [noise_left(problem, difference, place) for place, difference in enumerate(differences)]
    return float(np.clip(np.sqrt(np.mean(np.square(left))), *MISFIT_BOUNDS)) * len(differences) ** COMMON_ERROR


@dataclass(frozen=True)
class StressChange:
    """What residual stress changes, on the first blow and the mesh of the search.

    Parameters
    ----------
    toe_force : float
        Force that earlier blows have left on the toe [N].
    ratio : tuple of float
        Total, shaft and toe resistance with the stress over those without [1].
    misfit, misfit_without : float
        Misfit with the stress and without [1].
    """

    toe_force: float
    ratio: tuple[float, ...]
    misfit: float
    misfit_without: float


@dataclass(frozen=True)
class LawFit:
    """The best model under one soil law.

    Parameters
    ----------
    problem : Problem
        The blows under that law; its misfit is the noise that the best law left.
    scores : numpy.ndarray
        Scores of the best model, shape (n_parameters,) [1].
    misfit : float
        Weighted root mean square difference of the upward waves over the greatest downward wave [1].
    criterion : float
        Sum of squares and twice the number of parameters, less is better [1]: Akaike's for a known noise.
    logarithm : numpy.ndarray
        Logarithms of total, shaft and toe resistance in newtons that the first blow mobilised, shape (3,) [1].
    slope : numpy.ndarray
        Their derivatives by the scores, shape (3, n_parameters) [1].
    covariance : numpy.ndarray
        Of the scores, shape (n_parameters, n_parameters) [1].
    weight : float
        Weight of the law in the mixture [1].
    set_per_blow : float
        Set that the model leaves for the first blow [m].
    stress : StressChange or None
        What stress locked into the pile changes; None where it was not tried.
    lasting : float
        How large the difference of the waves is apart from noise [N], see `lasting_force`.
    """

    problem: Problem
    scores: np.ndarray
    misfit: float
    criterion: float = 0.0
    logarithm: np.ndarray = field(default_factory=lambda: np.zeros(3))
    slope: np.ndarray = field(default_factory=lambda: np.zeros((3, 0)))
    covariance: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    weight: float = 1.0
    set_per_blow: float = float("nan")
    stress: StressChange | None = None
    lasting: float = 0.0

    @property
    def law(self) -> str:
        """The static law, one of `LAWS`."""
        return self.problem.law.backbone

    @property
    def spread(self) -> np.ndarray:
        """Standard deviation of `logarithm`, shape (3,) [1]."""
        return np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", self.slope, self.covariance, self.slope), 1e-12))

    @property
    def points(self) -> float:
        """What a reduced section is judged by, less is better: ``2 n ln(misfit)`` and the penalties [1]."""
        independent = self.problem.n_steps * min(1.0, self.problem.mesh.time_step / CORRELATION_TIME)
        penalty = 3 * PENALTY if "section_left" in self.problem.layout.names else 0.0
        return 2.0 * independent * np.log(max(self.misfit, MISFIT_BOUNDS[0])) + penalty


STEP = 0.03
"""Step of the difference quotients [scores]: far above the rounding of a run, far below a spread."""
LONGEST_MOVE = 1.5
"""Greatest change of one parameter in one iteration [scores]."""
TOLERANCE = 2e-3
"""Gain of a step, over the cost, below which a descent has ended [1]."""
TRIED = (0.1, 3.0)
"""Factors on the damping of an iteration that are tried side by side, each with slopes of its own [1]."""


@dataclass(frozen=True)
class Fit:
    """Where starts ended: scores (n_parameters, n_starts), cost (n_starts,), both [1], and iterations."""

    scores: np.ndarray
    cost: np.ndarray
    iterations: int


def fit(
    residuals: Callable[[np.ndarray], np.ndarray],
    starts: np.ndarray,
    *,
    bound: float,
    most_iterations: int = 25,
    tolerance: float = TOLERANCE,
    least_gain: float = 0.0,
) -> Fit:
    """Minimise sums of squares from several starts, all run together, until a step gains too little.

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
    current, jacobian = _with_slopes(residuals, scores)
    cost = (current**2).sum(axis=0)
    iterations = 0
    while iterations < most_iterations:
        iterations += 1
        normal = np.matmul(jacobian.transpose(0, 2, 1), jacobian)
        slope = np.matmul(jacobian.transpose(0, 2, 1), current.T[:, :, None])[:, :, 0]
        candidates = np.empty((n, n_starts, len(TRIED)))
        for trial, factor in enumerate(TRIED):
            damped = normal + np.einsum("s,sij,ij->sij", damping * factor, normal, np.eye(n)) + 1e-9 * np.eye(n)
            move = np.linalg.solve(damped, -slope[:, :, None])[:, :, 0]
            candidates[:, :, trial] = np.clip(scores + np.clip(move, -LONGEST_MOVE, LONGEST_MOVE).T, -bound, bound)
        # Slopes at every trial, most of them never used: a run costs by its steps far more than by its candidates.
        found, slopes = _with_slopes(residuals, candidates.reshape(n, -1))
        tried = found.reshape(len(current), n_starts, len(TRIED))
        slopes = slopes.reshape(n_starts, len(TRIED), len(current), n)
        costs = (tried**2).sum(axis=0)
        best = costs.argmin(axis=1)
        each = np.arange(n_starts)
        better = costs[each, best] < cost
        gain = np.where(better, cost - costs[each, best], 0.0)
        stuck = ~better & (damping > 1e2)
        moved = each[better]
        scores[:, moved] = candidates[:, moved, best[moved]]
        current[:, moved] = tried[:, moved, best[moved]]
        jacobian[moved] = slopes[moved, best[moved]]
        damping = np.where(better, np.maximum(damping * np.array(TRIED)[best], 1e-5), damping * 6.0)
        settled = better & (gain <= np.maximum(tolerance * cost, least_gain))
        cost = np.where(better, costs[each, best], cost)
        if (settled | stuck).all():
            break
    return Fit(scores, cost, iterations)


def _with_slopes(residuals, scores: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give residuals and their derivatives, shape (n_scores, n_residuals, n_parameters), at every column of scores.

    All of it is one run, with each parameter moved in turn.
    """
    n, n_scores = scores.shape
    moved = np.repeat(scores[:, :, None], n, axis=2)
    moved[np.arange(n), :, np.arange(n)] += STEP
    found = residuals(np.hstack([scores, moved.reshape(n, -1)]))
    current = found[:, :n_scores].copy()
    there = found[:, n_scores:].reshape(len(found), n_scores, n)
    return current, np.moveaxis(there - current[:, :, None], 0, 1) / STEP
