"""The sentences of the answers, with their numbers and what speaks against them."""

from dataclasses import replace

import pytest

from dyntest.conditioning.findings import Finding
from dyntest.decisions.driving_criterion import NO_STROKE
from dyntest.decisions.trust import Caution, Trust
from dyntest.presenting.sentences import alert_sentences, criterion_sentence, resistance_sentence
from dyntest.presenting.terminal import lines
from dyntest.reviewing.pile_result import pile_result


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
