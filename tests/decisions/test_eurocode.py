import numpy as np
import pytest

from dyntest.decisions.resistance_factors import (
    correlation_factors,
    eurocode_resistance,
    required_nominal_resistance,
    resistance_factor,
)
from dyntest.errors import InputError
from dyntest.reading.parts import Requirement


def test_the_mean_governs_even_piles_and_the_minimum_scattered_ones():
    even = eurocode_resistance(np.full(5, 1.5e6))
    assert even.governed_by == "mean"
    assert even.characteristic == pytest.approx(1.0e6)  # 1.5/1.50
    scattered = eurocode_resistance(np.array([0.54e6, 2e6, 2e6, 2e6, 2e6]))
    assert scattered.governed_by == "minimum"
    assert scattered.characteristic == pytest.approx(0.4e6)  # 0.54/1.35
    assert scattered.design == pytest.approx(0.4e6 / 1.3)


def test_signal_matching_is_worth_its_share():
    plain, matched = (
        eurocode_resistance(np.array([1e6, 1.2e6]), m) for m in ("dynamic test", "dynamic test with signal matching")
    )
    assert matched.characteristic == pytest.approx(plain.characteristic / 0.85)


@pytest.mark.parametrize("measured", [[], [1e6], [1e6, np.nan], [1e6, -1.0]])
def test_too_few_or_no_resistances_are_refused(measured):
    with pytest.raises(InputError):
        eurocode_resistance(np.array(measured))


def test_unknown_words_are_refused():
    with pytest.raises(InputError, match="signal"):
        correlation_factors(3, "guess")
    with pytest.raises(InputError, match="R4"):
        eurocode_resistance(np.array([1e6, 1e6]), resistance_set="R5")


@pytest.mark.parametrize("tested", [2, 3, 5, 10, 20, 60])
@pytest.mark.parametrize("partial", ["R1", "R2", "R4"])
def test_a_group_driven_to_the_sheets_target_carries_its_load(tested, partial):
    """Independent of the short form: the piles as they stand at the target, through the rule of the code itself."""
    load = 1.3e6
    way = f"EN 1997-1, {tested} tested piles, {partial}"
    target = required_nominal_resistance(Requirement(factored_load=load), way).value
    scatter = np.random.default_rng(tested).uniform(1.0, 1.5, tested)
    group = eurocode_resistance(target * np.sort(scatter / scatter.min()), "dynamic test with signal matching", partial)
    assert group.design >= load * (1 - 1e-12)
    exactly = eurocode_resistance(np.full(tested, target), "dynamic test with signal matching", partial)
    assert exactly.design == pytest.approx(load)


@pytest.mark.parametrize(
    "way",
    ["EN 1997-1", "EN 1997-1, many tested piles, R4", "EN 1997-1, 5 tested piles, R9", "EN 1997-1, 1 tested piles, R4"],
)
def test_a_way_that_leaves_something_open_is_refused(way):
    with pytest.raises(InputError, match="tested piles"):
        resistance_factor(way)
