import numpy as np

from dyntest.quantities.energy_and_motion import peak_displacement


def test_peak_of_a_pile_that_rebounds():
    time = np.linspace(0.0, 0.1, 2001)
    moved = 0.02 * np.sin(np.pi * time / 0.2) ** 2 - 0.01 * (time / 0.1) ** 8
    assert abs(peak_displacement(np.gradient(moved, time)[None], time[1])[0] - moved.max()) < 2e-5
