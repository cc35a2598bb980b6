import numpy as np
import pytest

from dyntest.decisions.resistance_factors import (
    PARTIAL_FACTORS,
    RESISTANCE_FACTORS,
    correlation_factors,
    driving_requirement,
    least_dynamic_tests,
    required_nominal_resistance,
    resistance_factor,
)
from dyntest.errors import InputError
from dyntest.reading.parts import Requirement

EVERY, SOME = "dynamic tests on every pile", "dynamic tests on some piles"


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"nominal_resistance": 1.5e6}, 1.5e6),
        ({"factored_load": 1.3e6, "resistance_factor": 0.65}, 2.0e6),
        ({"service_load": 0.8e6, "safety_factor": 2.25}, 1.8e6),
        ({"nominal_resistance": 2.0e6, "factored_load": 1.3e6, "resistance_factor": 0.65}, 2.0e6),
        ({"nominal_resistance": 2.0e6, "factored_load": 1.3e6}, 2.0e6),
        ({}, None),
    ],
)
def test_each_way_of_stating_it(given, expected):
    value = required_nominal_resistance(Requirement(**given)).value
    assert value is None if expected is None else value == pytest.approx(expected)


def test_the_verification_gives_the_factor_the_sheet_leaves_out():
    result = required_nominal_resistance(Requirement(factored_load=1.5e6), EVERY)
    assert result.value == pytest.approx(2.0e6)
    assert (result.basis, result.factor) == ("factored", 0.75)
    assert "Table 7-2" in result.source


def test_the_sheets_own_factor_is_kept_but_a_higher_one_is_said():
    sheet = Requirement(factored_load=1.3e6, resistance_factor=0.70)
    result = required_nominal_resistance(sheet, SOME)
    assert result.value == pytest.approx(1.3e6 / 0.70)
    assert [(c.value, c.threshold) for c in result.cautions] == [(0.70, 0.65)]
    assert not required_nominal_resistance(sheet, EVERY).cautions


@pytest.mark.parametrize(
    ("given", "key", "number"),
    [
        ({"factored_load": 1.3e6}, "factored_load", ""),
        ({"service_load": 1.3e6}, "service_load", ""),
        ({"factored_load": 1.3e6, "resistance_factor": 65.0}, "resistance_factor", "65"),
        ({"service_load": 1.3e6, "safety_factor": 0.5}, "safety_factor", "0.5"),
        ({"nominal_resistance": 1.5e6, "factored_load": 1.3e6, "resistance_factor": 0.65}, "", "33 %"),
    ],
)
def test_what_cannot_stand_is_refused(given, key, number):
    with pytest.raises(InputError) as caught:
        required_nominal_resistance(Requirement(**given))
    assert caught.value.place == f"[requirement] {key}".strip()
    assert number in caught.value.problem


def test_an_unknown_verification_lists_the_known():
    with pytest.raises(InputError) as caught:
        resistance_factor("guess")
    assert '"guess"' in caught.value.problem
    assert all(f'"{one}"' in caught.value.cure for one in RESISTANCE_FACTORS)


def test_least_number_of_tests():
    some, every, static = (RESISTANCE_FACTORS[way] for way in (SOME, EVERY, "static load test"))

    def least(way, *piles):
        return [least_dynamic_tests(n, way.least_tests, way.least_share) for n in piles]

    assert least(some, 1, 2, 100, 101, 150, 1000) == [1, 2, 2, 3, 3, 20]
    assert least(every, 1, 40) == [1, 40] and least(static, 40) == [0]
    assert least(resistance_factor("EN 1997-1, 5 tested piles, R4"), 40, 400) == [5, 5]


def test_the_condition_of_the_chosen_verification_goes_with_the_requirement():
    chosen = required_nominal_resistance(Requirement(factored_load=1.3e6), SOME)
    assert " 2 % " in chosen.condition
    assert required_nominal_resistance(Requirement(nominal_resistance=1.3e6)).condition == ""


def test_a_group_that_is_not_redundant_takes_four_fifths_of_the_factor():
    """AASHTO LRFD 10.5.5.2.3 (from memory): 20 % off the factor of a non-redundant group."""
    asked = Requirement(factored_load=1.3e6, redundant=False)
    assert required_nominal_resistance(asked, SOME).value == pytest.approx(1.3e6 / (0.8 * 0.65))
    own = required_nominal_resistance(Requirement(factored_load=1.3e6, resistance_factor=0.65, redundant=False))
    assert own.value == pytest.approx(2.0e6)
    assert [caution.kind for caution in own.cautions] == ["not redundant"]


def test_scour_and_downdrag_raise_what_is_driven_to():
    """AASHTO LRFD 10.7.3.6 and 10.7.3.7 (from memory), by hand: 2,000 + 150 + 1.4 × 100 / 0.65 + 100 kN."""
    asked = Requirement(factored_load=1.3e6, scour_depth=2.0, downdrag=1.0e5)
    found = driving_requirement(required_nominal_resistance(asked, SOME), asked, 1.5e5, tested_piles=2)
    assert found.value == pytest.approx(2.0e6 + 1.5e5 + 1.4 * 1.0e5 / 0.65 + 1.0e5)
    assert [caution.kind for caution in found.cautions] == ["driving resistance raised"]
    unknown = driving_requirement(required_nominal_resistance(asked, SOME), asked, None, tested_piles=2)
    assert "scour not known" in [caution.kind for caution in unknown.cautions]


@pytest.mark.parametrize(
    ("verification", "restruck", "tested", "kinds"),
    [
        (SOME, True, 2, []),
        (SOME, False, 2, ["factor without restrike"]),
        (SOME, True, 1, ["tested piles"]),
        (SOME, False, 1, ["factor without restrike", "tested piles"]),
        (EVERY, True, 2, ["tested piles"]),
        ("static load test", False, 1, []),
        ("EN 1997-1, 5 tested piles, R4", False, 1, ["tested piles"]),  # it asks for no restrike
        ("EN 1997-1, 5 tested piles, R4", False, 5, []),
        ("wave equation", False, 1, []),
        ("modified Gates formula", False, 1, []),
    ],
)
def test_what_a_factor_rests_on_is_said(verification, restruck, tested, kinds):
    asked = Requirement(factored_load=1.3e6)
    first = required_nominal_resistance(asked, verification)
    ways = {"verification": verification, "restruck": restruck, "tested_piles": tested}
    assert [c.kind for c in driving_requirement(first, asked, **ways).cautions] == kinds


def test_a_nominal_resistance_asks_nothing_of_the_verification():
    asked = Requirement(nominal_resistance=2e6)
    assert driving_requirement(required_nominal_resistance(asked), asked, restruck=False).cautions == ()


def test_unknown_words_are_refused():
    with pytest.raises(InputError, match="signal"):
        correlation_factors(3, "guess")
    with pytest.raises(InputError, match="2"):
        correlation_factors(1)


@pytest.mark.parametrize("tested", [2, 3, 5, 10, 20, 60])
@pytest.mark.parametrize("partial", ["R1", "R2", "R4"])
def test_a_group_driven_to_the_sheets_target_carries_its_load(tested, partial):
    """Independent of the short form: the piles as they stand at the target, through the rule of the code itself."""
    load = 1.3e6
    way = f"EN 1997-1, {tested} tested piles, {partial}"
    target = required_nominal_resistance(Requirement(factored_load=load), way).value
    scatter = np.random.default_rng(tested).uniform(1.0, 1.5, tested)
    mean, minimum = correlation_factors(tested, "dynamic test with signal matching")

    def design(measured):
        """EN 1997-1:2004, Eqs. 7.10 and 7.11."""
        return min(measured.mean() / mean, measured.min() / minimum) / PARTIAL_FACTORS[partial]

    assert design(target * scatter / scatter.min()) >= load * (1 - 1e-12)
    assert design(np.full(tested, target)) == pytest.approx(load)


@pytest.mark.parametrize(
    "way",
    ["EN 1997-1", "EN 1997-1, many tested piles, R4", "EN 1997-1, 5 tested piles, R9", "EN 1997-1, 1 tested piles, R4"],
)
def test_a_way_that_leaves_something_open_is_refused(way):
    with pytest.raises(InputError, match="tested piles"):
        resistance_factor(way)
