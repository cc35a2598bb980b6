"""The board of a structure on the page: what was kept is shown at once, and what is missing is done beside it."""

import shutil

import pytest
from dyntest_dashboard import shelf
from dyntest_dashboard.views.structure import depth_chart, hammer_chart, setup_chart

from dyntest.presenting.frames_decisions import setup_points
from dyntest.presenting.palette import DRIVES, GROUNDS
from dyntest.presenting.structure_board import board_answer, hammer_points, resistance_lines, soil_profiles
from dyntest.reading.structure_sheet import read_structure
from dyntest.reviewing.structure import review_structure
from dyntest.reviewing.survey import keep_record


@pytest.fixture
def path(tmp_path, request):
    """A copy of the sample structure; nothing of it is kept yet."""
    samples = request.config.rootpath / "sample_signals"
    shutil.copytree(samples, tmp_path / "s", ignore=shutil.ignore_patterns("structure", "review", "__pycache__"))
    return tmp_path / "s" / "structure.toml"


@pytest.fixture
def kept(path, told_sample):
    """The same with all its test piles kept, from results written down by hand."""
    for record in told_sample.values():
        keep_record(path.parent / "structure", record)
    return path


@pytest.fixture
def open_board(open_page, monkeypatch):
    """Run the page on a structure."""

    def run(path):
        monkeypatch.setenv("DYNTEST_STRUCTURE", str(path))
        return open_page("structure", path.parent / "pier_2_clay" / "sheet.toml")

    return run


@pytest.mark.usefixtures("charts_held_against_their_schema")
def test_the_board_shows_what_was_kept(kept, told_sample, open_board, text_of):
    shown = open_board(kept)
    assert not shown.exception and not shown.error
    text = text_of(shown).replace("\\", "")
    review = review_structure(read_structure(kept), known=told_sample)
    assert all(sentence in text for sentence in board_answer(review))
    assert "A4-3" in text and "structure_review" not in [one.key for one in shown.button]
    assert shown.selectbox(key="structure_one").value in review.groups[0].log.piles


def test_a_pile_is_looked_at_and_units_follow_the_switch(kept, open_board, text_of):
    shown = open_board(kept)
    shown.selectbox(key="structure_one").set_value("P2-14").run()
    assert not shown.exception and "absolute refusal" in text_of(shown)
    shown.session_state["structure_system"] = "SI"
    shown.run()
    text = text_of(shown)
    assert not shown.exception and " kN" in text and " kip" not in text
    assert shown.selectbox(key="structure_one").value == "P2-14"


def test_a_test_pile_leads_to_its_own_pages(kept, open_board):
    shown = open_board(kept)
    shown.selectbox(key="structure_test").set_value("A1-2")  # chosen and pressed before the page was drawn anew
    shown.button(key="structure_open_test").click().run()
    assert shown.session_state["sheet_path"] == str(kept.parent / "abutment_1_concrete" / "sheet.toml")


@pytest.mark.usefixtures("charts_held_against_their_schema")
def test_two_test_piles_are_laid_side_by_side(kept, open_board, text_of):
    shown = open_board(kept)
    shown.selectbox(key="structure_left").set_value("A1-2").run()
    shown.selectbox(key="structure_right").set_value("A4-3").run()
    assert "<th scope='col'>A1-2</th><th scope='col'>A4-3</th>" in text_of(shown)
    shown.button(key="structure_both").click().run()
    chosen = [shown.session_state[key] for key in ("sheet_path", "other", "go_to")]
    folders = ("abutment_1_concrete", "abutment_4_damaged")
    assert chosen == [*(str(kept.parent / name / "sheet.toml") for name in folders), "compare"]


def test_what_is_missing_is_reviewed_beside_the_page_and_kept(
    path, told_sample, open_board, text_of, monkeypatch, jobs_done
):
    asked = []

    def survey(folder, sheets, *, known, keep, progress):
        asked.extend(sheets)
        progress("1 of 4 piles", 0.25)
        records = [told_sample[sheet.relative_to(folder).as_posix()] for sheet in sheets]
        for record in records[:3]:
            keep(record)
        return (*records[:3], type(records[3])(records[3].sheet, {}, "best", "", None, "its records are cut"))

    monkeypatch.setattr("dyntest.reviewing.survey.survey", survey)
    shown = open_board(path)
    assert "4 test piles" in text_of(shown)
    shown.button(key="structure_review").click().run()
    jobs_done()
    assert len(asked) == 4
    text = text_of(shown.run())
    assert "3 of 4 " in text and "its records are cut" in text
    assert not shown.exception


def test_a_changed_file_is_to_be_reviewed_again(kept, open_board, text_of):
    shown = open_board(kept)
    log = kept.parent / "pier_3_shale" / "driving_log.csv"
    log.write_text(log.read_text() + "\n")
    shown.run()
    assert "3 of 4 " in text_of(shown) and not shown.exception
    assert shown.button(key="structure_review")


def test_the_review_of_test_piles_stops_when_asked(path, monkeypatch):
    told = []

    def survey(folder, sheets, *, known, keep, progress):
        while True:
            progress("in hand", 0.0)

    monkeypatch.setattr("dyntest.reviewing.survey.survey", survey)
    going = iter((True, True, False))
    sheet, kept = read_structure(path), shelf.Shelf()
    job = shelf.Job(
        lambda tell, keep_going: shelf.review_test_piles(
            kept, sheet, path.parent / "structure", lambda words, share: told.append(words), lambda: next(going)
        ),
        "reviewing",
    )
    job.join(60)
    assert not job.is_alive() and job.problem == "" and told == ["in hand"] * 2


def test_a_structure_that_cannot_be_read_is_told(path, open_board):
    path.write_text(path.read_text().replace("[structure]", "[structur]"))
    shown = open_board(path)
    assert not shown.exception and len(shown.error) == 1
    assert "structure.toml" in shown.error[0].value.replace("\\", "")


def test_a_structure_is_found_beside_its_tests_and_no_other_is_shown(kept, open_page, small_test, text_of):
    found = open_page("structure", kept.parent / "abutment_1_concrete" / "sheet.toml")
    assert "32 piles judged" in text_of(found)
    alone = open_page("structure", small_test)
    assert not alone.exception and "Quillback Creek Bridge" not in text_of(alone)
    assert not [one for one in alone.selectbox if one.key == "structure_left"]


def test_a_structure_that_was_opened_in_error_can_be_closed(kept, open_board, tmp_path):
    shown = open_board(kept)
    shown.session_state["structure_path"] = str(tmp_path / "none.toml")
    shown.run()
    assert not shown.exception and "none.toml" in shown.error[0].value.replace("\\", "")
    shown.button(key="back_structure").click().run()
    assert not shown.error and not shown.exception


@pytest.mark.usefixtures("charts_held_against_their_schema")
def test_charts_hold_depth_and_resistance_energy_and_stress(told_sample, path):
    review = review_structure(read_structure(path), known=told_sample)
    lines, layers = resistance_lines(review.results, "US"), soil_profiles(review.results, "US")
    drawn = depth_chart(lines, layers).to_dict()
    line = drawn["layer"][0]["encoding"]
    assert line["x"]["axis"]["title"].startswith("maximum Case") and line["y"]["scale"]["reverse"]
    kinds = [layer["mark"]["type"] for layer in drawn["layer"]]
    assert kinds.count("rect") == 4 and kinds.count("text") == 4
    struck = hammer_points(review)

    def marks(chart):
        """Every mark of a chart, those of charts within it too."""
        return [
            one for layer in chart["layer"] for one in (marks(layer) if "layer" in layer else [layer["mark"]["type"]])
        ]

    assert marks(hammer_chart(struck, "stress", "s").to_dict()).count("rule") == 1
    assert "rule" not in marks(hammer_chart(struck, "ratio", "e").to_dict())


@pytest.mark.usefixtures("charts_held_against_their_schema")
def test_a_restrike_that_gives_no_line_has_a_hollow_mark(path, told_sample):
    review = review_structure(read_structure(path), known=told_sample)
    drawn = setup_chart(review, setup_points(review)).to_dict(validate=False)
    fitted, hollow = (layer["mark"]["color"] for layer in drawn["layer"][-2:])  # the legend is drawn as the first
    assert "t₀ = 1 day, clay" in str(drawn) and (fitted, hollow) == (DRIVES["restrike"], GROUNDS["light"])
