import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from dyntest.conditioning.corrections import (
    MOST_BEND,
    baseline,
    drift_at,
    final_displacement,
    integrate,
    low_pass,
    remove_drift,
    rest_samples,
)
from dyntest.errors import InputError


def test_each_blow_uses_its_own_quiet_part():
    rng = np.random.default_rng(0)
    channels = rng.standard_normal((3, 2, 500)) + np.array([5.0, -3.0])[:, None]
    quiet = np.array([100, 400, 7])
    channels[0, :, 100:] += 1e6  # nothing after the quiet part may count
    channels[2, :, 7:] += 1e6
    offset, noise = baseline(channels, quiet)
    for blow, count in enumerate(quiet):
        np.testing.assert_allclose(offset[blow], channels[blow, :, :count].mean(axis=-1), rtol=1e-12)
        np.testing.assert_allclose(noise[blow], channels[blow, :, :count].std(axis=-1), rtol=1e-9)


def test_without_a_quiet_part_nothing_is_taken_off():
    offset, noise = baseline(np.full((2, 1, 50), 9.0), np.array([1, 0]))
    assert (offset == 0).all()
    assert np.isnan(noise).all()


STEP = 50e-6
LONG = np.arange(4000) * STEP


def amplitude(frequency, corner):
    """What is left of a sine in the middle of the record, and how far it moved in time [s]."""
    filtered = low_pass(np.sin(2 * np.pi * frequency * LONG), STEP, corner)[1000:3000]
    turning = np.exp(-2j * np.pi * frequency * LONG[1000:3000])
    component = 2 * (filtered * turning).mean() * 1j
    return abs(component), -np.angle(component) / (2 * np.pi * frequency)


def test_half_is_left_at_the_corner_and_nothing_is_shifted():
    left, moved = amplitude(1000.0, 1000.0)
    assert left == pytest.approx(0.5, rel=1e-3)  # twice −3 dB
    assert abs(moved) < 1e-9


@pytest.mark.parametrize("frequency", [100.0, 500.0, 2000.0, 4000.0])
def test_magnitude_is_the_squared_butterworth(frequency):
    warped = np.tan(np.pi * frequency * STEP) / np.tan(np.pi * 1000.0 * STEP)  # bilinear transform
    left, moved = amplitude(frequency, 1000.0)
    assert left == pytest.approx(1 / (1 + warped**8), rel=2e-3, abs=1e-6)
    assert left < 1e-5 or abs(moved) < 1e-9


@pytest.mark.parametrize("corner", [0.0, -5.0, 10e3, 12e3, float("nan")])
def test_a_corner_that_does_not_fit_is_an_error_and_never_another_filter(corner):
    with pytest.raises(InputError, match="10000 Hz"):
        low_pass(np.zeros(100), STEP, corner, "P1/sheet.toml")


@given(st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=50), st.floats(1e-6, 1e-2))
def test_agrees_with_the_trapezoidal_rule_of_scipy(values, step):
    expected = cumulative_trapezoid(np.array(values), dx=step, initial=0.0)
    np.testing.assert_allclose(integrate(np.array(values), step), expected, rtol=1e-9, atol=1e-9)


def test_velocity_of_a_sine_acceleration():
    time = np.arange(4001) * 25e-6
    omega = 2 * np.pi * 100.0
    velocity = integrate(np.broadcast_to(omega * np.cos(omega * time), (3, 2, 4001)), 25e-6)
    np.testing.assert_allclose(velocity[1, 1], np.sin(omega * time), atol=5e-5)


TIME = np.arange(2000) * STEP
ONSET = np.array([100, 140])


@pytest.fixture
def true_velocity(make_blows):
    return 4.0 * make_blows.drop(TIME - ONSET[:, None] * STEP, 2e-3)[:, None]


def test_a_shifted_zero_is_removed_exactly(true_velocity):
    since = np.maximum(TIME - ONSET[:, None] * STEP, 0)[:, None]
    corrected, coefficients = remove_drift(true_velocity + np.array([[[15.0]], [[-7.0]]]) * since, ONSET, STEP)
    np.testing.assert_allclose(corrected, true_velocity, atol=1e-12)
    np.testing.assert_allclose(coefficients[:, 0, 0], [15.0, -7.0], rtol=1e-12)
    np.testing.assert_array_equal(coefficients[..., 1], 0.0)


def test_nothing_is_touched_before_the_blow_and_hardly_the_peak(true_velocity):
    drifting = true_velocity + 5.0 * TIME  # 0.5 m/s at the end, an eighth of the peak
    corrected, coefficients = remove_drift(drifting, ONSET, STEP)
    np.testing.assert_array_equal(corrected[0, 0, :101], drifting[0, 0, :101])
    at_peak, _ = drift_at(coefficients, np.full(2, 2e-3))
    assert (np.abs(at_peak) < 0.005 * 4.0).all()


def test_the_pile_is_at_rest_in_the_mean(true_velocity):
    rng = np.random.default_rng(3)
    rocking = true_velocity + 0.2 * np.sin(400 * TIME) + integrate(20 * rng.standard_normal((2, 1, 2000)), STEP)
    corrected, _ = remove_drift(rocking, ONSET, STEP)
    assert np.abs(corrected[..., -rest_samples(2000) :].mean(axis=-1)).max() < 1e-12


def test_a_known_set_is_reached_without_touching_the_peak(true_velocity):
    free = final_displacement(true_velocity[:, 0], STEP)
    wanted = np.array([free[0] - 0.004, np.nan])
    corrected, coefficients = remove_drift(true_velocity, ONSET, STEP, wanted)
    assert final_displacement(corrected[0, 0], STEP) == pytest.approx(wanted[0], abs=1e-12)
    assert np.abs(corrected[..., -rest_samples(2000) :].mean(axis=-1)).max() < 1e-12
    np.testing.assert_allclose(corrected[1], true_velocity[1], atol=1e-15)
    at_peak, _ = drift_at(coefficients, np.full(2, 2e-3))
    assert np.abs(at_peak).max() < 0.005 * 4.0


def test_a_wrong_set_bends_the_velocity_no_more_than_the_limit(true_velocity):
    wrong = final_displacement(true_velocity[:, 0], STEP) + 0.05
    corrected, _ = remove_drift(true_velocity, ONSET, STEP, wrong)
    free, _ = remove_drift(true_velocity, ONSET, STEP)
    bent = np.abs(corrected - free).max(axis=-1)
    np.testing.assert_allclose(bent, MOST_BEND * free.max(axis=-1), rtol=1e-9)
    assert (final_displacement(corrected[:, 0], STEP) < wrong - 0.03).all()


def test_the_sizes_are_those_of_what_was_taken_off(true_velocity):
    drifting = true_velocity + 3.0 * TIME - 40.0 * TIME**2
    corrected, coefficients = remove_drift(drifting, ONSET, STEP, np.array([0.01, 0.02]))
    velocity, displacement = drift_at(coefficients, (1999 - ONSET) * STEP)
    taken = drifting - corrected
    np.testing.assert_allclose(velocity, taken[..., -1], rtol=1e-9)
    np.testing.assert_allclose(displacement, integrate(taken, STEP)[..., -1], rtol=1e-3)


def test_final_displacement_is_the_mean_over_the_rest():
    velocity = np.random.default_rng(1).standard_normal((3, 2, 500))
    expected = integrate(velocity, STEP)[..., -rest_samples(500) :].mean(axis=-1)
    np.testing.assert_allclose(final_displacement(velocity, STEP), expected, rtol=1e-9)


def test_a_blow_in_the_rest_is_left_alone():
    velocity = np.random.default_rng(1).standard_normal((1, 1, 500))
    corrected, coefficients = remove_drift(velocity, np.array([450]), STEP, np.array([0.01]))
    np.testing.assert_array_equal(corrected, velocity)
    np.testing.assert_array_equal(coefficients, 0.0)
