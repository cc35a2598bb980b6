"""The criterion card for the template: what an inspector needs at the pile, on one page."""

from math import ceil
from typing import Any

import numpy as np

from dyntest.decisions.criterion import FOOT, INCH, Criterion, RestrikeRule
from dyntest.hammer import Hammer
from dyntest.names import show
from dyntest.pile import Pile
from dyntest.presenting.criterion_words import (
    InspectorsCard,
    absolute_refusal,
    counted_per,
    easy_driving_sentences,
    inspectors_card,
    restrike_counts,
)
from dyntest.presenting.sentences import sentence
from dyntest.presenting.terms import short_length, show_ram
from dyntest.quantities.stroke import OPEN_END_DIESEL, blow_rate_of_stroke

SIGNATURES = ("approved by the engineer in charge", "date")

FEW_BLOWS = 4.0
"""Blows an inch below which a count over a foot is easier to keep [1]; it is then given beside the other."""


def card(
    criterion: Criterion, structure: str, system: str, pile: Pile | None = None, hammer: Hammer | None = None
) -> dict[str, Any]:
    """Give the criterion card for the template."""
    words = inspectors_card(criterion, system)
    held = set(easy_driving_sentences(criterion, system))
    head, rows = _table(criterion, words, system, hammer)
    per = counted_per(criterion, system)
    rule = criterion.restrike
    restrike = [line for line in words.restrike if not line.startswith("Blows in the first")]
    rules = [
        ("Count", [f"Record the blows of every {per}, and the stroke with each count."]),
        ("Easy driving", [line for line in words.strokes if line in held]),
        ("Accepting the pile", list(words.meets)),
        ("Refusal", [words.refusal, absolute_refusal(criterion, system)]),
    ]
    rules = [(name, lines) for name, lines in rules if lines]
    return {
        "title": "Driving criterion",
        "subtitle": structure,
        "site": [list(one) for one in _site(pile, hammer, system)],
        "alerts": [sentence(alert) for alert in words.alerts],
        "head": head,
        "rows": rows,
        "strokes": [line for line in words.strokes if line not in held],
        "rules": [[f"{number}  {name}", lines] for number, (name, lines) in enumerate(rules, 1)],
        "restrike": {
            "name": f"{len(rules) + 1}  If the count is not met",
            "lines": restrike,
            "head": _restrike_head(rule, system),
            "rows": [list(row) for row in restrike_counts(rule, system)] if rule and len(restrike) > 2 else [],
        },
        "stop": {"name": "Stop the hammer and call the engineer when", "lines": list(words.stop)},
        "basis": words.basis,
        "reminder": words.reminder,
        "signatures": list(SIGNATURES),
    }


def _restrike_head(rule: RestrikeRule | None, system: str) -> list[str]:
    """Give the heads of the restrike's table, whose strokes are those from which a count is enough."""
    if rule is None:
        return []
    return ["stroke, at least", f"blows in the first {short_length(rule.judged_length, system)}, at least"]


def _table(
    criterion: Criterion, words: InspectorsCard, system: str, hammer: Hammer | None
) -> tuple[list[str], list[list[str | dict[str, str]]]]:
    """Give head and rows: stroke, blows per minute of a diesel, count, least count, and blows per foot where few."""
    every = any(row.every not in ("", "–") for row in words.rows)
    diesel = hammer is not None and hammer.kind == OPEN_END_DIESEL
    few = min(INCH / row.set_per_blow for row in criterion.rows) < FEW_BLOWS
    unit, length = ("foot", FOOT) if system == "US" else ("0.25 m", 0.25)
    head = [words.head[0], *(["blows per minute"] if diesel else []), words.head[1]]
    head += [*([words.head[2]] if every else []), *([f"blows per {unit}"] if few else [])]
    rows: list[list[str | dict[str, str]]] = []
    for told, row in zip(words.rows, criterion.rows, strict=True):
        rate = [f"{60.0 * float(blow_rate_of_stroke(np.array(row.stroke))):.0f}"] if diesel else []
        foot = [f"{ceil(length / row.set_per_blow - 1e-6)}"] if few else []
        rows.append([told.stroke, *rate, {"strong": told.count}, *([told.every] if every else []), *foot])
    return head, rows


def _site(pile: Pile | None, hammer: Hammer | None, system: str) -> list[tuple[str, str]]:
    """Give what the card is valid for: piles, hammer, fuel setting and cushions; a line to fill in where not known."""
    blank = "________________"
    lines = [("piles", blank)]
    if pile is not None:
        tip = "with tip reinforcement" if pile.tip_reinforcement else ""
        lines.append(("pile", ", ".join(filter(None, (f"{pile.material} {pile.section or ''}".strip(), tip)))))
    if hammer is not None:
        named = " ".join(filter(None, (hammer.make, hammer.model))) or hammer.kind
        lines.append(("hammer", f"{named}, ram {show_ram(hammer.ram_weight, system)}"))
        rated = "" if hammer.rated_energy is None else show("transferred_energy", hammer.rated_energy, system)
        lines.append(("rated energy", rated or blank))
        lines.append(("fuel setting", hammer.fuel_setting or blank))
        lines.append(("hammer cushion", hammer.hammer_cushion or blank))
        if pile is not None and pile.material == "concrete":
            lines.append(("pile cushion", hammer.pile_cushion or blank))
    return lines
