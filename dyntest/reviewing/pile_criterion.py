"""The driving criterion of a reviewed test pile: gathers from its drives what the criterion is derived from."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyntest.decisions.caution import Caution
from dyntest.decisions.criterion import CriterionRow
from dyntest.decisions.driving_criterion import (
    DrivingCriterion,
    MeasuredBlows,
    driving_criterion,
    restrike_rows,
    table_strokes,
)
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.restrikes import restrike_rule
from dyntest.decisions.setup import Setup
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.names import show
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.drive_match import struck_blows
from dyntest.wave_equation.bearing_graph import CalibratedHammer, calibrate_hammer

LAST_BLOWS = 20
"""Blows of the end of the initial drive that are laid beside the bearing graph [1]; our choice."""


def criterion_of_test_pile(
    sheet: TestSheet,
    drives: Sequence[DriveReview],
    compared: Sequence[Setup],
    target: EndOfDriveTarget | None,
    limits: DrivingStressLimits,
) -> tuple[DrivingCriterion | None, str]:
    """Derive the driving criterion from the last initial drive and the restrikes."""
    initial = [drive for drive in drives if drive.kind == "initial"]
    if target is None:
        return None, "no resistance is required in the sheet; give nominal_resistance in [requirement]"
    if not initial:
        return None, "there is no initial drive, and a criterion speaks of the end of driving"
    drive = initial[-1]
    if drive.match is None:
        reason = drive.match_problem or "its representative blow was not matched"
        return None, f"the initial drive has no matched soil: {reason}"
    if drive.drive.hammer is None:
        return None, "the sheet has no [hammer]; the bearing graph needs it"
    numbers, system = drive.numbers, sheet.display_units
    stroke = numbers.get("stroke", float("nan"))
    try:
        force, energy = numbers["peak_force"], numbers["transferred_energy"]
        calibrated = calibrate_hammer(drive.match, drive.drive.hammer, stroke, force, energy, struck_blows(drive))
    except ValueError as problem:
        return None, str(problem)
    measured = measured_blows(drive.table)
    depth = drive.table["penetration"].iloc[-1] if "penetration" in drive.table else None
    rows = _rows_after_wait(drives, compared, target, calibrated, measured, limits, system)
    found = driving_criterion(
        drive.match,
        calibrated,
        target,
        measured,
        limits=limits,
        minimum_penetration=sheet.requirement.minimum_penetration,
        restrike=restrike_rule(target.required, compared, depth, rows, system=system),
        doubts=_doubts(drive, system),
        system=system,
    )
    return found, ""


def measured_blows(table: pd.DataFrame) -> MeasuredBlows:
    """Give the last blows of a drive as the criterion lays them beside the bearing graph."""
    last = table.tail(LAST_BLOWS)
    names = ("stroke", "set_per_blow", "transferred_energy", "peak_displacement")
    return MeasuredBlows(
        *(last[name].to_numpy(dtype=float) if name in last else np.full(len(last), np.nan) for name in names)
    )


def _rows_after_wait(
    drives: Sequence[DriveReview],
    compared: Sequence[Setup],
    target: EndOfDriveTarget,
    calibrated: CalibratedHammer,
    measured: MeasuredBlows,
    limits: DrivingStressLimits,
    system: str,
) -> tuple[CriterionRow, ...]:
    """Give the sets that show the requirement at a restrike, from the last matched one with the same hammer."""
    names = [setup.restrike for setup in compared]
    initial = [drive for drive in drives if drive.kind == "initial"][-1]
    later = [drive for drive in drives if drive.name in names and drive.match is not None]
    if not later or later[-1].drive.hammer != initial.drive.hammer:
        return ()
    strokes = table_strokes(calibrated.hammer, measured.stroke, calibrated.stroke, system)
    return restrike_rows(later[-1].match, calibrated, target.required, strokes, limits=limits, system=system)


def _doubts(drive: DriveReview, system: str) -> tuple[Caution, ...]:
    """Say what is wrong with the test pile or its record where the criterion is taken from."""
    found = []
    blow, factor = drive.representative.blow, drive.numbers.get("integrity_factor")
    if any(f.check == "integrity" and f.severity != "note" and blow in f.blows for f in drive.findings):
        depth = show("integrity_depth", drive.numbers.get("integrity_depth"), system)
        message = f"the test pile may be damaged {depth} below the gauges (integrity factor {factor:.2f})"
        found.append(Caution("damage", message, "take the criterion from a sound test pile", factor))
    if drive.representative.lower_bound:
        message = (
            "the blow that stands for the end of driving moved the pile too little, so its resistance is a lower bound"
        )
        found.append(
            Caution("moved too little", message, "match a blow with more movement, or strike with more energy")
        )
    if drive.trust.answer == "no":
        message = "the record of the initial drive cannot be trusted"
        found.append(Caution("record", message, f"look at {', '.join(drive.trust.reasons)}"))
    return tuple(found)
