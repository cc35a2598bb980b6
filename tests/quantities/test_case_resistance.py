import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.quantities.case_resistance import (
    calibrated_damping_factor,
    case_resistance,
    case_resistance_maximum,
    case_resistance_toe_at_rest,
    case_resistance_unloading,
    total_resistance,
)

STEP = 5e-5
RETURN = 4.013e-3  # not a whole number of samples


@pytest.fixture
def waves():
    """Smooth waves of two blows of different size, the second later by seven samples."""
    time = np.arange(1000) * STEP

    def pulse(late, rise, fall):
        return np.interp(time - late, [0.0, rise, rise + fall], [0.0, 1.0, 0.0], right=0.0)

    down = np.stack([2e6 * pulse(2e-3, 1e-3, 5e-3), 3e6 * pulse(2.35e-3, 1e-3, 5e-3)])
    up = np.stack([-5e5 * pulse(2e-3 + RETURN, 1e-3, 2e-3), -4e5 * pulse(2.35e-3 + RETURN, 1e-3, 2e-3)])
    up += np.stack([4e5 * pulse(3e-3, 6e-3, 9e-3), 5e5 * pulse(3.35e-3, 6e-3, 9e-3)])
    return down, up, np.array([60, 67])


def test_total_is_the_resistance_without_damping(waves):
    total = total_resistance(*waves, RETURN, STEP)
    assert np.allclose(case_resistance(*waves, RETURN, STEP, 0.0), total)


@given(st.lists(st.floats(0.0, 1.5), min_size=1, max_size=5))
def test_form_in_force_and_velocity(factors):
    """(1−J)/2·[F + Zv](t1) + (1+J)/2·[F − Zv](t1 + T), written out with force and velocity."""
    rng = np.random.default_rng(3)
    impedance, force, velocity = 5e5, rng.normal(size=(4, 200)) * 1e6, rng.normal(size=(4, 200)) * 2
    down, up = (force + impedance * velocity) / 2, (force - impedance * velocity) / 2
    peak = np.array([20, 30, 40, 50])
    found = case_resistance(down, up, peak, 80 * STEP, STEP, np.array(factors))
    rows = np.arange(4)
    at_peak = (force + impedance * velocity)[rows, peak][:, None]
    at_return = (force - impedance * velocity)[rows, peak + 80][:, None]
    factors = np.array(factors)
    assert np.allclose(found, (1 - factors) / 2 * at_peak + (1 + factors) / 2 * at_return)


def test_return_between_samples_is_interpolated(waves):
    down, up, peak = waves
    shift = RETURN / STEP
    low, part = int(shift), shift - int(shift)
    row = np.arange(2)
    expected = down[row, peak] + (1 - part) * up[row, peak + low] + part * up[row, peak + low + 1]
    assert np.allclose(total_resistance(*waves, RETURN, STEP), expected)
    assert not np.allclose(total_resistance(*waves, low * STEP, STEP), expected)


@pytest.mark.parametrize("method", [case_resistance, case_resistance_maximum, case_resistance_unloading])
def test_many_factors_at_once_are_the_factors_one_by_one(waves, method):
    factors = np.array([0.0, 0.3, 0.9])
    together = method(*waves, RETURN, STEP, factors)
    assert together.shape == (2, 3)
    for column, factor in enumerate(factors):
        alone = method(*waves, RETURN, STEP, float(factor))
        assert alone.shape == (2,)
        assert np.allclose(together[:, column], alone)


def test_maximum_is_never_below_the_first_peak_and_finds_what_comes_late(waves):
    factors = np.linspace(0.0, 1.2, 7)
    first = case_resistance(*waves, RETURN, STEP, factors)
    largest = case_resistance_maximum(*waves, RETURN, STEP, factors)
    assert (largest >= first).all()
    assert (largest[:, -1] > first[:, -1] + 1e5).all()


def test_window_of_zero_is_the_first_peak(waves):
    assert np.allclose(
        case_resistance_maximum(*waves, RETURN, STEP, 0.4, search_window=0.0),
        case_resistance(*waves, RETURN, STEP, 0.4),
    )


def test_no_damping_factor_changes_what_is_found_at_rest(waves):
    """Where the toe is at rest the damping term is zero: every factor's curve over t1 goes through the value found."""
    down, up, peak = waves
    found = case_resistance_toe_at_rest(down, up, peak, RETURN, STEP)
    samples = np.arange(down.shape[1], dtype=float)
    for row in range(2):
        later = np.interp(samples + RETURN / STEP, samples, up[row])
        toe, total = down[row] - later, down[row] + later
        level = 0.01 * toe[peak[row] :].max()
        crossing = peak[row] + np.argmax(toe[peak[row] :] <= level)
        for factor in (0.0, 0.5, 1.0):
            curve = total - factor * (toe - level)
            low, high = sorted(curve[[crossing - 1, crossing]])
            assert low - 1.0 <= found[row] <= high + 1.0


def test_toe_that_stops_and_stays_is_at_rest(waves):
    """A toe that sticks, with a little drift left in the velocity, has stopped all the same."""
    down, up = np.zeros((1, 400)), np.zeros((1, 400))
    down[0, 50:] = 1e6 * np.exp(-np.arange(350) / 40)
    up[0, 130:] = down[0, 50:320] - 2e6 * np.clip(1 - np.arange(270) / 20, 0.001, 1)
    found = case_resistance_toe_at_rest(down, up, np.array([50]), 80 * STEP, STEP)
    assert found[0] == pytest.approx(2 * down[0, 70], rel=0.05)


def test_toe_that_never_stops_gives_no_number(waves):
    down, _, peak = waves
    steady = np.full_like(down, 1e6)
    assert np.isnan(case_resistance_toe_at_rest(steady, np.zeros_like(down), peak, RETURN, STEP)).all()


def test_without_early_rebound_nothing_is_added(waves):
    assert np.allclose(case_resistance_unloading(*waves, RETURN, STEP, 0.3), case_resistance(*waves, RETURN, STEP, 0.3))


def test_unloaded_shaft_is_added_by_half():
    """Top at rest half of T before the return: half of F − Zv of that length is added, then damping taken off."""
    down, up = np.zeros((1, 400)), np.zeros((1, 400))
    down[0, 50:90] = 1e6
    up[0, 50:130] = 2e5  # F − Zv is 400 kN as long as the shaft holds
    peak, back = np.array([50]), 80 * STEP
    plain = case_resistance(down, up, peak, back, STEP, 0.0)[0]
    assert plain == 1e6  # the upward wave is gone at the return
    corrected = case_resistance_unloading(down, up, peak, back, STEP, np.array([0.0, 0.5]))[0]
    assert corrected == pytest.approx([1.2e6, 1.2e6 - 0.5 * (2e6 - 1.2e6)])


def test_record_that_ends_before_the_return_gives_no_number(waves):
    down, up, peak = (waves[0][:, :120], waves[1][:, :120], waves[2])
    for method in (case_resistance, case_resistance_maximum, case_resistance_unloading):
        assert np.isnan(method(down, up, peak, RETURN, STEP, 0.4)).all()
    assert np.isnan(total_resistance(down, up, peak, RETURN, STEP)).all()


def test_calibrated_factor_gives_the_resistance_back(waves):
    wanted = np.array([6e5, 9e5])
    factor = calibrated_damping_factor(*waves, RETURN, STEP, wanted)
    back = case_resistance(*waves, RETURN, STEP, factor)
    assert np.allclose(np.diag(back), wanted)


def test_factor_is_not_given_where_the_toe_does_not_move_down(waves):
    down, _, peak = waves
    assert np.isnan(calibrated_damping_factor(np.zeros_like(down), down, peak, 0.0, STEP, 1e6)).all()
