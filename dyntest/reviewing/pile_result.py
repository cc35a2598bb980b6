"""What is kept of a reviewed test pile for its structure: small plain data that survives being written as JSON."""

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from math import isfinite, log

import numpy as np
from pydantic import TypeAdapter

from dyntest.decisions.combined_criterion import PileCriterion
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.estimate import Estimate
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review

MOST_POINTS = 120
"""Depths at which the resistance along a drive is kept at most [1]."""

NEAR = 0.05
"""Share by which resistance is varied to see how the set follows it [1]."""


@dataclass(frozen=True)
class SetupPoint:
    """What one wait changed at one test pile.

    Parameters
    ----------
    restrike : str
        Name of the restrike.
    wait : float
        Time since the end of the initial drive [s].
    factor : Estimate
        Resistance over that at the end of driving [1].
    matched : bool
        Whether it rests on two fitted matches.
    """

    restrike: str
    wait: float
    factor: Estimate
    matched: bool


@dataclass(frozen=True)
class DriveResistance:
    """Resistance of one drive.

    Parameters
    ----------
    drive, kind : str
        Its name, and ``"initial"`` or ``"restrike"``.
    start : datetime or None
        When it began.
    penetration : float
        Penetration of the toe at its representative blow [m]; not a number where not known.
    resistance : Estimate or None
        Matched resistance [N]; None where it was not matched.
    case_resistance : float
        Maximum Case resistance [N]; not a number where not known.
    energy_ratio, stroke, peak_stress : float
        Of the representative blow: transferred over rated energy [1], stroke [m], stress of the gauge that reads most
        [Pa]; not a number where not known.
    damping_factor : float
        Case damping factor calibrated by matching [1]; not a number where it was not.
    """

    drive: str
    kind: str
    start: datetime | None
    penetration: float
    resistance: Estimate | None
    case_resistance: float
    energy_ratio: float
    stroke: float
    peak_stress: float
    damping_factor: float


@dataclass(frozen=True)
class PileResult:
    """What a structure takes from one of its test piles.

    Parameters
    ----------
    pile : str
        Its mark.
    display_units : str
        ``"SI"`` or ``"US"``, as its sheet asks.
    shaft_soil, toe_soil : str
        As the sheet says; empty where it does not.
    trust : str
        Whether the record can be trusted.
    required_resistance : float or None
        What is asked of every pile [N].
    condition : str
        What the chosen resistance factor asks for; empty where none was chosen.
    drives : tuple of DriveResistance
        In the order of the sheet.
    setups : tuple of SetupPoint
        What each wait changed, where the clocks are known.
    efficiency : float
        Hammer efficiency found by calibration [1]; not a number where none was.
    depth, case_resistance : tuple of float
        Penetration [m] along the initial drive, and maximum Case resistance there [N].
    tip_reinforcement : float
        Length of an attached tip [m].
    criterion : PileCriterion
        What of its criterion is combined with others.
    targets : tuple of EndOfDriveTarget
        Resistance to be shown at the end of driving, where there is one.
    """

    pile: str
    display_units: str
    shaft_soil: str
    toe_soil: str
    trust: str
    required_resistance: float | None
    condition: str
    drives: tuple[DriveResistance, ...]
    setups: tuple[SetupPoint, ...]
    efficiency: float
    depth: tuple[float, ...]
    case_resistance: tuple[float, ...]
    tip_reinforcement: float
    criterion: PileCriterion
    targets: tuple[EndOfDriveTarget, ...]

    @property
    def end_penetration(self) -> float:
        """Penetration of the toe at the end of the initial drive [m]; not a number where not known."""
        return self.depth[-1] if self.depth else float("nan")


def pile_result(review: Review) -> PileResult:
    """Give what a structure takes from a reviewed test pile."""
    sheet, answers = review.sheet, review.answers
    initial = [drive for drive in review.drives if drive.kind == "initial"]
    depth, case = _along(initial[-1]) if initial else ((), ())
    found = answers.criterion
    return PileResult(
        pile=sheet.pile_name,
        display_units=sheet.display_units,
        shaft_soil=sheet.soil.shaft or "",
        toe_soil=sheet.soil.toe or "",
        trust=review.trust.answer,
        required_resistance=answers.required.value,
        condition=answers.required.condition,
        drives=tuple(_drive(drive) for drive in review.drives),
        setups=tuple(
            SetupPoint(setup.restrike, setup.wait, setup.setup_factor, setup.matched)
            for setup in answers.setups
            if setup.wait is not None and setup.setup_factor is not None
        ),
        efficiency=_number(None if found is None else found.calibrated.hammer.efficiency),
        depth=depth,
        case_resistance=case,
        tip_reinforcement=sheet.pile.tip_reinforcement or 0.0,
        criterion=_criterion(review, found),
        targets=() if answers.target is None else (answers.target,),
    )


def _criterion(review: Review, found: DrivingCriterion | None) -> PileCriterion:
    """Give what of a criterion is combined; its target is kept beside it, so that each has its own type."""
    sheet, problem = review.sheet, review.answers.criterion_problem
    hammer = sheet.hammer
    kind, mass = ("", float("nan")) if hammer is None else (hammer.kind, hammer.ram_mass)
    held = None if found is None or found.criterion is None else replace(found.criterion, targets=())
    if found is not None and found.criterion is None and problem is None and found.alerts:
        problem = found.alerts[0]
    return PileCriterion(
        sheet.pile_name, held, sheet.pile.material, sheet.pile.impedance, kind, mass, _set_deviation(found), problem
    )


def _set_deviation(found: DrivingCriterion | None) -> float:
    """Give the standard deviation of the logarithm of the set asked for, from that of the target [1].

    The bearing graph tells how the set follows resistance: ``σ_s = |d ln s / d ln R| σ_R``.
    """
    if found is None:
        return float("nan")
    target, graph = found.target, found.graph
    middle = int(np.abs(graph.stroke - found.calibrated.stroke).argmin())
    near = target.value * np.array([1.0 - NEAR, 1.0 + NEAR])
    if not graph.resistance[0] <= near[0] < near[1] <= graph.resistance[-1]:
        return float("nan")
    sets = np.interp(near, graph.resistance, graph.blows.set_per_blow[middle])
    if not (sets > 0.0).all():
        return float("nan")
    slope = log(sets[1] / sets[0]) / log(near[1] / near[0])
    return abs(slope) * target.deviation


def _drive(drive: DriveReview) -> DriveResistance:
    numbers, match = drive.numbers, drive.match
    resistance = None
    if match is not None:
        low, high = match.matched_resistance_range
        resistance = Estimate(match.matched_resistance, low, high)
    return DriveResistance(
        drive=drive.name,
        kind=drive.kind,
        start=drive.drive.start,
        penetration=_number(numbers.get("penetration")),
        resistance=resistance,
        case_resistance=_number(numbers.get("case_resistance_maximum")),
        energy_ratio=_number(numbers.get("energy_ratio")),
        stroke=_number(numbers.get("stroke")),
        peak_stress=_number(numbers.get("peak_gauge_stress")),
        damping_factor=_number(drive.calibrated_damping_factor),
    )


def _along(drive: DriveReview) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Give penetration [m] and maximum Case resistance [N] along a drive, thinned."""
    names = ("penetration", "case_resistance_maximum")
    if any(name not in drive.table for name in names):
        return (), ()
    known = drive.table[list(names)].dropna()
    rows = np.unique(np.linspace(0, len(known) - 1, min(len(known), MOST_POINTS)).round().astype(int))
    depth, case = (known[name].to_numpy(dtype=float)[rows] for name in names)
    return tuple(depth.tolist()), tuple(case.tolist())


def _number(value: float | None) -> float:
    return float("nan") if value is None or not isfinite(value) else float(value)


@cache
def _adapter() -> TypeAdapter[PileResult]:
    return TypeAdapter(PileResult)


def as_plain(result: PileResult) -> dict:
    """Give a result as plain values for JSON, numbers that are none included."""
    return _adapter().dump_python(result, mode="json")


def from_plain(kept: object) -> PileResult:
    """Give a result back from `as_plain`; raise ``ValueError`` where something is missing or of another kind."""
    return _adapter().validate_python(kept)
