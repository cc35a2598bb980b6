import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.ndimage import minimum_filter1d, uniform_filter1d

from dyntest.quantities.sampling import aligned, first_not_positive, lowest_before, moving_mean, value_at


@given(st.floats(0.0, 9.0))
def test_a_straight_line_is_met_between_samples(position):
    line = np.array([3.0 * np.arange(10.0) - 2.0])
    assert np.isclose(value_at(line, np.array([position]))[0], 3.0 * position - 2.0)


def test_each_blow_has_its_own_position():
    wave = np.arange(8.0).reshape(2, 4)
    assert value_at(wave, np.array([0.5, 2.0])).tolist() == [0.5, 6.0]


def test_the_last_sample_is_inside_and_what_follows_is_not_a_number():
    wave = np.array([[1.0, 2.0, 3.0]])
    assert value_at(wave, np.array([2.0]))[0] == 3.0
    assert np.isnan(value_at(wave, np.array([2.001]))[0])
    assert np.isnan(value_at(wave, np.array([-0.001]))[0])
    assert np.isnan(value_at(wave, np.array([np.nan]))[0])


def test_aligned_blows_lie_beside_each_other():
    wave = np.zeros((2, 20))
    wave[0, 5], wave[1, 9] = 1.0, 1.0
    assert aligned(wave, np.array([5, 9]), 4).tolist() == [[1.0, 0.0, 0.0, 0.0]] * 2


def test_first_zero_is_interpolated_and_later_ones_are_left():
    assert first_not_positive(np.array([[2.0, -2.0, 2.0, -2.0]]))[0] == 0.5


@given(st.lists(st.floats(0.0, 25.0), min_size=1, max_size=4), st.integers(1, 8))
def test_aligned_is_the_value_at_each_position(starts, count):
    wave = np.random.default_rng(6).normal(size=(len(starts), 20))
    starts = np.array(starts)
    np.testing.assert_allclose(aligned(wave, starts, count), value_at(wave, starts[:, None] + np.arange(count)))


@given(
    arrays(float, st.tuples(st.integers(1, 3), st.integers(1, 60)), elements=st.floats(-1e7, 1e7)), st.integers(1, 90)
)
def test_windows_are_those_of_scipy(wave, width):
    lowest = minimum_filter1d(wave, width, axis=1, mode="nearest", origin=(width - 1) // 2)
    np.testing.assert_array_equal(lowest_before(wave, width), lowest)
    mean = uniform_filter1d(wave, width, axis=1, mode="nearest")
    np.testing.assert_allclose(moving_mean(wave, width), mean, rtol=1e-12, atol=1e-12 * np.abs(wave).max())
