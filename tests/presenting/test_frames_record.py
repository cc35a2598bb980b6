"""Frames of single blows against what the record and the table say."""

import numpy as np
import pytest

from dyntest.names import display_unit
from dyntest.presenting.frames import TIME
from dyntest.presenting.frames_record import (
    blows_from_impact,
    by_blow,
    marks,
    overlay,
    quarter_marks,
    record_traces,
    resistance_against_factor,
    soil_free_until,
)
from dyntest.reading.sheet import read_sheet
from dyntest.reviewing.drive import drive_waves, review_drive


@pytest.fixture(scope="module")
def sheet(request):
    return read_sheet(request.config.rootpath / "sample_signals" / "pier_3_shale" / "sheet.toml")


@pytest.fixture(scope="module")
def restrike(sheet):
    return review_drive(sheet, sheet.drives[1])


@pytest.fixture(scope="module")
def waves(sheet, restrike):
    return drive_waves(sheet, restrike)


@pytest.mark.parametrize("system", ["SI", "US"])
def test_energy_and_displacement_reach_the_numbers_of_the_table(restrike, waves, system):
    found = record_traces(waves, restrike.signals, system)
    for code, trace in (
        ("transferred_energy", "energy"),
        ("peak_displacement", "displacement"),
        ("peak_force", "force"),
    ):
        factor = display_unit(code, system)[1]
        np.testing.assert_allclose(found[trace].max(axis=-1), factor * restrike.table[code], rtol=1e-6)


def test_force_and_waves_of_a_record_belong_together(restrike, waves):
    found = record_traces(waves, restrike.signals, "SI")
    np.testing.assert_allclose(found["downward wave"] + found["upward wave"], found["force"], atol=1e-9)
    np.testing.assert_allclose(found["downward wave"] - found["upward wave"], found["impedance × velocity"], atol=1e-9)


def test_quarters_of_a_uniform_pile_are_quarters_of_its_return_time(sheet):
    times = [time for time, _ in quarter_marks(sheet.pile, "SI")]
    np.testing.assert_allclose(times, 1e3 * sheet.pile.return_time * np.array([0.25, 0.5, 0.75, 1.0]))


def test_aligned_blows_keep_their_own_samples(waves):
    axis, found = blows_from_impact({"early": (waves, 0), "late": (waves, 5)}, "SI")
    for name, row in (("early", 0), ("late", 5)):
        at_impact = np.interp(0.0, axis, found[name, "force"])
        assert 1e3 * at_impact == pytest.approx(waves.force[row, waves.onset[row]], rel=1e-6, abs=1.0)


def test_resistance_against_factor_passes_through_the_table(sheet, restrike, waves):
    frame = resistance_against_factor(waves, 3, sheet.pile.return_time, "SI")
    factor = restrike.table["damping_factor"].iloc[3]
    for code, line in zip(
        ("case_resistance", "case_resistance_maximum"), frame.groupby("method", sort=False), strict=True
    ):
        points = line[1]
        at = np.interp(factor, points.iloc[:, 0], points.iloc[:, 1])
        assert 1e3 * at == pytest.approx(restrike.table[code].iloc[3], rel=2e-3)


def test_marks_are_impact_peak_and_the_return_after_it(sheet, waves):
    found = marks(waves, 0, sheet.pile)
    assert found["impact"] == 0.0
    assert found["toe return"] - found["first peak"] == pytest.approx(1e3 * sheet.pile.return_time)
    frame = overlay({"one": (waves, 0)}, "downward wave", "SI")
    at_peak = frame.iloc[(frame[TIME] - found["first peak"]).abs().argmin(), 1]
    assert 1e3 * at_peak == pytest.approx(waves.down[0, waves.first_peak[0]])


def test_blows_laid_over_each_other_begin_at_the_same_time(waves):
    frame = overlay({"early": (waves, 0), "late": (waves, 5)}, "force", "US")
    for row, (_, line) in zip((0, 5), frame.groupby("trace", sort=False), strict=True):
        assert line[TIME].iloc[waves.onset[row]] == 0.0


def test_no_soil_until_the_ground_has_answered(sheet):
    pile = sheet.pile
    assert soil_free_until(pile, 0.0) == pytest.approx(1e3 * pile.return_time)
    assert soil_free_until(pile, 2 * pile.length) == soil_free_until(pile, float("nan")) == 0.0
    assert soil_free_until(pile, 0.5 * pile.length) == pytest.approx(0.5e3 * pile.return_time)


def test_gauges_are_drawn_as_recorded(restrike, waves):
    found = record_traces(waves, restrike.signals, "SI")
    np.testing.assert_allclose(found[restrike.signals.strain_names[1]], 1e6 * restrike.signals.strain[:, 1])


def test_a_profile_keeps_drive_and_blow_of_each_point(restrike):
    frame = by_blow({"restrike": restrike.table}, "peak_force", "blow", "US", most=6)
    assert len(frame) <= 6 and set(frame["drive"]) == {"restrike"}
    whole = by_blow({"restrike": restrike.table}, "peak_force", "blow", "US")
    assert len(whole) == len(restrike.table) and frame["value"].max() == whole["value"].max()
