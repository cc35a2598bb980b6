"""Where the sample tests lie; installing puts them beside the pages as the package ``dyntest_samples``."""

from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

PACKAGE = "dyntest_samples"

NAMES = {
    "pier_2_clay": "Pier 2, steel pile in clay, two restrikes",
    "pier_3_shale": "Pier 3, steel pile on shale, one restrike",
    "abutment_1_concrete": "Abutment 1, concrete pile in sand",
    "abutment_4_damaged": "Abutment 4, concrete pile that was damaged",
}
"""What the samples are, by the folder of each; all are invented."""


def _folder() -> Path | None:
    return None if find_spec(PACKAGE) is None else Path(str(files(PACKAGE)))


def sheets() -> dict[str, Path]:
    """Give the sheet of every sample that is at hand, by its folder's name."""
    folder = _folder()
    if folder is None:
        return {}
    return {name: folder / name / "sheet.toml" for name in NAMES if (folder / name / "sheet.toml").is_file()}


def first() -> Path | None:
    """Give the sheet of the sample that is opened where nothing else is."""
    return next(iter(sheets().values()), None)


def production_log() -> tuple[Path, Path] | None:
    """Give the sample production log and its table of piles, where they are at hand."""
    folder = _folder()
    if folder is None:
        return None
    log, piles = folder / "production_log.csv", folder / "piles.csv"
    return (log, piles) if log.is_file() and piles.is_file() else None
