"""Recorders' files that cannot be used: one message each, with file, place and cure."""

import pickle
import zipfile

import h5py
import numpy as np
import openpyxl
import pytest
from nptdms import ChannelObject, TdmsWriter
from scipy.io import savemat

from dyntest.errors import InputError
from dyntest.reading.formats import contents, excel
from dyntest.reading.guess import inspect_files
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals

NAMES = ("strain_1", "strain_2", "acceleration_1", "acceleration_2")
N = 400
TIME = np.arange(N) * 5e-5
BLOW = np.exp(-(((np.arange(N) - 100) / 20.0) ** 2))
GOOD = {"time": TIME, **{name: BLOW * (800.0 if name in NAMES[:2] else 3000.0) for name in NAMES}}

FILES = """[records]
{records}
[records.channels.time]
unit = "s"
[records.channels.strain_1]
unit = "µm/m"
[records.channels.strain_2]
unit = "µm/m"
[records.channels.acceleration_1]
unit = "m/s^2"
[records.channels.acceleration_2]
unit = "m/s^2"
[[drive]]
kind = "initial"
signals = "{name}"
"""


@pytest.fixture
def written_sheet(tmp_path, plain_sheet):
    """Write the sheet of a recorder's file and read it; gives the sheet."""

    def write(name, records="", files=FILES):
        path = tmp_path / "sheet.toml"
        path.write_text(plain_sheet(files.format(name=name, records=records)), encoding="utf-8")
        return read_sheet(path)

    return write


@pytest.fixture
def refused(tmp_path, written_sheet):
    """Give a check that reading a file, once written, ends in one line that holds some words."""

    def check(name, records="", *words):
        sheet = written_sheet(name, records)
        before = {path.name: path.stat().st_mtime_ns for path in tmp_path.iterdir()}
        with pytest.raises(InputError) as caught:
            read_signals(sheet, sheet.drives[0])
        message = str(caught.value)
        assert message.isprintable() and len(message) < 600
        assert caught.value.source and caught.value.problem and caught.value.cure
        for word in (name, *words):
            assert word in message, message
        assert {path.name: path.stat().st_mtime_ns for path in tmp_path.iterdir()} == before

    return check


def write(kind, path, values, **more):
    """Write channels of a file in one format."""
    if kind == "txt":
        rows = ["\t".join(values), *("\t".join(f"{v:.7g}" for v in row) for row in zip(*values.values(), strict=False))]
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    elif kind == "xlsx":
        book = openpyxl.Workbook()
        book.active.append(list(values))
        for row in zip(*values.values(), strict=False):
            book.active.append([v if isinstance(v, str) or np.isfinite(v) else None for v in row])
        for cells in more.get("merge", ()):
            book.active.merge_cells(cells)
        book.save(path)
    elif kind == "mat":
        savemat(path, values)
    elif kind == "h5":
        with h5py.File(path, "w") as file:
            for name, value in values.items():
                file[name] = value
    elif kind == "tdms":
        with TdmsWriter(path) as writer:
            writer.write_segment([ChannelObject("Log", name, value) for name, value in values.items()])


KINDS = ["txt", "xlsx", "mat", "h5", "tdms"]
COLUMNAR = ["mat", "h5", "tdms"]


@pytest.mark.parametrize("kind", KINDS)
def test_the_good_file_is_read(tmp_path, written_sheet, kind):
    write(kind, tmp_path / f"x.{kind}", GOOD)
    sheet = written_sheet(f"x.{kind}")
    signals = read_signals(sheet, sheet.drives[0])
    np.testing.assert_allclose(signals.strain[0, 0], BLOW * 800e-6, rtol=1e-6)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("share", [0.0, 0.02, 0.3, 0.6, 0.95])
def test_a_truncated_file(tmp_path, refused, kind, share):
    path = tmp_path / f"x.{kind}"
    write(kind, path, GOOD)
    whole = path.read_bytes()
    cut = whole[: int(len(whole) * share)]
    if kind == "txt" and share:
        cut = cut.rpartition(b"\t")[0]  # in the middle of a row
    path.write_bytes(cut)
    refused(path.name)


@pytest.mark.parametrize("kind", KINDS)
def test_a_run_without_numbers(tmp_path, refused, kind):
    gaps = GOOD["strain_2"].copy()
    gaps[50:60] = np.nan
    write(kind, tmp_path / f"x.{kind}", GOOD | {"strain_2": gaps})
    refused(f"x.{kind}", "", "strain_2", "5")


@pytest.mark.parametrize("kind", COLUMNAR)
def test_channels_of_other_length(tmp_path, refused, kind):
    write(kind, tmp_path / f"x.{kind}", GOOD | {"acceleration_1": GOOD["acceleration_1"][:-7]})
    refused(f"x.{kind}", "", "acceleration_1", "393")


@pytest.mark.parametrize("kind", KINDS)
def test_a_channel_that_is_not_there(tmp_path, refused, kind):
    write(kind, tmp_path / f"x.{kind}", {name: values for name, values in GOOD.items() if name != "strain_2"})
    refused(f"x.{kind}", "", "strain_2", "not there")


@pytest.mark.parametrize("kind", ["h5", "tdms"])
def test_a_wrong_group(tmp_path, refused, kind):
    write(kind, tmp_path / f"x.{kind}", GOOD)
    refused(f"x.{kind}", 'group = "Lag"', "Lag", "groups are")


def test_a_wrong_sheet(tmp_path, refused):
    write("xlsx", tmp_path / "x.xlsx", GOOD)
    refused("x.xlsx", 'sheet = "Blows"', "Blows", "sheets are")


def test_two_columns_of_time(tmp_path, refused):
    rows = ["time\ttime\tstrain_1\tstrain_2\tacceleration_1\tacceleration_2"]
    rows += ["\t".join(f"{v:.6g}" for v in (t, t, 1, 2, 3, 4)) for t in TIME]
    (tmp_path / "x.txt").write_text("\n".join(rows))
    refused("x.txt", "", "time", "twice")


def test_channels_of_two_groups(tmp_path, refused):
    with h5py.File(tmp_path / "x.h5", "w") as file:
        for group in ("a", "b"):
            for name, values in GOOD.items():
                file[f"{group}/{name}"] = values
    refused("x.h5", "", "twice", "group")


def test_channels_of_two_rates(tmp_path, written_sheet):
    with h5py.File(tmp_path / "x.h5", "w") as file:
        for name in NAMES:
            file[name] = GOOD[name]
            file[name].attrs["sample_rate"] = 20e3 if name != "strain_2" else 10e3
    sheet = written_sheet("x.h5", files=FILES.replace('[records.channels.time]\nunit = "s"\n', ""))
    with pytest.raises(InputError, match="different sampling rates"):
        read_signals(sheet, sheet.drives[0])


def test_merged_cells_and_formulas_of_a_workbook(tmp_path, refused):
    write("xlsx", tmp_path / "x.xlsx", GOOD, merge=["B10:B12"])
    refused("x.xlsx", "", "row 11", "strain_1", "empty")
    formula = ["=B2*2", *GOOD["strain_2"][1:]]
    write("xlsx", tmp_path / "y.xlsx", GOOD | {"strain_2": formula})
    refused("y.xlsx", "", "strain_2", "formula")


def test_a_workbook_that_unpacks_to_an_absurd_size(tmp_path, refused, monkeypatch):
    monkeypatch.setattr(excel, "MAX_UNPACKED_BYTES", 1_000_000)
    with zipfile.ZipFile(tmp_path / "x.xlsx", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", bytes(50_000_000))
    refused("x.xlsx", "", "unpack")


def test_hdf5_links_into_other_files_are_not_followed(tmp_path, refused):
    with h5py.File(tmp_path / "secret.h5", "w") as file:
        file["strain_2"] = GOOD["strain_2"]
    with h5py.File(tmp_path / "x.h5", "w") as file:
        for name, values in GOOD.items():
            if name != "strain_2":
                file[name] = values
        file["strain_2"] = h5py.ExternalLink("secret.h5", "strain_2")
    refused("x.h5", "", "strain_2", "link")


def test_hdf5_data_kept_in_another_file_are_not_read(tmp_path, refused):
    (tmp_path / "raw.bin").write_bytes(GOOD["strain_2"].tobytes())
    with h5py.File(tmp_path / "x.h5", "w") as file:
        for name, values in GOOD.items():
            if name != "strain_2":
                file[name] = values
        file.create_dataset("strain_2", (N,), "f8", external=[(str(tmp_path / "raw.bin"), 0, N * 8)])
    refused("x.h5", "", "strain_2", "another file")


def test_objects_are_refused_and_never_unpickled(tmp_path, refused):
    class Trap:
        def __reduce__(self):
            return (pytest.fail, ("something was unpickled",))

    (tmp_path / "x.npy").write_bytes(pickle.dumps(Trap()))
    refused("x.npy", "")
    cells = np.empty(3, dtype=object)
    cells[:] = ["a", "b", {"c": 1}]
    savemat(tmp_path / "x.mat", GOOD | {"strain_2": cells})
    refused("x.mat", "", "strain_2", "numbers")
    with h5py.File(tmp_path / "x.h5", "w") as file:
        for name, values in (GOOD | {"strain_2": np.array([b"x"] * N)}).items():
            file[name] = values
    refused("x.h5", "", "strain_2", "numbers")


@pytest.mark.parametrize("kind", ["h5", "txt", "mat"])
def test_a_file_of_very_many_channels(tmp_path, refused, monkeypatch, kind):
    from dyntest.reading.formats import hdf5

    for module in (contents, hdf5):
        monkeypatch.setattr(module, "MOST_CHANNELS", 50)
    many = {f"c{number}": TIME for number in range(60)}
    write(kind, tmp_path / f"x.{kind}", GOOD | many)
    refused(f"x.{kind}", "", "channels")


def test_complex_numbers_and_spectra(tmp_path, refused):
    savemat(tmp_path / "x.mat", GOOD | {"strain_2": GOOD["strain_2"] * 1j})
    refused("x.mat", "", "strain_2", "numbers")


def test_a_stream_that_pauses(tmp_path, refused):
    time = np.arange(40_000) * 5e-5
    time[20_000:] += 3.0
    values = {name: np.tile(GOOD[name], 100) for name in NAMES}
    write("h5", tmp_path / "x.h5", {"time": time, **values})
    refused("x.h5", 'blows = "continuous"', "jumps", "20001")


def test_a_stream_taken_for_one_blow(tmp_path, refused):
    values = {name: np.tile(GOOD[name], 100) for name in NAMES}
    write("h5", tmp_path / "x.h5", {"time": np.arange(40_000) * 5e-5, **values})
    refused("x.h5", 'blows = "one a file"', "continuous")


def test_rows_that_stand_upright(tmp_path, refused):
    write(
        "mat",
        tmp_path / "x.mat",
        {name: np.tile(values[:, None], 3) for name, values in GOOD.items()} | {"time": TIME[:7]},
    )
    refused("x.mat", 'blows = "rows"', "rows")


@pytest.mark.parametrize("head", ["", "# a remark\n", "Recorder\nSerial\n"])
def test_text_without_numbers(tmp_path, refused, head):
    (tmp_path / "x.txt").write_text(head + "time\tstrain_1\n")
    refused("x.txt", "", "numbers")


def test_text_with_a_word_in_a_column(tmp_path, refused):
    write("txt", tmp_path / "x.txt", GOOD)
    lines = (tmp_path / "x.txt").read_text().splitlines()
    lines[200] = lines[200].replace("\t", "\tOVER", 1)
    (tmp_path / "x.txt").write_text("\n".join(lines))
    refused("x.txt", "", "row 201", "OVER")


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda line: f"{line}\t7", "row 101"),
        (lambda line: line.rpartition("\t")[0], "row 101"),
        (lambda line: "", "row 101"),
        (lambda line: f"Paused\n{line}", "row 101"),
    ],
)
def test_text_with_a_row_that_interrupts_the_table(tmp_path, refused, change, place):
    """What stands above the row is not taken for lines on the recorder."""
    path = tmp_path / "x.txt"
    write("txt", path, GOOD)
    lines = path.read_text().splitlines()
    lines[100] = change(lines[100])
    path.write_text("\n".join(lines) + "\n")
    refused("x.txt", "", place, "values for 5 columns")


def test_rows_of_numbers_above_the_header_are_not_the_table(tmp_path, written_sheet):
    path = tmp_path / "x.txt"
    write("txt", path, GOOD)
    above = "".join(f"{word}\t250\t250\t490\t490\n" for word in ("Factor", "Zero", "Range", "Limit"))
    path.write_text(above + path.read_text())
    sheet = written_sheet("x.txt")
    assert read_signals(sheet, sheet.drives[0]).strain.shape[-1] == N


def test_bytes_that_are_no_text(tmp_path, refused):
    (tmp_path / "x.txt").write_bytes(b'a"\r"b\xff\n' * 40)
    refused("x.txt", "", "no rows of numbers")


def test_a_wrong_decimal_mark(tmp_path, refused):
    rows = ["\t".join(GOOD), *("\t".join(f"{v:.7f}" for v in row) for row in zip(*GOOD.values(), strict=True))]
    (tmp_path / "x.txt").write_text("\n".join(rows), encoding="utf-8")
    refused("x.txt", 'decimal = ","', "no rows of numbers", "decimal in [records]")


def test_a_column_before_the_first(tmp_path, refused, written_sheet):
    names = list(GOOD)
    savemat(tmp_path / "x.mat", {"data": np.column_stack(list(GOOD.values()))})
    files = FILES
    for number, name in enumerate(names):
        files = files.replace(f"channels.{name}]\n", f'channels.{name}]\ncolumn = "data(:,{number})"\n')
    sheet = written_sheet("x.mat", files=files)
    with pytest.raises(InputError, match="is not in data"):
        read_signals(sheet, sheet.drives[0])


def test_a_workbook_behind_a_password(tmp_path, refused):
    path = tmp_path / "x.xlsx"
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(4000))
    refused("x.xlsx", "", "password")
    write("xlsx", path, GOOD)
    data = bytearray(path.read_bytes())
    for mark, flags in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.find(mark)
        while at >= 0:
            data[at + flags] |= 1
            at = data.find(mark, at + 4)
    path.write_bytes(data)
    refused("x.xlsx", "", "password")


def test_a_tdms_file_that_ends_early_warns_of_nothing_else(tmp_path, refused, capfd):
    path = tmp_path / "x.tdms"
    write("tdms", path, GOOD)
    path.write_bytes(path.read_bytes()[:-40])
    refused("x.tdms", "", "last segment")
    assert capfd.readouterr().err == ""


def test_a_universal_file_that_ends_early(tmp_path, refused):
    (tmp_path / "x.uff").write_text("    -1\n    58\nstrain_1\n    -1\n    -1\n    58\nstr")
    refused("x.uff", "", "does not end")


@pytest.fixture
def two_files(tmp_path, written_sheet):
    """Give the first blow in two files, the second a little stronger, and their sheet."""
    for number in (1, 2):
        louder = {name: values * (1.0 + 0.1 * number * (name != "time")) for name, values in GOOD.items()}
        write("txt", tmp_path / f"x{number}.txt", louder)
    return lambda: written_sheet("x*.txt")


def test_a_copy_of_a_file_and_a_folder_among_files(tmp_path, two_files):
    sheet = two_files()
    assert read_signals(sheet, sheet.drives[0]).n_blows == 2
    (tmp_path / "x2.txt").write_bytes((tmp_path / "x1.txt").read_bytes())
    with pytest.raises(InputError, match=r"x2\.txt: has the same records as .*x1\.txt"):
        read_signals(sheet, sheet.drives[0])
    (tmp_path / "x2.txt").unlink()
    (tmp_path / "x2.txt").mkdir()
    with pytest.raises(InputError, match=r"matches a folder, x2\.txt"):
        two_files()


def test_inspection_names_what_cannot_be_read(tmp_path):
    path = tmp_path / "x.txt"
    gaps = GOOD["strain_2"].copy()
    gaps[50] = np.nan
    write("txt", path, GOOD | {"strain_2": gaps})
    found = inspect_files([path])
    assert [doubt.kind for doubt in found.channels[2].doubts] == ["not read"]
    assert "row 52" in found.channels[2].doubts[0].text
    savemat(tmp_path / "x.mat", GOOD | {"cube": np.zeros((3, 400, 2))})
    assert inspect_files([tmp_path / "x.mat"]).strain == NAMES[:2]
