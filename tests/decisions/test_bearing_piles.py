from dataclasses import replace

import numpy as np
import pytest

from dyntest.decisions.bearing_oddities import BENT
from dyntest.decisions.bearing_piles import STATUSES, VERDICTS, check_bearing_piles
from dyntest.decisions.criterion import COUNTING, Criterion, CriterionRow, RestrikeRule
from dyntest.presenting.bearing_words import reason
from dyntest.reading.production_log import PileTable, ProductionLog

FOOT, INCH = 0.3048, 0.0254
CRITERION = Criterion(
    (CriterionRow(7 * FOOT, INCH / 10), CriterionRow(8 * FOOT, INCH / 8), CriterionRow(10 * FOOT, INCH / 5)),
    3 * INCH,
    minimum_penetration=40 * FOOT,
    minimum_stroke=7 * FOOT,
    maximum_stroke=10 * FOOT,
    refusal_set=INCH / 20,
    counting=COUNTING["US"],
    way="every inch",
)
WHOLE = replace(CRITERION, way="whole length")


def log_of(**piles):
    """A log from rows of (length [ft], blows, stroke [ft], remark, date), each pile from the ground down."""
    rows = []
    for mark, intervals in piles.items():
        top = 0.0
        for length, blows, stroke, *text in intervals:
            remark, date = (*text, "", "")[:2]
            rows.append((mark, top * FOOT, (top + length) * FOOT, blows, stroke * FOOT, date, remark))
            top += length
    mark, top, bottom, blows, stroke, date, remark = zip(*rows, strict=True)
    return ProductionLog(
        "log.csv", np.array(mark), np.array(top), np.array(bottom), np.array(blows), np.array(stroke), date, remark
    )


def table_of(*marks, cutoff=105.0, ground=100.0, furnished=70.0, batter=0.0):
    values = (np.full(len(marks), value) for value in (cutoff * FOOT, ground * FOOT, furnished * FOOT, batter))
    return PileTable("piles.csv", marks, *values)


def only(check, mark="A"):
    return check.piles.set_index("pile").loc[mark]


def kinds(check, mark="A"):
    return check.odd.loc[check.odd["pile"] == mark, "kind"].tolist()


EASY = (44.0, 44 * 30, 8.0)
PER_INCH = 1 / 12  # ft


def test_a_pile_that_holds_for_three_inches_is_accepted():
    check = check_bearing_piles(log_of(A=[EASY, (1.0, 80, 8.0), *[(PER_INCH, 8, 8.0)] * 4]), CRITERION)
    row = only(check)
    assert row["status"] == "accepted"
    assert row["met_at"] == pytest.approx(45.25 * FOOT)
    assert (row["verdict"], row["counted"], row["window"]) == ("accepted", 24, pytest.approx(3 * INCH))
    assert check.odd.empty


def test_two_inches_or_a_break_are_not_enough():
    two = check_bearing_piles(log_of(A=[EASY, *[(PER_INCH, 8, 8.0)] * 2]), CRITERION)
    assert only(two)["status"] == "not met"
    broken = [(PER_INCH, 8, 8.0)] * 2 + [(PER_INCH, 7, 8.0)] + [(PER_INCH, 8, 8.0)] * 2
    assert only(check_bearing_piles(log_of(A=[EASY, *broken]), CRITERION))["status"] == "not met"


@pytest.mark.parametrize(
    ("stroke", "per_foot", "status"),
    [
        (7.0, 120, "accepted"),  # 10 blows per inch asked
        (7.0, 119, "not met"),
        (9.0, 84, "accepted"),  # between two rows the count between theirs, 6.15 rounded up in every inch
        (9.0, 83, "not met"),
        (6.9, 150, "not met"),  # below the lowest row no count is enough
        (10.0, 60, "accepted"),
        (10.5, 60, "stroke out of range"),  # the highest row's count stands, but the stroke is not approved
        (10.5, 59, "not met"),
    ],
)
def test_each_stroke_has_its_count(stroke, per_foot, status):
    assert only(check_bearing_piles(log_of(A=[EASY, (1.0, per_foot, stroke)]), CRITERION))["status"] == status


def test_a_count_that_just_fails_is_not_said_to_equal_what_is_asked():
    criterion = Criterion((CriterionRow(7 * FOOT, INCH / 8.05),), 3 * INCH, counting=COUNTING["US"])
    row = only(check_bearing_piles(log_of(A=[EASY, (1.0, 96, 8.0)]), criterion))
    assert row["status"] == "not met"
    assert (row["counted"], row["asked"]) == (96, 97)


def test_counts_do_not_say_more_than_their_interval():
    """A foot of 70 blows may end in three hard inches; the log does not show it."""
    assert only(check_bearing_piles(log_of(A=[EASY, (1.0, 70, 8.0)]), CRITERION))["status"] == "not met"


def test_minimum_penetration():
    shallow = [(30.0, 900, 8.0), (1.0, 100, 8.0)]
    check = check_bearing_piles(log_of(A=shallow), CRITERION)
    assert only(check)["status"] == "minimum penetration not reached"
    assert kinds(check) == ["met above minimum penetration only"]
    never = check_bearing_piles(log_of(A=[(30.0, 900, 8.0)]), CRITERION)
    assert only(never)["status"] == "not met"
    assert not only(never)["minimum_penetration_reached"]


def test_minimum_penetration_of_a_battered_pile_is_vertical():
    """3-4-5: 45 ft along a pile of batter 0.75 are 36 ft deep."""
    log = log_of(A=[EASY, (1.0, 100, 8.0)])
    assert only(check_bearing_piles(log, CRITERION, table_of("A")))["status"] == "accepted"
    battered = only(check_bearing_piles(log, CRITERION, table_of("A", batter=0.75)))
    assert battered["status"] == "minimum penetration not reached"
    assert battered["depth"] == pytest.approx(36 * FOOT)


def test_met_at_is_the_first_depth_below_minimum_penetration():
    rows = [(30.0, 900, 8.0), (1.0, 100, 8.0), (9.0, 270, 8.0), (1.0, 40, 8.0), (1.0, 96, 8.0), (1.0, 110, 8.0)]
    row = only(check_bearing_piles(log_of(A=rows), CRITERION))
    assert (row["status"], row["met_at"]) == ("accepted", pytest.approx(42 * FOOT))


def test_a_criterion_that_is_lost_again():
    check = check_bearing_piles(log_of(A=[EASY, (1.0, 100, 8.0), (1.0, 40, 8.0), (1.0, 35, 8.0)]), CRITERION)
    assert only(check)["status"] == "criterion lost"
    assert kinds(check) == []  # one hard foot alone is no sustained peak


def test_counts_that_fall_while_driving_on():
    rows = [EASY, (1.0, 100, 8.0), (1.0, 110, 8.0), (1.0, 40, 8.0), (1.0, 35, 8.0)]
    check = check_bearing_piles(log_of(A=rows, B=[EASY, (1.0, 100, 8.0), (1.0, 100, 8.0)]), CRITERION)
    assert kinds(check) == ["count fell"]
    assert (check.odd["depth"][0], check.odd["value"][0]) == pytest.approx((46.0 * FOOT, 0.4), rel=0.02)
    assert check.odd["note"][0] == "1 of 2"
    assert only(check)["verdict"] == "not met"
    # a shorter stroke explains a higher count, and a longer one a lower: no fall in their product
    same = [EASY, (1.0, 100, 7.0), (1.0, 100, 7.0), (1.0, 70, 10.0), (1.0, 70, 10.0)]
    assert kinds(check_bearing_piles(log_of(A=same), CRITERION)) == []
    # a soft layer below a crust is far from what the criterion asks
    soft = [(2.0, 30, 7.0), (2.0, 30, 7.0), (20.0, 20, 7.0), (20.0, 20, 7.0), (1.0, 120, 7.0)]
    assert kinds(check_bearing_piles(log_of(A=soft), CRITERION)) == []


def test_refusal_is_for_the_engineer_and_not_at_low_stroke():
    criterion = Criterion((CriterionRow(7 * FOOT, INCH / 30),), 1 * FOOT, minimum_penetration=40 * FOOT)
    hard = [(20.0, 600, 8.0), *[(PER_INCH, 12, 7.0)] * 3]
    check = check_bearing_piles(log_of(A=hard), criterion)
    assert only(check)["status"] == "practical refusal"
    assert only(check)["refusal"]
    assert (only(check)["verdict"], only(check)["minimum_penetration_reached"]) == ("second look", False)
    low = check_bearing_piles(log_of(A=[(20.0, 600, 8.0), *[(PER_INCH, 12, 6.0)] * 3]), criterion)
    assert only(low)["status"] == "not met"
    assert kinds(low) == ["refusal at low stroke"]
    assert (low.odd["value"][0], low.odd["limit"][0]) == pytest.approx((6.0 * FOOT, 7.0 * FOOT))
    two = check_bearing_piles(log_of(A=[(20.0, 600, 8.0), *[(PER_INCH, 12, 7.0)] * 2]), criterion)
    assert only(two)["status"] == "not met"


def test_absolute_refusal_and_high_strokes():
    check = check_bearing_piles(log_of(A=[EASY, (PER_INCH, 21, 8.0), *[(PER_INCH, 8, 10.4)] * 3]), CRITERION)
    assert set(kinds(check)) == {"beyond absolute refusal", "stroke above the approved range"}
    assert only(check)["status"] == "stroke out of range"


def test_above_the_table_a_pile_is_judged_by_its_own_stroke_and_looked_at_where_more_than_bending_stands_against_it():
    """The table ends at 10 ft for bending, the section allows 10.5 ft; what 11 ft asks stands in the rows above."""
    above = (CriterionRow(11.0 * FOOT, INCH / 3),)
    bent = replace(CRITERION, above=above, looked_at_stroke=10.5 * FOOT)

    def last(stroke, count):
        return check_bearing_piles(log_of(A=[EASY, *[(PER_INCH, count, stroke)] * 3]), bent)

    told, over, low = last(10.4, 5), last(10.8, 4), last(10.8, 3)
    assert (only(told)["status"], only(told)["verdict"], kinds(told)) == ("accepted", "accepted", [BENT])
    assert (told.odd["value"][0], told.odd["limit"][0]) == pytest.approx((10.4 * FOOT, 10.0 * FOOT))
    assert (only(over)["status"], only(over)["verdict"]) == ("stroke out of range", "second look")
    assert kinds(over) == ["stroke above the approved range"]
    assert only(low)["status"] == "not met"  # the resistance is not there: no look makes it so
    assert only(over)["permitted"] == pytest.approx(INCH * (0.2 / 5 + 0.8 / 3))


def test_a_stroke_that_was_not_read():
    nan = float("nan")
    check = check_bearing_piles(log_of(A=[EASY, (1.0, 200, nan)]), CRITERION)
    assert only(check)["status"] == "stroke not recorded"
    assert kinds(check) == ["stroke not recorded"]
    earlier = check_bearing_piles(log_of(A=[(44.0, 1320, nan), (1.0, 100, 8.0)]), CRITERION)
    assert only(earlier)["status"] == "accepted"
    assert (earlier.odd["value"][0], earlier.odd["depth"][0]) == (1, 0.0)


def test_a_pause_breaks_what_is_held():
    dates = ("2026-06-01", "2026-06-02")
    inch = (PER_INCH, 8, 8.0)
    through = [EASY, inch, inch, (*inch, "", dates[0]), inch]
    assert only(check_bearing_piles(log_of(A=through), CRITERION))["status"] == "accepted"
    paused = [(*EASY, "", dates[0]), inch, inch, (*inch, "", dates[1]), inch]
    check = check_bearing_piles(log_of(A=paused), CRITERION)
    assert only(check)["status"] == "not met"
    assert kinds(check) == ["resumed on another date"]
    held = check_bearing_piles(log_of(A=[*paused, inch]), CRITERION)
    assert only(held)["status"] == "resumed after a wait"  # the count of the end of driving no longer accepts it
    assert only(held)["verdict"] == "not met"


def test_against_the_test_piles():
    log = log_of(A=[EASY, (1.0, 100, 8.0)], B=[(60.0, 1800, 8.0), (1.0, 100, 8.0)], C=[(50.0, 1500, 8.0)])
    given = {"test_penetrations": (50 * FOOT, 52 * FOOT), "depth_tolerance": 4 * FOOT}
    check = check_bearing_piles(log, CRITERION, **given)
    assert kinds(check, "A") == ["stopped short of the test piles"]
    assert kinds(check, "B") == ["ran past the test piles"]
    assert kinds(check, "C") == []
    assert check.odd["value"].iloc[-1] == pytest.approx(9.0 * FOOT)
    # the same by elevation: B starts 10 ft higher, so its toe is 1 ft above the deepest test pile
    levels = table_of("A", "B", "C")
    levels.ground_elevation[1] = 110 * FOOT
    check = check_bearing_piles(log, CRITERION, levels, test_toe_elevations=(50 * FOOT, 48 * FOOT), **given)
    assert kinds(check, "B") == []
    assert kinds(check, "A") == ["stopped short of the test piles"]


def test_splices_are_noted():
    check = check_bearing_piles(log_of(A=[EASY, (1.0, 100, 8.0, "Spliced here")]), CRITERION)
    assert kinds(check) == ["splice"]
    assert check.odd["depth"][0] == pytest.approx(44.0 * FOOT)


def test_no_pile_is_forgotten():
    log = log_of(A=[EASY, (1.0, 100, 8.0)], X=[EASY, (1.0, 100, 8.0)])
    check = check_bearing_piles(log, CRITERION, table_of("A", "B"))
    assert check.piles["pile"].tolist() == ["A", "X", "B"]
    assert only(check, "B")["status"] == "no counts"
    assert not only(check, "B")["met_at_end"]
    assert kinds(check, "X") == ["not in the table of piles"]
    assert kinds(check, "B") == ["no counts"]


def test_pay_length_and_a_head_below_cutoff():
    log = log_of(A=[EASY, (1.0, 100, 8.0)])
    check = check_bearing_piles(log, CRITERION, table_of("A"), tip_reinforcement=0.5 * FOOT)
    assert only(check)["pay_length"] == pytest.approx(50 * FOOT)  # 45 in the ground, 5 above
    assert only(check)["pay_length_without_tip"] == pytest.approx(49.5 * FOOT)
    assert only(check)["toe_elevation"] == pytest.approx(55 * FOOT)
    assert kinds(check) == []


@pytest.mark.parametrize(("below", "verdict"), [(0.1 * FOOT, "accepted"), (2 * FOOT, "second look")])
def test_a_head_below_cutoff_does_not_reach_the_cap(below, verdict):
    """One 13 ft below was accepted with a remark."""
    log = log_of(A=[EASY, (1.0, 100, 8.0)])
    short = check_bearing_piles(log, CRITERION, table_of("A", furnished=50.0 - below / FOOT))
    assert kinds(short) == ["short of cutoff"]
    assert short.odd["value"][0] == pytest.approx(below)
    assert (only(short)["status"], only(short)["verdict"]) == ("accepted", verdict)


def plain_reading(rows, criterion):
    """The criterion read interval by interval, as an inspector would, for one vertical pile of one date."""
    strokes = [row.stroke for row in criterion.rows]
    sets = [row.set_per_blow for row in criterion.rows]
    held, bottom, met_at, refused, strokes_held = 0.0, 0.0, None, 0.0, []
    for length, blows, stroke in rows:
        length, stroke = length * FOOT, stroke * FOOT
        bottom += length
        moved = length / blows if blows else float("inf")
        permitted = float(np.interp(stroke, strokes, sets))
        least = -int(-INCH * (1 - 1e-9) / permitted // 1) * length / INCH  # blows, whole ones in every inch
        if stroke >= strokes[0] - 1e-6 and blows >= least * (1 - 1e-9):
            held += length
            strokes_held.append((bottom, stroke))
        else:
            held = 0.0
        refused = refused + length if moved <= criterion.refusal_set * (1 + 1e-9) and stroke >= strokes[0] else 0.0
        if held >= criterion.holding_length - 0.002 and bottom >= criterion.minimum_penetration and met_at is None:
            met_at = bottom
    at_end = held >= criterion.holding_length - 0.002
    within = [s for b, s in strokes_held if b > bottom - criterion.holding_length + 0.002]
    in_range = all(criterion.minimum_stroke <= s <= criterion.maximum_stroke for s in within)
    accepted = at_end and bottom >= criterion.minimum_penetration and in_range
    return accepted, at_end, met_at, refused >= criterion.refusal_length - 0.002, bottom


def test_all_piles_at_once_read_as_one_by_one():
    """Two independent routes: 300 random piles through the vectorised check and through a plain loop."""
    rng = np.random.default_rng(11)
    piles = {}
    for number in range(300):
        deep = [(rng.uniform(31, 44), 1200, 8.0)]
        feet = [(1.0, int(rng.integers(30, 140)), float(rng.choice([6.5, 7.0, 7.5, 8.0, 9.5, 10.5]))) for _ in range(6)]
        inches = [(PER_INCH, int(rng.integers(6, 40)), float(rng.choice([6.5, 7.0, 8.0, 10.0]))) for _ in range(6)]
        piles[f"P{number}"] = deep + feet + inches[: rng.integers(0, 7)]
    check = check_bearing_piles(log_of(**piles), CRITERION)
    table = check.piles.set_index("pile")
    seen = set()
    for mark, rows in piles.items():
        accepted, at_end, met_at, refused, bottom = plain_reading(rows, CRITERION)
        row = table.loc[mark]
        assert row["penetration"] == pytest.approx(bottom)
        assert (row["status"] == "accepted") == accepted, mark
        assert row["met_at_end"] == at_end, mark
        assert row["refusal"] == refused, mark
        assert np.isnan(row["met_at"]) if met_at is None else row["met_at"] == pytest.approx(met_at), mark
        seen.add(row["status"])
    assert len(seen) >= 5, seen
    assert seen <= set(STATUSES)


DAY = 86400.0
RULE = RestrikeRule(
    "setup",
    50 * FOOT,
    6.8 * DAY,
    1.7e6,
    (CriterionRow(8 * FOOT, INCH / 10), CriterionRow(9 * FOOT, INCH / 8)),
    INCH,
    3 * INCH,
)
SOFT = (44.0, 44 * 30, 8.0, "", "2026-05-18")


@pytest.mark.parametrize(
    ("counts", "stroke", "date", "status"),
    [
        ((10,), 8.0, "2026-05-25", "accepted at restrike"),
        ((9, 10), 8.0, "2026-05-25", "not met"),  # the first inch decides, before what was gained is driven away
        ((10, 6), 8.0, "2026-05-25", "accepted at restrike"),
        ((8,), 9.0, "2026-05-25", "accepted at restrike"),
        ((20,), 7.5, "2026-05-25", "not met"),  # below the lowest stroke of the rule
        ((10,), 8.0, "2026-05-24", "not met"),  # six days are less than 6.8
        ((10,), 8.0, "25 May", "not met"),  # a wait that cannot be counted
        ((8, 8, 8), 8.0, "2026-05-25", "resumed after a wait"),  # setup lowered that count, and this pile has had it
    ],
)
def test_a_restrike_is_judged_by_its_own_rule(counts, stroke, date, status):
    log = log_of(A=[SOFT, *[(PER_INCH, count, stroke, "", date) for count in counts]])
    check = check_bearing_piles(log, replace(CRITERION, restrike=RULE))
    assert only(check)["status"] == status
    assert only(check)["verdict"] == ("accepted" if status == "accepted at restrike" else "not met")
    blind = date != "2026-05-25"  # enough blows, and only the wait is not shown
    assert only(check)["restrike_early"] == blind
    told = reason(only(check).to_dict(), check.criterion, "US")
    assert ("the dates of the log do not show a wait of at least 6.8 days" in told) == blind


def test_without_a_rule_a_restrike_shows_nothing():
    log = log_of(A=[SOFT, (PER_INCH, 10, 8.0, "", "2026-05-25")])
    assert only(check_bearing_piles(log, CRITERION))["status"] == "not met"


def test_a_pile_never_left_has_no_restrike():
    log = log_of(A=[SOFT, (PER_INCH, 10, 8.0, "", "2026-05-18")])
    assert only(check_bearing_piles(log, replace(CRITERION, restrike=RULE)))["status"] == "not met"


def test_a_battered_pile_started_off_the_plan_level_is_off_position():
    log = log_of(A=[EASY, (1.0, 100, 8.0)])
    table = replace(table_of("A", batter=0.25), planned_ground_elevation=np.array([102.0 * FOOT]))
    check = check_bearing_piles(log, CRITERION, table)
    assert only(check)["offset_at_cutoff"] == pytest.approx(-0.5 * FOOT)
    assert kinds(check) == ["off plan position"]
    assert check.odd["value"][0] == pytest.approx(0.5 * FOOT)


def test_the_whole_length_asks_for_the_sum_and_a_floor_in_every_inch():
    """24 blows in 3 in at 8 ft: 8 on the average, no inch under three quarters of it."""
    for counts, status in {
        (8, 8, 8): "accepted",
        (7, 9, 8): "accepted",
        (6, 9, 9): "accepted",
        (5, 10, 9): "not met",
        (8, 8, 7): "not met",
    }.items():
        log = log_of(A=[EASY, *[(PER_INCH, count, 8.0) for count in counts]])
        assert only(check_bearing_piles(log, WHOLE))["status"] == status, counts


def test_the_inch_that_failed_is_named():
    row = only(check_bearing_piles(log_of(A=[EASY, *[(PER_INCH, count, 8.0) for count in (10, 5, 10)]]), WHOLE))
    assert (row["failed_from"], row["failed_to"]) == pytest.approx(((44 + 1 / 12) * FOOT, (44 + 2 / 12) * FOOT))
    assert row["failed_blows"] == 5


def test_strokes_that_change_within_the_length_are_each_counted_at_their_own():
    """10 per inch at 7 ft, 8 at 8 ft, 5 at 10 ft: 23 blows over one inch of each."""
    for counts, status in {(10, 8, 5): "accepted", (10, 8, 4): "not met"}.items():
        inches = [(PER_INCH, count, stroke) for count, stroke in zip(counts, (7.0, 8.0, 10.0), strict=True)]
        assert only(check_bearing_piles(log_of(A=[EASY, *inches]), WHOLE))["status"] == status


def test_beyond_absolute_refusal_no_pile_is_accepted_without_a_look():
    log = log_of(A=[EASY, (PER_INCH, 25, 8.0), *[(PER_INCH, 8, 8.0)] * 3])
    row = only(check_bearing_piles(log, CRITERION))
    assert (row["status"], row["verdict"]) == ("accepted", "second look")


def test_every_pile_has_a_verdict():
    check = check_bearing_piles(log_of(A=[EASY, (1.0, 100, 8.0)], B=[EASY]), CRITERION)
    assert check.piles["verdict"].tolist() == ["accepted", "not met"]
    assert set(check.piles["verdict"]) <= set(VERDICTS)


@pytest.mark.parametrize(
    ("depth", "stroke", "kinds"),
    [
        (44.0, 8.0, []),
        (44.0, 4.0, ["strokes of another hammer"]),
        (90.0, 8.0, ["depths of another structure"]),
        (90.0, 4.0, ["strokes of another hammer", "depths of another structure"]),
    ],
)
def test_a_log_of_another_structure_is_not_judged_without_a_word(depth, stroke, kinds):
    log = log_of(**{f"P{n}": [(depth, 1320, stroke), (1.0, 100, stroke)] for n in range(4)})
    check = check_bearing_piles(log, CRITERION, test_penetrations=(45 * FOOT,))
    assert [caution.kind for caution in check.cautions] == kinds
