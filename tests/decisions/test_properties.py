"""What must hold for every decision, whatever the numbers: more is asked for more, and less is credited for less."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dyntest.decisions.bearing_piles import check_bearing_piles
from dyntest.decisions.criterion import COUNTING, WAYS, Criterion, CriterionRow, count_over, least_count, permitted_set
from dyntest.decisions.end_of_drive_target import end_of_drive_target
from dyntest.decisions.estimate import Estimate, ratio
from dyntest.decisions.risk import chance_driven_on, chance_short, margin
from dyntest.decisions.setup import Setup
from dyntest.decisions.stroke_table import stroke_rows
from dyntest.reading.production_log import ProductionLog

DAY = 86400.0
GRAPH = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
share = st.floats(0.0, 1.0)


@pytest.fixture
def graph(reviewed_sample):
    """Bearing graph of a sample test pile."""
    return reviewed_sample("pier_2_clay").answers.criterion.graph


def resistance_at(graph, part: float) -> float:
    """A resistance inside a graph, by the share of its span [N]."""
    least, most = float(graph.resistance[0]), float(graph.resistance[-1])
    return min(least + part * (most - least), most)  # rounding must not lead out of it


@GRAPH
@given(one=share, other=share)
def test_more_resistance_never_asks_for_fewer_blows(graph, one, other):
    low, high = sorted((one, other))
    for counting in COUNTING.values():
        easy, hard = (
            stroke_rows(graph, graph.stroke, resistance_at(graph, part), None, counting) for part in (low, high)
        )
        for less, more in zip(easy, hard, strict=True):
            assert more.set_per_blow <= less.set_per_blow * (1.0 + 1e-9)
            assert count_over(more.set_per_blow, 0.0762) >= count_over(less.set_per_blow, 0.0762)


@GRAPH
@given(part=share)
def test_more_stroke_never_asks_for_more_blows(graph, part):
    rows = stroke_rows(graph, graph.stroke, resistance_at(graph, part), None, COUNTING["US"])
    assert (np.diff([row.set_per_blow for row in rows]) >= 0.0).all()
    assert (np.diff([row.count for row in rows]) <= 0).all()


@GRAPH
@given(part=share)
def test_both_systems_of_units_ask_for_the_same_set(graph, part):
    resistance = resistance_at(graph, part)
    us, si = (stroke_rows(graph, graph.stroke, resistance, None, COUNTING[system]) for system in ("US", "SI"))
    assert [row.set_per_blow for row in us] == [row.set_per_blow for row in si]
    assert [row.compression_stress for row in us] == [row.compression_stress for row in si]


sets = st.lists(st.floats(5e-4, 3e-2), min_size=1, max_size=6).map(sorted)


@given(sets=sets, strokes=st.lists(st.floats(0.5, 4.0), min_size=2, max_size=8))
def test_a_higher_stroke_is_never_held_to_a_smaller_set(sets, strokes):
    criterion = Criterion(tuple(CriterionRow(1.0 + 0.25 * n, one) for n, one in enumerate(sets)), 0.0762)
    permitted = permitted_set(criterion, np.sort(strokes))
    known = permitted[np.isfinite(permitted)]
    assert (np.diff(known) >= 0.0).all()
    counts = [least_count(criterion, one) for one in known]
    assert counts == sorted(counts, reverse=True)


estimates = st.builds(
    lambda value, down, up: Estimate(value, value * (1.0 - down), value * (1.0 + up)),
    st.floats(1e5, 5e6),
    st.floats(0.0, 0.5),
    st.floats(0.0, 0.5),
)


@given(before=estimates, after=estimates, kept=share)
def test_a_surer_resistance_never_widens_the_setup_factor(before, after, kept):
    def surer(one):
        return Estimate(one.value, one.value - kept * (one.value - one.low), one.value + kept * (one.high - one.value))

    wide, narrow = ratio(after, before), ratio(surer(after), surer(before))
    assert narrow.value == wide.value
    assert wide.low * (1.0 - 1e-12) <= narrow.low <= narrow.high <= wide.high * (1.0 + 1e-12)


@given(value=st.floats(5e5, 5e6), spread=st.floats(0.01, 0.5), kept=share)
def test_a_surer_match_never_raises_the_target(value, spread, kept):
    wide, narrow = (
        end_of_drive_target(1.7e6, matched=Estimate(value, value * (1.0 - part), value * (1.0 + part)))
        for part in (spread, kept * spread)
    )
    assert 1.7e6 <= narrow.value <= wide.value * (1.0 + 1e-9)


def gain(factor: float, days: float) -> Setup:
    """A restrike that gained, by two matches that fit."""
    ratio_found = Estimate(factor, 0.95 * factor, 1.05 * factor)
    after = Estimate(factor * 1e6, 0.96 * factor * 1e6, 1.04 * factor * 1e6)
    return Setup(
        "initial", f"restrike after {days:.0f}", days * DAY, {"matched_resistance": ratio_found}, (), True, after
    )


@pytest.mark.parametrize("credit", [None, False, True])
@given(factors=st.lists(st.floats(1.0, 4.0), min_size=1, max_size=4).map(sorted))
def test_less_evidence_of_setup_never_lowers_what_is_required(credit, factors):
    restrikes = [gain(factor, 2.0 ** (n + 1)) for n, factor in enumerate(factors)]
    targets = [end_of_drive_target(1.7e6, restrikes[:n], credit=credit).value for n in range(len(restrikes), -1, -1)]
    assert all(fewer >= more * (1.0 - 1e-9) for more, fewer in pairwise(targets))
    assert targets[-1] == 1.7e6


@given(
    factors=st.lists(st.floats(1.0, 4.0), min_size=1, max_size=4).map(sorted),
    matched=st.lists(st.booleans(), min_size=4, max_size=4),
    left_out=st.integers(0, 3),
)
def test_leaving_out_any_one_restrike_never_lowers_what_is_required(factors, matched, left_out):
    """Whether it was matched or not, and wherever it stands in a row of rising gains."""
    restrikes = [
        replace(gain(factor, 2.0 ** (n + 1)), fitted=fits)
        for n, (factor, fits) in enumerate(zip(factors, matched, strict=False))
    ]
    fewer = [one for n, one in enumerate(restrikes) if n != min(left_out, len(restrikes) - 1)]
    whole, less = (end_of_drive_target(1.7e6, some, credit=True).value for some in (restrikes, fewer))
    assert less >= whole * (1.0 - 1e-9)


FOOT = 0.3048
CHECKED = Criterion(
    tuple(CriterionRow(stroke * FOOT, 0.0254 / count) for stroke, count in ((6.0, 7.0), (8.0, 5.3), (10.0, 4.1))),
    0.0762,
    minimum_stroke=6.0 * FOOT,
    maximum_stroke=10.0 * FOOT,
    counting=COUNTING["US"],
)
blows = st.lists(st.integers(2, 9), min_size=4, max_size=6)


def accepted(way, *piles):
    """Whether piles with given blows in their last inches, at a stroke each [ft], are accepted."""
    n = len(piles[0][0])
    edges = 10.0 + 0.0254 * np.arange(n + 1)
    top, bottom = (np.tile(side, len(piles)) for side in (edges[:-1], edges[1:]))
    marks, stroke = (np.repeat(each, n) for each in (range(len(piles)), [pile[1] * FOOT for pile in piles]))
    text = ("",) * len(marks)
    counts = np.concatenate([pile[0] for pile in piles])
    log = ProductionLog("log", marks.astype(str), top, bottom, counts, stroke, text, text)
    return (check_bearing_piles(log, replace(CHECKED, way=way)).piles["status"] == "accepted").tolist()


@settings(max_examples=25)
@given(counts=blows, more=st.lists(st.integers(0, 2), min_size=6, max_size=6), way=st.sampled_from(WAYS))
def test_more_blows_never_take_an_acceptance_back(counts, more, way):
    harder = [count + add for count, add in zip(counts, more, strict=False)]
    before, after = accepted(way, (counts, 8.0), (harder, 8.0))
    assert after or not before


@settings(max_examples=25)
@given(counts=blows, low=st.floats(6.0, 10.0), rise=st.floats(0.0, 2.0), way=st.sampled_from(WAYS))
def test_the_same_blows_at_a_higher_stroke_never_show_less(counts, low, rise, way):
    below, above = accepted(way, (counts, low), (counts, min(low + rise, 10.0)))
    assert above or not below


@settings(max_examples=25)
@given(value=st.floats(0.03, 0.30), more=st.floats(0.0, 0.2))
def test_a_larger_error_asks_for_no_less_and_both_chances_follow_the_margin(value, more):
    low, high = margin(value), margin(value + more)
    assert high >= low >= 1.0
    assert chance_short(high, value) <= chance_short(low, value)
    assert chance_driven_on(high, value) >= chance_driven_on(low, value)


@given(factor=st.floats(0.3, 0.9), others=st.lists(st.floats(1.1, 3.0), max_size=3))
def test_a_loss_is_never_outweighed_by_a_gain(factor, others):
    restrikes = [gain(one, 2.0) for one in others]
    for place in range(len(restrikes) + 1):
        target = end_of_drive_target(1.7e6, [*restrikes[:place], gain(factor, 4.0), *restrikes[place:]], credit=True)
        assert target.value >= 1.7e6 / factor
