"""Times on the record: where the blow begins, the first peak, and the lag between strain and acceleration.

The first peak is that of the downward wave. The lag is found on the rising edge, and removed by a shift of a fraction
of a sample.
"""

import numpy as np

ONSET_SHARE = 0.03
"""The blow has begun where the strain exceeds this share of its peak [1] (common practice, no source)."""

RISE_SHARE = 0.30
"""Share of the peak that only the blow itself reaches, not the noise before it [1] (common practice, no source)."""

FIRST_PEAK_SHARE = 0.40
"""A local peak below this share of the highest is not the impact but, say, the compression stroke of a diesel
hammer before it [1] (common practice, no source)."""

FALL_SHARE = 0.05
"""A peak counts as one when the wave falls behind it by this share of its highest value [1]; smaller dips are
ripple on the rise (common practice, no source)."""

FALL_NOISE = 6.0
"""The same fall in standard deviations of the noise [1], where noise is large (common practice, no source)."""

FOOT_SHARE = 0.01
"""Share of the peak at the foot of the rise, from which its true beginning is extrapolated [1]."""

GUARD_FACTOR = 3.5
"""The quiet part ends before the onset by this multiple of the time from `FOOT_SHARE` to `ONSET_SHARE` [1]; a rise as a
sine squared needs 2.4, as the cube of time 3.3 (exact)."""

USUAL_GUARD = 1e-3
"""At least the time that the strain takes from `ONSET_SHARE` to `RISE_SHARE`, up to this, is not counted as quiet
either [s], as the acceleration may come somewhat before the strain (common practice, no source)."""

LONGEST_GUARD = 8e-3
"""Longest time before the onset that is not counted as quiet [s], where the slow compression of a diesel hammer
precedes the impact (common practice, no source)."""

DEMANDED_QUIET_TIME = 1e-3
"""Time at the start that a record must be quiet for [s], as the test sheet demands."""

DEMANDED_MARGIN = 1.2
"""An onset later than this multiple of `DEMANDED_QUIET_TIME` shows that the demand was met [1]."""


def _first(mask: np.ndarray) -> np.ndarray:
    """First true sample of each row; the row's length where there is none."""
    return np.where(mask.any(axis=1), mask.argmax(axis=1), mask.shape[1])


def risen(size: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the first sample of the rise that no noise or spike reaches, and the peak of each blow."""
    pair = np.minimum(size[:, :-1], size[:, 1:])
    peak = pair.max(axis=1, keepdims=True)
    return (pair >= RISE_SHARE * peak).argmax(axis=1), peak


def _last_below(rise: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Last sample of each row below a level; 0 where there is none."""
    low = rise < level
    return np.where(low.any(axis=1), rise.shape[1] - 1 - low[:, ::-1].argmax(axis=1), 0)


def onset(size: np.ndarray) -> np.ndarray:
    """Give the sample at which each blow begins.

    From the first sample where two neighbours both exceed `RISE_SHARE` of the peak (so a spike of one sample is
    passed over) the record is walked back to the last sample below `ONSET_SHARE`. The slow compression before the
    impact of a diesel hammer so belongs to the blow, not to the quiet part before it.

    Examples
    --------
    >>> onset(np.array([[0.0, 0.0, 9.0, 0.0, 0.0, 1.0, 5.0, 9.0, 9.0, 4.0]])).tolist()
    [4]
    """
    return onset_and_quiet(size, 1.0)[0]


def onset_and_quiet(size: np.ndarray, time_step: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give the sample at which each blow begins, how many before it are quiet, and how long the foot of the rise is.

    Strain rises slowly at first while the acceleration is already large, so the quiet part ends before the onset, by
    `GUARD_FACTOR` times the time that the strain takes from `FOOT_SHARE` to `ONSET_SHARE` of its peak, and by at least
    the time from there to `RISE_SHARE`. The
    `DEMANDED_QUIET_TIME` of the test sheet is taken as quiet wherever the onset is clearly later than it.

    Units: time_step [s].

    Examples
    --------
    >>> rise = np.concatenate([np.zeros(100), np.sin(np.linspace(0, np.pi, 81)) ** 2])
    >>> [int(value[0]) for value in onset_and_quiet(rise[None], 50e-6)]
    [104, 93, 2]
    """
    climbed, peak = risen(size)
    reach = int(climbed.max(initial=0)) + 1
    rise = np.where(np.arange(reach) <= climbed[:, None], size[:, :reach], np.inf)
    begins, foot = _last_below(rise, ONSET_SHARE * peak), _last_below(rise, FOOT_SHARE * peak)
    slow = np.minimum(np.ceil(GUARD_FACTOR * (begins - foot)).astype(int), round(LONGEST_GUARD / time_step))
    usual = np.clip(climbed - begins, 2, max(2, round(USUAL_GUARD / time_step)))
    guard = np.maximum(slow, usual)
    demanded = round(DEMANDED_QUIET_TIME / time_step)
    at_least = np.where(begins >= DEMANDED_MARGIN * demanded, demanded, 0)
    return begins, np.maximum(begins - guard, at_least), begins - foot


def first_peak(down: np.ndarray, onset: np.ndarray, noise: np.ndarray | float = 0.0) -> np.ndarray:
    """Give the sample of the first peak of the downward wave, t1.

    The first peak is the first value behind which the wave falls by `FALL_SHARE` of its highest value (or
    `FALL_NOISE` times the noise), and which reaches at least `FIRST_PEAK_SHARE` of the highest. A later, higher peak
    from a reflection at the hammer is not taken for it.

    Units: down, noise [N].

    Examples
    --------
    >>> wave = np.array([[0.0, 0.2, 0.15, 0.2, 0.8, 0.79, 0.9, 0.7, 1.0, 0.1]])
    >>> first_peak(wave, np.array([0])).tolist()
    [6]
    """
    begin = int(onset.min(initial=down.shape[1] - 1))
    wave = down[:, begin:]
    wave = wave[:, : int(wave.argmax(axis=1).max(initial=0)) + 1]
    highest = wave.max(axis=1)
    fall = np.maximum(FALL_SHARE * highest, FALL_NOISE * np.nan_to_num(noise))
    floor = FIRST_PEAK_SHARE * highest
    running = np.maximum.accumulate(wave, axis=1)
    behind = (running - wave > fall[:, None]) & (running >= floor[:, None])
    level = running[np.arange(len(wave)), np.minimum(_first(behind), wave.shape[1] - 1)]
    return np.maximum(begin + (wave >= level[:, None]).argmax(axis=1), onset)


MAIN_RISE = (0.30, 0.63)
"""The rise proper begins at this share of the first peak, so that the compression stroke of a diesel hammer is no part
of it; and what is above has this share of the time of a rise as a sine squared [1] (exact)."""


def main_rise(down: np.ndarray, onset: np.ndarray, first_peak: np.ndarray) -> np.ndarray:
    """Give the samples of the rise proper, from its upper part, shape (n_blows,) [samples]."""
    until = int(first_peak.max(initial=0)) + 1
    high = down[:, :until] > MAIN_RISE[0] * down[np.arange(len(down)), first_peak][:, None]
    sample = np.arange(until)
    inside = (sample >= onset[:, None]) & (sample <= first_peak[:, None])
    return (high & inside).sum(axis=1) / MAIN_RISE[1]


FOOT_SHARES = 0.5, 0.2
"""Part of the foot before an impact over which force and Zv are compared, as shares of the rise [1]; our choice."""


def foot_difference(
    force: np.ndarray, velocity: np.ndarray, impedance: float, impact: np.ndarray, first_peak: np.ndarray
) -> np.ndarray:
    """Give the mean of ``F − Zv`` just before the impact, where a diesel's gas already presses, shape (n_blows,) [N].

    The gas pushes slowly, so shaft resistance is back before the impact begins. This difference is no lag.

    Examples
    --------
    >>> force = np.where(np.arange(100) < 50, 3.0, 30.0)[None]
    >>> foot_difference(force, np.zeros((1, 100)), 1.0, np.array([50]), np.array([70])).tolist()
    [3.0]
    """
    rise = np.maximum(first_peak - impact, 1)
    begins, ends = (np.maximum(impact - np.round(share * rise).astype(int), 0) for share in FOOT_SHARES)
    sample = np.arange(force.shape[1])
    inside = (sample >= begins[:, None]) & (sample <= ends[:, None])
    return np.where(inside, force - impedance * velocity, 0.0).sum(axis=1) / inside.sum(axis=1)


ITERATIONS = 3
"""Steps of the fit of the lag [1]; a lag of half the rise settles within three (checked in the tests)."""

LONGEST_SHARE = 0.5
"""A step of the fit moves no further than this share of the rise [1]."""


def shift(signal: np.ndarray, samples: np.ndarray) -> np.ndarray:
    """Give signals moved to an earlier time by a number of samples that need not be whole.

    Values between samples come from the cubic through the four nearest (Lagrange); beyond the ends the end value holds.

    Units: samples [samples].

    Examples
    --------
    >>> shift(np.array([[0.0, 1.0, 4.0, 9.0, 16.0, 25.0]]), np.array([0.5]))[0, 1:4].tolist()
    [2.25, 6.25, 12.25]
    """
    n_samples = signal.shape[-1]
    whole = np.floor(samples).astype(int)
    part = samples - whole
    weights = (  # of the samples at −1, 0, 1, 2
        -part * (part - 1) * (part - 2) / 6,
        (part + 1) * (part - 1) * (part - 2) / 2,
        -(part + 1) * part * (part - 2) / 2,
        (part + 1) * part * (part - 1) / 6,
    )
    inner = (len(signal),) + (1,) * (signal.ndim - 2)
    moved = np.zeros(signal.shape)
    for step, weight in zip((-1, 0, 1, 2), weights, strict=True):
        index = np.clip(np.arange(n_samples) + (whole + step)[:, None], 0, n_samples - 1)
        moved += weight.reshape((*inner, 1)) * np.take_along_axis(signal, index.reshape((*inner, n_samples)), axis=-1)
    return moved


def lag(
    force: np.ndarray,
    velocity: np.ndarray,
    impedance: float,
    onset: np.ndarray,
    first_peak: np.ndarray,
    time_step: float,
) -> np.ndarray:
    """Give the time by which the strain comes later than the acceleration.

    On the rise of a blow, before anything returns from the pile, force is impedance times velocity. Fitted from the
    onset to the first peak is ``F(t) = k·Z·v(t − lag)``, with k free so that a wrong calibration is not taken for a lag
    (least squares, Gauss–Newton). Shaft resistance close to the gauges adds a little force late in the rise and so
    can seem a lag of a few hundredths of a millisecond.

    Units: force [N]; velocity [m/s]; impedance [N s/m]; time_step [s]; returns [s].

    Examples
    --------
    >>> time = np.arange(400) * 50e-6
    >>> pulse = lambda t: np.where((t > 0) & (t < 4e-3), np.sin(np.pi * t / 8e-3 * 2) ** 2, 0.0)
    >>> found = lag(pulse(time - 2.03e-3)[None], pulse(time - 2e-3)[None], 1.0, np.array([42]), np.array([80]), 50e-6)
    >>> round(float(found[0]) * 1e6)
    30
    """
    rise = first_peak - onset
    longest = int(rise.max(initial=0)) + 1
    offsets = np.arange(longest)
    inside = offsets <= rise[:, None]
    last = force.shape[1] - 1
    rows = np.arange(len(force))[:, None]
    window = np.minimum(onset[:, None] + offsets, last)
    measured = np.where(inside, force[rows, window], 0.0)
    found = np.zeros(len(force))
    limit = LONGEST_SHARE * np.maximum(rise, 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        for _ in range(ITERATIONS):
            at = np.clip(window - found[:, None], 1, last - 2)
            low = at.astype(int)
            part = at - low
            before, here, after, beyond = (impedance * velocity[rows, low + k] for k in (-1, 0, 1, 2))
            slope_here, slope_after = (after - before) / 2, (beyond - here) / 2
            moved = np.where(
                inside, here + part * (after - here) + part * (part - 1) / 2 * (slope_after - slope_here), 0.0
            )
            slope = np.where(inside, slope_here + part * (slope_after - slope_here), 0.0)
            a, b, c = (moved * moved).sum(1), (moved * slope).sum(1), (slope * slope).sum(1)
            f, g = (measured * moved).sum(1), (measured * slope).sum(1)
            scale = f * c - g * b  # k times the determinant
            step = (f * b - g * a) / scale  # from F ≈ k·Zv − k·step·d(Zv)
            usable = (scale > 0) & (rise >= 2)
            found = np.where(usable, np.clip(found + np.clip(step, -limit, limit), -2 * limit, 2 * limit), 0.0)
    return np.where(usable, found * time_step, np.nan)
