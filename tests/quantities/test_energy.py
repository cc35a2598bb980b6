import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from dyntest.quantities.energy_and_motion import energy_ratio, transferred_energy

RNG = np.random.default_rng(11)


def test_trapezoids_are_scipys():
    force, velocity = RNG.normal(size=(5, 300)), RNG.normal(size=(5, 300))
    expected = cumulative_trapezoid(force * velocity, dx=0.01, axis=1, initial=0.0).max(axis=1)
    assert np.allclose(transferred_energy(force, velocity, 0.01), expected)


@given(st.floats(1e5, 2e6))
def test_energy_by_waves_is_energy_by_force_and_velocity(impedance):
    """∫F v dt = ∫(W_d² − W_u²)/Z dt, the second route."""
    force, velocity = RNG.normal(size=(3, 200)) * 1e6, RNG.normal(size=(3, 200))
    down, up = (force + impedance * velocity) / 2, (force - impedance * velocity) / 2
    flow = (down**2 - up**2) / impedance
    by_waves = cumulative_trapezoid(flow, dx=1e-4, axis=1, initial=0.0).max(axis=1)
    assert np.allclose(transferred_energy(force, velocity, 1e-4), by_waves)


def test_energy_that_comes_back_is_not_taken_off():
    force, velocity = np.array([[0.0, 1.0, 1.0, 1.0, 0.0]]), np.array([[0.0, 1.0, 0.0, -1.0, 0.0]])
    assert transferred_energy(force, velocity, 1.0)[0] == 1.0


def test_ratio_takes_one_or_many_available_energies():
    assert energy_ratio(np.array([10.0, 20.0]), np.array([20.0, 80.0])).tolist() == [0.5, 0.25]
