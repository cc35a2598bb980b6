"""Wave speed and gauge calibration of a pile, estimated once from all blows of a drive with their uncertainty.

In easy driving the toe gives way, so the front of the blow comes back from it as a clear tension wave. With D the
downward wave, its return is

(1) ``W_u(t) = a + b t + g D(t − T) + q ∫D(t − T) dt``,

with a and b for what the shaft sends up meanwhile, g the reflection of a dashpot at the toe (−1 where it is free) and
q that of a spring. T is where the sum of squares is least. Nothing but a calibration makes force and impedance times
velocity differ before anything can return:

(2) ``F/(Z v) = (strain gain / acceleration gain) · (c in the sheet / c)``,

since the modulus cancels where the sheet takes it from the wave speed, ``E = ρ c²``, and strain is ``v/c``.

Notes
-----
The error of T was measured on 90 simulated piles of steel and concrete whose soil follows four laws (Smith, viscous,
a power of the rate, radiation; the lumped masses of the tests) and is systematic: a toe that resists at once by
radiation makes T up to 0.1 of the rise too long, a stiff toe spring makes it too short. Many blows in the same soil do
not average it out, so the error of the best blows is kept.

References
----------
Exact for waves in a uniform rod; estimating both from easy blows is common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from dyntest.conditioning.impact import main_rise
from dyntest.conditioning.settling_measures import free_time
from dyntest.conditioning.wave_measures import toe_return_ratio
from dyntest.pile import Pile
from dyntest.quantities.sampling import value_at
from dyntest.signals import Waves

TRIED, TRIED_STEPS = 0.12, 49
"""Return times that are tried to either side of the clear return, over it [1], and how many [1]."""

WINDOW, WINDOW_POINTS = (-0.5, 0.8), 60
"""Stretch of the upward wave that is fitted, from the return on, over the rise [1], and its points [1]."""

LEAST_REFLECTION = 0.4
"""A return is used where at least this share of the front comes back as tension [1]; our own choice."""

LEAST_EXPLAINED = 0.99
"""Share of the upward wave's variance in the window that (1) explains in a return that is used [1]; our own choice."""

FREE_TOE_ERROR, RESISTING_TOE_ERROR = 0.045, 0.13
"""Standard error of T over the rise: with a free toe, and what is added for a whole reflection less [1]; measured on
the simulated piles, whose errors it covers in 19 of 20."""

GAIN_ERROR = {"free": 0.006, "half": 0.012, "shaft": 0.03}
"""Standard error of the strain gain by one blow [1], where the whole rise is free of reflections, at least half of it,
or where the ground may already act; our own choice, in keeping with the simulated piles."""

ALIKE = 1.5
"""Blows with an error up to this many times the least are taken together [1]; our own choice."""


UNSEEN_SPEED = {"steel": 0.005, "concrete": 0.04, "timber": 0.06}
"""Standard error of the sheet's wave speed, over it, where no return is clear [1]; from memory, common practice."""

MOST_BLOWS = 200
"""A drive is told by so many of its blows, spread over it [1]; more would say the same."""


@dataclass(frozen=True)
class CalibrationEvidence:
    """What each blow says about wave speed and gauges, so that chunks of a drive can be put together.

    Parameters
    ----------
    return_ratio, return_error : numpy.ndarray
        Return time seen over 2L/c of the sheet and its standard error, shape (n_blows,) [1]; not a number where the
        return is not clear.
    proportionality, proportionality_error : numpy.ndarray
        F/(Zv) before anything returns and its standard error, shape (n_blows,) [1].
    """

    return_ratio: np.ndarray
    return_error: np.ndarray
    proportionality: np.ndarray
    proportionality_error: np.ndarray

    @classmethod
    def join(cls, parts: Sequence["CalibrationEvidence"]) -> "CalibrationEvidence":
        """Put the evidence of chunks of one drive together."""
        return cls(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(cls)))


@dataclass(frozen=True)
class PileCalibration:
    """Wave speed and gauge calibration of a pile by its own blows; not a number where no blow tells.

    Parameters
    ----------
    wave_speed, wave_speed_error : float
        Mean wave speed from gauges to toe, for the length in the sheet, and its standard error [m/s].
    wave_speed_ratio, wave_speed_ratio_error : float
        The same over the wave speed of the sheet [1].
    strain_gain, strain_gain_error : float
        What the strains read over what fits the accelerations, and its standard error [1].
    return_blows, gain_blows : int
        How many blows each was taken from [1].
    """

    wave_speed: float
    wave_speed_error: float
    wave_speed_ratio: float
    wave_speed_ratio_error: float
    strain_gain: float
    strain_gain_error: float
    return_blows: int
    gain_blows: int


def calibration_evidence(waves: Waves, pile: Pile, penetration: np.ndarray | None = None) -> CalibrationEvidence:
    """Give what each blow says about wave speed and gauges.

    Units: penetration [m].
    """
    ratio, error = _return(waves)
    gain, gain_error = _proportionality(waves, free_time(pile, penetration, waves.n_blows))
    return CalibrationEvidence(ratio, error, gain, gain_error)


def pile_calibration(evidence: CalibrationEvidence, pile: Pile) -> PileCalibration:
    """Pool what the blows say: the best ones, with the error that they share and their scatter.

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> pile = Pile("A", "concrete", (PilePart(12.0, 0.09, 38.4e9, 2400.0),))
    >>> same = np.full(5, 1.0)
    >>> found = pile_calibration(CalibrationEvidence(1.02 * same, 0.01 * same, 0.99 * same, 0.006 * same), pile)
    >>> round(found.wave_speed), round(found.wave_speed_ratio, 3), round(found.strain_gain, 3)
    (3922, 0.98, 0.971)
    """
    ratio, ratio_error, returns = _pooled(evidence.return_ratio, evidence.return_error)
    level, level_error, gains = _pooled(evidence.proportionality, evidence.proportionality_error)
    factor = 1.0 / ratio
    known = np.isfinite(ratio)
    gain = level / ratio if known else level  # (2)
    gain_error = gain * np.hypot(level_error / level, ratio_error / ratio if known else UNSEEN_SPEED[pile.material])
    return PileCalibration(
        wave_speed=pile.wave_speed * factor,
        wave_speed_error=pile.wave_speed * factor * ratio_error / ratio,
        wave_speed_ratio=factor,
        wave_speed_ratio_error=factor * ratio_error / ratio,
        strain_gain=gain,
        strain_gain_error=float(gain_error),
        return_blows=returns,
        gain_blows=gains,
    )


def _pooled(values: np.ndarray, errors: np.ndarray) -> tuple[float, float, int]:
    """Give the median of the best values, its standard error, and how many they are."""
    known = np.isfinite(values) & np.isfinite(errors)
    if not known.any():
        return np.nan, np.nan, 0
    best = known & (errors <= ALIKE * errors[known].min())
    middle = float(np.median(values[best]))
    scatter = 1.48 * float(np.median(np.abs(values[best] - middle))) / np.sqrt(best.sum())
    return middle, float(np.hypot(np.median(errors[best]), scatter)), int(best.sum())


def _return(waves: Waves) -> tuple[np.ndarray, np.ndarray]:
    """Give the return time over 2L/c by fits of (1) with and without the spring, and its standard error."""
    down, up, step = waves.down, waves.up, waves.time_step
    coarse = toe_return_ratio(down, up, waves.onset, waves.first_peak, step, waves.return_time)
    ratio, error = np.full(len(coarse), np.nan), np.full(len(coarse), np.nan)
    rows = np.flatnonzero(np.isfinite(coarse))
    if not len(rows):
        return ratio, error
    back = waves.return_time / step
    rise = (waves.first_peak - waves.onset)[rows].astype(float)
    down, up = down[rows], up[rows]
    points = np.linspace(0.0, 1.0, WINDOW_POINTS)
    begins = waves.onset[rows] + coarse[rows] * back + WINDOW[0] * rise
    place = begins[:, None] + points * ((WINDOW[1] - WINDOW[0]) * rise)[:, None]
    measured = np.nan_to_num(value_at(up, place))
    moved = np.cumsum(down, axis=1)
    tried = coarse[rows, None] * np.linspace(1.0 - TRIED, 1.0 + TRIED, TRIED_STEPS)
    earlier = (place[:, None, :] - (tried * back)[:, :, None]).reshape(len(rows), -1)  # all return times at once
    design = np.empty((len(rows), TRIED_STEPS, WINDOW_POINTS, 4))
    design[..., 0], design[..., 1] = 1.0, points
    for column, wave in enumerate((down, moved), start=2):
        design[..., column] = np.nan_to_num(value_at(wave, earlier)).reshape(design.shape[:3])
    left, reflection = _least_squares(design, measured)
    by_front, by_both = (_lowest(part, tried) for part in left)
    each = np.arange(len(rows))
    best = left[0].argmin(axis=1)
    share = np.clip(-reflection[each, best], 0.0, 1.0)
    spread = np.square(measured - measured.mean(axis=1, keepdims=True)).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        explained = 1.0 - left[0][each, best] / spread
    ratio[rows] = 0.5 * (by_front + by_both)
    shared = FREE_TOE_ERROR + RESISTING_TOE_ERROR * (1.0 - share)
    error[rows] = np.hypot(shared * rise / back, 0.5 * (by_front - by_both))
    used = (share >= LEAST_REFLECTION) & (explained >= LEAST_EXPLAINED)
    ratio[rows] = np.where(used, ratio[rows], np.nan)
    return ratio, np.where(np.isfinite(ratio), error, np.nan)


def _least_squares(design: np.ndarray, measured: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the sums of squares that are left with three columns and with all four, and the third one's coefficient.

    From designs of shape (n_blows, n_tried, n_points, 4) and waves (n_blows, n_points); gives (2, n_blows, n_tried)
    and, for the fit with three columns, (n_blows, n_tried).
    """
    n_blows, n_tried, n_points, n_columns = design.shape
    scale = np.sqrt(np.square(design).sum(axis=2)) + 1e-30
    unit = (design / scale[:, :, None]).reshape(-1, n_points, n_columns)
    wanted = np.repeat(measured, n_tried, axis=0)
    turned = unit.transpose(0, 2, 1)
    normal = turned @ unit + 1e-9 * np.eye(n_columns)
    sides = (turned @ wanted[:, :, None])[..., 0]
    left, found = [], []
    for columns in (n_columns - 1, n_columns):
        found.append(np.linalg.solve(normal[:, :columns, :columns], sides[:, :columns, None])[..., 0])
        rest = wanted - (unit[..., :columns] @ found[-1][..., None])[..., 0]
        left.append(np.square(rest).sum(axis=1).reshape(n_blows, n_tried))
    return np.stack(left), found[0][:, 2].reshape(n_blows, n_tried) / scale[..., 2]


def _lowest(left: np.ndarray, tried: np.ndarray) -> np.ndarray:
    """Give where a sum of squares is least, between the steps by a parabola; not a number at an end."""
    each, last = np.arange(len(left)), left.shape[1] - 1
    lowest = left.argmin(axis=1)
    middle = np.clip(lowest, 1, last - 1)
    before, here, after = (left[each, middle + ahead] for ahead in (-1, 0, 1))
    with np.errstate(invalid="ignore", divide="ignore"):
        part = 0.5 * (before - after) / (before - 2.0 * here + after)
    found = tried[each, middle] + part * (tried[:, 1] - tried[:, 0])
    return np.where(lowest == middle, found, np.nan)


def _proportionality(waves: Waves, free: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give F/(Zv) by least squares over what is free of reflections, or over half the rise, and its standard error."""
    step = waves.time_step
    rise = main_rise(waves.down, waves.onset, waves.first_peak)
    begins = waves.first_peak - np.minimum(rise, waves.first_peak - waves.onset)
    until = np.minimum(waves.onset + free / step, waves.first_peak + rise)
    half = begins + 0.5 * rise
    error = np.select(
        [until >= waves.first_peak, until >= half], [GAIN_ERROR["free"], GAIN_ERROR["half"]], GAIN_ERROR["shaft"]
    )
    sample = np.arange(waves.force.shape[1])
    inside = (sample >= begins[:, None]) & (sample <= np.maximum(until, half)[:, None])
    moving = np.where(inside, waves.impedance * waves.velocity, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        level = (moving * waves.force).sum(axis=1) / np.square(moving).sum(axis=1)
    judged = np.isfinite(level) & (level > 0.0)
    return np.where(judged, level, np.nan), np.where(judged, error, np.nan)
