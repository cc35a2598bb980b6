"""Signal tables: all formats and units give the same arrays."""

from pathlib import Path

import numpy as np
import pytest

from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals
from dyntest.signals import AveragedTraces

REFERENCE_TESTS = sorted((Path(__file__).parents[1] / "data" / "reference_tests").glob("*/sheet.toml"))


def read(path, drive=0):
    sheet = read_sheet(path)
    return read_signals(sheet, sheet.drives[drive])


def expected(frame, name, factor=1.0, blows=3):
    return frame[name].to_numpy().reshape(blows, -1) * factor


def assert_as_written(signals, frame, blows=3):
    """Every sample stands where it belongs, in SI."""
    assert signals.strain.shape == signals.acceleration.shape == (blows, 2, len(frame) // blows)
    for channel in (0, 1):
        strain = expected(frame, f"strain_{channel + 1} [µm/m]", 1e-6, blows)
        np.testing.assert_allclose(signals.strain[:, channel], strain, rtol=1e-12)
        acceleration = expected(frame, f"acceleration_{channel + 1} [m/s^2]", 1.0, blows)
        np.testing.assert_allclose(signals.acceleration[:, channel], acceleration, rtol=1e-12)
    np.testing.assert_allclose(signals.time, frame["time [s]"][: len(frame) // blows], atol=1e-9)


@pytest.mark.parametrize("name", ["initial.csv", "initial.csv.gz", "initial.parquet"])
def test_formats_give_the_same_arrays(write_sheet, signals_frame, name):
    signals = read(write_sheet({"drive.0.signals": f'"{name}"'}, name=name))
    assert_as_written(signals, signals_frame())
    assert signals.blow.tolist() == [1, 2, 3]
    np.testing.assert_allclose(signals.clock, [0.0, 1.5, 3.0])
    np.testing.assert_allclose(signals.penetration, [10.125, 10.25, 10.375])
    assert signals.source == f"P2-4/{name}"


@pytest.mark.parametrize("path", REFERENCE_TESTS, ids=lambda path: path.parent.name)
def test_reference_tests_are_read(path):
    signals = read(path)
    assert signals.strain.shape == signals.acceleration.shape == (3, 2, 2120)
    assert signals.time_step == pytest.approx(5e-5, rel=1e-9)
    assert signals.clock.tolist() == [0.0, 1.4, 2.8]
    assert 5e-4 < signals.strain.max() < 2e-3  # a sound blow strains a pile by about a thousandth


def test_all_six_reference_tests_are_there():
    assert len(REFERENCE_TESTS) == 6


def test_units_of_the_header_are_taken_off(write_sheet, signals_frame):
    frame = signals_frame()
    us = frame.rename(
        columns={
            "time [s]": "time [ms]",
            "strain_1 [µm/m]": "strain_1 [µε]",
            "strain_2 [µm/m]": "strain_2 [in/in]",
            "acceleration_1 [m/s^2]": "acceleration_1 [g]",
            "acceleration_2 [m/s^2]": "acceleration_2 [ft/s^2]",
            "penetration [m]": "penetration [ft]",
        }
    )
    us["time [ms]"] *= 1e3
    us["strain_2 [in/in]"] *= 1e-6
    us["acceleration_1 [g]"] /= 9.80665
    us["acceleration_2 [ft/s^2]"] /= 0.3048
    us["penetration [ft]"] /= 0.3048
    signals = read(write_sheet(data=us))
    assert_as_written(signals, frame)
    np.testing.assert_allclose(signals.penetration, [10.125, 10.25, 10.375])


def test_averaged_traces(write_sheet, signals_frame):
    frame = signals_frame().rename(
        columns={"strain_1 [µm/m]": "force [kN]", "acceleration_1 [m/s^2]": "velocity [m/s]"}
    )
    frame["velocity [m/s]"] *= 0.01
    changes = {"gauges.strain": None, "gauges.acceleration": None}
    traces = read(write_sheet(changes | {"gauges.force": '"force"', "gauges.velocity": '"velocity"'}, data=frame))
    assert isinstance(traces, AveragedTraces)
    np.testing.assert_allclose(traces.force, expected(frame, "force [kN]", 1e3))
    np.testing.assert_allclose(traces.velocity, expected(frame, "velocity [m/s]"))


def test_left_out_gauges_come_from_both_tables(write_sheet):
    path = write_sheet({"gauges.leave_out": '["strain_1"]', "choices.leave_out": '["acceleration_2"]'})
    assert read(path).left_out == {"strain_1", "acceleration_2"}


def test_one_blow_files_are_stacked_and_numbered_in_their_order(write_sheet, signals_frame):
    path = write_sheet({"drive.0.signals": '"blows/b*.csv"'})
    (path.parent / "blows").mkdir()
    frame = signals_frame(blows=12)
    for number, blow in frame.groupby("blow"):
        blow.drop(columns="blow").to_csv(path.parent / "blows" / f"b{number}.csv", index=False)
    signals = read(path)
    assert_as_written(signals, frame, blows=12)
    assert signals.blow.tolist() == list(range(1, 13))
    np.testing.assert_allclose(signals.clock, 1.5 * np.arange(12))
    assert signals.source == "blows/b1.csv and 11 more"


def test_stacked_files_keep_their_own_numbers(write_sheet, signals_frame):
    path = write_sheet({"drive.0.signals": '["a.csv", "b.parquet"]'})
    frame = signals_frame(blows=5)
    frame[frame["blow"] <= 2].to_csv(path.parent / "a.csv", index=False)
    frame[frame["blow"] > 2].to_parquet(path.parent / "b.parquet", index=False)
    signals = read(path)
    assert_as_written(signals, frame, blows=5)
    assert signals.blow.tolist() == [1, 2, 3, 4, 5]


def test_blow_numbers_may_leave_gaps(write_sheet, signals_frame):
    frame = signals_frame()
    frame["blow"] = frame["blow"].map({1: 10, 2: 20, 3: 35})
    assert read(write_sheet(data=frame)).blow.tolist() == [10, 20, 35]


def test_semicolons_and_decimal_commas_are_read(write_sheet, signals_frame):
    frame = signals_frame()
    path = write_sheet({"drive.0.signals": '"comma.csv"'})
    frame.to_csv(path.parent / "comma.csv", index=False, sep=";", decimal=",")
    assert_as_written(read(path), frame)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace(",", "\t"),
        lambda text: text.replace(",", ", "),
        lambda text: text.replace("\n", "\n\n"),
        lambda text: text.replace("strain_1 [µm/m]", '"strain_1 [µm/m]"'),
        lambda text: text.replace("µ", "μ"),  # the Greek letter for the micro sign
        lambda text: text.rstrip("\n"),
        lambda text: "\n".join(line + (",note" if i == 0 else ",x y") for i, line in enumerate(text.splitlines())),
    ],
    ids=[
        "mark",
        "carriage return",
        "tab",
        "space",
        "blank lines",
        "quotes",
        "Greek letter",
        "no last line",
        "text column",
    ],
)
def test_harmless_spellings_of_a_csv(write_sheet, signals_frame, change):
    path = write_sheet({"drive.0.signals": '"changed.csv"'})
    text = (path.parent / "initial.csv").read_text(encoding="utf-8")
    (path.parent / "changed.csv").write_bytes(change(text).encode())
    assert_as_written(read(path), signals_frame())


def test_time_may_run_on_and_be_stored_with_jitter(write_sheet, signals_frame):
    frame = signals_frame()
    first = frame["time [s]"].copy()
    rng = np.random.default_rng(5)
    frame["time [s]"] += 1.5 * (frame["blow"] - 1) + 1e-9 * rng.standard_normal(len(frame))
    signals = read(write_sheet(data=frame))
    np.testing.assert_allclose(signals.time, first[:200], atol=1e-8)
    np.testing.assert_allclose(np.diff(signals.time), 5e-5, rtol=1e-4)


@pytest.mark.parametrize("kind", ["float32", "float16", "int32", "decimal"])
def test_number_kinds_of_parquet(write_sheet, signals_frame, kind):
    import pyarrow as pa
    import pyarrow.parquet as pq

    frame = signals_frame()
    frame["strain_1 [µm/m]"] = frame["strain_1 [µm/m]"].round()
    path = write_sheet({"drive.0.signals": '"x.parquet"'}, name="x.parquet")
    table = pa.Table.from_pandas(frame, preserve_index=False)
    target = pa.decimal128(12, 3) if kind == "decimal" else pa.type_for_alias(kind.replace("float16", "halffloat"))
    table = table.set_column(2, "strain_1 [µm/m]", table.column(2).cast(target))
    pq.write_table(table, path.parent / "x.parquet")
    assert_as_written(read(path), frame)


def test_arrays_are_floats_that_own_their_place(write_sheet):
    signals = read(write_sheet())
    for array in (signals.strain, signals.acceleration):
        assert array.dtype == np.float64
        assert array.flags.c_contiguous
