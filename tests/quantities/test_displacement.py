import numpy as np

from dyntest.quantities.displacement import displacement, peak_and_final


def test_pile_that_rebounds_keeps_its_set():
    time = np.linspace(0.0, 0.1, 2001)
    moved = 0.02 * np.sin(np.pi * time / 0.2) ** 2 - 0.01 * (time / 0.1) ** 8
    found = displacement(np.gradient(moved, time)[None], time[1])
    assert np.allclose(found[0], moved, atol=2e-5)
    peak, final = peak_and_final(found)
    assert abs(peak[0] - moved.max()) < 2e-5
    assert abs(final[0] - 0.01) < 2e-5
