"""Sets of a log, steadied where a row has few blows, and laid against recorded blow numbers."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.quantities.log_match import LEAST_COUNTED, match_log, steady_set
from dyntest.reading.logs import DrivingLog


def log_of(lengths, blows):
    ends = np.cumsum(lengths)
    blank = np.full(len(blows), np.nan)
    return DrivingLog("log.csv", ends - lengths, ends, np.array(blows), blank, ("",) * len(blows))


def test_a_row_with_enough_blows_stands_alone():
    sets = steady_set(log_of([0.3, 0.3, 0.3], [LEAST_COUNTED, 60, 30]))
    assert sets[0] == pytest.approx(0.3 / LEAST_COUNTED)
    assert sets[LEAST_COUNTED] == pytest.approx(0.005)
    assert sets[-1] == pytest.approx(0.01)


def test_a_short_row_at_the_end_borrows_from_the_rows_above():
    # its own 3 blows of 25/3 mm, the 5 of 25/5 mm above, and 2 of 25/2 mm above those
    sets = steady_set(log_of([0.025, 0.025, 0.025], [2, 5, 3]))
    assert sets[-1] == pytest.approx((3 * 0.025 / 3 + 5 * 0.025 / 5 + 2 * 0.025 / 2) / 10)
    sets = steady_set(log_of([0.3, 0.025], [60, 4]))
    assert sets[-1] == pytest.approx((0.025 + 6 * 0.005) / 10)
    assert sets[0] == pytest.approx(0.005)


def test_a_short_row_in_the_middle_borrows_from_both_sides():
    sets = steady_set(log_of([0.2, 0.04, 0.1], [20, 4, 20]))
    assert sets[20] == pytest.approx((3 * 0.01 + 0.04 + 3 * 0.005) / 10)


def test_no_average_reaches_over_a_row_without_blows():
    sets = steady_set(log_of([0.4, 1.0, 0.03], [4, 0, 3]))
    assert sets.tolist() == pytest.approx([0.1] * 4 + [0.01] * 3)


@given(st.lists(st.tuples(st.integers(0, 30), st.floats(0.02, 0.4)), min_size=1, max_size=12))
def test_a_set_is_never_outside_those_of_its_log(rows):
    counts, lengths = [count for count, _ in rows], [length for _, length in rows]
    sets = steady_set(log_of(lengths, counts))
    assert len(sets) == sum(counts)
    alone = [length / count for count, length in rows if count]
    assert all(min(alone) * (1 - 1e-9) <= value <= max(alone) * (1 + 1e-9) for value in sets)


def test_the_count_of_the_log_fixes_penetration_and_set():
    found = match_log(log_of([0.3, 0.1], [30, 20]), np.array([0, 1, 30, 50, 51]))
    np.testing.assert_allclose(found.penetration, [np.nan, 0.01, 0.3, 0.4, np.nan])
    np.testing.assert_allclose(found.set_per_blow, [np.nan, 0.01, 0.01, 0.005, np.nan])
    assert found.findings[0].check == "log count"


def test_records_of_the_last_feet_only_are_the_last_blows_of_the_log():
    log = log_of([3.0, 0.3, 0.1], [60, 30, 20])
    found = match_log(log, np.arange(1, 41))
    np.testing.assert_allclose(found.penetration[[0, -1]], [3.0 + 0.3 * 11 / 30, 3.4])
    np.testing.assert_allclose(found.set_per_blow[[0, -1]], [0.01, 0.005])
    (note,) = found.findings
    assert (note.check, note.case, note.severity) == ("log count", "taken for initial", "note")
    assert (note.value, note.threshold, note.more["first"], note.more["last"]) == (40.0, 110.0, "71", "110")


def test_records_of_a_restrike_are_its_first_blows():
    found = match_log(log_of([0.1, 0.1], [10, 20]), np.arange(1, 13), kind="restrike")
    np.testing.assert_allclose(found.penetration[[0, -1]], [0.01, 0.11])
    assert found.findings[0].case == "taken for restrike"


def test_the_first_blow_that_the_sheet_names_goes_before_any_guess():
    log = log_of([3.0, 0.3, 0.1], [60, 30, 20])
    found = match_log(log, np.arange(1, 41), first_blow=61)
    np.testing.assert_allclose(found.penetration[[0, -1]], [3.01, 3.35])
    (warning,) = found.findings
    assert (warning.case, warning.severity, warning.value) == ("", "warning", 100.0)
    assert match_log(log, np.arange(1, 41), first_blow=71).findings == ()


def test_numbers_that_begin_late_are_the_recorders_own():
    log = log_of([3.0, 0.3, 0.1], [60, 30, 20])
    assert match_log(log, np.arange(71, 111)).findings == ()
    found = match_log(log, np.arange(61, 101))
    assert found.findings[0].severity == "warning"
    assert found.penetration[0] == pytest.approx(3.01)


def test_sets_correct_records_only_where_the_blows_of_the_log_are_known():
    log = log_of([3.0, 0.3, 0.1], [60, 30, 20])
    assert not match_log(log, np.arange(1, 41)).certain
    assert match_log(log, np.arange(1, 41), first_blow=71).certain
    assert match_log(log, np.arange(1, 41), kind="restrike").certain
    assert match_log(log, np.arange(1, 111)).certain


def test_a_log_that_does_not_say_where_it_begins_is_named():
    found = match_log(replace(log_of([0.3, 0.3], [10, 20]), start_assumed=True), np.arange(1, 31))
    assert [(one.check, one.severity, one.value) for one in found.findings] == [("log start", "note", 0.3)]


@pytest.mark.parametrize(
    ("start", "doubted"),
    [
        (19.5, True),  # below the end of the log: of another pile
        (1.5, True),  # within the log, but 1.5 m above the first blow that was recorded
        (0.0, False),  # where the log begins: the records are of the end of the drive
        (3.1, False),  # where the recording begins
        (None, False),
    ],
)
def test_a_drive_starts_where_its_log_or_its_records_do(start, doubted):
    log = log_of([3.0, 0.3, 0.1], [60, 30, 20])
    found = match_log(log, np.arange(1, 41), penetration_at_start=start)
    told = [one for one in found.findings if one.check == "log depth"]
    assert [(one.severity, one.value) for one in told] == ([("warning", start)] if doubted else [])
    if doubted:
        assert told[0].threshold == pytest.approx(3.0 + 0.3 * 10 / 30)
        assert (told[0].more["top"], told[0].more["bottom"]) == pytest.approx((0.0, 3.4))


def test_a_log_of_another_pile_gives_no_set_though_its_count_agrees():
    log = log_of([0.3, 0.1], [20, 20])
    assert match_log(log, np.arange(1, 41), penetration_at_start=0.0).certain
    assert not match_log(log, np.arange(1, 41), penetration_at_start=19.5).certain


def test_a_log_may_begin_below_the_start_of_the_drive():
    log = replace(log_of([0.3, 0.1], [20, 20]), depth_from=np.array([9.0, 9.3]), depth_to=np.array([9.3, 9.4]))
    assert match_log(log, np.arange(1, 41), penetration_at_start=0.0).findings == ()
