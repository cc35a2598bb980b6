"""What a match shows: computed against measured waves, the soil along the pile, and stresses anywhere in it.

The static load–movement curve that a matched soil implies, at head and toe.
"""

from dataclasses import dataclass

import numpy as np

from dyntest.wave_equation.comparison import candidate_mesh, candidate_soil, run
from dyntest.wave_equation.fitting import HYPERBOLIC
from dyntest.wave_equation.matching import Match
from dyntest.wave_equation.problem import physical


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
    """Give computed and measured waves of a match."""
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
    """Give the greatest stresses anywhere along the pile."""
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


ZERO_LINE = 0.004
"""Error of tension for the zero lines of the gauges, as a share of the greatest compression [1]: about 5 microstrain in
steel. Tension is the small difference of two waves, and is taken higher by this and by the misfit of the match."""

RANGE_OF_COMPRESSION, RANGE_OF_TENSION = (0.02, 2.0), (0.006, 1.5)
"""Half ranges as a share of the greatest compression, and what the misfit adds, by its multiple [1]: measured on piles
computed by a scheme and with soil laws of another kind (`tests/outside/worlds`)."""
RANGE_OF_SECTION = 0.03
"""What a fitted section adds to the half range, as a share of the greatest compression [1]; our choice."""


@dataclass(frozen=True)
class GreatestStress:
    """The greatest stress of one sense anywhere along the pile during a matched blow.

    Parameters
    ----------
    sense : str
        ``"compression"`` or ``"tension"``.
    value, low, high : float
        The stress and its range [Pa], positive in either sense.
    depth : float
        Where, below the gauges [m].
    time : float
        When, in the time of the record [s].
    """

    sense: str
    value: float
    low: float
    high: float
    depth: float
    time: float


def greatest_stresses(match: Match) -> tuple[GreatestStress, GreatestStress]:
    """Give greatest compression and tension anywhere along the pile, in the section that was fitted, with ranges."""
    along = stress_along_pile(match)
    top = float(along.compression.max())
    found = []
    for sense, stress, time, (alone, per_misfit), taken in (
        ("compression", along.compression, along.compression_time, RANGE_OF_COMPRESSION, 0.0),
        ("tension", along.tension, along.tension_time, RANGE_OF_TENSION, ZERO_LINE + match.misfit),
    ):
        at = int(stress.argmax())
        value = float(stress[at])
        if value > 0.0:
            value += taken * top
        half = (alone + per_misfit * match.misfit + (0.0 if match.section is None else RANGE_OF_SECTION)) * top
        low = max(value - half, 0.0)
        found.append(GreatestStress(sense, value, low, value + half, float(along.depth[at]), float(time[at])))
    return found[0], found[1]


def shaft_distribution(match: Match) -> ShaftDistribution:
    """Give the shaft resistance along the pile."""
    problem = match.problem
    values = physical(problem.layout, match.scores[:, None])["shaft"][:, 0]
    length = problem.blow.pile.length
    edges = np.linspace(length - min(problem.blow.embedded, length), length, len(values) + 1)
    return ShaftDistribution(edges[:-1], edges[1:], values)


@dataclass(frozen=True)
class LoadMovement:
    """A computed static load test.

    Parameters
    ----------
    head_load : numpy.ndarray
        Load at the gauges' level, shape (n_points,) [N].
    head_movement : numpy.ndarray
        Its movement, shape (n_points,) [m], downward positive.
    toe_load : numpy.ndarray
        Load at the toe, shape (n_points,) [N].
    toe_movement : numpy.ndarray
        Its movement, shape (n_points,) [m], downward positive.
    """

    head_load: np.ndarray
    head_movement: np.ndarray
    toe_load: np.ndarray
    toe_movement: np.ndarray


def load_movement(match: Match, greatest_toe_movement: float | None = None, n_points: int = 80) -> LoadMovement:
    """Give the static load–movement curve of a matched pile.

    Parameters
    ----------
    match : Match
        The matched blow.
    greatest_toe_movement : float or None
        Toe movement up to which the curve goes [m]; None: three toe quakes and at least a sixtieth of the square root
        of the
        section, the order of movement at which static tests are read.
    n_points : int
        Number of points [1].

    Returns
    -------
    LoadMovement
        From no load on. Dashpots carry nothing; creep, residual stress and any gain after the test are not in it.

    Notes
    -----
    From the toe upward, for every toe movement at once: ``F += soil(u)`` at a node and ``u += F Δx / EA`` along a
    segment; the
    load-transfer method of Coyle and Reese (1966), ASCE J. Soil Mech. Found. Div. 92(SM2) (from memory).
    """
    problem, values = match.problem, physical(match.problem.layout, match.scores[:, None])
    mesh, soil = candidate_mesh(problem, values), candidate_soil(problem, values)
    toe_quake = float(values["toe_quake"][0])
    if greatest_toe_movement is None:
        greatest_toe_movement = max(3.0 * toe_quake, float(np.sqrt(mesh.area[-1])) / 60.0)
    toe_movement = greatest_toe_movement * np.linspace(0.0, 1.0, n_points) ** 2
    length = np.diff(mesh.depth)
    impedance = np.broadcast_to(np.reshape(mesh.impedance, (mesh.n_segments, -1)), (mesh.n_segments, 1))[:, 0]
    flexibility = mesh.time_step / impedance  # Δx / EA = Δt / Z
    movement, force, toe_load = toe_movement.copy(), np.zeros(n_points), None
    for node in range(len(length) - 1, -1, -1):
        limit, quake = float(soil.limit[node, 0]), float(soil.quake[node, 0])
        if match.law == HYPERBOLIC:
            force = force + limit * movement / (movement + quake)
        else:
            force = force + limit * np.minimum(movement / quake, 1.0)
        toe_load = force.copy() if toe_load is None else toe_load
        movement = movement + force * flexibility[node]
    return LoadMovement(force, movement, toe_load, toe_movement)
