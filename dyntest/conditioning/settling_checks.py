"""Checks on the pile at rest at the end of the record: drift of the velocity, velocity and displacement that settle."""

import numpy as np

from dyntest.conditioning.drift import rest_samples
from dyntest.conditioning.record import Record

DRIFT_LIMIT = 0.15
"""Velocity taken off at the end of the record over the peak velocity [1]. A straight ramp of this size takes about
0.5 % off a first peak 3 ms into a record of 100 ms; beyond it the set from the record means little (common practice,
no source)."""

DRIFT_NOISE = 4.0
"""Drift below so many standard deviations of what noise in the zero line gives is not judged [1]; n quiet samples
know their own noise badly where they are few, so (1 + 4/n) times as many."""

RESTLESS_LIMIT = 0.15
"""Root mean square velocity at the end over the peak velocity [1] (common practice, no source)."""

WANDERING_LIMIT = 0.15
"""Range of the displacement at the end over its peak [1] (common practice, no source)."""

RISING_LIMIT = -0.10
"""Displacement at the end over its peak below which the pile would end above where it began [1]
(common practice, no source)."""

SET_LIMIT = 0.15
"""Difference of the displacement at the end and the log's set, over the peak displacement [1], after what drift may
explain was taken off (our choice)."""


def drift_ratio(record: Record) -> np.ndarray:
    """Give the velocity taken off each accelerometer at the end of the record over the peak velocity.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Size of the ratio, shape (n_blows, 2) [1]; not a number where noise in the zero line explains it.
    """
    corrections = record.conditioned.corrections
    waves = record.conditioned.waves
    duration = (len(waves.time) - 1 - waves.onset) * waves.time_step
    quiet = np.maximum(corrections.quiet_samples, 1)
    expected = corrections.acceleration_noise * (duration / np.sqrt(quiet))[:, None]
    drift = np.abs(corrections.gauge_velocity_drift)
    with np.errstate(invalid="ignore", divide="ignore"):
        unexplained = ~(drift < DRIFT_NOISE * (1.0 + 4.0 / quiet[:, None]) * expected) & record.comparable[:, None]
        return np.where(unexplained, drift / record.peak_velocity[:, None], np.nan)


def restlessness(record: Record) -> np.ndarray:
    """Give the root mean square velocity at the end of the record over the peak velocity.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1].
    """
    velocity = record.conditioned.waves.velocity
    end = velocity[:, -rest_samples(velocity.shape[1]) :]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(
            record.comparable, np.sqrt(np.einsum("bs,bs->b", end, end) / end.shape[1]) / record.peak_velocity, np.nan
        )


def wandering(record: Record) -> np.ndarray:
    """Give the range of the displacement at the end of the record over its peak.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1].
    """
    end = record.resting_displacement
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = (end.max(axis=1) - end.min(axis=1)) / record.peak_displacement
    return np.where(record.comparable, ratio, np.nan)


def end_over_peak(record: Record) -> np.ndarray:
    """Give the displacement at the end of the record over its peak.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1]; negative where the pile would end above where it began.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = record.resting_displacement.mean(axis=1) / record.peak_displacement
    return np.where(record.comparable, ratio, np.nan)


def set_difference(record: Record) -> np.ndarray:
    """Give how far the displacement at the end of the record is from the log's set, over its peak.

    Parameters
    ----------
    record : Record
        Conditioned blows; where the set is known they were brought to it as far as drift may explain.

    Returns
    -------
    numpy.ndarray
        Size of the ratio, shape (n_blows,) [1]; not a number where the log has no set.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.abs(record.resting_displacement.mean(axis=1) - record.set_per_blow) / record.peak_displacement
    return np.where(record.comparable, ratio, np.nan)
