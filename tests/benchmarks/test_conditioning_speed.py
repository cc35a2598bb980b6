"""How fast blows are conditioned, in chunks and one by one, beside the same work done with a general signal library.

Run with ``pytest tests/benchmarks --benchmark-enable --benchmark-only``; `blows_per_second` stands in the extra
information. The comparison runs demeaning, zero-phase low-pass, integration and detrending of every channel with ObsPy
(https://docs.obspy.org, ``Trace.detrend``, ``filter``, ``integrate``), blow by blow, as its traces are made for.
"""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.conditioning.condition import Options, condition
from dyntest.conditioning.judging import check_numbers, join, judge
from dyntest.pile import Pile, PilePart
from dyntest.signals import Signals

N_BLOWS, N_SAMPLES, STEP = 256, 2048, 50e-6
CORNER = 2000.0
PILE = Pile("benchmark", "steel", (PilePart(20.0, 0.0138, 206.84e9, 7850.0),))


@pytest.fixture(scope="module")
def signals():
    """Blows with four channels of noise around a pulse, 2,048 samples each."""
    rng = np.random.default_rng(0)
    time = np.arange(N_SAMPLES) * STEP
    shape = np.where((time > 5e-3) & (time < 9e-3), np.sin(np.pi * (time - 5e-3) / 4e-3) ** 2, 0.0)
    strain = 8e-4 * shape + 2e-6 * rng.standard_normal((N_BLOWS, 2, N_SAMPLES))
    slope = 4.0 * np.gradient(shape, STEP)
    acceleration = slope + 8.0 * rng.standard_normal((N_BLOWS, 2, N_SAMPLES))
    return Signals("benchmark", np.arange(1, N_BLOWS + 1), time, strain, acceleration)


def chunks(signals, size):
    """The blows in slices of a size."""
    for begin in range(0, signals.n_blows, size):
        part = slice(begin, begin + size)
        yield replace(
            signals, blow=signals.blow[part], strain=signals.strain[part], acceleration=signals.acceleration[part]
        )


def rate(benchmark):
    """Note the blows a second; with benchmarks disabled nothing was timed."""
    if benchmark.stats:
        benchmark.extra_info["blows_per_second"] = round(N_BLOWS / benchmark.stats.stats.min)


@pytest.mark.parametrize("chunk", [1, 8, 16, 32, 256])
@pytest.mark.parametrize("low_pass", [None, CORNER])
def test_conditioning(benchmark, signals, chunk, low_pass):
    options = Options(low_pass=low_pass)

    def run():
        return [condition(part, PILE, options).waves for part in chunks(signals, chunk)]

    waves = benchmark(run)
    assert sum(len(part.blow) for part in waves) == N_BLOWS
    rate(benchmark)


@pytest.mark.parametrize("chunk", [1, 16])
def test_conditioning_and_quality(benchmark, signals, chunk):
    def run():
        return judge(join([check_numbers(part, condition(part, PILE), PILE) for part in chunks(signals, chunk)]))

    assert [finding for finding in benchmark(run) if finding.severity == "reject"] == []
    rate(benchmark)


def test_the_same_work_blow_by_blow_with_obspy(benchmark, signals):
    obspy = pytest.importorskip("obspy")

    def trace(samples):
        made = obspy.Trace(samples.copy(), header={"delta": STEP})
        made.detrend("demean")
        made.filter("lowpass", freq=CORNER, corners=4, zerophase=True)
        return made

    def run():
        forces, velocities = [], []
        for blow in range(N_BLOWS):
            strains = [trace(channel) for channel in signals.strain[blow]]
            accelerations = [trace(channel) for channel in signals.acceleration[blow]]
            for made in accelerations:
                made.integrate()
                made.detrend("linear")
            forces.append(PILE.modulus * PILE.area * (strains[0].data + strains[1].data) / 2)
            velocities.append((accelerations[0].data + accelerations[1].data) / 2)
        return np.array(forces), np.array(velocities)

    force, _ = benchmark.pedantic(run, rounds=2)
    ours = condition(signals, PILE, Options(low_pass=CORNER)).waves.force
    inside = slice(200, -200)
    difference = (force - force[:, :80].mean(axis=1, keepdims=True) - ours)[:, inside]
    assert np.abs(difference).max() < 0.01 * ours.max()  # the same filter: the work compared is the same
    rate(benchmark)
