"""Bad signal tables as CSV through the command line: one line with the row or column, and a cure."""

import gzip
import json
import re

import numpy as np
import pytest

from dyntest import cli

S1, S2 = "strain_1 [µm/m]", "strain_2 [µm/m]"
A1, A2 = "acceleration_1 [m/s^2]", "acceleration_2 [m/s^2]"
N = 760  # samples of a blow of the sound test pile


@pytest.fixture
def write(folder):
    """Write the records of the spoilt test pile."""

    def call(frame):
        frame.to_csv(folder / "initial.csv", index=False, float_format="%.9g")

    return call


def value(row, column, what):
    def change(frame):
        frame[column] = frame[column].astype(float)
        frame.loc[row, column] = what
        return frame

    return change


def column(name, change):
    return lambda frame: frame.assign(**{name: change(frame[name].to_numpy(dtype=float), frame)})


def renamed(old, new):
    return lambda frame: frame.rename(columns={old: new})


def without_rows(*rows):
    return lambda frame: frame.drop(index=list(rows))


def of_blow(values, frame, blow, change):
    return np.where(frame["blow"] == blow, change(values), values)


FRAMES = {
    # what is done to the records, and what the line must name
    "an infinite strain": (value(9, S2, np.inf), "row 11", S2),
    "a strain below all bounds": (value(9, S2, -np.inf), "row 11", S2),
    "a strain that is not a number": (value(2000, S2, np.nan), "row 2002", S2),
    "an acceleration that is not a number": (value(0, A1, np.nan), "row 2", A1),
    "the last value missing": (value(4 * N - 1, A2, np.nan), f"row {4 * N + 1}", A2),
    "a time that is not a number": (value(N, "time [s]", np.nan), f"row {N + 2}", "time"),
    "an infinite time": (value(N, "time [s]", np.inf), f"row {N + 2}", "time"),
    "an infinite clock": (value(N, "clock [s]", np.inf), "clock"),
    "a blow that is not a number": (value(5, "blow", np.nan), "row 7", "blow"),
    "an infinite blow": (value(5, "blow", np.inf), "row 7", "blow"),
    "a strain of 1e300": (value(9, S1, 1e300), "row 11", S1),
    "a strain of 12 per cent": (value(9, S1, 120_000), "row 11", S1),
    "an acceleration of 1e7": (value(9, A1, -1e7), "row 11", A1),
    "strain in m/m under the header µm/m, 1e6 too large": (
        column(S1, lambda x, f: x * 1e6),
        S1,
        "far beyond any strain",
    ),
    "strain in m/m stored as µm/m, 1e6 too small": (
        lambda f: column(S1, lambda x, _: x * 1e-6)(column(S2, lambda x, _: x * 1e-6)(f)),
        "strain",
    ),
    "strain of both gauges zero": (lambda f: f.assign(**{S1: 0.0, S2: 0.0}), "strain"),
    "accelerations all zero": (lambda f: f.assign(**{A1: 0.0, A2: 0.0}), "acceleration"),
    "accelerations a millionth": (
        lambda f: column(A1, lambda x, _: x * 1e-6)(column(A2, lambda x, _: x * 1e-6)(f)),
        "acceleration",
    ),
    "every channel zero": (lambda f: f.assign(**{S1: 0.0, S2: 0.0, A1: 0.0, A2: 0.0}), "strain"),
    "time backward": (column("time [s]", lambda x, f: -x), "time decreases"),
    "time backward in the third blow": (
        column("time [s]", lambda x, f: of_blow(x, f, 3, np.negative)),
        f"row {2 * N + 3}",
        "blow 3",
    ),
    "time all the same": (lambda f: f.assign(**{"time [s]": 0.0}), "row 3", "does not change"),
    "one time twice": (lambda f: value(50, "time [s]", f["time [s]"][49])(f), "row 52", "does not change"),
    "two times swapped": (
        lambda f: value(50, "time [s]", f["time [s]"][49])(value(49, "time [s]", f["time [s]"][50])(f)),
        "row 52",
        "decreases",
    ),
    "time with jitter": (
        column("time [s]", lambda x, f: x + 2e-5 * np.sin(np.arange(len(x)))),
        "not uniform",
    ),
    "time that runs slower and slower": (column("time [s]", lambda x, f: x + 0.4 * (x + 0.006) ** 2), "not uniform"),
    "time with one gap": (column("time [s]", lambda x, f: np.where(x > 0.03, x + 1e-4, x)), "not uniform"),
    "time with a gap in the last blow": (
        column("time [s]", lambda x, f: np.where((x > 0.03) & (f["blow"] == 4), x + 1e-4, x)),
        "blow 4",
    ),
    "time in samples": (column("time [s]", lambda x, f: np.rint(x * 1e4)), "time step of 1 s"),
    "time in milliseconds under the header s": (column("time [s]", lambda x, f: x * 1e3), "time step of 0.1 s"),
    "time in seconds under the header ns": (renamed("time [s]", "time [ns]"), "time step"),
    "time in seconds under the header µs": (renamed("time [s]", "time [µs]"), "time step"),
    "time in seconds under the header h": (renamed("time [s]", "time [h]"), "time step"),
    "time as an angle": (renamed("time [s]", "time [rad]"), "time [rad]"),
    "the last blow at half the rate": (
        column("time [s]", lambda x, f: of_blow(x, f, 4, lambda t: 2 * t)),
        "blow 4",
        "time step",
    ),
    "the last blow at a slightly other rate": (
        column("time [s]", lambda x, f: of_blow(x, f, 4, lambda t: 1.01 * t)),
        "blow 4",
        "time step",
    ),
    "a blow one sample longer": (
        lambda f: f.assign(blow=np.where(f.index == N, 1, f["blow"])),
        "row 2",
        "761 samples",
    ),
    "a blow without its first sample": (without_rows(0), "row 2", "759 samples"),
    "a blow without its last sample": (without_rows(4 * N - 1), "759 samples"),
    "a blow without a sample in its middle": (without_rows(N + 300), "blow 2", "759 samples"),
    "a blow broken off": (without_rows(*range(3 * N + 70, 4 * N)), "blow 4", "70 samples"),
    "all blows as one": (lambda f: f.assign(blow=1), "time decreases"),
    "every sample its own blow": (lambda f: f.assign(blow=np.arange(len(f))), "1 samples per blow"),
    "blows interleaved": (lambda f: f.sort_values(["time [s]", "blow"]), "row 6", "occurs again"),
    "blows from last to first": (lambda f: f.iloc[::-1], "blow"),
    "two blows swapped": (lambda f: f.assign(blow=f["blow"].map({1: 1, 2: 3, 3: 2, 4: 4})), "order of driving"),
    "a blow number that occurs again": (
        lambda f: f.assign(blow=f["blow"].map({1: 1, 2: 2, 3: 1, 4: 4})),
        "occurs again",
    ),
    "two neighbours of one number": (lambda f: f.assign(blow=f["blow"].map({1: 1, 2: 2, 3: 2, 4: 4})), "1520 samples"),
    "negative blow numbers": (lambda f: f.assign(blow=-f["blow"]), "row 2", "-1"),
    "blow numbers with halves": (lambda f: f.assign(blow=f["blow"] + 0.5), "row 2", "1.5"),
    "blow numbers beyond counting": (lambda f: f.assign(blow=f["blow"] * 1e17), "row 2", "blow"),
    "a clock that runs within a blow": (lambda f: f.assign(**{"clock [s]": f["clock [s]"] + 1e-3 * f.index}), "varies"),
    "a clock that stands still": (lambda f: f.assign(**{"clock [s]": 7.0}), "not later"),
    "a clock that runs backward": (lambda f: f.assign(**{"clock [s]": -f["clock [s]"]}), "not later"),
    "a penetration deeper than any pile": (lambda f: f.assign(**{"penetration [m]": 4000.0}), "penetration"),
    "a penetration in feet under the header m, above ground": (
        lambda f: f.assign(**{"penetration [m]": -40.0}),
        "penetration",
    ),
    "a penetration that grows less": (lambda f: f.assign(**{"penetration [m]": 13.0 - f["blow"]}), "shallower"),
    "a penetration that is not a number": (
        lambda f: value(0, "penetration [m]", np.nan)(f.assign(**{"penetration [m]": 12.0})),
        "penetration",
    ),
    "strain without a unit": (renamed(S1, "strain_1"), "strain_1", "no unit"),
    "strain as a stress": (renamed(S1, "strain_1 [MPa]"), "strain_1 [MPa]"),
    "strain in volts": (renamed(S1, "strain_1 [V]"), "strain_1 [V]"),
    "strain in an empty unit": (renamed(S1, "strain_1 []"), "strain_1"),
    "strain in a unit left open": (renamed(S1, "strain_1 [µm/m"), "strain_1"),
    "strain in round brackets": (renamed(S1, "strain_1 (µm/m)"), "strain_1"),
    "strain in a unit that calls": (renamed(S1, "strain_1 [__import__('os')]"), "strain_1"),
    "strain in a unit to an enormous power": (renamed(S1, "strain_1 [m**999999999]"), "strain_1"),
    "strain in a unit with an escape": (renamed(S1, "strain_1 [\x1b[31mµm/m]"), "strain_1"),
    "strain misspelt": (renamed(S1, "strian_1 [µm/m]"), "strian_1"),
    "strain in capitals": (renamed(S1, "STRAIN_1 [µm/m]"), "STRAIN_1"),
    "strain with a blank for its line": (renamed(S1, "strain 1 [µm/m]"), "strain"),
    "acceleration as a velocity": (renamed(A1, "acceleration_1 [m/s]"), "acceleration_1 [m/s]"),
    "acceleration in grams": (renamed(A1, "acceleration_1 [gram]"), "acceleration_1 [gram]"),
    "acceleration under another name": (renamed(A1, "a1 [m/s^2]"), "acceleration_1", "is missing"),
    "clock without a unit": (renamed("clock [s]", "clock"), "clock", "no unit"),
    "clock as a length": (renamed("clock [s]", "clock [m]"), "clock [m]"),
    "blow with a unit": (renamed("blow", "blow [1]"), "blow"),
    "blow misspelt": (renamed("blow", "blwo"), "column blow"),
    "no time": (lambda f: f.drop(columns="time [s]"), "column time", "is missing"),
    "no blow": (lambda f: f.drop(columns="blow"), "time decreases"),
    "no second accelerometer": (lambda f: f.drop(columns=A2), "acceleration_2", "is missing"),
    "no column that is known": (lambda f: f[["clock [s]"]], "is missing"),
    "too few samples per blow": (lambda f: f[f.index % N < 63], "63 samples"),
    "one sample a blow": (lambda f: f[f.index % N == 0], "samples"),
    "one row": (lambda f: f[:1], "samples"),
    "a header alone": (lambda f: f[:0], "no rows"),
}


@pytest.mark.parametrize("case", FRAMES)
def test_records_that_cannot_be_used(write, sound_records, review_refused, case):
    change, *needles = FRAMES[case]
    write(change(sound_records()))
    review_refused("P3-1/initial.csv", *needles)


def lines(change):
    """Change the lines of a text."""

    def changed(text):
        rows = text.splitlines()
        return "\n".join(change(rows) or rows) + "\n"

    return changed


def line(number, old, new):
    """Put something else into one line; numbers as a spreadsheet has them."""

    def change(rows):
        assert re.search(old, rows[number - 1]), rows[number - 1]
        rows[number - 1] = re.sub(old, new, rows[number - 1], count=1)

    return lines(change)


FIRST_STRAIN = r"(?<=^\d,-\d\.\d{4},)[^,]*"
NO_NUMBERS = {
    "a word": "fault",
    "a dash": "-",
    "two points": "1.2.3",
    "two signs": "--5",
    "a spreadsheet's error": "#DIV/0!",
    "a spreadsheet's overflow": "#####",
    "a formula": "=1+1",
    "a command": "=cmd|' /C calc'!A0",
    "not available": "N/A",
    "null": "NULL",
    "None": "None",
    "true": "true",
    "a date": "2026-05-04",
    "a number with its unit": "12 µm/m",
    "a number in brackets": "(12)",
    "a percentage": "12%",
    "a hexadecimal number": "0x1F",
    "an underscore": "1_000",
    "digits of another script": "١٢",
    "wide digits": "１２",
    "a terminal escape": "\x1b[2J12",
    "a bell": "\x0712",
    "a reversed writing direction": "\u202e12",
    "a null character": "1\x002",
    "a vertical tab": "1\v2",
    "five thousand letters": "x" * 5000,
    "five thousand digits and a letter": "9" * 5000 + "x",
    "an exponent without a number": "e5",
    "an exponent without digits": "1e",
    "an enormous exponent": "1e999",
    "a complex number": "1+2j",
    "a text in quotes": '"twelve"',
    "nothing in quotes": '""',
    "blanks": "   ",
}


@pytest.mark.parametrize("case", NO_NUMBERS)
def test_a_value_that_is_no_number(folder, review_refused, case):
    path = folder / "initial.csv"
    replacement = NO_NUMBERS[case].replace("\\", r"\\")
    path.write_text(line(10, FIRST_STRAIN, replacement)(path.read_text("utf-8")), "utf-8")
    review_refused("P3-1/initial.csv", *(["row 10"] if "\0" not in replacement else []))


TEXTS = {
    # what is done to the text of the records
    "a row with a value too many": (line(30, "$", ",1"), "row 30"),
    "a row with a value too few": (line(30, ",[^,]*$", ""), "row 30"),
    "a row of commas": (line(30, "^.*$", ",,,,,,"), "row 30"),
    "a row of blanks": (line(30, "^.*$", "     "), "row 30"),
    "a remark among the rows": (line(30, "^.*$", "# gauge was tightened"), "row 30"),
    "a second header": (lines(lambda r: r[:N] + r[:1] + r[N:]), f"row {N + 1}"),
    "a header of two rows": (lines(lambda r: ["a,b,c,d,e,f,g", *r]), "column"),
    "a title above the header": (lines(lambda r: ["Invented crossing, P3-1", *r]), "column"),
    "units in a row of their own": (
        lines(lambda r: [re.sub(r" \[[^]]*\]", "", r[0]), "-,s,µm/m,µm/m,m/s2,m/s2,s", *r[1:]]),
        "column",
    ),
    "no header": (lines(lambda r: r[1:]), "is missing"),
    "an open quote": (line(30, "^", '"'), "P3-1/initial.csv"),
    "an open quote in the header": (line(1, "^", '"'), "P3-1/initial.csv"),
    "broken off within a row": (lambda t: t[: t.rindex(",")], f"row {4 * N + 1}"),
    "broken off within a number's sign": (lambda t: t[: t.rindex(",") + 1], f"row {4 * N + 1}"),
    "decimal commas between commas": (lambda t: t.replace(".", ","), "semicolon"),
    "decimal commas between semicolons and one point": (
        lambda t: t.replace(",", ";").replace(".", ",").replace("-0,0059", "-0.0059", 1),
        "decimal",
    ),
    "grouping points between semicolons": (
        lambda t: t.replace(",", ";").replace(".", ",").replace("\n1;", "\n1.000;"),
        "decimal|blow",
    ),
    "semicolons in the header alone": (line(1, "(?s)^.*$", lambda m: m[0].replace(",", ";")), "column|row"),
    "semicolons below the header alone": (
        lines(lambda r: [r[0], *(row.replace(",", ";") for row in r[1:])]),
        "row 2",
    ),
    "bars for commas": (lambda t: t.replace(",", "|"), "column"),
    "blanks for commas": (lambda t: t.replace(",", " "), "column"),
    "one column twice": (lines(lambda r: [f"{row},{row.split(',')[2]}" for row in r]), "twice"),
    "the blow column twice": (lines(lambda r: [f"{row},{row.split(',')[0]}" for row in r]), "twice"),
    "one strain in two units": (
        lines(lambda r: [r[0] + ",strain_1 [m/m]", *(row + ",0" for row in r[1:])]),
        "twice",
    ),
    "a header of escapes": (line(1, "strain_1", "\x1b]0;owned\x07strain_1"), "strain_1"),
    "ten thousand columns": (line(1, "$", ",x" * 10_000), "row 2"),
    "a header of a megabyte": (line(1, "clock", "c" * 1_000_000), "P3-1/initial.csv"),
    "old Mac line ends within quotes": (line(1, "blow", '"blow\r"'), "P3-1/initial.csv"),
}


@pytest.mark.parametrize("case", TEXTS)
def test_a_text_that_is_no_table(folder, review_refused, case):
    change, needle = TEXTS[case]
    path = folder / "initial.csv"
    path.write_bytes(change(path.read_text("utf-8")).encode())
    assert re.search(needle, review_refused("P3-1/initial.csv"))


BYTES = {
    "zero bytes": lambda b: b"",
    "one line end": lambda b: b"\n",
    "a hundred line ends": lambda b: b"\n" * 100,
    "blanks": lambda b: b"   ",
    "commas": lambda b: b",,,\n,,,\n",
    "quotes": lambda b: b'""\n""\n',
    "a byte-order mark alone": lambda b: b"\xef\xbb\xbf",
    "UTF-16": lambda b: b.decode().encode("utf-16"),
    "UTF-16 without its mark": lambda b: b.decode().encode("utf-16-le"),
    "UTF-32": lambda b: b.decode().encode("utf-32-be"),
    "the micro sign in Windows Latin": lambda b: b.decode().encode("cp1252"),
    "the micro sign in an old code page": lambda b: b.decode().encode("cp850"),
    "a letter of another encoding far down": lambda b: b[:80_000] + b"\xe9" + b[80_001:],
    "null characters far down": lambda b: b[:80_000] + bytes(20) + b[80_020:],
    "a workbook": lambda b: b"PK\x03\x04" + bytes(range(256)) * 20,
    "a gzip by its content": lambda b: gzip.compress(b),
    "random bytes": lambda b: np.random.default_rng(1).bytes(5000),
    "HTML": lambda b: b"<html><body><table><tr><td>1</td></tr></table></body></html>\n",
    "JSON": lambda b: b'{"blow": [1, 2], "time": [0, 1]}\n',
    "the half of every byte lost": lambda b: bytes(byte & 0x0F for byte in b),
}


@pytest.mark.parametrize("case", BYTES)
def test_bytes_that_are_no_table(folder, review_refused, case):
    path = folder / "initial.csv"
    path.write_bytes(BYTES[case](path.read_bytes()))
    review_refused("P3-1/initial.csv")


PACKED = {
    "no gzip at all": lambda b: b,
    "nothing packed": lambda b: gzip.compress(b""),
    "half a gzip": lambda b: gzip.compress(b)[: len(gzip.compress(b)) // 2],
    "a gzip without its last byte": lambda b: gzip.compress(b)[:-1],
    "a gzip with a wrong checksum": lambda b: gzip.compress(b)[:-8] + bytes(8),
    "a gzip with a wrong byte": lambda b: (lambda z: z[:2000] + bytes([z[2000] ^ 255]) + z[2001:])(gzip.compress(b)),
    "a gzip with more behind it": lambda b: gzip.compress(b) + b"more",
    "a gzip in a gzip": lambda b: gzip.compress(gzip.compress(b)),
    "two tables one after the other": lambda b: gzip.compress(b) * 2,
    "a gzip's head alone": lambda b: gzip.compress(b)[:10],
}


@pytest.mark.parametrize("case", PACKED)
def test_a_packed_table_that_is_none(folder, review_refused, case):
    data = (folder / "initial.csv").read_bytes()
    (folder / "initial.csv.gz").write_bytes(PACKED[case](data))
    sheet = folder / "sheet.toml"
    sheet.write_text(sheet.read_text().replace("initial.csv", "initial.csv.gz"))
    review_refused("P3-1/initial.csv.gz")


@pytest.fixture(scope="module")
def sound_table(sound_folder, tmp_path_factory):
    """The table of blows that a review of the sound test pile writes."""
    out = tmp_path_factory.mktemp("sound_table")
    words = ["review", str(sound_folder / "sheet.toml"), "--match", "none", "--out", str(out)]
    cli.commands.main(words, standalone_mode=False)
    return (out / "blows_initial.csv").read_bytes()


@pytest.mark.sweep
@pytest.mark.parametrize(
    "write_as",
    [
        lambda t: t.replace(",", ";"),
        lambda t: t.replace(",", ";").replace(".", ","),
        lambda t: t.replace(",", "\t"),
        lambda t: t.replace(",", "\t").replace(".", ","),
        lambda t: t.replace("\n", "\r\n"),
        lambda t: "\ufeff" + t,
        lambda t: t.replace("µ", "μ"),
        lambda t: t.replace("\n", "\n\n"),
        lambda t: t.rstrip("\n"),
        lambda t: t.replace("\n", ",\n"),
        lambda t: "\n".join(",".join(f'"{field}"' for field in row.split(",")) for row in t.splitlines()),
    ],
    ids=[
        "semicolons",
        "semicolons and decimal commas",
        "tabs",
        "tabs and decimal commas",
        "Windows line ends",
        "a byte-order mark",
        "a Greek mu for the micro sign",
        "blank lines between",
        "no end of the last line",
        "a comma at the end of every line",
        "everything in quotes",
    ],
)
def test_what_is_unambiguous_is_read_and_gives_the_same_numbers(folder, run, sound_table, write_as):
    path = folder / "initial.csv"
    path.write_bytes(write_as(path.read_text("utf-8")).encode())
    assert run("review", folder / "sheet.toml", "--match", "none")[0] == 0
    assert (folder / "review" / "blows_initial.csv").read_bytes() == sound_table


SLIPS = {
    "acceleration in g stored as m/s²": (9.80665, lambda f: f.assign(**{A1: f[A1] / 9.80665, A2: f[A2] / 9.80665})),
    "acceleration in m/s² stored as g": (
        9.80665,
        lambda f: f.rename(columns={A1: "acceleration_1 [g]", A2: "acceleration_2 [g]"}),
    ),
    "acceleration in feet stored as metres": (3.281, lambda f: f.assign(**{A1: f[A1] * 3.281, A2: f[A2] * 3.281})),
    "acceleration in metres stored as feet": (
        3.281,
        lambda f: f.rename(columns={A1: "acceleration_1 [ft/s^2]", A2: "acceleration_2 [ft/s^2]"}),
    ),
    "strain ten times too small": (10.0, lambda f: f.assign(**{S1: f[S1] / 10, S2: f[S2] / 10})),
}


@pytest.mark.sweep
@pytest.mark.parametrize("case", SLIPS)
def test_a_slip_of_units_that_leaves_the_numbers_plausible_condemns_every_blow(folder, write, sound_records, run, case):
    factor, change = SLIPS[case]
    write(change(sound_records()))
    status, out, err = run("review", folder / "sheet.toml", "--match", "none")
    assert (status, err) == (0, "")
    assert out.startswith("P3-1: ")
    drive = json.loads((folder / "review" / "summary.json").read_text())["drives"][0]
    assert drive["representative"] is None
    (found,) = (f for f in drive["findings"] if f["check"] == "proportionality")
    assert found["severity"] == "reject"
    assert found["blows"] == [1, 2, 3, 4]
    assert found["value"] == pytest.approx(factor, rel=0.06)
    assert "units" in found["cure"]
