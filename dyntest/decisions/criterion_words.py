"""The driving criterion in sentences an inspector can carry on a card."""

from collections.abc import Sequence
from math import ceil

from dyntest.decisions.bearing_oddities import DEPTH_TOLERANCE
from dyntest.decisions.criterion import Criterion, CriterionRow, RestrikeRule, blow_count
from dyntest.decisions.restrikes import NO_CHANGE, NOT_MEASURED, RELAXATION, SETUP
from dyntest.decisions.setup import show_wait
from dyntest.names import show


def card(criterion: Criterion, system: str = "SI") -> tuple[str, ...]:
    r"""Give the whole criterion as an inspector needs it in the field.

    Examples
    --------
    >>> criterion = Criterion((CriterionRow(2.0, 0.025 / 6), CriterionRow(2.5, 0.005)), 0.075, minimum_penetration=12.0)
    >>> print(*card(criterion), sep="\n")
    Drive until the blow count holds over 75 mm without a break:
    at a stroke of 2.00 m or more, at least 6 blows in every 25 mm;
    at a stroke of 2.50 m or more, at least 5 blows in every 25 mm.
    Between two strokes the count of the lower one is asked for; a stroke below 2.00 m does not count.
    The toe has to be at least 12.00 m deep.
    Refusal is 10 blows in every 25 mm over 76 mm, at a stroke of 2.00 m or more: stop and call the engineer.
    """
    sentences = [f"DO NOT USE BEFORE THIS IS CLEARED UP: {alert}." for alert in criterion.alerts]
    sentences += [f"Drive until the blow count holds over {_short(criterion.holding_length, system)} without a break:"]
    sentences += _rows(criterion.rows, system)
    least = show("stroke", criterion.lowest_stroke, system)
    sentences.append(
        f"Between two strokes the count of the lower one is asked for; a stroke below {least} does not count."
    )
    most = criterion.maximum_stroke
    if most is not None:
        sentences.append(f"The stroke must not be above {show('stroke', most, system)}.")
    if criterion.minimum_penetration is not None:
        sentences.append(
            f"The toe has to be at least {show('penetration', criterion.minimum_penetration, system)} deep."
        )
    sentences.append(_refusal(criterion, system))
    sentences += [f"Not to be used: {text}." for text in criterion.ruled_out]
    if criterion.restrike is not None:
        sentences += restrike_sentences(criterion.restrike, system)
    return tuple(sentences)


def restrike_sentences(rule: RestrikeRule, system: str = "SI") -> tuple[str, ...]:
    """Say when to stop and restrike, and what the restrike has to show."""
    if rule.stop_penetration is None:
        stop = "Where the count is not met at the depth of the test pile"
    else:
        stop = (
            f"Where the count is not met with {show('penetration', rule.stop_penetration, system)} of pile in the "
            f"ground, {show('penetration', DEPTH_TOLERANCE, system)} more than the test pile"
        )
    wait = "as long as the engineer says" if rule.wait is None else f"at least {show_wait(rule.wait)}"
    judged = _judged(rule, system)
    if rule.change == SETUP:
        return (
            f"{stop}, stop and do not drive on: the test pile gained resistance while it waited.",
            f"Wait {wait}, as the test pile did, warm the hammer up elsewhere and restrike.",
            *judged,
            "Where the restrike falls short, call the engineer.",
        )
    if rule.change == RELAXATION:
        return (
            f"{stop}, stop and call the engineer: waiting does not help, for the test pile lost resistance by it.",
            f"Restrike piles that met the count, as many as the engineer says, after {wait}, with a warm hammer.",
            *judged,
            "A pile that falls short at the restrike is driven on until the count above holds again.",
        )
    why = {
        NO_CHANGE: "a restrike of the test pile showed no gain for sure",
        NOT_MEASURED: "what waiting changes was not measured",
    }[rule.change]
    return (f"{stop}, stop and call the engineer; {why}.",)


def _judged(rule: RestrikeRule, system: str) -> list[str]:
    showing = show("matched_resistance", rule.resistance, system)
    if not rule.rows:
        return [f"Only a dynamic test can show {showing} at the restrike."]
    length, most = _short(rule.judged_length, system), _short(rule.most_length, system)
    first = f"The first {length} of the restrike has to show {showing}, and it stops after {most} at the latest:"
    return [first, *_rows(rule.rows, system)]


def _rows(rows: Sequence[CriterionRow], system: str) -> list[str]:
    """Give a line a stroke, leaving out strokes that ask for the same count as the one below."""
    lines, before = [], None
    for row in rows:
        count = whole_count(row.set_per_blow, system)
        if count == before:
            continue
        before = count
        per = "inch" if system == "US" else "25 mm"
        plural = "s" if count > 1 else ""
        lines.append(
            f"at a stroke of {show('stroke', row.stroke, system)} or more, at least {count} blow{plural} in every {per}"
        )
    return [f"{line};" for line in lines[:-1]] + [f"{lines[-1]}."]


def whole_count(set_per_blow: float, system: str) -> int:
    """Give the least whole count that a set asks for.

    Units: set_per_blow [m].

    Examples
    --------
    >>> whole_count(0.0254 / 7, "US"), whole_count(0.0254 / 7.1, "US")
    (7, 8)
    """
    return ceil(round(float(blow_count(set_per_blow, system)), 6))


def _refusal(criterion: Criterion, system: str) -> str:
    count = whole_count(criterion.refusal_set, system)
    per, length = "inch" if system == "US" else "25 mm", _short(criterion.refusal_length, system)
    least = show("stroke", criterion.refusal_stroke, system)
    counts = f"Refusal is {count} blows in every {per} over {length}"
    return f"{counts}, at a stroke of {least} or more: stop and call the engineer."


def _short(length: float, system: str) -> str:
    """Write a length of some inches: whole inches, whole millimetres."""
    return f"{length / 0.0254:.0f} in" if system == "US" else f"{1e3 * length:.0f} mm"
