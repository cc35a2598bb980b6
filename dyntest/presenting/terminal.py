"""What a terminal shows after a review: the answer first, then the numbers of each drive beside each other."""

import textwrap
from collections.abc import Sequence

from dyntest.decisions.driving_criterion import NO_STROKE
from dyntest.names import NAMES, show
from dyntest.presenting.criterion_words import count_asked, easy_driving_sentences, restrike_sentences
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION, Told, told
from dyntest.presenting.finding_words import choice_words, finding_cure, finding_message
from dyntest.presenting.report.described import DEFAULT, material_sources
from dyntest.presenting.report.front_page import all_cautions, is_alert
from dyntest.presenting.sentences import (
    alert_sentences,
    case_alerts,
    criterion_cells,
    criterion_heads,
    criterion_sentence,
    drive_words,
    every_blow_sentences,
    gauge_stress,
    match_sentences,
    resistance_sentence,
    risk_words,
    sentence,
    setup_sentence,
    show_range,
    show_stress,
    stress_sentences,
    trust_sentence,
    worst_stress,
)
from dyntest.presenting.tables import negative_notes, representative_head, representative_numbers
from dyntest.presenting.terms import terminal_width, wrapped
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review

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


MOST_STROKES = 9
"""Strokes of the criterion on one line at most [1]."""

MOST_LINES = 24
"""Lines shown where not everything is asked for [1], so that they stand on one screen with that of the files; a caution
and an alert are never left out for it."""

MOST_CAUTIONS = 4
"""Cautions shown where not everything is asked for [1]; the others are in the report."""


def lines(review: Review, verbose: bool = False) -> list[str]:
    """Give the lines to show: the answer, its doubts and the criterion; everything else where `verbose`."""
    shown = wrapped(trust_sentence(review))
    for alert in alert_sentences(review):
        shown += wrapped(alert)
    if verbose:
        for alert in case_alerts(review):
            shown += wrapped(alert)
    for drive in review.drives:
        shown += wrapped(resistance_sentence(review, drive))
    shown += wrapped(_stress_line(review))
    for setup in review.answers.setups[-1:]:
        shown += wrapped(setup_sentence(setup))
    shown += ["", *wrapped(criterion_sentence(review)), *_counts(review)]
    last = [*wrapped(_assumed(review)), *wrapped(GOVERNING_SPECIFICATION, rest="")]
    if verbose:
        return [*shown, *_everything(review), *last]
    criterion = review.answers.criterion
    why = NO_STROKE if criterion is not None and criterion.criterion is None else ()  # its own line says so
    found = [one for _, one in all_cautions(review) if one.check not in why and not is_alert(review, one)]
    room = max(1, min(MOST_CAUTIONS, MOST_LINES - len(shown) - len(last) - 2))
    shown += [_short_caution(caution) for caution in found[:room]]
    if len(found) > room:
        more = len(found) - room
        shown.append(f"  - {more} more caution{'s' if more > 1 else ''}: see report.pdf or --verbose")
    return [*shown, *last]


def _short_caution(caution: Told) -> str:
    """Give a caution in one line; what to do is left out before what was seen is cut."""
    seen = sentence(caution.message)
    words = f"{seen} {sentence(caution.cure)}".strip()
    room = terminal_width() - 4
    words = words if len(words) <= room else seen
    return f"  - {textwrap.shorten(words, room, placeholder=' …')}"


def _stress_line(review: Review) -> str:
    """Say how high the stresses went against their limits, in one sentence."""
    system, words, above = review.sheet.display_units, [], False
    bent = gauge_stress(review)
    for sense in ("compression", "tension"):
        worst = worst_stress(review, sense)
        if worst is not None:
            how = "matched" if worst.matched else "from the gauges alone"
            value, allowed = show_stress(worst.value, worst.limit, system)
            line = f"{sense} {value} {how}"
            most = worst.value
            if sense == "compression" and bent is not None and bent[0] > most:
                most = bent[0]
                line += f", {show('peak_gauge_stress', most, system)} at one gauge"
            above = above or (worst.limit is not None and most > worst.limit)
            words.append(f"{line} ({'no limit known' if worst.limit is None else f'limit {allowed}'})")
    if not words:
        return ""
    return f"{'STRESS ABOVE THE LIMIT' if above else 'Maximum stresses'}: {', '.join(words)}."


def _counts(review: Review) -> list[str]:
    """Give the criterion in two lines, the strokes and the counts."""
    found, system = review.answers.criterion, review.sheet.display_units
    if found is None or found.criterion is None:
        return []
    rows = [row for row in found.rows if row.ruled_out is None]
    step = -(-len(rows) // MOST_STROKES)
    kept = [*rows[:-1:step], rows[-1]] if len(rows) > 1 else list(rows)
    strokes = [show("stroke", row.stroke, system) for row in kept]
    asked = [count_asked(found.criterion, row, found.holding_length, system) for row in kept]
    return _aligned([("stroke", *strokes), (f"blows {asked[0][1]}", *(count for count, _ in asked))])


def _everything(review: Review) -> list[str]:
    """Give the numbers of each drive beside each other, every caution, and what the matches say."""
    shown: list[str] = []
    for start in range(0, len(review.drives), DRIVES_ABREAST):
        shown += ["", *_numbers(review.drives[start : start + DRIVES_ABREAST], review.sheet.display_units)]
    shown.append("")
    for words in stress_sentences(review):
        shown += wrapped(words)
    for setup in review.answers.setups:
        found = [told(one, review.sheet.display_units) for one in setup.cautions]
        shown += ["", *wrapped(setup_sentence(setup)), *_cautions(found)]
    shown += ["", *_criterion(review)]
    for drive in review.drives:
        shown += ["", *_records(drive, review.sheet.display_units), *_matching(drive, review.sheet.display_units)]
    return [*shown, ""]


def _assumed(review: Review) -> str:
    """Say which defaults were assumed, and which damping factor was used."""
    first, sheet = review.drives[0], review.sheet
    told = []
    if first.damping_source == "none":
        told.append("no damping factor is known")
    else:
        factor = show("damping_factor", float(first.table["damping_factor"].iloc[0]), sheet.display_units)
        told.append(f"Case damping factor {factor} ({first.damping_source})")
    modulus, density, _ = material_sources(sheet)
    defaults = [name for name, source in (("modulus", modulus), ("density", density)) if source == DEFAULT]
    if defaults:
        told.append(f"{' and '.join(defaults)} of {sheet.pile.material} (default)")
    hammer = first.drive.hammer
    if hammer is not None and hammer.efficiency is None:
        told.append("hammer efficiency (default, calibrated where matched)")
    return f"Assumed: {'; '.join(told)}."


def _numbers(drives: tuple[DriveReview, ...], system: str) -> list[str]:
    """Numbers of the representative blows, a column a drive."""
    rows: list[tuple[str, ...]] = [("representative blow", *map(representative_head, drives))]
    known = representative_numbers(drives, SHOWN, system)
    for code, values in known.items():
        rows.append((NAMES[code].words, *values))
        ranges = [getattr(drive.match, f"{code}_range", None) for drive in drives]
        if any(ranges):
            rows.append(("  range", *(show_range(ends[0], ends[1], code, system) if ends else "–" for ends in ranges)))
    notes = [line for words in negative_notes(known) for line in wrapped(sentence(words), "  ", "  ")]
    return [*_aligned(rows), *notes]


def _aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Lay rows out in columns, the first to the left and the others to the right."""
    wide = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    return [
        "  " + f"{row[0]:<{wide[0]}}" + "".join(f"  {cell:>{w}}" for cell, w in zip(row[1:], wide[1:], strict=True))
        for row in rows
    ]


HEAD_WIDTH = 11
"""Columns of a head at most, unless a word is longer [1]; a longer head stands on several lines."""


def _stacked(heads: Sequence[str]) -> list[tuple[str, ...]]:
    """Break the heads of a table into lines, the last of each at the bottom.

    Examples
    --------
    >>> _stacked(("stroke", "short but accepted"))
    [('', 'short but'), ('stroke', 'accepted')]
    """
    broken = [textwrap.wrap(head, HEAD_WIDTH, break_long_words=False) or [""] for head in heads]
    high = max(map(len, broken))
    return [tuple(column) for column in zip(*([""] * (high - len(one)) + one for one in broken), strict=True)]


def _criterion(review: Review) -> list[str]:
    """Give the driving criterion, a row a stroke."""
    shown = wrapped(criterion_sentence(review))
    found, system = review.answers.criterion, review.sheet.display_units
    required = [told(one, system) for one in review.answers.required.cautions]
    if found is None:
        return shown + _cautions(required)
    heads = _stacked(criterion_heads(system)[:-1])
    cells = [criterion_cells(found, row, system) for row in found.rows]
    table = _aligned([*heads, *(row[:-1] for row in cells)])
    shown += table[: len(heads)]
    for line, (*_, why) in zip(table[len(heads) :], cells, strict=True):
        shown += wrapped(f"{line}  {why}".rstrip(), rest=" " * (len(line) + 2))
    if any(row.ruled_out is None for row in found.rows):
        shown += wrapped(risk_words())
    held = found.criterion
    if held is not None:
        rule = () if held.restrike is None else restrike_sentences(held, held.restrike, system)
        for words in (*easy_driving_sentences(held, system), *rule):
            shown += wrapped(words)
    return shown + _cautions([*(told(one, system) for one in found.cautions if one not in found.alerts), *required])


def _cautions(cautions: Sequence[Told]) -> list[str]:
    return [line for one in cautions for line in wrapped(sentence(one.sentence), "  - ", "    ")]


def _records(drive: DriveReview, system: str) -> list[str]:
    """Say why the blow is the representative one, and what was found on the records."""
    count = len(drive.table)
    head = f"{drive_words(drive).capitalize()}, {count} blow{'s' if count > 1 else ''}"
    if drive.representative is None:
        shown = wrapped(f"{head}: no sound blow.")
    else:
        chosen = drive.representative
        shown = wrapped(f"{head}. Why blow {chosen.blow}: {choice_words(chosen, system)}.")
    for severity in ("reject", "warning"):
        for finding in drive.findings:
            if finding.severity == severity:
                text = f"{severity}: {finding_message(finding, system)}; {finding_cure(finding, system)}."
                shown += wrapped(text, "  - ", "    ")
    notes = sum(finding.severity == "note" for finding in drive.findings)
    return shown + ([f"  - {notes} note{'s' if notes > 1 else ''} in summary.json"] if notes else [])


def _matching(drive: DriveReview, system: str) -> list[str]:
    """Say what the match of the blow does not show, and how every other blow fitted."""
    if drive.match is None:
        return []
    said = [*match_sentences(drive.match, system)[1:], *every_blow_sentences(drive)]
    return [line for words in said for line in wrapped(words, "  - ", "    ")]
