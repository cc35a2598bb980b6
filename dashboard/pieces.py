"""What every page is made of: a question, its answer, pictures, a table, and how it was computed."""

import html
import re
from collections.abc import Callable, Iterable

import pandas as pd
import streamlit as st

from dashboard.pages import PAGES
from dyntest.errors import DyntestError

_SPECIAL = re.compile(r"([\\`*_{}\[\]()<>#+\-.!|$~:])")


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


def table(frame: pd.DataFrame, key: str, **more: object) -> None:
    """Put a table on the page; a long one scrolls inside itself."""
    st.dataframe(frame, hide_index=True, key=key, width="stretch", **more)


def how(*names: str) -> None:
    """Say how numbers and steps were computed, in the words of the functions that did it."""
    with st.expander("How this was computed", icon=":material/function:"):
        from dyntest.presenting.explained import explained

        told: set[str] = set()
        for name in names:
            one = explained(name)
            st.markdown(f"**{plain(one.name)}**  \n{_equations(one.what)}")
            new = [
                text for text in (*one.details, *(f"Source: {source}" for source in one.sources)) if text not in told
            ]
            told.update(new)
            if new:
                st.markdown("\n\n".join(_equations(text) for text in new))


def _equations(text: str) -> str:
    """Give text as markdown with its equations as code, and all else as written."""
    parts = text.split("``")
    return "".join(f"`{part}`" if place % 2 else plain(part.replace("`", "")) for place, part in enumerate(parts))
