"""A diesel's gas before impact is not taken for the zero line; a short record is not bent to the set of a log."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dyntest.conditioning.condition import LASTS_TO_REST, Options, condition
from dyntest.conditioning.impact import shift
from dyntest.conditioning.judging import find
from dyntest.pile import Pile, PilePart
from dyntest.quantities.energy_and_motion import transferred_energy
from dyntest.signals import Signals

sys.path.insert(0, str(Path(__file__).parents[1] / "outside" / "worlds"))
from lumped_mass import Driver, Gas, Ground, Rod, along_shaft, drive

ROD = Rod(1.0, 20.0, 0.0138, 206.84e9, 7850.0)
PILE = Pile("A", "steel", (PilePart(20.0, 0.0138, 206.84e9, 7850.0),))
STEP, LEAD = 50e-6, 60e-3


@pytest.fixture(scope="module")
def blows():
    """Blows of a diesel whose ports close 0.38 m before impact, by the independent lumped-mass scheme."""
    limit = np.array([1.2e6, 1.8e6])
    shaft = along_shaft(ROD, 17.0, np.ones_like, 0.25)[:, None] * 0.6 * limit
    hammer = Driver(3000.0, 900.0, 1.6e9, efficiency=0.95, gas=Gas(0.13, 0.38))
    strokes = np.array([2.4, 2.6])
    return drive(ROD, hammer, Ground(shaft, 0.4 * limit), strokes, before=LEAD, duration=0.17, piece=0.25)


def recorded(blows, before):
    """What a recorder holds that begins so long before the first impact."""
    part = slice(round((LEAD - before) / STEP), round((LEAD - before + 0.1) / STEP))
    noise = np.random.default_rng(1).standard_normal((4, 2, 2, part.stop - part.start))
    strain = blows.force[:, None, part] / (ROD.modulus * ROD.area)
    acceleration = np.gradient(blows.velocity, STEP, axis=1)[:, None, part]
    strains = strain + 8e-6 * noise[0, :, :, :1] + 1.5e-6 * noise[1]
    accelerations = acceleration + 2.0 * noise[2, :, :, :1] + 5.0 * noise[3]
    return Signals("simulated", np.array([1, 2]), blows.time[part], strains, accelerations)


@pytest.mark.parametrize("before", [8e-3, 10e-3, 12e-3, 20e-3])
def test_force_and_energy_are_those_above_the_true_zero_line(blows, before):
    conditioned = condition(recorded(blows, before), PILE)
    waves = conditioned.waves
    true_energy = (np.cumsum(blows.force * blows.velocity, axis=1) * STEP).max(axis=1)
    np.testing.assert_allclose(waves.force.max(axis=1), blows.force.max(axis=1), rtol=0.005)
    np.testing.assert_allclose(waves.velocity.max(axis=1), blows.velocity.max(axis=1), rtol=0.01)
    np.testing.assert_allclose(transferred_energy(waves.force, waves.velocity, STEP), true_energy, rtol=0.03)
    begins = round((LEAD - before) / STEP)
    np.testing.assert_allclose(conditioned.corrections.gas_force, blows.force[:, begins], rtol=0.45)


def test_gas_is_said_and_is_no_fault(blows):
    signals = recorded(blows, 10e-3)
    told = {f.check: f for f in find(signals, condition(signals, PILE), PILE)}
    assert told["gas before impact"].severity == "note"
    assert told["gas before impact"].value == pytest.approx(0.025, abs=0.012)
    assert not {"no quiet part", "proportionality", "lag"}.intersection(told)


@pytest.mark.parametrize("before", [0.5e-3, 1e-3, 2e-3])
def test_a_zero_line_taken_from_the_gas_is_found(blows, before):
    signals = recorded(blows, before)
    conditioned = condition(signals, PILE)
    missing = 1.0 - conditioned.waves.force.max(axis=1) / blows.force.max(axis=1)
    assert (missing > 0.03).all()
    found = [f for f in find(signals, conditioned, PILE) if f.check == "no quiet part"]
    assert [(f.case, f.blows) for f in found] == [("tension at rest", (1, 2))]
    assert found[0].value == pytest.approx(missing.max(), abs=0.025)


@pytest.mark.parametrize("before", [10e-3, 20e-3, 60e-3])
def test_a_zero_line_below_the_gas_leaves_no_tension(blows, before):
    signals = recorded(blows, before)
    assert "no quiet part" not in {f.check for f in find(signals, condition(signals, PILE), PILE)}


@pytest.mark.parametrize(("shifted", "raised"), [(0, False), (1, False), (slice(None), True)])
def test_only_tension_in_every_gauge_is_of_the_zero_line(make_blows, shifted, raised):
    signals, pile = make_blows(quiet=2e-3)
    strain = signals.strain.copy()
    strain[:, shifted, signals.time > 0.03] -= 0.06 * strain.max()
    found = find(replace(signals, strain=strain), condition(replace(signals, strain=strain), pile), pile)
    assert ("tension at rest" in {f.case for f in found}) == raised


@pytest.mark.parametrize("before", [10e-3, 30e-3, 60e-3])
def test_the_impact_begins_where_the_gas_ends(blows, before):
    signals = recorded(blows, before)
    waves = condition(signals, PILE).waves
    rise = (waves.first_peak - waves.onset) * STEP
    assert (rise > 0.8e-3).all() and (rise < 4e-3).all()
    told = {f.check for f in find(signals, condition(signals, PILE), PILE)}
    assert not {"lag", "proportionality"}.intersection(told)


@pytest.mark.parametrize("late", [-0.3e-3, 0.0, 0.3e-3])
@pytest.mark.parametrize("before", [20e-3, 30e-3, 60e-3])
def test_what_the_gas_has_pressed_out_of_the_ground_is_no_lag(blows, before, late):
    """Strain that truly comes late or early is still told, by what it is."""
    signals = recorded(blows, before)
    signals = replace(signals, strain=shift(signals.strain, np.full(2, -late / STEP)))
    np.testing.assert_allclose(condition(signals, PILE).corrections.lag, late, atol=0.02e-3)


@pytest.mark.parametrize("pulse", ["drop", "diesel"])
def test_a_zero_line_that_is_seen_is_left_as_it_is(make_blows, pulse):
    signals, pile = make_blows(quiet=12e-3, pulse=getattr(make_blows, pulse))
    assert (condition(signals, pile).corrections.gas_force == 0.0).all()


def test_a_record_that_is_quiet_before_the_gas_keeps_that_zero_line(blows):
    """The gas sets in 3 ms into the record: the quiet part before it is the zero line."""
    signals = recorded(blows, 12e-3)
    quiet = signals.time < signals.time[0] + 3e-3
    late = np.where(quiet, 1.5e-6 * np.random.default_rng(4).standard_normal(signals.strain.shape), signals.strain)
    assert (condition(replace(signals, strain=late), PILE).corrections.gas_force == 0.0).all()


@pytest.mark.parametrize(("lasts", "used"), [(0.04, False), (0.09, True)])
def test_a_set_bends_only_a_record_that_lasts_until_the_pile_rests(make_blows, lasts, used):
    signals, pile = make_blows(duration=lasts + 5e-3)
    free = condition(signals, pile).waves.velocity
    bent = condition(signals, pile, Options(set_per_blow=np.full(3, 0.02))).waves.velocity
    assert lasts != LASTS_TO_REST
    assert bool((free != bent).any()) == used


def test_a_short_record_is_not_held_against_the_set(make_blows):
    signals, pile = make_blows(duration=0.046)
    sets = np.full(3, 0.03)
    found = find(signals, condition(signals, pile, Options(set_per_blow=sets)), pile, sets)
    assert "set against record" not in {f.check for f in found}


def noisy_clip(share, noise):
    def change(signals, kind, channel):
        rng = np.random.default_rng(2)
        traces = getattr(signals, kind).copy()
        peak = traces[:, channel].max(axis=1, keepdims=True)
        flat = np.minimum(traces[:, channel], share * peak)
        traces[:, channel] = flat + noise * peak * rng.standard_normal(flat.shape)
        return replace(signals, **{kind: traces})

    return change


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.002])
@pytest.mark.parametrize(("kind", "share"), [("acceleration", 0.9), ("strain", 0.85)])
def test_a_range_that_ended_shows_under_noise_too(make_blows, kind, share, noise):
    signals, pile = make_blows(n_blows=20, rate=50e3, acceleration_noise=1.0, strain_noise=2e-7)
    spoilt = noisy_clip(share, noise)(signals, kind, 0)
    found = [f for f in find(spoilt, condition(spoilt, pile), pile) if f.check == "clipped channel"]
    assert [f.gauge for f in found] == [f"{kind}_1"]
    assert len(found[0].blows) >= 19
