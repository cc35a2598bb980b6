"""The driving criterion of a reviewed test pile: gathers from its drives what the criterion is derived from."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from dyntest.decisions.criterion import COUNTING, WAYS, EasyDriving
from dyntest.decisions.driving_criterion import (
    DrivingCriterion,
    MeasuredBlows,
    bearing_graph_of,
    driving_criterion,
    restrike_rows,
)
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.restrikes import restrike_rule
from dyntest.decisions.setup import Setup
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.decisions.trust import Caution
from dyntest.hammer import Hammer
from dyntest.processes import Errand, Errands
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.drive import DriveReview, without_records
from dyntest.reviewing.drive_match import struck_blows
from dyntest.reviewing.stresses import driving_stresses
from dyntest.wave_equation.bearing_graph import CalibratedHammer, calibrate_hammer

LAST_BLOWS = 20
"""Blows of the end of the initial drive that are compared with the bearing graph [1]; our choice."""

CASE_AGREEMENT = 0.15
"""Share by which the Case resistance with the engineer's damping factor may differ from the matched one [1]; common
practice, no source."""

COUNT_AGREEMENT = 0.02
"""Share by which the recorded blows may differ from the log's before count and set disagree [1]; no source."""


class HammerCalibrations:
    """The hammer as it worked at the end of the initial drive and at the last restrike, by whoever has time first."""

    def __init__(self, among: Errands):
        self.among = among
        self.begun: dict[str, Errand] = {}

    def begin_where_needed(self, matched: DriveReview, drives: Sequence[DriveReview]) -> None:
        """Begin on a matched drive that the criterion will be taken from."""
        last = {drive.kind: drive for drive in drives}
        if matched.match is None or matched.drive.hammer is None or matched.name != last[matched.kind].name:
            return
        initial = last.get("initial")
        if matched.kind == "initial":
            self.begin(matched)
        elif initial is not None and initial.drive.hammer == matched.drive.hammer:
            self.begin(matched, initial)

    def begin(self, drive: DriveReview, initial: DriveReview | None = None) -> None:
        """Begin on a drive; a blow without a stroke takes that of those near it, or of the initial drive."""
        if drive.name not in self.begun:
            stroke = float("nan") if initial is None else initial.numbers.get("stroke", float("nan"))
            near = near_stroke(drive)
            self.begun[drive.name] = self.among.add(
                _calibrated, without_records(drive), stroke if near is None else near
            )

    def of(self, drive: DriveReview) -> tuple[CalibratedHammer | None, Caution | None]:
        """Give the hammer of a drive that was begun on, or the reason why there is none."""
        return self.begun[drive.name].result()


def criterion_of_test_pile(
    sheet: TestSheet,
    drives: Sequence[DriveReview],
    compared: Sequence[Setup],
    target: EndOfDriveTarget | None,
    limits: DrivingStressLimits,
    hammers: HammerCalibrations | None = None,
) -> tuple[DrivingCriterion | None, Caution | None]:
    """Derive the driving criterion from the last initial drive and the restrikes, or say why there is none.

    The hammer of the restrike is calibrated by others, where there are any, while that of the initial drive is here.
    """
    initial = [drive for drive in drives if drive.kind == "initial"]
    needed = {"needed": hammer_needs(initial[-1].drive.hammer if initial else sheet.hammer, sheet.pile.material)}
    if target is None:
        return None, Caution("no requirement", facts=needed)
    if not initial:
        return None, Caution("no initial drive")
    drive = initial[-1]
    if drive.match is None:
        return None, Caution("no matched soil", facts={"why": drive.match_problem})
    if drive.drive.hammer is None:
        return None, Caution("no hammer", facts=needed)
    if needed["needed"]:
        return None, Caution("hammer data missing", facts=needed)
    mismatch = _log_mismatch(drive)
    if mismatch is not None:
        return None, mismatch
    counting = COUNTING[sheet.display_units]
    measured = measured_blows(drive.table)
    hammers = HammerCalibrations(Errands(None)) if hammers is None else hammers
    restruck = _restruck(drive, drives, compared)
    if restruck is not None:
        hammers.begin(restruck, drive)
    hammers.begin(drive)
    calibrated, problem = hammers.of(drive)
    if calibrated is None:
        return None, problem
    graph = hammers.among.add(bearing_graph_of, drive.match, calibrated, target, measured)
    rows = None if restruck is None else _rows_after_wait(restruck, target, measured, limits, sheet, hammers)
    depth = drive.end_penetration
    shown = () if rows is None else rows.result()
    least = sheet.requirement.minimum_penetration
    begun = drive.drive.penetration_at_start
    surely = begun if depth is None and begun is not None and begun >= (least or 0.0) else depth
    found = driving_criterion(
        drive.match,
        calibrated,
        target,
        measured,
        limits=limits,
        minimum_penetration=least,
        penetration=surely,
        restrike=restrike_rule(target.required, compared, depth, shown, minimum_penetration=least, counting=counting),
        doubts=serious_doubts(drive),
        counting=counting,
        way=sheet.requirement.count or WAYS[0],
        graph=graph.result(),
    )
    return with_measured_stresses(found, drive, limits), None


NO_CUSHION = "none"
"""What the sheet says of the pile cushion of a concrete pile that is driven without one."""


def hammer_needs(hammer: Hammer | None, material: str) -> tuple[str, ...]:
    """Give the keys of [hammer] that the hammer model lacks.

    A concrete pile has a cushion on its head unless the sheet says that it has none: left out of the model, it would
    make every driving stress of the criterion another hammer's.

    Examples
    --------
    >>> hammer_needs(Hammer("drop", 3000.0, helmet_mass=500.0, hammer_cushion_stiffness=1e9), "concrete")
    ('pile_cushion_stiffness',)
    """
    found: dict[str, float | None]
    if hammer is None:
        found = {"kind": None, "ram_weight": None, "helmet_mass": None, "hammer_cushion_stiffness": None}
    else:
        found = {"helmet_mass": hammer.helmet_mass, "hammer_cushion_stiffness": hammer.hammer_cushion_stiffness}
    if material == "concrete" and (hammer is None or hammer.pile_cushion.strip().casefold() != NO_CUSHION):
        found["pile_cushion_stiffness"] = None if hammer is None else hammer.pile_cushion_stiffness
    return tuple(name for name, value in found.items() if value is None)


def measured_blows(table: pd.DataFrame) -> MeasuredBlows:
    """Give the last blows of a drive as the criterion compares them with the bearing graph."""
    last = table.tail(LAST_BLOWS)

    def column(name: str) -> np.ndarray:
        return last[name].to_numpy(dtype=float) if name in last else np.full(len(last), np.nan)

    bending = column("peak_gauge_stress") / column("peak_compression_stress")
    energy, moved = column("transferred_energy"), column("peak_displacement")
    return MeasuredBlows(column("stroke"), column("set_per_blow"), energy, moved, bending)


def _calibrated(drive: DriveReview, near_stroke: float) -> tuple[CalibratedHammer | None, Caution | None]:
    """Give the hammer as calibrated at the representative blow of a drive.

    Units: near_stroke [m], where the blow has none of its own.
    """
    numbers = drive.numbers
    stroke = numbers.get("stroke", near_stroke)
    if drive.match is None or drive.drive.hammer is None:
        return None, Caution("no matched soil", facts={"why": drive.match_problem})
    try:
        force, energy = numbers["peak_force"], numbers["transferred_energy"]
        blows = struck_blows(drive)
        return calibrate_hammer(drive.match, drive.drive.hammer, stroke, force, energy, blows), None
    except (ValueError, KeyError) as problem:
        return None, Caution("hammer not calibrated", facts={"why": str(problem)})


def _restruck(initial: DriveReview, drives: Sequence[DriveReview], compared: Sequence[Setup]) -> DriveReview | None:
    """Give the last matched restrike that is compared with the initial drive, if driven by the same hammer."""
    names = [setup.restrike for setup in compared]
    later = [drive for drive in drives if drive.name in names and drive.match is not None]
    return later[-1] if later and later[-1].drive.hammer == initial.drive.hammer else None


def _rows_after_wait(
    drive: DriveReview,
    target: EndOfDriveTarget,
    measured: MeasuredBlows,
    limits: DrivingStressLimits,
    sheet: TestSheet,
    hammers: HammerCalibrations,
) -> Errand | None:
    """Begin on the sets that show the requirement at a restrike, from the soil and the energy of that one."""
    again, _ = hammers.of(drive)
    if again is None or drive.match is None:
        return None
    counting = COUNTING[sheet.display_units]
    return hammers.among.add(restrike_rows, drive.match, again, target.required, measured, limits, counting)


NEAR_BLOWS = 3
"""Blows before and after the representative one that may lend it a stroke [1]: the first of a drive has no time since
the one before, from which a diesel's stroke is known."""


def near_stroke(drive: DriveReview) -> float | None:
    """Give the median stroke of the blows around the representative one; None where none is known.

    Units: returns [m].
    """
    if drive.representative is None or "stroke" not in drive.table:
        return None
    near = drive.table[(drive.table["blow"] - drive.representative.blow).abs() <= NEAR_BLOWS]["stroke"].dropna()
    return float(near.median()) if len(near) else None


def _log_mismatch(drive: DriveReview) -> Caution | None:
    """Caution where the recorded blows and the log's count disagree, so that no set is certain."""
    for finding in drive.findings:
        counted = finding.check == "log count" and finding.severity != "note"
        if counted and abs(finding.value - finding.threshold) > COUNT_AGREEMENT * max(finding.threshold, 1.0):
            return Caution("count and set disagree", finding.value, finding.threshold, {"drive": drive.name})
    return None


def serious_doubts(drive: DriveReview) -> tuple[Caution, ...]:
    """Say what is wrong with the test pile or its record where the criterion is taken from, a fitted section first."""
    found = []
    match, chosen = drive.match, drive.representative
    if chosen is None or match is None:
        return ()
    if match.section is not None:
        facts = {"depth": match.section.depth, "length": match.section.length}
        found.append(Caution("reduced section", match.section.section_left, 1.0, facts))
    factor = drive.numbers.get("integrity_factor")
    if any(f.check == "integrity" and f.severity != "note" and chosen.blow in f.blows for f in drive.findings):
        found.append(Caution("damage", factor, None, {"depth": drive.numbers.get("integrity_depth")}))
    if chosen.lower_bound:
        found.append(Caution("lower bound"))
    if drive.trust.answer == "no":
        found.append(Caution("record", facts={"reasons": drive.trust.reasons}))
    against = case_against_match(drive)
    if against is not None and drive.damping_source == "engineer":
        found.append(against)
    return tuple(found)


def case_against_match(drive: DriveReview) -> Caution | None:
    """Caution where the Case resistance of the representative blow is far from the matched one."""
    if drive.match is None or not drive.match.fitted:
        return None
    case = drive.numbers.get("case_resistance_maximum", drive.numbers.get("case_resistance"))
    if case is None:
        return None
    share = case / drive.match.matched_resistance - 1.0
    if abs(share) <= CASE_AGREEMENT:
        return None
    facts = {
        "drive": drive.name,
        "case": case,
        "matched": drive.match.matched_resistance,
        "factor": drive.numbers.get("damping_factor_maximum", drive.numbers.get("damping_factor")),
        "calibrated": drive.calibrated_damping_factor,
        "source": drive.damping_source,
    }
    return Caution("Case against match", share, CASE_AGREEMENT, facts)


def with_measured_stresses(
    found: DrivingCriterion, drive: DriveReview, limits: DrivingStressLimits
) -> DrivingCriterion:
    """Add where measured blows passed a stress limit before the end of driving, as a limit of the stroke there."""
    if found.criterion is None:
        return found
    ratios = {one.sense: one.ratio if one.matched else 1.0 for one in driving_stresses([drive], limits)}
    table = drive.table
    added = []
    for sense, code in (("tension", "peak_tension_stress"), ("compression", "peak_gauge_stress")):
        limit = getattr(limits, sense).value
        if limit is None or code not in table or "stroke" not in table:
            continue
        stress = table[code] * (ratios.get(sense, 1.0) if sense == "tension" else 1.0)
        over = table[(stress > limit) & table["set_per_blow"].notna() & table["stroke"].notna()]
        easy = over[over["set_per_blow"] > max(row.set_per_blow for row in found.criterion.rows)]
        if easy.empty:
            continue
        allowed = [row.stroke for row in found.criterion.rows if row.stroke < float(easy["stroke"].min())]
        stroke = max(allowed) if allowed else float(easy["stroke"].min())
        ends = (float(easy["penetration"].min()), float(easy["penetration"].max()))
        added.append(EasyDriving(stroke, float(easy["set_per_blow"].min()), sense, *ends, len(easy)))
    if not added:
        return found
    criterion = replace(found.criterion, easy_driving=(*found.criterion.easy_driving, *added))
    return replace(found, criterion=criterion)
