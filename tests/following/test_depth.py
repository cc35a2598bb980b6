"""Depths as they are called out, their corrections, and the driving log that follows from them."""

import numpy as np
import pytest

from dyntest.errors import InputError
from dyntest.following.depth import LOG, correct_mark, enter_mark, enter_remark, intervals_of, marks_of, penetration_at
from dyntest.following.record import DEPTHS, entries
from dyntest.reading.logs import read_driving_log

FOOT = 0.3048


def test_the_log_reads_back_as_entered_after_each_entry(tmp_path):
    for number, (blow, feet) in enumerate([(12, 31.0), (26, 32.0), (40, 32.5)], start=1):
        enter_mark(tmp_path, blow, feet * FOOT, "US", start=30 * FOOT)
        log = read_driving_log(tmp_path / LOG)
        assert len(log.blows) == number and int(log.blows.sum()) == blow
    np.testing.assert_allclose(log.depth_to / FOOT, [31.0, 32.0, 32.5], rtol=1e-12)
    assert (tmp_path / LOG).read_text().splitlines()[0] == (
        "depth_from [ft],depth_to [ft],blows,stroke [ft],remark,recorded blows"
    )


def test_a_correction_changes_the_log_and_keeps_what_was_entered(tmp_path):
    enter_mark(tmp_path, 10, 1.0, "SI", start=0.5)
    enter_mark(tmp_path, 20, 1.6, "SI", start=0.5)
    correct_mark(tmp_path, 2, "SI", start=0.5, depth=1.5, counted=11)
    kept = entries(tmp_path / DEPTHS)
    assert [entry["depth"] for entry in kept] == [1.0, 1.6, 1.5]
    assert [(mark.depth, mark.corrected) for mark in marks_of(kept)] == [(1.0, False), (1.5, True)]
    log = read_driving_log(tmp_path / LOG)
    assert log.blows.tolist() == [10, 11] and log.depth_to.tolist() == [1.0, 1.5]
    assert [(one.recorded, one.counted) for one in intervals_of(kept, 0.5)] == [(10, None), (10, 11)]
    correct_mark(tmp_path, 1, "SI", start=0.5, removed=True)
    assert read_driving_log(tmp_path / LOG).depth_from.tolist() == [0.5]


def test_depths_that_go_up_are_refused_and_change_nothing(tmp_path):
    enter_mark(tmp_path, 10, 1.0, "SI", start=0.5)
    before = (tmp_path / LOG).read_bytes()
    for act in (
        lambda: enter_mark(tmp_path, 12, 0.9, "SI", start=0.5),
        lambda: enter_mark(tmp_path, 12, 400.0, "SI", start=0.5),
        lambda: correct_mark(tmp_path, 1, "SI", start=0.5, depth=0.4),
    ):
        with pytest.raises(InputError):
            act()
    assert (tmp_path / LOG).read_bytes() == before and len(entries(tmp_path / DEPTHS)) == 1


def test_a_remark_stands_in_the_interval_in_which_it_was_made(tmp_path):
    enter_mark(tmp_path, 10, 1.0, "SI", start=0.5)
    enter_remark(tmp_path, 15, "cushion, changed", "SI", start=0.5)
    enter_mark(tmp_path, 20, 1.5, "SI", start=0.5)
    assert read_driving_log(tmp_path / LOG).remark == ("", "cushion, changed")


def test_without_a_start_the_first_mark_begins_the_log(tmp_path):
    enter_mark(tmp_path, 10, 1.0, "SI")
    enter_mark(tmp_path, 20, 1.5, "SI")
    kept = entries(tmp_path / DEPTHS)
    assert [(one.depth_from, one.recorded) for one in intervals_of(kept, None)] == [(1.0, 10)]
    np.testing.assert_allclose(penetration_at(kept, None, np.array([5, 10, 15, 21])), [np.nan, 1.0, 1.25, np.nan])
