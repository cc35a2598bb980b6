"""Wave speed and strain gain by the blows themselves, against piles whose truth is known."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dyntest.conditioning.condition import condition
from dyntest.pile import Pile, PilePart
from dyntest.quantities.pile_calibration import CalibrationEvidence, calibration_evidence, pile_calibration
from dyntest.quantities.table import drive_table
from dyntest.signals import Signals

sys.path.insert(0, str(Path(__file__).parents[1] / "outside" / "worlds"))
from lumped_mass import Driver, Ground, Rod, along_shaft, drive

LENGTH, PIECE = 20.0, 0.25
EMBEDDED = np.array([4.0, 6.0, 8.0, 11.0, 15.0, 19.0])
RESISTANCE = np.array([0.15, 0.25, 0.35, 0.5, 0.9, 1.6])
"""Easy blows first: resistance over the force that the blow brings [1]."""


@pytest.fixture(scope="module", params=["smith", "viscous", "rate power"])
def driven(request):
    """Records of an easy and then harder drive of a concrete pile, by the independent lumped-mass scheme."""
    rod = Rod(1.0, LENGTH, 0.09, 38e9, 2450.0, 0.17)
    limit = RESISTANCE * 0.9e6
    shaft = np.array([along_shaft(rod, e, np.ones_like, PIECE) * 0.5 * r for e, r in zip(EMBEDDED, limit, strict=True)])
    soil = Ground(shaft.T, 0.5 * limit, toe_quake=4e-3, law=request.param)
    hammer = Driver(5000.0, 700.0, 2.5e9, pile_cushion=rod.impedance * 900.0, pile_cushion_restitution=0.6)
    blows = drive(rod, hammer, soil, np.full(6, 0.8), piece=PIECE, settle=0.0)
    strain = blows.force / (rod.modulus * rod.area)
    acceleration = np.gradient(blows.velocity, blows.time[1] - blows.time[0], axis=1)
    noise = np.random.default_rng(3).standard_normal((2, 6, 2, len(blows.time)))
    return Signals(
        "simulated",
        np.arange(1, 7),
        blows.time,
        strain[:, None] * np.array([1.1, 0.9])[:, None] + 1.5e-6 * noise[0],
        np.repeat(acceleration[:, None], 2, axis=1) + 5.0 * noise[1],
        penetration=EMBEDDED,
    )


def sheet(speed_error):
    """The pile with a wave speed in the sheet that is off, and the modulus that follows from it."""
    modulus = 38e9 * (1.0 + speed_error) ** 2
    return Pile("A", "concrete", (PilePart(LENGTH, 0.09, modulus, 2450.0),), compressive_strength=45e6)


def calibration(signals, pile):
    return pile_calibration(calibration_evidence(condition(signals, pile).waves, pile, signals.penetration), pile)


@pytest.mark.parametrize("speed_error", [-0.05, 0.0, 0.05])
@pytest.mark.parametrize("gain", [0.97, 1.03])
def test_speed_and_gain_are_found_within_their_errors(driven, speed_error, gain):
    found = calibration(replace(driven, strain=gain * driven.strain), sheet(speed_error))
    true = np.sqrt(38e9 / 2450.0)
    assert found.return_blows >= 1
    assert found.wave_speed == pytest.approx(true, abs=2.0 * found.wave_speed_error)
    assert found.wave_speed == pytest.approx(true, rel=0.015)
    assert found.wave_speed_error < 0.025 * true
    assert found.strain_gain == pytest.approx(gain, abs=2.0 * found.strain_gain_error)
    assert found.strain_gain == pytest.approx(gain, rel=0.02)


@pytest.mark.parametrize("speed_error", [-0.06, 0.0, 0.06])
def test_a_wave_speed_that_the_returns_contradict_is_said(driven, speed_error):
    worked = drive_table(driven, sheet(speed_error), damping_factor=0.4)
    (found,) = [f for f in worked.findings if f.check == "wave speed"] or [None]
    assert bool(found) == bool(speed_error)
    if found:
        assert found.value == pytest.approx(1.0 / (1.0 + speed_error), rel=0.015)
        assert found.value == worked.calibration.wave_speed_ratio


def test_chunks_tell_what_the_whole_drive_tells(driven):
    whole, cut = (drive_table(driven, sheet(0.0), damping_factor=0.4, chunk=n).calibration for n in (64, 2))
    assert whole == cut


def test_without_a_clear_return_nothing_is_told():
    none, alike = np.full(3, np.nan), np.ones(3)
    found = pile_calibration(CalibrationEvidence(none, none, 1.02 * alike, 0.01 * alike), sheet(0.0))
    assert np.isnan(found.wave_speed) and found.return_blows == 0
    assert found.strain_gain == pytest.approx(1.02)
    assert found.strain_gain_error > 0.04  # the wave speed of concrete is not known any better
