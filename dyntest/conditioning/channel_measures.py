"""Checks on gauges of one kind: each channel by itself, and two channels against each other.

By itself: dead, clipped, swapped sign, noise, offset, spikes, strain not returning, a single gauge. Against each other:
bending, accelerometers that disagree, and one that comes late.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dyntest.conditioning.condition import Conditioned, channels_in_use
from dyntest.conditioning.corrections import rest_samples
from dyntest.conditioning.impact import lag, risen
from dyntest.signals import Signals, Waves

DEAD_SHARE = 0.05
"""A channel that moves less than this share of its twin is dead [1] (common practice, no source)."""

DEAD = {"strain": 10e-6, "acceleration": 20.0}
"""A channel that moves less than this is dead [m/m and m/s^2, the latter about 2 g] (common practice, no source)."""

CLIPPED_SAMPLES = 3
"""So many samples in a row at the very same extreme value may be a range that ended [1]
(common practice, no source)."""

CLIPPED_NOISE, CLIPPED_STEPS = 6.0, 2.0
"""What a plateau cuts off must exceed so many standard deviations of the noise and so many of the channel's smallest
steps [1]; less is the rounded top of a coarsely stored peak, and harmless (common practice, no source)."""

LONG_PLATEAU = 8
"""A plateau of so many samples is judged by the mean of both sides, as a next peak may follow it [1]; a shorter one,
which chance can make, by the lesser (common practice, no source)."""

CLIPPED_SHARE = 0.2
"""An extreme closer to the zero line than this share of the largest response is no end of a range [1]."""

SIGN_TIME = 1e-3
"""Time after the onset over which strain and velocity must be positive [s]."""

SIGN_LIMIT = -0.5
"""Mean over mean size in that time below which the sign is swapped [1]; right is near +1, wrong near −1."""

MOVED_SHARE = 0.05
"""Mean size in that time over the largest below which a channel has not yet moved [1] (our choice)."""

NOISE_LIMIT = 0.03
"""Noise before the blow over the largest response [1] (common practice, no source)."""

OFFSET_LIMIT = {"strain": 0.10, "acceleration": 0.05}
"""Zero line over the largest response [1] (common practice, no source)."""

STAYING_LIMIT = 0.15
"""Mean strain at the end over the largest [1]: a pile at rest holds little strain (common practice, no source)."""

FEWEST_FOR_NOISE = 8
"""Noise is not judged from fewer quiet samples [1]."""


@dataclass(frozen=True)
class Channels:
    """Two channels of one kind on opposite faces, with the few numbers that several checks need.

    A channel that has no twin stands beside itself, as one that is not in use.

    Parameters
    ----------
    kind : str
        ``"strain"`` or ``"acceleration"``.
    raw : numpy.ndarray
        Signals as recorded, shape (n_blows, 2, n_samples) [m/m or m/s^2, the unit of the signals].
    in_use : numpy.ndarray
        Which channels are not left out, shape (2,) [1].
    offset, noise : numpy.ndarray
        Zero line and noise of the quiet part, shape (n_blows, 2) [unit of the signals].
    integral : numpy.ndarray
        Strain, or the velocity that the acceleration gives, of the channels in use, conditioned, shape
        (n_blows, n_in_use, n_samples) [m/m or m/s, the unit of strain or velocity].
    quiet_samples : numpy.ndarray
        Quiet samples of each blow, shape (n_blows,) [1].
    highest, lowest : numpy.ndarray
        Extremes as recorded, shape (n_blows, 2) [unit of the signals].
    response : numpy.ndarray
        Largest distance from the zero line, shape (n_blows, 2) [unit of the signals].
    dead : numpy.ndarray
        Whether a channel is dead, shape (n_blows, 2) [1]; a channel left out is never looked at.
    sign : numpy.ndarray
        Mean over mean size of `integral` just after the onset, shape (n_blows, 2) [1]; not a number where dead.
    """

    kind: str
    raw: np.ndarray
    in_use: np.ndarray
    offset: np.ndarray
    noise: np.ndarray
    integral: np.ndarray
    quiet_samples: np.ndarray
    highest: np.ndarray
    lowest: np.ndarray
    response: np.ndarray
    dead: np.ndarray
    sign: np.ndarray


def gather_channels(kind: str, signals: Signals, conditioned: Conditioned, pair: tuple[int, ...] = (0, 1)) -> Channels:
    """Gather what the checks of one kind of channels need, of the channels at two places."""
    corrections = conditioned.corrections
    strain = kind == "strain"
    both = slice(pair[0], pair[0] + 2) if len(pair) == 2 else [pair[0], pair[0]]
    raw = (signals.strain if strain else signals.acceleration)[:, both]
    offset = (corrections.strain_offset if strain else corrections.acceleration_offset)[:, both]
    noise = (corrections.strain_noise if strain else corrections.acceleration_noise)[:, both]
    kept = channels_in_use(signals)[0 if strain else 1]
    of_all = conditioned.gauge_strain if strain else conditioned.gauge_velocity
    assert of_all is not None  # only averaged traces have none
    places = [kept.index(channel) for channel in pair if channel in kept]
    integral = of_all[:, places[0] : places[-1] + 1] if places else of_all[:, :0]
    in_use = np.array([channel in kept for channel in pair] + [False] * (2 - len(pair)))
    highest, lowest = raw.max(axis=-1), raw.min(axis=-1)
    zero = np.nan_to_num(offset)
    response = np.maximum(highest - zero, zero - lowest)
    moves = highest - lowest
    dead = (response < DEAD[kind]) | (in_use.all() & (moves < DEAD_SHARE * moves[:, ::-1]))
    dead &= in_use
    sign = np.full(dead.shape, np.nan)
    begins, waves = conditioned.waves.onset.copy(), conditioned.waves
    turned = np.zeros(len(raw), dtype=bool)
    for mean in (waves.force, waves.velocity):
        turned |= -mean.min(axis=1) > mean.max(axis=1)
    if turned.any():  # most gauges of a kind are turned round, and the onset is that of another wave
        begins[turned] = risen(np.abs(integral[turned]).max(axis=1, initial=0.0))[0]
    sign[:, in_use] = _sign(integral, begins, signals.time_step)
    sign[dead] = np.nan
    return Channels(
        kind, raw, in_use, offset, noise, integral, corrections.quiet_samples, highest, lowest, response, dead, sign
    )


def _sign(integral: np.ndarray, onset: np.ndarray, time_step: float) -> np.ndarray:
    """Mean over mean size in the time after the onset, shape (n_blows, n_in_use).

    A channel that has hardly moved in that time comes late, and is judged from its own rise on.
    """
    length = max(4, round(SIGN_TIME / time_step))
    begins = np.repeat(onset[:, None], integral.shape[1], axis=1)
    part = _from(integral, begins, length)
    late = np.abs(part).mean(axis=-1) < MOVED_SHARE * np.abs(integral).max(axis=-1)
    if late.any():
        begins[late] = risen(np.abs(integral[late]))[0]
        part = _from(integral, begins, length)
    with np.errstate(invalid="ignore", divide="ignore"):
        return part.mean(axis=-1) / np.abs(part).mean(axis=-1)


def _from(traces: np.ndarray, begins: np.ndarray, length: int) -> np.ndarray:
    """Give so many samples of each trace from a sample of its own on; at the end of the record the last is repeated."""
    index = np.minimum(begins[..., None] + np.arange(length), traces.shape[-1] - 1)
    return np.take_along_axis(traces, index, axis=-1)


def _of_live(values: np.ndarray, channels: Channels) -> np.ndarray:
    """Put not-a-number into the values for channels that are dead or left out."""
    return np.where(channels.dead | ~channels.in_use, np.nan, values)


def smallest_response(channels: Channels) -> np.ndarray:
    """Give the largest distance of each channel from its zero line."""
    return np.where(channels.in_use, channels.response, np.nan)


def share_of_twin(channels: Channels) -> np.ndarray:
    """Give by how much each channel moves, over what the other of the pair moves."""
    judged = channels.in_use.all() & (channels.response >= DEAD[channels.kind])
    moves = channels.highest - channels.lowest
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(judged, moves / moves[:, ::-1], np.nan)


def clipped_samples(channels: Channels) -> np.ndarray:
    """Give the longest run of samples at the very same extreme value that cuts something off.

    A peak is round, so what a plateau of r samples hides is judged from how far the channel falls within the next r
    samples on both sides: a parabola three times as wide is nine times as high, so an eighth of that
    fall is hidden.
    """
    longest = np.zeros(channels.response.shape)
    zero = np.nan_to_num(channels.offset)
    for extreme in (channels.highest, channels.lowest):
        at = channels.raw == extreme[..., None]
        runs = (at[..., 1:] & at[..., :-1]).any(axis=-1)
        for blow, channel in np.argwhere(runs & (np.abs(extreme - zero) > CLIPPED_SHARE * channels.response)):  # few
            run = _plateau(channels.raw[blow, channel], at[blow, channel], channels.noise[blow, channel])
            longest[blow, channel] = max(longest[blow, channel], run)
        longest = np.maximum(
            longest,
            np.where(np.abs(extreme - zero) > CLIPPED_SHARE * channels.response, _flat_tops(channels, extreme), 0.0),
        )
    return _of_live(longest, channels)


FLAT_BAND = 6.0
"""A flat top with noise on it lies within so many standard deviations below its extreme [1]: noise reaches 3 to either
side."""

FLAT_STEP, FLAT_REACH, FLAT_SAMPLES = 0.002, 160, 5
"""It lies within this share of the response even without noise [1]; samples to either side that are searched, and the
fewest that make a flat top [samples]."""

FLAT_KINK = 30.0
"""Fall within a quarter of its length beyond each end over what it bends within itself [1]: 3 for a parabola, 14 for
a peak of fourth power, both exact; far more where a range ended."""

FLAT_HIDDEN = 0.025
"""That fall over the response below which too little is cut off to matter [1] (common practice, no source)."""


def _flat_tops(channels: Channels, extreme: np.ndarray) -> np.ndarray:
    """Give the length of a flat top at the extreme, with a kink at both ends; 0 where there is none [samples]."""
    raw = channels.raw
    n_blows, n_channels, n_samples = raw.shape
    zero, noise = np.nan_to_num(channels.offset), np.nan_to_num(channels.noise)
    upward = np.where(extreme >= zero, 1.0, -1.0)
    top = (raw * upward[..., None]).argmax(axis=-1)
    place = top[..., None] + np.arange(-FLAT_REACH, FLAT_REACH + 1)
    edge = (place < 0) | (place >= n_samples)
    near = np.take_along_axis(raw, np.clip(place, 0, n_samples - 1), axis=-1) * upward[..., None]
    near = np.where(edge, -np.inf, near)
    band = np.maximum(FLAT_BAND * noise, FLAT_STEP * channels.response)
    out = near < (extreme * upward - band)[..., None]
    before = out[..., FLAT_REACH::-1].argmax(axis=-1)  # samples from the top to the first one outside
    after = out[..., FLAT_REACH:].argmax(axis=-1)
    length = before + after - 1
    begin, end = FLAT_REACH - before + 1, FLAT_REACH + after - 1
    found = np.zeros((n_blows, n_channels))
    judged = (before > 0) & (after > 0) & (length >= FLAT_SAMPLES) & (length < FLAT_REACH)
    for blow, channel in np.argwhere(judged):
        trace, r = near[blow, channel], int(length[blow, channel])
        first, last = int(begin[blow, channel]), int(end[blow, channel])
        inner = trace[first : last + 1]
        third = max(r // 3, 1)
        sides = np.concatenate([inner[:third], inner[-third:]])
        middle = inner[third:-third]
        bend = abs(float(middle.mean() - sides.mean()))
        doubt = noise[blow, channel] * np.sqrt(1.0 / len(middle) + 1.0 / len(sides))
        beyond = max(2, r // 4)
        falls = inner.mean() - trace[[max(first - beyond, 0), min(last + beyond, len(trace) - 1)]]
        fall = float(np.where(np.isfinite(falls), falls, 0.0).min())
        if fall > FLAT_KINK * (bend + 2.0 * doubt) and fall > FLAT_HIDDEN * channels.response[blow, channel]:
            found[blow, channel] = r
    return found


def _plateau(trace: np.ndarray, at: np.ndarray, noise: float) -> int:
    """Longest run of `at` that hides more than noise and rounding can."""
    edges = np.flatnonzero(np.diff(at, prepend=False, append=False))
    steps = np.abs(np.diff(trace))
    least = CLIPPED_STEPS * steps[steps > 0].min(initial=np.inf) + CLIPPED_NOISE * np.nan_to_num(noise)
    longest = 0
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        run = end - begin
        before, after = trace[max(begin - run, 0) : begin + 1], trace[end - 1 : end + run]
        falls = [np.abs(side - trace[begin]).max() for side in (before, after)]
        fall = min(falls) if run < LONG_PLATEAU else sum(falls) / 2.0
        if run > longest and fall / 8.0 > least:
            longest = int(run)
    return longest


def sign(channels: Channels) -> np.ndarray:
    """Give the mean of strain or velocity over its mean size, just after the onset."""
    return channels.sign


def noise_ratio(channels: Channels) -> np.ndarray:
    """Give the noise before the blow over the largest response."""
    judged = (channels.quiet_samples >= FEWEST_FOR_NOISE)[:, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        return _of_live(np.where(judged, channels.noise / channels.response, np.nan), channels)


def offset_ratio(channels: Channels) -> np.ndarray:
    """Give the size of the zero line over the largest response."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return _of_live(np.abs(channels.offset) / channels.response, channels)


def staying_strain(channels: Channels) -> np.ndarray:
    """Give the size of the mean strain at the end of the record over the largest strain."""
    rest = rest_samples(channels.raw.shape[-1])
    both = np.full(channels.response.shape, np.nan)
    both[:, channels.in_use] = np.abs(channels.integral[..., -rest:].mean(axis=-1))
    with np.errstate(invalid="ignore", divide="ignore"):
        return _of_live(both / channels.response, channels)


BENDING_LIMIT = 0.25
"""Difference of the two strains over their sum at the first peak [1] (common practice, no source)."""

VELOCITY_LIMIT = 0.08
"""Difference of the two velocities over their sum at the first peak [1] (common practice, no source)."""


def at(traces: np.ndarray, sample: np.ndarray) -> np.ndarray:
    """Give the values of traces at one sample of each blow.

    Examples
    --------
    >>> at(np.array([[1.0, 2.0], [3.0, 4.0]]), np.array([1, 0])).tolist()
    [2.0, 3.0]
    """
    return traces[np.arange(len(traces)), ..., sample]


def sound(channels: Channels) -> np.ndarray:
    """Give where every channel in use responds with the right sign, so that it can be compared with others."""
    return np.logical_not(np.any(channels.dead | (channels.sign < SIGN_LIMIT), axis=1))


def apart(channels: Channels, waves: Waves) -> np.ndarray:
    """Give the difference of the two channels over their sum at the first peak, of strain or of velocity."""
    if not channels.in_use.all():
        return np.full(len(channels.raw), np.nan)
    both = at(channels.integral, waves.first_peak)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(sound(channels), np.abs((both[:, 0] - both[:, 1]) / both.sum(axis=1)), np.nan)


TWINS_LIMIT = 0.15e-3
"""Time between the rises of two channels on opposite faces [s]: more than the one sample of a slow recorder by which
its channels may follow each other (our choice; simulated sound gauges stay within 0.02 ms)."""


def apart_in_time(channels: Channels, waves: Waves) -> np.ndarray:
    """Give the time between the rises of the two channels, whatever their sizes are.

    Units: returns [s].
    """
    if not channels.in_use.all():
        return np.full(len(channels.raw), np.nan)
    one, other = channels.integral[:, 0], channels.integral[:, 1]
    shift = lag(one, other, 1.0, waves.onset, waves.first_peak, waves.time_step)
    return np.where(sound(channels), np.abs(shift), np.nan)


def gauges_on_opposite_faces(pairs: Sequence[Channels], first_peak: np.ndarray) -> np.ndarray:
    """Give how many channels of the pair that has most are in use: 2 where bending leaves the mean, else 1."""
    return np.full(len(first_peak), float(max(pair.in_use.sum() for pair in pairs)))


PAIRS_LIMIT = 0.05
"""Difference of the means of two pairs over their sum at the first peak [1]: each is free of bending, so only gauges
that are wrong differ (our choice)."""


def pairs_apart(pairs: Sequence[Channels], first_peak: np.ndarray) -> np.ndarray:
    """Give the difference of the means of two pairs over their sum at the first peak; nothing where there is one."""
    whole = [pair for pair in pairs if pair.in_use.all()]
    if len(whole) < 2:
        return np.full(len(first_peak), np.nan)
    one, other = (at(pair.integral, first_peak).mean(axis=1) for pair in whole[:2])
    judged = sound(whole[0]) & sound(whole[1])
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(judged, np.abs((one - other) / (one + other)), np.nan)


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
