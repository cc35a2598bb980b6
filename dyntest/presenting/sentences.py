"""The answers in sentences, each with its number, its unit and its blow; terminal, pages and report say them alike."""

from dyntest.decisions.criterion import show_count
from dyntest.decisions.driving_criterion import StrokeRow
from dyntest.decisions.setup import Setup
from dyntest.decisions.waits import show_wait
from dyntest.names import NAMES, display_unit, show
from dyntest.review import Review
from dyntest.reviewing.drive_review import DriveReview

TRUST = {
    "yes": "the record can be trusted",
    "with care": "the record can be trusted with care",
    "no": "the record cannot be trusted as it stands",
}

STRESSES = (
    ("compression", "peak_gauge_stress"),
    ("compression", "toe_compression_stress"),
    ("tension", "peak_tension_stress"),
)
"""Which limit each stress is held against."""


def drive_words(drive: DriveReview) -> str:
    """Give the name of a drive as a person writes it.

    Parameters
    ----------
    drive : DriveReview
        The drive.

    Returns
    -------
    str
        Such as ``"restrike 1"``.
    """
    return drive.name.replace("_", " ")


def trust_sentence(review: Review) -> str:
    """Say whether the record can be trusted, and why not where it cannot.

    Parameters
    ----------
    review : Review
        The reviewed test.

    Returns
    -------
    str
        A sentence.
    """
    reasons = f" ({', '.join(review.trust.reasons)})" if review.trust.reasons else ""
    return f"{review.sheet.pile_name}: {TRUST[review.trust.answer]}{reasons}."


def show_range(low: float, high: float, code: str, system: str) -> str:
    """Write a range with its unit once.

    Parameters
    ----------
    low, high : float
        Its ends [SI unit of the name].
    code : str
        A key of `dyntest.names.NAMES`.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    str
        Both ends and the unit.

    Examples
    --------
    >>> show_range(1.5e6, 1.7e6, "matched_resistance", "SI")
    '1,500 to 1,700 kN'
    """
    unit, _, _ = display_unit(code, system)
    return f"{show(code, low, system).removesuffix(unit).strip()} to {show(code, high, system)}"


def resistance_sentence(review: Review, drive: DriveReview) -> str:
    """Say what resistance a drive shows, how sure that is, and whether it is what is required.

    Parameters
    ----------
    review : Review
        The reviewed test.
    drive : DriveReview
        One of its drives.

    Returns
    -------
    str
        A sentence or two.
    """
    system, name, numbers = review.sheet.display_units, drive_words(drive).capitalize(), drive.numbers
    if drive.representative is None:
        return f"{name}: no blow is sound enough to show a resistance."
    if drive.trust.answer == "no":
        return f"{name}: no resistance is stated, since the record cannot be trusted."
    code = next((c for c in ("matched_resistance", "case_resistance_maximum") if c in numbers), None)
    if code is None:
        return f"{name}: no static resistance is known without a damping factor or a signal match."
    how = "from signal matching" if code == "matched_resistance" else "by the Case method"
    low, high = drive.match.matched_resistance_range if drive.match else (numbers[code], numbers[code])
    spread = f" ({show_range(low, high, code, system)})" if low < high else ""
    text = f"{name}: {show(code, numbers[code], system)}{spread} {how} of blow {drive.representative.blow}"
    required = review.answers.required.value
    if required is not None:
        text += f"; {show(code, required, system)} is required, {_against(required, low, high)}"
    if code != "matched_resistance":
        factor = show("damping_factor_maximum", numbers.get("damping_factor_maximum"), system)
        text += f" (if the damping factor {factor} is right: no match confirms it)"
    return " ".join([f"{text}.", *_doubts(drive, system)])


def _doubts(drive: DriveReview, system: str) -> list[str]:
    """Say what stands against taking a resistance as it is."""
    match, doubts = drive.match, []
    if drive.representative.lower_bound:
        doubts.append("A LOWER BOUND: the blow moved the pile too little to show all of it.")
    elif match is not None and not match.fully_mobilised:
        doubts.append("A LOWER BOUND: the matched soil was not fully mobilised.")
    if match is not None and not match.fitted:
        doubts.append("THE MATCH IS POOR: computed and measured waves differ too much for the number to be used.")
    if drive.match_problem:
        doubts.append(f"Not matched: {drive.match_problem.rstrip('.')}.")
    if any(
        f.check == "integrity" and f.severity != "note" and drive.representative.blow in f.blows for f in drive.findings
    ):
        depth = show("integrity_depth", drive.numbers.get("integrity_depth"), system)
        doubts.append(f"THE PILE MAY BE DAMAGED {depth} below the gauges, so it may not carry this for long.")
    return doubts


def _against(required: float, low: float, high: float) -> str:
    if low >= required:
        return "which it shows"
    return "which lies within that range and is not shown for certain" if high >= required else "which it does NOT show"


def stress_sentences(review: Review) -> list[str]:
    """Say for each stress how high it went in any blow, against its limit.

    Parameters
    ----------
    review : Review
        The reviewed test.

    Returns
    -------
    list of str
        A sentence a stress.
    """
    system, told = review.sheet.display_units, []
    for sense, code in STRESSES:
        found = [(drive.table[code].max(), drive) for drive in review.drives if drive.table[code].notna().any()]
        if not found:
            continue
        highest, drive = max(found, key=lambda pair: pair[0])
        blow = int(drive.table["blow"].iloc[int(drive.table[code].argmax())])
        words = NAMES[code].words
        text = f"{words[0].upper()}{words[1:]}: at most {show(code, highest, system)}"
        text += f" ({drive_words(drive)}, blow {blow})"
        limit = getattr(review.limits, sense)
        if limit.value is None:
            text += f"; no limit is known, write {limit.needed}"
        else:
            text += f", {'ABOVE' if highest > limit.value else 'within'} the limit of {show(code, limit.value, system)}"
        told.append(f"{text}.")
    return told


def setup_sentence(setup: Setup) -> str:
    """Say what changed between the end of the initial drive and a restrike.

    Parameters
    ----------
    setup : Setup
        A restrike held against the initial drive.

    Returns
    -------
    str
        A sentence.
    """
    when = "" if setup.wait is None else f", {show_wait(setup.wait)} after the initial drive"
    name = f"{setup.restrike.replace('_', ' ').capitalize()}{when}"
    factor = setup.setup_factor
    if factor is None:
        return f"{name}: the two drives share no resistance that could be compared."
    spread = f" ({factor.low:.2f} to {factor.high:.2f})" if factor.has_range else ""
    basis = NAMES[setup.basis].words
    return f"{name}: {factor.value:.2f} times the resistance at the end of driving{spread}, by the {basis}."


def alert_sentences(review: Review) -> list[str]:
    """Say what forbids the use of the driving criterion until it is cleared up; to stand before everything else.

    Parameters
    ----------
    review : Review
        The reviewed test.

    Returns
    -------
    list of str
        Sentences; none where nothing forbids it.
    """
    found = review.answers.criterion
    alerts = () if found is None else found.alerts
    return [f"DO NOT USE THE DRIVING CRITERION YET: {a.message.rstrip('.')}; {a.cure.rstrip('.')}." for a in alerts]


def criterion_sentence(review: Review) -> str:
    """Say what bearing piles have to meet, or why there is no criterion.

    Parameters
    ----------
    review : Review
        The reviewed test.

    Returns
    -------
    str
        A sentence or two; the strokes are in the criterion's rows.
    """
    found, system = review.answers.criterion, review.sheet.display_units
    if found is None:
        return f"No driving criterion: {review.answers.criterion_problem.rstrip('.')}."
    if found.criterion is None:
        return f"No driving criterion: no stroke of the approved range can show {found.target.how}"
    held = show("set_per_blow", found.criterion.holding_length, system)
    text = f"{found.target.how} The blow count has to hold over {held}"
    if found.criterion.minimum_penetration is not None:
        text += f", at a penetration of at least {show('penetration', found.criterion.minimum_penetration, system)}"
    agreement = {True: "agree with the bearing graph", False: "DO NOT agree with the bearing graph"}.get(found.agrees)
    measured = f" The measured blows {agreement}." if agreement else " No measured blow could be held against it."
    return f"{text}.{measured}"


def criterion_cells(row: StrokeRow, system: str) -> tuple[str, str, str, str, str]:
    """Give the cells of one row of the criterion.

    Parameters
    ----------
    row : StrokeRow
        One stroke.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    tuple of str
        Stroke, blow count, compression, tension, and why the stroke cannot be used.
    """
    stresses = (show("peak_gauge_stress", stress, system) for stress in (row.compression_stress, row.tension_stress))
    count = "–" if row.ruled_out else show_count(row.set_per_blow, system, asked=True)
    return (show("stroke", row.stroke, system), count, *stresses, row.ruled_out)


CRITERION_HEADS = ("stroke", "at least", "compression", "tension", "")
"""What the cells of `criterion_cells` are."""
