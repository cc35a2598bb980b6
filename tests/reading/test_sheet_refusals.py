"""The test sheet: each thing that is wrong gives one line with file, place and cure."""

import copy
import os

import pytest

from dyntest.reading.sheet import read_sheet
from dyntest.reading.structure_sheet import read_structure

CONCRETE = {
    "pile.material": '"concrete"',
    "pile.section": None,
    "pile.yield_strength": None,
    "pile.area": '"1225 cm^2"',
}
AVERAGED = {"gauges.strain": None, "gauges.acceleration": None, "gauges.force": '"f"', "gauges.velocity": '"v"'}

CASES = {
    # changes to a sound sheet, and what the one line must say
    "unknown key": ({"pile.lenght_below_gauges": '"17 m"'}, "[pile] lenght_below_gauges", "write length_below_gauges"),
    "unknown table": ({"hamer": {"kind": '"drop"'}}, "hamer: is not a key", "write hammer"),
    "key in the wrong table": ({"pile.ram_mass": '"3000 kg"'}, "[pile] ram_mass", "move it to [hammer]"),
    "key that nothing is like": ({"soil.colour": '"grey"'}, "[soil] colour", "remove it, or write one of shaft, toe"),
    "misspelt in place of the right one": (
        {"pile.length_below_gauges": None, "pile.length_below_gauge": '"17 m"'},
        "[pile] length_below_gauge: is not a key",
        "write length_below_gauges",
    ),
    "missing key": ({"pile.length_below_gauges": None}, "[pile] length_below_gauges: is missing", '"57 ft"'),
    "missing table": ({"gauges": None}, "[gauges]: is missing", "acceleration ="),
    "no drive": ({"drive": None}, "[[drive]]: is missing", "kind and signals"),
    "no pile name": ({"test.pile": None}, "[test] pile: is missing", 'write pile = "P2-4"'),
    "empty pile name": ({"test.pile": '" "'}, "[test] pile", "fill it in"),
    "line break in a name": ({"test.pile": '"P2\\n4"'}, "[test] pile", "write it in one line"),
    "no unit": ({"pile.length_below_gauges": '"17"'}, "[pile] length_below_gauges", "has no unit", '"57 ft"'),
    "bare number": ({"pile.length_below_gauges": "17"}, "[pile] length_below_gauges", "17 has no unit", "in quotes"),
    "table for a value": (
        {"pile.length_below_gauges": "{m = 17}"},
        "[pile] length_below_gauges",
        "a table has no unit",
    ),
    "wrong dimension": (
        {"pile.section": None, "pile.area": '"100 m"'},
        "[pile] area",
        "not a unit of area",
        "15.5 in^2",
    ),
    "unknown unit": ({"pile.length_below_gauges": '"17 metre5"'}, "[pile] length_below_gauges", "not known"),
    "decimal comma": ({"pile.length_below_gauges": '"17,5 m"'}, "[pile] length_below_gauges", "begin with a number"),
    "not finite": ({"pile.length_below_gauges": '"inf m"'}, "[pile] length_below_gauges", "not a finite number"),
    "negative length": ({"pile.length_below_gauges": '"-17 m"'}, "[pile] length_below_gauges", "0.1 to 300 m"),
    "zero area": ({"pile.section": None, "pile.area": '"0 cm^2"'}, "[pile] area", "check the number and its unit"),
    "line break in a value": (
        {"pile.length_below_gauges": '"17 m\\nx"'},
        "[pile] length_below_gauges",
        "one short line",
    ),
    "endless value": (
        {"pile.length_below_gauges": f'"{"9" * 5000} m"'},
        "[pile] length_below_gauges",
        "one short line",
    ),
    "modulus in the wrong unit": (
        {"pile.modulus": '"30000 psi"'},
        "[pile] modulus: 0.2068 GPa",
        "180 to 225 GPa",
        "check the number and its unit",
    ),
    "modulus of another material": ({"pile.modulus": '"36 GPa"'}, "[pile] modulus", "not possible for steel", "check"),
    "density in the wrong unit": ({"pile.density": '"785 kg/m^3"'}, "[pile] density", "not possible for steel"),
    "unit weight as density": ({"pile.unit_weight": '"492 lb/ft^3"'}, "[pile] unit_weight", "is a density", "lbf/ft^3"),
    "density twice": (
        {"pile.density": '"7850 kg/m^3"', "pile.unit_weight": '"77 kN/m^3"'},
        "[pile]: has both",
        "keep one",
    ),
    "wave speed too high": ({"pile.wave_speed": '"6200 m/s"'}, "[pile] wave_speed", "4800 to 5400 m/s", "unit"),
    "three that disagree": (
        {"pile.modulus": '"200 GPa"', "pile.density": '"7850 kg/m^3"', "pile.wave_speed": '"5123 m/s"'},
        "[pile] wave_speed",
        "5048 m/s",
        "remove one",
    ),
    "following density impossible": (
        {"pile.modulus": '"180 GPa"', "pile.wave_speed": '"5350 m/s"'},
        "[pile] density, or modulus and wave_speed",
        "not possible for steel",
    ),
    "concrete without modulus": (
        CONCRETE | {"pile.density": '"2450 kg/m^3"'},
        "[pile] modulus: is missing",
        "wave_speed",
    ),
    "concrete without density": (
        CONCRETE | {"pile.modulus": '"36 GPa"'},
        "[pile] unit_weight: is missing",
        "density =",
    ),
    "section and area": ({"pile.area": '"100 cm^2"'}, "[pile]: has both section and area", "keep one"),
    "neither section nor area": ({"pile.section": None}, "[pile] area: is missing", 'section = "HP12x53"'),
    "unknown section": ({"pile.section": '"HP12x55"'}, '[pile] section: "HP12x55"', "HP12x53", "give an area"),
    "unknown material": ({"pile.material": '"steal"'}, '[pile] material: "steal"', 'write "steel"'),
    "strength of another material": ({"pile.compressive_strength": '"45 MPa"'}, "[pile] compressive_strength", "yield"),
    "strength in the wrong unit": (
        {"pile.yield_strength": '"50 MPa"'},
        "[pile] yield_strength",
        "not possible for steel",
    ),
    "total length too short": ({"pile.total_length": '"16 m"'}, "[pile] total_length", "from head to toe"),
    "tip longer than the pile": ({"pile.tip_reinforcement": '"20 m"'}, "[pile] tip_reinforcement", "of the tip only"),
    "parts too short": (
        {"pile.part": [{"length": '"16 m"'}]},
        "[[pile.part]] length",
        "16.000 m",
        "17.000 m",
        "correct",
    ),
    "part without length": (
        {"pile.part": [{"area": '"80 cm^2"'}]},
        "[[pile.part]] 1 length: is missing",
        "write length",
    ),
    "part of no material": (
        {"pile.part": [{"length": '"10 m"'}, {"length": '"7 m"', "modulus": '"100 GPa"'}]},
        "[[pile.part]] 2",
        "no pile material",
        "check modulus",
    ),
    "unknown key in a part": (
        {"pile.part": [{"length": '"17 m"', "aera": '"80 cm^2"'}]},
        "[[pile.part]] 1 aera",
        "write area",
    ),
    "unknown hammer": (
        {"hammer.kind": '"diesel"'},
        '[hammer] kind: "diesel"',
        '"open-end diesel", "closed-end diesel"',
    ),
    "no ram": ({"hammer.ram_mass": None}, "[hammer]: has neither ram_weight nor ram_mass", "write one of them"),
    "two rams": ({"hammer.ram_weight": '"30 kN"'}, "[hammer]: has both ram_weight and ram_mass", "write one of them"),
    "ram weight as a mass": (
        {"hammer.ram_mass": None, "hammer.ram_weight": '"6600 lb"'},
        "[hammer] ram_weight",
        "is a mass, not a force",
        "write lbf or kip",
    ),
    "strokes the wrong way round": (
        {"hammer.minimum_stroke": '"3 m"', "hammer.maximum_stroke": '"2 m"'},
        "[hammer] minimum_stroke",
        "lower bound",
    ),
    "efficiency as per cent": ({"hammer.efficiency": "80"}, "[hammer] efficiency", "0.01 to 1", "check the number"),
    "number in quotes": ({"hammer.efficiency": '"0.8"'}, "[hammer] efficiency", "a number without quotes"),
    "not a number": ({"hammer.efficiency": "nan"}, "[hammer] efficiency", "cannot be right"),
    "one strain gauge": (
        {"gauges.strain": '["strain_1"]'},
        "[gauges] strain",
        "has 1",
        "leave_out",
    ),
    "only strain": ({"gauges.acceleration": None}, "[gauges]: has only strain", "write strain and acceleration"),
    "no gauges": (
        {"gauges.acceleration": None, "gauges.strain": None},
        "[gauges]: names no columns",
        "force and velocity",
    ),
    "mixed gauges": ({"gauges.force": '"force"'}, "[gauges]: mixes", "or force and velocity"),
    "one column twice": (
        {"gauges.strain": '["strain_1", "strain_1"]'},
        "[gauges]",
        '"strain_1" is used twice',
        "own column",
    ),
    "gauge name with unit": ({"gauges.strain": '["a [m/m]", "b"]'}, "[gauges]", "square brackets", "without its unit"),
    "gauge named time": ({"gauges.strain": '["time", "b"]'}, "[gauges]", '"time"', "rename the column"),
    "gauge that is no text": ({"gauges.strain": '["a", 2]'}, "[gauges] strain, entry 2", "text in quotes"),
    "unknown gauge left out": (
        {"gauges.leave_out": '["strain1"]'},
        "[gauges] leave_out",
        '"strain1"',
        "write strain_1",
    ),
    "unknown choice left out": ({"choices.leave_out": '["x"]'}, "[choices] leave_out", "write strain_1, strain_2"),
    "both of a pair left out": ({"gauges.leave_out": '["strain_1", "strain_2"]'}, "[gauges] leave_out", "keep one"),
    "both of a pair left out in two places": (
        {"gauges.leave_out": '["strain_1"]', "choices.leave_out": '["strain_2"]'},
        "[choices] leave_out",
        "leaves out both strain_1 and strain_2",
        "keep one",
    ),
    "average left out": (
        AVERAGED | {"gauges.leave_out": '["f"]'},
        "[gauges] leave_out",
        "no single gauge",
        "remove it",
    ),
    "calibration of nothing": ({"gauges.calibration": {"strain_3": '"x"'}}, "[gauges] calibration.strain_3", "or all"),
    "factor without load": (
        {"requirement.resistance_factor": "0.65"},
        "[requirement] resistance_factor",
        "factored_load",
    ),
    "load without factor": (
        {"requirement.service_load": '"400 kN"'},
        "[requirement] service_load",
        "write safety_factor",
    ),
    "contradiction": (
        {"requirement.service_load": '"400 kN"', "requirement.safety_factor": "2.25"},
        "[requirement]",
        "900 kN",
        "keep one way",
    ),
    "factor above one": (
        {"requirement.factored_load": '"1 MN"', "requirement.resistance_factor": "1.3"},
        "[requirement] resistance_factor",
        "0.07 to 1",
    ),
    "unknown soil": ({"soil.shaft": '"rock"'}, '[soil] shaft: "rock"', '"sand", "silt" or "clay"'),
    "unknown drive": ({"drive.0.kind": '"re-strike"'}, '[[drive]] 1 kind: "re-strike"', 'write "restrike"'),
    "no signals": ({"drive.0.signals": None}, "[[drive]] 1 signals: is missing", '"initial.parquet"'),
    "empty list of signals": ({"drive.0.signals": "[]"}, "[[drive]] 1 signals", "empty list", "write a file"),
    "signals that are no text": ({"drive.0.signals": "5"}, "[[drive]] 1 signals", "a list in square brackets"),
    "file that is not there": (
        {"drive.0.signals": '"intial.csv"'},
        "[[drive]] 1 signals",
        "is not there",
        "check the name",
    ),
    "log that is not there": ({"drive.0.log": '"log.csv"'}, '[[drive]] 1 log: "log.csv"', "is not there"),
    "folder for a file": ({"drive.0.signals": '"."'}, "[[drive]] 1 signals", "is a folder", "name a file"),
    "file above": ({"drive.0.signals": '"../initial.csv"'}, "[[drive]] 1 signals", "leaves the sheet's folder", "copy"),
    "file above, log": ({"drive.0.log": '"a/../../x.csv"'}, "[[drive]] 1 log", "leaves the sheet's folder", "copy"),
    "absolute file": (
        {"drive.0.signals": '"/etc/hostname"'},
        "[[drive]] 1 signals",
        "leaves the sheet's folder",
        "copy",
    ),
    "drive letter": ({"drive.0.signals": "'C:\\x.csv'"}, "[[drive]] 1 signals", "leaves the sheet's folder", "copy"),
    "pattern above": ({"drive.0.signals": '"../*.csv"'}, "[[drive]] 1 signals", "leaves the sheet's folder", "copy"),
    "pattern without files": ({"drive.0.signals": '"blows/*.csv"'}, "[[drive]] 1 signals", "no file matches", "check"),
    "null character": ({"drive.0.signals": '"a\\u0000b"'}, "[[drive]] 1 signals", "control characters"),
    "endless name": ({"drive.0.signals": f'"{"a" * 5000}"'}, "[[drive]] 1 signals", "check the name"),
    "file twice": (
        {"drive.0.signals": '["initial.csv", "initial.csv"]'},
        "[[drive]] 1 signals",
        "more than once",
        "once",
    ),
    "file of two drives": (
        {
            "drive": [
                {"kind": '"initial"', "signals": '"initial.csv"'},
                {"kind": '"restrike"', "signals": '"initial.csv"'},
            ]
        },
        "[[drive]] 2 signals",
        "already the record of initial",
        "own file",
    ),
    "clock in quotes": ({"drive.0.start": '"2026-05-04 13:05"'}, "[[drive]] 1 start", "write it without quotes"),
    "date alone": (
        {"drive.0.start": "2026-05-04"},
        "[[drive]] 1 start",
        "not a date with a time",
        "2026-05-04T13:05:00",
    ),
    "time zone": ({"drive.0.start": "2026-05-04T13:05:00Z"}, "[[drive]] 1 start", "time zone", "local clock"),
    "end before start": (
        {"drive.0.start": "2026-05-04T13:05:00", "drive.0.end": "2026-05-04T12:05:00"},
        "[[drive]] 1 end",
        "before start",
        "correct",
    ),
    "negative penetration": (
        {"drive.0.penetration_at_start": '"-1 m"'},
        "[[drive]] 1 penetration_at_start",
        "0 to 300 m",
    ),
    "hammer of a drive": (
        {"drive.0.hammer": {"kind": '"drop"'}},
        "[[drive]] 1 hammer",
        "neither ram_weight nor ram_mass",
    ),
    "unknown key of a drive's hammer": (
        {"drive.0.hammer": {"kind": '"drop"', "ram_mas": '"1 t"'}},
        "[[drive]] 1 hammer.ram_mas",
        "write ram_mass",
    ),
    "blow of no drive": ({"choices.blow": {"restrike": "2"}}, "[choices] blow.restrike", "write initial"),
    "blow that is no number": ({"choices.blow": {"initial": '"2"'}}, "[choices] blow.initial", "a whole number"),
    "filter in the wrong unit": ({"choices.low_pass": '"2000 s"'}, "[choices] low_pass", "frequency"),
    "choice that is neither": ({"choices.align": '"yes"'}, "[choices] align", "true or false"),
    "unknown soil law": ({"choices.soil_law": '"linear"'}, '[choices] soil_law: "linear"', '"best"'),
    "unknown units": ({"test.display_units": '"metric"'}, '[test] display_units: "metric"', '"SI" or "US"'),
    "newer format": ({"format": "2"}, "format: 2 is not a format", "write format = 1"),
    "format in quotes": ({"format": '"1"'}, 'format: "1"', "write format = 1"),
    "format true": ({"format": "true"}, "format: true", "write format = 1"),
    "no format": ({"format": None}, "format: is missing", "write format = 1"),
    "pile as text": ({"pile": '"HP12x53"'}, '[pile]: "HP12x53" is text', "write a table"),
    "drive as a table": ({"drive": {"kind": '"initial"'}}, "[[drive]]: is a table", "write a list"),
}


RESTRIKE = {"drive": [{"kind": '"initial"', "signals": '"initial.csv"'}, {"kind": '"restrike"', "signals": '"b.csv"'}]}

MAGNITUDES = {
    # a key, and values that only a wrong unit or a lost digit gives
    "requirement.minimum_penetration": ("16.78 mm", "2 in", "0.05 m", "16780 m"),
    "requirement.nominal_resistance": ("380 lbf", "1700 N", "1700 MN", "300 MN"),
    "requirement.scour_depth": ("6 mm", "0.02 m", "1800 m"),
    "requirement.downdrag": ("40 lbf", "180 N", "900 MN"),
    "requirement.compression_stress_limit": ("45 psi", "300 kPa", "310 GPa"),
    "hammer.rated_energy": ("90 J", "900 J", "90 MJ", "9 MJ"),
    "hammer.helmet_mass": ("900 g", "5000000 kg"),
    "hammer.hammer_cushion_stiffness": ("9000 lbf/in", "1500 kN/m", "1500000 GN/m"),
    "hammer.pile_cushion_stiffness": ("1500 lbf/in", "300 N/mm"),
    "hammer.ram_mass": ("3000 g", "3000000 kg"),
    "hammer.maximum_stroke": ("3 mm", "300 m"),
    "pile.length_below_gauges": ("17 mm", "1700 m"),
    "pile.total_length": ("18 mm", "1800 m"),
    "soil.layer": ("3.6 mm", "12 mm", "360 km"),
    "soil.water_elevation": ("62.5 km",),
    "drive.1.penetration_at_start": ("16.78 mm", "16780 m"),
}
REAL = {
    # a key, and values from a micropile of 75 mm under a 50 kg weight to a monopile of 3 m under 300 t
    "requirement.minimum_penetration": ("0 ft", "1 ft", "3 m", "120 m"),
    "requirement.scour_depth": ("0 m", "0.1 ft", "40 m"),
    "requirement.downdrag": ("0 kN", "5 kN", "20 MN"),
    "requirement.compression_stress_limit": ("0.8 ksi", "100 ksi"),
    "hammer.helmet_mass": ("5 kg", "120000 kg"),
    "hammer.hammer_cushion_stiffness": ("10 kN/mm", "40000 kip/in", "100 GN/m"),
    "hammer.pile_cushion_stiffness": ("5 kN/mm", "20000 kip/in"),
    "soil.layer": ("0.1 ft", "4 in", "150 m"),
    "soil.water_elevation": ("-1430 m", "0 m", "2400 m"),
    "drive.1.penetration_at_start": ("0 ft", "2 ft", "120 m"),
    "drive.0.penetration_at_start": ("0 ft", "1 in", "90 m"),
}


def _set(write_sheet, key, value):
    """Give the sheet with a value at a key, which may be in a restrike or a layer."""
    changes = {**RESTRIKE, "soil.layer": []}
    if key == "soil.layer":
        changes["soil.layer"] = [{"to": f'"{value}"', "soil": '"clay"'}]
    else:
        changes |= {"hammer.ram_mass": '"3000 kg"', key: f'"{value}"'}
    path = write_sheet({**changes, **({"drive": copy.deepcopy(RESTRIKE["drive"])} if "drive" in key else {})})
    (path.parent / "b.csv").write_text("blow\n1\n")
    return path


@pytest.mark.parametrize(("key", "value"), [(key, one) for key, values in MAGNITUDES.items() for one in values])
def test_a_wrong_unit_or_a_lost_digit_is_refused(write_sheet, refuses, key, value):
    path = _set(write_sheet, key, value)
    refuses(lambda: read_sheet(path), "P2-4/sheet.toml", key.split(".")[0], "check the ")


@pytest.mark.parametrize(("key", "value"), [(key, one) for key, values in REAL.items() for one in values])
def test_no_real_magnitude_is_refused(write_sheet, key, value):
    read_sheet(_set(write_sheet, key, value))


PILES = {
    # area, length, ram, rated energy and required resistance
    "micropile": ("20 cm^2", "3 m", "50 kg", "250 J", "20 kN"),
    "rock breaker as a hammer": ("20 cm^2", "3 m", "30 kg", "1000 J", "150 kN"),
    "pipe filled with concrete": ("180 cm^2", "40 m", "8000 kg", "270 kJ", "9 MN"),
    "monopile": ("5500 cm^2", "80 m", "300000 kg", "6 MJ", "110 MN"),
}


@pytest.mark.parametrize("case", PILES.values(), ids=PILES.keys())
def test_no_real_pile_is_refused(write_sheet, case):
    keys = ("pile.area", "pile.length_below_gauges", "hammer.ram_mass", "hammer.rated_energy")
    changes = dict(zip((*keys, "requirement.nominal_resistance"), (f'"{one}"' for one in case), strict=True))
    read_sheet(write_sheet(changes | {"pile.section": None, "pile.total_length": None}))


def test_a_resistance_factor_with_a_lost_digit_is_refused(write_sheet, refuses):
    changes = {"requirement.nominal_resistance": None, "requirement.factored_load": '"500 kN"'}
    lost = write_sheet(changes | {"requirement.resistance_factor": "0.065"})
    refuses(lambda: read_sheet(lost), "[requirement] resistance_factor", "0.065", "check the number")
    read_sheet(write_sheet(changes | {"requirement.resistance_factor": "0.08"}))


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_what_is_wrong_is_named_with_its_cure(write_sheet, refuses, case):
    changes, *needles = case
    path = write_sheet(changes)
    refuses(lambda: read_sheet(path), "P2-4/sheet.toml", *needles)


def test_the_sheet_without_changes_is_sound(write_sheet):
    read_sheet(write_sheet())


TEXTS = {
    "no TOML": (b"format = 1\n[pile\n", "line 2", "not valid TOML", "correct the line"),
    "key twice": (b"format = 1\nformat = 1\n", "not valid TOML", "correct the line"),
    "unquoted unit": (b"format = 1\n[pile]\narea = 10 cm^2\n", "line 3", "in quotes"),
    "endless brackets": (b"format = 1\nx = " + b"[" * 100_000, "nested too deeply", "plain tables"),
    "endless integer": (b"format = 1\nx = " + b"9" * 10_000, "not valid TOML", "correct the line"),
    "UTF-16": ("format = 1".encode("utf-16"), "UTF-16", "UTF-8"),
    "UTF-16 without mark": ("format = 1".encode("utf-16-le"), "UTF-16", "UTF-8"),
    "Latin-1": ("format = 1\n# Brücke\n".encode("latin-1"), "line 2", "0xfc", "UTF-8"),
    "empty": (b"", "is empty", "copy"),
    "not text": (bytes(range(256)) * 10, "not text", "UTF-8"),
    "enormous": (b"#" * 2_000_000, "not a test sheet", "larger than 1 megabyte", "name the sheet.toml"),
}


@pytest.mark.parametrize("case", TEXTS.values(), ids=TEXTS.keys())
def test_a_file_that_is_no_sheet(tmp_path, refuses, case):
    content, *needles = case
    path = tmp_path / "sheet.toml"
    path.write_bytes(content)
    refuses(lambda: read_sheet(path), "/sheet.toml", *needles)


def test_no_file_at_all(tmp_path, refuses):
    refuses(lambda: read_sheet(tmp_path / "none.toml"), "/none.toml", "is not there", "check the name")
    refuses(lambda: read_sheet(tmp_path), "is a folder", "name the file")
    refuses(lambda: read_structure(tmp_path), "is a folder", "name the file")
    refuses(lambda: read_sheet(tmp_path / ("x" * 300)), "cannot be read", "check the name")


def test_a_folder_names_the_sheet_in_it(write_sheet, refuses, monkeypatch):
    folder = write_sheet().parent
    for read in (read_sheet, read_structure):
        refuses(lambda read=read: read(folder), "P2-4: is a folder", f"name {folder / 'sheet.toml'} in it")
    monkeypatch.chdir(folder)
    refuses(lambda: read_sheet("."), ".: is a folder", "name sheet.toml in it")
    (folder / "structure.toml").write_text("format = 1\n")
    refuses(lambda: read_sheet(folder), f"name {folder / 'sheet.toml'} in it")
    refuses(lambda: read_structure(folder), f"name {folder / 'structure.toml'} in it")


BINARY = {"parquet": b"PAR1", "hdf5": b"\x89HDF\r\n", "zip": b"PK\x03\x04", "tdms": b"TDSm", "unknown": b"ab\0\0"}


@pytest.mark.parametrize("size", [2_000, 2_000_000])
@pytest.mark.parametrize("mark", BINARY.values(), ids=BINARY.keys())
def test_a_file_of_records_is_not_a_test_sheet(tmp_path, refuses, mark, size):
    path = tmp_path / "records.dat"
    path.write_bytes(mark + bytes([1, 2, 3, 200]) * size)
    for read, usual in ((read_sheet, "sheet.toml"), (read_structure, "structure.toml")):
        refuses(lambda read=read: read(path), "/records.dat: is not ", f"name the {usual}")


@pytest.mark.parametrize("name", ["x.csv", "x.parquet", "x.csv.gz"])
def test_signals_are_not_a_test_sheet(write_sheet, refuses, name):
    path = write_sheet({"drive.0.signals": f'"{name}"'}, name=name)
    refuses(lambda: read_sheet(path.parent / name), f"P2-4/{name}: is not a test sheet", "sheet.toml")


def test_a_name_with_line_breaks_stays_in_one_line(tmp_path, refuses):
    refuses(lambda: read_sheet(tmp_path / "a\nb.toml"), "a b.toml", "is not there")


def test_what_is_no_plain_file_is_not_read(tmp_path, refuses):
    os.mkfifo(tmp_path / "sheet.toml")
    refuses(lambda: read_sheet(tmp_path / "sheet.toml"), "is not a regular file", "data file")


@pytest.mark.parametrize("named", ["link.csv", "folder/link.csv", "link*.csv", "folder/*.csv"])
def test_a_link_out_of_the_folder_is_refused(write_sheet, refuses, tmp_path, named):
    path = write_sheet({"drive.0.signals": f'"{named}"'})
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "link.csv").write_text("blow\n1\n")
    (path.parent / "link.csv").symlink_to(outside / "link.csv")
    (path.parent / "folder").symlink_to(outside)
    refuses(lambda: read_sheet(path), "[[drive]] 1 signals", "copy the file")


def test_a_link_within_the_folder_is_followed(write_sheet):
    path = write_sheet({"drive.0.signals": '"link.csv"'})
    (path.parent / "link.csv").symlink_to(path.parent / "initial.csv")
    assert read_sheet(path).drives[0].signals[0].name == "link.csv"


def test_one_file_under_two_names_counts_as_twice(write_sheet, refuses):
    path = write_sheet({"drive.0.signals": '["initial.csv", "link.csv"]'})
    (path.parent / "link.csv").symlink_to(path.parent / "initial.csv")
    refuses(lambda: read_sheet(path), "[[drive]] 1 signals", '"initial.csv" more than once', "once")


def test_links_in_a_circle_are_refused(write_sheet, refuses):
    path = write_sheet({"drive.0.signals": '"a.csv"'})
    (path.parent / "a.csv").symlink_to(path.parent / "b.csv")
    (path.parent / "b.csv").symlink_to(path.parent / "a.csv")
    refuses(lambda: read_sheet(path), "[[drive]] 1 signals", "check the name")
