"""Blows made of analytic waves, and the reference tests, for the tests of conditioning."""

from pathlib import Path

import numpy as np
import pytest

from dyntest.pile import Pile, PilePart
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals
from dyntest.signals import Signals

REFERENCES = Path(__file__).parent.parent / "data" / "reference_tests"

MATERIALS = {  # area [m^2], modulus [Pa], density [kg/m^3], peak of the downward wave over Z·5 m/s
    "steel": (0.0138, 206.84e9, 7850.0),
    "concrete": (0.1225, 36e9, 2450.0),
    "timber": (0.07, 12e9, 800.0),
}


def drop(time, rise):
    """A drop hammer's pulse: up as a sine squared, down twice as slowly."""
    up = np.sin(0.5 * np.pi * np.clip(time / rise, 0, 1)) ** 2
    down = np.cos(0.5 * np.pi * np.clip((time - rise) / (2 * rise), 0, 1)) ** 2
    return np.where(time < rise, up, down)


def diesel(time, rise):
    """A diesel hammer's pulse: a slow compression stroke before it, a quick rise, a slow expansion behind it."""
    before = 0.12 * np.clip(1 + (time - rise) / 8e-3, 0, 1) ** 3
    tail = 0.12 * np.clip(1 - (time - rise) / 12e-3, 0, 1) ** 2
    return np.where(time < rise, np.maximum(before, drop(time, rise)), np.maximum(tail, drop(time, rise)))


@pytest.fixture(scope="session")
def make_blows():
    """A function that gives the signals of blows and the pile, from waves that are known exactly.

    The downward wave is a pulse; the upward one is its reflection at the toe, `toe` times as large (−1 would be a free
    end), and the resistance of the shaft, `shaft` times as large, spread over the way there and back. Nothing comes
    back from the hammer, so the pile ends at rest.
    """

    def make(
        *,
        n_blows=3,
        material="steel",
        length=20.0,
        rate=20e3,
        duration=0.1,
        quiet=5e-3,
        rise=2e-3,
        pulse=drop,
        toe=-0.35,
        shaft=0.1,
        peak_velocity=4.0,
        strain_noise=2e-6,
        acceleration_noise=8.0,
        offset=1.0,
        bending=0.12,
        lag=0.0,
        seed=1,
    ):
        area, modulus, density = MATERIALS[material]
        pile = Pile("synthetic", material, (PilePart(length, area, modulus, density),))
        rng = np.random.default_rng(seed)
        step = 1.0 / rate
        time = np.arange(round(duration * rate)) * step
        start = 8e-3 + quiet - 1e-3 if pulse is diesel else quiet
        strength = peak_velocity * (1 + 0.03 * rng.standard_normal((n_blows, 1)))

        def waves(at):
            on_the_way = np.linspace(0.1, 0.9, 9) * pile.return_time
            from_shaft = sum(pulse(at - delay, rise) for delay in on_the_way) / len(on_the_way)
            return pulse(at, rise), toe * pulse(at - pile.return_time, rise) + shaft * from_shaft

        def velocity(at):
            down, up = waves(at)
            return strength * (down - up)

        def strain(at):
            down, up = waves(at)
            return strength / pile.wave_speed * (down + up)

        base = time - start
        acceleration = (velocity(base + step / 2) - velocity(base - step / 2)) / step
        mean = strain(base - lag)
        sides = np.array([1 + bending, 1 - bending])[:, None]
        shape = (n_blows, 2, len(time))
        zeros = offset * rng.standard_normal((2, n_blows, 2, 1))
        strains = mean[:, None] * sides + 8e-6 * zeros[0] + strain_noise * rng.standard_normal(shape)
        accelerations = acceleration[:, None] + 2.0 * zeros[1] + acceleration_noise * rng.standard_normal(shape)
        signals = Signals("synthetic", np.arange(1, n_blows + 1), time, strains, accelerations)
        return signals, pile

    make.drop, make.diesel = drop, diesel
    return make


@pytest.fixture(scope="session", params=sorted(path.name for path in REFERENCES.iterdir() if path.is_dir()))
def reference(request):
    """Signals and pile of each reference test."""
    sheet = read_sheet(REFERENCES / request.param / "sheet.toml")
    return read_signals(sheet, sheet.drives[0]), sheet.pile
