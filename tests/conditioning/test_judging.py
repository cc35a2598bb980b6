from dataclasses import replace

import numpy as np
import pytest

from dyntest.conditioning.condition import condition
from dyntest.conditioning.impact import shift
from dyntest.conditioning.judging import check_numbers, find, join, judge
from dyntest.pile import Pile, PilePart
from dyntest.signals import AveragedTraces


def findings(signals, pile, sets=None):
    return find(signals, condition(signals, pile), pile, sets)


def alarms(found):
    return [f"{f.severity}: {f.check} {f.case} {f.gauge}, {f.value}" for f in found if f.severity != "note"]


def changed(signals, kind, channel, change):
    """The signals with one channel put through a function."""
    traces = getattr(signals, kind).copy()
    traces[:, channel] = change(traces[:, channel])
    return replace(signals, **{kind: traces})


def cut(signals, begin=0, end=None):
    part = slice(begin, end)
    return replace(
        signals,
        time=signals.time[part],
        strain=signals.strain[..., part],
        acceleration=signals.acceleration[..., part],
    )


def noisy(share):
    def change(trace):
        scale = share * np.abs(trace).max(axis=1, keepdims=True)
        return trace + scale * np.random.default_rng(5).standard_normal(trace.shape)

    return change


def clipped(share):
    def change(trace):
        limit = share * trace.max(axis=1, keepdims=True)
        return np.minimum(trace, limit)

    return change


def spiked(height):
    def change(trace):
        trace = trace.copy()
        trace[:, 40] += height * np.abs(trace).max(axis=1)
        return trace

    return change


def late(samples):
    def change(trace):
        return shift(trace, np.full(len(trace), -float(samples)))

    return change


FAULTS = {  # fault: (kind, change of channel 1, name of the check, least severity)
    "dead strain": ("strain", lambda x: 0 * x + 3e-6, "dead channel", "reject"),
    "strain of noise alone": (
        "strain",
        lambda x: 2e-6 * np.sin(np.arange(x.size).reshape(x.shape)),
        "dead channel",
        "reject",
    ),
    "strain that hardly moves": ("strain", lambda x: 0.02 * x, "dead channel", "reject"),
    "dead accelerometer": ("acceleration", lambda x: 0 * x, "dead channel", "reject"),
    "strain clipped at 95 %": ("strain", clipped(0.95), "clipped channel", "reject"),
    "strain clipped at 60 %": ("strain", clipped(0.60), "clipped channel", "reject"),
    "strain swapped": ("strain", np.negative, "swapped sign", "reject"),
    "accelerometer swapped": ("acceleration", np.negative, "swapped sign", "reject"),
    "strain noise of 6 %": ("strain", noisy(0.06), "noisy channel", "warning"),
    "acceleration noise of 6 %": ("acceleration", noisy(0.06), "noisy channel", "warning"),
    "strain off by 200 µm/m": ("strain", lambda x: x + 200e-6, "offset channel", "warning"),
    "acceleration off by 10 %": (
        "acceleration",
        lambda x: x + 0.1 * np.abs(x).max(),
        "offset channel",
        "warning",
    ),
    "strain spike of 30 %": ("strain", spiked(0.3), "spikes", "warning"),
    "acceleration spike of 30 %": ("acceleration", spiked(-0.3), "spikes", "warning"),
    "one strain doubled": ("strain", lambda x: 2.0 * x, "bending", "warning"),
    "one accelerometer 1.3 times": ("acceleration", lambda x: 1.3 * x, "accelerometers disagree", "warning"),
    "one strain late": ("strain", late(8), "time lag between gauges", "warning"),
    "one accelerometer early": ("acceleration", late(-5), "time lag between gauges", "warning"),
    "zero shift of 30 m/s²": (
        "acceleration",
        lambda x: x + 30.0 * (np.arange(x.shape[1]) > 200),
        "drift",
        "warning",
    ),
    "strain that slips": (
        "strain",
        lambda x: x + 250e-6 * (np.arange(x.shape[1]) > 600),
        "strain not returning",
        "warning",
    ),
}


def test_clean_reference_tests_raise_no_alarm(reference):
    assert alarms(findings(*reference)) == []


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_is_found_in_each_reference_test(reference, fault):
    signals, pile = reference
    kind, change, check, severity = FAULTS[fault]
    found = [f for f in findings(changed(signals, kind, 0, change), pile) if f.check == check]
    assert found, fault
    worst = found[0]
    assert worst.severity == severity
    assert worst.blows == tuple(signals.blow)
    if check not in ("bending", "accelerometers disagree", "time lag between gauges"):
        assert worst.gauge == f"{kind}_1"
        assert not any(f"{kind}_2" in f.gauge for f in found)  # the sound twin


@pytest.mark.parametrize("kind", ["strain", "acceleration"])
def test_both_gauges_of_a_kind_turned_round_are_found(reference, kind):
    signals, pile = reference
    found = findings(replace(signals, **{kind: -getattr(signals, kind)}), pile)
    turned = {f.gauge: f for f in found if f.check == "swapped sign"}
    assert {gauge: (f.severity, f.blows) for gauge, f in turned.items()} == {
        f"{kind}_{n}": ("reject", tuple(signals.blow)) for n in (1, 2)
    }


IN_SAMPLES = {"strain that slips", "zero shift of 30 m/s²", "one strain late", "one accelerometer early"}
"""Faults that begin at, or last for, so many samples, and so depend on the rate."""


@pytest.mark.parametrize("factor", [0.8, 1.3])
def test_a_wrong_calibration_of_both_strains_is_found(reference, factor):
    signals, pile = reference
    found = findings(replace(signals, strain=factor * signals.strain), pile)
    only = [f for f in found if f.check == "proportionality"]
    assert len(only) == 1
    assert only[0].value == pytest.approx(factor, rel=0.06)
    assert only[0].severity == "warning"


@pytest.mark.parametrize("delay", [-0.25e-3, 0.25e-3])
def test_a_lag_is_found(reference, delay):
    signals, pile = reference
    late = shift(signals.strain, np.full(signals.n_blows, -delay / signals.time_step))
    found = {f.check: f for f in findings(replace(signals, strain=late), pile)}
    assert found["lag"].value == pytest.approx(abs(delay), abs=0.03e-3)


@pytest.mark.parametrize("late", ["strain", "acceleration"])
def test_a_lag_longer_than_the_time_of_the_sign_is_no_swapped_sign(make_blows, late):
    delay = 1.6e-3 if late == "strain" else -1.6e-3
    signals, pile = make_blows(material="concrete", rise=5e-3, lag=delay, quiet=8e-3)
    found = {f.check: f for f in findings(signals, pile)}
    assert "swapped sign" not in found
    assert found["lag"].value == pytest.approx(1.6e-3, rel=0.25)


@pytest.mark.parametrize("kind", ["strain", "acceleration"])
def test_a_channel_that_comes_late_can_still_be_swapped(make_blows, kind):
    signals, pile = make_blows(material="concrete", rise=5e-3, lag=-1.6e-3, quiet=8e-3)
    traces = getattr(signals, kind).copy()
    traces[:, 0] *= -1.0
    found = findings(replace(signals, **{kind: traces}), pile)
    assert [f.gauge for f in found if f.check == "swapped sign"] == [f"{kind}_1"]


def test_no_quiet_part_is_found(reference):
    signals, pile = reference
    start = int(condition(signals, pile).waves.onset.min())
    checks = {f.check: f.severity for f in findings(cut(signals, start + 5), pile)}
    assert checks["no quiet part"] == "reject"


def test_a_record_that_ends_before_the_toe_return_is_found(reference):
    signals, pile = reference
    peak = int(condition(signals, pile).waves.first_peak.max())
    for times, check, severity in (
        (0.8, "record too short for the toe return", "reject"),
        (1.5, "record too short for the unloading", "warning"),
    ):
        short = cut(signals, 0, peak + round(times * pile.return_time / signals.time_step))
        assert {f.check: f.severity for f in findings(short, pile)}[check] == severity


@pytest.mark.parametrize(
    ("share", "frequency", "check"),
    [(0.3, 60.0, "velocity not settling"), (0.2, 45.0, "displacement not settling")],
)
def test_a_pile_that_does_not_come_to_rest_is_found(reference, share, frequency, check):
    signals, pile = reference
    peak = condition(signals, pile).waves.velocity.max()
    turning = 2 * np.pi * frequency * (signals.time - signals.time[0] - 0.02)
    swing = share * peak * 2 * np.pi * frequency * np.cos(turning) * (turning > 0)
    moving = replace(signals, acceleration=signals.acceleration + swing)
    assert {f.check: f.severity for f in findings(moving, pile)}[check] == "warning"


@pytest.mark.parametrize("wrong", [0.8, 1.25])
def test_a_wrong_length_is_found_where_the_toe_return_is_clear(reference, wrong):
    signals, pile = reference
    part = pile.parts[0]
    other = replace(pile, parts=(replace(part, length=wrong * part.length),))
    clear = np.isfinite(next(n for (c, _), n in _numbers(signals, pile) if c.name == "toe return")).all()
    found = [f for f in findings(signals, other) if f.check == "toe return"]
    assert bool(found) == clear
    if clear:
        assert found[0].value == pytest.approx(1 / wrong, rel=0.06)


def _numbers(signals, pile):
    measures = check_numbers(signals, condition(signals, pile), pile)
    return list(zip(measures.checks, measures.numbers, strict=True))


def test_a_small_set_is_a_lower_bound(reference):
    signals, pile = reference
    sets = np.array([0.001, 0.002, 0.010])
    found = {f.check: f for f in findings(signals, pile, sets)}["small movement"]
    assert found.blows == (1, 2)
    assert (found.value, found.threshold) == (0.001, pytest.approx(0.1 * 0.0254))


def test_a_single_strain_gauge_is_said(reference):
    signals, pile = reference
    alone = replace(signals, left_out=frozenset({"strain_2"}))
    found = {f.check: f.severity for f in findings(alone, pile)}
    assert found["single strain gauge"] == "warning"
    assert "bending" not in found


def test_a_bad_gauge_left_out_is_not_judged(reference):
    signals, pile = reference
    for fault in ("dead accelerometer", "accelerometer swapped", "acceleration noise of 6 %"):
        kind, change, check, _ = FAULTS[fault]
        bad = replace(changed(signals, kind, 0, change), left_out=frozenset({"acceleration_1"}))
        assert check not in {f.check for f in findings(bad, pile)}


@pytest.mark.parametrize("material", ["steel", "concrete", "timber"])
@pytest.mark.parametrize("rate", [5e3, 10e3, 50e3])
@pytest.mark.parametrize(
    ("length", "quiet", "rise", "pulse"),
    [
        (8.0, 1e-3, 0.8e-3, "drop"),
        (20.0, 5e-3, 2e-3, "diesel"),
        (60.0, 20e-3, 4e-3, "drop"),
        (30.0, 2e-3, 6e-3, "drop"),
    ],
)
def test_clean_blows_of_every_kind_raise_no_alarm(make_blows, material, rate, length, quiet, rise, pulse):
    for toe, shaft in ((-0.6, 0.05), (0.4, 0.1), (-0.1, 0.3)):
        signals, pile = make_blows(
            material=material, rate=rate, length=length, quiet=quiet, rise=rise, pulse=getattr(make_blows, pulse),
            toe=toe, shaft=shaft, duration=0.15, peak_velocity=3.0,
        )  # fmt: skip
        found = [f for f in findings(signals, pile) if f.check != "small movement"]  # the shortest pulse moves 1 mm
        assert alarms(found) == []


@pytest.mark.parametrize("fault", sorted(set(FAULTS) - IN_SAMPLES))
@pytest.mark.parametrize("rate", [5e3, 50e3])
@pytest.mark.parametrize("pulse", ["drop", "diesel"])
def test_each_fault_is_found_at_other_rates(make_blows, fault, rate, pulse):
    signals, pile = make_blows(rate=rate, quiet=12e-3, pulse=getattr(make_blows, pulse))
    kind, change, check, severity = FAULTS[fault]
    found = {f.check: f.severity for f in findings(changed(signals, kind, 0, change), pile)}
    assert found[check] == severity


def test_coarse_steps_of_the_recorder_are_no_clipping(make_blows):
    for seed in range(20):
        signals, pile = make_blows(n_blows=50, rate=10e3, material="concrete", rise=4e-3, seed=seed, strain_noise=1e-6)
        coarse = replace(
            signals, strain=np.round(signals.strain, 6), acceleration=4 * np.round(signals.acceleration / 4)
        )
        assert "clipped channel" not in {f.check for f in findings(coarse, pile)}


def test_a_ringing_pile_that_both_accelerometers_feel_has_no_spikes(make_blows):
    signals, pile = make_blows(quiet=10e-3)
    rng = np.random.default_rng(0)
    ringing = 2e3 * rng.standard_normal((3, 1, signals.strain.shape[2])) * (signals.time > 12e-3)
    ringing[:, :, 700] = 9e3
    signals = replace(signals, acceleration=signals.acceleration + ringing * np.array([1.0, 0.8])[:, None])
    assert "spikes" not in {f.check for f in findings(signals, pile)}


def test_shaft_resistance_at_the_gauges_is_no_wrong_calibration(make_blows):
    signals, pile = make_blows(shaft=0.5, rise=5e-3, material="concrete")
    assert "proportionality" not in {f.check for f in findings(signals, pile)}


def test_a_sudden_change_of_section_is_a_reflection_and_no_wrong_calibration(make_blows):
    signals, pile = make_blows()
    part = pile.parts[0]
    parts = (PilePart(1.0, part.area, part.modulus, part.density), replace(part, length=19.0, area=3 * part.area))
    stepped = Pile("stepped", "steel", parts)
    loud = replace(signals, strain=1.15 * signals.strain, penetration=np.full(3, 15.0))
    assert "proportionality" not in {f.check for f in findings(loud, stepped)}
    assert "proportionality" in {f.check for f in findings(loud, pile)}


def test_a_few_bad_blows_do_not_condemn_a_long_drive(make_blows):
    signals, pile = make_blows(n_blows=400, quiet=4e-3)
    strain = signals.strain.copy()
    strain[[3, 77, 200], 0, 30] += 5e-4
    found = {f.check: f for f in findings(replace(signals, strain=strain), pile)}["spikes"]
    assert found.severity == "note"
    assert found.blows == (4, 78, 201)


def test_the_blows_at_fault_are_named(make_blows):
    signals, pile = make_blows(n_blows=10)
    strain = signals.strain.copy()
    strain[[2, 8], 1] *= -1
    found = [f for f in findings(replace(signals, strain=strain), pile) if f.check == "swapped sign"]
    assert [f.blows for f in found] == [(3, 9)]
    assert found[0].value < found[0].threshold
    assert found[0].gauge == "strain_2"


def test_chunks_put_together_are_judged_as_the_whole(make_blows):
    signals, pile = make_blows(n_blows=30)
    bad = changed(signals, "strain", 1, lambda x: np.where(np.arange(30)[:, None] % 7 == 0, 2.2 * x, x))
    parts = []
    for begin in range(0, 30, 8):
        part = slice(begin, begin + 8)
        chunk = replace(bad, blow=bad.blow[part], strain=bad.strain[part], acceleration=bad.acceleration[part])
        parts.append(check_numbers(chunk, condition(chunk, pile), pile))
    whole, together = findings(bad, pile), judge(join(parts))
    assert whole
    assert [(f.check, f.severity, f.blows, f.gauge) for f in together] == [
        (f.check, f.severity, f.blows, f.gauge) for f in whole
    ]
    np.testing.assert_allclose([f.value for f in together], [f.value for f in whole], rtol=1e-9)


def test_averaged_traces_are_judged_by_force_and_velocity(make_blows):
    signals, pile = make_blows()
    waves = condition(signals, pile).waves
    good = AveragedTraces("averaged", waves.blow, waves.time, waves.force, waves.velocity)
    assert alarms(findings(good, pile)) == []
    assert "proportionality" in {f.check for f in findings(replace(good, force=0.7 * good.force), pile)}


def test_a_hard_contact_that_both_accelerometers_feel_is_no_spike(make_blows):
    signals, pile = make_blows()
    both = signals.acceleration.copy()
    both[:, 0, 900] += 4e3
    both[:, 1, 900] += 3e3
    assert "spikes" not in {f.check for f in findings(replace(signals, acceleration=both), pile)}
    both[:, 1, 900] -= 3e3
    assert "spikes" in {f.check for f in findings(replace(signals, acceleration=both), pile)}


def test_a_vibration_of_one_gauge_is_no_spike(make_blows):
    signals, pile = make_blows(acceleration_noise=2.0, n_blows=1)

    def ringing(trace):
        size = 0.046 * np.abs(trace).max()
        index = np.arange(trace.shape[1])
        shaken = trace + size * np.where((index > 850) & (index < 950), (-1.0) ** index, 0.0)
        shaken[:, 900] += 0.5 * size  # one swing stands out, among others nearly as large
        return shaken

    assert "spikes" not in {f.check for f in findings(changed(signals, "acceleration", 0, ringing), pile)}


@pytest.mark.parametrize("fault", ["dead strain", "strain swapped", "dead accelerometer", "accelerometer swapped"])
def test_only_the_cause_is_told_and_not_what_follows_from_it(reference, fault):
    signals, pile = reference
    kind, change, check, _ = FAULTS[fault]
    assert {f.check for f in findings(changed(signals, kind, 0, change), pile)} == {check}


def test_with_a_dead_gauge_left_out_the_rest_is_judged(reference):
    signals, pile = reference
    bad = changed(signals, "acceleration", 0, lambda trace: 0 * trace)
    bad = replace(bad, strain=0.7 * bad.strain, left_out=frozenset({"acceleration_1"}))
    assert "proportionality" in {f.check for f in findings(bad, pile)}


@pytest.mark.parametrize("channel", [0, 1])
def test_a_spike_is_found_in_the_midst_of_the_impact_and_on_the_right_gauge(make_blows, channel):
    signals, pile = make_blows(n_blows=40, rate=10e3, rise=1e-3)
    start = int(condition(signals, pile).waves.onset.min())
    acceleration = signals.acceleration.copy()
    size = 0.25 * np.abs(acceleration[:, channel]).max(axis=1)
    blow = np.arange(40)
    acceleration[blow, channel, start + blow] += np.where(blow % 2, 1.0, -1.0) * size
    found = [f for f in findings(replace(signals, acceleration=acceleration), pile) if f.check == "spikes"]
    assert [f.gauge for f in found] == [f"acceleration_{channel + 1}"]
    assert len(found[0].blows) >= 38
