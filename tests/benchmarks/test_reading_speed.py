"""How long it takes to read a thousand blows of 2,048 samples."""

import numpy as np
import pyarrow as pa
import pyarrow.csv as arrow_csv
import pyarrow.parquet as pq
import pytest

from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals

BLOWS, SAMPLES = 1000, 2048


@pytest.fixture(scope="module")
def folder(tmp_path_factory, plain_sheet):
    folder = tmp_path_factory.mktemp("speed")
    rng = np.random.default_rng(1)
    n = BLOWS * SAMPLES
    columns = {
        "blow": np.repeat(np.arange(1, BLOWS + 1), SAMPLES),
        "time [s]": np.tile(5e-5 * np.arange(SAMPLES), BLOWS),
    }
    columns |= {f"strain_{i} [µm/m]": rng.standard_normal(n).astype(np.float32) * 500 for i in (1, 2)}
    columns |= {f"acceleration_{i} [m/s^2]": rng.standard_normal(n).astype(np.float32) * 500 for i in (1, 2)}
    table = pa.table(columns)
    pq.write_table(table, folder / "initial.parquet")
    arrow_csv.write_csv(table, folder / "initial.csv")
    for kind in ("parquet", "csv"):
        drive = f'[[drive]]\nkind = "initial"\nsignals = "initial.{kind}"\n'
        (folder / f"{kind}.toml").write_text(plain_sheet(drive), encoding="utf-8")
    return folder


@pytest.mark.benchmark(group="reading")
@pytest.mark.parametrize("kind", ["parquet", "csv"])
def test_a_thousand_blows(benchmark, folder, kind):
    def read():
        sheet = read_sheet(folder / f"{kind}.toml")
        return read_signals(sheet, sheet.drives[0])

    signals = benchmark.pedantic(read, rounds=3, warmup_rounds=1)
    assert signals.strain.shape == (BLOWS, 2, SAMPLES)
