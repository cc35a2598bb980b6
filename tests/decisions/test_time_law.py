from dataclasses import astuple

import numpy as np
import pytest

from dyntest.decisions.estimate import Estimate, exactly
from dyntest.decisions.time_law import fit_time_law, reference_time, resistance_after
from dyntest.errors import InputError

DAY = 86400.0


def test_two_drives_take_their_ranges_from_the_resistances():
    law = fit_time_law([0.0, 10 * DAY], [Estimate(1.0e6, 0.9e6, 1.1e6), Estimate(1.5e6, 1.4e6, 1.6e6)], DAY)
    assert astuple(law.reference_resistance) == pytest.approx((1.0e6, 0.9e6, 1.1e6))
    # A = Q/Q0 − 1 at ten times t0; its ends by hand from the ends of both
    assert law.rate.value == pytest.approx(0.5)
    assert law.rate.low == pytest.approx(1.4 / 1.1 - 1)
    assert law.rate.high == pytest.approx(1.6 / 0.9 - 1)
    assert "scatter" not in law.method


def test_three_drives_on_a_line_are_found_exactly():
    times = np.array([0.0, 3.0, 30.0]) * DAY
    truth = 1.2e6 * (1 + 0.4 * np.log10(np.maximum(times, DAY) / DAY))
    law = fit_time_law(times, [exactly(q) for q in truth], DAY)
    assert law.reference_resistance.value == pytest.approx(1.2e6)
    assert law.rate.value == pytest.approx(0.4)
    assert law.rate.high - law.rate.low < 1e-9


def test_scatter_about_the_line_widens_the_range():
    """Against scipy's linear regression: standard errors of slope and intercept, 90 % two-sided Student interval."""
    from scipy.stats import linregress, t

    times = np.array([0.0, 2.0, 7.0, 30.0]) * DAY
    q = np.array([1.0e6, 1.25e6, 1.3e6, 1.7e6])
    fit = linregress(np.log10(np.maximum(times, DAY) / DAY), q)
    law = fit_time_law(times, [exactly(value) for value in q], DAY)
    half = t.ppf(0.95, 2) * fit.intercept_stderr
    assert law.reference_resistance.value == pytest.approx(fit.intercept)
    assert law.reference_resistance.high - law.reference_resistance.value == pytest.approx(half)
    assert law.rate.value == pytest.approx(fit.slope / fit.intercept)
    assert law.rate.low < law.rate.value < law.rate.high
    at_reference = resistance_after(law, np.array([DAY]))
    assert at_reference.value - at_reference.low == pytest.approx(half)


def test_a_later_day_never_gives_more_than_was_observed_unless_asked():
    law = fit_time_law([0.0, 10 * DAY], [exactly(1.0e6), Estimate(1.5e6, 1.4e6, 1.6e6)], DAY)
    times = np.array([0.1, 1.0, 10.0, 100.0]) * DAY
    held = resistance_after(law, times)
    assert held.value == pytest.approx([1.0e6, 1.0e6, 1.5e6, 1.5e6])
    assert held.high.max() == pytest.approx(1.6e6)
    assert held.capped.tolist() == [False, False, False, True]
    free = resistance_after(law, times, extrapolate=True)
    assert free.value == pytest.approx([1.0e6, 1.0e6, 1.5e6, 2.0e6])
    assert free.high[-1] == pytest.approx(2.2e6)
    assert not free.capped.any()


def test_falling_resistance_is_not_held_up():
    law = fit_time_law([0.0, 10 * DAY], [exactly(1.0e6), exactly(0.8e6)], DAY)
    assert law.rate.value == pytest.approx(-0.2)
    assert resistance_after(law, np.array([100 * DAY])).value == pytest.approx([0.6e6])


@pytest.mark.parametrize(
    ("times", "words"),
    [([0.0], "before the law holds"), ([0.0, 0.5 * DAY], "within 24.0 hours"), ([0.0, -1.0], "not a number of zero")],
)
def test_what_cannot_be_fitted_is_refused(times, words):
    with pytest.raises(InputError, match=words):
        fit_time_law(times, [exactly(1e6)] * len(times), DAY)


def test_where_the_reference_time_comes_from_is_said():
    assert reference_time("silt") == (DAY, "that of clay, since none is published for silt")
    assert "not given" in reference_time(None)[1]
