"""Frames of what the drives answer together, against the review they are made from."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from dyntest.decisions.criterion import RuledOut, blow_count
from dyntest.decisions.estimate import exactly
from dyntest.decisions.setup import SECONDS_PER_DAY
from dyntest.decisions.time_law import fit_time_law
from dyntest.names import display_unit
from dyntest.presenting.bearing_pile_answers import bearing_pile_answer
from dyntest.presenting.frames_decisions import (
    ASKED,
    GRAPH,
    SHAFT,
    WAIT,
    bearing_rows,
    criterion_lines,
    criterion_rows,
    fade_line,
    formula_rows,
    law_over_time,
    law_requirement,
    measured_counts,
    measured_over_time,
    pile_depths,
    ruled_out_lines,
    setup_rows,
)
from dyntest.presenting.frames_match import (
    GAUGE_LEVEL,
    damping,
    failure_loads,
    load_movements,
    match_rows,
    match_waves,
    shaft_lengths,
    soil_numbers,
)
from dyntest.reading.production_log import read_pile_table, read_production_log
from dyntest.reviewing.structure import review_bearing_piles
from dyntest.wave_equation.problem import ELASTIC_PLASTIC, RADIATION, SoilLaw, make_problem


@pytest.fixture(scope="module")
def samples(request):
    return request.config.rootpath / "sample_signals"


@pytest.fixture
def reviewed(reviewed_sample):
    return reviewed_sample("pier_2_clay")


@pytest.fixture
def matched(reviewed):
    return reviewed.drives[0].match


def kip(value: float) -> float:
    return value * display_unit("shaft_resistance", "US")[1]


def test_shaft_and_toe_of_a_match_add_up_to_it(matched):
    frame = shaft_lengths(matched, "US")
    assert frame.iloc[:, 3].sum() == pytest.approx(kip(matched.matched_resistance), rel=0.06)  # limits, not mobilised
    assert frame.iloc[-1, 3] == pytest.approx(kip(matched.toe_resistance))
    np.testing.assert_allclose(frame.iloc[1:-1, 1], frame.iloc[:-2, 2])


def test_waves_of_a_match_lie_as_far_apart_as_its_misfit_says(matched):
    measured, computed = (line.iloc[:, 1].to_numpy() for _, line in match_waves(matched, "SI").groupby("trace"))
    apart = np.sqrt(np.mean((measured - computed) ** 2)) / (matched.problem.scale / 1e3)
    assert apart == pytest.approx(matched.misfit, rel=0.5)


def test_a_static_load_test_begins_at_nothing_and_holds_the_matched_resistance(matched):
    head, toe = (line for _, line in load_movements(matched, "US").groupby("place"))
    assert head.iloc[0, :2].tolist() == toe.iloc[0, :2].tolist() == [0.0, 0.0]
    assert head.iloc[:, 0].max() == pytest.approx(kip(matched.limit), rel=1e-3)
    assert (np.diff(head.iloc[:, 1]) > 0).all()


def test_the_range_of_a_static_load_test_holds_its_curve_and_failures_lie_on_it(matched):
    frame, failed = load_movements(matched, "US"), failure_loads(matched, "US")
    head = frame[frame["place"] == GAUGE_LEVEL]
    load, moved, _, low, high = frame.columns
    assert ((head[low] <= head[load]) & (head[load] <= head[high])).all()
    assert head[high].iloc[-1] > 1.01 * head[low].iloc[-1]
    assert len(failed) > 0
    on_it = np.interp(failed[moved], head[moved], head[load])
    np.testing.assert_allclose(failed[load], on_it, rtol=0.01)


def test_a_match_is_told_with_units_and_ranges(matched):
    rows = match_rows(matched, "SI").set_index("what")
    assert rows.loc["resistance from signal matching", "value"].endswith(" kN")
    assert " to " in rows.loc["shaft resistance", "range"]
    share = min(float(matched.parameters["unloading_share"]), 1.0)  # the law is elastic-plastic
    assert not matched.problem.hyperbolic
    assert float(rows.loc["unloading quake / loading quake", "value"]) == pytest.approx(share, abs=0.005)
    layout = matched.problem.layout
    row, told = layout.row("toe_gap"), {}
    for gap in (2e-5, 2e-3):
        scores = matched.scores.copy()
        scores[row] = (gap - layout.expected[row]) / layout.spread[row]
        told[gap] = match_rows(replace(matched, scores=scores), "SI").set_index("what").loc["toe gap", "value"]
    assert told == {2e-5: "none", 2e-3: "2.0 mm"}  # a hundredth of a millimetre is in no record


def test_the_damping_of_a_power_of_the_velocity_has_the_power_in_its_unit(matched):
    problem = make_problem(matched.problem.blow, law=SoilLaw(ELASTIC_PLASTIC, RADIATION))
    powered = replace(matched, problem=problem, scores=np.zeros(problem.layout.count))
    power, factor = (float(powered.parameters[name]) for name in ("rate_power", "shaft_damping"))
    number, unit = damping(powered, "shaft", "US")
    assert float(number) == pytest.approx(factor * 0.3048**power, abs=0.005)
    assert unit == f"(s/ft)^{power:.2f}"
    assert damping(matched, "shaft", "US")[1] == "s/ft"
    assert soil_numbers(powered, "SI").keys() == soil_numbers(matched, "SI").keys()  # a column a drive, one table


def test_what_a_shaft_loses_with_each_blow_of_a_restrike_is_told(matched):
    blow = matched.problem.blow
    problem = make_problem((blow, replace(blow, after=2)))
    scores = np.zeros(problem.layout.count)
    scores[problem.layout.row("fade")] = 1.0
    told = "shaft resistance lost per blow"
    assert soil_numbers(replace(matched, problem=problem, scores=scores), "SI")[told] == "6.0 %"
    assert soil_numbers(matched, "SI")[told] == "–"


def test_the_law_passes_through_what_was_measured_with_its_ranges(reviewed):
    law = reviewed.answers.time_law
    points, line = measured_over_time(law, "US"), law_over_time(law, "US")
    assert points.iloc[:, 1].tolist() == pytest.approx([kip(one.value) for one in law.resistances])
    assert points["drive"].tolist() == ["initial", "restrike", "restrike"]
    assert (line["low"] <= line.iloc[:, 1]).all() and (line.iloc[:, 1] <= line["high"]).all()
    # No part of what was measured is left out, and none beyond it counts as measured.
    assert line.loc[line["measured"]].iloc[:, 0].max() == max(law.times) / SECONDS_PER_DAY < line.iloc[:, 0].max()


@pytest.mark.parametrize(
    ("basis", "words", "held"), [(SHAFT, "shaft resistance", None), ("matched_resistance", "", 2e6)]
)
def test_a_law_of_the_shaft_alone_is_called_so_and_not_held_against_the_whole_requirement(basis, words, held):
    times = [SECONDS_PER_DAY, 10 * SECONDS_PER_DAY, 100 * SECONDS_PER_DAY]
    law = fit_time_law(times, [exactly(1e6), exactly(1.6e6), exactly(2.2e6)], basis=basis)
    for frame in (measured_over_time(law, "SI"), law_over_time(law, "SI")):
        assert frame.columns[1] == (f"{words} [kN]" if words else "resistance [kN]")
    assert law_requirement(law, 2e6) == held


def test_the_law_is_drawn_through_exact_points():
    times = [SECONDS_PER_DAY, 10 * SECONDS_PER_DAY, 100 * SECONDS_PER_DAY]
    law = fit_time_law(times, [exactly(1e6), exactly(1.6e6), exactly(2.2e6)])
    points, line = measured_over_time(law, "SI"), law_over_time(law, "SI")
    assert points[WAIT].tolist() == [1.0, 10.0, 100.0]
    assert points["resistance [kN]"].tolist() == [1000.0, 1600.0, 2200.0]
    expected = 1000.0 * (1.0 + 0.6 * np.log10(line[WAIT]))
    np.testing.assert_allclose(line["resistance [kN]"], expected, rtol=1e-6)


def test_setup_factors_are_those_of_the_review(reviewed):
    rows = setup_rows(reviewed.answers.setups)
    factor = reviewed.answers.setups[-1].setup_factor
    assert rows["resistance from signal matching"].iloc[-1].startswith(f"{factor.value:.2f} (")
    weak = setup_rows((replace(reviewed.answers.setups[-1], restrike_bound=True),))
    assert rows["restrike"].iloc[-1] == "restrike 2" and weak["restrike"].iloc[0] == "restrike 2, LOWER BOUND"


def test_the_line_of_a_fade_has_its_slope(reviewed):
    fade = reviewed.answers.fades["restrike_1"]
    line = fade_line(fade, 1, "US")
    assert np.diff(line["value"])[0] / np.diff(line["along"])[0] == pytest.approx(kip(fade.slope))


def test_what_is_asked_is_the_graph_rounded_to_the_nearest_blow(reviewed):
    found = reviewed.answers.criterion
    lines = criterion_lines(found, "US").pivot_table(index=criterion_lines(found, "US").columns[0], columns="line")
    asked, graph = (lines.iloc[:, list(lines.columns.get_level_values(1)).index(name)] for name in (ASKED, GRAPH))
    inches = found.holding_length / 0.0254
    whole = asked.dropna() * inches
    assert np.allclose(whole, whole.round()) and (abs(whole - graph.loc[whole.index] * inches) <= 0.5 + 1e-9).all()
    assert len(criterion_rows(found, "US")) == len(found.rows)
    assert ruled_out_lines(found, "US") == []
    high = RuledOut("lower stroke", found.rows[-3].stroke, 3e8, 2e8)
    barred = [
        replace(row, ruled_out=replace(high, kind="bending") if not n else high)
        for n, row in enumerate(found.rows[-3:])
    ]
    lines = ruled_out_lines(replace(found, rows=(*found.rows[:-3], *barred)), "US")
    strokes = criterion_rows(found, "US")["stroke"].tolist()
    assert len(lines) == 2 and strokes[-3] in lines[0] and f"{strokes[-2]} to {strokes[-1]}" in lines[1]
    counts = blow_count(found.measured.set_per_blow, 0.0254)
    assert sorted(measured_counts(found, "US").iloc[:, 1]) == pytest.approx(
        sorted(counts[np.isfinite(counts)]), rel=1e-9
    )
    assert len(formula_rows(found, "US")) == 1 + len(found.formulas)


def test_piles_that_fail_come_first_and_none_is_lost(reviewed, samples):
    log, piles = read_production_log(samples / "production_log.csv"), read_pile_table(samples / "piles.csv")
    check = review_bearing_piles([reviewed], log, piles)
    rows, depths = bearing_rows(check, "US"), pile_depths(check, "US")
    assert sorted(rows["pile"]) == sorted(depths["pile"]) == sorted(check.piles["pile"])
    order = ["not met", "second look", "no counts", "accepted"]
    told = [order.index(verdict) for verdict in rows["verdict"]]
    assert told == sorted(told) and set(told) == set(range(4))
    assert sorted(depths["verdict"]) == sorted(rows["verdict"])
    assert (rows["verdict"] == "no counts").tolist() == (rows["shows"] == "no counts").tolist()
    assert set(depths.loc[depths["odd"], "pile"]) == set(check.odd["pile"])
    told = Counter(rows["verdict"])
    answer = bearing_pile_answer(check)
    assert answer.startswith(f"{told['accepted']} of {len(rows)} piles are accepted")
    assert f"{told['not met']} are not, {told['second look']} only after a second look, and 1 has no counts" in answer
