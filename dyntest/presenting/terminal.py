"""What a terminal shows after a review: the answer first, then each drive in a few lines."""

import textwrap

from dyntest.conditioning.check import Finding
from dyntest.decisions.caution import GOVERNING_SPECIFICATION
from dyntest.names import NAMES, show
from dyntest.review import DriveReview, Review

WIDTH = 100
"""Columns of a line at most."""

MOST_FINDINGS = 6
"""Findings shown for a drive; `summary.json` and the report hold all of them."""

ANSWER = {
    "yes": "the record can be trusted",
    "with care": "the record can be trusted with care",
    "no": "the record cannot be trusted as it stands",
}


def lines(review: Review) -> list[str]:
    """Give the lines to show; the first one says whether the record can be trusted.

    Parameters
    ----------
    review : Review
        The reviewed test.

    Returns
    -------
    list of str
        Lines of plain text in the sheet's display units.
    """
    reasons = f" ({', '.join(review.trust.reasons)})" if review.trust.reasons else ""
    shown = _wrap(f"{review.sheet.pile_name}: {ANSWER[review.trust.answer]}{reasons}.", "", "  ")
    for drive in review.drives:
        shown += ["", *_drive(drive, review)]
    return [*shown, "", *_wrap(GOVERNING_SPECIFICATION, "", "")]


def _drive(drive: DriveReview, review: Review) -> list[str]:
    count = len(drive.table)
    head = f"{drive.name.replace('_', ' ').capitalize()}: {count} blow{'s' if count > 1 else ''}"
    if drive.representative is None:
        return [f"{head}; none of those that could stand for it is sound.", *_findings(drive.findings)]
    chosen = drive.representative
    why = "; ".join((chosen.rule.rstrip("."), *chosen.reasons))
    shown = _wrap(f"{head}; blow {chosen.blow} stands for it.", "", "  ")
    for label, text in (
        ("why", f"{why}."),
        ("resistance", _resistance(drive, review)),
        ("hammer", _listed(drive, review, ("stroke", "transferred_energy", "energy_ratio", "energy_ratio_stroke"))),
        ("stress", _stress(drive, review)),
        ("movement", _listed(drive, review, ("penetration", "set_per_blow", "peak_displacement"))),
        ("integrity", _listed(drive, review, ("integrity_factor", "integrity_depth"))),
    ):
        if text:
            shown += _wrap(text, f"  {label:<12}", " " * 14)
    return shown + _findings(drive.findings)


def _listed(drive: DriveReview, review: Review, codes: tuple[str, ...]) -> str:
    """Name and number of each code that the blow has, with a comma between."""
    return ", ".join(f"{NAMES[code].words} {_shown(drive, review, code)}" for code in codes if code in drive.numbers)


def _shown(drive: DriveReview, review: Review, code: str) -> str:
    return show(code, drive.numbers[code], review.sheet.display_units)


def _resistance(drive: DriveReview, review: Review) -> str:
    if drive.damping_source == "none":
        known = _listed(drive, review, ("total_resistance", "case_resistance_toe_at_rest"))
        text = f"{known}; no damping factor is known"
    else:
        known = _listed(drive, review, ("case_resistance", "case_resistance_maximum", "case_resistance_toe_at_rest"))
        text = f"{known}; damping factor {_shown(drive, review, 'damping_factor')} by the {drive.damping_source}"
    bound = "; the pile moved too little to show all of it, so these are lower bounds"
    return f"{text}{bound if drive.representative.lower_bound else ''}."


STRESSES = (
    ("compression", "peak_gauge_stress"),
    ("compression", "toe_compression_stress"),
    ("tension", "peak_tension_stress"),
)
"""Which limit each stress is held against."""


def _stress(drive: DriveReview, review: Review) -> str:
    """Each stress against its limit: that of the blow shown, and the highest of the drive."""
    parts, needed = [], []
    for sense, code in STRESSES:
        if code not in drive.numbers:
            continue
        limit = getattr(review.limits, sense)
        highest = float(drive.table[code].max())
        at = int(drive.table["blow"].iloc[int(drive.table[code].argmax())])
        most = show(code, highest, review.sheet.display_units)
        text = f"{NAMES[code].words} {_shown(drive, review, code)}, at most {most} (blow {at})"
        if limit.value is None:
            parts.append(text)
            needed.append(limit.needed)
            continue
        verdict = "ABOVE" if highest > limit.value else "within"
        parts.append(f"{text}, {verdict} the limit of {show(code, limit.value, review.sheet.display_units)}")
    missing = [f"no limit is known: write {need}" for need in dict.fromkeys(needed)]
    return "; ".join([*parts, *missing]) + "." if parts else ""


def _findings(findings: tuple[Finding, ...]) -> list[str]:
    order = ("reject", "warning", "note")
    ranked = sorted(findings, key=lambda finding: order.index(finding.severity))
    shown = []
    for finding in ranked[:MOST_FINDINGS]:
        text = f"{finding.severity}: {finding.message.rstrip('.')}; {finding.cure.rstrip('.')}."
        shown += _wrap(text, "  - ", "    ")
    left = len(ranked) - MOST_FINDINGS
    return shown + ([f"  - and {left} more in summary.json"] if left > 0 else [])


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False)
