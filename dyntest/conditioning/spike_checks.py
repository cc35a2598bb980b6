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

MOST_APART = 4.0
"""Two channels are laid over each other with a factor of no more than this between them, either way [1]."""

NEARBY = 8
"""Samples before and after a spike that are looked at for vibration [samples]."""

WIDEST = 2
"""A spike has no more samples than this [samples]."""


def spike_height(channels: Channels) -> np.ndarray:
    """Give the height of the largest spike over the channel's largest response.

    A spike is entered and left by two large steps of opposite sign with no other large step nearby. The steps are
    those of the difference of the two channels, so that the impact itself, which both feel, hides none; a channel
    whose twin is left out stands for itself. How high it is, and on which channel, is told by how far each channel
    lies from the cubic through its samples around. A hard contact of the hammer or a ringing pile can look the same,
    but both channels of the pair see it; so a spike counts only where the twin shows nothing like it.

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
    noise = SPIKE_NOISE * np.nan_to_num(channels.noise)
    limit = np.where(judged, np.maximum(SPIKE_SHARE * channels.response, noise), np.inf)
    watched, scale, least = _watched(channels, limit, noise)
    large = np.flatnonzero(np.abs(watched[:, 1:] - watched[:, :-1]) > least[:, None])
    if not len(large):
        return found
    place = large + NEARBY * (large // (raw.shape[-1] - 1))  # rows lie too far apart to touch
    begins = np.flatnonzero(np.diff(place, prepend=place[0] - NEARBY - 1) > NEARBY)
    ends = np.append(begins[1:], len(place)) - 1
    width = place[ends] - place[begins]
    few = (width >= 1) & (width <= WIDEST)
    blow, first = np.divmod(large[begins[few]], raw.shape[-1] - 1)
    width = width[few]

    heights = np.stack([_height(raw, blow, channel, first, width) for channel in (0, 1)], axis=1) * scale[blow]
    channel = np.where(channels.in_use.all(), np.abs(heights).argmax(axis=1), channels.in_use.argmax())
    each = np.arange(len(blow))
    own, twin = np.abs(heights[each, channel]), np.abs(heights[each, 1 - channel])
    last = raw.shape[-1] - 1
    aside = np.concatenate([np.arange(-NEARBY, 1), np.arange(1, NEARBY + 2)])[:, None]
    nearby = watched[blow, np.clip(first + aside + np.where(aside > 0, width, 0), 0, last)]
    steps = np.abs(np.diff(nearby, axis=0))
    steps[NEARBY] = 0.0  # across the spike itself
    height = own / scale[blow, channel]
    spike = (height > limit[blow, channel]) & (twin < TWIN_SHARE * own) & (steps.max(axis=0) < ALONE_SHARE * own)
    blow, channel = blow[spike], channel[spike]
    np.maximum.at(found, (blow, channel), height[spike] / channels.response[blow, channel])
    return found


def _watched(channels: Channels, limit: np.ndarray, noise: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Trace to be searched (n_blows, n_samples), scale of each channel in it (n_blows, 2), smallest step (n_blows,)."""
    raw = channels.raw
    scale = np.ones(limit.shape)
    if not channels.in_use.all():
        only = int(channels.in_use.argmax())
        return raw[:, only], scale, limit[:, only]
    one, other = raw[:, 0] - channels.offset[:, :1], raw[:, 1] - channels.offset[:, 1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        gain = np.einsum("bs,bs->b", one, other) / np.einsum("bs,bs->b", other, other)
    scale[:, 1] = np.clip(np.nan_to_num(gain, nan=1.0), 1.0 / MOST_APART, MOST_APART)
    least = np.maximum((scale * limit).min(axis=1), np.hypot(*(scale * noise).T))
    return one - scale[:, 1:] * other, scale, least


def _height(raw: np.ndarray, blow: np.ndarray, channel: int, first: np.ndarray, width: np.ndarray) -> np.ndarray:
    """Distance of the samples after `first` from the cubic through the two before and the two behind them."""
    last = raw.shape[-1] - 1

    def sample(ahead: np.ndarray | int) -> np.ndarray:
        return raw[blow, channel, np.clip(first + ahead, 0, last)]

    near, far = sample(0) + sample(width + 1), sample(-1) + sample(width + 2)
    weight = np.where(width == 1, 4.0 / 6.0, 3.0 / 4.0)
    return 0.5 * (sample(1) + sample(width)) - (weight * near + (0.5 - weight) * far)
