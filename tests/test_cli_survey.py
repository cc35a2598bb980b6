"""`dyntest survey` as its user meets it: what it prints and writes, and what an interruption leaves."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys

import pytest

from dyntest import cli

TOLD = {"piles.csv", "piles.parquet", "piles.json"}


def run(capsys, *words):
    with pytest.raises(SystemExit) as left:
        cli.main([str(word) for word in words])
        sys.exit(0)
    told = capsys.readouterr()
    return left.value.code or 0, told.out, told.err


def numbers(line: str) -> list[int]:
    """Whole numbers of a line, in their order."""
    return [int(number) for number in re.findall(r"\d+", line)]


@pytest.fixture
def folder(tmp_path, lay_out_small_test):
    for name in ("one", "two"):
        (tmp_path / "tests" / name).mkdir(parents=True)
        lay_out_small_test(tmp_path / "tests" / name)
    return tmp_path / "tests"


def test_a_survey_lists_failures_and_goes_on_where_it_stopped(folder, capsys):
    (folder / "P9.toml").write_text("[pile]\n[[drive]]\nkind = 'initial'\n")
    status, out, err = run(capsys, "survey", folder, "--match", "none")
    assert (status, err) == (0, "")
    first, failure, *_ = out.splitlines()
    assert numbers(first) == [3, 2, 1] and "P9.toml: " in failure
    assert TOLD | {"piles"} == {path.name for path in (folder / "survey").iterdir()}
    before = {path: path.stat().st_mtime_ns for path in (folder / "survey" / "piles").iterdir()}
    tables = {name: (folder / "survey" / name).read_bytes() for name in TOLD}
    (folder / "P9.toml").unlink()
    status, out, _ = run(capsys, "survey", folder, "--match", "none")
    assert [numbers(line) for line in out.splitlines()[:2]] == [[2, 2, 0], [2]]
    assert {path: path.stat().st_mtime_ns for path in before} == before
    said = json.loads((folder / "survey" / "piles.json").read_text())
    assert said["piles"] == json.loads(tables["piles.json"])["piles"]
    assert said["failures"] == []


def test_what_cannot_be_surveyed_is_told_in_one_message(tmp_path, capsys, monkeypatch, folder):
    monkeypatch.setitem(sys.modules, "distributed", None)  # as where it is not installed
    for words in (
        ("survey", tmp_path / "nowhere"),
        ("survey", folder, "--dask", "tcp://127.0.0.1:1"),
        ("survey", folder, "--out", folder / "one" / "sheet.toml"),
    ):
        status, out, err = run(capsys, *words)
        assert (status, out, err.count("\n")) == (1, "", 1)
        assert "Traceback" not in err
    assert run(capsys, "survey", folder, "--match", "every")[0] == 2


def test_a_scheduler_that_does_not_answer_is_told(folder, capsys, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(cli, "DASK_TIMEOUT", 0.5)
    status, _, err = run(capsys, "survey", folder, "--dask", "tcp://127.0.0.1:1")
    assert status == 1
    assert "Dask" in err and "tcp://127.0.0.1:1" in err


@pytest.mark.sweep
@pytest.mark.parametrize(
    "sent, status",
    [(signal.SIGINT, cli.INTERRUPTED), (signal.SIGKILL, -signal.SIGKILL)],
)
def test_an_interruption_keeps_what_is_done_and_leaves_no_process(folder, sent, status, until, capsys):
    for number in range(3):
        shutil.copytree(folder / "one", folder / f"more_{number}")
    words = [sys.executable, "-m", "dyntest.cli", "survey", str(folder), "--match", "none"]
    running = subprocess.Popen(
        words,
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        process_group=0,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # in the background it is ignored
    )
    kept = folder / "survey" / "piles"
    until(lambda: running.poll() is not None or any(kept.glob("[!.]*.json")), "the first pile")
    assert running.poll() is None
    os.kill(running.pid, sent)
    _, err = running.communicate()
    assert running.returncode == status
    assert "Traceback" not in err
    for path in kept.glob("[!.]*.json"):
        json.loads(path.read_text())
    assert not TOLD & {path.name for path in (folder / "survey").iterdir()}
    until(lambda: not _group_lives(running.pid), "the end of every process of the survey")
    done = len(list(kept.glob("[!.]*.json")))
    ended, out, _ = run(capsys, "survey", folder, "--match", "none")
    assert ended == 0 and [numbers(line) for line in out.splitlines()[:2]] == [[5, 5, 0], [done]]


def _group_lives(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True
