"""What has to be shown at the end of driving, with and without credit for what waiting was measured to change."""

import pytest

from dyntest.decisions.end_of_drive_target import LEAST_FACTOR, end_of_drive_target
from dyntest.decisions.estimate import Estimate
from dyntest.decisions.setup import Setup

REQUIRED = 1.7e6
DAY = 86400.0


def restruck(value, low, high, name="restrike", days=7.0):
    return Setup("initial", name, days * DAY, {"matched_resistance": Estimate(value, low, high)}, ())


def test_without_a_restrike_nothing_is_credited():
    target = end_of_drive_target(REQUIRED, credit=True)
    assert (target.value, target.required, target.with_credit, target.factor) == (REQUIRED, REQUIRED, None, None)
    assert "no restrike measured any setup" in target.how


def test_credit_is_the_lower_end_of_the_last_restrike():
    setups = [restruck(1.2, 1.1, 1.3, "restrike_1", 1.0), restruck(1.5, 1.25, 1.7, "restrike_2", 7.0)]
    target = end_of_drive_target(REQUIRED, setups, credit=True, system="SI")
    assert target.value == pytest.approx(1.36e6)
    assert target.how == (
        "1,700 kN over the lower end of the setup factor of restrike 2, a factor of 1.50 (1.25 to 1.70), asks for "
        "1,360 kN at the end of driving; without credit it would be 1,700 kN."
    )
    assert "7.0 days" in target.cautions[0].message


@pytest.mark.parametrize("credit", [None, False])
def test_without_credit_it_says_what_credit_would_give(credit):
    target = end_of_drive_target(REQUIRED, [restruck(1.5, 1.25, 1.7)], credit=credit)
    assert target.value == REQUIRED
    assert target.with_credit == pytest.approx(1.36e6)
    assert "with credit it would be 1,360 kN" in target.how


def test_a_gain_that_is_not_sure_is_not_credited():
    target = end_of_drive_target(REQUIRED, [restruck(1.1, 0.95, 1.3)], credit=True)
    assert (target.value, target.with_credit) == (REQUIRED, None)
    assert "no gain" in target.how


@pytest.mark.parametrize("credit", [None, False, True])
def test_a_loss_raises_the_target_credit_or_not(credit):
    setups = [restruck(0.8, 0.7, 0.9, "restrike_1"), restruck(1.5, 1.3, 1.7, "restrike_2")]
    target = end_of_drive_target(REQUIRED, setups, credit=credit)
    assert target.value == pytest.approx(REQUIRED / 0.7)
    assert target.cautions[0].check == "relaxation"


def test_a_loss_with_a_range_down_to_nothing_sets_no_endless_target():
    target = end_of_drive_target(REQUIRED, [restruck(0.8, 0.0, 1.2)])
    assert target.value == pytest.approx(REQUIRED / LEAST_FACTOR)
    assert target.cautions[0].check == "loss not sure"
