"""The test sheet: what it says comes out in SI."""

from datetime import datetime
from math import sqrt

import pytest

from dyntest.reading.sheet import read_sheet

KIP = 4448.2216152605  # pound-force of 0.45359237 kg at 9.80665 m/s^2, times a thousand
CONCRETE = {
    "pile.material": '"concrete"',
    "pile.section": None,
    "pile.yield_strength": None,
    "pile.area": '"1225 cm^2"',
}


def test_si_sheet(write_sheet):
    path = write_sheet()
    sheet = read_sheet(path)
    assert (sheet.project, sheet.structure, sheet.pile_name, sheet.engineer) == (
        "Invented crossing",
        "Pier 2",
        "P2-4",
        "",
    )
    assert sheet.display_units == "SI"
    assert sheet.pile.section == "HP12x53"
    assert sheet.pile.area == pytest.approx(15.5 * 0.0254**2)
    assert (sheet.pile.length, sheet.pile.total_length) == (17.0, 18.0)
    assert (sheet.pile.modulus, sheet.pile.parts[0].density) == (210e9, 7850.0)
    assert sheet.pile.yield_strength == 345e6
    assert (sheet.hammer.ram_mass, sheet.hammer.rated_energy) == (3000.0, 90e3)
    assert sheet.requirement.required_resistance == 1.7e6
    assert (sheet.soil.shaft, sheet.soil.toe) == ("clay", "sand")
    assert sheet.gauges.strain == ("strain_1", "strain_2")
    assert sheet.text == path.read_text(encoding="utf-8")
    assert [drive.name for drive in sheet.drives] == ["initial"]
    assert sheet.drives[0].hammer is sheet.hammer
    assert sheet.inputs == (path.resolve(), path.resolve().parent / "initial.csv")


def test_us_sheet(write_sheet):
    sheet = read_sheet(
        write_sheet(
            {
                "test.display_units": '"US"',
                "pile.length_below_gauges": '"57 ft"',
                "pile.total_length": '"60 ft"',
                "pile.modulus": '"30000 ksi"',
                "pile.unit_weight": '"492 lbf/ft^3"',
                "pile.wave_speed": '"16800 ft/s"',
                "pile.yield_strength": '"50 ksi"',
                "pile.tip_reinforcement": '"6 in"',
                "hammer.ram_mass": None,
                "hammer.ram_weight": '"6.6 kip"',
                "hammer.rated_energy": '"70 kip ft"',
                "hammer.minimum_stroke": '"6 ft"',
                "hammer.efficiency": "0.8",
                "requirement.nominal_resistance": '"380 kip"',
                "requirement.damping_factor": "0.5",
                "requirement.compression_stress_limit": '"45 ksi"',
            }
        )
    )
    assert sheet.pile.length == pytest.approx(57 * 0.3048)
    assert sheet.pile.tip_reinforcement == pytest.approx(0.1524)
    assert sheet.pile.modulus == pytest.approx(30e6 * KIP / 1000 / 0.0254**2, rel=1e-9)
    assert sheet.pile.parts[0].density == pytest.approx(492 * 0.45359237 / 0.3048**3, rel=1e-9)
    assert sheet.hammer.ram_weight == pytest.approx(6.6 * KIP, rel=1e-9)
    assert sheet.hammer.rated_energy == pytest.approx(70 * KIP * 0.3048, rel=1e-9)
    assert sheet.hammer.minimum_stroke == pytest.approx(6 * 0.3048)
    assert sheet.requirement.required_resistance == pytest.approx(380 * KIP, rel=1e-9)
    assert sheet.requirement.compression_stress_limit == pytest.approx(0.9 * sheet.pile.yield_strength)
    assert sheet.damping_factor == 0.5


@pytest.mark.parametrize(
    ("given", "modulus", "density"),
    [
        ({"modulus": '"36 GPa"', "density": '"2450 kg/m^3"'}, 36e9, 2450.0),
        ({"wave_speed": '"3800 m/s"', "density": '"2450 kg/m^3"'}, 2450.0 * 3800.0**2, 2450.0),
        ({"modulus": '"36 GPa"', "wave_speed": '"3800 m/s"'}, 36e9, 36e9 / 3800.0**2),
        ({"modulus": '"36 GPa"', "unit_weight": '"24 kN/m^3"'}, 36e9, 24e3 / 9.80665),
        ({"modulus": '"36 GPa"', "density": '"2450 kg/m^3"', "wave_speed": '"3840 m/s"'}, 36e9, 2450.0),
    ],
)
def test_two_of_modulus_density_and_wave_speed_give_the_third(write_sheet, given, modulus, density):
    pile = read_sheet(write_sheet(CONCRETE | {f"pile.{key}": value for key, value in given.items()})).pile
    assert pile.modulus == pytest.approx(modulus)
    assert pile.parts[0].density == pytest.approx(density)
    assert pile.wave_speed == pytest.approx(sqrt(modulus / density))


def test_steel_with_a_measured_wave_speed_has_its_modulus_from_it(write_sheet):
    pile = read_sheet(write_sheet({"pile.wave_speed": '"5123 m/s"'})).pile
    assert pile.wave_speed == pytest.approx(5123.0)
    assert pile.parts[0].density == 7850.0


def test_parts_inherit_what_they_leave_out(write_sheet):
    parts = [{"length": '"10 m"'}, {"length": '"7 m"', "area": '"80 cm^2"', "modulus": '"205 GPa"'}]
    pile = read_sheet(write_sheet({"pile.part": parts})).pile
    top, bottom = pile.parts
    assert (top.area, top.modulus, top.density) == (pytest.approx(15.5 * 0.0254**2), 210e9, 7850.0)
    assert (bottom.area, bottom.modulus, bottom.density) == (pytest.approx(0.008), 205e9, 7850.0)
    assert pile.length == 17.0
    assert not pile.uniform


@pytest.mark.parametrize(
    ("given", "required"),
    [
        ({"factored_load": '"650 kN"', "resistance_factor": "0.65"}, 1e6),
        ({"service_load": '"400 kN"', "safety_factor": "2.25"}, 0.9e6),
        ({"nominal_resistance": '"1000 kN"', "factored_load": '"650 kN"', "resistance_factor": "0.65"}, 1e6),
        ({}, None),
    ],
)
def test_required_resistance(write_sheet, given, required):
    changes = {f"requirement.{key}": value for key, value in ({"nominal_resistance": None} | given).items()}
    assert read_sheet(write_sheet(changes)).requirement.required_resistance == (required and pytest.approx(required))


def test_factored_load_waits_for_the_chosen_verification(write_sheet):
    changes = {"requirement.nominal_resistance": None, "requirement.factored_load": '"650 kN"'}
    sheet = read_sheet(write_sheet(changes | {"choices.verification": '"dynamic tests"'}))
    assert sheet.requirement.factored_load == 650e3
    assert sheet.requirement.required_resistance is None


def test_several_restrikes_are_numbered_and_may_have_their_own_hammer(write_sheet):
    path = write_sheet(
        {
            "drive.0.start": "2026-05-04T13:05:00",
            "drive.0.end": "2026-05-04T14:10:00",
            "drive.0.penetration_at_start": '"0 ft"',
        }
    )
    for name in ("first.csv", "second.csv"):
        (path.parent / name).write_bytes((path.parent / "initial.csv").read_bytes())
    restrikes = """
[[drive]]
kind = "restrike"
signals = "first.csv"
start = 2026-05-05T09:00:00
[[drive]]
kind = "restrike"
signals = ["second.csv"]
start = 2026-05-11T09:00:00
penetration_at_start = "12 m"
[drive.hammer]
kind = "drop"
ram_mass = "5000 kg"
"""
    path.write_text(path.read_text(encoding="utf-8") + restrikes, encoding="utf-8")
    initial, first, second = read_sheet(path).drives
    assert [drive.name for drive in (initial, first, second)] == ["initial", "restrike_1", "restrike_2"]
    assert initial.start == datetime(2026, 5, 4, 13, 5)
    assert (initial.penetration_at_start, first.penetration_at_start, second.penetration_at_start) == (0.0, None, 12.0)
    assert first.hammer.kind == "open-end diesel"
    assert (second.hammer.kind, second.hammer.ram_mass) == ("drop", 5000.0)
    first_part, *blocks = path.read_text(encoding="utf-8").split("[[drive]]")
    path.write_text("[[drive]]".join([first_part, *blocks[::-1]]), encoding="utf-8")  # the last restrike stands first
    assert read_sheet(path).drives == (initial, first, second)


def test_choices(write_sheet):
    sheet = read_sheet(
        write_sheet(
            {
                "requirement.damping_factor": "0.5",
                "choices.damping_factor": "0.4",
                "choices.low_pass": '"2 kHz"',
                "choices.align": "true",
                "choices.soil_law": '"best"',
                "choices.setup_credit": "false",
                "choices.blow": {"initial": "2"},
            }
        )
    )
    assert sheet.damping_factor == 0.4
    assert sheet.choices.low_pass == 2000.0
    assert (sheet.choices.align, sheet.choices.soil_law, sheet.choices.setup_credit) == (True, "best", False)
    assert sheet.choices.blow == {"initial": 2}


@pytest.mark.parametrize(
    ("calibration", "kept"),
    [
        ('"all gauges, March"', {"all": "all gauges, March"}),
        ({"strain_1": '"2.1 mV"', "all": '"March"'}, {"strain_1": "2.1 mV", "all": "March"}),
    ],
)
def test_calibration_is_kept_for_the_report(write_sheet, calibration, kept):
    assert read_sheet(write_sheet({"gauges.calibration": calibration})).gauges.calibration == kept


def test_a_byte_order_mark_is_read_over(write_sheet):
    path = write_sheet()
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert read_sheet(path).pile_name == "P2-4"


def test_a_way_that_comes_back_into_the_folder_is_allowed(write_sheet):
    path = write_sheet({"drive.0.signals": '"x/../initial.csv"'})
    (path.parent / "x").mkdir()
    assert read_sheet(path).drives[0].signals[0].read_bytes() == (path.parent / "initial.csv").read_bytes()


def test_a_pattern_gives_files_in_the_order_of_their_numbers(write_sheet, signals_frame):
    path = write_sheet({"drive.0.signals": '"blows/b_*.csv"'})
    (path.parent / "blows").mkdir()
    for number in (10, 9, 1):
        signals_frame().to_csv(path.parent / "blows" / f"b_{number}.csv", index=False)
    assert [file.name for file in read_sheet(path).drives[0].signals] == ["b_1.csv", "b_9.csv", "b_10.csv"]
