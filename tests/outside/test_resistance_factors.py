"""Resistance factors and correlation factors against digitised public tables."""

import pytest
from geotech_references.eurocode_7_1 import tables as en1997
from geotech_references.gec_12 import tables as fhwa

from dyntest.decisions import resistance_factors
from dyntest.decisions.resistance_factors import RESISTANCE_FACTORS, resistance_factor

# FHWA-NHI-16-009 (2016), Table 7-2, after AASHTO LRFD: our words, and the words that table is searched with.
WORDS = {
    "static load test and dynamic tests": "static load test + dynamic",
    "static load test": "static load test (1 per site",
    "dynamic tests on every pile": "dynamic testing on 100%",
    "dynamic tests on some piles": "dynamic testing QC",
    "wave equation": "wave equation",
    "modified Gates formula": "modified gates",
    "Engineering News formula": "engineering news",
}


def test_every_factor_of_the_table_is_checked():
    assert set(WORDS) == set(RESISTANCE_FACTORS)


@pytest.mark.parametrize(("ours", "theirs"), WORDS.items())
def test_resistance_factor_as_in_fhwa_table_7_2(ours, theirs):
    assert resistance_factor(ours).value == fhwa.table_7_2_resistance_factor_field(theirs)


METHODS = {
    "dynamic test": None,
    "dynamic test with signal matching": "signal_matching",
    "formula with measured head movement": "formula_with_measurement",
    "formula without measured head movement": "formula_without_measurement",
}


@pytest.mark.parametrize("method", resistance_factors.MODEL_FACTORS)
@pytest.mark.parametrize("tested", [2, 5, 10, 15, 20, 31])
def test_correlation_factors_as_in_en_1997_table_a11(method, tested):
    expected = [
        en1997.table_a_11_correlation_dynamic_impact_test(which, tested, METHODS[method]) for which in ("mean", "min")
    ]
    assert resistance_factors.correlation_factors(tested, method) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("tested", range(2, 26))
def test_between_columns_never_below_the_interpolated_factor(tested):
    """The package interpolates linearly; taking the smaller number of piles must be on the safe side of that."""
    for ours, which in zip(resistance_factors.correlation_factors(tested), ("mean", "min"), strict=True):
        assert ours >= en1997.table_a_11_correlation_dynamic_impact_test(which, tested) - 1e-12


@pytest.mark.parametrize("resistance_set", resistance_factors.PARTIAL_FACTORS)
def test_partial_factor_as_in_en_1997_table_a6(resistance_set):
    expected = en1997.table_a_6_driven_pile_resistance("total_compression", resistance_set)
    assert resistance_factors.PARTIAL_FACTORS[resistance_set] == pytest.approx(expected, rel=1e-12)
