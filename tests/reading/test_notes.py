"""Notes and sign-off beside a sheet: kept as they were written, refused where they cannot be read."""

from datetime import date

import pytest

from dyntest.errors import InputError
from dyntest.reading.notes import NOTES_FILE, Note, Notes, SignOff, change_notes, notes_toml, read_notes

WRITTEN = Notes(
    (Note('He said "stop" at 40 ft.\nThen on.', "A. Meyer", date(2026, 5, 4)), Note("α ≤ β \\", "B", date(2026, 5, 5))),
    SignOff("A. Meyer", date(2026, 5, 6), "approved with reasons", "gauge 2 left out", "0123456789abcdef"),
)


def test_notes_are_read_as_they_were_written(tmp_path):
    (tmp_path / NOTES_FILE).write_bytes(notes_toml(WRITTEN))
    assert read_notes(tmp_path / "sheet.toml") == WRITTEN
    assert read_notes(tmp_path / "elsewhere" / "sheet.toml") == Notes()


def test_two_who_write_at_once_lose_nothing(tmp_path):
    sheet, ours, theirs = tmp_path / "sheet.toml", *(Note(name, name, date(2026, 5, 4)) for name in "AB")
    seen = []

    def another_writes_first(kept):
        seen.append(kept)
        if len(seen) == 1:
            change_notes(sheet, lambda now: Notes((*now.notes, theirs)))
        return Notes((*kept.notes, ours))

    change_notes(sheet, another_writes_first)
    assert seen == [Notes(), Notes((theirs,))]
    assert read_notes(sheet).notes == (theirs, ours)
    assert [path.name for path in tmp_path.iterdir()] == [NOTES_FILE]


@pytest.mark.parametrize(
    "text", ["format = 2", "format = [", 'format = 1\n[[note]]\ntext = "x"', 'format = 1\n[sign_off]\ndecision = "so"']
)
def test_what_cannot_be_read_is_one_message(tmp_path, text):
    (tmp_path / NOTES_FILE).write_text(text)
    with pytest.raises(InputError, match="notes"):
        read_notes(tmp_path / "sheet.toml")
