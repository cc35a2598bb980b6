"""Force, velocity and energy of the reference tests against the finite-element library that computed them.

The truth was computed with openseespy (see tests/data/reference_tests/PROVENANCE.md); the gauges were then given noise,
offsets and bending. A general signal library, scipy, stands against the filter in tests/conditioning.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from dyntest.conditioning.condition import Options, condition
from dyntest.conditioning.corrections import final_displacement, integrate
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals

REFERENCES = Path(__file__).parent.parent / "data" / "reference_tests"


@pytest.fixture(params=sorted(path.name for path in REFERENCES.iterdir() if path.is_dir()))
def computed(request):
    """Signals, pile and the truth of each blow."""
    folder = REFERENCES / request.param
    sheet = read_sheet(folder / "sheet.toml")
    blows = json.loads((folder / "truth.json").read_text())["blows"]
    truth = {name: np.array([blow[name] for blow in blows]) for name in blows[0]}
    return read_signals(sheet, sheet.drives[0]), sheet.pile, truth


@pytest.mark.parametrize("low_pass", [None, 3000.0])
def test_peaks_and_energy_are_those_of_the_computation(computed, low_pass):
    signals, pile, truth = computed
    waves = condition(signals, pile, Options(low_pass=low_pass)).waves
    assert waves.impedance == pytest.approx(truth["impedance"][0], rel=1e-3)
    np.testing.assert_allclose(waves.force.max(axis=1), truth["max_force"], rtol=0.02)
    np.testing.assert_allclose(waves.velocity.max(axis=1), truth["max_velocity"], rtol=0.02)
    energy = integrate(waves.force * waves.velocity, waves.time_step).max(axis=1)
    np.testing.assert_allclose(energy, truth["transferred_energy"], rtol=0.03)


def test_displacements_are_those_of_the_computation(computed):
    signals, pile, truth = computed
    waves = condition(signals, pile).waves
    displacement = integrate(waves.velocity, waves.time_step)
    np.testing.assert_allclose(displacement.max(axis=1), truth["max_gauge_disp"], rtol=0.02)
    np.testing.assert_allclose(final_displacement(waves.velocity, waves.time_step), truth["final_set"], atol=0.002)


def test_the_known_set_leaves_the_peaks_alone(computed):
    signals, pile, truth = computed
    waves = condition(signals, pile, Options(set_per_blow=truth["final_set"])).waves
    np.testing.assert_allclose(final_displacement(waves.velocity, waves.time_step), truth["final_set"], rtol=1e-6)
    np.testing.assert_allclose(waves.velocity.max(axis=1), truth["max_velocity"], rtol=0.02)
