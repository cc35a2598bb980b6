"""The drives of a test sheet and the files they name, none of them outside the sheet's folder."""

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath

from dyntest.errors import InputError
from dyntest.hammer import Hammer
from dyntest.reading.sheet_models import DriveTable
from dyntest.reading.sheet_parts import Drive
from dyntest.reading.wording import shown

MAX_FILES = 20_000
"""Most signal files of one drive [1]; a long drive has some thousand blows. Our own bound, no source."""

_PATTERN = re.compile(r"[*?\[]")


def drives_from(
    tables: Sequence[DriveTable], hammers: Sequence[Hammer | None], folder: Path, source: str
) -> tuple[Drive, ...]:
    """Give the drives that the sheet describes.

    Parameters
    ----------
    tables : sequence of DriveTable
        Every ``[[drive]]`` as written.
    hammers : sequence of Hammer or None
        The hammer of each.
    folder : Path
        The sheet's folder, resolved.
    source : str
        The sheet's name for messages.

    Returns
    -------
    tuple of Drive
        In the order of the sheet, named by kind, and numbered where a kind comes more than once.

    Raises
    ------
    InputError
        If a file is absent, lies outside the folder or comes twice, or if the clock runs backward.
    """
    total, seen = Counter(table.kind for table in tables), Counter()
    drives = []
    for number, (table, hammer) in enumerate(zip(tables, hammers, strict=True), start=1):
        place = f"[[drive]] {number}"
        seen[table.kind] += 1
        if table.start and table.end and table.end < table.start:
            raise InputError(source, f"{place} end", "lies before start", "correct one of the two")
        drives.append(
            Drive(
                name=table.kind if total[table.kind] == 1 else f"{table.kind}_{seen[table.kind]}",
                kind=table.kind,
                signals=_signals(table.signals, folder, f"{place} signals", source),
                log=_one_file(table.log, folder, f"{place} log", source) if table.log else None,
                start=table.start,
                end=table.end,
                penetration_at_start=table.penetration_at_start,
                hammer=hammer,
            )
        )
    _check_clock(drives, source)
    _check_shared_files(drives, source)
    return tuple(drives)


def natural_order(name: str) -> list[tuple[int, int | str]]:
    """Give the key that sorts names with their numbers counted: ``blow_2`` before ``blow_10``.

    Parameters
    ----------
    name : str
        A file's name.

    Returns
    -------
    list of tuple
        The key; with numbers of equal length it sorts as the plain name does.

    Examples
    --------
    >>> sorted(["blow_10.csv", "blow_2.csv"], key=natural_order)
    ['blow_2.csv', 'blow_10.csv']
    """
    parts = re.split(r"([0-9]+)", name)
    return [(1, int(part)) if part.isdigit() and len(part) < 20 else (0, part) for part in parts]


def _signals(names: list[str], folder: Path, place: str, source: str) -> tuple[Path, ...]:
    """Give the files of a list in its order, each pattern in it as its files in name order."""
    if not names:
        raise InputError(source, place, "is an empty list", 'write a file, such as "initial.parquet"')
    paths: list[Path] = []
    for name in names:
        if _PATTERN.search(name) and not _exists(folder, name):
            paths += _matching(name, folder, place, source)
        else:
            paths.append(_one_file(name, folder, place, source))
        if len(paths) > MAX_FILES:
            cure = "stack the blows in one Parquet table"
            raise InputError(source, place, f"names more than {MAX_FILES:,} files", cure)
    for path, times in Counter(path.resolve() for path in paths).items():
        if times > 1:
            raise InputError(source, place, f"names {shown(path.name)} more than once", "name each file once")
    return tuple(paths)


def _matching(pattern: str, folder: Path, place: str, source: str) -> list[Path]:
    _check_inside(pattern, folder, place, source)
    try:
        found = [path for path in folder.glob(pattern) if path.is_file()]
    except (ValueError, NotImplementedError, OSError, IndexError):
        raise InputError(
            source, place, f"{shown(pattern)} is not a pattern", 'write it such as "blows/*.csv"'
        ) from None
    for path in found:
        _check_inside(path.relative_to(folder).as_posix(), folder, place, source)
    if not found:
        raise InputError(source, place, f"no file fits {shown(pattern)}", "check the folder and the pattern")
    return sorted(found, key=lambda path: natural_order(path.relative_to(folder).as_posix()))


def _one_file(name: str, folder: Path, place: str, source: str) -> Path:
    path = _check_inside(name, folder, place, source)
    if path.is_dir():
        raise InputError(source, place, f"{shown(name)} is a folder", 'name a file, or a pattern such as "blows/*.csv"')
    if not path.exists():
        raise InputError(
            source, place, f"{shown(name)} is not there", "check the name; it counts from the sheet's folder"
        )
    if not path.is_file():
        raise InputError(source, place, f"{shown(name)} is not a file of data", "name a plain file")
    return path


def _exists(folder: Path, name: str) -> bool:
    try:
        return (folder / name).exists()
    except (OSError, ValueError):
        return False


def _check_inside(name: str, folder: Path, place: str, source: str) -> Path:
    """Give the path below the folder; refuse one that leaves it, also by ``..`` or through a link."""
    cure = "copy the file beside the sheet and name it from there"
    leaves = f"{shown(name)} leaves the sheet's folder"
    if PurePosixPath(name).is_absolute() or PureWindowsPath(name).anchor:
        raise InputError(source, place, leaves, cure)
    try:
        path = folder / name
        inside = path.resolve().is_relative_to(folder)
        path.exists()  # a name that is too long only shows here
    except (OSError, ValueError, RuntimeError) as trouble:  # too long, a null character, links in a circle
        reason = getattr(trouble, "strerror", None) or "links in a circle"
        problem = f"{shown(name)} cannot be a file ({reason})"
        raise InputError(source, place, problem, "check the name") from None
    if not inside:
        raise InputError(source, place, leaves, cure)
    return path


def _check_clock(drives: Sequence[Drive], source: str) -> None:
    """Refuse a restrike that began before the initial drive did: setup would be counted backward."""
    begun = [drive.start for drive in drives if drive.kind == "initial" and drive.start]
    for number, drive in enumerate(drives, start=1):
        if drive.kind == "restrike" and drive.start and begun and drive.start <= min(begun):
            problem = "lies before the start of the initial drive"
            raise InputError(source, f"[[drive]] {number} start", problem, "correct one of the two")


def _check_shared_files(drives: Sequence[Drive], source: str) -> None:
    """Refuse a signals file that two drives claim."""
    owner: dict[Path, str] = {}
    for number, drive in enumerate(drives, start=1):
        for path in drive.signals:
            file = path.resolve()
            if file in owner:
                problem = f"{shown(path.name)} is already the record of {owner[file]}"
                raise InputError(source, f"[[drive]] {number} signals", problem, "name each drive's own file")
            owner[file] = drive.name
