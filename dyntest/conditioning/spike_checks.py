"""Spikes: single samples that stand out of a channel and of which its twin knows nothing."""

import numpy as np

from dyntest.conditioning.channel_checks import Channels

SPIKE_SHARE = 0.10
"""Height over the channel's largest response above which a spike is reported [1] (common practice, no source)."""

SPIKE_NOISE = 8.0
"""It must also stand out of the noise by so many standard deviations [1]."""

TWIN_SHARE = 0.3
"""A twin that shows more than this share of it at the same time makes it a real event in the pile [1]."""

ALONE_SHARE = 0.33
"""Other jumps nearby that reach this share of it make it part of a vibration [1]."""

NEARBY = (-8, -7, -6, -5, -4, -3, 3, 4, 5, 6, 7, 8)
"""Samples around a spike that are looked at for vibration [samples]."""


def spike_height(channels: Channels) -> np.ndarray:
    """Give the height of the largest spike over the channel's largest response.

    A sample's height is its distance from the mean of its two neighbours. It is a spike where the channel is calm
    before and after and the other channel of the pair shows nothing like it: a hard contact of the hammer or a ringing
    pile is seen by both.

    Parameters
    ----------
    channels : Channels
        The channels of one kind.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows, 2) [1]; 0 where no sample is a spike.
    """
    raw = channels.raw
    height = raw[..., :-2] + raw[..., 2:]
    height *= -0.5
    height += raw[..., 1:-1]
    np.abs(height, out=height)
    limit = np.maximum(SPIKE_SHARE * channels.response, SPIKE_NOISE * np.nan_to_num(channels.noise))
    limit = np.where(channels.dead | ~channels.in_use, np.inf, limit)
    found = np.zeros(channels.response.shape)
    if not (height.max(axis=-1) > limit).any():
        return found
    blow, channel, sample = np.nonzero(height > limit[..., None])
    tall = height[blow, channel, sample]
    last = height.shape[-1] - 1
    near = np.clip(sample + np.array(NEARBY)[:, None], 0, last)
    same = np.clip(sample + np.array([-1, 0, 1])[:, None], 0, last)
    alone = height[blow, channel, near].max(axis=0) < ALONE_SHARE * tall
    twin_dead = channels.dead[blow, 1 - channel]
    unseen = (height[blow, 1 - channel, same].max(axis=0) < TWIN_SHARE * tall) | twin_dead
    spike = alone & unseen
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = tall / channels.response[blow, channel]
    np.maximum.at(found, (blow[spike], channel[spike]), ratio[spike])
    return found
