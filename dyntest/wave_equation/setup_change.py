"""What changed between the end of driving and a restrike, from both matches at once.

The same pile, the same gauges and the same kind of soil were struck twice. Whatever the two matches share (factors of
the gauges, wave speed, quakes, the power of the rate effect, and the law itself) must be the same in both, so its
uncertainty cancels in their ratio or falls to what both records leave together. Each match is a normal distribution of
its parameters under each law; the two are joined by adding what they know,

    P = P₁ + P₂ − P₀ on the shared parameters,   P m = P₁ m₁ + P₂ m₂,

with P the inverse covariance and P₀ the prior, which both hold and which counts once (Gelman et al. 2013, Bayesian Data
Analysis, 3rd ed., §3.5, from memory). Laws are weighed by the product of their weights.
"""

from dataclasses import dataclass

import numpy as np

from dyntest.wave_equation.fitting import LawFit
from dyntest.wave_equation.matching import FLOOR, WIDENING, WIDENING_OF_PARTS, Match, mixture_range

SHARED = (
    "shaft_quake",
    "toe_quake",
    "quake_rise",
    "rate_power",
    "shaft_radiation",
    "toe_radiation",
    "wave_speed_error",
    "lag",
    "force_error",
    "velocity_error",
)
"""Parameters that belong to pile, gauges and kind of soil, and not to the resistance [1]. Dampings are left to each
match: remoulded and rested soil need not damp alike."""


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
        Of what the blows mobilised [1].
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
    """Give what changed between two matches of one pile."""
    pairs = [
        (before, after)
        for before in end_of_driving.fits
        for after in restrike.fits
        if before.problem.law == after.problem.law
    ]
    if not pairs:  # no law explains both: then nothing is known to be common but the pile and its gauges
        pairs = [(before, after) for before in end_of_driving.fits for after in restrike.fits]
    weight = np.array([before.weight * after.weight for before, after in pairs])
    weight = weight / weight.sum()
    parts = [_ratios(before, after) for before, after in pairs]
    mean, deviation = (np.array([part[k] for part in parts]) for k in (0, 1))
    floor = np.full(mean.shape[1], FLOOR["part"])
    floor[0] = FLOOR["total"]
    widening = np.full(mean.shape[1], WIDENING_OF_PARTS)
    widening[0] = WIDENING
    deviation = np.hypot(widening * deviation, floor)
    ratios = [_ratio(mean[:, k], deviation[:, k], weight) for k in range(mean.shape[1])]
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


def _ratio(mean: np.ndarray, deviation: np.ndarray, weight: np.ndarray) -> ResistanceRatio:
    centre = float(weight @ mean)
    spread = float(np.sqrt(weight @ (deviation**2 + (mean - centre) ** 2)))
    low, high = mixture_range(mean, deviation, weight)
    value = float(np.exp(centre))
    return ResistanceRatio(value, min(low, value), max(high, value), centre, spread)


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
