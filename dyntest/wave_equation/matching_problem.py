"""One blow as a fitting problem: the measured downward wave drives the model, the upward wave is compared.

Errors of the gauges belong to the model: a small factor on the velocity, a lag between strain and acceleration, a
drift of
the velocity and an error of the wave speed are parameters with tight expectations, so that none of them is mistaken
for soil.
"""

from dataclasses import dataclass, replace

import numpy as np

from dyntest.pile import Pile
from dyntest.wave_equation.head import impose_down_wave
from dyntest.wave_equation.mesh import Mesh, mesh_pile
from dyntest.wave_equation.parameters import NEIGHBOUR_SPREAD, Layout, Reduction, lay_out, physical
from dyntest.wave_equation.simulator import Motion, simulate
from dyntest.wave_equation.soil import Soil, build_soil, placement

TARGET_STEP = 80e-6
"""Time step that is aimed at [s]; an impact rises in about a millisecond."""
FEWEST_SEGMENTS, MOST_SEGMENTS = 16, 96
LEAD = 0.5e-3
"""Time before the impact at which the comparison begins [s]."""
SPAN = 30e-3
"""Time after the toe's return up to which waves are compared [s]: loading, rebound and unloading."""
FULL_WEIGHT_SPAN, LEAST_WEIGHT = 4e-3, 0.35
"""Time after the toe's return with full weight [s], and the weight that is left at the end [1]: drift grows with
time."""
CORRELATION_TIME = 0.5e-3
"""Time over which errors of model and gauges hang together [s]; samples closer than that do not count as new ones."""
FIRST_MISFIT = 0.01
"""Misfit that is expected before anything is known, as a share of the greatest downward wave [1]."""


@dataclass(frozen=True)
class Blow:
    """One blow's record and what is known of pile and soil.

    Parameters
    ----------
    time : numpy.ndarray
        Time of the samples, shape (n_samples,) [s].
    force : numpy.ndarray
        Force at the gauges, shape (n_samples,) [N], compression positive.
    velocity : numpy.ndarray
        Velocity at the gauges, shape (n_samples,) [m/s], downward positive.
    onset, first_peak : int
        Samples at which the impact begins and the downward wave first peaks [1].
    pile : Pile
        The pile.
    embedded : float
        Length of the shaft in soil [m], counted from the toe; no more than the length below the gauges.
    shaft_soil, toe_soil : str or None
        Soil along the shaft and at the toe, as in the sheet's [soil].
    """

    time: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    onset: int
    first_peak: int
    pile: Pile
    embedded: float
    shaft_soil: str | None = None
    toe_soil: str | None = None


@dataclass(frozen=True)
class Problem:
    """A blow made ready to be fitted under one soil law.

    Parameters
    ----------
    blow : Blow
        The record.
    layout : Layout
        The parameters.
    mesh : Mesh
        The pile's segments, from the gauges down.
    share : numpy.ndarray
        Which node carries what of each length of shaft, shape (n_segments, n_shaft) [1].
    hyperbolic : bool
        The soil law.
    start : float
        Time of the first step [s].
    n_steps : int
        Number of steps compared [1].
    weight : numpy.ndarray
        Weight of each step, shape (n_steps,) [1].
    scale : float
        Greatest downward wave [N]; misfits are shares of it.
    misfit : float
        Misfit that counts as one standard deviation [1].
    """

    blow: Blow
    layout: Layout
    mesh: Mesh
    share: np.ndarray
    hyperbolic: bool
    start: float
    n_steps: int
    weight: np.ndarray
    scale: float
    misfit: float = FIRST_MISFIT


def make_problem(blow: Blow, *, hyperbolic: bool = False, reduction: Reduction | None = None) -> Problem:
    """Make a blow ready to be fitted.

    Parameters
    ----------
    blow : Blow
        The record.
    hyperbolic : bool
        The soil law.
    reduction : Reduction or None
        A reduced section to be fitted.

    Returns
    -------
    Problem
        With segments of about `TARGET_STEP` and the window from `LEAD` before the impact to `SPAN` after the toe's
        return, or to
        the end of the record.
    """
    pile, time = blow.pile, blow.time
    down, up = _waves(blow.force, blow.velocity, pile.impedance)
    segments = int(np.clip(round(pile.return_time / 2 / TARGET_STEP), FEWEST_SEGMENTS, MOST_SEGMENTS))
    mesh = mesh_pile(pile, segments)
    start = time[blow.onset] - LEAD
    toe_return = time[blow.first_peak] + pile.return_time
    n_steps = int((min(time[-1], toe_return + SPAN) - start) / mesh.time_step)
    since = start + mesh.time_step * np.arange(n_steps) - toe_return - FULL_WEIGHT_SPAN
    weight = np.clip(1.0 - since / SPAN, LEAST_WEIGHT, 1.0)
    scale = float(down[blow.first_peak])
    back = float(np.interp(toe_return, time, up))
    total = scale + back
    first_idea = max(0.1 * scale, total - 0.3 * (2.0 * scale - total))
    embedded = min(blow.embedded, pile.length)
    layout = lay_out(pile, blow.shaft_soil, blow.toe_soil, embedded, first_idea, reduction)
    share = placement(mesh, pile.length - embedded, pile.length, layout.n_shaft)
    return Problem(blow, layout, mesh, share, hyperbolic, float(start), n_steps, weight, scale)


def _waves(force: np.ndarray, velocity: np.ndarray, impedance: float) -> tuple[np.ndarray, np.ndarray]:
    return 0.5 * (force + impedance * velocity), 0.5 * (force - impedance * velocity)


def measured_waves(problem: Problem, values: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Give the measured waves at every candidate's steps, put right for its gauge errors.

    Parameters
    ----------
    problem : Problem
        The blow.
    values : dict of numpy.ndarray
        Parameters as `physical` gives them, each for n_candidates.

    Returns
    -------
    tuple of numpy.ndarray
        Downward and upward wave, each of shape (n_steps, n_candidates) [N].
    """
    blow = problem.blow
    steps = problem.mesh.time_step / (1.0 + values["wave_speed_error"])
    time = problem.start + np.arange(problem.n_steps)[:, None] * steps
    force = np.interp(time.ravel(), blow.time, blow.force).reshape(time.shape)
    velocity = np.interp((time - values["lag"]).ravel(), blow.time, blow.velocity).reshape(time.shape)
    velocity *= 1.0 + values["velocity_error"]
    velocity += values["drift"] * np.maximum(time - blow.time[blow.onset], 0.0)
    return _waves(force, velocity, blow.pile.impedance)


def candidate_soil(problem: Problem, values: dict[str, np.ndarray]) -> Soil:
    """Give the soil of every candidate.

    Parameters
    ----------
    problem : Problem
        The blow.
    values : dict of numpy.ndarray
        Parameters as `physical` gives them.

    Returns
    -------
    Soil
        Quakes are in the simulator's time, which the wave-speed error stretches.
    """
    stretch = 1.0 + values["wave_speed_error"]
    soil = build_soil(
        problem.share @ values["shaft"],
        values["toe_resistance"],
        shaft_quake=values["shaft_quake"] * stretch,
        toe_quake=values["toe_quake"] * stretch,
        shaft_damping=values["shaft_damping"],
        toe_damping=values["toe_damping"],
        hyperbolic=problem.hyperbolic,
    )
    return replace(soil, upward_limit=soil.limit * values["upward_share"])


def candidate_mesh(problem: Problem, values: dict[str, np.ndarray]) -> Mesh:
    """Give the pile of every candidate: the sheet's, or with the reduced section that is being fitted.

    Parameters
    ----------
    problem : Problem
        The blow.
    values : dict of numpy.ndarray
        Parameters as `physical` gives them.

    Returns
    -------
    Mesh
        Where a section is fitted, impedances of shape (n_segments, n_candidates); a segment that is reduced in part
        has a part
        of the reduction, so that depth and length can be fitted smoothly.
    """
    mesh = problem.mesh
    if "section_left" not in values:
        return mesh
    top, bottom = mesh.depth[:-1, None], mesh.depth[1:, None]
    upper, lower = values["section_depth"], values["section_depth"] + values["section_length"]
    covered = np.clip(np.minimum(bottom, lower) - np.maximum(top, upper), 0.0, None) / (bottom - top)
    return replace(mesh, impedance=mesh.impedance[:, None] * (1.0 - (1.0 - values["section_left"]) * covered))


def run(problem: Problem, scores: np.ndarray, **options) -> tuple[Motion, np.ndarray, dict[str, np.ndarray]]:
    """Drive every candidate with the measured downward wave.

    Parameters
    ----------
    problem : Problem
        The blow.
    scores : numpy.ndarray
        Scores, shape (n_parameters, n_candidates) [1].
    **options
        Passed to `dyntest.wave_equation.simulator.simulate`.

    Returns
    -------
    tuple of Motion, numpy.ndarray, dict
        The computed motion, the measured upward wave of shape (n_steps, n_candidates) [N], and the parameters' values.
    """
    values = physical(problem.layout, scores)
    down, up = measured_waves(problem, values)
    mesh, soil = candidate_mesh(problem, values), candidate_soil(problem, values)
    return simulate(mesh, soil, impose_down_wave(down), problem.n_steps, **options), up, values


def residuals(problem: Problem, scores: np.ndarray) -> np.ndarray:
    """Give what is to be made small: wave differences, scores, and differences of neighbouring shaft lengths.

    Parameters
    ----------
    problem : Problem
        The blow.
    scores : numpy.ndarray
        Scores, shape (n_parameters, n_candidates) [1].

    Returns
    -------
    numpy.ndarray
        Each in standard deviations, shape (n_residuals, n_candidates) [1].
    """
    motion, up, _ = run(problem, scores)
    return _residuals(problem, scores, motion.up - up)


def residuals_and_resistance(problem: Problem, scores: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the residuals and, from the same run, what was mobilised.

    Parameters
    ----------
    problem : Problem
        The blow.
    scores : numpy.ndarray
        Scores, shape (n_parameters, n_candidates) [1].

    Returns
    -------
    tuple of numpy.ndarray
        Residuals as `residuals` gives them, shape (n_residuals, n_candidates) [1], and mobilised total, shaft and toe
        resistance,
        shape (3, n_candidates) [N].
    """
    motion, up, _ = run(problem, scores, peaks=True)
    shaft, toe = motion.greatest_spring[:-1].sum(axis=0), motion.greatest_spring[-1]
    return _residuals(problem, scores, motion.up - up), np.stack([shaft + toe, shaft, toe])


def _residuals(problem: Problem, scores: np.ndarray, difference: np.ndarray) -> np.ndarray:
    counts = min(1.0, problem.mesh.time_step / CORRELATION_TIME)
    unit = problem.weight * np.sqrt(counts) / (problem.misfit * problem.scale)
    layout = problem.layout
    logarithms = (layout.expected[:, None] + layout.spread[:, None] * scores)[: layout.n_shaft]
    return np.vstack([difference * unit[:, None], scores, np.diff(logarithms, axis=0) / NEIGHBOUR_SPREAD])


def wave_misfit(problem: Problem, difference: np.ndarray) -> np.ndarray:
    """Give the misfit of computed and measured upward wave.

    Parameters
    ----------
    problem : Problem
        The blow.
    difference : numpy.ndarray
        Computed less measured wave, shape (n_steps, n_candidates) [N].

    Returns
    -------
    numpy.ndarray
        Weighted root of the mean square difference over the greatest downward wave, shape (n_candidates,) [1].
    """
    square = (difference * problem.weight[:, None]) ** 2
    return np.sqrt(square.sum(axis=0) / (problem.weight**2).sum()) / problem.scale
