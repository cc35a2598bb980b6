import io
import json
from dataclasses import replace

import pandas as pd
import pytest

from dyntest.presenting.decision_words import _WORDS
from dyntest.presenting.structure_files import KIND_WORDS, survey_files, survey_lines
from dyntest.reading.files import program
from dyntest.reviewing.pile_result import pile_result
from dyntest.reviewing.survey import COLUMNS, COUNTS, KEPT_FORMAT, NUMBERS, TEXTS, PileRecord, keep_record, kept_records


@pytest.fixture
def record(small_review):
    """Give the record of a pile with made-up numbers in its row and a true result."""
    result = pile_result(small_review)

    def make(sheet="a/sheet.toml", **values):
        row = dict.fromkeys(COLUMNS) | dict.fromkeys(TEXTS, "text") | dict.fromkeys(COUNTS, 2)
        row |= dict.fromkeys(NUMBERS, 1.5) | {"sheet": sheet, "wait": None} | values
        return PileRecord(sheet, {"sheet.toml": "ab"}, "best", program(), row, "", result)

    return make


FAILED = PileRecord("b/sheet.toml", {}, "best", program(), None, "its log is empty")


def test_three_forms_of_one_table(record):
    files = survey_files([record(pile="=1+1", peak_gauge_stress=2.5e8), FAILED])
    assert files == survey_files([record(pile="=1+1", peak_gauge_stress=2.5e8), FAILED])
    csv, parquet = pd.read_csv(io.BytesIO(files["piles.csv"])), pd.read_parquet(io.BytesIO(files["piles.parquet"]))
    assert list(csv.columns) == list(parquet.columns)
    for table in (csv, parquet):
        assert table["peak_gauge_stress [Pa]"].tolist()[0] == 2.5e8
        assert table["peak_gauge_stress [Pa]"].isna().tolist() == [False, True]
        assert table["problem"].tolist()[1] == "its log is empty"
        assert table["blows"].tolist()[0] == 2
    assert csv["pile"][0] == "'=1+1"  # a spreadsheet must not run it
    assert parquet["pile"][0] == "=1+1"
    said = json.loads(files["piles.json"])
    assert said["failures"] == [{"sheet": "b/sheet.toml", "problem": "its log is empty"}]
    assert said["piles"][0]["wait"] is None
    assert said["units"]["peak_gauge_stress"] == "Pa"


def test_piles_of_one_name_are_told_apart_by_their_sheets(record):
    head, *lines = survey_lines([record(pile="P1"), record("c/sheet.toml", pile="P1"), record("d/s.toml", pile="P2")])
    assert [line.split("  ")[0] for line in lines[:3]] == ["P1 (a/sheet.toml)", "P1 (c/sheet.toml)", "P2"]
    assert head.startswith("pile") and "  - P1 (c/sheet.toml): alerts: text" in lines
    assert "  - P2: no criterion: text" in lines


def test_a_survey_without_matches_says_so_in_words(record):
    """ "no criterion: no matched soil" was a name out of the code."""
    lines = survey_lines([record(pile="P1", criterion_problem="no matched soil", alerts="damage; text")])
    assert f"  - P1: no criterion: {KIND_WORDS['no matched soil']}" in lines
    assert f"  - P1: alerts: {KIND_WORDS['damage']}; text" in lines
    assert set(KIND_WORDS) <= set(_WORDS)


def test_what_is_kept_comes_back_as_it_was(tmp_path, record):
    kept = [record("deep/er/sheet.toml"), record("deep_er/sheet.toml"), record("Pfahl №7/лист.toml")]
    for one in kept:
        keep_record(tmp_path, one)
    found = kept_records(tmp_path, [one.sheet for one in kept] + ["new/sheet.toml"])
    assert list(found.values()) == kept


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: text[:100],
        lambda text: "",
        lambda text: "[1]",
        lambda text: text.replace(f'"format": {KEPT_FORMAT}', '"format": 1'),
        lambda text: text.replace("1.5", "NaN", 1),
        lambda text: text.replace("1.5", '"1.5"', 1),
        lambda text: text.replace('"blows": 2,', ""),
        lambda text: text.replace("a/sheet.toml", "c/sheet.toml", 1),
        lambda text: text.replace('"inputs": {', '"inputs": 3, "x": {'),
        lambda text: "[" * 100000,
    ],
)
def test_a_damaged_file_is_as_if_it_were_not_there(tmp_path, spoil, record):
    keep_record(tmp_path, record())
    assert kept_records(tmp_path, ["a/sheet.toml"])
    (path,) = (tmp_path / "piles").iterdir()
    path.write_text(spoil(path.read_text()))
    assert kept_records(tmp_path, ["a/sheet.toml"]) == {}


def test_a_kept_pile_is_replaced_whole(tmp_path, record):
    keep_record(tmp_path, record())
    keep_record(tmp_path, replace(record(), match="none"))
    assert kept_records(tmp_path, ["a/sheet.toml"])["a/sheet.toml"].match == "none"
    assert len(list((tmp_path / "piles").iterdir())) == 1
