"""The whole report, and the criterion card alone, as plain data for the templates."""

from collections.abc import Iterable
from datetime import date

from dyntest.presenting import palette
from dyntest.presenting.report.answers import (
    criterion_blocks,
    delivery_blocks,
    resistance_blocks,
    trust_blocks,
    waiting_blocks,
)
from dyntest.presenting.report.appendix import assumptions, blow_tables, equation_blocks, provenance
from dyntest.presenting.report.card import card
from dyntest.presenting.report.described import description
from dyntest.presenting.report.front_page import front_page
from dyntest.review import Review

PAPERS = {"US Letter": "us-letter", "A4": "a4"}
"""Papers by the name of them that a person writes."""

HEADER_LETTERS = 45
"""Letters of a name in the page header at most [1]; it stands in full on the first page."""


def report_data(review: Review, paper: str, today: date, figures: Iterable[str]) -> dict:
    """Give everything that the report says.

    Parameters
    ----------
    review : Review
        The reviewed test.
    paper : str
        A key of `PAPERS`.
    today : datetime.date
        Date of the report.
    figures : iterable of str
        Names of the figures there are.

    Returns
    -------
    dict
        For the template.
    """
    figures = frozenset(figures)
    drawn = "criterion" in figures
    sections = [
        ("What was tested, and with what?", description(review), True),
        ("Can the record be trusted?", trust_blocks(review, figures), True),
        ("What did the hammer deliver, and did it hurt the pile?", delivery_blocks(review, figures), True),
        ("What resistance does the pile have, and how sure is that?", resistance_blocks(review, figures), True),
        ("What changed while the pile waited?", waiting_blocks(review, figures), False),
        ("What do the inspectors hold bearing piles against?", criterion_blocks(review, figures), drawn),
    ]
    found = card_of(review)
    if found is not None:
        sections.append(("", [{"kind": "card", **found}], True))
    sections += [
        ("Appendix A: every blow", blow_tables(review), True),
        ("Appendix B: assumptions and choices", assumptions(review), True),
        ("Appendix C: equations", equation_blocks(), True),
        ("Appendix D: provenance", provenance(review), True),
    ]
    kept = [{"question": question, "blocks": blocks, "page": page} for question, blocks, page in sections]
    sheet = review.sheet
    data = page_data(sheet.pile_name, sheet.structure, sheet.engineer, paper, today, review.version)
    return {**data, "front": front_page(review, today), "sections": kept}


def card_of(review: Review) -> dict | None:
    """Give the criterion card of a review.

    Parameters
    ----------
    review : Review
        The reviewed test.

    Returns
    -------
    dict or None
        For the template; None where there is no criterion to be met.
    """
    found, sheet = review.answers.criterion, review.sheet
    if found is None or found.criterion is None:
        return None
    return card(found.criterion, sheet.structure, sheet.display_units)


def page_data(pile: str, structure: str, author: str, paper: str, today: date, version: str) -> dict:
    """Give what every page says.

    Parameters
    ----------
    pile, structure : str
        Names for the header; the pile's may be empty.
    author : str
        Author of the document.
    paper : str
        A key of `PAPERS`.
    today : datetime.date
        Date of the document.
    version : str
        Version of dyntest.

    Returns
    -------
    dict
        For the template.
    """
    pile_words = f"pile {_cut(pile)}" if pile else ""
    header = " · ".join(filter(None, (pile_words, _cut(structure))))
    colours = {"ink": palette.INK, "quiet": palette.QUIET, "accent": palette.ACCENT, "warning": palette.WARNING}
    return {
        "paper": PAPERS[paper],
        "palette": colours,
        "title": f"Dynamic test of {pile_words}" if pile else "Driving criterion",
        "author": author,
        "header": header,
        "footer": f"dyntest {version}, decision support: the engineer in charge decides",
        "date": f"{today:%Y-%m-%d}",
    }


def _cut(name: str) -> str:
    return name if len(name) <= HEADER_LETTERS else f"{name[: HEADER_LETTERS - 1]}…"
