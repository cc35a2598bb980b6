"""What has to be shown at the end of driving, with and without credit for what waiting was measured to change."""

from dataclasses import replace

import pytest

from dyntest.decisions.end_of_drive_target import IN_FACTOR, LEAST_FACTOR, LEAST_OWN, end_of_drive_target
from dyntest.decisions.estimate import Estimate
from dyntest.decisions.risk import margin, setup_scatter
from dyntest.decisions.setup import Setup

REQUIRED = 1.7e6
DAY = 86400.0


def restruck(value, low, high, name="restrike", days=7.0, *, deviation=0.02, basis="matched_resistance", fitted=True):
    later = Estimate(value * 1e6, value * 0.96e6, value * 1.04e6, deviation)
    return Setup("initial", name, days * DAY, {basis: Estimate(value, low, high)}, (), fitted, None, later)


def test_without_a_restrike_nothing_is_credited():
    target = end_of_drive_target(REQUIRED, credit=True)
    assert (target.value, target.required, target.with_credit, target.factor) == (REQUIRED, REQUIRED, None, None)
    assert target.kind == "not measured"


def test_credit_takes_the_middle_of_the_last_restrike_and_a_margin_for_all_errors_once():
    setups = [restruck(1.2, 1.1, 1.3, "restrike_1", 1.0), restruck(1.5, 1.25, 1.7, "restrike_2", 7.0)]
    target = end_of_drive_target(REQUIRED, setups, credit=True)
    sigma = (LEAST_OWN**2 + setup_scatter(1.5) ** 2) ** 0.5
    assert target.kind == "credited"
    assert target.setup.restrike == "restrike_2"
    assert target.middle == pytest.approx(REQUIRED / 1.5)
    assert target.value == pytest.approx(REQUIRED / 1.5 * margin(sigma))
    assert REQUIRED / 1.5 <= target.value < REQUIRED / 1.25  # today it was the worst end alone, whatever its chance
    assert target.cautions[0].facts["wait"] == 7.0 * DAY


@pytest.mark.parametrize("credit", [None, False])
def test_without_credit_it_says_what_credit_would_give(credit):
    setups = [restruck(1.5, 1.25, 1.7)]
    target = end_of_drive_target(REQUIRED, setups, credit=credit)
    assert target.value == REQUIRED
    assert target.kind == "not credited"
    assert target.with_credit == pytest.approx(end_of_drive_target(REQUIRED, setups, credit=True).value)


def test_a_gain_that_is_not_sure_is_not_credited():
    target = end_of_drive_target(REQUIRED, [restruck(1.05, 0.85, 1.3)], credit=True)
    assert (target.value, target.with_credit, target.kind) == (REQUIRED, None, "no significant change")


@pytest.mark.parametrize("case", [{"basis": "case_resistance_maximum"}, {"fitted": False}])
def test_nothing_is_credited_without_two_matches_that_fit(case):
    target = end_of_drive_target(REQUIRED, [restruck(1.4, 1.4, 1.4, **case)], credit=True)
    assert (target.value, target.kind) == (REQUIRED, "not matched")
    assert [caution.kind for caution in target.cautions] == ["setup not matched"]


@pytest.mark.parametrize("credit", [None, False, True])
def test_a_loss_raises_the_target_credit_or_not(credit):
    setups = [restruck(0.8, 0.7, 0.9, "restrike_1"), restruck(1.5, 1.3, 1.7, "restrike_2")]
    target = end_of_drive_target(REQUIRED, setups, credit=credit)
    assert target.middle == pytest.approx(REQUIRED / 0.8)
    assert target.value >= target.middle
    assert target.cautions[0].kind == "relaxation"


def test_a_change_within_its_own_range_is_not_a_loss():
    target = end_of_drive_target(REQUIRED, [restruck(0.99, 0.92, 1.06)])
    assert (target.value, target.kind) == (REQUIRED, "no significant change")


def test_a_loss_with_a_range_down_to_nothing_sets_no_endless_target():
    target = end_of_drive_target(REQUIRED, [restruck(0.2, 0.19, 0.21)])
    assert target.middle == pytest.approx(REQUIRED / LEAST_FACTOR)
    assert target.cautions[0].kind == "relaxation uncertain"


def test_a_wider_error_of_match_or_graph_asks_for_more():
    narrow, wide = (end_of_drive_target(REQUIRED, matched=Estimate(1e6, 1e6 - d, 1e6 + d)) for d in (5e4, 3e5))
    assert REQUIRED <= narrow.value < wide.value
    assert narrow.with_graph(0.08).value > narrow.value


def test_the_usual_error_of_matching_is_in_the_resistance_factor_and_only_more_is_added():
    usual, unsure = (end_of_drive_target(REQUIRED, matched=Estimate(1e6, 9e5, 1.1e6, d)) for d in (IN_FACTOR, 0.13))
    assert usual.deviation == pytest.approx(LEAST_OWN)
    assert unsure.deviation == pytest.approx((0.13**2 - IN_FACTOR**2) ** 0.5)


def test_where_nothing_changed_for_sure_the_surer_of_both_matches_says_how_well_the_resistance_is_known():
    unsure = Estimate(1e6, 0.6e6, 1.6e6, 0.2)
    alone = end_of_drive_target(REQUIRED, matched=unsure)
    both = end_of_drive_target(REQUIRED, [restruck(1.05, 0.85, 1.3, deviation=0.05)], matched=unsure, credit=True)
    assert (both.kind, both.middle) == ("no significant change", REQUIRED)
    assert both.value == REQUIRED * margin(LEAST_OWN) < alone.value
    worse = end_of_drive_target(REQUIRED, [restruck(1.05, 0.85, 1.3, deviation=0.25)], matched=unsure, credit=True)
    assert worse.value == alone.value


def test_the_target_rests_on_the_level_at_which_the_graph_passes_through_the_blows():
    """With credit the error of the match at the end of driving cancels: what counts is the restrike's resistance."""
    joint = Estimate(1.5, 1.4, 1.6)
    setup = Setup("initial", "restrike", DAY, {"matched_resistance": joint}, (), True, Estimate(1.0e6, 9e5, 1.1e6))
    setup = replace(setup, restrike_resistance=Estimate(1.4e6, 1.3e6, 1.5e6))
    assert end_of_drive_target(REQUIRED, [setup], credit=True).middle == pytest.approx(REQUIRED / 1.4)
