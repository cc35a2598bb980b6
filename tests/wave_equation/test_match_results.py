"""The load–movement curve against closed forms of the same pile and soil."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.pile import PilePart, pile_width
from dyntest.wave_equation import matching
from dyntest.wave_equation.comparison import wave_misfit
from dyntest.wave_equation.match_results import (
    OF_WIDTH,
    OFFSET,
    load_movement,
    matched_waves,
    shaft_distribution,
    stress_along_pile,
)
from dyntest.wave_equation.matching import carry_over, match_blow
from dyntest.wave_equation.problem import (
    ELASTIC_PLASTIC,
    HYPERBOLIC,
    RADIATION,
    VISCOUS,
    Reduction,
    SoilLaw,
    make_problem,
)


def test_computed_and_measured_waves_differ_by_the_misfit(matched):
    _, match = matched
    shown = matched_waves(match)
    difference = (shown.up_computed - shown.up_measured)[:, None]
    assert wave_misfit(match.problem, difference)[0] == pytest.approx(match.misfit)
    np.testing.assert_allclose(shown.force_computed - shown.force_measured, difference[:, 0], atol=1e-6)


def test_measured_force_is_the_record(matched):
    record, match = matched
    shown = matched_waves(match)
    recorded = np.interp(shown.time, record.blow.time, record.blow.force)
    assert np.abs(shown.force_measured - recorded).max() < 0.05 * recorded.max()


def test_shaft_along_the_pile_adds_up(matched):
    record, match = matched
    shaft = shaft_distribution(match)
    assert shaft.top[0] == pytest.approx(4.0)
    assert shaft.bottom[-1] == pytest.approx(20.0)
    np.testing.assert_allclose(shaft.top[1:], shaft.bottom[:-1])
    assert (shaft.per_length * (shaft.bottom - shaft.top)).sum() == pytest.approx(shaft.resistance.sum())
    assert shaft.resistance.sum() == pytest.approx(record.shaft, rel=0.1)


def test_stress_at_the_gauges_and_at_the_toe(matched):
    """Near the head it is the measured force over the section; at the toe, at least the toe's resistance."""
    record, match = matched
    stress = stress_along_pile(match)
    area = record.blow.pile.area
    assert stress.compression[0] == pytest.approx(record.blow.force.max() / area, rel=0.03)
    assert stress.compression[-1] * area > 0.95 * match.toe_resistance
    assert stress.tension[-1] < 0.01 * stress.compression[-1]
    assert (np.diff(stress.depth) > 0.0).all()
    assert record.blow.time[0] < stress.compression_time.min() <= stress.compression_time.max() < record.blow.time[-1]


@pytest.mark.sweep
def test_stress_is_greater_where_the_section_is_reduced(invented_blow):
    """As it is in a finite-element record in tests/outside."""
    record = invented_blow(section=(11.0, 12.5, 0.5))
    match = match_blow(record.blow, reduction=Reduction(11.0, 0.6))
    stress = stress_along_pile(match)
    inside = (stress.depth > 11.3) & (stress.depth < 12.3)
    beside = (stress.depth > 9.0) & (stress.depth < 10.5)
    assert stress.compression[inside].max() > 1.3 * stress.compression[beside].max()


@pytest.fixture
def soil_by_hand(matched):
    """A match whose soil is set and not fitted: uniform shaft, full embedment, and a pile as stiff as asked."""

    def make(shaft, toe, shaft_quake=0.002, toe_quake=0.006, law=ELASTIC_PLASTIC, modulus=207e9):
        record, match = matched
        part = PilePart(20.0, 0.0138, modulus, 7850.0 * modulus / 207e9)  # the wave speed stays as it is
        blow = replace(record.blow, pile=replace(record.blow.pile, parts=(part,)), embedded=20.0)
        problem = make_problem(blow, law=SoilLaw(law, VISCOUS))
        layout, scores = problem.layout, np.zeros(problem.layout.count)
        wanted = {"toe_resistance": toe, "shaft_quake": shaft_quake, "toe_quake": toe_quake}
        wanted |= dict.fromkeys(layout.names[: layout.n_shaft], shaft / layout.n_shaft)
        for name, value in wanted.items():
            row = layout.row(name)
            scores[row] = (np.log(value) - layout.expected[row]) / layout.spread[row]
        return replace(match, problem=problem, scores=scores, law=law)

    return make


def test_a_rigid_pile_adds_up_its_springs(soil_by_hand):
    match = soil_by_hand(6e5, 4e5, modulus=207e15)
    curve = load_movement(match, 0.02)
    u = curve.toe_movement
    np.testing.assert_allclose(curve.head_movement, u, atol=1e-7)
    np.testing.assert_allclose(curve.toe_load, 4e5 * np.minimum(u / 0.006, 1.0), rtol=1e-6, atol=1e-3)
    np.testing.assert_allclose(
        curve.head_load, 6e5 * np.minimum(u / 0.002, 1.0) + 4e5 * np.minimum(u / 0.006, 1.0), rtol=1e-4, atol=1.0
    )


def test_a_rigid_pile_in_hyperbolic_soil(soil_by_hand):
    match = soil_by_hand(6e5, 4e5, law=HYPERBOLIC, modulus=207e15)
    curve = load_movement(match, 0.02)
    u = curve.toe_movement
    np.testing.assert_allclose(curve.head_load, 6e5 * u / (u + 0.002) + 4e5 * u / (u + 0.006), rtol=1e-4, atol=1.0)


def test_a_column_on_its_toe_shortens_as_a_column(soil_by_hand):
    match = soil_by_hand(1.0, 8e5)
    curve = load_movement(match, 0.02)
    shortening = curve.toe_load * 20.0 / (207e9 * 0.0138)
    np.testing.assert_allclose(curve.head_movement, curve.toe_movement + shortening, rtol=1e-4, atol=1e-9)
    assert curve.head_load[-1] == pytest.approx(8e5, rel=1e-4)


def test_an_elastic_pile_in_elastic_soil(soil_by_hand):
    """``P/w = EA μ (κ + tanh μL) / (1 + κ tanh μL)``, the solution of ``EA w'' = k w`` with a spring at the toe."""
    shaft, toe = 4e6, 1e6
    match = soil_by_hand(shaft, toe, shaft_quake=0.005, toe_quake=0.01)
    curve = load_movement(match, 0.0005)
    assert curve.head_movement[-1] < 0.005  # everything is still elastic
    stiffness, spring = 207e9 * 0.0138, shaft / 0.005 / 20.0
    mu = np.sqrt(spring / stiffness)
    kappa, bend = toe / 0.01 / (stiffness * mu), np.tanh(mu * 20.0)
    expected = stiffness * mu * (kappa + bend) / (1.0 + kappa * bend)
    assert curve.head_load[-1] / curve.head_movement[-1] == pytest.approx(expected, rel=0.02)


def test_it_begins_at_nothing_and_never_falls(matched):
    curve = load_movement(matched[1])
    for trace in (curve.head_load, curve.head_movement, curve.toe_load, curve.toe_movement):
        assert trace[0] == 0.0
        assert (np.diff(trace) >= 0.0).all()
    assert curve.head_load[-1] == pytest.approx(matched[1].limit, rel=1e-6)


def test_a_toe_over_a_gap_carries_nothing_until_it_is_closed(matched):
    _, match = matched
    scores = match.scores.copy()
    scores[match.problem.layout.row("toe_gap")] = 2.0
    match = replace(match, scores=scores)
    curve, gap = load_movement(match), match.parameters["toe_gap"]
    assert gap > 0.001
    np.testing.assert_array_equal(curve.toe_load > 0.0, curve.toe_movement > gap)


def test_the_band_holds_the_curve_and_widens_with_the_range(matched, invented_blow):
    curve = load_movement(matched[1])
    assert (curve.head_load_low <= curve.head_load).all()
    assert (curve.head_load_high >= curve.head_load).all()
    low, high = matched[1].matched_resistance_range
    band = (curve.head_load_high - curve.head_load_low) / (high - low)
    assert band[-1] == pytest.approx(1.0, abs=0.25)  # all soil yields there
    assert band.max() < 3.5  # before it does, the quakes are less sure than the resistance


def test_the_band_is_as_wide_as_the_range_where_the_ground_radiates(matched, monkeypatch):
    """The fit is that of the match, carried over to a law that radiates, and as if it were nearly certain."""
    record, match = matched
    problem = make_problem(record.blow, law=SoilLaw(ELASTIC_PLASTIC, RADIATION))
    scores = carry_over(match.problem.layout, match.scores, problem)
    certain = {"covariance": 1e-4 * np.eye(len(scores)), "slope": np.zeros((3, len(scores)))}
    fit = replace(match.fits[0], problem=problem, scores=scores, weight=1.0, **certain)
    match = replace(match, fits=(fit,))

    def band():
        curve = load_movement(match)
        return curve.head_load_high[-1] - curve.head_load_low[-1]

    usual = band()
    monkeypatch.setitem(matching.FLOOR_OF_RADIATION, "total", 0.4)
    assert band() > 1.3 * usual


def test_the_offset_criterion_on_a_plastic_pile(soil_by_hand):
    """Once all soil yields the load is the limit: PL/EA + 0.15 in + D/120 is reached there and at no other load."""
    match = soil_by_hand(6e5, 4e5, shaft_quake=0.001, toe_quake=0.002)
    offset = load_movement(match, 0.03).failures[0]
    assert offset.criterion == OFFSET
    assert offset.load == pytest.approx(1e6, rel=1e-3)
    pile = match.problem.blow.pile
    shortening = 1e6 * 20.0 / (207e9 * 0.0138)
    assert offset.movement == pytest.approx(shortening + 0.15 * 0.0254 + pile_width(pile) / 120.0, rel=1e-2)


def test_a_stated_movement_on_hyperbolic_soil(soil_by_hand):
    """Worked by hand for a rigid pile: ``R = Σ limit · u / (u + quake)`` at 5 % of the width."""
    match = soil_by_hand(6e5, 4e5, law=HYPERBOLIC, modulus=207e15)
    stated = load_movement(match).failures[1]
    u = 0.05 * pile_width(match.problem.blow.pile)
    assert stated.criterion == OF_WIDTH
    assert stated.load == pytest.approx(6e5 * u / (u + 0.002) + 4e5 * u / (u + 0.006), rel=5e-3)
    assert stated.load < 0.95 * 1e6  # and not the limit that no movement reaches


def test_a_criterion_that_is_not_reached_has_no_load(soil_by_hand):
    curve = load_movement(soil_by_hand(6e5, 4e5), 0.002)
    assert all(np.isnan(failure.load) for failure in curve.failures)
