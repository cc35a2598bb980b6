"""What a terminal shows after a review: the answer first, then the numbers of each drive beside each other."""

import textwrap

from dyntest.decisions.caution import GOVERNING_SPECIFICATION
from dyntest.names import NAMES, show
from dyntest.review import Review
from dyntest.reviewing.drive_review import DriveReview

WIDTH = 100
"""Columns of a line at most."""

DRIVES_ABREAST = 4
"""Drives side by side at most; more come in another table below."""

ANSWERS = {
    "yes": "the record can be trusted",
    "with care": "the record can be trusted with care",
    "no": "the record cannot be trusted as it stands",
}

SHOWN = (
    "penetration",
    "set_per_blow",
    "peak_displacement",
    "stroke",
    "transferred_energy",
    "energy_ratio",
    "peak_force",
    "peak_gauge_stress",
    "toe_compression_stress",
    "peak_tension_stress",
    "integrity_factor",
    "damping_factor",
    "total_resistance",
    "case_resistance",
    "case_resistance_maximum",
    "case_resistance_toe_at_rest",
)
"""Numbers of the representative blows, in this order."""

STRESSES = (
    ("compression", "peak_gauge_stress"),
    ("compression", "toe_compression_stress"),
    ("tension", "peak_tension_stress"),
)
"""Which limit each stress is held against."""


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
    shown = _wrap(f"{review.sheet.pile_name}: {ANSWERS[review.trust.answer]}{reasons}.")
    for start in range(0, len(review.drives), DRIVES_ABREAST):
        shown += ["", *_table(review.drives[start : start + DRIVES_ABREAST], review.sheet.display_units)]
    shown += ["", *_stresses(review), *_resistance(review)]
    for drive in review.drives:
        shown += ["", *_drive(drive)]
    return [*shown, "", *_wrap(GOVERNING_SPECIFICATION)]


def _table(drives: tuple[DriveReview, ...], system: str) -> list[str]:
    """Numbers of the representative blows, a column a drive."""
    blows = [f"blow {drive.representative.blow}" if drive.representative else "no sound blow" for drive in drives]
    rows = [("", [_words(drive) for drive in drives]), ("blow that stands for the drive", blows)]
    for code in SHOWN:
        if any(code in drive.numbers for drive in drives):
            rows.append((NAMES[code].words, [show(code, drive.numbers.get(code), system) for drive in drives]))
    label = max(len(words) for words, _ in rows)
    wide = max(len(text) for _, texts in rows for text in texts) + 2
    return [f"  {words:<{label}}{''.join(f'{text:>{wide}}' for text in texts)}".rstrip() for words, texts in rows]


def _stresses(review: Review) -> list[str]:
    """Give a line for each stress: the highest of every drive against its limit."""
    system, shown = review.sheet.display_units, []
    for sense, code in STRESSES:
        found = [(drive.table[code].max(), drive) for drive in review.drives if drive.table[code].notna().any()]
        if not found:
            continue
        highest, drive = max(found, key=lambda pair: pair[0])
        blow = int(drive.table["blow"].iloc[int(drive.table[code].argmax())])
        text = f"{NAMES[code].words}: at most {show(code, highest, system)} ({_words(drive)}, blow {blow})"
        limit = getattr(review.limits, sense)
        if limit.value is None:
            text += f"; no limit is known, write {limit.needed}"
        else:
            text += f", {'ABOVE' if highest > limit.value else 'within'} the limit of {show(code, limit.value, system)}"
        shown += _wrap(f"{text[0].upper()}{text[1:]}.")
    return shown


def _resistance(review: Review) -> list[str]:
    """Say whose damping factor was used, and where the resistance is only a lower bound."""
    first = review.drives[0]
    if first.damping_source == "none":
        text = "No damping factor is known, so only the resistances that need none are given."
    else:
        factor = show("damping_factor", float(first.table["damping_factor"].iloc[0]), review.sheet.display_units)
        text = f"Case damping factor {factor}, from the {first.damping_source}."
    bounds = [_words(drive) for drive in review.drives if drive.representative and drive.representative.lower_bound]
    if bounds:
        text += f" The resistance of {' and '.join(bounds)} is a LOWER BOUND: that blow moved the pile too little."
    return _wrap(text)


def _drive(drive: DriveReview) -> list[str]:
    """Why the blow stands for the drive, and what was found."""
    count = len(drive.table)
    head = f"{_words(drive).capitalize()}, {count} blow{'s' if count > 1 else ''}"
    if drive.representative is None:
        shown = _wrap(f"{head}: none of the blows that could stand for the drive is sound.")
    else:
        chosen = drive.representative
        shown = _wrap(f"{head}. Why blow {chosen.blow}: {'; '.join(chosen.reasons) or chosen.rule.rstrip('.')}.")
    for severity in ("reject", "warning"):
        for finding in drive.findings:
            if finding.severity == severity:
                text = f"{severity}: {finding.message.rstrip('.')}; {finding.cure.rstrip('.')}."
                shown += _wrap(text, "  - ", "    ")
    notes = sum(finding.severity == "note" for finding in drive.findings)
    return shown + ([f"  - {notes} note{'s' if notes > 1 else ''} in summary.json"] if notes else [])


def _words(drive: DriveReview) -> str:
    return drive.name.replace("_", " ")


def _wrap(text: str, first: str = "", rest: str = "  ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False)
