import numpy as np
import pytest

from dyntest.conditioning.corrections import low_pass
from dyntest.errors import InputError

STEP = 50e-6
TIME = np.arange(4000) * STEP


def amplitude(frequency, corner):
    """What is left of a sine in the middle of the record, and how far it moved in time [s]."""
    filtered = low_pass(np.sin(2 * np.pi * frequency * TIME), STEP, corner)[1000:3000]
    turning = np.exp(-2j * np.pi * frequency * TIME[1000:3000])
    component = 2 * (filtered * turning).mean() * 1j
    return abs(component), -np.angle(component) / (2 * np.pi * frequency)


def test_half_is_left_at_the_corner_and_nothing_is_shifted():
    left, moved = amplitude(1000.0, 1000.0)
    assert left == pytest.approx(0.5, rel=1e-3)  # twice −3 dB
    assert abs(moved) < 1e-9


@pytest.mark.parametrize("frequency", [100.0, 500.0, 2000.0, 4000.0])
def test_magnitude_is_the_squared_butterworth(frequency):
    warped = np.tan(np.pi * frequency * STEP) / np.tan(np.pi * 1000.0 * STEP)  # bilinear transform
    left, moved = amplitude(frequency, 1000.0)
    assert left == pytest.approx(1 / (1 + warped**8), rel=2e-3, abs=1e-6)
    assert left < 1e-5 or abs(moved) < 1e-9


@pytest.mark.parametrize("corner", [0.0, -5.0, 10e3, 12e3, float("nan")])
def test_a_corner_that_does_not_fit_is_an_error_and_never_another_filter(corner):
    with pytest.raises(InputError, match="10000 Hz"):
        low_pass(np.zeros(100), STEP, corner, "P1/sheet.toml")
