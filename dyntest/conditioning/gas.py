"""The gas of a diesel hammer before impact: how much of what was taken for the zero line was compression.

From the moment its ports close the falling ram compresses the gas, which pushes the pile for some 60 ms before impact.
Where a record begins later than that, none of it is quiet. The gas is told by its law. With the ram falling at nearly
constant speed, the volume goes to zero at a time t_d behind the impact, and an adiabatic compression gives

(1) ``F(t) = F_0 + A [(t_d − t)^(−n) − T_c^(−n)]``

with the zero line F_0 and the ports closed since T_c before t_d. For each t_d of a grid it is linear in F_0 and A
(least squares); the best t_d is kept. Where the record begins the pile moves with `MOVES` of ``F/Z``.

Notes
-----
On lumped-mass records of the tests, with gas at 1 to 3 % of the peak force where the record begins, energy then is
within 4 % where it was 4 to 10 % too low.

References
----------
``p V^n`` with n of 1.3 to 1.4 for air is from memory, any text on engines.
"""

import numpy as np

EXPONENT = 1.35
"""n in (1) [1], from memory."""

PORTS_CLOSED = 0.07
"""T_c in (1) [s]: some 0.4 m before impact at 6 m/s, from memory; (1) hardly depends on it."""

NEAREST, FARTHEST, TIMES = 1e-3, 30e-3, 30
"""Times t_d behind the end of the window that are tried, from and to [s], and how many [1]."""

POINTS = 120
"""The window is averaged to at most so many points [1]."""

SLOW_RISE = 2.5e-3
"""A rise from 1 to 3 % of the peak that lasts longer than this is looked at [s]; a drop hammer's lasts less than
0.5 ms. Our choice."""

MOVES = 0.75
"""Velocity of the pile where the record begins, over the gas force divided by the impedance [1]: 1 for a wave that
meets nothing, less where the soil answers; measured on lumped-mass records."""

LEAST_GAS, MOST_GAS = 0.004, 0.15
"""Gas at the beginning of the record over the peak force that is corrected, from and to [1]; our choice."""

EARLY_SHARE, LEAST_SLOPE = 0.2, 0.5
"""Over this first share of the window the force rises by at least this share of what (1) rises by [1]; our choice."""

FEWEST_SAMPLES = 16
"""Samples before the onset from which gas is told at the least [1]."""

LEAST_EXPLAINED = 0.9
"""Share of the variance of the force in the window that (1) has to explain [1]; our choice."""


def gas_before_impact(
    force: np.ndarray, begins: np.ndarray, slow: np.ndarray, time_step: float
) -> tuple[np.ndarray, np.ndarray]:
    """Give the mean force of the gas before the onset, and its force where the record begins.

    The force is that of the mean of the gauges with any zero line; `slow` says which blows are looked at. Both are
    zero where there is no gas.

    Units: force [N]; time_step [s]; returns [N].
    """
    mean_force, at_start = np.zeros(len(force)), np.zeros(len(force))
    rows = np.flatnonzero(slow & (begins >= FEWEST_SAMPLES))
    if not len(rows):
        return mean_force, at_start
    reach = int(begins[rows].max()) + 1
    width = -(-reach // POINTS)
    count = reach // width
    shape = (len(rows), count, width)
    inside: np.ndarray = np.all((np.arange(count * width) <= begins[rows, None]).reshape(shape), axis=2)
    time = (np.arange(count) + 0.5) * width * time_step
    loads = force[rows, : count * width].reshape(shape).mean(axis=2)
    number = np.maximum(inside.sum(axis=1), 1)

    def centred(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        middle = (values * inside).sum(axis=1) / number
        return np.where(inside, values - middle[:, None], 0.0), middle

    moved, _ = centred(loads)
    spread = np.square(moved).sum(axis=1)
    ends, behind = begins[rows] * time_step, np.geomspace(NEAREST, FARTHEST, TIMES)
    size, rest = np.zeros((len(rows), TIMES)), np.full((len(rows), TIMES), np.inf)
    for k, ahead in enumerate(behind):
        law, _ = centred(_law((ends + ahead)[:, None] - time))
        size[:, k] = (law * moved).sum(axis=1) / np.square(law).sum(axis=1)
        rest[:, k] = np.square(moved - size[:, k : k + 1] * law).sum(axis=1)
    each, best = np.arange(len(rows)), rest.argmin(axis=1)
    until = (ends + behind[best])[:, None]
    found = size[each, best]
    _, middle = centred(_law(until - time))
    start = found * _law(until)[:, 0]
    share = start / force[rows].max(axis=1)
    is_gas = (share >= LEAST_GAS) & (share <= MOST_GAS) & (rest[each, best] <= (1.0 - LEAST_EXPLAINED) * spread)
    is_gas &= _rises_at_once(moved, found[:, None] * _law(until - time), inside)
    mean_force[rows], at_start[rows] = np.where(is_gas, found * middle, 0.0), np.where(is_gas, start, 0.0)
    return mean_force, at_start


def _rises_at_once(moved: np.ndarray, law: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """Say where the force follows the law from the first sample on: one that is flat there has its zero line in it."""
    early = inside & (np.arange(inside.shape[1]) < np.maximum(EARLY_SHARE * inside.sum(axis=1), 3)[:, None])
    number = np.maximum(early.sum(axis=1), 1)
    place = np.arange(inside.shape[1]) * early
    place = np.where(early, place - (place.sum(axis=1) / number)[:, None], 0.0)
    return (place * moved).sum(axis=1) >= LEAST_SLOPE * (place * law).sum(axis=1)


def _law(ahead: np.ndarray) -> np.ndarray:
    """Give the law of (1) for a time until the volume is zero; nothing before the ports close."""
    return np.clip(ahead, NEAREST, PORTS_CLOSED) ** -EXPONENT - PORTS_CLOSED**-EXPONENT
