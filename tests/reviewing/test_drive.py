"""A choice made on a reviewed drive gives what a review of the sheet with that choice gives."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from dyntest.errors import InputError
from dyntest.reading.sheet import read_sheet
from dyntest.reviewing.drive import choose, drive_waves, review_drive


@pytest.fixture(scope="module")
def sheet(request):
    return read_sheet(request.config.rootpath / "sample_signals" / "pier_3_shale" / "sheet.toml")


@pytest.fixture(scope="module")
def reviewed(sheet):
    """Every drive of the sample as its sheet has it, with the waves of all its blows."""
    drives = {drive.name: review_drive(sheet, drive) for drive in sheet.drives}
    return {name: (drive, drive_waves(sheet, drive)) for name, drive in drives.items()}


def with_choices(sheet, **choices):
    return replace(sheet, choices=replace(sheet.choices, **choices))


def assert_same(one, other):
    pd.testing.assert_frame_equal(one.table, other.table)
    assert one.findings == other.findings
    assert (one.damping_source, one.representative, one.trust) == (
        other.damping_source,
        other.representative,
        other.trust,
    )
    np.testing.assert_allclose(one.waves.force, other.waves.force, rtol=1e-12)
    np.testing.assert_allclose(one.waves.velocity, other.waves.velocity, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("name", ["initial", "restrike"])
@pytest.mark.parametrize("factor", [0.0, 0.35, 0.9])
def test_another_damping_factor_as_if_reviewed_with_it(sheet, reviewed, name, factor):
    asked = with_choices(sheet, damping_factor=factor)
    drive, waves = reviewed[name]
    assert_same(choose(asked, drive, waves), review_drive(asked, drive.drive))


def test_another_blow_as_if_reviewed_with_it(sheet, reviewed):
    drive, waves = reviewed["initial"]
    number = int(drive.table["blow"].iloc[40])
    asked = with_choices(sheet, blow={"initial": number})
    again = choose(asked, drive, waves)
    assert again.representative.blow == number
    assert_same(again, review_drive(asked, drive.drive))


def test_a_calibrated_factor_as_if_reviewed_with_it(sheet, reviewed):
    drive, waves = reviewed["initial"]
    again = choose(sheet, drive, waves, calibrated=0.2)
    assert again.damping_source == "signal matching"
    assert_same(again, review_drive(sheet, drive.drive, calibrated=0.2))
    assert set(again.table["damping_factor"]) == {0.2} and set(again.table["damping_factor_maximum"]) == {0.4}
    own = choose(with_choices(sheet, damping_factor=0.4), drive, waves).table  # the engineer's holds for both
    np.testing.assert_array_equal(again.table["case_resistance_maximum"], own["case_resistance_maximum"])


def test_a_match_goes_with_its_blow(sheet, reviewed):
    drive, waves = reviewed["initial"]
    matched = replace(drive, match_problem="a word that stands for a match")
    assert choose(sheet, matched, waves).match_problem == matched.match_problem
    other = with_choices(sheet, blow={"initial": int(drive.table["blow"].iloc[0])})
    assert choose(other, matched, waves).match_problem == ""


def test_a_blow_that_was_not_recorded_is_refused(sheet, reviewed):
    with pytest.raises(InputError, match="9999") as caught:
        choose(with_choices(sheet, blow={"restrike": 9999}), *reviewed["restrike"])
    assert caught.value.place == "[choices] blow, restrike"


def test_waves_of_all_blows_are_those_of_each(sheet, reviewed):
    drive, waves = reviewed["initial"]
    row = int(np.flatnonzero(waves.blow == drive.representative.blow)[0])
    np.testing.assert_allclose(waves.force[row], drive.waves.force[0], rtol=1e-12)
    assert waves.force.shape == (len(drive.table), len(waves.time))
