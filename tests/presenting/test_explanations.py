"""The table of explanations says what the functions that compute the numbers say in their docstrings."""

import ast
import inspect
import re
from importlib import import_module

import pytest

from dyntest.names import NAMES
from dyntest.presenting.explanations import EXPLANATIONS

COMPUTED_IN = {
    "peak_compression_stress": "dyntest.quantities.stresses",
    "peak_gauge_stress": "dyntest.quantities.stresses",
    "toe_compression_stress": "dyntest.quantities.stresses",
    "peak_tension_stress": "dyntest.quantities.stresses",
    "transferred_energy": "dyntest.quantities.energy_and_motion",
    "energy_ratio": "dyntest.quantities.energy_and_motion",
    "stroke": "dyntest.quantities.stroke",
    "blow_rate": "dyntest.quantities.stroke",
    "total_resistance": "dyntest.quantities.case_resistance",
    "case_resistance": "dyntest.quantities.case_resistance",
    "case_resistance_maximum": "dyntest.quantities.case_resistance",
    "case_resistance_toe_at_rest": "dyntest.quantities.case_resistance",
    "case_resistance_unloading": "dyntest.quantities.case_resistance",
    "damping_factor": "dyntest.quantities.case_resistance",
    "damping_factor_maximum": "dyntest.quantities.case_resistance",
    "shaft_share": "dyntest.quantities.energy_and_motion",
    "integrity_factor": "dyntest.quantities.integrity",
    "proportionality": "dyntest.quantities.energy_and_motion",
    "bending_ratio": "dyntest.quantities.energy_and_motion",
    "peak_displacement": "dyntest.quantities.energy_and_motion",
    "final_displacement": "dyntest.conditioning.corrections",
    "matched_resistance": "dyntest.wave_equation.matching",
    "setup_factor": "dyntest.decisions.setup",
    "force and velocity": "dyntest.conditioning.condition",
    "trust": "dyntest.decisions.trust",
    "the blow that stands for a drive": "dyntest.quantities.representative",
    "stress limits": "dyntest.decisions.stress_limits",
    "range of the matched resistance": "dyntest.wave_equation.matching",
    "load–movement curve": "dyntest.wave_equation.match_results",
    "resistance over time": "dyntest.decisions.time_law",
    "how resistance fades in a restrike": "dyntest.decisions.time_law",
    "required resistance": "dyntest.decisions.resistance_factors",
    "resistance at the end of driving": "dyntest.decisions.end_of_drive_target",
    "hammer": "dyntest.wave_equation.bearing_graph",
    "bearing graph": "dyntest.wave_equation.bearing_graph",
    "driving criterion": "dyntest.decisions.driving_criterion",
    "modified Gates formula": "dyntest.decisions.dynamic_formulas",
    "bearing piles": "dyntest.decisions.bearing_piles",
    "pay length": "dyntest.decisions.pay_length",
}
"""Module that computes each number or takes each step."""


def docstrings(module: str) -> str:
    """Every docstring of a module as one text, white space folded."""
    nodes = ast.walk(ast.parse(inspect.getsource(import_module(module))))
    documented = ast.Module | ast.FunctionDef | ast.ClassDef
    return " ".join(" ".join((ast.get_docstring(node) or "").split()) for node in nodes if isinstance(node, documented))


def test_every_explanation_names_its_module():
    assert set(COMPUTED_IN) == set(EXPLANATIONS)


@pytest.mark.parametrize("name", EXPLANATIONS)
def test_equations_are_those_of_the_docstrings(name):
    told = EXPLANATIONS[name]
    known = docstrings(COMPUTED_IN[name])
    for text in (told.what, *told.details):
        for equation in re.findall(r"``([^`]+)``", text):
            assert equation in known


@pytest.mark.parametrize("name", EXPLANATIONS)
def test_an_explanation_is_called_as_the_table_of_names_says(name):
    told = EXPLANATIONS[name]
    words = f"{NAMES[name].words}, {NAMES[name].symbol}" if name in NAMES else name
    assert told.name.casefold() == words.casefold()
    assert len(told.what) > 20
