"""The blocks a report is made of, as plain data for the template."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dyntest.presenting.decision_words import Told
from dyntest.presenting.sentences import sentence
from dyntest.presenting.terms import drive_name

Block = dict[str, Any]
"""What one block of the template needs, under ``kind`` its name there."""


def text(words: str) -> Block:
    """Give a paragraph."""
    return {"kind": "text", "text": words}


def note(words: str) -> Block:
    """Give a quiet paragraph."""
    return {"kind": "note", "text": words}


def answer(words: str) -> Block:
    """Give the sentence that answers the question above it."""
    return {"kind": "answer", "text": words}


def heading(words: str) -> Block:
    """Give a heading within a section."""
    return {"kind": "heading", "text": words}


def columns(*parts: Sequence[Block]) -> Block:
    """Give blocks in columns side by side."""
    return {"kind": "columns", "parts": [list(part) for part in parts]}


def rows(head: Sequence, cells: Sequence[Sequence], widths: Sequence[float], align: str) -> Block:
    """Give a table."""
    return {"kind": "rows", "head": list(head), "rows": [list(row) for row in cells], "widths": list(widths),
            "align": list(align)}  # fmt: skip


def dense(head: Sequence, cells: Sequence[Sequence]) -> Block:
    """Give a table of many numbers in small type."""
    return {"kind": "dense", "head": list(head), "rows": [list(row) for row in cells]}


def facts(items: Sequence[tuple[str, str, str]]) -> Block:
    """Give a list of facts with where they come from."""
    return {"kind": "facts", "rows": [list(item) for item in items if item[1] not in ("", "–")]}


def picture(caption: str, *names: str, shares: Sequence[float] = ()) -> Block:
    """Give figures side by side, in the shares of the width given or in equal ones."""
    return {"kind": "pictures", "names": list(names), "caption": caption, "shares": list(shares or [1] * len(names))}


def cautions(items: Sequence[Told]) -> Block:
    """Give cautions under each other."""
    return {"kind": "cautions", "items": [caution_item(item) for item in items]}


def caution_item(caution: Told, grave: bool = False) -> dict[str, Any]:
    """Give one caution for the template."""
    return {
        "what": caution.check,
        "text": sentence(caution.message),
        "cure": sentence(caution.cure),
        "grave": grave,
    }


def about(restrike: str, caution: Told) -> Told:
    """Name the restrike that a caution is about, where it does not say so itself."""
    name = drive_name(restrike)
    named = name in caution.message or restrike in caution.message
    return caution if named else replace(caution, message=f"{name}: {caution.message}")
