"""Thinned lines keep what can be seen of them."""

import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from dyntest.presenting.frames import thinned, thinned_rows


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=400), st.integers(4, 60))
def test_ends_and_extremes_stay_and_no_more_points_than_asked(values, most):
    line = np.array(values)
    rows = thinned_rows(line, most)
    assert len(rows) <= most or len(rows) == len(line) <= most
    assert (np.diff(rows) > 0).all() and rows[0] == 0 and rows[-1] == len(line) - 1
    assert line[rows].min() == line.min() and line[rows].max() == line.max()


def test_points_that_do_not_exist_do_not_hide_a_peak():
    line = np.full(1000, np.nan)
    line[500] = 3.0
    assert 500 in thinned_rows(line, 50)


def test_each_line_is_thinned_by_itself():
    frame = pd.DataFrame({"x": np.tile(np.arange(300), 2), "y": np.arange(600.0), "name": ["a"] * 300 + ["b"] * 300})
    drawn = thinned(frame, "y", "name", 20)
    assert drawn.groupby("name")["x"].agg(["first", "last"]).to_numpy().tolist() == [[0, 299], [0, 299]]
    assert drawn.groupby("name").size().max() <= 20


def test_a_short_line_stays_as_it_is():
    assert thinned_rows(np.arange(5.0), 10).tolist() == [0, 1, 2, 3, 4]
