"""Depths that an inspector wrote as rounded inches."""

import numpy as np
import pytest

from dyntest.reading.logs import read_driving_log, whole_inches

FOOT, INCH = 0.3048, 0.0254


@pytest.mark.parametrize("decimals", [2, 3, 4])
def test_every_inch_that_was_rounded_is_whole_again(decimals):
    inches = np.arange(1200)
    written = np.round(inches / 12, decimals) * FOOT
    np.testing.assert_allclose(whole_inches(written, FOOT), inches * INCH, atol=1e-12)


def test_other_depths_and_other_units_stay():
    tenths = np.arange(1, 100) / 10 * FOOT
    others = tenths[np.abs(np.round(tenths / FOOT * 12) - tenths / FOOT * 12) > 1e-6]
    np.testing.assert_array_equal(whole_inches(others, FOOT), others)
    metres = np.array([18.03, 18.05])
    assert whole_inches(metres, 1.0) is metres


def test_five_blows_an_inch_are_five_however_the_inch_is_written(tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("depth_from [ft],depth_to [ft],blows\n60,60.08,5\n60.08,60.17,5\n60.17,60.25,5\n")
    read = read_driving_log(log)
    assert (read.depth_to - read.depth_from) / read.blows == pytest.approx(INCH / 5)
