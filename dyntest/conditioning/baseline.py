"""The zero line of each channel, from the quiet samples before the impact."""

import numpy as np

FEWEST_QUIET_SAMPLES = 2
"""A zero line is not taken from fewer samples [1], as one sample has no noise to compare it with."""


def baseline(channels: np.ndarray, quiet_samples: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the mean and the noise of each channel over its quiet samples.

    Parameters
    ----------
    channels : numpy.ndarray
        Signals of one kind, shape (n_blows, n_channels, n_samples) [any unit].
    quiet_samples : numpy.ndarray
        Number of samples at the start of each record that are quiet, shape (n_blows,) [1].

    Returns
    -------
    offset : numpy.ndarray
        Mean of the quiet samples, shape (n_blows, n_channels) [unit of `channels`]; 0 where fewer than
        `FEWEST_QUIET_SAMPLES` are quiet, since no zero line can be taken from such a record.
    noise : numpy.ndarray
        Their standard deviation, shape (n_blows, n_channels) [unit of `channels`]; not a number in the same case.

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
