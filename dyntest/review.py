"""The whole job for one test pile, from the test sheet to the answers, as plain data; nothing here prints or writes."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from dyntest import __version__
from dyntest.conditioning.check import Finding
from dyntest.conditioning.condition import Options, condition
from dyntest.decisions.stress_limits import DrivingStressLimits, driving_stress_limits
from dyntest.decisions.trust import ANSWERS, Trust, trust
from dyntest.errors import InputError
from dyntest.quantities.representative import Representative, choose_blow
from dyntest.quantities.table import PER_BLOW, drive_table
from dyntest.reading.driving_log import DrivingLog, read_driving_log
from dyntest.reading.provenance import digests
from dyntest.reading.sheet import read_sheet
from dyntest.reading.sheet_parts import Drive, TestSheet
from dyntest.reading.tables import read_signals
from dyntest.reading.wording import known_as
from dyntest.signals import AveragedTraces, Signals, Waves

Progress = Callable[[str, float], None]
"""Told what is being done, and the share of the whole that is done [1]."""


@dataclass(frozen=True)
class DriveReview:
    """What one drive showed.

    Parameters
    ----------
    drive : Drive
        The drive as the sheet describes it.
    signals : Signals or AveragedTraces
        Its raw records.
    log : DrivingLog or None
        Its driving log.
    table : pandas.DataFrame
        One row a blow; columns are names in code, in SI.
    findings : tuple of Finding
        What was found on the records.
    damping_source : str
        Whose Case damping factor it is: ``"engineer"``, ``"soil at the toe"`` or ``"none"``.
    representative : Representative or None
        The blow that stands for the drive; None where no blow is sound.
    waves : Waves or None
        Conditioned force and velocity of that blow alone.
    trust : Trust
        Whether the record can be trusted.
    """

    drive: Drive
    signals: Signals | AveragedTraces
    log: DrivingLog | None
    table: pd.DataFrame
    findings: tuple[Finding, ...]
    damping_source: str
    representative: Representative | None
    waves: Waves | None
    trust: Trust

    @property
    def name(self) -> str:
        """Name of the drive, such as ``"restrike_1"``."""
        return self.drive.name

    @property
    def kind(self) -> str:
        """``"initial"`` or ``"restrike"``."""
        return self.drive.kind

    @property
    def numbers(self) -> dict[str, float]:
        """Every number of the representative blow that exists, by its name in code [SI units of the names]."""
        if self.representative is None:
            return {}
        row = self.table.loc[self.table["blow"] == self.representative.blow].iloc[0]
        return {code: float(value) for code, value in row.items() if value == value}


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
    version : str
        Version of dyntest.
    """

    sheet: TestSheet
    inputs: dict[str, str]
    limits: DrivingStressLimits
    drives: tuple[DriveReview, ...]
    version: str = __version__

    @property
    def trust(self) -> Trust:
        """The worst answer among the drives, with the reasons of every drive that gives it."""
        worst = max((drive.trust.answer for drive in self.drives), key=ANSWERS.index)
        reasons = [reason for drive in self.drives if drive.trust.answer == worst for reason in drive.trust.reasons]
        return Trust(worst, tuple(dict.fromkeys(reasons)))


def review(sheet_path: str | Path, progress: Progress | None = None) -> Review:
    """Do the whole job for one test pile.

    Parameters
    ----------
    sheet_path : str or Path
        The test sheet.
    progress : callable or None
        Told what is being done.

    Returns
    -------
    Review
        Every drive with the numbers of every blow, the findings, and the blow that stands for it.

    Raises
    ------
    InputError
        With file, place and cure, for the first input that cannot be used.
    """
    tell = progress or (lambda step, share: None)
    tell("reading the sheet", 0.0)
    sheet = read_sheet(sheet_path)
    drives = []
    for number, drive in enumerate(sheet.drives):
        tell(f"working out {drive.name.replace('_', ' ')}", number / len(sheet.drives))
        drives.append(review_drive(sheet, drive))
    return Review(sheet, digests(sheet), driving_stress_limits(sheet.pile, sheet.requirement), tuple(drives))


def review_drive(sheet: TestSheet, drive: Drive) -> DriveReview:
    """Review one drive.

    Parameters
    ----------
    sheet : TestSheet
        The sheet.
    drive : Drive
        One of its drives.

    Returns
    -------
    DriveReview
        Numbers of every blow, findings, and the blow that stands for the drive.

    Raises
    ------
    InputError
        If a file of the drive cannot be used, or the chosen blow was not recorded.
    """
    signals = read_signals(sheet, drive)
    log = None if drive.log is None else read_driving_log(drive.log)
    options = Options(low_pass=sheet.choices.low_pass, align=sheet.choices.align)
    worked = drive_table(
        signals,
        sheet.pile,
        drive.hammer,
        options=options,
        damping_factor=sheet.damping_factor,
        toe_soil=sheet.soil.toe,
        log=log,
        penetration_at_start=drive.penetration_at_start,
    )
    table, findings = worked.table, worked.findings
    chosen = _representative(sheet, drive, table, findings)
    blow = None if chosen is None else chosen.blow
    waves = None if blow is None else _waves(signals, sheet, options, table, blow)
    judged = trust(findings, len(table), blow)
    return DriveReview(drive, signals, log, table, findings, worked.damping_source, chosen, waves, judged)


def _representative(
    sheet: TestSheet, drive: Drive, table: pd.DataFrame, findings: tuple[Finding, ...]
) -> Representative | None:
    """Give the engineer's own choice where there is one, else the blow by the rule."""
    number = sheet.choices.blow.get(drive.name)
    if number is None:
        return choose_blow(table, drive.kind, findings)
    own = table[table["blow"] == number]
    if own.empty:
        first, last = int(table["blow"].min()), int(table["blow"].max())
        problem = f"blow {number} was not recorded in this drive"
        cure = f"write one of its blows, {first} to {last}"
        raise InputError(known_as(sheet.path), f"[choices] blow, {drive.name}", problem, cure)
    alone = choose_blow(own, drive.kind)
    return replace(alone, rule="The engineer's own choice, [choices] blow in the test sheet.", reasons=())


def _waves(
    signals: Signals | AveragedTraces, sheet: TestSheet, options: Options, table: pd.DataFrame, blow: int
) -> Waves:
    """Give the waves of one blow, conditioned as the table was."""
    rows = np.flatnonzero(signals.blow == blow)
    known = table["set_per_blow"].to_numpy()[rows]
    cut = {name: getattr(signals, name)[rows] for name in PER_BLOW if getattr(signals, name, None) is not None}
    options = replace(options, set_per_blow=known if np.isfinite(known).any() else None)
    return condition(replace(signals, **cut), sheet.pile, options).waves
