"""The report, and the criterion card alone: plain data and figures made into a PDF by the templates beside this."""

import json
import re
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from functools import cache
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from dyntest.presenting import palette
from dyntest.presenting.explanations import NUMBERED
from dyntest.presenting.report.answers import (
    criterion_blocks,
    delivery_blocks,
    resistance_blocks,
    setup_blocks,
    summary_blocks,
    trust_blocks,
)
from dyntest.presenting.report.card import card
from dyntest.presenting.report.described import assumptions, description, equation_blocks, notes_and_seal, provenance
from dyntest.presenting.report.front_page import front_page
from dyntest.reviewing.review import Review


def typeset(template: str, data: dict, figures: Mapping[str, bytes], today: date) -> bytes:
    """Give a document as PDF, the same bytes for the same data."""
    import typst

    compiled: Any = typst.compile  # its types know nothing of sources in memory
    texts = {f"{name}.svg": figure.decode() for name, figure in figures.items()}
    texts["report.json"] = json.dumps(data, ensure_ascii=False, allow_nan=False)
    given, folders, missing = legible(texts)
    if missing:
        footed = {**data, "footer": f"{data['footer']}. {UNWRITTEN}"}
        given |= legible({"report.json": json.dumps(footed, ensure_ascii=False)})[0]
    sources = {"main.typ" if name == template else name: source for name, source in _templates().items()}
    sources["equations.typ"] = f"#let formulas = ({''.join(f'$ {one.typeset} $, ' for one in NUMBERED)})".encode()
    return compiled(
        {**sources, **given},
        ignore_system_fonts=True,
        font_paths=[*([font_folder()] if figures or folders else []), *folders],
        timestamp=datetime(today.year, today.month, today.day, tzinfo=UTC),
    )


@cache
def font_folder() -> str:
    """Give where the fonts of the figures lie, without loading what draws them."""
    found = find_spec("matplotlib")
    assert found is not None and found.submodule_search_locations is not None
    return f"{found.submodule_search_locations[0]}/mpl-data/fonts/ttf"


STRANGE = re.compile(r"[\u0400-\u1fff\u2c00-\ufaff\ufb1d-\ufefc\uff10-\uffdc\U00010000-\U0010ffff]")
"""Letters and signs that the fonts of the documents may lack: none of dyntest's own is among them."""

UNWRITTEN = "[U+…]: a letter that no font here has, by its Unicode number"
"""Said on every page that has one."""


def legible(texts: Mapping[str, str]) -> tuple[dict[str, bytes], tuple[str, ...], frozenset[str]]:
    """Give texts in which a letter that no font here has is its Unicode number; folders of fonts, and such letters.

    One rule for documents and figures: a box in a pile's name would hide which pile it is.
    """
    folders, missing = fonts_for(frozenset().union(*(STRANGE.findall(text) for text in texts.values())))
    numbers = {ord(letter): f"[U+{ord(letter):04X}]" for letter in missing}
    given = {name: text.translate(numbers).encode("utf-8", "replace") for name, text in texts.items()}
    return given, folders, missing


def legible_figures(figures: Mapping[str, bytes]) -> dict[str, bytes]:
    """Give figures as SVG in which a letter that no font here has is its Unicode number."""
    return legible({name: figure.decode() for name, figure in figures.items()})[0]


@cache
def fonts_for(letters: frozenset[str]) -> tuple[tuple[str, ...], frozenset[str]]:
    """Give the folders of fonts that have these letters, those of the figures and of the system, and what none has."""
    if not letters:
        return (), frozenset()
    from matplotlib.font_manager import findSystemFonts
    from matplotlib.ft2font import FT2Font

    left, folders = set(letters), {}
    for path in [f"{font_folder()}/DejaVuSans.ttf", *sorted(findSystemFonts())]:
        if not left:
            break
        try:
            found = {letter for letter in left if FT2Font(path).get_char_index(ord(letter))}
        except (OSError, RuntimeError):
            continue  # not a font that can be read
        if found:
            left -= found
            folders[str(Path(path).parent)] = True
    return tuple(folders), frozenset(left)


@cache
def _templates() -> dict[str, bytes]:
    folder = files("dyntest.presenting.report")
    return {entry.name: entry.read_bytes() for entry in folder.iterdir() if entry.name.endswith(".typ")}


PNG_RESOLUTION = 200
"""Pixels of an inch of a figure [1/in], enough for a page in print."""


def pictures_png(figures: Mapping[str, bytes]) -> dict[str, bytes]:
    """Give figures as PNG, the same bytes for the same figures."""
    import typst

    compiled: Any = typst.compile
    if not figures:
        return {}
    pages = "\n#pagebreak()\n".join(f'#image("{place}.svg")' for place in range(len(figures)))
    source = f"#set page(width: auto, height: auto, margin: 0pt)\n{pages}".encode()
    texts = {f"{place}.svg": figure.decode() for place, figure in enumerate(figures.values())}
    given, folders, _ = legible(texts)
    drawn = compiled(
        {"main.typ": source, **given},
        format="png",
        ppi=PNG_RESOLUTION,
        ignore_system_fonts=True,
        font_paths=[font_folder(), *folders],
    )
    return dict(zip(figures, [drawn] if isinstance(drawn, bytes) else drawn, strict=True))


PAPERS = {"US Letter": "us-letter", "A4": "a4"}
"""Papers by their usual names."""

HEADER_LETTERS = 45
"""Letters of a name in the page header at most [1]; it is given in full on the first page."""


def report_data(review: Review, paper: str, today: date, figures: Iterable[str]) -> dict:
    """Give everything that the report says; what shows no figure first, since they may still be being drawn."""
    front, described, blows = front_page(review, today), description(review), summary_blocks(review)
    assumed, equations, traced = assumptions(review), equation_blocks(), provenance(review)
    figures = frozenset(figures)
    sections = [
        ("1  What was tested", described, True),
        ("2  Records: can they be trusted?", trust_blocks(review, figures), False),
        ("3  Hammer and stresses: what did the hammer deliver, and did it damage the pile?",
         delivery_blocks(review, figures), False),
        ("4  Blow summary", blows, False),
        ("5  Resistance: how much, and how certain?", resistance_blocks(review, figures), False),
        ("6  Setup: did the pile gain or lose resistance?", setup_blocks(review, figures), False),
        ("7  Driving criterion", criterion_blocks(review, figures), False),
        ("Appendix A: assumptions and choices", assumed, False),
        ("Appendix B: equations", equations, False),
        ("Appendix C: provenance", traced, False),
        ("Notes and seal", notes_and_seal(review), False),
    ]  # fmt: skip
    kept = [{"question": question, "blocks": blocks, "page": page} for question, blocks, page in sections]
    sheet = review.sheet
    data = page_data(sheet.pile_name, sheet.structure, sheet.engineer, paper, today, review.version)
    return {**data, "front": front, "sections": kept}


def card_of(review: Review) -> dict | None:
    """Give the criterion card of a review."""
    found, sheet = review.answers.criterion, review.sheet
    if found is None or found.criterion is None:
        return None
    hammer = next((d.drive.hammer for d in reversed(review.drives) if d.kind == "initial"), sheet.hammer)
    return card(found.criterion, sheet.structure, sheet.display_units, sheet.pile, hammer)


def page_data(pile: str, structure: str, author: str, paper: str, today: date, version: str) -> dict:
    """Give what every page says."""
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
