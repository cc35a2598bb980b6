"""What a recorder's file holds, whatever its format: channels with names, units, lengths and time steps."""

import importlib
import weakref
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.wording import printable

MOST_CHANNELS = 2000
"""Most channels of a file that are looked at [1]. Our own bound, no source."""

MOST_SAMPLES = 1_000_000_000
"""Most numbers of one channel [1], 14 hours at 20 kHz. Our own bound, no source."""

BLOCK = 1 << 19
"""Samples of each channel that are read at a time from a continuous stream [1]: 4 megabytes as float64."""


@dataclass(frozen=True)
class FileChannel:
    """A channel as it stands in a file.

    Parameters
    ----------
    name : str
        Its name, with its groups before it where the file has groups.
    shape : tuple of int
        Samples, or blows and samples [1].
    unit : str
        As the file writes it; empty where it does not.
    start, step : float or None
        Time of the first sample and time between two, where the file says them with the channel [s].
    numbers : bool
        Whether it holds numbers at all.
    """

    name: str
    shape: tuple[int, ...]
    unit: str = ""
    start: float | None = None
    step: float | None = None
    numbers: bool = True


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
        From a channel's place, from 0, to all its numbers as they stand.
    part : callable
        From places, a first sample and a number of samples to these numbers, shape (n_channels, n_samples).
    settings : dict
        What was found out about the file, by the keys of ``[records]``.
    head : tuple of str
        First lines of the file, where it has any.
    place : callable
        From the place of a sample, from 0, to where it stands in the file, in words.
    """

    source: str
    format: str
    channels: tuple[FileChannel, ...]
    column: Callable[[int], np.ndarray]
    part: Callable[[Sequence[int], int, int], np.ndarray]
    settings: dict[str, object] = field(default_factory=dict)
    head: tuple[str, ...] = ()
    place: Callable[[int], str] = lambda index: f"sample {index + 1}"

    def blocks(self, places: Sequence[int], size: int = BLOCK) -> Iterator[np.ndarray]:
        """Give the numbers of several channels piece by piece, each of shape (n_channels, up to `size`)."""
        length = min(self.channels[place].shape[-1] for place in places)
        for start in range(0, length, size):
            yield self.part(places, start, min(size, length - start))


def parts_of(column: Callable[[int], np.ndarray]) -> Callable[[Sequence[int], int, int], np.ndarray]:
    """Give `Contents.part` of a file that is held in memory."""

    def part(places: Sequence[int], start: int, count: int) -> np.ndarray:
        return np.array([column(place)[start : start + count] for place in places], dtype=float)

    return part


class Keeper:
    """Keeps a file open as long as something reads from it."""

    def __init__(self, file: Any):
        self.file = file
        weakref.finalize(self, _close, file)


def _close(file: Any) -> None:
    with suppress(Exception):  # a damaged file may not even close
        file.close()


def library(name: str, source: str) -> ModuleType:
    """Load the library that reads a format, or say which extra brings it."""
    try:
        return importlib.import_module(name)
    except ImportError:
        problem = f"needs the package {name}, which is not installed"
        raise InputError(source, "", problem, "install dyntest[formats]") from None


def damaged(source: str, what: str, trouble: BaseException) -> InputError:
    """Give the message for a file that its library cannot read."""
    reason = printable(" ".join(str(trouble).split()) or type(trouble).__name__, 80)
    return InputError(source, "", f"is not a whole {what} ({reason})", "copy or export the file again")


def check_channels(channels: Sequence[FileChannel], source: str) -> None:
    """Refuse a file without channels, or with absurdly many or long ones."""
    if not channels:
        raise InputError(source, "", "holds no channel of numbers", "export the records again")
    if len(channels) > MOST_CHANNELS:
        problem = f"has {len(channels):,} channels, and at most {MOST_CHANNELS:,} are looked at"
        raise InputError(source, "", problem, "export the channels of the gauges alone")
    for channel in channels:
        if int(np.prod(channel.shape, dtype=float)) > MOST_SAMPLES:
            problem = f"has more than {MOST_SAMPLES:,} values"
            raise InputError(source, f"channel {printable(channel.name)}", problem, "split the record")
