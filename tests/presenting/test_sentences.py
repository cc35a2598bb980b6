"""The sentences of the answers, with their numbers and what speaks against them."""

import re
from dataclasses import replace

import numpy as np
import pytest

from dyntest.conditioning.findings import Finding
from dyntest.decisions.criterion import permitted_set
from dyntest.decisions.driving_criterion import NO_STROKE
from dyntest.decisions.estimate import Estimate
from dyntest.decisions.setup import Setup
from dyntest.decisions.time_law import TimeLaw
from dyntest.decisions.trust import Caution, Trust
from dyntest.presenting.criterion_words import inspectors_card, target_sentence
from dyntest.presenting.report.tables import match_tables
from dyntest.presenting.sentences import (
    alert_sentences,
    case_alerts,
    criterion_sentence,
    estimate_sentences,
    gauge_stress,
    match_sentences,
    own_blow_sentences,
    rate_sentence,
    resistance_sentence,
    setup_sentence,
    show_stress,
    stress_sentences,
    trust_sentence,
)
from dyntest.presenting.summary import summary
from dyntest.presenting.terminal import lines
from dyntest.reviewing.pile_result import pile_result
from dyntest.reviewing.survey import pile_row


@pytest.mark.parametrize(
    ("required", "words"),
    [
        (0.5, "meets the required"),
        (1.0, "not clearly above the required"),
        (2.0, "below the required"),
    ],
)
def test_a_resistance_is_held_against_what_is_required(matched, required, words):
    drive = matched.drives[0]
    asked = replace(matched.answers.required, value=required * drive.match.matched_resistance)
    told = resistance_sentence(replace(matched, answers=replace(matched.answers, required=asked)), drive)
    assert words in told


def not_mobilised(review, place=0):
    """The review with a representative blow of one drive that moved the pile too little."""
    drives = list(review.drives)
    drives[place] = replace(drives[place], representative=replace(drives[place].representative, lower_bound=True))
    return replace(review, drives=tuple(drives))


def test_a_lower_bound_is_not_called_below_what_is_required(matched):
    weak = not_mobilised(matched)
    asked = replace(weak.answers.required, value=2.0 * weak.drives[0].match.matched_resistance)
    weak = replace(weak, answers=replace(weak.answers, required=asked))
    told = resistance_sentence(weak, weak.drives[0])
    assert "not shown to meet the required" in told and "LOWER BOUND" in told and "below the required" not in told


def test_a_lower_bound_is_one_everywhere(matched):
    """The match calls its own soil fully mobilised, and the blow still moved the pile too little."""
    weak = not_mobilised(matched)
    assert weak.drives[0].match.fully_mobilised
    assert summary(weak)["drives"][0]["representative"]["lower_bound"]
    (block,) = match_tables(weak.drives[:1], "SI")
    assert ["resistance mobilised", "no: a lower bound", ""] in block["rows"]
    assert pile_result(weak).drives[0].lower_bound and not pile_result(matched).drives[0].lower_bound
    assert pile_row(weak, "sheet.toml")["lower_bounds"] == weak.drives[0].name
    unmobilised = replace(matched.drives[0], match=replace(matched.drives[0].match, fully_mobilised=False))
    assert summary(replace(matched, drives=(unmobilised,)))["drives"][0]["representative"]["lower_bound"]


FELL, GREW, SAME = Estimate(0.5, 0.45, 0.55), Estimate(1.5, 1.4, 1.6), Estimate(0.99, 0.9, 1.09)


@pytest.mark.parametrize(
    ("factor", "first", "later", "words"),
    [
        (FELL, False, False, "RELAXATION, factor 0.50"),
        (FELL, False, True, "neither gain nor loss is shown, since the restrike is a LOWER BOUND: factor 0.50 (range"),
        (SAME, False, False, "no significant change, factor 0.99"),
        (GREW, False, False, "setup factor 1.50 (range 1.40 to 1.60), from signal matching."),
        (GREW, False, True, "LOWER BOUND: the restrike did not mobilise the full resistance."),
        (GREW, True, False, "It may be too high: the resistance of the initial drive is a LOWER BOUND."),
        (GREW, True, True, "LOWER BOUNDS: the resistance of the initial drive and that of the restrike"),
    ],
)
def test_a_change_is_worth_what_its_resistances_are(factor, first, later, words):
    found = {"matched_resistance": factor}
    told = setup_sentence(Setup("initial", "restrike", None, found, initial_bound=first, restrike_bound=later))
    assert words in told
    assert ("RELAXATION" in told) == (words.startswith("RELAXATION"))


@pytest.mark.parametrize(("share", "words"), [(0.998, "This meets"), (1.002, "This does not meet")])
def test_counts_that_differ_never_read_alike(matched, share, words):
    found = matched.answers.criterion
    stroke = np.full(5, float(found.criterion.rows[1].stroke))
    moved = share * permitted_set(found.criterion, stroke)
    measured = replace(found.measured, stroke=stroke, set_per_blow=moved)
    (told,) = own_blow_sentences(replace(found, measured=measured), "SI")
    own, asked = (part.split(" blows per")[0].split()[-1] for part in told.split(words))
    assert words in told and own != asked


def test_a_loss_with_time_is_told_as_a_loss():
    rate = Estimate(-0.14, -0.2, -0.09)
    law = TimeLaw(
        Estimate(1e6, 9e5, 1.1e6), rate, 86400.0, (1e3, 1e5), (), "matched_resistance", None, (0, 0), ((0, 0),)
    )
    told = rate_sentence(law, "resistance")
    assert told == "Each tenfold increase in time takes away 14 % (9 % to 20 %) of the resistance at 1.0 days."


@pytest.mark.parametrize("closeness", [1.01, 1.001, 1.0003])
def test_a_stress_close_to_its_limit_does_not_read_as_the_limit(closeness, matched):
    worst = max((one for one in matched.answers.stresses if one.sense == "tension"), key=lambda one: one.value)
    close = replace(matched.limits.tension, value=closeness * worst.value)
    told = stress_sentences(replace(matched, limits=replace(matched.limits, tension=close)))[1]
    value, limit = told.split("along the pile: ")[1].split(" ")[0], told.split("limit of ")[1].split(" ")[0]
    assert value != limit and "within" in told


def test_an_estimate_above_a_limit_that_the_matched_stress_keeps_is_told(matched):
    limit = 0.9 * max(float(drive.table["peak_tension_stress"].max()) for drive in matched.drives)
    tension = replace(matched.limits.tension, value=limit)
    limited = replace(matched, limits=replace(matched.limits, tension=tension))

    def with_matched(share):
        stresses = tuple(
            replace(one, value=share * limit) for one in matched.answers.stresses if one.sense == "tension"
        )
        return replace(limited, answers=replace(matched.answers, stresses=stresses))

    (told,) = estimate_sentences(with_matched(0.8))
    assert "above the limit" in told and "the matched stress counts" in told
    assert estimate_sentences(with_matched(1.1)) == []  # the answer itself says ABOVE


def test_no_resistance_is_stated_from_a_record_that_cannot_be_trusted(matched):
    bad = replace(matched.drives[0], trust=Trust("no", ("dead channel",)))
    assert "no resistance is given" in resistance_sentence(matched, bad)


def test_an_unmatched_resistance_says_what_it_hangs_on(reviewed):
    told = resistance_sentence(reviewed, reviewed.drives[0])
    assert "by the Case method" in told
    assert "a damping factor of 0.30 that no match confirms" in told


def test_a_poor_match_and_a_damaged_pile_are_said_loudly(matched):
    drive = matched.drives[0]
    poor = replace(drive, match=replace(drive.match, fitted=False, fully_mobilised=False))
    assert "POOR MATCH" in resistance_sentence(matched, poor)
    assert "LOWER BOUND" in resistance_sentence(matched, poor)
    found = Finding("integrity", "warning", (drive.representative.blow,), 0.6, 0.8, more={"depth": 5.0})
    assert "POSSIBLE DAMAGE" in resistance_sentence(matched, replace(drive, findings=(found,)))
    assert not {"POOR", "LOWER", "DAMAGE"} & set(resistance_sentence(matched, drive).split())


def test_a_matched_resistance_comes_with_its_blow_and_what_is_required(matched):
    told = resistance_sentence(matched, matched.drives[0])
    assert f"blow {matched.drives[0].representative.blow}" in told
    assert "required 380 kip" in told


def test_why_there_is_no_criterion_is_said(reviewed):
    assert "was not matched" in criterion_sentence(reviewed)


def test_without_a_criterion_its_reason_is_told_once_and_the_test_is_not_to_be_used_for_one(matched):
    not_reached, damaged = Caution(NO_STROKE[1], 2.9, 2.8), Caution("reduced section", 0.4, None, {"depth": 12.0})
    found = replace(matched.answers.criterion, criterion=None, cautions=(damaged, not_reached), alerts=(damaged,))
    review = replace(matched, answers=replace(matched.answers, criterion=found))
    assert pile_result(review).criterion.problem == not_reached
    (alert,) = alert_sentences(review)
    assert "FOR A CRITERION" in alert
    told = " ".join(" ".join(lines(review)).split())
    assert told.count("the lowest stroke that can show the resistance".lower()) == 1
    assert "The lowest stroke" not in told


MOST_WORDS = 25


def too_long(said):
    """Sentences of more words than are allowed; what a label in capitals says of the rest does not count."""
    parts = [one for words in said for one in re.split(r"(?<=[.;]) ", re.sub(r"^[A-Z ]+: ", "", words))]
    return [one for one in parts if len(one.split()) > MOST_WORDS]


def everything_said(review):
    """Every sentence of the answers of a review but the counts of a restrike, which are a table in a line."""
    found, system = review.answers.criterion, review.sheet.display_units
    said = [trust_sentence(review), criterion_sentence(review), *stress_sentences(review), *estimate_sentences(review)]
    said += [*alert_sentences(review), *case_alerts(review), *(setup_sentence(one) for one in review.answers.setups)]
    for drive in review.drives:
        said += [resistance_sentence(review, drive), *(match_sentences(drive.match, system) if drive.match else ())]
    if found is not None:
        said += [target_sentence(found.target, system), *own_blow_sentences(found, system)]
    if found is not None and found.criterion is not None:
        said += inspectors_card(found.criterion, system).sentences
    return [words for words in said if not words.startswith("Blows in the first ")]


@pytest.mark.parametrize("system", ["US", "SI"])
@pytest.mark.parametrize("name", ["matched_review", "plain_review", "concrete_review", "damaged_review"])
def test_sentences_are_short(request, renamed, name, system):
    reviewed = renamed(request.getfixturevalue(name), display_units=system)
    assert too_long(everything_said(reviewed)) == []


def test_sentences_about_stresses_are_short_without_a_limit_too(matched):
    needed = ("yield_strength", "compressive_strength")
    unlimited = {
        sense: replace(getattr(matched.limits, sense), value=None, needed=needed)
        for sense in ("compression", "tension")
    }
    said = stress_sentences(replace(matched, limits=replace(matched.limits, **unlimited)))
    assert any("No limit is known" in words for words in said) and too_long(said) == []


def test_a_long_sentence_would_be_seen():
    assert too_long(["DO NOT USE: " + 25 * "word " + "end.", "DO NOT USE: " + 24 * "word " + "end."]) != []
    assert too_long([13 * "word " + "end. " + 13 * "Word " + "end."]) == []


def test_the_range_of_a_stress_has_the_digits_of_its_value(matched):
    """A value that needs a digit more beside its limit does not stand among rounder ends of its range."""
    worst = max((one for one in matched.answers.stresses if one.sense == "tension"), key=lambda one: one.value)
    close = replace(matched.limits.tension, value=1.001 * worst.value)
    told = stress_sentences(replace(matched, limits=replace(matched.limits, tension=close)))[1]
    numbers = re.search(r"pile: ([\d.]+) \w+ \(([\d.]+) to ([\d.]+) \w+\)", told).groups()
    assert len({len(number.partition(".")[2]) for number in numbers}) == 1


def test_each_stress_names_its_own_limit_and_the_drive_in_good_english(matched):
    told = " ".join(stress_sentences(matched))
    limit = show_stress(gauge_stress(matched)[0], matched.limits.compression.value, matched.sheet.display_units)[1]
    assert f"the compression limit of {limit}" in told and "that limit" not in told
    assert re.search(r"It occurs in blow \d+ of the (initial drive|restrike)\b", told)
