"""The chances that go with a count, held against drawn piles."""

import numpy as np
import pytest

from dyntest.decisions.risk import (
    SHORT_PASSING,
    TOLERATED,
    WEAKEST,
    chance_driven_on,
    chance_short,
    count_deviation,
    margin,
    setup_scatter,
)


def drawn(deviation, number=400_000):
    """True and shown resistance over the requirement of piles as wide apart as production piles usually are."""
    rng = np.random.default_rng(3)
    true = rng.uniform(WEAKEST, 1.6, number)
    return true, true * np.exp(deviation * rng.standard_normal(number))


@pytest.mark.parametrize("deviation", [0.02, 0.04, 0.05, 0.06])
def test_about_one_in_a_hundred_short_piles_pass_and_few_sound_ones_are_rejected(deviation):
    true, shown = drawn(deviation)
    passed = shown >= margin(deviation)
    short = passed[true < TOLERATED].mean()
    assert short <= 1.1 * SHORT_PASSING
    assert (
        short == pytest.approx(SHORT_PASSING, rel=0.15) or margin(deviation) == 1.0
    )  # no more is asked than is needed
    assert (~passed)[true >= 1.0].mean() <= 0.30
    near = np.abs(true - margin(deviation)) < 0.01
    assert margin(deviation) <= 1.05
    assert passed[near].mean() == pytest.approx(0.5, abs=0.03)


def test_a_pile_that_just_passes_is_short_as_often_as_said():
    deviation = 0.05
    true, shown = drawn(deviation)
    over = margin(deviation)
    just = np.abs(np.log(shown / over)) < 0.003
    assert (true < 1.0)[just].mean() == pytest.approx(chance_short(over, deviation), abs=0.03)
    sound = np.abs(true - 1.10) < 0.005
    assert (shown < over)[sound].mean() == pytest.approx(chance_driven_on(over, deviation), abs=0.02)


def test_whole_counts_scatter_as_said():
    """Counts over a length, the blows falling anywhere: deviation over the average is 1/(n √6) on average over n."""
    rng = np.random.default_rng(4)
    average = rng.uniform(12.0, 14.0, 200_000)
    counted = np.floor(average + rng.uniform(0.0, 1.0, len(average)))
    assert np.std(counted / average) == pytest.approx(count_deviation(13.0, 1.0), rel=0.02)


def test_a_wider_error_never_asks_for_less():
    margins = [margin(deviation) for deviation in np.linspace(0.0, 0.3, 31)]
    assert margins == sorted(margins)
    assert margins[0] == 1.0


def test_a_larger_change_scatters_more():
    assert setup_scatter(1.0) < setup_scatter(1.2) < setup_scatter(2.0)
    assert setup_scatter(0.7) > setup_scatter(1.0)
