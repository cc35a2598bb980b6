"""Pooling of several piles against statsmodels' random-effects meta-analysis (Paule and Mandel)."""

import numpy as np
import pytest

from dyntest.decisions.estimate import pool

meta_analysis = pytest.importorskip("statsmodels.stats.meta_analysis")

CASES = (
    ([1.30, 1.42, 1.61, 1.25, 1.48], [0.05, 0.08, 0.06, 0.04, 0.10]),
    ([0.52, 0.55, 0.50], [0.08, 0.05, 0.07]),
    ([2.1, 2.9], [0.3, 0.2]),
)


@pytest.mark.parametrize(("values", "deviations"), CASES)
def test_value_scatter_and_agreement(values, deviations):
    ours = pool(values, deviations)
    theirs = meta_analysis.combine_effects(np.array(values), np.array(deviations) ** 2, method_re="pm")
    assert ours.value == pytest.approx(theirs.mean_effect_re, rel=1e-6)
    assert ours.between == pytest.approx(np.sqrt(max(theirs.tau2, 0.0)), abs=1e-6)
    assert ours.agreement == pytest.approx(theirs.test_homogeneity().pvalue, rel=1e-6)


def test_range_of_the_pooled_value_is_students():
    values, deviations = CASES[0]
    ours = pool(values, deviations, confidence=0.95)
    theirs = meta_analysis.combine_effects(np.array(values), np.array(deviations) ** 2, method_re="pm", use_t=True)
    low, high = theirs.conf_int(alpha=0.05, use_t=True)[1]
    assert (ours.low, ours.high) == pytest.approx((low, high), rel=1e-6)


def test_the_next_pile_lies_in_its_range_as_often_as_promised():
    rng = np.random.default_rng(71)
    inside = 0
    for _ in range(400):
        truth = 1.4 + 0.15 * rng.standard_normal(7)
        deviations = rng.uniform(0.03, 0.12, 6)
        found = pool(truth[:6] + deviations * rng.standard_normal(6), deviations)
        inside += found.next_low <= truth[6] <= found.next_high
    assert 0.85 <= inside / 400 <= 0.96
