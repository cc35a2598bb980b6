"""Which files under a folder are test sheets."""

import os
import re
from pathlib import Path

from dyntest.errors import InputError

USUAL_NAME = "sheet.toml"
"""A file of this name is always taken for a test sheet."""

MOST_LOOKED_AT = 1 << 20
"""Bytes of another TOML file that are looked at [1]; a sheet is far smaller."""

_TABLES = (re.compile(rb"^\s*\[\s*pile\s*\]", re.M), re.compile(rb"^\s*\[\[\s*drive\s*\]\]", re.M))
"""Tables that every test sheet has, looked for in the text, so that a sheet with a slip is not passed over."""


def find_sheets(folder: Path, leave_out: Path | None = None) -> tuple[Path, ...]:
    """Give every test sheet under a folder.

    Parameters
    ----------
    folder : pathlib.Path
        Where to look; hidden folders are left out and links to folders are not followed.
    leave_out : pathlib.Path or None
        A folder not to look into, where results are kept.

    Returns
    -------
    tuple of pathlib.Path
        Each `USUAL_NAME`, and every other TOML file that has a pile and a drive, in the order of their paths.

    Raises
    ------
    InputError
        If the folder is not there or holds no test sheet.
    """
    if not folder.is_dir():
        problem = "is not a folder" if folder.exists() else "does not exist"
        raise InputError(str(folder), "", problem, "name a folder with test sheets in it or below it")
    out = None if leave_out is None else leave_out.resolve()
    found = []
    for place, folders, files in os.walk(folder):
        here = Path(place)
        folders[:] = [name for name in folders if not name.startswith(".") and (here / name).resolve() != out]
        found += [here / name for name in files if name == USUAL_NAME or _looks_like_a_sheet(here / name)]
    if not found:
        cure = f'put a {USUAL_NAME} beside each pile\'s records, as "dyntest new" makes one'
        raise InputError(str(folder), "", "no test sheet is in it or below it", cure)
    return tuple(sorted(found))


def _looks_like_a_sheet(path: Path) -> bool:
    if path.suffix != ".toml" or not path.is_file():
        return False
    try:
        with path.open("rb") as file:
            text = file.read(MOST_LOOKED_AT)
    except OSError:
        return False
    return all(table.search(text) for table in _TABLES)
