"""The blocks a report is made of, as plain data for the template."""

from collections.abc import Sequence
from dataclasses import replace

from dyntest.decisions.caution import Caution

Block = dict
"""What one block of the template needs, under ``kind`` its name there."""


def text(words: str) -> Block:
    """Give a paragraph.

    Parameters
    ----------
    words : str
        Plain text.

    Returns
    -------
    dict
        The block.
    """
    return {"kind": "text", "text": words}


def note(words: str) -> Block:
    """Give a quiet paragraph.

    Parameters
    ----------
    words : str
        Plain text.

    Returns
    -------
    dict
        The block.
    """
    return {"kind": "note", "text": words}


def answer(words: str) -> Block:
    """Give the sentence that answers the question above it.

    Parameters
    ----------
    words : str
        Plain text.

    Returns
    -------
    dict
        The block.
    """
    return {"kind": "answer", "text": words}


def heading(words: str) -> Block:
    """Give a heading within a section.

    Parameters
    ----------
    words : str
        Plain text.

    Returns
    -------
    dict
        The block.
    """
    return {"kind": "heading", "text": words}


def rows(head: Sequence, cells: Sequence[Sequence], widths: Sequence[float], align: str) -> Block:
    """Give a table.

    Parameters
    ----------
    head : sequence
        Heads of the columns; text, ``{"symbol": ...}`` or ``{"strong": ...}``, as every cell.
    cells : sequence of sequence
        Rows of cells.
    widths : sequence of float
        Share of the width of each column [1]; 0 is as wide as its content.
    align : str
        A letter a column, ``l`` or ``r``.

    Returns
    -------
    dict
        The block.
    """
    return {"kind": "rows", "head": list(head), "rows": [list(row) for row in cells], "widths": list(widths),
            "align": list(align)}  # fmt: skip


def facts(items: Sequence[tuple[str, str, str]]) -> Block:
    """Give a list of facts with where they come from.

    Parameters
    ----------
    items : sequence of (str, str, str)
        What, its value, and where it comes from; those without a value are left out.

    Returns
    -------
    dict
        The block.
    """
    return {"kind": "facts", "rows": [list(item) for item in items if item[1] not in ("", "–")]}


def picture(caption: str, *names: str, width: int = 78) -> Block:
    """Give figures side by side.

    Parameters
    ----------
    caption : str
        What they show.
    *names : str
        Names of the figures, as in `dyntest.presenting.review_figures`.
    width : int
        Width of a figure that stands alone, as a share of the text [%].

    Returns
    -------
    dict
        The block.
    """
    return {"kind": "pictures", "names": list(names), "caption": caption, "width": width}


def cautions(items: Sequence[Caution]) -> Block:
    """Give cautions under each other.

    Parameters
    ----------
    items : sequence of Caution
        The cautions.

    Returns
    -------
    dict
        The block.
    """
    return {"kind": "cautions", "items": [caution_item(item) for item in items]}


def caution_item(caution: Caution, grave: bool = False) -> dict:
    """Give one caution for the template.

    Parameters
    ----------
    caution : Caution
        The caution.
    grave : bool
        Whether it stands in the way of using a result.

    Returns
    -------
    dict
        Its texts.
    """
    return {
        "what": caution.check,
        "text": sentence(caution.message),
        "cure": sentence(caution.cure),
        "grave": grave,
    }


def about(restrike: str, caution: Caution) -> Caution:
    """Name the restrike that a caution is about, where it does not say so itself.

    Parameters
    ----------
    restrike : str
        Name of the drive.
    caution : Caution
        The caution.

    Returns
    -------
    Caution
        With the restrike in its message.
    """
    name = restrike.replace("_", " ")
    named = name in caution.message or restrike in caution.message
    return caution if named else replace(caution, message=f"{name}: {caution.message}")


def sentence(words: str) -> str:
    """Write words as a sentence.

    Parameters
    ----------
    words : str
        Words, perhaps without a capital letter and a full stop.

    Returns
    -------
    str
        A sentence; nothing where there are no words.

    Examples
    --------
    >>> sentence("look again")
    'Look again.'
    """
    words = words.strip()
    if not words:
        return ""
    end = "" if words[-1] in ".!?…" else "."
    return f"{words[0].upper()}{words[1:]}{end}"
