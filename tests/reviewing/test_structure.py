"""A structure of several tests: one criterion a group, its bearing piles, and what the piles tell together."""

import json
import shutil
from concurrent.futures import Future
from dataclasses import replace
from datetime import datetime, timedelta
from math import isfinite
from types import SimpleNamespace

import numpy as np
import pytest
from dyntest_samples.make_production_log import MADE, MADE_AT_ABUTMENTS

from dyntest.decisions.bearing_oddities import HURT_TEST
from dyntest.decisions.combined_criterion import BASES, group_criterion
from dyntest.decisions.estimate import Estimate
from dyntest.decisions.trust import Caution
from dyntest.errors import InputError
from dyntest.presenting.structure_board import pooled_words
from dyntest.reading.files import program, sha256
from dyntest.reading.structure_sheet import is_structure, read_structure
from dyntest.reviewing.pile_result import (
    SetupPoint,
    as_plain,
    from_plain,
    hammer_runs,
    pile_result,
    pooled_damping,
    pooled_efficiency,
    pooled_setups,
)
from dyntest.reviewing.structure import read_tables, review_structure
from dyntest.reviewing.survey import PileRecord, keep_record, kept_records, pile_row

TESTS = ("pier_2_clay", "pier_3_shale", "abutment_1_concrete", "abutment_4_damaged")


class Refusing:
    """An executor that only notes what it is asked for."""

    def __init__(self):
        self.asked = []

    def submit(self, function, path, name, match):
        """Give a pile that failed."""
        self.asked.append(name)
        done = Future()
        done.set_result(PileRecord(name, {}, match, program(), None, "not reviewed here"))
        return done


@pytest.fixture(scope="session")
def samples(request):
    """The folder of the invented samples."""
    return request.config.rootpath / "sample_signals"


@pytest.fixture(scope="module")
def structure(told_sample, samples):
    """The sample structure, nothing of it reviewed."""
    newly = []
    found = review_structure(read_structure(samples / "structure.toml"), known=told_sample, keep=newly.append)
    assert newly == []
    return found


@pytest.fixture
def copied(samples, tmp_path):
    """A copy of the sample structure that may be spoilt; gives its file."""
    shutil.copytree(samples, tmp_path / "s", ignore=shutil.ignore_patterns("structure", "review", "__pycache__"))
    return tmp_path / "s" / "structure.toml"


@pytest.mark.sweep
def test_every_pile_of_the_log_is_as_it_was_made(reviewed_sample, samples):
    known = {}
    for name in TESTS:
        review, sheet = reviewed_sample(name), f"{name}/sheet.toml"
        row, result = pile_row(review, sheet), pile_result(review)
        known[sheet] = PileRecord(sheet, review.inputs, "best", program(), row, "", result)
        again = from_plain(json.loads(json.dumps(as_plain(result))))
        assert repr(again.criterion) == repr(result.criterion)
        assert [drive.resistance for drive in again.drives] == [drive.resistance for drive in result.drives]
    found = review_structure(read_structure(samples / "structure.toml"), known=known)
    pier, abutments = (group.check.piles.set_index("pile")["verdict"].to_dict() for group in found.groups[:2])
    assert pier == {f"P2-{number}": verdict for number, (verdict, _) in MADE.items()} and len(pier) == 24
    assert abutments == {mark: verdict for mark, (verdict, _) in MADE_AT_ABUTMENTS.items()}


def test_the_sample_logs_are_those_of_their_making(structure):
    pier = structure.groups[0].check.piles.set_index("pile")["verdict"].to_dict()
    assert pier == {f"P2-{number}": verdict for number, (verdict, _) in MADE.items()}
    abutments = structure.groups[1].check.piles.set_index("pile")["verdict"].to_dict()
    assert abutments == {mark: verdict for mark, (verdict, _) in MADE_AT_ABUTMENTS.items()}


def test_a_hurt_test_pile_gives_no_counts_where_a_sound_one_stands_beside_it(structure):
    abutments = structure.groups[1]
    assert Caution("damaged test pile", pile="A4-3") in abutments.cautions
    assert abutments.criterion.rows == structure.results[1].criterion.criterion.rows


def test_a_hurt_test_pile_wants_a_second_look_whatever_its_count(structure):
    check = structure.groups[1].check
    row = check.piles.set_index("pile").loc["A4-3"]
    assert (row["verdict"], row["status"]) == ("second look", "accepted")
    assert ("A4-3", HURT_TEST) in set(zip(check.odd["pile"], check.odd["kind"], strict=True))
    assert HURT_TEST not in set(structure.groups[0].check.odd["kind"])


def test_what_is_kept_survives_json(told_sample):
    for record in told_sample.values():
        again = from_plain(json.loads(json.dumps(as_plain(record.result))))
        assert as_plain(again) == as_plain(record.result) or repr(again.criterion) == repr(record.result.criterion)


def test_only_a_pile_whose_files_changed_is_done_again(told_sample, copied, tmp_path):
    for record in told_sample.values():
        keep_record(tmp_path / "kept", record)
    log = copied.parent / "abutment_1_concrete" / "driving_log.csv"
    log.write_text(log.read_text() + "\n")
    executor = Refusing()
    kept = kept_records(tmp_path / "kept", told_sample)
    review_structure(read_structure(copied), known=kept, executor=executor)
    assert executor.asked == ["abutment_1_concrete/sheet.toml"]


def test_tables_of_one_name_in_two_folders_each_keep_their_fingerprint(told_sample, copied):
    text, folder = copied.read_text(), copied.parent
    moved = {"production_log": "pier_2_clay/log", "piles": "pier_2_clay/piles"}
    moved |= {"abutment_log": "abutment_1_concrete/log", "abutment_piles": "abutment_1_concrete/piles"}
    for old, new in moved.items():
        shutil.move(folder / f"{old}.csv", folder / f"{new}.csv")
        text = text.replace(f'"{old}.csv"', f'"{new}.csv"')
    copied.write_text(text)
    found = review_structure(read_structure(copied), known=told_sample, executor=Refusing())
    assert dict(found.inputs) == {name: sha256(folder / name) for name in found.inputs}
    assert set(found.inputs) == {"structure.toml", *(f"{name}.csv" for name in moved.values())}


def test_a_test_pile_that_fails_is_a_row_with_its_reason(told_sample, samples):
    sheet = read_structure(samples / "structure.toml")
    found = review_structure(sheet, known={**told_sample, "pier_3_shale/sheet.toml": None}, executor=Refusing())
    assert found.records[3].problem == "not reviewed here"
    assert found.groups[2].criterion is None and found.groups[2].cautions[0].kind == "test pile not reviewed"
    assert found.groups[0].criterion is not None


def test_piles_that_agree_are_pooled_and_piles_that_do_not_are_told_first(told_result):
    one = told_result("P2-4").criterion
    near, basis, together, cautions = group_criterion([one, told_result("P2-9", factor=1.03).criterion])
    assert basis == BASES[2] and together.agree and not cautions
    ratio = near.rows[1].set_per_blow / one.criterion.rows[1].set_per_blow
    assert ratio == pytest.approx(np.sqrt(1.03), rel=1e-6)
    assert all(np.isnan(row.short) and np.isnan(row.driven_on) for row in near.rows)  # those were of the smaller set
    far, basis, _, cautions = group_criterion([one, told_result("P2-9", factor=2.5).criterion])
    assert basis == BASES[1] and cautions[0].kind == "test piles disagree"
    assert [row.set_per_blow for row in far.rows] == [row.set_per_blow for row in one.criterion.rows]


def test_setup_is_pooled_by_soil_with_a_range_for_the_next_pile(told_result):
    week = 7.0 * 86400.0

    def pile(name, gain):
        point = SetupPoint("restrike", week, Estimate(1.0 + gain, 0.95 + gain, 1.05 + gain), True)
        return replace(told_result(name), setups=(point,))

    (clay,) = pooled_setups([pile("a", 0.40), pile("b", 0.48), pile("c", 0.60)])
    value, low, high = clay.factor(week)
    assert 1.40 < low + 0.5 * (high - low) < 1.60 and low < 1.40 < 1.60 < high
    assert value == pytest.approx(1.49, abs=0.02)
    assert clay.piles == ("a", "b", "c") and clay.rate.between > 0.0


def test_no_setup_factor_of_the_next_pile_is_below_none(told_result):
    """Two piles that differ gave "−3.02 to 6.92 for a pile that was not tested"."""
    week = 7.0 * 86400.0

    def pile(name, factor):
        point = SetupPoint("restrike", week, Estimate(factor, factor - 0.05, factor + 0.05), True)
        return replace(told_result(name), setups=(point,))

    (clay,) = pooled_setups([pile("a", 1.49), pile("b", 2.39)])
    value, low, high = clay.factor(week)
    assert low == 0.0 < value < high
    (alone,) = pooled_setups([pile("a", 1.49)])
    assert not isfinite(alone.factor(week)[1])  # one pile gives no range, and none is made up
    words = " ".join(pooled_words(SimpleNamespace(setups=(clay,), damping_factor=None, efficiency=None)))
    assert "0.00 to" in words and "too few test piles" in words


def test_factors_of_different_soils_and_hammers_are_not_pooled(told_result):
    one, other = told_result("a"), told_result("b", kind="hydraulic")
    assert pooled_efficiency([one, one]).value == pytest.approx(0.6) and pooled_efficiency([one, other]) is None
    assert pooled_damping([one, other]).value == pytest.approx(0.5)
    assert pooled_damping([one, replace(other, toe_soil="rock")]) is None


def test_a_log_of_another_hammer_is_told_of_its_group(told_sample, copied):
    log = copied.parent / "production_log.csv"
    head, *rows = [line.split(",") for line in log.read_text().splitlines()]
    place = head.index("stroke [ft]")
    log.write_text("\n".join(",".join([*row[:place], "3.0", *row[place + 1 :]]) for row in [head, *rows])
                   .replace("blows,3.0,", "blows,stroke [ft],", 1) + "\n")  # fmt: skip
    group = review_structure(read_structure(copied), known=told_sample).groups[0]
    assert "strokes of another hammer" in [caution.kind for caution in group.cautions]


def struck(told_result, ratios, **more):
    """Test piles of one hammer that passes on these shares of its energy, a week apart; the last ones first."""
    results = []
    for number, ratio in enumerate(ratios):
        one = told_result(f"T{number}", **more)
        start = datetime(2026, 5, 1) + timedelta(weeks=number)
        results.append(replace(one, drives=(replace(one.drives[0], transfer_ratio=ratio, start=start),)))
    return results[::-1]


def test_a_hammer_that_drifts_is_told_from_one_that_scatters(told_result):
    (fading,) = hammer_runs(struck(told_result, (0.60, 0.57, 0.52, 0.50, 0.46, 0.43)))
    assert fading.piles == ("T0", "T1", "T2", "T3", "T4", "T5") and fading.drifts
    assert fading.change.value == pytest.approx(0.43 / 0.60 - 1.0, abs=0.03)
    (steady,) = hammer_runs(struck(told_result, (0.52, 0.55, 0.50, 0.54, 0.51, 0.53)))
    assert not steady.drifts and steady.change.low < 0.0 < steady.change.high
    two = hammer_runs([*struck(told_result, (0.6, 0.54)), *struck(told_result, (0.9, 0.9), kind="hydraulic")])
    assert {run.kind: run.ratios for run in two} == {"open-end diesel": (0.6, 0.54), "hydraulic": (0.9, 0.9)}
    assert not two[0].drifts  # two piles differ by chance as much


def test_the_change_of_a_hammer_is_the_line_that_scipy_fits(told_result):
    from scipy.stats import linregress, t

    ratios = np.array([0.62, 0.55, 0.59, 0.50, 0.41])
    line = linregress(np.arange(5.0), np.log(ratios))
    (run,) = hammer_runs(struck(told_result, tuple(ratios)))
    assert np.log1p(run.change.value) == pytest.approx(4.0 * line.slope)
    assert np.log1p(run.change.high) - np.log1p(run.change.value) == pytest.approx(4.0 * t.ppf(0.95, 3) * line.stderr)


def test_one_pile_in_two_groups_is_refused(copied):
    shutil.copy(copied.parent / "production_log.csv", copied.parent / "again.csv")
    copied.write_text(copied.read_text() + 'production_log = "again.csv"\n')
    with pytest.raises(InputError, match=r"Pier 2.*Pier 3"):
        read_tables(read_structure(copied))


def test_a_pile_in_the_tables_of_two_groups_is_refused(copied):
    log = copied.parent / "again.csv"
    log.write_text("pile,depth_from [ft],depth_to [ft],blows,stroke [ft],date,remark\nP3-9,1,2,20,2,2026-05-18,\n")
    shutil.copy(copied.parent / "piles.csv", copied.parent / "more.csv")
    copied.write_text(copied.read_text() + 'production_log = "again.csv"\npiles = "more.csv"\n')
    with pytest.raises(InputError, match=r"Pier 2.*Pier 3"):
        read_tables(read_structure(copied))


def test_a_table_without_a_pile_of_its_groups_log_is_refused(copied):
    table = copied.parent / "piles.csv"
    table.write_text(table.read_text().replace("P2-", "Q2-"))
    with pytest.raises(InputError, match="none of the piles") as caught:
        read_tables(read_structure(copied))
    assert caught.value.source.endswith("piles.csv")


def test_a_table_of_all_piles_is_shared_out_among_the_groups(copied):
    log = (copied.parent / "production_log.csv").read_text().splitlines()
    own = [line for line in log if line.startswith(("P2-22,", "P2-23,"))]
    (copied.parent / "production_log.csv").write_text("\n".join(line for line in log if line not in own))
    (copied.parent / "again.csv").write_text("\n".join([log[0], *own]))
    copied.write_text(copied.read_text() + 'production_log = "again.csv"\npiles = "piles.csv"\n')
    (_, first), _, (_, last) = read_tables(read_structure(copied))
    assert last.pile == ("P2-22", "P2-23") and len(first.pile) == 22 and "P2-24" in first.pile
    assert last.x.tolist() == pytest.approx([42 * 0.3048] * 2)


UNUSABLE = {
    "another structure": (
        "pier_3_shale/sheet.toml",
        'structure = "Quillback Creek Bridge (invented)"',
        'structure = "Heron Slough Viaduct (invented)"',
        ("pier_3_shale/sheet.toml", "[test] structure", "Heron Slough"),
    ),
    "one pile in two sheets": (
        "pier_3_shale/sheet.toml",
        'pile = "P3-1"',
        'pile = "P2-4"',
        ("structure.toml", "[[group]] tests", "P2-4"),
    ),
    "two systems of units": (
        "structure.toml",
        'display_units = "US"\n',
        "",
        ("structure.toml", "[structure]", "display_units"),
    ),
}


@pytest.mark.parametrize("case", UNUSABLE)
def test_what_cannot_be_used_together_is_refused_before_the_work_and_nothing_is_written(case, copied, capsys):
    from dyntest import cli

    file, old, new, told = UNUSABLE[case]
    path = copied.parent / file
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))
    if case == "two systems of units":
        other = copied.parent / "pier_3_shale" / "sheet.toml"
        other.write_text(other.read_text().replace('display_units = "US"', 'display_units = "SI"'))
    before = sorted(copied.parent.rglob("*"))
    with pytest.raises(SystemExit) as left:
        cli.main(["structure", str(copied)])
    message = capsys.readouterr().err
    assert left.value.code == 1 and message.count("\n") == 1
    assert all(words in message for words in told)
    assert sorted(copied.parent.rglob("*")) == before


def test_names_that_may_be_of_one_structure_are_not_refused(copied):
    for folder, name in (("pier_2_clay", "Quillback Creek, pier 2"), ("pier_3_shale", "Bridge 12-034")):
        sheet = copied.parent / folder / "sheet.toml"
        sheet.write_text(sheet.read_text().replace("Quillback Creek Bridge (invented)", name))
    assert len(read_tables(read_structure(copied))) == 3


def test_a_structure_is_told_from_a_test_sheet(samples, tmp_path):
    assert is_structure(samples / "structure.toml")
    assert not is_structure(samples / "pier_2_clay" / "sheet.toml") and not is_structure(tmp_path / "none.toml")
