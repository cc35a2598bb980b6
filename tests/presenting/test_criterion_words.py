"""The card an inspector carries: one set of words for page and paper, in either system."""

import pytest

from dyntest.decisions.criterion import COUNTING, Criterion, CriterionRow
from dyntest.decisions.restrikes import restrike_rule
from dyntest.presenting.criterion_words import inspectors_card
from dyntest.presenting.report.card import card as on_paper

INCH, FOOT = 0.0254, 0.3048
ROWS = tuple(CriterionRow(stroke * FOOT, INCH / count) for stroke, count in ((6, 7.2), (7, 6), (8, 4.6)))


def criterion(way="whole length", **more):
    return Criterion(ROWS, 3 * INCH, counting=COUNTING["US"], way=way, maximum_stroke=10 * FOOT, **more)


def test_counts_over_the_whole_length_and_a_floor_for_every_inch():
    found = inspectors_card(criterion(), "US")
    assert [(row.stroke, row.count, row.every) for row in found.rows] == [
        ("6 ft", "22", "5"),
        ("7 ft", "18", "4"),
        ("8 ft", "14", "3"),
    ]
    assert found.head[:3] == ("stroke", "blows in 3 in, at least", "no inch under")


def test_counts_in_every_inch_are_never_rounded_down():
    found = inspectors_card(criterion("every inch"), "US")
    assert [(row.count, row.every) for row in found.rows] == [("8", ""), ("6", ""), ("5", "")]


def test_page_and_paper_show_the_same():
    held = criterion(minimum_penetration=12.0)
    words, paper = inspectors_card(held, "US"), on_paper(held, "Bridge", "US")
    assert paper["rows"] == [[row.stroke, row.count, row.every] for row in words.rows]
    told = [line for _, lines in paper["rules"] for line in lines]
    assert set(words.meets) | {words.refusal} <= set(told)
    assert paper["strokes"] == list(words.strokes)
    assert set(words.meets) | set(words.strokes) <= set(words.sentences)


def test_leaving_the_table_at_its_lower_end_does_not_stop_the_job():
    stop = " ".join(inspectors_card(criterion(), "US").stop)
    assert "rises above the highest" in stop
    assert "leaves the range" not in stop


@pytest.mark.parametrize("change", ["setup", "relaxation", "no sure change", "not measured"])
@pytest.mark.parametrize("system", ["SI", "US"])
def test_the_card_says_when_to_stop(change, system):
    from dataclasses import replace

    rule = replace(restrike_rule(1e6, (), 18.0), change=change)
    words = inspectors_card(Criterion((CriterionRow(2.0, 0.004),), 0.075, restrike=rule), system)
    text = " ".join(words.restrike)
    assert ("64.0 ft" if system == "US" else "19.50 m") in text
    assert (" mm" in text or " m " in text or "kN" in text) == (system == "SI")
    if change in ("setup", "relaxation"):
        assert "Only a dynamic test can show" in text
