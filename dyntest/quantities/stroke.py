"""Stroke of an open-end diesel hammer from the time between its blows.

Half of the time between two blows the ram flies up and half it falls: in free flight ``h = g T²/8``, less what the
time for compression, explosion and the first upward movement costs:

(1) ``h = g T²/8 − h_0``, with ``h_0 = 0.3 ft``.

Notes
-----
One set of constants is used for both systems of units: g/8 exactly (4.022 ft/s², 1.226 m/s²) and 0.3 ft = 91.44 mm.
Published roundings differ by little: ``4.02 T² − 0.3 ft`` and ``1.23 T² − 0.1 m`` (a public educational page, 2022);
``4.01 (60/BPM)² − 0.3 ft`` with the blows per minute, from memory, after FHWA; all within 35 mm of (1).

It holds for open-end (single-acting) diesel hammers only. The ram of a closed-end diesel is thrown back by air, and
that of an air, hydraulic or drop hammer waits: there the stroke must be observed.
"""

import numpy as np
import pandas as pd

from dyntest.units import STANDARD_GRAVITY

LOSS = 0.3 * 0.3048
"""h_0 in (1) [m]; 0.3 ft, a public educational page (2022) and, from memory, FHWA."""

OPEN_END_DIESEL = "open-end diesel"
"""The only kind of hammer for which (1) holds."""

LONGEST_INTERVAL = 1.6
"""A time between blows above this many times the median around it is a pause or a blow not recorded, not a stroke [1].

A missing blow doubles the interval; a stroke that goes from 1.5 m to 3 m changes it by 1.4. Our own choice.
"""

NEIGHBOURS = 11
"""Number of intervals whose median stands for "around it" [1]."""


def blow_rate(clock: np.ndarray, blow: np.ndarray) -> np.ndarray:
    """Give the blow rate of each blow from the time that passed since the one before.

    That time holds the flight that ended in this blow, so rate and stroke belong to this blow's energy. The first
    blow has none before it and so no rate; nor has a blow after a pause, after a missing number, or after a clock
    that does not move on.

    Units: clock [s]; returns [Hz].

    Examples
    --------
    >>> blow_rate(np.array([0.0, 1.5, 3.0, 4.5, 60.0, 61.5]), np.array([1, 2, 3, 4, 5, 6])).round(3)
    array([  nan, 0.667, 0.667, 0.667,   nan, 0.667])
    """
    interval = np.diff(np.asarray(clock, dtype=float), prepend=np.nan)
    follows = np.diff(np.asarray(blow, dtype=float), prepend=np.nan) == 1
    interval = np.where(follows & (interval > 0), interval, np.nan)
    usual = pd.Series(interval).rolling(NEIGHBOURS, center=True, min_periods=1).median().to_numpy()
    return 1.0 / np.where(interval <= LONGEST_INTERVAL * usual, interval, np.nan)


def blow_rate_of_stroke(stroke: np.ndarray) -> np.ndarray:
    """Give the blow rate at which an open-end diesel hammer reaches a stroke: equation (1) solved for the time.

    Units: stroke [m]; returns [Hz].

    Examples
    --------
    >>> (60 * blow_rate_of_stroke(np.array([7.18 * 0.3048]))).round(1)
    array([44.])
    """
    return np.sqrt(STANDARD_GRAVITY / 8.0 / (np.asarray(stroke, dtype=float) + LOSS))


def stroke_from_blow_rate(blow_rate: np.ndarray) -> np.ndarray:
    """Give the stroke of an open-end diesel hammer: equation (1).

    Units: blow_rate [Hz]; returns [m].

    Examples
    --------
    >>> (stroke_from_blow_rate(np.array([44.0]) / 60) / 0.3048).round(2)  # feet, at 44 blows a minute
    array([7.18])
    """
    stroke = STANDARD_GRAVITY / 8.0 / np.square(blow_rate) - LOSS  # (1)
    return np.where(stroke > 0, stroke, np.nan)
