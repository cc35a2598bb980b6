"""`summary.json`: the answers for other programs, in SI, each number under its name."""

import json
import math
from dataclasses import asdict

from dyntest.conditioning.findings import Finding
from dyntest.decisions.criterion import Criterion, EasyDriving, RestrikeRule
from dyntest.decisions.setup import Setup
from dyntest.decisions.time_law import RestrikeFade, TimeLaw
from dyntest.decisions.trust import Caution
from dyntest.names import NAMES
from dyntest.presenting.criterion_words import requirement_words, target_sentence
from dyntest.presenting.decision_words import ruled_out_words, told
from dyntest.presenting.finding_words import RULES, choice_reasons, finding_cure, finding_message
from dyntest.presenting.tables import DIGITS
from dyntest.reviewing.answers import Answers
from dyntest.reviewing.drive import MATCHED, DriveReview
from dyntest.reviewing.review import Review
from dyntest.reviewing.stresses import DrivingStress

FORMAT = 1
"""Raised when a reader of the file would have to change."""


def summary(review: Review) -> dict:
    """Give the answers as plain data, ready for JSON."""
    drives = [_drive(drive, review.sheet.display_units) for drive in review.drives]
    used = {code for drive in drives for code in drive["representative"] or () if code in NAMES}
    return {
        "format": FORMAT,
        "pile": review.sheet.pile_name,
        "dyntest": review.version,
        "inputs": review.inputs,
        "units": {code: name.unit for code, name in NAMES.items() if code in used},
        "trust": {"answer": review.trust.answer, "reasons": list(review.trust.reasons)},
        "stresses": [_stress(stress) for stress in review.answers.stresses],
        "drives": drives,
        "setup": _setup(review.answers, review.sheet.display_units),
        "criterion": _criterion(review.answers, review.sheet.display_units),
        "required": _required(review.answers, review.sheet.display_units),
    }


def summary_json(review: Review) -> bytes:
    """Give the content of `summary.json`, the same bytes for the same review."""
    return (json.dumps(summary(review), indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def number(value: float | None) -> float | int | None:
    """Give a number as JSON can hold it, with the digits of the CSV.

    Examples
    --------
    >>> number(1 / 3), number(float("nan")), number(7.0)
    (0.333333333, None, 7.0)
    """
    if value is None or not math.isfinite(value):
        return None
    return int(value) if isinstance(value, int) else float(f"{value:.{DIGITS}g}")


def _drive(drive: DriveReview, system: str) -> dict:
    return {
        "name": drive.name,
        "kind": drive.kind,
        "blows": len(drive.table),
        "representative": _representative(drive, system),
        "findings": [_finding(finding, system) for finding in drive.findings],
    }


def _representative(drive: DriveReview, system: str) -> dict | None:
    chosen = drive.representative
    if chosen is None:
        return None
    values = {code: number(value) for code, value in drive.numbers.items()}
    return {
        **values,
        **_match(drive),
        "blow": chosen.blow,
        "lower_bound": drive.lower_bound,
        "rule": RULES[chosen.rule],
        "reasons": choice_reasons(chosen, system),
    }


def _match(drive: DriveReview) -> dict:
    match = drive.match
    if match is None:
        return {"match_problem": drive.match_problem} if drive.match_problem else {}
    ranges = {f"{name}_range": [number(end) for end in getattr(match, f"{name}_range")] for name in MATCHED[:3]}
    section = match.section
    return {
        **ranges,
        "matched_set": number(match.matched_set),
        "soil_law": match.law,
        "damping_form": match.damping_form,
        "law_weights": {", ".join(law): number(weight) for law, weight in match.law_weights.items()},
        "blows_matched_together": len(match.problem.blows),
        "shaft_lost_per_blow": number(match.fade),
        "gauges": {name: [number(value) for value in pair] for name, pair in asdict(match.calibration).items()},
        "residual_stress": _residual_stress(match),
        "fitted": match.fitted,
        "shaft_and_toe_separated": match.separable,
        "fully_mobilised": match.fully_mobilised,
        "calibrated_damping_factor": number(drive.calibrated_damping_factor),
        "reduced_section": None
        if section is None
        else {
            "depth": number(section.depth),
            "length": number(section.length),
            "section_left": number(section.section_left),
        },
    }


def _residual_stress(match) -> dict | None:
    change = match.stress
    if change is None:
        return None
    return {
        "weight": number(match.weight_of_stress),
        "toe_force": number(change.toe_force),
        "ratio_of_total_shaft_toe": [number(ratio) for ratio in change.ratio],
        "misfit": number(change.misfit),
        "misfit_without": number(change.misfit_without),
    }


def _estimate(estimate) -> dict | None:
    if estimate is None:
        return None
    return {"value": number(estimate.value), "range": [number(estimate.low), number(estimate.high)]}


def _setup(answers: Answers, system: str) -> dict | None:
    """Every restrike, and in front the last one's factor, which is for the longest wait."""
    if not answers.setups:
        return None
    last = answers.setups[-1].setup_factor
    return {
        "setup_factor": None if last is None else number(last.value),
        "restrikes": [
            {
                "initial": setup.initial,
                "restrike": setup.restrike,
                "wait": number(setup.wait),
                "basis": setup.basis,
                "factors": {name: _estimate(factor) for name, factor in setup.factors.items()},
                "fade": _fade(answers.fades.get(setup.restrike)),
                "matched": setup.matched,
                "lower_bounds": [name for name, bound in _bounds(setup) if bound],
                "inconclusive": setup.inconclusive,
                "cautions": [_caution(caution, system) for caution in setup.cautions],
            }
            for setup in answers.setups
        ],
        "time_law": _time_law(answers.time_law),
    }


def _bounds(setup: Setup) -> tuple[tuple[str, bool], ...]:
    return (setup.initial, setup.initial_bound), (setup.restrike, setup.restrike_bound)


def _fade(fade: RestrikeFade | None) -> dict | None:
    if fade is None:
        return None
    return {
        "first_resistance": number(fade.first_resistance),
        "last_resistance": number(fade.last_resistance),
        "blows": fade.blows,
        "beyond_scatter": fade.fades,
    }


def _time_law(law: TimeLaw | None) -> dict | None:
    if law is None:
        return None
    return {
        "reference_time": number(law.reference_time),
        "reference_resistance": _estimate(law.reference_resistance),
        "rate": _estimate(law.rate),
        "basis": law.basis,
        "published_rate": number(law.published_rate),
    }


def _criterion(answers: Answers, system: str) -> dict | None:
    """Give the criterion; what forbids its use comes first, and a row that cannot be used says why."""
    found = answers.criterion
    if found is None:
        problem = answers.criterion_problem
        return None if problem is None else {"problem": told(problem, system).sentence, "kind": problem.kind}
    held = found.criterion
    return {
        "alerts": [_caution(caution, system) for caution in found.alerts],
        "agrees_with_measured_blows": found.agrees,
        "required_resistance": number(found.target.required),
        "end_of_drive_resistance": number(found.target.value),
        "end_of_drive_resistance_with_credit": number(found.target.with_credit),
        "kind": found.target.kind,
        "how": target_sentence(found.target, system),
        "deviation": number(found.target.deviation),
        "rows": [
            {
                "stroke": number(row.stroke),
                "blows_per_25mm": number(0.025 / row.set_per_blow),
                "set_per_blow": number(row.set_per_blow),
                "blows_in_holding_length": row.count,
                "chance_short": number(row.short),
                "chance_driven_on": number(row.driven_on),
                "compression_stress": number(row.compression_stress),
                "mean_compression_stress": number(row.mean_stress),
                "tension_stress": number(row.tension_stress),
                "transferred_energy": number(row.transferred_energy),
                "ruled_out": ruled_out_words(row.ruled_out, system) or None,
            }
            for row in found.rows
        ],
        "holding_length": None if held is None else number(held.holding_length),
        "count": None if held is None else held.way,
        "easy_driving": [] if held is None else [_easy(limit) for limit in held.easy_driving],
        "minimum_penetration": None if held is None else number(held.minimum_penetration),
        "refusal": None if held is None else _refusal(held),
        "restrike": None if held is None or held.restrike is None else _restrike(held.restrike),
        "graph_resistance_of_measured_blows": number(found.graph_resistance),
        "graph_shift": number(found.shift),
        "bending": number(found.bending),
        "formulas": [
            {"formula": one.formula, "resistance": number(one.resistance), "source": one.source}
            for one in found.formulas
        ],
        "hammer": {
            "efficiency": number(found.calibrated.hammer.efficiency),
            "calibrated_cushion": found.calibrated.cushion,
            "force_ratio": number(found.calibrated.force_ratio),
            "energy_ratio": number(found.calibrated.energy_ratio),
            "set_ratio": number(found.calibrated.set_ratio),
            "residual_ratio": number(found.calibrated.residual_ratio),
        },
        "cautions": [_caution(caution, system) for caution in found.cautions],
    }


def _refusal(held: Criterion) -> dict:
    return {
        "set_per_blow": number(held.refusal_set),
        "length": number(held.refusal_length),
        "least_stroke": number(held.refusal_stroke),
    }


def _restrike(rule: RestrikeRule) -> dict:
    return {
        "measured_change": rule.change,
        "stop_penetration": number(rule.stop_penetration),
        "wait": number(rule.wait),
        "resistance": number(rule.resistance),
        "judged_length": number(rule.judged_length),
        "most_length": number(rule.most_length),
        "rows": [{"stroke": number(row.stroke), "set_per_blow": number(row.set_per_blow)} for row in rule.rows],
    }


def _easy(limit: EasyDriving) -> dict:
    return {
        "stress": limit.kind,
        "stroke": number(limit.stroke),
        "set_per_blow": number(limit.set_per_blow),
        "measured_blows": limit.blows,
        "penetration": [number(limit.depth_from), number(limit.depth_to)],
    }


def _required(answers: Answers, system: str) -> dict | None:
    required = answers.required
    if required.value is None:
        return None
    return {
        "value": number(required.value),
        "basis": required.basis,
        "factor": number(required.factor),
        "additions": {name: number(value) for name, value in required.additions.items()},
        "how": requirement_words(required, system),
        "cautions": [_caution(caution, system) for caution in required.cautions],
    }


def _stress(stress: DrivingStress) -> dict:
    return {
        "sense": stress.sense,
        "drive": stress.drive,
        "blow": stress.blow,
        "value": number(stress.value),
        "range": [number(stress.low), number(stress.high)],
        "depth": number(stress.depth),
        "limit": number(stress.limit),
        "matched": stress.matched,
        "ratio": number(stress.ratio),
    }


def _caution(caution: Caution, system: str) -> dict:
    words = told(caution, system)
    return {"check": words.check, "message": words.message, "cure": words.cure}


def _finding(finding: Finding, system: str) -> dict:
    return {
        "check": finding.check,
        "severity": finding.severity,
        "blows": [int(blow) for blow in finding.blows],
        "value": number(float(finding.value)),
        "threshold": number(float(finding.threshold)),
        "message": finding_message(finding, system),
        "cure": finding_cure(finding, system),
    }
