"""One reviewed pile as one row of a table: plain numbers in SI and short texts."""

from collections.abc import Mapping

import numpy as np

from dyntest.names import column_header
from dyntest.review import Review
from dyntest.reviewing.drive_review import DriveReview

ROLES = ("initial", "restrike")
"""Of each kind the last drive is given: the end of driving, and the longest wait."""

OF_A_DRIVE = (
    "blow",
    "penetration",
    "set_per_blow",
    "stroke",
    "transferred_energy",
    "energy_ratio",
    "peak_force",
    "damping_factor",
    "case_resistance_maximum",
    "matched_resistance",
    "matched_resistance_low",
    "matched_resistance_high",
    "shaft_resistance",
    "toe_resistance",
    "misfit",
)
"""Numbers of the blow that stands for a drive, by their names in code."""

LARGEST = ("peak_gauge_stress", "toe_compression_stress", "peak_tension_stress")
"""Numbers of which the largest of all blows that are not rejected is given."""

SMALLEST = ("integrity_factor",)
"""Numbers of which the smallest is given."""

FURTHER_UNITS = {
    "compression_stress_limit": "Pa",
    "tension_stress_limit": "Pa",
    "required_resistance": "N",
    "wait": "s",
    "setup_factor_low": "1",
    "setup_factor_high": "1",
    "end_of_drive_target": "N",
    "criterion_stroke": "m",
    "criterion_set_per_blow": "m",
}
"""Units of the numbers that are of the whole pile and not of a blow."""

TEXTS = ("sheet", "project", "structure", "pile", "trust", "reasons", "alerts", "criterion_problem")
COUNTS = ("drives", "blows", "rejects", "warnings")
NUMBERS = (
    *(f"{role}_{code}" for role in ROLES for code in OF_A_DRIVE),
    *LARGEST,
    *SMALLEST,
    "setup_factor",
    *FURTHER_UNITS,
)
COLUMNS = (*TEXTS[:5], *COUNTS, *NUMBERS, *TEXTS[5:])
"""Every column, in its order."""

Row = Mapping[str, str | int | float | None]


def header(column: str) -> str:
    """Give the header of a column, with its unit in square brackets where it has one.

    Parameters
    ----------
    column : str
        One of `COLUMNS`.

    Returns
    -------
    str
        The header.

    Examples
    --------
    >>> header("initial_peak_force"), header("wait"), header("pile"), header("initial_blow")
    ('initial_peak_force [N]', 'wait [s]', 'pile', 'initial_blow')
    """
    unit = FURTHER_UNITS.get(column)
    if unit is not None:
        return column if unit == "1" else f"{column} [{unit}]"
    if column not in NUMBERS:
        return column
    role, _, code = column.partition("_")
    return f"{role}_{column_header(code)}" if role in ROLES else column_header(column)


def pile_row(review: Review, sheet: str) -> Row:
    """Give what a reviewed pile says, as one row.

    Parameters
    ----------
    review : Review
        The reviewed test.
    sheet : str
        The sheet's name in the table.

    Returns
    -------
    mapping of str to str, int, float or None
        A value for each of `COLUMNS`; None where a number does not exist.
    """
    read, answers = review.sheet, review.answers
    severities = [finding.severity for drive in review.drives for finding in drive.findings]
    row = dict.fromkeys(COLUMNS)
    row |= {
        "sheet": sheet,
        "project": read.project,
        "structure": read.structure,
        "pile": read.pile_name,
        "trust": review.trust.answer,
        "reasons": "; ".join(review.trust.reasons),
        "drives": len(review.drives),
        "blows": sum(len(drive.table) for drive in review.drives),
        "rejects": severities.count("reject"),
        "warnings": severities.count("warning"),
        "compression_stress_limit": review.limits.compression.value,
        "tension_stress_limit": review.limits.tension.value,
        "required_resistance": answers.required.value,
        "end_of_drive_target": None if answers.target is None else answers.target.value,
        "criterion_problem": answers.criterion_problem,
        "alerts": "",
    }
    for role in ROLES:
        last = [drive for drive in review.drives if drive.kind == role][-1:]
        row |= {f"{role}_{code}": value for drive in last for code, value in _of_a_drive(drive).items()}
    row |= {code: _over_all(review, code, np.nanmax) for code in LARGEST}
    row |= {code: _over_all(review, code, np.nanmin) for code in SMALLEST}
    if answers.setups and answers.setups[-1].setup_factor is not None:
        setup = answers.setups[-1]
        factor = setup.setup_factor
        row |= {"wait": setup.wait, "setup_factor": factor.value}
        row |= {"setup_factor_low": factor.low, "setup_factor_high": factor.high}
    found = answers.criterion
    if found is not None:
        row["alerts"] = "; ".join(alert.message for alert in found.alerts)
        usable = [row for row in found.rows if not row.ruled_out]
        if usable:
            near = min(usable, key=lambda asked: abs(asked.stroke - found.calibrated.stroke))
            row |= {"criterion_stroke": near.stroke, "criterion_set_per_blow": near.set_per_blow}
    return {column: _plain(column, row[column]) for column in COLUMNS}


def _of_a_drive(drive: DriveReview) -> dict[str, float]:
    numbers = dict(drive.numbers)
    if drive.match is not None:
        low, high = drive.match.matched_resistance_range
        numbers |= {"matched_resistance_low": low, "matched_resistance_high": high}
    return {code: numbers.get(code) for code in OF_A_DRIVE}


def _over_all(review: Review, code: str, pick) -> float | None:
    """Pick from every blow whose record is not rejected; None where none has the number."""
    values = []
    for drive in review.drives:
        rejected = {blow for found in drive.findings if found.severity == "reject" for blow in found.blows}
        if code in drive.table:
            values += drive.table.loc[~drive.table["blow"].isin(rejected), code].dropna().tolist()
    return float(pick(values)) if values else None


def _plain(column: str, value):
    """Leave only what JSON can hold."""
    if column in TEXTS:
        return str(value or "")
    if column in COUNTS:
        return int(value)
    return None if value is None or not np.isfinite(value) else float(value)
