"""Continuous streams cut into blows; noise, bounces and double strikes are distinguished from blows."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from dyntest.errors import InputError

USUAL_BEFORE = 0.010
"""Default time before the impact [s]. Our own, no source."""

USUAL_KEPT = 0.100
"""Default length of a blow [s]. Our own, no source."""

BIN = 0.002
"""Length of the bins in which a stream is searched [s]: shorter than the quiet part of any record. Our own."""

NOISE_MULTIPLE = 8.0
"""Multiple of the quiet part's scatter above which the mean strain is an impact [1]. Our own, no source."""

LEAST_STRAIN = 15e-6
"""Mean strain that every blow exceeds [m/m]: about 3 MPa in steel, 0.5 MPa in concrete. Our own, no source."""

SHARE_OF_USUAL = 0.2
"""An impact below this share of the usual peak is not a blow, unless the sheet gives a lower trigger [1]. Our own."""

DOUBLE_STRIKE_GAP = 0.20
"""Two impacts closer than this are one blow struck twice [s]: the fastest impact hammers need 0.25 s. Common practice,
no source."""

BOUNCE_SHARE = 0.5
"""A second impact below this share of the first is a bounce of the ram [1]. Our own, no source."""

BOUNCE_PART = 0.6
"""Part of the usual time between blows within which a weak impact is still a bounce [1]. Our own, no source."""

LASTING, LASTING_SHARE = 0.0003, 0.3
"""Shortest time [s] for which the strain of a blow, not a spike, is above this share of its peak [1]. Our own."""

NOT_QUIET, QUIET_END = 0.12, 0.0005
"""Share of the peak by which strain varies where a blow has begun before [1], until this time before the impact [s]."""

RISE_SHARE = 0.1
"""Share of the peak at which the rise begins [1]. Our own, no source."""

LEAST_BEFORE = 0.002
"""Shortest time before the first impact [s]; records need 1 ms of quiet. Our own, no source."""

SHORTENED = 0.10
"""Share of the length by which the last blow may be short; all blows are then cut to its length [1]. Our own."""


@dataclass(frozen=True)
class StreamCut:
    """Places of the blows in a stream, and of other impacts.

    Parameters
    ----------
    onset : numpy.ndarray
        Sample of each impact that is a blow, shape (n_blows,) [1].
    before, length : int
        Samples before the impact, and in total [1].
    bounce, double_strike : numpy.ndarray
        Samples of impacts that are not separate blows [1].
    incomplete : int
        Incomplete blows at the ends of the stream, left out [1].
    trigger : float
        Mean strain that starts a blow [m/m].
    noise : float
        Scatter of the mean strain while nothing is struck [m/m].
    """

    onset: np.ndarray
    before: int
    length: int
    bounce: np.ndarray
    double_strike: np.ndarray
    incomplete: int
    trigger: float
    noise: float


@dataclass(frozen=True)
class _Envelope:
    """Highest, lowest and mean value of each bin, shape (n_bins,) [m/m]."""

    high: np.ndarray
    mean: np.ndarray
    size: int


def envelope(blocks: Iterator[np.ndarray], factors: np.ndarray, step: float) -> tuple[_Envelope, int]:
    """Give the envelope of the mean strain of a stream, and how many samples it has.

    Units: factors [m/m per unit]; step [s].
    """
    size = max(1, round(BIN / step))
    highs, means, left, total = [], [], np.empty(0), 0
    for block in blocks:
        total += block.shape[1]
        strain = np.concatenate([left, factors @ block])
        whole = len(strain) // size * size
        bins = strain[:whole].reshape(-1, size)
        highs.append(bins.max(axis=1))
        means.append(bins.mean(axis=1))
        left = strain[whole:]
    if len(left):
        highs.append(left[:1] * 0.0 + left.max())
        means.append(left[:1] * 0.0 + left.mean())
    return _Envelope(np.concatenate(highs), np.concatenate(means), size), total


@dataclass(frozen=True)
class StrainStream:
    """The strain channels of a stream, or of part of it: once piece by piece, and again on request.

    Parameters
    ----------
    blocks : iterator of numpy.ndarray
        The channels, each piece of shape (n_channels, n) [unit of the file].
    piece : callable
        From a first sample and a number of samples to the same channels there.
    factors : numpy.ndarray
        Weights that give the mean strain, shape (n_channels,) [m/m per unit].
    step : float
        Time between two samples [s].
    source : str
        The file's name for messages.
    """

    blocks: Iterator[np.ndarray]
    piece: Callable[[int, int], np.ndarray]
    factors: np.ndarray
    step: float
    source: str


def cut_stream(
    stream: StrainStream, trigger: float | None = None, before: float | None = None, length: float | None = None
) -> StreamCut:
    """Find the blows of a stream.

    `trigger` is the mean strain that starts a blow [m/m], found from the noise if None; `before` and `length` are the
    times before the impact and in total [s].
    """
    step, source = stream.step, stream.source
    found = impacts_of(stream, trigger)
    blows = found.onset[found.kinds == 0]
    lead, size = _window(blows, found.total, step, before, length)
    whole = (blows - lead >= 0) & (blows - lead + size <= found.total)
    if not whole.any():
        problem = f"has no complete blow of {size * step * 1e3:.0f} ms"
        raise InputError(source, "", problem, "write a shorter [records] length, or export a longer stream")
    return StreamCut(
        onset=blows[whole],
        before=lead,
        length=size,
        bounce=found.onset[found.kinds == 1],
        double_strike=found.onset[found.kinds == 2],
        incomplete=int((~whole).sum()) + found.begun,
        trigger=found.level,
        noise=found.noise,
    )


@dataclass(frozen=True)
class Impacts:
    """Impacts in a stream.

    Parameters
    ----------
    onset : numpy.ndarray
        Sample of each impact, shape (n_impacts,) [1].
    kinds : numpy.ndarray
        What each is, as `classify` says, shape (n_impacts,) [1].
    level : float
        Mean strain that starts a blow [m/m].
    noise : float
        Scatter of the mean strain between impacts [m/m].
    total : int
        Samples of the stream [1].
    begun : int
        Blows that had begun before the stream, which are not among the impacts [1].
    """

    onset: np.ndarray
    kinds: np.ndarray
    level: float
    noise: float
    total: int
    begun: int


def impacts_of(stream: StrainStream, trigger: float | None = None) -> Impacts:
    """Find the impacts in a stream, or in part of it; `trigger` is as for `cut_stream` [m/m]."""
    step = stream.step
    found, total = envelope(stream.blocks, stream.factors, step)
    base = running_median(found.mean, max(3, round(0.25 / (found.size * step))))
    high = found.high - base
    quiet = high < np.median(high) + 1e-12
    noise = float(1.4826 * np.median(np.abs(found.mean - base))) if quiet.any() else 0.0
    spread = float(np.median(np.maximum(high, 0.0)))
    level = _level(high, max(NOISE_MULTIPLE * noise, 3.0 * spread), trigger)
    bins = np.flatnonzero(high > level)
    if not bins.size:
        reach = float(high.max(initial=0.0)) * 1e6
        problem = f"has no impact: the mean strain never rises {level * 1e6:.0f} µm/m above its baseline"
        problem += f", at most {reach:.0f} µm/m"
        cure = "check unit, factor and positive of the strain channels in [records.channels], or write a trigger"
        raise InputError(stream.source, "", problem, cure)
    onsets, peaks, begun = _impacts(bins, high, base, found.size, stream, level, total)
    if not onsets.size:
        cure = "export the stream from before the first blow to after the last"
        raise InputError(stream.source, "", "has no impact that lasts as a blow does, from its beginning", cure)
    return Impacts(onsets, classify(onsets * step, peaks), level, noise, total, begun)


def _level(high: np.ndarray, noise: float, trigger: float | None) -> float:
    """Give the trigger: as given, or well above the noise and in proportion to the usual peak."""
    if trigger is not None:
        return trigger
    least = max(noise, LEAST_STRAIN)
    strong = high[high > least]
    if not strong.size:
        return least
    usual = float(np.median(np.sort(strong)[-max(1, len(strong) // 10) :]))
    return max(least, SHARE_OF_USUAL * usual)


def running_median(values: np.ndarray, width: int) -> np.ndarray:
    """Give the baseline: the median over a window, which impacts do not lift."""
    from scipy.ndimage import median_filter

    step = max(1, width // 16)
    coarse = values[: len(values) // step * step].reshape(-1, step)
    if len(coarse) < 3:
        return np.full(len(values), np.median(values))
    smooth = median_filter(np.median(coarse, axis=1), size=33, mode="reflect")  # a blow at an end is not repeated
    centres = (np.arange(len(smooth)) + 0.5) * step - 0.5
    return np.interp(np.arange(len(values)), centres, smooth)


def _impacts(
    bins: np.ndarray,
    high: np.ndarray,
    base: np.ndarray,
    size: int,
    stream: StrainStream,
    level: float,
    total: int,
) -> tuple[np.ndarray, np.ndarray, int]:
    """Give onset [sample] and peak [m/m] of every impact, and how many had begun before.

    An impact begins with a bin above the trigger after a pause below it.
    """
    pause = max(2, round(0.03 / BIN))  # returns from the toe and the unloading go on for some tens of milliseconds
    starts = bins[np.flatnonzero(np.diff(bins, prepend=bins[0] - pause - 1) > pause)]
    onsets, peaks = [], []
    for number, first in enumerate(starts):
        last = starts[number + 1] if number + 1 < len(starts) else len(high)
        peak = float(high[first : min(first + 8, last)].max())
        start = max(0, (first - 3) * size)
        strain = stream.factors @ stream.piece(start, min(6 * size, total - start)) - base[first]
        if np.count_nonzero(strain > LASTING_SHARE * peak) < round(LASTING / stream.step):
            continue  # a spike
        above = np.flatnonzero(strain > level)
        top = int(above[0]) if above.size else int(strain.argmax())
        low = np.flatnonzero(strain[: top + 1] < max(RISE_SHARE * peak, 0.5 * min(level, peak) * RISE_SHARE))
        onsets.append(start + (int(low[-1]) + 1 if low.size else top))
        peaks.append(peak)
    begun = bool(onsets) and _begins_within(onsets[0], peaks[0], stream)
    return np.array(onsets[begun:], dtype=np.intp), np.array(peaks[begun:]), int(begun)


def _begins_within(onset: int, peak: float, stream: StrainStream) -> bool:
    """Whether a stream begins within a blow: its first impact follows on strain that is not quiet."""
    last = onset - round(QUIET_END / stream.step)
    if onset >= round(USUAL_BEFORE / stream.step) or last < 1:
        return False
    size = min(last, round(QUIET_END / stream.step) or 1)
    strain = stream.factors @ stream.piece(0, last // size * size)
    return float(np.ptp(strain.reshape(-1, size).mean(axis=1))) > NOT_QUIET * peak


def classify(time: np.ndarray, peak: np.ndarray) -> np.ndarray:
    """Classify impacts: 0 for a blow, 1 for a bounce, 2 for the second of a double strike.

    A weak impact soon after a blow is the ram bouncing. A strong one closer than any hammer can strike again is the
    same blow struck twice. What follows in the usual time is a blow, however weak.

    Units: time [s]; peak [m/m].

    Examples
    --------
    >>> classify(np.array([0.0, 0.4, 1.4, 1.5, 2.8]), np.array([9.0, 2.0, 9.0, 8.0, 3.0])).tolist()
    [0, 1, 0, 2, 0]
    """
    kinds = np.zeros(len(time), dtype=int)
    if len(time) < 2:
        return kinds
    strong = time[peak > BOUNCE_SHARE * np.median(peak[peak > 0.5 * peak.max()])]
    gaps = np.diff(strong)
    gaps = gaps[gaps > DOUBLE_STRIKE_GAP]
    usual = float(np.median(gaps)) if gaps.size else np.inf
    last = 0
    for number in range(1, len(time)):
        gap, share = time[number] - time[last], peak[number] / peak[last]
        if share < BOUNCE_SHARE and gap < min(BOUNCE_PART * usual, 1.0):
            kinds[number] = 1
        elif gap < DOUBLE_STRIKE_GAP:
            kinds[number] = 2
        else:
            last = number
    return kinds


def _window(blows: np.ndarray, total: int, step: float, before: float | None, length: float | None) -> tuple[int, int]:
    """Give samples before the impact and in total; a little less if the ends of the stream require it."""
    lead, size = window_from(int(blows[0]) if len(blows) else None, step, before, length)
    if len(blows):
        room = total - int(blows[-1]) + lead
        if size > room >= (1.0 - SHORTENED) * size:
            size = room
    return lead, size


def window_from(first: int | None, step: float, before: float | None, length: float | None) -> tuple[int, int]:
    """Give samples before the impact and in total; a little less if the first impact is early in the stream.

    Units: first [1]; step, before, length [s].
    """
    lead = round((USUAL_BEFORE if before is None else before) / step)
    size = max(round((USUAL_KEPT if length is None else length) / step), lead + 2)
    if first is not None and first < lead and first * step >= min(LEAST_BEFORE, lead * step):
        size -= lead - first
        lead = first
    return lead, size
