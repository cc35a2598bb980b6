"""MATLAB: variables of version 4 and 5 through SciPy, of version 7.3 as the HDF5 that it is."""

from pathlib import Path
from typing import Any

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.files import MAX_TABLE_BYTES, check_file
from dyntest.reading.formats.contents import Contents, FileChannel, check_channels, damaged, parts_of
from dyntest.reading.formats.hdf5 import SIGNATURE, open_hdf5
from dyntest.reading.parts import Records
from dyntest.reading.wording import known_as, printable


def recognise(name: str, head: bytes) -> bool:
    """Whether a file is MATLAB's, by its first words or its ending."""
    return head.startswith(b"MATLAB") or name.endswith(".mat")


def read(path: Path, records: Records) -> tuple[Contents, ...]:
    """Open a MATLAB file."""
    with path.open("rb") as stream:
        head = stream.read(1024)
    if SIGNATURE in (head[:8], head[512:520]):
        return open_hdf5(path, records, "matlab", transposed=True)
    from scipy.io import loadmat

    source = known_as(path)
    check_file(path, MAX_TABLE_BYTES)
    try:
        variables = loadmat(path, struct_as_record=True, squeeze_me=False, chars_as_strings=True)
    except Exception as trouble:  # a damaged file makes the reader fail in many ways
        raise damaged(source, "MATLAB file", trouble) from None
    found: dict[str, np.ndarray] = {}
    uneven: dict[str, tuple[int, int]] = {}
    for name, value in variables.items():
        if not name.startswith("__"):
            _collect(name, value, found, uneven)
    if uneven and not any(one.dtype.kind in "iuf" and one.size > 1 for one in found.values()):
        name, (fewest, most) = next(iter(uneven.items()))
        problem = f"has blows of {fewest:,} to {most:,} samples"
        raise InputError(source, f"channel {printable(name)}", problem, "store every blow with as many samples")
    if records.group is not None:
        inside = {name: value for name, value in found.items() if name.startswith(f"{records.group}.")}
        found = inside or found
    names = list(found)
    channels = tuple(
        FileChannel(name, found[name].shape or (1,), numbers=found[name].dtype.kind in "iufb" and found[name].size > 0)
        for name in names
    )
    check_channels(channels, source)

    def column(place: int) -> np.ndarray:
        return found[names[place]]

    return (Contents(source, "matlab", channels, column, parts_of(column)),)


def _collect(name: str, value: Any, found: dict[str, np.ndarray], uneven: dict[str, tuple[int, int]]) -> None:
    """Collect arrays of numbers; of cells or structures that are alike, each is a blow and gives a row.

    `uneven` gets the fewest and the most samples of blows that are not of one length.
    """
    array = np.asarray(value)
    if array.dtype.names:
        for member in array.dtype.names:
            _collect_blows(f"{name}.{member}", list(array[member].ravel()), found, uneven)
    elif array.dtype.kind == "O":
        _collect_blows(name, list(array.ravel()), found, uneven)
    else:
        found[name] = _squeezed(array)


def _collect_blows(name: str, values: list[Any], found: dict[str, np.ndarray], uneven: dict[str, Any]) -> None:
    """Collect what cells or structures hold: one on its own, or as many blows."""
    entries = [np.asarray(one) for one in values]
    members = [one.dtype.names for one in entries]
    if len(entries) == 1:
        _collect(name, entries[0], found, uneven)
    elif entries and members[0] and all(one == members[0] for one in members) and {one.size for one in entries} == {1}:
        for member in members[0]:
            _collect_blows(f"{name}.{member}", [one[member].ravel()[0] for one in entries], found, uneven)
    elif entries and all(one.dtype.kind in "iuf" for one in entries) and entries[0].size > 0:
        blows = [_squeezed(one) for one in entries]
        if len({one.shape for one in blows}) > 1:
            uneven[name] = (min(one.size for one in blows), max(one.size for one in blows))
            found[name] = np.empty(0, dtype=object)
        elif blows[0].ndim == 2:  # a matrix of all channels in each
            upright = [one if one.shape[0] >= one.shape[1] else one.T for one in blows]
            for column in range(upright[0].shape[1]):
                found[f"{name}.{column + 1}"] = np.array([one[:, column] for one in upright])
        else:
            found[name] = _squeezed(np.array(blows))
    else:
        found[name] = np.empty(0, dtype=object)


def _squeezed(array: np.ndarray) -> np.ndarray:
    """Give an array without axes of length one, but with one axis at least."""
    return np.atleast_1d(np.squeeze(array))
