from dataclasses import replace

import numpy as np
import pytest

from dyntest.wave_equation.comparison import run_search
from dyntest.wave_equation.fitting import BEST
from dyntest.wave_equation.matching import (
    BEYOND,
    carry_over,
    match_blow,
    match_from,
    match_together,
    with_reduction,
)
from dyntest.wave_equation.problem import BOUND, ELASTIC_PLASTIC, HYPERBOLIC, Reduction, make_problem, physical

ITS_OWN_OR_BEST = pytest.mark.parametrize("law", [ELASTIC_PLASTIC, pytest.param(BEST, marks=pytest.mark.sweep)])
"""Under the static law of the soil, which takes half the time, and with the others beside it."""


def assert_within(match, record, tolerance):
    """The total is close, and every range holds its truth."""
    assert match.fitted
    assert match.matched_resistance == pytest.approx(record.total, rel=tolerance)
    for code in ("total", "shaft", "toe"):
        low, high = getattr(match, f"{'matched' if code == 'total' else code}_resistance_range")
        assert low <= getattr(record, code) <= high, code


@pytest.mark.parametrize(
    "pile_and_soil",
    [
        {},
        pytest.param({"shaft": 9.5e5, "toe": 5e4}, marks=pytest.mark.sweep),
        pytest.param({"shaft": 1e5, "toe": 1.6e6, "toe_quake": 0.0025}, marks=pytest.mark.sweep),
        pytest.param({"length": 55.0, "embedded": 20.0, "shaft": 8e5, "duration": 0.1}, marks=pytest.mark.sweep),
        pytest.param({"length": 9.0, "embedded": 9.0, "rate": 25e3}, marks=pytest.mark.sweep),
        pytest.param({"toe_quake": 0.009}, marks=pytest.mark.sweep),
    ],
    ids=["both", "friction", "end bearing", "long and partly embedded", "short", "soft toe"],
)
def test_finds_the_resistance_of_an_elastic_plastic_soil(match_invented, pile_and_soil):
    record, match = match_invented(**pile_and_soil)
    assert match.law == ELASTIC_PLASTIC
    assert_within(match, record, 0.02)
    low, high = match.matched_resistance_range
    assert high - low < 0.15 * record.total


@pytest.mark.sweep
def test_blows_of_other_energy_narrow_the_ranges(invented_blow):
    """Five blows of one soil: total, shaft and toe are known better than from one, and stay right."""
    records = [invented_blow(peak=peak, seed=seed) for seed, peak in enumerate((2.4e6, 1.9e6, 2.1e6, 2.7e6, 2.9e6))]
    blows = [record.blow for record in records]
    alone, joint = match_blow(blows[0]), match_blow(blows[0], further=tuple(blows[1:]))
    assert len(joint.problem.blows) == 5
    assert_within(joint, records[0], 0.015)
    for code in ("matched", "shaft", "toe"):
        narrow, wide = (np.ptp(getattr(match, f"{code}_resistance_range")) for match in (joint, alone))
        assert narrow < (1.0 if code == "matched" else 0.9) * wide, code
    assert joint.shaft_resistance == pytest.approx(records[0].shaft, abs=0.06 * records[0].total)


@ITS_OWN_OR_BEST
def test_finds_a_gap_under_the_toe(match_invented, matched, law):
    record, match = match_invented(law, toe_gap=np.array([0.002]))
    assert 0.001 < match.parameters["toe_gap"] < 0.0025  # a soft toe explains some of it
    assert_within(match, record, 0.02)
    assert match.toe_resistance == pytest.approx(record.toe, abs=0.1 * record.total)
    _, closed = matched
    assert closed.parameters["toe_gap"] < 0.0005


@ITS_OWN_OR_BEST
def test_finds_soil_that_unloads_stiffer_than_it_was_loaded(match_invented, matched, law):
    def share(record, match):
        assert_within(match, record, 0.02)
        return match.parameters["unloading_share"]

    assert share(*match_invented(law, unloading=0.5)) == pytest.approx(0.5, abs=0.12)
    assert share(*matched) > 0.85


def test_no_range_is_narrower_than_a_simple_soil_law_is_true(matched):
    _, match = matched
    for value, (low, high), share in (
        (match.matched_resistance, match.matched_resistance_range, 0.03),
        (match.shaft_resistance, match.shaft_resistance_range, 0.06),
        (match.toe_resistance, match.toe_resistance_range, 0.06),
    ):
        assert min(value - low, high - value) > share * match.matched_resistance


def test_takes_the_hyperbolic_law_where_the_soil_follows_it(invented_blow):
    record = invented_blow(hyperbolic=True, shaft_quake=0.001, toe_quake=0.002)
    match = match_blow(record.blow)
    assert match.law == HYPERBOLIC
    assert_within(match, record, 0.04)
    reach = min(match.limit, BEYOND * match.matched_resistance)
    assert match.matched_resistance_range[1] >= reach > match.matched_resistance
    forced = match_blow(record.blow, law=ELASTIC_PLASTIC)
    assert forced.law == ELASTIC_PLASTIC
    assert forced.misfit > match.misfit


@ITS_OWN_OR_BEST
def test_takes_smith_damping_where_viscous_damping_fails(match_invented, law):
    record, match = match_invented(law, smith=True, shaft_damping=0.6, toe_damping=0.5)
    assert match.damping_form == "Smith"
    assert_within(match, record, 0.03)


@pytest.mark.sweep
@pytest.mark.parametrize(
    "errors",
    [{"velocity_factor": 1.015}, {"duration": 0.035, "at_rest": False}],
    ids=["velocity", "still moving at the end"],
)
def test_modest_errors_of_the_record_do_not_break_it(invented_blow, errors):
    """Those that tests/outside does not try on records of another program: wave speed, lag and noise are there."""
    record = invented_blow(**errors)
    assert_within(match_blow(record.blow), record, 0.03)


def test_more_noise_makes_wider_ranges(invented_blow, matched):
    _, clear = matched
    noisy = match_blow(invented_blow(noise=0.02).blow)
    for code in ("matched_resistance_range", "shaft_resistance_range"):
        assert np.ptp(getattr(noisy, code)) > 1.2 * np.ptp(getattr(clear, code))


@ITS_OWN_OR_BEST
def test_says_where_shaft_and_toe_cannot_be_separated(match_invented, law):
    soil = {"shaft": 6e5, "toe": 4e5, "shaft_quake": 0.003, "toe_quake": 0.003}
    record, match = match_invented(law, embedded=2.0, noise=0.005, **soil)
    assert not match.separable
    assert match.matched_resistance == pytest.approx(record.total, rel=0.03)


@ITS_OWN_OR_BEST
def test_a_blow_that_moves_little_gives_a_lower_bound(match_invented, law):
    record, match = match_invented(law, shaft=3e5, toe=3e6, toe_quake=0.012, peak=1.2e6)
    assert record.total < 0.6 * record.limit
    assert match.matched_resistance == pytest.approx(record.total, rel=0.05)
    assert not match.fully_mobilised


@pytest.mark.sweep
def test_a_record_of_something_else_is_marked(invented_blow):
    """As one is among the blows of a drive in test_every_blow."""
    blow = invented_blow().blow
    wrong = replace(blow, force=np.roll(blow.force, 25))
    assert not match_blow(wrong).fitted


@pytest.mark.sweep
def test_a_reduced_section_is_found_though_its_place_is_known_badly(invented_blow):
    record = invented_blow(section=(11.0, 12.5, 0.55))
    match = match_blow(record.blow, reduction=Reduction(12.2, 0.8))
    assert match.section is not None
    assert match.section.depth == pytest.approx(11.0, abs=0.5)
    assert match.section.section_left == pytest.approx(0.55, abs=0.08)
    assert match.misfit < 0.3 * match.misfit_uniform
    assert_within(match, record, 0.03)


@pytest.mark.parametrize(
    "noise",
    [pytest.param({}, id="explained anyhow"), pytest.param({"noise": 0.01}, id="noisy", marks=pytest.mark.sweep)],
)
def test_a_whole_pile_stays_whole_though_a_reduction_is_suspected(match_invented, noise):
    _, alone = match_invented(**noise)
    match = run_search(with_reduction(alone, (Reduction(10.0, 0.6),)))
    assert match.section is None
    assert match.matched_resistance == pytest.approx(alone.matched_resistance, rel=1e-9)
    assert match.misfit_uniform == pytest.approx(alone.misfit)


@pytest.mark.parametrize("length", [20.0, 20.0 * 1.02])
def test_a_neighbour_leads_to_the_same_resistance(invented_blow, matched, length):
    record = invented_blow(shaft=6.3e5, toe=4.2e5, length=length, seed=3)
    match = match_from(record.blow, matched[1])
    assert_within(match, record, 0.02)


@pytest.mark.sweep
def test_a_neighbour_in_other_ground_does_not_mislead(invented_blow, matched):
    record = invented_blow(shaft=1e5, toe=1.6e6, toe_quake=0.0025, seed=4)
    assert_within(match_from(record.blow, matched[1]), record, 0.03)


def test_blows_that_march_together_are_matched_as_they_are_alone(invented_blow, matched):
    """Each has its own soil, its own noise and its own length of record."""
    records = [invented_blow(seed=5, shaft=6.3e5), invented_blow(seed=6, toe=4.4e5, duration=0.074)]
    together = match_together(tuple(record.blow for record in records), matched[1])
    for record, match in zip(records, together, strict=True):
        alone = match_from(record.blow, matched[1])
        assert match.matched_resistance == pytest.approx(alone.matched_resistance, rel=1e-3)
        assert match.matched_resistance == pytest.approx(record.total, rel=0.02)
        assert match.matched_resistance_range == pytest.approx(alone.matched_resistance_range, rel=1e-2)
    assert match_together((), matched[1]) == []


def test_a_soil_carried_over_to_its_own_record_stays_as_it_is(matched):
    record, match = matched
    problem = make_problem(record.blow, law=match.problem.law)
    kept = np.clip(match.scores, -0.95 * BOUND, 0.95 * BOUND)
    row = problem.layout.row("upward_share")
    kept[row] = min(kept[row], -problem.layout.expected[row] / problem.layout.spread[row])  # no share is above 1
    np.testing.assert_allclose(carry_over(match.problem.layout, match.scores, problem), kept, atol=1e-9)


def test_carrying_over_to_more_lengths_of_shaft_keeps_the_resistance(invented_blow, matched):
    _, match = matched
    problem = make_problem(invented_blow(embedded=19.9).blow)
    scores = carry_over(match.problem.layout, match.scores, problem)
    shaft = physical(problem.layout, scores[:, None])["shaft"].sum()
    assert problem.layout.n_shaft > match.problem.layout.n_shaft
    assert shaft == pytest.approx(match.parameters["shaft"].sum(), rel=0.05)


def test_refuses_what_cannot_be_matched(matched):
    record, match = matched
    with pytest.raises(ValueError, match="elastic"):
        match_blow(record.blow, law="elastic")
    blow = record.blow
    ends = blow.first_peak + 50
    short = replace(blow, time=blow.time[:ends], force=blow.force[:ends], velocity=blow.velocity[:ends])
    for way in (match_blow, lambda blow: match_from(blow, match)):
        with pytest.raises(ValueError, match="return"):
            way(short)
