"""Folders for results: refused before the work where they cannot take them, and never over an input.

A commented test sheet and empty tables, for a test that is about to begin.
"""

import os
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path

from dyntest.errors import InputError
from dyntest.reading.files import folder_named


def check_folder(directory: Path) -> None:
    """Refuse a folder that cannot take results, before the work is done."""
    cure = "name another folder for the results"
    there = directory
    try:
        while not there.exists() and there != there.parent:
            if there.is_symlink():
                raise InputError(folder_named(there), "", "is a link that leads to nothing", cure)
            there = there.parent
    except (OSError, ValueError) as error:  # a name that is too long, or holds a null character
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(folder_named(directory), "", f"cannot be a folder ({reason})", cure) from None
    if not there.is_dir():
        raise InputError(folder_named(there), "", "is a file, not a folder", cure)
    if not os.access(there, os.W_OK | os.X_OK):
        raise InputError(
            folder_named(there), "", "cannot be written to", "name another folder, or change its permissions"
        )


def refuse_inputs(directory: Path, names: Iterable[str], inputs: Iterable[Path]) -> None:
    """Refuse a folder where a result would stand in the place of an input."""
    taken = {path.resolve() for path in inputs}
    for name in names:
        if (directory / name).resolve() in taken:
            problem = f'the result "{name}" would overwrite an input of the same name'
            raise InputError(folder_named(directory), "", problem, "name another folder with --out")


def refuse_existing(directory: Path, names: Iterable[str]) -> None:
    """Refuse a folder where one of the files to be written is already there."""
    check_folder(directory)
    for name in names:
        if os.path.lexists(directory / name):
            raise InputError(folder_named(directory), "", f'"{name}" is already there', "name a folder without it")


def blank_files() -> dict[str, bytes]:
    """Give the files that a new test begins with.

    Examples
    --------
    >>> "sheet.toml" in blank_files()
    True
    """
    template = files("dyntest.reading") / "template"
    return {entry.name: entry.read_bytes() for entry in sorted(template.iterdir(), key=lambda entry: entry.name)}
