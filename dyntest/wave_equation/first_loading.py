"""The curve along which soil is loaded for the first time, where it is not the line along which it unloads."""

import numpy as np

from dyntest.wave_equation.soil import SMALL, Soil, lower_bound, unloading_stiffness
from dyntest.wave_equation.state import State


class FirstLoading:
    """Keeps how far each node has gone along its curve of first loading, and bounds its spring by the force there.

    The curve is the hyperbola ``limit · u / (u + quake)`` or the line ``limit · u / quake`` up to the limit. Soil
    that was unloaded is loaded again along its unloading line until it meets the curve at the movement it then has.

    Parameters
    ----------
    soil : Soil
        The soil of every candidate.
    rows : slice
        The rows of soil that are kept.
    time_step : float
        Time step [s].
    z_above : numpy.ndarray
        Impedance above each node, shape (n_segments, 1) or (n_segments, n_candidates) [N s/m].
    state : State
        Where the run begins.
    kind : type
        Kind of float to march in.
    """

    def __init__(self, soil: Soil, rows: slice, time_step: float, z_above: np.ndarray, state: State, kind: type):
        shape, stiffness = soil.limit.shape, unloading_stiffness(soil)[rows]
        self.rows, self.hyperbolic = rows, soil.hyperbolic
        self.limit = soil.limit[rows] / 2.0  # half forces throughout, as in `Step`
        self.quake = np.broadcast_to(np.maximum(soil.quake, SMALL), shape)[rows]
        self.rise = self.limit / self.quake
        self.way_of_y = np.broadcast_to(time_step / z_above, shape)[rows].copy()
        # The trial movement of half a step from the trial rise of the half force: Δu = 2 Δs / k.
        self.way_of_force = np.where(stiffness > 0.0, 2.0 / np.maximum(stiffness, SMALL), 0.0)
        self.slip_of_force = self.slip = None
        if soil.radiation is not None:
            self.slip_of_force = np.broadcast_to(time_step / np.maximum(soil.radiation, SMALL), shape)[rows]
            self.slip = self.slip_of_force * np.maximum(state.spring, lower_bound(soil))[rows] / 2.0
        loading = (
            self._from_force(state.spring[rows] / 2.0, stiffness) if state.loading is None else state.loading[rows]
        )
        self.y = (state.velocity * z_above)[rows]
        self.way = loading + 0.5 * self.way_of_y * self.y
        if self.slip is not None:
            self.way -= self.slip
        for name, values in vars(self).items():
            if isinstance(values, np.ndarray):
                setattr(self, name, values.astype(kind))
        self.cap, self.work = np.empty_like(self.way), np.empty_like(self.way)

    def _from_force(self, half_force: np.ndarray, stiffness: np.ndarray) -> np.ndarray:
        """Give the way along the curve that belongs to a force; below 0 what is left until it begins."""
        short = 2.0 * half_force / np.maximum(stiffness, SMALL)
        force = np.clip(half_force, 0.0, self.limit * (1.0 - SMALL))
        left = self.limit - force if self.hyperbolic else self.limit
        return np.where(half_force < 0.0, short, self.quake * force / np.maximum(left, SMALL))

    def force(self, trial_rise: np.ndarray) -> np.ndarray:
        """Give the force on the curve at the movement that this step would reach.

        Parameters
        ----------
        trial_rise : numpy.ndarray
            Rise of half the spring's force that the unloading line would give, shape (n_rows, n_candidates) [N].

        Returns
        -------
        numpy.ndarray
            Half the greatest static force, shape (n_rows, n_candidates) [N]; the same array at each call.
        """
        cap = self.cap
        np.multiply(trial_rise, self.way_of_force, cap)
        np.add(cap, self.way, cap)
        if self.slip is not None:
            np.subtract(cap, self.slip, cap)
        np.maximum(cap, 0.0, out=cap)
        if self.hyperbolic:
            np.add(cap, self.quake, self.work)
            np.divide(cap, self.work, cap)
            return np.multiply(cap, self.limit, cap)
        np.multiply(cap, self.rise, cap)
        return np.minimum(cap, self.limit, out=cap)

    def move(self, y: np.ndarray, half_force: np.ndarray) -> None:
        """Take the movement of a step.

        Parameters
        ----------
        y : numpy.ndarray
            Velocity times impedance, shape (n_rows, n_candidates) [N].
        half_force : numpy.ndarray
            Half the static force, by which soil moves along where it radiates, shape (n_rows, n_candidates) [N].
        """
        np.multiply(y, self.way_of_y, self.work)
        np.add(self.way, self.work, self.way)
        self.y = y
        if self.slip is not None:
            np.multiply(half_force, self.slip_of_force, self.slip)
            np.subtract(self.way, self.slip, self.way)
            np.subtract(self.way, self.slip, self.way)

    def loading(self, shape: tuple[int, int]) -> np.ndarray:
        """Give the way along the curve so far.

        Parameters
        ----------
        shape : tuple of int
            Number of segments and of candidates [1].

        Returns
        -------
        numpy.ndarray
            Movement between pile and soil, shape (n_segments, n_candidates) [m]; 0 where there is no soil.
        """
        way = np.zeros(shape)
        way[self.rows] = self.way - 0.5 * self.way_of_y * self.y
        if self.slip is not None:
            way[self.rows] += self.slip
        return way
