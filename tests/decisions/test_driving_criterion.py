"""The driving criterion from graph to card, and several test piles combined."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.decisions.bearing_oddities import DEPTH_TOLERANCE
from dyntest.decisions.combined_criterion import PLACE, combinable, combine
from dyntest.decisions.criterion import COUNTING, WAYS
from dyntest.decisions.driving_criterion import (
    AGREEMENT,
    DISAGREEMENT,
    STROKE_SURE,
    UNTESTED,
    MeasuredBlows,
    driving_criterion,
    read_back,
)
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.estimate import Estimate
from dyntest.decisions.restrikes import restrike_rule
from dyntest.decisions.setup import Setup
from dyntest.decisions.stress_limits import DrivingStressLimits, StressLimit
from dyntest.decisions.trust import Caution
from dyntest.errors import InputError

FOOT, INCH, KIP, DAY = 0.3048, 0.0254, 4448.2216, 86400.0


@pytest.fixture(scope="module")
def found(reviewed_sample):
    return reviewed_sample("pier_2_clay").answers.criterion


@pytest.fixture(scope="module")
def match(reviewed_sample):
    return reviewed_sample("pier_2_clay").drives[0].match


def combined_of(criteria):
    """Give the criterion of several test piles."""
    return combine([combinable(one) for one in criteria])


def again(match, found, *, sets=1.0, target=None, measured=None, **more):
    """The clay criterion derived again from the graph that is there, its measured sets multiplied."""
    measured = measured or replace(found.measured, set_per_blow=found.measured.set_per_blow * sets)
    graph = replace(found.graph, resistance=found.graph.resistance / found.shift)  # as it was before the shift
    target = target or replace(found.target, middle=float("nan"))  # the graph's error is in its value already
    derived = {"counting": COUNTING["US"], "graph": graph, **more}
    return driving_criterion(match, found.calibrated, target, measured, **derived)


def test_a_graph_that_is_there_gives_the_same_criterion(match, found):
    same = again(match, found)
    assert [row.set_per_blow for row in same.rows] == pytest.approx([row.set_per_blow for row in found.rows])
    assert (same.shift, same.graph_resistance) == pytest.approx((found.shift, found.graph_resistance))


def test_counts_show_the_target_when_they_are_read_off_the_graph(found):
    strokes = np.array([row.stroke for row in found.rows])
    sets = np.array([row.set_per_blow for row in found.rows])
    assert found.graph.resistance_at(strokes, sets) == pytest.approx(found.target.value, rel=2e-3)
    held = found.holding_length
    assert [row.count for row in found.rows] == [round(held / row.set_per_blow) for row in found.rows]


def test_a_higher_target_asks_for_more_blows(match, found):
    harder = again(match, found, target=EndOfDriveTarget(1.15 * found.target.value, found.target.required))
    assert all(more.set_per_blow < row.set_per_blow for more, row in zip(harder.rows, found.rows, strict=False))
    assert sum(row.count for row in harder.rows) > sum(row.count for row in found.rows)


def test_a_disagreement_is_said_first_and_nothing_is_smoothed(match, found):
    wrong = again(match, found, sets=0.5)
    assert wrong.agrees is False
    assert wrong.alerts[0].kind == wrong.cautions[0].kind == DISAGREEMENT
    assert wrong.alerts[0].facts["read"] > 1.15 * wrong.alerts[0].facts["matched"]
    assert wrong.shift == 1.0
    assert wrong.criterion.alerts == wrong.alerts


def test_the_graph_passes_through_the_measured_blows(found):
    """At the measured strokes and sets it reads the matched resistance: what the log counted is the surest thing."""
    read = found.graph.resistance_at(found.measured.stroke, found.measured.set_per_blow)
    matched = found.shift * found.graph_resistance
    assert np.nanmedian(read) == pytest.approx(matched, rel=1e-3)


def test_without_a_log_the_graph_is_not_called_checked(match, found):
    blank = MeasuredBlows(*(np.full(3, np.nan),) * 4)
    alone = again(match, found, measured=blank)
    assert alone.agrees is None
    assert "graph not checked" in [caution.kind for caution in alone.cautions]
    assert alone.shift == 1.0
    assert alone.formulas == ()


@pytest.mark.parametrize(("share", "agrees"), [(1 - AGREEMENT + 0.01, True), (1 - AGREEMENT - 0.01, False)])
def test_the_range_of_agreement(found, share, agrees):
    graph = replace(found.graph, resistance=found.graph.resistance / found.shift)
    read, told = read_back(graph, found.measured, found.graph_resistance / share)
    assert read == pytest.approx(found.graph_resistance)
    assert told is agrees


def test_blows_outside_the_graph_do_not_agree(found):
    away = replace(found.measured, set_per_blow=np.full(found.measured.set_per_blow.shape, 0.5))
    read, told = read_back(found.graph, away, 1e6)
    assert np.isnan(read)
    assert told is False


def test_no_stroke_gives_no_criterion_and_says_why(match, found):
    stiff = replace(found.graph.blows, set_per_blow=0.25 * found.graph.blows.set_per_blow)
    beyond = again(match, found, graph=replace(found.graph, blows=stiff))
    assert beyond.criterion is None
    assert {row.ruled_out.kind for row in beyond.rows} == {"refusal"}
    assert "no usable stroke" in [caution.kind for caution in beyond.cautions]


@pytest.mark.parametrize(
    ("penetration", "kind", "alert"),
    [
        (18.0, None, False),
        (17.999, None, False),
        (17.0, "test pile above minimum penetration", False),
        (18.0 - DEPTH_TOLERANCE - 0.1, UNTESTED, True),  # every pile by its card would stop where nothing was tested
        (None, "minimum penetration not shown", False),
    ],
)
def test_a_test_pile_above_the_minimum_penetration_is_told_of(match, found, penetration, kind, alert):
    doubt = (Caution("damage", 0.6, None, {"depth": 9.0}),)
    derived = again(match, found, minimum_penetration=18.0, penetration=penetration, doubts=doubt)
    about = [one for one in derived.cautions if "minimum penetration" in one.kind]
    assert [one.kind for one in about] == ([] if kind is None else [kind])
    assert (derived.criterion.alerts[0].kind == UNTESTED) is alert  # before the damage
    assert [one.kind for one in derived.alerts if one in about] == ([kind] if alert else [])


def test_strokes_that_the_hammer_never_reached_give_no_criterion(match, found):
    """Sample P3-1 asked for strokes that 16 of 481 blows had reached."""
    slow = replace(found.measured, stroke=np.full(20, 0.8 * found.rows[0].stroke))
    blank = replace(slow, set_per_blow=np.full(20, np.nan))
    short = again(match, found, measured=blank)
    assert short.criterion is None
    (caution,) = [one for one in short.cautions if one.kind == "stroke not reached"]
    assert (caution.value, caution.threshold) == pytest.approx((found.rows[0].stroke, 0.8 * found.rows[0].stroke))
    assert caution.facts["kind"] == found.target.kind


def test_every_row_says_its_chances(found):
    for row in found.rows:
        assert 0.0 < row.short < 0.5
        assert 0.0 < row.driven_on < 0.5
    assert [(row.short, row.driven_on) for row in found.criterion.rows] == [
        (row.short, row.driven_on) for row in found.rows if row.ruled_out is None
    ]


def test_piles_that_just_pass_and_are_often_short_are_told(match, found):
    """Setup was not measured, and 36 to 62 of 100 such piles were short; nothing told of it."""
    bare = EndOfDriveTarget(found.target.required, found.target.required, middle=found.target.required, deviation=0.02)
    plain = again(match, found, target=bare)
    worst = max(row.short for row in plain.rows if row.ruled_out is None)
    assert 1.0 / 3.0 < worst < 0.75
    (told,) = [one for one in plain.cautions if one.kind == "short but accepted"]
    assert (told.value, told.facts["required"]) == (worst, found.target.required)
    assert told not in plain.alerts
    assert [one for one in found.cautions if one.kind == "short but accepted"] == []  # its margin keeps it rare


@pytest.mark.parametrize(("share", "told"), [(1.18, False), (1.25, True)])
def test_counts_for_a_resistance_that_the_test_pile_never_had_are_told(match, found, share, told):
    """1.5 times what was matched was asked for, and "the measured blows agree with it" was all that was said."""
    target = replace(found.target, value=share * match.matched_resistance, middle=float("nan"))
    about = [one for one in again(match, found, target=target).cautions if one.kind == "resistance not reached"]
    assert [one.facts["matched"] for one in about] == ([match.matched_resistance] if told else [])


def test_the_chances_are_those_of_the_count_that_is_asked(match, found):
    """Every inch asks for more blows than the whole length, so fewer short piles and more sound ones fail it."""
    target = replace(found.target, value=0.9 * found.target.value)
    whole, every = (again(match, found, target=replace(target, middle=target.value), way=way) for way in WAYS)
    inches = round(every.holding_length / INCH)
    for one, other in zip(whole.rows, every.rows, strict=True):
        assert other.count == inches * int(np.ceil(INCH / other.set_per_blow - 1e-6)) >= one.count
        assert (other.short < one.short) is (other.driven_on > one.driven_on) is (other.count > one.count)


@pytest.mark.parametrize(("ratio", "alert"), [(0.75, True), (0.85, False), (1.2, False), (1.3, True)])
def test_a_computed_set_far_from_the_log_is_an_alert_either_way(match, found, ratio, alert):
    moved = replace(found, calibrated=replace(found.calibrated, set_ratio=ratio, read_ratio=ratio**0.5))
    told = [one for one in again(match, moved).alerts if one.kind == "computed set against the log"]
    assert [(one.value, one.facts["read"]) for one in told] == ([(ratio, ratio**0.5)] if alert else [])
    twice = again(match, moved, sets=0.5).alerts  # where the graph reads another resistance that is the same matter
    assert [one.kind for one in twice] == [DISAGREEMENT]


@pytest.mark.parametrize(("ratio", "told"), [(0.8, True), (0.95, False), (1.2, True), (np.nan, False)])
def test_what_locked_in_stress_would_do_to_the_set_is_told_either_way(match, found, ratio, told):
    derived = again(match, replace(found, calibrated=replace(found.calibrated, residual_ratio=ratio)))
    assert ("residual stress" in [one.kind for one in derived.cautions]) is told
    assert not derived.alerts


def test_doubts_about_the_test_pile_forbid_its_use(match, found):
    doubted = again(match, found, doubts=(Caution("damage", 0.6, None, {"depth": 9.0}),))
    assert doubted.alerts[0].kind == doubted.criterion.alerts[0].kind == "damage"


def test_bending_ends_the_table_and_the_stress_of_the_section_says_from_where_a_pile_is_looked_at(match, found):
    mean = np.array([row.mean_stress for row in found.rows])
    limit = 0.5 * (mean[-2] + mean[-1])  # the section keeps it up to between the two highest rows
    limits = DrivingStressLimits(StressLimit("compression", limit, "", ""), StressLimit("tension", None, "", ""))
    bent = replace(found.measured, bending=np.full(20, mean[-1] / mean[1]))  # a face passes it far below

    def held(bending):
        return again(match, found, limits=limits, measured=replace(bent, bending=bending)).criterion

    straight, criterion = held(np.ones(20)), held(bent.bending)
    within, top = straight.maximum_stroke, found.rows[-1].stroke
    assert criterion.maximum_stroke < within < top
    assert [one.reason.kind for one in criterion.ruled_out if one.side == "from"] == ["bending"]
    assert criterion.looked_at_stroke == pytest.approx(min(top, (1.0 + STROKE_SURE) * within), abs=0.02)
    assert criterion.looked_at_stroke == pytest.approx(straight.looked_at_stroke)
    assert [row.stroke for row in criterion.above][-1] == top
    sets = np.array([row.set_per_blow for row in (*criterion.rows, *criterion.above)])
    assert (np.diff(sets) >= 0.0).all()


def test_above_the_shared_strokes_the_least_favourable_pile_governs_too(found):
    top = found.criterion.rows[-1]
    above = (replace(top, stroke=1.1 * top.stroke, set_per_blow=1.2 * top.set_per_blow),)
    one = replace(found, criterion=replace(found.criterion, above=above, looked_at_stroke=1.08 * top.stroke))
    less = (replace(above[0], stroke=1.2 * top.stroke),)
    two = replace(one, pile="P2-9", criterion=replace(one.criterion, above=less, looked_at_stroke=1.05 * top.stroke))
    combined = combined_of([one, two])
    assert combined.looked_at_stroke == pytest.approx(1.05 * top.stroke)
    (row,) = combined.above
    assert (row.stroke, row.pile) == (pytest.approx(1.1 * top.stroke), "P2-9")
    assert row.set_per_blow == pytest.approx(1.1 * top.set_per_blow)  # half-way up to 1.2 times at 1.2 times the stroke


def test_public_formulas_stand_beside_as_a_check(found):
    gates, energy = found.formulas
    assert (gates.formula, energy.formula) == ("FHWA-modified Gates", "energy approach")
    last = found.measured
    by_hand = np.median(2 * last.transferred_energy / (last.set_per_blow + last.peak_displacement))
    assert energy.resistance == pytest.approx(by_hand)


def test_the_rule_for_restrikes_follows_what_was_measured():
    def rule(*factors):
        setups = [
            Setup("initial", f"restrike_{n}", (n + 1) * DAY, {"matched_resistance": Estimate(*factor)}, ())
            for n, factor in enumerate(factors)
        ]
        return restrike_rule(1e6, setups, 18.0)

    assert restrike_rule(1e6, (), 18.0, minimum_penetration=10.0).stop_penetration == rule().stop_penetration
    assert restrike_rule(1e6, (), 18.0, minimum_penetration=25.0).stop_penetration == 25.0  # no pile stops above it
    assert (rule().change, rule().wait) == ("not measured", None)
    assert (rule((1.2, 1.1, 1.3), (1.5, 1.3, 1.7)).change, rule((1.2, 1.1, 1.3), (1.5, 1.3, 1.7)).wait) == (
        "setup",
        2 * DAY,
    )
    assert rule((1.1, 0.9, 1.3)).change == "no significant change"
    lost = rule((0.8, 0.7, 0.9), (1.5, 1.3, 1.7))
    assert (lost.change, lost.wait) == ("relaxation", DAY)


def other(found, name, *, sets=1.0, impedance=1.0, ram=1.0, strokes=None):
    """A second test pile whose rows ask for other sets."""
    rows = tuple(replace(row, set_per_blow=row.set_per_blow * sets) for row in found.criterion.rows)
    rows = (
        rows
        if strokes is None
        else tuple(row for row in rows if strokes[0] - 0.1 <= row.stroke / FOOT <= strokes[1] + 0.1)
    )
    part = found.test_pile.parts[0]
    pile = replace(found.test_pile, parts=(replace(part, area=part.area * impedance),))
    hammer = replace(found.calibrated.hammer, ram_mass=found.calibrated.hammer.ram_mass * ram)
    held = replace(found.criterion, rows=rows, minimum_stroke=rows[0].stroke, maximum_stroke=rows[-1].stroke)
    calibrated = replace(found.calibrated, hammer=hammer)
    return replace(found, pile=name, test_pile=pile, criterion=held, calibrated=calibrated)


def test_the_least_favourable_pile_governs_and_is_named(found):
    combined = combined_of([found, other(found, "P2-9", sets=0.8)])
    assert [row.set_per_blow for row in combined.rows] == pytest.approx(
        [0.8 * row.set_per_blow for row in found.criterion.rows]
    )
    assert {row.pile for row in combined.rows} == {"P2-9"}
    assert combined.rows[0].others == (("P2-4", pytest.approx(found.criterion.rows[0].set_per_blow)),)
    assert combined.piles == ("P2-4", "P2-9")


def test_only_shared_strokes_are_left(found):
    combined = combined_of([found, other(found, "P2-9", sets=1.1, strokes=(7.0, 9.0))])
    assert [combined.rows[0].stroke / FOOT, combined.rows[-1].stroke / FOOT] == pytest.approx([7.0, 9.0], abs=1e-5)
    assert (combined.minimum_stroke, combined.maximum_stroke) == (combined.rows[0].stroke, combined.rows[-1].stroke)
    assert {row.pile for row in combined.rows} == {"P2-4"}


def test_the_strictest_rule_for_restrikes_is_kept(found):
    second = other(found, "P2-9")
    relaxed = replace(found.criterion.restrike, change="relaxation", wait=30 * DAY, resistance=2e6)
    second = replace(second, criterion=replace(second.criterion, restrike=relaxed))
    rule = combined_of([found, second]).restrike
    assert (rule.change, rule.wait, rule.resistance) == ("relaxation", 30 * DAY, 2e6)


def test_alerts_of_every_pile_are_kept(found):
    second = other(found, "P2-9")
    second = replace(second, criterion=replace(second.criterion, alerts=(Caution("lower bound"),)))
    assert combined_of([found, second]).alerts == (Caution("lower bound", pile="P2-9"),)


@pytest.mark.parametrize("change", [{"impedance": 1.2}, {"ram": 1.2}], ids=["another pile", "another hammer"])
def test_strangers_are_not_combined(found, change):
    assert combined_of([found, other(found, "P2-9")]).rows  # but for the change they go together
    with pytest.raises(InputError) as caught:
        combined_of([found, other(found, "P2-9", **change)])
    assert caught.value.source == PLACE and {found.pile, "P2-9"} <= set(caught.value.problem.split())


def test_piles_without_a_criterion_or_a_shared_stroke_are_refused(found):
    low, middle, high = (
        other(found, name, strokes=strokes) for name, strokes in zip("ABC", ((6, 7), (6.5, 8.5), (8, 9)), strict=True)
    )
    assert combined_of([low, middle]).rows and combined_of([middle, high]).rows
    for piles in ([], [found, replace(found, pile="P2-9", criterion=None)], [low, high]):
        with pytest.raises(InputError) as caught:
            combined_of(piles)
        assert caught.value.source == PLACE
        assert ("P2-9" in caught.value.problem) == ("P2-9" in [one.pile for one in piles])


def test_one_test_pile_is_itself(found):
    assert combined_of([found]) is found.criterion
