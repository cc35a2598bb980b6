"""Where the sample tests lie: in the source tree, or where installing has put them."""

import sysconfig
from pathlib import Path

NAMES = {
    "pier_2_clay": "Pier 2, steel pile in clay, two restrikes",
    "pier_3_shale": "Pier 3, steel pile on shale, one restrike",
    "abutment_1_concrete": "Abutment 1, concrete pile in sand",
    "abutment_4_damaged": "Abutment 4, concrete pile that was damaged",
}
"""What the samples are, by the folder of each; all are invented."""

_FOLDERS = (
    Path(__file__).resolve().parent.parent / "sample_signals",
    Path(sysconfig.get_path("data")) / "share" / "dyntest" / "sample_signals",
)


def sheets() -> dict[str, Path]:
    """Give the sheet of every sample that is at hand, by its folder's name."""
    for folder in _FOLDERS:
        found = {name: folder / name / "sheet.toml" for name in NAMES if (folder / name / "sheet.toml").is_file()}
        if found:
            return found
    return {}


def first() -> Path | None:
    """Give the sheet of the sample that is opened where nothing else is."""
    return next(iter(sheets().values()), None)


def production_log() -> tuple[Path, Path] | None:
    """Give the sample production log and its table of piles, where they are at hand."""
    for folder in _FOLDERS:
        log, piles = folder / "production_log.csv", folder / "piles.csv"
        if log.is_file() and piles.is_file():
            return log, piles
    return None
