"""The answers as data for other programs."""

import hashlib
import json
from dataclasses import replace

import numpy as np
import pytest

from dyntest.decisions.trust import Trust
from dyntest.names import NAMES
from dyntest.presenting.summary import summary, summary_json
from dyntest.presenting.terminal import lines


def test_summary_has_the_documented_shape(reviewed, small_test):
    data = json.loads(summary_json(reviewed))
    assert (data["format"], data["pile"]) == (1, "P3-1")
    files = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in small_test.parent.iterdir()}
    assert data["inputs"] == files
    for drive, source in zip(data["drives"], reviewed.drives, strict=True):
        assert {"name", "kind", "blows", "representative", "findings"} <= set(drive)
        assert {"blow", "peak_force", "case_resistance", "damping_factor"} <= set(drive["representative"])
        assert drive["blows"] == len(source.table)
        numbers = {code for code in drive["representative"] if code in NAMES}
        assert numbers <= set(data["units"])
        for finding in drive["findings"]:
            assert {"check", "severity", "blows", "value", "threshold", "message"} <= set(finding)
            assert finding["severity"] in ("note", "warning", "reject")
    assert all(data["units"][code] == NAMES[code].unit for code in data["units"])


def test_a_matched_blow_has_its_resistance_with_its_range(matched):
    data = summary(matched)
    for drive, source in zip(data["drives"], matched.drives, strict=True):
        chosen = drive["representative"]
        low, high = chosen["matched_resistance_range"]
        assert low <= chosen["matched_resistance"] <= high
        assert {"shaft_resistance", "toe_resistance", "misfit"} <= set(chosen)
        assert chosen["matched_resistance"] == pytest.approx(source.match.matched_resistance, rel=1e-8)
    factors = data["setup"]["restrikes"][0]["factors"]
    found = matched.answers.setups[0].factors["matched_resistance"]
    assert factors["matched_resistance"]["value"] == pytest.approx(found.value, rel=1e-6)
    ends = [drive["representative"]["matched_resistance"] for drive in data["drives"]]
    assert found.low <= ends[1] / ends[0] <= found.high
    assert data["criterion"]["rows"]


def test_summary_holds_no_number_that_was_not_worked_out(reviewed):
    drive = reviewed.drives[0]
    blank = replace(drive, table=drive.table.assign(case_resistance=np.nan))
    written = summary(replace(reviewed, drives=(blank,)))["drives"][0]["representative"]
    assert written.get("case_resistance") is None
    assert "misfit" not in written


def test_summary_of_a_drive_without_a_sound_blow(reviewed):
    bare = replace(reviewed.drives[0], representative=None, waves=None, trust=Trust("no", ("no sound blow",)))
    unsound = replace(reviewed, drives=(bare,))
    assert json.loads(summary_json(unsound))["drives"][0]["representative"] is None
    told = lines(unsound)
    assert told[0].startswith("P3-1: ") and "no sound blow" in told[0]


def test_a_review_without_a_match_has_no_criterion_and_a_reason(reviewed):
    assert summary(reviewed)["criterion"]["problem"]
