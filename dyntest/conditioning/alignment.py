"""The lag between strain and acceleration, found on the rising edge; and a shift by a fraction of a sample."""

import numpy as np

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
