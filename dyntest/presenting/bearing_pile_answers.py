"""The check of the bearing piles as it is shown and filed: the answer on the terminal, two tables and `check.json`.

The terminal has the answer first, then which piles and why. The files are in SI.
"""

import json
from collections.abc import Iterable

import pandas as pd

from dyntest import __version__
from dyntest.decisions.bearing_piles import ACCEPTED, VERDICTS, BearingPileCheck
from dyntest.decisions.criterion import WAYS, count_over, least_count
from dyntest.presenting.bearing_words import odd_reasons, reasons, second_looks
from dyntest.presenting.criterion_words import basis, counted_per, inspectors_card
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION, told
from dyntest.presenting.frames_decisions import count_met, shown_verdicts
from dyntest.presenting.sentences import sentence
from dyntest.presenting.summary import number
from dyntest.presenting.tables import plain_csv
from dyntest.presenting.terminal import wrapped

MOST_PILES = 40
"""Piles listed one by one at most; more are counted, and are in the written tables."""


def bearing_pile_lines(check: BearingPileCheck, system: str) -> list[str]:
    """Give the lines to show."""
    criterion = check.criterion
    shown = [
        line
        for alert in criterion.alerts
        for line in wrapped(f"DO NOT USE THIS CHECK YET: {told(alert, system).sentence}.")
    ]
    for caution in check.cautions:
        shown += wrapped(f"DO THESE PILES BELONG TO THIS CRITERION? {told(caution, system).sentence}.")
    shown += wrapped(bearing_pile_answer(check))
    because = dict(zip(check.piles["pile"].astype(str), reasons(check, system), strict=True))
    second, verdicts = second_looks(check, system), shown_verdicts(check)
    for verdict, head in HEADS.items():
        piles = check.piles[[one == verdict for one in verdicts]]
        if len(piles):
            shown += ["", head]
            shown += _told(
                (pile, f"{count_met(verdict, status)}: {because[pile]}")
                for pile, status in zip(piles["pile"].astype(str), piles["status"], strict=True)
            )
    if len(second):
        shown += ["", "Something unusual:"]
        shown += _told((str(pile), words) for pile, words in second.items())
    shown += ["", *wrapped("The criterion:")]
    held = inspectors_card(criterion, system)
    for row in held.rows:
        every = f", minimum {row.every} per {counted_per(criterion, system)}" if row.every else ""
        shown += wrapped(f"{row.stroke}: {row.count} {held.head[1].replace(', at least', '')}{every}", "  ", "    ")
    for words in held.sentences[len(held.alerts) :]:
        shown += wrapped(words, "  ", "    ")
    for caution in criterion.cautions:
        shown += wrapped(sentence(told(caution, system).sentence), "  - ", "    ")
    return [*shown, *wrapped(held.basis, "  - ", "    "), "", *wrapped(held.reminder, rest="")]


HEADS = {
    "accepted": "Accepted:",
    "second look": "Not accepted before a second look:",
    "not met": "Not met:",
    "no counts": "Without counts:",
}
"""Heading over the piles of each verdict."""


def bearing_pile_answer(check: BearingPileCheck) -> str:
    """Say in a sentence how many piles meet the criterion, how many do not, and how many need a second look.

    Examples
    --------
    >>> import pandas as pd
    >>> piles = pd.DataFrame({"pile": ["A", "B", "C"], "verdict": ["accepted", "not met", "second look"],
    ...                       "status": ["accepted at restrike", "not met", "accepted"]})
    >>> bearing_pile_answer(BearingPileCheck(piles, pd.DataFrame({"pile": ["C", "C"]}), None))
    '1 of 3 piles is accepted (1 by its restrike), 1 is not, and 1 only after a second look; 1 has something unusual.'
    """
    verdict = check.piles["verdict"]
    met, count = int((verdict == VERDICTS[0]).sum()), len(check.piles)
    silent = int((check.piles["status"] == "no counts").sum())  # none of them is judged
    look, failed = int((verdict == VERDICTS[1]).sum()), int((verdict == VERDICTS[2]).sum()) - silent
    restruck = int(((verdict == VERDICTS[0]) & (check.piles["status"] == ACCEPTED[1])).sum())
    by_restrike = f" ({restruck} by {'its restrike' if restruck == 1 else 'their restrikes'})" if restruck else ""
    parts = [f"{met} of {count} piles {'is' if met == 1 else 'are'} accepted{by_restrike}"]
    parts.append(f"{_do(failed, 'is', 'are')} not")
    parts += [f"{look} only after a second look"] if look else []
    parts += [f"{_do(silent, 'has', 'have')} no counts"] if silent else []
    text = f"{', '.join(parts[:-1])}{', and' if len(parts) > 2 else ','} {parts[-1]}"
    return f"{text}; {_do(check.odd['pile'].nunique(), 'has', 'have')} something unusual."


def _do(count: int, one: str, more: str) -> str:
    return f"{count or 'none'} {one if count == 1 or not count else more}"


def _told(piles: Iterable[tuple[str, str]]) -> list[str]:
    """Give a paragraph a pile, up to `MOST_PILES` of them."""
    told = list(piles)
    lines = [line for pile, text in told[:MOST_PILES] for line in wrapped(f"{pile}: {text}.", "  - ", "    ")]
    rest = len(told) - MOST_PILES
    return lines + ([f"  and {rest} more; write them all with --out DIR"] if rest > 0 else [])


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
        "window",
        "failed_from",
        "failed_to",
        "met_at",
        "met_anywhere",
        "restrike_set",
        "restrike_stroke",
        "pay_length",
        "pay_length_without_tip",
        "offset_at_cutoff",
    ),
    "m",
)
"""Unit of every column that has one."""


def check_files(check: BearingPileCheck, inputs: dict[str, str], system: str) -> dict[str, bytes]:
    """Give every file of a check; numbers in SI, the sentences beside them in the units asked for."""
    piles = check.piles.assign(reason=reasons(check, system))
    odd = check.odd.assign(reason=odd_reasons(check, system))
    return {
        "bearing_piles.csv": plain_csv(piles, UNITS),
        "odd_piles.csv": plain_csv(odd, UNITS),
        "check.json": _json(check, piles, odd, inputs, system),
    }


def _json(
    check: BearingPileCheck, piles: pd.DataFrame, odd: pd.DataFrame, inputs: dict[str, str], system: str
) -> bytes:
    held = check.criterion
    shown = ("pile", "verdict", "status", "reason")
    by_verdict = {verdict: piles.loc[piles["verdict"] == verdict, "pile"].tolist() for verdict in VERDICTS}
    content = {
        "format": FORMAT,
        "dyntest": __version__,
        "inputs": inputs,
        "alerts": [told(alert, system).sentence for alert in held.alerts],
        "cautions": [told(caution, system).sentence for caution in check.cautions],
        "piles": len(piles),
        "met": len(by_verdict[VERDICTS[0]]),
        "accepted": by_verdict[VERDICTS[0]],
        "second_look": by_verdict[VERDICTS[1]],
        "verdicts": _records(piles, shown),
        "not_met": _records(piles[piles["verdict"] == VERDICTS[2]], shown),
        "odd": _records(odd, ("pile", "kind", "depth", "reason")),
        "criterion": {
            "source": basis(held, system),
            "required_resistance": number(held.required_resistance),
            "holding_length": number(held.holding_length),
            "count": held.way,
            "minimum_penetration": number(held.minimum_penetration),
            "rows": [
                {
                    "stroke": number(row.stroke),
                    "set_per_blow": number(row.set_per_blow),
                    "blows_per_25mm": number(0.025 / row.set_per_blow),
                    "blows_in_holding_length": count_over(
                        row.set_per_blow, held.holding_length, held.counting.length if held.way == WAYS[1] else None
                    ),
                    "least_in_every_count": least_count(held, row.set_per_blow),
                    "chance_short": number(row.short),
                    "chance_driven_on": number(row.driven_on),
                    "governing": row.pile or ", ".join(held.piles),
                }
                for row in held.rows
            ],
        },
        "reminder": GOVERNING_SPECIFICATION,
    }
    return (json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _records(table: pd.DataFrame, names: tuple[str, ...]) -> list[dict]:
    rows = table[list(names)].to_dict("records")
    return [{name: number(value) if isinstance(value, float) else value for name, value in row.items()} for row in rows]
