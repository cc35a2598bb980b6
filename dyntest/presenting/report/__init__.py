"""The report of a test pile as PDF, and the criterion card for its inspectors alone."""

from collections.abc import Mapping
from datetime import date

from dyntest import __version__
from dyntest.decisions.criterion import Criterion
from dyntest.errors import InputError
from dyntest.presenting.report.card import card
from dyntest.presenting.report.compose import PAPERS, card_of, page_data, report_data, typeset
from dyntest.presenting.sentences import no_criterion_words
from dyntest.reviewing.review import Review

USUAL_PAPER = {"US": "US Letter", "SI": "A4"}
"""Paper where none is asked for, by the system of units."""


def report_pdf(
    review: Review,
    *,
    paper: str | None = None,
    date: date | None = None,
    figures: Mapping[str, bytes] | None = None,
) -> bytes:
    """Give the report of a test pile.

    Parameters
    ----------
    review : Review
        The reviewed test.
    paper : str or None
        ``"US Letter"`` or ``"A4"``; None: by the sheet's display units.
    date : datetime.date or None
        Date of the report; None: today.
    figures : mapping of str to bytes or None
        Its figures, where they are drawn already.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    InputError
        If the paper is not known.
    """
    if figures is None:
        from dyntest.presenting.figures import review_figures  # slow to load, and in another process as a rule

        figures = review_figures(review)
    today = _today(date)
    data = report_data(review, _paper(paper, review.sheet.display_units), today, figures)
    return typeset("report.typ", data, figures, today)


def criterion_card_pdf(
    source: Review | Criterion,
    *,
    structure: str = "",
    system: str = "US",
    paper: str | None = None,
    date: date | None = None,
) -> bytes:
    """Give the criterion card, one page.

    Parameters
    ----------
    source : Review or Criterion
        A reviewed test, or the criterion of a structure from several tests.
    structure : str
        The structure, for a `Criterion`; a review brings its own.
    system : str
        ``"SI"`` or ``"US"``, for a `Criterion`; a review brings its own.
    paper : str or None
        ``"US Letter"`` or ``"A4"``; None: by the display units.
    date : datetime.date or None
        Date of the card; None: today.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    InputError
        If the review has no criterion, or the paper is not known.
    """
    pile, engineer = "", ""
    if isinstance(source, Review):
        sheet, found = source.sheet, card_of(source)
        pile, structure, system, engineer = sheet.pile_name, sheet.structure, sheet.display_units, sheet.engineer
        if found is None:
            problem = f"there is no driving criterion: {no_criterion_words(source)}"
            raise InputError(pile, "criterion card", problem, "see the cautions in the report")
    else:
        found = card(source, structure, system)
    today = _today(date)
    data = page_data(pile, structure, engineer, _paper(paper, system), today, __version__)
    return typeset("inspector.typ", {**data, "card": {"kind": "card", **found}}, {}, today)


def _today(given: date | None) -> date:
    return date.today() if given is None else given


def _paper(asked: str | None, system: str) -> str:
    paper = USUAL_PAPER[system] if asked is None else asked
    if paper not in PAPERS:
        raise InputError("report", "paper", f'"{paper}" is not known', f"write {' or '.join(PAPERS)}")
    return paper
