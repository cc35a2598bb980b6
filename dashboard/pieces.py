"""What every page is made of: a question, its answer, pictures, a table, and how it was computed.

Tables of the pages as text with units, since every number goes with its unit.
"""

import base64
import html
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from dyntest.errors import DyntestError
from dyntest.names import NAMES, show
from dyntest.presenting import palette
from dyntest.presenting.decision_words import told as in_words
from dyntest.presenting.finding_words import finding_cure, finding_message
from dyntest.presenting.sentences import alert_sentences, drive_words, trust_sentence
from dyntest.presenting.tables import representative_head, representative_numbers

from . import look, state, work
from .pages import PAGES

_SPECIAL = re.compile(r"([\\`*_{}\[\]()<>#+\-.!|$~:])")


def plain(text: str) -> str:
    """Give text so that markdown shows it as it is written."""
    return _SPECIAL.sub(r"\\\1", text)


def guarded(draw: Callable[[], None]) -> None:
    """Draw a page; what its user can mend appears as the library's message with ways back, and never as a trace."""
    try:
        draw()
    except DyntestError as problem:
        _wrong(str(problem))
    except MemoryError:
        _wrong("The computer has too little memory for these records; review fewer blows at a time.")
    except OSError as problem:
        _wrong(f"{problem.filename or 'a file'}: {problem.strerror or 'cannot be used'}; check it and try again.")


def _wrong(message: str) -> None:
    """Say what is wrong, and offer every way back that there is."""
    st.error(plain(message), icon=":material/error:")
    ways = st.container(horizontal=True)
    if st.session_state.get("before"):
        ways.button("Undo the last change", key="back_undo", on_click=state.undo, type="primary")
    if "choices" in st.session_state:
        ways.button("Go back to the choices of the sheet", key="back_reset", on_click=state.reset)
    if "production" in st.session_state:
        ways.button("Close the production log", key="back_production", on_click=state.close_production)
    if "structure_path" in st.session_state:
        ways.button("Close the structure", key="back_structure", on_click=state.close_structure)
    if "sheet_path" in st.session_state:
        ways.button("Close this test", key="back_test", on_click=state.close_sheet)


def question(page: str) -> None:
    """Put the question of a page over it."""
    st.html(f'<h1 class="dyntest-question">{html.escape(PAGES[page].question)}</h1>')


GOOD, CARE, BAD = "good", "care", "bad"
"""What an answer means: to be used, to be used with care, not to be used."""

SIGN = {GOOD: "✓", CARE: "!", BAD: "✗"}
"""What stands before an answer beside its colour."""


def draw_answer(sentences: Iterable[str], means: str = GOOD) -> None:
    """Put the answer under the question, a paragraph a sentence, with a colour and a sign for what it means."""
    inner = "".join(f"<p>{html.escape(sentence)}</p>" for sentence in sentences)
    words = {GOOD: "", CARE: "With care: ", BAD: "Not usable as it stands: "}[means]
    sign = f'<span class="sign" aria-label="{words}">{SIGN[means]}</span>'
    st.html(f'<div class="dyntest-answer {means}" role="status">{sign}<div>{inner}</div></div>')


def draw_cautions(found: Iterable[tuple[str, str, str]]) -> None:
    """Put what has to be weighed on the page, the first in full and the others folded: check, message, cure."""
    known = list(dict.fromkeys(found))
    if not known:
        return
    st.html(_caution(*known[0]))
    if len(known) > 1:
        names = ", ".join(dict.fromkeys(check for check, _, _ in known[1:]))
        with st.expander(f"{len(known) - 1} more to weigh: {plain(names)}"):
            st.html("".join(_caution(*one) for one in known[1:]))


def _caution(check: str, message: str, cure: str) -> str:
    told = f"{message[0].upper()}{message[1:]}".rstrip(".") + "."
    cure = f" {cure[0].upper()}{cure[1:].rstrip('.')}." if cure else ""
    name = html.escape(f"{check[0].upper()}{check[1:]}")
    return f'<div class="dyntest-caution"><b>{name}.</b> {html.escape(told + cure)}</div>'


def alerted(test, review) -> bool:
    """Put what speaks against using any decision over a page that shows one; say whether there is anything.

    That is the criterion's own alerts, the record, the pile, and a production log of another structure.
    """
    told = alerts_of(test, review)
    if told:
        draw_alert(told)
    return bool(told)


def draw_alert(sentences: Iterable[str]) -> None:
    """Put what speaks against using a decision on the page, a paragraph a sentence."""
    inner = "".join(f"<p>{html.escape(sentence)}</p>" for sentence in sentences)
    st.html(f'<div class="dyntest-alert" role="alert">{inner}</div>')


def alerts_of(test, review) -> list[str]:
    """Give what speaks against using any decision, a sentence each."""
    told, system = list(alert_sentences(review)), review.sheet.display_units
    if review.answers.criterion is None:  # not asked for on this page, or there is none
        told += [f"{in_words(one, system).sentence}." for one in _doubts(review)]
    if review.trust.answer == "no":
        told.append(trust_sentence(review))
    for drive in review.drives:
        found = [one for one in drive.findings if one.check == "integrity" and one.severity != "note"]
        told += [f"{drive_words(drive).capitalize()}: {finding_message(one, system).rstrip('.')}." for one in found]
    return list(dict.fromkeys([*told, *work.log_alerts(test, review)]))


def _doubts(review) -> tuple:
    """Give what is wrong with the pile or record that a criterion would be taken from."""
    initial = [drive for drive in review.drives if drive.kind == "initial" and drive.match is not None]
    if not initial:
        return ()
    from dyntest.reviewing.pile_criterion import grave_doubts

    return grave_doubts(initial[-1])


def draw_heading(text: str) -> None:
    """Put a heading over a part of a page."""
    st.markdown(f"#### {plain(text)}")


def draw_note(text: str) -> None:
    """Put a quiet line on the page."""
    st.caption(plain(text))


def table(frame: pd.DataFrame, key: str, **more: Any) -> None:
    """Put a table on the page; a long one scrolls inside itself."""
    st.dataframe(frame, hide_index=True, key=key, width="stretch", **more)


def worded(frame: pd.DataFrame, *, numeric: bool = False) -> None:
    """Put a table of text on the page: its cells wrap, and a long one scrolls inside itself."""
    rows = [[html.escape(str(cell)) for cell in row] for row in frame.itertuples(index=False)]
    _table([str(head) for head in frame.columns], rows, numeric=numeric)


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, numeric: bool = False) -> None:
    head = "".join(f"<th scope='col'>{html.escape(one)}</th>" for one in heads)
    body = "".join(f"<tr>{''.join(f'<td>{cell}</td>' for cell in row)}</tr>" for row in rows)
    kind = " numbers" if numeric else ""
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    st.html(f'<div class="dyntest-worded{kind}" tabindex="0">{table}</div>')


def draw_list(sentences: Iterable[str], *, bordered: bool = False) -> None:
    """Put sentences on the page, a line each."""
    inner = "".join(f"<li>{html.escape(sentence)}</li>" for sentence in sentences)
    st.html(f'<ul class="dyntest-list{" bordered" if bordered else ""}">{inner}</ul>')


def how(*names: str) -> None:
    """Say how a number was computed that a person asks for, from the one table of explanations."""
    with st.expander("How this was computed", icon=":material/function:"):
        from dyntest.presenting.explanations import EXPLANATIONS, explained_name

        known = list(dict.fromkeys(names))
        words = {name: explained_name(EXPLANATIONS[name]) for name in known}
        key = "how_" + known[0].replace(" ", "_")
        asked = st.pills("Number", known, key=key, default=known[0], format_func=words.__getitem__, wrap=True)
        if asked is not None:
            one = EXPLANATIONS[asked]
            equations = "".join(f"  \n`{equation}`" for equation in one.equations)
            st.markdown(f"{plain(one.what)}{equations}  \n{plain(f'{one.validity} Source: {one.source}')}")


def numbers(drives: Sequence, at: tuple[str, int] | None, codes: Sequence[str], system: str) -> None:
    """Put numbers of the representative blows on the page, a column a drive, and those of the blow looked at beside.

    A number that none of them has is left out.
    """
    known = representative_numbers(drives, codes, system)
    heads = ["", *map(representative_head, drives)]
    other = None
    if at is not None:
        drive = next(one for one in drives if one.name == at[0])
        if drive.representative is None or drive.representative.blow != at[1]:
            other = drive.table.loc[drive.table["blow"] == at[1]].iloc[0]
            heads.append(f"{drive_words(drive)}, blow {at[1]} (looked at)")
    rows = []
    for code in codes:
        own = "–" if other is None or code not in other else show(code, float(other[code]), system)
        if code in known or own != "–":
            cells = known.get(code, ("–",) * len(drives))
            rows.append((NAMES[code].words, *cells, *([own] if other is not None else [])))
    worded(pd.DataFrame(rows, columns=heads), numeric=True)


def findings(found: Sequence, blows: Sequence[int], system: str) -> None:
    """Put what was found on a drive on the page, the worst first, with a line that shows on which blows."""
    order = {"reject": 0, "warning": 1, "note": 2}
    first, last = min(blows), max(blows)
    heads = ("how bad", "check", "what was found", "what to do", f"on which blows, {first} to {last}")
    cells = [
        (
            html.escape(one.severity),
            html.escape(one.check),
            html.escape(finding_message(one, system)),
            html.escape(finding_cure(one, system)),
            _places(one.blows, first, last, one.severity),
        )
        for one in sorted(found, key=lambda one: order[one.severity])
    ]
    _table(heads, cells)


def _places(blows: Sequence[int], first: int, last: int, severity: str) -> str:
    """Give a line with a stroke at each blow that is named."""
    colour = look.colour({"reject": palette.WARNING, "warning": "#d2691e", "note": palette.QUIET}[severity])
    places = sorted({round(150.0 * (blow - first) / max(last - first, 1)) for blow in blows if first <= blow <= last})
    strokes = "".join(f"M{place + 2} 1v12" for place in places)
    drawn = f'<path d="M2 7h150" stroke="{look.colour(palette.QUIET)}" stroke-width="1"/>'
    drawn += f'<path d="{strokes}" stroke="{colour}" stroke-width="2"/>'
    words = f"{len(blows)} blow{'s' if len(blows) != 1 else ''}"
    return f"{small_drawing(drawn, 156, 14, words)}<br>{words}"


def small_drawing(drawn: str, wide: int, high: int, words: str) -> str:
    """Give a small drawing as an image for a page, with words for those who do not see it."""
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{high}">{drawn}</svg>'
    text = base64.b64encode(svg.encode()).decode()
    return f'<img width="{wide}" height="{high}" alt="{html.escape(words)}" src="data:image/svg+xml;base64,{text}">'
