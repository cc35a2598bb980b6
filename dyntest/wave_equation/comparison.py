"""Computed against measured waves: what a candidate model gets wrong, in standard deviations."""

from dataclasses import replace

import numpy as np

from dyntest.wave_equation.problem import NEIGHBOUR_SPREAD, Problem, physical, waves
from dyntest.wave_equation.simulator import Motion, impose_down_wave, simulate
from dyntest.wave_equation.soil import Mesh, SoilModel, build_soil

CORRELATION_TIME = 0.5e-3
"""Least time over which errors of model and gauges hang together [s]; samples closer than that do not count as new."""


def measured_waves(problem: Problem, values: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Give the measured waves at every candidate's steps, put right for its gauge errors.

    Units: returns [N].
    """
    blow = problem.blow
    steps = problem.mesh.time_step / (1.0 + values["wave_speed_error"])
    time = problem.start + np.arange(problem.n_steps)[:, None] * steps
    force = np.interp(time.ravel(), blow.time, blow.force).reshape(time.shape)
    velocity = np.interp((time - values["lag"]).ravel(), blow.time, blow.velocity).reshape(time.shape)
    velocity *= 1.0 + values["velocity_error"]
    velocity += values["drift"] * np.maximum(time - blow.time[blow.onset], 0.0)
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
    soil = build_soil(
        share @ values["shaft"] * scale,
        values["toe_resistance"] * scale,
        shaft_quake=values["shaft_quake"] * stretch,
        toe_quake=values["toe_quake"] * stretch,
        shaft_damping=values["shaft_damping"],
        toe_damping=values["toe_damping"],
        smith=problem.smith,
        hyperbolic=problem.hyperbolic,
    )
    return replace(soil, upward_limit=soil.limit * values["upward_share"])


def candidate_mesh(problem: Problem, values: dict[str, np.ndarray]) -> Mesh:
    """Give the pile of every candidate: the sheet's, or with the reduced section that is being fitted."""
    mesh = problem.mesh
    if "section_left" not in values:
        return mesh
    top, bottom = mesh.depth[:-1, None], mesh.depth[1:, None]
    upper, lower = values["section_depth"], values["section_depth"] + values["section_length"]
    covered = np.clip(np.minimum(bottom, lower) - np.maximum(top, upper), 0.0, None) / (bottom - top)
    return replace(mesh, impedance=mesh.impedance[:, None] * (1.0 - (1.0 - values["section_left"]) * covered))


def run(problem: Problem, scores: np.ndarray, **options) -> tuple[Motion, np.ndarray, dict[str, np.ndarray]]:
    """Drive every candidate with the measured downward wave.

    Units: returns [N].
    """
    values = physical(problem.layout, scores)
    down, up = measured_waves(problem, values)
    mesh, soil = candidate_mesh(problem, values), candidate_soil(problem, values)
    motion = simulate(mesh, soil, impose_down_wave(down), problem.n_steps, single=True, **options)
    return motion, up, values


def residuals(problem: Problem, scores: np.ndarray) -> np.ndarray:
    """Give what is to be made small: wave differences, scores, and differences of neighbouring shaft lengths."""
    motion, up, _ = run(problem, scores)
    return _residuals(problem, scores, motion.up - up)


def residuals_and_resistance(problem: Problem, scores: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the residuals and, from the same run, what was mobilised.

    Units: returns [N].
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

    Units: difference [N].
    """
    square = (difference * problem.weight[:, None]) ** 2
    return np.sqrt(square.sum(axis=0) / (problem.weight**2).sum()) / problem.scale


def noise_left(problem: Problem, difference: np.ndarray) -> float:
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
    misfit = float(wave_misfit(problem, difference[:, None])[0])
    return misfit * np.sqrt(max(time / nominal, 1.0) * samples / freedom)
