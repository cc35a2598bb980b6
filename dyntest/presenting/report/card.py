"""The criterion card for the template: what an inspector needs at the pile, on one page."""

from dyntest.decisions.criterion import Criterion
from dyntest.presenting.criterion_words import inspectors_card
from dyntest.presenting.sentences import sentence
from dyntest.presenting.terms import per_count

SIGNATURES = ("approved by the engineer in charge", "structure and piles it holds for", "date")


def card(criterion: Criterion, structure: str, system: str) -> dict:
    """Give the criterion card for the template."""
    words = inspectors_card(criterion, system)
    every = any(row.every for row in words.rows)
    head = [words.head[0], words.head[1], *([words.head[2]] if every else [])]
    count = (
        f"Count the blows of every {per_count(system)} and read the stroke with each count. Write both down at once."
    )
    return {
        "title": "Driving criterion",
        "subtitle": structure,
        "alerts": [sentence(alert) for alert in words.alerts],
        "head": head,
        "rows": [[row.stroke, row.count, *([row.every] if every else [])] for row in words.rows],
        "chances": [
            f"{row.stroke}: a pile that just passes is short by chance in {row.short}, and one with a tenth more than "
            f"required is driven on in {row.driven_on}."
            for row in dict.fromkeys((words.rows[0], words.rows[-1]))
            if row.short != "–"
        ],
        "strokes": list(words.strokes),
        "rules": [
            ["Count", [count]],
            ["The pile is done when it shows", list(words.meets)],
            ["Refusal", [words.refusal]],
        ],
        "restrike": {"name": "Where the count is not met", "lines": list(words.restrike)},
        "stop": {"name": "Stop the hammer and call the engineer when", "lines": list(words.stop)},
        "basis": words.basis,
        "reminder": words.reminder,
        "signatures": list(SIGNATURES),
    }
