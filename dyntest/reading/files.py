"""Files read whole or with one clear message why not, and written whole or not at all.

Fingerprints tell whether the files from which a result was computed have changed. A folder for results is refused
before the work if it cannot be written, and nothing is written over an input.
"""

import contextlib
import errno
import gzip
import hashlib
import os
import tempfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path

import dyntest
from dyntest.errors import InputError
from dyntest.reading.parts import TestSheet
from dyntest.reading.wording import known_as, printable

MAX_TEXT_BYTES = 20_000_000
"""Largest sheet or log that is read [byte]; a log of a thousand piles has about a million. Our own bound, no source."""

MAX_TABLE_BYTES = 1_500_000_000
"""Largest signals table that is read, unpacked [byte]; 1,000 blows of 2,048 samples take about 0.15 gigabytes as CSV.
Our own bound, no source."""

FOLLOWED = "follow"
"""Folder beside the sheet in which the results of following a drive are saved."""

_SAVE_AS = "save it as plain text in UTF-8"


def check_file(path: Path, limit: int = MAX_TEXT_BYTES) -> None:
    """Check that a file can be read and is neither empty nor too large.

    Units: limit [byte].
    """
    source = known_as(path)
    try:
        if path.is_dir():
            raise InputError(source, "", "is a folder", "name the file in it")
        if not path.exists():
            raise InputError(source, "", "is not there", "check the name and the folder")
        if not path.is_file():
            raise InputError(source, "", "is not a regular file", "name a data file")
        size = path.stat().st_size
        with path.open("rb"):
            pass
    except (OSError, ValueError) as trouble:
        raise InputError(
            source, "", f"cannot be read ({_reason(trouble)})", "check the name and its permissions"
        ) from None
    if size == 0:
        raise InputError(source, "", "is empty", "export or copy the file again")
    if size > limit:
        raise too_large(path, limit)


def too_large(path: Path, limit: int) -> InputError:
    """Give the message for a file beyond a limit.

    Units: limit [byte].
    """
    cure = "check that it is the right file, or split it and list the parts"
    return InputError(
        known_as(path), "", f"is larger than {limit / 1e6:,.0f} megabyte{'s' if limit > 1.5e6 else ''}", cure
    )


def read_bytes(path: Path, limit: int = MAX_TEXT_BYTES) -> bytes:
    """Read a whole file, unpacked if its name ends in ``.gz``.

    Units: limit [byte].
    """
    check_file(path, limit)
    packed = path.suffix.lower() == ".gz"
    try:
        with gzip.open(path) if packed else path.open("rb") as stream:
            data = stream.read(limit + 1)
    except (OSError, EOFError, zlib.error) as trouble:
        raise InputError(
            known_as(path), "", f"cannot be unpacked ({_reason(trouble)})", "copy the file again"
        ) from None
    if len(data) > limit:
        raise too_large(path, limit)
    if not data:
        raise InputError(known_as(path), "", "is empty", "export or copy the file again")
    return data


def decode(data: bytes, source: str) -> str:
    r"""Give the text of bytes in UTF-8, with or without a byte-order mark.

    Examples
    --------
    >>> decode(b"\xef\xbb\xbfformat = 1", "sheet.toml")
    'format = 1'
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\x00" in data[:200:2] or b"\x00" in data[1:200:2]:
        raise InputError(source, "", "is saved as UTF-16 or is not text", _SAVE_AS)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as trouble:
        line = data.count(b"\n", 0, trouble.start) + 1
        problem = f"has a character that is not UTF-8 (byte {data[trouble.start]:#04x})"
        raise InputError(source, f"line {line}", problem, _SAVE_AS) from None


def read_text(path: Path, limit: int = MAX_TEXT_BYTES) -> str:
    """Read a text file in UTF-8.

    Units: limit [byte].
    """
    return decode(read_bytes(path, limit), known_as(path))


def _reason(trouble: Exception) -> str:
    return getattr(trouble, "strerror", None) or type(trouble).__name__


def sha256(path: str | Path) -> str:
    """Give the SHA-256 fingerprint of a file (FIPS 180-4).

    Examples
    --------
    >>> sha256(__file__) == sha256(Path(__file__))
    True
    """
    try:
        with Path(path).open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as trouble:
        problem = f"cannot be read ({trouble.strerror})"
        raise InputError(known_as(path), "", problem, "check the name and its permissions") from None


def digests(sheet: TestSheet) -> dict[str, str]:
    """Give the fingerprint of the sheet and of every file that it names."""
    folder = sheet.path.parent
    return {path.relative_to(folder).as_posix(): sha256(path) for path in sheet.inputs}


@cache
def program() -> str:
    """Give version and fingerprint of this program: what another state of it computed may not be what it would say."""
    folder = Path(dyntest.__file__).parent
    found = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*") if path.suffix in (".py", ".csv")):
        found.update(f"{path.relative_to(folder).as_posix()} {sha256(path)}\n".encode())
    return f"{dyntest.__version__} {found.hexdigest()[:12]}"


def file_stamps(paths: Iterable[Path]) -> dict[Path, tuple[int, int]]:
    """Give time of change [ns] and size [byte] of each file; both zero if it does not exist."""
    found = {}
    for path in paths:
        try:
            told = path.stat()
        except OSError:
            found[path] = 0, 0
        else:
            found[path] = told.st_mtime_ns, told.st_size
    return found


def refuse_changed(before: Mapping[Path, tuple[int, int]]) -> None:
    """Refuse to continue if files were changed since their stamps were taken."""
    now = file_stamps(before)
    for path, stamp in before.items():
        if now[path] != stamp:
            problem = "was changed by another program during the review"
            raise ChangedError(known_as(path), "", problem, "run it again when no other program is writing the file")


class ChangedError(InputError):
    """A file was changed since it was read."""


LONGEST_NAME = 200
"""Most characters of a folder's name that a message repeats [1]."""


def write_all(
    directory: Path, files: Mapping[str, bytes], read: Mapping[str, bytes | None] | None = None
) -> tuple[Path, ...]:
    """Write several files so that all of them are complete, or none is changed.

    Every file is first written under a temporary name; they are renamed only when all of them are on the disk, with no
    files of another program between them. Earlier files stay if anything fails. `read` gives the bytes that a file had
    when it was read, None if it did not exist: nothing is written if that has changed.

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
        with _alone(directory):
            for name, before in (read or {}).items():
                _refuse_unread(directory / name, before)
            for temporary, target in waiting:
                temporary.replace(target)
    except OSError as error:
        cure = "free some disk space, or use a folder that can be written to"
        raise InputError(
            folder_named(directory), "", f"the results could not be written ({error.strerror})", cure
        ) from error
    finally:
        for temporary, _ in waiting:
            temporary.unlink(missing_ok=True)
    return tuple(target for _, target in waiting)


@contextlib.contextmanager
def _alone(directory: Path) -> Iterator[None]:
    """Lock a folder against other programs that use the same lock; not on systems without such locks."""
    with contextlib.ExitStack() as stack:
        with contextlib.suppress(ImportError, OSError):
            import fcntl

            handle = os.open(directory, os.O_RDONLY)
            stack.callback(os.close, handle)
            fcntl.flock(handle, fcntl.LOCK_EX)
            stack.callback(fcntl.flock, handle, fcntl.LOCK_UN)  # a process that was forked meanwhile holds it too
        yield


def replace_text(path: Path, before: str, after: str) -> None:
    """Replace a text file that is still as it was read; raises `ChangedError` if it is not."""
    now = read_bytes(path)
    refuse_other_text(path, now, before)
    write_all(path.parent, {path.name: after.encode()}, {path.name: now})


def refuse_other_text(path: Path, now: bytes, before: str) -> None:
    """Refuse to overwrite a file that is no longer the text that was read."""
    if decode(now, known_as(path)) != before:
        raise _changed(path)


def _refuse_unread(path: Path, before: bytes | None) -> None:
    """Refuse to overwrite a file that is no longer as it was read."""
    now = path.read_bytes() if path.is_file() else None
    if now == before:
        return
    if before is None:
        raise ChangedError(known_as(path), "", "already exists", "open it to change it, or move it away")
    raise _changed(path)


def _changed(path: Path) -> ChangedError:
    problem = "was changed by another program in the meantime, so nothing was written"
    return ChangedError(known_as(path), "", problem, "check the current file, and save again")


def _written_beside(target: Path, content: bytes) -> Path:
    """Write a temporary file in the folder of its target, so that it can be renamed in one step."""
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


def folder_named(folder: Path) -> str:
    """Give the folder's name for a message: in one line, cut to a limit."""
    return printable(str(folder), LONGEST_NAME)


def _umask() -> int:
    """Read the process's mask for new files; it can only be read by setting it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def check_folder(directory: Path) -> None:
    """Refuse a folder that cannot be written to, before the work is done."""
    cure = "name another folder for the results"
    there = directory
    try:
        while not there.exists() and there != there.parent:
            if there.is_symlink():
                raise InputError(folder_named(there), "", "is a broken link", cure)
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
    """Refuse a folder where a result would overwrite an input."""
    taken = {path.resolve() for path in inputs}
    for name in names:
        if (directory / name).resolve() in taken:
            problem = f'the result "{name}" would overwrite an input of the same name'
            raise InputError(folder_named(directory), "", problem, "name another folder with --out")


def refuse_existing(directory: Path, names: Iterable[str]) -> None:
    """Refuse a folder where one of the files to be written already exists."""
    check_folder(directory)
    for name in names:
        if os.path.lexists(directory / name):
            raise InputError(folder_named(directory), "", f'"{name}" already exists', "name a folder without it")
