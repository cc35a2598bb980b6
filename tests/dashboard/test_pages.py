"""Every page on a sample, on a matched sample and on sheets that cannot be used."""

import json
from dataclasses import replace
from datetime import datetime

import pandas as pd
import pytest
from dyntest_dashboard import pieces
from dyntest_dashboard.pages import PAGES
from dyntest_dashboard.views import setup

from dyntest.names import NAMES, show, show_required
from dyntest.presenting.frames_decisions import law_requirement

pytestmark = pytest.mark.usefixtures("charts_held_against_their_schema")

ALL = (
    "pile",
    "new_test",
    "trust",
    "hammer",
    "resistance",
    "setup",
    "criterion",
    "bearing_piles",
    "structure",
    "compare",
    "live",
    "report",
)


def test_every_page_file_is_routed_and_tested(request):
    files = {path.stem for path in (request.config.rootpath / "dashboard" / "views").glob("*.py")} - {"__init__"}
    assert files == set(PAGES) == set(ALL)


@pytest.mark.parametrize("page", ALL)
def test_a_page_answers_its_question_on_a_sample(page, open_page, text_of):
    shown = open_page(page)
    assert not shown.exception and not shown.error
    text = text_of(shown)
    assert PAGES[page].question in text and "dyntest-answer" in text


@pytest.mark.parametrize("page", [page for page in ALL if page not in ("new_test", "structure", "live")])
def test_a_page_answers_once_the_drives_are_matched(page, open_page, text_of, matched):
    shown = open_page(page)
    assert not shown.exception and not shown.error
    text = text_of(shown)
    assert "dyntest-answer" in text
    assert page == "compare" or "not matched" not in text  # there the other pile is not
    saved = [element.proto.id for element in shown.get("download_button")]
    if page == "criterion":
        assert any("criterion_card" in one for one in saved)
        rows = len(matched.answers.criterion.criterion.rows)
        assert rows and text.count("<tr>") >= rows
    if page == "bearing_piles":  # every pile of the sample's production log is judged
        assert any("bearing_save" in one for one in saved)
        assert "P2-24" in text


def test_the_record_names_the_damping_factor_of_the_maximum_beside_it(open_page, matched):
    """It may be another than that of the resistance between the marks, which is then the larger one."""
    shown = open_page("trust")
    (record,) = [json.loads(one.proto.json) for one in shown.get("bidi_component") if "maximumFactor" in one.proto.json]
    table = matched.drives[0].table
    at = record["blows"].index(record["blow"])
    row = table.set_index("blow").loc[record["blow"]]
    assert record["maximumFactor"] == row["damping_factor_maximum"] and record["factor"] == row["damping_factor"]
    assert record["maximum"][at] == pytest.approx(row["case_resistance_maximum"] / 4448.2216, rel=1e-6)


def test_each_case_resistance_of_the_page_stands_with_its_damping_factor(open_page, text_of, matched):
    factor = show("damping_factor_maximum", matched.drives[0].numbers["damping_factor_maximum"], "US")
    assert f"<td>{NAMES['damping_factor_maximum'].words}</td><td>{factor}</td>" in text_of(open_page("resistance"))


@pytest.mark.parametrize(
    ("page", "key"), [("report", "report_paper"), ("bearing_piles", "bearing_filter"), ("trust", "how_")]
)
def test_a_second_click_on_a_choice_keeps_it(page, key, open_page, matched):
    """Else the choice is shown as none while one is in force."""
    groups = [one.proto for one in open_page(page).get("button_group") if key in one.proto.id]
    assert groups and all(one.required and len(one.default) == 1 for one in groups)


def test_words_in_a_table_of_numbers_wrap_and_its_numbers_do_not(open_page, monkeypatch):
    rows = [["7.0 ft", "5.2", ""], ["7.5 ft", "–", "the compression stress is above the limit of the steel at this"]]
    told = []
    monkeypatch.setattr(pieces.st, "html", told.append)
    pieces.worded(pd.DataFrame(rows, columns=["stroke", "count", "because"]), numeric=True)
    body = told[0].partition("<tbody>")[2]
    assert body.count('<td class="words">') == 2 and body.count("<td>") == 4


def test_a_number_stands_on_one_line_with_its_unit(monkeypatch):
    told = []
    monkeypatch.setattr(pieces.st, "html", told.append)
    pieces.worded(pd.DataFrame([["1.83 m", "2026-05-07"]], columns=["stroke", "driven"]))
    pieces.draw_answer(["Restrike 2: 1,749 kN, 42 % of the rated energy; 3 blows."])
    assert "1.83\N{NO-BREAK SPACE}m" in told[0] and '<td class="whole">2026-05-07</td>' in told[0]
    assert all(f"\N{NO-BREAK SPACE}{unit}" in told[1] for unit in ("kN", "%", "blows"))


def test_alerts_on_two_piles_name_the_pile(open_page, request):
    """Two test piles on one page: it must be seen which of them is damaged."""
    other = request.config.rootpath / "sample_signals" / "abutment_4_damaged" / "sheet.toml"
    shown = open_page("compare")
    shown.text_input(key="compare_path").set_value(str(other)).run()
    alerts = [element.proto.body for element in shown.get("html") if 'class="dyntest-alert"' in element.proto.body]
    assert len(alerts) == 1 and "<p>A4-3: " in alerts[0]


def test_a_choice_left_open_says_so(open_page, matched):
    shown = open_page("trust")
    assert shown.selectbox(key="trust_low_pass").placeholder == "none"


def test_a_finding_on_no_blow_in_particular_counts_none():
    assert "blow" not in pieces._places((), 1, 67, "note") and "2 blows" in pieces._places((3, 5), 1, 67, "note")


def test_a_new_test_shows_dates_of_start_and_end_as_they_are_typed(open_page):
    """Setup is compared over the wait from the initial drive to the restrike, which needs these dates."""
    shown = open_page("new_test")
    shown.button(key="new_restrike").click()
    shown.run()
    fields = {one.key: one for one in shown.text_input}
    keys = ("new_drive_start_0", "new_drive_end_0", "new_drive_start_1")
    dates = [datetime.strptime(fields[key].placeholder, "%Y-%m-%d %H:%M") for key in keys]
    assert sorted(set(dates)) == dates
    for key in keys:
        fields[key].set_value(fields[key].placeholder)
    shown.run()
    assert not shown.exception and 'role="alert"' not in "".join(one.proto.body for one in shown.get("html"))


def test_a_new_test_takes_the_decimal_mark_that_no_number_settles(open_page, tmp_path):
    """A text with numbers such as 1,234 alone was refused, and nothing on the page could say what they are."""
    rows = [";".join(f"{5.0 + 0.001 * k * (1 + place):.3f}" for place in range(4)) for k in range(1, 40)]
    path = tmp_path / "blow.txt"
    path.write_text("a;b;c;d\n" + "\n".join(rows).replace(".", ","), encoding="utf-8")
    shown = open_page("new_test")
    shown.text_input(key="new_paths_0").set_value(str(path))
    shown.run()
    (wrong,) = shown.error
    message = wrong.value.replace("\\", "")
    assert "may be 5001 or 5.001" in message and "the decimal mark on the page New test" in message
    shown.selectbox(key="new_decimal").set_value(",")
    shown.run()
    assert not shown.error and not shown.exception
    assert shown.session_state["new_test"].found.records.decimal == ","


BROKEN = {
    "no TOML": ("format = [", "TOML"),
    "a length that has no unit": ('length_below_gauges = "48"', "has no unit"),
    "a table that is not there": ('signals = "elsewhere.parquet"', "elsewhere.parquet"),
}
READS = [page for page in ALL if page not in ("new_test", "structure")]
"""Pages that read the test's sheet."""

LATER = "a table that is not there"
"""To the page Live that is no error: records are still to come there."""


@pytest.mark.parametrize(
    ("page", "wrong"),
    [("trust", one) for one in BROKEN] + [(page, LATER if page != "live" else "no TOML") for page in READS[1:]],
)
def test_a_page_tells_what_is_wrong_with_a_sheet_and_shows_no_trace(page, wrong, small_test, open_page, text_of):
    line, said = BROKEN[wrong]
    name = line.split(" = ")[0]
    kept = [line if old.startswith(f"{name} = ") else old for old in small_test.read_text().splitlines()]
    small_test.write_text("\n".join(kept))
    shown = open_page(page, small_test)
    assert not shown.exception
    assert len(shown.error) == 1
    message = shown.error[0].value.replace("\\", "")
    assert said in message and "sheet.toml" in message and "Traceback" not in message
    assert "reload this page" in text_of(shown)  # what to do then


@pytest.mark.parametrize("page", [page for page in ALL if page not in ("pile", "new_test", "live", "structure")])
def test_a_page_tells_what_is_wrong_with_a_record(page, small_test, open_page):
    (small_test.parent / "initial.parquet").write_bytes(b"no table")
    shown = open_page(page, small_test)
    assert not shown.exception
    assert len(shown.error) == 1 and "initial" in shown.error[0].value


def test_words_of_the_sheet_are_shown_and_never_run(small_test, open_page, text_of):
    text = small_test.read_text()
    pile = next(line for line in text.splitlines() if line.startswith("pile = "))
    small_test.write_text(text.replace(pile, 'pile = "<script>alert(1)</script> *P* $x$"'))
    shown = open_page("trust", small_test)
    assert not shown.exception
    assert "<script>" not in text_of(shown) and "&lt;script&gt;" in text_of(shown)


def test_the_app_opens_on_the_first_page(monkeypatch, request, small_test):
    from streamlit.testing.v1 import AppTest

    monkeypatch.setenv("DYNTEST_SHEET", str(small_test))
    shown = AppTest.from_file(str(request.config.rootpath / "dashboard" / "app.py"), default_timeout=300).run()
    assert not shown.exception and not shown.error
    assert any(PAGES["pile"].question in element.proto.body for element in shown.get("html"))
    assert any("Decision support only" in element.proto.body for element in shown.get("html"))


def test_the_page_that_opens_first_keeps_its_own_address(monkeypatch, request, small_test):
    """/structure, kept from another day, was not found where a structure was opened."""
    import streamlit
    from streamlit.testing.v1 import AppTest

    addresses, navigation = [], streamlit.navigation

    def noted(pages, **more):
        addresses.extend(page.url_path for page in pages)
        return navigation(pages, **more)

    monkeypatch.setattr(streamlit, "navigation", noted)
    monkeypatch.setenv("DYNTEST_SHEET", str(small_test))
    AppTest.from_file(str(request.config.rootpath / "dashboard" / "app.py"), default_timeout=300).run()
    assert sorted(addresses) == sorted(["", *PAGES])


@pytest.mark.parametrize("page", ["hammer", "setup", "compare"])
def test_charts_show_the_requirement_as_the_line_above_them(page, open_page, text_of, matched, monkeypatch):
    whole = replace(matched.answers.time_law, basis="matched_resistance")  # not of the shaft alone
    monkeypatch.setattr(setup, "law_requirement", lambda law, required: law_requirement(whole, required))
    words = f"required {show_required(matched.answers.required.value, matched.sheet.display_units)}"
    shown = open_page(page)
    drawn = [repr(one.proto) for kind in ("vega_lite_chart", "bidi_component") for one in shown.get(kind)]
    assert words in text_of(shown) and any(words in one for one in drawn)


def test_a_path_counts_as_typed_when_its_button_is_pressed(open_page, small_test):
    """Typed and pressed before the page was drawn anew with it."""
    for page, field, button, kept in (
        ("pile", "pile_path", "pile_open_path", "sheet_path"),
        ("structure", "structure_path_text", "structure_open", "structure_path"),
    ):
        shown = open_page(page)
        shown.text_input(key=field).set_value("/nowhere/sheet.toml").run()
        shown.text_input(key=field).set_value(str(small_test))
        shown.button(key=button).click().run()
        assert shown.session_state[kept] == str(small_test)


def test_the_report_lists_the_drives_without_a_match_as_a_sentence_does(open_page, text_of, small_test):
    told = "Not yet matched: initial and restrike. The report will have no matched resistance for them."
    assert told in text_of(open_page("report", small_test))
