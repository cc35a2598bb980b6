"""Bad last blows are not called sound, and a restrike does not begin above where the drive before it ended."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from dyntest.conditioning.findings import Finding
from dyntest.reading.sheet import read_sheet
from dyntest.reviewing.drive import held_together, review_drive
from dyntest.reviewing.review import review

SAMPLES = "sample_signals"


@pytest.fixture(scope="module")
def folder(tmp_path_factory, request):
    """A sample whose last twentieth of blows has both strains 1.3 times too large."""
    import shutil

    source = request.config.rootpath / SAMPLES / "pier_3_shale"
    target = tmp_path_factory.mktemp("late") / "pile"
    shutil.copytree(source, target)
    table = pd.read_parquet(target / "initial.parquet")
    numbers = table["blow"].unique()
    late = table["blow"].isin(numbers[-len(numbers) // 20 :])
    for column in [name for name in table if name.startswith("strain")]:
        table[column] = table[column].where(~late, 1.3 * table[column])
    table.to_parquet(target / "initial.parquet", index=False)
    return target


def test_strains_too_large_in_the_last_twentieth_are_no_mere_note(folder):
    sheet = read_sheet(folder / "sheet.toml")
    drive = review_drive(sheet, sheet.drives[0])
    (found,) = [f for f in drive.findings if f.check == "proportionality"]
    assert len(found.blows) <= 0.05 * len(drive.table) + 1
    assert found.severity == "warning"
    assert drive.trust.answer == "with care"
    assert "proportionality" in drive.trust.reasons
    assert drive.representative.blow in found.blows and found in drive.trust.at_blow
    assert "proportionality" in drive.representative.warned


def test_a_restrike_above_the_end_of_the_drive_is_said(folder):
    sheet = read_sheet(folder / "sheet.toml")
    drives = list(review(sheet, match="none").drives)
    assert not [f for drive in drives for f in drive.findings if f.check == "penetration"]
    end = float(drives[0].table["penetration"].iloc[-1])
    high = replace(drives[1], table=drives[1].table.assign(penetration=end - 2.0))
    told = held_together([drives[0], high])
    (found,) = [f for f in told[1].findings if f.check == "penetration"]
    assert found == Finding("penetration", "warning", (), end - 2.0, end, case="above the drive before")
    assert told[1].trust.answer == "with care"
    assert told[0] == drives[0] or np.array_equal(told[0].table, drives[0].table, equal_nan=True)


def test_without_a_log_the_depth_of_the_start_is_not_that_of_the_end(folder):
    """It was the depth of the last blow, and of the criterion, without a word."""
    sheet = read_sheet(folder / "sheet.toml")
    bare = replace(sheet.drives[0], log=None)
    first = review_drive(sheet, bare)
    (found,) = [f for f in held_together([first])[0].findings if f.check == "penetration"]
    start = bare.penetration_at_start
    assert found == Finding("penetration", "warning", (), start, start, case="end not known")
    assert first.end_penetration is None
    assert review_drive(sheet, sheet.drives[0]).end_penetration > start
    assert review_drive(sheet, sheet.drives[1]).end_penetration == sheet.drives[1].penetration_at_start


def test_a_restrike_far_below_the_end_of_the_logged_drive_is_told(folder):
    sheet = read_sheet(folder / "sheet.toml")
    first, later = (review_drive(sheet, drive) for drive in sheet.drives[:2])
    end = float(first.table["penetration"].iloc[-1])
    deep = replace(later, table=later.table.assign(penetration=end + 2.0))
    found = held_together([first, deep])[1].findings[-1]
    assert found == Finding("penetration", "warning", (), end + 2.0, end, case="below the drive before")
    assert held_together([replace(first, log=None), deep])[1] is deep  # it may have been driven on
    assert held_together([first, later])[1] is later
