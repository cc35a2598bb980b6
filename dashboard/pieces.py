"""What every page is made of: a question, its answer, pictures, a table, and how it was computed.

Tables of the pages as text with units, since every number goes with its unit.
"""

import html
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from dyntest.errors import DyntestError
from dyntest.names import NAMES, show
from dyntest.presenting import palette
from dyntest.presenting.finding_words import finding_cure, finding_message
from dyntest.presenting.tables import representative_head, representative_numbers

from . import look
from .pages import PAGES

_SPECIAL = re.compile(r"([\\`*_{}\[\]()<>#+\-.!|$~:])")


SIGNS = ("●", "■", "▲", "◆", "▼", "✚")
"""The markers of drives in their order, as letters."""


def plain(text: str) -> str:
    """Give text so that markdown shows it as it is written."""
    return _SPECIAL.sub(r"\\\1", text)


def guarded(draw: Callable[[], None]) -> None:
    """Draw a page; what its user can mend appears as the library's message, and the rest as one plain sentence."""
    try:
        draw()
    except DyntestError as problem:
        st.error(plain(str(problem)), icon=":material/error:")
    except MemoryError:
        st.error("The computer has too little memory for these records\\; review fewer blows at a time\\.")
    except OSError as problem:
        st.error(
            plain(f"{problem.filename or 'a file'}: {problem.strerror or 'cannot be used'}; check it and try again.")
        )


def question(page: str) -> None:
    """Put the question of a page over it."""
    st.html(f'<h1 class="dyntest-question">{html.escape(PAGES[page].question)}</h1>')


def answer(sentences: Iterable[str], *, bad: bool = False) -> None:
    """Put the answer under the question, a paragraph a sentence."""
    inner = "".join(f"<p>{html.escape(sentence)}</p>" for sentence in sentences)
    st.html(f'<div class="dyntest-answer{" bad" if bad else ""}" role="status">{inner}</div>')


def caution(check: str, message: str, cure: str = "") -> None:
    """Put something that has to be weighed on the page."""
    told = f"{message[0].upper()}{message[1:]}".rstrip(".") + "."
    cure = f" {cure[0].upper()}{cure[1:].rstrip('.')}." if cure else ""
    name = html.escape(f"{check[0].upper()}{check[1:]}")
    st.html(f'<div class="dyntest-caution"><b>{name}.</b> {html.escape(told + cure)}</div>')


def heading(text: str) -> None:
    """Put a heading over a part of a page."""
    st.markdown(f"#### {plain(text)}")


def note(text: str) -> None:
    """Put a quiet line on the page."""
    st.caption(plain(text))


def table(frame: pd.DataFrame, key: str, **more: Any) -> None:
    """Put a table on the page; a long one scrolls inside itself."""
    st.dataframe(frame, hide_index=True, key=key, width="stretch", **more)


def worded(frame: pd.DataFrame) -> None:
    """Put a table of sentences on the page: its cells wrap, and a long one scrolls inside itself."""
    heads = "".join(f"<th scope='col'>{html.escape(str(head))}</th>" for head in frame.columns)
    rows = "".join(
        f"<tr>{''.join(f'<td>{html.escape(str(cell))}</td>' for cell in row)}</tr>"
        for row in frame.itertuples(index=False)
    )
    table = f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
    st.html(f'<div class="dyntest-worded" tabindex="0">{table}</div>')


def listed(sentences: Iterable[str], *, bordered: bool = False) -> None:
    """Put sentences on the page, a line each."""
    inner = "".join(f"<li>{html.escape(sentence)}</li>" for sentence in sentences)
    st.html(f'<ul class="dyntest-list{" bordered" if bordered else ""}">{inner}</ul>')


def key_to_drives(kinds: dict[str, str]) -> None:
    """Say which colour and marker is which drive, once for several charts; nothing where there is only one drive."""
    if len(kinds) < 2:
        return
    signs = zip(kinds.items(), SIGNS, strict=False)
    marks = [
        f'<span><b style="color:{look.colour(palette.DRIVES[kind])}">{sign}</b> {html.escape(name.replace("_", " "))}'
        for (name, kind), sign in signs
    ]
    st.html(f'<div class="dyntest-key">{"</span>".join(marks)}</span></div>')


def how(*names: str) -> None:
    """Say how numbers and steps were computed, from the one table of explanations."""
    with st.expander("How this was computed", icon=":material/function:"):
        from dyntest.presenting.explanations import EXPLANATIONS, explained_name

        for one in dict.fromkeys(EXPLANATIONS[name] for name in names):
            equations = "".join(f"  \n`{equation}`" for equation in one.equations)
            told = plain(f"{one.what} {one.validity} Source: {one.source}")
            st.markdown(f"**{plain(explained_name(one))}**{equations}  \n{told}")


def numbers_by_drive(drives: Sequence, codes: Sequence[str], system: str) -> pd.DataFrame:
    """Give numbers of the representative blows, a column a drive; numbers that no drive has are left out."""
    numbers = representative_numbers(drives, codes, system)
    rows = [(NAMES[code].words, *values) for code, values in numbers.items()]
    return pd.DataFrame(rows, columns=["representative blow", *map(representative_head, drives)])


def one_blow(drive, blow: int, codes: Sequence[str], system: str) -> pd.DataFrame:
    """Give numbers of one blow."""
    row = drive.table.loc[drive.table["blow"] == blow].iloc[0]
    known = [code for code in codes if code in row and row[code] == row[code]]
    shown = [show(code, float(row[code]), system) for code in known]
    return pd.DataFrame({f"blow {blow}": [NAMES[code].words for code in known], "value": shown})


def findings(found: Sequence, system: str) -> pd.DataFrame:
    """Give what was found on a drive, the worst first."""
    order = {"reject": 0, "warning": 1, "note": 2}
    ordered = sorted(found, key=lambda finding: order[finding.severity])
    return pd.DataFrame(
        {
            "how bad": [finding.severity for finding in ordered],
            "check": [finding.check for finding in ordered],
            "what was found": [finding_message(finding, system) for finding in ordered],
            "what to do": [finding_cure(finding, system) for finding in ordered],
            "blows": [len(finding.blows) for finding in ordered],
        }
    )
