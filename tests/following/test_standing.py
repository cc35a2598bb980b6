"""Where a drive stands: what is reached and what is missing, refusal, growing damage, stresses."""

import numpy as np
import pandas as pd
import pytest

from dyntest.decisions.criterion import COUNTING, INCH
from dyntest.decisions.stress_limits import DrivingStressLimits, StressLimit
from dyntest.decisions.stroke_table import holding_length
from dyntest.following.depth import enter_mark, penetration_at
from dyntest.following.record import DEPTHS, Kept, entries
from dyntest.following.standing import growing_damage, holding, live_refusal, live_stresses

REQUIRED = 1.0e6


def drive(resistance, stroke=2.4, trust="yes") -> pd.DataFrame:
    blows = np.arange(1, len(resistance) + 1)
    columns = {"blow": blows, "case_resistance_maximum": np.asarray(resistance, dtype=float), "stroke": stroke}
    return pd.DataFrame(columns | {"trust": trust})


@pytest.fixture
def stands(tmp_path):
    """Give what is missing from resistances, marks of depth [m] and the low end of a match [N]."""

    def ask(resistance, marks, match=None, minimum=None, at=None):
        for blow, depth in marks:
            enter_mark(tmp_path, blow, depth, "US", start=1.0)
        kept = Kept(tmp_path).look()
        if match is not None:
            entry = {"blow": at or len(resistance), "matched_resistance": 1.1 * match, "matched_resistance_low": match}
            kept.matches[entry["blow"]] = {**entry, "problem": ""}
        table = drive(resistance)
        table["penetration"] = penetration_at(entries(tmp_path / DEPTHS), 1.0, table["blow"].to_numpy())
        return holding(table, REQUIRED, COUNTING["US"], kept, 1.0, minimum)

    return ask


def test_reached_only_with_resistance_length_penetration_and_match(stands):
    marks = [(100, 3.0), (200, 3.4)]  # 4 mm a blow
    found = stands([0.8e6] * 100 + [1.05e6] * 100, marks, match=1.02e6, minimum=3.2)
    assert found.reached and found.missing == () and found.first == 101
    assert found.needed == pytest.approx(holding_length(0.004, COUNTING["US"])) and found.held == pytest.approx(
        0.4 * 99 / 100
    )
    assert found.set_per_blow == pytest.approx(0.004) and found.penetration == 3.4 and found.stroke == 2.4


@pytest.mark.parametrize(
    ("case", "missing"),
    [
        ({"resistance": [0.8e6] * 200, "match": 1.02e6}, {"resistance"}),
        ({"resistance": [0.8e6] * 190 + [1.05e6] * 10, "match": 1.02e6}, {"holding"}),
        ({"resistance": [0.8e6] * 100 + [1.05e6] * 100, "match": 1.02e6, "minimum": 5.0}, {"penetration"}),
        ({"resistance": [0.8e6] * 100 + [1.05e6] * 100}, {"match"}),
        ({"resistance": [0.8e6] * 100 + [1.05e6] * 100, "match": 0.9e6}, {"match below"}),
        ({"resistance": [0.8e6] * 100 + [1.05e6] * 100, "match": 1.02e6, "at": 50}, {"match"}),
        ({"resistance": [1.05e6] * 199 + [0.9e6], "match": 1.02e6}, {"resistance"}),
    ],
)
def test_each_thing_that_is_missing_is_named(stands, case, missing):
    assert set(stands(marks=[(100, 3.0), (200, 3.4)], **case).missing) == missing


def test_without_a_depth_nothing_counts_as_held(stands, tmp_path):
    found = holding(
        drive([1.05e6] * 50).assign(penetration=np.nan), REQUIRED, COUNTING["SI"], Kept(tmp_path), None, None
    )
    assert "depth" in found.missing and not found.reached


def test_blows_that_cannot_be_trusted_do_not_count(tmp_path):
    table = drive([0.8e6] * 10 + [2e6] * 5).assign(penetration=np.nan)
    table.loc[10:, "trust"] = "no"
    assert holding(table, REQUIRED, COUNTING["SI"], Kept(tmp_path), None, None).first == 0


def depths(*intervals: tuple[int, float]) -> list[dict]:
    blows, length, found = 0, 1.0, []
    for count, size in intervals:
        blows, length = blows + count, length + size
        found.append({"kind": "mark", "blow": blows, "depth": length, "at": ""})
    return found


def test_refusal_is_ten_blows_an_inch_over_three_inches_and_names_a_low_stroke():
    """UFC 3-220-20 (2025), 6-4.1.2: 10 blows per inch for 3 consecutive inches; 240 blows per foot is absolute."""
    table = drive([1e6] * 200)
    assert live_refusal(table, depths((50, INCH), (10, INCH), (10, INCH)), 1.0, 2.0) is not None
    assert live_refusal(table, depths((9, INCH), (10, INCH), (10, INCH)), 1.0, 2.0) is None
    found = live_refusal(table, depths((10, INCH), (10, INCH), (10, INCH)), 1.0, 3.0)
    assert found is not None and found.low_stroke and not found.absolute
    assert found.set_per_blow == pytest.approx(INCH / 10) and found.length == pytest.approx(3 * INCH)
    absolute = live_refusal(table, depths((100, 0.3), (21, INCH)), 1.0, 2.0)
    assert absolute is not None and absolute.absolute
    assert live_refusal(table, [], 1.0, 2.0) is None


def test_damage_is_a_fall_of_the_integrity_factor_and_not_its_scatter():
    scatter = 0.94 + 0.03 * np.sin(np.arange(60))
    assert growing_damage(drive([1e6] * 60).assign(integrity_factor=scatter, integrity_depth=9.0)) is None
    fallen = np.concatenate([scatter[:50], scatter[:10] - 0.15])
    found = growing_damage(drive([1e6] * 60).assign(integrity_factor=fallen, integrity_depth=9.0))
    assert found is not None and found.depth == 9.0 and found.before - found.now > 0.1


def test_tension_comes_first_while_driving_is_easy_and_is_above_its_limit_when_it_is():
    limits = DrivingStressLimits(StressLimit("compression", 300e6, "", ""), StressLimit("tension", 8e6, "", ""))
    table = drive([2e5] * 12).assign(peak_tension_stress=[7e6] * 11 + [9e6], peak_compression_stress=280e6)
    tension, compression = live_stresses(table, limits, REQUIRED)
    assert (tension.sense, tension.state, tension.above, tension.looked_at) == ("tension", "above", 1, 10)
    assert (compression.sense, compression.state) == ("compression", "near")
    assert [one.sense for one in live_stresses(table.assign(case_resistance_maximum=9e5), limits, REQUIRED)] == [
        "compression",
        "tension",
    ]
