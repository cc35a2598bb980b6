"""What all drives of a test pile answer together: stresses, what waiting changed, and the driving criterion."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget, end_of_drive_target
from dyntest.decisions.estimate import Estimate, exactly
from dyntest.decisions.resistance_factors import (
    EUROCODE,
    ROUTE,
    RequiredResistance,
    driving_requirement,
    required_nominal_resistance,
)
from dyntest.decisions.setup import DriveResult, Setup, setups
from dyntest.decisions.stress_limits import MATERIAL_CODE, DrivingStressLimits
from dyntest.decisions.time_law import RestrikeFade, TimeLaw, fit_time_law, restrike_fade
from dyntest.decisions.trust import Caution
from dyntest.errors import DyntestError
from dyntest.quantities.case_resistance import case_resistance_maximum
from dyntest.reading.parts import TestSheet
from dyntest.reading.wording import known_as
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.pile_criterion import case_against_match, criterion_of_test_pile, near_stroke
from dyntest.reviewing.stresses import DrivingStress, driving_stresses
from dyntest.wave_equation.match_results import setup_change, shaft_distribution
from dyntest.wave_equation.matching import Match

DAMPING_UNCERTAINTY = 0.2
"""How far the Case damping factor may be from the one that was chosen [1], for the range of a setup factor that rests
on the Case method alone; about the width of the usual range for one soil, common practice, no source."""

Derive = Callable[..., tuple[DrivingCriterion | None, Caution | None]]
"""Gives the driving criterion, or why there is none."""


@dataclass(frozen=True)
class Answers:
    """What waiting changed, and what to tell the inspectors.

    Parameters
    ----------
    required : RequiredResistance
        Required nominal resistance and how it was found.
    setups : tuple of Setup
        Every restrike compared with the initial drive.
    time_law : TimeLaw or None
        The law through all drives; None where there is nothing to say.
    fades : dict of str to RestrikeFade
        How resistance changed over a restrike's blows, by the drive's name.
    target : EndOfDriveTarget or None
        Resistance to be shown at the end of driving; None where nothing is required.
    criterion : DrivingCriterion or None
        The driving criterion; None where it could not be derived.
    criterion_problem : Caution or None
        Why there is no criterion; None where there is one.
    stresses : tuple of DrivingStress
        Greatest stress of each sense in every drive.
    case_against_match : tuple of Caution
        Drives whose Case resistance is far from the matched one.
    """

    required: RequiredResistance
    setups: tuple[Setup, ...]
    time_law: TimeLaw | None
    fades: dict[str, RestrikeFade]
    target: EndOfDriveTarget | None
    criterion: DrivingCriterion | None
    criterion_problem: Caution | None
    stresses: tuple[DrivingStress, ...] = ()
    case_against_match: tuple[Caution, ...] = ()


def answer_questions(
    sheet: TestSheet,
    drives: tuple[DriveReview, ...],
    limits: DrivingStressLimits,
    derive: Derive = criterion_of_test_pile,
) -> Answers:
    """Answer for a test pile from its reviewed and matched drives."""
    source = known_as(sheet.path)
    results = _with_changes(drives, [drive_result(sheet, drive) for drive in drives])
    compared = setups(results, soil=sheet.soil.shaft, source=source)
    required = _with_code_of_limits(required_of(sheet, drives), limits, sheet.choices.verification)
    fades = {drive.name: fade for drive in drives if (fade := _fade(drive)) is not None}
    target = None
    if required.value is not None:
        ends = [result.matched_resistance for result in results if result.drive.kind == "initial"]
        matched = ends[-1] if ends else None
        target = end_of_drive_target(required.value, compared, credit=sheet.choices.setup_credit, matched=matched)
    criterion, problem = derive(sheet, drives, compared, target, limits)
    target = target if criterion is None else criterion.target
    against = tuple(found for drive in drives if (found := case_against_match(drive)) is not None)
    law = _law(sheet, results, compared)
    stresses = driving_stresses(drives, limits)
    return Answers(required, compared, law, fades, target, criterion, problem, stresses, against)


def required_of(sheet: TestSheet, drives: tuple[DriveReview, ...]) -> RequiredResistance:
    """Give the required nominal resistance, which drives change only by their matches."""
    return driving_requirement(
        required_nominal_resistance(sheet.requirement, sheet.choices.verification, source=known_as(sheet.path)),
        sheet.requirement,
        _shaft_above_scour(sheet, drives),
        verification=sheet.choices.verification,
        restruck=any(drive.kind == "restrike" and drive.match is not None for drive in drives),
    )


def _with_code_of_limits(
    required: RequiredResistance, limits: DrivingStressLimits, verification: str | None
) -> RequiredResistance:
    """Add a caution where the resistance is verified by the Eurocode, and the stress limits are of another code."""
    foreign = [one for one in (limits.compression, limits.tension) if one.source.startswith(MATERIAL_CODE)]
    if not foreign or ROUTE.fullmatch(verification or "") is None:
        return required
    facts = {"limits": MATERIAL_CODE, "factor": EUROCODE.partition(":")[0]}
    caution = Caution("stress limits of another code", facts=facts)
    return replace(required, cautions=(*required.cautions, caution))


def _shaft_above_scour(sheet: TestSheet, drives: tuple[DriveReview, ...]) -> float | None:
    """Give the matched shaft resistance of the soil that scour will take, at the last matched drive.

    Units: returns [N].
    """
    depth = sheet.requirement.scour_depth
    matched = [drive.match for drive in drives if drive.match is not None]
    if not depth or not matched:
        return None
    blow = matched[-1].problem.blow
    along = shaft_distribution(matched[-1])
    ground = blow.pile.length - min(blow.embedded, blow.pile.length)  # below the gauges
    above = np.clip(ground + depth - along.top, 0.0, along.bottom - along.top) / (along.bottom - along.top)
    return float(np.sum(above * along.resistance))


def drive_result(sheet: TestSheet, drive: DriveReview) -> DriveResult:
    """Give what a drive says about resistance, as decisions take it."""
    numbers, match = drive.numbers, drive.match
    in_use = (*(sheet.gauges.strain or ()), *(sheet.gauges.acceleration or ()))
    left_out = {*sheet.gauges.leave_out, *sheet.choices.leave_out}
    case, by_damping = _case(drive)
    stroke, moved = numbers.get("stroke"), numbers.get("set_per_blow", numbers.get("final_displacement"))
    return DriveResult(
        drive.drive,
        matched_resistance=None if match is None else _estimate(match, "matched_resistance"),
        case_resistance_maximum=case,
        shaft_resistance=None if match is None else _estimate(match, "shaft_resistance"),
        toe_resistance=None if match is None else _estimate(match, "toe_resistance"),
        set_per_blow=None if moved is None else max(moved, 0.0),  # drift alone ends below zero
        stroke=near_stroke(drive) if stroke is None else stroke,
        gauges=", ".join(name for name in in_use if name not in left_out),
        fitted=match is not None and match.fitted,
        lower_bound=drive.lower_bound,
        case_by_damping=by_damping,
    )


def _with_changes(drives: tuple[DriveReview, ...], results: list[DriveResult]) -> list[DriveResult]:
    """Give the results with what each restrike's match and that of the end of driving say together of the change."""
    initial = [drive for drive in drives if drive.kind == "initial"][-1:]
    before = initial[0].match if initial else None
    if before is None:
        return results
    return [
        replace(result, changes=_changes(before, drive.match))
        if drive.kind == "restrike" and drive.match is not None
        else result
        for drive, result in zip(drives, results, strict=True)
    ]


def _changes(before: Match, after: Match) -> dict[str, Estimate]:
    """Give the ratios of total, shaft and toe from both matches at once [1]."""
    found = setup_change(before, after)
    parts = {"matched_resistance": found.total, "shaft_resistance": found.shaft, "toe_resistance": found.toe}
    return {name: Estimate(one.value, one.low, one.high, one.log_deviation) for name, one in parts.items()}


def _case(drive: DriveReview) -> tuple[Estimate | None, tuple[float, ...]]:
    """Give the Case resistance, largest over time, with the range that the damping factor leaves.

    Units: returns [N].
    """
    value, factor = drive.numbers.get("case_resistance_maximum"), drive.numbers.get("damping_factor_maximum")
    if value is None or value < 0.0:
        return None, ()
    waves = drive.waves
    if waves is None or factor is None:
        return exactly(value), ()
    factors = np.clip(factor + DAMPING_UNCERTAINTY * np.array([-1.0, -0.5, 0.5, 1.0]), 0.0, None)
    record = (waves.down, waves.up, waves.first_peak, waves.return_time, waves.time_step)
    by_damping = tuple(float(case_resistance_maximum(*record, float(one))[0]) for one in factors)
    known = [max(one, 0.0) for one in (value, *by_damping)]
    return Estimate(value, min(known), max(known)), by_damping


def _estimate(match: Match, name: str) -> Estimate:
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
    """Give the law through the initial drive and every restrike with a clock, by the shaft where separated.

    Drives whose resistance is a lower bound are left out.
    """
    waited = {setup.restrike: setup.wait for setup in compared if setup.wait is not None}
    initial = [result for result in results if result.drive.kind == "initial"][-1:]
    drives = initial + [result for result in results if result.drive.name in waited and not result.lower_bound]
    if any(result.lower_bound for result in initial):
        return None  # every ratio to it would be too high
    for basis in ("shaft_resistance", "matched_resistance"):
        values = [getattr(result, basis) for result in drives]
        if any(value is None or value.value <= 0.0 for value in values) or not all(r.fitted for r in drives):
            continue
        if basis == "shaft_resistance" and any(value.log_deviation > SEPARATED for value in values):
            continue
        try:
            law = fit_time_law([waited.get(r.drive.name, 0.0) or 0.0 for r in drives], values, sheet.soil.shaft, basis)
        except DyntestError:
            continue  # no restrike lies later than the initial drive
        if law.says_something:
            return law
    return None


SEPARATED = 0.10
"""Standard deviation of the logarithm of a shaft resistance up to which it counts as told apart from the toe [1]; our
choice."""
