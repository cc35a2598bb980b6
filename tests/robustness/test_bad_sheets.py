"""Bad test sheets through the command line: each ends in one line that names the key and a cure."""

import re

import pytest

from dyntest import cli  # noqa: F401  (loaded before the clock of the first test runs)


def put(sheet: str, place: str, value: str | None) -> str:
    """Set a key, given as ``table.key`` (or a key of no table); None takes it out. Value is TOML."""
    *table, key = place.rsplit(".", 1)
    head = f"[{table[0]}]" if table else ""
    head = "[[drive]]" if head == "[drive]" else head
    begin = sheet.index(head + "\n") + len(head) + 1 if head else 0
    end = sheet.find("\n[", begin) + 1 or len(sheet)
    part = re.sub(rf"(?m)^{re.escape(key)} = .*\n", "", sheet[begin:end])
    line = "" if value is None else f"{key} = {value}\n"
    return sheet[:begin] + line + part + sheet[end:]


@pytest.fixture
def refused_with(folder, review_refused):
    def check(changes, *needles):
        path = folder / "sheet.toml"
        text = path.read_text(encoding="utf-8")
        for place, value in changes.items():
            text = put(text, place, value)
        path.write_text(text, encoding="utf-8")
        return review_refused("P3-1/", *needles)

    return check


PHYSICAL = {
    # key: a value of another dimension, one far too small, one far too large
    "pile.length_below_gauges": ("14 kip", "1 mm", "14000 m"),
    "pile.total_length": ("50 s", "0.5 in", "50 mile"),
    "pile.area": ("21.8 in", "21.8 mm^2", "141 m^2"),
    "pile.modulus": ("30000 ft", "30000 psi", "30000 GPa"),
    "pile.density": ("7850 kg/m^2", "7.85 kg/m^3", "7850 g/cm^3"),
    "pile.wave_speed": ("16800 m/s^2", "5.1 m/s", "16800 m/s"),
    "pile.yield_strength": ("50 lbf", "50 psi", "345 GPa"),
    "pile.tip_reinforcement": ("6 lb", "-6 in", "60 ft"),
    "hammer.ram_weight": ("4 kip ft", "4 lbf", "4000 MN"),
    "hammer.rated_energy": ("40 kip/ft", "40 ft lbf", "40 GJ"),
    "hammer.minimum_stroke": ("6 Hz", "0.06 in", "600 ft"),
    "hammer.maximum_stroke": ("10 kJ", "10 mm", "1 km"),
    "hammer.helmet_mass": ("1800 lbf", "1.8 g", "1.8e9 kg"),
    "hammer.hammer_cushion_stiffness": ("9000 kip", "1 N/m", "1e15 N/m"),
    "hammer.pile_cushion_stiffness": ("1500 MPa", "-1500 kip/in", "1e9 GN/m"),
    "requirement.nominal_resistance": ("380 ton", "380 lbf", "380 GN"),
    "requirement.factored_load": ("250 kPa", "0 kN", "250 GN"),
    "requirement.minimum_penetration": ("36 kip", "-36 ft", "36 km"),
    "requirement.compression_stress_limit": ("45 kip", "45 Pa", "45 TPa"),
    "requirement.tension_stress_limit": ("45 in", "-45 ksi", "1e6 ksi"),
    "drive.penetration_at_start": ("24 s", "-0.1 ft", "1000 ft"),
    "choices.low_pass": ("2000 m", "2 Hz", "2 GHz"),
}
"""Every physical value of a sheet; a length in the place of an area, a modulus in psi for one in ksi, and so on."""

NO_QUANTITY = {
    "nothing": '""',
    "a blank": '" "',
    "a unit alone": '"ft"',
    "two points": '"4.6.0 ft"',
    "two numbers": '"46 12 ft"',
    "two units in words": '"46 ft 3 in"',
    "not a number": '"nan ft"',
    "minus infinity": '"-inf ft"',
    "infinity by its exponent": '"1e999 ft"',
    "a sum": '"40 ft + 6 ft"',
    "a product": '"40*2 ft"',
    "a power that would never end": '"9**9**9**9 ft"',
    "brackets without end": '"' + "(" * 50 + '46 ft"',
    "a call": '"__import__(1) ft"',
    "an apostrophe for a foot": '"46\' 0"',
    "letters for a number": '"O46 ft"',
    "Arabic-Indic digits": '"٤٦ ft"',
    "a unit of another script": '"46 фут"',
    "a fraction": '"46 1/2 ft"',
    "a grouping comma": '"4,600 ft"',
    "an underscore": '"4_6 ft"',
    "a hexadecimal number": '"0x2E ft"',
    "a terminal escape": '"46 ft\\u001b[2J"',
    "a null character": '"46\\u0000 ft"',
    "a reversed writing direction": '"46 \\u202eft"',
    "a number as a list": "[46]",
    "a date": "2026-05-04",
    "true": "true",
    "a unit to an enormous power": '"46 ft^999999999"',
    "a prefix heaped on prefixes": '"46 kilokilomillimetre"',
    "a unit of no size": '"46 dimensionless"',
    "per cent": '"46 %"',
}


@pytest.mark.parametrize("how", range(3), ids=["another dimension", "too small", "too large"])
@pytest.mark.parametrize("key", PHYSICAL)
def test_a_value_that_cannot_be_right(refused_with, key, how):
    changes = {"pile.section": None} if key == "pile.area" else {}
    if key == "requirement.factored_load":
        changes |= {"requirement.nominal_resistance": None, "requirement.resistance_factor": "0.65"}
    refused_with(changes | {key: f'"{PHYSICAL[key][how]}"'}, key.partition(".")[2])


@pytest.mark.parametrize("what", NO_QUANTITY)
def test_what_is_no_quantity(refused_with, what):
    refused_with({"pile.length_below_gauges": NO_QUANTITY[what]}, "[pile] length_below_gauges")


RATIOS = {
    "requirement.damping_factor": ("-0.1", "3.0", "inf", '"0.3"', "true", "1e400"),
    "hammer.efficiency": ("0", "62", "-0.62", "[0.62]"),
    "hammer.hammer_cushion_restitution": ("1.01", "0.0", "nan"),
    "hammer.pile_cushion_restitution": ("-1", "50"),
    "choices.damping_factor": ("-0.001", "30", "-inf"),
}


@pytest.mark.parametrize(("key", "value"), [(key, value) for key, values in RATIOS.items() for value in values])
def test_a_ratio_that_cannot_be_right(refused_with, key, value):
    refused_with({key: value}, key.partition(".")[2])


CONTRADICTIONS = {
    "a blow that was not recorded": ({"choices.blow": "{initial = 99}"}, "blow"),
    "blow number nought": ({"choices.blow": "{initial = 0}"}, "blow"),
    "a negative blow": ({"choices.blow": "{initial = -1}"}, "blow"),
    "a blow beyond any computer's count": ({"choices.blow": "{initial = 99999999999999999999999}"}, "blow"),
    "half a blow": ({"choices.blow": "{initial = 1.5}"}, "blow"),
    "a blow of a drive that is not there": ({"choices.blow": "{restrike_2 = 1}"}, "restrike_2"),
    "a blow without its drive": ({"choices.blow": "3"}, "blow"),
    "a filter above half the sampling rate": ({"choices.low_pass": '"6000 Hz"'}, "low_pass: a corner of 6000 Hz"),
    "every strain gauge left out": ({"choices.leave_out": '["strain_1", "strain_2"]'}, "leave_out"),
    "every gauge left out": (
        {"choices.leave_out": '["strain_1", "strain_2", "acceleration_1", "acceleration_2"]'},
        "leave_out",
    ),
    "a gauge left out that is none": ({"choices.leave_out": '"strain_3"'}, "strain_3"),
    "one gauge of each place left out, together a pair": (
        {"gauges.leave_out": '"acceleration_1"', "choices.leave_out": '"acceleration_2"'},
        "leave_out",
    ),
    "alignment as a number": ({"choices.align": "1"}, "align"),
    "a soil law in capitals": ({"choices.soil_law": '"Hyperbolic"'}, "soil_law"),
    "an unknown choice": ({"choices.best_blow": "3"}, "best_blow"),
    "two ways of requiring that differ": (
        {"requirement.factored_load": '"300 kip"', "requirement.resistance_factor": "0.65"},
        "is contradictory",
    ),
    "a load whose verification is unknown": (
        {
            "requirement.nominal_resistance": None,
            "requirement.factored_load": '"250 kip"',
            "choices.verification": '"tea leaves"',
        },
        "verification",
    ),
    "strokes the wrong way round": (
        {"hammer.minimum_stroke": '"10 ft"', "hammer.maximum_stroke": '"6 ft"'},
        "minimum_stroke",
    ),
    "gauges above the head": ({"pile.total_length": '"45 ft"'}, "total_length"),
    "a length in metres for one in feet": ({"pile.total_length": '"12 m"'}, "total_length"),
    "area beside section": ({"pile.area": '"21.8 in^2"'}, "area"),
    "a section that is no HP": ({"pile.section": '"W12x72"'}, "section"),
    "steel as concrete": ({"pile.material": '"concrete"'}, "[pile]"),
    "steel as timber": ({"pile.material": '"timber"'}, "[pile]"),
    "material in capitals": ({"pile.material": '"STEEL"'}, "material"),
    "prestress in steel": ({"pile.effective_prestress": '"0.8 ksi"'}, "effective_prestress"),
    "wave speed that disagrees": ({"pile.wave_speed": '"17200 ft/s"'}, "wave_speed"),
    "modulus and wave speed of another density": (
        {"pile.density": None, "pile.wave_speed": '"5400 m/s"', "pile.modulus": '"180 GPa"'},
        "density",
    ),
    "kind of hammer misspelt": ({"hammer.kind": '"open end diesel"'}, "open-end diesel"),
    "ram twice": ({"hammer.ram_mass": '"1814 kg"'}, "both ram_weight and ram_mass"),
    "pile without a mark": ({"test.pile": '"\\t"'}, "[test] pile"),
    "mark as a number": ({"test.pile": "31"}, "[test] pile"),
    "mark with a terminal escape": ({"test.pile": '"P\\u001b]0;owned\\u0007"'}, "[test] pile"),
    "mark with a reversed writing direction": ({"test.pile": '"P3\\u202e1"'}, "[test] pile"),
    "engineer with a line break": ({"test.engineer": '"A\\r\\nB"'}, "[test] engineer"),
    "project as a list": ({"test.project": '["a"]'}, "[test] project"),
    "units of neither system": ({"test.display_units": '"imperial"'}, "display_units"),
    "three strain gauges": ({"gauges.strain": '["strain_1", "strain_2", "strain_3"]'}, "[gauges] strain"),
    "no strain gauges": ({"gauges.strain": "[]"}, "[gauges]"),
    "the same column for strain and acceleration": ({"gauges.acceleration": '["strain_1", "strain_2"]'}, "twice"),
    "a gauge without a name": ({"gauges.strain": '["", "strain_2"]'}, "[gauges] strain"),
    "a gauge named blow": ({"gauges.strain": '["blow", "strain_2"]'}, "blow"),
    "a gauge named clock": ({"gauges.acceleration": '["clock", "acceleration_2"]'}, "clock"),
    "a gauge that the table lacks": ({"gauges.strain": '["strain_1", "strain_9"]'}, "strain_9"),
    "format as a real number": ({"format": "1.0"}, "format"),
    "format of the future": ({"format": "1000000000000000000000"}, "format"),
    "drives without a kind": ({"drive.kind": None}, "[[drive]] 1 kind"),
    "an end without order": (
        {"drive.start": "2026-05-04T13:05:00", "drive.end": "1926-05-04T13:05:00"},
        "[[drive]] 1 end",
    ),
    "a time of day alone": ({"drive.start": "13:05:00"}, "[[drive]] 1 start"),
    "a year alone": ({"drive.start": "2026"}, "[[drive]] 1 start"),
}


@pytest.mark.parametrize("case", CONTRADICTIONS)
def test_a_sheet_that_contradicts_itself_or_the_records(refused_with, case):
    changes, *needles = CONTRADICTIONS[case]
    refused_with(changes, *needles)


TEXTS = {
    # what is done to the whole text of the sheet
    "nothing but the format": (lambda t: "format = 1\n", "is missing"),
    "nothing but a comment": (lambda t: "# nothing\n", "format"),
    "nothing but blanks": (lambda t: " \n\t\n", "format"),
    "a table twice": (lambda t: t + "[pile]\nmaterial = 'steel'\n", "TOML"),
    "a key twice": (lambda t: t.replace("[pile]\n", "[pile]\nmaterial = 'steel'\n"), "TOML"),
    "a dotted key over a table": (lambda t: t + "[test.pile]\nname = 'x'\n", "TOML"),
    "a table that is a list elsewhere": (lambda t: t + "[drive]\nkind = 'restrike'\n", "TOML"),
    "broken off in a text": (lambda t: t[: t.index("crossing")], "TOML"),
    "broken off in a key": (lambda t: t[: t.index("gauges =")], "TOML"),
    "broken off after the pile": (lambda t: t[: t.index("[hammer]")], "[gauges]"),
    "an unclosed list": (lambda t: t.replace('"strain_2"]', '"strain_2"'), "TOML"),
    "curly quotes": (lambda t: t.replace('"SI"', "“SI”"), "TOML"),
    "colons for equals": (lambda t: t.replace(" = ", ": "), "TOML"),
    "a bare word": (lambda t: t.replace('"steel"', "steel"), "TOML"),
    "a bare quantity": (lambda t: t.replace('"46 ft"', "46 ft"), "TOML"),
    "a leading zero": (lambda t: t.replace("damping_factor = 0.3", "damping_factor = 00.3"), "TOML"),
    "an unknown escape": (lambda t: t.replace('"initial.csv"', '"folder\\initial.csv"'), "TOML"),
    "a raw null character": (lambda t: t.replace("Invented crossing", "Inv\0ented"), "sheet.toml"),
    "a raw escape": (lambda t: t.replace("Invented crossing", "Inv\x1b[31mented"), "TOML"),
    "a raw escape for a key": (lambda t: t.replace("structure", '"\\u001b[2Jstructure"'), "[test]"),
    "a key of ten thousand letters": (lambda t: t.replace("structure", "s" * 10_000), "[test]"),
    "an empty key": (lambda t: t.replace("structure", '""'), "[test]"),
    "a hundred unknown tables": (lambda t: t + "".join(f"[x{i}]\na = 1\n" for i in range(100)), "x0"),
    "tables nested a thousand deep": (lambda t: t + "[" + ".".join(["a"] * 1000) + "]\n", "sheet.toml"),
    "tables nested within a value": (lambda t: t.replace('"46 ft"', "{a=" * 400 + "1" + "}" * 400), "sheet.toml"),
    "lists nested within a value": (lambda t: t.replace('"46 ft"', "[" * 5000 + "]" * 5000), "sheet.toml"),
    "a dotted key without end": (lambda t: "a." * 20_000 + "b = 1\n" + t, "sheet.toml"),
    "an integer without end": (lambda t: t.replace('"46 ft"', "9" * 100_000), "sheet.toml"),
    "a real number without end": (lambda t: t.replace('"46 ft"', "0." + "9" * 100_000), "length_below_gauges"),
    "a thousand drives of one file": (
        lambda t: t + "[[drive]]\nkind = 'restrike'\nsignals = 'initial.csv'\n" * 1000,
        "initial.csv",
    ),
    "a list of ten thousand files": (
        lambda t: t.replace('"initial.csv"', "[" + '"initial.csv",' * 10_000 + "]"),
        "sheet.toml",
    ),
    "more parts than the pile is long": (
        lambda t: t.replace("[hammer]", "[[pile.part]]\nlength = '46 ft'\n" * 2 + "[hammer]"),
        "[[pile.part]]",
    ),
    "a part of ten thousand that is wrong": (
        lambda t: t.replace("[hammer]", "[[pile.part]]\nlength = '1 ft'\n" * 5000 + "[hammer]"),
        "[[pile.part]]",
    ),
    "a part that is no table": (lambda t: t.replace("[hammer]", "part = [1]\n[hammer]"), "part"),
    "a calibration that is a list": (lambda t: t.replace("[gauges]", "[gauges]\ncalibration = [1]"), "calibration"),
    "a hammer that is a list": (lambda t: t.replace("[hammer]", "[[hammer]]"), "[hammer]"),
    "gauges that are a list": (lambda t: t.replace("[gauges]", "[[gauges]]"), "[gauges]"),
    "a drive that is a number": (
        lambda t: "drive = 3\n" + t.replace("[[drive]]", "[choices2]"),
        "sheet.toml",
    ),
    "JSON": (lambda t: '{"format": 1}', "TOML"),
    "YAML": (lambda t: "format: 1\npile:\n  material: steel\n", "TOML"),
    "XML": (lambda t: '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><sheet/>', "TOML"),
    "INI": (lambda t: t.replace('"', ""), "TOML"),
}


@pytest.mark.parametrize("case", TEXTS)
def test_a_text_that_is_no_sheet(folder, review_refused, case):
    change, *needles = TEXTS[case]
    path = folder / "sheet.toml"
    path.write_text(change(path.read_text()), encoding="utf-8")
    review_refused("P3-1/sheet.toml", *needles)


BYTES = {
    "zero bytes": lambda b: b"",
    "one byte": lambda b: b"f",
    "a byte-order mark alone": lambda b: b"\xef\xbb\xbf",
    "UTF-16, little end first": lambda b: b.decode().encode("utf-16-le"),
    "UTF-16, big end first": lambda b: b.decode().encode("utf-16-be"),
    "UTF-16 with its mark": lambda b: b.decode().encode("utf-16"),
    "UTF-32": lambda b: b.decode().encode("utf-32"),
    "UTF-7": lambda b: b"+AGYAbwByAG0AYQB0- = 1",
    "EBCDIC": lambda b: b.decode().encode("cp500"),
    "Windows Latin": lambda b: b.replace(b"bridge", "Brücke".encode("cp1252")),
    "old Mac": lambda b: b.replace(b"bridge", "Brücke".encode("mac-roman")),
    "UTF-8 broken in a letter": lambda b: b.replace(b"bridge", "Brücke".encode()[:3] + b"x"),
    "UTF-8 longer than needed": lambda b: b.replace(b"bridge", b"\xc0\xaf"),
    "half of a surrogate pair": lambda b: b.replace(b"bridge", b"\xed\xa0\x80"),
    "a zip archive": lambda b: b"PK\x03\x04" + bytes(200),
    "a gzip archive": lambda b: b"\x1f\x8b\x08\x00" + bytes(200),
    "a Parquet file": lambda b: b"PAR1" + bytes(range(256)) + b"PAR1",
    "a picture": lambda b: b"\x89PNG\r\n\x1a\n" + bytes(range(256)),
    "nothing but null characters": lambda b: bytes(1000),
    "a null character at its end": lambda b: b + b"\0",
    "beyond the limit of its size": lambda b: b + b"#" * 1_000_001,
}


@pytest.mark.parametrize("case", BYTES)
def test_bytes_that_are_no_sheet(folder, review_refused, case):
    path = folder / "sheet.toml"
    path.write_bytes(BYTES[case](path.read_bytes()))
    review_refused("P3-1/sheet.toml")


@pytest.mark.parametrize("share", [0.02, 0.1, 0.3, 0.5, 0.7, 0.8, 0.9])
def test_a_sheet_broken_off(folder, review_refused, share):
    path = folder / "sheet.toml"
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    review_refused("P3-1/sheet.toml")
