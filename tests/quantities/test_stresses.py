import numpy as np
import pytest

from dyntest.quantities.stresses import (
    peak_compression_stress,
    peak_gauge_stress,
    peak_tension,
    toe_compression_stress,
)


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


def by_hand(down, up, reach):
    """Every pair of times no further apart than T, one by one."""
    lowest, at = 0.0, None
    for later in range(len(up)):
        for earlier in range(max(later - reach, 0), later + 1):
            force = down[earlier] + up[later]
            if force < lowest:
                lowest, at = force, later - earlier
    return -lowest, at


@pytest.mark.parametrize("reach", [1, 2, 7, 8])
def test_running_minimum_is_the_search_over_all_pairs(reach):
    rng = np.random.default_rng(5)
    down, up = rng.normal(size=(6, 60)), rng.normal(size=(6, 60))
    force, share = peak_tension(down, up, return_time=(reach + 0.3) * 0.1, time_step=0.1)
    for row in range(6):
        expected, lag = by_hand(down[row], up[row], reach)
        assert force[row] == pytest.approx(expected)
        assert share[row] == pytest.approx(lag / (reach + 0.3))


def test_no_tension_is_zero_at_no_depth():
    force, share = peak_tension(np.ones((2, 50)), np.zeros((2, 50)), 0.5, 0.1)
    assert force.tolist() == [0.0, 0.0]
    assert np.isnan(share).all()


def test_free_pile_shorter_than_the_pulse_sees_its_tension_inside():
    """A free toe turns the pulse over: tension appears where the tail of the pulse no longer covers the reflection."""
    time = np.arange(400) * 1e-4
    down = np.interp(time, [1e-3, 1.1e-3, 4e-3, 4.1e-3], [0.0, 1e6, 1e6, 0.0], left=0.0, right=0.0)
    back = 8e-3
    up = -np.interp(time - back, time, down, left=0.0)
    force, _ = peak_tension(down[None], up[None], back, 1e-4)
    assert force[0] == pytest.approx(1e6)
