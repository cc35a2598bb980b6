"""The change between two matches of one pile: what they share cancels, what they do not adds up."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.wave_equation.match_results import setup_change
from dyntest.wave_equation.matching import match_blow


@pytest.fixture(scope="module")
def later(match_invented):
    """The pile of the plain record, with 1.6 times the shaft and the same toe, by the same gauges."""
    return match_invented(shaft=9.6e5, seed=7)


def test_the_true_change_is_found(matched, later):
    (before, first), (after, second) = matched, later
    change = setup_change(first, second)
    for part, value in (("total", after.total / before.total), ("shaft", after.shaft / before.shaft)):
        found = getattr(change, part)
        assert found.value == pytest.approx(value, rel=0.06)
        assert found.low <= value <= found.high
    assert change.toe.low <= after.toe / before.toe <= change.toe.high
    assert not change.lower_bound


def test_what_is_shared_makes_the_range_narrower_than_two_alone(matched, later):
    (_, first), (_, second) = matched, later
    change = setup_change(first, second)
    apart = np.hypot(*(np.diff(np.log(match.matched_resistance_range))[0] for match in (first, second)))
    assert np.log(change.total.high / change.total.low) < 0.95 * apart


def test_nothing_changed_from_a_match_to_itself(matched):
    change = setup_change(matched[1], matched[1])
    for found in (change.total, change.shaft, change.toe, *change.lengths):
        assert found.value == pytest.approx(1.0, abs=1e-6)
        assert found.low < 1.0 < found.high
    assert len(change.lengths) == matched[1].problem.layout.n_shaft


def test_what_a_law_leaves_unexplained_makes_the_change_less_sure(matched, later):
    """A lasting difference of 5 % of the total, in one of the two records."""
    first, second = matched[1], later[1]
    worse = [replace(fit, lasting=0.05 * np.exp(fit.logarithm[0])) for fit in second.fits]
    usual, doubtful = setup_change(first, second), setup_change(first, replace(second, fits=tuple(worse)))
    for part in ("total", "shaft", "toe"):
        known, open_ = getattr(usual, part), getattr(doubtful, part)
        assert open_.value == pytest.approx(known.value, rel=1e-9)
        assert np.log(open_.high / open_.low) > 1.05 * np.log(known.high / known.low), part


def test_matches_that_ended_at_other_quakes_keep_what_each_found(matched, later):
    """Waves hardly tell some parameters of the soil: two matches may contradict each other there, and both be right."""
    first, second = matched[1], later[1]
    moved = []
    for fit in second.fits:
        scores, layout = fit.scores.copy(), fit.problem.layout
        scores[[layout.row("shaft_quake"), layout.row("toe_quake")]] += 1.5, -1.5
        moved.append(replace(fit, scores=scores))
    usual, other = setup_change(first, second), setup_change(first, replace(second, fits=tuple(moved)))
    for part in ("total", "shaft", "toe"):
        assert getattr(other, part).value == pytest.approx(getattr(usual, part).value, rel=1e-9)


def test_a_small_toe_changes_less_surely_than_a_large_one(matched, later):
    """What no record can take away is a share of the total, and so a large share of a small toe."""
    first, second = matched[1], later[1]

    def width(share):
        parts = np.log([1.0, 1.0 - share, share])
        pair = (
            replace(
                match,
                fits=tuple(
                    replace(fit, logarithm=fit.logarithm[0] + parts, slope=0.0 * fit.slope) for fit in match.fits
                ),
            )
            for match in (first, second)
        )
        toe = setup_change(*pair).toe
        return np.log(toe.high / toe.low)

    assert width(0.05) > 5.0 * width(0.5)


@pytest.mark.sweep
def test_a_common_gauge_error_does_not_look_like_setup(invented_blow, matched):
    """Both records by gauges that read 3 % high: the ratio stays."""

    def wrong(record):
        return match_blow(replace(record.blow, force=1.03 * record.blow.force))

    change = setup_change(wrong(matched[0]), wrong(invented_blow(shaft=9.6e5, seed=7)))
    assert change.total.value == pytest.approx(1.36, rel=0.03)
