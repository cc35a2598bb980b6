"""A small sound test pile that may be spoilt, and the command line run on it under a limit of time."""

import ctypes
import os
import shutil
import signal
import sys
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dyntest import cli

LONGEST = 300
"""Time after which a run counts as hung [s]; a refusal takes some hundredths, on a busy machine some seconds."""

LARGE = 10**8
"""A file beyond this is compared by its size alone [byte]: holes in the place of files."""

SAMPLE = Path(__file__).parent.parent.parent / "sample_signals" / "pier_3_shale"
BLOWS = 4

SHEET = """\
format = 1
[test]
project = "Invented crossing"
structure = "Invented bridge"
pile = "P3-1"
display_units = "SI"
[pile]
material = "steel"
section = "HP12x74"
length_below_gauges = "46 ft"
total_length = "50 ft"
modulus = "30000 ksi"
density = "7850 kg/m^3"
yield_strength = "50 ksi"
[hammer]
kind = "open-end diesel"
ram_weight = "4.0 kip"
rated_energy = "40 kip ft"
minimum_stroke = "6 ft"
maximum_stroke = "10 ft"
[gauges]
strain = ["strain_1", "strain_2"]
acceleration = ["acceleration_1", "acceleration_2"]
[requirement]
nominal_resistance = "380 kip"
damping_factor = 0.3
[soil]
shaft = "silt"
toe = "rock"
[[drive]]
kind = "initial"
signals = "initial.csv"
log = "log.csv"
[choices]
"""

LOG = """\
depth_from [ft],depth_to [ft],blows,stroke [ft],remark
40.00,40.02,2,8.5,
40.02,40.04,2,8.6,end
"""

PRODUCTION = """\
pile,depth_from [ft],depth_to [ft],blows,stroke [ft],date,remark
B1,0,30,40,6.0,2026-05-20,
B1,30,40,90,8.5,2026-05-20,
B2,0,30,42,6.0,2026-05-20,
B2,30,40.5,95,8.5,2026-05-20,
"""

PILES = """\
pile,cutoff_elevation [ft],ground_elevation [ft],furnished_length [ft],batter
B1,103,100,50,
B2,103,100,50,0.1
"""


def _records() -> pd.DataFrame:
    records = pd.read_parquet(SAMPLE / "initial.parquet")
    last = records[records["blow"] > records["blow"].max() - BLOWS].reset_index(drop=True)
    return last.assign(blow=last["blow"] - last["blow"].min() + 1)


@pytest.fixture(scope="session")
def sound_folder(tmp_path_factory):
    """Where the sound test pile lies; only copies of it are spoilt."""
    folder = tmp_path_factory.mktemp("sound") / "P3-1"
    folder.mkdir()
    _records().to_csv(folder / "initial.csv", index=False, float_format="%.9g")
    for name, text in (("sheet.toml", SHEET), ("log.csv", LOG), ("production.csv", PRODUCTION), ("piles.csv", PILES)):
        (folder / name).write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def sound_records():
    """Give the signals table of the sound test pile, a copy at each call."""
    records = _records()
    return records.copy


@pytest.fixture
def folder(sound_folder, tmp_path):
    """A copy of the sound test pile, to be spoilt."""
    return Path(shutil.copytree(sound_folder, tmp_path / "P3-1"))


def contents(folder: Path) -> dict[str, bytes | str]:
    """Give everything in a folder, hidden files too; a link by where it leads, other things by their kind."""
    found: dict[str, bytes | str] = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.is_symlink():
            found[name] = f"link to {path.readlink()}"
        elif path.is_file():
            size = path.stat().st_size
            found[name] = path.read_bytes() if size < LARGE else f"{size} bytes"
        elif not path.is_dir():
            found[name] = "neither file nor folder"
    return found


@contextmanager
def within(seconds: float):
    """Let a test fail where it hangs."""

    def hung(*_):
        pytest.fail(f"not done within {seconds} s")

    before = signal.signal(signal.SIGALRM, hung)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


@pytest.fixture
def run(capfd):
    """Give a function that runs the command line in this process: exit status, standard output, standard error."""

    def call(*words) -> tuple[int, str, str]:
        capfd.readouterr()
        with within(LONGEST), pytest.raises(SystemExit) as left:
            cli.main([os.fspath(word) for word in words])
            sys.exit(0)  # a command that is done returns
        told = capfd.readouterr()
        return left.value.code or 0, told.out, told.err

    return call


class Rights(ctypes.Structure):
    """Capabilities of a thread as Linux takes them: 32 of them, those in effect and those that may be put into it."""

    _fields_ = (("effective", ctypes.c_uint32), ("permitted", ctypes.c_uint32), ("inheritable", ctypes.c_uint32))


OVER_PERMISSIONS = 1 << 1 | 1 << 2
"""CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH, by which the superuser reads and writes everything; see capabilities(7)."""
GET_SECURE, SET_SECURE, AS_IN_EFFECT = 27, 28, 1 << 2
"""Of prctl(2): with the last, access(2) too goes by the capabilities in effect."""


@contextmanager
def permissions_apply():
    """Let permissions apply to this thread, also where tests run as root; skip where that cannot be had."""
    system, rights = ctypes.CDLL(None, use_errno=True), (Rights * 2)()
    version = (ctypes.c_uint32 * 2)(0x20080522, 0)  # the third, of this thread
    if os.geteuid() != 0:
        yield
    elif not hasattr(system, "capget") or system.capget(version, rights) != 0:
        pytest.skip("the superuser may read and write everything")
    else:
        before, secure = rights[0].effective, system.prctl(GET_SECURE)
        if system.prctl(SET_SECURE, secure | AS_IN_EFFECT) != 0:
            pytest.skip("the superuser may read and write everything")
        rights[0].effective &= ~OVER_PERMISSIONS
        assert system.capset(version, rights) == 0
        try:
            yield
        finally:
            rights[0].effective = before
            assert system.capset(version, rights) == 0
            assert system.prctl(SET_SECURE, secure) == 0


@pytest.fixture
def without_privilege(run):
    """Give a function that runs the command line as a user to whom permissions apply."""

    def call(*words) -> tuple[int, str, str]:
        with permissions_apply():
            return run(*words)

    return call


def _one_line(err: str, needles=()) -> None:
    """Check that a message is one printable line of bearable length that holds the given words."""
    assert err.endswith("\n") and err.count("\n") == 1, err
    assert err[:-1].isprintable(), ascii(err)
    assert len(err) < 600, err
    assert "; " in err, f"no cure in {err!r}"
    for needle in needles:
        assert needle in err, f"{needle!r} is not in {err!r}"


@pytest.fixture
def one_line():
    """Give a check that a message is one line fit for a terminal."""
    return _one_line


@pytest.fixture
def refused(run, tmp_path):
    """Give a check that a run ends in one clear line and leaves every file as it was."""

    def check(*words, needles=()) -> str:
        before = contents(tmp_path)
        status, out, err = run(*words)
        assert status == 1, f"status {status}: {out[-300:]}{err[-300:]}"
        assert out == ""
        _one_line(err, needles)
        assert contents(tmp_path) == before
        return err

    return check


@pytest.fixture
def review_refused(refused, folder):
    """Give a check that a review of the spoilt test pile is refused."""
    return lambda *needles: refused("review", folder / "sheet.toml", "--match", "none", needles=needles)


@pytest.fixture
def all_finite():
    """Give a check that no number in a plain structure is infinite or not a number."""

    def check(value) -> bool:
        if isinstance(value, dict):
            return all(map(check, value.values()))
        if isinstance(value, list):
            return all(map(check, value))
        return not isinstance(value, float) or bool(np.isfinite(value))

    return check


@pytest.fixture
def reviewed_once(concrete_sample):
    """A review from which a driving criterion follows, of another sample test pile."""
    return concrete_sample
