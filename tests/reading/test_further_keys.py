"""Keys of the sheet beyond the least: the job, the hammer, layers of soil, four gauges, other layouts of files."""

import pytest

from dyntest.reading.sheet import read_sheet


def test_the_job_and_the_hammer_are_told(write_sheet):
    sheet = read_sheet(
        write_sheet(
            {
                "test.tested_by": '"A. Reed"',
                "test.checked_by": '"B. Stone"',
                "test.recorder": '"four channels"',
                "test.location": '"Invented county"',
                "hammer.make": '"Anvil"',
                "hammer.model": '"A 12"',
                "hammer.serial": '"77"',
                "hammer.fuel_setting": '"3"',
                "hammer.hammer_cushion": '"aluminium and plastic, 4 in"',
                "hammer.pile_cushion": '"plywood"',
                "hammer.combustion_pressure": '"1500 psi"',
                "hammer.compression_stroke": '"1.25 ft"',
                "drive.0.first_blow": "612",
            }
        )
    )
    assert (sheet.tested_by, sheet.checked_by, sheet.location) == ("A. Reed", "B. Stone", "Invented county")
    assert sheet.recorder == "four channels"
    assert (sheet.hammer.make, sheet.hammer.model, sheet.hammer.serial) == ("Anvil", "A 12", "77")
    assert sheet.hammer.combustion_pressure == pytest.approx(1500 * 6894.757, rel=1e-6)
    assert sheet.hammer.compression_stroke == pytest.approx(0.381)
    assert sheet.drives[0].first_blow == 612


def test_layers_run_from_the_ground_down(write_sheet):
    soil = read_sheet(
        write_sheet(
            {
                "soil.boring": '"B-7"',
                "soil.ground_elevation": '"100 ft"',
                "soil.layer": [
                    {"to": '"3 m"', "soil": '"clay"', "words": '"soft grey clay"'},
                    {"to": '"12 m"', "soil": '"sand"'},
                ],
            }
        )
    ).soil
    assert [(layer.top, layer.bottom, layer.soil) for layer in soil.layers] == [(0, 3, "clay"), (3, 12, "sand")]
    assert soil.ground_elevation == pytest.approx(30.48)


def test_a_requirement_says_how_it_is_asked_for(write_sheet):
    found = read_sheet(
        write_sheet(
            {
                "requirement.redundant": "true",
                "requirement.scour_depth": '"2 m"',
                "requirement.downdrag": '"40 kip"',
                "requirement.count": '"every inch"',
            }
        )
    ).requirement
    assert (found.redundant, found.scour_depth, found.count) == (True, 2.0, "every inch")
    assert found.downdrag == pytest.approx(177_929, rel=1e-5)


def test_four_gauges_are_two_pairs(write_sheet):
    gauges = read_sheet(
        write_sheet({"gauges.strain": '["a", "b", "c", "d"]', "gauges.leave_out": '["a", "b", "c"]'})
    ).gauges
    assert gauges.strain == ("a", "b", "c", "d")


def test_records_and_log_are_kept_by_channel(write_sheet):
    sheet = read_sheet(
        write_sheet(
            {
                "records": {
                    "format": '"text"',
                    "delimiter": '"tab"',
                    "sample_rate": '"20 kHz"',
                    "channels": {
                        "strain_1": {"column": '"CH1"', "unit": '"µm/m"', "factor": "250", "positive": '"tension"'},
                        "acceleration_1": {"column": "4", "unit": '"g"'},
                    },
                },
                "log": {"skip_lines": "6", "depth_to": {"column": '"Depth"', "unit": '"ft"'}},
            }
        )
    )
    channel = sheet.records.channels["strain_1"]
    assert (channel.column, channel.factor, channel.sign) == ("CH1", 250.0, -1.0)
    assert sheet.records.channels["acceleration_1"].column == 4
    assert (sheet.records.delimiter, sheet.records.sample_rate) == ("\t", 20e3)
    assert sheet.log_layout.columns["depth_to"].column == "Depth"


@pytest.mark.parametrize(
    ("changes", "needles"),
    [
        ({"soil.layer": [{"to": '"3 m"', "soil": '"peat"'}]}, ("[[soil.layer]] 1 soil", "peat")),
        ({"soil.layer": [{"soil": '"clay"'}]}, ("[[soil.layer]] 1 to", "12 ft")),
        (
            {"soil.layer": [{"to": '"3 m"', "soil": '"clay"'}, {"to": '"2 m"', "soil": '"sand"'}]},
            ("[[soil.layer]] 2 to",),
        ),
        ({"gauges.strain": '["a", "b", "c"]'}, ("[gauges] strain", "has 3")),
        ({"gauges.strain": '["a", "b", "c", "d"]', "gauges.leave_out": '["a", "b", "c", "d"]'}, ("leave_out", "all")),
        ({"records": {"channels": {"strian_1": {"column": "2"}}}}, ("strian_1", "strain_1")),
        ({"records": {"channels": {"strain_1": {"unit": '"ms"'}}}}, ("strain_1] unit", "strain")),
        ({"records": {"channels": {"strain_1": {"positive": '"up"'}}}}, ("positive", "tension")),
        ({"records": {"channels": {"strain_1": {"positive": '"upward"'}}}}, ("positive", "tension")),
        ({"records": {"channels": {"strain_1": {"factor": "0.0"}}}}, ("factor",)),
        ({"records": {"channels": {"strain_1": {"column": "0"}}}}, ("column", "from 1")),
        ({"records": {"channels": {"strain_1": {"column": "true"}}}}, ("column",)),
        ({"records": {"channels": {"blow": {"unit": '"s"'}}}}, ("blow] unit",)),
        ({"records": {"formats": '"text"'}}, ("[records] formats", "format")),
        ({"records": {"blows": '"rows"', "before": '"6 ms"'}}, ("before", "continuous")),
        (
            {"records": {"blows": '"continuous"', "before": '"60 ms"', "length": '"50 ms"'}},
            ("[records] before", "length"),
        ),
        ({"log": {"depth_to": {"column": '"Depth"', "unit": '"kip"'}}}, ("[log] depth_to", "length")),
        ({"log": {"dates": '"US"'}}, ("[log] dates", "month first")),
        ({"drive.0.first_blow": "-1"}, ("first_blow",)),
        ({"requirement.count": '"each"'}, ("count", "every inch")),
    ],
)
def test_a_key_that_cannot_be_used_is_named(write_sheet, refuses, changes, needles):
    sheet = write_sheet(changes)
    refuses(lambda: read_sheet(sheet), "P2-4/sheet.toml", *needles)
