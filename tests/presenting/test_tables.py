"""The CSV of blows: units in its header, the same bytes each time, nothing a spreadsheet would run."""

import csv
import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.names import NAMES
from dyntest.presenting.sentences import energy_share
from dyntest.presenting.tables import NOT_APPLICABLE, blows_csv, negative_notes, neutral, representative_numbers


def read(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode())))


def test_a_case_resistance_below_zero_is_not_applicable_and_says_why(small_review):
    codes = ("case_resistance_toe_at_rest", "case_resistance_maximum", "set_per_blow")
    drive = small_review.drives[0]
    table = drive.table.assign(case_resistance_toe_at_rest=-2e5)
    told = representative_numbers([replace(drive, table=table)], codes, "SI")
    assert told["case_resistance_toe_at_rest"] == (NOT_APPLICABLE,)
    assert told["case_resistance_maximum"] != (NOT_APPLICABLE,)
    (why,) = negative_notes(told)
    assert why.startswith(NAMES["case_resistance_toe_at_rest"].words) and "shaft unloads" in why


def test_headers_carry_units_and_missing_numbers_are_empty():
    table = pd.DataFrame({"blow": [1, 2], "peak_force": [1.5e6, np.nan], "energy_ratio": [0.4, 0.5]})
    assert read(blows_csv(table)) == [
        ["blow", "peak_force [N]", "energy_ratio"],
        ["1", "1500000", "0.4"],
        ["2", "", "0.5"],
    ]


@pytest.mark.parametrize("system", ["SI", "US"])
def test_an_energy_ratio_is_a_ratio_in_files_and_percent_to_a_reader(small_review, system):
    table = pd.DataFrame({"blow": [1], "energy_ratio": [0.42], "energy_ratio_stroke": [0.5]})
    assert read(blows_csv(table, system)) == [["blow", "energy_ratio", "energy_ratio_stroke"], ["1", "0.42", "0.5"]]
    drive = small_review.drives[0]
    drive = replace(drive, table=drive.table.assign(energy_ratio=0.42))
    assert representative_numbers([drive], ["energy_ratio"], system)["energy_ratio"] == ("42 %",)
    assert energy_share(drive).startswith("42 % of ")  # the sentence has the form of the table


def test_a_column_without_a_name_in_the_table_of_names_is_an_error():
    with pytest.raises(KeyError):
        blows_csv(pd.DataFrame({"no_such_name": [1.0]}))


def test_every_name_has_a_header():
    table = pd.DataFrame({code: [1.0] for code in NAMES})
    header = read(blows_csv(table))[0]
    assert [name.split(" [")[0] for name in header] == list(NAMES)


def test_numbers_keep_nine_digits():
    assert read(blows_csv(pd.DataFrame({"peak_force": [1234567.891234]})))[1] == ["1234567.89"]


@given(st.text(max_size=8))
def test_no_text_begins_like_a_formula(text):
    assert not neutral(text).startswith(("=", "+", "-", "@", "\t", "\r"))
    assert neutral(text).endswith(text)


def test_text_in_a_table_is_made_harmless_and_numbers_are_not():
    table = pd.DataFrame({"blow": [1], "stroke": ["=cmd()"], "final_displacement": [-0.001]})
    assert read(blows_csv(table))[1] == ["1", "'=cmd()", "-0.001"]


def test_the_table_given_is_not_changed():
    table = pd.DataFrame({"blow": [1], "stroke": ["=cmd()"]})
    before = table.copy(deep=True)
    blows_csv(table)
    pd.testing.assert_frame_equal(table, before)
