"""The appendix: every blow, every assumption and choice with its source, equations, and where the data come from."""

import platform
from importlib.metadata import version

from dyntest.decisions.caution import GOVERNING_SPECIFICATION
from dyntest.names import NAMES, show
from dyntest.presenting.explanations import NUMBERED, reference
from dyntest.presenting.finding_words import ASSUMES_UNIFORM
from dyntest.presenting.report.blocks import Block, facts, heading, note, rows
from dyntest.presenting.report.tables import every_blow
from dyntest.presenting.sentences import drive_words
from dyntest.reviewing.review import Review

LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib", "pyarrow", "pint", "pydantic", "typst")
"""Libraries whose versions may matter for a number or a page."""

CHOICES = "test sheet, [choices]"


def blow_tables(review: Review) -> list[Block]:
    """Give the tables of every blow."""
    blocks: list[Block] = []
    for drive in review.drives:
        title = f"{drive_words(drive).capitalize()}, {len(drive.table):,} blows"
        blocks += [heading(title), *every_blow(drive, review.sheet.display_units)]
    return blocks


def assumptions(review: Review) -> list[Block]:
    """Give every assumption and choice with its source."""
    answers = review.answers
    decided = [*_conditioning(review), *_drive_choices(review)]
    if answers.target is not None:
        decided.append(("resistance at the end of driving", answers.target.how, "requirement and restrikes"))
    if answers.criterion is not None and answers.criterion.criterion is not None:
        criterion = answers.criterion.criterion
        system = review.sheet.display_units
        words = f"over {show('set_per_blow', criterion.refusal_length, system)} at the count of the criterion card"
        decided.append(("practical refusal", words, "UFC 3-220-20 (2025), 6-4.1.2"))
        holding = show("set_per_blow", criterion.holding_length, system)
        decided.append(("length over which the count holds", holding, "as for practical refusal, UFC 3-220-20 (2025)"))
    granted = [(NAMES[code].words, f"takes for granted {words}", reference(code))
               for code, words in ASSUMES_UNIFORM.items()]  # fmt: skip
    matching = [
        ("pile in signal matching", "segments of equal travel time, one segment a time step", "one-dimensional waves"),
        ("soil in signal matching", "springs with a limit, and dashpots; no radiation, no creep, no residual stress",
         "Smith (1960), ASCE J. Soil Mech. Found. Div. 86(SM4); starting values UFC 3-220-20 (2025), 6-9.2"),
    ]  # fmt: skip
    return [heading("Chosen"), facts(decided), heading("Taken for granted"), facts([*granted, *matching]),
            note(GOVERNING_SPECIFICATION)]  # fmt: skip


def _conditioning(review: Review) -> list[tuple[str, str, str]]:
    choices = review.sheet.choices
    low_pass = "none" if choices.low_pass is None else f"{choices.low_pass:,.0f} Hz, without phase shift"
    lag = "corrected" if choices.align else "found and reported, not corrected"
    return [
        ("baseline", "mean of the quiet samples before the impact taken off every channel", "this program"),
        ("velocity", "trapezoidal integration; drift taken off so that the pile comes to rest, or moves by the set of "
                     "the driving log where it is known", "this program"),
        ("low-pass filter", low_pass, _chosen(choices.low_pass is not None)),
        ("lag between strain and acceleration", lag, _chosen(choices.align)),
        ("gauges left out", ", ".join(dict.fromkeys((*review.sheet.gauges.leave_out, *choices.leave_out))) or "none",
         "test sheet"),
        ("soil law", choices.soil_law, _chosen(choices.soil_law != "best")),
        ("verification", choices.verification or "not chosen", _chosen(choices.verification is not None)),
        ("setup measured by a restrike", {None: "not decided, so not credited", True: "credited", False:
         "not credited"}[choices.setup_credit], _chosen(choices.setup_credit is not None)),
    ]  # fmt: skip


def _chosen(own: bool) -> str:
    return CHOICES if own else "default of this program"


def _drive_choices(review: Review) -> list[tuple[str, str, str]]:
    system, items = review.sheet.display_units, []
    for drive in review.drives:
        name = drive_words(drive)
        factor = "none" if drive.damping_source == "none" else ""
        if not factor:
            factor = show("damping_factor", float(drive.table["damping_factor"].iloc[0]), system)
        items.append((f"Case damping factor, {name}", factor, drive.damping_source))
        if drive.representative is not None:
            own = drive.name in review.sheet.choices.blow
            items.append((f"representative blow, {name}", str(drive.representative.blow), _chosen(own)))
    return items


def equation_blocks() -> list[Block]:
    """Give the equations."""
    items = [{"words": f"{one.what} {one.validity}", "source": one.source} for one in NUMBERED]
    return [{"kind": "equations", "items": items}]


def provenance(review: Review) -> list[Block]:
    """Give where the data come from and what computed the results."""
    files = rows(["file", "SHA-256"], [[name, digest] for name, digest in review.inputs.items()], [1, 1.6], "ll")
    programs = [("dyntest", review.version, ""), ("Python", platform.python_version(), "")]
    programs += [(name, version(name), "") for name in LIBRARIES]
    sheet = {"kind": "listing", "text": review.sheet.text}
    return [heading("Files that were read"), files, heading("Programs"), facts(programs),
            heading("The test sheet as read"), sheet]  # fmt: skip
