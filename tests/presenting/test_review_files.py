"""Every file of a review: whole, readable by other programs, and the same bytes each time."""

import io
import re
import xml.etree.ElementTree as ElementTree

import pandas as pd
import pytest

from dyntest.names import column_header
from dyntest.presenting.figures import review_figures
from dyntest.presenting.files import Drawing, review_files
from dyntest.presenting.report.compose import fonts_for, pictures_png
from dyntest.presenting.tables import blows_parquet

PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(scope="module")
def files(matched_review):
    return review_files(matched_review, png=True)


def test_parquet_is_in_si_and_csv_in_the_units_of_the_sheet(files, matched_review):
    assert matched_review.sheet.display_units == "US"
    for drive in matched_review.drives:
        parquet = pd.read_parquet(io.BytesIO(files[f"blows_{drive.name}.parquet"]))
        csv = pd.read_csv(io.BytesIO(files[f"blows_{drive.name}.csv"]))
        assert list(parquet.columns) == [column_header(code) for code in drive.table.columns]
        assert parquet["peak_force [N]"].tolist() == drive.table["peak_force"].tolist()
        assert csv["peak_force [kip]"].to_numpy() * 4448.2216152605 == pytest.approx(
            parquet["peak_force [N]"].to_numpy()
        )
        assert csv["stroke [ft]"].to_numpy() * 0.3048 == pytest.approx(parquet["stroke [m]"].to_numpy(), nan_ok=True)
        assert not [name for name in csv.columns if re.search(r"\[(m|N|Pa|J|Hz|m/s)\]", name)]


def test_csv_of_an_si_test_has_the_columns_of_the_parquet(averaged_review):
    files = review_files(averaged_review)
    parquet = pd.read_parquet(io.BytesIO(files["blows_initial.parquet"]))
    csv = pd.read_csv(io.BytesIO(files["blows_initial.csv"]))
    assert list(parquet.columns) == list(csv.columns)
    pd.testing.assert_frame_equal(parquet, csv, rtol=1e-8, check_dtype=False)


def test_every_figure_is_there_as_svg_and_png(files):
    drawn = {name.removesuffix(".svg") for name in files if name.endswith(".svg")}
    assert drawn == {name.removesuffix(".png") for name in files if name.endswith(".png")}
    assert {"figures/criterion", "figures/load_movement", "figures/initial_against_restrike"} < drawn
    for name, content in files.items():
        if name.endswith(".svg"):
            assert ElementTree.fromstring(content).tag.endswith("svg")
        if name.endswith(".png"):
            assert content.startswith(PNG)


def test_png_shows_what_svg_shows_at_its_size(files):
    width, height = (int.from_bytes(files["figures/criterion.png"][place : place + 4]) for place in (16, 20))
    assert width / height == pytest.approx(6.7 / 2.9, rel=0.01)
    assert width == pytest.approx(6.7 * 200, abs=2)


@pytest.fixture(scope="module")
def plain_files(plain_review):
    return review_files(plain_review)


def test_png_are_left_out_unless_asked_for(plain_files):
    assert not [name for name in plain_files if name.endswith(".png")]


@pytest.mark.sweep
def test_the_same_review_gives_the_same_bytes(matched_review):
    first, again = (review_files(matched_review) for _ in range(2))
    assert first == again
    table = matched_review.drives[0].table
    assert blows_parquet(table) == blows_parquet(table.copy())


@pytest.mark.parametrize("matching", [False, True])
def test_figures_begun_during_the_review_are_those_drawn_after_it(matching, request):
    review, figures = (
        request.getfixturevalue(f"{'matched' if matching else 'plain'}_{what}") for what in ("review", "figures")
    )
    drawing = Drawing(None, matching=matching)
    for drive in reversed(review.drives):
        drawing.begin(review.sheet, drive)
    assert set(drawing.begun) == {"blow_restrike", "blow_initial"} | (
        set() if matching else {"profile_initial", "profile_restrikes"}
    )
    assert dict(drawing.begin_rest(review)) == figures


def test_pdfs_are_there_as_far_as_there_is_something_to_say(files, plain_files):
    assert files["report.pdf"].startswith(b"%PDF")
    assert files["criterion_card.pdf"].startswith(b"%PDF")
    assert "report.pdf" in plain_files
    assert "criterion_card.pdf" not in plain_files


FURTHER = [pytest.param(name, marks=pytest.mark.sweep) for name in ("橋", "Q" * 200, "a\x07b")]


@pytest.mark.parametrize("name", ["$x$ and $\\broken{", "--><b>", *FURTHER])
def test_names_that_look_like_formulas_are_drawn_as_they_stand(plain_review, renamed, name):
    for figure in review_figures(renamed(plain_review, pile_name=name)).values():
        ElementTree.fromstring(figure)


@pytest.fixture
def no_fonts(monkeypatch):
    """A machine that has no fonts but those of the figures."""
    monkeypatch.setattr("matplotlib.font_manager.findSystemFonts", lambda: [])
    fonts_for.cache_clear()
    yield
    fonts_for.cache_clear()


def test_no_letter_of_a_name_is_a_box_in_a_figure(plain_review, renamed, no_fonts):
    """Chinese in a pile's name was a row of boxes in PNG, so that two piles had one figure; Cyrillic is there."""
    named = renamed(plain_review, pile_name="桩-Ж3")
    files = review_files(named, png=True)
    drawn = {name: files[name] for name in files if name.endswith(".svg")}
    assert drawn and all("[U+6869]-Ж3" in one.decode() and "桩" not in one.decode() for one in drawn.values())
    spelled = review_figures(renamed(plain_review, pile_name="[U+6869]-Ж3"))
    for name, figure in pictures_png(spelled).items():
        assert files[f"figures/{name}.png"] == figure


def test_a_test_without_any_sound_blow_has_its_files(rejected_review):
    assert {"report.pdf", "blows_initial.csv", "summary.json"} <= set(review_files(rejected_review))
