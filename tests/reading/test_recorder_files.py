"""One test told in the ways of general recorders: every format and layout gives the same arrays.

The files are written with the same open libraries that recorders' own software uses.
"""

import re
from dataclasses import replace

import h5py
import numpy as np
import openpyxl
import pandas as pd
import pytest
import pyuff
from nptdms import ChannelObject, GroupObject, RootObject, TdmsWriter
from scipy.io import savemat

from dyntest.errors import InputError
from dyntest.presenting.inspection import inspection_lines, mapping_toml
from dyntest.quantities.drive_findings import factor_findings
from dyntest.reading.guess import inspect_files
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals

BLOWS, SAMPLES, STEP = 3, 200, 5e-5
RATE = {"sample_rate": '"20 kHz"'}


@pytest.fixture(scope="module")
def truth():
    """Strains [m/m] and accelerations [m/s^2] of three invented blows, shape (blows, samples) each."""
    shape = np.exp(-(((np.arange(SAMPLES) - 60) / 15.0) ** 2))
    scale = np.array([1.0, 1.2, 1.1])[:, None]
    wiggle = np.sin(np.arange(SAMPLES) / 7.0)
    return {
        "strain_1": 8e-4 * scale * shape + 1e-6 * wiggle,
        "strain_2": 6e-4 * scale * shape - 1e-6 * wiggle,
        "acceleration_1": 3000.0 * scale * np.gradient(shape) * 10.0 + wiggle,
        "acceleration_2": 2500.0 * scale * np.gradient(shape) * 10.0 - wiggle,
    }


NAMES = ("strain_1", "strain_2", "acceleration_1", "acceleration_2")
SECONDS = STEP * np.arange(SAMPLES) - 2e-3


@pytest.fixture
def told(write_sheet, tmp_path):
    """Read the small test with a `[records]`, once a maker has written its files into the folder."""

    def read(make, records, signals, **changes):
        path = write_sheet({"records": records, "drive.0.signals": signals} | changes)
        make(tmp_path / "P2-4")
        sheet = read_sheet(path)
        return read_signals(sheet, sheet.drives[0])

    return read


def mapped(columns, strain="µm/m", acceleration="m/s^2", **more):
    """Channels of the four gauges by column."""
    channels = {}
    for name, column in zip(NAMES, columns, strict=True):
        unit = strain if name.startswith("strain") else acceleration
        channels[name] = {"column": f'"{column}"' if isinstance(column, str) else str(column), "unit": f'"{unit}"'}
        channels[name] |= more.get("strain_more" if name.startswith("strain") else "acceleration_more", {})
    return channels


def assert_same(signals, truth, rtol=1e-6):
    assert signals.blow.tolist() == [1, 2, 3]
    assert signals.time_step == pytest.approx(STEP, rel=1e-6)
    for kind, names in (("strain", NAMES[:2]), ("acceleration", NAMES[2:])):
        wanted = np.stack([truth[name] for name in names], axis=1)
        np.testing.assert_allclose(getattr(signals, kind), wanted, rtol=rtol, atol=rtol * np.abs(wanted).max())


def micro(truth):
    """The same in µm/m and m/s²."""
    return {name: values * (1e6 if name.startswith("strain") else 1.0) for name, values in truth.items()}


def rows_of(truth, blow, time=True):
    """Time in milliseconds and the four channels of a blow, a row a sample."""
    columns = [SECONDS * 1e3] if time else []
    return np.column_stack([*columns, *(micro(truth)[name][blow] for name in NAMES)])


def write_text(path, rows, delimiter="\t", decimal=".", header="", encoding="utf-8"):
    lines = [delimiter.join(f"{value:.9g}".replace(".", decimal) for value in row) for row in rows]
    path.write_text(header + "\n".join(lines) + "\n", encoding=encoding)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("written", ["\t.", "\t,", ";,", ";.", ",.", " ."])
def test_text_one_blow_a_file_with_lines_above_the_header(told, truth, written, encoding):
    delimiter, decimal = written
    header = f"Gauge recorder\nSerial 0017\n\n{delimiter.join(['Time', 'A', 'B', 'C', 'D'])}\n"
    header += delimiter.join(["ms", "µm/m", "µm/m", "m/s²", "m/s²"]) + "\n"

    def make(folder):
        for blow in range(BLOWS):
            write_text(folder / f"b{blow}.txt", rows_of(truth, blow), delimiter, decimal, header, encoding)

    channels = {"time": {"column": '"Time"'}} | {
        name: {"column": f'"{column}"'} for name, column in zip(NAMES, "ABCD", strict=True)
    }
    assert_same(told(make, {"channels": channels}, '"b*.txt"'), truth)  # the units stand in the file
    assert_same(told(make, {"skip_lines": "3", "channels": channels}, '"b*.txt"'), truth)


def test_text_tension_and_upward_positive_in_g(told, truth):
    def make(folder):
        for blow in range(BLOWS):
            rows = rows_of(truth, blow) * [1, -1, -1, -1 / 9.80665, -1 / 9.80665]
            write_text(folder / f"b{blow}.txt", rows, header="t\ta\tb\tc\td\n")

    channels = mapped(
        "abcd",
        acceleration="g",
        strain_more={"positive": '"tension"'},
        acceleration_more={"positive": '"up"'},
    )
    channels["time"] = {"column": '"t"', "unit": '"ms"'}
    assert_same(told(make, {"blows": '"one a file"', "channels": channels}, '"b*.txt"'), truth)


@pytest.mark.parametrize("header", ["blow;a;b;c;d\n", "no;a;b;c;d\n", ""])
def test_text_volts_with_a_blow_column_and_columns_by_number(told, truth, header):
    def make(folder):
        rows = np.vstack(
            [np.column_stack([np.full(SAMPLES, b + 1), rows_of(truth, b, time=False)]) for b in range(BLOWS)]
        )
        write_text(folder / "all.csv", rows / [1, 250, 250, 490.33, 490.33], ";", ",", header)

    channels = mapped((2, 3, 4, 5), strain_more={"factor": "250.0"}, acceleration_more={"factor": "490.33"}) | {
        "blow": {"column": "1"}
    }
    records = {"blows": '"column"', "skip_lines": "0", "channels": channels} | RATE
    assert_same(told(make, records, '"all.csv"'), truth)


def test_text_with_a_clock_time_that_is_not_asked_for_and_a_delimiter_at_the_end(told, truth):
    def make(folder):
        for blow in range(BLOWS):
            lines = [
                f"12:00:01.{number:05d};" + ";".join(f"{v:.9g}" for v in row) + ";"
                for number, row in enumerate(rows_of(truth, blow))
            ]
            (folder / f"b{blow}.csv").write_text("stamp;t;a;b;c;d;\n" + "\n".join(lines))

    channels = mapped("abcd") | {"time": {"column": '"t"', "unit": '"ms"'}}
    assert_same(told(make, {"channels": channels}, '"b*.csv"'), truth)


def one_a_file(told, truth, change, columns="abcd", header="t;a;b;c;d\n", ending="b*.txt", **entry):
    """Read the blows from texts of their own, once `change` has made bytes of each."""

    def make(folder):
        for blow in range(BLOWS):
            rows = "\n".join(";".join(f"{value:.9g}" for value in row) for row in rows_of(truth, blow))
            (folder / f"b{blow}.txt").write_bytes(change(f"Recorder\n\n{header}{rows}\n"))

    time = {"column": '"t"', "unit": '"ms"'} | entry
    return told(make, {"blows": '"one a file"', "channels": mapped(columns) | {"time": time}}, f'"{ending}"')


def _with_d(match):
    return f"{match[1]}D{match[2] or '+00'}"


BREAKS = {
    "blank": ("", [1, 2, 3]),
    "title": ("Blow {}, 13:05:0{}\n", [8, 9, 11]),
    "title in German": ("\nSchlag Nr. {}\n", [8, 9, 11]),
    "comment": ("# peak {} kN\n", [1, 2, 3]),
    "header": ("t;a;b;c;d\n", [1, 2, 3]),
    "summary": ("\nMax.;{};1;1;1\nMin.;0;0;0;0\n", [1, 2, 3]),
}


@pytest.mark.parametrize(("between", "numbers"), BREAKS.values(), ids=BREAKS)
@pytest.mark.parametrize("numbered", [False, True])
def test_lines_between_the_blows_of_a_text(told, truth, tmp_path, between, numbers, numbered):
    numbers = [21, 22, 24] if numbered else numbers

    def make(folder):
        header = f"{'n;' if numbered else ''}t;a;b;c;d\n"
        text = "Recorder no. 17\n\n"
        for blow, number in enumerate(numbers):
            title = (between or "\n").format(number, number % 10)
            if title == "t;a;b;c;d\n":
                text += header
            elif blow > 0 or "Blow" in title or "Schlag" in title:
                text += title if blow else f"{title}{header}"
            else:
                text += header
            rows = [";".join(f"{value:.9g}" for value in row) for row in rows_of(truth, blow)]
            text += "".join(f"{number};{row}\n" if numbered else f"{row}\n" for row in rows)
        (folder / "all.txt").write_text(text)

    channels = mapped("abcd") | {"time": {"column": '"t"', "unit": '"ms"'}}
    channels |= {"blow": {"column": '"n"'}} if numbered else {}
    signals = told(make, {"channels": channels}, '"all.txt"')
    assert signals.blow.tolist() == numbers
    assert_same(replace(signals, blow=np.array([1, 2, 3])), truth)
    found = inspect_files([tmp_path / "P2-4" / "all.txt"])
    assert found.records.blows == "column"
    assert (found.strain, found.acceleration) == (NAMES[:2], NAMES[2:])


def test_lines_between_blows_of_other_lengths_are_not_passed_over(told, truth, refuses):
    def make(folder):
        rows = [";".join(f"{value:.9g}" for value in row) for row in rows_of(truth, 0)]
        (folder / "all.txt").write_text("t;a;b;c;d\n" + "\n".join([*rows[:90], "", *rows[90:]]))

    channels = mapped("abcd") | {"time": {"column": '"t"', "unit": '"ms"'}}
    refuses(lambda: told(make, {"channels": channels}, '"all.txt"'), "all.txt, row 92")


CHANGES = {
    "summary below": lambda text: f"{text}Max;1;1;1;1\n\nMittelwert:;0,1;;;2\n".encode(),
    "minus signs of a typesetter": lambda text: text.replace("-", "−").encode(),
    "exponents of FORTRAN": lambda text: re.sub(r"(?<=;)(-?[\d.]+)(?:e(-\d+))?(?=[;\n])", _with_d, text).encode(),
    "pipes": lambda text: text.replace(";", "|").encode(),
    "carriage returns": lambda text: text.replace("\n", "\r").encode(),
    "two carriage returns": lambda text: text.replace("\n", "\r\r\n").encode(),
    "page break": lambda text: text.replace("Recorder", "Recorder\x0c\x0b\x85 of").encode(),
    "UTF-16 without its mark": lambda text: text.encode("utf-16-le"),
    "words below": lambda text: f"{text}\nEnd of record\n".encode(),
    "blank rows below": lambda text: f"{text};;;;\n;;;;\n".encode(),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_text_as_recorders_end_lines_and_files(told, truth, change):
    assert_same(one_a_file(told, truth, change), truth)


def test_a_comma_in_a_header_before_its_unit(told, truth):
    header = "t, ms;Strain, top, N, µm/m;b;c;d\n"
    signals = one_a_file(told, truth, lambda text: text.encode(), ("Strain, top, N", "b", "c", "d"), header)
    assert_same(signals, truth)


def test_decimal_commas_where_most_columns_have_whole_numbers(told, truth):
    """Fewer rows would be numbers with a decimal point, but rows of mostly numbers are a table either way."""
    whole = {name: np.rint(values * (1e6 if name[0] == "s" else 1.0)) for name, values in truth.items()}

    def make(folder):
        for blow in range(BLOWS):
            rows = np.column_stack([SECONDS * 1e3, *(whole[name][blow] for name in NAMES)])
            write_text(folder / f"b{blow}.csv", rows, ";", ",", "t;a;b;c;d\n")

    channels = mapped("abcd") | {"time": {"column": '"t"', "unit": '"ms"'}}
    wanted = {name: values * (1e-6 if name[0] == "s" else 1.0) for name, values in whole.items()}
    assert_same(told(make, {"channels": channels}, '"b*.csv"'), wanted)


@pytest.mark.parametrize("stamp", ["2026-03-01T{}", "01.03.2026 {}", "{}", "2026-03-01 {}+01:00"])
def test_times_of_day_are_a_time(told, truth, stamp):
    def clock(text):
        lines = text.split("\n")
        for number in range(SAMPLES):  # over midnight
            seconds = 86399.995 + 5e-5 * number
            seconds -= 86400.0 if seconds >= 86400.0 else 0.0
            hours, rest = divmod(seconds, 3600.0)
            words = f"{hours:02.0f}:{rest // 60.0:02.0f}:{rest % 60.0:08.5f}"
            lines[3 + number] = f"{stamp.format(words)};{lines[3 + number].partition(';')[2]}"
        return "\n".join(lines).encode()

    assert_same(one_a_file(told, truth, clock, unit='"s"'), truth)
    with pytest.raises(InputError, match=r"times of day.*write unit = \"s\""):
        one_a_file(told, truth, clock)  # the sheet says ms


def test_excel_with_a_summary_below(told, truth):
    def make(folder):
        for blow in range(BLOWS):
            rows = [["Time [ms]", "a", "b", "c", "d"], *rows_of(truth, blow).tolist(), []]
            rows += [["Max.", 1, 1, 1, 1], ["Mean", "", 1, 1, 1], ["", "End of record"]]
            book(folder / f"b{blow}.xlsx", {"Sheet1": rows})

    assert_same(told(make, {"channels": mapped("abcd")} | RATE, '"b*.xlsx"'), truth)


def book(path, sheets, above=3):
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    for name, rows in sheets.items():
        sheet = workbook.create_sheet(name)
        for _ in range(above):
            sheet.append(["Recorder"])
        for row in rows:
            sheet.append(list(row))
    workbook.save(path)


@pytest.mark.parametrize("as_text", [False, True])
def test_excel_with_a_blow_column(told, truth, as_text):
    def make(folder):
        rows = [["No.", "t / ms", "N", "S", "aN", "aS"]]
        for blow in range(BLOWS):
            for row in rows_of(truth, blow).tolist():
                rows.append([blow + 1, *([f"{value:.12g}".replace(".", ",") for value in row] if as_text else row)])
        book(folder / "book.xlsx", {"Notes": [["nothing"]], "Blows": rows})

    channels = mapped(("N", "S", "aN", "aS")) | {
        "blow": {"column": '"No."'},
        "time": {"column": '"t / ms"', "unit": '"ms"'},
    }
    records = {"sheet": '"Blows"', "skip_lines": "3", "blows": '"column"', "channels": channels}
    assert_same(told(make, records, '"book.xlsx"'), truth)
    assert_same(told(make, {"channels": channels}, '"book.xlsx"'), truth)  # sheet and header are found


@pytest.mark.parametrize("blows", ["files", "sheets"])
def test_excel_one_blow_a_file_or_a_sheet(told, truth, blows):
    tables = [
        [["t [ms]", "N [µm/m]", "S [µm/m]", "aN [m/s^2]", "aS [m/s^2]"], *rows_of(truth, b).tolist()]
        for b in range(BLOWS)
    ]

    def make(folder):
        if blows == "sheets":
            book(folder / "b.xlsx", {f"Blow {number + 1}": rows for number, rows in enumerate(tables)})
        else:
            for number, rows in enumerate(tables):
                book(folder / f"b{number}.xlsx", {"Sheet1": rows})

    channels = {
        name: {"column": f'"{column}"'}
        for name, column in zip(("time", *NAMES), ("t", "N", "S", "aN", "aS"), strict=True)
    }
    records = {"channels": channels} | ({"sheet": '"Blow *"'} if blows == "sheets" else {})
    assert_same(told(make, records, '"b*.xlsx"'), truth)


def test_parquet_with_other_headers(told, truth):
    def make(folder):
        parts = [
            pd.DataFrame(rows_of(truth, b), columns=["ms", "a", "b", "c", "d"]).assign(n=b + 1) for b in range(BLOWS)
        ]
        pd.concat(parts).to_parquet(folder / "x.parquet")

    channels = mapped("abcd") | {"blow": {"column": '"n"'}, "time": {"column": '"ms"', "unit": '"ms"'}}
    assert_same(told(make, {"channels": channels}, '"x.parquet"'), truth)


def savemat73(path, values):
    with h5py.File(path, "w", userblock_size=512) as file:
        for name, value in values.items():
            target = file
            *above, leaf = name.split(".")
            for one in above:
                target = target.require_group(one)
            target[leaf] = np.asarray(value).T
    with path.open("r+b") as stream:
        stream.write(b"MATLAB 7.3 MAT-file".ljust(124) + b"\x00\x02IM")


@pytest.mark.parametrize("version", [4, 5, 7.3])
def test_matlab_rows_are_blows(told, truth, version):
    values = dict(zip(("S1", "S2", "A1", "A2"), (truth[name] for name in NAMES), strict=True))

    def make(folder):
        if version == 7.3:
            savemat73(folder / "d.mat", values)
        else:
            savemat(folder / "d.mat", values, format=str(version))

    channels = mapped(("S1", "S2", "A1", "A2"), strain="m/m")
    records = {"format": '"matlab"', "blows": '"rows"', "channels": channels} | RATE
    assert_same(told(make, records, '"d.mat"'), truth)


@pytest.mark.parametrize("version", [5, 7.3])
@pytest.mark.parametrize("column", ["rec.{}", "{}"])
def test_matlab_structure_with_its_own_time(told, truth, version, column):
    values = dict(zip(("S1", "S2", "A1", "A2"), (truth[name] for name in NAMES), strict=True)) | {"t": SECONDS[:, None]}

    def make(folder):
        if version == 7.3:
            savemat73(folder / "d.mat", {f"rec.{name}": value for name, value in values.items()})
        else:
            savemat(folder / "d.mat", {"rec": values, "note": "drive"})

    channels = mapped([column.format(name) for name in ("S1", "S2", "A1", "A2")], strain="m/m")
    channels["time"] = {"column": f'"{column.format("t")}"', "unit": '"s"'}
    assert_same(told(make, {"blows": '"rows"', "channels": channels}, '"d.mat"'), truth)


def test_matlab_structure_a_blow(told, truth):
    kind = [(name, object) for name in ("S1", "S2", "A1", "A2")]
    blows = np.empty(BLOWS, dtype=kind)
    for number in range(BLOWS):
        blows[number] = tuple(truth[name][number] for name in NAMES)
    channels = mapped(("S1", "S2", "A1", "A2"), strain="m/m")
    signals = told(lambda folder: savemat(folder / "d.mat", {"blow": blows}), {"channels": channels} | RATE, '"d.mat"')
    assert_same(signals, truth)


def test_matlab_columns_of_a_matrix(told, truth):
    def make(folder):
        for blow in range(BLOWS):
            savemat(folder / f"d{blow}.mat", {"data": rows_of(truth, blow)})

    channels = mapped([f"data(:,{n})" for n in (2, 3, 4, 5)]) | {"time": {"column": '"data(:,1)"', "unit": '"ms"'}}
    assert_same(told(make, {"blows": '"one a file"', "channels": channels}, '"d*.mat"'), truth)


@pytest.mark.parametrize("layout", ["rows", "flat"])
@pytest.mark.parametrize("told_by", ["sheet", "attribute", "time"])
def test_hdf5_rows_or_one_blow_a_group(told, truth, layout, told_by):
    def make(folder):
        with h5py.File(folder / "d.h5", "w") as file:
            groups = [(file.create_group("test/drive"), slice(None))]
            if layout == "flat":
                groups = [(file.create_group(f"test/blow {n + 1}"), n) for n in range(BLOWS)]
            for group, blows in groups:
                for column, name in zip("abcd", NAMES, strict=True):
                    group[column] = micro(truth)[name][blows].astype("f8")
                    group[column].attrs["units"] = "µm/m" if name.startswith("strain") else "m/s^2"
                    if told_by == "attribute":
                        group[column].attrs["sample_rate"] = 20000
                if told_by == "time":
                    group["t"] = SECONDS

    channels = {name: {"column": f'"{column}"'} for name, column in zip(NAMES, "abcd", strict=True)}
    if told_by == "time":
        channels["time"] = {"column": '"t"', "unit": '"s"'}
    group = '"test/drive"' if layout == "rows" else '"test/blow *"'
    records = {"group": group, "channels": channels} | (RATE if told_by == "sheet" else {})
    assert_same(told(make, records, '"d.h5"'), truth)


@pytest.mark.parametrize("layout", ["one a file", "rows", "continuous"])
@pytest.mark.parametrize("factor", ["1.0", "0.004"])
def test_hdf5_counts_with_their_scale(told, truth, tmp_path, layout, factor):
    quiet = np.zeros(8000)

    def make(folder):
        with h5py.File(folder / "d.h5", "w") as file:
            for name in NAMES:
                values = micro(truth)[name]
                if layout == "one a file":
                    values = values[0]
                elif layout == "continuous":
                    values = np.concatenate([part for blow in values for part in (quiet, blow)] + [quiet])
                file[name] = np.rint((values + 3.0) / 0.004).astype("i4")
                file[name].attrs.update({"scale_factor": 0.004, "add_offset": -3.0, "gain": 20.0, "fs": 20000.0})

    channels = mapped(NAMES, strain_more={"factor": factor})  # the sheet may repeat what the file says
    signals = told(make, {"blows": f'"{layout}"', "channels": channels}, '"d.h5"')
    peaks = signals.strain.max(axis=-1)
    wanted = np.stack([truth[name].max(axis=-1) for name in NAMES[:2]], axis=1)
    np.testing.assert_allclose(peaks, wanted[: len(peaks)], rtol=1e-4)
    found = inspect_files([tmp_path / "P2-4" / "d.h5"])
    for one in found.channels:
        assert "file scale" in [why.kind for why in one.reasons]
        assert ("file factor", "gain = 20") in [(doubt.kind, doubt.text) for doubt in one.doubts]
    assert "multiplied by the scale_factor" in "\n".join(inspection_lines(found))


@pytest.mark.parametrize("told_by", ["properties", "sheet", "time"])
def test_tdms_one_blow_a_group_or_a_file(told, truth, told_by):
    def make(folder):
        with TdmsWriter(folder / "d.tdms") as writer:
            for blow in range(BLOWS):
                group = f"Blow {blow + 1}"
                properties = {"wf_increment": STEP, "wf_start_offset": -2e-3} if told_by == "properties" else {}
                objects = [
                    ChannelObject(group, column, micro(truth)[name][blow], properties | {"unit_string": unit})
                    for column, name, unit in zip("abcd", NAMES, ("µm/m", "µm/m", "m/s^2", "m/s^2"), strict=True)
                ]
                if told_by == "time":
                    objects.append(ChannelObject(group, "Time", SECONDS))
                writer.write_segment([RootObject({}), GroupObject(group), *objects])

    channels = {name: {"column": f'"{column}"'} for name, column in zip(NAMES, "abcd", strict=True)}
    if told_by == "time":
        channels["time"] = {"column": '"Time"', "unit": '"s"'}
    records = {"group": '"Blow *"', "channels": channels} | (RATE if told_by == "sheet" else {})
    assert_same(told(make, records, '"d.tdms"'), truth)


def data_set(name, values, unit=""):
    one = pyuff.prepare_58(
        binary=0,
        func_type=1,
        rsp_node=1,
        rsp_dir=3,
        ref_node=0,
        ref_dir=0,
        data=values,
        x=SECONDS,
        id1=name,
        ord_data_type=4,
        num_pts=len(values),
        abscissa_spacing=1,
        abscissa_min=SECONDS[0],
        abscissa_inc=STEP,
        abscissa_spec_data_type=17,
        ordinate_axis_units_lab=unit,
        return_full_dict=True,
    )
    filled = {key: "NONE" if key.startswith("id") or key.endswith(("lab", "name")) else 0 for key in one}
    return {key: filled[key] if value is None else value for key, value in one.items()}


@pytest.mark.parametrize("file", ["d.mat", "d.h5"])
def test_a_stream_in_the_columns_of_a_matrix_with_its_time(told, truth, file):
    quiet = 4000
    stream = np.zeros((BLOWS * (quiet + SAMPLES) + quiet, 5))
    stream[:, 0] = STEP * np.arange(len(stream))
    for blow in range(BLOWS):
        start = quiet + blow * (quiet + SAMPLES)
        stream[start : start + SAMPLES, 1:] = rows_of(truth, blow, time=False)

    def make(folder):
        if file == "d.mat":
            savemat(folder / file, {"data": stream})
        else:
            with h5py.File(folder / file, "w") as written:
                written["data"] = stream

    channels = mapped([f"data(:,{number})" for number in (2, 3, 4, 5)])
    channels["time"] = {"column": '"data(:,1)"', "unit": '"s"'}
    signals = told(make, {"blows": '"continuous"', "channels": channels}, f'"{file}"')
    assert signals.n_blows == BLOWS
    peaks = signals.strain.max(axis=-1)
    np.testing.assert_allclose(peaks, np.stack([truth[name].max(axis=-1) for name in NAMES[:2]], axis=1), rtol=1e-9)


def test_columns_that_are_blows(told, truth):
    """Three columns cannot be the samples of a blow; hundreds of them could, and are asked about."""

    def make(folder, many=1):
        rng = np.random.default_rng(1)
        scale = rng.uniform(0.8, 1.2, many * BLOWS)
        arrays = {name: np.tile(micro(truth)[name], (many, 1)).T for name in NAMES}
        savemat(folder / "d.mat", arrays if many == 1 else {name: one * scale for name, one in arrays.items()})

    records = {"blows": '"rows"', "channels": mapped(NAMES)} | RATE
    assert_same(told(make, records, '"d.mat"'), truth)
    with pytest.raises(InputError, match="200 × 90, and its columns look like blows"):
        told(lambda folder: make(folder, 30), records, '"d.mat"')
    signals = told(
        lambda folder: savemat(folder / "d.mat", {n: np.tile(micro(truth)[n], (30, 1)) for n in NAMES}),
        records,
        '"d.mat"',
    )
    assert signals.n_blows == 90


@pytest.mark.parametrize("binary", [0, 1])
@pytest.mark.parametrize("layout", ["number", "name", "one file"])
@pytest.mark.filterwarnings("ignore")
def test_uff58_by_number_by_name_and_many_blows_in_a_file(told, truth, tmp_path, layout, binary):
    def make(folder):
        for blow in range(BLOWS):
            path = folder / ("all.uff" if layout == "one file" else f"b{blow}.uff")
            for name in NAMES:
                unit = "µm/m" if name.startswith("strain") else "m/s^2"
                one = data_set(f"top {name}", micro(truth)[name][blow], "" if layout == "number" else unit)
                pyuff.UFF(str(path)).write_sets(one | {"binary": binary}, "add")

    columns = (1, 2, 3, 4) if layout == "number" else [f"top {name}" for name in NAMES]
    signals = told(make, {"channels": mapped(columns)}, '"*.uff"')
    assert_same(signals, truth, rtol=2e-6)
    if layout == "one file":
        found = inspect_files([tmp_path / "P2-4" / "all.uff"])
        assert (found.records.blows, found.strain, found.acceleration) == ("rows", NAMES[:2], NAMES[2:])
    else:
        assert signals.time[0] == pytest.approx(-2e-3)


@pytest.mark.filterwarnings("ignore")
def test_uff58_with_codes_of_units_and_one_name_for_all(told, truth, tmp_path):
    def make(folder):
        for blow in range(BLOWS):
            path = folder / f"b{blow}.uff"
            units = {"type": 164, "units_code": 7, "units_description": "in-lbf", "temp_mode": 1}
            units |= {"length": 39.37, "force": 0.2248, "temp": 1.8, "temp_offset": 459.67}
            pyuff.UFF(str(path)).write_sets(units, "add")
            for number, name in enumerate(NAMES, 1):
                strain = name.startswith("strain")
                one = data_set("Time history", truth[name][blow] / (1.0 if strain else 0.0254))
                one |= {"rsp_node": number, "ordinate_spec_data_type": 3 if strain else 12}
                pyuff.UFF(str(path)).write_sets(one, "add")

    channels = {
        name: {"column": f'"Time history at {n} 3"', "positive": '"compression"'} for n, name in enumerate(NAMES, 1)
    }
    for name in NAMES[2:]:
        channels[name] = {"column": channels[name]["column"]}
    for name in NAMES[:2]:
        channels[name]["unit"] = '"m/m"'
    assert_same(told(make, {"channels": channels}, '"*.uff"'), truth, rtol=2e-6)
    found = inspect_files([tmp_path / "P2-4" / "b0.uff"])
    assert [one.channel.unit for one in found.channels[2:]] == ["in/s^2", "in/s^2"]


@pytest.mark.parametrize("layout", ["one file", "one a file", "tdms", "hdf5"])
@pytest.mark.filterwarnings("ignore")
def test_gauges_that_begin_at_different_times(told, truth, layout):
    late = {name: 4 if name.startswith("acceleration") else 0 for name in NAMES}  # a longer time before the trigger
    values = {name: micro(truth)[name][:, late[name] : SAMPLES - 4 + late[name]] for name in NAMES}
    starts = {name: SECONDS[0] + late[name] * STEP for name in NAMES}
    units = {name: "µm/m" if name.startswith("strain") else "m/s^2" for name in NAMES}

    def make(folder):
        for blow in range(BLOWS):
            if layout in ("one file", "one a file"):
                path = folder / ("all.uff" if layout == "one file" else f"b{blow}.uff")
                for name in NAMES:
                    one = data_set(name, values[name][blow], units[name])
                    first = starts[name] + (0.0 if layout == "one a file" else 2.0 * blow)
                    one |= {"abscissa_min": first, "x": first + STEP * np.arange(SAMPLES - 4)}
                    pyuff.UFF(str(path)).write_sets(one, "add")
            elif layout == "tdms":
                with TdmsWriter(folder / f"b{blow}.tdms") as writer:
                    for name in NAMES:
                        properties = {"wf_increment": STEP, "wf_start_offset": starts[name]}
                        writer.write_segment([ChannelObject("a", name, values[name][blow], properties)])
            else:
                with h5py.File(folder / f"b{blow}.h5", "w") as file:
                    for name in NAMES:
                        file[name] = values[name][blow]
                        file[name].attrs.update({"t0": starts[name], "dt": STEP})

    signals = told(make, {"channels": mapped(NAMES)}, {"tdms": '"*.tdms"', "hdf5": '"*.h5"'}.get(layout, '"*.uff"'))
    cut = {name: truth[name][:, 4 : SAMPLES - 4] for name in NAMES}
    assert_same(signals, cut, rtol=2e-6)
    if layout != "one file":
        assert signals.time[0] == pytest.approx(SECONDS[4], rel=1e-4)


def test_gauges_that_begin_at_different_times_beside_a_time_channel(told, truth, refuses):
    def make(folder):
        with h5py.File(folder / "b.h5", "w") as file:
            file["time"] = SECONDS
            for name in NAMES:
                file[name] = micro(truth)[name][0]
                file[name].attrs.update({"t0": 0.1 if name == "strain_2" else 0.0999, "dt": STEP})

    channels = mapped(NAMES) | {"time": {"column": '"time"', "unit": '"s"'}}
    problem = "b.h5, channel strain_1: begins 2 samples before strain_2; export all channels from the same time on"
    refuses(lambda: told(make, {"channels": channels}, '"b.h5"'), problem)


def test_four_strains_and_two_accelerations(write_sheet, tmp_path, signals_frame):
    data = signals_frame()
    data["c [µm/m]"], data["d [µm/m]"] = data["strain_1 [µm/m]"] * 2, data["strain_2 [µm/m]"] * 2
    path = write_sheet({"gauges.strain": '["strain_1", "strain_2", "c", "d"]'}, data)
    sheet = read_sheet(path)
    signals = read_signals(sheet, sheet.drives[0])
    assert signals.strain.shape == (3, 4, 200)
    assert signals.strain_names == ("strain_1", "strain_2", "c", "d")
    np.testing.assert_allclose(signals.strain[:, 2], 2 * signals.strain[:, 0])


def test_a_first_blow_numbers_the_records(told, truth):
    def make(folder):
        for blow in range(BLOWS):
            write_text(folder / f"b{blow}.txt", rows_of(truth, blow), header="t\ta\tb\tc\td\n")

    channels = mapped("abcd") | {"time": {"column": '"t"', "unit": '"ms"'}}
    signals = told(make, {"channels": channels}, '"b*.txt"', **{"drive.0.first_blow": "612"})
    assert signals.blow.tolist() == [612, 613, 614]


def test_a_missing_library_is_one_message(told, truth, monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "h5py", None)
    with pytest.raises(InputError, match=r"'\.\[formats\]'"):
        told(
            lambda folder: (folder / "d.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(600)), {"channels": {}}, '"d.h5"'
        )


WAYS = {
    "1,234.5 between tabs": ("\t", ".", ","),
    "1.234,5 between semicolons": (";", ",", "."),
    "1 234,5 between semicolons": (";", ",", " "),
    "1'234.5 between tabs": ("\t", ".", "'"),
    "1\u202f234,5 between tabs": ("\t", ",", "\u202f"),
    '"1,234.5" in quotes between commas': (",", ".", ","),
}


@pytest.mark.parametrize("ending", ["txt", "xlsx"])
@pytest.mark.parametrize("way", WAYS)
def test_numbers_whose_thousands_are_set_apart(told, truth, way, ending):
    delimiter, decimal, mark = WAYS[way]

    def written(value):
        text = f"{value:,.9f}".replace(",", "_").replace(".", decimal).replace("_", mark)
        return f'"{text}"' if delimiter == "," and ending == "txt" else text

    def make(folder):
        for blow in range(BLOWS):
            rows = [list("tabcd"), *([written(1000.0 * v) for v in row] for row in rows_of(truth, blow))]
            if ending == "xlsx":
                book(folder / f"b{blow}.xlsx", {"Sheet1": rows}, above=0)
            else:
                lines = "\n".join(delimiter.join(row) for row in rows)
                (folder / f"b{blow}.txt").write_text(lines, encoding="utf-8")

    more = {"factor": "0.001"}
    channels = mapped("abcd", strain_more=more, acceleration_more=more)
    channels |= {"time": {"column": '"t"', "unit": '"ms"', **more}}
    assert_same(told(make, {"channels": channels}, f'"b*.{ending}"'), truth)


@pytest.mark.parametrize("delimiter", ["\t", ";"])
@pytest.mark.parametrize("mark", [",", "."])
def test_whole_numbers_whose_thousands_are_set_apart_are_refused(told, truth, refuses, tmp_path, delimiter, mark):
    """A count of 1,234 beside 850 must not become 1.234."""

    def make(folder):
        for blow in range(BLOWS):
            rows = [[f"{v:,.0f}".replace(",", mark) for v in row] for row in rows_of(truth, blow, time=False)]
            lines = "\n".join(delimiter.join(row) for row in (list("abcd"), *rows))
            (folder / f"b{blow}.txt").write_text(lines, encoding="utf-8")
            book(folder / f"b{blow}.xlsx", {"Sheet1": [list("abcd"), *rows]}, above=0)

    for ending in ("txt", "xlsx"):
        needles = (f"b0.{ending}", "may be 1", " or 1.", "thousands" if ending == "txt" else "as numbers")
        refuses(lambda e=ending: told(make, {"channels": mapped("abcd"), **RATE}, f'"b*.{e}"'), *needles)
        refuses(lambda e=ending: inspect_files([tmp_path / "P2-4" / f"b0.{e}"]), *needles)


def test_a_comma_that_nothing_settles_is_what_the_sheet_says(told, truth):
    def make(folder):
        for blow in range(BLOWS):
            rows = rows_of(truth, blow, time=False) + 5000.0
            write = "\n".join(";".join(f"{v / 1000:.3f}".replace(".", ",") for v in row) for row in rows)
            (folder / f"b{blow}.txt").write_text("a;b;c;d\n" + write, encoding="utf-8")

    channels = mapped("abcd", strain_more={"factor": "1000"}, acceleration_more={"factor": "1000"})
    with pytest.raises(InputError, match="may be"):
        told(make, {"channels": channels, **RATE}, '"b*.txt"')
    signals = told(make, {"channels": channels, "decimal": '","', **RATE}, '"b*.txt"')
    np.testing.assert_allclose(signals.strain[0, 0] - 5e-3, truth["strain_1"][0], atol=6e-7)


BESIDE = {
    "blow in words": lambda name, blow: f"{name} (blow {blow})",
    "blow first": lambda name, blow: f"Blow{blow}_{name}",
    "b and a number": lambda name, blow: f"{name} b{blow}",
    "counted with noughts": lambda name, blow: f"{name}_{blow:03d}",
    "the same headers again": lambda name, blow: name,
    "copies numbered": lambda name, blow: name if blow == 1 else f"{name}.{blow - 1}",
}


@pytest.mark.parametrize("time", ["once", "each", "none"])
@pytest.mark.parametrize("way", BESIDE)
@pytest.mark.parametrize("ending", ["txt", "xlsx"])
def test_blows_side_by_side(told, truth, tmp_path, way, time, ending):
    def make(folder):
        headers, columns = ([], []) if time != "once" else (["t [ms]"], [SECONDS * 1e3])
        for blow in range(BLOWS):
            gauges = [micro(truth)[name][blow] for name in NAMES]
            group = dict(zip(("S1 [µm/m]", "S2 [µm/m]", "A1 [m/s^2]", "A2 [m/s^2]"), gauges, strict=True))
            if time == "each":
                group = {"t [ms]": SECONDS * 1e3} | group
            for header, values in group.items():
                name, _, unit = header.partition(" ")
                headers.append(f"{BESIDE[way](name, blow + 1)} {unit}")
                columns.append(values)
        rows = np.column_stack(columns)
        if ending == "xlsx":
            book(folder / "all.xlsx", {"Sheet1": [headers, *rows.tolist()]}, above=2)
        else:
            write_text(folder / "all.txt", rows, header="\t".join(headers) + "\n")

    channels = mapped(("S1", "S2", "A1", "A2")) | ({} if time == "none" else {"time": {"column": '"t"'}})
    records = {"channels": channels} | (RATE if time == "none" else {})
    assert_same(told(make, records, f'"all.{ending}"'), truth)
    found = inspect_files([tmp_path / "P2-4" / f"all.{ending}"])
    assert found.records.blows == "rows"
    assert (len(found.strain), len(found.acceleration)) == (2, 2)
    assert [(one.kind, one.value) for one in found.doubts] == [("side by side", 3)]
    assert "# check: 3 blows stand side by side" in mapping_toml(found)


@pytest.mark.parametrize(
    "headers",
    [
        ["strain_1", "strain_2", "acceleration_1", "acceleration_2", "force_1", "force_2", "velocity_1", "velocity_2"],
        ["strain B1", "strain B2", "acc B1", "acc B2"],
        ["Strain", "Strain", "Acc", "Acc"],
        ["Strain", "Acc", "Strain", "Acc"],
    ],
)
def test_gauges_that_are_numbered_are_not_blows(truth, tmp_path, headers):
    order = {"s": NAMES[:2], "a": NAMES[2:], "f": NAMES[:2], "v": NAMES[:2]}
    seen: dict[str, int] = {}
    columns = []
    for header in headers:
        kind = header[0].lower()
        columns.append(micro(truth)[order[kind][seen.get(kind, 0)]][0])
        seen[kind] = seen.get(kind, 0) + 1
    write_text(tmp_path / "one.txt", np.column_stack(columns), header="\t".join(headers) + "\n")
    found = inspect_files([tmp_path / "one.txt"])
    assert found.records.blows == "one a file"
    assert (len(found.strain), len(found.acceleration)) == (2, 2)


def test_one_blow_of_several_side_by_side_may_be_named(told, truth):
    def make(folder):
        columns = [micro(truth)[name][blow] for blow in range(BLOWS) for name in NAMES]
        headers = [f"{name} b{blow}" for blow in range(BLOWS) for name in ("S1", "S2", "A1", "A2")]
        write_text(folder / "all.txt", np.column_stack(columns), header="\t".join(headers) + "\n")

    signals = told(make, {"channels": mapped(("S1 b1", "S2 b1", "A1 b1", "A2 b1")), **RATE}, '"all.txt"')
    assert signals.blow.tolist() == [1]
    np.testing.assert_allclose(signals.strain[0, 0], truth["strain_1"][1], rtol=1e-6, atol=1e-9)


def cells(values):
    """A row of cells."""
    row = np.empty((1, len(values)), dtype=object)
    for number, value in enumerate(values):
        row[0, number] = value
    return row


@pytest.mark.parametrize("kind", ["structures", "matrices", "upright"])
def test_matlab_cells_of_a_blow_each(told, truth, tmp_path, kind):
    def make(folder):
        blows = [rows_of(truth, blow) for blow in range(BLOWS)]
        if kind == "structures":
            values = [{c: one[:, place] for place, c in enumerate("tabcd")} for one in blows]
        else:
            values = [one.T if kind == "matrices" else one for one in blows]
        savemat(folder / "d.mat", {"drive": cells(values)})

    columns = [f"drive.{c}" for c in ("tabcd" if kind == "structures" else "12345")]
    channels = mapped(columns[1:]) | {"time": {"column": f'"{columns[0]}"', "unit": '"ms"'}}
    assert_same(told(make, {"channels": channels}, '"d.mat"'), truth)
    found = inspect_files([tmp_path / "P2-4" / "d.mat"])
    assert (found.records.blows, len(found.strain), len(found.acceleration)) == ("rows", 2, 2)


def test_matlab_cells_of_blows_of_different_lengths(told, truth, refuses, tmp_path):
    def make(folder):
        values = {c: [micro(truth)[name][b][b:] for b in range(BLOWS)] for name, c in zip(NAMES, "abcd", strict=True)}
        savemat(folder / "d.mat", {c: cells(own) for c, own in values.items()})

    needles = ("d.mat", "channel a", "blows of 198 to 200 samples")
    refuses(lambda: told(make, {"channels": mapped("abcd"), **RATE}, '"d.mat"'), *needles)
    refuses(lambda: inspect_files([tmp_path / "P2-4" / "d.mat"]), *needles)


@pytest.mark.parametrize(
    ("names", "group"), [(("drive/first", "drive/later", "drive/z"), "drive/*"), (("early", "later", "next"), "*")]
)
@pytest.mark.parametrize("ending", ["h5", "tdms"])
def test_a_blow_in_each_group_of_another_name(told, truth, tmp_path, names, group, ending):
    def make(folder):
        path = folder / f"d.{ending}"
        if ending == "tdms":
            with TdmsWriter(path) as writer:
                for blow, name in enumerate(names):
                    pairs = zip(NAMES, "abcd", strict=True)
                    writer.write_segment([ChannelObject(name, c, micro(truth)[one][blow]) for one, c in pairs])
            return
        with h5py.File(path, "w") as file:
            for blow, name in enumerate(names):
                for one, c in zip(NAMES, "abcd", strict=True):
                    file[f"{name}/{c}"] = micro(truth)[one][blow]

    signals = told(make, {"group": f'"{group}"', "channels": mapped("abcd"), **RATE}, f'"d.{ending}"')
    assert_same(signals, truth)
    found = inspect_files([tmp_path / "P2-4" / f"d.{ending}"])
    assert found.records.group == group
    assert "# check: 3 groups are taken as blows in the order of their names" in mapping_toml(found)


def tdms(path, truth, blow, properties):
    """A TDMS file of a blow; properties by channel."""
    with TdmsWriter(path) as writer:
        for name, own in properties.items():
            values = micro(truth)[name][blow][own.pop("skip", 0) :: own.pop("every", 1)]
            writer.write_segment([ChannelObject("Log", name, values, own)])


def test_tdms_channels_that_began_at_different_times_of_day(told, truth):
    noon = np.datetime64("2026-05-04T12:00:00", "us")

    def make(folder):
        for blow in range(BLOWS):
            own = {name: {"wf_increment": STEP, "wf_start_time": noon + np.timedelta64(blow, "s")} for name in NAMES}
            for name in NAMES[2:]:
                own[name] |= {"skip": 10, "wf_start_time": own[name]["wf_start_time"] + np.timedelta64(500, "us")}
            tdms(folder / f"b{blow}.tdms", truth, blow, own)

    signals = told(make, {"channels": mapped(NAMES)}, '"b*.tdms"')
    assert_same(signals, {name: values[:, 10:] for name, values in truth.items()})


def test_tdms_channels_that_began_minutes_apart(told, truth, refuses):
    noon = np.datetime64("2026-05-04T12:00:00", "us")

    def make(folder):
        own = {name: {"wf_increment": STEP, "wf_start_time": noon} for name in NAMES}
        own["strain_2"]["wf_start_time"] = noon + np.timedelta64(120, "s")
        tdms(folder / "b.tdms", truth, 0, own)

    refuses(lambda: told(make, {"channels": mapped(NAMES)}, '"b.tdms"'), "b.tdms", "2,400,000 samples before")


def test_two_sampling_rates_in_a_file(told, truth, refuses, tmp_path):
    def make(folder):
        own = {name: {"wf_increment": STEP * (2 if name[0] == "s" else 1)} for name in NAMES}
        for name in NAMES[:2]:
            own[name]["every"] = 2
        tdms(folder / "b.tdms", truth, 0, own)

    refuses(lambda: told(make, {"channels": mapped(NAMES)}, '"b.tdms"'), "b.tdms", "10000 Hz and 20000 Hz")
    found = inspect_files([tmp_path / "P2-4" / "b.tdms"])
    assert "# check: the file gives 2 sampling rates, 10000 Hz and 20000 Hz" in mapping_toml(found)


@pytest.mark.parametrize(
    "lines", ["Strain 10 kHz\nAcceleration 20 kHz\n", "Rate: strain 10 kHz, acceleration 20 kHz\n"]
)
def test_two_sampling_rates_above_a_table(truth, tmp_path, lines):
    write_text(tmp_path / "b.txt", rows_of(truth, 0, time=False), header=f"{lines}a\tb\tc\td\n")
    assert "# check: the file gives 2 sampling rates" in mapping_toml(inspect_files([tmp_path / "b.txt"]))
    write_text(tmp_path / "b.txt", rows_of(truth, 0), header=f"{lines}t [ms]\ta\tb\tc\td\n")
    assert "sampling rates" not in mapping_toml(inspect_files([tmp_path / "b.txt"]))


@pytest.mark.parametrize(
    ("names", "left_out"),
    [
        (("b_1.txt", "b_2.txt", "b_4.txt"), "leave out 3"),
        (("b_007.txt", "b_010.txt", "b_011.txt"), "leave out 8, 9"),
        (("b_1.txt", "b_2.txt", "b_3.txt"), ""),
        (("b_101503.txt", "b_101507.txt", "b_101512.txt"), ""),
        (("4_b_1.txt", "5_b_2.txt", "6_b_5.txt"), ""),
    ],
)
def test_numbers_that_names_of_files_leave_out(truth, tmp_path, names, left_out):
    for blow, name in enumerate(names):
        write_text(tmp_path / name, rows_of(truth, blow))
    told_of = mapping_toml(inspect_files([tmp_path / name for name in names]))
    assert ("# check: the numbers in the files' names" in told_of) == bool(left_out)
    assert left_out in told_of


def test_a_unit_of_another_gauge_is_to_be_checked(truth, tmp_path):
    write_text(tmp_path / "b.txt", rows_of(truth, 0), header="t [ms]\tS1 [µm/m]\tS2\tA1 [m/s^2]\tA2\n")
    found = inspect_files([tmp_path / "b.txt"])
    doubts = {one.target: [why.kind for why in one.doubts] for one in found.channels if one.target}
    assert [name for name, kinds in doubts.items() if "pair unit" in kinds] == ["strain_2", "acceleration_2"]
    units = {one.target: one.channel.unit for one in found.channels if one.channel}
    assert units["strain_2"] == "µm/m" and units["acceleration_2"] == "m/s^2"


@pytest.mark.parametrize(("late", "marked"), [(0.0, False), (1.0, True)])
def test_a_second_time_that_begins_later_is_to_be_checked(truth, tmp_path, late, marked):
    time, *gauges = rows_of(truth, 0).T
    rows = np.column_stack([time, *gauges[:2], time + late, *gauges[2:]])
    write_text(tmp_path / "b.txt", rows, header="t [ms]\tS1 [µm/m]\tS2 [µm/m]\tt2 [ms]\tA1 [m/s^2]\tA2 [m/s^2]\n")
    assert ("# check: t2 [ms] gives other times" in mapping_toml(inspect_files([tmp_path / "b.txt"]))) == marked


def test_strain_in_percent_after_an_underscore(truth, tmp_path):
    rows = rows_of(truth, 0)
    rows[:, 1:3] /= 1e4
    write_text(tmp_path / "b.txt", rows, header="t_ms\tStrain1_%\tStrain2_%\tA1_g\tA2_g\n")
    found = inspect_files([tmp_path / "b.txt"])
    assert [one.channel.unit for one in found.channels if one.role == "strain"] == ["%", "%"]


@pytest.mark.parametrize(("factor", "said"), [("1.0", {"strain_2": "gain = 2"}), ("2.0", {})])
def test_a_gain_that_may_not_be_in_the_numbers_is_told_with_the_review(told, truth, factor, said):
    def make(folder):
        for blow in range(BLOWS):
            with h5py.File(folder / f"b{blow}.h5", "w") as file:
                for name in NAMES:
                    file[name] = micro(truth)[name][blow]
                    file[name].attrs["fs"] = 20e3
                file["strain_2"].attrs["gain"] = 2.0

    channels = mapped(NAMES)
    channels["strain_2"]["factor"] = factor
    signals = told(make, {"channels": channels}, '"b*.h5"')
    assert signals.untold == said
    assert [(one.gauge, one.severity) for one in factor_findings(signals)] == [(name, "note") for name in said]
