"""A reduction that the integrity factor does not show is looked for where the uniform pile explains the record poorly.

The record was computed by a finite-element library with half the section missing from 11.0 to 12.5 m below the gauges
(tests/data/reference_tests/PROVENANCE.md).
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dyntest.reading.sheet import read_sheet
from dyntest.reviewing.drive import review_drive
from dyntest.reviewing.drive_match import match_drive

SHEET = Path(__file__).parents[1] / "data" / "reference_tests" / "steel_reduced_section" / "sheet.toml"


@pytest.mark.sweep
def test_a_hidden_reduction_is_found():
    sheet = read_sheet(SHEET)
    drive = review_drive(sheet, sheet.drives[0])
    blind = drive.table.assign(integrity_factor=1.0, integrity_depth=np.nan)
    match = match_drive(sheet, replace(drive, table=blind)).match
    assert match.section.depth == pytest.approx(11.0, abs=0.5)
    assert match.section.section_left == pytest.approx(0.5, abs=0.1)
    assert match.matched_resistance == pytest.approx(900e3, rel=0.05)
