"""A diesel's gas against the lumped-mass scheme of `tests/outside/worlds`, which has its own engine and soil.

Gas: adiabatic compression, a plateau of combustion and adiabatic expansion (from memory of any text on engines). The
scheme is after Smith (1960), ASCE J. Soil Mech. Found. Div. 86(SM4), from memory.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "worlds"))
import lumped_mass as lumped

from dyntest.hammer import Hammer
from dyntest.pile import Pile, PilePart
from dyntest.wave_equation.bearing_graph import calibrate_hammer, drive_blows
from dyntest.wave_equation.hammer_model import BORE_OF_RAM, COMPRESSION_STROKE, HammerHead, hammer_setting
from dyntest.wave_equation.matching import match_blow
from dyntest.wave_equation.problem import Blow
from dyntest.wave_equation.simulator import simulate
from dyntest.wave_equation.soil import build_soil, mesh_pile, place_shaft

RAM, HELMET, CUSHION, RESTITUTION, EFFICIENCY = 3000.0, 900.0, 1.6e9, 0.8, 0.9
ROD = lumped.Rod(1.0, 22.0, 0.01, 206.84e9, 7850.0)
PILE = Pile("P", "steel", (PilePart(22.0, 0.01, 206.84e9, 7850.0),), 23.0)
DIESEL = Hammer(
    "open-end diesel",
    RAM,
    efficiency=EFFICIENCY,
    helmet_mass=HELMET,
    hammer_cushion_stiffness=CUSHION,
    hammer_cushion_restitution=RESTITUTION,
)
SOIL = {"shaft_damping": 0.3, "toe_damping": 0.3, "shaft_quake": 2.5e-3, "toe_quake": 3e-3}


def outside(resistance, stroke, gas, law="viscous"):
    share = lumped.along_shaft(ROD, 19.0, np.ones_like)[:, None]
    ground = lumped.Ground(0.6 * share * resistance, 0.4 * resistance, law=law, **SOIL)
    way = gas.compression_stroke if gas else 0.0
    efficiency = (EFFICIENCY * stroke - way) / (stroke - way)  # there it counts from the ports on
    driver = lumped.Driver(RAM, HELMET, CUSHION, RESTITUTION, gas=gas)
    return lumped.drive(ROD, driver, ground, stroke, efficiency=efficiency, before=40e-3, duration=0.15)


def test_set_force_and_energy_with_gas():
    """The same constants of the gas in both: two ways of marching through one blow."""
    gas = lumped.Gas(BORE_OF_RAM * RAM, COMPRESSION_STROKE, 13.0, 8e6, 0.0, 1e-3, 3e-3, 1.35, 1.3)
    stroke, resistance = np.array([2.0, 2.4, 2.8]), np.array([1.2e6, 1.5e6, 2.0e6])
    blows = outside(resistance, stroke, gas)
    mesh = mesh_pile(PILE, 44, from_head=True)
    shaft = place_shaft(mesh, 4.0, 23.0, np.full((10, 3), 0.06) * resistance)
    soil = build_soil(shaft, 0.4 * resistance, **SOIL)
    head = HammerHead(hammer_setting(DIESEL, stroke), float(mesh.impedance[0]), mesh.time_step)
    motion = simulate(mesh, soil, head, int(0.2 / mesh.time_step))
    force, velocity = motion.up + motion.down, (motion.down - motion.up) / PILE.impedance
    energy = (np.cumsum(force * velocity, axis=0) * mesh.time_step).max(axis=0)
    sets = motion.toe_displacement[-200:].mean(axis=0)
    np.testing.assert_allclose(sets, blows.set_per_blow, rtol=0.03)
    np.testing.assert_allclose(energy, blows.energy, rtol=0.02)
    np.testing.assert_allclose(force.max(axis=0), blows.peak_force, rtol=0.04)


@pytest.mark.sweep
@pytest.mark.parametrize("share", [0.0, 1.2])
def test_the_gas_of_another_engine_is_found_in_its_blow(share):
    """Other constants than the defaults: what counts is the set at other strokes and resistances."""
    gas = lumped.Gas(share * BORE_OF_RAM * RAM, 0.35, 14.0, 7.5e6, 0.6e-3, 1.5e-3, 2e-3, 1.33, 1.28) if share else None
    stroke, resistance = np.array([2.4, 2.0, 2.8]), np.array([1.6e6, 1.35e6, 1.35e6])
    blows = outside(resistance, stroke, gas, "smith")
    start = int(np.searchsorted(blows.time, -1e-3))
    force, velocity = blows.force[0], blows.velocity[0]
    peak = int(np.argmax(force))
    match = match_blow(Blow(blows.time, force, velocity, start, peak, PILE, 19.0, "clay", "clay"))
    told = replace(DIESEL, efficiency=None, hammer_cushion_stiffness=1.3 * CUSHION)
    found = calibrate_hammer(match, told, 2.4, float(force.max()), float(blows.energy[0]))
    assert found.agrees
    assert found.hammer.gas_share == pytest.approx(share, abs=0.35 if share else 0.15)
    computed = drive_blows(match, hammer_setting(found.hammer, stroke), resistance)
    np.testing.assert_allclose(computed.set_per_blow, blows.set_per_blow, rtol=0.08)
    np.testing.assert_allclose(computed.transferred_energy, blows.energy, rtol=0.06)
