"""Signal tables: all formats and units give the same arrays."""

from pathlib import Path

import numpy as np
import pytest

from dyntest.reading.sheet import read_sheet
from dyntest.reading.tables import read_signals
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
