"""HDF5: data sets in groups, read in pieces."""

from collections.abc import Sequence
from dataclasses import replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.formats.contents import (
    MOST_CHANNELS,
    Contents,
    FileChannel,
    Keeper,
    check_channels,
    damaged,
    library,
    untold_factor,
)
from dyntest.reading.parts import Records
from dyntest.reading.wording import as_written, known_as, natural_order, printable

SIGNATURE = b"\x89HDF\r\n\x1a\n"

_UNITS = ("unit", "units", "Unit", "Units", "unit_string")
_STEPS = ("dt", "wf_increment", "time_step", "sample_interval", "delta_t")
_RATES = ("fs", "Fs", "FS", "sample_rate", "sampling_rate", "SampleRate", "sample_frequency", "rate")
_STARTS = ("t0", "start_time", "wf_start_offset", "time_offset")
"""Attributes commonly used in HDF5 for unit, time step, rate and time of the first sample."""

_SCALE = {"scale_factor": 1.0, "add_offset": 0.0}
"""Attributes that say how to make values of the stored numbers, and their usual values (CF conventions, 8.1)."""

DEEPEST = 20
"""Deepest nesting of groups that is read [1]. Our own bound, no source."""


def recognise(name: str, head: bytes) -> bool:
    """Whether a file is HDF5, by its signature."""
    return head.startswith(SIGNATURE) or name.endswith((".h5", ".hdf5", ".hdf"))


def read(path: Path, records: Records) -> tuple[Contents, ...]:
    """Open an HDF5 file."""
    return open_hdf5(path, records, "hdf5", transposed=False)


def open_hdf5(path: Path, records: Records, word: str, transposed: bool) -> tuple[Contents, ...]:
    """Open an HDF5 file; MATLAB's own stores arrays with their axes in reverse order."""
    source = known_as(path)
    h5py = library("h5py", source)
    try:
        keeper = Keeper(_opened(h5py, path))
    except (OSError, ValueError, RuntimeError) as trouble:
        raise damaged(source, "HDF5 file", trouble) from None
    try:
        found: dict[str, Any] = {}
        outside: list[str] = []
        _walk(h5py, keeper.file, "", found, outside, source)
    except (OSError, ValueError, RuntimeError, KeyError) as trouble:
        raise damaged(source, "HDF5 file", trouble) from None
    groups = _groups(found, records.group, source)
    return tuple(
        _contents(source, word, {name: found[name] for name in names}, outside, transposed, keeper) for names in groups
    )


def _opened(h5py: Any, path: Path) -> Any:
    """Open a file without locking it, so that a recorder that still writes it is not disturbed."""
    try:
        return h5py.File(path, "r", locking=False)
    except OSError:
        return h5py.File(path, "r", locking=False, swmr=True)  # open in a recorder that lets others read


def _walk(h5py: Any, group: Any, above: str, found: dict[str, Any], outside: list[str], source: str) -> None:
    """Collect the data sets below a group; links that leave the file are noted and never followed."""
    if above.count("/") > DEEPEST:
        raise InputError(source, printable(above), "has groups nested too deeply", "export only the channels")
    for name in group:
        path = f"{above}{name}"
        if path.startswith("#"):  # what MATLAB keeps for itself
            continue
        link = group.get(name, getlink=True)
        if isinstance(link, h5py.ExternalLink):
            outside.append(path)
            continue
        if isinstance(link, h5py.SoftLink):  # a second name of what stands elsewhere in the file
            continue
        entry = group[name]
        if isinstance(entry, h5py.Group):
            _walk(h5py, entry, f"{path}/", found, outside, source)
        elif isinstance(entry, h5py.Dataset):
            elsewhere = entry.external or (
                entry.is_virtual and any(one.file_name != "." for one in entry.virtual_sources())
            )
            if elsewhere:
                outside.append(path)
            else:
                found[path] = entry
        if len(found) > MOST_CHANNELS:
            problem = f"has more than {MOST_CHANNELS:,} channels"
            raise InputError(source, "", problem, "export only the channels of the gauges, or name their group")


def _groups(found: dict[str, Any], group: str | None, source: str) -> list[list[str]]:
    """Give the names below the group named in the sheet, or below each group that matches its pattern."""
    if group is None:
        return [list(found)]
    wanted = group.strip("/")
    inside = [name for name in found if name.startswith(f"{wanted}/") or name == wanted]  # or a table
    if inside:
        return [inside]
    above = dict.fromkeys(name.rpartition("/")[0] for name in found)
    fitting = [name for name in above if fnmatchcase(name, wanted)]
    if not fitting:
        have = printable(", ".join(name or "/" for name in above), 200)
        raise InputError(
            source, f"group {as_written(group)}", f"is not there; the groups are {have}", "correct the group"
        )
    return [[name for name in found if name.startswith(f"{one}/")] for one in sorted(fitting, key=natural_order)]


def _contents(
    source: str, word: str, found: dict[str, Any], outside: list[str], transposed: bool, keeper: Keeper
) -> Contents:
    if not found and outside:
        problem = f"{printable(outside[0])} is a link to another file"
        raise InputError(source, "", problem, "store the records in the file itself")
    channels, sets = [], []
    for name, entry in found.items():
        for one, data in _columns(name, entry):
            channels.append(one)
            sets.append(data)
    check_channels(channels, source)
    scales = [(1.0, 0.0) if member else _scale(entry) for entry, member in sets]

    def scaled(place: int, values: np.ndarray) -> np.ndarray:
        scale, offset = scales[place]
        return values if (scale, offset) == (1.0, 0.0) else values * scale + offset

    def column(place: int) -> np.ndarray:
        assert keeper.file is not None  # holds the file open
        entry, member = sets[place]
        with _reading(source, channels[place].name):
            values = entry[member] if member else entry[()]
        array = scaled(place, np.atleast_1d(np.squeeze(np.asarray(values))))
        return array.T if transposed else array

    def part(places: Sequence[int], start: int, count: int) -> np.ndarray:
        block = np.empty((len(places), count))
        for row, place in enumerate(places):
            entry, member = sets[place]
            with _reading(source, channels[place].name):
                if not member and sum(size != 1 for size in entry.shape) <= 1:  # MATLAB keeps rows as matrices
                    window = slice(start, start + count)
                    read = np.ravel(entry[tuple(window if size != 1 else 0 for size in entry.shape)])
                    block[row] = scaled(place, read)
                else:
                    block[row] = column(place)[start : start + count]
        return block

    def rows(place: int, start: int, count: int) -> np.ndarray:
        entry, member = sets[place]
        if member or len(entry.shape) != 2:
            return column(place)[start : start + count]
        with _reading(source, channels[place].name):
            return scaled(place, np.asarray(entry[start : start + count]))

    if transposed:
        channels = [replace(one, shape=one.shape[::-1]) for one in channels]
    settings: dict[str, object] = {"links": tuple(outside)} if outside else {}
    return Contents(source, word, tuple(channels), column, part, settings, rows=None if transposed else rows)


class _reading:
    """Turns errors while a data set is read into one message."""

    def __init__(self, source: str, name: str):
        self.source, self.name = source, name

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, trouble: Any, trace: Any) -> None:
        if isinstance(trouble, (OSError, RuntimeError, ValueError, TypeError)):
            reason = printable(" ".join(str(trouble).split()), 80)
            where = f"channel {printable(self.name)}"
            raise InputError(
                self.source, where, f"cannot be read ({reason})", "copy or export the file again"
            ) from None


def _columns(name: str, entry: Any) -> list[tuple[FileChannel, tuple[Any, str]]]:
    """Give the channels of a data set: itself, or the fields of a table."""
    shape = tuple(size for size in entry.shape if size != 1) or (1,)
    unit, start, step = _attributes(entry)
    if entry.dtype.names:
        return [
            (FileChannel(f"{name}/{member}", shape, "", start, step, _numeric(entry.dtype[member])), (entry, member))
            for member in entry.dtype.names
        ]
    text = entry.attrs.get("MATLAB_class") in (b"char", b"cell", b"function_handle")
    numbers = _numeric(entry.dtype) and not text and entry.shape is not None and entry.size > 0
    scale, untold = _scale(entry)[0], untold_factor(entry.attrs, _SCALE)
    return [(FileChannel(name, shape, unit, start, step, numbers, scale=scale, untold=untold), (entry, ""))]


def _scale(entry: Any) -> tuple[float, float]:
    """Give scale and offset of the stored numbers, as the netCDF conventions name them."""
    found = [np.ravel(entry.attrs[key]) if key in entry.attrs else np.array([usual]) for key, usual in _SCALE.items()]
    if (
        any(one.size != 1 or one.dtype.kind not in "iuf" or not np.isfinite(one[0]) for one in found)
        or found[0][0] == 0
    ):
        return 1.0, 0.0
    return float(found[0][0]), float(found[1][0])


def _numeric(kind: np.dtype) -> bool:
    return kind.kind in "iuf"


def _attributes(entry: Any) -> tuple[str, float | None, float | None]:
    unit = next((_text(entry.attrs[key]) for key in _UNITS if key in entry.attrs), "")
    start = _number(entry, _STARTS)
    step, rate = _number(entry, _STEPS), _number(entry, _RATES)
    if step is None and rate:
        step = 1.0 / rate
    return unit, start, step


def _text(value: object) -> str:
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    return str(value) if isinstance(value, str) else ""


def _number(entry: Any, keys: Sequence[str]) -> float | None:
    """Give an attribute of a data set, or else of the group above it."""
    for attributes in (entry.attrs, entry.parent.attrs):
        for key in keys:
            if key in attributes:
                try:
                    return float(np.ravel(attributes[key])[0])
                except (TypeError, ValueError, IndexError):
                    continue
    return None
