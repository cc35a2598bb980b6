"""Fewer points to draw, with the peaks kept; numbers are computed from all of them before."""

from itertools import pairwise

import numpy as np
import pandas as pd


def thinned_rows(values: np.ndarray, most: int) -> np.ndarray:
    """Give which points of a line to draw, so that it looks the same.

    Parameters
    ----------
    values : numpy.ndarray
        Values along the line, shape (n,) [any unit].
    most : int
        How many points may be drawn [1].

    Returns
    -------
    numpy.ndarray
        Rising positions, shape (n_drawn,) [1]: of each run of neighbours the least and the greatest value, and both
        ends.

    Examples
    --------
    >>> line = np.zeros(1000)
    >>> line[123] = 5.0
    >>> rows = thinned_rows(line, 100)
    >>> len(rows) <= 100, 123 in rows, (rows[0], rows[-1]) == (0, 999)
    (True, True, True)
    """
    values = np.asarray(values, dtype=float)
    n = len(values)
    if n <= most:
        return np.arange(n)
    runs = max((most - 2) // 2, 1)
    edges = np.linspace(0, n, runs + 1).astype(int)
    low = np.where(np.isfinite(values), values, np.inf)
    high = np.where(np.isfinite(values), values, -np.inf)
    kept = {0, n - 1}
    for start, end in pairwise(edges):
        kept |= {start + int(low[start:end].argmin()), start + int(high[start:end].argmax())}
    return np.array(sorted(kept))


def thinned(frame: pd.DataFrame, value: str, by: str, most: int) -> pd.DataFrame:
    """Give a tidy frame with fewer points to each line.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a point, in order along each line.
    value : str
        The column whose peaks are kept.
    by : str
        The column that tells the lines apart.
    most : int
        How many points a line may have [1].

    Returns
    -------
    pandas.DataFrame
        The same columns.
    """
    if frame.empty:
        return frame
    parts = [part.iloc[thinned_rows(part[value].to_numpy(), most)] for _, part in frame.groupby(by, sort=False)]
    return pd.concat(parts, ignore_index=True)
