import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.decisions import dynamic_formulas


@given(st.floats(0.3e6, 6e6), st.floats(20e3, 300e3))
def test_the_inverse_comes_back(resistance, energy):
    moved = dynamic_formulas.modified_gates_set(resistance, energy)
    assert dynamic_formulas.modified_gates(energy, moved) == pytest.approx(resistance, rel=1e-9)


def test_more_energy_or_less_set_means_more_resistance():
    energy, moved = np.array([[30e3], [60e3]]), np.array([0.01, 0.004])
    formulas = dynamic_formulas.modified_gates, dynamic_formulas.gates
    for formula in (*formulas, lambda e, s: dynamic_formulas.energy_approach(e, s, 0.02)):
        resistance = formula(energy, moved)
        assert resistance.shape == (2, 2)
        assert (np.diff(resistance, axis=0) > 0).all()
        assert (np.diff(resistance, axis=1) > 0).all()


@pytest.mark.parametrize("energy", [0.0, -1.0, np.nan])
def test_no_energy_no_number(energy):
    assert np.isnan(dynamic_formulas.modified_gates(energy, 0.005))
    assert np.isnan(dynamic_formulas.modified_gates_set(1e6, energy))
    assert np.isnan(dynamic_formulas.gates(energy, 0.005))
    assert np.isnan(dynamic_formulas.energy_approach(energy, 0.005, 0.02))


def test_where_a_formula_gives_nothing_above_zero_there_is_no_number():
    assert np.isnan(dynamic_formulas.modified_gates(5e3, 0.1))
    assert np.isnan(dynamic_formulas.modified_gates(50e3, 0.0))


def test_a_set_above_the_peak_displacement_has_no_energy_approach():
    found = dynamic_formulas.energy_approach(30e3, np.array([-0.001, 0.0, 0.02, 0.021]), 0.02)
    assert np.isnan(found).tolist() == [True, False, False, True]
    assert found[1] == pytest.approx(3.0e6)
    assert found[2] == pytest.approx(1.5e6)
