import numpy as np
import pytest

from dyntest.conditioning.condition import Options, condition
from dyntest.conditioning.impact import lag, shift


@pytest.mark.parametrize("samples", [-3.0, -0.25, 0.0, 0.5, 7.3])
def test_a_smooth_trace_moves_by_any_part_of_a_sample(samples):
    index = np.arange(200.0)
    wave = np.sin(2 * np.pi * index / 40)
    moved = shift(np.broadcast_to(wave, (2, 2, 200)), np.array([samples, 0.0]))
    inside = slice(10, 190)
    np.testing.assert_allclose(moved[0, 1, inside], np.sin(2 * np.pi * (index + samples) / 40)[inside], atol=2e-4)
    np.testing.assert_allclose(moved[1, 0], wave, atol=1e-15)


@pytest.mark.parametrize("rate", [5e3, 20e3, 50e3])
@pytest.mark.parametrize("true", [-0.3e-3, -20e-6, 0.0, 35e-6, 0.5e-3])
def test_the_lag_is_found_to_a_fraction_of_a_sample(make_blows, rate, true):
    signals, pile = make_blows(rate=rate, lag=true, shaft=0.0)
    found = condition(signals, pile).corrections.lag
    np.testing.assert_allclose(found, true, atol=10e-6 + 0.06 * abs(true))


def test_a_wrong_calibration_is_no_lag(make_blows):
    signals, pile = make_blows(shaft=0.0, peak_velocity=4.0)
    loud = type(signals)(**{**signals.__dict__, "strain": 1.3 * signals.strain})
    np.testing.assert_allclose(condition(loud, pile).corrections.lag, 0.0, atol=10e-6)


def test_the_strain_is_moved_only_when_asked(make_blows):
    late, pile = make_blows(lag=0.33e-3, strain_noise=0, acceleration_noise=0, offset=0)
    right, _ = make_blows(strain_noise=0, acceleration_noise=0, offset=0)
    truth = condition(right, pile).waves
    asis, moved = condition(late, pile), condition(late, pile, Options(align=True))
    assert np.abs(asis.waves.force - truth.force).max() > 0.2 * truth.force.max()
    assert np.abs(moved.waves.force - truth.force).max() < 0.02 * truth.force.max()
    assert moved.corrections.aligned and not asis.corrections.aligned
    np.testing.assert_array_equal(moved.waves.velocity, asis.waves.velocity)


def test_without_a_rise_there_is_no_lag():
    flat = np.zeros((2, 100))
    found = lag(flat, flat, 1.0, np.array([10, 20]), np.array([30, 21]), 1e-4)
    assert np.isnan(found).all()
