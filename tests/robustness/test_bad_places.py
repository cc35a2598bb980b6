"""Names of files that lead astray, and things in the place of files: none is read, none makes a run hang."""

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from dyntest.reading import files

NAMES = {
    # a name of a signals file as TOML, and what the line must say
    "above the folder": ('"../initial.csv"', "leaves"),
    "above the folder and back": ('"../P3-1/../other/initial.csv"', "leaves"),
    "far above": ('"' + "../" * 40 + 'etc/passwd"', "leaves"),
    "through a folder that is not there": ('"x/../../initial.csv"', "leaves"),
    "absolute": ('"/etc/passwd"', "leaves"),
    "a home folder": ('"~/initial.csv"', "is not there"),
    "a variable": ('"$HOME/initial.csv"', "is not there"),
    "a command": ('"initial.csv; rm -rf x"', "is not there"),
    "a drive letter": ("'D:initial.csv'", "leaves"),
    "a share of a network": ("'\\\\host\\share\\initial.csv'", "leaves"),
    "an address": ('"https://example.org/initial.csv"', "is not there"),
    "an address of a file": ('"file:///etc/passwd"', "is not there"),
    "a folder": ('"folder"', "folder"),
    "the folder itself": ('"."', "folder"),
    "empty": ('""', "signals"),
    "blanks": ('"   "', "signals"),
    "a null character": ('"initial.csv\\u0000.parquet"', "signals"),
    "a terminal escape": ('"\\u001b[2Jinitial.csv"', "signals"),
    "a line break": ('"initial\\n.csv"', "signals"),
    "a reversed writing direction": ('"initial\\u202evsc.exe"', "signals"),
    "four thousand letters": ('"' + "a" * 4000 + '.csv"', "signals"),
    "two hundred folders": ('"' + "a/" * 200 + 'b.csv"', "signals"),
    "a pattern of stars without end": ('"' + "*" * 40 + 'x"', "signals"),
    "a pattern through all folders": ('"**/**/**/*.xyz"', "signals"),
    "a pattern above": ('"../*.csv"', "leaves"),
    "an absolute pattern": ('"/etc/*"', "leaves"),
    "an open bracket": ('"initial[.csv"', "signals"),
    "a pattern that finds the log too": ('"*.csv"', "P3-1/"),
    "the log": ('"log.csv"', "log.csv"),
    "the sheet": ('"sheet.toml"', "sheet.toml"),
    "a text": ('"notes.txt"', "notes.txt"),
    "an ending in capitals that is none": ('"INITIAL.CSV.BAK"', "is not there"),
    "one that is not there": ('"inital.csv"', "is not there"),
    "one of a list that is not there": ('["initial.csv", "more.csv"]', "more.csv"),
    "twice": ('["initial.csv", "./initial.csv"]', "more than once"),
    "a number in a list": ('["initial.csv", 2]', "signals"),
    "a list in a list": ('[["initial.csv"]]', "signals"),
    "a table": ('{file = "initial.csv"}', "signals"),
}


@pytest.mark.parametrize("case", NAMES)
def test_a_name_that_leads_astray(folder, review_refused, case):
    name, needle = NAMES[case]
    (folder / "folder").mkdir()
    (folder / "notes.txt").write_text("notes")
    sheet = folder / "sheet.toml"
    sheet.write_text(sheet.read_text().replace('"initial.csv"', name))
    review_refused("P3-1/", needle)


@pytest.mark.parametrize("name", ['"../log.csv"', '"/etc/passwd"', '"folder"', '""', '"no.csv"', '"*.csv"', "5"])
def test_a_name_of_a_log_that_leads_astray(folder, review_refused, name):
    (folder / "folder").mkdir()
    sheet = folder / "sheet.toml"
    sheet.write_text(sheet.read_text().replace('"log.csv"', name))
    review_refused("P3-1/sheet.toml, [[drive]] 1 log")


def pipe(path):
    os.mkfifo(path)


def plug(path):
    here = Path.cwd()
    os.chdir(path.parent)  # a socket's address must be short
    try:
        with socket.socket(socket.AF_UNIX) as bound:
            bound.bind(path.name)
    finally:
        os.chdir(here)


def link(target):
    return lambda path: path.symlink_to(target)


THINGS = {
    "a folder": lambda path: path.mkdir(),
    "a named pipe": pipe,
    "a socket": plug,
    "a link to a device without end": link("/dev/zero"),
    "a link to a device of chance": link("/dev/urandom"),
    "a link to nothing": link("nowhere"),
    "a link to itself": lambda path: path.symlink_to(path.name),
    "a link to the folder above": link(".."),
    "a link to a file of the system": link("/etc/hostname"),
    "a link to what the system tells": link("/proc/self/status"),
    "zero bytes": lambda path: path.write_bytes(b""),
    "a hole of a terabyte": lambda path: os.truncate(os.open(path, os.O_CREAT | os.O_WRONLY), 10**12),
}


@pytest.mark.parametrize("thing", THINGS)
@pytest.mark.parametrize("name", ["sheet.toml", "initial.csv", "log.csv"])
def test_a_thing_in_the_place_of_a_file(folder, review_refused, name, thing):
    (folder / name).unlink()
    THINGS[thing](folder / name)
    review_refused("P3-1/")


@pytest.mark.parametrize("thing", THINGS)
def test_a_thing_in_the_place_of_a_production_log(folder, refused, thing):
    (folder / "production.csv").unlink()
    THINGS[thing](folder / "production.csv")
    refused("check", folder / "sheet.toml", folder / "production.csv", needles=["P3-1/production.csv"])


@pytest.mark.parametrize("name", ["initial.parquet", "initial.csv.gz"])
def test_a_hole_in_the_place_of_packed_records(folder, review_refused, name):
    sheet = folder / "sheet.toml"
    sheet.write_text(sheet.read_text().replace("initial.csv", name))
    with (folder / name).open("wb") as file:
        file.truncate(10**12)
    review_refused(f"P3-1/{name}")


@pytest.mark.parametrize("name", ["sheet.toml", "initial.csv", "log.csv"])
def test_a_file_that_may_not_be_read(folder, without_privilege, one_line, name):
    (folder / name).chmod(0)
    status, out, err = without_privilege("review", folder / "sheet.toml", "--match", "none")
    assert (status, out) == (1, "")
    one_line(err, [f"P3-1/{name}", "cannot be read"])


READ_ONLY = {
    "review": ("review", "P3-1/sheet.toml", "--match", "none"),
    "survey": ("survey", ".", "--match", "none"),
    "follow": ("follow", "P3-1/sheet.toml", "--every", "0"),
    "new": ("new", "P3-1/another"),
}


@pytest.mark.parametrize("command", READ_ONLY)
def test_a_folder_that_may_not_be_written_to(folder, without_privilege, one_line, command, monkeypatch):
    monkeypatch.chdir(folder.parent)
    before = sorted(folder.parent.rglob("*"))
    folder.chmod(0o555)
    folder.parent.chmod(0o555)
    try:
        status, out, err = without_privilege(*READ_ONLY[command])
    finally:
        folder.parent.chmod(0o755)
    assert (status, out.replace("Following initial", "")) == (1, "")
    one_line(err, ["cannot be written to"])
    assert sorted(folder.parent.rglob("*")) == before


def test_a_folder_of_a_survey_that_may_not_be_read(folder, tmp_path, without_privilege, one_line):
    (folder.parent / "P3-2").mkdir(mode=0)
    status, out, err = without_privilege("survey", folder.parent, "--match", "none", "--out", tmp_path / "out")
    assert (status, out) == (1, "")
    one_line(err, ["P3-2", "cannot be read"])
    assert not (tmp_path / "out").exists()


OUT = {
    "a file": lambda path: path.write_text("mine"),
    "a pipe": pipe,
    "a link to nothing": link("nowhere/at/all"),
    "a link to itself": lambda path: path.symlink_to(path.name),
    "a link to a file": link("sheet.toml"),
    "a folder in the place of a result": lambda path: (path / "summary.json").mkdir(parents=True),
    "a file in the place of the figures": lambda path: (path.mkdir(), (path / "figures").write_text("mine")),
}


@pytest.mark.parametrize("case", OUT)
def test_a_place_for_the_results_that_cannot_take_them(folder, refused, case):
    OUT[case](folder / "out")
    refused("review", folder / "sheet.toml", "--match", "none", "--out", folder / "out", needles=["out"])


@pytest.mark.parametrize(
    "out", ["/dev/null", "/dev/null/x", "/proc/x", "/proc/self/x", "\x1b[2J" + "a" * 300, "a" * 5000, "a/" * 3000]
)
def test_no_place_for_the_results(folder, refused, out, monkeypatch):
    monkeypatch.chdir(folder)
    refused("review", folder / "sheet.toml", "--match", "none", "--out", out)


SHEETS = [
    "",
    ".",
    "..",
    "/",
    "/dev/zero",
    "/dev/stdin",
    "/proc/self/mem",
    "no/such",
    "a" * 5000,
    "\x1b[2J",
    "x\ny",
    "~",
]


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_sheet_that_is_none(folder, refused, sheet, monkeypatch):
    monkeypatch.chdir(folder)
    refused("review", sheet)


@pytest.mark.parametrize("name", ["sheet.toml", "initial.csv", "log.csv"])
def test_a_file_that_is_gone_after_it_was_looked_at_is_one_message(folder, run, one_line, name, monkeypatch):
    looked_at = files.check_file

    def and_gone(path, *limit):
        looked_at(path, *limit)
        if path.name == name:
            path.unlink()

    monkeypatch.setattr(files, "check_file", and_gone)
    status, out, err = run("review", folder / "sheet.toml", "--match", "none")
    assert (status, out) == (1, "")
    one_line(err, [f"P3-1/{name}"])


@pytest.mark.sweep
@pytest.mark.parametrize("name", ["sheet.toml", "initial.csv"])
def test_a_named_pipe_makes_no_process_hang(folder, name):
    (folder / name).unlink()
    os.mkfifo(folder / name)
    words = [sys.executable, "-m", "dyntest.cli", "review", str(folder / "sheet.toml")]
    told = subprocess.run(words, capture_output=True, text=True, timeout=300)
    assert (told.returncode, told.stdout, told.stderr.count("\n")) == (1, "", 1)


def test_a_sheet_by_standard_input_is_refused(folder, run, monkeypatch):
    monkeypatch.chdir(folder)
    reads, writes = os.pipe()
    os.write(writes, b"format = 1\n\x1b]0;owned\x07")
    os.close(writes)
    kept = os.dup(0)
    os.dup2(reads, 0)
    try:
        status, out, err = run("review", "/dev/stdin")
    finally:
        os.dup2(kept, 0)
        os.close(kept)
        os.close(reads)
    assert (status, out, err.count("\n")) == (1, "", 1)
    assert "\x1b" not in err
