import numpy as np
import pytest

from dyntest.wave_equation.comparison import wave_misfit
from dyntest.wave_equation.match_results import matched_waves, shaft_distribution, stress_along_pile
from dyntest.wave_equation.matching import match_blow
from dyntest.wave_equation.problem import Reduction


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


def test_stress_is_greater_where_the_section_is_reduced(invented_blow):
    record = invented_blow(section=(11.0, 12.5, 0.5))
    match = match_blow(record.blow, reduction=Reduction(11.0, 0.6))
    stress = stress_along_pile(match)
    inside = (stress.depth > 11.3) & (stress.depth < 12.3)
    beside = (stress.depth > 9.0) & (stress.depth < 10.5)
    assert stress.compression[inside].max() > 1.3 * stress.compression[beside].max()
