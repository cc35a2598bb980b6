"""Every file that a review leaves behind, by its name, as bytes that are ready to be written."""

from dyntest.presenting.figures import review_figures
from dyntest.presenting.report import criterion_card_pdf, report_pdf
from dyntest.presenting.report.compose import card_of, pictures_png
from dyntest.presenting.summary import summary_json
from dyntest.presenting.tables import blows_csv, blows_parquet
from dyntest.reviewing.review import Review


def review_files(review: Review, *, png: bool = False) -> dict[str, bytes]:
    """Give every file of a review.

    Parameters
    ----------
    review : Review
        The reviewed test.
    png : bool
        Whether the figures are given as PNG as well as SVG.

    Returns
    -------
    dict of str to bytes
        Contents by name relative to the folder of the results.
    """
    figures = review_figures(review)
    files = {"report.pdf": report_pdf(review, figures=figures)}
    if card_of(review) is not None:
        files["criterion_card.pdf"] = criterion_card_pdf(review)
    for drive in review.drives:
        files[f"blows_{drive.name}.csv"] = blows_csv(drive.table, review.sheet.display_units)
        files[f"blows_{drive.name}.parquet"] = blows_parquet(drive.table)
    files |= {f"figures/{name}.svg": figure for name, figure in figures.items()}
    if png:
        files |= {f"figures/{name}.png": picture for name, picture in pictures_png(figures).items()}
    return {**files, "summary.json": summary_json(review)}
