"""Stroke of an open-end diesel hammer from its blow rate, against published roundings of the same law."""

import numpy as np
import pytest

from dyntest.quantities.stroke import LOSS, stroke_from_blow_rate
from dyntest.units import STANDARD_GRAVITY

BLOWS_PER_MINUTE = np.array([36.0, 40.0, 44.0, 48.0, 52.0, 56.0])


def test_free_fall_over_half_the_period():
    """Thrown up h, a ram is back after 2·√(2h/g): exact mechanics."""
    height = np.array([1.5, 2.4, 3.2])
    flight = 2 * np.sqrt(2 * height / STANDARD_GRAVITY)
    assert stroke_from_blow_rate(1 / flight) + LOSS == pytest.approx(height)


def test_published_form_in_feet():
    """h = 4.02 T² − 0.3 ft (a public educational page, 2022); 4.02 is rounded, so within 0.005 T² ft."""
    period = 60 / BLOWS_PER_MINUTE
    expected = 4.02 * period**2 - 0.3
    found = stroke_from_blow_rate(1 / period) / 0.3048
    assert (np.abs(found - expected) <= 0.005 * period**2).all()


def test_published_form_in_metres():
    """h = 1.23 T² − 0.1 m (the same page); 1.23 and 0.1 are rounded, so within 0.005 T² + 0.05 m."""
    period = 60 / BLOWS_PER_MINUTE
    found = stroke_from_blow_rate(1 / period)
    assert (np.abs(found - (1.23 * period**2 - 0.1)) <= 0.02).all()


# From memory, after FHWA: h = 4.01 (60/BPM)² − 0.3 ft; its values computed. Its 4.01 is g/8 rounded down.
@pytest.mark.parametrize(
    ("rate", "feet"), [(36, 10.839), (40, 8.722), (44, 7.157), (48, 5.966), (52, 5.039), (56, 4.303)]
)
def test_recalled_form_lies_within_a_third_of_a_percent(rate, feet):
    assert stroke_from_blow_rate(np.array([rate / 60.0]))[0] / 0.3048 == pytest.approx(feet, rel=3.5e-3)
