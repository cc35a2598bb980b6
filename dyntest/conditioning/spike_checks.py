"""Spikes: one or two samples that stand out of a channel and of which its twin knows nothing."""

import numpy as np

from dyntest.conditioning.channel_checks import Channels

SPIKE_SHARE = 0.10
"""Height over the channel's largest response above which a spike is reported [1] (common practice, no source)."""

SPIKE_NOISE = 4.0
"""It must also stand out of the noise by so many standard deviations [1]; few, as the spike itself may be in them."""

TWIN_SHARE = 0.3
"""A twin that shows more than this share of it at the same time makes it a real event in the pile [1]."""

ALONE_SHARE = 0.33
"""Steps nearby that reach this share of it make it part of a vibration [1]."""

NEARBY = 8
"""Samples before and after a spike that are looked at for vibration [samples]."""

WIDEST = 2
"""A spike has no more samples than this [samples]."""


def spike_height(channels: Channels) -> np.ndarray:
    """Give the height of the largest spike over the channel's largest response.

    A spike is entered and left by two large steps of opposite sign with no other large step nearby. A hard contact of
    the hammer or a ringing pile can look the same, but both channels of the pair see it; so a spike counts only where
    the twin shows nothing like it.

    Parameters
    ----------
    channels : Channels
        The channels of one kind.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows, 2) [1]; 0 where there is no spike, not a number where a dead twin cannot tell.
    """
    raw = channels.raw
    judged = channels.in_use & ~channels.dead.any(axis=1, keepdims=True)
    found = np.where(judged, 0.0, np.nan)
    limit = np.maximum(SPIKE_SHARE * channels.response, SPIKE_NOISE * np.nan_to_num(channels.noise))
    limit = np.where(judged, limit, np.inf)
    large = np.flatnonzero(np.abs(raw[..., 1:] - raw[..., :-1]) > limit[..., None])
    if not len(large):
        return found
    place = large + NEARBY * (large // (raw.shape[-1] - 1))  # rows lie too far apart to touch
    begins = np.flatnonzero(np.diff(place, prepend=place[0] - NEARBY - 1) > NEARBY)
    ends = np.append(begins[1:], len(place)) - 1
    width = place[ends] - place[begins]
    few = (width >= 1) & (width <= WIDEST)
    row, first = np.divmod(large[begins[few]], raw.shape[-1] - 1)
    (blow, channel), width = np.divmod(row, 2), width[few]

    own = _height(raw, blow, channel, first, width)
    twin = _height(raw, blow, 1 - channel, first, width)
    last = raw.shape[-1] - 1
    aside = np.concatenate([np.arange(-NEARBY, 1), np.arange(1, NEARBY + 2)])[:, None]
    nearby = raw[blow, channel, np.clip(first + aside + np.where(aside > 0, width, 0), 0, last)]
    steps = np.abs(np.diff(nearby, axis=0))
    steps[NEARBY] = 0.0  # across the spike itself
    spike = (np.abs(own) > limit[blow, channel]) & (np.abs(twin) < TWIN_SHARE * np.abs(own))
    spike &= steps.max(axis=0) < ALONE_SHARE * np.abs(own)
    blow, channel = blow[spike], channel[spike]
    np.maximum.at(found, (blow, channel), np.abs(own[spike]) / channels.response[blow, channel])
    return found


def _height(raw: np.ndarray, blow: np.ndarray, channel: np.ndarray, first: np.ndarray, width: np.ndarray) -> np.ndarray:
    """Distance of the samples after `first` from the mean of those just outside."""
    after = np.minimum(first + width + 1, raw.shape[-1] - 1)
    outside = 0.5 * (raw[blow, channel, first] + raw[blow, channel, after])
    return 0.5 * (raw[blow, channel, first + 1] + raw[blow, channel, first + width]) - outside
