"""Contents of a recorder's file in any format: channels with names, units, lengths and time steps."""

import importlib
import re
import weakref
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from types import ModuleType
from typing import Any

import numpy as np

from dyntest.errors import InputError, missing_library
from dyntest.reading.wording import printable

MOST_CHANNELS = 2000
"""Most channels of a file that are read [1]. Our own bound, no source."""

MOST_SAMPLES = 1_000_000_000
"""Most numbers of one channel [1], 14 hours at 20 kHz. Our own bound, no source."""

BLOCK = 1 << 19
"""Samples of each channel that are read at a time from a continuous stream [1]: 4 megabytes as float64."""


@dataclass(frozen=True)
class FileChannel:
    """A channel in a file.

    Parameters
    ----------
    name : str
        Its name, after the names of its groups if the file has groups.
    shape : tuple of int
        Samples, or blows and samples [1].
    unit : str
        As in the file; empty if not given.
    start, step : float or None
        Time of the first sample and time step, if the file gives them with the channel [s].
    numbers : bool
        Whether it contains numbers.
    clock : bool
        Whether it contains times of day, which are given in seconds.
    scale : float
        Factor in the file by which the stored numbers are already multiplied here [unit per stored number].
    untold : str
        What the file calls another factor, which may or may not be in the numbers, such as ``"gain = 0.9"``.
    """

    name: str
    shape: tuple[int, ...]
    unit: str = ""
    start: float | None = None
    step: float | None = None
    numbers: bool = True
    clock: bool = False
    scale: float = 1.0
    untold: str = ""


@dataclass(frozen=True)
class Contents:
    """A file, opened: its channels, and how to read them.

    Parameters
    ----------
    source : str
        The file's name for messages.
    format : str
        Its format, by its word in the sheet.
    channels : tuple of FileChannel
        In the order of the file.
    column : callable
        From a channel's place, from 0, to all its numbers as recorded.
    part : callable
        From places, a first sample and a number of samples to these numbers, shape (n_channels, n_samples).
    settings : dict
        Properties found in the file, by the keys of ``[records]``.
    head : tuple of str
        First lines of the file, where it has any.
    place : callable
        From the number of a sample, from 0, to its place in the file, in words.
    rows : callable or None
        From a channel's place, a first row and a number of rows of an array of two dimensions to these alone; None
        where the format has to read the whole array.
    """

    source: str
    format: str
    channels: tuple[FileChannel, ...]
    column: Callable[[int], np.ndarray]
    part: Callable[[Sequence[int], int, int], np.ndarray]
    settings: dict[str, object] = field(default_factory=dict)
    head: tuple[str, ...] = ()
    place: Callable[[int], str] = lambda index: f"sample {index + 1}"
    rows: Callable[[int, int, int], np.ndarray] | None = None

    def blocks(self, places: Sequence[int], size: int = BLOCK) -> Iterator[np.ndarray]:
        """Give the numbers of several channels piece by piece, each of shape (n_channels, up to `size`)."""
        length = min(self.channels[place].shape[-1] for place in places)
        for start in range(0, length, size):
            yield self.part(places, start, min(size, length - start))


def parts_of(column: Callable[[int], np.ndarray]) -> Callable[[Sequence[int], int, int], np.ndarray]:
    """Give `Contents.part` of a file in memory."""

    def part(places: Sequence[int], start: int, count: int) -> np.ndarray:
        return np.array([column(place)[start : start + count] for place in places], dtype=float)

    return part


def window_of(contents: Contents, places: Collection[int], start: int, most: int) -> Contents:
    """Give a file in which some channels have only some of their rows: samples, or blows of a two-dimensional array.

    Only these rows are read, as far as the format allows.
    """
    channels = list(contents.channels)
    for place in places:
        shape = channels[place].shape
        channels[place] = replace(channels[place], shape=(max(0, min(most, shape[0] - start)), *shape[1:]))

    def column(place: int) -> np.ndarray:
        if place not in places:
            return contents.column(place)
        count = channels[place].shape[0]
        if len(channels[place].shape) == 1:
            return contents.part([place], start, count)[0]
        if contents.rows is not None:
            return contents.rows(place, start, count)
        return contents.column(place)[start : start + count]

    def place_of(index: int) -> str:
        return contents.place(start + index)

    return replace(contents, channels=tuple(channels), column=column, part=parts_of(column), place=place_of, rows=None)


def from_one_start(contents: Contents, blows: Iterable[Collection[int]], cut: bool = True) -> Contents:
    """Give a file in which the gauges of every blow begin at one time, to the nearest sample, where it says when.

    Samples before the last one begins are left out, and at the end those that only some have. `blows` gives the places
    of the gauges of each blow; without `cut`, what else is in the file cannot follow and other starts are refused.
    """
    skips: dict[int, int] = {}
    for places in blows:
        said = {place: (contents.channels[place].start, contents.channels[place].step) for place in places}
        told = {place: (start, step) for place, (start, step) in said.items() if start is not None and step}
        latest = max((start for start, _ in told.values()), default=0.0)
        skips |= {place: round((latest - start) / step) for place, (start, step) in told.items()}
    most = max(skips.values(), default=0)
    if most == 0:
        return contents
    shapes = {place: contents.channels[place].shape for place in skips}
    if not cut or any(len(shape) > 1 or shape[0] <= skips[place] for place, shape in shapes.items()):
        first, last = (printable(contents.channels[where(skips, key=skips.__getitem__)].name) for where in (max, min))
        problem = f"begins {most:,} samples before {last}"
        raise InputError(contents.source, f"channel {first}", problem, "export all channels from the same time on")
    left = {place: shapes[place][0] - skip for place, skip in skips.items()}
    common = min(left.values())
    channels = list(contents.channels)
    for place, skip in skips.items():
        old = channels[place]
        length = common if left[place] - common <= most else left[place]
        channels[place] = replace(old, shape=(length,), start=(old.start or 0.0) + skip * (old.step or 0.0))

    def column(place: int) -> np.ndarray:
        values = contents.column(place)
        return values[skips[place] :][: channels[place].shape[0]] if place in skips else values

    def part(places: Sequence[int], start: int, count: int) -> np.ndarray:
        return np.array([contents.part([place], start + skips.get(place, 0), count)[0] for place in places])

    return replace(contents, channels=tuple(channels), column=column, part=part)


_FACTOR = re.compile(
    r"(^|_|\b)(gain|sensitivity|calibration|cal|scale|factor|slope|conversion)(_?factor)?$", re.IGNORECASE
)


def untold_factor(properties: Mapping[str, Any], known: Collection[str] = ()) -> str:
    """Give the first factor other than 1 that a file states beside a channel, if nothing says whether it is applied."""
    for key in properties:
        value = np.ravel(np.asarray(properties[key]))
        if key not in known and _FACTOR.search(key) and value.size == 1 and value.dtype.kind in "iuf" and value[0] != 1:
            return f"{printable(key, 40)} = {float(value[0]):g}"
    return ""


class Keeper:
    """Keeps a file open as long as something reads from it."""

    def __init__(self, file: Any):
        self.file = file
        weakref.finalize(self, _close, file)


def _close(file: Any) -> None:
    with suppress(Exception):  # a damaged file may not even close
        file.close()


def library(name: str, source: str) -> ModuleType:
    """Load the library that reads a format, or say which extra installs it."""
    try:
        return importlib.import_module(name)
    except ImportError:
        raise missing_library(source, name, "formats") from None


def damaged(source: str, what: str, trouble: BaseException) -> InputError:
    """Give the message for a file that its library cannot read."""
    reason = printable(" ".join(str(trouble).split()) or type(trouble).__name__, 80)
    return InputError(source, "", f"is not a complete {what} ({reason})", "copy or export the file again")


def check_channels(channels: Sequence[FileChannel], source: str) -> None:
    """Refuse a file without channels, or with far too many or too long ones."""
    if not channels:
        raise InputError(source, "", "has no channel of numbers", "export the records again")
    if len(channels) > MOST_CHANNELS:
        problem = f"has {len(channels):,} channels, and at most {MOST_CHANNELS:,} are read"
        raise InputError(source, "", problem, "export only the channels of the gauges")
    for channel in channels:
        if int(np.prod(channel.shape, dtype=float)) > MOST_SAMPLES:
            problem = f"has more than {MOST_SAMPLES:,} values"
            raise InputError(source, f"channel {printable(channel.name)}", problem, "split the record")
