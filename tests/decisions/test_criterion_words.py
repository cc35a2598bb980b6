"""The card an inspector carries: whole counts, rounded up, in either system."""

import pytest

from dyntest.decisions.criterion import Criterion, CriterionRow
from dyntest.decisions.criterion_words import card, whole_count

INCH, FOOT = 0.0254, 0.3048


def test_strokes_that_ask_for_the_same_count_are_one_line():
    rows = tuple(CriterionRow(stroke * FOOT, INCH / count) for stroke, count in ((6, 7), (6.5, 6), (7, 6), (8, 5)))
    words = card(Criterion(rows, 3 * INCH, maximum_stroke=10 * FOOT), "US")
    assert words[:4] == (
        "Drive until the blow count holds over 3 in without a break:",
        "at a stroke of 6.0 ft or more, at least 7 blows in every inch;",
        "at a stroke of 6.5 ft or more, at least 6 blows in every inch;",
        "at a stroke of 8.0 ft or more, at least 5 blows in every inch.",
    )
    assert "The stroke must not be above 10.0 ft." in words
    assert "–" not in " ".join(words)


@pytest.mark.parametrize(
    ("count", "system", "asked"), [(7.0, "US", 7), (7.01, "US", 8), (6.0, "SI", 6), (6.2, "SI", 7)]
)
def test_counts_are_never_rounded_down(count, system, asked):
    assert whole_count((INCH if system == "US" else 0.025) / count, system) == asked


def test_one_blow_is_one_blow():
    words = card(Criterion((CriterionRow(2.0, 0.025),), 0.075), "SI")
    assert words[1] == "at a stroke of 2.00 m or more, at least 1 blow in every 25 mm."
