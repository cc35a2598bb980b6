from types import SimpleNamespace

import pytest

from dyntest.presenting.frames_match import residual_stress_words
from dyntest.presenting.sentences import match_sentences
from dyntest.wave_equation.comparison import StressChange
from dyntest.wave_equation.problem import Reduction


@pytest.fixture
def words():
    """Sentences of a match whose numbers are set by hand."""

    def say(system="SI", *, hyperbolic=False, **changes):
        match = {
            "law": "hyperbolic" if hyperbolic else "elastic-plastic",
            "damping_form": "viscous",
            "misfit": 0.0042,
            "misfit_other_law": float("nan"),
            "misfit_uniform": float("nan"),
            "matched_resistance": 1.4e6,
            "matched_resistance_range": (1.35e6, 1.47e6),
            "shaft_resistance": 0.8e6,
            "shaft_resistance_range": (0.7e6, 0.95e6),
            "toe_resistance": 0.6e6,
            "toe_resistance_range": (0.45e6, 0.7e6),
            "limit": 1.6e6,
            "fitted": True,
            "separable": True,
            "fully_mobilised": True,
            "section": None,
            "stress": None,
            "weight_of_stress": 0.0,
            "problem": SimpleNamespace(hyperbolic=hyperbolic),
        }
        return " ".join(match_sentences(SimpleNamespace(**match | changes), system))

    return say


def test_a_good_match(words):
    text = words()
    assert "1,400 kN (range 1,350 to 1,470 kN)" in text
    assert "800 kN (range 700 to 950 kN)" in text and "600 kN (range 450 to 700 kN)" in text
    assert "Soil law: elastic-plastic, viscous damping, misfit 0.0042." in text
    assert not any(word in text for word in ("LOWER", "POOR", "DAMAGE", "NOT SEPARATED"))


def test_it_speaks_the_users_units(words):
    assert "315 kip (range 303 to 330 kip)" in words("US")


def test_shaft_and_toe_that_cannot_be_told_apart_get_no_single_numbers(words):
    text = words(separable=False)
    assert "NOT SEPARATED" in text
    assert "700 to 950 kN" in text
    assert "800 kN" not in text


@pytest.mark.parametrize(
    ("weight", "told", "changes"), [(0.99, "remains at", 1), (0.4, "possible", 1), (0.0, "no better", 0)]
)
def test_residual_stress_and_what_it_changes_are_said(words, weight, told, changes):
    stress = StressChange(120e3, (1.01, 0.82, 1.36), 0.0021, 0.0034)
    text = words(stress=stress, weight_of_stress=weight)
    said = text[text.index("Residual stress") :]
    assert told in said.split(". ")[0]
    assert "120 kN" in said and "0.0021 with" in said and "0.0034 without" in said
    assert ("1.36" in said, "0.82" in said) == (bool(changes), bool(changes))
    assert "27 kip" in words("US", stress=stress, weight_of_stress=weight)
    assert "Residual" not in words()
    none = StressChange(1e-9, (1.0, 1.0, 1.0), 0.0021, 0.0034)
    assert "0 kN" not in words(stress=none, weight_of_stress=0.0).partition("Residual")[2]


@pytest.mark.parametrize(("weight", "told"), [(0.99, "120 kN"), (0.4, "possible: 120 kN"), (0.0, "none shown")])
def test_residual_stress_in_a_table(weight, told):
    stress = StressChange(120e3, (1.01, 0.8, 1.25), 0.0021, 0.0034)
    said = residual_stress_words(SimpleNamespace(stress=stress, weight_of_stress=weight), "SI")
    assert said.startswith(told)
    assert ("0.80" in said) == (weight > 0.05)
    assert residual_stress_words(SimpleNamespace(stress=None, weight_of_stress=0.0), "SI") == ""


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"fully_mobilised": False}, "LOWER BOUND"),
        ({"fitted": False, "misfit": 0.045}, "POOR MATCH (misfit 0.045)"),
        ({"hyperbolic": True}, "1,600 kN (extrapolated)"),
        ({"misfit_other_law": 0.006}, "(next best 0.0060)"),
        (
            {"section": Reduction(11.0, 0.55), "misfit_uniform": 0.03},
            "POSSIBLE DAMAGE 11.00 m below the gauges: 55 % of the impedance is left. With it the misfit falls",
        ),
    ],
    ids=["lower bound", "poor", "hyperbolic", "other law", "reduced"],
)
def test_what_stands_against_a_match_is_said(words, change, said):
    assert said in words(**change)
    assert said not in words()
