"""The slope of a line that a few odd points do not move, and the range it may lie in."""

import numpy as np
from scipy.special import ndtri


def robust_slope(position: np.ndarray, values: np.ndarray, confidence: float) -> tuple[float, float, float]:
    """Give the median of the slopes between all pairs of points, and its range.

    Parameters
    ----------
    position : numpy.ndarray
        Where the points lie, each place once, rising, shape (n,) [any unit].
    values : numpy.ndarray
        Their values, shape (n,) [any unit].
    confidence : float
        Two-sided confidence of the range [1].

    Returns
    -------
    tuple of (float, float, float)
        Slope and the lower and upper end of its range [unit of `values` per unit of `position`].

    Notes
    -----
    Theil (1950) for the slope; Sen (1968), J. American Statistical Association 63, for the range: the pairs are as many
    from its ends as the normal quantile of Kendall's statistic says, its variance
    ``[n(n−1)(2n+5) − Σ t(t−1)(2t+5)]/18`` with t equal values in a group (all from memory). Up to 29 % of the points
    may be odd.

    Examples
    --------
    >>> slope, low, high = robust_slope(np.arange(8.0), np.array([0, 2, 4, 99, 8, 10, 12, 14.0]), 0.9)
    >>> slope
    2.0
    """
    first, second = np.triu_indices(len(values), 1)
    slopes = np.sort((values[second] - values[first]) / (position[second] - position[first]))
    n, pairs = len(values), len(slopes)
    ties = np.unique(values, return_counts=True)[1]
    variance = (n * (n - 1) * (2 * n + 5) - np.sum(ties * (ties - 1) * (2 * ties + 5))) / 18.0
    reach = ndtri(0.5 + 0.5 * confidence) * np.sqrt(variance)
    low = max(round((pairs - reach) / 2.0) - 1, 0)
    high = min(round((pairs + reach) / 2.0), pairs - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])
