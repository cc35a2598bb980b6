"""Every key of ``[records]``, ``[log]``, a drive and a structure's file, spoilt in every way: one message each.

A review, following and a structure come through these doors to a recorder's and an inspector's own files.
"""

from itertools import islice

import numpy as np
import pytest

from dyntest.errors import InputError
from dyntest.following.follow import Follower
from dyntest.reading.logs import read_driving_log
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals
from dyntest.reading.structure_sheet import read_structure

FILES = """[records]
format = "text"
skip_lines = 1
delimiter = "semicolon"
decimal = ","
sample_rate = "20 kHz"
blows = "column"
[records.channels.blow]
column = "No"
[records.channels.strain_1]
column = "CH1"
unit = "µm/m"
factor = 1.5
positive = "tension"
[records.channels.strain_2]
column = 3
unit = "µm/m"
[records.channels.acceleration_1]
column = "CH3"
unit = "g"
positive = "up"
[records.channels.acceleration_2]
column = "CH4"
unit = "g"
[log]
format = "text"
skip_lines = 1
delimiter = "comma"
decimal = "."
dates = "month first"
cumulative = true
depth_to = { column = "Depth", unit = "ft" }
blows = { column = "Total" }
stroke = { column = "Drop", unit = "ft" }
date = { column = "Day" }
[[drive]]
kind = "initial"
signals = "drive.txt"
log = "inspector.csv"
start = 2026-05-04T13:05:00
end = 2026-05-04T14:10:00
penetration_at_start = "10 m"
first_blow = 12
"""
"""What a test sheet says of its files."""

LOG = "Pile 7\nDepth,Total,Drop,Day\n34,12,3.5,05/04/2026\n35,31,3.5,05/04/2026\n"

STRUCTURE = """format = 1
[structure]
name = "Invented bridge"
display_units = "US"
reference_system = "EPSG:26917"
[[group]]
name = "Pier 2"
tests = ["sheet.toml"]
production_log = "log.csv"
piles = "piles.csv"
"""

SPOILT = {
    "a number": "7",
    "a fraction": "0.5",
    "minus one": "-1",
    "an enormous number": "10000000000000000000000",
    "another word": '"seven"',
    "nothing": '""',
    "blanks": '"  "',
    "a list": "[7]",
    "an empty list": "[]",
    "a list of texts": '["a", "a"]',
    "a table": "{ a = 1 }",
    "true": "true",
    "a date": "2026-02-03",
    "a time of day": "13:05:00",
    "not a number": "nan",
    "infinite": "inf",
    "a long text": '"' + "x" * 3000 + '"',
    "an order to the terminal": '"a\\u001b[2Jb"',
    "two lines": '"a\\nb"',
    "a way out": '"../../elsewhere/x.csv"',
    "a whole path": '"/dev/null"',
    "a value of another kind": '"12 kPa"',
    "a value without a unit": '"12"',
    "no value": "",
}
"""What stands in the place of a value."""


def spoilt(text: str):
    """Every way in which one key is spoilt: the case's name and the text."""
    lines = text.splitlines()
    for place, line in enumerate(lines):
        key, given, _ = line.partition(" = ")
        if not given:
            continue
        where = next(line for line in reversed(lines[: place + 1]) if line.startswith("[") or place == 0)
        changes = {f"{how}": [f"{key} = {value}"] for how, value in SPOILT.items()}
        changes |= {"misspelt": [f"{key}x{line[len(key) :]}"], "twice": [line] * 2}
        for how, new in changes.items():
            yield f"{where} {key}: {how}", "\n".join([*lines[:place], *new, *lines[place + 1 :]]) + "\n"


SOUND = {
    "[records.channels.strain_1] factor": {"a number", "a fraction", "minus one"},
    "[log] cumulative": {"true"},
    "[[drive]] first_blow": {"a number"},
    "[structure] name": {"another word", "a long text", "a way out", "a whole path"},
    "[[group]] name": {"another word", "a long text", "a way out", "a whole path"},
    "[structure] reference_system": {"another word", "a long text", "a way out", "a whole path", "nothing", "blanks"},
}
"""What is no fault: a name may be any words, a factor any number."""
WORDS = {"a value of another kind", "a value without a unit"}


def is_sound(case: str) -> bool:
    key, how = case.split(": ")
    named = key.endswith(" name") or key.endswith("reference_system")
    return how in SOUND.get(key, ()) or (named and how in WORDS)


CASES = [
    (name, text, door)
    for door, good in (("sheet.toml", FILES), ("structure.toml", STRUCTURE))
    for name, text in spoilt(good)
    if not is_sound(name)
]


@pytest.fixture(scope="module")
def laid_out(tmp_path_factory):
    """A folder with a recorder's file, an inspector's log, and the files of a structure."""
    folder = tmp_path_factory.mktemp("doors") / "P7"
    folder.mkdir()
    pulse = np.exp(-(((np.arange(400) - 100) / 20.0) ** 2))
    rows = [(n, -533 * v, 800 * v, -300 * v, 300 * v) for n in (12, 13) for v in pulse]
    lines = (";".join(f"{value:.6g}" for value in row).replace(".", ",") for row in rows)
    (folder / "drive.txt").write_text("\n".join(["Recorder 17", "No;CH1;CH2;CH3;CH4", *lines, ""]))
    (folder / "inspector.csv").write_text(LOG)
    for name in ("log.csv", "piles.csv"):
        (folder / name).write_text("invented\n")
    return folder


@pytest.fixture
def put(laid_out, plain_sheet):
    """Write what a door reads: the parts of a test sheet that speak of files, or a structure's file."""

    def write(door, text):
        (laid_out / door).write_text(plain_sheet(text, pile="P7") if door == "sheet.toml" else text)

    return write


def through(folder, door):
    """Go through a door as far as its own files are read."""
    if door == "structure.toml":
        read_structure(folder / door)
        return
    sheet = read_sheet(folder / door)
    drive = sheet.drives[0]
    read_signals(sheet, drive)
    read_driving_log(drive.log, sheet.log_layout, start=drive.penetration_at_start)
    Follower(read_sheet(folder / door, recorded=False), drive)


def all_refused(folder, put, cases) -> int:
    """Check that each case is refused in one line with file, problem and cure; give how many messages differ."""
    told = set()
    for name, text, door in cases:
        put("sheet.toml", FILES)
        put(door, text)
        before = {path.name: path.stat().st_mtime_ns for path in folder.rglob("*")}
        with pytest.raises(InputError) as caught:
            through(folder, door)
            pytest.fail(f"{name} is accepted")
        message, error = str(caught.value), caught.value
        assert message.isprintable() and len(message) < 600, name
        assert error.problem and error.cure and error.source.startswith("P7/"), message
        assert "function-" not in message and "Input should" not in message, message  # words of a library
        if error.source == f"P7/{door}":
            assert error.place, message
        assert {path.name: path.stat().st_mtime_ns for path in folder.rglob("*")} == before, name
        told.add(message)
    return len(told)


def test_the_good_files_come_through(laid_out, put):
    for door, text in (("sheet.toml", FILES), ("structure.toml", STRUCTURE)):
        put(door, text)
        through(laid_out, door)


def test_two_readings_of_one_column_are_refused(laid_out, put):
    twice = FILES.replace('{ column = "Total" }', '{ column = "Depth" }')
    assert all_refused(laid_out, put, [("[log] blows: the column of depths", twice, "sheet.toml")]) == 1


def test_some_of_what_is_spoilt_is_one_message_each(laid_out, put):
    some = list(islice(CASES, 0, None, 13))
    assert all_refused(laid_out, put, some) > 0.8 * len(some)


@pytest.mark.sweep
def test_everything_that_is_spoilt_is_one_message_each(laid_out, put):
    assert len(CASES) > 1000
    assert all_refused(laid_out, put, CASES) > 0.6 * len(CASES)
