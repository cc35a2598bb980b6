"""`dyntest structure` as its user meets it: what it prints and writes, and what a kill leaves."""

import json
import os
import signal
import subprocess
import sys

import pytest

from dyntest import cli

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


@pytest.mark.sweep
def test_a_kill_at_any_moment_loses_nothing_that_was_done(path, until, capsys):
    """Killed before anything is done, and once more after the first pile; then it is run to its end."""
    words = ["structure", str(path), "--match", "none"]
    command = [sys.executable, "-m", "dyntest.cli", *words]
    kept = path.parent / "structure" / "piles"
    done: dict = {}
    for wanted in (0, 1):
        running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, process_group=0)
        until(lambda run=running, n=wanted: run.poll() is not None or len(list(kept.glob("[!.]*.json"))) >= n, "a pile")
        os.killpg(running.pid, signal.SIGKILL)
        running.wait()
        assert {one: one.stat().st_mtime_ns for one in done} == done
        done = {one: one.stat().st_mtime_ns for one in kept.glob("[!.]*.json")} if kept.exists() else {}
        for one in done:
            assert json.loads(one.read_text())["result"] is not None
    cli.commands.main(words, standalone_mode=False)
    assert {one: one.stat().st_mtime_ns for one in done} == done
    assert done and f"{len(done)} of {PILES} " in capsys.readouterr().out
    cli.commands.main([*words, "--out", str(path.parent / "other")], standalone_mode=False)
    for name in RESULTS:
        assert (path.parent / "structure" / name).read_bytes() == (path.parent / "other" / name).read_bytes(), name
