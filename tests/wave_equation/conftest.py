"""Piles and soils that the tests of the wave equation share."""

import numpy as np
import pytest

from dyntest.pile import Pile, PilePart
from dyntest.wave_equation.mesh import mesh_pile
from dyntest.wave_equation.soil import build_soil, place_shaft


@pytest.fixture
def steel_pile():
    """An invented steel pile of 20 m."""
    return Pile("P1", "steel", (PilePart(20.0, 0.0138, 207e9, 7850.0),), total_length=21.0)


@pytest.fixture
def mesh(steel_pile):
    """It in 40 segments."""
    return mesh_pile(steel_pile, 40)


@pytest.fixture
def make_soil(mesh):
    """Soil from 3 m down to the toe, a column a candidate, with options of `build_soil`."""

    def make(shaft=(6e5, 9e5), toe=(3e5, 5e5), shaft_damping=0.4, toe_damping=0.3, **options):
        shaft, toe = np.array(shaft, dtype=float), np.array(toe, dtype=float)
        nodes = place_shaft(mesh, 3.0, mesh.depth[-1], np.repeat(shaft[None], 8, axis=0) / 8)
        quakes = {"shaft_quake": 0.0025, "toe_quake": 0.004}
        return build_soil(nodes, toe, shaft_damping=shaft_damping, toe_damping=toe_damping, **quakes, **options)

    return make


@pytest.fixture
def pulse(mesh):
    """A downward wave of 1.4 MN that rises in 1 ms and decays in 5 ms, for 600 steps."""
    time = np.arange(600) * mesh.time_step
    return 1.4e6 * np.minimum(time / 1e-3, 1.0) * np.exp(-time / 5e-3)
