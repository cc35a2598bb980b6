"""The check of the bearing piles of the sample structure, from the files to the words on the terminal."""

import json
import re

import numpy as np
import pandas as pd
import pytest
from dyntest_samples.make_production_log import MADE

from dyntest import cli
from dyntest.decisions.bearing_piles import ACCEPTED, check_bearing_piles
from dyntest.decisions.trust import Caution
from dyntest.errors import InputError
from dyntest.presenting.bearing_pile_answers import bearing_pile_lines, check_files
from dyntest.reading.files import known_as
from dyntest.reading.production_log import ProductionLog, read_pile_table, read_production_log, refuse_other_piles
from dyntest.reviewing.structure import review_bearing_piles


@pytest.fixture(scope="module")
def samples(request):
    return request.config.rootpath / "sample_signals"


@pytest.fixture(scope="module")
def checked(reviewed_sample, samples):
    log, piles = read_production_log(samples / "production_log.csv"), read_pile_table(samples / "piles.csv")
    return review_bearing_piles([reviewed_sample("pier_2_clay")], log, piles)


ODD = {
    "P2-4": {"resumed on another date"},
    "P2-7": {"stopped short of the test piles", "refusal at low stroke"},
    "P2-9": {"resumed on another date"},
    "P2-11": {"ran past the test piles"},
    "P2-13": {"count fell"},
    "P2-14": {"beyond absolute refusal"},
    "P2-16": {"splice"},
    "P2-18": {"resumed on another date"},
    "P2-19": {"stroke not recorded"},
    "P2-20": {"stroke above the approved range"},
    "P2-21": {"stopped short of the test piles", "met above minimum penetration only"},
    "P2-22": {"off plan position"},
    "P2-23": {"short of cutoff"},
    "P2-24": {"no counts"},
}
"""What the script that invents the log put into it."""


def test_every_oddity_that_was_put_in_is_found_and_no_other(checked):
    found = checked.odd.groupby("pile")["kind"].apply(set).to_dict()
    assert found == ODD


def test_piles_are_told_apart(checked):
    status = checked.piles.set_index("pile")["status"]
    failed = set(status[~status.isin(ACCEPTED)].index)
    assert {"P2-13", "P2-19", "P2-20", "P2-21", "P2-24"} <= failed  # made to fail, whatever the count
    assert len(failed) <= 8
    verdict = checked.piles.set_index("pile")["verdict"]
    assert verdict["P2-14"] in ("second look", "not met")  # beyond absolute refusal
    assert status["P2-9"] == "accepted at restrike"  # stopped short of the count as the rule says, and struck again
    assert status["P2-20"] == "stroke out of range"


def test_every_verdict_is_as_its_pile_was_made(checked):
    found = checked.piles.set_index("pile")["verdict"].to_dict()
    assert found == {f"P2-{number}": verdict for number, (verdict, _) in MADE.items()}


def test_the_answer_comes_first_and_every_pile_has_its_reason(checked):
    lines = bearing_pile_lines(checked, "US")
    assert lines[0].startswith(f"{(checked.piles['verdict'] == 'accepted').sum()} of 24 ")
    text = " ".join(line.strip() for line in lines)
    assert all(f"- {pile}: " in text for pile in checked.piles["pile"])  # every accepted pile too
    looks = text.partition("Not accepted before a second look:")[2].partition("Not met:")[0]
    assert "count met" in looks and ": accepted" not in looks
    assert "Without counts: - P2-24: no counts" in text


def test_what_forbids_the_criterion_stands_before_the_answer(checked):
    from dataclasses import replace

    held = replace(checked.criterion, alerts=(Caution("lower bound"),))
    lines = bearing_pile_lines(replace(checked, criterion=held), "US")
    assert lines[0].startswith("DO NOT USE THIS CHECK YET: ")


def test_files_hold_what_was_found(checked, tmp_path):
    files = check_files(checked, {"log.csv": "0" * 64}, "US")
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    piles = pd.read_csv(tmp_path / "bearing_piles.csv")
    assert piles["pile"].tolist() == checked.piles["pile"].tolist()
    np.testing.assert_allclose(piles["penetration [m]"], checked.piles["penetration"], rtol=1e-8)
    assert len(pd.read_csv(tmp_path / "odd_piles.csv")) == len(checked.odd)
    told = json.loads(files["check.json"])
    verdict = checked.piles["verdict"]
    counts = [int((verdict == one).sum()) for one in ("accepted", "not met")]
    assert [told["met"], len(told["not_met"])] == counts
    assert told["piles"] == 24
    assert told["accepted"] == piles.loc[piles["verdict"] == "accepted", "pile"].tolist()
    assert [one["pile"] for one in told["verdicts"]] == piles["pile"].tolist()
    assert told["criterion"]["rows"][0]["blows_per_25mm"] == pytest.approx(
        0.025 / checked.criterion.rows[0].set_per_blow
    )
    assert told["inputs"] == {"log.csv": "0" * 64}


def test_a_test_pile_without_a_criterion_is_refused(reviewed_sample, samples, checked):
    from dataclasses import replace

    reviewed = reviewed_sample("pier_2_clay")
    without = replace(
        reviewed,
        answers=replace(
            reviewed.answers, criterion=None, criterion_problem=Caution("no hammer", facts={"needed": ("ram_weight",)})
        ),
    )
    log = read_production_log(samples / "production_log.csv")
    with pytest.raises(InputError) as caught:
        review_bearing_piles([without], log)
    assert caught.value.source == known_as(reviewed.sheet.path)


def test_piles_of_another_kind_are_not_combined(reviewed_sample, concrete_sample, samples):
    log = read_production_log(samples / "production_log.csv")
    reviews = [reviewed_sample("pier_2_clay"), concrete_sample]
    with pytest.raises(InputError, match="P2-4 and A1-2"):
        review_bearing_piles(reviews, log)


def test_a_table_of_other_piles_is_one_error_before_anything_is_reviewed(tmp_path, samples, monkeypatch, capsys):
    monkeypatch.setattr("dyntest.reviewing.review.review", None)
    log, other = samples / "production_log.csv", samples / "abutment_piles.csv"
    with pytest.raises(SystemExit):
        cli.main(["check", str(samples / "pier_2_clay" / "sheet.toml"), str(log), "--piles", str(other)])
    said = capsys.readouterr().err
    assert known_as(other) in said and known_as(log) in said and len(said.strip().splitlines()) == 1


def test_a_table_that_shares_a_pile_with_the_log_is_taken(samples):
    log, piles = read_production_log(samples / "production_log.csv"), read_pile_table(samples / "piles.csv")
    refuse_other_piles(log, piles.take([pile == log.piles[0] for pile in piles.pile]))
    with pytest.raises(InputError) as caught:
        refuse_other_piles(log, piles.take([pile not in log.piles for pile in piles.pile]))
    assert caught.value.source == piles.source


@pytest.fixture
def quick(monkeypatch, reviewed_sample):
    """Let the command line find the sample already reviewed."""
    monkeypatch.setattr(
        "dyntest.reviewing.review.review", lambda path, progress=None: reviewed_sample(path.parent.name)
    )


def run(*words):
    with pytest.raises(SystemExit) as left:
        cli.main([str(word) for word in words])
        raise SystemExit(0)
    return left.value.code or 0


def test_the_command_prints_and_writes(quick, samples, tmp_path, capsys):
    words = ("check", samples / "pier_2_clay" / "sheet.toml", samples / "production_log.csv")
    out = tmp_path / "out"
    assert run(*words, "--piles", samples / "piles.csv", "--out", out) == 0
    told = capsys.readouterr()
    assert told.err == ""
    assert re.match(r"\d+ of 24 ", told.out)
    assert {path.name for path in out.iterdir()} == {"bearing_piles.csv", "odd_piles.csv", "check.json"}
    inputs = json.loads((out / "check.json").read_text())["inputs"]
    assert {"production_log.csv", "piles.csv", "pier_2_clay/sheet.toml", "pier_2_clay/initial.parquet"} <= set(inputs)


def test_a_wrong_log_leaves_nothing_and_says_where(samples, tmp_path, capsys):
    log = tmp_path / "log.csv"
    log.write_text("pile,depth_from [ft],depth_to [ft],blows\nA,0,1,many\n")
    out = tmp_path / "out"
    assert run("check", samples / "pier_2_clay" / "sheet.toml", log, "--out", out) == 1
    told = capsys.readouterr()
    assert "log.csv, row 2, column blows" in told.err
    assert not out.exists()


def test_a_folder_that_holds_the_log_under_a_results_name_is_refused(quick, samples, tmp_path, capsys):
    log = tmp_path / "bearing_piles.csv"
    log.write_bytes((samples / "production_log.csv").read_bytes())
    before = log.read_bytes()
    assert run("check", samples / "pier_2_clay" / "sheet.toml", log, "--out", tmp_path) == 1
    assert '"bearing_piles.csv"' in capsys.readouterr().err
    assert log.read_bytes() == before


SAMPLES = (
    "pier_2_clay",
    pytest.param("pier_3_shale", marks=pytest.mark.sweep),  # no other test of the README's command reviews it
    pytest.param("abutment_1_concrete", marks=pytest.mark.sweep),  # nor these, matched afresh
    pytest.param("abutment_4_damaged", marks=pytest.mark.sweep),
)


@pytest.mark.parametrize("name", SAMPLES)
def test_a_test_pile_meets_its_own_criterion_where_its_resistance_does(reviewed_sample, name):
    """Its own log against its own card; A1-2 ended at a stroke that its card ruled out, and P3-1 at its refusal."""
    review = reviewed_sample(name)
    found = review.answers.criterion
    drive = [drive for drive in review.drives if drive.kind == "initial"][-1]
    if found.criterion is None:
        assert {"no usable stroke", "stroke not reached"} & {caution.kind for caution in found.cautions}
        return
    log = drive.log
    marks = np.full(len(log.blows), review.sheet.pile_name)
    texts = ("",) * len(log.blows)
    own = ProductionLog("log.csv", marks, log.depth_from, log.depth_to, log.blows, log.stroke, texts, texts)
    row = check_bearing_piles(own, found.criterion).piles.iloc[0]
    enough = drive.match.matched_resistance / found.target.value
    assert row["stroke_in_range"], (row["last_stroke"], found.criterion.minimum_stroke, found.criterion.maximum_stroke)
    if enough >= 1.05:
        assert row["status"] == "accepted", (enough, row.to_dict())
    if enough <= 0.95:
        assert row["status"] != "accepted", (enough, row.to_dict())


@pytest.mark.parametrize("name", SAMPLES)
def test_no_count_that_is_asked_for_is_refusal(reviewed_sample, name):
    held = reviewed_sample(name).answers.criterion.criterion
    if held is not None:
        assert all(row.set_per_blow > held.refusal_set for row in held.rows)
