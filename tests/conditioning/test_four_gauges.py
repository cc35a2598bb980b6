"""One, two or four gauges of a kind: means free of bending, bending of each pair, and any one left out."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.conditioning.condition import condition
from dyntest.conditioning.judging import find
from dyntest.quantities.table import drive_table
from dyntest.signals import opposite_pairs

FIRST, OTHER = 0.12, -0.15
"""Bending of the first pair and of the other, over the mean strain [1]."""


@pytest.fixture
def two(make_blows):
    """A record with two gauges of each kind, the second strain gauge as much below the mean as the first above."""
    return make_blows(strain_noise=0.0, acceleration_noise=0.0, offset=0.0, bending=FIRST)


@pytest.fixture
def four(two):
    """The same blows with two more strain gauges across and two more accelerometers."""
    signals, pile = two
    mean = signals.strain.mean(axis=1, keepdims=True)
    across = mean * np.array([1 + OTHER, 1 - OTHER])[:, None]
    more = replace(
        signals,
        strain=np.concatenate([signals.strain, across], axis=1),
        acceleration=np.concatenate([signals.acceleration] * 2, axis=1),
        strain_names=tuple(f"strain_{i}" for i in range(1, 5)),
        acceleration_names=tuple(f"acceleration_{i}" for i in range(1, 5)),
    )
    return more, pile


def found(signals, pile):
    return {f.check: f for f in find(signals, condition(signals, pile), pile)}


def test_four_gauges_give_the_force_and_velocity_of_two(two, four):
    expected, waves = condition(*two).waves, condition(*four).waves
    np.testing.assert_allclose(waves.force, expected.force, rtol=1e-12, atol=1e-3)
    np.testing.assert_allclose(waves.velocity, expected.velocity, rtol=1e-12, atol=1e-9)
    assert {check for check in found(*four) if check != "small movement"} == set()


def test_bending_is_told_in_both_directions_and_the_worst_gauge_by_its_stress(two, four):
    table, alone = drive_table(*four).table, drive_table(*two).table
    np.testing.assert_allclose(table["bending_ratio"], FIRST, atol=2e-3)
    np.testing.assert_allclose(table["bending_ratio_other"], OTHER, atol=2e-3)
    assert "bending_ratio_other" not in alone
    worst = 1 + max(abs(FIRST), abs(OTHER))
    np.testing.assert_allclose(table["peak_gauge_stress"] / table["peak_compression_stress"], worst, rtol=2e-3)


@pytest.mark.parametrize("channel", range(4))
@pytest.mark.parametrize(
    ("kind", "broken", "wave", "within", "never"),
    [
        ("strain", 0.0, "force", 1e-2, {"single strain gauge", "dead channel"}),
        ("acceleration", 1e4, "velocity", 1e-9, {"single accelerometer"}),
    ],
)
def test_any_one_gauge_may_be_left_out(two, four, kind, broken, wave, within, never, channel):
    """And there is no bending in the mean of the others."""
    signals, pile = four
    values = getattr(signals, kind).copy()
    values[:, channel] = broken
    alone = replace(signals, **{kind: values}, left_out=frozenset({f"{kind}_{channel + 1}"}))
    mean, expected = (getattr(condition(*one).waves, wave) for one in ((alone, pile), two))
    np.testing.assert_allclose(mean, expected, atol=within)
    assert not never & set(found(alone, pile))


def test_two_gauges_of_different_pairs_hold_bending_and_it_is_said(four):
    signals, pile = four
    assert "single strain gauge" in found(replace(signals, left_out=frozenset({"strain_2", "strain_4"})), pile)


@pytest.mark.parametrize("channel", range(4))
@pytest.mark.parametrize(
    ("kind", "change", "check"),
    [
        ("strain", lambda x: 0 * x, "dead channel"),
        ("strain", np.negative, "swapped sign"),
        ("acceleration", np.negative, "swapped sign"),
        ("strain", lambda x: 3.0 * x, "bending"),
        ("acceleration", lambda x: 1.3 * x, "accelerometers disagree"),
    ],
)
def test_a_fault_of_each_of_four_is_found_on_it(four, channel, kind, change, check):
    signals, pile = four
    traces = getattr(signals, kind).copy()
    traces[:, channel] = change(traces[:, channel])
    assert check in found(replace(signals, **{kind: traces}), pile)


@pytest.mark.parametrize("kind", ["strain", "acceleration"])
def test_a_pair_whose_mean_differs_from_the_other_is_found(four, kind):
    signals, pile = four
    traces = getattr(signals, kind).copy()
    traces[:, 2:] *= 1.15
    name = {"strain": "strain gauge pairs disagree", "acceleration": "accelerometer pairs disagree"}[kind]
    assert found(replace(signals, **{kind: traces}), pile)[name].value == pytest.approx(0.15 / 2.15, rel=0.05)


def test_one_gauge_of_each_kind_is_enough_for_force_and_velocity(two):
    signals, pile = two
    one = replace(
        signals,
        strain=signals.strain.mean(axis=1, keepdims=True),
        acceleration=signals.acceleration[:, :1],
        strain_names=("strain_1",),
        acceleration_names=("acceleration_1",),
    )
    np.testing.assert_allclose(condition(one, pile).waves.force, condition(signals, pile).waves.force, atol=1e-2)
    assert found(one, pile)["single strain gauge"].severity == "warning"


def test_a_slice_holds_every_array_of_its_blows(four):
    signals, pile = four
    signals = replace(signals, clock=np.arange(3.0), penetration=np.arange(3.0) + 10)
    part = signals.take(slice(1, 3))
    assert (part.n_blows, part.clock.tolist(), part.penetration.tolist()) == (2, [1.0, 2.0], [11.0, 12.0])
    assert part.strain.shape[:2] == (2, 4)
    whole, cut = condition(signals, pile).waves, condition(part, pile).waves
    np.testing.assert_array_equal(whole.take([1, 2]).force, cut.force)
    joined = type(whole).join([whole.take([0]), whole.take(slice(1, 3))])
    np.testing.assert_array_equal(joined.down, whole.down)
    np.testing.assert_array_equal(joined.first_peak, whole.first_peak)


def test_places_of_opposite_gauges():
    assert opposite_pairs(3) == [(0, 1), (2,)]
