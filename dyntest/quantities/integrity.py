"""Integrity factor: how much of the impedance is left where a reflection comes back too early.

A section below which the impedance falls from Z1 to Z2 = β Z1 sends tension up before the toe can answer. The wave
that reaches it has lost ``R_x/2`` to the shaft above, and its reflection adds to the ``R_x/2`` that the same shaft
sends up, so with F_d the peak of the downward wave and F_u the upward wave at the reflection

(1) ``F_u = R_x/2 + (β − 1)/(β + 1) · (F_d − R_x/2)``,

(2) ``β = (F_d − R_x + F_u)/(F_d − F_u)``.

R_x is twice the upward wave just before it falls. Form (2) follows exactly from plastic shaft resistance, which is
why it stands here. The form recalled from the literature, ``(F_d − 1.5 R_x + F_u)/(F_d − 0.5 R_x − F_u)``, takes R_x
off twice in the wave that reaches the section; both give 1 for a sound pile and the same value for R_x = 0, and the
recalled one is a little lower between (0.789 for 0.805 at F_d = 2000, F_u = −50, R_x = 300).

The greatest fall of `up` below the highest value it had reached since the impact is searched, from the impact
until the pile's top rebounds or the toe's return is near, whichever comes first.

Notes
-----
An indicator, never a measurement: Verbeek & Goble and Verbeek & Middendorp (2011) question its reliability, above
all near the toe. It reads too high where the section is reduced over less than half the length of the rising front
(a reduction to 0.5 over 1.5 m reads 0.83 in the tests, where the front is 9 m long; `upper_bound` says so), and it
cannot judge what lies below `judged_depth`. A layer of soil with much damping, or an enlarged section, sends up a
wave that dies away with the pulse: `could_be_soil` says where that alone could explain the fall. A change of section
that was designed reads as damage.

References
----------
Rausche & Goble (1979), in ASTM STP 670, for the method; the recalled form and the classes from memory, after it.
UFC 3-220-20, section 6-10.1: 1.0 is no damage, below 0.8 is damage.
"""

from dataclasses import dataclass

import numpy as np

from dyntest.conditioning.impact import main_rise
from dyntest.quantities.sampling import aligned, first_not_positive, moving_mean, value_at

CLASSES = ((1.0, "uniform"), (0.8, "slight damage"), (0.6, "damaged"), (0.0, "broken"))
"""Lowest factor of each class [1]; from memory, after Rausche & Goble (1979)."""

RESOLUTION = 0.05
"""A factor less than this below 1 cannot be told from noise and counts as uniform [1]; our own choice."""

SMOOTHING = 0.0003
"""Width of the moving average over the upward wave [s]; short beside any rise of the impact. Our own choice."""

FOOT_SHARE = 0.25
"""Share of the rise from onset to first peak by which the toe's return may lead its mark [1]. Our own choice."""

SPEED_DOUBT = 0.03
"""Share of the return time by which wave speed or length may be wrong [1]. Our own choice."""

SHORT_FALL = 0.6
"""A fall of the upward wave shorter than this share of the impact's rise ends before the front has passed [1].

Read from `START_OF_FALL` on, the fall at a lasting change of section takes about 0.8 of the rise. Our own choice.
"""

REBOUND_SHARE = 0.02
"""Upward velocity at the gauges, as a share of F_d/Z, from which the pile's top counts as rebounding [1].

A shaft that rebounds lets the upward wave fall without any damage. Our own choice.
"""

START_OF_FALL = 0.1
"""Share of the fall at which its depth is read, as the impact's onset stands at the foot of its rise [1]."""


@dataclass(frozen=True)
class Integrity:
    """What a reflection before the toe's return says, blow by blow.

    Parameters
    ----------
    integrity_factor : numpy.ndarray
        Factor β, shape (n_blows,) [1]; 1 for a sound pile, not a number where there was no impact.
    integrity_depth : numpy.ndarray
        Depth below the gauges where β is lowest, shape (n_blows,) [m]; not a number where the pile counts as uniform.
    judged_depth : numpy.ndarray
        Depth down to which the record can tell, shape (n_blows,) [m].
    resolved_depth : numpy.ndarray
        Depth above which the reflection falls into the rise of the blow, where a gauge that is wrong looks the same,
        shape (n_blows,) [m].
    could_be_soil : numpy.ndarray
        Whether soil damping above that depth alone could make the upward wave fall as much, shape (n_blows,) [1].
    upper_bound : numpy.ndarray
        Whether the section recovers before the whole front has passed, so that β reads too high, shape (n_blows,) [1].
    """

    integrity_factor: np.ndarray
    integrity_depth: np.ndarray
    judged_depth: np.ndarray
    resolved_depth: np.ndarray
    could_be_soil: np.ndarray
    upper_bound: np.ndarray


def factor_from_reflection(
    down_peak: float | np.ndarray, up_reflected: float | np.ndarray, shaft_resistance: float | np.ndarray
) -> float | np.ndarray:
    """Give the integrity factor of one reflection: equation (2).

    Units: down_peak, up_reflected, shaft_resistance [N].

    Examples
    --------
    >>> factor_from_reflection(2000.0, np.array([-400.0, -50.0]), np.array([0.0, 300.0])).round(4)
    array([0.6667, 0.8049])
    """
    return np.maximum((down_peak - shaft_resistance + up_reflected) / (down_peak - up_reflected), 0.0)  # (2)


def integrity(
    down: np.ndarray,
    up: np.ndarray,
    onset: np.ndarray,
    first_peak: np.ndarray,
    return_time: float,
    time_step: float,
    length: float,
) -> Integrity:
    """Give the lowest integrity factor along the pile and where it lies.

    Units: down, up [N]; return_time, time_step [s]; length [m].

    Examples
    --------
    >>> time = np.arange(400) * 5e-5
    >>> pulse = lambda late: np.interp(time - late, [0, 1e-3, 4e-3], [0, 2e6, 0], right=0.0)
    >>> down, up = pulse(0.0)[np.newaxis], -0.2 * pulse(4e-3)[np.newaxis]
    >>> found = integrity(down, up, np.array([0]), np.array([20]), return_time=8e-3, time_step=5e-5, length=20.0)
    >>> found.integrity_factor.round(2), found.integrity_depth.round(0)
    (array([0.68]), array([10.]))
    """
    rows = np.arange(len(down))
    delay = return_time / time_step
    count = int(delay) + 1
    smoothed = moving_mean(up, max(round(SMOOTHING / time_step), 1))
    window = aligned(smoothed, onset, count)
    rise = np.asarray(first_peak - onset, dtype=float)
    front = down[rows, first_peak]
    front = np.where(front > 0, front, np.nan)  # without an impact nothing is judged
    moving = aligned(down - up, first_peak, count) + REBOUND_SHARE * front[:, np.newaxis]
    rebound = rise + np.nan_to_num(first_not_positive(moving), nan=np.inf)
    end = np.minimum(delay * (1.0 - SPEED_DOUBT) - FOOT_SHARE * rise, rebound)
    end = np.minimum(end, down.shape[1] - 1 - onset)
    judged = np.arange(count) <= end[:, np.newaxis]

    highest = np.maximum(np.maximum.accumulate(window, axis=1), 0.0)  # R_x/2 as far as seen
    beta = factor_from_reflection(front[:, np.newaxis], window, 2.0 * highest)
    beta = np.where(judged & np.isfinite(beta), beta, 1.0)
    lowest = beta.argmin(axis=1)
    factor = np.where(np.isfinite(front), np.minimum(beta[rows, lowest], 1.0), np.nan)

    before = highest[rows, lowest]
    fall = before - window[rows, lowest]
    above = window >= (before - START_OF_FALL * fall)[:, np.newaxis]
    start = np.where(above & (np.arange(count) <= lowest[:, np.newaxis]), np.arange(count), 0).max(axis=1)
    depth = 0.5 * start * time_step * (2.0 * length / return_time)

    crest = np.where(np.arange(count) <= lowest[:, np.newaxis], window, -np.inf).argmax(axis=1)
    faded = value_at(down, first_peak + (lowest - crest).astype(float)) / front
    could_be_soil = fall <= before * (1.0 - np.minimum(faded, 1.0))

    uniform = ~(factor <= 1.0 - RESOLUTION)
    return Integrity(
        factor,
        np.where(uniform, np.nan, depth),
        0.5 * np.maximum(end, 0.0) * time_step * (2.0 * length / return_time),
        0.5 * main_rise(down, onset, first_peak) * time_step * (2.0 * length / return_time),
        could_be_soil & ~uniform,
        (lowest - start < SHORT_FALL * rise) & ~uniform,
    )


def integrity_class(integrity_factor: float) -> str:
    """Give the class of an integrity factor in words.

    ``"uniform"`` (within `RESOLUTION` of 1), ``"slight damage"``, ``"damaged"`` or ``"broken"``; ``"not judged"``
    where the factor is not a number.

    Examples
    --------
    >>> [integrity_class(value) for value in (1.0, 0.9, 0.7, 0.3)]
    ['uniform', 'slight damage', 'damaged', 'broken']
    """
    if np.isnan(integrity_factor):
        return "not judged"
    if integrity_factor > 1.0 - RESOLUTION:
        return CLASSES[0][1]
    return next(words for lowest, words in CLASSES[1:] if integrity_factor >= lowest)
