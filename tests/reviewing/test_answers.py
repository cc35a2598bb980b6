"""What the drives answer together, and what is said where they cannot answer."""

import json
from dataclasses import replace

import numpy as np
import pytest

from dyntest.conditioning.findings import Finding
from dyntest.decisions.criterion import set_at
from dyntest.decisions.driving_criterion import DISAGREEMENT, driving_criterion
from dyntest.presenting.criterion_words import ALERT
from dyntest.presenting.decision_words import told
from dyntest.presenting.summary import summary, summary_json
from dyntest.presenting.terminal import lines
from dyntest.reviewing import pile_criterion
from dyntest.reviewing.answers import drive_result
from dyntest.reviewing.pile_criterion import LAST_BLOWS, measured_blows
from dyntest.reviewing.review import conclude
from dyntest.wave_equation.bearing_graph import calibrate_hammer


@pytest.fixture(scope="module")
def clay(reviewed_sample):
    return reviewed_sample("pier_2_clay")


@pytest.fixture(autouse=True)
def _each_calibrated_once(monkeypatch, calibrations):
    """Calibrate the hammer once for one match and one blow: what is tested here is what follows from it."""

    def calibrated(match, hammer, stroke, force, energy, blows=None):
        key = (id(match), hammer, stroke, force, energy)
        if key not in calibrations:
            calibrations[key] = calibrate_hammer(match, hammer, stroke, force, energy, blows)
        return calibrations[key]

    monkeypatch.setattr(pile_criterion, "calibrate_hammer", calibrated)


@pytest.fixture(scope="module")
def calibrations(clay):
    """What was calibrated, by match and blow; the review has done that of the end of driving."""
    first = clay.drives[0]
    numbers, hammer = first.numbers, first.drive.hammer
    blow = (numbers["stroke"], numbers["peak_force"], numbers["transferred_energy"])
    return {(id(first.match), hammer, *blow): clay.answers.criterion.calibrated}


GIVEN = {"compression_stress_limit": 280e6, "tension_stress_limit": 280e6}


def concluded(review, *, drives=None, **sheet):
    return conclude(replace(review.sheet, **sheet), review.drives if drives is None else drives)


def test_a_restrike_borrows_its_stroke_from_the_next_blows(clay):
    restrike = clay.drives[2]
    assert "stroke" not in restrike.numbers  # the first blow of a drive has no time since the one before
    result = drive_result(clay.sheet, restrike)
    assert result.stroke == pytest.approx(float(restrike.table["stroke"].iloc[1:4].median()))


def test_no_caution_shows_a_number_that_is_not_known(clay):
    given = [caution for setup in clay.answers.setups for caution in setup.cautions]
    given += clay.answers.criterion.cautions
    messages = [told(caution, "US").message for caution in given]
    assert messages
    assert not [message for message in messages if "–" in message or "nan" in message]


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
        (lambda r: {"requirement": replace(r.sheet.requirement, nominal_resistance=None)}, "no requirement"),
        (lambda r: {"drives": r.drives[1:]}, "no initial drive"),
        (lambda r: {"drives": (replace(r.drives[0], match=None), *r.drives[1:])}, "no matched soil"),
        (lambda r: {"drives": hammerless(r, None)}, "no hammer"),
        (lambda r: {"drives": hammerless(r, replace(r.sheet.hammer, helmet_mass=None))}, "hammer data missing"),
        (lambda r: {"drives": without_a_stroke(r)}, "hammer not calibrated"),
        (lambda r: {"drives": miscounted(r)}, "count and set disagree"),
    ],
)
def test_why_there_is_no_criterion_is_said(clay, change, words):
    without = concluded(clay, **change(clay))
    assert without.answers.criterion is None
    assert without.answers.criterion_problem.kind == words
    assert summary(without)["criterion"]["kind"] == words
    assert summary(without)["criterion"]["problem"] == told(without.answers.criterion_problem, "US").sentence
    assert any("No driving criterion" in line for line in lines(without))


def miscounted(review):
    """A log that counts half as many blows again as were recorded, so that no blow has a set for sure."""
    first = review.drives[0]
    last = float(first.table["blow"].max())
    found = Finding(
        "log count", "warning", (), last, 1.5 * last, more={"log": "log.csv", "first": "1", "last": f"{last:.0f}"}
    )
    return (replace(first, findings=(*first.findings, found)), *review.drives[1:])


def test_an_initial_blow_without_a_stroke_takes_that_of_the_blows_near_it(clay):
    """The first recorded blow of a diesel has none, and its message asked for a log that was there."""
    first = clay.drives[0]
    alone = first.table["stroke"].where(first.table["blow"] != first.representative.blow)
    found = concluded(clay, drives=(replace(first, table=first.table.assign(stroke=alone)), *clay.drives[1:]))
    near = first.table["stroke"][(first.table["blow"] - first.representative.blow).abs().between(1, 3)]
    assert found.answers.criterion.calibrated.stroke == pytest.approx(float(near.median()))


def test_a_restrike_that_drifted_below_zero_moved_by_nothing(clay):
    restrike = clay.drives[2]
    drifted = replace(restrike, table=restrike.table.assign(final_displacement=-2e-4))
    assert "set_per_blow" not in drifted.numbers and drive_result(clay.sheet, drifted).set_per_blow == 0.0


def without_a_stroke(review):
    first = review.drives[0]
    return (replace(first, table=first.table.drop(columns="stroke")), *review.drives[1:])


@pytest.mark.parametrize("changed", [{"requirement": None}, {"hammer": None}, {"drives": "restrikes"}], ids=str)
def test_everything_that_is_missing_is_told_with_its_cure_at_once(clay, changed):
    """A sheet without a hammer and a requirement is not sent back twice."""
    sheet, drives = {}, hammerless(clay, None)
    if "requirement" in changed:
        sheet = {"requirement": replace(clay.sheet.requirement, nominal_resistance=None)}
    drives = drives[1:] if "drives" in changed else drives
    problem = told(concluded(clay, drives=drives, **sheet).answers.criterion_problem, "US")
    assert problem.cure
    if "requirement" in changed:
        assert "[requirement]" in problem.cure and "helmet_mass" in problem.cure and "[hammer]" in problem.cure


def test_a_concrete_pile_is_not_modelled_without_its_cushion(clay):
    """Left out, the cushion's place was taken by the helmet, and the card let the stroke go 1.1 ft higher."""
    assert clay.sheet.hammer.pile_cushion_stiffness is None  # steel needs none
    cast = replace(clay.sheet.pile, material="concrete")
    problem = concluded(clay, pile=cast).answers.criterion_problem
    assert problem.kind == "hammer data missing" and problem.facts["needed"] == ("pile_cushion_stiffness",)
    assert 'pile_cushion = "none"' in told(problem, "US").cure
    bare = concluded(clay, pile=cast, drives=hammerless(clay, replace(clay.sheet.hammer, pile_cushion="None")))
    assert bare.answers.criterion is not None


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
        assert row["blows_per_25mm"] == pytest.approx(0.025 / own.set_per_blow)
        assert row["blows_in_holding_length"] == own.count
        assert (row["chance_short"], row["chance_driven_on"]) == pytest.approx((own.short, own.driven_on))
        assert row["ruled_out"] is None


def test_rows_that_cannot_be_used_are_marked(clay):
    """A much higher target takes the lower strokes beyond practical refusal."""
    found = clay.answers.criterion
    graph = replace(found.graph, resistance=found.graph.resistance / found.shift)
    target = replace(found.target, value=1.75 * found.target.value, middle=float("nan"))
    harder = driving_criterion(clay.drives[0].match, found.calibrated, target, found.measured, graph=graph)
    told = summary(replace(clay, answers=replace(clay.answers, criterion=harder)))["criterion"]["rows"]
    assert "beyond practical refusal" in told[0]["ruled_out"]
    assert told[-1]["ruled_out"] is None


def test_a_disagreement_is_said_before_everything_else(clay):
    first = clay.drives[0]
    halved = first.table.assign(set_per_blow=first.table["set_per_blow"] * 0.5)
    wrong = concluded(clay, drives=(replace(first, table=halved),))
    assert wrong.answers.criterion.agrees is False
    assert wrong.answers.criterion.alerts[0].kind == DISAGREEMENT
    assert lines(wrong)[1].startswith(ALERT)
    assert next(iter(summary(wrong)["criterion"])) == "alerts"


@pytest.mark.sweep
def test_a_reduced_section_is_said_first_and_forbids_the_criterion(reviewed_sample):
    """A section that only matching finds; today nothing of it stood in the criterion."""
    hurt = reviewed_sample("abutment_4_damaged")
    first = hurt.answers.criterion.alerts[0]
    assert first.kind == "reduced section"
    assert first.value == pytest.approx(hurt.drives[0].match.section.section_left)


@pytest.mark.sweep
def test_a_case_factor_of_the_engineer_that_the_match_contradicts_is_an_alert(clay):
    """A damping factor far below the calibrated one puts the Case resistance far above the matched one."""
    first = clay.drives[0]
    case = 1.4 * first.match.matched_resistance
    table = first.table.assign(case_resistance_maximum=case, damping_factor_maximum=0.1)
    wrong = concluded(clay, drives=(replace(first, table=table, damping_source="engineer"), *clay.drives[1:]))
    (caution,) = [one for one in wrong.answers.criterion.alerts if one.kind == "Case against match"]
    assert caution.value == pytest.approx(0.4)
    assert any("Case resistance" in line for line in lines(wrong)[1:4])  # among the alerts, before the answers
    suggested = concluded(
        clay, drives=(replace(first, table=table, damping_source="soil at the toe"), *clay.drives[1:])
    )
    assert "Case against match" not in [one.kind for one in suggested.answers.criterion.alerts]
    assert suggested.answers.case_against_match


def test_the_setup_factor_is_named_by_the_resistance_it_rests_on(clay):
    """By the Case method it is the largest over time, and the table of names calls it that."""
    first, later = clay.drives[0], clay.drives[2]
    plain = [replace(drive, match=None) for drive in (first, later)]
    (setup,) = concluded(clay, drives=tuple(plain)).answers.setups
    assert setup.basis == "case_resistance_maximum"
    ratio = later.numbers["case_resistance_maximum"] / first.numbers["case_resistance_maximum"]
    assert setup.setup_factor.value == pytest.approx(ratio)
    assert setup.setup_factor.low < setup.setup_factor.high  # the damping factor is not known


@pytest.mark.sweep
def test_a_restrike_is_judged_with_its_own_energy(clay):
    """Half the energy in the restrike's records makes its counts ask for less set."""
    last = clay.drives[2]
    weak = last.table.assign(transferred_energy=0.7 * last.table["transferred_energy"])
    weak = weak.assign(peak_force=0.85 * weak["peak_force"])
    poor = concluded(clay, drives=(*clay.drives[:2], replace(last, table=weak))).answers.criterion.criterion
    usual = clay.answers.criterion.criterion
    shared = np.array([max(usual.restrike.rows[0].stroke, poor.restrike.rows[0].stroke)])
    asked = [set_at(held.restrike.rows, shared)[0] for held in (usual, poor)]
    assert asked[1] < 0.9 * asked[0]
    assert [row.set_per_blow for row in poor.rows] == pytest.approx([row.set_per_blow for row in usual.rows])


@pytest.mark.parametrize(
    ("verification", "limits", "told"),
    [
        ("EN 1997-1, 5 tested piles, R4", {}, True),
        ("static load test", {}, False),
        ("EN 1997-1, 5 tested piles, R4", GIVEN, False),
    ],
)
def test_a_european_sheet_is_told_that_its_stress_limits_are_american(clay, verification, limits, told):
    asked = replace(clay.sheet.requirement, nominal_resistance=None, factored_load=1.1e6, **limits)
    choices = replace(clay.sheet.choices, verification=verification)
    kinds = [one.kind for one in concluded(clay, requirement=asked, choices=choices).answers.required.cautions]
    assert ("stress limits of another code" in kinds) is told
