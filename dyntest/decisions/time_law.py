"""Resistance over time: the law of setup through all drives of a pile, and the loss over the blows of a restrike.

Skov & Denver (1988), Time-dependence of bearing capacity of piles, 3rd Int. Conf. on the Application of Stress-Wave
Theory to Piles, Ottawa: ``Q = Q0 [1 + A log10(t/t0)]`` for ``t ≥ t0``. The loss over blows is a line whose slope a few
odd points do not move.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from dyntest.decisions.estimate import Estimate
from dyntest.decisions.setup import SECONDS_PER_DAY
from dyntest.errors import InputError


def robust_slope(position: np.ndarray, values: np.ndarray, confidence: float) -> tuple[float, float, float]:
    """Give the median of the slopes between all pairs of points, and its range.

    Theil (1950) for the slope; Sen (1968), J. American Statistical Association 63, for the range: the pairs are as
    many from its ends as the normal quantile of Kendall's statistic says, its variance ``[n(n−1)(2n+5) − Σ
    t(t−1)(2t+5)]/18`` with t equal values in a group (all from memory). Up to 29 % of the points may be odd.

    Examples
    --------
    >>> slope, low, high = robust_slope(np.arange(8.0), np.array([0, 2, 4, 99, 8, 10, 12, 14.0]), 0.9)
    >>> slope
    2.0
    """
    first, second = np.triu_indices(len(values), 1)
    slopes = np.sort((values[second] - values[first]) / (position[second] - position[first]))
    n, pairs = len(values), len(slopes)
    ties = np.unique(values, return_counts=True)[1]
    variance = (n * (n - 1) * (2 * n + 5) - np.sum(ties * (ties - 1) * (2 * ties + 5))) / 18.0
    reach = NormalDist().inv_cdf(0.5 + 0.5 * confidence) * np.sqrt(variance)
    low = max(round((pairs - reach) / 2.0) - 1, 0)
    high = min(round((pairs + reach) / 2.0), pairs - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])


END_OF_DRIVING = 3600.0
"""Time at which the end of the initial drive stands [s]: within the hour after the last blow; our choice."""

REFERENCE_TIMES = {"sand": 0.5 * SECONDS_PER_DAY, "clay": 1.0 * SECONDS_PER_DAY}
"""Time t0 at which Q0 stands [s], by the soil along the shaft (from memory, after Skov & Denver 1988)."""

PUBLISHED_RATES = {"sand": 0.2, "clay": 0.6}
"""Rate A by the soil along the shaft [1] (Skov & Denver 1988, as in FHWA-NHI-16-009, 2016, chapter 7)."""

RATE_DEVIATIONS = {"sand": 0.2, "clay": 0.4}
"""How far rates scatter about the published ones, standard deviation [1]: a week's wait then gives setup factors about
as wide as FHWA-NHI-16-009 (2016), Table 7-16, prints them (1.2 to 5.5 in clay, 0.8 to 2.0 in sand); our choice."""

LEAST_DEVIATION = 0.05
"""Standard deviation of the logarithm of a resistance at the least [1], since blows of one drive differ; our choice."""

CONFIDENCE = 0.90
"""Two-sided confidence of the ranges [1]; our choice."""

QUANTILE = NormalDist().inv_cdf(0.5 + 0.5 * CONFIDENCE)

WIDEST_RATE = 0.6
"""Half range of the rate above which a law says nothing [1]: the change over one decade of time might then be as well
up as down; our choice."""

LEAST_FOR_EXTRAPOLATION = 3
"""Drives from which the line is carried beyond the last one [1]."""


@dataclass(frozen=True)
class TimeLaw:
    """A fitted time law and what it was fitted through.

    Parameters
    ----------
    reference_resistance : Estimate
        Q0, resistance at the reference time [N].
    rate : Estimate
        A, share of Q0 gained for each tenfold time [1]; negative where resistance falls.
    reference_time : float
        t0 [s].
    times : tuple of float
        Time of each drive since the last blow of the initial drive [s], `END_OF_DRIVING` for that drive itself.
    resistances : tuple of Estimate
        Resistance of each drive [N].
    basis : str
        Which resistance, by its name in the table of names.
    published_rate : float or None
        Rate that was taken for likely before the drives were looked at [1]; None where none is published.
    line, covariance : tuple
        Level and slope of ``Q = a + b log10(t/t0)`` [N], and their covariance [N^2].
    """

    reference_resistance: Estimate
    rate: Estimate
    reference_time: float
    times: tuple[float, ...]
    resistances: tuple[Estimate, ...]
    basis: str
    published_rate: float | None
    line: tuple[float, float]
    covariance: tuple[tuple[float, float], tuple[float, float]]

    @property
    def says_something(self) -> bool:
        """Whether the range of the rate is narrow enough to be shown."""
        return self.rate.high - self.rate.low <= 2.0 * WIDEST_RATE

    @property
    def last_time(self) -> float:
        """How far the line may be carried [s]: to the last drive, and ten times as far from three drives on."""
        beyond = 10.0 if len(self.times) >= LEAST_FOR_EXTRAPOLATION else 1.0
        return beyond * max(self.times)


@dataclass(frozen=True)
class TimePrediction:
    """Resistance at later times by a time law.

    Parameters
    ----------
    times : numpy.ndarray
        Time since the end of the initial drive, shape (n_times,) [s].
    value, low, high : numpy.ndarray
        Resistance and its range, shape (n_times,) [N]; not a number beyond `TimeLaw.last_time`.
    """

    times: np.ndarray
    value: np.ndarray
    low: np.ndarray
    high: np.ndarray


def reference_time(soil: str | None) -> float:
    """Give the time t0, by the soil along the shaft; that of clay where none is published.

    Units: returns [s].

    Examples
    --------
    >>> reference_time("sand")
    43200.0
    """
    return REFERENCE_TIMES.get(soil or "", REFERENCE_TIMES["clay"])


def fit_time_law(
    times: Sequence[float],
    resistances: Sequence[Estimate],
    soil: str | None = None,
    basis: str = "matched_resistance",
) -> TimeLaw:
    """Fit the time law through the initial drive and all restrikes, each at its own time.

    Units: times [s]; resistances [N].

    ``Q = a + b x`` with ``x = log10(t/t0)``, ``Q0 = a`` and ``A = b/a``, by least squares with each drive's own
    error. What is published for the soil enters as one more observation, ``b = A_pub a`` within its scatter, so that
    two drives do not give an endless range. Where the drives scatter more about the line than their errors, the
    covariance is widened by as much. A time before `END_OF_DRIVING` counts as that.

    Examples
    --------
    >>> day = 86400.0
    >>> law = fit_time_law([0.0, day, 10 * day], [Estimate(q, 0.9 * q, 1.1 * q) for q in (0.6e6, 1e6, 1.3e6)])
    >>> round(law.rate.value, 2), law.says_something
    (0.29, True)
    """
    seconds = np.asarray(times, dtype=float)
    place, cure = "[[drive]] start and end", "correct it"
    if not np.isfinite(seconds).all() or (seconds < 0.0).any():
        raise InputError("test sheet", place, "a time is not a number of zero or more", cure)
    seconds = np.maximum(seconds, END_OF_DRIVING)
    if len(seconds) < 2 or np.ptp(seconds) == 0.0:
        raise InputError("test sheet", place, "all drives have the same time", "restrike later")
    start = reference_time(soil)
    x = np.log10(seconds / start)
    values = np.array([q.value for q in resistances])
    errors = values * np.maximum([q.log_deviation for q in resistances], LEAST_DEVIATION)
    design, wanted = np.stack([np.ones_like(x), x], axis=1) / errors[:, None], values / errors
    published = PUBLISHED_RATES.get(soil or "")
    if published is not None:
        scale = RATE_DEVIATIONS[soil or ""] * values.mean()
        design = np.vstack([design, np.array([-published, 1.0]) / scale])
        wanted = np.append(wanted, 0.0)
    covariance = np.linalg.inv(design.T @ design)
    level, slope = covariance @ design.T @ wanted
    if not level > 0.0:
        raise InputError("test sheet", "[[drive]]", "the fitted resistance is not positive", "check the resistances")
    freedom = len(wanted) - 2
    if freedom > 0:
        covariance = covariance * max(1.0, float(np.sum((wanted - design @ [level, slope]) ** 2)) / freedom)
    gradient = np.array([-slope / level**2, 1.0 / level])
    half_level = QUANTILE * float(np.sqrt(covariance[0, 0]))
    half_rate = QUANTILE * float(np.sqrt(gradient @ covariance @ gradient))
    rate = float(slope / level)
    return TimeLaw(
        Estimate(float(level), float(level) - half_level, float(level) + half_level),
        Estimate(rate, rate - half_rate, rate + half_rate),
        start,
        tuple(seconds.tolist()),
        tuple(resistances),
        basis,
        published,
        (float(level), float(slope)),
        (
            (float(covariance[0, 0]), float(covariance[0, 1])),
            (float(covariance[1, 0]), float(covariance[1, 1])),
        ),
    )


def resistance_after(law: TimeLaw, times: np.ndarray) -> TimePrediction:
    """Give the resistance at given times after the initial drive.

    Units: times [s].

    ``Q0 [1 + A log10(t/t0)]`` with its range; a time before `END_OF_DRIVING` counts as that, and beyond
    `TimeLaw.last_time` nothing is said.

    Examples
    --------
    >>> day = 86400.0
    >>> law = fit_time_law([0.0, 10 * day], [Estimate(1e6, 1e6, 1e6), Estimate(1.6e6, 1.5e6, 1.7e6)])
    >>> resistance_after(law, np.array([10 * day, 100 * day])).value.round().tolist()
    [1600000.0, nan]
    """
    seconds = np.maximum(np.atleast_1d(np.asarray(times, dtype=float)), END_OF_DRIVING)
    x = np.log10(seconds / law.reference_time)
    value = law.line[0] + law.line[1] * x
    design = np.stack([np.ones_like(x), x])
    half = QUANTILE * np.sqrt(np.einsum("it,ij,jt->t", design, np.array(law.covariance), design))
    beyond = seconds > law.last_time * (1.0 + 1e-9)
    value = np.where(beyond, np.nan, value)
    return TimePrediction(seconds, value, np.maximum(value - half, 0.0), value + half)


FIRST_BLOWS = 20
"""Blows from the start of a restrike that are fitted [1]; a restrike is usually stopped at 20 to 50 blows or after
75 to 150 mm, before what was gained is driven away (common practice, no source)."""

LEAST_BLOWS = 5
"""Sound blows needed for a fit [1]; no source."""

FADE_CONFIDENCE = 0.90
"""Two-sided confidence of the slope's range [1]; our choice."""


@dataclass(frozen=True)
class RestrikeFade:
    """A line through the resistances of the first blows of a restrike.

    Parameters
    ----------
    first_resistance : float
        The line's value at the first blow [N].
    last_resistance : float
        The line's value at the last fitted blow [N].
    slope, slope_low, slope_high : float
        Change of resistance a blow with its range [N], negative where it fades.
    blows : int
        Number of sound blows fitted [1].
    span : int
        Number of blows from the first to the last fitted [1].
    """

    first_resistance: float
    last_resistance: float
    slope: float
    slope_low: float
    slope_high: float
    blows: int
    span: int

    @property
    def lost_share(self) -> float:
        """Share of the first resistance lost over the fitted blows [1], negative where it rose."""
        return 1.0 - self.last_resistance / self.first_resistance

    @property
    def fades(self) -> bool:
        """Whether resistance fell beyond its scatter from blow to blow."""
        return self.slope_high < 0.0


def restrike_fade(
    resistance: np.ndarray, sound: np.ndarray | None = None, first_blows: int = FIRST_BLOWS
) -> RestrikeFade:
    """Fit how resistance changes over the first blows of a restrike.

    Units: resistance [N].

    A straight line over the few blows at hand; it must not be carried beyond them.

    Examples
    --------
    >>> fade = restrike_fade(1.0e6 - 1.0e4 * np.arange(20))
    >>> round(fade.first_resistance), round(fade.slope), round(fade.lost_share, 2)
    (1000000, -10000, 0.19)
    """
    resistance = np.asarray(resistance, dtype=float)
    usable = np.isfinite(resistance)
    if sound is not None:
        usable &= np.asarray(sound, dtype=bool)
    index = np.flatnonzero(usable)
    index = index[index < index[0] + first_blows] if index.size else index
    if index.size < LEAST_BLOWS:
        problem = f"{index.size} sound blows are too few to show how resistance changed"
        raise InputError("restrike", "first blows", problem, f"at least {LEAST_BLOWS} are needed")
    slope, low, high = robust_slope(index, resistance[index], FADE_CONFIDENCE)
    span = int(index[-1] - index[0])
    first = float(np.median(resistance[index]) + slope * (index[0] - np.median(index)))
    return RestrikeFade(first, first + slope * span, slope, low, high, int(index.size), span + 1)
