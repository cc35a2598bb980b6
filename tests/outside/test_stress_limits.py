"""Driving-stress limits against a digitised public manual and against printed strengths.

UFC 3-220-20 (16 Jan 2025), chapter 6, Eqs. 6-72 to 6-75, pp. 507-508, as digitised in the package geotech_references.
"""

import pytest
from geotech_references.dm7_2 import chapter6 as ufc

from dyntest.decisions import stress_limits
from dyntest.units import unit_factor

KSI = unit_factor("ksi", "stress")


@pytest.mark.parametrize("yield_strength", [36.0, 45.0, 50.0, 80.0])
def test_steel_as_in_ufc_equation_6_72(yield_strength):
    expected = ufc.driving_stress_limit_steel(1.0, yield_strength)
    assert stress_limits.steel_limit(yield_strength * KSI) / KSI == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("strength", "prestress"), [(5.0, 0.6), (6.0, 0.8), (8.5, 1.1), (6.0, 0.0)])
def test_concrete_as_in_ufc_equations_6_73_and_6_74(strength, prestress):
    compression = stress_limits.concrete_compression_limit(strength * KSI, prestress * KSI) / KSI
    tension = stress_limits.concrete_tension_limit(strength * KSI, prestress * KSI) / KSI
    assert compression == pytest.approx(ufc.driving_stress_limit_concrete_compression(1.0, strength, prestress))
    assert tension == pytest.approx(ufc.driving_stress_limit_concrete_tension(1.0, strength, prestress))


# FHWA-NHI-16-009 (2016), section 8.2.1 with AASHTO LRFD 8.4.1.4: base resistance by species [ksi].
@pytest.mark.parametrize("base_resistance", [1.25, 1.20, 1.10, 0.90])
def test_timber_as_in_ufc_equation_6_75(base_resistance):
    expected = ufc.driving_stress_limit_timber(1.15, base_resistance)
    assert stress_limits.timber_limit(base_resistance * KSI) / KSI == pytest.approx(expected, rel=1e-12)


def test_the_manual_speaks_of_the_same_factors():
    """FHWA-NHI-16-009 (2016), Eqs. 8-17, 8-33, 8-62, 8-63: the formulas and φ in its digitised text."""
    import json
    from importlib.resources import files

    text = json.loads((files("geotech_references.gec_12") / "text" / "chapter08.json").read_text())
    equations = {e["eq_id"]: e for e in _equations(text)}
    assert "0.9 * F_y" in equations["8-33"]["formula"]
    assert "0.85*f'_c - f_pe" in equations["8-62"]["formula"]
    assert "0.095*sqrt(f'_c) + f_pe" in equations["8-63"]["formula"]
    assert "2.6 * F_co" in equations["8-17"]["formula"]
    for number, material in (("8-33", "steel"), ("8-62", "concrete"), ("8-17", "timber")):
        factor = stress_limits.DRIVING_RESISTANCE_FACTOR[material]
        assert f"({factor:g} for" in str(equations[number]["variables"]).replace("(1.0 for", "(1 for")


def _equations(node):
    if isinstance(node, dict):
        if "eq_id" in node and "formula" in node:
            yield node
        node = list(node.values())
    if isinstance(node, list):
        for item in node:
            yield from _equations(item)
