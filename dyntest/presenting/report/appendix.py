"""The appendix: assumptions and choices with their sources, equations, provenance, notes and seal."""

import platform
from importlib.metadata import version

from dyntest.names import show
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION
from dyntest.presenting.explanations import NUMBERED
from dyntest.presenting.report.blocks import Block, facts, heading, note, rows
from dyntest.presenting.sentences import drive_words
from dyntest.presenting.terms import short_length
from dyntest.reviewing.review import Review

LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib", "pyarrow", "pint", "pydantic", "typst")
"""Libraries whose versions may matter for a number or a page."""

CHOICES = "test sheet, [choices]"

NOTE_LINES = 5
"""Empty lines for the engineer's notes [1]."""


def assumptions(review: Review) -> list[Block]:
    """Give every assumption and choice with its source."""
    answers, system = review.answers, review.sheet.display_units
    decided = [*_conditioning(review), *_drive_choices(review)]
    if answers.criterion is not None and answers.criterion.criterion is not None:
        criterion = answers.criterion.criterion
        refusal = f"over {short_length(criterion.refusal_length, system)}, at the count of the criterion card"
        decided.append(("practical refusal", refusal, "UFC 3-220-20 (2025), 6-4.1.2"))
        held = short_length(criterion.holding_length, system)
        decided.append(("length over which the count holds", held, "as practical refusal"))
    decided += [
        ("pile in signal matching", "segments of equal travel time", "one-dimensional waves"),
        ("soil in signal matching", "springs with a limit, and dashpots of nine laws; no creep or residual stress",
         "Smith (1960), ASCE J. Soil Mech. Found. Div. 86(SM4)"),
    ]  # fmt: skip
    return [facts(decided), note(GOVERNING_SPECIFICATION)]


def _conditioning(review: Review) -> list[tuple[str, str, str]]:
    choices = review.sheet.choices
    low_pass = "none" if choices.low_pass is None else f"{choices.low_pass:,.0f} Hz, without phase shift"
    lag = "corrected" if choices.align else "reported, not corrected"
    credit = {None: "not decided, so not credited", True: "credited", False: "not credited"}[choices.setup_credit]
    return [
        ("baseline", "mean of the quiet samples before the impact taken off every channel", "this program"),
        ("velocity", "trapezoidal integration; drift taken off so that the pile comes to rest, or moves by the set of "
                     "the driving log", "this program"),
        ("low-pass filter", low_pass, _chosen(choices.low_pass is not None)),
        ("lag between strain and acceleration", lag, _chosen(choices.align)),
        ("soil law", choices.soil_law, _chosen(choices.soil_law != "best")),
        ("verification", choices.verification or "not chosen", _chosen(choices.verification is not None)),
        ("setup measured by a restrike", credit, _chosen(choices.setup_credit is not None)),
    ]  # fmt: skip


def _chosen(own: bool) -> str:
    return CHOICES if own else "default"


def _drive_choices(review: Review) -> list[tuple[str, str, str]]:
    system, items = review.sheet.display_units, []
    for drive in review.drives:
        name = drive_words(drive)
        factor = "none"
        if drive.damping_source != "none":
            factor = show("damping_factor", float(drive.table["damping_factor"].iloc[0]), system)
        items.append((f"Case damping factor, {name}", factor, drive.damping_source))
        if drive.representative is not None:
            own = drive.name in review.sheet.choices.blow
            blow = str(drive.representative.blow)
            items.append((f"representative blow, {name}", blow, CHOICES if own else "rule of this program"))
    return items


def equation_blocks() -> list[Block]:
    """Give the equations."""
    items = [{"words": f"{one.what} {one.validity}", "source": one.source} for one in NUMBERED]
    return [{"kind": "equations", "items": items}]


def provenance(review: Review) -> list[Block]:
    """Give where the data come from and what computed the results."""
    files = rows(["file", "SHA-256"], [[name, digest] for name, digest in review.inputs.items()], [1, 1.9], "ll")
    programs = [("dyntest", review.version), ("Python", platform.python_version())]
    programs += [(name, version(name)) for name in LIBRARIES]
    sheet = {"kind": "listing", "text": review.sheet.text}
    return [files, note(f"Computed with {', '.join(f'{name} {number}' for name, number in programs)}."),
            heading("The test sheet as read"), sheet]  # fmt: skip


def notes_and_seal(review: Review) -> list[Block]:
    """Give empty lines for the engineer's notes, and room for signatures and seal."""
    sheet = review.sheet
    people = (("tested by", sheet.tested_by), ("checked by", sheet.checked_by), ("engineer", sheet.engineer))
    return [{"kind": "seal", "lines": NOTE_LINES, "people": [list(one) for one in people]}]
