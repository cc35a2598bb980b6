"""What a match shows: computed against measured waves, the soil along the pile, and stresses anywhere in it."""

from dataclasses import dataclass

import numpy as np

from dyntest.wave_equation.comparison import candidate_mesh, run
from dyntest.wave_equation.matching import Match
from dyntest.wave_equation.parameters import physical


@dataclass(frozen=True)
class MatchedWaves:
    """Waves and forces at the gauges, measured and computed.

    Parameters
    ----------
    time : numpy.ndarray
        Time, shape (n_steps,) [s].
    up_measured, up_computed : numpy.ndarray
        Upward wave, shape (n_steps,) [N].
    force_measured, force_computed : numpy.ndarray
        Force at the gauges, shape (n_steps,) [N], compression positive; the measured downward wave is in both.
    weight : numpy.ndarray
        Weight of each step in the fit, shape (n_steps,) [1].
    """

    time: np.ndarray
    up_measured: np.ndarray
    up_computed: np.ndarray
    force_measured: np.ndarray
    force_computed: np.ndarray
    weight: np.ndarray


@dataclass(frozen=True)
class StressAlongPile:
    """Greatest compression and tension at every depth during the blow.

    Parameters
    ----------
    depth : numpy.ndarray
        Depth below the gauges, shape (n_nodes,) [m].
    compression : numpy.ndarray
        Greatest compression stress, shape (n_nodes,) [Pa].
    tension : numpy.ndarray
        Greatest tension stress, shape (n_nodes,) [Pa], tension positive; 0 where there was none.
    compression_time, tension_time : numpy.ndarray
        When they occurred, shape (n_nodes,) [s].
    """

    depth: np.ndarray
    compression: np.ndarray
    tension: np.ndarray
    compression_time: np.ndarray
    tension_time: np.ndarray


@dataclass(frozen=True)
class ShaftDistribution:
    """Mobilised shaft resistance by length of shaft.

    Parameters
    ----------
    top, bottom : numpy.ndarray
        Depths below the gauges, shape (n_lengths,) [m].
    resistance : numpy.ndarray
        Limit resistance of each length, shape (n_lengths,) [N].
    """

    top: np.ndarray
    bottom: np.ndarray
    resistance: np.ndarray

    @property
    def per_length(self) -> np.ndarray:
        """Resistance per length of pile, shape (n_lengths,) [N/m]."""
        return self.resistance / (self.bottom - self.top)


def matched_waves(match: Match) -> MatchedWaves:
    """Give computed and measured waves of a match.

    Parameters
    ----------
    match : Match
        The matched blow.

    Returns
    -------
    MatchedWaves
        Measured traces are those that were compared, put right for the fitted gauge errors.
    """
    problem = match.problem
    motion, up, values = run(problem, match.scores[:, None])
    step = problem.mesh.time_step / (1.0 + float(values["wave_speed_error"][0]))
    down = motion.down[:, 0]
    return MatchedWaves(
        problem.start + step * np.arange(problem.n_steps),
        up[:, 0],
        motion.up[:, 0],
        down + up[:, 0],
        down + motion.up[:, 0],
        problem.weight,
    )


def stress_along_pile(match: Match) -> StressAlongPile:
    """Give the greatest stresses anywhere along the pile.

    Parameters
    ----------
    match : Match
        The matched blow.

    Returns
    -------
    StressAlongPile
        At every node below the gauges, just above it; where a reduced section was fitted, on what is left of the
        section.
    """
    problem = match.problem
    motion, _, values = run(problem, match.scores[:, None], envelope=True)
    mesh = candidate_mesh(problem, values)
    left = np.reshape(mesh.impedance, (mesh.n_segments, -1))[:, 0] / problem.mesh.impedance
    area = mesh.area * left  # a reduction changes the section and not the wave speed, so impedance goes with area
    return StressAlongPile(
        mesh.depth[1:],
        np.maximum(motion.greatest_force[:, 0], 0.0) / area,
        np.maximum(-motion.least_force[:, 0], 0.0) / area,
        problem.start + mesh.time_step * motion.greatest_force_step[:, 0],
        problem.start + mesh.time_step * motion.least_force_step[:, 0],
    )


def shaft_distribution(match: Match) -> ShaftDistribution:
    """Give the shaft resistance along the pile.

    Parameters
    ----------
    match : Match
        The matched blow.

    Returns
    -------
    ShaftDistribution
        From the ground surface, or the gauges where the shaft is embedded up to them, down to the toe.
    """
    problem = match.problem
    values = physical(problem.layout, match.scores[:, None])["shaft"][:, 0]
    length = problem.blow.pile.length
    edges = np.linspace(length - min(problem.blow.embedded, length), length, len(values) + 1)
    return ShaftDistribution(edges[:-1], edges[1:], values)
