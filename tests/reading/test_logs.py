"""Driving and production logs: blow counts by depth, in SI.

Depths that an inspector wrote as rounded inches.
"""

import numpy as np
import pytest

from dyntest.reading.logs import penetration_by_blow, read_driving_log, whole_inches
from dyntest.reading.production_log import read_pile_table, read_production_log

LOG = """depth_from [ft],depth_to [ft],blows,stroke [ft],remark
0,10,0,,ran under own weight
10,11,4,5.5,
11,12,10,6.0,"slow, then steady"
12,12.5,8,6.25,stopped
"""

PRODUCTION = """pile,depth_from [m],depth_to [m],blows,stroke [m],date,remark
P1,0,1,2,1.5,2026-06-01,
P2,0,2,3,,2026-06-02,
P1,1,2,4,1.8,2026-06-01,stopped
"""

PILES = """pile,cutoff_elevation [ft],ground_elevation [ft],furnished_length [ft],batter
P1,10,-2.5,60,
P2,10.5,-3,60,0.25
"""


def written(tmp_path, text, name="log.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_driving_log(tmp_path):
    log = read_driving_log(written(tmp_path, LOG))
    np.testing.assert_allclose(log.depth_from, np.array([0, 10, 11, 12]) * 0.3048)
    np.testing.assert_allclose(log.depth_to, np.array([10, 11, 12, 12.5]) * 0.3048)
    assert log.blows.tolist() == [0, 4, 10, 8]
    np.testing.assert_allclose(log.stroke, np.array([np.nan, 5.5, 6.0, 6.25]) * 0.3048)
    assert log.remark == ("ran under own weight", "", "slow, then steady", "stopped")


def test_stroke_and_remark_are_optional(tmp_path):
    log = read_driving_log(written(tmp_path, "depth_from [m],depth_to [m],blows\n0,1,5\n"))
    assert np.isnan(log.stroke).all()
    assert log.remark == ("",)


def test_semicolons_and_decimal_commas(tmp_path):
    text = "depth_from [m];depth_to [m];blows;remark\n0;0,5;5;Rammgut. 3,5\n0,5;1,25;7;\n"
    assert read_driving_log(written(tmp_path, text)).depth_to.tolist() == [0.5, 1.25]


def test_blows_are_spread_evenly_over_their_interval(tmp_path):
    set_per_blow, penetration, stroke = penetration_by_blow(read_driving_log(written(tmp_path, LOG)))
    assert len(set_per_blow) == len(penetration) == len(stroke) == 22
    # 4 blows in one foot: a quarter of a foot each, from ten feet down
    np.testing.assert_allclose(penetration[:4], np.array([10.25, 10.5, 10.75, 11.0]) * 0.3048)
    np.testing.assert_allclose(set_per_blow[4:14], 0.1 * 0.3048)
    np.testing.assert_allclose(penetration[-1], 12.5 * 0.3048)
    np.testing.assert_allclose(set_per_blow.sum(), 2.5 * 0.3048)
    np.testing.assert_allclose(stroke[[0, 4, -1]], np.array([5.5, 6.0, 6.25]) * 0.3048)


CHANGES = {  # of the log above: what is replaced by what, and what the message says
    "gap": ("11,12,10", "11.5,12,10", "row 4, column depth_from", "gap of 0.152 m below row 3", "between"),
    "overlap": ("11,12,10", "10.5,12,10", "row 4, column depth_from", "above the end of row 3", "overlap"),
    "out of order": ("0,10,0,,ran", "20,30,0,,ran", "row 3, column depth_from", "put the rows in order"),
    "upward": ("12,12.5,8", "12,11.5,8", "row 5", "depth_to is not below depth_from", "bottom"),
    "no depth": ("12,12.5,8", "12,12,8", "row 5", "depth_to", "depth_from", "bottom"),
    "negative blows": ("11,12,10", "11,12,-10", "row 4, column blows", "0 to 20000", "check the number"),
    "half a blow": ("11,12,10", "11,12,10.5", "row 4, column blows", "10.5 is not a whole number", "counted"),
    "blows as text": ("11,12,10", "11,12,ten", "row 4, column blows", '"ten" is not a number', "write a"),
    "no blows": ("11,12,10", "11,12,", "row 4, column blows", "is empty", "fill in"),
    "not finite": ("11,12,10", "11,12,nan", "row 4, column blows", '"nan" cannot be right'),
    "depth in the wrong unit": ("[ft],depth_to [ft]", "[mile],depth_to [ft]", "row 3, column depth_from", "unit"),
    "stroke as text": ("6.25", "high", "row 5, column stroke [ft]", '"high" is not a number'),
    "stroke impossible": ("6.25", "625", "row 5, column stroke [ft]", "0.05 to 20 m", "unit in the header"),
    "no unit": ("depth_to [ft]", "depth_to", "column depth_to", "has no unit", "depth_to [m]"),
    "missing column": ("blows,", "count,", "column blows", "is missing", "add blows"),
    "misspelt column": ("stroke [ft]", "strok [ft]", "column strok [ft]", "write stroke"),
    "column twice": ("remark\n", "blows\n", "column blows", "twice", "keep one"),
    "comma in a remark": ('"slow, then steady"', "slow, then steady", "row 4", "6 values for 5", "in quotes"),
    "value missing": ("10,11,4,5.5,", "10,11,4", "row 3", "3 values for 5 columns", "each column"),
    "quote left open": ('steady"', "steady", "row 5", "cannot be read", "correct the row"),
}

CASES = {case: (LOG.replace(old, new), *needles) for case, (old, new, *needles) in CHANGES.items()} | {
    "header alone": (LOG.partition("\n")[0], "header", "fill in the table"),
    "blank": ("\n \n", "only blank lines", "export"),
    "empty": ("", "is empty", "export"),
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_what_is_wrong_with_a_log_is_named(tmp_path, refuses, case):
    text, *needles = case
    refuses(lambda: read_driving_log(written(tmp_path, text)), "/log.csv", *needles)


def test_every_case_differs_from_the_sound_log(tmp_path):
    assert all(text != LOG for text, *_ in CASES.values())
    read_driving_log(written(tmp_path, LOG))


def test_production_log_brings_the_rows_of_a_pile_together(tmp_path):
    log = read_production_log(written(tmp_path, PRODUCTION))
    assert log.piles == ("P1", "P2")
    assert log.pile.tolist() == ["P1", "P1", "P2"]
    assert log.blows.tolist() == [2, 4, 3]
    assert log.remark == ("", "stopped", "")
    assert log.date == ("2026-06-01", "2026-06-01", "2026-06-02")
    own = log.of("P1")
    assert own.depth_to.tolist() == [1.0, 2.0]
    assert own.stroke.tolist() == [1.5, 1.8]
    assert own.remark == ("", "stopped")


def test_piles_keep_the_order_of_the_file(tmp_path):
    text = "pile,depth_from [m],depth_to [m],blows\n" + "".join(f"{p},0,1,5\n" for p in ("Z9", "A1", "M5"))
    assert read_production_log(written(tmp_path, text)).piles == ("Z9", "A1", "M5")


@pytest.mark.parametrize(
    ("old", "new", "needles"),
    [
        ("P1,1,2,4", "P1,1.5,2,4", ("row 4, column depth_from", "gap of 0.5 m below row 2", "add the interval")),
        ("P1,1,2,4", ",1,2,4", ("row 4, column pile", "is empty", "pile's mark")),
        ("P1,1,2,4", "P1,1,2,4.5", ("row 4, column blows", "whole number")),
        ("pile,depth", "pier,depth", ("column pile", "is missing", "add pile")),
    ],
)
def test_what_is_wrong_with_a_production_log_is_named(tmp_path, refuses, old, new, needles):
    path = written(tmp_path, PRODUCTION.replace(old, new, 1))
    refuses(lambda: read_production_log(path), "/log.csv", *needles)


def test_pile_table(tmp_path):
    piles = read_pile_table(written(tmp_path, PILES))
    assert piles.pile == ("P1", "P2")
    np.testing.assert_allclose(piles.cutoff_elevation, np.array([10, 10.5]) * 0.3048)
    np.testing.assert_allclose(piles.ground_elevation, np.array([-2.5, -3]) * 0.3048)
    np.testing.assert_allclose(piles.furnished_length, 60 * 0.3048)
    assert piles.batter.tolist() == [0.0, 0.25]


@pytest.mark.parametrize(
    ("old", "new", "needles"),
    [
        ("P2", "P1", ("row 3, column pile", "pile P1 is already in row 2", "one row per pile")),
        ("0.25", "1:4", ("row 3, column batter", '"1:4" is not a number')),
        ("0.25", "4", ("row 3, column batter", "0 to 1")),
        ("10.5,-3,60", "10.5,-3,0", ("row 3, column furnished_length", "0.1 to 300 m")),
        ("10.5,-3,60", "10.5,,60", ("row 3, column ground_elevation", "is empty")),
    ],
)
def test_what_is_wrong_with_a_pile_table_is_named(tmp_path, refuses, old, new, needles):
    path = written(tmp_path, PILES.replace(old, new, 1), "piles.csv")
    refuses(lambda: read_pile_table(path), "/piles.csv", *needles)


FOOT, INCH = 0.3048, 0.0254


@pytest.mark.parametrize("decimals", [2, 3, 4])
def test_every_inch_that_was_rounded_is_whole_again(decimals):
    inches = np.arange(1200)
    written = np.round(inches / 12, decimals) * FOOT
    np.testing.assert_allclose(whole_inches(written, FOOT), inches * INCH, atol=1e-12)


def test_other_depths_and_other_units_stay():
    tenths = np.arange(1, 100) / 10 * FOOT
    others = tenths[np.abs(np.round(tenths / FOOT * 12) - tenths / FOOT * 12) > 1e-6]
    np.testing.assert_array_equal(whole_inches(others, FOOT), others)
    metres = np.array([18.03, 18.05])
    assert whole_inches(metres, 1.0) is metres


def test_five_blows_an_inch_are_five_however_the_inch_is_written(tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("depth_from [ft],depth_to [ft],blows\n60,60.08,5\n60.08,60.17,5\n60.17,60.25,5\n")
    read = read_driving_log(log)
    assert (read.depth_to - read.depth_from) / read.blows == pytest.approx(INCH / 5)
