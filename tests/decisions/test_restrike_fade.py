import numpy as np
import pytest

from dyntest.decisions.time_law import restrike_fade
from dyntest.errors import InputError


def test_a_quarter_of_odd_blows_does_not_move_the_line():
    rng = np.random.default_rng(3)
    truth = 1.5e6 - 8e3 * np.arange(20)
    measured = truth + rng.normal(0.0, 5e3, 20)
    measured[[2, 7, 11, 16]] *= 0.4
    fade = restrike_fade(measured)
    assert fade.first_resistance == pytest.approx(1.5e6, rel=0.02)
    assert fade.slope == pytest.approx(-8e3, rel=0.25)
    assert fade.fades
    assert fade.lost_share == pytest.approx(8e3 * 19 / 1.5e6, rel=0.3)


def test_scatter_alone_is_no_fade():
    measured = 1.0e6 + np.random.default_rng(5).normal(0.0, 5e4, 20)
    assert not restrike_fade(measured).fades


def test_cold_blows_are_left_out_and_later_ones_too():
    measured = np.concatenate([np.full(3, 0.3e6), 1.0e6 - 1e4 * np.arange(20), np.full(50, 2.0e6)])
    sound = np.arange(73) >= 3
    fade = restrike_fade(measured, sound)
    assert fade.first_resistance == pytest.approx(1.0e6)
    assert fade.last_resistance == pytest.approx(0.81e6)
    assert (fade.blows, fade.span) == (20, 20)


def test_missing_values_keep_the_blow_count_of_the_slope():
    measured = 1.0e6 - 1e4 * np.arange(20.0)
    measured[[1, 2, 3, 9]] = np.nan
    fade = restrike_fade(measured)
    assert fade.slope == pytest.approx(-1e4)
    assert (fade.blows, fade.span) == (16, 20)


@pytest.mark.parametrize("measured", [[], [np.nan] * 9, [1e6] * 4])
def test_too_few_blows_are_refused(measured):
    with pytest.raises(InputError, match="too few"):
        restrike_fade(np.array(measured))
