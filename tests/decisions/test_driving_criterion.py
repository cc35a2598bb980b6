"""The driving criterion from graph to card, and several test piles combined."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.decisions.caution import Caution
from dyntest.decisions.combined_criterion import combine
from dyntest.decisions.criterion import Criterion, CriterionRow
from dyntest.decisions.criterion_words import card
from dyntest.decisions.driving_criterion import AGREEMENT, DISAGREEMENT, MeasuredBlows, driving_criterion, read_back
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.estimate import Estimate
from dyntest.decisions.restrikes import restrike_rule
from dyntest.decisions.setup import Setup
from dyntest.errors import InputError

FOOT, INCH, KIP, DAY = 0.3048, 0.0254, 4448.2216, 86400.0


@pytest.fixture(scope="module")
def found(reviewed_sample):
    return reviewed_sample("pier_2_clay").answers.criterion


@pytest.fixture(scope="module")
def match(reviewed_sample):
    return reviewed_sample("pier_2_clay").drives[0].match


def again(match, found, *, sets=1.0, target=None, **more):
    """The clay criterion derived again, its measured sets multiplied."""
    measured = replace(found.measured, set_per_blow=found.measured.set_per_blow * sets)
    return driving_criterion(match, found.calibrated, target or found.target, measured, system="US", **more)


def test_counts_hold_the_target_when_they_are_read_off_the_graph(found):
    strokes = np.array([row.stroke for row in found.rows])
    sets = np.array([row.set_per_blow for row in found.rows])
    shown = found.graph.resistance_at(strokes, sets)
    assert (shown >= found.target.value * (1 - 1e-3)).all()
    one_blow_less = np.array([INCH / (row.count - 1) for row in found.rows])
    exact = [row.count for row in found.rows] == [int(np.ceil(INCH / row.graph_set)) for row in found.rows]
    assert exact
    assert (found.graph.resistance_at(strokes, one_blow_less) < found.target.value).all()


def test_a_higher_target_asks_for_more_blows(match, found):
    harder = again(match, found, target=EndOfDriveTarget(1.15 * found.target.value, ""))
    assert all(more.graph_set < row.graph_set for more, row in zip(harder.rows, found.rows, strict=True))
    assert sum(row.count for row in harder.rows) > sum(row.count for row in found.rows)


def test_a_disagreement_is_said_first_and_nothing_is_smoothed(match, found):
    wrong = again(match, found, sets=0.5)
    assert wrong.agrees is False
    assert wrong.alerts[0].check == wrong.cautions[0].check == DISAGREEMENT
    assert [row.count for row in wrong.rows] == [row.count for row in found.rows]
    first = card(wrong.criterion, "US")[0]
    assert first.startswith("DO NOT USE BEFORE THIS IS CLEARED UP: the bearing graph reads")
    assert "disagree by more than 15%" in first


def test_without_a_log_the_graph_is_not_called_checked(match, found):
    blank = MeasuredBlows(*(np.full(3, np.nan),) * 4)
    alone = driving_criterion(match, found.calibrated, found.target, blank, system="US")
    assert alone.agrees is None
    assert DISAGREEMENT in [caution.check for caution in alone.cautions]
    assert alone.formulas == ()


@pytest.mark.parametrize(("share", "agrees"), [(1 - AGREEMENT + 0.01, True), (1 - AGREEMENT - 0.01, False)])
def test_the_range_of_agreement(found, share, agrees):
    read, told = read_back(found.graph, found.measured, found.graph_resistance / share)
    assert read == pytest.approx(found.graph_resistance)
    assert told is agrees


def test_blows_outside_the_graph_do_not_agree(found):
    away = replace(found.measured, set_per_blow=np.full(found.measured.set_per_blow.shape, 0.5))
    read, told = read_back(found.graph, away, 1e6)
    assert np.isnan(read)
    assert told is False


def test_no_stroke_gives_no_criterion_and_says_why(match, found):
    beyond = again(match, found, target=EndOfDriveTarget(4 * found.target.value, ""))
    assert beyond.criterion is None
    assert all("beyond practical refusal" in row.ruled_out for row in beyond.rows)
    assert "no usable stroke" in [caution.check for caution in beyond.cautions]


def test_doubts_about_the_test_pile_forbid_its_use(match, found):
    doubted = again(match, found, doubts=(Caution("damage", "it may be broken", "take another"),))
    assert doubted.alerts[-1].check == "damage"
    assert "it may be broken; take another" in card(doubted.criterion, "US")[0]


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

    assert (rule().change, rule().wait) == ("not measured", None)
    assert (rule((1.2, 1.1, 1.3), (1.5, 1.3, 1.7)).change, rule((1.2, 1.1, 1.3), (1.5, 1.3, 1.7)).wait) == (
        "setup",
        2 * DAY,
    )
    assert rule((1.1, 0.9, 1.3)).change == "no sure change"
    lost = rule((0.8, 0.7, 0.9), (1.5, 1.3, 1.7))
    assert (lost.change, lost.wait) == ("relaxation", DAY)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("setup", "stop and do not drive on"),
        ("relaxation", "waiting does not help"),
        ("no sure change", "no gain for sure"),
        ("not measured", "was not measured"),
    ],
)
@pytest.mark.parametrize("system", ["SI", "US"])
def test_the_card_says_when_to_stop(change, words, system):
    rule = replace(restrike_rule(1e6, (), 18.0), change=change)
    text = " ".join(card(Criterion((CriterionRow(2.0, 0.004),), 0.075, restrike=rule), system))
    assert words in text
    assert ("64.0 ft" if system == "US" else "19.50 m") in text
    if change in ("setup", "relaxation"):
        assert "Only a dynamic test can show" in text


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
    combined = combine([found, other(found, "P2-9", sets=0.8)], "US")
    assert [row.set_per_blow for row in combined.rows] == pytest.approx(
        [0.8 * row.set_per_blow for row in found.criterion.rows]
    )
    assert {row.governing for row in combined.rows} == {"test pile P2-9"}
    assert combined.notes[0].startswith("P2-9 governs at every stroke")
    assert "P2-4 alone would ask for" in combined.rows[0].notes[0]


def test_only_shared_strokes_are_left(found):
    combined = combine([found, other(found, "P2-9", sets=1.1, strokes=(7.0, 9.0))], "US")
    assert [combined.rows[0].stroke / FOOT, combined.rows[-1].stroke / FOOT] == pytest.approx([7.0, 9.0], abs=1e-5)
    assert (combined.minimum_stroke, combined.maximum_stroke) == (combined.rows[0].stroke, combined.rows[-1].stroke)
    assert {row.governing for row in combined.rows} == {"test pile P2-4"}


def test_the_strictest_rule_for_restrikes_is_kept(found):
    second = other(found, "P2-9")
    relaxed = replace(found.criterion.restrike, change="relaxation", wait=30 * DAY, resistance=2e6)
    second = replace(second, criterion=replace(second.criterion, restrike=relaxed))
    rule = combine([found, second], "US").restrike
    assert (rule.change, rule.wait, rule.resistance) == ("relaxation", 30 * DAY, 2e6)


def test_alerts_of_every_pile_are_kept(found):
    second = other(found, "P2-9")
    second = replace(second, criterion=replace(second.criterion, alerts=("it may be broken",)))
    assert combine([found, second], "US").alerts == ("P2-9: it may be broken",)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"impedance": 1.2}, "piles of another kind"),
        ({"ram": 1.2}, "driven by another hammer"),
    ],
)
def test_strangers_are_not_combined(found, change, words):
    with pytest.raises(InputError, match=words):
        combine([found, other(found, "P2-9", **change)])


def test_piles_without_a_criterion_or_a_shared_stroke_are_refused(found):
    with pytest.raises(InputError, match="no test pile"):
        combine([])
    with pytest.raises(InputError, match="no stroke is usable at P2-9"):
        combine([found, replace(found, pile="P2-9", criterion=None)])
    low, high = other(found, "A", strokes=(6.0, 7.0)), other(found, "B", strokes=(8.0, 9.0))
    with pytest.raises(InputError, match="share no usable stroke"):
        combine([low, high])


def test_one_test_pile_is_itself(found):
    assert combine([found]) is found.criterion
