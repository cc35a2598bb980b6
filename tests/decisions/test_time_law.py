"""The time law: each drive at its own time, what is published as a start, and nothing said where there is nothing."""

import numpy as np
import pytest
from scipy.stats import theilslopes

from dyntest.decisions.estimate import Estimate, exactly
from dyntest.decisions.time_law import (
    END_OF_DRIVING,
    PUBLISHED_RATES,
    fit_time_law,
    reference_time,
    resistance_after,
    restrike_fade,
    robust_slope,
)
from dyntest.errors import InputError

DAY = 86400.0


def near(value, share=0.08):
    return Estimate(value, value * (1 - share), value * (1 + share))


def test_the_initial_drive_stands_within_the_hour_and_not_at_one_day():
    law = fit_time_law([0.0, 10 * DAY], [exactly(1.0e6), exactly(1.5e6)])
    assert law.times == (END_OF_DRIVING, 10 * DAY)
    decades = np.log10(10 * DAY / END_OF_DRIVING)
    at_a_day = 1.0e6 + 0.5e6 * np.log10(DAY / END_OF_DRIVING) / decades  # on the line between the two
    assert law.reference_resistance.value == pytest.approx(at_a_day)
    assert law.rate.value == pytest.approx(0.5e6 / decades / at_a_day)


def test_drives_on_a_line_are_found_exactly():
    times = np.array([0.05, 3.0, 30.0]) * DAY
    truth = 1.2e6 * (1 + 0.4 * np.log10(times / DAY))
    law = fit_time_law(times, [exactly(q) for q in truth])
    assert law.reference_resistance.value == pytest.approx(1.2e6)
    assert law.rate.value == pytest.approx(0.4)


def test_least_squares_as_numpy_has_it():
    """Without a published rate, against numpy's weighted straight line and its unscaled covariance."""
    times = np.array([0.1, 2.0, 7.0, 30.0]) * DAY
    q = np.array([1.0e6, 1.25e6, 1.3e6, 1.7e6])
    law = fit_time_law(times, [near(value, 0.5) for value in q])
    deviation = q * near(1.0, 0.5).log_deviation
    (slope, level), covariance = np.polyfit(np.log10(times / DAY), q, 1, w=1.0 / deviation, cov="unscaled")
    assert law.line == pytest.approx((level, slope))
    assert law.covariance[0][0] == pytest.approx(covariance[1, 1])


def test_what_is_published_keeps_two_drives_from_an_endless_range():
    pair = [near(1.0e6, 0.4), near(1.5e6, 0.4)]
    alone, informed = (fit_time_law([0.0, 7 * DAY], pair, soil) for soil in (None, "sand"))
    assert informed.published_rate == PUBLISHED_RATES["sand"]
    assert informed.rate.high - informed.rate.low < alone.rate.high - alone.rate.low
    assert -0.3 < informed.rate.low < informed.rate.high < 0.7  # today's law said -1.46 to 2.20 of such a pair


def test_a_law_that_says_nothing_says_so():
    vague = [Estimate(1.0e6, 0.3e6, 3.0e6), Estimate(1.1e6, 0.3e6, 3.0e6)]
    assert not fit_time_law([0.0, 2 * DAY], vague).says_something
    assert fit_time_law([0.0, 2 * DAY], [near(1.0e6), near(1.3e6)]).says_something


def test_two_drives_are_not_carried_beyond_the_last():
    law = fit_time_law([0.0, 10 * DAY], [near(1.0e6), near(1.5e6)])
    found = resistance_after(law, np.array([1.0, 10.0, 11.0]) * DAY)
    assert np.isfinite(found.value).tolist() == [True, True, False]
    more = fit_time_law([0.0, 3 * DAY, 10 * DAY], [near(1.0e6), near(1.3e6), near(1.5e6)])
    assert np.isfinite(resistance_after(more, np.array([90.0, 110.0]) * DAY).value).tolist() == [True, False]


def test_falling_resistance_has_a_negative_rate():
    law = fit_time_law([0.0, 10 * DAY], [near(1.0e6), near(0.8e6)])
    assert law.rate.value < 0.0
    assert resistance_after(law, np.array([10 * DAY])).value[0] == pytest.approx(0.8e6, rel=0.02)


@pytest.mark.parametrize("times", [[0.0], [0.0, 0.01 * DAY], [0.0, -1.0]])
def test_what_cannot_be_fitted_is_refused(times):
    with pytest.raises(InputError):
        fit_time_law(times, [exactly(1e6)] * len(times))


def test_the_reference_time_by_soil():
    assert (reference_time("sand"), reference_time("silt"), reference_time(None)) == (0.5 * DAY, DAY, DAY)


def test_a_quarter_of_odd_blows_does_not_move_the_line():
    rng = np.random.default_rng(3)
    truth = 1.5e6 - 8e3 * np.arange(20)
    measured = truth + rng.normal(0.0, 5e3, 20)
    measured[[2, 7, 11, 16]] *= 0.4
    fade = restrike_fade(measured)
    assert fade.first_resistance == pytest.approx(1.5e6, rel=0.02)
    assert fade.slope == pytest.approx(-8e3, rel=0.25)
    assert fade.fades
    assert fade.lost_share == pytest.approx(8e3 * 19 / 1.5e6, rel=0.3)


def test_scatter_alone_is_no_fade():
    measured = 1.0e6 + np.random.default_rng(5).normal(0.0, 5e4, 20)
    assert not restrike_fade(measured).fades


def test_cold_blows_are_left_out_and_later_ones_too():
    measured = np.concatenate([np.full(3, 0.3e6), 1.0e6 - 1e4 * np.arange(20), np.full(50, 2.0e6)])
    sound = np.arange(73) >= 3
    fade = restrike_fade(measured, sound)
    assert fade.first_resistance == pytest.approx(1.0e6)
    assert fade.last_resistance == pytest.approx(0.81e6)
    assert (fade.blows, fade.span) == (20, 20)


def test_missing_values_keep_the_blow_count_of_the_slope():
    measured = 1.0e6 - 1e4 * np.arange(20.0)
    measured[[1, 2, 3, 9]] = np.nan
    fade = restrike_fade(measured)
    assert fade.slope == pytest.approx(-1e4)
    assert (fade.blows, fade.span) == (16, 20)


@pytest.mark.parametrize("measured", [[], [np.nan] * 9, [1e6] * 4])
def test_too_few_blows_are_refused(measured):
    with pytest.raises(InputError, match="too few"):
        restrike_fade(np.array(measured))


@pytest.mark.parametrize("n", [2, 3, 5, 12, 20, 61])
@pytest.mark.parametrize("confidence", [0.5001, 0.9, 0.99])
@pytest.mark.parametrize("ties", [False, True])
def test_as_scipy_has_it(n, confidence, ties):
    """SciPy's `theilslopes`, which takes long to load, is the outside source."""
    rng = np.random.default_rng(n)
    position = np.cumsum(rng.integers(1, 4, n)).astype(float)
    values = -3.0 * position + rng.normal(0.0, 9.0, n)
    values = np.round(values / 5.0) * 5.0 if ties else values
    slope, _, low, high = theilslopes(values, position, alpha=confidence)
    assert robust_slope(position, values, confidence) == pytest.approx((slope, low, high), rel=1e-12)


def test_equal_values_have_no_slope():
    assert robust_slope(np.arange(6.0), np.full(6, 7.0), 0.9) == (0.0, 0.0, 0.0)
