"""Write results whole or not at all, and never over an input.

A commented test sheet and empty tables, for a test that is about to begin.
"""

import contextlib
import errno
import os
import tempfile
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path

from dyntest.errors import InputError
from dyntest.reading.wording import printable

LONGEST_NAME = 200
"""Characters of a folder's name that a message repeats at most [1]."""


def check_folder(directory: Path) -> None:
    """Refuse a folder that cannot take results, before the work is done."""
    cure = "name another folder for the results"
    there = directory
    try:
        while not there.exists() and there != there.parent:
            if there.is_symlink():
                raise InputError(_named(there), "", "is a link that leads to nothing", cure)
            there = there.parent
    except (OSError, ValueError) as error:  # a name that is too long, or holds a null character
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(_named(directory), "", f"cannot be a folder ({reason})", cure) from None
    if not there.is_dir():
        raise InputError(_named(there), "", "is a file, not a folder", cure)
    if not os.access(there, os.W_OK | os.X_OK):
        raise InputError(_named(there), "", "cannot be written to", "name another folder, or change its permissions")


def refuse_inputs(directory: Path, names: Iterable[str], inputs: Iterable[Path]) -> None:
    """Refuse a folder where a result would stand in the place of an input."""
    taken = {path.resolve() for path in inputs}
    for name in names:
        if (directory / name).resolve() in taken:
            problem = f'the result "{name}" would overwrite an input of the same name'
            raise InputError(_named(directory), "", problem, "name another folder with --out")


def refuse_existing(directory: Path, names: Iterable[str]) -> None:
    """Refuse a folder where one of the files to be written is already there."""
    check_folder(directory)
    for name in names:
        if os.path.lexists(directory / name):
            raise InputError(_named(directory), "", f'"{name}" is already there', "name a folder without it")


def write_all(directory: Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write several files so that all of them are there whole, or none is touched.

    Every file is first written beside its place under a temporary name; only when all of them are on the disk do
    they take their names. What stood there before stays if anything fails.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in write_all(Path(folder), {"figures/a.svg": b"<svg/>", "b.csv": b"blow"})]
    ['a.svg', 'b.csv']
    """
    waiting: list[tuple[Path, Path]] = []
    try:
        for name, content in files.items():
            target = directory / name
            target.parent.mkdir(parents=True, exist_ok=True)
            waiting.append((_written_beside(target, content), target))
        for _, target in waiting:
            if target.is_dir():
                raise IsADirectoryError(errno.EISDIR, f"{target.name} is a folder")
        for temporary, target in waiting:
            temporary.replace(target)
    except OSError as error:
        cure = "name a folder that can be written to with --out, or make room on the disk"
        raise InputError(_named(directory), "", f"the results could not be written ({error.strerror})", cure) from error
    finally:
        for temporary, _ in waiting:
            temporary.unlink(missing_ok=True)
    return tuple(target for _, target in waiting)


def _written_beside(target: Path, content: bytes) -> Path:
    """Write a temporary file in the folder of its target, so that taking its place is one step of the file system."""
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(0o666 & ~_umask())
    except BaseException:  # also an interrupt from the keyboard must leave nothing half-written
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
    return temporary


def _named(folder: Path) -> str:
    """Give the folder as a message names it: in one line, and not longer than it can bear."""
    return printable(str(folder), LONGEST_NAME)


def _umask() -> int:
    """Read the process's mask for new files; it can only be read by setting it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def blank_files() -> dict[str, bytes]:
    """Give the files that a new test begins with.

    Examples
    --------
    >>> "sheet.toml" in blank_files()
    True
    """
    template = files("dyntest.reading") / "template"
    return {entry.name: entry.read_bytes() for entry in sorted(template.iterdir(), key=lambda entry: entry.name)}
