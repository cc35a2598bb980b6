"""The match of a reviewed drive: what it is taken from, and why there is none where there is none."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.quantities.case_resistance import case_resistance
from dyntest.reviewing.drive import review_drive
from dyntest.reviewing.drive_match import as_blow, match_drive


@pytest.fixture(scope="module")
def clay(reviewed_sample):
    return reviewed_sample("pier_2_clay")


def test_the_calibrated_factor_makes_the_case_method_agree(clay):
    drive, pile = clay.drives[0], clay.sheet.pile
    waves, factor = drive.waves, drive.calibrated_damping_factor
    again = case_resistance(waves.down, waves.up, waves.first_peak, pile.return_time, waves.time_step, factor)
    assert again[0] == pytest.approx(drive.match.matched_resistance, rel=1e-6)


def test_the_match_has_the_representative_blow(clay):
    drive = clay.drives[0]
    np.testing.assert_array_equal(drive.match.problem.blow.force, drive.waves.force[0])
    row = drive.table.set_index("blow").loc[drive.representative.blow]
    assert drive.match.problem.blow.embedded == pytest.approx(min(row["penetration"], clay.sheet.pile.length))


def test_an_unknown_penetration_counts_the_whole_pile_as_embedded(clay):
    blow = as_blow(clay.drives[0].waves, 0, clay.sheet, float("nan"))
    assert blow.embedded == clay.sheet.pile.length
    assert as_blow(clay.drives[0].waves, 0, clay.sheet, 1e3).embedded == clay.sheet.pile.length


def test_why_a_drive_is_not_matched_is_said(clay):
    drive = replace(clay.drives[0], match=None)
    assert "no blow is sound" in match_drive(clay.sheet, replace(drive, representative=None)).match_problem
    distrusted = replace(drive, trust=replace(drive.trust, answer="no", reasons=("dead channel",)))
    found = match_drive(clay.sheet, distrusted)
    assert found.match is None
    assert "cannot be trusted" in found.match_problem


def test_a_review_of_a_drive_alone_has_no_match(small_test):
    from dyntest.reading.sheet import read_sheet

    sheet = read_sheet(small_test)
    drive = review_drive(sheet, sheet.drives[1])
    assert drive.match is None
    assert drive.match_problem == ""
    assert "matched_resistance" not in drive.numbers
