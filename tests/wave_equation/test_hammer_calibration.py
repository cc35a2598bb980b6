"""Calibration finds the efficiency and cushion stiffness that made a blow, and says where it cannot."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.hammer import Hammer
from dyntest.wave_equation.bearing_graph import ACCEPTED, StruckBlows, calibrate_hammer, drive_blows
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


def drive_of(match, power, set_factor=1.0, strokes=(0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3)):
    """Blows of a hammer whose efficiency changes with the stroke, in soil that grows."""
    strokes = np.array(strokes)
    hammer = replace(TRUE, efficiency_power=power, efficiency_stroke=STROKE)
    resistance = match.matched_resistance * np.linspace(0.85, 1.05, len(strokes))
    blows = drive_blows(match, hammer_setting(hammer, strokes), resistance)
    sets = set_factor * blows.set_per_blow
    return StruckBlows(strokes, blows.peak_force, blows.transferred_energy, resistance, sets)


@pytest.mark.parametrize("power", [-0.2, 0.0, 0.25])
def test_efficiency_follows_the_stroke_of_other_blows(matched, power):
    match = matched[1]
    force, energy, _ = struck(match, TRUE)
    found = calibrate_hammer(match, TRUE, STROKE, force, energy, drive_of(match, power))
    assert found.hammer.efficiency_power == pytest.approx(power, abs=0.05)
    np.testing.assert_allclose(found.blow_energy_ratio, 1.0, atol=0.03)
    np.testing.assert_allclose(found.blow_force_ratio, 1.0, atol=0.03)
    assert (found.set_ratio, found.read_ratio) == pytest.approx((1.0, 1.0), abs=0.04)


def test_strokes_that_hardly_differ_tell_nothing_about_the_efficiency(matched):
    match = matched[1]
    force, energy, _ = struck(match, TRUE)
    narrow = drive_of(match, 0.0, strokes=(1.09, 1.095, 1.1, 1.105))
    noisy = replace(narrow, transferred_energy=narrow.transferred_energy * [0.97, 1.02, 0.98, 1.03])
    assert abs(calibrate_hammer(match, TRUE, STROKE, force, energy, noisy).hammer.efficiency_power) < 0.05


@pytest.mark.parametrize("factor", [0.7, 1.4])
def test_what_is_left_of_the_set_is_told(matched, factor):
    """Sets that the model does not explain, either way, in set and in resistance."""
    match = matched[1]
    force, energy, _ = struck(match, TRUE)
    blows = drive_of(match, 0.0, factor)
    found = calibrate_hammer(match, TRUE, STROKE, force, energy, blows)
    assert found.set_ratio == pytest.approx(1.0 / factor, rel=0.03)
    assert (found.read_ratio - 1.0) * (factor - 1.0) < 0.0  # a larger set reads as less resistance
    again = drive_blows(match, hammer_setting(found.hammer, blows.stroke), found.read_ratio * blows.resistance)
    assert again.set_per_blow.sum() == pytest.approx(blows.set_per_blow.sum(), rel=0.03)


def test_blows_without_set_or_stroke_say_nothing(matched):
    match = matched[1]
    force, energy, _ = struck(match, TRUE)
    nothing = StruckBlows(*(np.full(3, np.nan) for _ in range(5)))
    found = calibrate_hammer(match, TRUE, STROKE, force, energy, nothing)
    assert found.hammer.efficiency_power == 0.0
    assert np.isnan([found.set_ratio, found.read_ratio]).all()


def test_stress_locked_in_between_blows_is_told_by_its_set(matched):
    """The set once blows repeat, over that of a first blow from rest."""
    match = matched[1]
    force, energy, moved = struck(match, TRUE)
    found = calibrate_hammer(match, TRUE, STROKE, force, energy)
    assert 0.005 < abs(found.residual_ratio - 1.0) < 0.3
    assert found.set_per_blow == pytest.approx(moved, rel=0.02)  # the graph itself starts from rest


def test_sets_run_smoothly_over_resistance(matched):
    """A pile that still swings when its set is read would give sets that jump by some percent."""
    match = matched[1]
    resistance = match.matched_resistance * np.linspace(0.7, 1.3, 25)
    sets = drive_blows(match, hammer_setting(TRUE, np.full(25, STROKE)), resistance).set_per_blow
    smooth = np.polyval(np.polyfit(resistance, np.log(sets), 4), resistance)
    np.testing.assert_allclose(np.log(sets), smooth, atol=0.01)
