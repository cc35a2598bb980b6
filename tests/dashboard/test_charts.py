"""Charts put the right number on the right axis, and the lines that an engineer holds them against."""

import altair as alt
import numpy as np
import pandas as pd
import pytest
from dyntest_dashboard.charts import finish
from dyntest_dashboard.charts.profiles import profile_data
from dyntest_dashboard.views.bearing_piles import log_chart
from dyntest_dashboard.views.criterion import criterion_chart
from dyntest_dashboard.views.resistance import factor_chart
from dyntest_dashboard.views.setup import time_chart
from dyntest_dashboard.views.structure import depth_chart

from dyntest.presenting import palette
from dyntest.presenting.frames_decisions import ASKED, GRAPH, WAIT

pytestmark = pytest.mark.usefixtures("charts_held_against_their_schema")

RESISTANCE = "resistance [kip]"


def layers(chart):
    """Kind of mark, encoding and rows of every layer that has rows of its own."""
    whole = chart.to_dict()

    def walk(node, rows):
        data = node.get("data", {})
        rows = whole.get("datasets", {}).get(data.get("name"), data.get("values", rows))
        for inner in node.get("layer", []):
            yield from walk(inner, rows)
        if "mark" in node:
            yield node["mark"]["type"], node.get("encoding", {}), pd.DataFrame(rows)

    return list(walk(whole, None))


def on_axes(encoding, rows):
    """Numbers of a layer across and upward, with the titles of their axes."""
    found = []
    for channel in ("x", "y"):
        told = encoding[channel]
        found += [rows[told["field"]].to_numpy(dtype=float), told.get("axis", {}).get("title")]
    return found


def levels(chart):
    """Heights at which rules go right across a chart."""
    found = []
    for mark, encoding, rows in layers(chart):
        if mark == "rule" and "y" in encoding and not {"x", "y2"} & set(encoding):
            found += rows[encoding["y"]["field"]].tolist()
    return found


def test_resistance_stands_over_the_damping_factor_with_the_matched_one():
    frame = pd.DataFrame({"damping factor [1]": [0.0, 0.5, 1.0], RESISTANCE: [500.0, 400.0, 300.0], "method": "a"})
    chart = factor_chart(frame, 0.4, (380.0, 420.0, 405.0))
    mark, encoding, rows = layers(chart)[0]
    across, across_title, up, up_title = on_axes(encoding, rows)
    assert (mark, across_title, up_title) == ("line", "damping factor [1]", RESISTANCE)
    assert across.tolist() == [0.0, 0.5, 1.0] and up.tolist() == [500.0, 400.0, 300.0]
    assert levels(chart) == [405.0]
    assert levels(factor_chart(frame, 0.4, None)) == []


@pytest.mark.parametrize("required", [None, (380.0, "required 380 kip")])
def test_resistance_stands_over_the_time_waited_with_what_is_required(required):
    points = pd.DataFrame({WAIT: [1.0, 10.0], RESISTANCE: [300.0, 400.0], "low": 290.0, "high": 410.0})
    points["drive"] = ["initial", "restrike"]
    line = points.drop(columns="drive").assign(measured=[True, False])
    chart = time_chart(points, line, required)
    encoding, rows = next((encoding, rows) for mark, encoding, rows in layers(chart) if mark == "point")
    across, across_title, up, up_title = on_axes(encoding, rows)
    assert (across_title, up_title) == (WAIT, RESISTANCE)
    assert across.tolist() == [1.0, 10.0] and up.tolist() == [300.0, 400.0]
    assert encoding["x"]["scale"]["type"] == "log"
    assert levels(chart) == ([] if required is None else [required[0]])
    told = [rows["t"].tolist() for _, _, rows in layers(chart) if "t" in rows]
    assert told == ([] if required is None else [[required[1]]] * 2)


@pytest.mark.parametrize(("minimum", "drawn"), [(None, []), (55.0, []), (62.5, [62.5]), (64.0, [64.0]), (80.0, [80.0])])
def test_a_minimum_penetration_far_above_a_log_leaves_the_room_to_the_log(minimum, drawn):
    """A log may begin where counting began; a minimum below its end was missed, and is always drawn."""
    tops = np.arange(63.0, 65.0, 0.25)
    frame = pd.DataFrame({"top": tops, "bottom": tops + 0.25, "counted": 4.0, "required": 5.0, "stroke": 7.0})
    assert levels(log_chart(frame.assign(remark=""), "ft", "blows per inch", minimum)) == drawn


@pytest.mark.parametrize("first", [2.0, 60.0])
def test_resistance_stands_over_the_depths_that_were_driven(first):
    depths = np.linspace(first, 65.0, 9)
    lines = pd.DataFrame({"pile": "T1", "penetration [ft]": depths, RESISTANCE: 7.0 * depths})
    layers_of_soil = pd.DataFrame({"pile": ["T1"], "top": 0.0, "bottom": 80.0, "soil": "clay", "words": "clay"})
    chart = depth_chart(lines, layers_of_soil)
    low, high = layers(chart)[0][1]["y"]["scale"]["domain"]
    assert low <= first and high >= 65.0 and (depths[-1] - first) / (high - low) > 0.9
    boxes = next(rows for mark, _, rows in layers(chart) if mark == "rect")
    assert boxes["top"].min() >= low and boxes["bottom"].max() <= high


def test_counts_stand_over_the_stroke_with_practical_refusal():
    lines = pd.DataFrame(
        {"stroke [ft]": [7.0, 8.0, 7.0, 8.0], "blows per inch": [6.0, 4.0, 5.6, 3.7], "line": [ASKED] * 2 + [GRAPH] * 2}
    )
    chart = criterion_chart(lines, lines.iloc[:0, :2], 10.0)
    steps = next((encoding, rows) for mark, encoding, rows in layers(chart) if mark == "line")
    across, across_title, up, up_title = on_axes(*steps)
    assert (across_title, up_title) == ("stroke [ft]", "blows per inch")
    assert across.tolist() == [7.0, 8.0] and up.tolist() == [6.0, 4.0]
    assert levels(chart) == [10.0]


def test_a_profile_holds_depth_along_and_the_number_across(small_review):
    limits = {"case_resistance_maximum": (1.7e6, "required", "#000000")}
    drives, codes = small_review.drives, ("case_resistance_maximum", "stroke")
    found = profile_data(small_review.sheet, "P3-1", drives, codes, limits=limits, at=None)
    resistance, stroke = found["columns"]
    kip = 4448.2216152605
    assert [one["value"] for one in resistance["limits"]] == [pytest.approx(1.7e6 / kip)]
    assert stroke["limits"] == []
    for column, code, unit in ((resistance, "case_resistance_maximum", kip), (stroke, "stroke", 0.3048)):
        for one, drive in zip(column["series"], drives, strict=True):
            known = np.isfinite(drive.table[code].to_numpy())
            values = np.array([value if value is not None else np.nan for value in one["value"]])
            np.testing.assert_allclose(values[known], drive.table[code].to_numpy()[known] / unit, rtol=1e-4)
            assert one["blow"] == drive.table["blow"].tolist()


def test_a_picture_that_is_saved_has_a_ground_of_its_own():
    drawn = finish(alt.Chart(pd.DataFrame({"x": [1.0]})).mark_point().encode(x="x:Q"), 100, "words").to_dict()
    assert drawn["config"]["background"] in palette.GROUNDS.values()
