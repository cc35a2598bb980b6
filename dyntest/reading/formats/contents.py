"""Contents of a recorder's file in any format: channels with names, units, lengths and time steps."""

import importlib
import re
import weakref
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from types import ModuleType
from typing import Any

import numpy as np

from dyntest.errors import InputError, missing_library
from dyntest.reading.text_tables import header_parts
from dyntest.reading.wording import natural_order, printable

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


LIKE_SIZE = 0.8
"""Share of the size of the largest sheet or group that one with another blow has at least [1]. Our own, no source."""


def pattern_of(sizes: dict[str, int], names: list[str]) -> str:
    """Give the name of the largest sheet or group, or a pattern for all that differ from it only in their number.

    They must be of like size, and the pattern must match none of the other `names`.
    """
    largest = max(sizes, key=lambda name: sizes[name])
    stem = re.sub(r"\d+", "*", largest)
    alike = {name: size for name, size in sizes.items() if re.sub(r"\d+", "*", name) == stem}
    like = len(alike) > 1 and min(alike.values()) > LIKE_SIZE * max(alike.values())
    patterns = (stem, stem.replace("*", "[0-9]*"))
    fit = (one for one in patterns if {name for name in names if fnmatchcase(name, one)} == set(alike))
    return next(fit, largest) if like else largest


def group_sizes(contents: Contents) -> dict[str, int]:
    """Give how many numbers each group of a file has [1]; what stands in none is in the group without a name."""
    sizes: dict[str, int] = {}
    for one in contents.channels:
        if one.numbers:
            above = one.name.rpartition("/")[0]
            sizes[above] = sizes.get(above, 0) + int(np.prod(one.shape))
    return sizes


def groups_alike(contents: Contents) -> list[str]:
    """Give the groups of like size and with channels of the same names as the largest: they may be blows."""
    sizes = group_sizes(contents)
    names: dict[str, list[str]] = {group: [] for group in sizes}
    for one in contents.channels:
        if one.numbers:
            names[one.name.rpartition("/")[0]].append(one.name.rpartition("/")[2])
    largest = max(sizes, key=lambda name: sizes[name])
    like = [group for group, size in sizes.items() if size > LIKE_SIZE * sizes[largest]]
    return sorted((group for group in like if names[group] == names[largest]), key=natural_order)


def common_pattern(alike: Sequence[str], names: Sequence[str]) -> str:
    """Give the pattern for what some names have at their beginning and end; empty if it fits others too.

    Examples
    --------
    >>> common_pattern(["drive/one", "drive/two"], ["drive/one", "drive/two", "notes"])
    'drive/*'
    """
    first, last = _shared(alike), _shared([name[::-1] for name in alike])
    last = last[: min(map(len, alike)) - len(first)][::-1]
    for pattern in (f"{first[: first.rfind('/') + 1]}*", f"{first}*", f"{first}*{last}"):
        if {name for name in names if fnmatchcase(name, pattern)} == set(alike):
            return pattern
    return ""


def _shared(names: Sequence[str]) -> str:
    """Give what all names begin with."""
    first = min(names)
    same = [one == other for one, other in zip(first, max(names), strict=False)]
    return first[: same.index(False) if False in same else len(same)]


_BLOW = r"(?:blows?|hit|impact|shot|schlag|coup|golpe)\s*(?:no\.?|nr\.?|n°)?"
_BESIDE = (
    (re.compile(r"(?P<base>.*?\S)[\s_.,#-]*[(\[]?" + _BLOW + r"[\s_.#:-]*(?P<blow>\d{1,4})[)\]]?", re.IGNORECASE), 2),
    (re.compile(r"[(\[]?" + _BLOW + r"[\s_.#:-]*(?P<blow>\d{1,4})[)\]]?[\s_.,:#-]+(?P<base>\S.*)", re.IGNORECASE), 2),
    (re.compile(r"(?P<base>.*?\S)[\s_.-]+[(\[]?b(?P<blow>\d{1,4})[)\]]?", re.IGNORECASE), 4),
    (re.compile(r"[(\[]?b(?P<blow>\d{1,4})[)\]]?[\s_.:-]+(?P<base>\S.*)", re.IGNORECASE), 4),
    (re.compile(r"(?P<base>.*\S)[_.#-](?P<blow>\d{1,4})"), 4),
)
"""Names of columns that number a blow, and the fewest columns of a blow with which they are taken for that [1]: two
gauges on opposite faces may be B1 and B2. Our own, no source."""

_TIME = re.compile(r"t|time|zeit|temps|tiempo|sec|ms", re.IGNORECASE)
_COPY = re.compile(r"(.*\S)\.\d+")
"""A name that occurs again, as some programs number it: ``S1.1``."""

LEAST_BESIDE = 4
"""Fewest columns of a group of headers that is repeated for every blow [1]: a strain and an acceleration on each of two
faces may have the same two headers. Our own, no source."""


def beside(contents: Contents) -> Contents | None:
    """Give a file whose blows stand side by side with a row for each; None if they do not."""
    plain = [header_parts(one.name)[0] for one in contents.channels]
    found = _numbered_columns(contents, plain) or _repeated_columns(contents, plain)
    if found is None:
        return None
    groups, first = found
    taken = {place for places in groups.values() for place in places}
    sources = [(place,) for place in range(len(contents.channels)) if place not in taken] + list(groups.values())
    sources.sort()
    names = {places: name for name, places in groups.items()}
    channels = []
    for places in sources:
        one = contents.channels[places[0]]
        if places in names:
            one = replace(one, name=names[places], shape=(len(places), one.shape[0]))
        channels.append(one)

    def column(number: int) -> np.ndarray:
        places = sources[number]
        return contents.column(places[0]) if places not in names else np.stack([contents.column(one) for one in places])

    settings = {**contents.settings, "beside": (len(next(iter(groups.values()))), first)}
    return replace(
        contents, channels=tuple(channels), column=column, part=parts_of(column), settings=settings, rows=None
    )


_Groups = tuple[dict[str, tuple[int, ...]], str]


def _numbered_columns(contents: Contents, plain: Sequence[str]) -> _Groups | None:
    """Give places by name without the blow's number, in the order of the blows, and the first name of all."""
    for pattern, fewest in _BESIDE:
        found: dict[str, dict[int, int]] = {}
        double = False  # also where a column without a number is of the same name
        for place, name in enumerate(plain):
            match = pattern.fullmatch(name)
            if match and contents.channels[place].numbers:
                own = found.setdefault(match["base"], {})
                double = double or int(match["blow"]) in own
                own[int(match["blow"])] = place
        found = {base: own for base, own in found.items() if len(own) > 1}
        groups = {base: tuple(own[blow] for blow in sorted(own)) for base, own in found.items()}
        double = double or not found.keys().isdisjoint(plain)
        alike = len({frozenset(own) for own in found.values()}) == 1
        enough = len(groups) >= fewest and (fewest == 2 or _numbered_gauges(groups))
        if not double and alike and enough and _same_kind(contents, groups):
            return groups, plain[min(groups[next(iter(groups))])]
    return None


def _numbered_gauges(names: Collection[str]) -> bool:
    """Whether the names but that of time number the gauges themselves, as S1, S2, A1 and A2 do, in one group."""
    gauges = [name for name in names if not _TIME.fullmatch(name)]
    stems = [re.sub(r"\d+", "#", name) for name in gauges]
    one_group = len({name.rpartition("/")[0] for name in gauges}) == 1
    return one_group and len(gauges) >= LEAST_BESIDE and all("#" in one and stems.count(one) > 1 for one in stems)


def _repeated_columns(contents: Contents, plain: Sequence[str]) -> _Groups | None:
    """Give places by name where a group of headers is repeated for every blow, perhaps after some columns for all."""
    if contents.format == "uff58":  # data sets of one name are blows already
        return None
    known = set(plain)
    names = [match[1] if (match := _COPY.fullmatch(name)) and match[1] in known else name for name in plain]
    for shared in range(len(names) // 2):
        left = names[shared:]
        for size in range(2, len(left) // 2 + 1):
            if len(left) % size or left != left[:size] * (len(left) // size):
                continue
            groups: dict[str, tuple[int, ...]] = {}
            for number, name in enumerate(left[:size]):
                name = name if left[:size].count(name) == 1 else f"{name} ({left[: number + 1].count(name)})"
                groups[name] = tuple(range(shared + number, len(names), size))
            fits = size >= LEAST_BESIDE and len(set(left)) > 1 and _same_kind(contents, groups)
            return (groups, left[0]) if fits else None
    return None


def _same_kind(contents: Contents, groups: Mapping[str, Sequence[int]]) -> bool:
    """Whether columns of one name have one unit, and all columns one length."""
    channels = [[contents.channels[place] for place in places] for places in groups.values()]
    every = [one for own in channels for one in own]
    alike = all(len({one.unit for one in own}) == 1 for own in channels)
    return alike and len({one.shape for one in every}) == 1 and len(every[0].shape) == 1


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
