"""Universal file format, data set type 58: functions of an even abscissa, as text or binary."""

import re
import warnings
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.files import MAX_TABLE_BYTES, check_file
from dyntest.reading.formats.contents import Contents, FileChannel, check_channels, damaged, library, parts_of
from dyntest.reading.parts import Records
from dyntest.reading.wording import known_as

_UNITLESS = ("", "NONE", "none", "None")

ACCELERATION = 12
"""Code of an acceleration in a data set of type 58."""

_ACCELERATION_UNITS = dict(enumerate(("m/s^2", "ft/s^2", "m/s^2", "ft/s^2", "mm/s^2", "cm/s^2", "in/s^2", "mm/s^2"), 1))
"""Unit of acceleration by the code of units in a data set of type 164; 9 is the user's own."""


def recognise(name: str, head: bytes) -> bool:
    """Whether a file has universal data sets, by its first lines."""
    lines = head.split(b"\n", 2)
    return name.endswith((".uff", ".unv", ".uf", ".u58")) or (len(lines) > 1 and lines[0].strip() == b"-1")


def read(path: Path, records: Records) -> tuple[Contents, ...]:
    """Open a universal file; its data sets of type 58 are the channels, numbered from 1."""
    source = known_as(path)
    check_file(path, MAX_TABLE_BYTES)
    pyuff = library("pyuff", source)
    with path.open("rb") as stream:
        stream.seek(max(0, path.stat().st_size - 200))
        ends = re.search(rb"-1\s*$", stream.read()) is not None
    if not ends:
        problem = "is not a complete universal file (its last data set does not end)"
        raise InputError(source, "", problem, "copy or export the file again")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns of fields that are only unusual
        try:
            file = pyuff.UFF(str(path))
            kinds = [int(kind) for kind in file.get_set_types()]
            places = [place for place, kind in enumerate(kinds) if kind == 58]
            codes = [int(file.read_sets(place)["units_code"]) for place, kind in enumerate(kinds) if kind == 164]
            sets = [file.read_sets(place) for place in places]
        except Exception as trouble:  # a damaged file makes the library fail in many ways
            raise damaged(source, "universal file", trouble) from None
    if not sets:
        raise InputError(source, "", "has no data set of type 58", "export the records as data sets of type 58")
    unit = _ACCELERATION_UNITS.get(codes[0], "") if codes else ""
    names = _names(sets)
    channels = tuple(
        _channel(number, one, name, unit, source)
        for number, (one, name) in enumerate(zip(sets, names, strict=True), start=1)
    )
    check_channels(channels, source)
    column = _column(sets)
    return (Contents(source, "uff58", channels, column, parts_of(column)),)


def _column(sets: list[dict[str, Any]]) -> Callable[[int], np.ndarray]:
    @cache
    def column(place: int) -> np.ndarray:
        return np.asarray(sets[place]["data"])

    return column


def _names(sets: list[dict[str, Any]]) -> list[str]:
    """Give the names of the data sets; where all have one name, with their points, if these differ."""
    names = [_name(one) or f"set {number}" for number, one in enumerate(sets, start=1)]
    points = [f"{one.get('rsp_node', '')} {one.get('rsp_dir', '')}" for one in sets]
    if len(set(names)) == 1 < len(set(points)) == len(sets):
        return [f"{name} at {point}" for name, point in zip(names, points, strict=True)]
    return names


def _channel(number: int, one: dict[str, Any], name: str, acceleration: str, source: str) -> FileChannel:
    data = np.asarray(one.get("data", ()))
    place = f"data set {number}"
    declared = int(one.get("num_pts", len(data)) or 0)
    if len(data) == 0 or len(data) != declared:
        problem = f"has {len(data):,} values, but {declared:,} are declared"
        raise InputError(source, place, problem, "copy or export the file again")
    if np.iscomplexobj(data):
        raise InputError(source, place, "is a spectrum, not a time record", "export the time records")
    even = int(one.get("abscissa_spacing", 1)) == 1
    step: float | None
    if even:
        start, step = float(one.get("abscissa_min", 0.0)), float(one.get("abscissa_inc", 0.0))
    else:
        x = np.asarray(one["x"], dtype=float)
        start, step = float(x[0]), float((x[-1] - x[0]) / (len(x) - 1))
        if np.abs(x - (start + step * np.arange(len(x)))).max() > 0.05 * abs(step):
            raise InputError(source, place, "has samples at uneven times", "export the record at one sampling rate")
    unit = str(one.get("ordinate_axis_units_lab", "")).strip()
    if unit in _UNITLESS:
        unit = acceleration if one.get("ordinate_spec_data_type") == ACCELERATION else ""
    return FileChannel(name, (len(data),), unit, start, step if step > 0.0 else None)


def _name(one: dict[str, Any]) -> str:
    """Give the name of a data set: its first line, else its ordinate, else its point."""
    for key in ("id1", "ordinate_axis_lab", "rsp_ent_name", "id2"):
        text = str(one.get(key, "")).strip()
        if text not in _UNITLESS:
            return text
    return ""
