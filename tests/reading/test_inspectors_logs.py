"""Inspectors' logs as they come: workbooks and text, with and without tops, running counts, remarks, dates."""

import datetime

import numpy as np
import openpyxl
import pytest

from dyntest.reading.log_layouts import guess_log_layout
from dyntest.reading.logs import read_driving_log
from dyntest.reading.parts import Channel, LogLayout
from dyntest.reading.production_log import read_production_log

FOOT = 0.3048
UNITLESS = {"depth_to": Channel("Depth"), "blows": Channel("Blows")}
STROKE = {"depth_to": Channel("Depth", "ft"), "blows": Channel("Blows"), "stroke": Channel("Fall", "ft")}
COLUMNS = {"depth_to": Channel("Depth", "ft"), "blows": Channel("Blows"), "remark": Channel("Notes")}


def workbook(path, rows, sheet="Pile", merge=()):
    book = openpyxl.Workbook()
    book.active.title = sheet
    for row in rows:
        book.active.append(row)
    for cells in merge:
        book.active.merge_cells(cells)
    book.save(path)
    return path


def text(path, lines):
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_workbook_with_header_rows_and_no_tops(tmp_path):
    rows = [
        ["County bridge"],
        ["Pile 7"],
        ["Depth", "Blows", "Notes"],
        [51, 20, None],
        [52, 24, "spliced"],
        [53, 30, ""],
    ]
    log = read_driving_log(workbook(tmp_path / "log.xlsx", rows), LogLayout(columns=COLUMNS), start=50 * FOOT)
    np.testing.assert_allclose(log.depth_from / FOOT, [50, 51, 52])
    assert log.blows.tolist() == [20, 24, 30]
    assert log.remark == ("", "spliced", "")
    assert not log.start_assumed


@pytest.mark.parametrize(
    ("depths", "tops", "assumed"),
    [((1, 2, 3), (0, 1, 2), False), ((51, 52, 53), (50, 51, 52), True), ((50.5, 51, 52), (50, 50.5, 51), True)],
)
def test_the_first_top_where_nobody_wrote_it(tmp_path, depths, tops, assumed):
    lines = ["Depth;Blows;Notes", *(f"{depth};12;" for depth in depths)]
    log = read_driving_log(text(tmp_path / "log.csv", lines), LogLayout(columns=COLUMNS))
    np.testing.assert_allclose(log.depth_from / FOOT, tops)
    assert log.start_assumed is assumed


def test_text_with_tabs_decimal_commas_and_units_below_the_headers(tmp_path):
    lines = [
        "Pile log",
        "",
        "Von\tDepth\tBlows\tStroke\tNotes",
        "m\tm\t\tm\t",
        "1,5\t1,75\t12\t1,9\t",
        "1,75\t2,0\t14\t\tstop",
    ]
    columns = {
        "depth_from": Channel("Von", "m"),
        "depth_to": Channel("Depth", "m"),
        "blows": Channel("Blows"),
        "stroke": Channel(4, "m"),
    }
    log = read_driving_log(text(tmp_path / "log.txt", lines), LogLayout(skip_lines=2, columns=columns))
    np.testing.assert_allclose(log.depth_from, [1.5, 1.75])
    assert log.blows.tolist() == [12, 14]
    assert log.stroke[0] == 1.9 and np.isnan(log.stroke[1])


@pytest.mark.parametrize(
    ("header", "layout", "counts"),
    [
        ("Blows", LogLayout(columns=COLUMNS, cumulative=True), [12, 18, 22]),
        ("Cumulative blows", LogLayout(columns=COLUMNS | {"blows": Channel("Cumulative blows")}), [12, 18, 22]),
        ("Blows", LogLayout(columns=COLUMNS), [12, 30, 52]),
    ],
)
def test_counts_that_run_on(tmp_path, header, layout, counts):
    lines = [f"Depth,{header},Notes", "1,12,", "2,30,", "3,52,end"]
    assert read_driving_log(text(tmp_path / "log.csv", lines), layout).blows.tolist() == counts


def test_counts_that_seem_to_run_on_are_asked_about(tmp_path, refuses):
    path = text(tmp_path / "log.csv", ["Depth,Blows,Notes", *(f"{n},{60 * n}," for n in range(1, 20))])
    refuses(lambda: read_driving_log(path, LogLayout(columns=COLUMNS)), "row 20", "cumulative = true")
    assert read_driving_log(path, LogLayout(columns=COLUMNS, cumulative=True)).blows.sum() == 19 * 60


def test_inches_and_feet_and_inches(tmp_path):
    lines = ["Depth,Blows,Notes", "50'-0\",20,", "50'-1\",6,", "50'-2\",7,", "50 ft 3 in,9,"]
    log = read_driving_log(text(tmp_path / "log.csv", lines), LogLayout(columns=COLUMNS), start=49 * FOOT)
    np.testing.assert_allclose(log.depth_to / FOOT, [50, 50 + 1 / 12, 50 + 2 / 12, 50.25], atol=1e-6)
    columns = COLUMNS | {"depth_to": Channel("Depth", "in")}
    log = read_driving_log(
        text(tmp_path / "in.csv", ["Depth,Blows,Notes", "601,6,", "602,7,"]), LogLayout(columns=columns)
    )
    np.testing.assert_allclose(log.depth_to, [601 * 0.0254, 602 * 0.0254])


def test_rows_of_remarks_sums_and_merged_cells(tmp_path):
    rows = [
        ["Depth", "Blows", "Notes"],
        ["(ft)", None, None],
        [1, 10, "hard"],
        ["pile spliced, 45 min", None, None],
        [2, 12, None],
        [None, None, None],
        [3, 13, "stop"],
        ["Total", 35, None],
    ]
    path = workbook(tmp_path / "log.xlsx", rows, merge=["A4:C4"])
    log = read_driving_log(path, LogLayout(columns=COLUMNS))
    assert log.blows.tolist() == [10, 12, 13]
    assert log.remark == ("hard; pile spliced, 45 min", "", "stop")


def test_units_of_the_headers_are_taken(tmp_path):
    lines = ["Depth (ft),Blows", "1,10", "2,12"]
    columns = {"depth_to": Channel("Depth"), "blows": Channel("Blows")}
    log = read_driving_log(text(tmp_path / "log.csv", lines), LogLayout(columns=columns))
    np.testing.assert_allclose(log.depth_to, [FOOT, 2 * FOOT])


@pytest.mark.parametrize(
    ("lines", "layout", "needles"),
    [
        (
            ["Depth,Blows", "1,10"],
            LogLayout(columns={"depth_to": Channel("Depth"), "blows": Channel("Blows")}),
            ("unit",),
        ),
        (["Tiefe,Blows", "1,10"], LogLayout(columns=COLUMNS), ("headers", "Depth")),
        (["Depth,Blows", "1,10"], LogLayout(columns=COLUMNS, skip_lines=4), ("headers", "skip_lines")),
        (
            ["Depth,Blows", "1,10", "2,12"],
            LogLayout(columns=COLUMNS | {"stroke": Channel("Fall", "ft")}),
            ("stroke", "Fall"),
        ),
        (["Depth,Blows,Notes", "2,10,", "2,12,"], LogLayout(columns=COLUMNS), ("row 2", "penetration_at_start")),
        (["Depth,Blows,Notes", "1,10,", "2,9,"], LogLayout(columns=COLUMNS, cumulative=True), ("row 3", "decreases")),
        (["Depth,Blows,Notes", "1,10.5,", "2,9,"], LogLayout(columns=COLUMNS), ("row 2", "10.5")),
        (["Depth,Blows,Notes", "1,,", "2,9,"], LogLayout(columns=COLUMNS), ("row 2", "empty")),
        (["Depth,Blows,Notes"], LogLayout(columns=COLUMNS), ("no rows",)),
    ],
)
def test_what_cannot_be_used_is_one_message(tmp_path, refuses, lines, layout, needles):
    path = text(tmp_path / "log.csv", lines)
    refuses(lambda: read_driving_log(path, layout), "log.csv", *needles)


def test_a_start_below_the_first_interval_is_refused(tmp_path, refuses):
    path = text(tmp_path / "log.csv", ["Depth,Blows,Notes", "10,5,", "11,6,"])
    refuses(lambda: read_driving_log(path, LogLayout(columns=COLUMNS), start=20.0), "row 2", "penetration_at_start")


def test_two_sheets_that_could_be_the_log(tmp_path, refuses):
    book = openpyxl.Workbook()
    for name in ("A", "B"):
        sheet = book.create_sheet(name)
        for row in (["Depth", "Blows", "Notes"], [1, 10, ""], [2, 12, ""]):
            sheet.append(row)
    book.save(tmp_path / "log.xlsx")
    refuses(lambda: read_driving_log(tmp_path / "log.xlsx", LogLayout(columns=COLUMNS)), "A, B", "[log] sheet")
    assert read_driving_log(tmp_path / "log.xlsx", LogLayout(sheet="B", columns=COLUMNS)).blows.tolist() == [10, 12]


PRODUCTION = COLUMNS | {"pile": Channel("Pile"), "date": Channel("Date")}


def production(path, dates, order=None):
    rows = [["Pile", "Depth", "Blows", "Date", "Notes"]]
    for number, date in enumerate(dates):
        rows += [[f"P{number}", 1, 10, date, ""], [None, 2, 12, None, ""]]
    return read_production_log(workbook(path, rows), LogLayout(dates=order, columns=PRODUCTION)).date[::2]


@pytest.mark.parametrize(
    ("dates", "order", "wanted"),
    [
        (("2026-05-11", "2026-05-12"), None, ("2026-05-11", "2026-05-12")),
        (("5/13/2026", "5/4/2026"), None, ("2026-05-13", "2026-05-04")),
        (("13.5.2026", "4.5.2026"), None, ("2026-05-13", "2026-05-04")),
        (("5/4/26", "5/5/26"), "month first", ("2026-05-04", "2026-05-05")),
        (("5/4/2026", "6/4/2026"), "day first", ("2026-04-05", "2026-04-06")),
        (("11 May 2026", "May 12, 2026"), None, ("2026-05-11", "2026-05-12")),
        ((datetime.date(2026, 5, 11), datetime.datetime(2026, 5, 12, 9, 30)), None, ("2026-05-11", "2026-05-12")),
        (("7/7/2026", "Monday"), None, ("2026-07-07", "Monday")),
    ],
)
def test_dates_of_either_writing(tmp_path, dates, order, wanted):
    assert production(tmp_path / "log.xlsx", dates, order) == wanted


@pytest.mark.parametrize(
    ("dates", "order", "needles"),
    [
        (("5/4/2026", "5/5/2026"), None, ("row 2", "ambiguous", "month first")),
        (("13/5/2026", "5/14/2026"), None, ("row 4", "in one order")),
        (("14/5/2026",), "month first", ("row 2", "not a date")),
    ],
)
def test_dates_that_would_have_to_be_guessed(tmp_path, refuses, dates, order, needles):
    refuses(lambda: production(tmp_path / "log.xlsx", dates, order), *needles)


def test_piles_of_a_production_log_without_tops_each_begin_anew(tmp_path):
    lines = ["Pile,Depth,Blows", "A,1,10", "A,2,12", "B,1,8", "B,2,9"]
    columns = {"pile": Channel("Pile"), "depth_to": Channel("Depth", "ft"), "blows": Channel("Blows")}
    log = read_production_log(text(tmp_path / "log.csv", lines), LogLayout(columns=columns))
    np.testing.assert_allclose(log.depth_from / FOOT, [0, 1, 0, 1])


ABOVE = ["Pile 7", "Depth;Blows;Notes;Fall"]
FULL = COLUMNS | {"stroke": Channel("Fall", "ft")}


@pytest.mark.parametrize(
    ("rows", "counts", "depths", "strokes"),
    [
        (["50-51;20;;6", "51 – 52;24;;6", "52 to 53;30;;6"], [20, 24, 30], [51, 52, 53], [6, 6, 6]),
        (["51;20;;6.5 ft", "52;24;;2.0 m", "53 ft;30;;6'-6\""], [20, 24, 30], [51, 52, 53], [6.5, 2 / FOOT, 6.5]),
        (["51;20;;6", '52;24;;"', "53;do.;;7"], [20, 24, 24], [51, 52, 53], [6, 6, 7]),
        (["51;20;;6", "52;24;;6", "52.25;15/3in;refusal;7"], [20, 24, 15], [51, 52, 52.25], [6, 6, 7]),
        (["51;20;;6", "52;24;;6", ";44;total;"], [20, 24], [51, 52], [6, 6]),
        (["50;0;start;", "51;20;;6", "52;24;;6"], [20, 24], [51, 52], [6, 6]),
        (["50;;start;", "51;20;;6", "52;24;;6"], [20, 24], [51, 52], [6, 6]),
        (["50,5 - 51,0;20;;6", "51,0 à 51,5;24;;6,5"], [20, 24], [51, 51.5], [6, 6.5]),
        (
            ["50'-3 1/2\";20;;6", "50½;24;;6 1/2", "50 3/4;30;;6'-6 1/2\""],
            [20, 24, 30],
            [50 + 3.5 / 12, 50.5, 50.75],
            [6, 6.5, 6 + 6.5 / 12],
        ),
    ],
)
def test_what_inspectors_write_in_cells(tmp_path, rows, counts, depths, strokes):
    log = read_driving_log(text(tmp_path / "log.csv", [*ABOVE, *rows]), LogLayout(columns=FULL), start=50 * FOOT)
    assert log.blows.tolist() == counts
    np.testing.assert_allclose(log.depth_to / FOOT, depths)
    top = 50.5 if " - " in rows[0] else 50
    np.testing.assert_allclose(log.depth_from / FOOT, [top, *depths[:-1]])
    np.testing.assert_allclose(log.stroke / FOOT, strokes)


@pytest.mark.parametrize(
    ("lines", "more", "needles"),
    [
        ([*ABOVE, "51;20;;", "52;15/3in;refusal;"], {}, ("row 4", "0.0762 m", "0.305 m long")),
        ([*ABOVE, "51;20;;", ";15/3in;refusal;"], {}, ("row 4", "Depth", "empty")),
        ([*ABOVE, "51;20;;", "51-52;WOH;;"], {}, ("row 4", "Depth", "not a number")),
        ([*ABOVE, "51;20;;", "52?;24?;;"], {}, ("row 4", '"52?"', "not a number")),
        ([*ABOVE, "51;20;;", "52;do.;;"], {"cumulative": True}, ("row 4", '"do."', "not a number")),
        ([*ABOVE, "51;20;;", "50.5;20;;"], {}, ("row 4", "no deeper than the row before")),
        (["Depth;Blows;Notes;Fall;Depth;Blows", "51;20;;;53;30"], {}, ("occurs twice", "columns 1 and 5")),
        (["Dept;Blows;Notes;Fall", "51;20;;"], {}, ("Depth, Blows", "write Dept")),
    ],
)
def test_what_could_be_read_in_two_ways_is_asked(tmp_path, refuses, lines, more, needles):
    path = text(tmp_path / "log.csv", lines)
    refuses(lambda: read_driving_log(path, LogLayout(columns=FULL, **more), start=50 * FOOT), "log.csv", *needles)


RATES = ["Blows per foot", "Blows/ft", "BPF", "Blows / 1 ft", "Schläge je ft"]


@pytest.mark.parametrize("title", RATES)
def test_counts_over_a_length_in_intervals_of_another(tmp_path, refuses, title):
    """A last row of 60 over half a foot may be 60 blows or 30."""
    columns = {"depth_to": Channel("Depth", "ft"), "blows": Channel(title)}
    path = text(tmp_path / "log.csv", [f"Depth;{title}", "50.5;20", "51.5;24", "52;60"])
    needles = ("log.csv", "row 4", title, "0.1524 m long", "counts over 0.3048 m", "cumulative = false")
    refuses(lambda: read_driving_log(path, LogLayout(columns=columns), start=50 * FOOT), *needles)
    log = read_driving_log(path, LogLayout(columns=columns, cumulative=False), start=50 * FOOT)
    assert log.blows.tolist() == [20, 24, 60]
    text(path, [f"Depth;{title}", "50.5;20", "51.5;24", "52.5;60"])
    assert read_driving_log(path, LogLayout(columns=columns), start=50 * FOOT).blows.tolist() == [20, 24, 60]


@pytest.mark.parametrize("header", ["Profondeur (m);Nombre de coups;Hauteur (m)", "Profundidad (m);Golpes;Caída (m)"])
def test_a_layout_is_guessed_from_french_and_spanish_headers(tmp_path, header):
    path = text(tmp_path / "log.csv", [header, "0,25;3;0,8", "0,50;5;1,0"])
    log = read_driving_log(path, guess_log_layout(path, "ft"))
    assert log.blows.tolist() == [3, 5]
    np.testing.assert_allclose(log.depth_to, [0.25, 0.5])
    np.testing.assert_allclose(log.stroke, [0.8, 1.0])


def test_a_guess_does_not_pass_over_a_second_block(tmp_path, refuses):
    path = text(tmp_path / "log.csv", ["Depth;Blows;Depth;Blows", "1;3;3;9", "2;5;4;11"])
    refuses(lambda: guess_log_layout(path, "ft"), "occurs twice, as columns 1 and 3")


def test_a_header_of_two_lines_in_a_cell(tmp_path):
    lines = ['"Depth', '(ft)","Blows', 'per foot"', "51'-0\",20", "52'-0\",24"]
    columns = {"depth_to": Channel("Depth"), "blows": Channel("Blows per foot")}
    log = read_driving_log(text(tmp_path / "log.csv", lines), LogLayout(columns=columns), start=50 * FOOT)
    assert log.blows.tolist() == [20, 24]


def test_quotes_that_fill_cells_are_the_same_as_above(tmp_path):
    """Two of them in a line are not one text in quotes, in which an interval would be lost."""
    columns = {"pile": Channel("Pile"), "depth_to": Channel("Depth", "ft"), "blows": Channel("Blows")}
    lines = ["Pile;Depth;Blows;Date", "P1;1;5;2026-05-04", '";2;6;"', '"P2";1;7;2026-05-05', '";2;8;2026-05-05']
    layout = LogLayout(columns=columns | {"date": Channel("Date")})
    log = read_production_log(text(tmp_path / "log.csv", lines), layout)
    assert log.pile.tolist() == ["P1", "P1", "P2", "P2"]
    assert log.blows.tolist() == [5, 6, 7, 8]
    assert log.date == ("2026-05-04", "2026-05-04", "2026-05-05", "2026-05-05")


@pytest.mark.parametrize("words", ["WOH", "WOP", "W.O.R.", "wt of hammer", "Weight of pile", "own weight", "WOH/12in"])
def test_a_pile_that_ran_under_a_weight_has_no_blows(tmp_path, words):
    lines = [*ABOVE, f"51;{words};;", "52;24;;6"]
    log = read_driving_log(text(tmp_path / "log.csv", lines), LogLayout(columns=FULL), start=50 * FOOT)
    assert log.blows.tolist() == [0, 24]
    np.testing.assert_allclose(log.depth_from / FOOT, [50, 51])
    own = ["depth_from [ft],depth_to [ft],blows", f"50,51,{words}", "51,52,24"]
    assert read_driving_log(text(tmp_path / "own.csv", own)).blows.tolist() == [0, 24]


def test_a_weight_in_a_cumulative_count_adds_no_blows(tmp_path):
    lines = [*ABOVE, "51;WOH;;", "52;24;;6", "53;WOH;;", "54;30;;6"]
    layout = LogLayout(columns=FULL, cumulative=True)
    log = read_driving_log(text(tmp_path / "log.csv", lines), layout, start=50 * FOOT)
    assert log.blows.tolist() == [0, 24, 0, 6]


def test_a_stroke_as_a_range_is_its_middle_and_the_remark_says_so(tmp_path):
    lines = [*ABOVE, "51;20;soft;7-8", "52;24;;7.5 – 8", "53;30;;8 to 9", "54;31;;8"]
    log = read_driving_log(text(tmp_path / "log.csv", lines), LogLayout(columns=FULL), start=50 * FOOT)
    np.testing.assert_allclose(log.stroke / FOOT, [7.5, 7.75, 8.5, 8])
    assert log.remark[0] == "soft; stroke 7-8, its middle is used"
    assert [bool(one) for one in log.remark] == [True, True, True, False]
    own = ["depth_from [m],depth_to [m],blows,stroke [m]", "1,2,24,2.1-2.3"]
    log = read_driving_log(text(tmp_path / "own.csv", own))
    assert log.stroke.tolist() == pytest.approx([2.2]) and "2.1-2.3" in log.remark[0]


@pytest.mark.parametrize(
    ("row", "needles"),
    [
        ("52;100+;refusal;", ("row 4", '"100+" says only how many blows there were at least', "depth at which")),
        ("52;>100;refusal;", ("row 4", '">100" says only')),
        ("~52;>100;refusal;", ("row 4", '"~52" is not a number')),
        ("52 soft;WOH;;", ("row 4", '"52 soft" is not a number')),
        ('52;50/4";refusal;', ("row 4", "0.102 m", "0.305 m long", "write 50")),
        ('52;50 blows/4";refusal;', ("row 4", "0.102 m", "0.305 m long")),
        ("52;50/4;refusal;", ("row 4", '"50/4" is not a number')),
        ("52;24;;8-7", ("row 4", '"8-7" is not a number')),
        ("52;24;;3-8", ("row 4", '"3-8" is not a number')),
        ('52;WOH/18";;', ("row 4", "0.457 m", "0.305 m long")),
    ],
)
def test_counts_and_strokes_that_say_too_little(tmp_path, refuses, row, needles):
    path = text(tmp_path / "log.csv", [*ABOVE, "51;20;;", row, "53;24;;"])
    refuses(lambda: read_driving_log(path, LogLayout(columns=FULL), start=50 * FOOT), "log.csv", *needles)


def test_blows_over_some_inches_at_the_end(tmp_path):
    path = text(tmp_path / "log.csv", [*ABOVE, "51;20;;", '51\'4";50 blows / 4";refusal;'])
    log = read_driving_log(path, LogLayout(columns=FULL), start=50 * FOOT)
    assert log.blows.tolist() == [20, 50]
    np.testing.assert_allclose(log.depth_to / FOOT, [51, 51 + 4 / 12], rtol=1e-6)


CUMULATIVE = {"depth_to": Channel("Depth", "m"), "blows": Channel("Blows")}


@pytest.mark.parametrize(
    ("delimiter", "counts"),
    [
        (";", ["950", "1,020", "2,000"]),
        (";", ["950", "1.020", "2.000"]),
        (";", ["950", "1'020", "2'000"]),
        (";", ["950", "1\u202f020", "2\u202f000"]),
        (",", ["950", '"1,020"', '"2,000"']),
        ("\t", ["950.0", "1,020.0", "2,000.0"]),
    ],
)
def test_counts_whose_thousands_are_set_apart(tmp_path, delimiter, counts):
    lines = [f"Depth{delimiter}Blows", *(f"{n}{delimiter}{count}" for n, count in enumerate(counts, start=1))]
    layout = LogLayout(columns=CUMULATIVE, cumulative=True)
    assert read_driving_log(text(tmp_path / "log.csv", lines), layout).blows.tolist() == [950, 70, 980]


def test_thousands_in_the_cells_of_a_workbook(tmp_path, refuses):
    rows = [["Depth", "Blows"], [1, "950"], [2, "1,020"], [3, "2,000"]]
    layout = LogLayout(columns=CUMULATIVE, cumulative=True)
    assert read_driving_log(workbook(tmp_path / "log.xlsx", rows), layout).blows.tolist() == [950, 70, 980]
    rows = [["Depth", "Blows"], [1, 5], [2, "2,000"]]
    path = workbook(tmp_path / "doubt.xlsx", rows)
    refuses(lambda: read_driving_log(path, LogLayout(columns=CUMULATIVE)), "row 3", '"2,000" is not a number')
    rows = [["Depth", "Blows"], ["0,25", 5], ["0,5", 7]]
    assert read_driving_log(workbook(tmp_path / "comma.xlsx", rows), layout).depth_to.tolist() == [0.25, 0.5]


@pytest.mark.parametrize(
    ("lines", "needles"),
    [
        (["Depth;Blows", "1;900", "2;2,000"], ("row 3", '"2,000" may be 2000 or 2.000')),
        (["Depth;Blows", "1;900", "2;2.000"], ("row 3", '"2.000" may be 2000 or 2.000')),
    ],
)
def test_a_mark_that_may_set_thousands_apart(tmp_path, refuses, lines, needles):
    path = text(tmp_path / "log.csv", lines)
    refuses(
        lambda: read_driving_log(path, LogLayout(columns=CUMULATIVE, cumulative=True)), *needles, "decimal in [log]"
    )


def test_a_depth_in_millimetres_with_its_thousands_set_apart(tmp_path, refuses):
    path = text(tmp_path / "log.csv", ["Depth;Blows", "750;5", "1,000;6", "1,250;7"])
    columns = CUMULATIVE | {"depth_to": Channel("Depth", "mm")}
    refuses(lambda: read_driving_log(path, LogLayout(columns=columns)), "row 3", '"1,000" may be 1000 or 1.000')
    path = text(tmp_path / "metres.csv", ["Depth;Blows", "1,000;6", "1,250;7"])
    assert read_driving_log(path, LogLayout(columns=CUMULATIVE, decimal=","), start=0.5).depth_to[1] == 1.25
