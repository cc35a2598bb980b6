"""The first page: what was tested, what forbids the use of the criterion, the answers, and the cautions."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from dyntest.decisions.driving_criterion import NO_STROKE
from dyntest.names import show
from dyntest.presenting import sentences
from dyntest.presenting.criterion_words import count_asked
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION, Told, told
from dyntest.presenting.finding_words import finding_cure, finding_message, uniform_note
from dyntest.presenting.report.blocks import about, caution_item
from dyntest.reviewing.review import Review

MOST_SENTENCES = 4
"""Sentences under one question on the first page at most [1]; the others are in their section."""

MOST_CAUTIONS = 6
"""Cautions on the first page at most [1]; the others are in their section."""

STATIC_TEST = "Where experience with this soil, pile and hammer is lacking, a static load test confirms the resistance."
"""After ASTM D4945."""


def front_page(review: Review, today: date) -> dict[str, Any]:
    """Give what the first page says."""
    sheet = review.sheet
    found = [pair for pair in all_cautions(review) if not is_alert(review, pair[1])]
    labels = (
        ("project", sheet.project),
        ("structure", sheet.structure),
        ("location", sheet.location),
        ("tested", _tested(review)),
        ("tested by", sheet.tested_by),
        ("checked by", sheet.checked_by),
        ("engineer", sheet.engineer),
        ("report of", f"{today:%Y-%m-%d}"),
    )
    left = len(found) - MOST_CAUTIONS
    return {
        "title": f"Dynamic test of pile {sheet.pile_name}",
        "labels": [[name, value] for name, value in labels if value],
        "alerts": sentences.alert_sentences(review),
        "answers": _answers(review),
        "strokes": _strokes(review),
        "cautions": [caution_item(caution, grave) for grave, caution in found[:MOST_CAUTIONS]],
        "more": f"{left} more in the sections on records, setup and criterion." if left > 0 else "",
        "reminder": f"{GOVERNING_SPECIFICATION} {STATIC_TEST}",
    }


def is_alert(review: Review, caution: Told) -> bool:
    """Whether a caution forbids the use of the criterion."""
    criterion = review.answers.criterion
    alerts = () if criterion is None else criterion.alerts
    return caution in [told(one, review.sheet.display_units) for one in alerts]


def _tested(review: Review) -> str:
    days = sorted({f"{d.drive.start:%Y-%m-%d}" for d in review.drives if d.drive.start is not None})
    drives = [sentences.drive_words(drive) for drive in review.drives]
    shown = ", ".join(drives) if len(drives) <= MOST_SENTENCES else f"{len(drives)} drives"
    return f"{shown}{f', {days[0]}' if days else ''}{f' to {days[-1]}' if len(days) > 1 else ''}"


def _answers(review: Review) -> list[dict[str, Any]]:
    resistances = [sentences.resistance_sentence(review, drive) for drive in review.drives]
    setups = [sentences.setup_sentence(setup) for setup in review.answers.setups]
    nothing = ["Not measured: it needs an initial drive and a restrike."]
    questions = (
        ("Records", [sentences.trust_sentence(review)]),
        ("Hammer and stresses", [*_energy(review), *sentences.stress_sentences(review)]),
        ("Resistance", _few(resistances)),
        ("Setup", _few(setups) or nothing),
        ("Criterion", [sentences.criterion_sentence(review)]),
    )
    return [{"question": question, "answers": answers} for question, answers in questions]


def _energy(review: Review) -> list[str]:
    """Say what the hammer delivered at the end of the last initial drive, or else in the first drive."""
    system = review.sheet.display_units
    known = [d for d in review.drives if "transferred_energy" in d.numbers and d.representative is not None]
    if not known:
        return []
    drive = next((one for one in reversed(known) if one.kind == "initial"), known[0])
    numbers, stroke = drive.numbers, ""
    if "stroke" in numbers:
        stroke = f" at a stroke of {show('stroke', numbers['stroke'], system)}"
    share = sentences.energy_share(drive)
    energy = show("transferred_energy", numbers["transferred_energy"], system)
    blow = drive.representative.blow if drive.representative else 0
    where = f"{sentences.drive_words(drive).capitalize()}, blow {blow}"
    return [f"{where}: {energy} transferred{stroke}{f', {share}' if share else ''}."]


def _strokes(review: Review) -> list[list[str]]:
    """Give the criterion in two rows, the strokes and their counts; empty where there is none."""
    found, system = review.answers.criterion, review.sheet.display_units
    if found is None or found.criterion is None:
        return []
    usable = [row for row in found.rows if row.ruled_out is None]
    asked = [count_asked(found.criterion, row, found.holding_length, system) for row in usable]
    strokes = [show("stroke", row.stroke, system) for row in usable]
    return [["stroke", *strokes], [f"blows {asked[0][1]}", *(count for count, _ in asked)]]


def _few(sentences: Sequence[str]) -> list[str]:
    """Keep the first and the last ones, and say how many stand between them."""
    if len(sentences) <= MOST_SENTENCES:
        return list(sentences)
    between = len(sentences) - MOST_SENTENCES
    return [sentences[0], f"({between} more in the section on it.)", *sentences[-MOST_SENTENCES + 1 :]]


def all_cautions(review: Review) -> list[tuple[bool, Told]]:
    """Give every caution of a review once, those that prevent the use of a result first."""
    answers, found, system = review.answers, [], review.sheet.display_units
    for drive in review.drives:
        for finding in drive.findings:
            if finding.severity != "note":
                words = f"{sentences.drive_words(drive)}: {finding_message(finding, system)}"
                found.append((finding.severity == "reject", Told(finding.check, words, finding_cure(finding, system))))
    criterion = answers.criterion
    alerts = () if criterion is None else criterion.alerts
    decided = () if criterion is None else criterion.cautions
    target = () if answers.target is None or criterion is not None else answers.target.cautions
    found += [(caution in alerts or caution.kind in NO_STROKE, told(caution, system)) for caution in decided]
    against = [caution for caution in answers.case_against_match if caution not in decided]
    found += [(True, told(caution, system)) for caution in against]
    found += [(False, told(caution, system)) for caution in (*target, *answers.required.cautions)]
    for setup in answers.setups:
        found += [(False, about(setup.restrike, told(caution, system))) for caution in setup.cautions]
    uniform = uniform_note(review.sheet.pile)
    if uniform:
        found.append((False, Told("not a uniform pile", sentences.sentence(uniform), "")))
    if any(drive.damping_source == "soil at the toe" for drive in review.drives):
        words = "the Case damping factor is only suggested by the soil at the toe"
        found.append((False, Told("damping factor", words, "calibrate it by signal matching or a static load test")))
    once: dict[str, tuple[bool, Told]] = {}
    for pair in sorted(found, key=lambda pair: not pair[0]):
        once.setdefault(pair[1].message.casefold(), pair)  # a target and the setup it is based on have the same ones
    return list(once.values())
