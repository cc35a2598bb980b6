"""One file that grows, in each format that a recorder appends to; and the command itself, stopped and killed."""

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import h5py
import nptdms
import numpy as np
import pandas as pd
import pytest

from dyntest.following.record import Kept, folder_of
from dyntest.reading.sheet import read_sheet

ROOT = Path(__file__).parent.parent.parent

RECORDS = """
[records]
sample_rate = "{rate} Hz"
blows = "column"
[records.channels.blow]
column = "blow"
[records.channels.strain_1]
column = "strain_1"
unit = "µm/m"
[records.channels.strain_2]
column = "strain_2"
unit = "µm/m"
[records.channels.acceleration_1]
column = "acceleration_1"
unit = "m/s^2"
[records.channels.acceleration_2]
column = "acceleration_2"
unit = "m/s^2"
"""
NAMES = ("blow", "strain_1", "strain_2", "acceleration_1", "acceleration_2")


def columns(table: pd.DataFrame) -> dict[str, np.ndarray]:
    bare = table.rename(columns=lambda name: name.partition(" [")[0])
    return {name: bare[name].to_numpy(dtype=float) for name in NAMES}


def append_csv(path: Path, table: pd.DataFrame) -> None:
    table.to_csv(path, index=False, mode="a", header=not path.exists())


def append_parquet(path: Path, table: pd.DataFrame) -> None:
    before = [pd.read_parquet(path)] if path.exists() else []
    pd.concat([*before, table]).to_parquet(path.with_suffix(".new"), index=False)
    path.with_suffix(".new").replace(path)


def append_tdms(path: Path, table: pd.DataFrame) -> None:
    with nptdms.TdmsWriter(str(path), mode="a" if path.exists() else "w") as writer:
        writer.write_segment([nptdms.ChannelObject("test", name, values) for name, values in columns(table).items()])


def append_hdf5(path: Path, table: pd.DataFrame) -> None:
    with h5py.File(path, "a") as file:
        for name, values in columns(table).items():
            if name not in file:
                file.create_dataset(name, data=values, maxshape=(None,), chunks=True)
            else:
                file[name].resize(len(file[name]) + len(values), axis=0)
                file[name][-len(values) :] = values


FORMATS = {"csv": append_csv, "parquet": append_parquet, "tdms": append_tdms, "hdf5": append_hdf5}


@pytest.fixture
def growing(tmp_path, replay_class):
    """A recorder whose sheet names one file, and what appends a table to it."""

    def begin(ending: str):
        recorder = replay_class(tmp_path, blows=6, signals=f"all.{ending}")
        if ending in ("tdms", "hdf5"):
            time = recorder.blows[0]["time [s]"].to_numpy()
            rate = (len(time) - 1) / (time[-1] - time[0])
            recorder.sheet.write_text(recorder.sheet.read_text() + RECORDS.format(rate=f"{rate:.6f}"))
        return recorder, lambda table: FORMATS[ending](recorder.root / f"all.{ending}", table)

    return begin


@pytest.mark.parametrize("ending", FORMATS)
def test_blows_beyond_those_taken_are_taken_and_never_half_of_one(ending, growing, followed, take):
    recorder, append = growing(ending)
    follower = followed(recorder)
    append(recorder.record(1, numbered=True))
    assert [one.blow for one in take(follower)] == [1]
    append(recorder.record(2, numbered=True))
    append(recorder.record(3, numbered=True).iloc[:200])
    assert 3 not in [one.blow for one in take(follower)]
    append(recorder.record(3, numbered=True).iloc[200:])
    take(follower)
    follower = followed(recorder)
    append(recorder.record(4, numbered=True))
    assert [one.blow for one in take(follower)] == [4]
    kept = Kept(follower.folder).look()
    assert sorted(kept.blows) == [1, 2, 3, 4] and kept.notes == []
    assert {one.samples for one in kept.blows.values()} == {len(recorder.blows[0])}


def run(sheet: Path) -> subprocess.Popen:
    command = [sys.executable, "-m", "dyntest.cli", "follow", str(sheet), "--every", "0"]
    heard = {"preexec_fn": lambda: signal.signal(signal.SIGINT, signal.default_int_handler)}
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, **heard)


def test_the_command_follows_a_replay_through_a_kill_and_stops_cleanly(recorder, until):
    pytest.importorskip("watchfiles")
    sheet = read_sheet(recorder.sheet, recorded=False)
    folder = folder_of(sheet, sheet.drives[-1].name)

    def taken(number: int):
        return lambda: len(Kept(folder).look().blows) >= number

    writer = threading.Thread(target=lambda: list(recorder.run(10.0)))
    first = run(recorder.sheet)
    try:
        writer.start()
        until(taken(3), "three blows")
    finally:
        first.kill()
        first.communicate()
    second = run(recorder.sheet)
    try:
        until(taken(12), "every blow")
    finally:
        os.kill(second.pid, signal.SIGINT)
        told, _ = second.communicate()
    writer.join()
    assert second.returncode == 0, told
    assert "Traceback" not in told and "12 blows are kept" in told
    assert sorted(Kept(folder).look().blows) == list(range(1, 13))
