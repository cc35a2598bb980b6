"""The table of counts by stroke: rounded up, steady, and with the strokes that cannot be used."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.decisions.driving_criterion import MOST_ROWS, ruled_out_words, stroke_rows, table_strokes
from dyntest.decisions.stress_limits import DrivingStressLimits, StressLimit
from dyntest.hammer import Hammer
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


def rows_of(graph, held=None, system="US"):
    return stroke_rows(graph, STROKES, 1.5e6, held, system)


def test_counts_are_rounded_up_so_that_the_set_is_never_larger_than_the_graphs():
    rows = rows_of(graph_of(np.array([1 / 8.1, 1 / 7.0, 1 / 6.999, 1 / 4.01]) * INCH))
    assert [row.count for row in rows] == [9, 7, 7, 5]
    assert all(row.set_per_blow <= row.graph_set * (1 + 1e-9) for row in rows)


@given(st.lists(st.floats(0.0026, 0.05), min_size=4, max_size=4))
def test_more_stroke_never_asks_for_more_blows(sets):
    counts = [row.count for row in rows_of(graph_of(sets), system="SI")]
    assert counts == sorted(counts, reverse=True)
    rows = rows_of(graph_of(sets), system="SI")
    assert all(row.set_per_blow <= row.graph_set * (1 + 1e-9) for row in rows)


def test_a_stress_above_its_limit_rules_out_that_stroke_and_all_above():
    graph = graph_of([INCH / 6] * 4, compression=(20, 40, 30, 35))
    rows = rows_of(graph, limits(36, None))
    assert [bool(row.ruled_out) for row in rows] == [False, True, True, True]
    assert rows[1].ruled_out == "the compression stress of 40.0 ksi is above the limit of 36.0 ksi"
    assert "a lower stroke is ruled out" in rows[2].ruled_out
    assert ruled_out_words(rows, "US") == (
        "strokes of 7.0 ft and more: the compression stress of 40.0 ksi is above the limit of 36.0 ksi there",
    )


def test_tension_is_held_to_its_own_limit():
    rows = rows_of(graph_of([INCH / 6] * 4, tension=(0.5, 0.9, 1.03, 1.2)), limits(36, 1.0))
    assert [bool(row.ruled_out) for row in rows] == [False, False, True, True]
    assert rows[2].ruled_out == "the tension stress is just above the limit of 1.0 ksi"


def test_a_limit_that_is_not_known_rules_nothing_out():
    assert not any(row.ruled_out for row in rows_of(graph_of([INCH / 6] * 4), limits(None, None)))


def test_a_count_beyond_practical_refusal_rules_out():
    rows = rows_of(graph_of(np.array([1 / 14, 1 / 10.5, 1 / 9, 1 / 7]) * INCH))
    assert [bool(row.ruled_out) for row in rows] == [True, True, False, False]
    assert ruled_out_words(rows, "US") == (
        "strokes below 8.0 ft: at 7.0 ft the count would be 10.5 blows per inch, beyond practical refusal",
    )


@pytest.mark.parametrize(("low", "high", "system"), [(6, 10, "US"), (3.5, 4, "US"), (1, 15, "US"), (4.1, 7.9, "SI")])
def test_strokes_are_round_numbers_over_the_approved_range(low, high, system):
    hammer = Hammer("drop", 2000.0, minimum_stroke=low * FOOT, maximum_stroke=high * FOOT)
    strokes = table_strokes(hammer, np.array([np.nan]), 2.0, system)
    assert strokes[[0, -1]] == pytest.approx([low * FOOT, high * FOOT], abs=1e-6)
    assert len(strokes) <= MOST_ROWS + 2
    inner = strokes[1:-1] / (FOOT if system == "US" else 1.0)
    assert np.allclose(inner * 20, np.rint(inner * 20), atol=1e-4)


def test_measured_strokes_stand_for_a_range_that_is_not_given():
    strokes = table_strokes(Hammer("drop", 2000.0), np.array([np.nan, 1.02, 1.18]), 2.0, "SI")
    assert strokes[[0, -1]].tolist() == [1.02, 1.18]
    assert table_strokes(Hammer("drop", 2000.0), np.array([np.nan]), 2.0, "SI").tolist() == [2.0]
