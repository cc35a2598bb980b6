"""README's worked example, run as it stands: a recorder's export and an inspector's log become a criterion card."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from dyntest import cli
from dyntest.reviewing import drive_match

TOP = Path(__file__).parent.parent
EXPORT = TOP / "sample_signals" / "recorder_export"


def example():
    """The commands of the example, and the parts of the sheet that it says to write."""
    text = (TOP / "README.md").read_text(encoding="utf-8").split("## A worked example")[1].split("\n## ")[0]
    (commands,) = re.findall(r"^```console\n(.*?)^```$", text, flags=re.M | re.S)
    (parts,) = re.findall(r"^```toml\n(.*?)^```$", text, flags=re.M | re.S)
    return [shlex.split(line) for line in commands.splitlines()], parts


def filled_in(blank, parts):
    """The blank sheet with its own parts of these names replaced."""
    for part in re.split(r"^(?=\[)", parts, flags=re.M)[1:]:
        head = re.escape(part.splitlines()[0])
        # A part goes on to the next that is read; what is commented out in between belongs to it.
        blank, count = re.subn(rf"^(# )?{head}.*?(?=^\[|\Z)", part, blank, count=1, flags=re.M | re.S)
        assert count == 1, part
    return blank


@pytest.fixture
def from_the_sample(monkeypatch, concrete_sample, searching_from):
    """The export has the records of a sample, whose match is at hand; a blow of it is matched from that one's soil."""
    monkeypatch.setattr(drive_match, "search_match", searching_from(concrete_sample.drives[0].match))


def test_the_way_from_the_export_to_the_card(from_the_sample, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    shutil.copytree(EXPORT, tmp_path / "sample_signals" / "recorder_export")
    commands, parts = example()
    for words in commands:
        if words[0] == "cp":
            shutil.copy(*words[1:])
        else:
            cli.main(words[1:])
    sheet = tmp_path / "a1" / "sheet.toml"
    sheet.write_text(filled_in(sheet.read_text(), parts))
    cli.main(["review", "a1/sheet.toml"])
    told = capsys.readouterr().out
    assert "(log)" not in told and "blows in" in told
    assert (tmp_path / "a1" / "review" / "criterion_card.pdf").read_bytes().startswith(b"%PDF")


def test_the_export_is_the_sample_written_otherwise(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(TOP / "sample_signals")
    import make_samples

    shutil.copytree(TOP / "sample_signals" / "abutment_1_concrete", tmp_path / "abutment_1_concrete")
    monkeypatch.setattr(make_samples, "HERE", tmp_path)
    make_samples.make_export()
    for path in EXPORT.iterdir():
        assert (tmp_path / "recorder_export" / path.name).read_bytes() == path.read_bytes()


@pytest.mark.parametrize("name", sorted(cli.commands.commands))
def test_each_command_shows_an_example_that_it_understands(name):
    command = cli.commands.commands[name]
    said, program, called, *words = command.epilog.split()
    assert (said, program, called) == ("Example:", "dyntest", name)
    command.make_context(name, words)
