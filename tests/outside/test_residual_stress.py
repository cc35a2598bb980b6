"""Piles with and without residual stress, struck by an independent scheme after Smith (1960).

What blows leave in a pile is described by Holloway, Clough and Vesic (1978), from memory: the toe stays loaded, and the
shaft holds it down. A match that begins from rest then takes toe for shaft.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "worlds"))
from lumped_mass import Driver, Ground, Rod, along_shaft, drive

from dyntest.conditioning.condition import AveragedTraces, condition
from dyntest.pile import Pile, PilePart
from dyntest.wave_equation.matching import match_blow
from dyntest.wave_equation.problem import Blow

pytestmark = pytest.mark.sweep

SHAFT, TOE = 0.72e6, 1.08e6


@pytest.fixture(scope="module")
def matched():
    """Give the match of an invented steel pile of 14 m that was struck so many times before."""

    def match(blows_before):
        rod = Rod(1.0, 14.0, 0.0141, 206.84e9, 7850.0)
        shaft = along_shaft(rod, 12.0, lambda into: 0.3 + into) * SHAFT
        ground = Ground(shaft[:, None], np.array([TOE]), law="viscous", shaft_damping=0.4, toe_damping=0.4)
        struck = drive(rod, Driver(4000.0, 500.0, 1.2e9), ground, np.array([1.5]), blows_before=blows_before)
        pile = Pile("P", "steel", (PilePart(14.0, rod.area, rod.modulus, rod.density),))
        noise = np.random.default_rng(5).standard_normal((2, *struck.force.shape))
        force, velocity = (
            trace + 0.002 * trace.max() * one for trace, one in zip((struck.force, struck.velocity), noise, strict=True)
        )
        traces = AveragedTraces("P", np.array([1]), struck.time - struck.time[0], force, velocity)
        waves = condition(traces, pile).waves
        at = int(waves.onset[0]), int(waves.first_peak[0])
        return match_blow(Blow(waves.time, waves.force[0], waves.velocity[0], *at, pile, 12.0, "silt", "silt"))

    return match


def test_a_pile_with_residual_stress_is_matched_with_it(matched):
    found = matched(blows_before=8)
    assert found.weight_of_stress > 0.95
    assert found.stress is not None and found.stress.toe_force > 0.05 * TOE
    assert found.matched_resistance == pytest.approx(SHAFT + TOE, rel=0.05)
    assert found.toe_resistance > 0.8 * TOE
    assert found.toe_resistance_range[0] < TOE < found.toe_resistance_range[1]
    assert found.from_rest.problem.locked is None
    assert found.from_rest.parameters["toe_resistance"] < 0.7 * TOE  # begun from rest, the toe is taken for shaft


def test_a_pile_without_it_is_matched_from_rest(matched):
    found = matched(blows_before=0)
    assert found.weight_of_stress < 0.05
    assert found.problem.locked is None
    assert found.matched_resistance == pytest.approx(SHAFT + TOE, rel=0.05)
    assert found.toe_resistance_range[0] < TOE < found.toe_resistance_range[1]
