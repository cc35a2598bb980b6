from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from dyntest.conditioning.judging import Finding
from dyntest.quantities.representative import FULL_ENERGY, representative_blow

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
    return Finding("invented check", severity, blows, 1.0, 0.0)


def test_end_of_the_initial_drive_takes_the_middle_resistance_of_the_last_ten(table):
    assert representative_blow(table, "initial").blow in (35, 36)


def test_weak_blows_do_not_stand_for_a_drive(table):
    table.loc[30:, "transferred_energy"] = 0.5 * 30e3
    table.loc[[34, 37], "transferred_energy"] = 30e3
    assert representative_blow(table, "initial").blow in (35, 38)


def test_restrike_takes_the_earliest_with_full_energy(table):
    assert representative_blow(table, "restrike").blow == 1
    table.loc[:1, "transferred_energy"] = (FULL_ENERGY - 0.05) * 30e3
    assert representative_blow(table, "restrike").blow == 3


def test_blow_with_a_warning_is_passed_over(table):
    assert (
        representative_blow(table, "restrike", (finding("warning", 1), finding("reject", 2), finding("note", 3))).blow
        == 3
    )


def test_where_all_carry_warnings_one_is_taken_and_it_is_said(table):
    chosen = representative_blow(table, "restrike", (finding("warning", *range(1, BLOWS + 1)), finding("reject", 1)))
    assert chosen.blow == 2
    assert chosen.warned == ("invented check",)


def test_where_all_are_rejected_none_stands(table):
    assert representative_blow(table, "initial", (finding("reject", *range(1, BLOWS + 1)),)) is None


@pytest.mark.parametrize(("column", "other"), [("set_per_blow", 0.02), ("final_displacement", np.nan)])
def test_small_movement_makes_a_lower_bound(table, column, other):
    table["set_per_blow"] = other
    table[column] = 0.001
    chosen = representative_blow(table, "restrike")
    assert chosen.lower_bound
    assert not representative_blow(table.assign(**{column: 0.008}), "restrike").lower_bound


def test_without_a_damping_factor_the_total_is_compared(table):
    table["case_resistance"] = np.nan
    chosen = representative_blow(table, "initial")
    assert chosen.middle_of == "total_resistance"


def test_short_drives_have_their_blow(table):
    assert representative_blow(table.head(1), "initial").blow == 1
    assert (
        representative_blow(table.head(1).assign(transferred_energy=np.nan, case_resistance=np.nan), "restrike").blow
        == 1
    )


def test_rounding_does_not_choose_between_the_two_in_the_middle(table):
    """Two blows are as near to the middle of them; the later one is taken, whatever the last digits say."""
    last = table.tail(2)
    for digits in (1e-10, -1e-10):
        near = last.assign(case_resistance=[1e6, 1.1e6 * (1.0 + digits)])
        assert representative_blow(near, "initial").blow == BLOWS


def test_a_warning_that_is_but_a_note_for_the_drive_is_passed_over_too(table):
    few = replace(finding("note", 1), at_blow="warning")
    assert representative_blow(table, "restrike", (few,)).blow == 2
