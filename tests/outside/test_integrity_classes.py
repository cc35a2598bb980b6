"""Integrity factor and its classes, against mechanics, a public manual and a recalled form.

Rausche & Goble (1979), in ASTM STP 670, for the method. UFC 3-220-20, section 6-10.1: 1.0 is no damage, below 0.8
is damage. The classes slight (0.8 to 1), damaged (0.6 to 0.8) and broken (below 0.6) are from memory, after the
first.
"""

import numpy as np
import pytest

from dyntest.pile import PilePart
from dyntest.quantities.integrity import factor_from_reflection, integrity_class


@pytest.mark.parametrize("area", [0.3, 0.6, 0.9])
def test_without_shaft_it_is_the_ratio_of_impedances(area):
    """What comes back from a step is (Z2 − Z1)/(Z2 + Z1) of what arrives: exact mechanics."""
    above, below = PilePart(5.0, 1.0, 36e9, 2450.0).impedance, PilePart(5.0, area, 36e9, 2450.0).impedance
    reflected = 2000e3 * (below - above) / (below + above)
    assert factor_from_reflection(2000e3, reflected, 0.0) == pytest.approx(area)


def test_values_worked_by_hand():
    """F_d 2000, F_u −400, R_x 0 gives 2/3; F_d 2000, F_u −50, R_x 300 gives 1650/2050 with a plastic shaft."""
    assert factor_from_reflection(2000.0, -400.0, 0.0) == pytest.approx(0.6667, abs=5e-5)
    assert factor_from_reflection(2000.0, -50.0, 300.0) == pytest.approx(0.8049, abs=5e-5)


def test_recalled_form_is_a_little_lower():
    """(F_d − 1.5 R_x + F_u)/(F_d − 0.5 R_x − F_u), from memory: 0.7895 for the second case, 2/3 for the first."""

    def recalled(down, up, shaft):
        return (down - 1.5 * shaft + up) / (down - 0.5 * shaft - up)

    assert recalled(2000.0, -400.0, 0.0) == pytest.approx(factor_from_reflection(2000.0, -400.0, 0.0))
    assert recalled(2000.0, -50.0, 300.0) == pytest.approx(0.7895, abs=5e-5)
    assert recalled(2000.0, -50.0, 300.0) < factor_from_reflection(2000.0, -50.0, 300.0)


@pytest.mark.parametrize("shaft", [0.0, 300.0, 900.0])
def test_sound_pile_reads_one_whatever_its_shaft(shaft):
    """Where nothing but the shaft answers, the upward wave is R_x/2."""
    assert factor_from_reflection(2000.0, shaft / 2, shaft) == pytest.approx(1.0)


def test_classes():
    factors = np.array([1.0, 0.99, 0.9, 0.8, 0.79, 0.6, 0.59, 0.0])
    words = ["uniform", "uniform", "slight damage", "slight damage", "damaged", "damaged", "broken", "broken"]
    assert [integrity_class(factor) for factor in factors] == words
    assert integrity_class(np.nan) == "not judged"
