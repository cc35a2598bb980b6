"""The sheet as a form: what may be typed, and what is written into the text of a sheet."""

import tomllib

import pytest

from dyntest.errors import InputError
from dyntest.reading.form import TABLES, FormField, field_toml, form_fields, typed_values, with_values, without_tables
from dyntest.reading.schema import SheetModel


def fields(table: str) -> dict[str, FormField]:
    return {one.key: one for one in form_fields(table)}


@pytest.mark.parametrize("table", ["test", "pile", "hammer", "requirement", "soil"])
def test_every_plain_key_of_the_schema_is_a_field(table):
    model = SheetModel.model_fields[table].annotation
    model = next((one for one in getattr(model, "__args__", (model,)) if hasattr(one, "model_fields")), model)
    assert set(model.model_fields) - set(fields(table)) <= {"part", "layer"}


@pytest.mark.parametrize("table", TABLES)
def test_every_example_can_be_typed(table):
    for field in form_fields(table):
        assert not field.example or field_toml(field, field.example)


def test_an_example_is_of_its_own_field():
    of = {(table, field.key): field.example for table in ("pile", "requirement") for field in form_fields(table)}
    assert of["pile", "tip_reinforcement"] == "6 in"
    assert of["requirement", "safety_factor"] == "2.25"
    assert fields("drive")["start"].example < fields("drive")["end"].example  # of one drive


@pytest.mark.parametrize(
    ("table", "key", "typed", "written"),
    [
        ("pile", "length_below_gauges", "53 ft", '"53 ft"'),
        ("pile", "section", "HP14x89", '"HP14x89"'),
        ("hammer", "ram_weight", "4 kip", '"4 kip"'),
        ("requirement", "redundant", "yes", "true"),
        ("requirement", "damping_factor", "0,5", "0.5"),
        ("drive", "start", "2026-05-04 13:05", "2026-05-04T13:05:00"),
        ("drive", "first_blow", "612", "612"),
    ],
)
def test_what_is_typed_becomes_toml(table, key, typed, written):
    assert field_toml(fields(table)[key], typed) == written


@pytest.mark.parametrize(
    ("table", "key", "typed"),
    [
        ("pile", "length_below_gauges", "53"),
        ("pile", "length_below_gauges", "53 kip"),
        ("pile", "section", "HP99x1"),
        ("pile", "material", "stone"),
        ("requirement", "damping_factor", "much"),
        ("requirement", "damping_factor", "7"),
        ("drive", "start", "yesterday"),
        ("test", "pile", 'P1"\nx = 1'),
    ],
)
def test_what_cannot_be_is_told_with_its_field(table, key, typed):
    with pytest.raises(InputError) as told:
        field_toml(fields(table)[key], typed)
    assert key.replace("_", " ") in str(told.value) or "section" in str(told.value)


SHEET = """# mine
[pile]
section = "HP12x53"  # driven
# total_length = "60 ft"           # head to toe

[[drive]]
kind = "initial"
[[drive]]
kind = "restrike"   # second
"""


def test_only_what_is_changed_changes():
    text = with_values(SHEET, "pile", {"section": '"HP14x89"', "total_length": '"70 ft"', "area": '"1 m^2"'})
    assert text.startswith("# mine\n[pile]\n") and '"HP14x89"  # driven' in text
    assert 'total_length = "70 ft"  # head to toe' in text
    assert tomllib.loads(text)["drive"] == tomllib.loads(SHEET)["drive"]
    assert tomllib.loads(text)["pile"] == {"section": "HP14x89", "total_length": "70 ft", "area": "1 m^2"}
    second = with_values(SHEET, "drive", {"log": '"log.csv"'}, 1)
    assert tomllib.loads(second)["drive"][1] == {"kind": "restrike", "log": "log.csv"} and "# second" in second
    assert with_values(SHEET, "pile", {}) == SHEET
    assert typed_values(text, "pile")["total_length"] == "70 ft"


def test_a_table_that_is_not_there_is_written_at_the_end():
    text = with_values(SHEET, "soil", {"shaft": '"clay"'})
    assert text.startswith(SHEET) and tomllib.loads(text)["soil"] == {"shaft": "clay"}
    assert "drive" not in tomllib.loads(without_tables(SHEET, "drive"))


def test_what_cannot_be_changed_safely_is_refused():
    with pytest.raises(InputError):
        with_values('pile = { section = "HP12x53" }\n', "pile", {"section": '"HP14x89"'})
