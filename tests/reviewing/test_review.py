"""The walk from sheet to answers."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.conditioning.condition import Options, condition
from dyntest.decisions.trust import Trust
from dyntest.errors import InputError
from dyntest.presenting.report.answers import trust_blocks
from dyntest.presenting.report.front_page import all_cautions
from dyntest.presenting.sentences import trust_sentence
from dyntest.presenting.terminal import lines
from dyntest.reviewing.review import review


@pytest.fixture
def reviewed(small_review):
    return small_review


def edit(sheet, old, new):
    text = sheet.read_text()
    assert old in text
    sheet.write_text(text.replace(old, new, 1))


def test_drives_come_in_the_order_of_the_sheet_with_every_blow(reviewed):
    assert [(drive.name, drive.kind, len(drive.table)) for drive in reviewed.drives] == [
        ("initial", "initial", 12),
        ("restrike", "restrike", 8),
    ]


def test_each_drive_is_given_once_as_the_review_has_it(small_test):
    given = {}
    reviewed = review(small_test, match="none", each=lambda sheet, drive: given.update({drive.name: drive}))
    assert sorted(given) == sorted(drive.name for drive in reviewed.drives)
    for drive in reviewed.drives:
        assert given[drive.name].representative == drive.representative
        assert given[drive.name].table is drive.table


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
    with pytest.raises(InputError, match="99999"):
        review(small_test)


def test_without_a_damping_factor_no_resistance_that_needs_one_is_given(small_test):
    edit(small_test, "damping_factor = 0.3\n", "")
    edit(small_test, 'toe = "rock"\n', "")
    unmatched = review(small_test, match="none")
    drive = unmatched.drives[0]
    assert drive.damping_source == "none"
    assert "case_resistance" not in drive.numbers
    assert "total_resistance" in drive.numbers


@pytest.mark.sweep
def test_a_match_calibrates_the_damping_factor_that_nobody_gave(small_test):
    edit(small_test, "damping_factor = 0.3\n", "")
    edit(small_test, 'toe = "rock"\n', "")
    edit(small_test, 'nominal_resistance = "380 kip"\n', "")  # no criterion is derived
    drive = review(small_test).drives[0]
    assert drive.damping_source == "signal matching"
    rounding = 0.005 * 2.0 * drive.numbers["peak_force"]  # the factor has two decimals, and |dR/dJ| is below 2 F_max
    assert drive.numbers["case_resistance"] == pytest.approx(drive.match.matched_resistance, abs=rounding)
    added = drive.numbers["damping_factor_maximum"] - drive.numbers["damping_factor"]
    assert added >= 0.2 - 1e-9, "with the factor of the first peak the largest over time is too high"


def test_progress_is_told_and_never_goes_back(small_test):
    told = []
    review(small_test, match="none", progress=lambda step, share: told.append((step, share)))
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    assert "evaluating restrike" in [step for step, _ in told]


def test_trust_is_that_of_the_worst_drive(reviewed):
    good, bad = (
        replace(drive, trust=answer)
        for drive, answer in zip(reviewed.drives, (Trust("yes"), Trust("no", ("dead",))), strict=True)
    )
    assert replace(reviewed, drives=(good, bad)).trust == Trust("no", ("dead",))


@pytest.mark.parametrize(("blows", "words"), [(1, "only one blow was recorded"), (2, "only 2 blows were recorded")])
def test_a_drive_of_one_or_two_blows_is_trusted_only_with_care(tmp_path, lay_out_small_test, blows, words):
    """One blow with nothing beside it was trusted without a word; terminal, report and page tell of it alike."""
    found = review(lay_out_small_test(tmp_path, initial=blows), match="none")
    assert found.trust.answer == "with care" and "few blows recorded" in found.trust.reasons
    assert "few blows recorded" in trust_sentence(found)
    (caution,) = [one for _, one in all_cautions(found) if one.check == "few blows recorded"]
    assert words in caution.message and caution.message.startswith("initial: ") and caution.cure
    assert any(words in line for line in lines(found))
    heads = [block["text"] for block in trust_blocks(found, ()) if block["kind"] == "heading"]
    assert heads[0].endswith("findings on 1 blow" if blows == 1 else "findings on 2 blows")


def test_a_drive_of_three_blows_is_not_called_one_of_few(tmp_path, lay_out_small_test):
    found = review(lay_out_small_test(tmp_path, initial=3, restrike=3), match="none")
    assert "few blows recorded" not in found.trust.reasons
