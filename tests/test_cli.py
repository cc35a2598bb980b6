"""The command line as its user meets it: what it prints, what it writes, and how it leaves."""

import os
import re
import signal
import socket
import subprocess
import sys
import threading
import tomllib
from contextlib import suppress
from importlib import import_module
from pathlib import Path

import pytest

from dyntest import __version__, cli
from dyntest.errors import InputError
from dyntest.reading import files as writing

ROOT = Path(__file__).parent.parent


def run(capsys, *words):
    """Run in this process; give exit status, standard output and standard error."""
    with pytest.raises(SystemExit) as left:
        cli.main([str(word) for word in words])
        sys.exit(0)  # a command that is done returns
    told = capsys.readouterr()
    return left.value.code or 0, told.out, told.err


def contents(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def refused(told):
    """Whether a run ended with one message for its user and nothing else."""
    status, out, err = told
    assert (status, out) == (1, "")
    assert err.count("\n") == 1
    assert "Traceback" not in err
    return err


def _without_watchfiles(folder):
    from dyntest.following.follow import watching

    with watching(folder):
        pass


def _without_distributed(folder):
    with cli._dask("tcp://127.0.0.1:1"):
        pass


def _without_h5py(folder):
    from dyntest.reading.formats.contents import library

    library("h5py", "a.h5")


@pytest.mark.parametrize(
    ("package", "extra", "call"),
    [
        ("watchfiles", "follow", _without_watchfiles),
        ("distributed", "cluster", _without_distributed),
        ("h5py", "formats", _without_h5py),
    ],
)
def test_a_missing_library_is_installed_from_the_projects_own_folder(tmp_path, monkeypatch, package, extra, call):
    monkeypatch.setitem(sys.modules, package, None)  # as where it is not installed
    with pytest.raises(InputError) as caught:
        call(tmp_path)
    assert package in caught.value.problem
    assert f"pip install '.[{extra}]'" in caught.value.cure and "folder" in caught.value.cure
    offered = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["optional-dependencies"]
    assert any(one.startswith(package) for one in offered[extra])


def test_nothing_is_installed_by_a_name_that_may_be_another_projects():
    """A package of the project's name on a public index need not be this one."""
    by_name = re.compile(r"pip install (?:-\S+ )*['\"]?dyntest")
    texts = [*ROOT.glob("*.md"), *(path for name in ("dyntest", "dashboard") for path in (ROOT / name).rglob("*.py"))]
    assert by_name.search("run pip install 'dyntest[formats]' where") and by_name.search("pip install dyntest")
    assert [path.name for path in texts if by_name.search(path.read_text(encoding="utf-8"))] == []


@pytest.mark.sweep
def test_review_writes_its_files_beside_the_sheet_and_leaves_inputs_alone(lay_out_small_test, tmp_path, capsys):
    """And a command of its own, which shares its work among processes, gives the same elsewhere, byte by byte."""
    (tmp_path / "small").mkdir()
    sheet = lay_out_small_test(tmp_path / "small", initial=2, restrike=1)
    before = contents(sheet.parent)
    status, out, err = run(capsys, "review", sheet, "--match", "every")
    assert (status, err) == (0, "")
    assert out.startswith("P3-1: ")
    after = contents(sheet.parent)
    assert {name: after[name] for name in before} == before
    words = [sys.executable, "-m", "dyntest.cli", "review", sheet, "--match", "every", "--out", tmp_path / "again"]
    done = subprocess.run(words, capture_output=True)
    assert (done.returncode, done.stderr) == (0, b"")
    assert {f"review/{name}": content for name, content in contents(tmp_path / "again").items()} == {
        name: content for name, content in after.items() if name not in before
    }
    assert set(after) - set(before) == {
        "review/report.pdf",
        "review/criterion_card.pdf",
        "review/summary.json",
        "review/blows_initial.csv",
        "review/blows_initial.parquet",
        "review/blows_restrike.csv",
        "review/blows_restrike.parquet",
        "review/figures/blow_initial.svg",
        "review/figures/blow_restrike.svg",
        "review/figures/profile_initial.svg",
        "review/figures/profile_restrikes.svg",
        "review/figures/initial_against_restrike.svg",
        "review/figures/shaft_resistance.svg",
        "review/figures/load_movement.svg",
        "review/figures/criterion.svg",
    }


def test_figures_come_as_png_too_where_asked_for(small_test, tmp_path, capsys):
    assert run(capsys, "review", small_test, "--match", "none", "--png", "--out", tmp_path / "out")[0] == 0
    figures = {path.name for path in (tmp_path / "out" / "figures").iterdir()}
    assert {"blow_initial.svg", "blow_initial.png"} < figures


def test_the_same_inputs_give_the_same_bytes_in_a_command_that_shares_its_work_too(small_test, tmp_path, capsys):
    words = ["review", str(small_test), "--match", "none", "--out"]
    assert run(capsys, *words, tmp_path / "here")[0] == 0
    done = subprocess.run([sys.executable, "-m", "dyntest.cli", *words, tmp_path / "own"], capture_output=True)
    assert (done.returncode, done.stderr) == (0, b"")
    assert contents(tmp_path / "own") == contents(tmp_path / "here")


@pytest.mark.parametrize("fails", ["its process", pytest.param("the pool", marks=pytest.mark.sweep)])
def test_a_system_that_gives_no_further_process_is_no_hindrance(small_test, tmp_path, capsys, monkeypatch, fails):
    def refuse(*_, **__):
        raise OSError(11, "Resource temporarily unavailable")

    monkeypatch.setattr(cli, "cores", lambda: 2)
    place = "dyntest.cli.process_pool" if fails == "the pool" else "dyntest.processes._Pool.submit"
    monkeypatch.setattr(place, refuse)
    words = ["review", str(small_test), "--match", "none", "--out", str(tmp_path / "out")]
    cli.commands.main(words, standalone_mode=False, obj=True)
    assert (tmp_path / "out" / "report.pdf").exists()
    assert capsys.readouterr().err == ""


WRONG = {
    "no such sheet": (lambda sheet: sheet.unlink(), "sheet.toml"),
    "an empty sheet": (lambda sheet: sheet.write_text(""), "sheet.toml"),
    "bytes of no text": (lambda sheet: sheet.write_bytes(os.urandom(500)), "sheet.toml"),
    "no TOML": (lambda sheet: sheet.write_text("pile: P1\n"), "sheet.toml"),
    "no such records": (lambda sheet: (sheet.parent / "initial.parquet").unlink(), "initial.parquet"),
    "records that are none": (lambda sheet: (sheet.parent / "initial.parquet").write_bytes(b"PAR1 no more"), "initial"),
    "a wrong unit": (
        lambda sheet: sheet.write_text(sheet.read_text().replace('"46 ft"', '"46 kip"')),
        "length_below_gauges",
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_input_is_one_message(case, small_test, capsys):
    spoil, named = WRONG[case]
    spoil(small_test)
    before = contents(small_test.parent)
    assert named in refused(run(capsys, "review", small_test))
    assert contents(small_test.parent) == before


def test_a_folder_in_the_place_of_the_sheet_is_one_message(small_test, capsys):
    refused(run(capsys, "review", small_test.parent))


def test_results_never_go_over_an_input(small_test, capsys):
    records = small_test.parent / "initial.parquet"
    taken = small_test.parent / "blows_initial.csv"
    sheet = small_test.read_text()
    import pandas as pd

    pd.read_parquet(records).to_csv(taken, index=False)
    small_test.write_text(sheet.replace('"initial.parquet"', '"blows_initial.csv"'))
    before = contents(small_test.parent)
    assert '"blows_initial.csv"' in refused(
        run(capsys, "review", small_test, "--match", "none", "--out", small_test.parent)
    )
    assert contents(small_test.parent) == before


def test_a_file_in_the_place_of_the_results_is_one_message(small_test, tmp_path, capsys):
    (tmp_path / "taken").write_text("mine")
    assert "is a file" in refused(run(capsys, "review", small_test, "--match", "none", "--out", tmp_path / "taken"))
    assert (tmp_path / "taken").read_text() == "mine"


def test_a_full_disk_is_one_message_and_leaves_nothing_half_written(small_test, tmp_path, capsys, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing.os, "fsync", full)
    assert "No space left on device" in refused(
        run(capsys, "review", small_test, "--match", "none", "--out", tmp_path / "out")
    )
    assert contents(tmp_path / "out") == {}


@pytest.mark.parametrize(
    ("raised", "status", "told"),
    [
        (KeyboardInterrupt(), cli.INTERRUPTED, "stopped before it was finished"),
        (MemoryError(), 1, "not enough memory"),
        (PermissionError(13, "Permission denied", "/somewhere"), 1, "/somewhere: Permission denied"),
    ],
)
def test_trouble_from_outside_is_one_message(small_test, capsys, monkeypatch, raised, status, told):
    def trouble(*_, **__):
        raise raised

    monkeypatch.setattr("dyntest.reviewing.review.review", trouble)
    left, out, err = run(capsys, "review", small_test)
    assert (left, out) == (status, "")
    assert told in err
    assert err.strip().count("\n") == 0
    assert not (small_test.parent / "review").exists()


def test_an_interrupt_that_falls_into_a_finaliser_stops_the_command(small_test, capsys, monkeypatch):
    class Interrupted:
        def __del__(self):
            raise KeyboardInterrupt

    waited = []

    def long_work(*_, **__):
        Interrupted()
        waited.append(threading.Event().wait(60.0))  # ends by itself where the interrupt is lost

    monkeypatch.setattr("dyntest.reviewing.review.review", long_work)
    monkeypatch.setattr(sys, "unraisablehook", sys.__unraisablehook__)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        left, out, err = run(capsys, "review", small_test)
    finally:
        signal.signal(signal.SIGINT, before)
    assert (left, out, err.strip().count("\n"), waited) == (cli.INTERRUPTED, "", 0, [])
    assert sys.unraisablehook is sys.__unraisablehook__


def test_an_interrupt_while_a_module_is_loaded_waits_until_it_is(small_test, capsys, monkeypatch, tmp_path):
    (tmp_path / "slow_to_load.py").write_text(
        "import os, signal, time\nos.kill(os.getpid(), signal.SIGINT)\ntime.sleep(0.1)\nloaded = True\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    whole, waited = [], []

    def work(*_, **__):
        whole.append(import_module("slow_to_load").loaded)
        waited.append(threading.Event().wait(60.0))  # ends by itself where the interrupt is lost

    monkeypatch.setattr("dyntest.reviewing.review.review", work)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        left, out, err = run(capsys, "review", small_test)
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, before)
        sys.modules.pop("slow_to_load", None)
    assert (left, out, err.strip().count("\n"), whole, waited) == (cli.INTERRUPTED, "", 0, [True], [])


@pytest.mark.parametrize(
    "words",
    [
        ["review"],
        ["review", "a.toml", "b.toml"],
        ["no-such-command"],
        ["review", "--no-such"],
        ["review", "a.toml", "--match", "some"],
    ],
)
def test_wrong_usage_is_status_two(words, capsys):
    status, out, err = run(capsys, *words)
    assert (status, out) == (2, "")
    assert "Usage:" in err


def test_version_and_help(capsys):
    assert run(capsys, "--version") == (0, f"dyntest, version {__version__}\n", "")
    status, out, _ = run(capsys, "--help")
    assert status == 0
    assert "review" in out


def test_progress_shows_on_a_terminal_only_and_is_wiped(small_test, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    status, _, err = run(capsys, "review", small_test, "--match", "none", "--out", tmp_path / "out")
    assert status == 0
    assert "evaluating restrike" in err
    assert err.endswith("\r\x1b[K")


def test_a_sheet_that_changes_during_the_review_gives_no_results(small_test, monkeypatch, capsys):
    from dyntest.reviewing import review

    def changed_meanwhile(sheet, drive, **given):
        small_test.write_text(small_test.read_text() + "# a remark of another\n")
        return review_drive(sheet, drive, **given)

    review_drive = review.review_drive
    monkeypatch.setattr(review, "review_drive", changed_meanwhile)
    status, out, err = run(capsys, "review", small_test, "--match", "none")
    assert (status, out, err.count("\n")) == (1, "", 1) and "sheet.toml: was changed" in err
    assert not (small_test.parent / "review").exists()


def test_a_reader_that_leaves_early_meets_no_traceback(tmp_path):
    words = [sys.executable, "-m", "dyntest.cli", "new", str(tmp_path / "p1")]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        process.stdout.close()
        told = process.stderr.read()
    assert (told, process.returncode) == ("", 0)
    assert (tmp_path / "p1" / "sheet.toml").exists()


@pytest.mark.sweep
def test_a_terminal_that_lacks_characters_meets_no_traceback(small_test, tmp_path):
    words = [sys.executable, "-m", "dyntest.cli", "review", small_test, "--match", "none", "--out", tmp_path / "out"]
    done = subprocess.run(words, capture_output=True, env=os.environ | {"PYTHONIOENCODING": "latin-1"})
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"?" in done.stdout  # in the place of the dash where a number does not exist


STOOD_IN = """
import sys
from dyntest import cli
cli.PAGES, cli.SERVER_KILLED = "stand_in", float(sys.argv[1])
cli.main(["dashboard", "--no-browser"])
"""
SERVER = """
import os, signal
heard = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
signal.pthread_sigmask(signal.SIG_BLOCK, heard)
print(os.getpid(), flush=True)
told = []
while signal.SIGTERM not in told:
    told.append(signal.sigwait(heard))
print(*(signal.Signals(number).name for number in [*told, *signal.sigpending()]), flush=True)
while STUBBORN:
    signal.pause()
"""
HARDLY_EVER = "3600"
signalled = pytest.mark.skipif(os.name != "posix", reason="this system has no such signals")


@pytest.fixture
def stood_in(tmp_path):
    """Give the command with a stand-in for its server, and the server's process id."""
    processes = []

    def start(seconds, stubborn=False, **how):
        (tmp_path / "stand_in.py").write_text(SERVER.replace("STUBBORN", str(stubborn)))
        words = [sys.executable, "-c", STOOD_IN, seconds]
        environment = os.environ | {"PYTHONPATH": str(tmp_path)}
        process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=environment, **how)
        processes.append((process, int(process.stdout.readline())))
        return processes[-1]

    yield start
    for process, served in processes:
        for one in (process.pid, served):
            with suppress(ProcessLookupError):
                os.kill(one, signal.SIGKILL)
        process.communicate()


def ended_after_one_signal(process, served):
    """Check that the server was told once, ended by itself, and the command with it."""
    told, _ = process.communicate(timeout=60)
    assert (told, process.returncode) == ("SIGTERM\n", 0)
    with pytest.raises(ProcessLookupError):
        os.kill(served, 0)


@signalled
@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT", "SIGHUP"])
def test_a_dashboard_that_is_stopped_leaves_no_server(stood_in, name):
    process, served = stood_in(HARDLY_EVER)
    process.send_signal(getattr(signal, name))  # to this process alone, as a service manager sends it
    ended_after_one_signal(process, served)


@signalled
def test_a_dashboard_that_is_stopped_from_a_terminal_tells_its_server_once(stood_in):
    import fcntl
    import pty
    import termios

    terminal, inside = pty.openpty()
    begun = {"stdin": inside, "start_new_session": True, "preexec_fn": lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0)}
    process, served = stood_in(HARDLY_EVER, **begun)
    os.write(terminal, b"\x03\x03")  # Ctrl-C, twice
    ended_after_one_signal(process, served)
    os.close(terminal)
    os.close(inside)


@signalled
def test_a_server_that_does_not_stop_is_killed(stood_in):
    process, served = stood_in("0.1", stubborn=True)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=60)
    with pytest.raises(ProcessLookupError):
        os.kill(served, 0)


def test_a_dashboard_whose_port_another_took_meanwhile_is_served_at_the_next(monkeypatch, capsys):
    ports, taken = [], []

    class Server:
        def __init__(self, words, env, **_):
            ports.append(int(env["DYNTEST_PORT"]))

        def wait(self):
            if len(ports) > 1:
                return 0
            other = socket.create_server(("127.0.0.1", ports[0]))  # as if it had been faster
            taken.append(other)
            return 1

    monkeypatch.setattr(subprocess, "Popen", Server)
    status, _, err = run(capsys, "dashboard", "--no-browser")
    taken[0].close()
    assert (status, err, len(set(ports))) == (0, "", 2)
