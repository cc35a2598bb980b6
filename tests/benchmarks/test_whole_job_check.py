"""The whole-job check on one structure, so that the script cannot rot, and what it says on given outcomes."""

import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import simulated_structures as simulated
import whole_job_check as check

pytestmark = pytest.mark.sweep


@pytest.fixture(scope="module")
def outcome():
    return check.examine(check.folders("1")[0])


@pytest.fixture(scope="module")
def truth():
    return {"W00": json.loads((check.folders("1")[0] / "truth.json").read_text())}


def test_a_structure_in_the_same_soil_law_is_answered(outcome, truth):
    """The bars of a soil that the library knows: resistance, setup, and the set at the true target."""
    found = check.score.score(pd.DataFrame(outcome.estimates), truth)["found / true"]
    assert found["r_eod"] == pytest.approx(1.0, abs=0.05)
    assert found["restrike"] == pytest.approx(1.0, abs=0.05)
    assert found["setup"] == pytest.approx(1.0, abs=0.05)
    assert found["set_at_target"] == pytest.approx(1.0, abs=0.06)


def test_no_pile_far_too_short_passes_and_few_sound_ones_are_rejected(outcome, truth):
    """That at most one short pile in a hundred passes takes many structures to show; whole blows decide about one."""
    assert len(outcome.piles) == 60
    found = check.score.score(pd.DataFrame(outcome.piles), truth)
    assert found["unsafe passes"].item() * found["short (r < 0.97)"].item() <= 1.0
    assert not found["least r passed"].item() < 0.93
    assert found["sound rejections"].item() <= 0.30
    assert found["half at"].item() <= 1.06


def test_the_report_counts_what_is_given(outcome, truth):
    text = check.report([outcome], truth)
    assert "W00 (smith)" in text
    assert "unsafe passes" in text
    nothing = check.Outcome("W00", outcome.estimates, [], ("record",), "no stroke can show it")
    text = check.report([nothing], truth)
    assert "alert: record" in text and "no criterion: no stroke can show it" in text
    assert "unsafe passes" not in text


def test_the_same_number_gives_the_same_structure():
    one, two = simulated.invent(3, step=90e-6), simulated.invent(3, step=90e-6)
    np.testing.assert_array_equal(one.soil.limit, two.soil.limit)
    assert one.required == two.required
    assert simulated.invent(4, step=90e-6).required != one.required


def test_a_static_test_of_stiff_straight_springs_shows_their_limit():
    structure = simulated.invent(3, step=90e-6)
    soil = simulated.replace(structure.soil, hyperbolic=False, quake=np.full_like(structure.soil.quake, 1e-3))
    soil = simulated.replace(soil, toe_gap=np.zeros(1))
    found = simulated.static_resistance(structure, soil)[0]
    assert found == pytest.approx(soil.limit.sum(), rel=0.01)
