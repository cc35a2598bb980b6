from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from dyntest.conditioning.condition import Options, channels_in_use, condition
from dyntest.errors import InputError
from dyntest.signals import AveragedTraces


@pytest.mark.parametrize("rate", [5e3, 20e3, 50e3])
@pytest.mark.parametrize("pulse", ["drop", "diesel"])
@pytest.mark.parametrize("material", ["steel", "concrete", "timber"])
def test_known_waves_come_back(make_blows, rate, pulse, material):
    kwargs = {"rate": rate, "material": material, "pulse": getattr(make_blows, pulse), "duration": 0.15}
    noisy, pile = make_blows(**kwargs)
    exact, _ = make_blows(**kwargs, strain_noise=0, acceleration_noise=0, offset=0)
    waves = condition(noisy, pile).waves
    force = pile.modulus * pile.area * exact.strain.mean(axis=1)
    velocity = cumulative_trapezoid(exact.acceleration.mean(axis=1), dx=1 / rate, initial=0.0, axis=1)
    np.testing.assert_allclose(waves.force, force, atol=0.03 * force.max())
    np.testing.assert_allclose(waves.velocity, velocity, atol=0.03 * velocity.max())


@pytest.mark.parametrize("options", [Options(), Options(low_pass=2000.0, align=True), Options(set_per_blow=...)])
def test_a_slice_of_the_blows_gives_a_slice_of_the_whole(make_blows, options):
    signals, pile = make_blows(n_blows=13, lag=0.1e-3)
    sets = np.where(np.arange(13) % 3 == 0, np.nan, np.linspace(0.001, 0.02, 13))
    if options.set_per_blow is not None:
        options = Options(set_per_blow=sets)
    whole = condition(signals, pile, options)
    part = slice(4, 9)
    cut = replace(
        signals, blow=signals.blow[part], strain=signals.strain[part], acceleration=signals.acceleration[part]
    )
    some = condition(cut, pile, options if options.set_per_blow is None else replace(options, set_per_blow=sets[part]))
    np.testing.assert_allclose(some.waves.force, whole.waves.force[part], rtol=1e-9)
    np.testing.assert_allclose(some.waves.velocity, whole.waves.velocity[part], rtol=1e-6, atol=1e-9)
    np.testing.assert_array_equal(some.waves.first_peak, whole.waves.first_peak[part])
    for field in fields(some.corrections):
        value, expected = getattr(some.corrections, field.name), getattr(whole.corrections, field.name)
        if isinstance(value, np.ndarray):
            np.testing.assert_allclose(value, expected[part], rtol=1e-6, atol=1e-12, err_msg=field.name)


def test_raw_records_never_change(make_blows):
    signals, pile = make_blows()
    strain, acceleration = signals.strain.copy(), signals.acceleration.copy()
    condition(signals, pile, Options(low_pass=2000.0, align=True))
    np.testing.assert_array_equal(signals.strain, strain)
    np.testing.assert_array_equal(signals.acceleration, acceleration)


def test_a_gauge_left_out_leaves_the_other_alone(make_blows):
    signals, pile = make_blows(bending=0.2, acceleration_noise=0)
    both = condition(signals, pile)
    one = condition(replace(signals, left_out=frozenset({"strain_2", "acceleration_1"})), pile)
    assert one.gauge_strain.shape[1] == one.gauge_velocity.shape[1] == 1
    stiffness = pile.modulus * pile.area
    np.testing.assert_allclose(one.waves.force, stiffness * one.gauge_strain[:, 0])
    peak = one.waves.force.max(axis=1) / both.waves.force.max(axis=1)
    np.testing.assert_allclose(peak, 1.2, rtol=0.02)
    np.testing.assert_array_equal(np.isnan(one.corrections.strain_offset), [[False, True]] * 3)
    np.testing.assert_array_equal(np.isnan(one.corrections.acceleration_offset), [[True, False]] * 3)


@pytest.mark.parametrize(
    ("left_out", "message"),
    [
        ({"strain_3"}, "strain_3"),
        ({"strain_1", "strain_2"}, "all strain"),
        ({"acceleration_1", "acceleration_2"}, "all accel"),
    ],
)
def test_leaving_out_what_cannot_be_left_out(make_blows, left_out, message):
    signals, pile = make_blows()
    with pytest.raises(InputError, match=message):
        condition(replace(signals, left_out=frozenset(left_out)), pile)


def test_channels_in_use(make_blows):
    signals, _ = make_blows()
    assert channels_in_use(replace(signals, left_out=frozenset({"acceleration_1"}))) == ([0, 1], [1])


def test_averaged_traces_are_passed_on_untouched(make_blows):
    signals, pile = make_blows(strain_noise=0, acceleration_noise=0, offset=0)
    waves = condition(signals, pile).waves
    traces = AveragedTraces("averaged", waves.blow, waves.time, waves.force, waves.velocity)
    passed = condition(traces, pile, Options(low_pass=1000.0))
    assert passed.waves.force is traces.force
    assert passed.waves.velocity is traces.velocity
    assert passed.gauge_strain is None and passed.gauge_velocity is None
    assert passed.corrections.low_pass is None
    assert not passed.corrections.velocity_drift.any()
    np.testing.assert_allclose(passed.waves.first_peak, waves.first_peak, atol=1)
    np.testing.assert_allclose(passed.waves.onset, waves.onset, atol=1)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("kind", ["strain", "acceleration"])
def test_a_sample_that_is_no_number_is_refused_by_its_blow(make_blows, bad, kind):
    signals, pile = make_blows()
    getattr(signals, kind)[1, 1, 700] = bad
    with pytest.raises(InputError, match=r"blow 2\b"):
        condition(signals, pile)


def test_too_few_samples_are_refused(make_blows):
    signals, pile = make_blows(duration=0.002)
    with pytest.raises(InputError, match="40 samples"):
        condition(signals, pile)


def test_a_set_for_each_blow_is_needed(make_blows):
    signals, pile = make_blows()
    with pytest.raises(InputError, match="2 values"):
        condition(signals, pile, Options(set_per_blow=np.array([0.01, 0.02])))
