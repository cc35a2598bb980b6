"""`summary.json`: the answers for other programs, in SI, each number under its name."""

import json
import math

from dyntest.conditioning.check import Finding
from dyntest.names import NAMES
from dyntest.presenting.tables import DIGITS
from dyntest.review import DriveReview, Review

FORMAT = 1
"""Raised when a reader of the file would have to change."""


def summary(review: Review) -> dict:
    """Give the answers as plain data, ready for JSON.

    Parameters
    ----------
    review : Review
        The reviewed test.

    Returns
    -------
    dict
        Lists, texts and numbers [SI unit under `units`]; a number that does not exist is None, and what was not
        worked out is not there.
    """
    drives = [_drive(drive) for drive in review.drives]
    used = {code for drive in drives for code in drive["representative"] or () if code in NAMES}
    return {
        "format": FORMAT,
        "pile": review.sheet.pile_name,
        "dyntest": review.version,
        "inputs": review.inputs,
        "units": {code: name.unit for code, name in NAMES.items() if code in used},
        "trust": {"answer": review.trust.answer, "reasons": list(review.trust.reasons)},
        "drives": drives,
    }


def summary_json(review: Review) -> bytes:
    """Give the content of `summary.json`, the same bytes for the same review.

    Parameters
    ----------
    review : Review
        The reviewed test.

    Returns
    -------
    bytes
        UTF-8 JSON.
    """
    return (json.dumps(summary(review), indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def number(value: float) -> float | int | None:
    """Give a number as JSON can hold it, with the digits of the CSV.

    Parameters
    ----------
    value : float
        Any number [its unit].

    Returns
    -------
    float or int or None
        The number [its unit]; None where it does not exist or is not finite, which JSON cannot write.

    Examples
    --------
    >>> number(1 / 3), number(float("nan")), number(7.0)
    (0.333333333, None, 7.0)
    """
    if value is None or not math.isfinite(value):
        return None
    return int(value) if isinstance(value, int) else float(f"{value:.{DIGITS}g}")


def _drive(drive: DriveReview) -> dict:
    return {
        "name": drive.name,
        "kind": drive.kind,
        "blows": len(drive.table),
        "representative": _representative(drive),
        "findings": [_finding(finding) for finding in drive.findings],
    }


def _representative(drive: DriveReview) -> dict | None:
    chosen = drive.representative
    if chosen is None:
        return None
    values = {code: number(value) for code, value in drive.numbers.items()}
    return {
        **values,
        "blow": chosen.blow,
        "lower_bound": chosen.lower_bound,
        "rule": chosen.rule,
        "reasons": list(chosen.reasons),
    }


def _finding(finding: Finding) -> dict:
    return {
        "check": finding.check,
        "severity": finding.severity,
        "blows": [int(blow) for blow in finding.blows],
        "value": number(float(finding.value)),
        "threshold": number(float(finding.threshold)),
        "message": finding.message,
        "cure": finding.cure,
    }
