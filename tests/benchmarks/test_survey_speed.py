"""How fast a folder of test piles becomes one table, how that grows, and what going on from where it stopped costs.

Tests are simulated by `simulated_structures.py`: 24 blows of an initial drive and 6 of a restrike each. Where timings
are on, there are 200 of them; beside the pool of processes stands the same work in one process, the pool's peer.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from dyntest.reviewing.survey import find_sheets, survey

sys.path.insert(0, str(Path(__file__).parent))
import simulated_structures

MANY, FEW = 200, 2


@pytest.fixture(scope="module")
def folder(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("many")
    timed = request.config.getoption("--benchmark-enable") or request.config.getoption("--benchmark-only")
    simulated_structures.main(folder, str(MANY if timed else FEW))
    return folder


def run(folder, sheets, **options):
    records = survey(folder, sheets, match="none", **options)
    assert [record.problem for record in records if record.row is None] == []
    return records


@pytest.mark.benchmark(group="survey")
def test_all_piles(benchmark, folder):
    sheets = find_sheets(folder)
    records = benchmark.pedantic(run, (folder, sheets), rounds=1)
    assert len({record.row["pile"] for record in records}) == len(sheets)


@pytest.mark.benchmark(group="survey")
def test_all_piles_in_one_process(benchmark, folder):
    with ThreadPoolExecutor(1) as one:
        benchmark.pedantic(run, (folder, find_sheets(folder)), {"executor": one}, rounds=1)


@pytest.mark.benchmark(group="survey")
def test_nothing_is_left_to_do(benchmark, folder):
    sheets = find_sheets(folder)
    known = {record.sheet: record for record in run(folder, sheets)}
    kept = benchmark.pedantic(run, (folder, sheets), {"known": known}, rounds=3)
    assert all(record is known[record.sheet] for record in kept)


def test_growth_is_printed(benchmark, folder):
    """Time by number of piles, all new and all done before."""
    if benchmark.disabled:
        pytest.skip("nothing is timed without --benchmark-enable")
    sheets = find_sheets(folder)
    print(f"\n{'piles':>7}{'new':>10}{'each':>10}{'done':>10}")
    for number in (25, 50, 100, 200):
        begin = time.perf_counter()
        known = {record.sheet: record for record in run(folder, sheets[:number])}
        new, begin = time.perf_counter() - begin, time.perf_counter()
        run(folder, sheets[:number], known=known)
        print(f"{number:>7}{new:>9.1f}s{1e3 * new / number:>8.0f}ms{time.perf_counter() - begin:>9.2f}s")
    benchmark(find_sheets, folder)
