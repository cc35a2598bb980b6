import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.decisions.bearing_intervals import cut_off_length, offset_at_cutoff, pay_length, toe_elevation


def test_a_vertical_pile_with_and_without_its_tip():
    toe = toe_elevation(100.0, 15.0)
    assert toe == 85.0
    assert pay_length(98.0, toe) == pytest.approx(13.0)
    assert pay_length(98.0, toe, tip_reinforcement=0.15) == pytest.approx(12.85)


def test_a_batter_of_three_in_four():
    # a 3-4-5 triangle: 25 m along the pile are 20 m of depth
    toe = toe_elevation(100.0, 25.0, 0.75)
    assert toe == pytest.approx(80.0)
    assert pay_length(104.0, toe, 0.75) == pytest.approx(30.0)


@given(st.floats(0.0, 0.5), st.floats(1.0, 60.0), st.floats(-5.0, 10.0))
def test_pay_length_is_penetration_and_what_stands_above_ground(batter, penetration, above):
    toe = toe_elevation(50.0, penetration, batter)
    expected = penetration + above * np.hypot(1.0, batter)
    length = pay_length(50.0 + above, toe, batter)
    assert np.isnan(length) if expected <= 0 else length == pytest.approx(expected)


def test_many_piles_at_once_and_no_number_where_the_toe_is_not_below_cutoff():
    found = pay_length(np.array([10.0, 10.0, np.nan]), np.array([0.0, 11.0, 0.0]), np.array([0.0, 0.1, 0.0]))
    assert found[0] == 10.0
    assert np.isnan(found[1:]).all()


def test_what_is_cut_off():
    assert cut_off_length(np.array([27.0, 24.0]), 25.0).tolist() == [2.0, -1.0]


@given(st.floats(0.0, 0.5), st.floats(-3.0, 3.0), st.floats(1.0, 8.0))
def test_offset_by_drawing_the_pile(batter, lower, depth):
    """The pile as a line in a plane: cutoff at (0, 0), x towards the side the toe runs out to."""
    planned = -depth  # ground below cutoff
    stake = batter * depth  # where the planned line meets the planned ground
    actual = planned - lower
    x_at_cutoff = stake - batter * (0.0 - actual)  # from the stake at the actual ground up to cutoff
    assert offset_at_cutoff(batter, planned, actual) == pytest.approx(x_at_cutoff, abs=1e-9)
