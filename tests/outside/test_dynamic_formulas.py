"""Dynamic formulas against numbers worked from their printed forms."""

import numpy as np
import pytest

from dyntest.decisions import dynamic_formulas

FT_LB, KIP, INCH = 1.3558179483314004, 4448.2216152605, 0.0254  # exact: ft·lbf, 1000 lbf and inch


def test_modified_gates_us_form():
    """FHWA-modified Gates, from memory after FHWA-NHI-05-042: E = 40,000 ft·lb, 8 blows per inch.

    1.75 √40,000 = 350; log10(80) = 1.90309; 350 × 1.90309 − 100 = 566.08 kips.
    """
    resistance = dynamic_formulas.modified_gates(40_000 * FT_LB, INCH / 8)
    assert resistance / KIP == pytest.approx(566.1, abs=0.05)


def test_modified_gates_in_its_printed_si_form():
    """FHWA-HI-97-014, 16.3 (second-hand), 7 √E log10(10 N) − 550 kN with E in J and N blows per 25 mm.

    FHWA prints both as one formula; an error of units in either would be far larger than 4 %.
    """
    energy = np.array([30e3, 54e3, 100e3])[:, np.newaxis]
    set_per_blow = np.array([0.010, 0.005, 0.0026])
    printed = 1e3 * (7.0 * np.sqrt(energy) * np.log10(10.0 * 0.025 / set_per_blow) - 550.0)
    np.testing.assert_allclose(dynamic_formulas.modified_gates(energy, set_per_blow), printed, rtol=0.04)


def test_original_gates():
    """Course reader TTE 4004c (c. 1998), Eq. 3-6: E = 40 ft·kip, s = 0.125 in give 299.6 kips.

    The form in Bowles (1968), (1/7) √(0.85 E) (1 − log s) tons with a safety factor of 3, gives 300.8 kips.
    """
    resistance = dynamic_formulas.gates(40_000 * FT_LB, 0.125 * INCH) / KIP
    assert resistance == pytest.approx(299.6, abs=0.1)
    assert resistance == pytest.approx(300.8, rel=0.005)


def test_energy_approach():
    """Course reader TTE 4004c (c. 1998), Eq. 3-8, after Paikowsky et al. (1994): E = 30 kJ, s = 6 mm, D = 24 mm."""
    assert dynamic_formulas.energy_approach(30e3, 0.006, 0.024) == pytest.approx(2000e3)
