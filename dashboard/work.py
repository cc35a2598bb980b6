"""Results that the pages need from the library, computed once for the same inputs and choices.

Results are cached by the paths and fingerprints (SHA-256) of the files and the choices they depend on. A changed file
or choice gives a new result, and an uploaded test, in the folder of its session, is never that of another session.
Nothing is pickled: the objects themselves are cached and never changed.
"""

import hashlib
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import streamlit as st

from dyntest.errors import DyntestError, InputError
from dyntest.presenting.decision_words import told as in_words
from dyntest.reading.files import digests, program
from dyntest.reading.parts import Choices, TestSheet
from dyntest.reading.sheet import read_sheet
from dyntest.reading.structure_sheet import read_structure, usual_folder

from . import shelf, state, uploads

KEPT = 8
"""Most drives cached with the waves of all their blows [1]; one of 3,000 blows takes about 150 MB."""


@dataclass(frozen=True)
class Opened:
    """The open test.

    Parameters
    ----------
    sheet : TestSheet
        The sheet with the choices and the display units of the session.
    as_read : TestSheet
        The sheet as it was read.
    inputs : dict of str to str
        Fingerprints of its files.
    key : str
        Path and contents in one fingerprint.
    """

    sheet: TestSheet
    as_read: TestSheet
    inputs: dict[str, str]
    key: str

    @property
    def system(self) -> str:
        """Display units, ``"SI"`` or ``"US"``."""
        return self.sheet.display_units


def test() -> Opened:
    """Give the open test, by default the first sample; raises InputError if it cannot be used."""
    path = state.sheet_path() or uploads.first_sample()
    if path is None:
        raise InputError("dashboard", "", "no test is open and no samples are installed", "open or upload a test sheet")
    sheet = _read(str(path), _stamp(path))
    return _opened(path, replace(sheet, choices=state.choices(sheet), display_units=state.system(sheet)), sheet)


def other_test(path: Path, system: str) -> Opened:
    """Give another test to compare with, with the choices of its own sheet and in the units of this session."""
    sheet = _read(str(path), _stamp(path))
    return _opened(path, replace(sheet, display_units=system), sheet)


def _opened(path: Path, asked: TestSheet, sheet: TestSheet) -> Opened:
    inputs = _fingerprints(str(path), tuple(_stamp(named) for named in sheet.inputs), sheet)
    key = hashlib.sha256(repr((str(sheet.path), sorted(inputs.items()))).encode()).hexdigest()
    return Opened(asked, sheet, inputs, key)


def _stamp(path: Path) -> tuple[int, int]:
    """Give time of change and size of a file; both zero if it does not exist, which reading reports."""
    try:
        found = path.stat()
    except OSError:
        return 0, 0
    return found.st_mtime_ns, found.st_size


@st.cache_resource(max_entries=16, show_spinner=False)
def _read(path: str, when: tuple[int, int]) -> TestSheet:
    return read_sheet(path)


@st.cache_resource(max_entries=16, show_spinner=False)
def _fingerprints(path: str, when: tuple, _sheet: TestSheet) -> dict[str, str]:
    return digests(_sheet)


def conditioning(choices: Choices) -> tuple:
    """Give the choices that the waves depend on, as part of a key."""
    return tuple(sorted(choices.leave_out)), choices.low_pass, choices.align


@st.cache_resource(max_entries=KEPT, show_spinner="Computing every blow of the drive …")
def _whole_drive(key: str, name: str, conditioned: tuple, _sheet: TestSheet):
    """Give a drive reviewed with the choices of conditioning only, and the waves of all its blows."""
    from dyntest.reviewing.drive import drive_waves, review_drive

    kept = {name: getattr(_sheet.choices, name) for name in ("leave_out", "low_pass", "align")}
    plain = replace(_sheet, choices=Choices(**kept))
    drive = review_drive(plain, next(drive for drive in plain.drives if drive.name == name))
    return drive, drive_waves(plain, drive)


def waves_of_drive(test: Opened, name: str):
    """Give the waves of every blow of a drive."""
    return _whole_drive(test.key, name, conditioning(test.sheet.choices), test.sheet)[1]


@st.cache_resource(max_entries=64, show_spinner=False)
def _chosen(key: str, name: str, conditioned: tuple, factor: float | None, blow: int | None, _test: Opened):
    from dyntest.reviewing.drive import choose

    plain, waves_of_all = _whole_drive(key, name, conditioned, _test.sheet)
    calibrated = None if _test.sheet.damping_factor is not None or plain.damping_source != "none" else factor
    return choose(_test.sheet, plain, waves_of_all, calibrated=calibrated)


def drive(test: Opened, name: str):
    """Give a reviewed drive with the choices of the session, and its match if it was run."""
    return shelf.with_match(test, _reviewed(test, name, test.sheet.choices.blow.get(name)))


def _reviewed(test: Opened, name: str, blow: int | None):
    factor = test.sheet.damping_factor
    if factor is None:
        factor = _calibrated(test)
    return _chosen(test.key, name, conditioning(test.sheet.choices), factor, blow, test)


def _calibrated(test: Opened) -> float | None:
    """Give the damping factor that agrees with the match of an initial drive, or of the first matched one."""
    for one in sorted(test.sheet.drives, key=lambda one: one.kind != "initial"):
        plain = _whole_drive(test.key, one.name, conditioning(test.sheet.choices), test.sheet)[0]
        found = shelf.match_of(test, plain, test.sheet.choices.blow.get(one.name))
        if found is not None and found["calibrated_damping_factor"] >= 0.0:
            return round(float(found["calibrated_damping_factor"]), 2)
    return None


def drive_at(test: Opened, name: str, blow: int):
    """Give a drive with another blow as its representative one, to be matched."""
    chosen = test.sheet.choices
    other = replace(test, sheet=replace(test.sheet, choices=replace(chosen, blow={**chosen.blow, name: blow})))
    return _reviewed(other, name, blow)


def drives(test: Opened) -> tuple:
    """Give every drive of the test, as `drive` does."""
    return tuple(drive(test, one.name) for one in test.sheet.drives)


def review(test: Opened, *, criterion: bool = False):
    """Give the answers from all drives; the driving criterion, which takes a second, only if requested."""
    reviewed = drives(test)
    kept = [(one.match is not None, one.match_problem, one.every is not None) for one in reviewed]
    keys = [shelf.match_key(test, one) for one in reviewed]
    calibrated = _calibrated(test) if test.sheet.damping_factor is None else None
    key = repr((test.key, test.sheet.choices, test.system, calibrated, keys, kept, criterion))
    return _concluded(hashlib.sha256(key.encode()).hexdigest(), test, reviewed, criterion)


@st.cache_resource(max_entries=24, show_spinner=False)
def _concluded(key: str, _test: Opened, _reviewed: tuple, criterion: bool):
    from dyntest.reviewing.review import conclude

    def derive(sheet, reviewed, compared, target, limits):
        if not criterion:
            return None, None
        return _criterion(_criterion_key(_test, reviewed, compared, target), sheet, reviewed, compared, target, limits)

    return conclude(_test.sheet, _reviewed, derive)


def _criterion_key(test: Opened, reviewed: tuple, compared: tuple, target) -> str:
    """Give what the criterion depends on, including the damping factor, which may disagree with the match."""
    matches = [(shelf.match_key(test, drive), drive.match is not None, drive.trust) for drive in reviewed]
    seen = []
    for setup in compared:
        factors = dict(setup.factors)
        if setup.basis != "case_resistance_maximum":
            factors.pop("case_resistance_maximum", None)
        seen.append((setup.restrike, setup.wait, factors, setup.cautions))
    asked = (test.sheet.requirement, test.sheet.damping_factor)
    return hashlib.sha256(repr((matches, seen, target, asked, test.system)).encode()).hexdigest()


@st.cache_resource(max_entries=16, show_spinner="Computing the bearing graph …")
def _criterion(key: str, _sheet, _drives, _compared, _target, _limits):
    from dyntest.reviewing.pile_criterion import criterion_of_test_pile

    return criterion_of_test_pile(_sheet, _drives, _compared, _target, _limits)


def bearing_piles(test: Opened, reviewed, log: Path, piles: Path | None):
    """Give the bearing piles of a production log checked against the criterion of the test."""
    criterion = reviewed.answers.criterion
    stamps = (str(log), _stamp(log), str(piles), None if piles is None else _stamp(piles))
    key = hashlib.sha256(repr((criterion.criterion, criterion.target, test.key, test.system)).encode()).hexdigest()
    return _bearing_piles(key, stamps, test, log, piles, reviewed)


def production_log(test: Opened) -> tuple[Path, Path | None] | None:
    """Give the open production log and table of piles; for a sample those of the samples."""
    opened = st.session_state.get("production")
    if opened is not None:
        return opened
    return uploads.sample_production_log() if test.sheet.path in uploads.sample_sheets().values() else None


def log_alerts(test: Opened, reviewed) -> list[str]:
    """Say if the open production log may be of another structure, or does not fit the table of piles."""
    chosen = production_log(test)
    if chosen is None or reviewed.sheet.path != test.sheet.path:
        return []
    try:
        counts, _ = production(test, *chosen)
        found = reviewed.answers.criterion
        judged = None if found is None or found.criterion is None else bearing_piles(test, reviewed, *chosen)
    except DyntestError:  # the page on which it was opened shows the error
        return []
    told = [] if judged is None else [f"{in_words(one, test.system).sentence}." for one in judged.cautions]
    if test.sheet.pile_name in counts.piles:
        return told
    named = ", ".join(counts.piles[:3])
    here = f"The test pile {test.sheet.pile_name} is not in the production log ({named} …)"
    return [f"{here}. Check that the log is of this structure.", *told]


def production(test: Opened, log: Path, piles: Path | None):
    """Read a production log and its table of piles, in the layout given in the test sheet."""
    stamps = (str(log), _stamp(log), str(piles), None if piles is None else _stamp(piles), test.sheet.log_layout)
    return _production(repr(stamps), log, piles, test.sheet.log_layout)


@st.cache_resource(max_entries=8, show_spinner=False)
def _production(stamps: str, _log: Path, _piles: Path | None, _layout):
    from dyntest.reading.production_log import read_pile_table, read_production_log

    return read_production_log(_log, _layout), None if _piles is None else read_pile_table(_piles)


@st.cache_resource(max_entries=8, show_spinner=False)
def _bearing_piles(key: str, stamps: tuple, _test: Opened, _log: Path, _piles: Path | None, _reviewed):
    from dyntest.reviewing.structure import review_bearing_piles

    counts, table = production(_test, _log, _piles)
    return review_bearing_piles([_reviewed], counts, table)


@dataclass(frozen=True)
class OpenedStructure:
    """The open structure with the reviewed test piles.

    Parameters
    ----------
    key : str
        Fingerprint of its files and of the saved test piles.
    review : StructureReview
        Review of the structure; test piles not reviewed yet are marked as such.
    waiting : tuple of str
        Test sheets still to be reviewed.
    """

    key: str
    review: Any
    waiting: tuple[str, ...]


def nearest_structure() -> Path | None:
    """Give the structure file: the one opened, else one beside or above the open test, else None.

    For a sample, or without a test, it is the structure of the samples.
    """
    opened, sheet = state.structure_path(), state.sheet_path()
    if opened is not None:
        return opened
    samples = {path.resolve() for path in uploads.sample_sheets().values()}
    if sheet is None or sheet.resolve() in samples:
        return uploads.sample_structure()
    beside = (folder / "structure.toml" for folder in sheet.resolve().parents[:2])
    return next((path for path in beside if path.is_file()), None)


def opened_structure(path: Path, system: str | None) -> OpenedStructure:
    """Give an open structure with the test piles that were reviewed before and have not changed.

    Nothing is reviewed here: results saved by the command or the page are used.
    """
    sheet = _structure_sheet(str(path), _stamp(path))
    folder = kept_folder(path)
    stamps = [_stamp(one) for one in (*sheet.inputs, *_kept_files(folder))]
    for one in sheet.tests:
        stamps += [_stamp(one), *_stamps_of_test(one)]
    told = tuple((shelf.shelf().get(("failed", str(one))) or {}).get("problem", "") for one in sheet.tests)
    key = hashlib.sha256(repr((str(path), stamps, told)).encode()).hexdigest()
    review, waiting = _structure(key, sheet, folder, told)
    wanted = system or review.display_units
    return OpenedStructure(key + wanted, replace(review, display_units=wanted), waiting)


def _kept_files(folder: Path) -> list[Path]:
    return sorted((folder / "piles").glob("*.json"))


def _stamps_of_test(path: Path) -> list[tuple[int, int]]:
    try:
        return [_stamp(named) for named in _read(str(path), _stamp(path)).inputs]
    except InputError:
        return []  # reported by the review of that test pile


def kept_folder(path: Path) -> Path:
    """Give the folder of saved test piles of a structure: beside its file, as for the command.

    For the samples, and for a folder that is not writable, they are kept while the server runs.
    """
    folder = usual_folder(path)
    there = next(one for one in (folder, *folder.parents) if one.exists())
    sample = uploads.sample_structure()
    is_sample = sample is not None and path.resolve() == sample.resolve()
    if is_sample or not os.access(there, os.W_OK):
        return _passing_folder(str(path)).path
    return folder


@st.cache_resource(show_spinner=False)
def _passing_folder(path: str) -> uploads.Folder:
    return uploads.Folder()


@st.cache_resource(max_entries=8, show_spinner=False)
def _structure_sheet(path: str, when: tuple[int, int]):
    return read_structure(path)


@st.cache_resource(max_entries=8, show_spinner="Checking the bearing piles against their criterion …")
def _structure(key: str, _sheet, _folder: Path, _told: tuple[str, ...]):
    from dyntest.reviewing.structure import conclude_structure, read_tables
    from dyntest.reviewing.survey import NOT_REVIEWED, PileRecord, kept_records, still_done

    tables, here = read_tables(_sheet), _sheet.path.parent
    names = [path.relative_to(here).as_posix() for path in _sheet.tests]
    done = still_done(here, _sheet.tests, kept_records(_folder, names), "best")
    done = {name: record for name, record in done.items() if record.result is not None}
    records = [
        done.get(name) or PileRecord(name, {}, "best", program(), None, problem or NOT_REVIEWED)
        for name, problem in zip(names, _told, strict=True)
    ]
    return conclude_structure(_sheet, records, tables), tuple(name for name in names if name not in done)


@st.cache_resource(max_entries=4, show_spinner=False)
def board_frames(key: str, _review):
    """Give the plan of a structure, and the piles of each group to be checked."""
    from dyntest.presenting.structure_board import odd_rows, plan

    return plan(_review), [odd_rows(group, _review.display_units) for group in _review.groups]


@st.cache_resource(max_entries=4, show_spinner="Writing the files …")
def file_of_structure(key: str, name: str, _review) -> bytes:
    """Give a file of a structure's review, by its name."""
    from dyntest.presenting.structure_files import structure_file

    return structure_file(_review, name)


def card_key(test: Opened, reviewed) -> str:
    """Give what the card depends on, so that a job that ends does not change a file being downloaded."""
    found = reviewed.answers.criterion
    parts = (found.criterion, found.target, found.alerts, reviewed.trust, test.key, test.system)
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def review_key(test: Opened, reviewed) -> str:
    """Give what a whole review depends on."""
    run = [(drive.match is not None, drive.every is not None) for drive in reviewed.drives]
    matches = [shelf.match_key(test, drive) for drive in reviewed.drives]
    return hashlib.sha256(repr((test.key, test.sheet.choices, test.system, matches, run)).encode()).hexdigest()


@st.cache_resource(max_entries=6, show_spinner="Writing the report …")
def report(key: str, paper: str, _reviewed) -> bytes:
    """Give the report as PDF."""
    from dyntest.presenting.report import report_pdf

    return report_pdf(_reviewed, paper=paper)


@st.cache_resource(max_entries=12, show_spinner=False)
def criterion_card(key: str, _reviewed) -> bytes:
    """Give the criterion card as PDF."""
    from dyntest.presenting.report import criterion_card_pdf

    return criterion_card_pdf(_reviewed)


@st.cache_resource(max_entries=16, show_spinner=False)
def summary_file(key: str, _reviewed) -> bytes:
    """Give the summary as JSON."""
    from dyntest.presenting.summary import summary_json

    return summary_json(_reviewed)


@st.cache_resource(max_entries=16, show_spinner=False)
def blows(key: str, system: str, _drive) -> bytes:
    """Give the quantities of every blow of a drive as CSV, in display units."""
    from dyntest.presenting.tables import blows_csv

    return blows_csv(_drive.table, system)


def save_choices(test: Opened) -> None:
    """Write the choices of the session into the sheet; if that fails, they stay and the page shows why."""
    from dyntest.reading.edit import with_choices
    from dyntest.reading.files import replace_text

    text = with_choices(test.as_read.text, state.choices(test.as_read))
    try:
        replace_text(test.sheet.path, test.as_read.text, text)
    except DyntestError as problem:
        st.session_state["not_saved"] = str(problem)
    else:
        state.reset()


def sheet_text(test: Opened) -> str:
    """Give the text of the sheet with the choices of the session in it."""
    from dyntest.reading.edit import with_choices

    return with_choices(test.as_read.text, test.sheet.choices)
