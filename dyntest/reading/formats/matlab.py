"""MATLAB: variables of version 4 and 5 through SciPy, of version 7.3 as the HDF5 that it is."""

from pathlib import Path
from typing import Any

import numpy as np

from dyntest.reading.files import MAX_TABLE_BYTES, check_file
from dyntest.reading.formats.contents import Contents, FileChannel, check_channels, damaged, parts_of
from dyntest.reading.formats.hdf5 import SIGNATURE, open_hdf5
from dyntest.reading.parts import Records
from dyntest.reading.wording import known_as


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
    for name, value in variables.items():
        if not name.startswith("__"):
            _collect(name, value, found)
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


def _collect(name: str, value: Any, found: dict[str, np.ndarray]) -> None:
    """Collect arrays of numbers; a structure gives its fields, a row of like structures one array with a row each."""
    array = np.asarray(value)
    if array.dtype.names:
        for member in array.dtype.names:
            entries = [np.asarray(entry) for entry in array[member].ravel()]
            if len(entries) == 1:
                _collect(f"{name}.{member}", entries[0], found)
            elif entries and all(one.dtype.kind in "iuf" and one.size == entries[0].size for one in entries):
                found[f"{name}.{member}"] = _squeezed(np.array([one.ravel() for one in entries]))
        return
    if array.dtype.kind == "O":
        entries = [np.asarray(entry) for entry in array.ravel()]
        if entries and all(one.dtype.kind in "iuf" and one.size == entries[0].size > 1 for one in entries):
            found[name] = _squeezed(np.array([one.ravel() for one in entries]))  # a cell per blow
        elif len(entries) == 1:
            _collect(name, entries[0], found)
        else:
            found[name] = np.empty(0, dtype=object)
        return
    found[name] = _squeezed(array)


def _squeezed(array: np.ndarray) -> np.ndarray:
    """Give an array without axes of length one, but with one axis at least."""
    return np.atleast_1d(np.squeeze(array))
