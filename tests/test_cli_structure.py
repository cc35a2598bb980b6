"""`dyntest structure` as its user meets it: what it prints and writes, and what a kill leaves."""

import json
import os
import random
import signal
import subprocess
import sys

import pytest

PILES = 3

RESULTS = {"structure.json", "structure.pdf", "test_piles.csv", "test_piles.parquet", "bearing_piles.csv"}


@pytest.fixture
def path(tmp_path, lay_out_small_test):
    """A structure of small test piles in one group."""
    names = []
    for number in range(PILES):
        folder = tmp_path / f"t{number}"
        folder.mkdir()
        sheet = lay_out_small_test(folder)
        sheet.write_text(sheet.read_text().replace('pile = "P3-1"', f'pile = "T{number}"'))
        names.append(f'"t{number}/sheet.toml"')
    text = 'format = 1\n[structure]\nname = "Quillback Creek Bridge (invented)"\n'
    (tmp_path / "structure.toml").write_text(f'{text}[[group]]\nname = "Pier 3"\ntests = [{", ".join(names)}]\n')
    return tmp_path / "structure.toml"


def command(path, *more):
    """The words of the command."""
    return [sys.executable, "-m", "dyntest.cli", "structure", str(path), "--match", "none", *more]


@pytest.mark.sweep
@pytest.mark.parametrize("seed", range(2))
def test_a_kill_at_any_moment_loses_nothing_that_was_done(path, until, seed):
    wanted = random.Random(seed).randint(0, PILES - 1)
    kept = path.parent / "structure" / "piles"
    running = subprocess.Popen(command(path), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, process_group=0)
    until(lambda: running.poll() is not None or len(list(kept.glob("[!.]*.json"))) >= wanted, "the pile to kill after")
    os.killpg(running.pid, signal.SIGKILL)
    running.wait()
    done = {one: one.stat().st_mtime_ns for one in kept.glob("[!.]*.json")} if kept.exists() else {}
    for one in done:
        assert json.loads(one.read_text())["result"] is not None
    again = subprocess.run(command(path), capture_output=True, text=True, check=True)
    assert {one: one.stat().st_mtime_ns for one in done} == done
    if done:
        assert f"{len(done)} of {PILES} " in again.stdout
    whole = subprocess.run(command(path, "--out", str(path.parent / "other")), capture_output=True, check=True)
    assert whole.returncode == 0
    for name in RESULTS:
        assert (path.parent / "structure" / name).read_bytes() == (path.parent / "other" / name).read_bytes(), name
