"""Ten thousand blows, as of a very long drive: reviewed whole, and in memory that does not run away.

A plain test run takes a few hundred; with ``--benchmark-enable`` all ten thousand, and the figures stand in the report.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

SAMPLE = Path(__file__).parents[2] / "sample_signals" / "pier_3_shale"
ALL, FEW = 10_000, 300
PART = 500
MOST_MEMORY = 2.5e9
"""Most memory of the whole process [byte]: the signals of 10,000 blows of 760 samples are 0.25 gigabytes in SI, and
they are read beside their table."""


def write_long_drive(folder: Path, blows: int) -> Path:
    """Write a long drive: the blows of a sample drive again and again, each a little stronger or weaker."""
    sample = pd.read_parquet(SAMPLE / "initial.parquet")
    rng = np.random.default_rng(5)
    own = sample["blow"].nunique()
    samples = len(sample) // own
    gauges = [name for name in sample.columns if name.startswith(("strain", "acceleration"))]
    of_blow = {name: sample[name].to_numpy().reshape(own, samples) for name in sample.columns}
    with pq.ParquetWriter(folder / "initial.parquet", pa.Schema.from_pandas(sample, preserve_index=False)) as out:
        for begin in range(0, blows, PART):
            number = np.arange(begin, min(begin + PART, blows))
            strength = 1.0 + 0.03 * rng.standard_normal((len(number), 1))
            part = {
                name: values[number % own] * (strength if name in gauges else 1) for name, values in of_blow.items()
            }
            part["blow"] = np.repeat(number + 1, samples)
            part["clock [s]"] = np.repeat(1.4 * number, samples)
            frame = pd.DataFrame({name: np.ravel(values) for name, values in part.items()}).astype(sample.dtypes)
            out.write_table(pa.Table.from_pandas(frame, preserve_index=False))
    sheet = (SAMPLE / "sheet.toml").read_text()
    sheet = sheet[: sheet.rindex("[[drive]]")].replace('log = "driving_log.csv"\n', "")
    (folder / "sheet.toml").write_text(sheet)
    return folder / "sheet.toml"


def test_a_drive_of_ten_thousand_blows(benchmark, tmp_path):
    blows = ALL if benchmark.enabled else FEW
    sheet = write_long_drive(tmp_path, blows)

    def review():
        words = [sys.executable, "-m", "dyntest.cli", "review", str(sheet), "--match", "none"]
        process = subprocess.Popen(words, stdout=subprocess.DEVNULL)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        return process.returncode, 1024 * used.ru_maxrss

    status, memory = benchmark.pedantic(review, rounds=1)
    benchmark.extra_info |= {"blows": blows, "highest memory [byte]": memory}
    assert status == 0
    assert memory < MOST_MEMORY
    answers = json.loads((tmp_path / "review" / "summary.json").read_text())
    assert answers["drives"][0]["blows"] == blows
    table = pd.read_csv(tmp_path / "review" / "blows_initial.csv")
    assert len(table) == blows
    force = next(name for name in table.columns if name.startswith("peak_force ["))
    first = table[force].iloc[:5].mean()
    assert table[force].mean() == pytest.approx(first, rel=0.5)
