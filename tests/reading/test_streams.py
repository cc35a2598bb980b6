"""Continuous streams: blows found in noise, bounces and double strikes told apart, memory bounded."""

import tracemalloc

import h5py
import numpy as np
import pytest

from dyntest.errors import InputError
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals
from dyntest.reading.streams import StrainStream, cut_stream

STEP = 5e-5
FACTORS = np.array([0.5e-6, 0.5e-6])


def pulse(peak):
    """An invented blow of 60 ms: a sharp rise, a decay, and a weaker second hump as from the toe."""
    time = STEP * np.arange(1200)
    rise = np.exp(-time / 0.004) - np.exp(-time / 0.0006)
    later = np.where(time > 0.02, 0.3 * np.exp(-np.maximum(time - 0.02, 0.0) / 0.006), 0.0)
    return peak * (rise / rise.max() + later)


def stream(seconds, impacts, noise=2.0, drift=0.0, seed=1):
    """Two strains [µm/m] of a stream with impacts given by their time [s] and peak [µm/m]."""
    random = np.random.default_rng(seed)
    n = round(seconds / STEP)
    mean = drift * np.linspace(0.0, 1.0, n)
    for time, peak in impacts:
        at = round(time / STEP)
        shape = pulse(peak)[: n - at]
        mean[at : at + len(shape)] += shape
    return np.stack([1.2 * mean, 0.8 * mean]) + noise * random.standard_normal((2, n))


def cut(data, **options):
    blocks = (data[:, at : at + 50_000] for at in range(0, data.shape[1], 50_000))
    stream = StrainStream(blocks, lambda at, n: data[:, at : at + n], FACTORS, STEP, "stream.h5")
    return cut_stream(stream, **options)


@pytest.mark.parametrize("noise", [0.5, 5.0, 12.0])
@pytest.mark.parametrize("drift", [0.0, -400.0, 400.0])
def test_blows_are_found_in_noise_and_drift(noise, drift):
    times = [0.8, 2.3, 3.7, 5.2]
    found = cut(stream(6.0, [(time, 900.0) for time in times], noise, drift))
    np.testing.assert_allclose(found.onset * STEP, times, atol=4e-4)
    assert not len(found.bounce) and not len(found.double_strike) and found.incomplete == 0
    assert found.noise == pytest.approx(noise * 1e-6 / np.sqrt(2) / np.sqrt(40), rel=1.0)


def test_bounces_and_double_strikes_are_no_blows():
    blows = [(1.0, 900.0), (2.5, 950.0), (4.0, 880.0), (5.5, 910.0)]
    others = [(1.35, 200.0), (2.62, 700.0), (4.3, 150.0)]
    found = cut(stream(7.0, blows + others))
    np.testing.assert_allclose(found.onset * STEP, [time for time, _ in blows], atol=5e-4)
    np.testing.assert_allclose(found.double_strike * STEP, [2.62], atol=2e-3)
    assert all(np.abs(found.bounce * STEP - time).min() < 2e-3 for time in (1.35,))


def test_soft_first_blows_are_blows():
    found = cut(stream(8.0, [(1.0, 300.0), (2.4, 350.0), (3.8, 800.0), (5.2, 900.0), (6.6, 880.0)]))
    assert len(found.onset) == 5


def test_a_stated_trigger_goes_before_the_found_one():
    data = stream(6.0, [(1.0, 900.0), (2.5, 100.0), (4.0, 900.0)])
    assert len(cut(data).onset) == 2
    assert len(cut(data, trigger=60e-6).onset) == 3


def test_windows_begin_before_the_impact_and_the_ends_are_left_out():
    data = stream(3.0, [(0.001, 900.0), (1.0, 900.0), (2.0, 900.0), (2.95, 900.0)])
    found = cut(data, before=0.01, length=0.1)
    assert (found.before, found.length, found.incomplete) == (200, 2000, 2)
    np.testing.assert_allclose(found.onset * STEP, [1.0, 2.0], atol=4e-4)


@pytest.mark.parametrize("after", [0.004, 0.012, 0.025])
def test_a_stream_that_begins_within_a_blow(after):
    """What is left of the first blow is no blow; it is counted among the incomplete."""
    data = stream(4.0, [(0.1, 900.0), (1.5, 900.0), (3.0, 900.0)])
    left_out = round((0.1 + after) / STEP)
    found = cut(data[:, left_out:])
    np.testing.assert_allclose(found.onset * STEP, np.array([1.5, 3.0]) - left_out * STEP, atol=5e-4)
    assert found.incomplete <= 1


def test_a_stream_that_begins_just_before_a_blow_keeps_it():
    data = stream(4.0, [(0.1, 900.0), (1.5, 900.0), (3.0, 900.0)])
    left_out = round(0.097 / STEP)
    found = cut(data[:, left_out:])
    np.testing.assert_allclose(found.onset * STEP, np.array([0.1, 1.5, 3.0]) - left_out * STEP, atol=5e-4)


def test_a_spike_is_no_blow():
    data = stream(4.0, [(1.0, 900.0), (2.5, 900.0)])
    data[0, 5000] += 2000.0
    data[:, 40000:40002] += 1500.0
    assert len(cut(data).onset) == 2


def test_a_last_blow_that_lacks_a_little_shortens_all():
    found = cut(stream(2.096, [(1.0, 900.0), (2.0, 900.0)]), before=0.006, length=0.106)
    assert len(found.onset) == 2
    assert 0.9 * 2120 <= found.length < 2120


def test_a_stream_without_blows_is_one_message():
    with pytest.raises(InputError, match="no impact"):
        cut(stream(3.0, []))


SECONDS = 120.0


@pytest.fixture(scope="module")
def long_file(tmp_path_factory, plain_sheet):
    """Two minutes of four channels at 20 kHz as HDF5, with a blow every 1.5 s."""
    folder = tmp_path_factory.mktemp("stream")
    times = np.arange(1.0, SECONDS - 1.0, 1.5)
    strain = stream(SECONDS, [(time, 900.0) for time in times])
    with h5py.File(folder / "d.h5", "w") as file:
        for name, values in zip("ab", strain, strict=True):
            file[name] = values
            file["c" if name == "a" else "d"] = np.gradient(values) * 100.0
    channels = "".join(
        f'[records.channels.{name}]\ncolumn = "{column}"\nunit = "{unit}"\n'
        for name, column, unit in (
            ("strain_1", "a", "µm/m"),
            ("strain_2", "b", "µm/m"),
            ("acceleration_1", "c", "m/s^2"),
            ("acceleration_2", "d", "m/s^2"),
        )
    )
    records = f'[records]\nsample_rate = "20 kHz"\nblows = "continuous"\n{channels}'
    drive = '[[drive]]\nkind = "initial"\nsignals = "d.h5"\nfirst_blow = 612\n'
    (folder / "sheet.toml").write_text(plain_sheet(records + drive), encoding="utf-8")
    return folder / "sheet.toml", times


def test_a_long_stream_gives_numbers_and_clock_in_bounded_memory(long_file):
    path, times = long_file
    sheet = read_sheet(path)
    tracemalloc.start()
    signals = read_signals(sheet, sheet.drives[0])
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    whole = 4 * 8 * SECONDS / STEP
    kept = signals.strain.nbytes + signals.acceleration.nbytes
    assert most < 0.6 * whole + 2 * kept  # blocks of 4 megabytes a channel, whatever the stream's length
    assert signals.blow.tolist() == list(range(612, 612 + len(times)))
    np.testing.assert_allclose(signals.clock, times, atol=4e-4)
    assert signals.time[0] == pytest.approx(-0.01)
    assert signals.strain.shape == (len(times), 2, 2000)
