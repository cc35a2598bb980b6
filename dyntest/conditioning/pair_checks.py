"""Checks on two channels of a kind against each other: bending, and accelerometers that disagree."""

import numpy as np

from dyntest.conditioning.channel_checks import SIGN_LIMIT, Channels

BENDING_LIMIT = 0.25
"""Difference of the two strains over their sum at the first peak [1] (common practice, no source)."""

VELOCITY_LIMIT = 0.08
"""Difference of the two velocities over their sum at the first peak [1] (common practice, no source)."""


def at(traces: np.ndarray, sample: np.ndarray) -> np.ndarray:
    """Give the values of traces at one sample of each blow.

    Parameters
    ----------
    traces : numpy.ndarray
        Traces, shape (n_blows, ..., n_samples) [any unit].
    sample : numpy.ndarray
        Sample index, shape (n_blows,) [1].

    Returns
    -------
    numpy.ndarray
        Values, shape (n_blows, ...) [unit of `traces`].

    Examples
    --------
    >>> at(np.array([[1.0, 2.0], [3.0, 4.0]]), np.array([1, 0])).tolist()
    [2.0, 3.0]
    """
    return traces[np.arange(len(traces)), ..., sample]


def sound(channels: Channels) -> np.ndarray:
    """Give where every channel in use responds with the right sign, so that it can be compared with others.

    Parameters
    ----------
    channels : Channels
        The channels of one kind.

    Returns
    -------
    numpy.ndarray
        Whether, shape (n_blows,) [1].
    """
    return ~(channels.dead | (channels.sign < SIGN_LIMIT)).any(axis=1)


def apart(channels: Channels, first_peak: np.ndarray) -> np.ndarray:
    """Give the difference of the two channels over their sum at the first peak, of strain or of velocity.

    Parameters
    ----------
    channels : Channels
        The channels of one kind.
    first_peak : numpy.ndarray
        Sample of the first peak, shape (n_blows,) [1].

    Returns
    -------
    numpy.ndarray
        Size of the ratio, shape (n_blows,) [1]; not a number where a channel is left out, dead or swapped, as that
        is said elsewhere.
    """
    if not channels.in_use.all():
        return np.full(len(channels.raw), np.nan)
    both = at(channels.integral, first_peak)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(sound(channels), np.abs((both[:, 0] - both[:, 1]) / both.sum(axis=1)), np.nan)


def gauges_in_use(channels: Channels, first_peak: np.ndarray) -> np.ndarray:
    """Give how many channels of a kind are in use.

    Parameters
    ----------
    channels : Channels
        The channels of one kind.
    first_peak : numpy.ndarray
        Sample of the first peak, shape (n_blows,) [1].

    Returns
    -------
    numpy.ndarray
        Number, shape (n_blows,) [1].
    """
    return np.full(len(first_peak), float(channels.in_use.sum()))
