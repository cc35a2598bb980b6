"""Values of a wave at times that fall between samples, and over a window that moves along, for every blow at once.

The two windows give what `uniform_filter1d` and `minimum_filter1d` of scipy.ndimage give, which takes a seventh of a
second to load; the tests hold them against it.
"""

import numpy as np


def value_at(wave: np.ndarray, position: np.ndarray) -> np.ndarray:
    """Give the value of each blow's wave at positions counted in samples, by linear interpolation.

    Units: position [samples].

    Examples
    --------
    >>> value_at(np.array([[0.0, 10.0, 40.0]]), np.array([1.5]))
    array([25.])
    >>> value_at(np.array([[0.0, 10.0, 40.0]]), np.array([[2.0, 2.1]]))
    array([[40., nan]])
    """
    position = np.asarray(position, dtype=float)
    columns = position[:, np.newaxis] if position.ndim == 1 else position
    last = wave.shape[1] - 1
    inside = (columns >= 0) & (columns <= last)
    held = np.where(inside, columns, 0.0)
    lower = np.minimum(held.astype(np.intp), last - 1)
    before = np.take_along_axis(wave, lower, axis=1)
    after = np.take_along_axis(wave, lower + 1, axis=1)
    value = np.where(inside, before + (held - lower) * (after - before), np.nan)
    return value.reshape(position.shape)


def aligned(wave: np.ndarray, start: np.ndarray, count: int) -> np.ndarray:
    """Give each blow's wave from its own starting position on, so that blows lie beside each other.

    Units: start, count [samples].

    Examples
    --------
    >>> aligned(np.array([[0.0, 1.0, 2.0, 3.0], [0.0, 1.0, 2.0, 3.0]]), np.array([1, 2.5]), 2)
    array([[1. , 2. ],
           [2.5, nan]])
    """
    start = np.asarray(start, dtype=float)
    whole = start.astype(np.intp)  # one gather for all: the part between samples is the same along a blow
    part = (start - whole)[:, np.newaxis]
    last = wave.shape[1] - 1
    index = whole[:, np.newaxis] + np.arange(count + 1)
    taken = np.take_along_axis(wave, np.minimum(index, last), axis=1)
    found = taken[:, :-1] + part * (taken[:, 1:] - taken[:, :-1])
    found[index[:, :-1] + part > last] = np.nan
    return found


def first_not_positive(wave: np.ndarray) -> np.ndarray:
    """Give the position at which each blow's wave first is zero or below, by linear interpolation.

    Units: returns [samples].

    Examples
    --------
    >>> first_not_positive(np.array([[3.0, 1.0, -1.0], [0.0, 1.0, 1.0], [2.0, 1.0, 1.0]]))
    array([1.5, 0. , nan])
    """
    reached = wave <= 0
    index = reached.argmax(axis=1)
    rows = np.arange(len(wave))
    here, before = wave[rows, index], wave[rows, np.maximum(index - 1, 0)]
    fall = np.where(index > 0, before - here, 1.0)  # never zero: positive before, not positive here
    position = np.where(index > 0, index - 1.0 + before / fall, 0.0)
    return np.where(reached.any(axis=1), position, np.nan)


def moving_mean(wave: np.ndarray, width: int) -> np.ndarray:
    """Give the mean over windows that have each sample in their middle, the ends of a wave held beyond them.

    Units: width [samples].

    Examples
    --------
    >>> moving_mean(np.array([[0.0, 3.0, 6.0, 0.0]]), 3)
    array([[1., 3., 3., 2.]])
    """
    before = width // 2
    held = np.pad(wave, ((0, 0), (before, width - 1 - before)), mode="edge")
    first = held[:, :width].cumsum(axis=1)[:, -1:]
    return np.hstack([first, held[:, width:] - held[:, :-width]]).cumsum(axis=1) / width


def lowest_before(wave: np.ndarray, width: int) -> np.ndarray:
    """Give the least value among each sample and those before it in a window, as far as there are any.

    Units: width [samples].

    Examples
    --------
    >>> lowest_before(np.array([[3.0, 1.0, 2.0, 4.0, 5.0]]), 3)
    array([[3., 1., 1., 1., 2.]])
    """
    lowest, covered = wave.copy(), 1
    while covered < width:  # two windows side by side, or overlapping, make one
        ahead = min(covered, width - covered)
        lowest[:, ahead:] = np.minimum(lowest[:, ahead:], lowest[:, :-ahead])
        covered += ahead
    return lowest
