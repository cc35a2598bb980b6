"""Force and velocity of every blow of a reviewed drive, conditioned as its table was."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from dyntest.conditioning.condition import Options, condition
from dyntest.quantities.table import CHUNK, PER_BLOW
from dyntest.reading.sheet_parts import TestSheet
from dyntest.reviewing.drive_review import DriveReview
from dyntest.signals import Waves

_BY_BLOW = ("blow", "force", "velocity", "onset", "first_peak")


def waves_by_chunk(sheet: TestSheet, drive: DriveReview) -> Iterator[tuple[np.ndarray, Waves]]:
    """Give the waves of a drive slice by slice, so that no more than a slice is held at once.

    Parameters
    ----------
    sheet : TestSheet
        The sheet, for pile, filter and alignment.
    drive : DriveReview
        The reviewed drive.

    Yields
    ------
    tuple of (numpy.ndarray, Waves)
        Rows of the drive's table, shape (n_slice,) [1], and their waves.
    """
    options = Options(low_pass=sheet.choices.low_pass, align=sheet.choices.align)
    known = drive.table["set_per_blow"].to_numpy()
    for start in range(0, len(drive.table), CHUNK):
        rows = np.arange(start, min(start + CHUNK, len(drive.table)))
        cut = {n: getattr(drive.signals, n)[rows] for n in PER_BLOW if getattr(drive.signals, n, None) is not None}
        sets = known[rows] if np.isfinite(known[rows]).any() else None
        yield rows, condition(replace(drive.signals, **cut), sheet.pile, replace(options, set_per_blow=sets)).waves


def drive_waves(sheet: TestSheet, drive: DriveReview) -> Waves:
    """Give the waves of every blow of a drive.

    Parameters
    ----------
    sheet : TestSheet
        The sheet, for pile, filter and alignment.
    drive : DriveReview
        The reviewed drive.

    Returns
    -------
    Waves
        In the order of the drive's table: what its numbers were computed from.
    """
    parts = [waves for _, waves in waves_by_chunk(sheet, drive)]
    joined = {name: np.concatenate([getattr(part, name) for part in parts]) for name in _BY_BLOW}
    return replace(parts[0], **joined)


def one_blow(waves: Waves, row: int) -> Waves:
    """Give the waves of one blow alone.

    Parameters
    ----------
    waves : Waves
        Waves of several blows.
    row : int
        Row of the blow in them [1].

    Returns
    -------
    Waves
        Of that blow, with arrays of one row.
    """
    return replace(waves, **{name: getattr(waves, name)[row : row + 1] for name in _BY_BLOW})
