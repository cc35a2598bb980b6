"""One drive reviewed: every blow's numbers, what was found on the records, and the representative blow.

Another damping factor or another representative blow works out only what depends on it, from waves that are at hand;
the result is that of `review_drive` on the same sheet, which a test holds it to.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from dyntest.conditioning.condition import Options, condition
from dyntest.conditioning.findings import Finding, weighed
from dyntest.decisions.trust import Trust, trust
from dyntest.errors import InputError
from dyntest.quantities import case_resistance as case
from dyntest.quantities.case_resistance import factor_for_maximum
from dyntest.quantities.drive_findings import DAMPING_CHECK, LARGEST_DEPTH_DIFFERENCE
from dyntest.quantities.log_match import sets_are_certain
from dyntest.quantities.pile_calibration import PileCalibration
from dyntest.quantities.representative import Representative, blows_looked_at, representative_blow
from dyntest.quantities.table import CHUNK, DriveTable, drive_table
from dyntest.reading.logs import DrivingLog, read_driving_log
from dyntest.reading.parts import Drive, TestSheet
from dyntest.reading.signal_tables import read_signals
from dyntest.reading.wording import known_as
from dyntest.signals import AveragedTraces, Signals, Waves
from dyntest.wave_equation.every_blow import DriveMatches
from dyntest.wave_equation.matching import Match

MATCHED = ("matched_resistance", "shaft_resistance", "toe_resistance", "misfit")
"""Numbers that signal matching adds to a blow, by their names in code."""


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
        Whose Case damping factor it is: ``"engineer"``, ``"soil at the toe"``, ``"signal matching"`` or
        ``"none"``.
    representative : Representative or None
        The representative blow; None where no blow is sound.
    waves : Waves or None
        Conditioned force and velocity of that blow alone.
    trust : Trust
        Whether the record can be trusted.
    calibration : PileCalibration
        Wave speed and strain gain by the blows themselves.
    match : Match or None
        Signal match of the representative blow; None where it was not asked for or could not be done.
    match_problem : str
        Why there is no match although it was asked for; empty otherwise.
    calibrated_damping_factor : float
        Case damping factor with which the Case method at the first peak agrees with the match [1]; not a number
        without one.
    every : DriveMatches or None
        Signal matches of every blow; None where they were not asked for.
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
    calibration: PileCalibration
    match: Match | None = None
    match_problem: str = ""
    calibrated_damping_factor: float = float("nan")
    every: DriveMatches | None = None

    @property
    def name(self) -> str:
        """Name of the drive, such as ``"restrike_1"``."""
        return self.drive.name

    @property
    def kind(self) -> str:
        """``"initial"`` or ``"restrike"``."""
        return self.drive.kind

    @property
    def lower_bound(self) -> bool:
        """Whether its resistance is a lower bound: the blow moved the pile too little, or not all of the soil."""
        moved_little = self.representative is not None and self.representative.lower_bound
        return moved_little or (self.match is not None and not self.match.fully_mobilised)

    @property
    def end_penetration(self) -> float | None:
        """Penetration at its last blow [m]; None where it is not known.

        Where neither log nor records give depths every blow has that of the drive's start. A restrike ends about there,
        an initial drive anywhere below.
        """
        known = self.table["penetration"].dropna() if "penetration" in self.table else self.table.iloc[:0, 0]
        alike = len(known) == len(self.table) and bool((known == self.drive.penetration_at_start).all())
        if known.empty or (self.kind == "initial" and alike):
            return None
        return float(known.iloc[-1])

    @cached_property
    def numbers(self) -> dict[str, float]:
        """Every number of the representative blow that exists, by its name in code [SI units of the names]."""
        if self.representative is None:
            return {}
        row = self.table.loc[self.table["blow"] == self.representative.blow].iloc[0]
        numbers = {str(code): float(value) for code, value in row.items() if value == value}
        if self.match is not None:
            numbers |= {code: float(getattr(self.match, code)) for code in MATCHED}
        return numbers


def without_records(drive: DriveReview) -> DriveReview:
    """Give a drive without the records of its blows, which are most of it, as another process takes it."""
    return replace(drive, signals=drive.signals.take(slice(0)))


def chosen_options(sheet: TestSheet) -> Options:
    """Give the conditioning that the sheet asks for."""
    return Options(low_pass=sheet.choices.low_pass, align=sheet.choices.align)


def table_of_drive(
    sheet: TestSheet,
    drive: Drive,
    signals: Signals | AveragedTraces,
    damping_factor: float | None,
    **of_log: Any,
) -> DriveTable:
    """Give the quantities of every blow of some records; `of_log` is as for `drive_table`."""
    return drive_table(
        signals,
        sheet.pile,
        drive.hammer,
        options=chosen_options(sheet),
        damping_factor=damping_factor,
        toe_soil=sheet.soil.toe,
        kind=drive.kind,
        **of_log,
    )


def review_drive(sheet: TestSheet, drive: Drive, *, calibrated: float | None = None) -> DriveReview:
    """Review one drive."""
    signals = read_signals(sheet, drive)
    log = None if drive.log is None else read_driving_log(drive.log, sheet.log_layout, drive.penetration_at_start)
    damping_factor = sheet.damping_factor if calibrated is None else calibrated
    of_log = {"first_blow": drive.first_blow, "penetration_at_start": drive.penetration_at_start}
    for_maximum = None if calibrated is None else factor_for_maximum(calibrated)
    worked = table_of_drive(sheet, drive, signals, damping_factor, for_maximum=for_maximum, log=log, **of_log)
    table = worked.table
    findings = weighed(worked.findings, blows_looked_at(table, drive.kind)["blow"].to_numpy())
    chosen = representative(sheet, drive, table, findings)
    blow = None if chosen is None else chosen.blow
    waves = None if blow is None else _waves(signals, sheet, table, findings, blow)
    judged = trust(findings, len(table), blow)
    source = worked.damping_source if calibrated is None else "signal matching"
    return DriveReview(drive, signals, log, table, findings, source, chosen, waves, judged, worked.calibration)


def representative(
    sheet: TestSheet, drive: Drive, table: pd.DataFrame, findings: tuple[Finding, ...]
) -> Representative | None:
    """Give the engineer's own choice where there is one, else the blow by the rule."""
    number = sheet.choices.blow.get(drive.name)
    if number is None:
        return representative_blow(table, drive.kind, findings)
    own = table[table["blow"] == number]
    if own.empty:
        first, last = int(table["blow"].min()), int(table["blow"].max())
        problem = f"blow {number} was not recorded in this drive"
        cure = f"write one of its blows, {first} to {last}"
        raise InputError(known_as(sheet.path), f"[choices] blow, {drive.name}", problem, cure)
    alone = representative_blow(own, drive.kind)
    return None if alone is None else replace(alone, rule="engineer")


def _waves(
    signals: Signals | AveragedTraces,
    sheet: TestSheet,
    table: pd.DataFrame,
    findings: tuple[Finding, ...],
    blow: int,
) -> Waves:
    """Give the waves of one blow, conditioned as the table was."""
    return _waves_of_rows(signals, sheet, table, findings, np.flatnonzero(signals.blow == blow))


def waves_of(sheet: TestSheet, drive: DriveReview, rows: np.ndarray) -> Waves:
    """Give the waves of some blows of a drive, by their rows in its table, conditioned as the table was."""
    return _waves_of_rows(drive.signals, sheet, drive.table, drive.findings, rows)


def _waves_of_rows(
    signals: Signals | AveragedTraces,
    sheet: TestSheet,
    table: pd.DataFrame,
    findings: tuple[Finding, ...],
    rows: np.ndarray,
) -> Waves:
    options = replace(chosen_options(sheet), set_per_blow=_known_sets(table, findings, rows))
    return condition(signals.take(rows), sheet.pile, options).waves


def _known_sets(table: pd.DataFrame, findings: tuple[Finding, ...], rows: np.ndarray) -> np.ndarray | None:
    """Give the sets by which records are corrected [m], as the drive's table was: those of the log where certain."""
    known = table["set_per_blow"].to_numpy()[rows]
    return known if sets_are_certain(findings) and np.isfinite(known).any() else None


def waves_by_chunk(sheet: TestSheet, drive: DriveReview) -> Iterator[tuple[np.ndarray, Waves]]:
    """Give the waves of a drive slice by slice, so that no more than a slice is held at once."""
    for start in range(0, len(drive.table), CHUNK):
        rows = np.arange(start, min(start + CHUNK, len(drive.table)))
        yield rows, waves_of(sheet, drive, rows)


def drive_waves(sheet: TestSheet, drive: DriveReview) -> Waves:
    """Give the waves of every blow of a drive."""
    return Waves.join([waves for _, waves in waves_by_chunk(sheet, drive)])


def choose(sheet: TestSheet, drive: DriveReview, waves: Waves, *, calibrated: float | None = None) -> DriveReview:
    """Give a reviewed drive as the choices of a sheet have it."""
    table, findings, source = drive.table, drive.findings, drive.damping_source
    factor = sheet.damping_factor if calibrated is None else calibrated
    if factor is not None:
        for_maximum = factor if calibrated is None else factor_for_maximum(calibrated)
        table = table.assign(**case_columns(waves, factor, for_maximum))
        findings = tuple(finding for finding in findings if finding.check != DAMPING_CHECK)
        source = "engineer" if calibrated is None else "signal matching"
    chosen = representative(sheet, drive.drive, table, findings)
    blow = None if chosen is None else chosen.blow
    alone = None if blow is None else waves.take(waves.blow == blow)
    judged = trust(findings, len(table), blow)
    again = replace(
        drive,
        table=table,
        findings=findings,
        damping_source=source,
        representative=chosen,
        waves=alone,
        trust=judged,
    )
    if drive.representative is not None and blow == drive.representative.blow:
        return again
    return replace(again, match=None, match_problem="", calibrated_damping_factor=float("nan"))


MOST_RISE = 0.1
"""A restrike that begins more than this above the end of the drive before cannot be [m]; our own choice."""


def held_together(drives: Sequence[DriveReview]) -> list[DriveReview]:
    """Give the drives with a warning where it is not known where one ended, or where a restrike begins elsewhere.

    A restrike that begins deeper is told only where a log says where the drive before ended.
    """
    held: list[DriveReview] = []
    for drive in drives:
        before = held[-1].table["penetration"].dropna() if held else None
        own = drive.table["penetration"].dropna()
        if before is not None and len(before) and len(own):
            ended, begins, logged = float(before.iloc[-1]), float(own.iloc[0]), held[-1].log is not None
            if begins < ended - MOST_RISE:
                drive = _warned(drive, begins, ended, "above the drive before")
            elif logged and begins > ended + LARGEST_DEPTH_DIFFERENCE:
                drive = _warned(drive, begins, ended, "below the drive before")
        if drive.kind == "initial" and len(own) and drive.end_penetration is None:
            drive = _warned(drive, float(own.iloc[0]), float(own.iloc[0]), "end not known")
        held.append(drive)
    return held


def _warned(drive: DriveReview, begins: float, ended: float, case: str) -> DriveReview:
    """Give a drive with a warning on the depth at which it begins [m], and its trust judged again."""
    findings = (*drive.findings, Finding("penetration", "warning", (), begins, ended, case=case))
    blow = None if drive.representative is None else drive.representative.blow
    return replace(drive, findings=findings, trust=trust(findings, len(drive.table), blow))


def case_columns(waves: Waves, damping_factor: float, for_maximum: float) -> dict[str, np.ndarray]:
    """Give the columns of a drive's table that depend on the damping factors, at the first peak and over time [1]."""
    record = (waves.down, waves.up, waves.first_peak, waves.return_time, waves.time_step)
    return {
        "case_resistance": case.case_resistance(*record, damping_factor),
        "case_resistance_maximum": case.case_resistance_maximum(*record, for_maximum),
        "case_resistance_unloading": case.case_resistance_unloading(*record, damping_factor),
        "damping_factor": np.full(len(waves.blow), float(damping_factor)),
        "damping_factor_maximum": np.full(len(waves.blow), float(for_maximum)),
    }
