"""A new test begins with a sheet that names every key there is, and with tables that only want filling."""

import csv
import io
import re
import tomllib
from typing import get_args

import pandas as pd
import pytest
from pydantic import BaseModel

from dyntest import cli
from dyntest.errors import InputError
from dyntest.presenting.inspection import blank_files
from dyntest.reading.production_log import read_pile_table, read_production_log
from dyntest.reading.schema import SheetModel
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals


@pytest.fixture
def blank(tmp_path):
    for name, content in blank_files().items():
        (tmp_path / name).write_bytes(content)
    return tmp_path


def tables_of(model):
    """A model and every model inside its fields."""
    yield model
    for field in model.model_fields.values():
        waiting = [field.annotation]
        while waiting:
            kind = waiting.pop()
            waiting += get_args(kind)
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                yield from tables_of(kind)


def test_every_key_that_a_sheet_may_have_is_in_the_blank_one():
    text = blank_files()["sheet.toml"].decode()
    written = set(re.findall(r"^(?:# )?(\w+) =", text, flags=re.MULTILINE))
    written |= {
        part for name in re.findall(r"^(?:# )?\[+([\w.]+)\]+", text, flags=re.MULTILINE) for part in name.split(".")
    }
    weight_instead = {"ram_mass"}  # stands in the remark of ram_weight
    assert {key for model in tables_of(SheetModel) for key in model.model_fields} - weight_instead <= written


def test_every_commented_line_of_the_sheet_is_toml():
    text = blank_files()["sheet.toml"].decode()
    for line in re.findall(r"^# (\w+ = .*)$", text, flags=re.MULTILINE):
        tomllib.loads(line)


def test_the_blank_sheet_reads_with_records_in_place(blank, small_test):
    assert read_sheet(blank / "sheet.toml").pile.section == "HP12x53"
    records = pd.read_parquet(small_test.parent / "initial.parquet")
    header = (blank / "initial.csv").read_text().strip().split(",")
    records = records.assign(**{"clock [s]": records["blow"].astype(float)})
    records[header].to_csv(blank / "initial.csv", index=False)
    sheet = read_sheet(blank / "sheet.toml")
    assert read_signals(sheet, sheet.drives[0]).n_blows == 12


def test_unfilled_records_are_one_message(blank, capsys):
    with pytest.raises(SystemExit) as left:
        cli.main(["review", str(blank / "sheet.toml")])
    assert left.value.code == 1
    assert "initial.csv" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "read", "row"),
    [
        ("production_log.csv", read_production_log, "7,0,10,25,6.5,2026-05-11,"),
        ("piles.csv", read_pile_table, "7,100,80,60,0"),
    ],
)
def test_tables_read_once_they_have_a_row(blank, name, read, row):
    with pytest.raises(InputError):
        read(blank / name)
    header = (blank / name).read_text()
    assert len(next(csv.reader(io.StringIO(header)))) == row.count(",") + 1
    (blank / name).write_text(header + row + "\n")
    assert read(blank / name).pile[0] == "7"


def test_new_lays_files_out_and_never_replaces_one(tmp_path, capsys):
    for status in (None, 1):
        (tmp_path / "new" / "piles.csv").unlink(missing_ok=True)
        try:
            left = cli.main(["new", str(tmp_path / "new")])
        except SystemExit as stop:
            left = stop.code
        assert left == status
    assert "already exists" in capsys.readouterr().err
    assert {path.name for path in (tmp_path / "new").iterdir()} == set(blank_files()) - {"piles.csv"}
