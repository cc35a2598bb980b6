"""Where the blow begins, and the first peak of the downward wave."""

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


def _risen(size: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First sample of the rise that no noise or spike reaches, and the peak; shapes (n_blows,), (n_blows, 1)."""
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
    risen, peak = _risen(size)
    reach = int(risen.max(initial=0)) + 1
    rise = np.where(np.arange(reach) <= risen[:, None], size[:, :reach], np.inf)
    begins, foot = _last_below(rise, ONSET_SHARE * peak), _last_below(rise, FOOT_SHARE * peak)
    slow = np.minimum(np.ceil(GUARD_FACTOR * (begins - foot)).astype(int), round(LONGEST_GUARD / time_step))
    usual = np.clip(risen - begins, 2, max(2, round(USUAL_GUARD / time_step)))
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
