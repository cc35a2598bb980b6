"""How far methods have been off in the past, and the resistance factor a given reliability asks for."""

from dataclasses import dataclass
from math import exp, log, sqrt

from dyntest.decisions.estimate import Estimate


@dataclass(frozen=True)
class MethodRecord:
    """How a method compared with static load tests on the same piles.

    Parameters
    ----------
    method : str
        The method and when it was applied, in words.
    cases : int
        Number of piles or cases [1].
    bias : float
        Mean of measured over predicted resistance λ [1]; above 1 the method is low on average.
    variation : float
        Coefficient of variation of that ratio [1].
    source : str
        Where it is published.
    """

    method: str
    cases: int
    bias: float
    variation: float
    source: str = "from memory, after NCHRP Report 507 (Paikowsky 2004)"


METHOD_RECORDS = {
    record.method: record
    for record in (
        MethodRecord("signal matching, end of initial drive", 125, 1.626, 0.490),
        MethodRecord("signal matching, beginning of restrike", 162, 1.158, 0.339),
        MethodRecord("energy approach, end of initial drive", 128, 1.084, 0.398),
        MethodRecord("energy approach, beginning of restrike", 153, 0.785, 0.369),
        MethodRecord("wave equation, end of initial drive", 99, 1.656, 0.724),
        MethodRecord("modified Gates formula, end of initial drive", 135, 1.073, 0.534),
        MethodRecord("Engineering News formula", 384, 1.602, 0.910),
    )
}
"""Every `MethodRecord` by its method."""


@dataclass(frozen=True)
class LoadStatistics:
    """Load factors and what is known of the loads, for a code calibration.

    Parameters
    ----------
    dead_factor, live_factor : float
        Load factors γ_D and γ_L [1].
    dead_bias, live_bias : float
        Mean of actual over nominal load, λ_D and λ_L [1].
    dead_variation, live_variation : float
        Coefficients of variation [1].
    """

    dead_factor: float = 1.25
    live_factor: float = 1.75
    dead_bias: float = 1.05
    live_bias: float = 1.15
    dead_variation: float = 0.10
    live_variation: float = 0.20


AASHTO_LOADS = LoadStatistics()
"""Strength I load factors with the load statistics of NCHRP Report 507 (from memory)."""


def first_order_resistance_factor(
    bias: float, variation: float, reliability_index: float, dead_to_live: float, loads: LoadStatistics = AASHTO_LOADS
) -> float:
    """Give the resistance factor for a reliability index, by the first-order second-moment method.

    ``φ = λ (γ_D r + γ_L) √[(1 + q)/(1 + COV²)] / {(λ_D r + λ_L) exp(β √ln[(1 + COV²)(1 + q)])}`` with ``q = COV_D²
    + COV_L²`` [1].

    From memory, after Barker et al. (1991); lognormal load and resistance. NCHRP Report 507, p. 37: the more exact
    first-order reliability method gives factors about 10 % higher.

    Examples
    --------
    >>> round(first_order_resistance_factor(1.158, 0.339, 2.33, 2.0), 3)
    0.583
    """
    load_scatter = 1.0 + loads.dead_variation**2 + loads.live_variation**2
    scatter = 1.0 + variation**2
    factored = bias * (loads.dead_factor * dead_to_live + loads.live_factor) * sqrt(load_scatter / scatter)
    mean = loads.dead_bias * dead_to_live + loads.live_bias
    return factored / (mean * exp(reliability_index * sqrt(log(scatter * load_scatter))))


def likely_static_resistance(predicted: float, record: MethodRecord, deviations: float = 1.0) -> Estimate:
    """Give what a static load test would likely show, by how the method has compared in the past.

    Units: predicted [N]; returns [N].

    Median and range of a lognormal ratio, ``λ/√(1 + COV²) · exp(±k √ln(1 + COV²))``, times the prediction [N].

    The record mixes soils, piles, hammers and waits of a whole database; a site's own static load test says more.

    Examples
    --------
    >>> found = likely_static_resistance(1.0e6, METHOD_RECORDS["signal matching, beginning of restrike"])
    >>> [round(x / 1e6, 2) for x in (found.low, found.value, found.high)]
    [0.79, 1.1, 1.53]
    """
    scatter = 1.0 + record.variation**2
    median, spread = predicted * record.bias / sqrt(scatter), exp(deviations * sqrt(log(scatter)))
    return Estimate(median, median / spread, median * spread)
