"""The walk from sheet to answers, and the answers as data for other programs."""

import hashlib
import json
from dataclasses import replace

import numpy as np
import pytest

from dyntest.conditioning.condition import Options, condition
from dyntest.conditioning.findings import Finding
from dyntest.decisions.trust import Trust
from dyntest.errors import InputError
from dyntest.names import NAMES
from dyntest.presenting.sentences import criterion_sentence, resistance_sentence
from dyntest.presenting.summary import summary, summary_json
from dyntest.presenting.terminal import lines
from dyntest.reviewing.review import review


@pytest.fixture
def reviewed(small_review):
    return small_review


@pytest.fixture
def matched(small_review_matched):
    return small_review_matched


def edit(sheet, old, new):
    text = sheet.read_text()
    assert old in text
    sheet.write_text(text.replace(old, new, 1))


def test_drives_come_in_the_order_of_the_sheet_with_every_blow(reviewed):
    assert [(drive.name, drive.kind, len(drive.table)) for drive in reviewed.drives] == [
        ("initial", "initial", 12),
        ("restrike", "restrike", 8),
    ]


def test_numbers_are_those_of_the_representative_blow(reviewed):
    drive = reviewed.drives[0]
    row = drive.table.set_index("blow").loc[drive.representative.blow]
    assert drive.numbers["peak_force"] == row["peak_force"]
    assert drive.numbers["blow"] == drive.representative.blow
    assert all(np.isfinite(value) for value in drive.numbers.values())


def test_waves_are_those_of_the_representative_blow(reviewed):
    drive = reviewed.drives[0]
    every = condition(drive.signals, reviewed.sheet.pile, Options()).waves
    row = int(np.flatnonzero(every.blow == drive.representative.blow)[0])
    assert row > 0
    np.testing.assert_array_equal(drive.waves.force[0], every.force[row])
    assert drive.waves.force.max() == drive.numbers["peak_force"]


def test_the_engineers_own_blow_goes_before_the_rule(small_test, reviewed):
    other = reviewed.drives[0].representative.blow - 3
    edit(small_test, "[[drive]]", f"[choices.blow]\ninitial = {other}\n\n[[drive]]")
    chosen = review(small_test, match="none").drives[0].representative
    assert chosen.blow == other
    assert chosen.rule == "engineer"


def test_a_blow_that_was_not_recorded_is_refused(small_test):
    edit(small_test, "[[drive]]", "[choices.blow]\ninitial = 99999\n\n[[drive]]")
    with pytest.raises(InputError, match="blow 99999 was not recorded"):
        review(small_test)


def test_without_a_damping_factor_no_resistance_that_needs_one_is_given(small_test):
    edit(small_test, "damping_factor = 0.3\n", "")
    edit(small_test, 'toe = "rock"\n', "")
    unmatched = review(small_test, match="none")
    drive = unmatched.drives[0]
    assert drive.damping_source == "none"
    assert "case_resistance" not in drive.numbers
    assert "total_resistance" in drive.numbers
    told = lines(unmatched)
    assert any("No damping factor is known" in line for line in told)
    assert any("no static resistance is known" in line for line in told)


def test_a_match_calibrates_the_damping_factor_that_nobody_gave(small_test):
    edit(small_test, "damping_factor = 0.3\n", "")
    edit(small_test, 'toe = "rock"\n', "")
    drive = review(small_test).drives[0]
    assert drive.damping_source == "signal matching"
    assert drive.numbers["case_resistance"] == pytest.approx(drive.match.matched_resistance, rel=0.01)


def test_progress_is_told_and_never_goes_back(small_test):
    told = []
    review(small_test, match="none", progress=lambda step, share: told.append((step, share)))
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    assert "working out restrike" in [step for step, _ in told]


def test_trust_is_that_of_the_worst_drive(reviewed):
    good, bad = (
        replace(drive, trust=answer)
        for drive, answer in zip(reviewed.drives, (Trust("yes"), Trust("no", ("dead",))), strict=True)
    )
    assert replace(reviewed, drives=(good, bad)).trust == Trust("no", ("dead",))


def test_summary_has_the_documented_shape(reviewed, small_test):
    data = json.loads(summary_json(reviewed))
    assert (data["format"], data["pile"]) == (1, "P3-1")
    files = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in small_test.parent.iterdir()}
    assert data["inputs"] == files
    for drive, source in zip(data["drives"], reviewed.drives, strict=True):
        assert {"name", "kind", "blows", "representative", "findings"} <= set(drive)
        assert {"blow", "peak_force", "case_resistance", "damping_factor"} <= set(drive["representative"])
        assert drive["blows"] == len(source.table)
        numbers = {code for code in drive["representative"] if code in NAMES}
        assert numbers <= set(data["units"])
        for finding in drive["findings"]:
            assert {"check", "severity", "blows", "value", "threshold", "message"} <= set(finding)
            assert finding["severity"] in ("note", "warning", "reject")
    assert all(data["units"][code] == NAMES[code].unit for code in data["units"])


def test_a_matched_blow_says_its_resistance_with_its_range_and_against_what_is_required(matched):
    data = summary(matched)
    for drive, source in zip(data["drives"], matched.drives, strict=True):
        chosen = drive["representative"]
        low, high = chosen["matched_resistance_range"]
        assert low <= chosen["matched_resistance"] <= high
        assert {"shaft_resistance", "toe_resistance", "misfit"} <= set(chosen)
        assert chosen["matched_resistance"] == pytest.approx(source.match.matched_resistance, rel=1e-8)
    told = resistance_sentence(matched, matched.drives[0])
    assert "from signal matching of blow" in told
    assert "380 kip is required" in told
    factors = data["setup"]["restrikes"][0]["factors"]
    ends = [drive["representative"]["matched_resistance"] for drive in data["drives"]]
    assert factors["matched_resistance"]["value"] == pytest.approx(ends[1] / ends[0], rel=1e-6)
    assert data["criterion"]["rows"]


@pytest.mark.parametrize(
    ("required", "words"),
    [
        (0.5, "which it shows"),
        (1.0, "which lies within that range and is not shown for certain"),
        (2.0, "which it does NOT show"),
    ],
)
def test_a_resistance_is_held_against_what_is_required(matched, required, words):
    drive = matched.drives[0]
    asked = replace(matched.answers.required, value=required * drive.match.matched_resistance)
    told = resistance_sentence(replace(matched, answers=replace(matched.answers, required=asked)), drive)
    assert told.endswith(f"{words}.")


def test_no_resistance_is_stated_from_a_record_that_cannot_be_trusted(matched):
    bad = replace(matched.drives[0], trust=Trust("no", ("dead channel",)))
    assert "no resistance is stated" in resistance_sentence(matched, bad)


def test_an_unmatched_resistance_says_what_it_hangs_on(reviewed):
    told = resistance_sentence(reviewed, reviewed.drives[0])
    assert "by the Case method" in told
    assert "if the damping factor 0.30 is right" in told


def test_a_poor_match_and_a_damaged_pile_are_said_loudly(matched):
    drive = matched.drives[0]
    poor = replace(drive, match=replace(drive.match, fitted=False, fully_mobilised=False))
    assert "THE MATCH IS POOR" in resistance_sentence(matched, poor)
    assert "A LOWER BOUND" in resistance_sentence(matched, poor)
    found = Finding("integrity", "warning", (drive.representative.blow,), 0.6, 0.8, more={"depth": 5.0})
    assert "MAY BE DAMAGED" in resistance_sentence(matched, replace(drive, findings=(found,)))
    assert not {"POOR", "LOWER", "DAMAGED"} & set(resistance_sentence(matched, drive).split())


def test_without_a_match_there_is_no_criterion_and_it_says_why(reviewed):
    assert "was not matched" in criterion_sentence(reviewed)
    assert summary(reviewed)["criterion"]["problem"]


def test_summary_holds_no_number_that_was_not_worked_out(reviewed):
    drive = reviewed.drives[0]
    blank = replace(drive, table=drive.table.assign(case_resistance=np.nan))
    written = summary(replace(reviewed, drives=(blank,)))["drives"][0]["representative"]
    assert written.get("case_resistance") is None
    assert "misfit" not in written


def test_summary_of_a_drive_without_a_sound_blow(reviewed):
    bare = replace(reviewed.drives[0], representative=None, waves=None, trust=Trust("no", ("no sound blow",)))
    unsound = replace(reviewed, drives=(bare,))
    assert json.loads(summary_json(unsound))["drives"][0]["representative"] is None
    told = lines(unsound)
    assert told[0] == "P3-1: the record cannot be trusted as it stands (no sound blow)."


def test_the_terminal_answers_first_and_every_number_has_the_display_unit(reviewed):
    told = lines(reviewed)
    assert told[0].startswith("P3-1: the record can")
    assert any("kip" in line for line in told)
    assert not any(unit in line for line in told for unit in (" kN", " MPa", " kJ"))
    assert max(len(line) for line in told) <= 100


def test_stress_above_its_limit_is_said_loudly(reviewed):
    low = replace(reviewed.limits, compression=replace(reviewed.limits.compression, value=1e6))
    assert any("ABOVE the limit" in line for line in lines(replace(reviewed, limits=low)))
    assert not any("ABOVE" in line for line in lines(reviewed))


def test_a_lower_bound_is_called_one(reviewed):
    drive = reviewed.drives[0]
    little = replace(drive, representative=replace(drive.representative, lower_bound=True))
    assert any("LOWER BOUND" in line for line in lines(replace(reviewed, drives=(little,))))
    assert not any("LOWER BOUND" in line for line in lines(replace(reviewed, drives=(drive,))))
