"""The Case method against a soil for which it is exact, and against a recalled example's arithmetic.

The method holds without approximation for a uniform pile whose shaft and toe are rigid-plastic and whose damping
acts at the toe alone (Goble, Likins & Rausche 1975, OHIO-DOT-05-75, for the method; the exactness is mechanics). The
waves come from a wave calculation of the tests' own that knows nothing of the method.
"""

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from dyntest.quantities.case_resistance import (
    FACTORS,
    calibrated_damping_factor,
    case_resistance,
    case_resistance_maximum,
    case_resistance_toe_at_rest,
    suggested_damping,
    total_resistance,
)

SEGMENTS, PEAK = 80, 30
BACK = 2 * SEGMENTS  # in steps
Z = 567.895e3


def pulse(decay):
    """A rise over ten steps to 2500 kN at step 30, then an exponential tail."""
    steps = np.arange(600.0)
    return 2500e3 * np.where(steps < PEAK, np.clip((steps - 20) / 10, 0, 1), np.exp(-(steps - PEAK) / decay))


def test_rigid_plastic_toe_with_damping(stepped_waves):
    """Toe 900 kN and J = 0.4 under 2500 kN: every number follows by hand from mechanics.

    F1 = 2500 kN, v1 = 4.40222 m/s; at the return F2 = −73.774 kN, v2 = 1.379425 m/s; R = (900 + 2·0.4·2500)/1.4 =
    2071.43 kN and the static resistance 900.00 kN.
    """
    decay = BACK / np.log(2500.0 / 354.797)  # so that the downward wave at the return is that of the hand values
    down, up = stepped_waves(pulse(decay), np.full(SEGMENTS, Z), np.zeros(81), np.zeros(81), (900e3, 0.4 * Z))
    force, velocity = down + up, (down - up) / Z
    assert force[PEAK] == pytest.approx(2500e3)
    assert velocity[PEAK] == pytest.approx(4.40222, abs=5e-6)
    assert force[PEAK + BACK] / 1e3 == pytest.approx(-73.774, abs=2e-3)
    assert velocity[PEAK + BACK] == pytest.approx(1.379425, abs=5e-6)
    waves = (down[None], up[None], np.array([PEAK]), BACK, 1.0)
    assert total_resistance(*waves)[0] / 1e3 == pytest.approx(2071.43, abs=5e-3)
    assert case_resistance(*waves, 0.4)[0] / 1e3 == pytest.approx(900.0, abs=1e-6)
    assert calibrated_damping_factor(*waves, 900e3)[0] == pytest.approx(0.4)
    assert case_resistance_maximum(*waves, 0.4, search_window=300.0)[0] / 1e3 == pytest.approx(900.0, abs=1e-6)
    at_rest = case_resistance_toe_at_rest(*waves, search_window=300.0)[0]
    left = 0.01 * 0.4 * (2 * 2500e3 - 2071.43e3)  # of the damping, at 1 % of the toe's greatest velocity
    assert at_rest == pytest.approx(900e3 + left, rel=1.0 / decay)  # between two samples of the tail


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    shaft=st.floats(0.0, 800e3),
    toe=st.floats(50e3, 1500e3),
    damping=st.floats(0.0, 1.0),
    first=st.integers(2, 60),
    decay=st.floats(100.0, 400.0),
)
def test_shaft_and_toe_come_out_whatever_their_shares(stepped_waves, shaft, toe, damping, first, decay):
    """A plastic shaft leaves the toe's velocity, and so the damping, as the method computes it."""
    static = np.zeros(SEGMENTS + 1)
    static[first : first + 15] = shaft / 15
    down, up = stepped_waves(pulse(decay), np.full(SEGMENTS, Z), static, np.zeros(81), (toe, damping * Z))
    waves = (down[None], up[None], np.array([PEAK]), BACK, 1.0)
    held = shaft / 2  # what the shaft takes from the wave going down
    assume(2 * (down[PEAK] - held) > toe)  # the toe yields
    assume(down[PEAK : PEAK + BACK].min() - held > max(up[PEAK + BACK], 0.0))  # no node stops before the toe's return
    assert case_resistance(*waves, damping)[0] == pytest.approx(shaft + toe, rel=1e-9)
    assert calibrated_damping_factor(*waves, shaft + toe)[0] == pytest.approx(damping, abs=1e-9)


@pytest.mark.parametrize(("toe", "total"), [((0.0, 0.0), 0.0), ((1e12, 0.0), 5000e3)])
def test_free_and_fixed_toe(stepped_waves, toe, total):
    """A free toe resists with nothing; a fixed one with twice the wave, whatever the damping factor."""
    down, up = stepped_waves(pulse(200.0), np.full(SEGMENTS, Z), np.zeros(81), np.zeros(81), toe)
    waves = (down[None], up[None], np.array([PEAK]), BACK, 1.0)
    assert total_resistance(*waves)[0] == pytest.approx(total, abs=1e-3)
    if total:
        assert case_resistance(*waves, np.array([0.1, 0.9]))[0] == pytest.approx(total)


def test_arithmetic_of_a_recalled_example():
    """From memory, after the worked example of FHWA-HI-97-013: only the arithmetic is checked, not the inputs.

    F1 = 334 kips, v1 = 12.9 ft/s, F2 = 184 kips, v2 = 3.5 ft/s, Z = 26.1 kip/(ft/s), J = 0.4 give 381.7 and 266.1 kips.
    """
    force, velocity = np.array([[334.0, 184.0]]), np.array([[12.9, 3.5]])
    down, up = (force + 26.1 * velocity) / 2, (force - 26.1 * velocity) / 2
    found = case_resistance(down, up, np.array([0]), 1.0, 1.0, np.array([0.0, 0.4]))[0]
    assert found == pytest.approx([381.7, 266.1], abs=0.1)


def test_suggested_factors_grow_with_fineness_within_the_range_of_the_manual():
    """UFC 3-220-20, section 6-9.2: about 0.1 in sands to 1.0 in clays. The table itself is from memory."""
    factors = [suggested_damping(soil).damping_factor for soil in FACTORS]
    assert factors == sorted(factors)
    assert all(0.1 <= factor <= 1.0 for factor in factors)
    assert suggested_damping("rock") is None
