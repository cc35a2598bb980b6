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


def test_modified_gates_si_form():
    """FHWA-HI-97-014, 16.3 (second-hand): the same blow, 7.874 per 25 mm, gives 2541.1 kN (571.3 kips)."""
    resistance = dynamic_formulas.modified_gates_si(40_000 * FT_LB, INCH / 8)
    assert resistance / 1e3 == pytest.approx(2541.1, abs=0.05)


def test_the_two_printed_forms_are_near_but_not_the_same():
    """FHWA prints them as one formula; an error of units in either would be far larger than 4 %."""
    energy = np.array([30e3, 54e3, 100e3])[:, np.newaxis]
    set_per_blow = np.array([0.010, 0.005, 0.0026])
    ratio = dynamic_formulas.modified_gates_si(energy, set_per_blow) / dynamic_formulas.modified_gates(
        energy, set_per_blow
    )
    assert np.abs(ratio - 1.0).max() < 0.04
    assert np.abs(ratio - 1.0).min() > 1e-4


def test_california_form_of_modified_gates():
    """From memory after the Caltrans Foundation Manual: 1.83 √E log10(0.83 blows per foot) − 124 kips.

    A rounding of the SI form: 7 √1.3558 / 4.448 = 1.832, 550 / 4.448 = 123.6, 10 × 25/25.4 / 12 = 0.820.
    """
    for energy, per_foot in ((40_000, 96), (60_000, 60), (80_000, 110)):
        california = 1.83 * energy**0.5 * np.log10(0.83 * per_foot) - 124
        ours = dynamic_formulas.modified_gates_si(energy * FT_LB, 12 * INCH / per_foot) / KIP
        assert ours == pytest.approx(california, rel=0.004)


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


def test_washington_lies_near_modified_gates_where_long_et_al_found_both_precise():
    """Formula from memory after Allen (2005); Long et al. (2009) rank both best, so they cannot lie far apart."""
    for energy, count in ((40_000, 4), (40_000, 8), (60_000, 6)):
        washington = dynamic_formulas.washington(energy * FT_LB, INCH / count, 0.47)
        assert washington == pytest.approx(dynamic_formulas.modified_gates(energy * FT_LB, INCH / count), rel=0.25)


def test_usable_counts():
    """UFC 3-220-20 (2025), 6-4.1.2: below 24 blows per foot over-predicted, above 120 under-predicted."""
    per_foot = np.array([23.9, 24.1, 119.9, 120.1])
    assert dynamic_formulas.within_usable_counts(0.3048 / per_foot).tolist() == [False, True, True, False]
