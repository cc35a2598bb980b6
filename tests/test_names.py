"""Numbers as text: a small one never shows as zero."""

import numpy as np
import pytest

from dyntest.names import NAMES, decimal, display_unit, show, show_required

KIP = 4448.2216152605
"""A thousand pounds force [N], exact by the pound of 1959 and the standard gravity of 1901."""


@pytest.mark.parametrize("system", ["SI", "US"])
@pytest.mark.parametrize("code", [code for code in NAMES if NAMES[code].dimension != "count"])
def test_no_small_number_shows_as_zero(code, system):
    _, factor, decimals = display_unit(code, system)
    for size in (0.004, 0.04, 0.4, 0.6):
        value = size * 10.0**-decimals
        told = show(code, value / factor, system).split(" ")[0]
        assert float(told) == pytest.approx(value, rel=0.05)
        assert show(code, -value / factor, system).split(" ")[0] == f"-{told}"


@pytest.mark.parametrize(
    ("value", "told"),
    [(0.0005, "0.00050"), (0.00064, "0.00064"), (0.0034, "0.0034"), (0.0123, "0.012"), (0.25, "0.250"), (0.0, "0.000")],
)
def test_a_misfit_has_two_significant_figures_at_least(value, told):
    assert show("misfit", value, "SI") == told


@pytest.mark.parametrize("value", [0.0, -0.0, 1e-12, -1e-12, np.float64(-3e-9)])
def test_what_rounding_leaves_of_a_zero_is_zero_without_a_sign(value):
    assert decimal(value, 1) == "0.0"


def test_usual_numbers_keep_their_decimals():
    assert [decimal(value, 2) for value in (0.011, 0.25, 1234.5678, -2.0)] == ["0.01", "0.25", "1,234.57", "-2.00"]


@pytest.mark.parametrize(
    ("unit", "system", "stated"),
    [(1e3, "SI", ("1,397", "2,440.7", "1,500.25", "900")), (KIP, "US", ("314", "314.5", "540.44", "380"))],
)
def test_a_requirement_is_written_as_it_is_stated(unit, system, stated):
    for text in stated:
        told = show_required(float(text.replace(",", "")) * unit, system)
        assert told.split(" ")[0] == text


@pytest.mark.parametrize(("unit", "system"), [(1e3, "US"), (KIP, "SI")])
def test_a_requirement_in_other_units_is_right_to_half_a_thousandth(unit, system):
    for value in (9.87, 97.3, 314.0, 540.44, 1397.0, 2440.7):
        told = float(show_required(value * unit, system).split(" ")[0].replace(",", ""))
        assert told / display_unit("matched_resistance", system)[1] == pytest.approx(value * unit, rel=5e-4)
