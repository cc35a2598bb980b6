import numpy as np
import pytest

from dyntest.quantities.energy_and_motion import shaft_resistance_before_return, shaft_share


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
