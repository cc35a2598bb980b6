"""How resistance fades over the blows of a restrike, and what it was at the first of them."""

from dataclasses import dataclass

import numpy as np

from dyntest.decisions.robust_slope import robust_slope
from dyntest.errors import InputError

FIRST_BLOWS = 20
"""Blows from the start of a restrike that are fitted [1]; a restrike is usually stopped at 20 to 50 blows or after
75 to 150 mm, before what was gained is driven away (common practice, no source)."""

LEAST_BLOWS = 5
"""Sound blows needed for a fit [1]; no source."""

CONFIDENCE = 0.90
"""Two-sided confidence of the slope's range [1]; our choice."""


@dataclass(frozen=True)
class RestrikeFade:
    """A line through the resistances of the first blows of a restrike.

    Parameters
    ----------
    first_resistance : float
        The line's value at the first blow [N].
    last_resistance : float
        The line's value at the last fitted blow [N].
    slope, slope_low, slope_high : float
        Change of resistance a blow with its range [N], negative where it fades.
    blows : int
        Number of sound blows fitted [1].
    span : int
        Number of blows from the first to the last fitted [1].
    """

    first_resistance: float
    last_resistance: float
    slope: float
    slope_low: float
    slope_high: float
    blows: int
    span: int

    @property
    def lost_share(self) -> float:
        """Share of the first resistance lost over the fitted blows [1], negative where it rose."""
        return 1.0 - self.last_resistance / self.first_resistance

    @property
    def fades(self) -> bool:
        """Whether resistance fell beyond its scatter from blow to blow."""
        return self.slope_high < 0.0


def restrike_fade(
    resistance: np.ndarray, sound: np.ndarray | None = None, first_blows: int = FIRST_BLOWS
) -> RestrikeFade:
    """Fit how resistance changes over the first blows of a restrike.

    Parameters
    ----------
    resistance : numpy.ndarray
        Resistance of every blow in its order, shape (n_blows,) [N]; not a number where a blow has none.
    sound : numpy.ndarray of bool or None
        Blows to be counted, shape (n_blows,) [1]: those with a usable record and a hammer at work. All where None.
    first_blows : int
        How many blows from the first sound one are fitted [1].

    Returns
    -------
    RestrikeFade
        The median of the slopes between all pairs of blows (Theil 1950; Sen 1968) and the line through the medians,
        so that up to 29 % of odd blows do not move it far.

    Raises
    ------
    InputError
        If fewer than `LEAST_BLOWS` sound blows remain.

    Notes
    -----
    A straight line over the few blows at hand; it must not be carried beyond them.

    Examples
    --------
    >>> fade = restrike_fade(1.0e6 - 1.0e4 * np.arange(20))
    >>> round(fade.first_resistance), round(fade.slope), round(fade.lost_share, 2)
    (1000000, -10000, 0.19)
    """
    resistance = np.asarray(resistance, dtype=float)
    usable = np.isfinite(resistance)
    if sound is not None:
        usable &= np.asarray(sound, dtype=bool)
    index = np.flatnonzero(usable)
    index = index[index < index[0] + first_blows] if index.size else index
    if index.size < LEAST_BLOWS:
        problem = f"{index.size} sound blows are too few to see how resistance changed"
        raise InputError("restrike", "first blows", problem, f"at least {LEAST_BLOWS} are needed")
    slope, low, high = robust_slope(index, resistance[index], CONFIDENCE)
    span = int(index[-1] - index[0])
    first = float(np.median(resistance[index]) + slope * (index[0] - np.median(index)))
    return RestrikeFade(first, first + slope * span, slope, low, high, int(index.size), span + 1)
