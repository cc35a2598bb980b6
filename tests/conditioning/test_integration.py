import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid

from dyntest.conditioning.corrections import integrate


@given(st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=50), st.floats(1e-6, 1e-2))
def test_agrees_with_the_trapezoidal_rule_of_scipy(values, step):
    expected = cumulative_trapezoid(np.array(values), dx=step, initial=0.0)
    np.testing.assert_allclose(integrate(np.array(values), step), expected, rtol=1e-9, atol=1e-9)


def test_velocity_of_a_sine_acceleration():
    time = np.arange(4001) * 25e-6
    omega = 2 * np.pi * 100.0
    velocity = integrate(np.broadcast_to(omega * np.cos(omega * time), (3, 2, 4001)), 25e-6)
    np.testing.assert_allclose(velocity[1, 1], np.sin(omega * time), atol=5e-5)
