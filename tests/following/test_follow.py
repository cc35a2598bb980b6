"""Blows taken as a recorder writes them: each once, none half-written, none lost; the numbers are those of a review."""

import errno
import json
import os
import random
import signal
import subprocess
import sys
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dyntest.errors import InputError
from dyntest.following import intake
from dyntest.following.compute import CONTEXT, match_one
from dyntest.following.depth import enter_mark
from dyntest.following.follow import PATIENCE
from dyntest.following.handover import handed_over, matched_for_review
from dyntest.following.record import FullError, Kept, entries, last_blow, only_follower
from dyntest.presenting.live_words import matched_line, told_line
from dyntest.reading.sheet import read_sheet
from dyntest.reviewing.drive import review_drive
from dyntest.reviewing.review import review

ROOT = Path(__file__).parent.parent.parent

WHOLE_DRIVE = {"integrity_factor", "integrity_depth", "set_per_blow", "penetration", "blow_rate", "stroke"}
"""Numbers that depend on blows that come later or on the log."""


def blows(follower) -> list[int]:
    return sorted(Kept(follower.folder).look().blows)


def kinds(follower) -> list[str]:
    return [note["kind"] for note in Kept(follower.folder).look().notes]


def test_a_file_is_taken_when_it_rests_and_only_once(recorder, followed, take):
    follower = followed(recorder)
    recorder.write(1)
    assert follower.look() == []
    assert [one.blow for one in follower.look()] == [1]
    assert take(follower, 3) == [] and not follower.unsettled
    recorder.write(2)
    recorder.write(3)
    assert [one.blow for one in take(follower)] == [2, 3]


def test_every_number_is_that_of_a_review_of_the_same_files(recorder, followed, take):
    follower = followed(recorder)
    for number in range(1, 13):
        recorder.write(number)
        take(follower)
    assert handed_over(follower).blows == 12
    sheet = read_sheet(recorder.sheet)
    whole = review_drive(sheet, sheet.drives[0]).table
    live = Kept(follower.folder).look().table()
    codes = [code for code in whole if code in live and code not in WHOLE_DRIVE]
    assert len(codes) > 20 and len(live) == len(whole) == 12
    for code in codes:
        # chunks of another size may differ in the last bit
        np.testing.assert_allclose(live[code].to_numpy(), whole[code].to_numpy(), rtol=1e-12, err_msg=code)
    later = slice(CONTEXT + 1, None)  # with as many blows before it, time between blows is known as in the whole drive
    np.testing.assert_allclose(live["stroke"].to_numpy()[later], whole["stroke"].to_numpy()[later], rtol=1e-12)


def test_what_is_written_at_the_end_reviews_as_the_same_files_and_log_from_scratch(
    recorder, followed, take, replay_class, tmp_path_factory
):
    follower = followed(recorder)
    start = follower.drive.penetration_at_start
    for number in range(1, 13):
        recorder.write(number)
        take(follower)
        if number in (5, 12):
            enter_mark(follower.folder, number, start + 0.02 * number, "US", start=start)
    done = handed_over(follower)
    assert done.log == "follow/initial/driving_log.csv" and done.beyond == 0 and not done.signals
    scratch = replay_class(tmp_path_factory.mktemp("scratch"), blows=12)
    for number in range(1, 13):
        scratch.write(number)
    (scratch.root / "log.csv").write_bytes((follower.folder / "driving_log.csv").read_bytes())
    text = scratch.sheet.read_text()
    scratch.sheet.write_text(text.replace('kind = "initial"', 'kind = "initial"\nlog = "log.csv"'))
    one, other = review(recorder.sheet, match="none"), review(scratch.sheet, match="none")
    assert one.drives[0].log is not None
    np.testing.assert_array_equal(one.drives[0].table.to_numpy(), other.drives[0].table.to_numpy())
    assert [f.check for f in one.drives[0].findings] == [f.check for f in other.drives[0].findings]


def test_a_half_written_file_is_not_taken_before_it_is_whole(recorder, followed, take):
    follower = followed(recorder)
    recorder.write(1)
    take(follower)
    recorder.write(2, rows=300)
    assert take(follower, 5) == [] and follower.unsettled
    recorder.write(2)
    assert [one.blow for one in take(follower)] == [2]
    assert kinds(follower) == []


def test_a_first_file_that_was_taken_too_soon_is_taken_again_under_its_number(recorder, followed, take):
    follower = followed(recorder)
    recorder.write(1, rows=400)
    assert [one.samples for one in take(follower)] == [400]
    follower.samples = 0  # nothing is known of the length yet
    recorder.write(1)
    assert [(one.blow, one.samples) for one in take(follower)] == [(1, 760)]
    assert blows(follower) == [1]


def test_a_file_that_stays_unreadable_is_set_aside_with_one_note_and_taken_once_it_is_whole(recorder, followed, take):
    follower = followed(recorder)
    recorder.write(1)
    take(follower)
    recorder.write(2, rows=300)
    take(follower, PATIENCE + 5)
    assert kinds(follower) == [intake.UNREADABLE] and not follower.unsettled
    again = followed(recorder)
    take(again, PATIENCE + 5)
    assert kinds(again) == [intake.UNREADABLE]
    recorder.write(2)
    assert [one.blow for one in take(again)] == [2]


def test_a_recorder_that_begins_again_is_numbered_on_and_nothing_is_lost(recorder, followed, take):
    follower = followed(recorder)
    for number in (1, 2, 3):
        recorder.write(number, numbered=True)
    take(follower)
    for number in (4, 5):  # over the files that were there
        path = recorder.folder / f"blow_{number - 3:04d}.csv"
        recorder.record(number, numbered=True).assign(blow=number - 3).to_csv(path, index=False)
    take(follower)
    assert blows(follower) == [1, 2, 3, 4, 5] and kinds(follower) == [intake.RESTARTED]
    done = handed_over(follower)
    assert done.signals
    table = review_drive(read_sheet(recorder.sheet), read_sheet(recorder.sheet).drives[0]).table
    live = Kept(follower.folder).look().table()
    np.testing.assert_array_equal(table["blow"].to_numpy(), [1, 2, 3, 4, 5])
    np.testing.assert_allclose(table["peak_force"].to_numpy(), live["peak_force"].to_numpy(), rtol=1e-12)


def test_a_missing_blow_leaves_a_gap_and_a_note(recorder, followed, take):
    follower = followed(recorder)
    for number in (1, 2, 4):
        recorder.write(number, numbered=True)
    take(follower)
    assert blows(follower) == [1, 2, 4] and kinds(follower) == [intake.MISSING]
    assert "stroke" not in Kept(follower.folder).look().blows[4].numbers  # the time between is of two blows


@pytest.fixture
def of_two(recorder, followed, take):
    """A follower that has taken two blows."""
    follower = followed(recorder)
    for number in (1, 2):
        recorder.write(number)
    take(follower, 3)
    return follower


def test_a_clock_that_goes_back_is_counted_on(recorder, of_two, take):
    follower = of_two
    path = recorder.folder / "blow_0003.csv"
    recorder.record(3).assign(**{"clock [s]": 0.5}).to_csv(path, index=False)
    take(follower)
    kept = Kept(follower.folder).look()
    assert kinds(follower) == [intake.CLOCK_BACK] and kept.blows[3].clock == 0.5
    assert kept.blows[3].numbers["clock"] == kept.blows[2].numbers["clock"] + intake.PAUSE
    assert handed_over(follower).signals and review(recorder.sheet, match="none").drives[0].table["blow"].max() == 3


def test_started_again_at_any_moment_it_goes_on(recorder, followed, take):
    chance = random.Random(7)
    follower = followed(recorder)
    for number in range(1, 13):
        recorder.write(number)
        take(follower, chance.choice((1, 2, 3)))
        if chance.random() < 0.5:
            follower = followed(recorder)
    take(follower, 3)
    assert blows(follower) == list(range(1, 13))
    lines = entries(follower.folder / "blows.jsonl")
    assert len(lines) == 12


KILLED = """
import os, signal, sys
from dyntest.following.follow import Follower
from dyntest.following import record
from dyntest.presenting.live_words import matched_line, told_line
from dyntest.reading.sheet import read_sheet

left, real = int(sys.argv[2]), os.fsync

def dying(handle):
    global left
    left -= 1
    if left == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    real(handle)

os.fsync = dying
sheet = read_sheet(sys.argv[1], recorded=False)
follower = Follower(sheet, sheet.drives[-1], every=0)
for _ in range(3):
    follower.look()
"""


@pytest.mark.parametrize(
    "moment",
    [5, *(pytest.param(n, marks=pytest.mark.sweep) for n in (1, 2, 6, 9))],
)
def test_killed_while_it_keeps_it_loses_and_doubles_nothing(recorder, followed, take, moment):
    for number in range(1, 5):
        recorder.write(number)
    ended = subprocess.run([sys.executable, "-c", KILLED, str(recorder.sheet), str(moment)], cwd=ROOT, check=False)
    assert ended.returncode == -signal.SIGKILL
    follower = followed(recorder)
    take(follower, 3)
    lines = entries(follower.folder / "blows.jsonl")
    assert sorted(line["blow"] for line in lines) == [1, 2, 3, 4]


def test_a_line_that_was_cut_off_is_passed_over_and_its_blow_taken_again(recorder, of_two, followed, take):
    path = of_two.folder / "blows.jsonl"
    path.write_bytes(path.read_bytes()[:-40])
    again = followed(recorder)
    take(again)
    assert blows(again) == [1, 2]


def test_a_full_disk_is_one_problem_and_the_blow_is_taken_when_there_is_room(recorder, followed, take, monkeypatch):
    follower = followed(recorder)
    recorder.write(1)
    follower.look()
    real = os.fsync

    def full(handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FullError, match=os.strerror(errno.ENOSPC)) as told:
        follower.look()
    assert "--out" not in str(told.value)  # following has no other folder
    monkeypatch.setattr(os, "fsync", real)
    take(follower)
    assert blows(follower) == [1]


def test_what_is_held_does_not_grow_with_the_drive(recorder, followed, take):
    follower = followed(recorder)
    for number in range(1, 13):
        recorder.write(number)
        take(follower)
    assert len(follower.context) == CONTEXT and all(one.n_blows == 1 for one in follower.context)
    assert follower.candidate is not None and follower.candidate[0].n_blows == 1
    assert (
        set(vars(follower)) - {"sheet", "drive", "sources", "before"} and not follower.tried and not follower.noted[:0]
    )


def test_a_dead_gauge_is_named_on_its_blow_alone(recorder, followed, take):
    follower = followed(recorder)
    recorder.write(1)
    recorder.blows[1] = recorder.blows[1].assign(**{"strain_2 [µm/m]": 0.0})
    recorder.write(2)
    recorder.write(3)
    one, two, three = take(follower)
    assert (one.trust, two.trust, three.trust) == ("yes", "no", "yes")
    assert "strain_2" in two.doubts[0][1]


def test_the_last_blow_is_kept_for_the_page(recorder, followed, take):
    follower = followed(recorder)
    recorder.write(1)
    (one,) = take(follower)
    kept = last_blow(follower.folder)
    assert kept is not None and int(kept["blow"][0]) == 1
    assert float(kept["force"].max()) == one.numbers["peak_force"]


def test_a_second_follower_of_a_drive_is_refused(recorder, followed):
    follower = followed(recorder)
    with (
        only_follower(follower.folder),
        pytest.raises(InputError, match="already followed"),
        only_follower(follower.folder),
    ):
        pass


def test_the_sheet_is_left_alone_where_nothing_was_recorded(recorder, followed):
    before = recorder.sheet.read_bytes()
    assert handed_over(followed(recorder)).blows == 0
    assert recorder.sheet.read_bytes() == before


def test_the_first_blow_of_the_sheet_counts_for_files_without_numbers(recorder, followed, take):
    recorder.sheet.write_text(
        recorder.sheet.read_text().replace('kind = "initial"', 'kind = "initial"\nfirst_blow = 40')
    )
    follower = followed(recorder)
    recorder.write(1)
    recorder.write(2)
    assert [one.blow for one in take(follower)] == [40, 41]
    sheet = read_sheet(recorder.sheet)
    assert review_drive(sheet, replace(sheet.drives[0])).table["blow"].tolist() == [40, 41]


def test_a_record_of_which_nothing_can_be_made_holds_up_no_other(recorder, followed, take, monkeypatch):
    from dyntest.following import follow as module

    real = module.compute_blows

    def refusing(sheet, drive, new, *more):
        if np.allclose(new.strain[0, 0], 1e-6 * recorder.blows[1]["strain_1 [µm/m]"], atol=1e-9):
            raise InputError("blow_0002.csv", "", "has no impact", "record it again")
        return real(sheet, drive, new, *more)

    monkeypatch.setattr(module, "compute_blows", refusing)
    follower = followed(recorder)
    for number in (1, 2, 3):
        recorder.write(number)
    take(follower, PATIENCE + 5)
    kept = Kept(follower.folder).look()
    assert {one.file for one in kept.blows.values()} == {"blows/blow_0001.csv", "blows/blow_0003.csv"}
    assert intake.UNREADABLE in kinds(follower) and not follower.unsettled


class Slow:
    """A matcher that is done when it is told to be."""

    def __init__(self):
        self.asked: list[tuple[int, Future]] = []

    def submit(self, function, sheet, waves, row, nice):
        assert function is match_one and nice > 0
        future: Future = Future()
        self.asked.append((int(waves.blow[0]), future))
        return future


def test_the_newest_blow_is_matched_when_the_matcher_is_free_and_its_damping_factor_is_used_beside(
    recorder, followed, take
):
    follower, slow = followed(recorder, every=1), Slow()
    for number in (1, 2, 3):
        recorder.write(number)
        take(follower)
        assert follower.match(slow) is None
    assert [blow for blow, _ in slow.asked] == [1]
    found = {"matched_resistance": 1e6, "matched_resistance_low": 9e5, "matched_resistance_high": 1.1e6}
    slow.asked[0][1].set_result({**found, "damping_factor": 0.333, "problem": ""})
    assert follower.match(slow)["blow"] == 1
    assert [blow for blow, _ in slow.asked] == [1, 3]  # 2 is no longer the newest
    assert follower.match(slow) is None and len(slow.asked) == 2
    recorder.write(4)
    take(follower)
    numbers = Kept(follower.folder).look().blows[4].numbers
    assert numbers["damping_factor_maximum"] == follower.sheet.damping_factor != 0.33
    assert numbers["damping_factor_by_match"] == pytest.approx(0.53)  # that of the first peak, and 0.2
    handed_over(follower)
    sheet = read_sheet(recorder.sheet)
    own = replace(sheet, requirement=replace(sheet.requirement, damping_factor=0.53))
    table = review_drive(own, own.drives[0]).table
    np.testing.assert_allclose(
        numbers["case_resistance_by_match"], table["case_resistance_maximum"].to_numpy()[3], rtol=1e-9
    )


def test_a_matcher_that_is_killed_stops_no_blow(recorder, followed, take):
    follower, slow = followed(recorder, every=1), Slow()
    recorder.write(1)
    take(follower)
    follower.match(slow)
    slow.asked[0][1].set_exception(BrokenProcessPool("killed"))
    assert follower.match(slow)["problem"]
    recorder.write(2)
    assert [one.blow for one in take(follower)] == [2]


def test_the_match_that_is_handed_over_is_found_by_the_review_and_is_the_one_from_scratch(
    recorder, followed, take, monkeypatch
):
    """Under one static law, which takes half the time."""
    from dyntest.reviewing import drive_match

    with recorder.sheet.open("a") as sheet:
        sheet.write('\n[choices]\nsoil_law = "elastic-plastic"\n')
    follower = followed(recorder)
    recorder.write(1)
    recorder.write(2)
    take(follower, 3)
    handed_over(follower)
    made = matched_for_review(follower).match
    assert made is not None
    path = follower.folder / drive_match.KEPT_MATCH
    with monkeypatch.context() as patch:
        patch.setattr(drive_match, "search_match", None)  # nothing is left to be matched
        sheet = read_sheet(recorder.sheet)
        drive = drive_match.match_drive(sheet, review_drive(sheet, sheet.drives[0]))
    assert drive.match is not None and drive.match is not made
    for name in ("matched_resistance", "matched_resistance_range", "shaft_resistance", "toe_resistance", "misfit"):
        assert getattr(drive.match, name) == getattr(made, name)
    for one, two in zip(drive.match.fits, made.fits, strict=True):
        assert one.problem.law == two.problem.law and one.weight == two.weight
        np.testing.assert_array_equal(one.covariance, two.covariance)
        np.testing.assert_array_equal(one.problem.blows[0].force, two.problem.blows[0].force)
    whole, kept = path.read_bytes(), json.loads(path.read_bytes())
    assert drive_match.kept_match(sheet, drive) is not None
    del kept["match"]["fields"]["fits"]["items"][0]["fields"]["lasting"]  # as a program kept it that did not know it
    path.write_text(json.dumps({**kept, "digest": drive_match._digest(kept["match"])}))
    assert drive_match.kept_match(sheet, drive) is None
    path.write_bytes(whole.replace(b"0x1.", b"0x1.0", 1))  # damaged, so no longer believed
    assert drive_match.kept_match(sheet, drive) is None


@pytest.mark.parametrize(
    ("mobilised", "moved", "bound"), [(True, 0.008, False), (False, 0.008, True), (True, 0.001, True)]
)
def test_a_match_during_driving_is_called_a_lower_bound_where_it_is_one(
    small_review_matched, monkeypatch, mobilised, moved, bound
):
    """At refusal the line of a match read as the resistance of the pile."""
    drive = small_review_matched.drives[0]
    match = replace(drive.match, fully_mobilised=mobilised)
    monkeypatch.setattr("dyntest.following.compute.match_blow", lambda blow, **_: match)
    numbers = {**drive.numbers, "set_per_blow": moved}
    found = match_one(small_review_matched.sheet, drive.waves, numbers)
    assert bool(found["lower_bound"]) is bound
    told = told_line("match", {"blow": 7, **found}, "US")
    assert ("LOWER BOUND" in told) is bound
    chosen = replace(drive.representative, lower_bound=moved < 0.00254)
    line = matched_line(replace(drive, match=match, representative=chosen), "US")
    assert ("LOWER BOUND" in line) is bound
