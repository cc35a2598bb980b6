"""A recorder's file is understood without help: roles, units, signs, layout and rate of the reference record."""

import json
import re
from pathlib import Path

import h5py
import numpy as np
import openpyxl
import pandas as pd
import pytest
from nptdms import ChannelObject, TdmsWriter
from scipy.io import savemat

from dyntest import cli
from dyntest.errors import InputError
from dyntest.presenting.inspection import inspection_lines, mapping_toml, new_files, next_lines
from dyntest.reading.guess import inspect_files, rate_in_line
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals

REFERENCE = Path(__file__).parents[1] / "data" / "reference_tests"
NAMES = ("strain_1", "strain_2", "acceleration_1", "acceleration_2")


OTHERS = [pytest.param(name, marks=pytest.mark.sweep) for name in ("concrete_sand", "steel_hard_toe")]


@pytest.fixture(scope="module", params=["steel_clay", *OTHERS])
def record(request):
    """A reference test: its table, and its channels in µm/m and m/s², shape (blows, samples) each."""
    folder = REFERENCE / request.param
    table = pd.read_parquet(folder / "initial.parquet")
    table.columns = [name.partition(" [")[0] for name in table.columns]
    blows = table["blow"].nunique()
    return folder, table, {name: table[name].to_numpy(dtype=float).reshape(blows, -1) for name in NAMES}


def stream(values):
    """The blows one after the other, with half a second of quiet before, between and after."""
    parts = []
    for blow in values:
        parts += [np.full(8000, blow[0]), blow]
    return np.concatenate([*parts, np.full(8000, values[-1][0])])


def assert_guessed(found, units, positive, layout, rate=20e3):
    by_target = {one.target: one for one in found.channels if one.target}
    assert found.strain == NAMES[:2] and found.acceleration == NAMES[2:]
    for name in NAMES:
        kind = name.partition("_")[0]
        channel = by_target[name].channel
        assert (channel.unit, channel.positive) == (units[kind], positive[kind]), name
        assert by_target[name].reasons
    assert found.records.blows == layout
    assert found.sample_rate == pytest.approx(rate, rel=1e-6)


PLAIN = {"strain": "compression", "acceleration": "down"}


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("gravity", [1.0, 9.80665])
def test_text_without_units(record, tmp_path, sign, gravity):
    _, table, _ = record
    first = table[table["blow"] == table["blow"].iloc[0]]
    rows = [(first["time"] * 1e3).round(4), *(sign * first[n] for n in NAMES[:2])]
    rows += [sign * first[n] / gravity for n in NAMES[2:]]
    lines = ["Recorder", "", "Time\tCH1\tCH2\tCH3\tCH4"]
    lines += ["\t".join(f"{v:.6g}" for v in row) for row in np.column_stack(rows)]
    for number in (1, 2):
        (tmp_path / f"b{number}.txt").write_text("\n".join(lines))
    found = inspect_files(sorted(tmp_path.glob("*.txt")))
    units = {"strain": "µm/m", "acceleration": "m/s^2" if gravity == 1.0 else "g"}
    positive = PLAIN if sign == 1 else {"strain": "tension", "acceleration": "up"}
    assert_guessed(found, units, positive, "one a file")
    assert found.records.skip_lines == 2


def test_a_workbook_with_faces_of_the_pile_as_names(record, tmp_path):
    _, table, _ = record
    book = openpyxl.Workbook()
    book.active.append(["Blow no.", "t / ms", "top N", "top S", "acc N", "acc S"])
    for row in np.column_stack([table["blow"], table["time"] * 1e3, *(table[name] for name in NAMES)]).tolist():
        book.active.append(row)
    book.save(tmp_path / "book.xlsx")
    assert_guessed(
        inspect_files([tmp_path / "book.xlsx"]), {"strain": "µm/m", "acceleration": "m/s^2"}, PLAIN, "column"
    )


def test_matlab_rows_in_plain_strain_without_a_rate(record, tmp_path):
    _, _, channels = record
    strain = {letter: channels[name] * 1e-6 for letter, name in zip("ab", NAMES[:2], strict=True)}
    savemat(tmp_path / "d.mat", strain | {"c": channels["acceleration_1"], "d": channels["acceleration_2"]})
    found = inspect_files([tmp_path / "d.mat"])
    assert_guessed(found, {"strain": "m/m", "acceleration": "m/s^2"}, PLAIN, "rows")
    assert found.rate_reason.kind == "wave speed"


@pytest.mark.parametrize("gravity", [1.0, 9.80665])
def test_hdf5_stream_with_channels_in_the_order_of_the_alphabet(record, tmp_path, gravity):
    _, _, channels = record
    with h5py.File(tmp_path / "d.h5", "w") as file:
        group = file.create_group("test/drive")
        for name, column in zip(NAMES, ("e1", "e2", "a1", "a2"), strict=True):
            group[column] = stream(channels[name]) / (gravity if column[0] == "a" else 1.0)
        group["t"] = np.arange(len(group["a1"])) / 20e3
    found = inspect_files([tmp_path / "d.h5"])
    units = {"strain": "µm/m", "acceleration": "m/s^2" if gravity == 1.0 else "g"}
    assert_guessed(found, units, PLAIN, "continuous")
    assert found.records.group == "test/drive"


def test_tdms_stream_with_its_own_rate(record, tmp_path):
    _, _, channels = record
    with TdmsWriter(tmp_path / "d.tdms") as writer:
        for name, column in zip(NAMES, ("eps A", "eps B", "acc A", "acc B"), strict=True):
            values = stream(channels[name]).astype("f4")
            writer.write_segment([ChannelObject("Log", column, values, {"wf_increment": 5e-5})])
    found = inspect_files([tmp_path / "d.tdms"])
    assert_guessed(found, {"strain": "µm/m", "acceleration": "m/s^2"}, PLAIN, "continuous")


def test_volts_are_doubtful_and_named(record, tmp_path):
    _, table, _ = record
    rows = np.column_stack([table["blow"], *(table[n] / (250 if n[0] == "s" else 4903.3) for n in NAMES)])
    lines = [";".join(f"{v:.7g}".replace(".", ",") for v in row) for row in rows]
    (tmp_path / "all.csv").write_text("blow;a;b;c;d\n" + "\n".join(lines))
    found = inspect_files([tmp_path / "all.csv"])
    assert [one.target for one in found.channels] == ["blow", *NAMES]
    assert {doubt.kind for one in found.channels for doubt in one.doubts} == {"volts"}
    assert (found.records.delimiter, found.records.decimal, found.records.blows) == (";", ",", "column")
    told = inspection_lines(found)
    assert "calibration factor" in " ".join(" ".join(told).split())
    assert max(map(len, told[: told.index("Suggested for the sheet:")])) <= 100


def test_a_header_of_volts_is_never_a_unit_by_chance(record, tmp_path):
    """A bridge's mV/V times some factor may fit the wave speed of a pile."""
    _, table, _ = record
    heads = {"time": "t (s)", **dict(zip(NAMES, ("S1 (mV/V)", "S2 (mV/V)", "A1 (mV)", "A2 (mV)"), strict=True))}
    frame = table[table["blow"] == 1][[*heads]].rename(columns=heads)
    frame[["S1 (mV/V)", "S2 (mV/V)"]] /= 1000.0
    frame.to_csv(tmp_path / "b.csv", index=False)
    found = inspect_files([tmp_path / "b.csv"])
    doubts = {one.target: [doubt.kind for doubt in one.doubts] for one in found.channels}
    assert all("volts" in doubts[name] for name in NAMES)


def test_headers_with_units_and_further_channels(record, tmp_path):
    _, table, _ = record
    first = table[table["blow"] == table["blow"].iloc[0]]
    frame = pd.DataFrame(
        {
            "Sample": np.arange(len(first)),
            "t (s)": first["time"],
            "Str A (µm/m)": first["strain_1"],
            "Str B (µm/m)": first["strain_2"],
            "Acc A (g)": first["acceleration_1"] / 9.80665,
            "Acc B (g)": first["acceleration_2"] / 9.80665,
            "Spare": 0.0,
        }
    )
    frame.to_csv(tmp_path / "b.csv", index=False)
    found = inspect_files([tmp_path / "b.csv"])
    assert_guessed(found, {"strain": "µm/m", "acceleration": "g"}, PLAIN, "one a file")
    assert {one.name: [doubt.kind for doubt in one.doubts] for one in found.channels if not one.target} == {
        "Sample": ["sample counter"],
        "Spare": ["flat"],
    }
    assert [doubt.kind for doubt in found.doubts] == ["one blow only"]


def test_other_channels_than_gauges_are_not_used(record, tmp_path):
    _, table, _ = record
    first = table[table["blow"] == table["blow"].iloc[0]]
    noise = np.random.default_rng(1).normal(0.0, 1.0, (6, len(first)))
    push = np.exp(-np.square((np.arange(len(first)) - 200) / 100))
    others = {"Temperature": 21.0 + 0.02 * noise[0], "Druck [bar]": 5.0 + push, "CH7": 1e-3 * noise[1]}
    others |= {"Aux [°C]": 21.0 + noise[2], "Weg (mm)": push.cumsum(), "Force [kN]": 900.0 * push}
    others |= {"v [m/s]": 3.0 * push}
    frame = pd.DataFrame({"t (s)": first["time"], **{f"CH{n}": first[one] for n, one in enumerate(NAMES, 1)}} | others)
    frame.to_csv(tmp_path / "b.csv", index=False)
    found = inspect_files([tmp_path / "b.csv"])
    assert_guessed(found, MICRO, PLAIN, "one a file")
    doubts = {one.name: [doubt.kind for doubt in one.doubts] for one in found.channels if not one.target}
    assert doubts == dict(
        zip(others, [["other"], ["other"], ["small"], *[["other"]] * 2, *[["computed"]] * 2], strict=True)
    )
    assert "[bar" not in mapping_toml(found) and "Druck" in "\n".join(inspection_lines(found))


@pytest.mark.parametrize("several", [False, True])
def test_records_that_are_only_averaged_traces(record, tmp_path, several):
    folder, table, _ = record
    first = table[table["blow"] == table["blow"].iloc[0]]
    velocity = first[list(NAMES[2:])].mean(axis=1).cumsum() * 5e-5
    traces = {"Force [kN]": first[list(NAMES[:2])].mean(axis=1), "v [m/s]": velocity}
    traces |= {"F2 [kN]": traces["Force [kN]"]} if several else {}
    pd.DataFrame({"t (s)": first["time"]} | traces).to_csv(tmp_path / "b.csv", index=False)
    found = inspect_files([tmp_path / "b.csv"])
    assert [one.target for one in found.channels if one.target] == ["time", "force", "velocity"]
    told = mapping_toml(found)
    assert 'force = "force"\nvelocity = "velocity"' in told and "strain" not in told
    assert ("2 channels look like force" in told) == several
    assert inspection_lines(found)
    sheet = re.sub(r"\[gauges\].*?\n\[", f"{told}\n[", (folder / "sheet.toml").read_text(), count=1, flags=re.DOTALL)
    (tmp_path / "sheet.toml").write_text(sheet.replace("initial.parquet", "b.csv"))
    read = read_sheet(tmp_path / "sheet.toml")
    signals = read_signals(read, read.drives[0])
    assert signals.force.max() == pytest.approx(1e3 * traces["Force [kN]"].max())


MICRO = {"strain": "µm/m", "acceleration": "m/s^2"}


@pytest.mark.parametrize("columns", ["one matrix", "two matrices"])
def test_columns_of_a_matrix_are_channels(record, tmp_path, columns):
    _, _, channels = record
    streams = np.column_stack([stream(channels[name]) for name in NAMES])
    held = {"all": streams} if columns == "one matrix" else {"eps": streams[:, :2], "acc": streams[:, 2:]}
    savemat(tmp_path / "d.mat", held | {"Fs": 20e3, "note": "invented"})
    found = inspect_files([tmp_path / "d.mat"])
    assert_guessed(found, MICRO, PLAIN, "continuous")
    assert found.rate_reason.kind == "file value"
    assert found.records.channels["strain_2"].column == ("all(:,2)" if columns == "one matrix" else "eps(:,2)")


def test_columns_that_are_blows_are_rows(record, tmp_path):
    _, _, channels = record
    savemat(tmp_path / "d.mat", {name: values.T for name, values in channels.items()} | {"dt": 5e-5})
    found = inspect_files([tmp_path / "d.mat"])
    assert_guessed(found, MICRO, PLAIN, "rows")
    assert found.doubts == ()


def test_sheets_and_groups_beside_the_blows(record, tmp_path):
    _, _, channels = record
    book = openpyxl.Workbook()
    book.active.append(["Invented pile"])
    for blow in range(2):
        sheet = book.create_sheet(f"Blow {blow + 1}")
        sheet.append(["Top (N)", "Top (S)", "Acc (N)", "Acc (S)"])
        for row in np.column_stack([channels[name][blow, :400] for name in NAMES]).tolist():
            sheet.append(row)
    book.save(tmp_path / "b.xlsx")
    found = inspect_files([tmp_path / "b.xlsx"])
    assert (found.records.sheet, found.strain, found.acceleration) == ("Blow *", NAMES[:2], NAMES[2:])
    with TdmsWriter(tmp_path / "d.tdms") as writer:
        writer.write_segment([ChannelObject("Info", "Temp", np.array([20.0, 21.0]))])
        for blow in range(2):
            values = [
                ChannelObject(f"Hit {blow}", name, channels[name][blow], {"wf_increment": 5e-5}) for name in NAMES
            ]
            writer.write_segment(values)
    found = inspect_files([tmp_path / "d.tdms"])
    assert_guessed(found, MICRO, PLAIN, "one a file")
    assert found.records.group == "Hit *" and found.doubts == ()


def test_sheets_whose_names_are_only_numbers(record, tmp_path):
    _, table, _ = record
    book = openpyxl.Workbook()
    book.active.title = "Info"
    book.active.append(["Pile", "P1"])
    for number, (_, blow) in zip((8, 9, 11), table.groupby("blow"), strict=False):
        sheet = book.create_sheet(str(number))
        sheet.append(["t (s)", *NAMES])
        for row in blow[["time", *NAMES]].to_numpy().tolist():
            sheet.append(row)
    book.save(tmp_path / "b.xlsx")
    found = inspect_files([tmp_path / "b.xlsx"])
    assert (found.records.sheet, found.records.blows) == ("[0-9]*", "one a file")
    assert not [doubt for doubt in found.doubts if doubt.kind == "one blow only"]


def test_gauges_in_two_groups_or_in_a_table(record, tmp_path):
    _, _, channels = record
    values = {name: stream(channels[name]) for name in NAMES}
    table = np.zeros(len(values["strain_1"]), dtype=[(name, "f8") for name in NAMES])
    with h5py.File(tmp_path / "g.h5", "w") as groups, h5py.File(tmp_path / "t.h5", "w") as tables:
        for name, one in values.items():
            kind, _, number = name.partition("_")
            groups[f"{kind}/ch{number}"] = one
            table[name] = one
        groups["rate"] = 20e3
        tables["run"] = table
        tables["run"].attrs["fs"] = 20e3
    found = inspect_files([tmp_path / "g.h5"])
    assert_guessed(found, MICRO, PLAIN, "continuous")
    assert found.records.channels["acceleration_2"].column == "acceleration/ch2"
    assert_guessed(inspect_files([tmp_path / "t.h5"]), MICRO, PLAIN, "continuous")


LINES = [
    ("Rate 20 kHz", 20e3),
    ("Sampling rate [Hz];5000", 5e3),
    ("Sample rate\t20,000 Hz", 20e3),
    ("dt = 50 µs", 20e3),
    ("Sample interval (ms): 0,05", 20e3),
    ("Filter 5 kHz, rate 12.8 kHz", 12.8e3),
    ("Low-pass filter 5 kHz", None),
    ("Natural frequency 30 kHz", None),
    ("Date 2026", None),
]


@pytest.mark.parametrize(("line", "rate"), LINES)
def test_a_rate_in_a_line_above_the_table(line, rate):
    assert rate_in_line(line) == rate


def test_a_gauge_that_did_not_move_is_left_out(record, tmp_path):
    _, table, _ = record
    heads = {"blow": "Blow", "time": "t (s)", "strain_1": "S1 (ue)", "strain_2": "S2 (ue)", "acceleration_1": "A1 (g)"}
    frame = table[[*heads, "acceleration_2"]].rename(columns=heads | {"acceleration_2": "A2 (g)"})
    for dead in ("S1 (ue)", "A2 (g)"):
        changed = frame.assign(**{dead: 0.0})
        changed[["A1 (g)", "A2 (g)"]] /= 9.80665
        changed.to_csv(tmp_path / "b.csv", index=False)
        found = inspect_files([tmp_path / "b.csv"])
        assert (found.strain, found.acceleration) == (NAMES[:2], NAMES[2:])
        assert found.flat == ({"S1 (ue)": "strain_1", "A2 (g)": "acceleration_2"}[dead],)
        assert f'leave_out = ["{found.flat[0]}"]' in mapping_toml(found)
        signs = {one.target: one.channel.positive for one in found.channels if one.channel and one.target[:1] in "sa"}
        assert {sign for name, sign in signs.items() if name not in found.flat} == {"compression", "down"}


def test_what_is_proposed_reads_the_files(record, tmp_path):
    """The mapping put under the pile of the reference test gives its arrays again."""
    folder, _, channels = record
    (tmp_path / "new").mkdir()
    with h5py.File(tmp_path / "new" / "d.h5", "w") as file:
        for name, column in zip(NAMES, "abcd", strict=True):
            file[column] = channels[name] * (-1.0 if column in "ab" else 1.0)
            file[column].attrs["sample_rate"] = 20e3
    found = inspect_files([tmp_path / "new" / "d.h5"])
    text = (folder / "sheet.toml").read_text()
    drive = '[[drive]]\nkind = "initial"\nsignals = "d.h5"\n'
    sheet = tmp_path / "new" / "sheet.toml"
    before = text[: text.index("[gauges]")]
    sheet.write_text(before + mapping_toml(found) + drive)
    read = read_sheet(sheet)
    signals = read_signals(read, read.drives[0])
    np.testing.assert_allclose(signals.strain[:, 0], channels["strain_1"] * 1e-6, rtol=1e-9)
    np.testing.assert_allclose(signals.acceleration[:, 1], channels["acceleration_2"], rtol=1e-9)


def test_new_from_files_lays_out_a_sheet_that_reads(record, tmp_path, capsys):
    folder, _, _ = record
    cli.main(["inspect", str(folder / "initial.parquet")])
    assert "[records.channels.strain_2]" in capsys.readouterr().out
    cli.main(["new", str(tmp_path / "P1"), "--from", str(folder / "initial.parquet")])
    path = tmp_path / "P1" / "sheet.toml"
    with pytest.raises(InputError, match=r"\[pile\] material: is missing"):
        read_sheet(path)  # the pile and the hammer of the blank sheet are not those of these records
    needed = r"(?m)^# (material|section|length_below_gauges|kind|ram_weight) ="
    above, gauges, below = path.read_text().partition("[gauges]")
    path.write_text(re.sub(needed, r"\1 =", above) + gauges + below)
    sheet = read_sheet(path)
    assert sheet.records.format == "parquet"
    assert sheet.gauges.strain == NAMES[:2]
    assert read_signals(sheet, sheet.drives[0]).n_blows == 3
    assert not (tmp_path / "P1" / "initial.csv").exists()
    *_, examples, following = capsys.readouterr().out.splitlines()
    assert "example" in examples and following.endswith(f'dyntest review "{tmp_path / "P1" / "sheet.toml"}"')


def test_new_takes_files_by_the_numbers_in_their_names(record, tmp_path, capsys):
    """A shell gives blow_10 before blow_2, and the order of the files is that of the blows."""
    folder, _, _ = record
    names = ["blow_1.parquet", "blow_10.parquet", "blow_2.parquet"]
    for name in names:
        (tmp_path / name).write_bytes((folder / "initial.parquet").read_bytes())
    cli.main(["new", str(tmp_path / "P1"), "--from", *(str(tmp_path / name) for name in names)])
    (listed,) = re.findall(r"(?m)^signals = (\[.*\])$", (tmp_path / "P1" / "sheet.toml").read_text())
    assert json.loads(listed) == ["blow_1.parquet", "blow_2.parquet", "blow_10.parquet"]


def test_a_new_sheet_with_doubts_says_how_many():
    for count in (1, 2):
        lines = next_lines(Path("P1"), b"# check: unit\nrate = 1  " + b"# check: guessed\n" * (count - 1))
        assert len(lines) == 3 and lines[1].startswith(f"{count} line")


@pytest.mark.parametrize("content", [b"", b"nothing here\n", b"\x89HDF\r\n\x1a\nbroken", b"PK\x03\x04broken"])
@pytest.mark.parametrize("ending", ["txt", "h5", "xlsx", "mat", "tdms", "uff", "parquet"])
def test_what_cannot_be_read_is_one_message_and_nothing_is_written(tmp_path, refuses, capsys, content, ending):
    path = tmp_path / f"x.{ending}"
    path.write_bytes(content)
    refuses(lambda: inspect_files([path]), f"x.{ending}")
    with pytest.raises(SystemExit) as left:
        cli.main(["new", str(tmp_path / "P1"), "--from", str(path)])
    assert left.value.code == 1
    assert not (tmp_path / "P1").exists()
    assert capsys.readouterr().err.count("\n") == 1


@pytest.fixture
def unsettled(record, tmp_path):
    """A text of a blow in which every comma may be a decimal mark or set thousands apart."""
    rows = np.array([record[2][name][0] for name in NAMES]).T / 1e4 + 5.0  # 4.1 to 5.9
    lines = ["S1;S2;A1;A2", *(";".join(f"{value:.3f}".replace(".", ",") for value in row) for row in rows)]
    path = tmp_path / "blow.txt"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


@pytest.mark.parametrize("command", [("inspect",), ("new", "P1", "--from")], ids=["inspect", "new"])
def test_a_comma_that_nothing_settles_can_be_said_before_there_is_a_sheet(
    unsettled, tmp_path, capsys, monkeypatch, command
):
    """The cure named only [records], which neither command reads."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as left:
        cli.main([*command, str(unsettled)])
    told = capsys.readouterr().err
    assert left.value.code == 1 and "may be" in told and "--decimal" in told and not (tmp_path / "P1").exists()
    cli.main([*command, str(unsettled), "--decimal", ","])
    written = capsys.readouterr().out if command == ("inspect",) else (tmp_path / "P1" / "sheet.toml").read_text()
    assert re.search(r'(?m)^decimal = ","', written)


def test_the_mark_that_is_said_is_the_one_that_is_read(unsettled, refuses):
    found = inspect_files([unsettled], ",")
    assert found.records.decimal == "," and 4.0 < found.channels[0].low < found.channels[0].high < 6.0
    refuses(lambda: inspect_files([unsettled], "."), "blow.txt", "decimal")  # thousands are never told by a mark alone


def test_files_without_from_are_wrong_usage(tmp_path, capsys):
    with pytest.raises(SystemExit) as left:
        cli.main(["new", str(tmp_path / "P1"), str(tmp_path / "a.txt")])
    assert left.value.code == 2
    assert "--from" in capsys.readouterr().err


def test_a_file_named_twice_or_as_the_sheet_is_refused(record, tmp_path, refuses):
    folder, _, _ = record
    data = (folder / "initial.parquet").read_bytes()
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "x.parquet").write_bytes(data)
    paths = [tmp_path / "a" / "x.parquet", tmp_path / "b" / "x.parquet"]
    refuses(lambda: new_files(inspect_files(paths), paths, tmp_path / "P1"), "x.parquet", "twice")
