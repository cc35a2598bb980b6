"""The card an inspector carries: one set of words for page and paper, in either system."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from dyntest.decisions.criterion import COUNTING, WAYS, Criterion, CriterionRow, EasyDriving, count_over
from dyntest.decisions.driving_criterion import DISAGREEMENT, GRAPH_NOT_CHECKED
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.restrikes import restrike_rule
from dyntest.decisions.stroke_table import StrokeRow
from dyntest.decisions.trust import Caution
from dyntest.hammer import Hammer
from dyntest.pile import Pile, PilePart
from dyntest.presenting.criterion_words import easy_driving_sentences, inspectors_card, refusal_length, restrike_counts
from dyntest.presenting.report.card import card as on_paper
from dyntest.presenting.sentences import criterion_cells

INCH, FOOT = 0.0254, 0.3048
ROWS = tuple(CriterionRow(stroke * FOOT, INCH / count) for stroke, count in ((6, 7.2), (7, 6), (8, 4.6)))


def criterion(way="whole length", **more):
    return Criterion(ROWS, 3 * INCH, counting=COUNTING["US"], way=way, maximum_stroke=10 * FOOT, **more)


def test_counts_over_the_whole_length_and_a_floor_for_every_inch():
    found = inspectors_card(criterion(), "US")
    assert [(row.stroke, row.count, row.every) for row in found.rows] == [
        ("6.0 ft", "22", "5"),
        ("7.0 ft", "18", "4"),
        ("8.0 ft", "14", "3"),
    ]
    assert found.head[:3] == ("stroke", "blows in 3 in, at least", "minimum per inch")


def test_a_count_of_less_than_a_blow_an_inch_has_no_floor_for_every_inch():
    """2 blows in 6 in and 1 in every inch cannot both be asked."""
    easy = Criterion((CriterionRow(6 * FOOT, INCH / 0.4),), 6 * INCH, counting=COUNTING["US"])
    words, paper = inspectors_card(easy, "US"), on_paper(easy, "Bridge", "US")
    assert [(row.count, row.every) for row in words.rows] == [("2", "–")]
    assert not any("fewer than the minimum" in line for line in words.meets) and not any(
        "minimum" in head for head in paper["head"]
    )


def test_one_stroke_is_not_interpolated_and_a_restrike_counts_from_its_stroke_on():
    """The strokes of the restrike's table leave out those with the same count."""
    rule = restrike_rule(1e6, (), 18.0, ROWS, counting=COUNTING["US"])
    one = replace(criterion(restrike=rule), rows=ROWS[:1])
    assert not any("interpolate" in line for line in inspectors_card(one, "US").strokes)
    assert any("interpolate" in line for line in inspectors_card(criterion(), "US").strokes)
    assert on_paper(one, "Bridge", "US")["restrike"]["head"] == [
        "stroke, at least",
        "blows in the first 1 in, at least",
    ]


@pytest.mark.parametrize(("least", "where"), [(10.0, "(5 ft past the test pile)"), (25.0, "(the minimum penetration)")])
def test_where_a_pile_stops_is_named(least, where):
    rule = restrike_rule(1e6, (), 18.0, minimum_penetration=least)
    assert where in inspectors_card(criterion(restrike=rule, minimum_penetration=least), "US").restrike[0]


def test_practical_refusal_is_as_long_on_the_card_as_in_the_report():
    """3 in, or the three counts of 25 mm that an inspector keeps."""
    metric = replace(criterion(), counting=COUNTING["SI"])
    told = [refusal_length(criterion(), "US"), refusal_length(metric, "SI"), refusal_length(criterion(), "SI")]
    assert told == ["3 in", "75 mm", "3 in (about 76 mm)"]


@pytest.mark.parametrize("way", WAYS)
def test_a_count_by_inches_is_named_so_wherever_the_card_is_read_in_metres(way):
    """ "minimum per 25 mm" stood beside "102 mm (4 in)": the card of a site that counts inches."""
    held = criterion(way, restrike=restrike_rule(1e6, (), 18.0, ROWS, counting=COUNTING["US"]))
    paper = on_paper(held, "Bridge", "SI")
    lines = [*paper["head"], *(line for _, lines in paper["rules"] for line in lines), *paper["restrike"]["lines"]]
    inches = [line for line in lines if " mm" in line]
    assert len(inches) >= 4 and all(line.count(" mm") == line.count("(about ") for line in inches)
    assert "minimum per inch (about 25 mm)" in paper["head"] or way == WAYS[1]


@pytest.mark.parametrize("way", WAYS)
def test_a_count_by_25_mm_is_named_so_where_the_card_is_read_in_feet(way):
    """ "Every 0.984 in (25 mm)": nobody marks a pile by that."""
    metric = {"counting": COUNTING["SI"], "holding_length": 0.1}
    held = replace(criterion(way, restrike=restrike_rule(1e6, (), 18.0, ROWS, counting=COUNTING["SI"])), **metric)
    paper = on_paper(held, "Bridge", "US")
    lines = [*paper["head"], *(line for _, lines in paper["rules"] for line in lines), *paper["restrike"]["lines"]]
    told = " ".join(lines)
    assert "0.9" not in told and "0.2" not in told and "25 mm (about 1 in)" in told
    assert "100 mm (about 4 in)" in told and "75 mm (about 3 in)" in told and "6 mm (about 1/4 in)" in told
    assert "minimum per 25 mm (about 1 in)" in paper["head"] or way == WAYS[1]


def test_counts_in_every_inch_are_never_rounded_down():
    found = inspectors_card(criterion("every inch"), "US")
    assert [(row.count, row.every) for row in found.rows] == [("8", ""), ("6", ""), ("5", "")]


@pytest.mark.parametrize("way", WAYS)
def test_the_table_asks_for_the_count_of_the_card(way):
    """A sheet that asks for every inch had the count over the whole length in the answer, and the other on the card."""
    held = criterion(way)
    found = SimpleNamespace(criterion=held, holding_length=held.holding_length)
    for row, told in zip(ROWS, inspectors_card(held, "US").rows, strict=True):
        whole = count_over(row.set_per_blow, held.holding_length)
        cells = criterion_cells(found, StrokeRow(row.stroke, row.set_per_blow, whole, *[1e6] * 5), "US")
        assert cells[1] == f"{told.count} {'in 3 in' if way == WAYS[0] else 'in every inch'}"


@pytest.mark.parametrize(
    ("kind", "when"), [("not measured", " at the end of driving"), ("credited", " after the wait")]
)
def test_the_card_says_how_many_piles_that_just_pass_are_short(kind, when):
    """Where setup was not measured up to 62 in 100 were, and only a table of the report had the number."""
    rows = (replace(ROWS[0], short=0.31), replace(ROWS[1], short=0.474))
    held = replace(criterion(), rows=rows, targets=(EndOfDriveTarget(1.2e6, 260 * 4448.2216152605, kind),))
    asked = f"Of piles that just meet the count, 31 to 47 % have less than the required 260 kip{when}."
    assert on_paper(held, "Bridge", "US")["basis"].endswith(asked)


@pytest.mark.parametrize(("kind", "through"), [("", True), (DISAGREEMENT, False), (GRAPH_NOT_CHECKED, False)])
def test_a_graph_that_no_blow_confirms_is_not_said_to_pass_through_them(kind, through):
    found = (Caution(kind, None, 0.15, {"read": None, "matched": 1e6}),) if kind else ()
    held = criterion(alerts=found) if kind == DISAGREEMENT else criterion(cautions=found)
    assert ("through the measured blows" in inspectors_card(held, "US").basis) is through


def test_page_and_paper_show_the_same():
    held = criterion(minimum_penetration=12.0)
    words, paper = inspectors_card(held, "US"), on_paper(held, "Bridge", "US")
    assert [[row[0], row[1]["strong"], row[2]] for row in paper["rows"]] == [
        [row.stroke, row.count, row.every] for row in words.rows
    ]
    told = [line for _, lines in paper["rules"] for line in lines]
    assert set(words.meets) | {words.refusal} <= set(told)
    assert paper["strokes"] == list(words.strokes)
    assert set(words.meets) | set(words.strokes) <= set(words.sentences)


def test_the_card_names_hammer_and_pile_and_the_blows_a_minute_of_a_diesel():
    pile = Pile("P1", "steel", (PilePart(20.0, 0.0168, 210e9, 7850.0),), section="HP14x89")
    hammer = Hammer("open-end diesel", 1800.0, make="Maker", model="D-4 (invented)", fuel_setting="3")
    paper = on_paper(criterion(), "Bridge", "US", pile, hammer)
    site = dict(map(tuple, paper["site"]))
    assert "HP14x89" in site["pile"] and "Maker D-4" in site["hammer"] and site["fuel setting"] == "3"
    assert paper["head"][1] == "blows per minute"
    rate = 60.0 * np.sqrt(9.80665 / 8.0 / (criterion().rows[0].stroke + 0.09144))
    assert paper["rows"][0][1] == f"{rate:.0f}"
    other = on_paper(criterion(), "Bridge", "US", pile, replace(hammer, kind="hydraulic"))
    assert "blows per minute" not in other["head"]


def test_refusal_is_practical_or_absolute_and_neither_accepts():
    rules = dict(map(tuple, on_paper(criterion(), "Bridge", "US")["rules"]))
    refusal = " ".join(next(lines for name, lines in rules.items() if name.endswith("Refusal")))
    assert "not met" in refusal and "5 blows in 1/4 in" in refusal


def test_leaving_the_table_at_its_lower_end_does_not_stop_the_job():
    stop = " ".join(inspectors_card(criterion(), "US").stop)
    assert "rises above the highest" in stop
    assert "leaves the range" not in stop


@pytest.mark.parametrize("change", ["setup", "relaxation", "no significant change", "not measured"])
@pytest.mark.parametrize("system", ["SI", "US"])
def test_the_card_says_when_to_stop(change, system):
    rule = replace(restrike_rule(1e6, (), 18.0), change=change)
    words = inspectors_card(Criterion((CriterionRow(2.0, 0.004),), 0.075, restrike=rule), system)
    text = " ".join(words.restrike)
    assert ("64 ft" if system == "US" else "19.5 m") in text
    assert (" mm" in text or " m " in text or "kN" in text) == (system == "SI")
    if change in ("setup", "relaxation"):
        assert "Only a dynamic test can show" in text


def test_a_restrike_has_to_show_the_requirement_with_the_digits_it_is_stated_with():
    rule = replace(restrike_rule(2404e3, (), 18.0), change="setup", rows=ROWS)
    told = " ".join(inspectors_card(criterion(restrike=rule), "US").restrike)
    assert "540.4 kip" in told


@pytest.mark.parametrize(
    ("blows", "ends", "told"), [(1, (19.5, 19.5), "1 measured blow ex"), (2, (19.5, 19.9), "2 me")]
)
def test_one_blow_above_a_stress_limit_is_one_blow_at_one_depth(blows, ends, told):
    limit = EasyDriving(7 * FOOT, 0.005, "compression", *ends, blows)
    (line,) = easy_driving_sentences(criterion(easy_driving=(limit,)), "US")
    assert told in line and ("between 64.0 ft and 65.3 ft" in line) == (blows == 2) and line.count("64.0 ft") == 1


def test_one_whole_count_in_easy_driving_has_one_stroke():
    """28.97 and 29.2 blows per foot both read 29, with 2.0 ft in one line and 3.5 ft in the next."""
    limits = tuple(EasyDriving(stroke * FOOT, FOOT / count, "tension") for stroke, count in ((3.5, 29.2), (2.0, 28.97)))
    (line,) = easy_driving_sentences(criterion(easy_driving=limits), "US")
    assert "Below 29 blows per foot keep the stroke at 2.0 ft" in line


def test_strokes_of_one_table_have_one_rounding():
    """A stroke of 2.90 m must not stand as 2.9 m among 2.74 m."""
    rows = tuple(CriterionRow(stroke, 0.003) for stroke in (2.44, 2.74, 2.9, 3.0))
    held = replace(criterion(), rows=rows, maximum_stroke=3.0)
    rule = replace(
        restrike_rule(2404e3, (), 18.0),
        rows=tuple(replace(row, set_per_blow=0.003 / n) for n, row in enumerate(rows, 1)),
    )
    card = inspectors_card(held, "SI")
    strokes = [row.stroke for row in card.rows]
    assert strokes == ["2.44 m", "2.74 m", "2.90 m", "3.00 m"] == [stroke for stroke, _ in restrike_counts(rule, "SI")]
    assert "The stroke must not be above 3.00 m." in card.strokes
