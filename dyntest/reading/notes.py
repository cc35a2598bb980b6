"""The engineer's notes and sign-off on a test, saved as ``notes.toml`` beside its sheet."""

import hashlib
import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from dyntest.errors import InputError
from dyntest.reading.files import ChangedError, write_all
from dyntest.reading.wording import known_as

NOTES_FILE = "notes.toml"
"""Name of the file beside the sheet."""

FORMAT = 1
DECISIONS = ("approved", "approved with reasons", "not approved")
"""Decisions that a sign-off can state."""

MOST_TRIES = 20
"""Most attempts to save notes [1] when others save at the same time."""

MOST_LETTERS = 4000
"""Longest note [characters]."""


@dataclass(frozen=True)
class Note:
    """A note of the engineer: text, author and date."""

    text: str
    name: str
    day: date


@dataclass(frozen=True)
class SignOff:
    """Sign-off: name, date, one of `DECISIONS`, reasons, and the fingerprint of the files signed."""

    name: str
    day: date
    decision: str
    reasons: str
    fingerprint: str


@dataclass(frozen=True)
class Notes:
    """Everything in the file: the notes in the order of writing, and the sign-off."""

    notes: tuple[Note, ...] = ()
    sign_off: SignOff | None = None


def notes_path(sheet: Path) -> Path:
    """Give the path of the notes on a sheet."""
    return sheet.parent / NOTES_FILE


def fingerprint(inputs: Mapping[str, str]) -> str:
    """Give one fingerprint of all files of a test, so that a sign-off shows which files were signed.

    Examples
    --------
    >>> len(fingerprint({"sheet.toml": "ab"})), fingerprint({"sheet.toml": "ab"}) == fingerprint({"sheet.toml": "ac"})
    (16, False)
    """
    return hashlib.sha256(repr(sorted(inputs.items())).encode()).hexdigest()[:16]


def read_notes(sheet: Path) -> Notes:
    """Read the notes on a sheet; none if there is no file."""
    path = notes_path(sheet)
    source = known_as(path)
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Notes()
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(
            source, "", f"is not valid TOML ({error})", "correct the line, or move the file away"
        ) from error
    if given.get("format") != FORMAT:
        raise InputError(source, "format", "is not 1", "write format = 1")
    notes = tuple(_note(source, one) for one in _list(given))
    signed = given.get("sign_off")
    if signed is None:
        return Notes(notes)
    name, decision, reasons, of = _texts(source, "[sign_off]", signed, ("name", "decision", "reasons", "fingerprint"))
    if decision not in DECISIONS:
        problem = f'"{decision}" is not a decision'
        raise InputError(source, "[sign_off] decision", problem, f"write one of {', '.join(DECISIONS)}")
    return Notes(notes, SignOff(name, _day(source, signed), decision, reasons, of))


def change_notes(sheet: Path, change: Callable[[Notes], Notes]) -> None:
    """Save the notes that `change` makes of those in the file, so that two people saving lose nothing."""
    path = notes_path(sheet)
    for left in reversed(range(MOST_TRIES)):
        before = path.read_bytes() if path.is_file() else None
        try:
            write_all(path.parent, {path.name: notes_toml(change(read_notes(sheet)))}, {path.name: before})
        except ChangedError:
            if not left:
                raise
        else:
            return


def _note(source: str, given: dict) -> Note:
    text, name = _texts(source, "[[note]]", given, ("text", "name"))
    return Note(text, name, _day(source, given))


def _list(given: dict) -> list[dict]:
    found = given.get("note", [])
    return [one for one in found if isinstance(one, dict)] if isinstance(found, list) else []


def _texts(source: str, place: str, given: dict, names: tuple[str, ...]) -> list[str]:
    found = [given.get(name, "") for name in names]
    for name, text in zip(names, found, strict=True):
        if not isinstance(text, str) or len(text) > MOST_LETTERS:
            problem = f"is not a text of at most {MOST_LETTERS} characters"
            raise InputError(source, f"{place} {name}", problem, f'write {name} = "…"')
    return found


def _day(source: str, given: dict) -> date:
    day = given.get("date")
    if not isinstance(day, date):
        raise InputError(source, "date", "is not a date", "write it as date = 2026-05-11")
    return date(day.year, day.month, day.day)


def notes_toml(notes: Notes) -> bytes:
    r"""Give the text of the notes file.

    Examples
    --------
    >>> print(notes_toml(Notes((Note("Gauge 2 reset.", "A. Meyer", date(2026, 5, 4)),))).decode())
    format = 1
    <BLANKLINE>
    [[note]]
    date = 2026-05-04
    name = "A. Meyer"
    text = "Gauge 2 reset."
    <BLANKLINE>
    """
    lines = [f"format = {FORMAT}", ""]
    for note in notes.notes:
        lines += [
            "[[note]]",
            f"date = {note.day.isoformat()}",
            f"name = {_toml(note.name)}",
            f"text = {_toml(note.text)}",
            "",
        ]
    if notes.sign_off is not None:
        one = notes.sign_off
        lines += ["[sign_off]", f"date = {one.day.isoformat()}", f"name = {_toml(one.name)}"]
        lines += [f"decision = {_toml(one.decision)}", f"reasons = {_toml(one.reasons)}"]
        lines += [f"fingerprint = {_toml(one.fingerprint)}", ""]
    return "\n".join(lines).encode()


def _toml(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
