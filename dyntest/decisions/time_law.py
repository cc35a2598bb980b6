"""The slope of a line that a few odd points do not move, and the range it may lie in.

Resistance against the logarithm of time, fitted through the initial drive and all restrikes.

Skov & Denver (1988), Time-dependence of bearing capacity of piles, 3rd Int. Conf. on the Application of Stress-Wave
Theory to Piles, Ottawa: ``Q = Q0 [1 + A log10(t/t0)]`` for ``t ≥ t0``.

How resistance fades over the blows of a restrike, and what it was at the first of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import (
    ndtri,
    stdtrit,  # scipy.stats has it too, and takes half a second more to load
)

from dyntest.decisions.estimate import Estimate
from dyntest.decisions.setup import SECONDS_PER_DAY, show_wait
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
    reach = ndtri(0.5 + 0.5 * confidence) * np.sqrt(variance)
    low = max(round((pairs - reach) / 2.0) - 1, 0)
    high = min(round((pairs + reach) / 2.0), pairs - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])


REFERENCE_TIMES = {"sand": 0.5 * SECONDS_PER_DAY, "clay": 1.0 * SECONDS_PER_DAY}
"""Time t0 from which the law holds [s], by the soil along the shaft (from memory, after Skov & Denver 1988)."""

PUBLISHED_RATES = {"sand": 0.2, "clay": 0.6}
"""Rate A by the soil along the shaft [1] (Skov & Denver 1988, as in FHWA-NHI-16-009, 2016, chapter 7)."""

CONFIDENCE = 0.90
"""Two-sided confidence of the range from the scatter about the fitted line [1]; our choice."""

MOST_DRIVES = 12
"""Drives in one fit at the most [1], so that every combination of range ends can be tried."""


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
        Time of each drive since the end of the initial drive [s], 0 for the initial drive itself.
    resistances : tuple of Estimate
        Resistance of each drive [N].
    method : str
        How it was fitted and where its ranges come from, in words.
    """

    reference_resistance: Estimate
    rate: Estimate
    reference_time: float
    times: tuple[float, ...]
    resistances: tuple[Estimate, ...]
    method: str


@dataclass(frozen=True)
class TimePrediction:
    """Resistance at later times by a time law.

    Parameters
    ----------
    times : numpy.ndarray
        Time since the end of the initial drive, shape (n_times,) [s].
    value, low, high : numpy.ndarray
        Resistance and its range, shape (n_times,) [N].
    capped : numpy.ndarray of bool
        Where the law gives more than was ever observed and the observed maximum stands instead, shape (n_times,) [1].
    """

    times: np.ndarray
    value: np.ndarray
    low: np.ndarray
    high: np.ndarray
    capped: np.ndarray


def reference_time(soil: str | None) -> tuple[float, str]:
    """Give the time from which the law holds, by the soil along the shaft.

    Units: returns [s].

    Examples
    --------
    >>> reference_time("sand")
    (43200.0, 'as published for sand')
    """
    if soil in REFERENCE_TIMES:
        return REFERENCE_TIMES[soil], f"as published for {soil}"
    where = f"none is published for {soil}" if soil else "the soil along the shaft is not given"
    return REFERENCE_TIMES["clay"], f"that of clay, since {where}"


def fit_time_law(times: Sequence[float], resistances: Sequence[Estimate], reference_time: float) -> TimeLaw:
    """Fit the time law through the initial drive and all restrikes.

    Units: times, reference_time [s]; resistances [N].

    ``Q0`` and ``A`` by least squares in ``x = log10(max(t, t0)/t0)``. Their ranges: the extremes over all
    combinations of range ends of the resistances and, from three drives on, the `CONFIDENCE` interval from the
    scatter about the line; the wider stands.

    The law holds from t0 on. The end of the initial drive, at t = 0, stands for the resistance at t0, as do
    restrikes before t0. Two drives leave nothing to judge the fit by: then the ranges come from the resistances
    alone.

    Examples
    --------
    >>> day = 86400.0
    >>> law = fit_time_law([0.0, 10 * day], [Estimate(1e6, 1e6, 1e6), Estimate(1.6e6, 1.5e6, 1.7e6)], day)
    >>> round(law.rate.value, 3), round(law.rate.low, 3)
    (0.6, 0.5)
    """
    seconds = np.asarray(times, dtype=float)
    if not np.isfinite(seconds).all() or (seconds < 0.0).any() or not reference_time > 0.0:
        raise InputError(
            "test sheet", "[[drive]] start and end", "a time is not a number of zero or more", "correct it"
        )
    if len(seconds) > MOST_DRIVES:
        raise InputError("test sheet", "[[drive]]", f"{len(seconds)} drives are too many", f"keep {MOST_DRIVES}")
    x = _abscissa(seconds, reference_time)
    if len(seconds) < 2 or np.ptp(x) == 0.0:
        problem = (
            f"all drives lie within {show_wait(reference_time)} of the end of the initial drive, before the law holds"
        )
        raise InputError("test sheet", "[[drive]] start and end", problem, "strike again later")
    corners = _corner_lines(x, resistances)  # the first row is the line through the values themselves
    with np.errstate(divide="ignore", invalid="ignore"):
        rates = corners[:, 1] / corners[:, 0]  # A = slope/Q0
    intercept, slope = corners[0]
    if not (corners[:, 0] > 0.0).all():
        raise InputError(
            "test sheet", "[[drive]]", "the fitted resistance at the reference time is not positive", "check"
        )
    half_q0 = half_rate = 0.0
    method = f"least squares through {len(seconds)} drives; ranges from those of the resistances"
    if len(seconds) > 2:
        covariance = _covariance(x, resistances, intercept, slope)
        gradient = np.array([-slope / intercept**2, 1.0 / intercept])
        quantile = stdtrit(len(seconds) - 2, 0.5 + CONFIDENCE / 2.0)
        half_q0 = quantile * np.sqrt(covariance[0, 0])
        half_rate = quantile * np.sqrt(gradient @ covariance @ gradient)
        method += f" or, where wider, the {CONFIDENCE:.0%} interval from the scatter about the line"
    q0 = _around(intercept, corners[:, 0], half_q0)
    return TimeLaw(
        q0, _around(rates[0], rates, half_rate), reference_time, tuple(seconds.tolist()), tuple(resistances), method
    )


def resistance_after(law: TimeLaw, times: np.ndarray, *, extrapolate: bool = False) -> TimePrediction:
    """Give the resistance at given times after the initial drive.

    Units: times [s].

    ``Q0 [1 + A log10(t/t0)]`` with its range, Q0 before t0, and capped at the highest observed resistance, its
    range at the highest observed end, unless `extrapolate`. Falling resistance is never held up.

    Examples
    --------
    >>> day = 86400.0
    >>> law = fit_time_law([0.0, 10 * day], [Estimate(1e6, 1e6, 1e6), Estimate(1.6e6, 1.5e6, 1.7e6)], day)
    >>> resistance_after(law, np.array([10 * day, 100 * day])).value.round().tolist()
    [1600000.0, 1600000.0]
    >>> resistance_after(law, np.array([100 * day]), extrapolate=True).value.round().tolist()
    [2200000.0]
    """
    seconds = np.atleast_1d(np.asarray(times, dtype=float))
    observed = _abscissa(np.array(law.times), law.reference_time)
    x = _abscissa(seconds, law.reference_time)
    corners = _corner_lines(observed, law.resistances)
    lines = corners[:, :1] + corners[:, 1:] * x  # Q = Q0 [1 + A log10(t/t0)], every corner at every time
    value, low, high = lines[0], lines.min(axis=0), lines.max(axis=0)
    if len(law.times) > 2:
        covariance = _covariance(observed, law.resistances, *corners[0])
        design = np.stack([np.ones_like(x), x])
        spread = np.sqrt(np.einsum("it,ij,jt->t", design, covariance, design))
        half = stdtrit(len(law.times) - 2, 0.5 + CONFIDENCE / 2.0) * spread
        low, high = np.minimum(low, value - half), np.maximum(high, value + half)
    most, most_high = max(q.value for q in law.resistances), max(q.high for q in law.resistances)
    capped = (value > most * (1.0 + 1e-12)) & (not extrapolate)
    if not extrapolate:
        value, low, high = np.minimum(value, most), np.minimum(low, most), np.minimum(high, most_high)
    return TimePrediction(seconds, value, np.maximum(low, 0.0), np.maximum(high, value), capped)


def _abscissa(seconds: np.ndarray, reference_time: float) -> np.ndarray:
    return np.log10(np.maximum(seconds, reference_time) / reference_time)


def _corner_lines(x: np.ndarray, resistances: Sequence[Estimate]) -> np.ndarray:
    """Intercept and slope of the line through the values, then through every combination of range ends."""
    values = [[q.value for q in resistances], *product(*((q.low, q.high) for q in resistances))]
    design = np.stack([np.ones_like(x), x], axis=1)
    return (np.linalg.pinv(design) @ np.array(values).T).T


def _covariance(x: np.ndarray, resistances: Sequence[Estimate], intercept: float, slope: float) -> np.ndarray:
    design = np.stack([np.ones_like(x), x], axis=1)
    residual = np.array([q.value for q in resistances]) - intercept - slope * x
    return residual @ residual / (len(x) - 2) * np.linalg.inv(design.T @ design)


def _around(value: float, corners: np.ndarray, half: float) -> Estimate:
    return Estimate(float(value), float(min(corners.min(), value - half)), float(max(corners.max(), value + half)))


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
        problem = f"{index.size} sound blows are too few to see how resistance changed"
        raise InputError("restrike", "first blows", problem, f"at least {LEAST_BLOWS} are needed")
    slope, low, high = robust_slope(index, resistance[index], FADE_CONFIDENCE)
    span = int(index[-1] - index[0])
    first = float(np.median(resistance[index]) + slope * (index[0] - np.median(index)))
    return RestrikeFade(first, first + slope * span, slope, low, high, int(index.size), span + 1)
