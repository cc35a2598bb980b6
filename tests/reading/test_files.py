"""Fingerprints of the inputs."""

import pytest

from dyntest.reading.files import digests, sha256
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
