"""What all drives of a test pile answer together: what waiting changed, and the driving criterion."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget, end_of_drive_target
from dyntest.decisions.estimate import Estimate, exactly
from dyntest.decisions.resistance_factors import RequiredResistance, required_nominal_resistance
from dyntest.decisions.setup import DriveResult, Setup, setups
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.decisions.time_law import RestrikeFade, TimeLaw, fit_time_law, reference_time, restrike_fade
from dyntest.errors import DyntestError
from dyntest.reading.parts import TestSheet
from dyntest.reading.wording import known_as
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.pile_criterion import criterion_of_test_pile

NEAR_BLOWS = 3
"""Blows before and after the representative one that may lend it a stroke [1]: the first of a drive has no time since
the one before, from which a diesel's stroke is known."""


Derive = Callable[..., tuple[DrivingCriterion | None, str]]
"""Gives the driving criterion, or why there is none."""


@dataclass(frozen=True)
class Answers:
    """What waiting changed, and what to tell the inspectors.

    Parameters
    ----------
    required : RequiredResistance
        Required nominal resistance and how it was found.
    setups : tuple of Setup
        Every restrike held against the initial drive.
    time_law : TimeLaw or None
        The law through all drives; None where there are too few.
    fades : dict of str to RestrikeFade
        How resistance changed over a restrike's blows, by the drive's name.
    target : EndOfDriveTarget or None
        Resistance to be shown at the end of driving; None where nothing is required.
    criterion : DrivingCriterion or None
        The driving criterion; None where it could not be derived.
    criterion_problem : str
        Why there is no criterion, and what to do; empty where there is one.
    """

    required: RequiredResistance
    setups: tuple[Setup, ...]
    time_law: TimeLaw | None
    fades: dict[str, RestrikeFade]
    target: EndOfDriveTarget | None
    criterion: DrivingCriterion | None
    criterion_problem: str


def answer(
    sheet: TestSheet,
    drives: tuple[DriveReview, ...],
    limits: DrivingStressLimits,
    derive: Derive = criterion_of_test_pile,
) -> Answers:
    """Answer for a test pile from its reviewed and matched drives."""
    source, system = known_as(sheet.path), sheet.display_units
    required = required_nominal_resistance(sheet.requirement, sheet.choices.verification, system=system, source=source)
    results = [drive_result(sheet, drive) for drive in drives]
    compared = setups(results, soil=sheet.soil.shaft, system=system, source=source)
    fades = {drive.name: fade for drive in drives if (fade := _fade(drive)) is not None}
    target = None
    if required.value is not None:
        target = end_of_drive_target(required.value, compared, credit=sheet.choices.setup_credit, system=system)
    criterion, problem = derive(sheet, drives, compared, target, limits)
    return Answers(required, compared, _law(sheet, results, compared), fades, target, criterion, problem)


def drive_result(sheet: TestSheet, drive: DriveReview) -> DriveResult:
    """Give what a drive says about resistance, as decisions take it."""
    numbers, match = drive.numbers, drive.match
    case = numbers.get("case_resistance_maximum", numbers.get("case_resistance"))
    in_use = (*(sheet.gauges.strain or ()), *(sheet.gauges.acceleration or ()))
    left_out = {*sheet.gauges.leave_out, *sheet.choices.leave_out}
    parts = {}
    if match is not None:
        parts = {name: _estimate(match, name) for name in ("matched_resistance", "shaft_resistance", "toe_resistance")}
    return DriveResult(
        drive.drive,
        case_resistance=None if case is None or case < 0 else exactly(case),
        set_per_blow=numbers.get("set_per_blow", numbers.get("final_displacement")),
        stroke=numbers.get("stroke", _near_stroke(drive)),
        gauges=", ".join(name for name in in_use if name not in left_out),
        **parts,
    )


def _near_stroke(drive: DriveReview) -> float | None:
    """Give the median stroke of the blows around the representative one; None where none is known."""
    if drive.representative is None:
        return None
    near = drive.table[(drive.table["blow"] - drive.representative.blow).abs() <= NEAR_BLOWS]["stroke"].dropna()
    return float(near.median()) if len(near) else None


def _estimate(match, name: str) -> Estimate:
    return Estimate(getattr(match, name), *getattr(match, f"{name}_range"))


def _fade(drive: DriveReview) -> RestrikeFade | None:
    if drive.kind != "restrike":
        return None
    code, sound = fade_basis(drive)
    try:
        return restrike_fade(drive.table[code].to_numpy(), sound)
    except DyntestError:
        return None  # too few sound blows for a line


def fade_basis(drive: DriveReview) -> tuple[str, np.ndarray]:
    """Give which resistance of a restrike's blows shows how it faded, and at which blows."""
    code = "matched_resistance" if drive.every is not None else "case_resistance_maximum"
    if code not in drive.table or drive.table[code].notna().sum() == 0:
        code = "total_resistance"
    rejected = {blow for finding in drive.findings if finding.severity == "reject" for blow in finding.blows}
    return code, ~drive.table["blow"].isin(rejected).to_numpy() & drive.table[code].notna().to_numpy()


def _law(sheet: TestSheet, results: list[DriveResult], compared: tuple[Setup, ...]) -> TimeLaw | None:
    """Give the law through the initial drive and every restrike with a clock."""
    waited = {setup.restrike: setup.wait for setup in compared if setup.wait is not None}
    basis = "matched_resistance" if all(r.matched_resistance for r in results) else "case_resistance"
    times, values = [], []
    initial = [result for result in results if result.drive.kind == "initial"][-1:]
    for result in initial + [result for result in results if result.drive.name in waited]:
        value = getattr(result, basis)
        if value is not None:
            times.append(waited.get(result.drive.name, 0.0))
            values.append(value)
    if len(times) < 2:
        return None
    try:
        return fit_time_law(times, values, reference_time(sheet.soil.shaft)[0])
    except DyntestError:
        return None  # all drives lie before the time from which the law holds
