"""Checks on force and velocity up to the toe return: proportionality, lag, quiet, length, time of return, movement.

The time of the toe return is taken only where it can be seen.
"""

import numpy as np

from dyntest.conditioning.condition import LASTS_TO_REST
from dyntest.conditioning.corrections import rest_samples
from dyntest.conditioning.impact import main_rise
from dyntest.conditioning.settling_measures import Record

CLEAR_GAIN = 0.20
"""A return from the toe is clear where the upward wave falls by at least this share of the downward front [1]
(common practice, no source)."""

RISE_BEFORE = 0.5
"""A fall behind a rise of at least this share of it, within the width of the pulse, is the end of a compression that
came back and not the return from a toe that gives way [1] (common practice, no source)."""

CLEAR_LIKENESS = 0.95
"""Correlation of the fall with the front that a clear return has [1] (common practice, no source)."""

SEARCHED = (0.65, 1.45)
"""Times that are searched, over 2L/c [1]: a wave speed or a length wrong by a third either way."""

FRONT_SHARE = 0.8
"""Share of the rise that counts as the front [1]: its top is flat, and the toe resists by then; found to shift the
return by less than 6 % in the simulated piles of the tests."""

RIVAL_SHARE = 0.5
"""A return is clear only where no fall before it, by more than the front is long, has this share of it [1]
(common practice, no source)."""

LONGEST_FRONT = 0.4
"""A front longer than this share of 2L/c blurs the return too much for it to be judged [1]
(common practice, no source)."""

FRONT_SAMPLES = 40
"""A long front is thinned to no more samples than about this [1]."""


def toe_return_ratio(
    down: np.ndarray,
    up: np.ndarray,
    onset: np.ndarray,
    first_peak: np.ndarray,
    time_step: float,
    return_time: float,
) -> np.ndarray:
    """Give the time at which the wave is seen to come back from the toe, over 2L/c.

    Until the toe resists, it reflects the compression front as tension, so the upward wave falls in the shape of
    the downward front. At each time in `SEARCHED` the upward wave is fitted by a constant plus a gain times
    the front (least squares); the return is where the gain is most negative. It is clear only where that is a
    true minimum inside the range, at least `CLEAR_GAIN` deep, like the front by `CLEAR_LIKENESS`, no end of a
    compression (`RISE_BEFORE`), and without another fall before it (`RIVAL_SHARE`). A toe that resists at once gives
    no such fall and is not judged.

    Units: down, up [N]; time_step, return_time [s].

    Examples
    --------
    >>> front = np.sin(np.linspace(0, np.pi, 41)) ** 2
    >>> down = np.zeros((1, 400)); down[0, 20:61] = front
    >>> up = np.zeros((1, 400)); up[0, 140:181] = -0.5 * front
    >>> round(float(toe_return_ratio(down, up, np.array([20]), np.array([40]), 5e-5, 120 * 5e-5)[0]), 1)
    1.0
    """
    n_blows, n_samples = down.shape
    rise = np.round(FRONT_SHARE * (first_peak - onset)).astype(int)
    first, last = (round(share * return_time / time_step) for share in SEARCHED)
    usable = (rise >= 2) & (onset + last + rise < n_samples) & (rise * time_step < LONGEST_FRONT * return_time)
    nothing = np.full(n_blows, np.nan)
    if not usable.any():
        return nothing
    longest = int(rise[usable].max())
    thin = max(1, longest // FRONT_SAMPLES)
    ahead = np.arange(0, longest + 1, thin)
    inside = (ahead <= rise[:, None]) & usable[:, None]
    count = np.maximum(inside.sum(axis=1), 1)[:, None]
    rows = np.arange(n_blows)[:, None]
    front = np.where(inside, down[rows, np.minimum(onset[:, None] + ahead, n_samples - 1)], 0.0)
    front = np.where(inside, front - front.sum(axis=1, keepdims=True) / count, 0.0)
    width = _pulse_width(down, first_peak, onset)
    earlier = min(int(width[usable].max()), first)
    lags = np.arange(first - earlier, last + 1)
    reach = np.arange(first - earlier, last + 1 + ahead[-1])
    region = up[rows, np.minimum(onset[:, None] + reach, n_samples - 1)]
    views = np.lib.stride_tricks.sliding_window_view(region, ahead[-1] + 1, axis=1)[..., ::thin][:, : len(lags)]
    square = (front * front).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        gain = np.einsum("blk,bk->bl", views, front) / square[:, None]
        best = earlier + gain[:, earlier:].argmin(axis=1)
        there = np.where(inside, views[np.arange(n_blows), best], 0.0)
        spread = np.where(inside, there - there.sum(axis=1, keepdims=True) / count, 0.0)
        deepest = gain[np.arange(n_blows), best]
        likeness = -deepest * np.sqrt(square / (spread * spread).sum(axis=1))
        place = np.arange(len(lags))
        before = (place < best[:, None]) & (place >= (best - width)[:, None])
        rise_before = np.where(before, gain, 0.0).max(axis=1)
    inner = (best > earlier) & (best < len(lags) - 1)
    clear = usable & inner & (deepest < -CLEAR_GAIN) & (likeness > CLEAR_LIKENESS)
    clear &= rise_before < -RISE_BEFORE * deepest
    ahead_of_it = (place >= earlier) & (place < best[:, None] - rise[:, None])
    clear &= np.where(ahead_of_it, gain, 0.0).min(axis=1) > RIVAL_SHARE * deepest
    return np.where(clear, lags[best] * time_step / return_time, np.nan)


def _pulse_width(down: np.ndarray, first_peak: np.ndarray, onset: np.ndarray) -> np.ndarray:
    """Count the samples from the onset until the pulse has fallen to half its first peak."""
    rows = np.arange(len(down))
    after = np.arange(down.shape[1]) > first_peak[:, None]
    fallen = after & (down < 0.5 * down[rows, first_peak][:, None])
    return np.where(fallen.any(axis=1), fallen.argmax(axis=1), down.shape[1] - 1) - onset


LOWEST_PROPORTIONALITY = 0.90
"""F/(Zv) at the first peak below this means a gauge or the impedance is wrong [1] (common practice, no source)."""

HIGHEST_PROPORTIONALITY = 1.10
"""The same above, where nothing can have returned from the pile yet [1] (common practice, no source)."""

HIGHEST_WITH_SHAFT = 1.20
"""The same above, where shaft resistance close to the gauges may already add to the force [1]
(common practice, no source)."""

UNIT_LIMIT = 3.0
"""The same, either way, beyond which not a gauge but a unit is wrong [1]: the nearest slip, feet for metres, is 3.28
(exact), and no gauge, bolt or shaft resistance is known to do as much (common practice, no source)."""

QUIET_LIMIT = 0.3e-3
"""Quiet time before the blow [s]; the test sheet asks for 1 ms, and finding the onset may cost some of it."""

TENSION_AT_REST = 0.03
"""Tension at the end of the record over the peak, lowest of all gauges, above which the zero line was taken in the blow
[1]. Nothing pulls on a pile head at rest. In simulated sound records it stays below 0.01 (our choice)."""

SURELY_QUIET = 5e-3
"""Quiet time from which the zero line is not in doubt [s] (our choice)."""

RETURN_LIMIT = 1.0
"""Record after the first peak over 2L/c below which the return from the toe is not in it [1]; exact."""

UNLOADING_LIMIT = 2.0
"""The same below which the unloading after the return is not in it [1] (common practice, no source)."""

EARLY_LIMIT, LATE_LIMIT = 0.90, 1.10
"""Time of the return from the toe over 2L/c [1] (common practice, no source)."""

FEET_FOR_METRES = 3.2808
"""What a length is off by where feet were written for metres, or metres for feet [1] (exact to the digits)."""

NEAR_SLIP = 0.08
"""A return so near that factor, over it, is the slip [1] (our choice)."""

MOVEMENT_LIMIT = 25.4e-3 / 10
"""Movement a blow below which resistance is not fully mobilised [m]: 10 blows per inch is practical refusal, and
dynamic methods tend to under-predict above 120 blows per foot (UFC 3-220-20, 2025, 6-4.1.2 and ch. 6)."""

LAG_LIMIT = 0.1e-3
"""Lag between strain and acceleration [s] (common practice, no source)."""

LAG_SHARE = 0.05
"""A lag below this share of the rise is within what shaft resistance can look like and not judged [1]; nor is any
where the rise lasts longer than 2L/c."""

LAG_SHARE_WITH_SHAFT = 0.08
"""The same for strain that seems to come later, where the ground acts during the rise [1]: shaft resistance adds force
late in it. Of 150 simulated piles the worst showed 0.065 (our choice)."""


def low_proportionality(record: Record) -> np.ndarray:
    """Give F/(Zv) at the first peak or over the early rise, whichever is higher.

    Resistance only adds force, so a low ratio is no work of the ground. A gauge that is wrong by a factor shows at the
    peak and on the rise alike; a lag shows on the rise alone.
    """
    return _but_slips(np.maximum(record.at_peak, record.early), record)


def high_proportionality(record: Record) -> np.ndarray:
    """Give F/(Zv) at the first peak or over the early rise, whichever is lower, where nothing can have returned yet."""
    return _but_slips(np.where(record.undisturbed, np.minimum(record.at_peak, record.early), np.nan), record)


def high_proportionality_with_shaft(record: Record) -> np.ndarray:
    """Give F/(Zv) as `high_proportionality`, where the ground may already act."""
    return _but_slips(np.where(record.undisturbed, np.nan, np.minimum(record.at_peak, record.early)), record)


def slip_of_units(record: Record) -> np.ndarray:
    """Give the factor by which force and impedance times velocity differ at the first peak and over the early rise."""
    with np.errstate(invalid="ignore", divide="ignore"):
        too_low = 1.0 / np.maximum(record.at_peak, record.early)
    return np.maximum(too_low, np.minimum(record.at_peak, record.early))


def _but_slips(ratio: np.ndarray, record: Record) -> np.ndarray:
    """Put not-a-number where a unit is wrong, as that is said by itself."""
    return np.where(slip_of_units(record) > UNIT_LIMIT, np.nan, ratio)


def quiet_time(record: Record) -> np.ndarray:
    """Give the quiet time before the blow.

    Units: returns [s].
    """
    quiet = record.conditioned.corrections.quiet_samples * record.conditioned.waves.time_step
    return np.full(len(quiet), np.nan) if record.averaged else quiet


def tension_at_rest(record: Record) -> np.ndarray:
    """Give the mean tension at the end of the record over the peak, lowest of all gauges, after a short quiet part.

    In a record that begins during a diesel's compression, the gas force is taken for zero. All gauges then end in
    tension by as much. A record without any quiet part is left to `quiet_time`.
    """
    conditioned, waves = record.conditioned, record.conditioned.waves
    if conditioned.gauge_strain is None:
        return np.full(len(waves.force), np.nan)
    rest = rest_samples(len(waves.time))
    quiet = quiet_time(record)
    lasts = (len(waves.time) - 1 - waves.onset) * waves.time_step >= LASTS_TO_REST
    judged = record.comparable & (quiet >= QUIET_LIMIT) & (quiet < SURELY_QUIET) & lasts
    with np.errstate(invalid="ignore", divide="ignore"):
        share = -conditioned.gauge_strain[..., -rest:].mean(axis=-1) / conditioned.gauge_strain.max(axis=-1)
    return np.where(judged, share.min(axis=1), np.nan)


def gas_share(record: Record) -> np.ndarray:
    """Give the force of the hammer's gas where the record begins over the peak force; it was not taken for zero."""
    gas, force = record.conditioned.corrections.gas_force, record.conditioned.waves.force
    if gas is None:
        return np.full(len(force), np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(gas > 0.0, gas / force.max(axis=1), 0.0)


def returns_recorded(record: Record) -> np.ndarray:
    """Give the length of the record after the first peak over 2L/c."""
    waves = record.conditioned.waves
    return (len(waves.time) - 1 - waves.first_peak) * waves.time_step / waves.return_time


def unloading_recorded(record: Record) -> np.ndarray:
    """Give the length of the record after the first peak over 2L/c, where the return itself is in it."""
    length = returns_recorded(record)
    return np.where(length < RETURN_LIMIT, np.nan, length)


def toe_return(record: Record) -> np.ndarray:
    """Give the time at which the wave is seen to come back from the toe over 2L/c."""
    waves = record.conditioned.waves
    ratio = toe_return_ratio(waves.down, waves.up, waves.onset, waves.first_peak, waves.time_step, waves.return_time)
    return np.where(record.comparable, ratio, np.nan)


def slip_of_length(record: Record) -> np.ndarray:
    """Give the time of the return from the toe over 2L/c where it is that of feet written for metres or the reverse."""
    waves = record.conditioned.waves
    usual = toe_return(record)
    found = np.full(len(usual), np.nan)
    for factor in (FEET_FOR_METRES, 1.0 / FEET_FOR_METRES):
        back = factor * waves.return_time
        ratio = toe_return_ratio(waves.down, waves.up, waves.onset, waves.first_peak, waves.time_step, back)
        slipped = record.comparable & np.isnan(usual) & (np.abs(ratio - 1.0) < NEAR_SLIP)
        found = np.where(slipped, factor * ratio, found)
    return found


def movement(record: Record) -> np.ndarray:
    """Give the movement a blow: the set from the log, or else the displacement at the end of the record.

    Units: returns [m].
    """
    end = np.where(record.comparable, record.resting_displacement.mean(axis=1), np.nan)
    return np.where(np.isfinite(record.set_per_blow), record.set_per_blow, end)


def lag_size(record: Record) -> np.ndarray:
    """Give the size of the lag between strain and acceleration.

    Units: returns [s].
    """
    waves, corrections = record.conditioned.waves, record.conditioned.corrections
    rise = main_rise(waves.down, waves.onset, waves.first_peak) * waves.time_step
    size = np.abs(corrections.lag)
    with np.errstate(invalid="ignore"):
        share = np.where((corrections.lag > 0.0) & ~record.undisturbed, LAG_SHARE_WITH_SHAFT, LAG_SHARE)
        judged = (size > share * rise) & (rise < waves.return_time)
    return np.where(record.comparable & judged & (not corrections.aligned), size, np.nan)
