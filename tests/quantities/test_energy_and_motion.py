import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from dyntest.quantities.energy_and_motion import (
    energy_ratio,
    peak_displacement,
    shaft_resistance_before_return,
    shaft_share,
    transferred_energy,
)

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


def test_peak_of_a_pile_that_rebounds():
    time = np.linspace(0.0, 0.1, 2001)
    moved = 0.02 * np.sin(np.pi * time / 0.2) ** 2 - 0.01 * (time / 0.1) ** 8
    assert abs(peak_displacement(np.gradient(moved, time)[None], time[1])[0] - moved.max()) < 2e-5


def test_plastic_shaft_is_read_in_full(stepped_waves):
    """Ten nodes of 60 kN each: by the time the toe can answer all of them have sent half of it up."""
    pulse = np.concatenate([np.zeros(20), np.linspace(0.0, 3e6, 11), np.full(400, 3e6)])
    shaft = np.zeros(101)
    shaft[5:95:9] = 60e3
    down, up = stepped_waves(pulse, np.full(100, 5e5), shaft, np.zeros(101), (9e5, 0.0))
    found = shaft_resistance_before_return(up[None], np.array([21]), 200.0, 1.0)
    assert found[0] == pytest.approx(600e3)
    total = down[31] + up[231]
    assert shaft_share(found, np.array([total]))[0] == pytest.approx(0.4)


def test_share_stays_between_none_and_all():
    assert shaft_share(np.array([5.0, 1.0]), np.array([4.0, 4.0])).tolist() == [1.0, 0.25]
    assert np.isnan(shaft_share(np.array([1.0]), np.array([-2.0]))[0])
