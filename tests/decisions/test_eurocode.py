import numpy as np
import pytest

from dyntest.decisions.eurocode import correlation_factors, eurocode_resistance
from dyntest.errors import InputError


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
