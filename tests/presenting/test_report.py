"""The report as it is read back: its answers are there as text, whatever the test and however its names are written."""

import io
import json
import re
import shutil
import subprocess
import sys
import tomllib
from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path

import matplotlib
import numpy as np
import pandas as pd
import pypdf
import pytest

from dyntest.decisions.criterion import Criterion, CriterionRow, RuledOut, StrokesRuledOut
from dyntest.decisions.trust import Caution
from dyntest.errors import InputError
from dyntest.hammer import Hammer
from dyntest.names import NAMES, show
from dyntest.presenting.explanations import NUMBERED, reference
from dyntest.presenting.finding_words import finding_cure, finding_message
from dyntest.presenting.report import criterion_card_pdf, report_pdf
from dyntest.presenting.report.answers import criterion_blocks
from dyntest.presenting.report.compose import UNWRITTEN, card_of, fonts_for
from dyntest.presenting.report.described import _drive_choices, hammer_facts, notes_and_seal, pile_facts
from dyntest.presenting.report.front_page import all_cautions, front_page
from dyntest.presenting.report.tables import blow_summary, soil_tables
from dyntest.presenting.sentences import criterion_sentence, resistance_sentence, setup_sentence, trust_sentence
from dyntest.reading.notes import DECISIONS, NOTES_FILE, Note, Notes, SignOff, fingerprint, notes_toml

ROOT = Path(__file__).parents[2]
DAY = date(2026, 6, 1)
ODD = '#panic("x") $x^2$ *bold* _low_ `raw` @label <tag> \\ // /* [ ] { } "quoted" – =1+1'
LONG = "Q" * 200


def pages(pdf: bytes, which: slice = slice(None)) -> list[str]:
    """Text of every page, or of some, its words set apart by single spaces; to read one takes half a second."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    return [" ".join(page.extract_text().split()) for page in reader.pages[which]]


def letters(text: str) -> str:
    """Text without spaces and break marks, in which broken words are found."""
    return re.sub(r"[\s\u200b]", "", text)


@pytest.fixture(scope="module")
def figures(matched_figures):
    """Figures of the matched test, under a shorter name."""
    return matched_figures


@pytest.fixture(scope="module")
def whole_report(matched_review, figures):
    return report_pdf(matched_review, date=DAY, figures=figures)


@pytest.fixture(scope="module")
def report(whole_report):
    return pages(whole_report)


def test_the_first_page_holds_the_answers(report, matched_review):
    first = letters(report[0])
    said = [trust_sentence(matched_review), criterion_sentence(matched_review)]
    said += [resistance_sentence(matched_review, drive) for drive in matched_review.drives]
    said += [setup_sentence(setup) for setup in matched_review.answers.setups]
    assert len(said) == 5
    for sentence in said:
        assert letters(sentence) in first
    assert "governingspecification" in first
    assert "2026-06-01" in first


def test_no_caution_is_said_twice(matched_review):
    answers = matched_review.answers
    setup = next(one for one in answers.setups if one.cautions)
    twice = replace(answers, criterion=None, target=replace(answers.target, cautions=setup.cautions))
    said = [told.message.casefold() for _, told in all_cautions(replace(matched_review, answers=twice))]
    assert said and len(said) == len(set(said))


def test_every_page_names_pile_and_structure_and_is_numbered(report, matched_review):
    sheet = matched_review.sheet
    for number, page in enumerate(report, 1):
        assert f"pile {sheet.pile_name} · {sheet.structure}" in page
        assert f"page {number} of {len(report)}" in page


def test_no_page_is_empty(report):
    assert min(len(page) for page in report) > 150  # head and foot alone have 136 letters


LEAST_FILLED = 0.78
"""Share of a page's height down to which its text reaches at least, the first and the last page aside [1]."""


def test_a_figure_that_has_no_room_leaves_no_hole(whole_report):
    """What follows a figure goes on where the figure is not; the last pages have no more to say."""
    reached = []
    for page in pypdf.PdfReader(io.BytesIO(whole_report)).pages[1:-1]:
        high, found = float(page.mediabox.height), []

        def seen(text, cm, tm, font, size, found=found):
            if text.strip():
                found.append(tm[5] * cm[3] + cm[5])

        page.extract_text(visitor_text=seen)
        reached.append(1.0 - min(y for y in found if y > 0.07 * high) / high)  # the page's foot stands below
    assert min(reached) >= LEAST_FILLED, reached


def test_a_criterion_whose_strokes_can_all_be_used_has_no_column_of_reasons(matched_review):
    found = matched_review.answers.criterion
    usable = replace(found, rows=tuple(replace(row, ruled_out=None) for row in found.rows))
    whole = replace(matched_review, answers=replace(matched_review.answers, criterion=usable))
    tables = [block for block in criterion_blocks(whole, ()) if block["kind"] == "rows"]
    assert "ruled out because" not in tables[0]["head"]
    assert all(len(row) == len(tables[0]["head"]) for row in tables[0]["rows"])


def test_what_a_report_on_such_a_test_has_to_state_is_in_it(report, matched_review):
    """The reporting list of ASTM D4945, from memory, in our own words."""
    text, sheet = " ".join(report), matched_review.sheet
    for words in (
        sheet.project, sheet.structure, sheet.pile_name, "area A", "length below gauges", "wave speed c", "modulus E",
        "make, model", "serial number", "fuel setting", "ram weight", "rated energy", "helmet mass", "hammer cushion",
        "recorder", "calibration", "D4945", "start to end", "waited", "final displacement", "penetration",
        "transferred energy", "integrity factor", "Case damping factor", "signal matching", "low-pass filter",
        "soil along shaft", "Soil model by segment", "Conditions of the drives", "static load test", "tested by",
        "checked by", "seal", "Notes of the engineer",
    ):  # fmt: skip
        assert words in text, words


def test_what_is_not_known_of_a_hammer_is_told_as_not_given():
    """A hammer without helmet and cushions had no row for them, as if nothing were missing."""
    bare = {name: value for name, value, _ in hammer_facts(Hammer("hydraulic", 4000.0), "US", "concrete")}
    wanted = ("rated energy", "approved stroke", "efficiency", "helmet mass", "hammer cushion", "pile cushion")
    assert [bare[name] for name in wanted] == ["not given"] * len(wanted)
    assert "pile cushion" not in {name for name, *_ in hammer_facts(Hammer("hydraulic", 4000.0), "US", "steel")}


def test_numbers_stand_with_unit_blow_and_equation(report, matched_review):
    drive = matched_review.drives[0]
    text = " ".join(report)
    assert f"{drive.name}, blow {drive.representative.blow}" in text
    row = f"transferred energy E max {show('transferred_energy', drive.numbers['transferred_energy'], 'US')}"
    assert letters(row) in letters(text)
    place = int(reference("transferred_energy").removeprefix("eq. "))
    assert NUMBERED[place - 1].keys == ("transferred_energy",)


def test_each_case_resistance_stands_with_the_damping_factor_it_has(report, matched_review):
    factor = show("damping_factor_maximum", matched_review.drives[0].numbers["damping_factor_maximum"], "US")
    assert letters(f"{NAMES['damping_factor_maximum'].words} J max {factor}") in letters(" ".join(report))


def test_provenance_names_files_fingerprints_versions_and_the_sheet(report, matched_review):
    text = letters(" ".join(report))
    for name, digest in matched_review.inputs.items():
        assert f"{name}{digest}" in text
    assert f"dyntest{matched_review.version}" in text
    assert f"pandas{pd.__version__}" in text
    for line in matched_review.sheet.text.splitlines():
        assert letters(line) in text


def test_the_summary_counts_every_blow_once(matched_review):
    for drive in matched_review.drives:
        table = blow_summary(drive, "US")
        assert sum(int(row[1]) for row in table["rows"]) == len(drive.table)
        assert len(table["rows"]) <= 41
        widest = [float(row[table_column(table, "σ_g")]) for row in table["rows"]]
        assert max(widest) == pytest.approx(drive.table["peak_gauge_stress"].max() / 6894757.293168, abs=0.051)


@pytest.mark.parametrize("first", [60.0, 60.4, 60.9, 60.97])
def test_blows_a_foot_are_right_where_the_record_begins_inside_a_foot(matched_review, first):
    drive = matched_review.drives[0]
    each = 1.3 / len(drive.table)  # some blows before the next foot, the others after it [ft]
    depths = (first + each * np.arange(1, len(drive.table) + 1)) * 0.3048
    table = blow_summary(replace(drive, table=drive.table.assign(penetration=depths)), "US")
    assert sum(int(row[1]) for row in table["rows"]) == len(depths)
    for label, count, a_foot, *_ in table["rows"]:
        assert float(a_foot) == pytest.approx(1.0 / each, abs=0.5 + 1.0 / each / int(count)), label


def table_column(table, symbol):
    return next(n for n, head in enumerate(table["head"]) if isinstance(head, dict) and head["symbol"] == symbol)


def test_the_soil_model_adds_up_to_the_match(matched_review):
    tables = soil_tables(matched_review.drives, "US")
    for drive in matched_review.drives:
        place, table = next(
            (place, table)
            for table in tables
            for place, head in enumerate(table["head"])
            if head.startswith(f"{drive.name}:")
        )
        resistances = [float(row[place]) for row in table["rows"]]
        shaft = drive.match.parameters["shaft"].sum() / 4448.2216152605
        assert sum(resistances[:-1]) == pytest.approx(shaft, rel=0.01)


def test_the_report_is_tagged_and_has_bookmarks(whole_report):
    reader = pypdf.PdfReader(io.BytesIO(whole_report))
    assert "/StructTreeRoot" in reader.trailer["/Root"]
    assert len(reader.outline) >= 8
    assert len(reader.pages) <= 12


def test_no_sentence_of_the_first_page_is_long(matched_review):
    front = front_page(matched_review, DAY)
    said = [words for one in front["answers"] for words in one["answers"]] + front["alerts"] + [front["reminder"]]
    said += [f"{one['text']} {one['cure']}" for one in front["cautions"]]
    for words in said:
        for sentence in re.split(r"(?<=[.:;?!]) ", words):
            assert len(sentence.split()) <= 30, sentence


def test_sources_say_sheet_default_or_equation(matched_review, averaged_review):
    known = {words: source for words, _, source in pile_facts(matched_review.sheet)}
    stated = "modulus" in matched_review.sheet.text
    assert known["modulus E"] == ("test sheet" if stated else "default")
    assert known["wave speed c"].startswith("eq.")
    other = {words: source for words, _, source in pile_facts(averaged_review.sheet)}
    assert other["modulus E"] == "from c and ρ"


def test_findings_say_what_was_done_and_what_to_do(damaged_review):
    text = letters(" ".join(pages(report_pdf(damaged_review, date=DAY, figures={}))))
    finding = next(one for one in damaged_review.drives[0].findings if one.check == "integrity")
    assert letters(finding_message(finding, damaged_review.sheet.display_units))[1:] in text
    assert letters(finding_cure(finding, damaged_review.sheet.display_units))[1:] in text
    assert "notusedfortherepresentativeblow" in text


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("plain_review", ["by the Case method", "No driving criterion", "was not matched"]),
        ("concrete_review", ["kN", "Setup was not measured", "blows per 25 mm"]),
        (
            "averaged_review",
            ["averaged by the recorder", "describes no hammer", "No driving criterion"],
        ),
        ("rejected_review", ["cannot be trusted", "no sound blow", "reject"]),
    ],
)
def test_every_kind_of_test_gets_a_report(request, name, words):
    text = " ".join(pages(report_pdf(request.getfixturevalue(name), date=DAY)))
    for some in words:
        assert some in text, some


def test_a_pile_of_several_parts_is_told_and_cautioned(plain_review, renamed):
    pile = plain_review.sheet.pile
    (part,) = pile.parts
    parts = (replace(part, length=part.length / 2), replace(part, length=part.length / 2, area=0.8 * part.area))
    text = pages(report_pdf(renamed(plain_review, pile=replace(pile, parts=parts)), date=DAY, figures={}), slice(2))
    assert "not a uniform pile" in text[0]
    assert "part from the gauges down" in text[1]


def test_every_template_goes_with_the_package():
    """Files that are no modules have to be named in pyproject.toml, or an installed program lacks them."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        patterns = tomllib.load(file)["tool"]["setuptools"]["package-data"]["dyntest"]
    package = ROOT / "dyntest"
    taken = {path for pattern in patterns for path in package.glob(pattern)}
    templates = set((package / "presenting").rglob("*.typ"))
    assert templates
    assert templates <= taken


def test_the_card_is_left_out_where_there_is_no_criterion(plain_review):
    assert card_of(plain_review) is None
    with pytest.raises(InputError, match="no driving criterion"):
        criterion_card_pdf(plain_review)


@pytest.mark.parametrize("words", [ODD, LONG, "橋 мост γέφυρα", "line\nbreak\ttab", "a" * 30 + "$" + "b" * 30])
def test_text_of_the_sheet_is_shown_and_never_run(plain_review, renamed, words):
    review = renamed(plain_review, project=words, structure=words, pile_name=words, engineer=words, text=words)
    review = replace(review, inputs={words: "0" * 64})
    pdf = report_pdf(review, date=DAY, figures={})
    first = letters(pages(pdf, slice(1))[0])
    if words.isascii():  # letters that the fonts lack are not found as text
        assert first.count(letters(words)) >= 4
    else:
        assert "Dynamictestofpile" in first


def test_no_letter_of_a_name_is_a_silent_box(matched_review, renamed, monkeypatch):
    """Chinese in a pile's name was a row of boxes, so that two piles had one card."""
    monkeypatch.setattr("matplotlib.font_manager.findSystemFonts", lambda: [])
    fonts_for.cache_clear()
    told = pages(criterion_card_pdf(renamed(matched_review, pile_name="桩-Ж3"), date=DAY))[0]
    fonts_for.cache_clear()
    assert "pile [U+6869]-Ж3" in told and UNWRITTEN in told
    plain = pages(criterion_card_pdf(renamed(matched_review, pile_name="P-Ж3"), date=DAY))[0]
    assert "pile P-Ж3" in plain and "U+" not in plain


def test_no_line_runs_off_the_page(matched_review, renamed, figures, tmp_path):
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    calibration = {"all": LONG}
    review = renamed(matched_review, project=LONG, structure=LONG, pile_name=LONG, engineer=LONG, text=LONG * 3)
    review = renamed(review, gauges=replace(review.sheet.gauges, calibration=calibration))
    review = replace(review, inputs={LONG: "0" * 64})
    for paper, width in (("US Letter", 612.0), ("A4", 595.28)):
        path = tmp_path / "report.pdf"
        whole = report_pdf(review, paper=paper, date=DAY, figures=figures)
        for pdf in (whole, criterion_card_pdf(review, paper=paper, date=DAY)):
            path.write_bytes(pdf)
            boxes = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, text=True, check=True).stdout
            found = re.findall(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"', boxes)
            assert len(found) > 100
            margin = 72 * 2 / 2.54 - 3  # 2 cm, less what a letter may reach into it
            assert min(float(box[0]) for box in found) > margin
            assert max(float(box[2]) for box in found) < width - margin


def test_paper_follows_the_units_or_is_chosen(plain_review, averaged_review):
    def size(pdf):
        box = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox
        return round(float(box.width)), round(float(box.height))

    assert size(report_pdf(plain_review, date=DAY, figures={})) == (612, 792)
    assert size(report_pdf(averaged_review, date=DAY, figures={})) == (595, 842)
    assert size(report_pdf(averaged_review, date=DAY, figures={}, paper="US Letter")) == (612, 792)
    with pytest.raises(InputError, match="US Letter or A4"):
        report_pdf(plain_review, paper="A3")


def test_the_same_review_gives_the_same_bytes_and_another_day_only_another_date(matched_review, whole_report):
    assert report_pdf(matched_review, date=DAY) == whole_report
    one, later = (pages(report_pdf(matched_review, date=day, figures={}), slice(2)) for day in (DAY, date(2026, 6, 2)))
    assert later != one and [page.replace("2026-06-02", "2026-06-01") for page in later] == one


def test_figures_are_vectors(whole_report):
    reader = pypdf.PdfReader(io.BytesIO(whole_report))
    objects = [reader.get_object(number) for number in range(1, reader.trailer["/Size"])]
    dictionaries = [one for one in objects if isinstance(one, dict)]
    assert any(one.get("/Type") == "/Page" for one in dictionaries)
    assert [one for one in dictionaries if one.get("/Subtype") == "/Image"] == []
    drawn = max(len(page.get_contents().get_data()) for page in reader.pages)
    assert drawn > 20_000


@pytest.mark.sweep
def test_many_drives_and_blows_are_laid_out(plain_review, plain_figures):
    drives = plain_review.drives
    many = pd.concat([drives[0].table] * 34, ignore_index=True)
    chosen = replace(drives[0].representative, blow=len(many))
    initial = replace(drives[0], table=many.assign(blow=range(1, len(many) + 1)), representative=chosen)
    restrikes = tuple(
        replace(drives[1], drive=replace(drives[1].drive, name=f"restrike_{number}")) for number in range(1, 12)
    )
    review = replace(plain_review, drives=(initial, *restrikes))
    drawn = {
        f"{kind}_{drive.name}": plain_figures[f"{kind}_initial"]
        for drive in review.drives
        for kind in ("blow", "profile")
    }
    report = report_pdf(review, date=DAY, figures={**plain_figures, **drawn})
    text = pages(report, slice(2))
    assert len(many) > 400
    assert "(8 more in the section on it.)" in text[0]
    assert "page 2 of" in text[1]
    assert "restrike 11, blow" in " ".join(pages(report))


def criterion(**changes) -> Criterion:
    rows = tuple(CriterionRow(2.0 + 0.1 * step, 0.003 + 0.0003 * step) for step in range(9))
    return Criterion(rows, 0.075, required_resistance=1.7e6, **changes)


@pytest.mark.parametrize("system", ["SI", "US"])
@pytest.mark.parametrize("paper", ["US Letter", "A4"])
def test_the_card_is_one_page_however_much_it_says(system, paper):
    names = ", ".join(f"{LONG[:40]}-{number}" for number in range(12))
    alerts = tuple(Caution("damage", 0.6, None, {"depth": 12.0}, f"pile {number}") for number in range(4))
    said = criterion(piles=(names, ODD, LONG), alerts=alerts, minimum_penetration=12.0)
    text = pages(criterion_card_pdf(said, structure=LONG, system=system, paper=paper, date=DAY))
    assert len(text) == 1
    assert letters(ODD) in letters(text[0])
    assert LONG in letters(text[0])
    assert text[0].count("DO NOT USE") == 4
    assert "approved by the engineer" in text[0]


BELOW = StrokesRuledOut("below", 2.0, RuledOut("refusal", 1.9, 0.0022, 0.00254))


def test_the_card_says_what_an_inspector_needs():
    said = criterion(minimum_penetration=12.0, maximum_stroke=2.8, ruled_out=(BELOW,))
    (text,) = pages(criterion_card_pdf(said, structure="East Bridge", system="SI", date=DAY))
    assert "2.00 m 25 6 2.10 m 23 5" in text  # 75 mm over 3.0 mm is 25 and no 25 mm under 6; over 3.3 mm 22.7 and 5
    for words in ("12 m below the ground", "75 mm", "must not be above 2.80 m", "strokes below 2.00 m", "Refusal",
                  "10 blows or more in every 25 mm", "call the engineer", "East Bridge"):  # fmt: skip
        assert words in text, words


def test_the_card_without_a_minimum_penetration_says_so():
    (text,) = pages(criterion_card_pdf(criterion(), structure="East Bridge", system="US", date=DAY))
    assert "No minimum penetration is given" in text
    assert "75 mm (about 3 in)" in text  # an inspector who counts every 25 mm


TODAY = date(2026, 5, 11)


def test_notes_and_a_stale_sign_off_are_printed(small_review, tmp_path):
    sheet = replace(small_review.sheet, path=tmp_path / "sheet.toml")
    kept = Notes(
        (Note("Splice looked at.", "A. Reader", TODAY),),
        SignOff("A. Reader", TODAY, DECISIONS[0], "", "of other files"),
    )
    (tmp_path / NOTES_FILE).write_bytes(notes_toml(kept))
    printed = json.dumps(notes_and_seal(replace(small_review, sheet=sheet)))
    assert "Splice looked at." in printed and "changed since" in printed
    signed = replace(kept.sign_off, fingerprint=fingerprint(small_review.inputs))
    (tmp_path / NOTES_FILE).write_bytes(notes_toml(replace(kept, sign_off=signed)))
    assert "changed since" not in json.dumps(notes_and_seal(replace(small_review, sheet=sheet)))


def test_fonts_of_the_figures_are_found_without_loading_what_draws_them():
    loaded = "import sys; from dyntest.presenting.report.compose import font_folder; print(font_folder())"
    words = [sys.executable, "-c", f"{loaded}; print('matplotlib' in sys.modules)"]
    folder, drawn = subprocess.run(words, check=True, capture_output=True, text=True).stdout.split("\n")[:2]
    assert (folder, drawn) == (f"{matplotlib.get_data_path()}/fonts/ttf", "False")


def test_no_number_of_a_report_is_parted_from_its_unit(whole_report):
    """A line break between them: the number stands at the end of one line and its unit begins the next."""
    lines = [
        line.strip()
        for page in pypdf.PdfReader(io.BytesIO(whole_report)).pages
        for line in page.extract_text().split("\n")
    ]
    parted = [
        (one, other)
        for one, other in pairwise(lines)
        if re.search(r"\d$", one) and re.match(r"(?:(?:kip|ksi|ft|kN|MPa|days|hours)\b|%)", other)
    ]
    assert parted == []


def test_the_damping_factor_of_the_maximum_is_told_where_it_is_another(small_review):
    drive, *others = small_review.drives
    table = drive.table.assign(damping_factor=0.3, damping_factor_maximum=0.5)
    told = _drive_choices(replace(small_review, drives=(replace(drive, table=table), *others)))
    assert [factor for name, factor, _ in told if name.startswith("Case damping")] == [
        "0.30, 0.50 for the maximum",
        "0.30",
    ]
