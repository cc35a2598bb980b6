"""Every file that a review leaves behind, by its name, as bytes that are ready to be written."""

from collections.abc import Collection, Iterator, Mapping
from concurrent.futures import Executor
from dataclasses import replace
from functools import cached_property

from dyntest.presenting.report import criterion_card_pdf, report_pdf
from dyntest.presenting.report.compose import card_of, legible_figures, pictures_png
from dyntest.presenting.summary import summary_json
from dyntest.presenting.tables import blows_csv, blows_parquet
from dyntest.processes import Errand, Errands
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.answers import required_of
from dyntest.reviewing.drive import DriveReview, without_records
from dyntest.reviewing.review import Review


class Drawing:
    """Figures that are drawn through an executor while the review goes on, or once they are asked for.

    Without matching, everything that shows one drive, or all restrikes, is known as soon as they are worked out.
    """

    def __init__(self, executor: Executor | None, *, matching: bool = True):
        self.among, self.matching = Errands(executor, all_to_others=True), matching  # what draws takes long to load
        self.begun: dict[str, Errand] = {}
        self.restrikes: dict[str, DriveReview] = {}

    def begin(self, sheet: TestSheet, drive: DriveReview) -> None:
        """Have drawn what shows a drive whose numbers stay."""
        light = without_records(drive)
        self.begun[f"blow_{drive.name}"] = self.among.add(drawn, "blow_figure", sheet, light)
        if self.matching:
            return
        if drive.kind == "initial":
            self.begun[f"profile_{drive.name}"] = self.among.add(drawn, "initial_profile", sheet, light)
            return
        self.restrikes[drive.name] = light
        names = [one.name for one in sheet.drives if one.kind == "restrike"]
        if all(name in self.restrikes for name in names):
            together = tuple(self.restrikes[name] for name in names)
            self.begun["profile_restrikes"] = self.among.add(drawn, "restrikes_profile", sheet, together)

    def begin_rest(self, review: Review) -> Mapping[str, bytes]:
        """Have the other figures of a review drawn; gives all of them by name, and who asks for one waits."""
        light = replace(review, drives=tuple(without_records(drive) for drive in review.drives))
        return _Awaited([*self.begun.values(), self.among.add(drawn_figures, light, tuple(self.begun))])


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
    return files_with_figures(review, Drawing(executor), png=png)


def files_with_figures(review: Review, drawing: Drawing, *, png: bool = False) -> dict[str, bytes]:
    """Give every file of a review, some of whose figures may have been begun before."""
    figures = drawing.begin_rest(review)
    tables = {}
    for drive in review.drives:
        tables[f"blows_{drive.name}.csv"] = blows_csv(drive.table, review.sheet.display_units)
        tables[f"blows_{drive.name}.parquet"] = blows_parquet(drive.table)
    if card_of(review) is not None:
        tables["criterion_card.pdf"] = criterion_card_pdf(review)
    summary = summary_json(review)
    report = report_pdf(review, figures=figures)
    pictures = {f"figures/{name}.svg": figure for name, figure in legible_figures(figures).items()}
    if png:
        pictures |= {f"figures/{name}.png": picture for name, picture in pictures_png(figures).items()}
    return {"report.pdf": report, **tables, **pictures, "summary.json": summary}


class _Awaited(Mapping[str, bytes]):
    """Figures that others may still be drawing; who asks for one waits for all."""

    def __init__(self, drawn: list[Errand]):
        self.drawn = drawn

    @cached_property
    def figures(self) -> dict[str, bytes]:
        """Give all of them, once they are there."""
        return {name: figure for errand in self.drawn for name, figure in errand.result().items()}

    def __getitem__(self, name: str) -> bytes:
        return self.figures[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.figures)

    def __len__(self) -> int:
        return len(self.figures)


def drawn_figures(review: Review, before: Collection[str]) -> dict[str, bytes]:
    """Give every figure but those drawn before; what draws is loaded only in the process that does."""
    from dyntest.presenting.figures import review_figures

    return review_figures(review, before)


def drawn(figure: str, sheet: TestSheet, shown: DriveReview | tuple[DriveReview, ...]) -> dict[str, bytes]:
    """Give a figure of one drive, or of all restrikes, by the name of the function that draws it."""
    from dyntest.presenting import figures

    required = () if figure == "blow_figure" else (required_of(sheet, ()).value,)
    return getattr(figures, figure)(sheet, shown, *required)
