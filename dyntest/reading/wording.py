"""How messages name files, values and misspelt words: always in one line."""

import difflib
import re
from collections.abc import Iterable
from pathlib import Path

SHOWN_LENGTH = 60
"""Most characters of a value that a message repeats."""


def known_as(path: str | Path) -> str:
    """Give a file's name with its folder, as the user knows it.

    Examples
    --------
    >>> known_as("/data/P2-4/sheet.toml")
    'P2-4/sheet.toml'
    """
    path = Path(path)
    folder = path.parent.name
    return printable(f"{folder}/{path.name}" if folder else path.name or str(path), 2 * SHOWN_LENGTH)


def printable(text: str, limit: int = SHOWN_LENGTH) -> str:
    """Give a text in one line, without control characters and cut to the length of a message.

    Examples
    --------
    >>> printable("two" + chr(10) + "lines")
    'two lines'
    """
    line = "".join(c if c.isprintable() else " " for c in text[: limit + 1])
    return line if len(line) <= limit else line[: limit - 1] + "…"


def as_written(value: object) -> str:
    """Give a value as a message repeats it: text in quotes, other values as in TOML.

    Examples
    --------
    >>> as_written("100 m"), as_written(True), as_written({"a": 1})
    ('"100 m"', 'true', 'a table')
    """
    if isinstance(value, str):
        return f'"{printable(value)}"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    try:
        return printable(str(value))
    except ValueError:  # an integer of more digits than Python will write
        return "a number too large to write"


def nearest(word: str, allowed: Iterable[str], cutoff: float = 0.6) -> str | None:
    """Give the allowed word closest to a misspelt one.

    Examples
    --------
    >>> nearest("lenght", ["length", "area"])
    'length'
    """
    by_lower = {candidate.lower(): candidate for candidate in allowed}
    close = difflib.get_close_matches(word[:SHOWN_LENGTH].lower(), by_lower, n=1, cutoff=cutoff)
    return by_lower[close[0]] if close else None


def listed(words: Iterable[str]) -> str:
    """Give words as a list to choose from.

    Examples
    --------
    >>> listed(["sand", "silt", "clay"])
    'sand, silt or clay'
    """
    words = list(words)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def natural_order(name: str) -> list[tuple[int, int | str]]:
    """Give the sort key that orders numbers in names by value: ``blow_2`` before ``blow_10``.

    Examples
    --------
    >>> sorted(["blow_10.csv", "blow_2.csv"], key=natural_order)
    ['blow_2.csv', 'blow_10.csv']
    """
    parts = re.split(r"([0-9]+)", name)
    return [(1, int(part)) if part.isdigit() and len(part) < 20 else (0, part) for part in parts]


def in_natural_order(paths: Iterable[Path]) -> list[Path]:
    """Give files in the order of the numbers in their names; a shell gives ``blow_10`` before ``blow_2``."""
    return sorted(paths, key=lambda path: natural_order(path.as_posix()))
