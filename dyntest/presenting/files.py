"""Every file that a review leaves behind, by its name, as bytes that are ready to be written."""

from collections.abc import Iterator, Mapping
from concurrent.futures import Executor
from dataclasses import replace

from dyntest.presenting.report import criterion_card_pdf, report_pdf
from dyntest.presenting.report.compose import card_of, pictures_png
from dyntest.presenting.summary import summary_json
from dyntest.presenting.tables import blows_csv, blows_parquet
from dyntest.processes import Errand, Errands
from dyntest.reviewing.drive import without_records
from dyntest.reviewing.review import Review


def review_files(review: Review, *, png: bool = False, executor: Executor | None = None) -> dict[str, bytes]:
    """Give every file of a review.

    Parameters
    ----------
    review : Review
        The reviewed test.
    png : bool
        Whether the figures are given as PNG as well as SVG.
    executor : concurrent.futures.Executor or None
        Where the figures are drawn; None: in this process.

    Returns
    -------
    dict of str to bytes
        Contents by name relative to the folder of the results.
    """
    light = replace(review, drives=tuple(without_records(drive) for drive in review.drives))
    drawn = Errands(executor).add(drawn_figures, light)
    tables = {}
    for drive in review.drives:
        tables[f"blows_{drive.name}.csv"] = blows_csv(drive.table, review.sheet.display_units)
        tables[f"blows_{drive.name}.parquet"] = blows_parquet(drive.table)
    if card_of(review) is not None:
        tables["criterion_card.pdf"] = criterion_card_pdf(review)
    summary = summary_json(review)
    figures = _Awaited(drawn)
    report = report_pdf(review, figures=figures)
    pictures = {f"figures/{name}.svg": figure for name, figure in figures.items()}
    if png:
        pictures |= {f"figures/{name}.png": picture for name, picture in pictures_png(figures).items()}
    return {"report.pdf": report, **tables, **pictures, "summary.json": summary}


class _Awaited(Mapping[str, bytes]):
    """Figures that others may still be drawing; who asks for one waits for all."""

    def __init__(self, drawn: Errand):
        self.drawn = drawn

    def __getitem__(self, name: str) -> bytes:
        return self.drawn.result()[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.drawn.result())

    def __len__(self) -> int:
        return len(self.drawn.result())


def drawn_figures(review: Review) -> dict[str, bytes]:
    """Give every figure; what draws them is loaded only in the process that does."""
    from dyntest.presenting.figures import review_figures

    return review_figures(review)
