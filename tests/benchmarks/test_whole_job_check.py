"""A very small run of the whole-job check, so that the script cannot rot, and what it says on given outcomes."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import simulated_structures as simulated
import whole_job_check as check


@pytest.fixture(scope="module")
def outcomes():
    return [check.examine(number, piles=40) for number in (3, 5)]


def test_matching_finds_the_true_resistance_of_simulated_piles(outcomes):
    for outcome in outcomes:
        for drive in ("initial", "restrike"):
            assert outcome.found[f"{drive}, matched"] == pytest.approx(outcome.true[drive], rel=0.15)
        true_setup = outcome.true["restrike"] / outcome.true["initial"]
        assert outcome.found["setup factor"] == pytest.approx(true_setup, rel=0.2)


def test_the_criterion_lets_no_pile_pass_that_is_far_too_short_and_most_sound_ones(outcomes):
    for name in ("no credit", "no credit, graph itself"):
        r, passed = np.concatenate([outcome.piles[name] for outcome in outcomes if name in outcome.piles], axis=1)
        assert (r < 0.9).sum() > 10
        assert not passed[r < 0.9].any()
    assert passed[r > 1.2].all()  # by the graph's own set; whole counts of an inch turn more away


def test_the_report_counts_what_is_given(outcomes):
    made = check.Outcome(
        "S999",
        {"initial": 1.2e6, "restrike": 1.8e6},
        {"initial, matched": 1.0e6, "restrike, matched": 2.0e6, "setup factor": 1.5},
        {"initial": True, "restrike": False},
        {"no credit": np.array([[0.85, 0.95, 1.05, 1.2], [1.0, 0.0, 0.0, 1.0]])},
        0,
        "",
    )
    text = check.report([made, made])
    rows = {line.split("  ")[0]: line for line in text.splitlines()}
    assert rows["restrike, matched"].split()[3:6] == ["2", "0.90", "0.00"]
    assert rows["setup factor"].split()[-2:] == ["1.00", "0.00"]
    assert "50.0 % of 4" in rows["no credit"]  # passed though short
    assert "100.0 % of 2" in rows["no credit"]  # by more than a tenth
    assert "0.85" in rows["no credit"]
    assert "truth within the matched range, restrike: 0 of 2" in text
    assert check.report(outcomes)
    assert check.worst(outcomes)


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
