import numpy as np
import pytest

from dyntest.conditioning.impact import first_peak, onset, onset_and_quiet

STEP = 50e-6
TIME = np.arange(2000) * STEP


def with_noise(trace, share, seed=0):
    return trace + share * trace.max() * np.random.default_rng(seed).standard_normal(trace.shape)


@pytest.mark.parametrize("start", [1e-3, 5e-3, 20e-3])
@pytest.mark.parametrize("noise", [0.0, 0.003, 0.02])
@pytest.mark.parametrize("rise", [0.5e-3, 2e-3, 5e-3])
def test_onset_lies_at_the_foot_of_the_rise(make_blows, start, noise, rise):
    force = with_noise(make_blows.drop(TIME - start, rise), noise)
    begins = onset(np.abs(force)[None])[0] * STEP
    assert start - 2 * STEP <= begins <= start + 0.15 * rise


def test_quiet_part_ends_before_the_rise(make_blows):
    starts = np.array([1e-3, 3e-3, 6e-3])
    force = make_blows.drop(TIME - starts[:, None], 3e-3)
    _, quiet, _ = onset_and_quiet(force, STEP)
    assert (quiet * STEP <= starts + STEP).all()
    assert (quiet * STEP >= 0.5 * starts).all()


def test_a_record_that_begins_in_the_blow_has_no_quiet_part(make_blows):
    begins, quiet, _ = onset_and_quiet(make_blows.drop(TIME + 0.8e-3, 2e-3)[None], STEP)
    assert begins[0] == 0
    assert quiet[0] == 0


def test_a_spike_before_the_blow_is_not_its_onset(make_blows):
    force = make_blows.drop(TIME - 5e-3, 2e-3)
    force[20] = 3.0
    assert onset(force[None])[0] * STEP == pytest.approx(5.2e-3, abs=0.2e-3)


@pytest.mark.parametrize("noise", [0.0, 0.003, 0.02])
@pytest.mark.parametrize("pulse", ["drop", "diesel"])
@pytest.mark.parametrize("rise", [1e-3, 2e-3, 4e-3])
def test_first_peak_is_the_top_of_the_main_rise(make_blows, noise, pulse, rise):
    shape = getattr(make_blows, pulse)
    down = with_noise(shape(TIME - 12e-3, rise), noise)
    found = first_peak(down[None], np.array([100]), noise)[0] * STEP
    assert found == pytest.approx(12e-3 + rise, abs=0.02e-3 + (0.35 * rise if noise else 0))


def test_a_later_higher_peak_is_not_the_first(make_blows):
    down = make_blows.drop(TIME - 5e-3, 2e-3) + 1.6 * make_blows.drop(TIME - 14e-3, 2e-3)
    assert first_peak(down[None], np.array([100]))[0] * STEP == pytest.approx(7e-3, abs=STEP)


def test_a_bump_of_the_compression_stroke_is_not_the_first_peak(make_blows):
    down = make_blows.drop(TIME - 10e-3, 2e-3) + 0.25 * make_blows.drop(TIME - 2e-3, 2e-3)
    assert first_peak(down[None], np.array([40]))[0] * STEP == pytest.approx(12e-3, abs=STEP)


def test_many_blows_at_once_are_as_one_by_one(make_blows):
    starts = np.linspace(2e-3, 30e-3, 40)[:, None]
    force = with_noise(make_blows.drop(TIME - starts, 2e-3), 0.01)
    together, quiet, _ = onset_and_quiet(np.abs(force), STEP)
    peaks = first_peak(force, together)
    for blow in range(len(force)):
        one, one_quiet, _ = onset_and_quiet(np.abs(force[blow : blow + 1]), STEP)
        assert (one[0], one_quiet[0]) == (together[blow], quiet[blow])
        assert first_peak(force[blow : blow + 1], one)[0] == peaks[blow]
