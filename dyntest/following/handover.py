"""When following stops, signals and driving log of the drive are entered in the sheet for a review.

A review reads the recorder's own files. Only if the recorder restarted its numbering, or its clock went back, are the
saved records written as one table with the blow numbers and times of the drive.
"""

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dyntest.errors import InputError
from dyntest.following.depth import LOG, marks_of, write_log
from dyntest.following.follow import Follower
from dyntest.following.record import FOLDER, Kept, kept_arrays
from dyntest.reading.edit import with_drive_files
from dyntest.reading.files import read_text, replace_text
from dyntest.reading.parts import TestSheet
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import channels_of
from dyntest.reading.wording import known_as
from dyntest.reviewing.drive import DriveReview, review_drive
from dyntest.reviewing.drive_match import keep_match

SIGNALS = "signals.parquet"
"""The saved records as one table, in the folder of the drive."""

UNITS = {"strain": "m/m", "acceleration": "m/s^2", "force": "N", "velocity": "m/s"}
"""Units in the headers of that table: SI, so that no value changes."""


@dataclass(frozen=True)
class Handover:
    """What was written when following stopped.

    Parameters
    ----------
    blows : int
        Blows saved [1].
    signals, log : str
        What was entered in the sheet for the drive; empty if nothing was needed.
    beyond : int
        Blows after the last depth mark [1]; all of them if there is none.
    own_log : bool
        Whether the sheet names another log, which was not replaced.
    recorder : bool
        Whether the sheet has [records], so that the table of saved records could not be named in it.
    """

    blows: int
    signals: str = ""
    log: str = ""
    beyond: int = 0
    own_log: bool = False
    recorder: bool = False


def handed_over(follower: Follower) -> Handover:
    """Enter the drive in the sheet; raises `InputError` if sheet or folder cannot be written."""
    sheet, drive, kept = follower.sheet, follower.drive, Kept(follower.folder).look()
    if kept.last is None:
        return Handover(0)
    files: dict[str, str] = {}
    if follower.renumbered:
        write_signals(sheet, follower.folder, kept)
        if sheet.records is None:
            files["signals"] = f"{FOLDER}/{drive.name}/{SIGNALS}"
    marks = marks_of(kept.depths)
    own_log = drive.log is not None and drive.log != follower.folder.resolve() / LOG and drive.log.exists()
    if marks:
        write_log(follower.folder, sheet.display_units, drive.penetration_at_start)
        if not own_log:
            files["log"] = f"{FOLDER}/{drive.name}/{LOG}"
    text = read_text(sheet.path)
    changed = with_drive_files(text, [one.name for one in sheet.drives].index(drive.name), files)
    if changed != text:
        replace_text(sheet.path, text, changed)
    beyond = kept.last.blow - (marks[-1].blow if marks else 0)
    own, recorder = bool(marks) and own_log, follower.renumbered and sheet.records is not None
    return Handover(len(kept.blows), files.get("signals", ""), files.get("log", ""), beyond, own, recorder)


def matched_for_review(follower: Follower) -> DriveReview:
    """Review the drive as entered in the sheet, and save the match of its representative blow for the review."""
    sheet = read_sheet(follower.sheet.path)
    drive = next(one for one in sheet.drives if one.name == follower.drive.name)
    return keep_match(sheet, review_drive(sheet, drive))


def write_signals(sheet: TestSheet, folder: Path, kept: Kept) -> Path:
    """Write the saved records of a drive as one table in the program's own format, whole or not at all."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    channels = channels_of(sheet.gauges)
    target = folder / SIGNALS
    handle, name = tempfile.mkstemp(dir=folder, prefix=f".{SIGNALS}.")
    os.close(handle)
    temporary = Path(name)
    try:
        writer = None
        for number in sorted(kept.blows):
            arrays = kept_arrays(folder, number)
            columns = {"blow": np.full(len(arrays["time"]), number), "time [s]": arrays["time"]}
            for kind, names in channels.items():
                traces = np.atleast_2d(arrays[kind])
                columns |= {f"{one} [{UNITS[kind]}]": traces[row] for row, one in enumerate(names)}
            if "clock" in arrays:
                columns["clock [s]"] = np.full(len(arrays["time"]), arrays["clock"][0])
            if "penetration" in arrays:
                columns["penetration [m]"] = np.full(len(arrays["time"]), arrays["penetration"][0])
            table = pa.table(columns)
            if writer is None:
                writer = pq.ParquetWriter(temporary, table.schema)
            writer.write_table(table)
        if writer is not None:
            writer.close()
        temporary.replace(target)
    except OSError as trouble:
        cure = "free some disk space and follow again; all records are saved"
        raise InputError(known_as(target), "", f"could not be written ({trouble.strerror})", cure) from trouble
    finally:
        temporary.unlink(missing_ok=True)
    return target
