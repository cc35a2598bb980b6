"""What is entered at the rig counts as it stands in the field when a button is pressed.

A press can reach the page together with what was typed before it, before the page was drawn with that.
"""

import shutil
from pathlib import Path

import pytest

from dyntest.following.depth import LOG, enter_mark, marks_of, remarks_of
from dyntest.following.record import DEPTHS, entries, folder_of, keep_state
from dyntest.reading.logs import read_driving_log
from dyntest.reading.sheet import read_sheet

SAMPLE = Path(__file__).parent.parent.parent / "sample_signals" / "pier_2_clay" / "sheet.toml"

FOOT = 0.3048


@pytest.fixture
def live(tmp_path, open_page):
    """Give the page of a drive from 30 ft on with two marks, and the folder of what is kept."""
    shutil.copytree(SAMPLE.parent, tmp_path / "test", ignore=shutil.ignore_patterns("review", "followed"))
    path = tmp_path / "test" / "sheet.toml"
    folder = folder_of(read_sheet(path, recorded=False), "initial")
    folder.mkdir(parents=True)
    keep_state(folder, beat="2026-05-01T10:00:00")
    for blow, feet in ((12, 31.0), (20, 32.0)):
        enter_mark(folder, blow, feet * FOOT, "US", start=30 * FOOT)
    return open_page("live", path), folder


def test_a_correction_counts_as_typed(live):
    shown, folder = live
    shown.selectbox(key="live_mark").set_value(1)
    shown.number_input(key="live_right").set_value(31.5)
    shown.number_input(key="live_count").set_value(11)
    shown.button(key="live_correct").click().run()
    assert not shown.exception
    log = read_driving_log(folder / LOG)
    assert log.depth_to == pytest.approx([31.5 * FOOT, 32.0 * FOOT]) and log.blows.tolist() == [11, 8]
    assert shown.number_input(key="live_right").value is None


def test_a_depth_and_a_remark_count_as_typed(live):
    shown, folder = live
    shown.number_input(key="live_depth").set_value(30.25)  # no blow is kept yet: before the other marks
    shown.button(key="live_stamp").click().run()
    assert not shown.exception and marks_of(entries(folder / DEPTHS))[0].depth == pytest.approx(30.25 * FOOT)
    shown.text_input(key="live_remark").set_value("cushion changed")
    shown.button(key="live_keep").click().run()
    assert [one.text for one in remarks_of(entries(folder / DEPTHS))] == ["cushion changed"]


def test_the_mark_to_correct_is_the_last_one_until_another_is_chosen(live):
    shown, folder = live
    assert shown.selectbox(key="live_mark").value == 2
    enter_mark(folder, 30, 33.0 * FOOT, "US", start=30 * FOOT)
    assert shown.run().selectbox(key="live_mark").value == 3
    shown.selectbox(key="live_mark").set_value(1).run()
    enter_mark(folder, 40, 34.0 * FOOT, "US", start=30 * FOOT)
    assert shown.run().selectbox(key="live_mark").value == 1
    shown.number_input(key="live_right").set_value(31.5)
    shown.button(key="live_correct").click().run()
    assert not shown.exception and marks_of(entries(folder / DEPTHS))[0].depth == pytest.approx(31.5 * FOOT)
    assert shown.selectbox(key="live_mark").value == 4


def test_what_was_typed_for_a_mark_stays_with_it_as_the_next_depth_comes(live):
    shown, folder = live
    shown.number_input(key="live_right").set_value(32.25).run()
    enter_mark(folder, 30, 33.0 * FOOT, "US", start=30 * FOOT)
    shown.run()
    assert (shown.selectbox(key="live_mark").value, shown.number_input(key="live_right").value) == (2, 32.25)
    shown.button(key="live_out").click().run()
    assert [mark.number for mark in marks_of(entries(folder / DEPTHS))] == [1, 3]
    assert shown.selectbox(key="live_mark").value == 3


def test_a_correction_with_nothing_to_correct_is_told_and_kept_out(live):
    shown, folder = live
    before = (folder / DEPTHS).read_bytes()
    shown.button(key="live_correct").click().run()
    told = ["Enter the correct depth, the inspector's count or both."]
    assert [error.value.replace("\\", "") for error in shown.error] == told
    assert (folder / DEPTHS).read_bytes() == before
