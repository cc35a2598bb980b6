"""The batched wave equation: every candidate pile, soil or blow marches through time in the same few array lines.

Waves move one segment a step. At a node with impedance Z1 above and Z2 below, arriving waves ``d`` (down) and ``u``
(up) and soil resistance R, equal velocity and equilibrium give

    v = (2d − 2u − R) / (Z1 + Z2)                                   (1)
    wave sent up:    d − Z1 v                                       (2)
    wave sent down:  u + Z2 v                                       (3)

R is a spring that yields and a dashpot, ``R = S + D v``. The spring is taken with the trapezoidal rule and then cut
back to its bounds, which keeps (1) exact in both states:

    S' = S + k·dt/2·(v_old + v_trial),  v_trial = (2d − 2u − S − k·dt/2·v_old) / (Z1 + Z2 + D + k·dt/2)    (4)
    v  = (2d − 2u − bounded S') / (Z1 + Z2 + D)                     (5)

`dyntest.wave_equation.step` holds the lines that do it. A measured wave, velocity or force drives the upper end; asked
for a step past the end of its trace it raises ValueError, for what would have come is not known.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dyntest.wave_equation.soil import Mesh, SoilModel
from dyntest.wave_equation.step import State, Step, at_rest

Head = Callable[[int, np.ndarray], np.ndarray]
"""The upper end: from the step and the upward wave that arrives, shape (n_candidates,) [N], the downward wave it sends
[N]."""


NOTHING = np.empty((0, 0))
"""Stands for what was not asked for."""


@dataclass(frozen=True)
class Motion:
    """What a run gives; what was not asked for has no elements.

    Parameters
    ----------
    time : numpy.ndarray
        Time of the steps, shape (n_steps,) [s].
    up : numpy.ndarray
        Upward wave at the gauges, shape (n_steps, n_candidates) [N].
    down : numpy.ndarray
        Downward wave at the gauges, shape (n_steps, n_candidates) [N].
    toe_displacement : numpy.ndarray
        Movement of the toe, shape (n_steps, n_candidates) [m], downward positive.
    greatest_force, least_force : numpy.ndarray
        Bounds over time of the force just above the nodes 1 … n, shape (n_segments, n_candidates) [N], compression
        positive.
    greatest_force_step, least_force_step : numpy.ndarray
        The steps at which they occur [1].
    greatest_spring : numpy.ndarray
        Greatest static soil force at the nodes 1 … n, shape (n_segments, n_candidates) [N]; the limit where soil that
        radiates has slipped, whose spring may not have reached it.
    dissipated : numpy.ndarray
        Work done on springs and dashpots of the soil, shape (n_candidates,) [J].
    state : State
        The moment at which the run ended.
    """

    time: np.ndarray
    up: np.ndarray
    down: np.ndarray
    toe_displacement: np.ndarray
    greatest_force: np.ndarray
    least_force: np.ndarray
    greatest_force_step: np.ndarray
    least_force_step: np.ndarray
    greatest_spring: np.ndarray
    dissipated: np.ndarray
    state: State


def simulate(
    mesh: Mesh,
    soil: SoilModel,
    head: Head,
    n_steps: int,
    *,
    start: State | None = None,
    gravity: float = 0.0,
    envelope: bool = False,
    peaks: bool = False,
    work: bool = False,
    single: bool = False,
) -> Motion:
    """March all candidates through time.

    Parameters
    ----------
    mesh : Mesh
        The pile's segments; its impedance may have a column a candidate.
    soil : SoilModel
        The soil of every candidate.
    head : callable
        What drives the upper end, see `Head`.
    n_steps : int
        Number of time steps [1].
    start : State or None
        Where to begin; None: at rest.
    gravity : float
        Acceleration of free fall that acts on the pile [m/s^2]; 0 where movements count from the pile at rest.
    envelope : bool
        Whether to keep the bounds of the force along the pile.
    peaks : bool
        Whether to keep the greatest static soil force at every node.
    work : bool
        Whether to add up the work done on the soil.
    single : bool
        Whether to march in single precision: half the memory to move, and waves that are off by about a millionth.

    Returns
    -------
    Motion
        Waves at the gauges, movement of the toe, and what was asked for beside it.

    Raises
    ------
    ValueError
        If there is less than one step, or pile and soil do not have the same number of candidates.

    Notes
    -----
    ``v = (2d − 2u − R)/(Z1 + Z2)`` at every node, with the arriving waves d and u and the soil resistance R; the
    waves sent on are ``d − Z1 v`` and ``u + Z2 v``. Exact for the pile (d'Alembert); the soil follows Smith (1960),
    ASCE J. Soil Mech. Found. Div. 86(SM4), by the trapezoidal rule.

    Examples
    --------
    A free toe sends the wave back with its sign turned, after the time of the way down and up:

    >>> mesh = Mesh(1e-4, np.linspace(0, 5, 6), np.full(5, 5e5), np.full(5, 0.01), np.full(5, 80.0))
    >>> free = SoilModel(*(np.zeros((5, 1)) for _ in range(3)))
    >>> pulse = lambda step, arriving: np.array([1.0 if step == 0 else 0.0])
    >>> simulate(mesh, free, pulse, 12).up[:, 0].round(12).tolist()
    [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -1.0, 0.0]
    """
    if n_steps < 1:
        raise ValueError("a run needs at least one step")
    state = at_rest(mesh, soil) if start is None else start
    step = Step(mesh, soil, state, gravity, work=work, single=single)
    up_out, down_out, toe_out = (np.empty((n_steps, soil.n_candidates)) for _ in range(3))
    bounds = _Bounds(state.spring.shape) if envelope else None
    springs = step.spring.copy() if peaks else None
    row = mesh.gauge_node - 1
    for index in range(n_steps):
        sent = head(index, step.arriving)
        if row < 0:
            up_out[index], down_out[index] = step.arriving, sent
        else:
            up_out[index], down_out[index] = step.sides.up[row], step.sides.down[row]  # both arrive at the gauges now
        step.advance(sent)
        toe_out[index] = step.p[-1]
        if bounds is not None:
            bounds.take(index, step.force_above())
        if springs is not None:
            np.maximum(springs, step.spring, out=springs)
            for apart in step.radiating:
                apart.add_slip()
    if springs is not None:
        for apart in step.radiating:
            springs[:, apart.columns] = apart.shown(springs[:, apart.columns])
    toe = step.toe_displacement(toe_out, state)
    return Motion(
        np.arange(n_steps) * mesh.time_step,
        up_out,
        down_out,
        toe,
        bounds.greatest if bounds else NOTHING,
        bounds.least if bounds else NOTHING,
        bounds.greatest_step if bounds else NOTHING,
        bounds.least_step if bounds else NOTHING,
        NOTHING if springs is None else step.static_force(np.minimum(springs, step.upper)),
        step.energy if work else NOTHING,
        step.state(toe[-1]),
    )


class _Bounds:
    """Greatest and least force at every node so far, and when."""

    def __init__(self, shape: tuple[int, int]):
        self.greatest, self.least = np.full(shape, -np.inf), np.full(shape, np.inf)
        self.greatest_step, self.least_step = (np.zeros(shape, dtype=np.int32) for _ in range(2))

    def take(self, index: int, force: np.ndarray) -> None:
        higher, lower = force > self.greatest, force < self.least
        np.copyto(self.greatest, force, where=higher)
        np.copyto(self.least, force, where=lower)
        self.greatest_step[higher] = index
        self.least_step[lower] = index


def impose_down_wave(down: np.ndarray) -> Head:
    """Drive the upper end with a downward wave; whatever comes up passes through.

    Parameters
    ----------
    down : numpy.ndarray
        Downward wave, shape (n_steps,) or (n_steps, candidates) [N], compression positive.

    Returns
    -------
    callable
        Takes a step and the upward wave that arrives there [N], shape (candidates,); gives the downward wave [N].

    Raises
    ------
    ValueError
        Where a step beyond the trace is asked for.

    Notes
    -----
    ``down`` as it is given; exact for a one-dimensional wave.
    """
    row = _rows(down)
    return lambda step, arriving: row(step)


def impose_velocity(velocity: np.ndarray, impedance: float) -> Head:
    """Drive the upper end with a velocity.

    Parameters
    ----------
    velocity : numpy.ndarray
        Velocity v, shape (n_steps,) or (n_steps, candidates) [m/s], down positive.
    impedance : float
        Impedance Z of the upper end [N s/m].

    Returns
    -------
    callable
        Takes a step and the upward wave that arrives there [N], shape (candidates,); gives the downward wave [N].

    Raises
    ------
    ValueError
        Where a step beyond the trace is asked for.

    Notes
    -----
    ``down = up + Z v``; exact for a one-dimensional wave.
    """
    row = _rows(impedance * np.asarray(velocity, dtype=float))
    return lambda step, arriving: row(step) + arriving


def impose_force(force: np.ndarray) -> Head:
    """Drive the upper end with a force.

    Parameters
    ----------
    force : numpy.ndarray
        Force F, shape (n_steps,) or (n_steps, candidates) [N], compression positive.

    Returns
    -------
    callable
        Takes a step and the upward wave that arrives there [N], shape (candidates,); gives the downward wave [N].

    Raises
    ------
    ValueError
        Where a step beyond the trace is asked for.

    Notes
    -----
    ``down = F − up``; exact for a one-dimensional wave.
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
