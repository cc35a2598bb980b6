import numpy as np
import pytest

from dyntest.decisions.criterion import Criterion, CriterionRow, blow_count, permitted_set, show_count
from dyntest.errors import InputError

FOOT, INCH = 0.3048, 0.0254
ROWS = (CriterionRow(7 * FOOT, INCH / 10), CriterionRow(8 * FOOT, INCH / 8), CriterionRow(10 * FOOT, INCH / 5))


def test_between_rows_below_and_above():
    criterion = Criterion(ROWS, 3 * INCH)
    strokes = np.array([6.99, 7.0, 7.5, 9.0, 10.0, 11.0, np.nan]) * FOOT
    found = permitted_set(criterion, strokes) / INCH
    # as an inspector reads the card: between two rows the lower stroke's set, above the highest the highest's
    assert found == pytest.approx([np.nan, 0.1, 0.1, 0.125, 0.2, 0.2, np.nan], nan_ok=True)


def test_a_tolerance_below_the_lowest_row_counts_as_that_row():
    criterion = Criterion(ROWS, 3 * INCH, stroke_tolerance=0.1 * FOOT)
    found = permitted_set(criterion, np.array([6.89, 6.9, 6.95]) * FOOT) / INCH
    assert found == pytest.approx([np.nan, 0.1, 0.1], nan_ok=True)


def test_counts_as_an_inspector_keeps_them():
    assert blow_count(np.array([INCH / 8, INCH]), "US").tolist() == pytest.approx([8.0, 1.0])
    assert blow_count(0.025 / 6, "SI") == pytest.approx(6.0)
    assert show_count(float("inf"), "SI") == "0.0 blows per 25 mm"
    assert show_count(float("nan"), "SI") == "–"


@pytest.mark.parametrize(
    ("rows", "given", "words"),
    [
        ((), {}, "there is no row"),
        ((ROWS[1], ROWS[0]), {}, "do not rise"),
        ((ROWS[0], ROWS[0]), {}, "do not rise"),
        ((CriterionRow(2.0, 0.004), CriterionRow(3.0, 0.003)), {}, "a higher stroke asks for a smaller set"),
        ((CriterionRow(2.0, 0.0),), {}, "not above zero"),
        ((CriterionRow(2.0, float("inf")),), {}, "not above zero"),
        (ROWS, {"holding_length": 0.0}, "not above zero"),
        (ROWS, {"stroke_tolerance": -0.1}, "not above zero"),
    ],
)
def test_a_criterion_no_inspector_could_use_is_refused(rows, given, words):
    with pytest.raises(InputError, match=words):
        Criterion(rows, **{"holding_length": 0.1, **given})
