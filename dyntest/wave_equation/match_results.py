"""What matches show: waves, soil along the pile, stresses, the static load–movement curve, and setup."""

from dataclasses import dataclass

import numpy as np

from dyntest.pile import Pile, pile_width
from dyntest.wave_equation.candidates import candidate_mesh, candidate_soil
from dyntest.wave_equation.comparison import LawFit, run
from dyntest.wave_equation.matching import (
    FLOOR,
    TAIL,
    TAIL_OF_PARTS,
    Match,
    least_spread,
    mixture_range,
    widening,
)
from dyntest.wave_equation.problem import BOUND, Problem, physical

LEFT_IN_CHANGE = 0.5
"""Share of what the laws leave unexplained in the total that does not cancel between two matches of one pile [1]. Of 46
simulated pairs it kept the ratio of the totals in its range on 45, of shafts and of toes, where all is left, on 44."""


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
        problem.start[0] + step * np.arange(problem.n_steps),
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
        problem.start[0] + mesh.time_step * motion.greatest_force_step[:, 0],
        problem.start[0] + mesh.time_step * motion.least_force_step[:, 0],
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


OFFSET, OF_WIDTH = "offset", "5 % of the width"
DAVISSON_OFFSET, DAVISSON_SHARE = 0.15 * 0.0254, 1.0 / 120.0
"""Movement at failure beyond the pile's own shortening PL/EA: 0.15 in and D/120 [m, 1] (Davisson's offset, from memory;
described beside other criteria in UFC 3-220-20, chapter 6)."""
WIDTH_SHARE = 0.05
"""Movement of the toe at which a resistance is stated, over the width [1]: where the ground gives way little by little
there is no other failure; common practice, no source."""
DRAWS = 200
"""Models drawn from the mixture for the band [1]."""


@dataclass(frozen=True)
class FailureLoad:
    """Load at the gauges' level at which a criterion calls a static test failed; not a number where it is not reached.

    Parameters
    ----------
    criterion : str
        ``"offset"`` (Davisson's) or ``"5 % of the width"``, a movement of the toe.
    load, movement : float
        Load [N] and movement [m] at the gauges' level.
    load_range : tuple of float
        Range of the load over the models that explain the record [N].
    """

    criterion: str
    load: float
    movement: float
    load_range: tuple[float, float]


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
    head_load_low, head_load_high : numpy.ndarray
        Range of the load at the same movement, shape (n_points,) [N].
    failures : tuple of FailureLoad
        What criteria of failure read from the curve.
    """

    head_load: np.ndarray
    head_movement: np.ndarray
    toe_load: np.ndarray
    toe_movement: np.ndarray
    head_load_low: np.ndarray
    head_load_high: np.ndarray
    failures: tuple[FailureLoad, ...]


def load_movement(match: Match, greatest_toe_movement: float | None = None, n_points: int = 80) -> LoadMovement:
    """Give the static load–movement curve of a matched pile, with its range and what criteria of failure read from it.

    Parameters
    ----------
    match : Match
        The matched blow.
    greatest_toe_movement : float or None
        Toe movement up to which the curve goes [m]; None: three toe quakes and at least 6 % of the width, the order of
        movement at which static tests are read.
    n_points : int
        Number of points [1].

    Returns
    -------
    LoadMovement
        From no load on. Dashpots carry nothing; creep, residual stress and any gain after the test are not in it.

    Notes
    -----
    From the toe upward, for every toe movement at once: ``F += soil(u)`` at a node and ``u += F Δx / EA`` along a
    segment; the load-transfer method of Coyle and Reese (1966), ASCE J. Soil Mech. Found. Div. 92(SM2) (from memory).
    The range holds nineteen in twenty of the models drawn from the mixture of laws, as ranges of the match do.
    """
    problem, pile = match.problem, match.problem.blow.pile
    values = physical(problem.layout, match.scores[:, None])
    width = pile_width(pile)
    if greatest_toe_movement is None:
        greatest_toe_movement = max(3.0 * float(values["toe_quake"][0]), 1.2 * WIDTH_SHARE * width)
    toe_movement = greatest_toe_movement * np.linspace(0.0, 1.0, n_points) ** 2
    head_load, head_movement, toe_load = (curve[:, 0] for curve in _curves(problem, values, toe_movement))
    mobilised = float(np.interp(match.modelled_resistance, head_load, toe_movement))
    drawn = _drawn_curves(match, toe_movement, mobilised)
    at_movement = np.array([np.interp(head_movement, move, load) for load, move in drawn]).reshape(-1, n_points)
    low, high = np.quantile(np.vstack([at_movement, head_load]), (TAIL, 1.0 - TAIL), axis=0)
    failures = []
    for criterion in (OFFSET, OF_WIDTH):
        load, moved = _failure(criterion, pile, width, head_load, head_movement, toe_movement)
        others = [_failure(criterion, pile, width, other, move, toe_movement)[0] for other, move in drawn]
        known = np.array([load, *others])
        known = known[np.isfinite(known)]
        ends = tuple(float(end) for end in np.quantile(known, (TAIL, 1.0 - TAIL))) if len(known) else (np.nan, np.nan)
        failures.append(FailureLoad(criterion, load, moved, (ends[0], ends[1])))
    return LoadMovement(
        head_load,
        head_movement,
        toe_load,
        toe_movement,
        np.minimum(low, head_load),
        np.maximum(high, head_load),
        tuple(failures),
    )


def _curves(problem: Problem, values: dict[str, np.ndarray], toe_movement: np.ndarray):
    """Give loads at the head, their movements and loads at the toe, shape (n_points, n_candidates) [N, m, N]."""
    mesh, soil = candidate_mesh(problem, values), candidate_soil(problem, values)
    impedance = np.reshape(mesh.impedance, (mesh.n_segments, -1))
    flexibility = mesh.time_step / impedance  # Δx / EA = Δt / Z
    movement = np.repeat(toe_movement[:, None], soil.n_candidates, axis=1)
    force = np.zeros_like(movement)
    toe_load = force
    for node in range(mesh.n_segments - 1, -1, -1):
        limit, quake = soil.limit[node], soil.quake[node]
        pressed = np.maximum(movement - values["toe_gap"], 0.0) if node == mesh.n_segments - 1 else movement
        if problem.hyperbolic:
            force = force + limit * pressed / (pressed + quake)
        else:
            force = force + limit * np.minimum(pressed / quake, 1.0)
        if node == mesh.n_segments - 1:
            toe_load = force
        movement = movement + force * flexibility[node]
    return force, movement, toe_load


def _drawn_curves(match: Match, toe_movement: np.ndarray, mobilised: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """Give loads and movements at the head of models drawn from the laws; the same for the same match.

    Each carries what its law says that it mobilised, at the toe movement `mobilised` [m] on a hyperbola and at the end
    of the curve where soil yields, so that the range there is that of the match: drawn far from the best model, shaft
    and toe would not make up for each other as they do near it.
    """
    random, drawn = np.random.default_rng(0), []
    for found in match.fits:
        n = round(DRAWS * found.weight)
        if not n or len(found.covariance) != len(found.scores):
            continue
        root = np.linalg.cholesky(found.covariance + 1e-9 * np.eye(len(found.scores)))
        (wider, _), (floor, _) = widening(found), least_spread(found)
        change = wider * root @ random.standard_normal((len(found.scores), n))
        scores = found.scores[:, None] + change
        values = physical(found.problem.layout, np.clip(scores, -BOUND, BOUND))
        load, movement, _ = _curves(found.problem, values, toe_movement)
        at = mobilised if found.problem.hyperbolic else toe_movement[-1]
        there = np.array([np.interp(at, toe_movement, each) for each in load.T])
        total = np.exp(found.logarithm[0] + found.slope[0] @ change + floor * random.standard_normal(n))
        load = load * total / np.maximum(there, 1.0)
        drawn += list(zip(load.T, movement.T, strict=True))
    return drawn


def _failure(
    criterion: str,
    pile: Pile,
    width: float,
    load: np.ndarray,
    movement: np.ndarray,
    toe_movement: np.ndarray,
) -> tuple[float, float]:
    """Load and movement at the head where a criterion is met; not numbers where the curve does not reach it."""
    if criterion == OFFSET:
        shortening = sum(part.length / (part.modulus * part.area) for part in pile.parts)
        beyond = movement - load * shortening - DAVISSON_OFFSET - DAVISSON_SHARE * width
    else:
        beyond = toe_movement - WIDTH_SHARE * width
    if beyond[-1] < 0.0:
        return float("nan"), float("nan")
    after = int(np.argmax(beyond >= 0.0))
    if after == 0:
        return float(load[0]), float(movement[0])
    share = -beyond[after - 1] / (beyond[after] - beyond[after - 1])
    at_load, at_movement = (trace[after - 1] + share * (trace[after] - trace[after - 1]) for trace in (load, movement))
    return float(at_load), float(at_movement)


SHARED = ("wave_speed_error", "lag", "force_error", "velocity_error")
"""Parameters of pile and gauges, which are the same in both matches. Those of the soil are left to each match, although
its kind is the same: two records often end at quakes and dampings that contradict each other, and shaft and toe that
were made to agree on them were then told by a third to twice too much."""


@dataclass(frozen=True)
class ResistanceRatio:
    """A ratio of two resistances with its range, and the mean and standard deviation of its logarithm [1]."""

    value: float
    low: float
    high: float
    log_mean: float
    log_deviation: float


@dataclass(frozen=True)
class SetupChange:
    """Resistance at a restrike over that at the end of driving.

    Parameters
    ----------
    total, shaft, toe : ResistanceRatio
        Of what the blows mobilised [1]; ranges as those of a match, see `Match`.
    top, bottom : numpy.ndarray
        Depths of the lengths of shaft below the gauges, shape (n_lengths,) [m]; empty where the matches divide the
        shaft otherwise.
    lengths : tuple of ResistanceRatio
        The change of each length of shaft [1].
    lower_bound : bool
        Whether the restrike blow did not mobilise the soil fully, so that the resistance may have grown more.
    """

    total: ResistanceRatio
    shaft: ResistanceRatio
    toe: ResistanceRatio
    top: np.ndarray
    bottom: np.ndarray
    lengths: tuple[ResistanceRatio, ...]
    lower_bound: bool


def setup_change(end_of_driving: Match, restrike: Match) -> SetupChange:
    """Give what changed between two matches of one pile.

    The same pile with the same gauges was struck twice. What belongs to them (factors of the gauges, their lag, wave
    speed) and the soil law must be the same in both, so its uncertainty cancels in their ratio or falls to what both
    records leave together. Each match is a normal distribution of its parameters under each law; the two are joined by
    adding what they know,

        P = P₁ + P₂ − P₀ on the shared parameters,   P m = P₁ m₁ + P₂ m₂,

    with P the inverse covariance and P₀ the prior, which both hold and which counts once (Gelman et al. 2013, Bayesian
    Data Analysis, 3rd ed., §3.5, from memory). Laws are weighed by the product of their weights.
    """
    pairs = [
        (before, after)
        for before in end_of_driving.fits
        for after in restrike.fits
        if before.problem.law == after.problem.law and (before.problem.locked is None) == (after.problem.locked is None)
    ]
    if not pairs:  # no law explains both: then nothing is known to be common but the pile and its gauges
        pairs = [(before, after) for before in end_of_driving.fits for after in restrike.fits]
    weight = np.array([before.weight * after.weight for before, after in pairs])
    weight = weight / weight.sum()
    parts = [_ratios(before, after) for before, after in pairs]
    mean, deviation = (np.array([part[k] for part in parts]) for k in (0, 1))
    parts_of_change = [0, 1, 2] + [1] * (mean.shape[1] - 3)  # a length of shaft is as sure as the whole of it, at best
    factors = np.array([np.max([widening(fit) for fit in pair], axis=0) for pair in pairs])
    floors = np.array([np.max([_least_of_ratio(fit) for fit in pair], axis=0) for pair in pairs])
    deviation = np.hypot(factors[:, [0] + [1] * (mean.shape[1] - 1)] * deviation, floors[:, parts_of_change])
    tails = [TAIL, *[TAIL_OF_PARTS] * (mean.shape[1] - 1)]
    ratios = [_ratio(mean[:, k], deviation[:, k], weight, tail) for k, tail in enumerate(tails)]
    length, embedded = end_of_driving.problem.blow.pile.length, end_of_driving.problem.blow.embedded
    edges = np.linspace(length - min(embedded, length), length, len(ratios) - 2)
    return SetupChange(
        ratios[0],
        ratios[1],
        ratios[2],
        edges[:-1],
        edges[1:],
        tuple(ratios[3:]),
        lower_bound=not restrike.fully_mobilised,
    )


def _ratio(mean: np.ndarray, deviation: np.ndarray, weight: np.ndarray, tail: float) -> ResistanceRatio:
    centre = float(weight @ mean)
    spread = float(np.sqrt(weight @ (deviation**2 + (mean - centre) ** 2)))
    low, high = mixture_range(mean, deviation, weight, tail)
    value = float(np.exp(centre))
    return ResistanceRatio(value, min(low, value), max(high, value), centre, spread)


def _least_of_ratio(fit: LawFit) -> tuple[float, float, float]:
    """Give what is added to the spread of the logarithms of total, shaft and toe over those of another match [1].

    Half of what laws leave unexplained cancels in the total; what a law with radiation may be wrong by does.
    """
    total, part = least_spread(fit, dict.fromkeys(FLOOR, 0.0))
    total, part = np.hypot(FLOOR["total"], LEFT_IN_CHANGE * total), np.hypot(FLOOR["part"], part)
    _, shaft, toe = np.exp(fit.logarithm - fit.logarithm[0])
    return float(total), float(part / shaft), float(part / toe)


def _ratios(before: LawFit, after: LawFit) -> tuple[np.ndarray, np.ndarray]:
    """Logarithms of the ratios of total, shaft, toe and each length of shaft, and their standard deviations [1]."""
    names = before.problem.layout.names, after.problem.layout.names
    shared = [name for name in SHARED if name in names[0] and name in names[1]]
    own = [[k for k, name in enumerate(names[side]) if name not in shared] for side in (0, 1)]
    common = [[names[side].index(name) for name in shared] for side in (0, 1)]
    n = len(own[0]), len(own[1])
    total = n[0] + n[1] + len(shared)
    places = [
        np.array([*range(n[0]), *range(n[0] + n[1], total)]),
        np.array([*range(n[0], n[0] + n[1]), *range(n[0] + n[1], total)]),
    ]
    precision, knowledge = np.zeros((total, total)), np.zeros(total)
    slope = np.zeros((3, total))
    lengths = before.problem.layout.n_shaft if _divided_alike(before, after) else 0
    of_lengths = np.zeros((lengths, total))
    mean = after.logarithm - before.logarithm
    means = [mean, np.zeros(lengths)]
    for side, (found, sign) in enumerate(((before, -1.0), (after, 1.0))):
        order = np.array([*own[side], *common[side]])
        inverse = np.linalg.inv(found.covariance[np.ix_(order, order)])
        where = places[side]
        precision[np.ix_(where, where)] += inverse
        knowledge[where] += inverse @ found.scores[order]
        slope[:, where] += sign * found.slope[:, order]
        means[0] = means[0] - sign * found.slope[:, order] @ found.scores[order]
        layout = found.problem.layout
        for k in range(lengths):
            of_lengths[k, where[order.tolist().index(k)]] += sign * layout.spread[k]
            means[1][k] += sign * layout.expected[k]
    tail = np.arange(n[0] + n[1], total)
    precision[tail, tail] -= 1.0  # both hold the prior of what they share
    covariance = np.linalg.inv(precision)
    joint = covariance @ knowledge
    slopes = np.vstack([slope, of_lengths])
    variance = np.einsum("ij,jk,ik->i", slopes, covariance, slopes)
    return np.concatenate(means) + slopes @ joint, np.sqrt(np.maximum(variance, 1e-12))


def _divided_alike(before: LawFit, after: LawFit) -> bool:
    """Whether both divide the shaft into the same lengths, to a tenth of one."""
    first, second = before.problem, after.problem
    n = first.layout.n_shaft
    apart = abs(first.blow.embedded - second.blow.embedded)
    return n == second.layout.n_shaft and apart <= 0.1 * first.blow.embedded / n
