"""The batched wave equation: every candidate pile, soil or blow marches through time in the same few array lines.

Waves move one segment a step. At a node with impedance Z1 above and Z2 below, arriving waves ``d`` (down) and ``u`` (up) and
soil resistance R, equal velocity and equilibrium give

    v = (2d − 2u − R) / (Z1 + Z2)                                   (1)
    wave sent up:    d − Z1 v                                       (2)
    wave sent down:  u + Z2 v                                       (3)

R is a spring that yields and a dashpot, ``R = S + D v``. The spring is taken with the trapezoidal rule and then cut back to
its bounds, which keeps (1) exact in both states:

    S' = S + k·dt/2·(v_old + v_trial),  v_trial = (2d − 2u − S − k·dt/2·v_old) / (Z1 + Z2 + D + k·dt/2)    (4)
    v  = (2d − 2u − bounded S') / (Z1 + Z2 + D)                     (5)
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dyntest.wave_equation.mesh import Mesh
from dyntest.wave_equation.soil import SMALL, Soil

Head = Callable[[int, np.ndarray], np.ndarray]
"""The upper end: from the step and the upward wave that arrives, shape (n_candidates,) [N], the downward wave it sends [N]."""


@dataclass(frozen=True)
class State:
    """Waves, springs and movements at one moment, from which a run can go on.

    Parameters
    ----------
    down : numpy.ndarray
        Waves leaving downward from nodes 0 … n, shape (n_segments + 1, n_candidates) [N].
    up : numpy.ndarray
        Waves leaving upward from nodes 0 … n + 1, the last always 0, shape (n_segments + 2, n_candidates) [N].
    spring : numpy.ndarray
        Static soil force at the nodes 1 … n, shape (n_segments, n_candidates) [N].
    velocity, displacement : numpy.ndarray
        Of the nodes 1 … n, shape (n_segments, n_candidates) [m/s], [m].
    """

    down: np.ndarray
    up: np.ndarray
    spring: np.ndarray
    velocity: np.ndarray
    displacement: np.ndarray


@dataclass(frozen=True)
class Motion:
    """What a run gives.

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
    greatest_force, least_force : numpy.ndarray or None
        Bounds over time of the force just above the nodes 1 … n, shape (n_segments, n_candidates) [N], compression positive.
    greatest_force_step, least_force_step : numpy.ndarray or None
        The steps at which they occur [1].
    dissipated : numpy.ndarray or None
        Work done on springs and dashpots of the soil, shape (n_candidates,) [J].
    state : State
        The moment at which the run ended.
    """

    time: np.ndarray
    up: np.ndarray
    down: np.ndarray
    toe_displacement: np.ndarray
    greatest_force: np.ndarray | None
    least_force: np.ndarray | None
    greatest_force_step: np.ndarray | None
    least_force_step: np.ndarray | None
    dissipated: np.ndarray | None
    state: State


def at_rest(mesh: Mesh, soil: Soil) -> State:
    """Give the state of a pile and soil without any stress.

    Parameters
    ----------
    mesh : Mesh
        The pile's segments.
    soil : Soil
        The soil, for its number of candidates and its toe gap.

    Returns
    -------
    State
        All zero, except for a toe spring that has a gap to close.
    """
    n, candidates = mesh.n_segments, soil.n_candidates
    spring = np.zeros((n, candidates))
    if soil.toe_gap is not None:
        spring[-1] = -soil.toe_gap * soil.limit[-1] / np.maximum(soil.quake[-1], SMALL)
    return State(
        np.zeros((n + 1, candidates)),
        np.zeros((n + 2, candidates)),
        spring,
        np.zeros((n, candidates)),
        np.zeros((n, candidates)),
    )


def simulate(
    mesh: Mesh,
    soil: Soil,
    head: Head,
    n_steps: int,
    *,
    start: State | None = None,
    gravity: float = 0.0,
    envelope: bool = False,
    work: bool = False,
) -> Motion:
    """March all candidates through time.

    Parameters
    ----------
    mesh : Mesh
        The pile's segments; its impedance may have a column a candidate.
    soil : Soil
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
    work : bool
        Whether to add up the work done on the soil.

    Returns
    -------
    Motion
        Waves at the gauges, movement of the toe, and what was asked for beside it.

    Examples
    --------
    A free toe sends the wave back with its sign turned, after the time of the way down and up:

    >>> mesh = Mesh(1e-4, np.linspace(0, 5, 6), np.full(5, 5e5), np.full(5, 0.01), np.full(5, 80.0))
    >>> free = Soil(*(np.zeros((5, 1)) for _ in range(3)))
    >>> pulse = lambda step, arriving: np.array([1.0 if step == 0 else 0.0])
    >>> simulate(mesh, free, pulse, 12).up[:, 0].round(12).tolist()
    [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -1.0, 0.0]
    """
    state = at_rest(mesh, soil) if start is None else start
    n, candidates = mesh.n_segments, soil.n_candidates
    step = _Step(mesh, soil, state, gravity)
    gauge = mesh.gauge_node
    up_out, down_out = np.empty((n_steps, candidates)), np.empty((n_steps, candidates))
    toe_out = np.empty((n_steps, candidates))
    bounds = _Bounds(n, candidates) if envelope else None
    energy = np.zeros(candidates) if work else None
    for index in range(n_steps):
        arriving = step.up[1]
        sent = head(index, arriving)
        if gauge == 0:
            up_out[index], down_out[index] = arriving, sent
        else:
            down_out[index] = step.down[gauge - 1]  # arrives at the gauges' node now, as does the wave from below
            up_out[index] = step.up[gauge + 1]
        step.advance(sent)
        toe_out[index] = (step.way[-1] - 0.5 * step.velocity[-1]) * mesh.time_step
        if bounds is not None:
            bounds.take(index, step.force_above())
        if energy is not None:
            energy += step.soil_power() * mesh.time_step
    return Motion(
        np.arange(n_steps) * mesh.time_step,
        up_out,
        down_out,
        toe_out,
        *((bounds.greatest, bounds.least, bounds.greatest_step, bounds.least_step) if envelope else (None,) * 4),
        energy,
        State(step.down, step.up, step.spring, step.velocity, step.displacement),
    )


class _Bounds:
    """Greatest and least force at every node so far, and when."""

    def __init__(self, n: int, candidates: int):
        self.greatest = np.full((n, candidates), -np.inf)
        self.least = np.full((n, candidates), np.inf)
        self.greatest_step = np.zeros((n, candidates), dtype=np.int32)
        self.least_step = np.zeros((n, candidates), dtype=np.int32)

    def take(self, index: int, force: np.ndarray) -> None:
        higher, lower = force > self.greatest, force < self.least
        np.copyto(self.greatest, force, where=higher)
        np.copyto(self.least, force, where=lower)
        self.greatest_step[higher] = index
        self.least_step[lower] = index


class _Step:
    """The arrays of one run and the lines that take them a step further.

    Written with arrays made once and filled in place, since a fresh one a line would cost more than the arithmetic.
    """

    def __init__(self, mesh: Mesh, soil: Soil, state: State, gravity: float):
        shape = state.spring.shape
        self.soil, self.dt = soil, mesh.time_step
        self.down, self.up = state.down.copy(), state.up.copy()
        self.arrived_down, self.arrived_up = np.zeros_like(self.down), np.zeros_like(self.up)
        self.spring, self.velocity = state.spring.copy(), state.velocity.copy()
        self.way = state.displacement / self.dt + 0.5 * self.velocity  # sum of velocities; see `displacement`
        z = np.asarray(mesh.impedance, dtype=float)
        self.z_above = z[:, None] if z.ndim == 1 else z
        self.z_below = np.vstack([self.z_above[1:], np.zeros_like(self.z_above[:1])])
        unloading = soil.quake if soil.unloading_quake is None else soil.unloading_quake
        self.half_stiffness = 0.5 * self.dt * soil.limit / np.maximum(unloading, SMALL)
        self.lower = -(soil.limit if soil.upward_limit is None else soil.upward_limit)
        self.lower[-1] = 0.0
        self.inertia = None if soil.plug_mass is None else soil.plug_mass / self.dt
        self.resistance = np.broadcast_to(self.z_above + self.z_below + soil.damping, shape).copy()
        if self.inertia is not None:
            self.resistance[-1] += self.inertia
        self.inverse_trial = 1.0 / (self.resistance + self.half_stiffness)
        self.inverse = 1.0 / self.resistance
        self.weight = gravity * mesh.mass[:, None] if gravity else None
        self.fading = (
            None if soil.radiation is None else np.exp(-2.0 * self.half_stiffness / np.maximum(soil.radiation, SMALL))
        )
        self.bound = soil.hyperbolic or soil.unloading_quake is not None
        self.first_contact = np.zeros(shape)
        if soil.toe_gap is not None:
            self.first_contact[-1] = soil.toe_gap
        self.push, self.work, self.cap = np.empty(shape), np.empty(shape), np.empty(shape)

    @property
    def displacement(self) -> np.ndarray:
        """Movement by the trapezoidal rule: the sum of all velocities less half the last."""
        return (self.way - 0.5 * self.velocity) * self.dt

    def advance(self, sent: np.ndarray) -> None:
        """Take waves, springs and movements one step further; `sent` leaves node 0 downward."""
        spring, velocity, push, work = self.spring, self.velocity, self.push, self.work
        arriving_down, arriving_up = self.down[:-1], self.up[2:]
        np.subtract(arriving_down, arriving_up, out=push)
        push += push
        if self.weight is not None:
            push += self.weight
        if self.inertia is not None:
            push[-1] += self.inertia * velocity[-1]
        if self.soil.smith_damping is not None:
            self._take_smith_damping()
        if self.fading is not None:
            spring *= self.fading
        np.multiply(self.half_stiffness, velocity, out=work)
        spring += work
        toe_before = spring[-1].copy()
        np.subtract(push, spring, out=work)
        work *= self.inverse_trial
        upper = self._first_loading(work) if self.bound else self.soil.limit
        work *= self.half_stiffness
        spring += work  # (4)
        np.minimum(spring, upper, out=spring)
        np.maximum(spring, self.lower, out=spring)
        np.subtract(push, spring, out=velocity)
        velocity *= self.inverse  # (5)
        # A toe that lifted off meets the soil again where it left it: its spring remembers, although it pulls at nothing.
        toe_before += self.half_stiffness[-1] * velocity[-1]
        np.minimum(spring[-1], toe_before, out=spring[-1])
        self.way += velocity
        new_down, new_up = self.arrived_down, self.arrived_up
        np.multiply(self.z_above, velocity, out=work)
        np.subtract(arriving_down, work, out=new_up[1:-1])  # (2)
        np.multiply(self.z_below, velocity, out=work)
        np.add(arriving_up, work, out=new_down[1:])  # (3)
        new_down[0] = sent
        self.down, self.arrived_down = new_down, self.down
        self.up, self.arrived_up = new_up, self.up

    def _take_smith_damping(self) -> None:
        """Let the dashpots follow the static force of the step before."""
        damping = self.soil.smith_damping * np.maximum(self.spring, self.lower).__abs__()
        resistance = self.resistance + damping
        self.inverse_trial = 1.0 / (resistance + self.half_stiffness)
        self.inverse = 1.0 / resistance

    def _first_loading(self, velocity: np.ndarray) -> np.ndarray:
        """Give the curve of first loading at the movement that this step will reach."""
        way, cap, soil = self.push * 0.0, self.cap, self.soil
        np.add(self.way, velocity, out=way)
        way *= self.dt
        way -= self.first_contact
        np.maximum(way, 0.0, out=way)
        if soil.hyperbolic:
            np.divide(way, way + np.maximum(soil.quake, SMALL), out=cap)
            cap *= soil.limit
            return cap
        np.multiply(way, soil.limit / np.maximum(soil.quake, SMALL), out=cap)
        return np.minimum(cap, soil.limit, out=cap)

    def force_above(self) -> np.ndarray:
        """Force just above the nodes 1 … n at this step [N]."""
        return self.arrived_down[:-1] + self.up[1:-1]

    def soil_power(self) -> np.ndarray:
        """Power that leaves the pile into soil and toe at this step [W]."""
        force = self.push - (self.z_above + self.z_below) * self.velocity
        return (force * self.velocity).sum(axis=0)
