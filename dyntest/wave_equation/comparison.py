"""Computed against measured waves: what a candidate model gets wrong, in standard deviations, and how to make it less.

Candidates of several soil laws and several blows are computed together in one run: each `Task` brings some columns.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from dyntest.pile import Pile, pile_width
from dyntest.wave_equation.problem import (
    BOUND,
    LAST_STEP,
    LAYER_NAMES,
    LAYERED,
    NEIGHBOUR_SPREAD,
    OPEN_RADIATION,
    POISSON,
    POWER,
    RADIATING,
    SHAFT_RISE,
    SOIL_DENSITY,
    Parameters,
    Problem,
    drift_name,
    physical,
    set_spread,
    waves,
)
from dyntest.wave_equation.simulator import Motion, impose_down_wave, simulate
from dyntest.wave_equation.soil import Mesh, SoilModel, build_soil, lower_bound, unloading_stiffness

CORRELATION_TIME = 0.5e-3
"""Least time over which errors of model and gauges hang together [s]; samples closer than that do not count as new."""
MOST_LASTING = 3.0
"""Greatest noise over misfit [1]: an offset that stays to the end of the record says little of the resistance."""
MISFIT_BOUNDS = (0.003, 0.05)
"""Least and greatest misfit that counts as noise [1]: gauges are never better, and worse is no fit."""
COMMON_ERROR = 0.25
"""Power of the number of blows by which the noise of each counts more [1]: 0 would take the errors of the model for new
in each blow, 0.5 for the same in all; our own choice between them."""
PENALTY = 4.0
"""Points by which a reduced section must be better for each parameter it adds [1]; a point is one unit of
``2 n ln(misfit)`` with n independent samples, the criterion of Akaike (1974) (from memory)."""


@dataclass(frozen=True)
class Task:
    """Candidate models of one problem for one of its blows; scores of shape (n_parameters, n_candidates) [1]."""

    problem: Problem
    blow: int
    scores: np.ndarray


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


def measured_waves(problem: Problem, values: dict[str, np.ndarray], place: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Give the measured waves at every candidate's steps, put right for its gauge errors.

    Units: returns [N].
    """
    blow = problem.blows[place]
    clock = np.stack([np.broadcast_to(values[name], values["drift"].shape) for name in ("wave_speed_error", "lag")])
    unlike, which = np.unique(clock, axis=1, return_inverse=True)
    which = which.ravel()
    time = problem.start[place] + np.arange(problem.n_steps)[:, None] * (problem.mesh.time_step / (1.0 + unlike[0]))
    force = np.interp(time.ravel(), blow.time, blow.force).reshape(time.shape)[:, which]
    velocity = np.interp((time - unlike[1]).ravel(), blow.time, blow.velocity).reshape(time.shape)[:, which]
    velocity *= 1.0 + values["velocity_error"]
    velocity += values[drift_name(place)] * np.maximum(time - blow.time[blow.onset], 0.0)[:, which]
    stretch = 1.0 + values["wave_speed_error"] if problem.linked else 1.0
    force *= (1.0 + values["force_error"]) * stretch**2
    velocity *= stretch
    return waves(force, velocity, blow.pile.impedance)


def candidate_soil(problem: Problem, values: dict[str, np.ndarray]) -> SoilModel:
    """Give the soil of every candidate in the time of the mesh, which is stretched by the error of the wave speed."""
    return matched_soil(problem, values, problem.share, stretch=1.0 + values["wave_speed_error"])


def matched_soil(
    problem: Problem,
    values: dict[str, np.ndarray],
    share: np.ndarray,
    *,
    scale: np.ndarray | float = 1.0,
    stretch: np.ndarray | float = 1.0,
) -> SoilModel:
    """Give the soil of parameters on the nodes of any mesh, its resistances scaled and its quakes stretched.

    The one builder: matching, load–movement, the hammer's calibration and the bearing graph all take their soil here.
    `share` of shape (n_segments, n_shaft) says which node carries what; `scale` and `stretch` [1] may differ from
    candidate to candidate.
    """
    damping = problem.law.damping
    n_shaft = share.shape[1]
    along = share @ (np.arange(n_shaft) + 0.5) / n_shaft / np.maximum(share.sum(axis=1), 1e-12) - 0.5
    along = along[:-1, None]  # from −0.5 at the beginning of the shaft to 0.5 at its end
    shaft_quake = values["shaft_quake"] * stretch * np.exp(values["quake_rise"] * along)
    zones = share @ np.broadcast_to(problem.zones, n_shaft) / np.maximum(share.sum(axis=1), 1e-12)
    shaft_damping = values["shaft_damping"] * np.exp(values["damping_rise"] * along) * zones[:-1, None]
    soil = build_soil(
        share @ values["shaft"] * scale,
        values["toe_resistance"] * scale,
        shaft_quake=shaft_quake,
        toe_quake=values["toe_quake"] * stretch,
        shaft_damping=shaft_damping,
        toe_damping=values["toe_damping"],
        smith=problem.smith,
        hyperbolic=problem.hyperbolic,
    )
    gap = np.broadcast_to(values["toe_gap"] * stretch, soil.n_candidates)
    soil = replace(soil, upward_limit=soil.limit * values["upward_share"], toe_gap=gap)
    # a spring that carries waves away is the ground itself: it unloads as it loads
    unloading = 1.0 if damping in RADIATING else values["unloading_share"]
    unloading = unloading if problem.hyperbolic else np.minimum(unloading, 1.0)
    soil = replace(soil, unloading_quake=soil.quake * unloading)
    if damping == LAYERED:
        layers = np.stack([values[name] for name in LAYER_NAMES]) * problem.blow.pile.impedance
        soil = replace(soil, damping=soil.damping + share @ (layer_lengths(n_shaft, problem.ends) @ layers) * scale)
    if damping in (POWER, *RADIATING):
        factor = np.empty_like(soil.limit)
        factor[:-1], factor[-1] = shaft_damping, values["toe_damping"]
        soil = replace(soil, damping=np.zeros_like(soil.limit), rate_damping=factor, rate_power=values["rate_power"])
    if damping in RADIATING:
        lengths = share.sum(axis=1) * min(problem.blow.embedded, problem.blow.pile.length) / n_shaft
        dashpot = dashpots(unloading_stiffness(soil) * stretch, lengths, problem.blow.pile, values["dashpot_power"])
        dashpot[:-1] *= values["shaft_radiation"]
        dashpot[-1] *= values["toe_radiation"]
        if damping == OPEN_RADIATION:
            soil.damping[-1], dashpot[-1], factor[-1] = dashpot[-1], 0.0, 0.0
        soil = replace(soil, radiation=dashpot)
    return soil


def dashpots(stiffness: np.ndarray, lengths: np.ndarray, pile: Pile, power: np.ndarray) -> np.ndarray:
    """Give the dashpots of ground that carries waves away from the pile, from the springs that it gives at each node.

    Units: stiffness [N/m]; lengths [m]; power [1]; returns [N s/m].

    The spring gives the dashpot, by ``k = 2.9 G`` and ``c = 2 π r √(G ρ)`` per length of shaft (Randolph and Simons
    1986) and ``K = 4 G r/(1 − ν)`` and ``C = 3.4 r² √(G ρ)/(1 − ν)`` under a round toe (Lysmer and Richart 1966), both
    from memory. Along the shaft c keeps its mean and follows ``k^power``.
    """
    width, soft = pile_width(pile), 1e-3
    radius = 2.0 * width / np.pi  # of the same perimeter as a square
    per_length = stiffness[:-1] / np.maximum(lengths[:-1, None], soft)
    mean = np.maximum(stiffness[:-1].sum(axis=0) / max(lengths.sum(), soft), soft)
    found = np.empty_like(stiffness)
    found[:-1] = 2.0 * np.pi * radius * lengths[:-1, None] * np.sqrt(SOIL_DENSITY * mean / 2.9)
    found[:-1] *= np.maximum(per_length / mean, soft) ** power
    radius = width / np.sqrt(np.pi)  # of the same area
    rigidity = stiffness[-1] * (1.0 - POISSON) / (4.0 * radius)
    found[-1] = 3.4 * radius**2 * np.sqrt(rigidity * SOIL_DENSITY) / (1.0 - POISSON)
    return found


def layer_lengths(n_shaft: int, ends: np.ndarray) -> np.ndarray:
    """Give how stretches that end at shares of the shaft are spread over its lengths, shape (n_shaft, LAYERS) [1]."""
    edges = np.linspace(0.0, 1.0, n_shaft + 1)
    overlap = np.minimum(edges[1:, None], ends[None, 1:]) - np.maximum(edges[:-1, None], ends[None, :-1])
    return np.clip(overlap, 0.0, None) / np.diff(ends)


def candidate_mesh(problem: Problem, values: dict[str, np.ndarray]) -> Mesh:
    """Give the pile of every candidate: the sheet's, with the wave speed and the reduced section being fitted."""
    mesh = problem.mesh
    if problem.linked:
        mesh = replace(mesh, impedance=mesh.impedance[:, None] * (1.0 + values["wave_speed_error"]))
    if "section_left" not in values:
        return mesh
    top, bottom = mesh.depth[:-1, None], mesh.depth[1:, None]
    upper, lower = values["section_depth"], values["section_depth"] + values["section_length"]
    covered = np.clip(np.minimum(bottom, lower) - np.maximum(top, upper), 0.0, None) / (bottom - top)
    impedance = np.reshape(mesh.impedance, (mesh.n_segments, -1))
    return replace(mesh, impedance=impedance * (1.0 - (1.0 - values["section_left"]) * covered))


def run(problem: Problem, scores: np.ndarray, place: int = 0, **options) -> tuple[Motion, np.ndarray, dict]:
    """Drive every candidate of one problem with a measured downward wave, the first blow's unless said otherwise.

    Units: returns [N].
    """
    values = physical(problem.layout, scores)
    down, up = measured_waves(problem, values, place)
    mesh, soil = candidate_mesh(problem, values), candidate_soil(problem, values)
    motion = simulate(mesh, soil, impose_down_wave(down), problem.n_steps, single=True, **options)
    return motion, up, values


def run_tasks(tasks: list[Task], *, peaks: bool = False) -> list[Outcome]:
    """Compute all candidates of tasks of one pile together, those of as many steps in one run.

    Their problems differ in law, blow and soil, and in nothing else.
    """
    lengths = [task.problem.n_steps for task in tasks]
    if len(set(lengths)) > 1:
        done: dict[int, Outcome] = {}
        for length in dict.fromkeys(lengths):
            places = [place for place, other in enumerate(lengths) if other == length]
            done |= dict(zip(places, run_tasks([tasks[place] for place in places], peaks=peaks), strict=True))
        return [done[place] for place in range(len(tasks))]
    downs, ups, soils, meshes = [], [], [], []
    for task in tasks:
        values = physical(task.problem.layout, task.scores)
        down, up = measured_waves(task.problem, values, task.blow)
        downs.append(down)
        ups.append(up)
        soils.append(candidate_soil(task.problem, values))
        meshes.append(candidate_mesh(task.problem, values))
    counts = [task.scores.shape[1] for task in tasks]
    soil, mesh = join_soils(soils), meshes[0]
    if np.ndim(mesh.impedance) == 2:
        mesh = replace(mesh, impedance=np.concatenate([each.impedance for each in meshes], axis=1))
    motion = simulate(
        mesh, soil, impose_down_wave(np.concatenate(downs, axis=1)), tasks[0].problem.n_steps, single=True, peaks=peaks
    )
    settled = motion.toe_displacement[-1] + coming_rest(soil, motion.state.spring)
    peak = motion.greatest_spring
    found = (
        np.stack([peak.sum(axis=0), peak[:-1].sum(axis=0), peak[-1]]) if peaks else np.full((3, sum(counts)), np.nan)
    )
    edges = np.cumsum([0, *counts])
    return [
        Outcome(motion.up[:, a:b] - up, found[:, a:b], settled[a:b])
        for up, a, b in zip(ups, edges[:-1], edges[1:], strict=True)
    ]


def join_soils(soils: list[SoilModel]) -> SoilModel:
    """Give the candidates of several soils side by side."""
    joined: dict[str, Any] = {}
    for name in (each.name for each in fields(SoilModel)):
        values = [getattr(soil, name) for soil in soils]
        if name in ("hyperbolic", "rate_power"):
            values = [np.broadcast_to(value, soil.n_candidates) for value, soil in zip(values, soils, strict=True)]
        elif all(value is None for value in values):
            joined[name] = None
            continue
        blank = [np.zeros_like(soil.limit) for soil in soils]
        values = [other if value is None else value for value, other in zip(values, blank, strict=True)]
        joined[name] = np.concatenate(values, axis=-1)
    return SoilModel(**joined)


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


def wave_residuals(task: Task, outcome: Outcome, column: int) -> np.ndarray:
    """Give what is to be made small for one blow: differences of the waves and, where the log knows it, of the set."""
    blow = task.problem.blows[task.blow]
    rows = outcome.difference[:, column] * _unit(task.problem, task.blow)
    if blow.set_per_blow == blow.set_per_blow:
        rows = np.append(rows, (outcome.set_per_blow[column] - blow.set_per_blow) / set_spread(blow))
    return rows


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


def noise_of(problem: Problem, outcomes: list[Outcome]) -> float:
    """Give the misfit that counts as one standard deviation, over all blows."""
    left = [noise_left(problem, outcome.difference[:, 0], place) for place, outcome in enumerate(outcomes)]
    return float(np.clip(np.sqrt(np.mean(np.square(left))), *MISFIT_BOUNDS)) * len(outcomes) ** COMMON_ERROR


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
) -> Fit:
    """Minimise sums of squares from several starts, all run together.

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
        settled = better & (gain <= tolerance * cost)
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
