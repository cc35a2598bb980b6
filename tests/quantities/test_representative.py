import numpy as np
import pandas as pd
import pytest

from dyntest.conditioning.judging import Finding
from dyntest.quantities.representative import FULL_ENERGY, choose_blow

BLOWS = 40


@pytest.fixture
def table():
    """Forty blows whose resistance creeps up; full energy but for blow 33."""
    blow = np.arange(1, BLOWS + 1)
    energy = np.full(BLOWS, 30e3)
    energy[32] = 15e3
    return pd.DataFrame(
        {
            "blow": blow,
            "transferred_energy": energy,
            "case_resistance": 1e6 + 1e3 * blow,
            "total_resistance": 2e6 - 1e3 * blow,
            "set_per_blow": 0.008,
            "final_displacement": 0.008,
        }
    )


def finding(severity, *blows):
    return Finding("invented check", severity, blows, 1.0, 0.0, "invented", "none")


def test_end_of_the_initial_drive_takes_the_middle_resistance_of_the_last_ten(table):
    assert choose_blow(table, "initial").blow in (35, 36)


def test_weak_blows_do_not_stand_for_a_drive(table):
    table.loc[30:, "transferred_energy"] = 0.5 * 30e3
    table.loc[[34, 37], "transferred_energy"] = 30e3
    assert choose_blow(table, "initial").blow in (35, 38)


def test_restrike_takes_the_earliest_with_full_energy(table):
    assert choose_blow(table, "restrike").blow == 1
    table.loc[:1, "transferred_energy"] = (FULL_ENERGY - 0.05) * 30e3
    assert choose_blow(table, "restrike").blow == 3


def test_blow_with_a_warning_is_passed_over(table):
    assert choose_blow(table, "restrike", (finding("warning", 1), finding("reject", 2), finding("note", 3))).blow == 3


def test_where_all_carry_warnings_one_is_taken_and_it_is_said(table):
    chosen = choose_blow(table, "restrike", (finding("warning", *range(1, BLOWS + 1)), finding("reject", 1)))
    assert chosen.blow == 2
    assert "invented check" in chosen.reasons[0]


def test_where_all_are_rejected_none_stands(table):
    assert choose_blow(table, "initial", (finding("reject", *range(1, BLOWS + 1)),)) is None


@pytest.mark.parametrize(("column", "other"), [("set_per_blow", 0.02), ("final_displacement", np.nan)])
def test_small_movement_makes_a_lower_bound(table, column, other):
    table["set_per_blow"] = other
    table[column] = 0.001
    chosen = choose_blow(table, "restrike")
    assert chosen.lower_bound
    assert "lower bound" in chosen.reasons[-1]
    assert not choose_blow(table.assign(**{column: 0.008}), "restrike").lower_bound


def test_without_a_damping_factor_the_total_is_compared(table):
    table["case_resistance"] = np.nan
    chosen = choose_blow(table, "initial")
    assert any("total resistance" in reason for reason in chosen.reasons)


def test_short_drives_have_their_blow(table):
    assert choose_blow(table.head(1), "initial").blow == 1
    assert choose_blow(table.head(1).assign(transferred_energy=np.nan, case_resistance=np.nan), "restrike").blow == 1


def test_rule_says_its_numbers(table):
    for kind, words in (("initial", "last 10 sound blows"), ("restrike", "first 5 sound blows")):
        assert words in choose_blow(table, kind).rule


def test_rounding_does_not_choose_between_the_two_in_the_middle(table):
    """Two blows are as near to the middle of them; the later one is taken, whatever the last digits say."""
    last = table.tail(2)
    for digits in (1e-10, -1e-10):
        near = last.assign(case_resistance=[1e6, 1.1e6 * (1.0 + digits)])
        assert choose_blow(near, "initial").blow == BLOWS
