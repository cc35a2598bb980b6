"""Signal tables: each thing that is wrong gives one line with file, row or column, and cure."""

import gzip

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from dyntest.reading import files, number_table
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals

S1 = "strain_1 [µm/m]"
A1 = "acceleration_1 [m/s^2]"


def at(frame, row, column, value):
    """Change one value; row counts from 0."""
    frame[column] = frame[column].astype(object if isinstance(value, str) else float)
    frame.loc[row, column] = value
    return frame


def jump_back(frame):
    frame.loc[100:199, "time [s]"] -= 0.004
    return frame


def sample_missing(frame):
    """Take one sample out of every blow, so that all stay equally long."""
    return frame[frame.index % 200 != 120]


CASES = {
    # what is done to a sound table of 3 blows of 200 samples, and what the one line must say
    "missing column": (lambda f: f.drop(columns=S1), "column strain_1", "is missing", "add strain_1 [m/m]"),
    "misspelt column": (lambda f: f.rename(columns={S1: "strian_1 [µm/m]"}), "column strain_1", "is strian_1"),
    "misspelt optional column": (
        lambda f: f.rename(columns={"penetration [m]": "penetraton [m]"}),
        "column penetraton [m]",
        "write penetration",
    ),
    "column without unit": (
        lambda f: f.rename(columns={S1: "strain_1"}),
        "column strain_1",
        "no unit",
        "strain_1 [m/m]",
    ),
    "column of unknown unit": (lambda f: f.rename(columns={S1: "strain_1 [volt5]"}), "column strain_1", "write a unit"),
    "column of another dimension": (
        lambda f: f.rename(columns={A1: "acceleration_1 [m/s]"}),
        "column acceleration_1 [m/s]",
        "not a unit of acceleration",
        "acceleration_1 [m/s^2]",
    ),
    "blow with a unit": (lambda f: f.rename(columns={"blow": "blow [1]"}), "column blow [1]", "write blow alone"),
    "not a number": (lambda f: at(f, 5, S1, float("nan")), "row 7, column strain_1 [µm/m]"),
    "infinite": (
        lambda f: at(f, 5, S1, float("inf")),
        "row 7, column strain_1 [µm/m]",
        "not a finite number",
        "fill in",
    ),
    "half a blow": (lambda f: at(f, 3, "blow", 1.5), "row 5, column blow", "1.5 is not a blow number", "1, 2, 3"),
    "negative blow": (lambda f: at(f, 0, "blow", -1), "row 2, column blow", "-1 is not a blow number"),
    "blow one sample short": (
        lambda f: f.drop(index=450),
        "row 402, column blow",
        "blow 3 has 199 samples",
        "same number",
    ),
    "last blow broken off": (lambda f: f[:500], "row 402, column blow", "blow 3 has 100 samples, most have 200"),
    "blow occurs again": (
        lambda f: f.assign(blow=np.repeat([1, 2, 1], 200)),
        "row 402, column blow",
        "blow 1 occurs again after blow 2",
        "export",
    ),
    "blows interleaved": (
        lambda f: f.sort_values(["time [s]", "blow"]),
        "row 5, column blow",
        "blow 1 occurs again after blow 3",
        "one after the other",
    ),
    "blows in the wrong order": (
        lambda f: f.assign(blow=np.repeat([3, 2, 1], 200)),
        "row 202, column blow",
        "blow 2 comes after blow 3",
        "order of driving",
    ),
    "two blows of one number": (
        lambda f: f.assign(blow=np.repeat([1, 2, 2], 200)),
        "column blow",
        "has 400 samples",
        "same number of samples",
    ),
    "no blow numbers": (lambda f: f.drop(columns="blow"), "row 202, column time [s]", "time decreases", "column blow"),
    "time decreases": (jump_back, "row 102, column time [s]", "blow 1: time decreases", "its own time"),
    "time stands still": (
        lambda f: at(f, 11, "time [s]", f.loc[10, "time [s]"]),
        "row 13, column time [s]",
        "time decreases or does not change",
    ),
    "missing sample": (sample_missing, "row 122, column time [s]", "not uniform (0.0001 s here", "missing sample"),
    "time rounded too far": (
        lambda f: f.assign(**{"time [s]": np.round(f["time [s]"] * 1.1, 5)}),
        "not uniform",
        "digits",
    ),
    "another time step in one blow": (
        lambda f: f.assign(**{"time [s]": f["time [s]"] * np.where(f["blow"] == 2, 2.0, 1.0)}),
        "row 202, column time [s]",
        "blow 2: the mean time step is 0.0001 s",
        "one sampling rate",
    ),
    "time in the wrong unit": (
        lambda f: f.rename(columns={"time [s]": "time [min]"}),
        "column time [min]",
        "a time step of 0.003 s",
        "check the unit",
    ),
    "clock that runs": (
        lambda f: at(f, 250, "clock [s]", 1.6),
        "row 252, column clock [s]",
        "varies within blow 2",
        "one value for the whole blow",
    ),
    "clock that goes back": (
        lambda f: f.assign(**{"clock [s]": 5.0 - f["blow"]}),
        "column clock",
        "blow 2 is not later",
    ),
    "penetration that varies": (lambda f: at(f, 250, "penetration [m]", 11.0), "row 252, column penetration", "varies"),
    "penetration as a level": (
        lambda f: f.assign(**{"penetration [m]": 20.0 - f["blow"]}),
        "column penetration",
        "blow 2 is shallower than blow 1",
        "not elevation",
    ),
    "negative penetration": (
        lambda f: f.assign(**{"penetration [m]": -1.0}),
        "column penetration",
        "outside 0 to 300 m",
    ),
    "strain in the wrong unit": (
        lambda f: f.rename(columns={S1: "strain_1 [m/m]"}),
        "row 601, column strain_1 [m/m]",
        "349.75 m/m is far beyond any strain",
        "check the unit",
    ),
    "acceleration in the wrong unit": (
        lambda f: f.assign(**{A1: -2e5}).rename(columns={A1: "acceleration_1 [g]"}),
        "row 2, column acceleration_1 [g]",
        "-200000 g is far beyond any acceleration",
        "check the unit",
    ),
    "too few samples": (lambda f: f[f.index % 200 < 40], "has only 40 samples per blow", "at least 64", "whole record"),
    "no rows": (lambda f: f[:0], "has a header but no rows", "export"),
}


@pytest.mark.parametrize("name", ["initial.csv", "initial.parquet"])
@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_what_is_wrong_is_named_with_its_cure(write_sheet, signals_frame, refuses, case, name):
    spoil, *needles = case
    sheet = read_sheet(write_sheet({"drive.0.signals": f'"{name}"'}, data=spoil(signals_frame()), name=name))
    if name.endswith(".parquet"):  # rows count from 1 where there is no header row
        needles = [f"row {int(n.split(',')[0][4:]) - 1}," if n.startswith("row ") else n for n in needles]
    refuses(lambda: read_signals(sheet, sheet.drives[0]), f"P2-4/{name}", *needles)


def with_text(write_sheet, change, name="initial.csv", encoding="utf-8"):
    """Write a sound CSV, change its text, and give the reading of it."""
    path = write_sheet({"drive.0.signals": f'"{name}"'})
    text = (path.parent / "initial.csv").read_text(encoding="utf-8")
    data = change(text).encode(encoding)
    (path.parent / name).write_bytes(gzip.compress(data) if name.endswith(".gz") else data)
    sheet = read_sheet(path)
    return lambda: read_signals(sheet, sheet.drives[0])


def replace_line(text, number, line):
    lines = text.splitlines()
    lines[number - 1] = line(lines[number - 1]) if callable(line) else line
    return "\n".join(lines) + "\n"


TEXTS = {
    # what is done to the text of a CSV
    "text for a number": (
        lambda t: replace_line(t, 50, lambda row: row.replace(",112.0,", ",fault,")),
        "row 50, column strain_1 [µm/m]",
        '"fault" is not a number',
        "write a number",
    ),
    "text after a blank line": (
        lambda t: replace_line(
            replace_line(t, 50, lambda row: row.replace(",112.0,", ",fault,")), 20, "\n" + t.splitlines()[19]
        ),
        "row 51, column strain_1 [µm/m]",
    ),
    "control characters": (
        lambda t: replace_line(t, 50, lambda row: row.replace(",112.0,", ",\x1b[2J,")),
        "row 50, column strain_1 [µm/m]",
        "is not a number",
    ),
    "empty value": (
        lambda t: replace_line(t, 50, lambda row: row.replace(",112.0,", ",,")),
        "row 50, column strain_1 [µm/m]",
        "is empty",
        "fill in",
    ),
    "one value too many": (
        lambda t: replace_line(t, 50, lambda row: row + ",1"),
        "row 50",
        "has 9 values for 8 columns",
    ),
    "broken off": (lambda t: t[:-30], "row 601", "values for 8 columns", "give each column its value"),
    "decimal commas between commas": (lambda t: t.replace(".", ","), "row 2", "for 8 columns", "need semicolons"),
    "both decimal marks": (
        lambda t: replace_line(t.replace(",", ";"), 9, lambda row: row.replace(".", ",")),
        "has both a decimal comma",
        "decimal point",
    ),
    "column twice": (
        lambda t: t.replace("strain_2 [µm/m]", S1, 1),
        "column strain_1 [µm/m]",
        "occurs twice, as column 3 and column 4",
        "keep one",
    ),
    "blank first row": (lambda t: "\n" + t, "row 1", "is blank", "headers of the columns"),
    "no header": (lambda t: t.partition("\n")[2], "column time", "is missing", "add time [s]"),
    "header alone": (lambda t: t.partition("\n")[0], "no rows", "export"),
}


@pytest.mark.parametrize("name", ["changed.csv", "changed.csv.gz"])
@pytest.mark.parametrize("case", TEXTS.values(), ids=TEXTS.keys())
def test_a_spoilt_csv(write_sheet, refuses, case, name):
    change, *needles = case
    refuses(with_text(write_sheet, change, name), f"P2-4/{name}", *needles)


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1"])
def test_a_csv_in_another_encoding(write_sheet, refuses, encoding):
    refuses(with_text(write_sheet, lambda t: t, "changed.csv", encoding), "P2-4/changed.csv", "UTF-", "save it as")


def spoilt_file(write_sheet, name, data):
    path = write_sheet({"drive.0.signals": f'"{name}"'})
    (path.parent / name).write_bytes(data)
    sheet = read_sheet(path)
    return lambda: read_signals(sheet, sheet.drives[0])


FILES = {
    "no Parquet": ("x.parquet", b"blow,time\n1,2\n" * 100, "not a complete Parquet file", "export the file again"),
    "empty": ("x.csv", b"", "is empty", "export or copy"),
    "empty gzip": ("x.csv.gz", gzip.compress(b""), "is empty", "export or copy"),
    "no gzip": ("x.csv.gz", b"blow,time\n1,2\n", "cannot be unpacked", "copy the file again"),
    "gzip broken off": ("x.csv.gz", gzip.compress(bytes(100_000))[:60], "cannot be unpacked", "copy the file again"),
    "bytes": ("x.csv", bytes(range(256)) * 100, "not text", "UTF-8"),
    "a workbook in name only": ("x.xlsx", b"PK", "workbook", "xlsx"),
    "blank lines": ("x.csv", b"\n\n\n", "is blank", "headers"),
}


@pytest.mark.parametrize("case", FILES.values(), ids=FILES.keys())
def test_a_file_that_is_no_table(write_sheet, refuses, case):
    name, data, *needles = case
    refuses(spoilt_file(write_sheet, name, data), f"P2-4/{name}", *needles)


@pytest.mark.parametrize("kept", [0.1, 0.5, 0.99])
def test_a_parquet_broken_off(write_sheet, refuses, kept):
    path = write_sheet({"drive.0.signals": '"x.parquet"'}, name="x.parquet")
    whole = (path.parent / "x.parquet").read_bytes()
    (path.parent / "x.parquet").write_bytes(whole[: int(len(whole) * kept)])
    sheet = read_sheet(path)
    refuses(lambda: read_signals(sheet, sheet.drives[0]), "P2-4/x.parquet", "Parquet", "again")


def test_a_parquet_with_damaged_pages(write_sheet, refuses):
    path = write_sheet({"drive.0.signals": '"x.parquet"'}, name="x.parquet")
    whole = bytearray((path.parent / "x.parquet").read_bytes())
    whole[4:400] = bytes(396)
    (path.parent / "x.parquet").write_bytes(whole)
    sheet = read_sheet(path)
    refuses(lambda: read_signals(sheet, sheet.drives[0]), "P2-4/x.parquet", "Parquet", "again")


@pytest.mark.parametrize(
    ("values", "needle"),
    [(["a"] * 600, "contains string"), ([True] * 600, "contains bool"), ([[1.0]] * 600, "contains list")],
)
def test_a_parquet_column_of_another_kind(write_sheet, signals_frame, refuses, values, needle):
    path = write_sheet({"drive.0.signals": '"x.parquet"'}, name="x.parquet")
    table = pa.Table.from_pandas(signals_frame(), preserve_index=False)
    table = table.set_column(table.schema.get_field_index(S1), S1, pa.array(values))
    pq.write_table(table, path.parent / "x.parquet")
    sheet = read_sheet(path)
    refuses(lambda: read_signals(sheet, sheet.drives[0]), "column strain_1 [µm/m]", needle, "as numbers")


def test_a_parquet_column_with_a_gap(write_sheet, signals_frame, refuses):
    path = write_sheet({"drive.0.signals": '"x.parquet"'}, name="x.parquet")
    table = pa.Table.from_pandas(signals_frame(), preserve_index=False)
    gap = [None if i == 7 else 1.0 for i in range(600)]
    pq.write_table(table.set_column(table.schema.get_field_index(S1), S1, pa.array(gap)), path.parent / "x.parquet")
    sheet = read_sheet(path)
    refuses(lambda: read_signals(sheet, sheet.drives[0]), "row 8, column strain_1 [µm/m]", "is empty", "fill in")


GAUGE_NAMES = {
    # names of the strain gauges in the sheet where the file has strain_1 and strain_2: the misspelt one, its column
    "one letter left out": ('["strain_1", "strain2"]', "strain2", "strain_2"),
    "two letters changed round": ('["strian_1", "strain_2"]', "strian_1", "strain_1"),
    "in capitals": ('["strain_1", "STRAIN_2"]', "STRAIN_2", "strain_2"),
    "less alike": ('["strain_1", "strn_2"]', "strn_2", "strain_2"),
}


@pytest.mark.parametrize("name", ["x.csv", "x.parquet"])
@pytest.mark.parametrize("case", GAUGE_NAMES.values(), ids=GAUGE_NAMES.keys())
def test_a_gauge_misspelt_in_the_sheet_is_the_one_named(write_sheet, refuses, name, case):
    written, misspelt, column = case
    sheet = read_sheet(write_sheet({"drive.0.signals": f'"{name}"', "gauges.strain": written}, name=name))
    needles = (f"P2-4/{name}, column {misspelt}: ", f"nearest column is {column}", f"write {column} in [gauges]")
    refuses(lambda: read_signals(sheet, sheet.drives[0]), *needles)


def test_a_gauge_misspelt_in_the_sheet_is_the_one_named_with_records_too(write_sheet, refuses):
    sheet = read_sheet(write_sheet({"gauges.strain": '["strain_1", "strain2"]', "records": {"format": '"text"'}}))
    needles = ("P2-4/initial.csv, channel strain2: ", "strain_2", "correct its name in [gauges]")
    refuses(lambda: read_signals(sheet, sheet.drives[0]), *needles)
    changes = {"gauges.strain": '["strain_1", "strain2"]', "records": {"channels": {"strain_2": {"column": '"CH2"'}}}}
    refuses(lambda: read_sheet(write_sheet(changes)), "[records.channels.strain_2]", "strain2", "strain_2 in [gauges]")


def test_more_rows_than_are_read_at_once(write_sheet, refuses, monkeypatch):
    monkeypatch.setattr(number_table, "MAX_ROWS", 500)
    for name in ("x.parquet", "x.csv"):
        sheet = read_sheet(write_sheet({"drive.0.signals": f'"{name}"'}, name=name))
        refuses(lambda: read_signals(sheet, sheet.drives[0]), f"P2-4/{name}", "has 600 rows", "split the drive")  # noqa: B023


def test_a_packed_file_may_not_unfold_beyond_the_limit(write_sheet, refuses, monkeypatch):
    monkeypatch.setattr(number_table, "MAX_TABLE_BYTES", 100_000)
    call = spoilt_file(write_sheet, "x.csv.gz", gzip.compress(bytes(10_000_000)))
    refuses(call, "P2-4/x.csv.gz", "larger than", "split it")


def test_the_bounds_leave_room_for_a_long_drive():
    assert number_table.MAX_ROWS > 5_000 * 2_048
    assert files.MAX_TABLE_BYTES > 1e9


PAIRS = {
    # what is done to the second of two one-blow files
    "shorter": (lambda f: f[:150], "second.csv", "has 150 samples per blow", "first.csv has 200", "same number"),
    "slower": (
        lambda f: f.assign(**{"time [s]": f["time [s]"] * 2}),
        "second.csv",
        "time step of 0.0001 s",
        "one sampling",
    ),
    "without clock": (lambda f: f.drop(columns="clock [s]"), "second.csv, column clock", "only one of", "same columns"),
    "numbered": (lambda f: f.assign(blow=2), "second.csv, column blow", "only one of", "same columns"),
    "clock goes back": (
        lambda f: f.assign(**{"clock [s]": -1.0}),
        "first.csv and 1 more",
        "not later",
        "since the drive",
    ),
}


@pytest.mark.parametrize("case", PAIRS.values(), ids=PAIRS.keys())
def test_files_that_do_not_go_together(write_sheet, signals_frame, refuses, case):
    spoil, *needles = case
    path = write_sheet({"drive.0.signals": '["first.csv", "second.csv"]'})
    blow = signals_frame(blows=1).drop(columns="blow")
    blow.to_csv(path.parent / "first.csv", index=False)
    spoil(blow.assign(**{"clock [s]": 1.5})).to_csv(path.parent / "second.csv", index=False)
    sheet = read_sheet(path)
    refuses(lambda: read_signals(sheet, sheet.drives[0]), *needles)


def test_blow_numbers_go_on_from_file_to_file(write_sheet, signals_frame, refuses):
    path = write_sheet({"drive.0.signals": '["first.csv", "second.csv"]'})
    for name in ("first.csv", "second.csv"):
        signals_frame().to_csv(path.parent / name, index=False)
    sheet = read_sheet(path)
    call = lambda: read_signals(sheet, sheet.drives[0])  # noqa: E731
    refuses(
        call, "P2-4/second.csv, column blow", "begins with blow 1, the file before ends with blow 3", "consecutively"
    )
