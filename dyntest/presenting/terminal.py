"""What a terminal shows after a review: the answer first, then the numbers of each drive beside each other."""

import textwrap
from collections.abc import Sequence

from dyntest.decisions.caution import GOVERNING_SPECIFICATION, Caution
from dyntest.decisions.criterion_words import restrike_sentences
from dyntest.names import NAMES, show
from dyntest.presenting.finding_words import choice_words, finding_cure, finding_message
from dyntest.presenting.sentences import (
    CRITERION_HEADS,
    alert_sentences,
    criterion_cells,
    criterion_sentence,
    drive_words,
    every_blow_sentences,
    match_sentences,
    resistance_sentence,
    setup_sentence,
    show_range,
    stress_sentences,
    trust_sentence,
)
from dyntest.presenting.tables import representative_head, representative_numbers
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review

WIDTH = 100
"""Columns of a line at most."""

DRIVES_ABREAST = 4
"""Drives side by side at most; more come in another table below."""

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
    "damping_factor_maximum",
    "total_resistance",
    "case_resistance",
    "case_resistance_maximum",
    "case_resistance_toe_at_rest",
    "matched_resistance",
    "shaft_resistance",
    "toe_resistance",
    "misfit",
)
"""Numbers of the representative blows, in this order; ranges stand below those that have one."""


def lines(review: Review) -> list[str]:
    """Give the lines to show; the first one says whether the record can be trusted."""
    shown = _wrap(trust_sentence(review))
    for sentence in alert_sentences(review):
        shown += _wrap(sentence)
    for drive in review.drives:
        shown += _wrap(resistance_sentence(review, drive))
    for start in range(0, len(review.drives), DRIVES_ABREAST):
        shown += ["", *_numbers(review.drives[start : start + DRIVES_ABREAST], review.sheet.display_units)]
    shown.append("")
    for sentence in (*stress_sentences(review), _damping(review)):
        shown += _wrap(sentence)
    for setup in review.answers.setups:
        shown += ["", *_wrap(setup_sentence(setup)), *_cautions(setup.cautions)]
    shown += ["", *_criterion(review)]
    for drive in review.drives:
        shown += ["", *_records(drive, review.sheet.display_units), *_matching(drive, review.sheet.display_units)]
    return [*shown, "", *_wrap(GOVERNING_SPECIFICATION, rest="")]


def _numbers(drives: tuple[DriveReview, ...], system: str) -> list[str]:
    """Numbers of the representative blows, a column a drive."""
    rows: list[tuple[str, ...]] = [("representative blow", *map(representative_head, drives))]
    for code, values in representative_numbers(drives, SHOWN, system).items():
        rows.append((NAMES[code].words, *values))
        ranges = [getattr(drive.match, f"{code}_range", None) for drive in drives]
        if any(ranges):
            rows.append(("  range", *(show_range(ends[0], ends[1], code, system) if ends else "–" for ends in ranges)))
    return _aligned(rows)


def _aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Lay rows out in columns, the first to the left and the others to the right."""
    wide = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    return [
        "  " + f"{row[0]:<{wide[0]}}" + "".join(f"  {cell:>{w}}" for cell, w in zip(row[1:], wide[1:], strict=True))
        for row in rows
    ]


def _damping(review: Review) -> str:
    first = review.drives[0]
    if first.damping_source == "none":
        return "No damping factor is known, so only the Case resistances that need none are given."
    factor = show("damping_factor", float(first.table["damping_factor"].iloc[0]), review.sheet.display_units)
    return f"Case damping factor {factor}, from the {first.damping_source}."


def _criterion(review: Review) -> list[str]:
    """Give the driving criterion, a row a stroke."""
    shown = _wrap(criterion_sentence(review))
    found = review.answers.criterion
    if found is None:
        return shown
    cells = [CRITERION_HEADS, *(criterion_cells(row, review.sheet.display_units) for row in found.rows)]
    table = _aligned([row[:-1] for row in cells])
    for line, (*_, why) in zip(table, cells, strict=True):
        shown += _wrap(f"{line}  {why}".rstrip(), rest=" " * (len(line) + 2))
    if found.criterion is not None and found.criterion.restrike is not None:
        for sentence in restrike_sentences(found.criterion.restrike, review.sheet.display_units):
            shown += _wrap(sentence)
    return shown + _cautions([caution for caution in found.cautions if caution not in found.alerts])


def _cautions(cautions: Sequence[Caution]) -> list[str]:
    return [line for c in cautions for line in _wrap(f"{c.message.rstrip('.')}; {c.cure.rstrip('.')}.", "  - ", "    ")]


def _records(drive: DriveReview, system: str) -> list[str]:
    """Say why the blow stands for the drive, and what was found on the records."""
    count = len(drive.table)
    head = f"{drive_words(drive).capitalize()}, {count} blow{'s' if count > 1 else ''}"
    if drive.representative is None:
        shown = _wrap(f"{head}: none of the blows that could stand for the drive is sound.")
    else:
        chosen = drive.representative
        shown = _wrap(f"{head}. Why blow {chosen.blow}: {choice_words(chosen, system)}.")
    for severity in ("reject", "warning"):
        for finding in drive.findings:
            if finding.severity == severity:
                text = f"{severity}: {finding_message(finding, system)}; {finding_cure(finding, system)}."
                shown += _wrap(text, "  - ", "    ")
    notes = sum(finding.severity == "note" for finding in drive.findings)
    return shown + ([f"  - {notes} note{'s' if notes > 1 else ''} in summary.json"] if notes else [])


def _matching(drive: DriveReview, system: str) -> list[str]:
    """Say what the match of the blow cannot tell, and how every other blow fitted."""
    if drive.match is None:
        return []
    said = [*match_sentences(drive.match, system)[1:], *every_blow_sentences(drive)]
    return [line for sentence in said for line in _wrap(sentence, "  - ", "    ")]


def _wrap(text: str, first: str = "", rest: str = "  ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False)
