"""How long the main job takes from a cold start, imports and files included: some hundred blows in a few seconds."""

import subprocess
import sys
from pathlib import Path

import pytest

SHEET = Path(__file__).parents[2] / "sample_signals" / "pier_2_clay" / "sheet.toml"


@pytest.mark.benchmark(group="review, cold")
@pytest.mark.parametrize("match", ["none", "best"])
def test_review_from_a_cold_start(benchmark, tmp_path, match):
    words = [sys.executable, "-m", "dyntest.cli", "review", str(SHEET), "--out", str(tmp_path), "--match", match]
    benchmark.pedantic(subprocess.run, (words,), {"check": True, "stdout": subprocess.DEVNULL}, rounds=3)
    assert (tmp_path / "summary.json").exists()
