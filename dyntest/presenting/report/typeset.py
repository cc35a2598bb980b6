"""Plain data and figures made into a PDF by the templates beside this module."""

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from functools import cache
from importlib.resources import files


def typeset(template: str, data: dict, figures: Mapping[str, bytes], today: date) -> bytes:
    """Give a document as PDF, the same bytes for the same data.

    Parameters
    ----------
    template : str
        File name of the template.
    data : dict
        Plain data; its texts are only ever shown, never run.
    figures : mapping of str to bytes
        SVG by name.
    today : datetime.date
        Date of the document.

    Returns
    -------
    bytes
        The PDF, with the fonts that typst brings and nothing from elsewhere.
    """
    import typst

    given = {f"{name}.svg": figure for name, figure in figures.items()}
    written = json.dumps(data, ensure_ascii=False, allow_nan=False).encode("utf-8", "replace")
    sources = {"main.typ" if name == template else name: source for name, source in _templates().items()}
    return typst.compile(
        {**sources, **given, "report.json": written},
        ignore_system_fonts=True,
        timestamp=datetime(today.year, today.month, today.day, tzinfo=UTC),
        pdf_tags=False,  # tags of long tables make the file ten times as large
    )


@cache
def _templates() -> dict[str, bytes]:
    folder = files("dyntest.presenting.report")
    return {entry.name: entry.read_bytes() for entry in folder.iterdir() if entry.name.endswith(".typ")}


PNG_RESOLUTION = 200
"""Pixels of an inch of a figure [1/in], enough for a page in print."""


def pictures_png(figures: Mapping[str, bytes]) -> dict[str, bytes]:
    """Give figures as PNG, the same bytes for the same figures.

    Parameters
    ----------
    figures : mapping of str to bytes
        SVG by name.

    Returns
    -------
    dict of str to bytes
        PNG by name.
    """
    import typst

    if not figures:
        return {}
    pages = "\n#pagebreak()\n".join(f'#image("{place}.svg")' for place in range(len(figures)))
    source = f"#set page(width: auto, height: auto, margin: 0pt)\n{pages}".encode()
    given = {f"{place}.svg": figure for place, figure in enumerate(figures.values())}
    drawn = typst.compile({"main.typ": source, **given}, format="png", ppi=PNG_RESOLUTION, ignore_system_fonts=True)
    return dict(zip(figures, [drawn] if isinstance(drawn, bytes) else drawn, strict=True))
