"""What the drives answer together, and what is said where they cannot answer."""

import json
from dataclasses import replace

import numpy as np
import pytest

from dyntest.presenting.summary import summary, summary_json
from dyntest.presenting.terminal import lines
from dyntest.reviewing.answers import drive_result
from dyntest.reviewing.pile_criterion import LAST_BLOWS, measured_blows
from dyntest.reviewing.review import conclude


@pytest.fixture(scope="module")
def clay(reviewed_sample):
    return reviewed_sample("pier_2_clay")


def concluded(review, *, drives=None, **sheet):
    return conclude(replace(review.sheet, **sheet), review.drives if drives is None else drives)


def test_a_restrike_borrows_its_stroke_from_the_next_blows(clay):
    restrike = clay.drives[2]
    assert "stroke" not in restrike.numbers  # the first blow of a drive has no time since the one before
    result = drive_result(clay.sheet, restrike)
    assert result.stroke == pytest.approx(float(restrike.table["stroke"].iloc[1:4].median()))


def test_no_caution_shows_a_number_that_is_not_known(clay):
    told = [caution.message for setup in clay.answers.setups for caution in setup.cautions]
    told += [caution.message for caution in clay.answers.criterion.cautions]
    assert told
    assert not [message for message in told if "–" in message or "nan" in message]


def test_measured_blows_are_the_last_of_the_initial_drive(clay):
    table = clay.drives[0].table
    blows = measured_blows(table)
    assert blows.stroke.shape == (LAST_BLOWS,)
    np.testing.assert_array_equal(blows.set_per_blow, table["set_per_blow"].tail(LAST_BLOWS))
    assert np.isnan(measured_blows(table.drop(columns="stroke")).stroke).all()


def test_the_law_goes_through_every_drive(clay):
    law = clay.answers.time_law
    assert law is not None
    assert set(clay.answers.fades) == {"restrike_1", "restrike_2"}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda r: {"requirement": replace(r.sheet.requirement, nominal_resistance=None)}, "no resistance is required"),
        (lambda r: {"drives": r.drives[1:]}, "no initial drive"),
        (lambda r: {"drives": (replace(r.drives[0], match=None), *r.drives[1:])}, "no matched soil"),
        (lambda r: {"drives": hammerless(r, None)}, r"no \[hammer\]"),
        (lambda r: {"drives": hammerless(r, replace(r.sheet.hammer, helmet_mass=None))}, "helmet_mass"),
    ],
)
def test_why_there_is_no_criterion_is_said(clay, change, words):
    without = concluded(clay, **change(clay))
    assert without.answers.criterion is None
    with pytest.raises(AssertionError, match=words):
        raise AssertionError(without.answers.criterion_problem)
    assert summary(without)["criterion"] == {"problem": without.answers.criterion_problem}
    assert any("No driving criterion" in line for line in lines(without))


def hammerless(review, hammer):
    first = review.drives[0]
    return (replace(first, drive=replace(first.drive, hammer=hammer)), *review.drives[1:])


def test_another_hammer_at_the_restrike_gives_no_counts_for_it(clay):
    later = clay.drives[2]
    other = replace(later, drive=replace(later.drive, hammer=replace(clay.sheet.hammer, hammer_cushion_stiffness=5e8)))
    found = concluded(clay, drives=(*clay.drives[:2], other)).answers.criterion.criterion
    assert found.restrike.rows == ()
    assert clay.answers.criterion.criterion.restrike.rows


def test_summary_holds_setup_and_criterion_in_their_shape(clay):
    told = json.loads(summary_json(clay))
    assert told["setup"]["setup_factor"] == pytest.approx(clay.answers.setups[-1].setup_factor.value)
    assert told["setup"]["time_law"]["rate"]["value"] == pytest.approx(clay.answers.time_law.rate.value)
    assert [restrike["fade"]["beyond_scatter"] for restrike in told["setup"]["restrikes"]] == [True, True]
    criterion, found = told["criterion"], clay.answers.criterion
    assert criterion["required_resistance"] == pytest.approx(clay.answers.required.value)
    assert criterion["end_of_drive_resistance"] == pytest.approx(found.target.value)
    assert [row["stroke"] for row in criterion["rows"]] == pytest.approx([row.stroke for row in found.rows])
    for row, own in zip(criterion["rows"], found.rows, strict=True):
        assert row["blows_per_25mm"] == pytest.approx(own.count * 25.0 / 25.4)  # the sheet counts by the inch
        assert row["ruled_out"] is None


def test_rows_that_cannot_be_used_are_marked(reviewed_sample):
    told = summary(reviewed_sample("pier_3_shale"))["criterion"]["rows"]
    assert "beyond practical refusal" in told[0]["ruled_out"]
    assert told[-1]["ruled_out"] is None


def test_a_disagreement_is_said_before_everything_else(clay):
    first = clay.drives[0]
    halved = first.table.assign(set_per_blow=first.table["set_per_blow"] * 0.5)
    wrong = concluded(clay, drives=(replace(first, table=halved), *clay.drives[1:]))
    assert wrong.answers.criterion.agrees is False
    told = lines(wrong)
    assert told[1].startswith("DO NOT USE THE DRIVING CRITERION YET: the bearing graph reads")
    assert next(iter(summary(wrong)["criterion"])) == "alerts"
