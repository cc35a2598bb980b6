"""Tests to be opened: uploaded ones, in a bounded temporary folder of their session, and the samples.

The samples are installed beside the pages as the package ``dyntest_samples``.
"""

import shutil
import tempfile
import weakref
from collections.abc import Sequence
from importlib.resources import files as package_files
from importlib.util import find_spec
from pathlib import Path

from dyntest.errors import InputError

MOST_FILES = 60
"""Files of one test at most [1]; a sheet names one or a few for each drive. Our own bound, no source."""

MOST_BYTES = 400_000_000
"""Size of all files of one test together at most [byte]; 3,000 blows take about a tenth. Our own bound, no source."""


class Folder:
    """A temporary folder that goes when its session does, or the program."""

    def __init__(self):
        self.path = Path(tempfile.mkdtemp(prefix="dyntest-"))
        self.close = weakref.finalize(self, shutil.rmtree, self.path, ignore_errors=True)


def unpack(files: Sequence, folder: Folder) -> Path:
    """Lay an uploaded test into a folder; give the sheet among its files."""
    sheets = [file for file in files if file.name.lower().endswith(".toml")]
    if len(sheets) != 1:
        problem = "no test sheet is among the files" if not sheets else f"{len(sheets)} test sheets came"
        raise InputError("upload", "", problem, "upload one test sheet (.toml) with the tables it names")
    return keep(files, folder)[files.index(sheets[0])]


def keep(files: Sequence, folder: Folder) -> list[Path]:
    """Lay uploaded files into a folder; give where each lies.

    Each lies under its own last name, whatever path it came with, so that nothing is written outside the folder.
    """
    if len(files) > MOST_FILES:
        raise InputError("upload", "", f"{len(files)} files came", f"upload at most {MOST_FILES}")
    size = sum(file.size for file in files)
    if size > MOST_BYTES:
        cure = f"keep them below {MOST_BYTES / 1e6:,.0f} MB together, or open them on disk"
        raise InputError("upload", "", f"the files have {size / 1e6:,.0f} MB together", cure)
    names = [safe_name(file.name) for file in files]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError("upload", twice[0], "came twice", "upload each file once")
    for name, file in zip(names, files, strict=True):
        (folder.path / name).write_bytes(file.getbuffer())
    return [folder.path / name for name in names]


def safe_name(name: str) -> str:
    """Give the last part of a name, as a file of the folder may be called."""
    last = name.replace("\\", "/").rpartition("/")[2]
    if not last or last.startswith(".") or any(not character.isprintable() for character in last) or len(last) > 120:
        raise InputError("upload", "", "a file has a name that cannot be kept", "rename it to letters, digits, . - _")
    return last


PACKAGE = "dyntest_samples"

SAMPLE_NAMES = {
    "pier_2_clay": "Pier 2, steel pile in clay, two restrikes",
    "pier_3_shale": "Pier 3, steel pile on shale, one restrike",
    "abutment_1_concrete": "Abutment 1, concrete pile in sand",
    "abutment_4_damaged": "Abutment 4, concrete pile that was damaged",
}
"""What the samples are, by the folder of each; all are invented."""


def _sample_folder() -> Path | None:
    return None if find_spec(PACKAGE) is None else Path(str(package_files(PACKAGE)))


def sample_sheets() -> dict[str, Path]:
    """Give the sheet of every sample that is at hand, by its folder's name."""
    folder = _sample_folder()
    if folder is None:
        return {}
    return {name: folder / name / "sheet.toml" for name in SAMPLE_NAMES if (folder / name / "sheet.toml").is_file()}


def first_sample() -> Path | None:
    """Give the sheet of the sample that is opened where nothing else is."""
    return next(iter(sample_sheets().values()), None)


def sample_structure() -> Path | None:
    """Give the file of the structure that the samples belong to, where it is at hand."""
    folder = _sample_folder()
    path = None if folder is None else folder / "structure.toml"
    return path if path is not None and path.is_file() else None


def sample_production_log() -> tuple[Path, Path] | None:
    """Give the sample production log and its table of piles, where they are at hand."""
    folder = _sample_folder()
    if folder is None:
        return None
    log, piles = folder / "production_log.csv", folder / "piles.csv"
    return (log, piles) if log.is_file() and piles.is_file() else None
