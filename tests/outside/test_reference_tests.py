"""Six records computed with a general finite-element program, whose true values are known, against the formulas.

Their origin is told in tests/data/reference_tests/PROVENANCE.md; pile and soil are invented. Force, velocity and
energy are measured quantities and must come out closely. Tension, toe stress and the resistances by formula are
estimates: what is asserted for them is the accuracy that their docstrings state, measured here, not tuned to it.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from dyntest.conditioning.condition import condition
from dyntest.quantities.case_resistance import calibrated_damping_factor
from dyntest.quantities.table import drive_table
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals

FOLDER = Path(__file__).parent.parent / "data" / "reference_tests"
DAMAGED = "steel_reduced_section"
NAMES = sorted(path.name for path in FOLDER.iterdir() if path.is_dir())
SOUND = [name for name in NAMES if name != DAMAGED]


@pytest.fixture(scope="module")
def reference():
    """Table, findings, waves, pile and true values of a record, computed once."""
    kept = {}

    def load(name):
        if name not in kept:
            sheet = read_sheet(FOLDER / name / "sheet.toml")
            signals = read_signals(sheet, sheet.drives[0])
            start = sheet.drives[0].penetration_at_start
            found = drive_table(signals, sheet.pile, sheet.hammer, damping_factor=0.4, penetration_at_start=start)
            blows = json.loads((FOLDER / name / "truth.json").read_text())["blows"]
            truth = {key: np.array([blow[key] for blow in blows]) for key in blows[0]}
            kept[name] = found, condition(signals, sheet.pile).waves, sheet.pile, truth
        return kept[name]

    return load


def ratio(reference, name, code, true):
    found, _, _, truth = reference(name)
    return found.table[code].to_numpy() / truth[true]


def test_there_are_six():
    assert len(NAMES) == 6


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("code", "true", "tolerance"),
    [
        ("peak_force", "max_force", 0.02),
        ("peak_velocity", "max_velocity", 0.02),
        ("peak_compression_stress", "max_stress_gauge", 0.02),
        ("transferred_energy", "transferred_energy", 0.03),
        ("peak_displacement", "max_gauge_disp", 0.02),
    ],
)
def test_measured_quantities(reference, name, code, true, tolerance):
    assert ratio(reference, name, code, true) == pytest.approx(1.0, abs=tolerance)


@pytest.mark.parametrize("name", NAMES)
def test_bending_puts_a_single_gauge_above_the_mean(reference, name):
    table = reference(name)[0].table
    assert (table["peak_gauge_stress"] > 1.05 * table["peak_compression_stress"]).all()


@pytest.mark.parametrize("name", SOUND)
def test_tension_of_sound_piles(reference, name):
    """As `dyntest.quantities.stresses` states: 13 % under to 59 % over."""
    found = ratio(reference, name, "peak_tension_stress", "max_tension_anywhere")
    assert (found > 0.86).all()
    assert (found < 1.60).all()


def test_tension_is_missed_in_a_reduced_section(reference):
    """The same force on half the section: the formula, which knows one section, sees 42 to 45 % of the stress."""
    found = ratio(reference, DAMAGED, "peak_tension_stress", "max_tension_anywhere")
    assert found == pytest.approx(0.435, abs=0.015)


@pytest.mark.parametrize("name", NAMES)
def test_toe_stress_is_an_upper_estimate(reference, name):
    """As `toe_compression_stress` states: never low, up to 104 % high; 11 to 12 % where the toe carries the pile."""
    found = ratio(reference, name, "toe_compression_stress", "max_compression_toe")
    assert (found > 1.0).all()
    assert (found < (1.13 if name == "steel_hard_toe" else 2.05)).all()


@pytest.mark.parametrize("name", NAMES)
def test_resistance_with_the_toe_at_rest(reference, name):
    """As `case_resistance_toe_at_rest` states: within 14 %."""
    assert ratio(reference, name, "case_resistance_toe_at_rest", "capacity") == pytest.approx(1.0, abs=0.145)


@pytest.mark.parametrize("name", NAMES)
def test_damping_factor_that_gives_the_true_resistance(reference, name, record_property):
    """Total resistance is above the true one, and the factor that brings it down lies in the range known from soils.

    0.05 to 1.10: the ends of the table of 1975, from memory, after FHWA-HI-97-013 (1996), chapter 17. One soil has one
    factor, so the blows of a record, which differ in energy, must agree closely.
    """
    found, waves, pile, truth = reference(name)
    factor = calibrated_damping_factor(
        waves.down, waves.up, waves.first_peak, pile.return_time, waves.time_step, truth["capacity"]
    )
    record_property("damping_factor", factor.round(3).tolist())
    print(f"{name}: damping factor {factor.round(2)}")
    assert (found.table["total_resistance"] > truth["capacity"]).all()
    assert ((factor > 0.05) & (factor < 1.10)).all()
    assert np.ptp(factor) < 0.02


@pytest.mark.parametrize("name", SOUND)
def test_sound_piles_are_called_uniform(reference, name):
    found = reference(name)[0]
    assert (found.table["integrity_factor"] > 0.95).all()
    assert not [finding for finding in found.findings if finding.check.startswith("integrity")]


def test_reduced_section_is_found_where_it_is(reference):
    """Half the section from 11.0 to 12.5 m: found within half a metre, and said to be worse than the factor reads.

    That it reads 0.83 is our own output, kept because the docstring states it.
    """
    found, _, _, truth = reference(DAMAGED)
    (finding,) = [finding for finding in found.findings if finding.check == "integrity"]
    assert finding.severity == "warning"
    assert len(finding.blows) == len(truth["capacity"])
    assert found.table["integrity_depth"].to_numpy() == pytest.approx(11.0, abs=0.5)
    assert found.table["integrity_factor"].to_numpy() == pytest.approx(0.83, abs=0.01)
    assert finding.more["upper_bound"]
