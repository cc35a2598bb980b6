"""How fast a drive becomes a table: 2,000 blows of four channels with 2,048 samples each, conditioning included."""

import numpy as np
import pytest

from dyntest.pile import Pile, PilePart
from dyntest.quantities.table import drive_table
from dyntest.signals import Signals

BLOWS, SAMPLES, STEP = 2000, 2048, 5e-5


@pytest.fixture(scope="module")
def drive():
    pile = Pile("invented", "steel", (PilePart(19.5, 0.0138, 206.84e9, 7850.0),))
    time = np.arange(SAMPLES) * STEP
    front = np.where((time > 6e-3) & (time < 12e-3), np.sin(np.pi * (time - 6e-3) / 6e-3) ** 2, 0.0)
    noise = np.random.default_rng(1).normal(size=(BLOWS, 2, SAMPLES))
    strain = 1e-3 * front + 1e-6 * noise
    acceleration = 1e-3 * np.gradient(front, STEP) * pile.wave_speed + noise
    blow = np.arange(1, BLOWS + 1)
    return Signals("invented", blow, time, strain, acceleration, clock=1.4 * blow), pile


def test_two_thousand_blows(benchmark, drive):
    signals, pile = drive
    found = benchmark.pedantic(drive_table, (signals, pile), {"damping_factor": 0.5}, rounds=3, warmup_rounds=1)
    benchmark.extra_info["blows"] = BLOWS
    assert len(found.table) == BLOWS
