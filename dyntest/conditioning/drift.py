"""The drift of velocity that a shifted zero of the accelerometer leaves, and its removal."""

import numpy as np

REST_SHARE = 0.2
"""Last share of the record over which the pile counts as at rest in the mean [1] (common practice, no source)."""

MOST_BEND = 0.03
"""Velocity that the set of a log may change at most, over the peak velocity [1]: about what gauges are sure of, and
what 5 mm too much or too little asks for in a record of 100 ms (our choice). A log that is more wrong than that must
not bend the wave it is held against."""


def rest_samples(n_samples: int) -> int:
    """Give how many samples at the end of a record make its rest.

    Parameters
    ----------
    n_samples : int
        Samples in the record [1].

    Returns
    -------
    int
        Number of samples [1], at least two.

    Examples
    --------
    >>> rest_samples(2000)
    400
    """
    return max(2, round(REST_SHARE * n_samples))


def final_displacement(velocity: np.ndarray, time_step: float) -> np.ndarray:
    """Give the mean displacement during the rest at the end of the record.

    Parameters
    ----------
    velocity : numpy.ndarray
        Velocity, shape (..., n_samples) [m/s], downward positive.
    time_step : float
        Time between two samples [s].

    Returns
    -------
    numpy.ndarray
        Displacement since the start of the record, shape (...) [m], downward positive.

    Notes
    -----
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

    Parameters
    ----------
    velocity : numpy.ndarray
        Velocity, shape (n_blows, n_channels, n_samples) [m/s], downward positive.
    onset : numpy.ndarray
        Sample at which each blow begins, shape (n_blows,) [1].
    time_step : float
        Time between two samples [s].
    displacement : numpy.ndarray or None
        Known set of each blow, shape (n_blows,) [m], downward positive; not a number where it is not known.

    Returns
    -------
    velocity : numpy.ndarray
        Corrected velocity, shape (n_blows, n_channels, n_samples) [m/s]; unchanged where the blow begins within the
        rest, as there is then no rest to speak of.
    coefficients : numpy.ndarray
        Coefficients b and q of what was taken off, ``b·τ + q·τ²`` with τ since the onset,
        shape (n_blows, n_channels, 2) [m/s^2, m/s^3].

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

    Parameters
    ----------
    coefficients : numpy.ndarray
        Coefficients b and q from `remove_drift`, shape (n_blows, n_channels, 2) [m/s^2, m/s^3].
    since : numpy.ndarray
        Time since the onset, shape (n_blows,) [s].

    Returns
    -------
    velocity : numpy.ndarray
        ``b·τ + q·τ²``, shape (n_blows, n_channels) [m/s], downward positive.
    displacement : numpy.ndarray
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
