"""Two programs on one folder, and a structure on a disk that takes no more."""

import errno
import subprocess
import sys
from itertools import count

import pytest

from dyntest.reading import files as writing

STRUCTURE = """format = 1
[structure]
name = "Invented bridge"
[[group]]
name = "Pier 3"
tests = ["P3-1/sheet.toml"]
"""


def contents(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.sweep
def test_reviews_and_a_structure_of_one_test_at_once_leave_what_one_leaves(folder, tmp_path, run):
    (tmp_path / "structure.toml").write_text(STRUCTURE)
    inputs = contents(folder)
    review = ("review", str(folder / "sheet.toml"), "--match", "none")
    structure = ("structure", str(tmp_path / "structure.toml"), "--match", "none")
    for words in (review, structure):
        assert run(*words, "--out", tmp_path / f"{words[0]}_alone")[0] == 0
    together = [
        subprocess.Popen(
            [sys.executable, "-m", "dyntest.cli", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for words in (review, structure, review)
    ]
    told = [one.communicate() for one in together]
    assert [one.returncode for one in together] == [0, 0, 0], told
    dated = {"report.pdf", "criterion_card.pdf", "structure.pdf"}
    for alone, shared in (("review_alone", folder / "review"), ("structure_alone", tmp_path / "structure")):
        found, wanted = contents(shared), contents(tmp_path / alone)
        assert set(found) == set(wanted)
        assert {name for name in found if found[name] != wanted[name]} <= dated
    assert {name: content for name, content in contents(folder).items() if name in inputs} == inputs


@pytest.mark.sweep
@pytest.mark.parametrize("writes", [1, 4])
def test_a_disk_that_is_full_during_a_structure_is_one_message_and_the_next_run_goes_on(
    folder, tmp_path, run, one_line, monkeypatch, writes
):
    (tmp_path / "structure.toml").write_text(STRUCTURE)
    words = ("structure", tmp_path / "structure.toml", "--match", "none")
    before, made, sync = contents(tmp_path), count(1), writing.os.fsync

    def full(handle):
        if next(made) >= writes:
            raise OSError(errno.ENOSPC, "No space left on device")
        sync(handle)

    with monkeypatch.context() as patch:
        patch.setattr(writing.os, "fsync", full)
        status, _, err = run(*words)
    assert status == 1
    one_line(err, ["could not be written"])
    left = {name: content for name, content in contents(tmp_path).items() if name not in before}
    assert all(name.startswith("structure/piles/") for name in left) and len(left) == min(writes - 1, 1)
    status, out, err = run(*words)
    assert (status, err) == (0, "") and ("1 of 1 test piles were reviewed before" in out) == (writes > 1)
