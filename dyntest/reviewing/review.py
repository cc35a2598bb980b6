"""The whole job for one test pile, from the test sheet to the answers, as plain data; nothing here prints or writes."""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from dyntest import __version__
from dyntest.decisions.stress_limits import DrivingStressLimits, driving_stress_limits
from dyntest.decisions.trust import ANSWERS, Trust
from dyntest.processes import Errands
from dyntest.reading.files import digests, file_stamps, refuse_changed
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.answers import Answers, Derive, answer_questions
from dyntest.reviewing.drive import DriveReview, held_together, review_drive
from dyntest.reviewing.drive_match import Begun, begin_matches, match_begun, match_drive, match_drive_blows
from dyntest.reviewing.pile_criterion import HammerCalibrations, criterion_of_test_pile

Progress = Callable[[str, float], None]
"""Told what is being done, and the share of the whole that is done [1]."""

MATCHES = ("best", "every", "none")
"""What may be matched: the representative blow of each drive, every blow, or nothing."""


@dataclass(frozen=True)
class Review:
    """What one test pile showed.

    Parameters
    ----------
    sheet : TestSheet
        The sheet as read.
    inputs : dict of str to str
        SHA-256 of every file that was read, by its name relative to the sheet's folder.
    limits : DrivingStressLimits
        Limits of the driving stresses.
    drives : tuple of DriveReview
        In the order of the sheet.
    answers : Answers
        What the drives answer together.
    version : str
        Version of dyntest.
    """

    sheet: TestSheet
    inputs: dict[str, str]
    limits: DrivingStressLimits
    drives: tuple[DriveReview, ...]
    answers: Answers
    version: str = __version__

    @property
    def trust(self) -> Trust:
        """The worst answer among the drives, with the reasons of every drive that gives it."""
        worst = max((drive.trust.answer for drive in self.drives), key=ANSWERS.index)
        reasons = [reason for drive in self.drives if drive.trust.answer == worst for reason in drive.trust.reasons]
        return Trust(worst, tuple(dict.fromkeys(reasons)))


def review(
    sheet: str | Path | TestSheet,
    *,
    match: str = "best",
    executor: Executor | None = None,
    progress: Progress | None = None,
    each: Callable[[TestSheet, DriveReview], None] | None = None,
) -> Review:
    """Do the whole job for one test pile.

    Parameters
    ----------
    sheet : str or Path or TestSheet
        The test sheet, or where it lies.
    match : str
        One of `MATCHES`.
    executor : concurrent.futures.Executor or None
        Where drives are matched, and the criterion worked out, beside this process, and where every blow is matched;
        None: one drive after the other in this process, every blow in a pool with a process a core.
    progress : callable or None
        Told what is being done.
    each : callable or None
        Given the sheet and every drive as soon as its numbers and its match stay as they are.

    Returns
    -------
    Review
        Every drive with the numbers of every blow, the findings, its representative blow and its match, and what
        the drives answer together. An interrupt while every blow is matched keeps what is done, and the drive says so.

    Raises
    ------
    InputError
        With file, place and cure, for the first input that cannot be used.
    ValueError
        If `match` is none of `MATCHES`.
    """
    if match not in MATCHES:
        raise ValueError(f"match is {match!r}; write one of {', '.join(MATCHES)}")
    from dyntest.reading.sheet import read_sheet  # a tenth of a second, which a process that only draws need not wait

    tell = progress or (lambda step, share: None)
    tell("reading the sheet", 0.0)
    read_before = {} if isinstance(sheet, TestSheet) else file_stamps([Path(sheet)])
    sheet = sheet if isinstance(sheet, TestSheet) else read_sheet(sheet)
    read_before = file_stamps(sheet.inputs) | read_before
    drives, hammers = _worked_out(sheet, match, Errands(executor), tell, each)
    if match == "every":
        drives = _all_blows(sheet, drives, executor, tell)
    tell("deciding", 0.95)
    reviewed = conclude(sheet, tuple(drives), partial(criterion_of_test_pile, hammers=hammers))
    refuse_changed(read_before)  # its fingerprints are taken at the end, so they have to be those of what was read
    return reviewed


def conclude(sheet: TestSheet, drives: tuple[DriveReview, ...], derive: Derive = criterion_of_test_pile) -> Review:
    """Give the review of drives that are already worked out."""
    limits = driving_stress_limits(sheet.pile, sheet.requirement)
    return Review(sheet, digests(sheet), limits, drives, answer_questions(sheet, drives, limits, derive))


def _worked_out(
    sheet: TestSheet,
    match: str,
    among: Errands,
    tell: Progress,
    each: Callable[[TestSheet, DriveReview], None] | None,
) -> tuple[list[DriveReview], HammerCalibrations]:
    """Review every drive and match it, others at the same time where there are any, and begin on its hammer.

    The restrikes come first: they are soon worked out, and others match or draw them while the initial drive is. Those
    that one process matches are matched together.
    """
    steps = len(sheet.drives) * (1 if match == "none" else 2)
    backwards = sheet.drives[::-1]
    order = sorted(backwards, key=lambda one: one.kind == "initial")
    reviewed: dict[str, DriveReview] = {}
    begun: dict[str, Begun] = {}
    waiting: list[DriveReview] = []
    for number, drive in enumerate(order):
        tell(f"evaluating {drive.name.replace('_', ' ')}", 0.9 * number / steps)
        reviewed[drive.name] = review_drive(sheet, drive)
        if match == "none":
            if each is not None:
                each(sheet, reviewed[drive.name])
            continue
        waiting.append(reviewed[drive.name])
        last = number + 1 == len(order)
        if last or (among.executor is not None and order[number + 1].kind != drive.kind):
            begun |= zip((one.name for one in waiting), begin_matches(sheet, waiting, among), strict=True)
            waiting = []
    drives = held_together([reviewed[drive.name] for drive in sheet.drives])
    hammers = HammerCalibrations(among)
    if match == "none":
        return drives, hammers
    stay = match == "best" and _known_damping(drives)  # else other numbers may come
    matched: dict[str, DriveReview] = {}
    backwards_reviewed = drives[::-1]
    for number, one in enumerate(sorted(backwards_reviewed, key=lambda one: one.kind != "initial")):
        tell(f"matching {one.name.replace('_', ' ')}", 0.9 * (len(drives) + number) / steps)
        matched[one.name] = match_begun(sheet, one, begun[one.name])
        if stay and sheet.requirement.is_stated:
            hammers.begin_where_needed(matched[one.name], drives)
        if stay and each is not None:
            each(sheet, matched[one.name])
    return _with_damping(sheet, [matched[drive.name] for drive in drives], among), hammers


def _known_damping(drives: Sequence[DriveReview]) -> bool:
    return all(drive.damping_source != "none" for drive in drives)


def _with_damping(sheet: TestSheet, matched: list[DriveReview], among: Errands) -> list[DriveReview]:
    """Take an unknown Case damping factor from the match at the end of the initial drive."""
    known = [drive for drive in matched if drive.calibrated_damping_factor >= 0.0]
    if _known_damping(matched) or not known:
        return matched
    first = min(known, key=lambda drive: drive.kind != "initial")
    factor = round(first.calibrated_damping_factor, 2)
    errands = [among.add(_with_factor, sheet, drive, factor) for drive in matched]
    return [errand.result() for errand in errands]


def _with_factor(sheet: TestSheet, drive: DriveReview, factor: float) -> DriveReview:
    """Work a drive out again with a damping factor calibrated by matching; its match stays."""
    if drive.damping_source != "none":
        return drive
    again = review_drive(sheet, drive.drive, calibrated=factor)
    if again.representative != drive.representative:  # the middle one of other resistances may be another blow
        return match_drive(sheet, again)
    kept = ("match", "match_problem", "calibrated_damping_factor")
    return replace(again, **{name: getattr(drive, name) for name in kept})


def _all_blows(
    sheet: TestSheet, drives: list[DriveReview], executor: Executor | None, tell: Progress
) -> list[DriveReview]:
    """Match every blow of every drive; after an interrupt the drives that are left stay as they are."""
    matched: list[DriveReview] = []
    for drive in drives:
        interrupted = any(done.every is not None and not done.every.complete for done in matched)
        matched.append(drive if interrupted else _every(sheet, drive, executor, tell))
    return matched


def _every(sheet: TestSheet, drive: DriveReview, executor: Executor | None, tell: Progress) -> DriveReview:
    def progress(done: int, of: int) -> None:
        tell(f"matching every blow of {drive.name.replace('_', ' ')}, {done} of {of}", done / of)

    return match_drive_blows(sheet, drive, executor=executor, progress=progress)
