"""The inspectors' card: the one set of data that the page and the PDF show, and its sentences."""

from dataclasses import dataclass

from dyntest.decisions.bearing_oddities import DEPTH_TOLERANCE
from dyntest.decisions.criterion import (
    ABSOLUTE_REFUSAL_SET,
    FOOT,
    INCH,
    WAYS,
    Criterion,
    CriterionRow,
    RestrikeRule,
    StrokesRuledOut,
    count_over,
    least_count,
)
from dyntest.decisions.driving_criterion import DISAGREEMENT, GRAPH_NOT_CHECKED
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.resistance_factors import RequiredResistance
from dyntest.decisions.restrikes import NO_CHANGE, NOT_MEASURED, RELAXATION, SETUP
from dyntest.decisions.stroke_table import StrokeRow
from dyntest.names import percent, show, show_length, show_required
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION, ruled_out_words, told
from dyntest.presenting.terms import COUNT_LENGTHS, drive_name, per_count, short_length, show_factor, show_wait, tape

RISKS = ("short but accepted", "sound but rejected")
"""Heads of the chances that a pile that just passes is short, and that a sound one does not pass."""

ALERT = "DO NOT USE THE CRITERION"
"""Heading of every alert."""

STOP = (
    "The blow count drops as driving continues, or the pile suddenly drives easily.",
    "The pile meets refusal above minimum penetration, or before it meets the count.",
    "The stroke rises above the highest of the table, or the hammer runs differently.",
    "The head crushes, cracks or bends; the pile leans, rotates or moves off location; a splice opens.",
    "Hammer, cushions, helmet or pile differ from the test.",
    "Driving was interrupted near the end, or a driven pile nearby heaves.",
)
"""When an inspector stops the hammer and calls the engineer (common practice, no source)."""


@dataclass(frozen=True)
class CardRow:
    """One line of the card's table, in words.

    Parameters
    ----------
    stroke : str
        Stroke with its unit.
    count : str
        Blows over the holding length.
    every : str
        Blows that every inch (or 25 mm) has to show at least.
    short, driven_on : str
        Chances that a pile which just passes is short, and that a sound one is rejected.
    """

    stroke: str
    count: str
    every: str
    short: str
    driven_on: str


@dataclass(frozen=True)
class InspectorsCard:
    """The whole card, in words.

    Parameters
    ----------
    alerts : tuple of str
        What forbids its use, said first.
    head : tuple of str
        Heads of the table's columns.
    rows : tuple of CardRow
        A line a stroke.
    strokes : tuple of str
        How strokes are read.
    meets : tuple of str
        When the pile is done.
    refusal : str
        When it refuses.
    restrike : tuple of str
        What to do where the count is not met.
    stop : tuple of str
        When to stop and call the engineer.
    basis : str
        Where it comes from.
    reminder : str
        Who decides.
    """

    alerts: tuple[str, ...]
    head: tuple[str, ...]
    rows: tuple[CardRow, ...]
    strokes: tuple[str, ...]
    meets: tuple[str, ...]
    refusal: str
    restrike: tuple[str, ...]
    stop: tuple[str, ...]
    basis: str
    reminder: str = GOVERNING_SPECIFICATION

    @property
    def sentences(self) -> tuple[str, ...]:
        """Everything that is not a table, for a page that shows the table by itself."""
        return (*self.alerts, *self.meets, *self.strokes, self.refusal, *self.restrike)


def inspectors_card(criterion: Criterion, system: str = "SI") -> InspectorsCard:
    r"""Give the whole criterion as an inspector needs it in the field.

    Examples
    --------
    >>> criterion = Criterion((CriterionRow(2.0, 0.025 / 6), CriterionRow(2.5, 0.005)), 0.075, minimum_penetration=12.0)
    >>> found = inspectors_card(criterion)
    >>> [(row.stroke, row.count, row.every) for row in found.rows]
    [('2.00 m', '18', '4'), ('2.50 m', '15', '3')]
    >>> found.meets[-1]
    'The toe must be at least 12 m below the ground, measured vertically.'
    """
    inch, held = counted_per(criterion, system), short_length(criterion.holding_length, system)
    restrike = () if criterion.restrike is None else restrike_sentences(criterion, criterion.restrike, system)
    stop = STOP if restrike else ("The pile passes the depth of the test pile without meeting the criterion.", *STOP)
    whole = criterion.way == WAYS[0]
    head = ("stroke", f"blows in {held}, at least" if whole else f"blows in every {inch}, at least")
    return InspectorsCard(
        tuple(f"{ALERT}: {told(alert, system).sentence}." for alert in criterion.alerts),
        (*head, f"minimum per {inch}", *RISKS) if whole else (*head, "", *RISKS),
        tuple(_row(criterion, row, system) for row in criterion.rows),
        tuple(_strokes(criterion, system)),
        tuple(_meets(criterion, system)),
        _refusal(criterion, system),
        restrike,
        stop,
        basis(criterion, system),
    )


def basis(criterion: Criterion, system: str) -> str:
    """Say where a criterion comes from."""
    names = ", ".join(criterion.piles)
    text = f"From test pile{'s' if len(criterion.piles) > 1 else ''} {names}: " if names else ""
    unchecked = {GRAPH_NOT_CHECKED, DISAGREEMENT} & {one.kind for one in (*criterion.alerts, *criterion.cautions)}
    through = "" if unchecked else " through the measured blows"
    text += f"signal matching, calibrated hammer, bearing graph{through}."
    governing = dict.fromkeys(row.pile for row in criterion.rows if row.pile)
    if governing:
        text += f" The least favourable pile governs at every stroke: {', '.join(governing)}."
    targets = [target_sentence(target, system) for target in criterion.targets]
    named = len(criterion.piles) > 1
    told_targets = [
        f"{pile}: {words}" if named else words for pile, words in zip(criterion.piles, targets, strict=False)
    ]
    return " ".join([text, *told_targets, *chance_sentences(criterion, system)])


def requirement_words(required: RequiredResistance, system: str) -> str:
    """Say how the required resistance was found.

    Examples
    --------
    >>> requirement_words(RequiredResistance(2e6, "factored", 1.3e6, 0.65), "SI")
    'factored load 1,300 kN over resistance factor 0.65'
    """
    load = show_required(required.load, system)
    words = {
        "nominal": f"nominal resistance {load} as given",
        "factored": f"factored load {load} over resistance factor {_factor_told(required, system)}",
        "service": f"service load {load} times safety factor {required.factor:.2f}",
    }.get(required.basis, "no requirement is stated")
    if required.additions:
        more = show("matched_resistance", sum(required.additions.values()), system)
        words += f", and {more} for scour and downdrag"
    return words


def _factor_told(required: RequiredResistance, system: str) -> str:
    """Write a resistance factor with the digits that a reader needs to find the requirement again."""
    if required.basis != "factored":
        return ""
    load, over = (show_required(one, system) for one in (required.load, required.load / required.factor))
    return _divisor(load.rsplit(" ", 1)[0], required.factor, over)


def target_sentence(target: EndOfDriveTarget, system: str) -> str:
    """Say what resistance is required at the end of driving, and how it follows from the requirement.

    A requirement has the digits it is stated with; what follows from it is not known so well.

    Examples
    --------
    >>> target_sentence(EndOfDriveTarget(1397.2e3, 1397.2e3), "SI").split(". ")[0]
    'Required at end of driving: 1,397.2 kN'
    >>> target_sentence(EndOfDriveTarget(1189.4e3, 1397.2e3), "SI").split(". ")[0]
    'Required at end of driving: 1,189 kN'
    >>> target_sentence(EndOfDriveTarget(1e6, 1e6), "SI")
    'Required at end of driving: 1,000 kN. Setup was not measured.'
    """
    required = show_required(target.required, system)
    value = required if target.value == target.required else show("matched_resistance", target.value, system)
    name = "" if target.setup is None else drive_name(target.setup.restrike).capitalize()
    factor = "" if target.factor is None else show_factor(target.factor)
    text = f"Required at end of driving: {value}"
    if target.kind in ("credited", "relaxation"):
        what = "setup factor" if target.kind == "credited" else "relaxation, factor"
        asked = required.rsplit(" ", 1)[0]
        text = (
            f"Required at end of driving: {asked} / {_divisor(asked, target.required / target.value, value)} = {value}"
        )
        text += f". {name}: {what} {factor}"
    why = {
        "not measured": "Setup was not measured",
        "no significant change": f"{name}: no significant change, factor {factor}",
        "not matched": f"{name}: setup factor {factor}, not based on two good matches, so not credited",
        "not credited": f"{name}: setup factor {factor}, not credited",
    }
    text += f". {why[target.kind]}" if target.kind in why else ""
    if target.middle == target.middle and target.value > target.middle * 1.0005:
        allowance = percent(target.value / target.middle - 1.0, 1)
        text += f". It includes {allowance} for test errors and variation between piles"
    if target.kind == "not credited" and target.with_credit is not None:
        text += f". With setup credited it would be {show('matched_resistance', target.with_credit, system)}"
    return f"{text}."


def _divisor(asked: str, ratio: float, result: str) -> str:
    """Write a divisor with as many decimals, two at least, as a reader needs to find the result again.

    Examples
    --------
    >>> _divisor("380", 1.4222, "267 kip"), _divisor("380", 1.4222, "268 kip")
    ('1.422', '1.42')
    """
    above, found = float(asked.replace(",", "")), result.split()[0]
    places = len(found.partition(".")[2])
    quotient = above / float(found.replace(",", ""))  # of the rounded numbers, where the ratio itself never fits
    written = [f"{ratio:.{decimals}f}" for decimals in (2, 3, 4)] + [
        f"{quotient:.{decimals}f}" for decimals in (4, 5, 6)
    ]
    return next((one for one in written if f"{above / float(one):,.{places}f}" == found), written[0])


def chance_sentences(criterion: Criterion, system: str) -> list[str]:
    """Say how many of the piles that just meet the count have less than is required; nothing where it is not known.

    Examples
    --------
    >>> rows = (CriterionRow(2.0, 0.004, short=0.44), CriterionRow(2.5, 0.005, short=0.36))
    >>> chance_sentences(Criterion(rows, 0.075), "SI")
    ['Of piles that just meet the count, 36 to 44 % have less resistance than required.']
    """
    known = [row.short for row in criterion.rows if row.short == row.short]
    if not known:
        return []
    low, high = chance(min(known)), chance(max(known))
    share = high if low == high else f"{low} to {high}" if low.startswith("under") else f"{low[:-2]} to {high}"
    required = [target.required for target in criterion.targets]
    what = f"than the required {show_required(max(required), system)}" if required else "resistance than required"
    when = {_WHEN.get(target.kind, "") for target in criterion.targets}
    return [f"Of piles that just meet the count, {share} have less {what}{when.pop() if len(when) == 1 else ''}."]


_WHEN = {
    **dict.fromkeys(("credited", "relaxation"), " after the wait"),
    **dict.fromkeys(("not measured", "not matched", "not credited"), " at the end of driving"),
}
"""When a pile has the resistance that a count is judged by, by the kind of its target."""


def _row(criterion: Criterion, row: CriterionRow, system: str) -> CardRow:
    stroke = show("stroke", row.stroke, system)
    every = least_count(criterion, row.set_per_blow)
    whole = criterion.way == WAYS[0]
    count = count_over(row.set_per_blow, criterion.holding_length) if whole else every
    least = (f"{every}" if every else "–") if whole else ""
    return CardRow(stroke, f"{count}", least, chance(row.short), chance(row.driven_on))


def count_asked(criterion: Criterion | None, row: StrokeRow, holding_length: float, system: str) -> tuple[str, str]:
    """Give the count that a stroke asks for and the length it is asked over, as the card of that criterion has them.

    Units: holding_length [m].
    """
    if criterion is None or criterion.way == WAYS[0]:
        return f"{row.count}", f"in {short_length(holding_length, system)}"
    return f"{least_count(criterion, row.set_per_blow)}", f"in every {counted_per(criterion, system)}"


def chance(share: float) -> str:
    """Write a chance.

    Examples
    --------
    >>> chance(0.123), chance(0.001), chance(float("nan"))
    ('12 %', 'under 1 %', '–')
    """
    if share != share:
        return "–"
    return "under 1 %" if share < 0.01 else percent(share)


def _meets(criterion: Criterion, system: str) -> list[str]:
    inch, held = counted_per(criterion, system), short_length(criterion.holding_length, system)
    if criterion.way == WAYS[0]:
        least = any(least_count(criterion, row.set_per_blow) for row in criterion.rows)
        lines = [f"Drive until the last {held} show the blows of the table at their stroke."]
        lines += [f"No {inch} may show fewer than the minimum."] if least else []
    else:
        lines = [
            f"Drive until every {inch} over {held} shows the blows of the table at its stroke, without interruption."
        ]
    if criterion.minimum_penetration is not None:
        depth = show_length(criterion.minimum_penetration, system)
        lines.append(f"The toe must be at least {depth} below the ground, measured vertically.")
    else:
        lines.append("No minimum penetration is given; ask the engineer whether there is one.")
    return lines


def _strokes(criterion: Criterion, system: str) -> list[str]:
    lowest = show("stroke", criterion.lowest_stroke - criterion.stroke_tolerance, system)
    lines = ["Between two strokes, interpolate the count."] if len(criterion.rows) > 1 else []
    lines.append(f"Blows with a stroke below {lowest} do not count.")
    if criterion.maximum_stroke is not None:
        lines.append(f"The stroke must not be above {show('stroke', criterion.maximum_stroke, system)}.")
    lines += [strokes_ruled_out_words(one, system) for one in criterion.ruled_out]
    return lines + easy_driving_sentences(criterion, system)


def easy_driving_sentences(criterion: Criterion, system: str) -> list[str]:
    """Say how high the stroke may go while driving is easy."""
    lines, said = [], set()
    length, unit = (FOOT, "foot") if system == "US" else (0.25, "0.25 m")
    for limit in sorted(criterion.easy_driving, key=lambda one: one.stroke):
        stroke, count = show("stroke", limit.stroke, system), f"{length / limit.set_per_blow:.0f}"
        if (limit.kind, count) in said and not limit.blows:
            continue  # a lower stroke is asked for below the same whole count
        said.add((limit.kind, count))
        line = f"Below {count} blows per {unit} keep the stroke at {stroke} or less to limit "
        line += f"the {limit.kind} stress"
        if limit.blows:
            first, last = (show("penetration", end, system) for end in (limit.depth_from, limit.depth_to))
            blows = "1 measured blow" if limit.blows == 1 else f"{limit.blows:,} measured blows"
            where = f"at {first}" if first == last else f"between {first} and {last}"
            line += f". {blows} exceeded its limit {where}"
        lines.append(f"{line}.")
    return lines


def strokes_ruled_out_words(one: StrokesRuledOut, system: str) -> str:
    """Say which strokes cannot be used and why.

    Examples
    --------
    >>> from dyntest.decisions.criterion import RuledOut
    >>> strokes_ruled_out_words(StrokesRuledOut("from", 3.0, RuledOut("tension", 3.0, 8e6, 7e6)), "SI")
    'Not to be used: strokes of 3.00 m and more; the tension stress of 8.0 MPa is above the limit of 7.0 MPa.'
    """
    stroke = show("stroke", one.stroke, system)
    which = f"strokes below {stroke}" if one.side == "below" else f"strokes of {stroke} and more"
    pile = f" ({one.pile})" if one.pile else ""
    return f"Not to be used: {which}{pile}; {ruled_out_words(one.reason, system)}."


def restrike_sentences(criterion: Criterion, rule: RestrikeRule, system: str = "SI") -> tuple[str, ...]:
    """Say when to stop and restrike, and what the restrike has to show."""
    if rule.stop_penetration is None:
        stop = "If the count is not met at the depth that the engineer gives"
    else:
        at_least = rule.stop_penetration == criterion.minimum_penetration
        where = "the minimum penetration" if at_least else f"{tape(DEPTH_TOLERANCE, system)} past the test pile"
        stop = f"If the count is not met with {tape(rule.stop_penetration, system)} of pile in the ground ({where})"
    wait = None if rule.wait is None else f"at least {show_wait(rule.wait)}"
    waiting = "as long as the engineer directs" if wait is None else f"{wait}, as the test pile did"
    judged = _judged(rule, system)
    if rule.change == SETUP:
        return (
            f"{stop}, stop driving. The test pile gained resistance while it waited.",
            f"Wait {waiting}, warm up the hammer elsewhere and restrike.",
            *judged,
            *_asked(rule, system),
            "Where the restrike falls short, call the engineer.",
        )
    if rule.change == RELAXATION:
        return (
            f"{stop}, stop and call the engineer. The test pile lost resistance while it waited.",
            f"Restrike piles that met the count, {'when and ' if wait is None else ''}as many as the engineer directs"
            f"{'' if wait is None else f', after {wait}'}. Warm up the hammer elsewhere first.",
            *judged,
            *_asked(rule, system),
            "Where the restrike falls short, call the engineer.",
        )
    why = {
        NO_CHANGE: "A restrike of the test pile showed no significant setup.",
        NOT_MEASURED: "Setup was not measured.",
    }[rule.change]
    after = "A pile resumed on another date is accepted only by a restrike that shows the full requirement."
    return (f"{stop}, stop and call the engineer. {why}", after)


def _asked(rule: RestrikeRule, system: str) -> list[str]:
    """Say the counts of a restrike in a line, for where there is no table."""
    counts = [f"{count} at {stroke} and above" for stroke, count in restrike_counts(rule, system)]
    return [f"Blows in the first {short_length(rule.judged_length, system)}: {', '.join(counts)}."] if counts else []


def _judged(rule: RestrikeRule, system: str) -> list[str]:
    showing = show_required(rule.resistance, system)
    if not rule.rows:
        return [f"Only a dynamic test can show {showing} at the restrike."]
    length, most = short_length(rule.judged_length, system), short_length(rule.most_length, system)
    return [f"The first {length} of the restrike must show {showing}. Stop after {most} at the latest."]


def restrike_counts(rule: RestrikeRule, system: str) -> tuple[tuple[str, str], ...]:
    """Give the strokes and whole counts of a restrike, leaving out strokes with the same count as the one below."""
    found: list[tuple[str, str]] = []
    before = 0
    for row in rule.rows:
        count = max(1, -int(-rule.judged_length / row.set_per_blow // 1))  # rounded up: it is one inch alone
        if count != before:
            found.append((show("stroke", row.stroke, system), f"{count}"))
        before = count
    return tuple(found)


def counted_per(criterion: Criterion, system: str) -> str:
    """Name the length in which the blows of a criterion are counted, in its own units, about how long it is behind.

    Examples
    --------
    >>> criterion = Criterion((CriterionRow(2.0, 0.004),), 0.1)
    >>> counted_per(criterion, "SI"), counted_per(criterion, "US")
    ('25 mm', '25 mm (about 1 in)')
    """
    length = criterion.counting.length
    own = next((one for one, (counted, _) in COUNT_LENGTHS.items() if counted == length), None)
    _, bracket, about = short_length(length, system).partition(" (")
    return short_length(length, system) if own is None else f"{per_count(own)}{bracket}{about}"


def refusal_length(criterion: Criterion, system: str) -> str:
    """Write the length over which practical refusal has to hold, in whole counts as the inspector keeps them."""
    return short_length(max(1, round(criterion.refusal_length / INCH)) * criterion.counting.length, system)


def _refusal(criterion: Criterion, system: str) -> str:
    count = count_over(criterion.refusal_set, criterion.counting.length)
    length, least = refusal_length(criterion, system), show("stroke", criterion.refusal_stroke, system)
    return (
        f"Refusal, if the count above is not met: {count} blows or more in every {counted_per(criterion, system)} "
        f"over {length}. Only strokes of {least} or more count. Stop and call the engineer."
    )


def absolute_refusal(criterion: Criterion, system: str) -> str:
    """Say when the hammer stops at once, over a quarter of the length in which blows are counted."""
    inches = criterion.counting.length == INCH
    length, quarter, about = (0.25 * INCH, "1/4 in", "6 mm") if inches else (0.006, "6 mm", "1/4 in")
    quarter += f" (about {about})" if inches == (system == "SI") else ""
    return f"Absolute refusal: {count_over(ABSOLUTE_REFUSAL_SET, length)} blows in {quarter}. Stop at once."
