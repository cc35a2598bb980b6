"""An optional low-pass filter that shifts nothing in time."""

from functools import lru_cache

import numpy as np

from dyntest.errors import InputError

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

    Parameters
    ----------
    signal : numpy.ndarray
        Samples along the last axis, shape (..., n_samples) [any unit].
    time_step : float
        Time between two samples [s].
    corner : float
        Corner frequency [Hz].
    source : str
        Where the record was read from, for messages.

    Returns
    -------
    numpy.ndarray
        Filtered signals, shape (..., n_samples) [unit of `signal`].

    Raises
    ------
    InputError
        If the corner is not between 0 and half the sampling rate; no other filter is put in its place.

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
