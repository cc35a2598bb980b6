"""The table of counts by stroke: rounded to neither side, steady, and with the strokes that cannot be used."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.decisions.criterion import COUNTING, WAYS
from dyntest.decisions.stress_limits import DrivingStressLimits, StressLimit
from dyntest.decisions.stroke_table import (
    MOST_ROWS,
    easy_driving,
    graph_strokes,
    stroke_rows,
    strokes_ruled_out,
    table_strokes,
)
from dyntest.hammer import Hammer
from dyntest.names import show
from dyntest.units import to_si
from dyntest.wave_equation.bearing_graph import BearingGraph, DrivenBlows

FOOT, INCH, KSI = 0.3048, 0.0254, to_si("1 ksi", "stress")
HAMMER = Hammer("drop", 2000.0)
STROKES = np.array([6.0, 7.0, 8.0, 9.0]) * FOOT


def graph_of(sets, compression=(20, 25, 30, 35), tension=(1, 1, 1, 1)):
    """A graph that says the same at every resistance."""

    def flat(values):
        return np.repeat(np.array(values, dtype=float)[:, None], 2, axis=1)

    blows = DrivenBlows(flat(sets), flat([1e6] * 4), flat([1e4] * 4), flat(compression) * KSI, flat(tension) * KSI)
    return BearingGraph(STROKES, np.array([1e6, 2e6]), blows, HAMMER)


def limits(compression, tension):
    given = {"compression": compression, "tension": tension}
    values = [StressLimit(name, None if value is None else value * KSI, "", "") for name, value in given.items()]
    return DrivingStressLimits(*values)


def rows_of(graph, held=None, system="US", **more):
    return stroke_rows(graph, STROKES, 1.5e6, held, COUNTING[system], **more)


def kinds(rows):
    return [None if row.ruled_out is None else row.ruled_out.kind for row in rows]


def test_counts_over_the_holding_length_are_the_nearest_whole_ones_and_in_every_inch_rounded_up():
    graph = graph_of(np.array([1 / 8.04, 1 / 7.0, 1 / 6.4, 1 / 4.05]) * INCH)
    assert [row.count for row in rows_of(graph)] == [24, 21, 19, 12]  # over 3 in, where 4.05 to the inch make 12.15
    assert [row.count for row in rows_of(graph, way=WAYS[1])] == [27, 21, 21, 15]  # the same in every inch


def test_no_inch_is_asked_for_the_blows_of_refusal():
    """9.3 blows an inch are 10 in every inch, which the same card calls refusal."""
    graph = graph_of(np.array([1 / 9.3, 1 / 7.0, 1 / 6.4, 1 / 4.05]) * INCH)
    whole, every = (rows_of(graph, way=way)[0].ruled_out for way in WAYS)
    assert (whole, every.kind) == (None, "refusal")


@given(st.lists(st.floats(0.0026, 0.05), min_size=4, max_size=4))
def test_more_stroke_never_asks_for_more_blows(sets):
    counts = [row.count for row in rows_of(graph_of(sets), system="SI")]
    assert counts == sorted(counts, reverse=True)


@pytest.mark.parametrize("system", ["US", "SI"])
def test_the_ends_of_the_table_are_those_of_the_graph(system):
    """An end outside by its last digit would be read off no curve."""
    for lowest, highest in ((6.0 * FOOT, 10.0 * FOOT), (3.1 * FOOT, 7.7 * FOOT), (0.3, 0.3)):
        approved = Hammer("drop", 2000.0, minimum_stroke=lowest, maximum_stroke=highest), np.array([np.nan]), 2.0
        table, graph = table_strokes(*approved, COUNTING[system]), graph_strokes(*approved)
        assert (table[0], table[-1]) == (graph[0], graph[-1])


def test_a_stress_that_passes_its_limit_between_two_rows_ends_the_table_before():
    """Tension of 1.2 at 7 ft, between rows at 6 and 8 ft that have 0.8 and 0.9; the limit is 1."""
    graph = graph_of([INCH / 6] * 4, tension=(0.8, 1.2, 0.9, 0.9))
    rows = stroke_rows(graph, STROKES[[0, 2, 3]], 1.5e6, limits(None, 1), COUNTING["US"])
    assert [show("stroke", row.stroke, "US") for row in rows] == ["6.0 ft", "6.5 ft", "8.0 ft", "9.0 ft"]
    assert kinds(rows) == [None, None, "tension", "lower stroke"]
    assert rows[2].ruled_out.stroke == pytest.approx(7.0 * FOOT)


def test_a_stress_above_its_limit_rules_out_that_stroke_and_all_above():
    graph = graph_of([INCH / 6] * 4, compression=(20, 40, 30, 35))
    rows = rows_of(graph, limits(36, None))
    assert kinds(rows) == [None, None, "compression", "lower stroke", "lower stroke"]
    assert rows[1].stroke == pytest.approx((6.0 + 16 / 20) * FOOT, abs=0.01)  # where the line reaches the limit
    assert rows[1].mean_stress == pytest.approx(36 * KSI)
    found = strokes_ruled_out(rows)
    assert [(one.side, one.reason.kind) for one in found] == [("from", "compression")]
    assert (found[0].reason.value, found[0].reason.limit) == pytest.approx((40 * KSI, 36 * KSI))


def test_tension_is_held_to_its_own_limit():
    rows = rows_of(graph_of([INCH / 6] * 4, tension=(0.5, 0.9, 1.03, 1.2)), limits(36, 1.0))
    assert kinds(rows) == [None, None, None, "tension", "lower stroke"]


def test_a_limit_that_is_not_known_rules_nothing_out():
    assert kinds(rows_of(graph_of([INCH / 6] * 4), limits(None, None))) == [None] * 4


def test_measured_bending_is_held_against_the_limit():
    """Single gauge over mean: at 9 ft the section keeps 36 ksi and one of its faces does not."""
    rows = rows_of(graph_of([INCH / 6] * 4), limits(36, None), bending=1.25)
    assert [row.stroke / FOOT for row in rows] == pytest.approx([6, 7, 7.7, 8, 9], abs=0.1)
    assert [row.compression_stress / KSI for row in rows if row.ruled_out is None] == pytest.approx(
        [25, 31.25, 1.25 * (20 + 5 * 1.7)], abs=0.01
    )
    assert kinds(rows) == [None, None, None, "bending", "lower stroke"]
    assert (rows[3].ruled_out.value, rows[3].ruled_out.limit) == pytest.approx((37.5 * KSI, 36 * KSI))
    assert [row.mean_stress / KSI for row in rows[3:]] == pytest.approx([30, 35])
    assert kinds(rows_of(graph_of([INCH / 6] * 4), limits(36, None))) == [None] * 4


def test_where_section_and_face_both_pass_the_limit_both_strokes_are_rows():
    rows = rows_of(graph_of([INCH / 6] * 4, compression=(20, 28, 36, 44)), limits(32, None), bending=1.1)
    within = [row.stroke / FOOT for row in rows if row.mean_stress <= 32.001 * KSI]
    assert within[-1] == pytest.approx(7.5, abs=0.05)
    usable = [row.stroke / FOOT for row in rows if row.ruled_out is None]
    assert usable[-1] == pytest.approx(6 + (32 / 1.1 - 20) / 8, abs=0.05)


@given(st.floats(20.5, 43.5), st.floats(1.0, 1.3), st.sampled_from(["US", "SI"]))
def test_strokes_at_a_stress_limit_read_apart_and_never_above_the_limit(limit, bending, system):
    """What the table shows is what the card approves: 9.06 ft shown as 9.1 ft would be above the limit."""
    compression = (20, 28, 36, 44)
    rows = rows_of(graph_of([INCH / 6] * 4, compression=compression), limits(limit, None), system, bending=bending)
    read = [show("stroke", row.stroke, system) for row in rows]
    assert len(set(read)) == len(read)
    ends = [(6 + (limit / factor - 20) / 8) * FOOT for factor in (1.0, bending)]
    for text, row in zip(read, rows, strict=True):
        if np.abs(STROKES - row.stroke).min() > 1e-9:  # a stroke at which a stress reaches its limit
            shown = float(text.split()[0]) * (FOOT if system == "US" else 1.0)
            assert any(0.0 <= end - shown + 1e-6 < 0.11 * FOOT for end in ends)


@pytest.mark.parametrize(("low", "high", "system"), [(1.83, 3.05, "US"), (1.82, 2.45, "US"), (2.003, 2.998, "SI")])
def test_no_two_strokes_of_the_table_read_alike(low, high, system):
    hammer = Hammer("drop", 2000.0, minimum_stroke=low, maximum_stroke=high)
    read = [show("stroke", one, system) for one in table_strokes(hammer, np.array([np.nan]), 2.0, COUNTING[system])]
    assert len(set(read)) == len(read)


def test_refusal_lies_beyond_acceptance():
    """Ten blows an inch are practical refusal (UFC 3-220-20, 6-4.1.2), so that count is never asked for."""
    rows = rows_of(graph_of(np.array([1 / 14, 1 / 10.0, 1 / 9.99, 1 / 7]) * INCH))
    assert kinds(rows) == ["refusal", "refusal", "refusal", None]
    found = strokes_ruled_out(rows)
    assert [(one.side, one.stroke, one.reason.kind) for one in found] == [("below", pytest.approx(9 * FOOT), "refusal")]


def test_in_easy_driving_the_stroke_is_limited_by_the_count():
    """Tension passes its limit where the pile moves far: from 8 ft on while a blow moves it an inch, not at half."""
    sets = np.array([[1.0, 0.2]] * 4) * INCH
    tension = np.array([[0.5, 0.5], [0.9, 0.5], [1.2, 0.5], [1.5, 0.5]]) * KSI
    same = np.full((4, 2), 1e6)
    graph = BearingGraph(STROKES, np.array([0.5e6, 2e6]), DrivenBlows(sets, same, same, same, tension), HAMMER)
    (found,) = easy_driving(graph, STROKES, limits(36, 1.0), 0.25 * INCH)
    assert (found.kind, found.stroke, found.set_per_blow) == ("tension", pytest.approx(7 * FOOT), pytest.approx(INCH))
    assert easy_driving(graph, STROKES, limits(36, 2.0), 0.25 * INCH) == ()
    assert easy_driving(graph, STROKES, None, 0.25 * INCH) == ()


@pytest.mark.parametrize(("low", "high", "system"), [(6, 10, "US"), (3.5, 4, "US"), (1, 15, "US"), (4.1, 7.9, "SI")])
def test_strokes_are_round_numbers_over_the_approved_range(low, high, system):
    hammer = Hammer("drop", 2000.0, minimum_stroke=low * FOOT, maximum_stroke=high * FOOT)
    strokes = table_strokes(hammer, np.array([np.nan]), 2.0, COUNTING[system])
    assert strokes[[0, -1]] == pytest.approx([low * FOOT, high * FOOT], abs=1e-6)
    assert len(strokes) <= MOST_ROWS + 2
    inner = strokes[1:-1] / (FOOT if system == "US" else 1.0)
    assert np.allclose(inner * 20, np.rint(inner * 20), atol=1e-4)


def test_measured_strokes_stand_for_a_range_that_is_not_given():
    strokes = table_strokes(Hammer("drop", 2000.0), np.array([np.nan, 1.02, 1.18]), 2.0, COUNTING["SI"])
    assert strokes[[0, -1]].tolist() == [1.02, 1.18]
    assert table_strokes(Hammer("drop", 2000.0), np.array([np.nan]), 2.0, COUNTING["SI"]).tolist() == [2.0]
