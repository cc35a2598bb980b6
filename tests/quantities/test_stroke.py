import numpy as np

from dyntest.quantities.stroke import blow_rate, stroke_from_blow_rate


def test_rate_belongs_to_the_blow_that_ends_the_interval():
    clock = np.array([0.0, 1.2, 2.6, 4.1])
    assert np.allclose(1 / blow_rate(clock, np.arange(1, 5))[1:], [1.2, 1.4, 1.5])


def test_first_blow_has_no_rate():
    assert np.isnan(blow_rate(np.array([5.0]), np.array([1]))[0])
    assert np.isnan(blow_rate(np.array([5.0, 6.3]), np.array([40, 41]))[0])


def test_blow_not_recorded_gives_no_rate():
    clock = np.array([0.0, 1.4, 2.8, 5.6, 7.0])
    by_number = blow_rate(clock, np.array([1, 2, 3, 5, 6]))
    by_time = blow_rate(clock, np.array([1, 2, 3, 4, 5]))  # the recorder counted on
    for rate in (by_number, by_time):
        assert np.isnan(rate[3])
        assert np.allclose(rate[[1, 2, 4]], 1 / 1.4)


def test_missing_number_counts_even_where_the_time_looks_usual():
    rate = blow_rate(np.array([0.0, 1.4, 2.8, 4.4, 5.8]), np.array([1, 2, 3, 5, 6]))
    assert np.isnan(rate).tolist() == [True, False, False, True, False]


def test_strokes_that_grow_are_not_taken_for_missing_blows():
    stroke = np.linspace(1.5, 3.0, 40)
    interval = np.sqrt((stroke + 0.09144) * 8 / 9.80665)
    found = stroke_from_blow_rate(blow_rate(np.concatenate([[0.0], np.cumsum(interval)]), np.arange(41)))
    assert np.allclose(found[1:], stroke)


def test_clock_that_stands_still_gives_no_rate():
    assert np.isnan(blow_rate(np.zeros(5), np.arange(5))).all()
    assert np.isnan(blow_rate(np.full(5, np.nan), np.arange(5))).all()


def test_rate_too_high_for_a_free_flight_gives_no_stroke():
    assert np.isnan(stroke_from_blow_rate(np.array([5.0, np.nan]))).all()
