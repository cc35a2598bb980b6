"""Every finding and every choice of a blow has its sentence, in the units that the reader asked for."""

import re
from dataclasses import replace

import pytest

from dyntest.conditioning.findings import Finding
from dyntest.conditioning.judging import CHANNEL_CHECKS, DRIFT_CHECK, KIND_CHECKS, PAIR_CHECKS, RECORD_CHECKS
from dyntest.presenting.finding_words import WORDS, choice_reasons, choice_words, finding_cure, finding_message
from dyntest.presenting.sentences import trust_sentence
from dyntest.quantities.representative import Representative

CHECKS = [
    *(check for group in (CHANNEL_CHECKS, PAIR_CHECKS, KIND_CHECKS) for checks in group.values() for check in checks),
    *RECORD_CHECKS,
    DRIFT_CHECK,
]


def test_a_value_just_above_its_threshold_does_not_read_as_the_threshold():
    """Such as: still has 15 % of its peak, above 15 %."""
    finding = Finding("velocity not settling", "note", (9,), 0.1532, 0.15, n_blows=20)
    assert "15.3 % of its peak (root mean square), above 15 %" in finding_message(finding, "US")


@pytest.mark.parametrize(
    ("system", "said"), [("US", "0.097 in, less than 0.100 in"), ("SI", "2.46 mm, less than 2.54 mm")]
)
def test_a_movement_just_below_its_threshold_does_not_read_as_the_threshold(system, said):
    finding = Finding("small movement", "warning", (3,), 2.46e-3, 2.54e-3, n_blows=9)
    assert said in finding_message(finding, system)


@pytest.mark.parametrize(("system", "said"), [("US", "only 0.00 in"), ("SI", "only 0.0 mm")])
def test_a_pile_that_ended_a_little_above_where_it_began_did_not_move(system, said):
    """Drift lets a blow at refusal end above zero; a movement below none is told to nobody."""
    finding = Finding("small movement", "warning", (3,), -1.8e-4, 2.54e-3, n_blows=9)
    assert said in finding_message(finding, system)


MORE = {"depth": 12.4, "upper_bound": 1.0, "error": 0.01, "soil": "clay", "upper": "or higher", "source": "from memory"}
MORE |= {
    "for_maximum": 0.6,
    "log": "log.csv",
    "length": 20.0,
    "gauges": "bending",
    "resolved": 5.0,
    "top": 1.0,
    "bottom": 3.0,
    "first": "71",
    "last": "110",
}


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: f"{check.name} {check.case}")
def test_each_check_of_the_catalogue_has_its_words(check):
    assert (check.name, check.case) in WORDS


@pytest.mark.parametrize("system", ["SI", "US"])
@pytest.mark.parametrize("key", WORDS, ids=" ".join)
def test_no_reader_meets_the_units_of_the_other_system(key, system):
    check, case = key
    found = Finding(check, "warning", (3, 4), 0.0123, 0.5, "strain_1", case, 9, more=MORE)
    for said in (finding_message(found, system), finding_cure(found, system)):
        assert "{" not in said and "nan" not in said
        other = r"\d (m|mm|m/s²|kN|µm/m)\b" if system == "US" else r"\d (ft|in|kip|µε)\b"
        assert not re.search(other, said)


def test_numbers_are_those_of_the_finding():
    found = Finding("small movement", "warning", (3, 4), 1e-3, 2.54e-3, n_blows=9)
    assert "1.0 mm" in finding_message(found, "SI") and "2.5 mm" in finding_message(found, "SI")
    assert "0.04 in" in finding_message(found, "US")
    damage = Finding("integrity", "warning", (3,), 0.55, 0.95, n_blows=9, more={"depth": 12.4})
    assert "12.40 m" in finding_message(damage, "SI") and "40.7 ft" in finding_message(damage, "US")
    assert "broken" in finding_message(damage, "SI")


def test_reasons_follow_the_choice():
    chosen = Representative(36, "initial", 20, 18, (), 10, 9, "case_resistance")
    assert len(choice_reasons(chosen, "SI")) == 3
    bound = choice_reasons(replace(chosen, lower_bound=True), "US")
    assert len(bound) == 4 and "0.10 in" in bound[-1]
    warned = choice_reasons(replace(chosen, sound=0, warned=("drift",)), "SI")
    assert "drift" in warned[0]
    assert "engineer" in choice_words(Representative(3, "engineer"), "SI")
    alone = Representative(3, "initial", looked_at=1, sound=1, compared=1, full=1, middle_of="case_resistance")
    assert choice_reasons(alone, "SI") == ["it is the only blow recorded"]
    assert "drift" in choice_reasons(replace(alone, sound=0, warned=("drift",)), "SI")[1]


def test_a_note_at_the_blow_that_stands_for_a_drive_is_told_with_the_answer(concrete_review):
    drive = concrete_review.drives[0]
    blow = drive.representative.blow
    note = Finding("gas before impact", "note", (blow,), 0.02, 0.004, n_blows=len(drive.table))
    noted = replace(drive, trust=replace(drive.trust, at_blow=(note,)))
    said = trust_sentence(replace(concrete_review, drives=(noted,)))
    assert f"gas before impact (blow {blow})" in said
    assert "gas" not in trust_sentence(replace(concrete_review, drives=(drive,)))
