"""What a terminal shows after a check of the bearing piles: the answer first, then which piles and why.

The files of a check of the bearing piles: two tables and `check.json`, in SI.
"""

import json
import textwrap
from collections.abc import Iterable

import pandas as pd

from dyntest import __version__
from dyntest.decisions.bearing_piles import ACCEPTED, BearingPileCheck
from dyntest.decisions.criterion_words import card
from dyntest.presenting.summary import number
from dyntest.presenting.tables import plain_csv

WIDTH = 100
"""Columns of a line at most."""

MOST_PILES = 40
"""Piles told one by one at most; more are counted, and stand in the written tables."""


def bearing_pile_lines(check: BearingPileCheck, system: str) -> list[str]:
    """Give the lines to show."""
    criterion = check.criterion
    shown = [line for alert in criterion.alerts for line in _wrap(f"DO NOT USE THIS CHECK YET: {alert}.")]
    shown += _wrap(answer(check))
    accepted = check.piles.loc[check.piles["status"].isin(ACCEPTED), "pile"]
    if len(accepted):
        shown += ["", *_wrap(f"Accepted: {', '.join(map(str, accepted))}.")]
    failed = check.piles[~check.piles["status"].isin(ACCEPTED)]
    if len(failed):
        shown += ["", "Not met:"]
        shown += _told((str(row["pile"]), f"{row['status']}: {row['reason']}") for row in failed.to_dict("records"))
    if len(check.odd):
        shown += ["", "Second look:"]
        shown += _told((str(pile), "; ".join(rows["reason"])) for pile, rows in check.odd.groupby("pile", sort=False))
    shown += ["", *_wrap(f"The criterion, from {criterion.source}:")]
    for sentence in card(criterion, system)[len(criterion.alerts) :]:
        shown += _wrap(sentence, "  ", "    ")
    for note in criterion.notes:
        shown += _wrap(f"{note.rstrip('.')}.", "  - ", "    ")
    return [*shown, "", *_wrap(criterion.reminder, rest="")]


def answer(check: BearingPileCheck) -> str:
    """Say in a sentence how many piles meet the criterion, how many do not, and how many want a second look.

    Examples
    --------
    >>> import pandas as pd
    >>> piles = pd.DataFrame({"pile": ["A", "B", "C"], "status": ["accepted", "not met", "accepted"]})
    >>> answer(BearingPileCheck(piles, pd.DataFrame({"pile": ["C", "C"]}), None))
    '2 of 3 piles meet the criterion, 1 does not; 1 wants a second look.'
    """
    met, count = int(check.piles["status"].isin(ACCEPTED).sum()), len(check.piles)
    meet = "meets" if met == 1 else "meet"
    second = _do(check.odd["pile"].nunique(), "wants", "want")
    return f"{met} of {count} piles {meet} the criterion, {_do(count - met, 'does', 'do')} not; {second} a second look."


def _do(count: int, one: str, more: str) -> str:
    return f"{count or 'none'} {one if count == 1 or not count else more}"


def _told(piles: Iterable[tuple[str, str]]) -> list[str]:
    """Give a paragraph a pile, up to `MOST_PILES` of them."""
    told = list(piles)
    lines = [line for pile, text in told[:MOST_PILES] for line in _wrap(f"{pile}: {text}.", "  - ", "    ")]
    rest = len(told) - MOST_PILES
    return lines + ([f"  and {rest} more; write them all with --out DIR"] if rest > 0 else [])


def _wrap(text: str, first: str = "", rest: str = "  ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False)


FORMAT = 1
"""Raised when a reader of the file would have to change."""

UNITS = dict.fromkeys(
    (
        "penetration",
        "depth",
        "toe_elevation",
        "last_set",
        "last_stroke",
        "permitted",
        "met_at",
        "pay_length",
        "pay_length_without_tip",
        "offset_at_cutoff",
    ),
    "m",
)
"""Unit of every column that has one."""


def check_files(check: BearingPileCheck, inputs: dict[str, str]) -> dict[str, bytes]:
    """Give every file of a check."""
    return {
        "bearing_piles.csv": plain_csv(check.piles, UNITS),
        "odd_piles.csv": plain_csv(check.odd, UNITS),
        "check.json": _json(check, inputs),
    }


def _json(check: BearingPileCheck, inputs: dict[str, str]) -> bytes:
    held = check.criterion
    accepted = check.piles["status"].isin(ACCEPTED)
    content = {
        "format": FORMAT,
        "dyntest": __version__,
        "inputs": inputs,
        "alerts": list(held.alerts),
        "piles": len(check.piles),
        "met": int(accepted.sum()),
        "not_met": _records(check.piles[~accepted], ("pile", "status", "reason")),
        "odd": _records(check.odd, ("pile", "kind", "depth", "reason")),
        "criterion": {
            "source": held.source,
            "required_resistance": number(held.required_resistance),
            "holding_length": number(held.holding_length),
            "minimum_penetration": number(held.minimum_penetration),
            "rows": [
                {
                    "stroke": number(row.stroke),
                    "set_per_blow": number(row.set_per_blow),
                    "blows_per_25mm": number(0.025 / row.set_per_blow),
                    "governing": row.governing,
                }
                for row in held.rows
            ],
        },
        "reminder": held.reminder,
    }
    return (json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _records(table: pd.DataFrame, names: tuple[str, ...]) -> list[dict]:
    rows = table[list(names)].to_dict("records")
    return [{name: number(value) if isinstance(value, float) else value for name, value in row.items()} for row in rows]
