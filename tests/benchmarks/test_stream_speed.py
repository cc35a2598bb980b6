"""How fast a continuous stream is read and cut: an HDF5 file of four channels at 20 kHz, in megabytes a second."""

import time

import h5py
import numpy as np
import pytest

from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals

SECONDS, RATE = 120.0, 20e3

FILES = """[records]
sample_rate = "20 kHz"
blows = "continuous"
{channels}
[[drive]]
kind = "initial"
signals = "drive.h5"
"""


def write_stream(folder, seconds, plain_sheet):
    """Write a stream of invented blows every 1.5 s, piece by piece, and the sheet that reads it."""
    units = {"strain_1": "µm/m", "strain_2": "µm/m", "acceleration_1": "m/s^2", "acceleration_2": "m/s^2"}
    piece = round(1.5 * RATE)
    time_in = np.arange(piece) / RATE - 0.5
    blow = np.where(time_in > 0.0, 900.0 * np.exp(-np.maximum(time_in, 0.0) / 0.004), 0.0)
    random = np.random.default_rng(1)
    with h5py.File(folder / "drive.h5", "w") as file:
        for name in units:
            data = file.create_dataset(name, (piece * round(seconds / 1.5),), dtype="f8")
            for at in range(0, len(data), piece):
                data[at : at + piece] = blow + 2.0 * random.standard_normal(piece)
    channels = "".join(f'[records.channels.{name}]\nunit = "{unit}"\n' for name, unit in units.items())
    (folder / "sheet.toml").write_text(plain_sheet(FILES.format(channels=channels)), encoding="utf-8")
    return folder / "sheet.toml", 4 * 8 * piece * round(seconds / 1.5)


@pytest.fixture(scope="module")
def stream(tmp_path_factory, plain_sheet):
    return write_stream(tmp_path_factory.mktemp("stream"), SECONDS, plain_sheet)


def test_reading_a_stream(benchmark, stream):
    path, size = stream
    sheet = read_sheet(path)
    began = time.process_time()
    signals = read_signals(sheet, sheet.drives[0])
    print(f"\n{size / 1e6 / (time.process_time() - began):,.0f} MB of stream a second of CPU time")
    assert signals.n_blows == round(SECONDS / 1.5)
    benchmark.pedantic(read_signals, (sheet, sheet.drives[0]), rounds=3)
