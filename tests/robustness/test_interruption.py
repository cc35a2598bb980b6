"""A run that is killed at any moment, or meets a full disk, leaves no half-written result and no spoilt input."""

import errno
import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import PurePath

import numpy as np
import pytest

from dyntest.reading import files as writing

OLD = {"summary.json": b"of an earlier run", "blows_initial.csv": b"of an earlier run"}


def files(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def temporary(found):
    return [name for name in found if PurePath(name).name.startswith(".")]


RUNNER = """
import json, os, resource, signal, sys
from dyntest import cli
from dyntest.presenting import files, terminal

def stop_after(how, seconds):
    signal.signal(signal.SIGINT, signal.default_int_handler)  # what runs in the background begins with it ignored
    if how != "SIGKILL":  # the alarm's own end is as sudden as a kill
        signal.signal(signal.SIGPROF, lambda *_: os.kill(os.getpid(), getattr(signal, how)))
    signal.setitimer(signal.ITIMER_PROF, max(seconds, 1e-6))

def run(folder, how, value, whole):
    child = os.fork()
    if child:
        return child
    for number, name in ((1, "stdout"), (2, "stderr")):
        os.dup2(os.open(folder + "." + name, os.O_CREAT | os.O_WRONLY), number)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # a write beyond the limit then fails as on a full disk
    if how == "limit":
        resource.setrlimit(resource.RLIMIT_FSIZE, (value, value))
    elif how != "finish":
        stop_after(how, value * whole)
    status = 0
    try:
        cli.main(["review", folder + "/sheet.toml", "--match", "none"])
    except SystemExit as left:
        status = left.code
    os._exit(status or 0)

def spent():
    told = resource.getrusage(resource.RUSAGE_CHILDREN)
    return told.ru_utime + told.ru_stime

plan, ended, whole = json.load(sys.stdin), [], 0.0
for folder, how, value in plan:
    begin = spent()
    child = run(folder, how, value, whole)
    ended.append(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
    whole = spent() - begin if how == "finish" else whole
json.dump(ended, sys.stdout)
"""
"""Runs the command line again and again in children of one process that has loaded it: whole, stopped after a share of
the processor's time that a whole run takes, or with a limit on the size of files."""

KILLED = [
    (name, round(share, 3))
    for name, seed in (("SIGKILL", 1), ("SIGINT", 2), ("SIGTERM", 3))
    for share in np.random.default_rng(seed).uniform([0.0, 0.75], 1.0)  # results are written at the end
]
LIMITS = (1_000, 5_000, 20_000, 100_000)


def old_results(folder):
    (folder / "review").mkdir()
    for name, content in OLD.items():
        (folder / "review" / name).write_bytes(content)


@pytest.fixture(scope="module")
def ended(sound_folder, tmp_path_factory):
    """Where each run left its folder, and its exit status."""
    place = tmp_path_factory.mktemp("ended")
    plan = [("finish", 0), ("finish", 0), *KILLED, *(("limit", limit) for limit in LIMITS)]
    folders = [shutil.copytree(sound_folder, place / f"{how}_{value}_{n}") for n, (how, value) in enumerate(plan)]
    for folder in folders[2:]:
        old_results(folder)
    told = subprocess.run(
        [sys.executable, "-c", RUNNER],
        input=json.dumps([(str(folder), *what) for folder, what in zip(folders, plan, strict=True)]),
        capture_output=True,
        text=True,
    )
    assert told.returncode == 0, told.stderr[-2000:]
    return list(zip(plan, folders, json.loads(told.stdout), strict=True))


def whole_or_old(found, finished):
    """Check that every file under its final name is whole: of this run, or as it stood before."""
    for name, content in found.items():
        if name in temporary(found):
            continue
        if name.endswith(".pdf"):
            assert content.startswith(b"%PDF") and content.rstrip().endswith(b"%%EOF")
        else:
            assert content in (finished[name], OLD.get(name)), f"{name} is neither whole nor old"


@pytest.mark.sweep
def test_runs_killed_at_any_moment_leave_nothing_half_written(ended, sound_folder):
    inputs, results = files(sound_folder), files(ended[1][1] / "review")
    assert "summary.json" in results
    cut_short = 0
    for (how, _), folder, status in ended:
        if how in ("limit", "finish"):
            continue
        whole_or_old(files(folder / "review"), results)
        after = files(folder)
        assert {name: after[name] for name in inputs} == inputs
        cut_short += status != 0
        if how == "SIGINT":
            assert not temporary(after)
            told = folder.with_name(folder.name + ".stderr").read_text().split("\n")
            assert (status, sum(map(bool, told))) in [(130, 1), (0, 0)], told
    assert cut_short >= len(KILLED) // 4  # the time of a run varies, so that some alarms come after its end


@pytest.mark.sweep
def test_a_limit_on_the_size_of_files_is_one_message_and_keeps_what_was_there(ended, one_line):
    for (how, limit), folder, status in ended:
        if how == "limit" and limit < 20_000:
            assert status == 1
            one_line(folder.with_name(folder.name + ".stderr").read_text(), [os.strerror(errno.EFBIG)])
            assert files(folder / "review") == OLD
        elif how == "limit" and status:
            assert files(folder / "review") == OLD


WATCHED = """
import os, signal, sys
from dyntest.reading import files as writing
kind, when, how = sys.argv[1], int(sys.argv[2]), getattr(signal, sys.argv[3])
signal.signal(signal.SIGINT, signal.default_int_handler)  # what runs in the background begins with it ignored
count = 0

def dying(call):
    def counted(*given, **named):
        global count
        count += 1
        if count == when:
            os.kill(os.getpid(), how)
        return call(*given, **named)
    return counted

if kind == "before a file is closed":
    writing.os.fsync = dying(writing.os.fsync)
elif kind == "before a file takes its name":
    writing.Path.replace = dying(writing.Path.replace)
else:
    writing.tempfile.mkstemp = dying(writing.tempfile.mkstemp)
files = {f"figures/{number}.svg": b"new" * 100_000 for number in range(6)}
try:
    writing.write_all(writing.Path(sys.argv[4]), files)
except KeyboardInterrupt:
    sys.exit(130)
"""


@pytest.mark.parametrize("when", [3, *(pytest.param(number, marks=pytest.mark.sweep) for number in (1, 6))])
@pytest.mark.parametrize("how", ["SIGKILL", "SIGINT"])
@pytest.mark.parametrize("kind", ["before a file is made", "before a file is closed", "before a file takes its name"])
def test_writing_that_is_killed_at_a_known_moment_leaves_every_file_whole(tmp_path, kind, how, when):
    figures = tmp_path / "figures"
    figures.mkdir()
    for number in range(6):
        (figures / f"{number}.svg").write_bytes(b"old")
    done = subprocess.run([sys.executable, "-c", WATCHED, kind, str(when), how, tmp_path])
    assert done.returncode == (130 if how == "SIGINT" else -signal.SIGKILL)
    found = files(figures)
    visible = {name: content for name, content in found.items() if not name.startswith(".")}
    assert set(visible) == {f"{number}.svg" for number in range(6)}
    assert set(visible.values()) <= {b"old", b"new" * 100_000}
    if kind != "before a file takes its name":
        assert set(visible.values()) == {b"old"}
    if how == "SIGINT":
        assert not temporary(found)


FULL = {
    "when a file is made": ("tempfile.mkstemp", errno.ENOSPC),
    "when it is flushed": ("os.fsync", errno.ENOSPC),
    "when the quota is spent": ("os.fsync", errno.EDQUOT),
    "when the device fails": ("os.fsync", errno.EIO),
    "when the system is read-only": ("tempfile.mkstemp", errno.EROFS),
}


@pytest.mark.parametrize("case", FULL)
def test_a_disk_that_takes_no_more_is_one_message_and_keeps_what_was_there(folder, refused, monkeypatch, case):
    out = folder / "review"
    (out / "figures").mkdir(parents=True)
    for name, content in OLD.items():
        (out / name).write_bytes(content)
    where, number = FULL[case]
    module, function = where.split(".")

    def full(*_, **__):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(getattr(writing, module), function, full)
    refused("review", folder / "sheet.toml", "--match", "none", needles=[os.strerror(number)])
    assert files(out) == OLD
