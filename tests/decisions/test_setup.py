from dataclasses import astuple, replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.decisions.end_of_drive_target import end_of_drive_target
from dyntest.decisions.estimate import Estimate, exactly, ratio
from dyntest.decisions.restrikes import restrike_rule
from dyntest.decisions.setup import DriveResult, compare, setups, wait
from dyntest.errors import InputError
from dyntest.hammer import Hammer
from dyntest.reading.parts import Drive

END = datetime(2026, 5, 4, 14, 10)
HAMMER = Hammer("open-end diesel", 3000.0, minimum_stroke=1.8, pile_cushion_stiffness=2e9)


def result(kind="initial", name=None, hammer=HAMMER, days=9.0, **given):
    start = END + timedelta(days=days) if kind == "restrike" else None
    drive = Drive(name or kind, kind, (), end=END if kind == "initial" else None, start=start, hammer=hammer)
    given.setdefault("set_per_blow", 0.008)
    given.setdefault("stroke", 2.4)
    return DriveResult(drive, **given)


def checks(setup):
    return {caution.kind: caution for caution in setup.cautions}


INITIAL = result(
    matched_resistance=Estimate(1.0e6, 0.9e6, 1.1e6),
    case_resistance_maximum=exactly(1.1e6),
    shaft_resistance=Estimate(0.5e6, 0.4e6, 0.6e6),
    toe_resistance=Estimate(0.5e6, 0.4e6, 0.6e6),
)
RESTRIKE = result(
    "restrike",
    matched_resistance=Estimate(1.2e6, 1.1e6, 1.3e6),
    case_resistance_maximum=exactly(1.375e6),
    shaft_resistance=Estimate(0.75e6, 0.6e6, 0.9e6),
    toe_resistance=Estimate(0.45e6, 0.4e6, 0.5e6),
)


def test_each_resistance_has_its_factor_and_range():
    setup = compare(INITIAL, RESTRIKE)
    assert setup.basis == "matched_resistance"
    assert astuple(setup.setup_factor)[:3] == pytest.approx((1.2, 1.1 / 1.1, 1.3 / 0.9))
    assert setup.factors["case_resistance_maximum"] == exactly(1.25)
    assert astuple(setup.factors["shaft_resistance"])[:3] == pytest.approx((1.5, 1.0, 2.25))
    assert setup.matched
    assert setup.factors["toe_resistance"].value == pytest.approx(0.9)
    assert setup.wait == 9 * 86400.0
    assert setup.cautions == ()


def test_without_matching_the_case_method_stands():
    setup = compare(replace(INITIAL, matched_resistance=None), RESTRIKE)
    assert (setup.basis, setup.setup_factor.value) == ("case_resistance_maximum", 1.25)
    assert "matched_resistance" not in setup.factors
    assert not setup.matched
    assert "setup not matched" in checks(setup)


def test_the_case_factor_carries_the_damping_factor_that_nobody_knows():
    """The same damping factor at both drives: 0.9 and 1.2 MN against 1.3 and 1.9 MN at its two ends."""
    first = replace(INITIAL, matched_resistance=None, case_by_damping=(1.2e6, 0.9e6))
    later = replace(RESTRIKE, matched_resistance=None, case_by_damping=(1.3e6, 1.9e6))
    factor = compare(first, later).setup_factor
    assert astuple(factor)[:3] == pytest.approx((1.25, 1.3 / 1.2, 1.9 / 0.9))


def test_without_any_common_resistance_there_is_no_factor():
    setup = compare(result(), RESTRIKE)
    assert setup.setup_factor is None
    assert setup.factors == {}


def test_a_toe_that_carried_nothing_gives_no_factor():
    assert "toe_resistance" not in compare(replace(INITIAL, toe_resistance=exactly(0.0)), RESTRIKE).factors


@given(st.lists(st.floats(1.0, 1e7), min_size=3, max_size=3), st.lists(st.floats(1.0, 1e7), min_size=3, max_size=3))
def test_the_range_holds_every_ratio_of_numbers_within_the_ranges(above, below):
    above, below = sorted(above), sorted(below)
    result = ratio(Estimate(above[1], above[0], above[2]), Estimate(below[1], below[0], below[2]))
    every = [a / b for a in above for b in below]
    assert result.low == min(every)
    assert result.high == max(every)


def test_restrike_that_moved_too_little_is_a_lower_bound():
    gained = replace(RESTRIKE, matched_resistance=Estimate(1.6e6, 1.5e6, 1.7e6))
    caution = checks(compare(INITIAL, replace(gained, set_per_blow=0.002)))["moved too little"]
    assert (caution.value, caution.facts["meaning"]) == (0.002, "restrike")
    overstated = checks(compare(replace(INITIAL, set_per_blow=0.002), gained))["moved too little"]
    assert overstated.facts["meaning"] == "initial"
    by_match = checks(compare(INITIAL, replace(gained, lower_bound=True)))["soil not mobilised"]
    assert (by_match.facts["drive"], by_match.facts["meaning"]) == ("restrike", "restrike")


@pytest.mark.parametrize("how", [{"set_per_blow": 0.0005}, {"lower_bound": True}], ids=["movement", "match"])
@pytest.mark.parametrize("share", [0.5, 1.02])
def test_a_restrike_that_did_not_move_the_pile_shows_neither_loss_nor_gain(how, share):
    """A low stroke shows half of what the pile has; the wait took nothing from it."""
    value = share * 1.0e6
    weak = replace(RESTRIKE, matched_resistance=Estimate(value, 0.97 * value, 1.03 * value), **how)
    setup = compare(INITIAL, weak, soil="clay")
    assert setup.inconclusive
    assert not {"relaxation", "large change", "unusual setup"} & set(checks(setup))
    told_of = next(one for one in setup.cautions if one.facts.get("drive") == "restrike")
    assert told_of.facts["meaning"] == "nothing shown"
    assert end_of_drive_target(2.0e6, [setup], credit=True) == end_of_drive_target(2.0e6, credit=True)
    assert restrike_rule(2.0e6, [setup], 18.0) == restrike_rule(2.0e6, [], 18.0)


def test_a_restrike_that_moved_the_pile_still_shows_its_loss():
    setup = compare(INITIAL, replace(RESTRIKE, matched_resistance=Estimate(0.5e6, 0.48e6, 0.52e6)))
    assert not setup.inconclusive and "relaxation" in checks(setup)
    assert restrike_rule(2.0e6, [setup], 18.0).change == "relaxation"


def test_hammer_not_at_stroke():
    found = checks(compare(INITIAL, replace(RESTRIKE, stroke=1.7)))
    assert (found["hammer not at stroke"].value, found["hammer not at stroke"].threshold) == (1.7, 1.8)
    assert found["different stroke"].value == pytest.approx(1.7 / 2.4 - 1)


def test_another_cushion_and_other_gauges_are_said():
    other = result("restrike", hammer=replace(HAMMER, pile_cushion_stiffness=1e9), gauges="strain 3 and 4")
    found = checks(compare(replace(INITIAL, gauges="strain 1 and 2"), other))
    assert found["different hammer or cushion"].facts["parts"] == ("pile cushion",)
    assert found["different gauges"].facts["after"] == "strain 3 and 4"


def test_relaxation_and_whether_it_lies_beyond_the_ranges():
    slight = replace(RESTRIKE, matched_resistance=Estimate(0.99e6, 0.92e6, 1.06e6))
    assert "relaxation" not in checks(compare(INITIAL, slight))
    clear = replace(RESTRIKE, matched_resistance=Estimate(0.7e6, 0.6e6, 0.8e6))
    assert checks(compare(INITIAL, clear))["relaxation"].value == pytest.approx(0.7)
    assert checks(compare(INITIAL, clear))["relaxation"].facts["high"] < 1.0
    assert "large change" in checks(compare(INITIAL, clear))
    assert "unusual setup" not in checks(compare(INITIAL, clear, soil="clay"))  # a loss is no setup to be checked twice


def test_what_is_unusual_in_the_soil_is_said():
    strong = replace(RESTRIKE, matched_resistance=exactly(2.5e6))
    assert "unusual setup" in checks(compare(INITIAL, strong, soil="sand"))
    assert "unusual setup" not in checks(compare(INITIAL, strong, soil="clay"))
    early = result("restrike", days=2.5, matched_resistance=exactly(1.4e6))
    short = checks(compare(INITIAL, early, soil="clay"))["short wait"]
    assert (short.value, short.threshold) == (2.5 * 86400.0, 7 * 86400.0)
    assert "short wait" not in checks(compare(INITIAL, early, soil="sand"))


def test_an_unknown_wait_is_said():
    blind = replace(RESTRIKE, drive=Drive("restrike", "restrike", (), hammer=HAMMER))
    setup = compare(INITIAL, blind)
    assert setup.wait is None
    assert "wait not known" in checks(setup)


def test_every_restrike_is_held_against_the_last_part_of_the_initial_drive():
    first = replace(INITIAL, drive=replace(INITIAL.drive, name="initial_1"))
    second = replace(INITIAL, drive=replace(INITIAL.drive, name="initial_2"), matched_resistance=exactly(0.6e6))
    later = replace(RESTRIKE, drive=replace(RESTRIKE.drive, name="restrike_2"))
    found = setups([first, second, RESTRIKE, later])
    assert [(s.initial, s.restrike) for s in found] == [("initial_2", "restrike"), ("initial_2", "restrike_2")]
    assert found[0].setup_factor.value == pytest.approx(2.0)
    assert setups([RESTRIKE]) == ()


def test_clocks_that_contradict_each_other_are_refused():
    with pytest.raises(InputError) as caught:
        wait(END, END - timedelta(minutes=1))
    assert caught.value.place == "[[drive]] start and end"
    assert "2026-05-04 14:09" in caught.value.problem and "2026-05-04 14:10" in caught.value.problem
    with pytest.raises(InputError, match="time zone"):
        wait(END, END.replace(tzinfo=UTC))
    assert wait(None, END) is None


def test_an_estimate_outside_its_range_is_refused():
    with pytest.raises(ValueError, match="does not contain"):
        Estimate(1.0, 1.1, 1.2)
    with pytest.raises(ValueError, match="does not contain"):
        exactly(float("nan"))


def test_what_both_matches_say_together_goes_before_their_ratio():
    joint = Estimate(1.25, 1.2, 1.3, 0.02)
    setup = compare(INITIAL, replace(RESTRIKE, changes={"matched_resistance": joint}))
    assert setup.setup_factor == joint
    assert setup.restrike_resistance == RESTRIKE.matched_resistance  # its own match is surer than the first and change
    sure = replace(INITIAL, matched_resistance=Estimate(1.0e6, 0.98e6, 1.02e6))
    vague = replace(RESTRIKE, matched_resistance=Estimate(1.2e6, 0.9e6, 1.6e6), changes={"matched_resistance": joint})
    surer = compare(sure, vague).restrike_resistance
    assert surer.value == pytest.approx(1.25e6)
    assert surer.log_deviation < vague.matched_resistance.log_deviation
