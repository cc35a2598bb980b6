import numpy as np
import pytest

from dyntest.quantities.stresses import peak_compression_stress, peak_gauge_stress, toe_compression_stress


def test_bending_shows_in_one_gauge_and_not_in_the_mean():
    mean = np.array([[0.0, 1e-3, 0.5e-3]])
    gauges = np.stack([mean + 2e-4, mean - 2e-4], axis=1)
    area, modulus = 0.012, 210e9
    assert peak_compression_stress(modulus * area * gauges.mean(axis=1), area)[0] == pytest.approx(210e6)
    assert peak_gauge_stress(gauges, modulus)[0] == pytest.approx(252e6)


def test_gauge_left_out_does_not_hide_the_other():
    alone = np.array([[[0.0, 1e-3]]])
    assert peak_gauge_stress(alone, 210e9)[0] == pytest.approx(210e6)
    assert peak_gauge_stress(np.concatenate([alone, np.full_like(alone, np.nan)], axis=1), 210e9)[0] == 210e6


@pytest.mark.parametrize(("reflected", "force"), [(-1.0, 0.0), (1.0, 2e6), (0.0, 1e6)])
def test_toe_without_shaft(reflected, force):
    """A free toe carries nothing, a fixed one twice the wave, one of the pile's own impedance the wave."""
    time = np.arange(1200) * 5e-5
    down = np.interp(time, [1e-3, 2e-3, 6e-3], [0.0, 1e6, 0.0], right=0.0)
    up = reflected * np.interp(time - 8e-3, time, down, left=0.0)
    stress = toe_compression_stress(down[None], up[None], np.array([40]), 8e-3, 5e-5, np.zeros(1), 0.01)
    assert stress[0] == pytest.approx(force / 0.01, abs=1.0)
