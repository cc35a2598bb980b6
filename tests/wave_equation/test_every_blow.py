from concurrent.futures import CancelledError, Executor, Future, ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from dyntest.wave_equation import every_blow
from dyntest.wave_equation.every_blow import match_every_blow

RUN = 2


class AtOnce(Executor):
    """Does what it is given while it is given it; `submitted` counts the runs, and some of them break down."""

    def __init__(self, breaks=(), interrupts=None):
        self.breaks, self.interrupts, self.submitted = breaks, interrupts, 0

    def submit(self, function, *arguments):
        number, future = self.submitted, Future()
        self.submitted += 1
        if number in self.breaks:
            future.set_exception(MemoryError("no room"))
        else:
            future.set_result(function(*arguments))
        return future


@pytest.fixture(autouse=True)
def short_runs(monkeypatch):
    """Hand out fewer blows together, so that a short drive has several runs."""
    monkeypatch.setattr(every_blow, "RUN", RUN)


@pytest.fixture(scope="module")
def drive(invented_blow):
    """A few more blows than two runs hold, all of one soil, each with its own noise."""
    records = [invented_blow(seed=seed, peak=2.2e6 + 1e4 * seed) for seed in range(3)]
    return [records[number % 3] for number in range(2 * RUN + 2)]


@pytest.fixture(scope="module")
def neighbour(matched):
    """The match of the plain record, under its best law alone, which takes less time."""
    best = matched[1].fits[0]
    return replace(matched[1], fits=(replace(best, weight=1.0),))


@pytest.fixture(scope="module")
def blows(drive):
    return [record.blow for record in drive]


def test_every_blow_is_matched(drive, blows, neighbour):
    seen = []
    found = match_every_blow(blows, neighbour, executor=AtOnce(), progress=lambda *done: seen.append(done))
    assert found.complete
    assert found.reasons == {}
    assert found.fitted.all()
    assert seen[-1] == (len(blows), len(blows))
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    np.testing.assert_allclose(found.total, [record.total for record in drive], rtol=0.02)
    low, high = found.total_range.T
    assert ((low < found.total) & (found.total < high)).all()
    assert found.shaft_range.shape == found.toe_range.shape == (len(blows), 2)


@pytest.mark.sweep
def test_threads_and_processes_give_the_same(blows, neighbour):
    few = blows[: RUN + 2]
    alone = match_every_blow(few, neighbour, executor=AtOnce())
    with ThreadPoolExecutor(2) as threads:
        together = match_every_blow(few, neighbour, executor=threads)
        assert threads.submit(len, few).result() == len(few)  # the caller's executor is left open
    apart = match_every_blow(few, neighbour)
    for other in (together, apart):
        assert other.complete
        np.testing.assert_allclose(other.total, alone.total, rtol=1e-6)
        np.testing.assert_allclose(other.shaft_range, alone.shaft_range, rtol=1e-4)


def test_what_cannot_be_matched_is_told_and_stops_nothing(blows, neighbour):
    few = blows[:5]
    ends = few[0].first_peak + 40
    few[1] = replace(few[1], time=few[1].time[:ends], force=few[1].force[:ends], velocity=few[1].velocity[:ends])
    few[2] = replace(few[2], velocity=None)  # nonsense that no check foresaw
    rolled = np.roll(few[3].force, 25)[:300]  # another force; of a short record, which is soon given up
    few[3] = replace(few[3], time=few[3].time[:300], force=rolled, velocity=few[3].velocity[:300])
    found = match_every_blow(few, neighbour, executor=AtOnce())
    assert found.complete
    assert found.fitted.tolist() == [True, False, False, False, True]
    assert "return" in found.reasons[1]
    assert "broke down" in found.reasons[2]
    assert "explain" in found.reasons[3]
    assert np.isnan(found.total[[1, 2]]).all()
    assert np.isfinite(found.total[[0, 4]]).all()


def test_a_run_that_breaks_down_leaves_the_others(blows, neighbour):
    found = match_every_blow(blows, neighbour, executor=AtOnce(breaks=(1,)))
    assert found.fitted[:RUN].all()
    assert not found.fitted[RUN : 2 * RUN].any()
    assert found.fitted[2 * RUN :].all()
    assert set(found.reasons) == set(range(RUN, 2 * RUN))
    assert "MemoryError" in found.reasons[RUN]


def test_stopping_keeps_what_is_done(blows, neighbour):
    with ThreadPoolExecutor(1) as one:
        found = match_every_blow(blows, neighbour, executor=one, keep_going=lambda: False)
    assert not found.complete
    assert found.fitted[:RUN].all()
    assert np.isnan(found.total[RUN:]).all()


@pytest.mark.parametrize("kind", [KeyboardInterrupt, CancelledError])
def test_an_interruption_keeps_what_is_done(blows, neighbour, kind):
    def interrupt(done, of):
        raise kind

    with ThreadPoolExecutor(1) as one:
        found = match_every_blow(blows, neighbour, executor=one, progress=interrupt)
    assert not found.complete
    assert found.fitted[:RUN].all()
    assert not found.fitted[RUN:].any()


def test_a_drive_without_blows(neighbour):
    found = match_every_blow([], neighbour, executor=AtOnce())
    assert found.complete
    assert len(found.total) == 0
