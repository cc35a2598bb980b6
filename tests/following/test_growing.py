"""One file that grows, in each format that a recorder appends to; and the command itself, stopped and killed."""

import ctypes
import errno
import gc
import os
import re
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path

import h5py
import nptdms
import numpy as np
import pandas as pd
import pytest

from dyntest.following import intake
from dyntest.following.follow import PATIENCE
from dyntest.following.record import BLOWS, FullError, Kept, entries, folder_of, kept_arrays
from dyntest.reading.formats.text import TextRows
from dyntest.reading.sheet import read_sheet
from dyntest.reviewing.drive import review_drive

ROOT = Path(__file__).parent.parent.parent

CHANNELS = "".join(
    f'[records.channels.{kind}_{n}]\ncolumn = "{kind}_{n}"\nunit = "{unit}"\n'
    for kind, unit in (("strain", "µm/m"), ("acceleration", "m/s^2"))
    for n in (1, 2)
)

RECORDS = """
[records]
sample_rate = "{rate} Hz"
blows = "column"
[records.channels.blow]
column = "blow"
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
            recorder.sheet.write_text(recorder.sheet.read_text() + RECORDS.format(rate=f"{rate:.6f}") + CHANNELS)
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


def test_whole_rows_of_a_text_are_given_from_any_row_on(tmp_path):
    path, head = tmp_path / "all.csv", b"a,b\n"
    path.write_bytes(head + b"1,2\n\n3,4\n5,6\n7")
    text = TextRows(path, None, "all.csv")
    assert text.rows(0, 2) == (head + b"1,2\n3,4\n", 2)
    assert text.rows(2, 9) == (head + b"5,6\n", 1)
    assert text.rows(2, 9, ended=True) == (head + b"5,6\n7", 2)
    with path.open("ab") as file:
        file.write(b",8\n9,10\n")
    assert text.rows(3, 9) == (head + b"7,8\n9,10\n", 2)
    assert text.rows(4, 1) == (head + b"9,10\n", 1)
    assert text.rows(7, 9) == (head, 0)
    assert text.rows(1, 2) == (head + b"3,4\n5,6\n", 2)
    assert TextRows(path, None, "all.csv").rows(4, 9) == (head + b"9,10\n", 1)


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
    assert "Traceback" not in told and re.search(r"\b12 blows\b", told)
    assert sorted(Kept(folder).look().blows) == list(range(1, 13))


@pytest.mark.sweep
@pytest.mark.parametrize("seed", range(2))
def test_killed_at_any_moment_while_a_file_grows_nothing_is_lost_or_taken_twice(growing, seed, until):
    pytest.importorskip("watchfiles")
    chance = np.random.default_rng(seed)
    recorder, append = growing("csv")
    before = recorder.sheet.read_bytes()
    sheet = read_sheet(recorder.sheet, recorded=False)
    folder = folder_of(sheet, sheet.drives[-1].name)

    def taken():
        return sorted(entry["blow"] for entry in entries(folder / BLOWS))

    rows = pd.concat([recorder.record(number, numbered=True) for number in range(1, 7)], ignore_index=True)
    ends = np.sort(chance.integers(1, len(rows), 5))
    for first, last in zip([0, *ends], [*ends, len(rows)], strict=True):
        running = run(recorder.sheet)
        append(rows.iloc[first:last])
        if last < len(rows):
            whole = int(rows["blow"].iloc[last]) - 1  # blows that the file holds whole by now
            wanted = int(chance.integers(0, max(whole, 1)))  # the last may wait for the file to grow on
            until(lambda wanted=wanted: len(taken()) >= wanted, f"{wanted} blows")
            running.kill()
        else:
            until(lambda: len(taken()) >= 6, "every blow")
            os.kill(running.pid, signal.SIGINT)
        told, _ = running.communicate()
        assert "Traceback" not in told
        assert recorder.sheet.read_bytes() == before or running.returncode == 0
    assert running.returncode == 0 and taken() == [1, 2, 3, 4, 5, 6]
    kept, sheet = Kept(folder).look(), read_sheet(recorder.sheet)
    whole = review_drive(sheet, sheet.drives[0]).table
    for code in ("peak_force", "transferred_energy", "total_resistance"):
        np.testing.assert_allclose(kept.table()[code].to_numpy(), whole[code].to_numpy(), rtol=1e-9, err_msg=code)
    for number in kept.blows:
        assert kept_arrays(folder, number)["time"].size == kept.blows[number].samples


STREAM = """
[records]
blows = "continuous"
sample_rate = "{rate} Hz"
{format}
"""
BETWEEN = 0.5
"""Time from blow to blow in the streams of these tests [s]."""


def stream_of(blows: list[pd.DataFrame], rate: float, quiet: float = 0.3) -> dict[str, np.ndarray]:
    """A continuous stream with a record every so often and a little noise between."""
    chance = np.random.default_rng(5)
    step, lead = round(BETWEEN * rate), round(quiet * rate)
    length = lead + step * len(blows)
    found = {}
    for name in NAMES[1:]:
        values = 0.05 * chance.standard_normal(length)
        for number, blow in enumerate(blows):
            record = columns(blow)[name]
            start = lead + number * step
            values[start : start + len(record)] += record * np.linspace(1.0, 0.0, len(record)) ** 0.5
        found[name] = np.round(values, 4)
    return found


def append_stream_text(path: Path, part: dict[str, np.ndarray]) -> None:
    pd.DataFrame(part).to_csv(path, index=False, mode="a", header=not path.exists())


def append_stream_hdf5(path: Path, part: dict[str, np.ndarray]) -> None:
    with h5py.File(path, "a") as file:
        for name, values in part.items():
            if name not in file:
                file.create_dataset(name, data=values, maxshape=(None,), chunks=(4096,))
            else:
                file[name].resize(len(file[name]) + len(values), axis=0)
                file[name][-len(values) :] = values


def append_stream_tdms(path: Path, part: dict[str, np.ndarray]) -> None:
    with nptdms.TdmsWriter(str(path), mode="a" if path.exists() else "w") as writer:
        writer.write_segment([nptdms.ChannelObject("test", name, values) for name, values in part.items()])


STREAMS = {
    "txt": (append_stream_text, 'format = "text"'),
    "hdf5": (append_stream_hdf5, ""),
    "tdms": (append_stream_tdms, ""),
}


@pytest.fixture
def streaming(tmp_path, replay_class):
    """A sheet that names one stream, the stream, and what appends a part of it, from sample to sample."""

    def begin(ending: str, blows: int = 8):
        recorder = replay_class(tmp_path, blows=blows, signals=f"all.{ending}")
        time = recorder.blows[0]["time [s]"].to_numpy()
        rate = (len(time) - 1) / (time[-1] - time[0])
        write, said = STREAMS[ending]
        text = recorder.sheet.read_text() + STREAM.format(rate=f"{rate:.6f}", format=said) + CHANNELS
        recorder.sheet.write_text(text)
        stream = stream_of(recorder.blows, rate)

        def add(first: int, last: int) -> None:
            write(recorder.root / f"all.{ending}", {name: values[first:last] for name, values in stream.items()})

        return recorder, len(stream["strain_1"]), rate, add

    return begin


@pytest.mark.parametrize("ending", STREAMS)
def test_a_stream_is_cut_as_it_grows_as_a_review_cuts_it_when_it_is_whole(ending, streaming, followed):
    recorder, length, rate, add = streaming(ending)
    follower, part = followed(recorder), round(0.17 * rate)  # ends within a blow more often than not
    taken = []
    for number, first in enumerate(range(0, length, part)):
        add(first, min(first + part, length))
        taken += follower.look()
        if number == 12:  # started again in the middle
            follower = followed(recorder)
    for _ in range(2):
        taken += follower.look()
    assert [one.blow for one in taken] == list(range(1, 9)) and kinds_of(follower) == []
    sheet = read_sheet(recorder.sheet)
    whole = review_drive(sheet, sheet.drives[0]).table
    live = Kept(follower.folder).look().table()
    for code in ("peak_force", "transferred_energy", "total_resistance", "clock"):
        np.testing.assert_allclose(live[code].to_numpy(), whole[code].to_numpy(), rtol=1e-9, err_msg=code)
    assert follower.growing[f"all.{ending}"].stream.held.shape[1] < 13 * BETWEEN * rate


def kinds_of(follower) -> list[str]:
    return [note["kind"] for note in Kept(follower.folder).look().notes]


def bytes_read() -> int:
    return int(Path("/proc/self/io").read_text().splitlines()[0].split()[1])


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="the system does not tell how much was read")
def test_a_look_at_a_grown_file_reads_what_is_new(growing, followed, take):
    recorder, append = growing("csv")
    many = 40
    for number in range(many):
        append(recorder.record(number % 6 + 1, numbered=True).assign(blow=number + 1))
    follower = followed(recorder)
    assert len(take(follower, 3)) == many
    of_one = (recorder.root / "all.csv").stat().st_size / many
    append(recorder.record(1, numbered=True).assign(blow=many + 1))
    before = bytes_read()
    assert [one.blow for one in take(follower, 3)] == [many + 1]
    assert bytes_read() - before < 0.5 * many * of_one


def test_what_happens_in_a_growing_file_is_noted_once_and_nothing_is_lost(growing, followed, take):
    recorder, append = growing("csv")
    follower = followed(recorder)
    clocked = [recorder.record(number, numbered=True) for number in range(1, 7)]
    append(clocked[0])
    append(clocked[1].assign(blow=3))  # one is missing
    take(follower)
    append(clocked[2].assign(blow=4, **{"strain_1 [µm/m]": 1e9}))  # of no use to anyone
    append(clocked[3].assign(blow=5))
    take(follower)
    follower = followed(recorder)
    append(clocked[4].assign(blow=6, **{"clock [s]": 0.5}))  # its clock was set back
    take(follower)
    assert kinds_of(follower) == [intake.MISSING, intake.UNREADABLE, intake.MISSING, intake.CLOCK_BACK]
    (recorder.root / "all.csv").unlink()
    append(clocked[5].assign(blow=1))  # the recorder began again
    take(follower)
    kept = Kept(follower.folder).look()
    assert sorted(kept.blows) == [1, 3, 5, 6, 7]
    assert kinds_of(follower)[4:] == [intake.RESTARTED]


def test_a_file_that_ends_within_a_blow_is_said_once_and_read_on_when_it_grows(growing, followed, take):
    recorder, append = growing("csv")
    follower = followed(recorder)
    append(recorder.record(1, numbered=True))
    append(recorder.record(2, numbered=True).iloc[:200])
    assert [one.blow for one in take(follower, PATIENCE + 5)] == [1]
    assert kinds_of(follower) == [intake.UNREADABLE] and not follower.unsettled
    append(recorder.record(2, numbered=True).iloc[200:])
    append(recorder.record(3, numbered=True))
    assert [one.blow for one in take(follower)] == [2, 3]


def test_a_full_disk_loses_no_blow_of_a_stream(streaming, followed, monkeypatch):
    recorder, length, _, add = streaming("txt", 4)
    follower, part = followed(recorder), length // 6
    add(0, part)
    follower.look()
    real = os.fsync

    def full(handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    for first in range(part, length, part):
        add(first, min(first + part, length))
        with pytest.raises(FullError, match=os.strerror(errno.ENOSPC)):
            follower.look()
    monkeypatch.setattr(os, "fsync", real)
    taken = [one for _ in range(3) for one in follower.look()]
    assert [one.blow for one in taken] == [1, 2, 3, 4]


def resident() -> float:
    """Memory that this process has in the computer's own [MB], after what was freed is given back to the system."""
    gc.collect()
    with suppress(OSError, AttributeError):  # where the C library can do so
        ctypes.CDLL(None).malloc_trim(0)
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


@pytest.mark.sweep
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="the system does not tell how much memory is used")
@pytest.mark.parametrize("ending", ["csv", "txt"])
def test_memory_does_not_grow_with_thousands_of_blows(ending, growing, streaming, followed, monkeypatch):
    from dyntest.following import compute
    from dyntest.following import follow as module

    def plain(sheet, drive, new, before, *more):
        """Numbers as many as usual without their computing, which takes minutes for so many blows."""
        table = pd.DataFrame([dict.fromkeys(map(str, range(40)), 1.5)] * new.n_blows)
        waves = compute.condition(new.take(slice(0, 1)), sheet.pile).waves
        return compute.Computed(table, ("yes",) * new.n_blows, ((),) * new.n_blows, waves)

    monkeypatch.setattr(module, "compute_blows", plain)
    monkeypatch.setattr(os, "fsync", lambda handle: None)
    blows, at_once, held = 1200, 50, {}
    if ending == "csv":
        recorder, append = growing("csv")
        one = recorder.record(1).drop(columns="clock [s]")
        append(one.assign(blow=1)[["blow", *one]].iloc[:0])
        lines = [f"{{}},{line}" for line in one.to_csv(index=False).splitlines()[1:]]
        text = "\n".join(lines) + "\n"
        many = text.count("{}")
        path = recorder.root / "all.csv"
    else:
        recorder, length, rate, add = streaming("txt", at_once)
        path = recorder.root / "all.txt"
        add(round(0.3 * rate), length)
        head, _, text = path.read_text().partition("\n")
        path.write_text(f"{head}\n")
    follower = followed(recorder)
    for first in range(0, blows, at_once):
        with path.open("a") as file:
            if ending == "csv":
                file.writelines(text.format(*[number] * many) for number in range(first + 1, first + at_once + 1))
            else:
                file.write(text)
        follower.look()
        follower.look()
        held[first + at_once] = resident()
    for _ in range(2):
        follower.look()
    assert len(Kept(follower.folder).look().blows) == blows
    before = max(held[count] for count in held if 300 <= count <= 600)
    assert held[blows] - before < 8.0, held  # the records alone are some 18
