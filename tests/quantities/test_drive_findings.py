"""What cannot be is said, and damage only where the gauges allow it."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.conditioning.findings import Finding
from dyntest.decisions.trust import trust
from dyntest.pile import Pile, PilePart
from dyntest.quantities.drive_findings import geometry_findings, integrity_findings
from dyntest.quantities.integrity import Integrity
from dyntest.quantities.table import drive_table
from dyntest.signals import Signals

STEP = 5e-5
PILE = Pile("invented", "steel", (PilePart(20.0, 0.0138, 206.84e9, 7850.0),), total_length=21.0)


def records(stepped_waves, impedance=1.0, at=0.6, resistance=6e5, blows=3):
    """Blows on a pile whose impedance below a share of its length is so many times that above."""
    segments = round(0.5 * PILE.return_time / STEP)
    time = np.arange(1900) * STEP - 8e-3
    rise = np.sin(np.pi / 2 * np.clip(time / 1.5e-3, 0, 1)) ** 2
    pulse = 2.4e6 * rise * np.exp(-np.maximum(time - 1.5e-3, 0) / 4e-3)
    below = np.where(np.arange(segments) >= at * segments, impedance, 1.0) * PILE.impedance
    nodes = np.full(segments + 1, resistance / segments)
    down, up = stepped_waves(pulse, below, nodes, 0.0 * nodes, (4e5, 1e5))
    strain = (down + up) / (PILE.modulus * PILE.area)
    acceleration = np.gradient((down - up) / PILE.impedance, STEP)
    noise = np.random.default_rng(0).standard_normal((2, blows, 2, len(time)))
    strains = strain * np.array([1.1, 0.9])[:, None] + 1e-6 * noise[0]
    accelerations = np.tile(acceleration, (blows, 2, 1)) + 5.0 * noise[1]
    depth = np.full(blows, 16.0)
    return Signals("invented", np.arange(1, blows + 1), time, strains, accelerations, penetration=depth)


def found(signals, pile=PILE, **choices):
    return drive_table(signals, pile, damping_factor=0.4, **choices)


def checks(worked):
    return {finding.check for finding in worked.findings}


def halved(signals):
    return replace(signals, strain=signals.strain * np.array([1.0, 0.5])[:, None])


def swapped(kind):
    def change(signals):
        return replace(signals, **{kind: getattr(signals, kind) * np.array([1.0, -1.0])[:, None]})

    return change


FAULTS = {
    "time step doubled": lambda signals: replace(signals, time=2.0 * signals.time),
    "time step halved": lambda signals: replace(signals, time=0.5 * signals.time),
    "one strain halved": halved,
    "one strain swapped": swapped("strain"),
    "one acceleration swapped": swapped("acceleration"),
    "strain_1 left out": lambda signals: replace(signals, left_out=frozenset({"strain_1"})),
    "strain_2 left out": lambda signals: replace(signals, left_out=frozenset({"strain_2"})),
    "both strains 7 % low": lambda signals: replace(signals, strain=0.93 * signals.strain),
    "strain 0.2 ms late": lambda signals: replace(signals, strain=np.roll(signals.strain, 4, axis=-1)),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_gauge_fault_is_not_told_as_damage(stepped_waves, fault):
    worked = found(FAULTS[fault](records(stepped_waves)))
    assert "integrity" not in checks(worked)
    assert not (worked.table["integrity_factor"] <= 0.95).any()


@pytest.mark.parametrize("fault", ["one strain halved", "time step doubled"])
def test_the_gauge_is_named_instead(stepped_waves, fault):
    told = [f for f in found(FAULTS[fault](records(stepped_waves))).findings if f.check == "integrity or gauges"]
    assert told and "proportionality" in str(told[0].more["gauges"])


def test_damage_beyond_the_rise_is_told_where_the_gauges_are_sound(stepped_waves):
    worked = found(records(stepped_waves, impedance=0.6))
    (damage,) = [f for f in worked.findings if f.check == "integrity"]
    assert damage.severity == "warning"
    assert damage.more["depth"] == pytest.approx(12.0, abs=1.0)
    assert damage.value == pytest.approx(0.6, abs=0.05)


def test_what_falls_into_the_rise_is_left_open():
    one = np.ones(2)
    seen = Integrity(0.8 * one, np.array([1.0, 9.0]), 18.0 * one, 4.0 * one, one < 0.0, one < 0.0)
    kept, told = integrity_findings(seen, np.array([1, 2]), PILE)
    assert [(f.check, f.case, f.blows) for f in told] == [
        ("integrity", "", (2,)),
        ("integrity or gauges", "near", (1,)),
    ]
    np.testing.assert_array_equal(kept.integrity_factor, [np.nan, 0.8])


def test_gauges_with_a_fault_take_the_factor_back_on_their_blows_only():
    one = np.ones(2)
    seen = Integrity(0.8 * one, 9.0 * one, 18.0 * one, 4.0 * one, one < 0.0, one < 0.0)
    fault = Finding("bending", "note", (1,), 0.4, 0.25, "strain_1 and strain_2", n_blows=2, at_blow="warning")
    kept, told = integrity_findings(seen, np.array([1, 2]), PILE, [fault])
    assert [(f.check, f.blows) for f in told] == [("integrity", (2,)), ("integrity or gauges", (1,))]
    assert told[1].more["gauges"] == "bending"
    np.testing.assert_array_equal(kept.integrity_factor, [np.nan, 0.8])


def test_a_toe_deeper_than_the_pile_is_long_is_refused(stepped_waves):
    signals = records(stepped_waves)
    for depth, case, severity in ((65.0, "beyond the pile", "reject"), (20.6, "gauges in the ground", "warning")):
        worked = found(replace(signals, penetration=None), penetration_at_start=depth)
        (told,) = [f for f in worked.findings if f.check == "penetration"]
        assert (told.case, told.severity, told.blows, told.value) == (case, severity, (1, 2, 3), depth)
    assert "penetration" not in checks(found(signals))


def test_gauges_far_below_the_ground_are_refused_and_gauges_at_the_ground_are_not():
    blow, depth = np.array([1, 2, 3]), np.full(3, 19.77)
    feet = replace(PILE, parts=(replace(PILE.parts[0], length=22.2 * 0.3048),), total_length=23.2)
    (told,) = geometry_findings(depth, feet, blow)
    assert (told.case, told.severity, told.blows) == ("gauges deep in the ground", "reject", (1, 2, 3))
    assert (told.value, told.more["length"]) == pytest.approx((19.77, 22.2 * 0.3048))
    assert trust([told], 3, 2).answer == "no"
    for below, severities in ((19.8, []), (19.0, ["warning"]), (18.2, ["warning"]), (17.6, ["reject"])):
        near = replace(PILE, parts=(replace(PILE.parts[0], length=below),), total_length=20.0)
        assert [one.severity for one in geometry_findings(depth, near, blow)] == severities


@pytest.mark.parametrize("factor", [1 / 3.2808, 3.2808])
def test_feet_for_metres_show_in_the_toe_return(stepped_waves, factor):
    signals = replace(records(stepped_waves, resistance=2e5), penetration=None)
    short = replace(PILE, parts=(replace(PILE.parts[0], length=20.0 * factor),), total_length=None)
    told = [f for f in found(signals, short).findings if f.check == "toe return" and f.case == "unit of length"]
    assert [f.blows for f in told] == [(1, 2, 3)]
    assert told[0].value == pytest.approx(1 / factor, rel=0.06)
