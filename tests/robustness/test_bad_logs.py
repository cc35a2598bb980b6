"""Bad driving logs, production logs and tables of piles through the command line: one line with the row and a cure."""

import re

import pytest

EACH = {
    # what is done to the text of any of the three tables, and what the line must name
    "zero bytes": (lambda t: "", "empty"),
    "line ends alone": (lambda t: "\n\n\n", "blank"),
    "commas alone": (lambda t: ",,\n,\n", "blank"),
    "quotes alone": (lambda t: '""\n', "blank"),
    "a header alone": (lambda t: t.partition("\n")[0] + "\n", "no rows"),
    "no header": (lambda t: t.partition("\n")[2], "is missing"),
    "one value too many": (lambda t: t.rstrip("\n") + ",1,1\n", r"row \d"),
    "the last row broken off": (lambda t: t[: t.rstrip().rindex(",") - 6], r"row \d"),
    "bars for commas": (lambda t: t.replace(",", "|"), "is missing"),
    "decimal commas between commas": (lambda t: t.replace(".", ",").replace("2026-05-20", "20,5"), r"row \d|column"),
    "both decimal marks": (
        lambda t: t.replace(",", ";").replace(".", ",", 1) + t.splitlines()[1].replace(",", ";").replace("30", "30.5"),
        "decimal|row|column",
    ),
    "units in round brackets": (lambda t: t.replace("[", "(").replace("]", ")"), "column"),
    "no units": (lambda t: re.sub(r" \[ft\]", "", t), "no unit"),
    "lengths in seconds": (lambda t: t.replace("[ft]", "[s]"), "not a unit of length"),
    "lengths in kilofeet": (lambda t: t.replace("[ft]", "[km]"), "cannot be right"),
    "lengths in a unit that is none": (lambda t: t.replace("[ft]", "[ells of Brabant]"), "column"),
    "an open quote": (lambda t: t.replace("\n", '\n"', 1), "row"),
    "a quote in the middle": (lambda t: t.replace("40", '"4"0', 1) if "40" in t else t.replace("50", '"5"0', 1), "row"),
    "a null character": (lambda t: t.replace(",", ",\0", 1), ""),
    "a column twice": (
        lambda t: "\n".join(f"{line},{line.split(',')[1]}" for line in t.splitlines()) + "\n",
        "twice",
    ),
    "a field beyond what a reader of CSV takes": (lambda t: t.rstrip("\n") + "x" * 200_000 + "\n", "row|column"),
    "HTML": (lambda t: "<table><tr><td>1</td></tr></table>\n", "no rows|missing"),
}

BYTES = {
    "UTF-16": lambda b: b.decode().encode("utf-16"),
    "UTF-32": lambda b: b.decode().encode("utf-32"),
    "Windows Latin": lambda b: b + "Brücke".encode("cp1252"),
    "a workbook": lambda b: b"PK\x03\x04" + bytes(range(256)) * 20,
    "null characters": lambda b: bytes(400),
    "more than is read": lambda b: b + b"\n" * 20_000_001,
}


def words_for(folder, table):
    sheet = folder / "sheet.toml"
    if table == "log.csv":
        return "review", sheet, "--match", "none"
    return "check", sheet, folder / "production.csv", *(("--piles", folder / "piles.csv") if "piles" in table else ())


TABLES = ["log.csv", "production.csv", "piles.csv"]


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("case", EACH)
def test_a_text_that_is_no_log(folder, refused, table, case):
    change, needle = EACH[case]
    path = folder / table
    path.write_text(change(path.read_text()))
    assert re.search(needle, refused(*words_for(folder, table), needles=[f"P3-1/{table}"]))


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("case", BYTES)
def test_bytes_that_are_no_log(folder, refused, table, case):
    path = folder / table
    path.write_bytes(BYTES[case](path.read_bytes()))
    refused(*words_for(folder, table), needles=[f"P3-1/{table}"])


HEAD = "depth_from [ft],depth_to [ft],blows,stroke [ft],remark\n"
INTERVALS = {
    # rows of a driving log, and what the line must name
    "a gap": ("40,41,2,8,\n42,43,2,8,\n", "row 3", "gap"),
    "an overlap": ("40,42,2,8,\n41,43,2,8,\n", "row 3", "row 2"),
    "the same row twice": ("40,42,2,8,\n40,42,2,8,\n", "row 3"),
    "upward": ("42,40,2,8,\n", "row 2", "depth_to"),
    "of no length": ("40,40,2,8,\n", "row 2", "depth_to"),
    "from the toe up": ("41,42,2,8,\n40,41,2,8,\n", "row 3"),
    "above ground": ("-1,0,2,8,\n", "row 2", "-1"),
    "deeper than any pile": ("40,4000,2,8,\n", "row 2", "4000"),
    "of infinite depth": ("40,inf,2,8,\n", "row 2", "inf"),
    "of no number": ("40,nan,2,8,\n", "row 2", "nan"),
    "half a blow": ("40,41,2.5,8,\n", "row 2", "blows"),
    "fewer blows than none": ("40,41,-2,8,\n", "row 2", "blows"),
    "blows beyond counting": ("40,41,1e18,8,\n", "row 2", "blows"),
    "an empty count": ("40,41,,8,\n", "row 2", "blows"),
    "a count in words": ("40,41,two,8,\n", "row 2", "blows"),
    "a count with its unit": ("40,41,2 blows,8,\n", "row 2", "blows"),
    "a count in another script": ("40,41,٢,8,\n", "row 2", "blows"),
    "a count as a formula": ("40,41,=1+1,8,\n", "row 2", "blows"),
    "a count with an escape": ("40,41,\x1b[2J2,8,\n", "row 2", "blows"),
    "a stroke of nought": ("40,41,2,0,\n", "row 2", "stroke"),
    "a negative stroke": ("40,41,2,-8,\n", "row 2", "stroke"),
    "a stroke in inches under the header ft": ("40,41,2,96,\n", "row 2", "stroke"),
    "a stroke in words": ("40,41,2,high,\n", "row 2", "stroke"),
    "feet and inches": ("40' 6\",41,2,8,\n", "row 2"),
    "no end": ("40,,2,8,\n", "row 2", "depth_to"),
    "no start": (",41,2,8,\n", "row 2", "depth_from"),
}


@pytest.mark.parametrize("case", INTERVALS)
def test_intervals_that_cannot_be(folder, review_refused, case):
    rows, *needles = INTERVALS[case]
    (folder / "log.csv").write_text(HEAD + rows)
    review_refused("P3-1/log.csv", *needles)


HEADERS = {
    "depth_from misspelt": ("depth_from", "depth_form"),
    "blows misspelt": ("blows", "blwos"),
    "blows in capitals": ("blows", "BLOWS"),
    "blows with a unit": ("blows", "blows [1/ft]"),
    "depth_to under another name": ("depth_to", "bottom"),
    "stroke misspelt": ("stroke", "storke"),
    "an escape in a header": ("depth_to", "depth_to\x1b[2J"),
}


@pytest.mark.parametrize("case", HEADERS)
def test_a_header_of_a_log_that_is_not_known(folder, review_refused, case):
    (folder / "log.csv").write_text((HEAD + "40,41,4,8,\n").replace(*HEADERS[case]))
    review_refused("P3-1/log.csv", "column")


PRODUCTION = {
    "a pile without a mark": (",0,30,40,6,,\n", "row 2", "column pile"),
    "a pile of blanks": ("  ,0,30,40,6,,\n", "row 2", "column pile"),
    "a gap within one pile": ("B1,0,30,40,6,,\nB2,0,30,40,6,,\nB1,31,32,4,6,,\n", "row 4", "gap"),
    "an overlap within one pile": ("B1,0,30,40,6,,\nB2,0,30,40,6,,\nB1,29,32,4,6,,\n", "row 4"),
    "upward within one pile": ("B1,30,20,40,6,,\n", "row 2"),
    "half a blow": ("B1,0,30,40.5,6,,\n", "row 2", "blows"),
    "a depth that is not a number": ("B1,0,nan,40,6,,\n", "row 2"),
    "a remark with a comma out of quotes": ("B1,0,30,40,6,,stopped, rain\n", "row 2"),
}


@pytest.mark.parametrize("case", PRODUCTION)
def test_a_production_log_that_cannot_be(folder, refused, case):
    rows, *needles = PRODUCTION[case]
    path = folder / "production.csv"
    path.write_text(path.read_text().partition("\n")[0] + "\n" + rows)
    refused(*words_for(folder, "production.csv"), needles=["P3-1/production.csv", *needles])


PILES = {
    "a pile twice": ("B1,103,100,50,\nB1,103,100,50,\n", "row 3"),
    "a pile without a mark": (",103,100,50,\n", "row 2", "column pile"),
    "no level": ("B1,,100,50,\n", "row 2", "cutoff_elevation"),
    "a level above the highest mountain": ("B1,1e6,100,50,\n", "row 2", "cutoff_elevation"),
    "no length": ("B1,103,100,0,\n", "row 2", "furnished_length"),
    "a negative length": ("B1,103,100,-50,\n", "row 2", "furnished_length"),
    "a batter as rise over run": ("B1,103,100,50,4\n", "row 2", "batter"),
    "a batter in words": ("B1,103,100,50,1:4\n", "row 2", "batter"),
    "a batter backward": ("B1,103,100,50,-0.25\n", "row 2", "batter"),
    "a level that is not a number": ("B1,103,nan,50,\n", "row 2", "ground_elevation"),
}


@pytest.mark.parametrize("case", PILES)
def test_a_table_of_piles_that_cannot_be(folder, refused, case):
    rows, *needles = PILES[case]
    path = folder / "piles.csv"
    path.write_text(path.read_text().partition("\n")[0] + "\n" + rows)
    refused(*words_for(folder, "piles.csv"), needles=["P3-1/piles.csv", *needles])
