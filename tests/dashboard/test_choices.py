"""What a person chooses on a page shows at once, there and on the pages after it, and in no other session."""

import errno
import re
import tomllib
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from dyntest.presenting.sentences import choice_rows
from dyntest.reading import files
from dyntest.reading.notes import Notes, read_notes
from dyntest.reading.parts import Choices
from dyntest.reading.sheet import read_sheet
from dyntest.reviewing.review import review

ROOT = Path(__file__).parent.parent.parent

US, SI = re.compile(r"\d (?:kip|ft|ksi|in)\b"), re.compile(r"\d (?:kN|kJ|MPa|m|mm)\b")
"""Numbers with a unit of one system and of the other."""


def answers(page: AppTest) -> str:
    """What a page says itself, without how it was computed."""
    return "\n".join(element.proto.body for element in page.get("html"))


def go_on(page: AppTest, to: str, open_page) -> AppTest:
    """Open another page in the same session."""
    other = open_page(to)
    for name in ("choices", "before", "looked_at", "drive", "system", "sheet_path"):
        if name in page.session_state:
            other.session_state[name] = page.session_state[name]
    return other.run()


def test_a_damping_factor_changes_the_answer_to_that_of_the_command_line(small_test, open_page, text_of):
    shown = open_page("resistance", small_test)
    before = text_of(shown)
    shown.slider(key="resistance_factor").set_value(0.25).run()
    assert not shown.exception and text_of(shown) != before
    from dyntest_dashboard import work

    kept = shown.session_state["choices"]
    assert kept.damping_factor == 0.25
    small_test.write_text(work.sheet_text(FakeTest(read_sheet(small_test), kept)))
    from dyntest.presenting.sentences import resistance_sentence

    reviewed = review(small_test, match="none")
    for drive in reviewed.drives:
        assert resistance_sentence(reviewed, drive) in text_of(shown)


def test_a_blow_taken_stands_for_the_drive_on_the_next_page(small_test, open_page, text_of):
    shown = open_page("trust", small_test)
    numbers = shown.number_input(key="strip_blow")
    first = int(numbers.min)
    numbers.set_value(first).run()
    shown.button(key="trust_take").click().run()
    assert f"Representative blow {first}:" in text_of(shown).replace("\\", "")
    later = go_on(shown, "hammer", lambda page: open_page(page, small_test))
    assert f"blow {first} delivered" in text_of(later)
    shown.button(key="trust_rule").click().run()
    assert f"Representative blow {first}:" not in text_of(shown).replace("\\", "")


def test_a_gauge_left_out_is_left_out_everywhere(small_test, open_page, text_of):
    shown = open_page("trust", small_test)
    assert "single strain gauge" not in text_of(shown)
    shown.button_group(key="trust_leave_out").set_value(["strain_1"]).run()
    assert not shown.exception and "single strain gauge" in text_of(shown)
    later = go_on(shown, "report", lambda page: open_page(page, small_test))
    assert not later.exception
    assert later.session_state["choices"].leave_out == ("strain_1",)


def test_a_filter_that_does_not_fit_is_told(small_test, open_page):
    shown = open_page("trust", small_test)
    shown.button_group(key="trust_leave_out").set_value(["strain_1", "strain_2"]).run()
    assert not shown.exception and "strain gauges are left out" in shown.error[0].value


@pytest.mark.parametrize("page", ["pile", "hammer", "resistance"])
def test_units_of_every_number_follow_the_switch(page, small_test, open_page, text_of):
    shown = open_page(page, small_test)
    assert US.search(text_of(shown)) and not SI.search(answers(shown))
    shown.session_state["system"] = "SI"
    shown.run()
    assert not shown.exception
    assert SI.search(answers(shown)) and not US.search(answers(shown))


def test_choices_are_in_the_sheet_that_is_saved(small_test, open_page):
    shown = open_page("resistance", small_test)
    shown.slider(key="resistance_factor").set_value(0.33).run()
    from dyntest_dashboard import work

    saved = work.sheet_text(FakeTest(read_sheet(small_test), shown.session_state["choices"]))
    assert tomllib.loads(saved)["choices"]["damping_factor"] == 0.33
    small_test.write_text(saved)
    assert read_sheet(small_test).choices == shown.session_state["choices"]


class FakeTest:
    """A test with a sheet as read and the choices of a session."""

    def __init__(self, sheet, choices):
        from dataclasses import replace

        self.as_read, self.sheet = sheet, replace(sheet, choices=choices)


def test_a_damping_factor_moves_no_representative_blow(open_page):
    sample = ROOT / "sample_signals" / "pier_2_clay" / "sheet.toml"
    shown = open_page("resistance", sample)
    before = [line for line in answers(shown).splitlines() if "blow" in line]
    blows = re.findall(r"blow (\d+)", "\n".join(before))
    for factor in (0.2, 0.45, 0.69, 0.9):
        shown.slider(key="resistance_factor").set_value(factor).run()
        now = [line for line in answers(shown).splitlines() if "blow" in line]
        assert not shown.exception and re.findall(r"blow (\d+)", "\n".join(now))[: len(blows)] == blows


def test_a_choice_that_leads_to_an_error_can_be_taken_back(small_test, open_page):
    shown = open_page("trust", small_test)
    shown.button_group(key="trust_leave_out").set_value(["strain_1", "strain_2"]).run()
    assert len(shown.error) == 1 and shown.button_group(key="trust_leave_out").value == ["strain_1", "strain_2"]
    shown.button(key="back_undo").click().run()
    assert not shown.error and shown.button_group(key="trust_leave_out").value == []


def test_choices_are_not_written_over_what_another_wrote_meanwhile(small_test, open_page, text_of):
    shown = open_page("report", small_test)
    from dyntest_dashboard import work

    kept = Choices(damping_factor=0.33)
    shown.session_state["choices"] = kept
    shown.run()
    theirs = work.sheet_text(FakeTest(read_sheet(small_test), Choices(damping_factor=0.21)))
    small_test.write_text(theirs)
    shown.button(key="report_write").click().run()
    assert not shown.exception and [("changed by another" in one.value) for one in shown.error] == [True]
    assert small_test.read_text() == theirs and shown.session_state["choices"] == kept
    shown.button(key="report_write").click().run()  # now that it was told
    assert not shown.error and read_sheet(small_test).choices == kept and "choices" not in shown.session_state


def test_choices_stay_where_the_folder_takes_nothing(small_test, open_page, monkeypatch):
    shown = open_page("report", small_test)
    shown.session_state["choices"] = Choices(damping_factor=0.33)
    shown.run()
    before = small_test.read_bytes()

    def full(*_, **__):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(files.tempfile, "mkstemp", full)
    shown.button(key="report_write").click().run()
    assert not shown.exception and len(shown.error) == 1 and "could not be written" in shown.error[0].value
    assert small_test.read_bytes() == before and shown.session_state["choices"].damping_factor == 0.33


def test_nobody_signs_what_he_has_not_seen(small_test, open_page):
    shown = open_page("report", small_test)
    small_test.write_text(small_test.read_text() + "# of another\n")
    shown.text_input(key="report_sign_name").set_value("A. Meyer")
    sign = next(one for one in shown.button if one.label == "Sign")
    sign.click().run()
    assert not shown.exception and ["sign\\-off" in one.value for one in shown.error] == [True]
    assert read_notes(small_test) == Notes()
    shown.text_input(key="report_sign_name").set_value("A. Meyer")
    next(one for one in shown.button if one.label == "Sign").click().run()
    assert not shown.error and read_notes(small_test).sign_off.name == "A. Meyer"


def test_a_note_without_a_name_is_not_lost(small_test, open_page):
    shown = open_page("report", small_test)
    add = next(one for one in shown.button if one.label == "Add the note")
    shown.text_area(key="report_note_text").set_value("Gauge 2 was reset.")
    shown.text_input(key="report_note_name").set_value(" ")
    add.click().run()
    assert not shown.exception and ["your name" in one.value for one in shown.error] == [True]
    assert shown.text_area(key="report_note_text").value == "Gauge 2 was reset." and read_notes(small_test) == Notes()
    shown.text_input(key="report_note_name").set_value("A. Meyer")
    next(one for one in shown.button if one.label == "Add the note").click().run()
    assert [(note.text, note.name) for note in read_notes(small_test).notes] == [("Gauge 2 was reset.", "A. Meyer")]
    assert not shown.error and shown.text_area(key="report_note_text").value == ""


def test_a_signature_without_a_name_is_refused_aloud(small_test, open_page):
    shown = open_page("report", small_test)
    shown.text_input(key="report_sign_name").set_value("")
    next(one for one in shown.button if one.label == "Sign").click().run()
    assert len(shown.error) == 1 and read_notes(small_test) == Notes()


def test_choices_are_forgotten_when_asked(small_test, open_page):
    shown = open_page("resistance", small_test)
    shown.slider(key="resistance_factor").set_value(0.33).run()
    report = go_on(shown, "report", lambda page: open_page(page, small_test))
    report.button(key="report_reset").click().run()
    assert "choices" not in report.session_state


@pytest.mark.parametrize("page", ["setup", "criterion"])
def test_a_production_log_of_another_structure_is_told_on_every_page_that_decides(page, small_test, open_page, text_of):
    log = small_test.parent / "elsewhere.csv"
    log.write_text("pile,depth_from [ft],depth_to [ft],blows\nX-1,10,11,5\nX-1,11,12,9\n")
    shown = open_page(page, small_test)
    assert "production log" not in text_of(shown)
    shown.session_state["production"] = (log, None)
    shown.run()
    told = [element.proto.body for element in shown.get("html") if 'class="dyntest-alert"' in element.proto.body]
    assert len(told) == 1 and "X-1" in told[0]
    assert any("1 alert<" in element.proto.body for element in shown.get("html"))


def test_a_production_log_is_read_as_the_sheet_lays_it_out(small_test, open_page, text_of):
    log = small_test.parent / "own.txt"
    log.write_text("Pier 9\nMark,Depth,Count\nX-1,11,5\nX-1,12,9\n")
    layout = '[log]\nskip_lines = 1\npile = { column = "Mark" }\ndepth_to = { column = "Depth", unit = "ft" }\n'
    small_test.write_text(small_test.read_text() + layout + 'blows = { column = "Count" }\n')
    shown = open_page("setup", small_test)
    shown.session_state["production"] = (log, None)
    shown.run()
    assert not shown.exception and "X-1" in text_of(shown)


def test_two_sessions_do_not_see_each_other(small_test, open_page, text_of):
    one, other = open_page("resistance", small_test), open_page("resistance", small_test)
    before = text_of(other)
    one.slider(key="resistance_factor").set_value(0.1).run()
    assert text_of(other.run()) == before and "choices" not in other.session_state


def test_a_changed_file_is_read_again(small_test, open_page, text_of):
    shown = open_page("pile", small_test)
    text = small_test.read_text()
    pile = next(line for line in text.splitlines() if line.startswith("pile = "))
    small_test.write_text(text.replace(pile, 'pile = "renamed 77"'))
    assert "renamed 77" in text_of(shown.run())


def test_everything_that_can_be_chosen_is_told(small_test):
    from dataclasses import replace

    sheet = read_sheet(small_test)
    assert choice_rows(replace(sheet, choices=Choices())).empty
    chosen = Choices({"initial": 3}, 0.4, ("strain_1",), 2000.0, True, "hyperbolic", "wave equation", True)
    assert len(choice_rows(replace(sheet, choices=chosen))) == len(Choices.__dataclass_fields__)


def test_two_tests_of_piles_of_one_name_can_be_compared(small_test, tmp_path, lay_out_small_test, open_page):
    other = tmp_path / "other"
    other.mkdir()
    lay_out_small_test(other)
    shown = open_page("compare", small_test)
    shown.text_input(key="compare_path").set_value(str(other / "sheet.toml")).run()
    assert not shown.exception and not shown.error
    assert [button.key for button in shown.button if str(button.key).endswith("_match")] == [
        "compare_0_match",
        "compare_1_match",
    ]
