"""When the wave comes back from the toe, where that can be seen."""

import numpy as np

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

    Parameters
    ----------
    down, up : numpy.ndarray
        Downward and upward wave, shape (n_blows, n_samples) [N], compression positive.
    onset, first_peak : numpy.ndarray
        Samples at which each blow begins and first peaks, shape (n_blows,) [1].
    time_step : float
        Time between two samples [s].
    return_time : float
        Return time T = 2L/c [s].

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1]; not a number where no return is clear or the record is too short to look.

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
