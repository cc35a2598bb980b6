import numpy as np
import pytest
from scipy.stats import theilslopes

from dyntest.decisions.time_law import robust_slope


@pytest.mark.parametrize("n", [2, 3, 5, 12, 20, 61])
@pytest.mark.parametrize("confidence", [0.5001, 0.9, 0.99])
@pytest.mark.parametrize("ties", [False, True])
def test_as_scipy_has_it(n, confidence, ties):
    """SciPy's `theilslopes`, which takes long to load, is the outside source."""
    rng = np.random.default_rng(n)
    position = np.cumsum(rng.integers(1, 4, n)).astype(float)
    values = -3.0 * position + rng.normal(0.0, 9.0, n)
    values = np.round(values / 5.0) * 5.0 if ties else values
    slope, _, low, high = theilslopes(values, position, alpha=confidence)
    assert robust_slope(position, values, confidence) == pytest.approx((slope, low, high), rel=1e-12)


def test_equal_values_have_no_slope():
    assert robust_slope(np.arange(6.0), np.full(6, 7.0), 0.9) == (0.0, 0.0, 0.0)
