import numpy as np
import pytest

from dyntest.decisions.criterion import (
    COUNTING,
    Criterion,
    CriterionRow,
    blow_count,
    count_over,
    least_count,
    permitted_set,
)
from dyntest.errors import InputError

FOOT, INCH = 0.3048, 0.0254
ROWS = (CriterionRow(7 * FOOT, INCH / 10), CriterionRow(8 * FOOT, INCH / 8), CriterionRow(10 * FOOT, INCH / 5))


def test_between_rows_below_and_above():
    criterion = Criterion(ROWS, 3 * INCH)
    strokes = np.array([6.99, 7.0, 7.5, 9.0, 10.0, 11.0, np.nan]) * FOOT
    found = permitted_set(criterion, strokes) / INCH
    # on the line between two rows, above the highest the highest's
    assert found == pytest.approx([np.nan, 0.1, 0.1125, 0.1625, 0.2, 0.2, np.nan], nan_ok=True)


def test_a_tolerance_below_the_lowest_row_counts_as_that_row():
    criterion = Criterion(ROWS, 3 * INCH, stroke_tolerance=0.1 * FOOT)
    found = permitted_set(criterion, np.array([6.89, 6.9, 6.95]) * FOOT) / INCH
    assert found == pytest.approx([np.nan, 0.1, 0.1], nan_ok=True)


def test_counts_as_an_inspector_keeps_them():
    assert blow_count(np.array([INCH / 8, INCH]), INCH).tolist() == pytest.approx([8.0, 1.0])
    assert blow_count(0.025 / 6, 0.025) == pytest.approx(6.0)


def test_rounding_is_neither_sides_gift():
    """Counts of a pile that moves just as asked fall below the whole count as often as they reach it and more."""
    shares = np.random.default_rng(5).uniform(0.0, 1.0, 4000)  # where the blows happen to fall
    for average in np.linspace(12.0, 13.0, 11):
        asked = count_over(INCH / average, INCH)
        counted = np.floor(average + shares)
        # the pile at which half the counts pass lies within half a blow of the average, above and below alike
        assert abs(asked - average) <= 0.5
        assert (counted >= asked - 1).all()
    rounded = [count_over(INCH / average, INCH) - average for average in np.linspace(10, 20, 1001)]
    assert np.mean(rounded) == pytest.approx(0.0, abs=0.01)


def test_counts_in_every_inch_are_rounded_up():
    for average in np.linspace(10.0, 20.0, 101):
        every = count_over(INCH / average, 4 * INCH, INCH)
        assert every == 4 * count_over(INCH / average, INCH, INCH) >= count_over(INCH / average, 4 * INCH)
        assert 0.0 <= every / 4 - average < 1.0


@pytest.mark.parametrize(("way", "least", "few"), [("whole length", 3, 0), ("every inch", 5, 1)])
def test_what_every_inch_has_to_show(way, least, few):
    criterion = Criterion(ROWS, 3 * INCH, counting=COUNTING["US"], way=way)
    assert least_count(criterion, INCH / 4.6) == least
    assert least_count(criterion, INCH / 0.5) == few  # 2 blows in 4 in cannot be asked with 1 in every inch


@pytest.mark.parametrize(
    ("rows", "given", "place"),
    [
        ((), {}, "rows"),
        ((ROWS[1], ROWS[0]), {}, "rows"),
        ((ROWS[0], ROWS[0]), {}, "rows"),
        ((CriterionRow(2.0, 0.004), CriterionRow(3.0, 0.003)), {}, "rows"),  # a smaller set at the higher stroke
        ((CriterionRow(2.0, 0.0),), {}, "rows and lengths"),
        ((CriterionRow(2.0, float("inf")),), {}, "rows and lengths"),
        (ROWS, {"holding_length": 0.0}, "rows and lengths"),
        (ROWS, {"stroke_tolerance": -0.1}, "rows and lengths"),
        (ROWS, {"way": "now and then"}, "count"),
    ],
)
def test_a_criterion_no_inspector_could_use_is_refused(rows, given, place):
    with pytest.raises(InputError) as caught:
        Criterion(rows, **{"holding_length": 0.1, **given})
    assert (caught.value.source, caught.value.place) == ("criterion", place)
