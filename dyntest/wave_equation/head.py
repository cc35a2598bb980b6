"""What drives the upper end of the pile when it was measured: a downward wave, a velocity or a force.

Each raises ValueError when the simulation asks for a step past the end of its trace: what would have come is not known.
"""

from collections.abc import Callable

import numpy as np

from dyntest.wave_equation.simulator import Head


def impose_down_wave(down: np.ndarray) -> Head:
    """Drive the upper end with a downward wave; whatever comes up passes through.

    Parameters
    ----------
    down : numpy.ndarray
        Downward wave a step, shape (n_steps,) or (n_steps, n_candidates) [N].

    Returns
    -------
    Head
        For `simulate`.
    """
    row = _rows(down)
    return lambda step, arriving: row(step)


def impose_velocity(velocity: np.ndarray, impedance: float) -> Head:
    """Drive the upper end with a velocity: ``down = up + Z v``.

    Parameters
    ----------
    velocity : numpy.ndarray
        Velocity a step, shape (n_steps,) or (n_steps, n_candidates) [m/s], downward positive.
    impedance : float
        Impedance of the uppermost segment [N s/m].

    Returns
    -------
    Head
        For `simulate`.
    """
    row = _rows(impedance * np.asarray(velocity, dtype=float))
    return lambda step, arriving: row(step) + arriving


def impose_force(force: np.ndarray) -> Head:
    """Drive the upper end with a force: ``down = F − up``.

    Parameters
    ----------
    force : numpy.ndarray
        Force a step, shape (n_steps,) or (n_steps, n_candidates) [N], compression positive.

    Returns
    -------
    Head
        For `simulate`.
    """
    row = _rows(force)
    return lambda step, arriving: row(step) - arriving


def _rows(trace: np.ndarray) -> Callable[[int], np.ndarray]:
    """Give the function that takes a step to its values."""
    trace = np.asarray(trace, dtype=float)
    rows = trace[:, None] if trace.ndim == 1 else trace

    def row(step: int) -> np.ndarray:
        if not 0 <= step < len(rows):
            raise ValueError(f"the imposed trace has {len(rows)} steps, and step {step} was asked for")
        return rows[step]

    return row


def resample(trace: np.ndarray, time: np.ndarray, start: float, time_step: float, n_steps: int) -> np.ndarray:
    """Give a recorded trace at the simulator's steps, by straight lines between the samples.

    Parameters
    ----------
    trace : numpy.ndarray
        Samples, shape (n_samples,) [any unit].
    time : numpy.ndarray
        Their times, shape (n_samples,) [s].
    start : float
        Time of the first step [s].
    time_step : float
        Time step of the simulator [s].
    n_steps : int
        Number of steps [1].

    Returns
    -------
    numpy.ndarray
        The trace, shape (n_steps,) [unit of the samples]; zero before and after the record.
    """
    return np.interp(start + time_step * np.arange(n_steps), time, trace, left=0.0, right=0.0)
