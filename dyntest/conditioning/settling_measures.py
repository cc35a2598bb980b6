"""Checks on the pile at rest at the end of the record: drift of the velocity, velocity and displacement that settle."""

from dataclasses import dataclass

import numpy as np

from dyntest.conditioning.channel_measures import at
from dyntest.conditioning.condition import LASTS_TO_REST, Conditioned
from dyntest.conditioning.corrections import integrate, rest_samples
from dyntest.pile import Pile
from dyntest.signals import Waves


@dataclass(frozen=True)
class Record:
    """Conditioned blows and the pile, with the few numbers that several checks need.

    Parameters
    ----------
    conditioned : Conditioned
        Force, velocity and corrections.
    pile : Pile
        The pile.
    averaged : bool
        Whether only averaged traces exist.
    comparable : numpy.ndarray
        Whether every gauge in use responds with the right sign, shape (n_blows,) [1].
    set_per_blow : numpy.ndarray
        Set from the log, shape (n_blows,) [m]; not a number where unknown.
    peak_velocity : numpy.ndarray
        Largest velocity, shape (n_blows,) [m/s].
    peak_displacement : numpy.ndarray
        Largest displacement, shape (n_blows,) [m].
    resting_displacement : numpy.ndarray
        Displacement while the pile should be at rest at the end, shape (n_blows, n_rest) [m].
    at_peak, early : numpy.ndarray
        F/(Zv) at the first peak and over the early rise, shape (n_blows,) [1].
    undisturbed : numpy.ndarray
        Whether nothing can return from ground or section changes in the first half of the rise, shape (n_blows,) [1].
    """

    conditioned: Conditioned
    pile: Pile
    averaged: bool
    comparable: np.ndarray
    set_per_blow: np.ndarray
    peak_velocity: np.ndarray
    peak_displacement: np.ndarray
    resting_displacement: np.ndarray
    at_peak: np.ndarray
    early: np.ndarray
    undisturbed: np.ndarray


def gather_record(
    conditioned: Conditioned,
    pile: Pile,
    comparable: np.ndarray,
    penetration: np.ndarray | None = None,
    set_per_blow: np.ndarray | None = None,
) -> Record:
    """Gather what the checks on force and velocity need.

    Units: penetration, set_per_blow [m].
    """
    waves = conditioned.waves
    n_blows, n_samples = waves.force.shape
    displacement = integrate(waves.velocity, waves.time_step)
    at_peak, early, undisturbed = _proportionality(waves, free_time(pile, penetration, n_blows), comparable)
    return Record(
        conditioned,
        pile,
        conditioned.gauge_strain is None,
        comparable,
        np.full(n_blows, np.nan) if set_per_blow is None else np.asarray(set_per_blow, dtype=float),
        waves.velocity.max(axis=1),
        displacement.max(axis=1),
        displacement[:, -rest_samples(n_samples) :],
        at_peak,
        early,
        undisturbed,
    )


def free_time(pile: Pile, penetration: np.ndarray | None, n_blows: int) -> np.ndarray:
    """Give the time after the onset before anything can return from the ground or from a change of section.

    Units: penetration [m]; returns [s].

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> pile = Pile("example", "steel", (PilePart(20.0, 0.01, 210e9, 7850.0),))
    >>> [round(float(1e3 * time), 2) for time in free_time(pile, np.array([15.0, 20.0]), 2)]
    [1.93, 0.0]
    """
    first = pile.parts[0]
    if penetration is None:
        return np.zeros(n_blows)
    above = np.clip(pile.length - np.nan_to_num(penetration, nan=pile.length), 0.0, first.length)
    return 2.0 * above / first.wave_speed


GAS_AT_ONSET = 0.05
"""Force at the onset over that at the first peak from which a diesel's gas presses already [1]: without gas the blow
begins at 0.03 (our choice)."""


def _proportionality(waves: Waves, free_time: np.ndarray, comparable: np.ndarray) -> tuple[np.ndarray, ...]:
    """F/(Zv) at the first peak and over the free rise, and whether that rise reaches its half."""
    rise = waves.first_peak - waves.onset
    free = free_time / waves.time_step
    whole = free >= 0.5 * rise
    length = np.clip(np.where(whole, free, 0.5 * rise), 1, np.maximum(rise, 1)).astype(int)
    ahead = np.arange(int(length.max(initial=0)) + 1)
    inside = ahead <= length[:, None]
    rows = np.arange(len(rise))[:, None]
    index = np.minimum(waves.onset[:, None] + ahead, waves.force.shape[1] - 1)
    before = at(waves.force, waves.onset), at(waves.velocity, waves.onset)  # what a diesel's gas does already
    gassy = before[0] > GAS_AT_ONSET * at(waves.force, waves.first_peak)
    load, speed = (np.where(gassy, part, 0.0) for part in before)
    force = np.where(inside, waves.force[rows, index] - load[:, None], 0.0).sum(axis=1)
    moving = waves.velocity[rows, index] - speed[:, None]
    from_velocity = np.where(inside, waves.impedance * moving, 0.0).sum(axis=1)
    velocity_peak = at(waves.velocity, waves.first_peak) - speed
    with np.errstate(invalid="ignore", divide="ignore"):
        at_peak = (at(waves.force, waves.first_peak) - load) / (waves.impedance * velocity_peak)
        early = force / from_velocity
    judged = comparable & (velocity_peak > 0) & (from_velocity > 0)
    return np.where(judged, at_peak, np.nan), np.where(judged, early, np.nan), whole


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
    """Give the velocity taken off each accelerometer at the end of the record over the peak velocity."""
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
    """Give the root mean square velocity at the end of the record over the peak velocity."""
    velocity = record.conditioned.waves.velocity
    end = velocity[:, -rest_samples(velocity.shape[1]) :]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(
            record.comparable, np.sqrt(np.einsum("bs,bs->b", end, end) / end.shape[1]) / record.peak_velocity, np.nan
        )


def wandering(record: Record) -> np.ndarray:
    """Give the range of the displacement at the end of the record over its peak."""
    end = record.resting_displacement
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = (end.max(axis=1) - end.min(axis=1)) / record.peak_displacement
    return np.where(record.comparable, ratio, np.nan)


def end_over_peak(record: Record) -> np.ndarray:
    """Give the displacement at the end of the record over its peak."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = record.resting_displacement.mean(axis=1) / record.peak_displacement
    return np.where(record.comparable, ratio, np.nan)


def set_difference(record: Record) -> np.ndarray:
    """Give how far the displacement at the end of the record is from the log's set, over its peak."""
    waves = record.conditioned.waves
    rests = (len(waves.time) - 1 - waves.onset) * waves.time_step >= LASTS_TO_REST
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.abs(record.resting_displacement.mean(axis=1) - record.set_per_blow) / record.peak_displacement
    return np.where(record.comparable & rests, ratio, np.nan)
