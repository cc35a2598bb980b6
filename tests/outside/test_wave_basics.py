"""The one-dimensional wave: speed, impedance, reflection and energy, against a public manual and exact mechanics.

UFC 3-220-20 (16 Jan 2025), chapter 6, Eq. 6-2, p. 426 (impedance) and section 6-9.2 (wave speeds), as digitised in
the package geotech_references. The energy of a sampler hammer after ASTM D4633: 140 lb falling 30 in.
"""

import math

import numpy as np
import pytest
from geotech_references.dm7_2 import chapter6 as ufc

from dyntest.pile import PilePart
from dyntest.quantities.energy_and_motion import energy_ratio, transferred_energy
from dyntest.quantities.stresses import peak_compression_stress
from dyntest.units import STANDARD_GRAVITY, to_si, unit_factor

FOOT, KSI, POUND_PER_CUBIC_FOOT = (
    unit_factor("ft", "length"),
    unit_factor("ksi", "stress"),
    unit_factor("lbf/ft^3", "unit weight") / STANDARD_GRAVITY,
)


@pytest.mark.parametrize(("modulus", "area", "density"), [(206.84e9, 1.38e-2, 7880.0), (36e9, 0.16, 2450.0)])
def test_impedance_is_that_of_ufc_equation_6_2(modulus, area, density):
    part = PilePart(10.0, area, modulus, density)
    assert part.impedance == pytest.approx(ufc.pile_impedance(modulus, area, part.wave_speed), rel=1e-12)


# Consistent sets of modulus and unit weight; arithmetic of c = √(E/ρ), to the digits written.
@pytest.mark.parametrize(
    ("modulus", "unit_weight", "speed"),
    [(30_000, 492, 16_808), (29_000, 490, 16_559), (3238, 150, 10_000), (5059, 150, 12_500), (5472, 150, 13_000)],
)
def test_wave_speed_of_modulus_and_unit_weight(modulus, unit_weight, speed):
    part = PilePart(1.0, 1.0, modulus * KSI, unit_weight * POUND_PER_CUBIC_FOOT)
    assert part.wave_speed / FOOT == pytest.approx(speed, abs=1.5)


def test_steel_and_concrete_lie_where_the_manual_puts_them():
    """UFC 3-220-20, section 6-9.2: steel about 16,800 ft/s; concrete 10,000 to 13,000 ft/s."""
    steel = PilePart(1.0, 1.0, 30_000 * KSI, 492 * POUND_PER_CUBIC_FOOT)
    assert steel.wave_speed / FOOT == pytest.approx(16_800, rel=2e-3)
    concrete = PilePart(1.0, 1.0, 36e9, 2450.0)
    assert 10_000 < concrete.wave_speed / FOOT < 13_000


def test_stress_of_a_single_wave():
    """σ = E v/c: 1.785 ksi for each ft/s in steel, arithmetic."""
    part = PilePart(1.0, to_si("15.5 in^2", "area"), 30_000 * KSI, 492 * POUND_PER_CUBIC_FOOT)
    force = np.array([[0.0, part.impedance * FOOT]])
    assert peak_compression_stress(force, part.area)[0] / KSI == pytest.approx(1.785, abs=5e-4)


def test_rigid_ram_on_a_long_pile_gives_all_its_energy():
    """F = Z v0 e^(−Z t/m): peak 2515 kN, time constant 5.283 ms, energy ½ m v0² (exact mechanics)."""
    impedance, mass, drop = 567.9e3, 3000.0, 1.0
    speed = math.sqrt(2 * STANDARD_GRAVITY * drop)
    constant = mass / impedance
    time = np.arange(20_000) * 5e-6
    force = impedance * speed * np.exp(-time / constant)
    assert force[0] == pytest.approx(2515e3, abs=500)
    assert constant == pytest.approx(5.283e-3, abs=5e-7)
    energy = transferred_energy(force[None], force[None] / impedance, 5e-6)
    assert energy[0] == pytest.approx(0.5 * mass * speed**2, rel=1e-5)
    assert energy_ratio(energy, mass * STANDARD_GRAVITY * drop)[0] == pytest.approx(1.0, rel=1e-5)


def test_available_energy_of_the_sampler_hammer():
    """ASTM D4633: 140 lb × 30 in = 350 ft·lb = 474.5 J; a rod that took 285 J is driven at 60 %."""
    available = to_si("140 lbf", "force") * to_si("30 in", "length")
    assert available == pytest.approx(474.5, abs=0.05)
    assert energy_ratio(np.array([284.7]), available)[0] == pytest.approx(0.60, abs=1e-3)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0])
def test_step_of_impedance_reflects_as_mechanics_says(stepped_waves, ratio):
    """(Z2 − Z1)/(Z2 + Z1) comes back; this holds the wave calculation that other tests lean on."""
    impedance = np.full(40, 5e5)
    impedance[20:] *= ratio
    _, up = stepped_waves(np.full(70, 1e6), impedance, np.zeros(41), np.zeros(41), (0.0, 0.0))
    assert up[60] == pytest.approx((ratio - 1) / (ratio + 1) * 1e6, abs=1.0)


@pytest.mark.parametrize(("toe", "share"), [((0.0, 0.0), -1.0), ((1e12, 0.0), 1.0)])
def test_free_and_fixed_toe(stepped_waves, toe, share):
    _, up = stepped_waves(np.full(90, 1e6), np.full(40, 5e5), np.zeros(41), np.zeros(41), toe)
    assert up[79] == 0.0
    assert up[85] == pytest.approx(share * 1e6)
