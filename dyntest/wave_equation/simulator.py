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

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from dyntest.wave_equation.hammer_model import HammerHead
from dyntest.wave_equation.soil import (
    SMALL,
    Mesh,
    SoilModel,
    State,
    at_rest,
    columns_with,
    first_row_of_soil,
    lower_bound,
    unloading_stiffness,
)
from dyntest.wave_equation.step import (
    BEND,
    CARRIED,
    CURVE,
    FACTOR,
    FOLLOWS_FORCE,
    FOLLOWS_POWER,
    HAMMER,
    HELMET_VELOCITY,
    LINEAR,
    LOWER,
    MOVING,
    NODES,
    PER_FORCE,
    PER_Y,
    POWER,
    QUAKE,
    RADIATES,
    RAM_VELOCITY,
    RATIO,
    SCALE,
    SHOWN_SLIP,
    SOIL,
    SOIL_Y,
    SPRING,
    UNDAMPED,
    UPPER,
    VISCOUS,
    WAY,
    WEIGHT,
    G,
    H,
    R,
    machine_code,
)

BLOCK_NODES = 2048
"""Nodes of all candidates that march together [1]: what they hold stays in the processor's own memory (measured)."""


@dataclass(frozen=True)
class TracedHead:
    """Drives the upper end with a trace: the downward wave is the trace and a share of what arrives there.

    Parameters
    ----------
    trace : numpy.ndarray
        The trace, shape (n_steps, 1) or (n_steps, n_candidates) [N].
    reflected : float
        Share of the upward wave that is sent down again [1]: 0, 1 or −1.
    """

    trace: np.ndarray
    reflected: float

    def part(self, columns: slice, n_steps: int) -> tuple[np.ndarray, float]:
        """Give the trace of some candidates, a column each [N], and the share [1]."""
        trace = self.trace[:n_steps]
        one = trace.shape[1] == 1
        trace = np.repeat(trace, columns.stop - columns.start, axis=1) if one else trace[:, columns]
        return np.ascontiguousarray(trace, dtype=float), self.reflected


Head: TypeAlias = TracedHead | HammerHead
"""What drives the upper end."""

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
    ram_velocity, helmet_velocity : numpy.ndarray
        Of a hammer that drives the upper end, when the run ended, shape (n_candidates,) [m/s], downward positive.
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
    ram_velocity: np.ndarray
    helmet_velocity: np.ndarray


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
) -> Motion:
    """March all candidates through time.

    Parameters
    ----------
    mesh : Mesh
        The pile's segments; its impedance may have a column a candidate.
    soil : SoilModel
        The soil of every candidate.
    head : TracedHead or HammerHead
        What drives the upper end.
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

    Returns
    -------
    Motion
        Waves at the gauges, movement of the toe, and what was asked for beside it.

    Raises
    ------
    ValueError
        If there is less than one step, or fewer in the trace; or pile and soil do not have as many candidates.

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
    >>> simulate(mesh, free, impose_down_wave(np.eye(1, 12)[0]), 12).up[:, 0].round(12).tolist()
    [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -1.0, 0.0]
    """
    if n_steps < 1:
        raise ValueError("a run needs at least one step")
    if isinstance(head, TracedHead) and len(head.trace) < n_steps:
        length = len(head.trace)
        raise ValueError(f"the imposed trace has {length} steps, and step {length} was asked for")
    begin = at_rest(mesh, soil) if start is None else start
    run, (n, candidates) = _Run(mesh, soil, begin, gravity), begin.spring.shape
    hammer = head.before_the_blow() if isinstance(head, HammerHead) else np.empty((len(HAMMER), 0))
    seen, bounds = np.empty((3, n_steps, candidates)), np.empty((2, n, candidates) if envelope else (2, 0, 0))
    bound_steps, springs = np.empty(bounds.shape, np.int32), np.zeros((n, candidates) if peaks else (0, 0))
    energy = np.zeros(candidates if work else 0)
    for columns in run.blocks():
        count, struck = columns.stop - columns.start, np.ascontiguousarray(hammer[:, columns])
        trace, reflected = head.part(columns, n_steps) if isinstance(head, TracedHead) else (NOTHING, 0.0)
        what, done = np.empty((3, n_steps, count)), np.zeros(count if work else 0)
        bound = np.repeat([[-np.inf], [np.inf]], bounds.shape[1] * count, axis=1)
        when, peak = np.zeros(bound.shape, np.int32), run.half_springs(columns, peaks)
        run.march(columns, trace, reflected, struck, mesh.gauge_node, what, bound, when, peak, done)
        seen[..., columns], hammer[:, columns] = what, struck
        if envelope:
            bounds[..., columns], bound_steps[..., columns] = (part.reshape(2, n, count) for part in (bound, when))
        if peaks:
            springs[run.rows, columns] = run.shown(columns, peak)
        if work:
            energy[columns] = done
    velocity = seen[2] / run.impedance[-1]
    way = begin.toe_displacement / mesh.time_step + 0.5 * begin.velocity[-1] + np.cumsum(velocity, axis=0)
    moved = (way - 0.5 * velocity) * mesh.time_step  # by the trapezoidal rule
    return Motion(
        time=np.arange(n_steps) * mesh.time_step,
        up=seen[0],
        down=seen[1],
        toe_displacement=moved,
        greatest_force=bounds[0],
        least_force=bounds[1],
        greatest_force_step=bound_steps[0],
        least_force_step=bound_steps[1],
        greatest_spring=springs,
        dissipated=energy,
        state=run.state(moved[-1]),
        ram_velocity=hammer[RAM_VELOCITY],
        helmet_velocity=hammer[HELMET_VELOCITY],
    )


class _Run:
    """A run's numbers at every node of every candidate, as `march` takes them, and what it has reached."""

    def __init__(self, mesh: Mesh, soil: SoilModel, start: State, gravity: float):
        self.shape = n, candidates = start.spring.shape
        self.impedance = z = mesh.impedance[:, None] if np.ndim(mesh.impedance) == 1 else np.asarray(mesh.impedance)
        if z.shape[1] not in (1, candidates):
            raise ValueError(f"the pile has {z.shape[1]} candidates, the soil {candidates}")
        self.rows = rows = slice(first_row_of_soil(soil), n)  # above these, no soil: waves only
        radiates = columns_with(soil.radiation, candidates)
        powered = columns_with(soil.rate_damping, candidates)
        smith = columns_with(soil.smith_damping, candidates)
        self.law = np.select([radiates, powered, smith], [RADIATES, FOLLOWS_POWER, FOLLOWS_FORCE], VISCOUS)
        self.curved = (soil.hyperbolic | np.full(candidates, soil.unloading_quake is not None)) & ~radiates
        stiffness = unloading_stiffness(soil)[rows]
        self.nodes, self.soil = self._fixed(mesh, soil, stiffness, gravity)
        self.waves = np.empty((2, n + 1, candidates))
        self.waves[0, :-1], self.waves[0, -1], self.waves[1] = start.down[:-1], 0.0, start.up[1:]
        self.y = start.velocity * z
        self.moving = np.zeros((len(MOVING), n - rows.start, candidates))
        self.moving[SPRING] = start.spring[rows] / 2.0
        self.curve = np.empty((len(CURVE), 0, candidates))
        if self.curved.any():
            quake = np.maximum(soil.quake, SMALL)[rows]
            self.curve = self._curve(soil, quake, stiffness)
            begun = start.loading[rows] if start.loading is not None else self._begun(soil, quake, stiffness)
            self.moving[WAY] = begun + 0.5 * self.soil[PER_Y] * self.y[rows]
        soil_velocity = start.velocity if start.soil_velocity is None else start.soil_velocity
        self.moving[SOIL_Y] = soil_velocity[rows] * z[rows]
        self.gap = np.zeros(candidates) if start.toe_gap is None else start.toe_gap + np.zeros(candidates)

    def _fixed(
        self, mesh: Mesh, soil: SoilModel, stiffness: np.ndarray, gravity: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """Give the rows `NODES` and `SOIL` of a run.

        Units: stiffness [N/m]; gravity [m/s^2].
        """
        n, rows, z = self.shape[0], self.rows, self.impedance
        nodes, of = np.empty((len(NODES), *self.shape)), np.empty((len(SOIL), n - rows.start, self.shape[1]))
        nodes[RATIO, :-1] = z[1:] / z[:-1]
        nodes[RATIO, -1] = 0.0 if soil.plug_mass is None else 2.0 * soil.plug_mass / mesh.time_step / z[-1]
        undamped = (1.0 + nodes[RATIO]) / 2.0
        nodes[WEIGHT], nodes[G] = gravity * mesh.mass[:, None] / 2.0, 1.0 / undamped
        z = z[rows]

        def at(values: np.ndarray | None) -> np.ndarray | float:
            return 0.0 if values is None else values[rows]

        of[PER_Y], of[UNDAMPED] = mesh.time_step / z, undamped[rows]
        of[R] = of[UNDAMPED] + at(soil.damping) / (2.0 * z)
        of[H] = stiffness * of[PER_Y] / 4.0
        of[UPPER], of[LOWER] = soil.limit[rows] / 2.0, lower_bound(soil)[rows] / 2.0
        of[FACTOR] = np.where(self.law == FOLLOWS_FORCE, at(soil.smith_damping) / z, at(soil.rate_damping))
        of[POWER], of[LINEAR] = soil.rate_power, np.log(of[R] * z)
        of[CARRIED] = of[H] + at(soil.radiation) / (2.0 * z)
        return nodes, of

    def _begun(self, soil: SoilModel, quake: np.ndarray, stiffness: np.ndarray) -> np.ndarray:
        """Give the way along the curve that belongs to the springs' force; below 0 what is left until it begins.

        Units: quake [m]; stiffness [N/m]; returns [m].
        """
        half_force, limit = self.moving[SPRING], self.soil[UPPER]
        short = 2.0 * half_force / np.maximum(stiffness, SMALL)
        force = np.clip(half_force, 0.0, limit * (1.0 - SMALL))
        left = np.where(soil.hyperbolic, limit - force, limit)
        return np.where(half_force < 0.0, short, quake * force / np.maximum(left, SMALL))

    def _curve(self, soil: SoilModel, quake: np.ndarray, stiffness: np.ndarray) -> np.ndarray:
        """Give the rows `CURVE` of a run, which are straight with a bend of 0 and a quake of 1.

        Units: quake [m]; stiffness [N/m].
        """
        rows, limit = np.empty((len(CURVE), *stiffness.shape)), self.soil[UPPER]
        rows[BEND] = soil.hyperbolic
        rows[QUAKE] = np.where(soil.hyperbolic, quake, 1.0)
        rows[SCALE] = np.where(soil.hyperbolic, limit, limit / quake)
        rows[PER_FORCE] = np.where(stiffness > 0.0, 2.0 / np.maximum(stiffness, SMALL), 0.0)
        return rows

    def blocks(self) -> list[slice]:
        """Give the candidates of each block: neighbours of one kind of soil, no more than `BLOCK_NODES` allows."""
        kind, most = 2 * self.law + self.curved, max(BLOCK_NODES // self.shape[0], 1)
        edges = [0, *(np.flatnonzero(np.diff(kind)) + 1), len(kind)]
        return [
            slice(begin, min(begin + most, last))
            for first, last in pairwise(edges)
            for begin in range(first, last, most)
        ]

    def march(self, columns: slice, *driven_and_seen) -> None:
        """Take some candidates through the run; the rest is passed on to `march`, from the trace on."""
        count, whole = columns.stop - columns.start, (self.waves, self.y[None], self.moving, self.gap[None, None])
        curve = self.curve if self.curved[columns.start] else self.curve[:, :0]
        fixed = (_flat(values, columns) for values in (self.nodes, self.soil, curve))
        waves, y, moving, gap = (_flat(values, columns) for values in whole)
        machine_code()(int(self.law[columns.start]), *fixed, waves, y[0], moving, gap[0], *driven_and_seen)
        for values, part in zip(whole, (waves, y, moving, gap), strict=True):
            values[..., columns] = part.reshape(*values.shape[:-1], count)

    def half_springs(self, columns: slice, wanted: bool) -> np.ndarray:
        """Give the rows that `march` keeps of springs [N] and slip [m], empty where not wanted."""
        springs = _flat(self.moving[SPRING : SPRING + 1], columns)[0] if wanted else np.empty(0)
        return np.stack([springs, np.zeros_like(springs)])

    def shown(self, columns: slice, peak: np.ndarray) -> np.ndarray:
        """Give the greatest forces of springs, raised to the limit where soil that radiates has slipped.

        Units: returns [N].
        """
        limit = _flat(self.soil[UPPER : UPPER + 1], columns)[0]
        shown = peak[0] + np.maximum(limit - peak[0], 0.0) * np.minimum(peak[1] / SHOWN_SLIP, 1.0)
        return 2.0 * np.minimum(shown, limit).reshape(-1, columns.stop - columns.start)

    def state(self, toe_displacement: np.ndarray) -> State:
        """Give the moment that has been reached.

        Units: toe_displacement [m].
        """
        shape, rows = self.shape, self.rows
        spring, loading, radiates = np.zeros(shape), np.zeros(shape), self.law == RADIATES
        velocity = self.y / self.impedance
        soil_velocity = velocity.copy()
        spring[rows] = 2.0 * self.moving[SPRING]
        loading[rows] = np.where(self.curved, self.moving[WAY] - 0.5 * self.soil[PER_Y] * self.y[rows], 0.0)
        soil_velocity[rows] = np.where(radiates, self.moving[SOIL_Y] / self.impedance[rows], velocity[rows])
        nothing = np.zeros((1, shape[1]))
        return State(
            down=np.vstack([self.waves[0, :-1], nothing]),
            up=np.vstack([nothing, self.waves[1]]),
            spring=spring,
            velocity=velocity,
            toe_displacement=toe_displacement,
            loading=loading if self.curved.any() else None,
            soil_velocity=soil_velocity if radiates.any() else None,
            toe_gap=np.where(radiates, self.gap, 0.0) if radiates.any() else None,
        )


def _flat(values: np.ndarray, columns: slice) -> np.ndarray:
    """Give rows of the values of some candidates, node after node, one of them per row."""
    return np.ascontiguousarray(values[..., columns]).reshape(len(values), -1)


def impose_down_wave(down: np.ndarray) -> Head:
    """Drive the upper end with a downward wave; whatever comes up passes through.

    Parameters
    ----------
    down : numpy.ndarray
        Downward wave, shape (n_steps,) or (n_steps, candidates) [N], compression positive.

    Returns
    -------
    TracedHead
        What drives the upper end in `simulate`, which raises ValueError for more steps than the trace has.

    Notes
    -----
    ``down`` as it is given; exact for a one-dimensional wave.
    """
    return TracedHead(_columns(down), 0.0)


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
    TracedHead
        What drives the upper end in `simulate`, which raises ValueError for more steps than the trace has.

    Notes
    -----
    ``down = up + Z v``; exact for a one-dimensional wave.
    """
    return TracedHead(impedance * _columns(velocity), 1.0)


def impose_force(force: np.ndarray) -> Head:
    """Drive the upper end with a force.

    Parameters
    ----------
    force : numpy.ndarray
        Force F, shape (n_steps,) or (n_steps, candidates) [N], compression positive.

    Returns
    -------
    TracedHead
        What drives the upper end in `simulate`, which raises ValueError for more steps than the trace has.

    Notes
    -----
    ``down = F − up``; exact for a one-dimensional wave.
    """
    return TracedHead(_columns(force), -1.0)


def _columns(trace: np.ndarray) -> np.ndarray:
    """Give a trace with a column a candidate, or one for all."""
    trace = np.asarray(trace, dtype=float)
    return trace[:, None] if trace.ndim == 1 else trace
