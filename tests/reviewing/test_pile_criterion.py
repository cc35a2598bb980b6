"""What a test pile's own blows add to its criterion: where a stress passed its limit before the end of driving."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.decisions.criterion import COUNTING
from dyntest.decisions.driving_criterion import driving_criterion
from dyntest.decisions.stress_limits import DrivingStressLimits, StressLimit, driving_stress_limits
from dyntest.reviewing.pile_criterion import with_measured_stresses

FOOT = 0.3048
EASY_BLOWS = slice(40, 84)


@pytest.fixture(scope="module")
def clay(reviewed_sample):
    return reviewed_sample("pier_2_clay")


def limited_by(clay, tension, *, compression=1e6, stroke=7.6 * FOOT, moved=0.030):
    """The criterion where 44 early blows had a tension and a compression at a gauge [Pa], a stroke and a set [m]."""
    drive, criterion = clay.drives[0], clay.answers.criterion
    values = {"peak_tension_stress": (tension, 1e5), "peak_gauge_stress": (compression, 1e5)}
    values |= {"stroke": (stroke, stroke), "set_per_blow": (moved, 0.004)}
    count = len(drive.table)
    columns = {name: np.full(count, usual) for name, (_, usual) in values.items()}
    for name, (easy, _) in values.items():
        columns[name][EASY_BLOWS] = easy
    limits = DrivingStressLimits(StressLimit("compression", 300e6, "", ""), StressLimit("tension", 8e6, "", ""))
    bare = replace(criterion, criterion=replace(criterion.criterion, easy_driving=()))
    return with_measured_stresses(bare, replace(drive, table=drive.table.assign(**columns)), limits).criterion


@pytest.mark.parametrize("sense", ["tension", "compression"])
def test_measured_blows_above_a_limit_in_easy_driving_limit_the_stroke_there(clay, sense):
    """44 blows of a concrete pile were above the tension limit while its card allowed every stroke at any depth."""
    stresses = {"tension": {"tension": 30e6}, "compression": {"tension": 1e5, "compression": 320e6}}[sense]
    criterion = limited_by(clay, **stresses)
    (found,) = criterion.easy_driving
    assert (found.kind, found.blows) == (sense, 44)
    assert found.set_per_blow == pytest.approx(0.030)
    depth = clay.drives[0].table["penetration"].to_numpy()[EASY_BLOWS]
    assert (found.depth_from, found.depth_to) == pytest.approx((depth.min(), depth.max()))
    strokes = [row.stroke for row in criterion.rows]
    assert found.stroke == max(stroke for stroke in strokes if stroke < 7.6 * FOOT)


def test_blows_within_the_limits_or_as_hard_as_the_criterion_limit_nothing(clay):
    assert limited_by(clay, 1e6).easy_driving == ()
    hardest = clay.answers.criterion.criterion.rows[-1].set_per_blow
    assert limited_by(clay, 30e6, moved=0.9 * hardest).easy_driving == ()  # the table itself holds the stress there


def test_below_the_lowest_row_the_measured_stroke_itself_is_the_limit(clay):
    low = 0.9 * clay.answers.criterion.criterion.rows[0].stroke
    (found,) = limited_by(clay, 30e6, stroke=low).easy_driving
    assert found.stroke == pytest.approx(low)


def test_the_units_shown_do_not_decide_how_high_the_stroke_may_go(concrete_sample):
    """Tension of this pile passes its limit between two round strokes in metres, and is below it at both."""
    found = concrete_sample.answers.criterion
    highest = []
    for system in ("US", "SI"):
        own = driving_criterion(
            concrete_sample.drives[0].match,
            found.calibrated,
            found.target,
            found.measured,
            limits=driving_stress_limits(concrete_sample.sheet.pile, concrete_sample.sheet.requirement),
            counting=COUNTING[system],
        )
        highest.append(own.criterion.maximum_stroke)
        assert highest[-1] < 0.95 * own.rows[-1].stroke  # a stress ends the table
    assert highest[0] == pytest.approx(highest[1], abs=0.06)
