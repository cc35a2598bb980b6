"""What is corrected before force and velocity are used: zero line, low-pass filter, and drift of the velocity.

The zero line comes from the quiet samples before the impact. The filter is optional and shifts nothing in time.
Integration gives velocity and displacement; the drift that a shifted zero of the accelerometer leaves is removed.
"""

from functools import lru_cache

import numpy as np

from dyntest.errors import InputError

FEWEST_QUIET_SAMPLES = 2
"""A zero line is not taken from fewer samples [1], as one sample has no noise to compare it with."""


def baseline(channels: np.ndarray, quiet_samples: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the mean and the noise of each channel over its quiet samples.

    Examples
    --------
    >>> record = np.array([[[2.0, 2.5, 1.5, 2.0, 90.0, 50.0]]])
    >>> offset, noise = baseline(record, np.array([4]))
    >>> float(offset[0, 0]), round(float(noise[0, 0]), 3)
    (2.0, 0.354)
    """
    enough = quiet_samples >= FEWEST_QUIET_SAMPLES
    longest = max(int(quiet_samples.max(initial=0)), 1)
    weight = (np.arange(longest) < quiet_samples[:, None]) / np.maximum(quiet_samples, 1)[:, None]
    part = channels[..., :longest]
    offset = np.einsum("bcq,bq->bc", part, weight)
    noise = np.sqrt(np.einsum("bcq,bq->bc", np.square(part - offset[..., None]), weight))
    return np.where(enough[:, None], offset, 0.0), np.where(enough[:, None], noise, np.nan)


FILTER_ORDER = 4
"""Order of the Butterworth filter, which runs once forwards and once backwards [1] (common practice, no source)."""


@lru_cache(maxsize=8)
def _sections(corner: float, rate: float) -> np.ndarray:
    """Design the filter once for all chunks of a drive; it takes as long as filtering some blows."""
    from scipy.signal import butter

    return butter(FILTER_ORDER, corner, fs=rate, output="sos")


def low_pass(signal: np.ndarray, time_step: float, corner: float, source: str = "low-pass filter") -> np.ndarray:
    """Give signals without what lies above a corner frequency, and without any shift in time.

    A Butterworth filter of order `FILTER_ORDER` runs forwards and backwards, so its phase cancels and its magnitude
    is squared: −6 dB at the corner, and above it the slope of twice the order. Both ends are continued by the
    signal turned about its end point while the filter settles.

    Units: time_step [s]; corner [Hz].

    Examples
    --------
    >>> time = np.arange(2000) * 50e-6
    >>> both = np.sin(2 * np.pi * 100 * time) + np.sin(2 * np.pi * 8000 * time)
    >>> rest = low_pass(both, 50e-6, 2000.0) - np.sin(2 * np.pi * 100 * time)
    >>> bool(np.abs(rest[200:-200]).max() < 1e-4)
    True
    """
    from scipy.signal import sosfiltfilt  # takes half a second, and most records are not filtered

    highest = 0.5 / time_step
    if not 0.0 < corner < highest:
        raise InputError(
            source,
            "low_pass",
            f"a corner of {corner:g} Hz does not fit samples {time_step * 1e6:.3g} µs apart",
            f"choose a corner above 0 and below {highest:g} Hz, or none",
        )
    return sosfiltfilt(_sections(corner, 1.0 / time_step), signal, axis=-1)


def integrate(signal: np.ndarray, time_step: float) -> np.ndarray:
    """Give the running integral over time by the trapezoidal rule, 0 at the first sample.

    Units: time_step [s].

    ``I[k] = I[k−1] + Δt·(y[k−1] + y[k])/2``: exact for straight lines between samples, and without phase error.

    Examples
    --------
    >>> integrate(np.array([0.0, 2.0, 4.0]), 0.5).tolist()
    [0.0, 0.5, 2.0]
    """
    total = np.cumsum(signal, axis=-1)
    total -= 0.5 * signal
    total -= 0.5 * signal[..., :1]
    total *= time_step
    return total


REST_SHARE = 0.2
"""Last share of the record over which the pile counts as at rest in the mean [1] (common practice, no source)."""

MOST_BEND = 0.03
"""Velocity that the set of a log may change at most, over the peak velocity [1]: about what gauges are sure of, and
what 5 mm too much or too little asks for in a record of 100 ms (our choice). A log that is more wrong than that must
not bend the wave it is held against."""


def rest_samples(n_samples: int) -> int:
    """Give how many samples at the end of a record make its rest.

    Examples
    --------
    >>> rest_samples(2000)
    400
    """
    return max(2, round(REST_SHARE * n_samples))


def final_displacement(velocity: np.ndarray, time_step: float) -> np.ndarray:
    """Give the mean displacement during the rest at the end of the record.

    Units: velocity [m/s]; time_step [s]; returns [m].

    The mean of ``∫v dt`` over the rest is one weighted sum of v: weight Δt before the rest and falling to 0 in it.

    Examples
    --------
    >>> float(round(final_displacement(np.full(101, 2.0), 0.01), 2))
    1.81
    """
    n_samples = velocity.shape[-1]
    rest = rest_samples(n_samples)
    left = np.minimum((n_samples - np.arange(n_samples) - 0.5) / rest, 1.0)
    left[0] *= 0.5
    return velocity @ (time_step * left)


def remove_drift(
    velocity: np.ndarray, onset: np.ndarray, time_step: float, displacement: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Give the velocity with the pile at rest at the end of the record, and how much was taken off.

    The quiet part before the blow fixes the zero of an accelerometer until the impact; what the impact shifts it by
    stays. A constant error of acceleration from the onset on is a straight ramp of velocity that starts there, so the
    correction is nought before the blow and hardly touches the first peak: 3 ms into a record of 100 ms it is 3 % of
    its size at the end. The ramp is chosen so that the velocity is zero in the mean over the last `REST_SHARE` of the
    record; each accelerometer gets its own. Where the displacement is known from the log as well, a second term, drift
    in proportion to time squared, brings the mean displacement over the same rest to it, or as near as it can by
    changing the velocity by no more than `MOST_BEND` of its peak.

    Units: velocity [m/s]; time_step [s]; displacement [m]; returns [m/s].

    Coefficients b and q of what was taken off, ``b·τ + q·τ²`` with τ since the onset, shape (n_blows, n_channels,
    2) [m/s^2, m/s^3].

    Examples
    --------
    >>> ramp = np.maximum(np.arange(1000) - 100, 0) * 1e-3
    >>> level, coefficients = remove_drift(ramp[None, None], np.array([100]), 1e-4)
    >>> bool(np.abs(level).max() < 1e-12), round(float(coefficients[0, 0, 0]), 6)
    (True, 10.0)
    """
    n_samples = velocity.shape[-1]
    rest = rest_samples(n_samples)
    since = (np.arange(n_samples) - onset[:, None]) * time_step
    np.maximum(since, 0.0, out=since)
    applies = onset < n_samples - rest
    first_moment = since[:, -rest:].mean(axis=1)
    linear = velocity[..., -rest:].mean(axis=-1) / np.where(applies, first_moment, np.inf)[:, None]
    corrected = velocity - linear[..., None] * since[:, None, :]
    quadratic = np.zeros_like(linear)
    if displacement is not None:
        known = applies & np.isfinite(displacement)
        second_moment = np.square(since[:, -rest:]).mean(axis=1)
        ratio = np.where(known, second_moment / np.where(known, first_moment, 1.0), 0.0)
        shape = np.square(since) - ratio[:, None] * since  # no velocity at rest in the mean
        moved = final_displacement(shape, time_step)
        excess = final_displacement(corrected, time_step) - np.where(known, displacement, 0.0)[:, None]
        quadratic = np.where(known[:, None], excess / np.where(known, moved, 1.0)[:, None], 0.0)
        most = MOST_BEND * corrected.max(axis=-1) / np.maximum(np.abs(shape).max(axis=-1), 1e-30)[:, None]
        quadratic = np.clip(quadratic, -np.maximum(most, 0.0), np.maximum(most, 0.0))
        corrected -= quadratic[..., None] * shape[:, None, :]
        linear = linear - quadratic * ratio[:, None]
    return corrected, np.stack([linear, quadratic], axis=-1)


def drift_at(coefficients: np.ndarray, since: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the velocity and the displacement that the drift amounts to after a time.

    Units: since [s]; returns [m/s, m].

    ``b·τ + q·τ²``, shape (n_blows, n_channels) [m/s], downward positive.

    ``b·τ²/2 + q·τ³/3``, shape (n_blows, n_channels) [m], downward positive.

    Examples
    --------
    >>> velocity, displacement = drift_at(np.array([[[10.0, 0.0]]]), np.array([0.1]))
    >>> round(float(velocity[0, 0]), 6), round(float(displacement[0, 0]), 6)
    (1.0, 0.05)
    """
    linear, quadratic = coefficients[..., 0], coefficients[..., 1]
    tau = np.maximum(since, 0.0)[:, None]
    return (linear + quadratic * tau) * tau, (linear / 2 + quadratic * tau / 3) * tau**2
