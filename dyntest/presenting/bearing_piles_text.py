"""What a terminal shows after a check of the bearing piles: the answer first, then which piles and why."""

import textwrap
from collections.abc import Iterable

from dyntest.decisions.bearing_piles import ACCEPTED, BearingPileCheck
from dyntest.decisions.criterion_words import card

WIDTH = 100
"""Columns of a line at most."""

MOST_PILES = 40
"""Piles told one by one at most; more are counted, and stand in the written tables."""


def bearing_pile_lines(check: BearingPileCheck, system: str) -> list[str]:
    """Give the lines to show.

    Parameters
    ----------
    check : BearingPileCheck
        The check.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    list of str
        Lines of plain text; what forbids the use of the criterion comes first, then how many piles meet it.
    """
    criterion = check.criterion
    shown = [line for alert in criterion.alerts for line in _wrap(f"DO NOT USE THIS CHECK YET: {alert}.")]
    shown += _wrap(answer(check))
    failed = check.piles[~check.piles["status"].isin(ACCEPTED)]
    if len(failed):
        shown += ["", "Do not meet the criterion:"]
        shown += _told((row.pile, f"{row.status}: {row.reason}") for row in failed.itertuples())
    if len(check.odd):
        shown += ["", "Want a second look:"]
        shown += _told((pile, "; ".join(rows["reason"])) for pile, rows in check.odd.groupby("pile", sort=False))
    shown += ["", *_wrap(f"The criterion, from {criterion.source}:")]
    for sentence in card(criterion, system)[len(criterion.alerts) :]:
        shown += _wrap(sentence, "  ", "    ")
    for note in criterion.notes:
        shown += _wrap(f"{note.rstrip('.')}.", "  - ", "    ")
    return [*shown, "", *_wrap(criterion.reminder, rest="")]


def answer(check: BearingPileCheck) -> str:
    """Say in a sentence how many piles meet the criterion, how many do not, and how many want a second look.

    Parameters
    ----------
    check : BearingPileCheck
        The check.

    Returns
    -------
    str
        The sentence.

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
