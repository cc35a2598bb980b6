"""The match of a reviewed drive: what it is taken from, and why there is none where there is none.

A reduction that the integrity factor does not show is looked for where the uniform pile explains the record poorly.

The record was computed by a finite-element library with half the section missing from 11.0 to 12.5 m below the gauges
(tests/data/reference_tests/PROVENANCE.md).
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dyntest.conditioning.findings import Finding
from dyntest.quantities.case_resistance import case_resistance
from dyntest.reading.sheet import read_sheet
from dyntest.reviewing import drive_match
from dyntest.reviewing.drive import review_drive
from dyntest.reviewing.drive_match import MOST_TOGETHER, NEARBY, as_blow, blows_beside, match_drive
from dyntest.wave_equation.comparison import Runs


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
    blow = as_blow(clay.drives[0].waves, 0, clay.sheet, pd.Series({"penetration": np.nan}))
    assert blow.embedded == clay.sheet.pile.length
    deep = pd.Series({"penetration": 1e3})
    assert as_blow(clay.drives[0].waves, 0, clay.sheet, deep).embedded == clay.sheet.pile.length


@pytest.mark.parametrize("which", [0, 1, 2])
def test_blows_of_other_energy_are_matched_beside_the_representative_one(clay, which):
    drive = clay.drives[which]
    nearby = NEARBY[drive.kind]
    rows, chosen = blows_beside(drive), list(drive.table["blow"]).index(drive.representative.blow)
    assert 0 < len(rows) < MOST_TOGETHER[drive.kind]
    assert chosen not in rows
    assert (np.abs(rows - chosen) <= nearby).all()
    assert len(drive.match.problem.blows) == 1 + len(rows)
    after = drive.table["blow"].to_numpy()[rows] - drive.representative.blow
    assert [blow.after for blow in drive.match.problem.blows] == [
        0,
        *(after if drive.kind == "restrike" else 0 * after),
    ]
    force = drive.table["peak_force"].to_numpy()
    window = slice(max(chosen - nearby, 0), chosen + nearby + 1)
    assert force[rows].max() == force[window][np.arange(len(force[window])) != chosen - window.start].max()


def test_blows_that_are_alike_are_matched_alone(clay):
    drive = clay.drives[0]
    alike = replace(drive, table=drive.table.assign(peak_force=2e6))
    assert len(blows_beside(alike)) == 0
    doubted = Finding("spikes", "warning", tuple(drive.table["blow"]), 1.0, 0.5, "spikes", "look")
    assert len(blows_beside(replace(drive, findings=(doubted,)))) == 0


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


SHEET = Path(__file__).parents[1] / "data" / "reference_tests" / "steel_reduced_section" / "sheet.toml"


@pytest.mark.sweep
def test_a_hidden_reduction_is_found():
    sheet = read_sheet(SHEET)
    drive = review_drive(sheet, sheet.drives[0])
    blind = drive.table.assign(integrity_factor=1.0, integrity_depth=np.nan)
    match = match_drive(sheet, replace(drive, table=blind)).match
    assert match.section.depth == pytest.approx(11.0, abs=0.5)
    assert match.section.section_left == pytest.approx(0.5, abs=0.1)
    assert match.matched_resistance == pytest.approx(900e3, rel=0.05)


def test_a_drive_that_cannot_be_matched_does_not_hold_those_beside_it(monkeypatch):
    def answering(asked):
        yield Runs([])
        if asked == "short":
            raise ValueError("the record ends too early")
        return asked

    monkeypatch.setattr(drive_match, "_answering", answering)
    assert drive_match._answered(["a match", "short"]) == ["a match", "the record ends too early"]
