"""Calibration finds the efficiency and cushion stiffness that made a blow, and says where it cannot."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.hammer import Hammer
from dyntest.wave_equation.bearing_graph import ACCEPTED, calibrate_hammer, drive_blows
from dyntest.wave_equation.hammer_model import hammer_setting

TRUE = Hammer(
    "hydraulic",
    3500.0,
    efficiency=0.83,
    helmet_mass=800.0,
    hammer_cushion_stiffness=0.8e9,
    hammer_cushion_restitution=0.85,
)
STROKE = 1.1


def struck(match, hammer):
    blows = drive_blows(match, hammer_setting(hammer, np.array([STROKE])), np.array([match.matched_resistance]))
    return float(blows.peak_force[0]), float(blows.transferred_energy[0]), float(blows.set_per_blow[0])


@pytest.mark.parametrize(("efficiency", "stiffness"), [(0.95, 1.2e9), (None, 0.6e9)])
def test_the_hammer_that_struck_is_found(matched, efficiency, stiffness):
    match = matched[1]
    force, energy, moved = struck(match, TRUE)
    told = replace(TRUE, efficiency=efficiency, hammer_cushion_stiffness=stiffness)
    found = calibrate_hammer(match, told, STROKE, force, energy)
    assert found.agrees
    assert found.cushion == "hammer cushion"
    assert (found.force_ratio, found.energy_ratio) == pytest.approx((1.0, 1.0), abs=0.01)
    assert found.hammer.efficiency == pytest.approx(0.83, rel=0.02)
    assert found.hammer.hammer_cushion_stiffness == pytest.approx(0.8e9, rel=0.1)
    assert found.set_per_blow == pytest.approx(moved, rel=0.02)


def test_a_pile_cushion_is_calibrated_where_there_is_one(matched):
    cushioned = replace(TRUE, pile_cushion_stiffness=0.4e9, pile_cushion_restitution=0.5)
    force, energy, _ = struck(matched[1], cushioned)
    found = calibrate_hammer(matched[1], replace(cushioned, pile_cushion_stiffness=0.6e9), STROKE, force, energy)
    assert found.cushion == "pile cushion"
    assert found.hammer.pile_cushion_stiffness == pytest.approx(0.4e9, rel=0.1)
    assert found.hammer.hammer_cushion_stiffness == cushioned.hammer_cushion_stiffness


def test_a_blow_no_such_hammer_strikes_is_said(matched):
    force, energy, _ = struck(matched[1], TRUE)
    found = calibrate_hammer(matched[1], TRUE, STROKE, force, 4.0 * energy)
    assert not found.agrees
    assert abs(found.energy_ratio - 1.0) > ACCEPTED


def test_what_is_missing_is_named(matched):
    with pytest.raises(ValueError, match="helmet_mass"):
        calibrate_hammer(matched[1], replace(TRUE, helmet_mass=None), STROKE, 2e6, 2e4)
    with pytest.raises(ValueError, match="stroke"):
        calibrate_hammer(matched[1], TRUE, float("nan"), 2e6, 2e4)
