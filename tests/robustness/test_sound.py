"""The test pile that the other tests spoil is sound: a refusal is the work of what was spoilt."""

import json

from dyntest.reading.production_log import read_pile_table, read_production_log


def test_the_sound_test_pile_is_reviewed(folder, run, all_finite):
    status, out, err = run("review", folder / "sheet.toml", "--match", "none")
    assert (status, err) == (0, "")
    assert out.startswith("P3-1: ")
    answers = json.loads((folder / "review" / "summary.json").read_text())
    assert all_finite(answers)
    assert answers["drives"][0]["blows"] == 4


def test_the_sound_logs_are_read(folder):
    assert read_production_log(folder / "production.csv").piles == ("B1", "B2")
    assert read_pile_table(folder / "piles.csv").pile == ("B1", "B2")
