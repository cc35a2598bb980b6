"""The page that compares two test piles: resistance, setup, energy, stresses and criterion."""

from pathlib import Path

import pandas as pd
import streamlit as st

from dyntest.names import NAMES, show_required
from dyntest.presenting import palette
from dyntest.presenting.frames_decisions import criterion_rows, ruled_out_lines
from dyntest.presenting.sentences import criterion_sentence, drive_words, resistance_sentence, short_trust
from dyntest.presenting.tables import applicable
from dyntest.presenting.terms import bound_mark

from .. import matching, pieces, uploads, work
from ..charts.profiles import profile_data
from ..components import draw_profiles

NUMBERS = (
    "matched_resistance",
    "shaft_resistance",
    "toe_resistance",
    "case_resistance_maximum",
    "transferred_energy",
    "energy_ratio",
    "stroke",
    "set_per_blow",
    "peak_gauge_stress",
    "peak_tension_stress",
    "integrity_factor",
)
"""Quantities of the representative blows that are compared."""

DRAWN = ("energy_ratio", "case_resistance_maximum", "peak_gauge_stress")
"""Quantities of every blow that are drawn for both piles."""


def draw() -> None:
    """Draw the page."""
    test = work.test()
    path = _choose(test)
    if path is None:
        pieces.draw_answer(["Choose the other test pile."], pieces.CARE)
        return
    both = (test, work.other_test(path, test.system))
    reviews = [work.review(one, criterion=True) for one in both]
    for review in reviews:
        pieces.alerted(test, review, of=review.sheet.pile_name)
    named = [review.sheet.pile_name for review in reviews]
    same = [_last(review) for review in reviews]
    told = [f"{name}: {sentence}" for name, sentence in zip(named, same, strict=True)]
    pieces.draw_answer(told, pieces.GOOD if all(one.trust.answer == "yes" for one in reviews) else pieces.CARE)
    for place, (one, review) in enumerate(zip(both, reviews, strict=True)):  # two piles may have the same name
        matching.offer(one, review.drives, f"compare_{place}", of=review.sheet.pile_name)
    pieces.worded(_rows(reviews, test.system), numeric=True)
    columns = st.columns(2)
    for place, (column, one, review) in enumerate(zip(columns, both, reviews, strict=True)):
        with column:
            pieces.draw_heading(f"{review.sheet.pile_name}, every blow")
            data = profile_data(one.sheet, one.key, review.drives, DRAWN, limits=_limits(review), at=None)
            draw_profiles(data, f"compare_profiles_{place}", lambda drive, blow: None)
    for review in reviews:  # a table as wide as the page, since half a narrow one cuts its last column
        pieces.draw_heading(f"{review.sheet.pile_name}, criterion")
        found = review.answers.criterion
        if found is None or found.criterion is None:
            pieces.draw_note(criterion_sentence(review))
        else:
            pieces.worded(criterion_rows(found, test.system), numeric=True)
            pieces.draw_list(ruled_out_lines(found, test.system))


def _choose(test) -> Path | None:
    """Offer the other test: a sample, a sheet beside the open one, or one on this computer."""
    known = {f"{path.parent.name}": path for path in sorted(test.sheet.path.parent.parent.glob("*/sheet.toml"))[:40]}
    known |= {uploads.SAMPLE_NAMES[name]: path for name, path in uploads.sample_sheets().items()}
    other = Path(st.session_state.get("other", ""))
    if other.is_file():  # chosen before, perhaps on the page Structure
        known = {other.parent.name: other, **known}
    known = {name: path for name, path in known.items() if path.resolve() != test.sheet.path.resolve()}
    distinct = {path.resolve(): name for name, path in known.items()}
    options = {name: path for path, name in distinct.items()}
    left, right = st.columns(2)
    kept = st.session_state.get("other")
    name = next((name for name, path in options.items() if str(path) == kept), None)
    chosen = left.selectbox(
        "The other test pile",
        list(options),
        index=list(options).index(name) if name else 0 if options else None,
        key="compare_other",
    )
    written = right.text_input(
        "Or a test sheet on this computer", placeholder="/path/to/sheet.toml", key="compare_path"
    )
    path = Path(written).expanduser() if written else options.get(chosen) if chosen else None
    if path is not None:
        st.session_state["other"] = str(path)
    return path


def _last(review) -> str:
    return resistance_sentence(review, review.drives[-1])


def _limits(review) -> dict[str, tuple[float, str, str]]:
    required = review.answers.required.value
    if required is None:
        return {}
    words = f"required {show_required(required, review.sheet.display_units)}"
    return {"case_resistance_maximum": (required, words, palette.ACCENT)}


def _rows(reviews, system: str) -> pd.DataFrame:
    """Give quantities of both piles, one column per drive."""
    heads, columns = [""], []
    for review in reviews:
        for drive in review.drives:
            heads.append(f"{review.sheet.pile_name}, {drive_words(drive)}")
            columns.append((review, drive))
    setups = {
        (review.sheet.path, setup.restrike): f"{setup.setup_factor.value:.2f}{bound_mark(setup.restrike_bound)}"
        for review in reviews
        for setup in review.answers.setups
        if setup.setup_factor is not None
    }
    rows = [
        ("representative blow", *("–" if d.representative is None else f"{d.representative.blow}" for _, d in columns)),
        ("record", *(short_trust(drive.trust.answer) for _, drive in columns)),
        ("required resistance", *(show_required(review.answers.required.value, system) for review, _ in columns)),
        ("setup factor", *(setups.get((r.sheet.path, d.name), "–") for r, d in columns)),
    ]
    for code in NUMBERS:
        cells = [applicable(code, drive.numbers.get(code), system) for _, drive in columns]
        if any(cell != "–" for cell in cells):
            rows.append((NAMES[code].words, *cells))
    return pd.DataFrame(rows, columns=heads)
