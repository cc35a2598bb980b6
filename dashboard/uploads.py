"""Tests to open: uploaded ones, in a temporary folder of limited size for the session, and the samples.

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
"""Most files of one test [1]; a sheet names one or a few for each drive. Our own bound, no source."""

MOST_BYTES = 400_000_000
"""Largest total size of the files of one test [byte]; 3,000 blows take about a tenth. Our own bound, no source."""


class Folder:
    """A temporary folder that is removed with its session or the program."""

    def __init__(self):
        self.path = Path(tempfile.mkdtemp(prefix="dyntest-"))
        self.close = weakref.finalize(self, shutil.rmtree, self.path, ignore_errors=True)


def unpack(files: Sequence, folder: Folder) -> Path:
    """Save an uploaded test in a folder; give the path of its sheet."""
    sheets = [file for file in files if file.name.lower().endswith(".toml")]
    if len(sheets) != 1:
        problem = "no test sheet among the files" if not sheets else f"{len(sheets)} test sheets uploaded"
        raise InputError("upload", "", problem, "upload one test sheet (.toml) with the tables it names")
    return keep(files, folder)[files.index(sheets[0])]


def keep(files: Sequence, folder: Folder) -> list[Path]:
    """Save uploaded files in a folder; give their paths.

    Each is saved under its file name without any path, so that nothing is written outside the folder.
    """
    if len(files) > MOST_FILES:
        raise InputError("upload", "", f"{len(files)} files uploaded", f"upload at most {MOST_FILES}")
    size = sum(file.size for file in files)
    if size > MOST_BYTES:
        cure = f"keep the total below {MOST_BYTES / 1e6:,.0f} MB, or open them on this computer"
        raise InputError("upload", "", f"the files have {size / 1e6:,.0f} MB in total", cure)
    names = [safe_name(file.name) for file in files]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError("upload", twice[0], "was uploaded twice", "upload each file once")
    for name, file in zip(names, files, strict=True):
        (folder.path / name).write_bytes(file.getbuffer())
    return [folder.path / name for name in names]


def safe_name(name: str) -> str:
    """Give the last part of a name, if it is a valid file name."""
    last = name.replace("\\", "/").rpartition("/")[2]
    if not last or last.startswith(".") or any(not character.isprintable() for character in last) or len(last) > 120:
        raise InputError("upload", "", "a file name is not allowed", "rename it to letters, digits, . - _")
    return last


PACKAGE = "dyntest_samples"

SAMPLE_NAMES = {
    "pier_2_clay": "Pier 2, steel pile in clay, two restrikes",
    "pier_3_shale": "Pier 3, steel pile on shale, one restrike",
    "abutment_1_concrete": "Abutment 1, concrete pile in sand",
    "abutment_4_damaged": "Abutment 4, damaged concrete pile",
}
"""Descriptions of the samples by folder; all are invented."""


def _sample_folder() -> Path | None:
    return None if find_spec(PACKAGE) is None else Path(str(package_files(PACKAGE)))


def sample_sheets() -> dict[str, Path]:
    """Give the sheets of all samples installed, by folder name."""
    folder = _sample_folder()
    if folder is None:
        return {}
    return {name: folder / name / "sheet.toml" for name in SAMPLE_NAMES if (folder / name / "sheet.toml").is_file()}


def first_sample() -> Path | None:
    """Give the sheet of the sample opened by default."""
    return next(iter(sample_sheets().values()), None)


def sample_structure() -> Path | None:
    """Give the structure file of the samples, if installed."""
    folder = _sample_folder()
    path = None if folder is None else folder / "structure.toml"
    return path if path is not None and path.is_file() else None


def sample_production_log() -> tuple[Path, Path] | None:
    """Give the sample production log and its table of piles, if installed."""
    folder = _sample_folder()
    if folder is None:
        return None
    log, piles = folder / "production_log.csv", folder / "piles.csv"
    return (log, piles) if log.is_file() and piles.is_file() else None
