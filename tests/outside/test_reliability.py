"""Resistance factors from reliability against a published table."""

import pytest

from dyntest.decisions.reliability import (
    METHOD_RECORDS,
    LoadStatistics,
    first_order_resistance_factor,
    likely_static_resistance,
)

# University of Florida thesis in the course reader TTE 4004c (c. 1998), pp. 117-118, Table D-4: an energy method at the
# beginning of restrike, 52 cases, mean 1.46, standard deviation 0.78. Rows: dead over live; columns: β.
BETAS = (1.96, 2.50, 3.03, 3.57)
TABLE_D4 = {
    0.52: (0.627, 0.466, 0.348, 0.258),
    1.00: (0.601, 0.447, 0.334, 0.248),
    2.12: (0.572, 0.425, 0.317, 0.236),
    3.53: (0.555, 0.412, 0.308, 0.229),
}
# The table does not print its load statistics; these were inferred by fitting them, so only the pattern over four
# betas and four ratios is a check, with a tolerance of 1 %.
LOADS = LoadStatistics(dead_bias=1.08, dead_variation=0.13, live_bias=1.15, live_variation=0.20)


@pytest.mark.parametrize("ratio", TABLE_D4)
def test_the_published_table(ratio):
    factors = [first_order_resistance_factor(1.46, 0.78 / 1.46, beta, ratio, LOADS) for beta in BETAS]
    assert factors == pytest.approx(TABLE_D4[ratio], rel=0.01)


# Worked by hand from the printed formula, with the default load statistics, dead over live 2.
@pytest.mark.parametrize(
    ("method", "beta", "expected"),
    [
        ("signal matching, beginning of restrike", 2.33, 0.583),
        ("signal matching, beginning of restrike", 3.0, 0.447),
        ("energy approach, end of initial drive", 2.33, 0.481),
        ("energy approach, end of initial drive", 3.0, 0.358),
    ],
)
def test_worked_values(method, beta, expected):
    record = METHOD_RECORDS[method]
    assert first_order_resistance_factor(record.bias, record.variation, beta, 2.0) == pytest.approx(expected, abs=6e-4)


def test_the_likely_range_has_the_record_s_mean_and_spread():
    """Against scipy's lognormal distribution: mean λ, coefficient of variation COV, 68.27 % within one deviation."""
    from math import log

    from scipy.stats import lognorm

    record = METHOD_RECORDS["signal matching, beginning of restrike"]
    found = likely_static_resistance(1.0, record)
    ratio = lognorm(s=0.5 * log(found.high / found.low), scale=found.value)
    assert ratio.mean() == pytest.approx(record.bias)
    assert ratio.std() / ratio.mean() == pytest.approx(record.variation)
    assert ratio.cdf(found.high) - ratio.cdf(found.low) == pytest.approx(0.6827, abs=1e-4)
