"""The criterion card: what an inspector needs at the pile, on one page in plain words."""

from dyntest.decisions.criterion import Criterion
from dyntest.decisions.criterion_words import restrike_sentences, whole_count
from dyntest.names import show
from dyntest.presenting.sentences import sentence

STOP = (
    "The blow count falls while the pile is driven on, or the pile suddenly moves easily.",
    "The pile refuses above its minimum penetration.",
    "The stroke leaves the range of the table, or the hammer runs differently than before.",
    "The head crushes, cracks or bends; the pile leans, turns or leaves its place; a splice opens.",
    "Hammer, cushions, helmet or pile are not those of the test.",
    "Driving was interrupted near the end, or a driven pile nearby rises.",
)
"""When an inspector stops the hammer and calls the engineer (common practice, no source)."""

SIGNATURES = ("approved by the engineer in charge", "structure and piles it holds for", "date")


def card(criterion: Criterion, structure: str, system: str) -> dict:
    """Give the criterion card for the template."""
    inch = "inch" if system == "US" else "25 mm"
    stop: tuple[str, ...] = STOP
    restrike = [] if criterion.restrike is None else _joined(restrike_sentences(criterion.restrike, system))
    if not restrike:
        stop = ("The pile passes the depth of the test pile without meeting the criterion.", *STOP)
    return {
        "title": "Driving criterion",
        "subtitle": structure,
        "alerts": [f"DO NOT USE BEFORE THIS IS CLEARED UP: {sentence(alert)}" for alert in criterion.alerts],
        "head": ["stroke", f"blows per {inch}, at least"],
        "rows": [
            [_plain("stroke", row.stroke, system), str(whole_count(row.set_per_blow, system))] for row in criterion.rows
        ],
        "strokes": _strokes(criterion, system),
        "rules": _rules(criterion, system, inch),
        "restrike": {"name": "Where the count is not met", "lines": restrike},
        "stop": {"name": "Stop the hammer and call the engineer when", "lines": list(stop)},
        "basis": " ".join(sentence(words) for words in (f"From {criterion.source}", *criterion.notes)),
        "reminder": criterion.reminder,
        "signatures": list(SIGNATURES),
    }


def _joined(sentences: tuple[str, ...]) -> list[str]:
    """Put lines that go on with a sentence behind the line that began it."""
    lines: list[str] = []
    for words in sentences:
        if lines and words[:1].islower():
            lines[-1] += f" {words}"
        else:
            lines.append(words)
    return lines


def _plain(code: str, value: float, system: str) -> str:
    """Write a number with its unit and without decimals that say nothing."""
    number, unit = show(code, value, system).rsplit(" ", 1)
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {unit}"


def _some_inches(length: float, system: str) -> str:
    """Write a length of some inches, in whole millimetres where it is not in inches."""
    return _plain("set_per_blow", length, system) if system == "US" else f"{1e3 * length:.0f} mm"


def _strokes(criterion: Criterion, system: str) -> list[str]:
    lines = ["Between two strokes the count of the lower stroke holds."]
    lowest = _plain("stroke", criterion.lowest_stroke - criterion.stroke_tolerance, system)
    lines.append(f"Blows with a stroke below {lowest} do not count.")
    if criterion.maximum_stroke is not None:
        lines.append(f"The stroke must not be above {_plain('stroke', criterion.maximum_stroke, system)}.")
    return [*lines, *(f"Not to be used: {sentence(text)}" for text in criterion.ruled_out)]


def _rules(criterion: Criterion, system: str, inch: str) -> list[list]:
    held = _some_inches(criterion.holding_length, system)
    meets = [f"The count of the table, at its stroke, in every {inch} over {held} without a break."]
    if criterion.minimum_penetration is not None:
        depth = _plain("penetration", criterion.minimum_penetration, system)
        meets.append(f"And the toe at least {depth} below the ground, measured straight down.")
    else:
        meets.append("No minimum penetration is given; ask the engineer whether there is one.")
    refusal = (
        f"{whole_count(criterion.refusal_set, system)} blows per {inch} or more over "
        f"{_some_inches(criterion.refusal_length, system)}, at a stroke of "
        f"{_plain('stroke', criterion.refusal_stroke, system)} or more: stop and call the engineer."
    )
    return [
        ["Count", [f"Count the blows of every {inch} and read the stroke with each count. Write both down at once."]],
        ["The pile is done when it shows", meets],
        ["Refusal", [refusal]],
    ]
