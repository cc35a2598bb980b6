"""How long the main job takes from a cold start, imports and files included: some hundred blows in a few seconds.

Run with ``pytest tests/benchmarks/test_review_speed.py --benchmark-only -s``; it prints the ratios to what importing
numpy, pandas and matplotlib.pyplot alone takes. All runs of a ratio take turns, so that a busy machine is busy for all.
"""

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest

SAMPLES = Path(__file__).parents[2] / "sample_signals"
ROUNDS = 3
BARE = [sys.executable, "-c", "import numpy, pandas, matplotlib.pyplot"]


def command(sheet, match, out):
    return [sys.executable, "-m", "dyntest.cli", "review", str(sheet), "--out", str(out), "--match", match]


@pytest.fixture
def sheet(benchmark, tmp_path, lay_out_small_test):
    """Give the sheet of a sample by its folder's name; where nothing is timed, that of a test of a few blows."""
    if benchmark.enabled:
        return lambda name: SAMPLES / name / "sheet.toml"
    (tmp_path / "small").mkdir()
    small = lay_out_small_test(tmp_path / "small", initial=4, restrike=3)
    return lambda name: small


@pytest.fixture
def cold(benchmark, tmp_path):
    """Give what runs a command with bytecode at hand, as it is once installed; wall and processor time [s]."""
    environment = dict(os.environ)
    if benchmark.enabled:
        environment["PYTHONPYCACHEPREFIX"] = str(tmp_path / "bytecode")
        environment.pop("PYTHONDONTWRITEBYTECODE", None)

    def run(words):
        begin, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(words, check=True, stdout=subprocess.DEVNULL, env=environment)
        wall, after = time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_CHILDREN)
        return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    return run


@pytest.mark.benchmark(group="review, cold")
def test_ratios_to_bare_imports(benchmark, cold, sheet, tmp_path):
    """Least of three, and the processor time of all processes of a run, which is more where two cores share it."""
    matches = ("none", "best") if benchmark.enabled else ("none",)
    reviews = {match: command(sheet("pier_2_clay"), match, tmp_path / match) for match in matches}
    runs = {"bare imports": BARE} | reviews
    for words in (BARE, runs["none"]) if benchmark.enabled else ():
        cold(words)  # writes the bytecode
    taken = {name: [] for name in runs}

    def take_turns():
        for name, words in runs.items():
            taken[name].append(cold(words))

    benchmark.pedantic(take_turns, rounds=ROUNDS)
    assert all((tmp_path / match / "summary.json").exists() for match in matches)
    least = {name: [min(column) for column in zip(*times, strict=True)] for name, times in taken.items()}
    print(f"\n{'review of 804 blows':>20}{'wall':>9}{'ratio':>7}{'processor':>11}{'ratio':>7}")
    for name, (wall, processor) in least.items():
        ratios = [value / bare for value, bare in zip((wall, processor), least["bare imports"], strict=True)]
        print(f"{name:>20}{wall:>7.2f} s{ratios[0]:>7.1f}{processor:>9.2f} s{ratios[1]:>7.1f}")


@pytest.mark.benchmark(group="review, cold")
def test_every_blow(benchmark, cold, sheet, tmp_path):
    if not benchmark.enabled:
        pytest.skip("takes long: nothing is timed without --benchmark-enable")
    taken = benchmark.pedantic(cold, (command(sheet("pier_3_shale"), "every", tmp_path / "out"),))
    assert (tmp_path / "out" / "summary.json").exists()
    print(f"\nevery of 501 blows matched: {taken[0]:.0f} s, processor {taken[1]:.0f} s")
