"""Fingerprints of the inputs; results are written whole or not at all, and never over an input."""

import contextlib
import os
from pathlib import Path

import pytest

import dyntest
from dyntest.errors import InputError
from dyntest.reading import files as writing
from dyntest.reading.files import (
    ChangedError,
    check_folder,
    digests,
    program,
    refuse_existing,
    refuse_inputs,
    sha256,
    write_all,
)
from dyntest.reading.sheet import read_sheet


def test_sha256_of_a_known_text(tmp_path):
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    # FIPS 180-2, example B.1
    assert sha256(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_every_input_has_its_fingerprint(write_sheet):
    path = write_sheet({"drive.0.log": '"log.csv"'})
    (path.parent / "log.csv").write_text("depth_from [m],depth_to [m],blows\n0,1,3\n")
    assert set(digests(read_sheet(path))) == {"sheet.toml", "initial.csv", "log.csv"}


def test_a_line_or_a_limit_changed_makes_another_program(tmp_path, monkeypatch):
    for name, text in (("__init__.py", ""), ("decisions/limits.csv", "0.9"), ("decisions/limits.py", "a = 1")):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text)
    monkeypatch.setattr(dyntest, "__file__", str(tmp_path / "__init__.py"))
    asked = program.__wrapped__
    before = asked()
    assert before.startswith(f"{dyntest.__version__} ") and asked() == before
    (tmp_path / "decisions" / "limits.csv").write_text("0.8")
    changed = asked()
    (tmp_path / "decisions" / "limits.py").write_text("a = 2")
    assert len({before, changed, asked()}) == 3


def test_a_file_that_is_gone(tmp_path, refuses):
    refuses(lambda: sha256(tmp_path / "gone.csv"), "/gone.csv", "cannot be read", "check the name")


def test_a_change_of_the_file_shows(write_sheet):
    sheet = read_sheet(write_sheet())
    before = digests(sheet)
    with (sheet.path.parent / "initial.csv").open("a") as stream:
        stream.write("\n")
    after = digests(sheet)
    assert before["sheet.toml"] == after["sheet.toml"]
    with pytest.raises(AssertionError):
        assert before == after


def test_writes_all_into_new_folders(tmp_path):
    written = write_all(tmp_path / "review", {"summary.json": b"{}", "figures/a.svg": b"<svg/>"})
    assert [path.read_bytes() for path in written] == [b"{}", b"<svg/>"]
    assert written[0].stat().st_mode & 0o444 == 0o444


def test_replaces_what_stood_there(tmp_path):
    (tmp_path / "summary.json").write_bytes(b"old")
    write_all(tmp_path, {"summary.json": b"new"})
    assert (tmp_path / "summary.json").read_bytes() == b"new"


@pytest.mark.parametrize("interruption", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_failure_leaves_everything_as_it_was(tmp_path, monkeypatch, interruption):
    (tmp_path / "a").write_bytes(b"old")
    count = []

    def fsync(handle):
        count.append(handle)
        if len(count) == 2:
            raise interruption

    monkeypatch.setattr(writing.os, "fsync", fsync)
    with pytest.raises((InputError, KeyboardInterrupt)) as caught:
        write_all(tmp_path, {"a": b"new", "b": b"new", "c": b"new"})
    assert [path.name for path in tmp_path.iterdir()] == ["a"]
    assert (tmp_path / "a").read_bytes() == b"old"
    if isinstance(interruption, OSError):
        assert "No space left on device" in str(caught.value)


def test_a_folder_in_the_place_of_a_file_leaves_everything_as_it_was(tmp_path):
    (tmp_path / "b").mkdir()
    with pytest.raises(InputError, match="b is a folder"):
        write_all(tmp_path, {"a": b"new", "b": b"new"})
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "out").write_text("mine")
    for directory in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(InputError) as caught:
            check_folder(directory)
        assert caught.value.source.endswith("/out")  # what is in the way, not what was asked for
    check_folder(tmp_path / "not" / "there" / "yet")
    with pytest.raises(InputError):
        write_all(tmp_path / "out", {"a": b"new"})
    assert (tmp_path / "out").read_text() == "mine"


def test_an_input_is_never_overwritten(tmp_path):
    recorded = tmp_path / "blows_initial.csv"
    recorded.write_text("record")
    (tmp_path / "link").symlink_to(tmp_path, target_is_directory=True)
    for directory in (tmp_path, tmp_path / "link", tmp_path / "sub" / ".."):
        with pytest.raises(InputError, match=r'"blows_initial\.csv"'):
            refuse_inputs(directory, ["summary.json", "blows_initial.csv"], [recorded])
    refuse_inputs(tmp_path / "review", ["blows_initial.csv"], [recorded])


def test_what_is_there_is_not_replaced_by_something_new(tmp_path):
    refuse_existing(tmp_path, ["sheet.toml"])
    (tmp_path / "sheet.toml").symlink_to(tmp_path / "nowhere")
    with pytest.raises(InputError, match=r'"sheet\.toml"'):
        refuse_existing(tmp_path, ["sheet.toml"])


def test_a_set_of_files_takes_its_names_with_the_folder_locked_and_not_over_another_writer(tmp_path, monkeypatch):
    fcntl = pytest.importorskip("fcntl")
    locked, replace = [], Path.replace

    def watched(path, target):
        with tmp_path_handle(tmp_path) as handle:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                locked.append(target.name)
        return replace(path, target)

    monkeypatch.setattr(Path, "replace", watched)
    write_all(tmp_path, {"a": b"1", "b": b"1"}, {"a": None})
    assert locked == ["a", "b"]
    for read in ({"a": None}, {"a": b"0"}, {"a": b"1", "c": b""}):
        with pytest.raises(ChangedError):
            write_all(tmp_path, {"a": b"2", "b": b"2", "d/e": b"2"}, read)
        assert {path.name: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == {
            "a": b"1",
            "b": b"1",
        }
    write_all(tmp_path, {"a": b"2", "b": b"2"}, {"a": b"1", "b": b"1"})
    assert (tmp_path / "a").read_bytes() == b"2"


@contextlib.contextmanager
def tmp_path_handle(folder):
    """A folder opened as a further program would open it."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        yield handle
    finally:
        os.close(handle)
