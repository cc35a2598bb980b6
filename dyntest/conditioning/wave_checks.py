"""Checks on force and velocity up to the toe return: proportionality, lag, quiet, length, time of return, movement."""

import numpy as np

from dyntest.conditioning.pair_checks import at
from dyntest.conditioning.record import Record
from dyntest.conditioning.toe_return import toe_return_ratio
from dyntest.signals import Waves

LOWEST_PROPORTIONALITY = 0.90
"""F/(Zv) at the first peak below this means a gauge or the impedance is wrong [1] (common practice, no source)."""

HIGHEST_PROPORTIONALITY = 1.10
"""The same above, where nothing can have returned from the pile yet [1] (common practice, no source)."""

HIGHEST_WITH_SHAFT = 1.20
"""The same above, where shaft resistance close to the gauges may already add to the force [1]
(common practice, no source)."""

UNIT_LIMIT = 3.0
"""The same, either way, beyond which not a gauge but a unit is wrong [1]: the nearest slip, feet for metres, is 3.28
(exact), and no gauge, bolt or shaft resistance is known to do as much (common practice, no source)."""

QUIET_LIMIT = 0.3e-3
"""Quiet time before the blow [s]; the test sheet asks for 1 ms, and finding the onset may cost some of it."""

RETURN_LIMIT = 1.0
"""Record after the first peak over 2L/c below which the return from the toe is not in it [1]; exact."""

UNLOADING_LIMIT = 2.0
"""The same below which the unloading after the return is not in it [1] (common practice, no source)."""

EARLY_LIMIT, LATE_LIMIT = 0.90, 1.10
"""Time of the return from the toe over 2L/c [1] (common practice, no source)."""

MOVEMENT_LIMIT = 25.4e-3 / 10
"""Movement a blow below which resistance is not fully mobilised [m]: 10 blows per inch is practical refusal, and
dynamic methods tend to under-predict above 120 blows per foot (UFC 3-220-20, 2025, 6-4.1.2 and ch. 6)."""

LAG_LIMIT = 0.1e-3
"""Lag between strain and acceleration [s] (common practice, no source)."""

LAG_SHARE = 0.05
"""A lag below this share of the rise is within what shaft resistance can look like and not judged [1]; nor is any
where the rise lasts longer than 2L/c."""

LAG_SHARE_WITH_SHAFT = 0.08
"""The same for strain that seems to come later, where the ground acts during the rise [1]: shaft resistance adds force
late in it. Of 150 simulated piles the worst showed 0.065 (our choice)."""

MAIN_RISE = (0.30, 0.63)
"""The rise proper begins at this share of the first peak, so that the compression stroke of a diesel hammer is no part
of it; and what is above has this share of the time of a rise as a sine squared [1] (exact)."""


def low_proportionality(record: Record) -> np.ndarray:
    """Give F/(Zv) at the first peak or over the early rise, whichever is higher.

    Resistance only adds force, so a low ratio is no work of the ground. A gauge that is wrong by a factor shows at the
    peak and on the rise alike; a lag shows on the rise alone.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1].
    """
    return _but_slips(np.maximum(record.at_peak, record.early), record)


def high_proportionality(record: Record) -> np.ndarray:
    """Give F/(Zv) at the first peak or over the early rise, whichever is lower, where nothing can have returned yet.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1]; not a number where the ground may already act in the first half of the rise.
    """
    return _but_slips(np.where(record.undisturbed, np.minimum(record.at_peak, record.early), np.nan), record)


def high_proportionality_with_shaft(record: Record) -> np.ndarray:
    """Give F/(Zv) as `high_proportionality`, where the ground may already act.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1]; not a number where nothing can have returned yet.
    """
    return _but_slips(np.where(record.undisturbed, np.nan, np.minimum(record.at_peak, record.early)), record)


def slip_of_units(record: Record) -> np.ndarray:
    """Give the factor by which force and impedance times velocity differ at the first peak and over the early rise.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        The factor, whichever of the two is the larger, at least 1 where both agree on which, shape (n_blows,) [1].
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        too_low = 1.0 / np.maximum(record.at_peak, record.early)
    return np.maximum(too_low, np.minimum(record.at_peak, record.early))


def _but_slips(ratio: np.ndarray, record: Record) -> np.ndarray:
    """Put not-a-number where a unit is wrong, as that is said by itself."""
    return np.where(slip_of_units(record) > UNIT_LIMIT, np.nan, ratio)


def quiet_time(record: Record) -> np.ndarray:
    """Give the quiet time before the blow.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Time, shape (n_blows,) [s]; not a number for averaged traces, whose zero line was taken elsewhere.
    """
    quiet = record.conditioned.corrections.quiet_samples * record.conditioned.waves.time_step
    return np.full(len(quiet), np.nan) if record.averaged else quiet


def returns_recorded(record: Record) -> np.ndarray:
    """Give the length of the record after the first peak over 2L/c.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1].
    """
    waves = record.conditioned.waves
    return (len(waves.time) - 1 - waves.first_peak) * waves.time_step / record.pile.return_time


def unloading_recorded(record: Record) -> np.ndarray:
    """Give the length of the record after the first peak over 2L/c, where the return itself is in it.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1]; not a number where the return is not in the record, which is said by itself.
    """
    length = returns_recorded(record)
    return np.where(length < RETURN_LIMIT, np.nan, length)


def toe_return(record: Record) -> np.ndarray:
    """Give the time at which the wave is seen to come back from the toe over 2L/c.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Ratio, shape (n_blows,) [1]; not a number where no return is clear.
    """
    waves = record.conditioned.waves
    ratio = toe_return_ratio(
        waves.down, waves.up, waves.onset, waves.first_peak, waves.time_step, record.pile.return_time
    )
    return np.where(record.comparable, ratio, np.nan)


def movement(record: Record) -> np.ndarray:
    """Give the movement a blow: the set from the log, or else the displacement at the end of the record.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Movement, shape (n_blows,) [m], downward positive.
    """
    end = np.where(record.comparable, record.resting_displacement.mean(axis=1), np.nan)
    return np.where(np.isfinite(record.set_per_blow), record.set_per_blow, end)


def lag_size(record: Record) -> np.ndarray:
    """Give the size of the lag between strain and acceleration.

    Parameters
    ----------
    record : Record
        Conditioned blows.

    Returns
    -------
    numpy.ndarray
        Time, shape (n_blows,) [s]; not a number where it was corrected or is a small share of the rise.
    """
    waves, corrections = record.conditioned.waves, record.conditioned.corrections
    rise = _main_rise(waves)
    size = np.abs(corrections.lag)
    with np.errstate(invalid="ignore"):
        share = np.where((corrections.lag > 0.0) & ~record.undisturbed, LAG_SHARE_WITH_SHAFT, LAG_SHARE)
        judged = (size > share * rise) & (rise < record.pile.return_time)
    return np.where(record.comparable & judged & (not corrections.aligned), size, np.nan)


def _main_rise(waves: Waves) -> np.ndarray:
    """Give the time of the rise proper, from its upper part [s]."""
    until = int(waves.first_peak.max(initial=0)) + 1
    down = 0.5 * (waves.force[:, :until] + waves.impedance * waves.velocity[:, :until])
    high = down > MAIN_RISE[0] * at(down, waves.first_peak)[:, None]
    sample = np.arange(until)
    inside = (sample >= waves.onset[:, None]) & (sample <= waves.first_peak[:, None])
    return (high & inside).sum(axis=1) * waves.time_step / MAIN_RISE[1]
