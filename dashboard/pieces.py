"""Parts of every page: a question, its answer, figures, a table, and how it was computed.

Tables of the pages are text, since every number has its unit.
"""

import base64
import html
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from dyntest.errors import DyntestError
from dyntest.names import NAMES
from dyntest.presenting import palette
from dyntest.presenting.decision_words import told as in_words
from dyntest.presenting.finding_words import finding_cure, finding_message
from dyntest.presenting.sentences import alert_sentences, drive_words, sentence, trust_sentence
from dyntest.presenting.tables import applicable, negative_notes, representative_head, representative_numbers

from . import pages, state, work
from .pages import PAGES

_UNITS = {unit for name in NAMES.values() for unit, _ in (name.si, name.us) if unit}
_UNITS |= {"%", "in²", "kg", "days", "hours", "blows"}
_BEFORE_UNIT = re.compile(rf"(?<=\d) (?=(?:{'|'.join(sorted(map(re.escape, _UNITS), key=len, reverse=True))})(?!\w))")
_ONE_WORD = re.compile(r"[\w.:/+−–-]{1,16}")

_SPECIAL = re.compile(r"([\\`*_{}\[\]()<>#+\-.!|$~:])")


def plain(text: str) -> str:
    """Escape text so that markdown shows it as written."""
    return _SPECIAL.sub(r"\\\1", text)


def unbroken(text: str) -> str:
    """Keep each number on one line with its unit.

    Examples
    --------
    >>> unbroken("at 60.0 ft, 264 kip") == "at 60.0\N{NO-BREAK SPACE}ft, 264\N{NO-BREAK SPACE}kip"
    True
    """
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", text)


def _safe(text: str) -> str:
    return html.escape(unbroken(text))


def guarded(draw: Callable[[], None]) -> None:
    """Draw a page; input errors appear as the library's message with ways back, never as a traceback."""
    try:
        draw()
    except DyntestError as problem:
        _wrong(str(problem))
    except MemoryError:
        _wrong("Not enough memory for these records; review fewer blows at a time.")
    except OSError as problem:
        _wrong(f"{problem.filename or 'a file'}: {problem.strerror or 'cannot be used'}; check it and try again.")


def _wrong(message: str) -> None:
    """Show an error and every way back."""
    st.error(plain(message), icon=":material/error:")
    ways = st.container(horizontal=True)
    if st.session_state.get("before"):
        ways.button(
            "Undo the last change", key="back_undo", on_click=state.once("back_undo", state.undo), type="primary"
        )
    if "choices" in st.session_state:
        ways.button("Restore the choices of the sheet", key="back_reset", on_click=state.reset)
    if "production" in st.session_state:
        ways.button("Close the production log", key="back_production", on_click=state.close_production)
    if "structure_path" in st.session_state:
        ways.button("Close the structure", key="back_structure", on_click=state.close_structure)
    if "sheet_path" in st.session_state:
        ways.button("Close this test", key="back_test", on_click=state.close_sheet)
    draw_note("Correct the file and reload this page, or open another test on the page Pile.")


def question(page: str) -> None:
    """Show the question of a page as its heading."""
    st.html(f'<h1 class="dyntest-question">{html.escape(PAGES[page].question)}</h1>')


GOOD, CARE, BAD = "good", "care", "bad"
"""Meaning of an answer: use, use with care, do not use."""

SIGN = {GOOD: "✓", CARE: "!", BAD: "✗"}
"""Sign before an answer, beside its colour."""


def draw_answer(sentences: Iterable[str], means: str = GOOD) -> None:
    """Show the answer under the question, one paragraph per sentence, with colour and sign for its meaning."""
    inner = "".join(f"<p>{_safe(sentence)}</p>" for sentence in sentences)
    words = {GOOD: "", CARE: "With care: ", BAD: "Not usable: "}[means]
    sign = f'<span class="sign" aria-label="{words}">{SIGN[means]}</span>'
    st.html(f'<div class="dyntest-answer {means}" role="status">{sign}<div>{inner}</div></div>')


def draw_cautions(found: Iterable[tuple[str, str, str]]) -> None:
    """Show the cautions, the first in full and the others folded: check, message, cure."""
    known = list(dict.fromkeys(found))
    if not known:
        return
    st.html(_caution(*known[0]))
    if len(known) > 1:
        names = "; ".join(dict.fromkeys(check for check, _, _ in known[1:]))
        with st.expander(f"{len(known) - 1} more cautions: {plain(names)}"):
            st.html("".join(_caution(*one) for one in known[1:]))


def _caution(check: str, message: str, cure: str) -> str:
    told = f"{message[0].upper()}{message[1:]}".rstrip(".") + "."
    cure = f" {cure[0].upper()}{cure[1:].rstrip('.')}." if cure else ""
    name = html.escape(f"{check[0].upper()}{check[1:]}")
    return f'<div class="dyntest-caution"><b>{name}.</b> {_safe(told + cure)}</div>'


def alerted(test, review, of: str = "") -> bool:
    """Show above a page all reasons against using its decision; say whether there are any.

    They come from the criterion's own alerts, the record, the pile, and a production log of another structure. A page
    on several piles names the one that they are `of`.
    """
    told = alerts_of(test, review)
    if told:
        draw_alert(f"{of}: {one}" if of else one for one in told)
    return bool(told)


def draw_alert(sentences: Iterable[str]) -> None:
    """Show reasons against using a decision, one paragraph per sentence."""
    inner = "".join(f"<p>{_safe(sentence)}</p>" for sentence in sentences)
    st.html(f'<div class="dyntest-alert" role="alert">{inner}</div>')


def alerts_of(test, review) -> list[str]:
    """Give the reasons against using any decision, one sentence each."""
    told, system = list(alert_sentences(review)), review.sheet.display_units
    if review.answers.criterion is None:  # not needed on this page, or there is none
        told += [sentence(in_words(one, system).sentence) for one in _doubts(review)]
    if review.trust.answer == "no":
        told.append(trust_sentence(review))
    for drive in review.drives:
        found = [one for one in drive.findings if one.check == "integrity" and one.severity != "note"]
        told += [f"{drive_words(drive).capitalize()}: {finding_message(one, system).rstrip('.')}." for one in found]
    return list(dict.fromkeys([*told, *work.log_alerts(test, review)]))


def _doubts(review) -> tuple:
    """Give the faults of the pile or record that a criterion would be based on."""
    initial = [drive for drive in review.drives if drive.kind == "initial" and drive.match is not None]
    if not initial:
        return ()
    from dyntest.reviewing.pile_criterion import serious_doubts

    return serious_doubts(initial[-1])


def draw_heading(text: str) -> None:
    """Show a heading."""
    st.markdown(f"#### {plain(text)}")


def draw_note(text: str) -> None:
    """Show a line of secondary text."""
    st.caption(plain(unbroken(text)))


def table(frame: pd.DataFrame, key: str, **more: Any) -> None:
    """Show a table; a long one scrolls."""
    st.dataframe(frame, hide_index=True, key=key, width="stretch", **more)


def worded(frame: pd.DataFrame, *, numeric: bool = False) -> None:
    """Show a table of text: its cells wrap, and a long one scrolls."""
    rows = [[_safe(str(cell)) for cell in row] for row in frame.itertuples(index=False)]
    _table([str(head) for head in frame.columns], rows, numeric=numeric)


LONGEST_NUMBER = 40
"""Longest cell of a table of numbers [characters]; a column with longer ones is of words, and wraps."""


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, numeric: bool = False) -> None:
    kept = [list(row) for row in rows]
    wordy = {
        place for row in kept for place, cell in enumerate(row) if numeric and place and len(cell) > LONGEST_NUMBER
    }
    classes = [' class="words"' if place in wordy else "" for place in range(len(heads))]
    head = "".join(f"<th scope='col'{own}>{html.escape(one)}</th>" for own, one in zip(classes, heads, strict=True))
    whole = ' class="whole"'  # a date or the mark of a pile
    cells = [
        "".join(
            f"<td{own or (whole if not numeric and _ONE_WORD.fullmatch(cell) else '')}>{cell}</td>"
            for own, cell in zip(classes, row, strict=True)
        )
        for row in kept
    ]
    body = "".join(f"<tr>{row}</tr>" for row in cells)
    kind = " numbers" if numeric else ""
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    st.html(f'<div class="dyntest-worded{kind}" tabindex="0">{table}</div>')


def draw_list(sentences: Iterable[str], *, bordered: bool = False) -> None:
    """Show sentences, one per line; nothing where there is none."""
    inner = "".join(f"<li>{_safe(sentence)}</li>" for sentence in sentences)
    if not inner:
        return
    st.html(f'<ul class="dyntest-list{" bordered" if bordered else ""}">{inner}</ul>')


def how(*names: str) -> None:
    """Show on request how numbers were computed, from the table of explanations."""
    with st.expander("How this was computed", icon=":material/function:"):
        from dyntest.presenting.explanations import EXPLANATIONS, explained_name

        known = list(dict.fromkeys(names))
        words = {name: explained_name(EXPLANATIONS[name]) for name in known}
        key = "how_" + known[0].replace(" ", "_")
        asked = st.pills(
            "Number", known, key=key, default=known[0], required=True, format_func=words.__getitem__, wrap=True
        )
        one = EXPLANATIONS[asked]
        equations = "".join(f"  \n`{equation}`" for equation in one.equations)
        st.markdown(f"{plain(one.what)}{equations}  \n{plain(f'{one.validity} Source: {one.source}')}")


def numbers(drives: Sequence, at: tuple[str, int] | None, codes: Sequence[str], system: str) -> None:
    """Show quantities of the representative blows, one column per drive, and of the selected blow beside them.

    A quantity that none of them has is omitted.
    """
    known = representative_numbers(drives, codes, system)
    heads = ["", *map(representative_head, drives)]
    other = None
    if at is not None:
        drive = next(one for one in drives if one.name == at[0])
        if drive.representative is None or drive.representative.blow != at[1]:
            other = drive.table.loc[drive.table["blow"] == at[1]].iloc[0]
            heads.append(f"{drive_words(drive)}, blow {at[1]} (selected)")
    cells: dict[str, tuple[str, ...]] = {}
    for code in codes:
        own = "–" if other is None or code not in other else applicable(code, float(other[code]), system)
        if code in known or own != "–":
            cells[code] = (*known.get(code, ("–",) * len(drives)), *([own] if other is not None else []))
    rows = [(NAMES[code].words, *texts) for code, texts in cells.items()]
    worded(pd.DataFrame(rows, columns=heads), numeric=True)
    for words in negative_notes(cells):
        draw_note(sentence(words))


def findings(found: Sequence, blows: Sequence[int], system: str) -> None:
    """Show the findings on a drive, the worst first, with a line that marks the blows."""
    order = {"reject": 0, "warning": 1, "note": 2}
    first, last = min(blows), max(blows)
    heads = ("severity", "check", "finding", "what to do", f"blows, {first} to {last}")
    cells = [
        (
            html.escape(one.severity),
            html.escape(one.check),
            _safe(finding_message(one, system)),
            _safe(finding_cure(one, system)),
            _places(one.blows, first, last, one.severity),
        )
        for one in sorted(found, key=lambda one: order[one.severity])
    ]
    _table(heads, cells)


def _places(blows: Sequence[int], first: int, last: int, severity: str) -> str:
    """Give a line with a tick at each blow named."""
    if not blows:
        return "–"
    colour = pages.colour({"reject": palette.WARNING, "warning": "#d2691e", "note": palette.QUIET}[severity])
    places = sorted({round(150.0 * (blow - first) / max(last - first, 1)) for blow in blows if first <= blow <= last})
    strokes = "".join(f"M{place + 2} 1v12" for place in places)
    drawn = f'<path d="M2 7h150" stroke="{pages.colour(palette.QUIET)}" stroke-width="1"/>'
    drawn += f'<path d="{strokes}" stroke="{colour}" stroke-width="2"/>'
    words = f"{len(blows)} blow{'s' if len(blows) != 1 else ''}"
    return f"{small_drawing(drawn, 156, 14, words)}<br>{words}"


def small_drawing(drawn: str, wide: int, high: int, words: str) -> str:
    """Give a small drawing as an image for a page, with a text alternative."""
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{high}">{drawn}</svg>'
    text = base64.b64encode(svg.encode()).decode()
    return f'<img width="{wide}" height="{high}" alt="{html.escape(words)}" src="data:image/svg+xml;base64,{text}">'
