"""The risks of a blow count: that a pile which just passes is short, and that a sound one is rejected.

Every error is taken as lognormal and independent of the others: the resistance from matching, the bearing graph, what
waiting changes from pile to pile, and whole blows over a length. This is the error of carrying a test pile's result
to other piles; how far matching lies from a static load test is in the resistance factor.
"""

from math import exp, hypot, log, sqrt
from statistics import NormalDist

TOLERATED = 0.97
"""Share of the requirement under which a pile counts as short when the target is chosen [1]; our choice."""

SHORT_PASSING = 0.01
"""Share of the piles under `TOLERATED` of the requirement that may pass [1]; our choice."""

WEAKEST = 0.65
"""Share of the requirement that the weakest production piles have, from which they are taken to be spread evenly
upward [1]; no source. Piles nearer together, or a match that is too high, let more short ones pass."""

SHORT_TOLD = 1.0 / 3.0
"""Chance that a pile which just passes is short, above which a caution says so [1]: one pile in three. Where waiting
was measured the margin for its errors keeps the chance below; at one half the count shows just what is required. No
alert: a count set at the requirement itself is common practice, and resistance factors allow for it; our choice."""

SOUND = 1.10
"""Share of the requirement that a pile has for which the chance of being rejected is given [1]; our choice."""

GRAPH_DEVIATION = 0.02
"""Standard deviation of the logarithm of a resistance read off a bearing graph near the measured blows that it passes
through [1]; measured on simulated structures."""

GRAPH_SHARE = 0.3
"""Share of the graph's own error at the measured blows that is taken to be left at other strokes and resistances after
it was shifted to pass through them [1]; our choice."""

SETUP_SCATTER_LEAST, SETUP_SCATTER_SHARE = 0.02, 0.15
"""Scatter of a setup factor from pile to pile, standard deviation of its logarithm [1]: a least value, and with it a
share of the change; common practice, no source. Test piles of one structure say more."""


def setup_scatter(factor: float) -> float:
    """Give the scatter of a setup factor from pile to pile, as standard deviation of its logarithm [1].

    Examples
    --------
    >>> round(setup_scatter(1.3), 3), round(setup_scatter(1.0), 3)
    (0.04, 0.02)
    """
    return hypot(SETUP_SCATTER_LEAST, SETUP_SCATTER_SHARE * (factor - 1.0) / factor)


def graph_deviation(shift: float) -> float:
    """Give the error of a bearing graph that was shifted to pass through the measured blows.

    ``√(σ₀² + (a ln shift)²)`` [1], shift being what its resistances were multiplied by.

    Examples
    --------
    >>> graph_deviation(1.0)
    0.02
    """
    return hypot(GRAPH_DEVIATION, GRAPH_SHARE * log(shift))


def count_deviation(count: float, sensitivity: float) -> float:
    """Give the error that whole blows over a length put on the resistance.

    ``σ = b / (n √6)``: a count is a whole number above or below its true value n, whose variance is 1/6 on average;
    b is the share by which resistance changes with the share of the set.

    Examples
    --------
    >>> round(count_deviation(14, 0.5), 4)
    0.0146
    """
    return sensitivity / (max(count, 1.0) * sqrt(6.0))


def margin(deviation: float) -> float:
    """Give what the requirement is multiplied by so that few of the short piles pass.

    ``max(1, t exp(z σ))`` with t = `TOLERATED` and z such that of the piles between `WEAKEST` and t a share
    `SHORT_PASSING` shows more: ``σ (φ(z) − z Φ(−z)) = SHORT_PASSING (1 − WEAKEST/t)`` [1].

    Examples
    --------
    >>> round(margin(0.05), 3), margin(0.01)
    (1.026, 1.0)
    """
    allowed, z = SHORT_PASSING * (1.0 - WEAKEST / TOLERATED), 0.0
    if deviation * _passing(0.0) <= allowed:
        return 1.0
    for _ in range(NEWTON_STEPS):  # the share falls ever more slowly, so that no step goes too far
        z += (_passing(z) - allowed / deviation) / NormalDist().cdf(-z)
    return max(1.0, TOLERATED * exp(z * deviation))


NEWTON_STEPS = 12
"""Steps that settle the threshold to rounding for every deviation up to one [1]."""


def _passing(z: float) -> float:
    """Give what of a density of one passes, over σ, where the threshold lies z standard deviations above its end."""
    return NormalDist().pdf(z) - z * NormalDist().cdf(-z)


def chance_short(over_required: float, deviation: float) -> float:
    """Give the chance that a pile which just passes has less than is required.

    ``Φ(−ln m / σ)`` with m the resistance that the count shows over the requirement [1].

    Examples
    --------
    >>> round(chance_short(1.03, 0.05), 2)
    0.28
    """
    return NormalDist().cdf(-log(over_required) / max(deviation, 1e-9))


def chance_driven_on(over_required: float, deviation: float, sound: float = SOUND) -> float:
    """Give the chance that a pile with `sound` times the requirement does not show the count.

    Examples
    --------
    >>> round(chance_driven_on(1.03, 0.05), 2)
    0.09
    """
    return NormalDist().cdf(log(over_required / sound) / max(deviation, 1e-9))
