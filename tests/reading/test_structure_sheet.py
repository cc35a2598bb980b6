"""A structure's file: what it names, and one message for what cannot be."""

import pytest

from dyntest.errors import InputError
from dyntest.reading.structure_sheet import read_structure

GOOD = """format = 1
[structure]
name = "Invented bridge"
display_units = "US"
[[group]]
name = "Pier 2"
tests = ["a/sheet.toml", "b/sheet.toml"]
production_log = "log.csv"
piles = "piles.csv"
[[group]]
name = "Pier 3"
tests = ["b/sheet.toml"]
"""


@pytest.fixture
def folder(tmp_path):
    for name in ("a/sheet.toml", "b/sheet.toml", "log.csv", "piles.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("invented\n")
    return tmp_path


def read(folder, text):
    (folder / "structure.toml").write_text(text)
    return read_structure(folder / "structure.toml")


def test_groups_and_files(folder):
    found = read(folder, GOOD)
    assert (found.name, found.display_units, found.reference_system) == ("Invented bridge", "US", "")
    assert [group.name for group in found.groups] == ["Pier 2", "Pier 3"]
    assert found.tests == (folder / "a/sheet.toml", folder / "b/sheet.toml")
    assert found.inputs == (folder / "structure.toml", folder / "log.csv", folder / "piles.csv")
    assert found.groups[1].production_log is None


@pytest.mark.parametrize(
    ("old", "new", "place", "told"),
    [
        ('"b/sheet.toml"]\nprod', '"a/sheet.toml"]\nprod', "[[group]] 1 tests", "2 times"),
        ('"a/sheet.toml", "b/sheet.toml"', "", "[[group]] 1 tests", "empty"),
        ('tests = ["b/sheet.toml"]\n', "", "[[group]] 2 tests", "missing"),
        ('"Pier 3"', '"Pier 2"', "[[group]] name", "2 times"),
        ('"log.csv"', '"none.csv"', "[[group]] 1 production_log", "not there"),
        ('"log.csv"', '"../log.csv"', "[[group]] 1 production_log", "leaves"),
        ('production_log = "log.csv"\n', "", "[[group]] 1 piles", "without production_log"),
        ('name = "Invented bridge"\n', "", "[structure] name", "missing"),
        ("piles =", "pile =", "[[group]] 1 pile", "not a key"),
        ("format = 1", "format = 2", "format", "not a format"),
        ('"US"', '"metric"', "[structure] display_units", "not allowed"),
    ],
)
def test_what_cannot_be_gets_one_message(folder, old, new, place, told):
    assert old in GOOD
    with pytest.raises(InputError) as caught:
        read(folder, GOOD.replace(old, new, 1))
    message = str(caught.value)
    assert place in message and told in message and "structure.toml" in message
    assert "\n" not in message


@pytest.mark.parametrize("again", ["log.csv", "./log.csv", "a/../log.csv"])
def test_a_log_of_two_groups_is_refused(folder, again):
    with pytest.raises(InputError, match=r"production_log"):
        read(folder, GOOD + f'production_log = "{again}"\n')


def test_logs_of_one_name_in_two_folders_are_two_logs(folder):
    for name in ("a/log.csv", "b/log.csv", "b/piles.csv"):
        (folder / name).write_text("invented\n")
    text = GOOD.replace('"log.csv"', '"a/log.csv"') + 'production_log = "b/log.csv"\npiles = "b/piles.csv"\n'
    found = read(folder, text)
    assert [group.production_log for group in found.groups] == [folder / "a/log.csv", folder / "b/log.csv"]
