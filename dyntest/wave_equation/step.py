"""One step of every node and every candidate, in arrays that are made once and filled again and again.

With half the static soil force ``s = S/2`` and the velocity as the wave ``y = Z1 v``, equations (1) to (5) of the
simulator need only

    p = d − u                                                               (6)
    s = s + h y_old,  s = s + a (p − s),  then cut back to its bounds       (7)
    y = g (p − s)                                                           (8)
    wave sent up:  d − y;  wave sent down:  u + (Z2/Z1) y                   (9)

with ``r = (Z1 + Z2 + D) / (2 Z1)``, ``g = 1/r``, ``h = k·dt / (4 Z1)`` and ``a = h / (r + h)``. Memory, not
arithmetic, sets the pace, so the waves are written back in place: what a node sends up stands where the wave from above
stood, and the two arrays change places every step.

A plug of mass m at the toe is one more piece of pile, half a step long, of impedance ``2 m/dt`` and with a free end: it
sends back what came a step before with its sign turned. That keeps energy and momentum whole.
"""

import numpy as np

from dyntest.wave_equation.first_loading import FirstLoading
from dyntest.wave_equation.mesh import Mesh
from dyntest.wave_equation.soil import SMALL, Soil, lower_bound, unloading_stiffness
from dyntest.wave_equation.splice import Joint
from dyntest.wave_equation.state import State

add, subtract, multiply, minimum, maximum = np.add, np.subtract, np.multiply, np.minimum, np.maximum

ALIGNMENT = 64
"""Bytes; the processor reads arrays that begin on such a boundary a tenth faster (measured)."""


class _Sides:
    """Names for the parts of the two arrays of waves, as they stand in every other step."""

    def __init__(self, from_above: np.ndarray, from_below: np.ndarray):
        self.down, self.up = from_above[:-1], from_below[1:]  # arrive at the nodes 1 … n
        self.head, self.beyond = from_below[0], from_above[-1]  # arrives at node 0; comes from below the toe next
        self.through, self.into_plug = from_below[1:-1], from_below[-1]  # what is sent down, once it is


class Step:
    """The arrays of one run and the lines that take them a step further.

    Parameters
    ----------
    mesh : Mesh
        The pile's segments.
    soil : Soil
        The soil of every candidate.
    state : State
        Where the run begins.
    gravity : float
        Acceleration of free fall that acts on the pile [m/s^2].
    work : bool
        Whether to add up the work done on the soil, in `energy`.
    single : bool
        Whether to march in single precision.
    """

    def __init__(
        self, mesh: Mesh, soil: Soil, state: State, gravity: float, *, work: bool = False, single: bool = False
    ):
        kind = np.float32 if single else np.float64

        def aligned(values: np.ndarray) -> np.ndarray:
            return _aligned(values, kind)

        shape = n, candidates = state.spring.shape
        z_above = mesh.impedance[:, None] if np.ndim(mesh.impedance) == 1 else np.asarray(mesh.impedance)
        if z_above.shape[1] not in (1, candidates):
            raise ValueError(f"the pile has {z_above.shape[1]} candidates, the soil {candidates}")
        plug = np.zeros(candidates) if soil.plug_mass is None else 2.0 * soil.plug_mass / mesh.time_step
        z_below = np.vstack([np.broadcast_to(z_above[1:], (n - 1, candidates)), plug])
        self.dt, self.z_above = mesh.time_step, z_above
        first = min([_first_row_of_soil(soil), *(node - 1 for node, _ in mesh.splices)])
        self.rows = rows = slice(first, n)  # above these, no soil: waves only

        undamped = (z_above + z_below) / (2.0 * z_above)
        self.r = aligned((undamped + soil.damping / (2.0 * z_above))[rows])
        self.h = aligned((unloading_stiffness(soil) * self.dt / (4.0 * z_above))[rows])
        self.a, self.x = aligned(self.h / (self.r + self.h)), aligned(np.zeros_like(self.r))
        self.g = aligned(np.broadcast_to(1.0 / undamped, shape))
        np.divide(1.0, self.r, out=self.g[rows])
        self.upper, self.lower = aligned(soil.limit[rows] / 2.0), aligned(lower_bound(soil)[rows] / 2.0)
        uniform = (z_above[:-1] == z_below[:-1]).all()
        self.ratio = None if uniform else aligned(np.broadcast_to(z_below / z_above, shape)[:-1])
        self.plug_ratio = None if soil.plug_mass is None else z_below[-1] / z_above[-1]
        self.weight = gravity * mesh.mass[:, None] / 2.0 if gravity else None
        self.smith = None
        if soil.smith_damping is not None:
            self.smith = aligned(np.broadcast_to(soil.smith_damping / z_above, shape)[rows])
            self.r_viscous, self.r_and_h = self.r.copy(), np.empty_like(self.r)
        self.fading = None
        if soil.radiation is not None:
            fade = np.exp(-unloading_stiffness(soil) * self.dt / np.maximum(soil.radiation, SMALL))
            self.fading = aligned(np.broadcast_to(fade, shape)[rows])
        self.energy = np.zeros(candidates) if work else None
        self.damped = np.broadcast_to(undamped, shape)[rows] if work else None

        one, other = aligned(state.down), aligned(state.up[1:])
        self.sides, self.swapped = _Sides(one, other), _Sides(other, one)
        self.spring = aligned(state.spring[rows] / 2.0)
        self.p = aligned(state.velocity * z_above)  # p of (6) becomes y of (8)
        self.soil_p, self.toe, self.toe_rise = self.p[rows], self.spring[-1], self.x[-1]
        self.toe_before, self.above_toe = np.empty(candidates, dtype=kind), self.p[:-1]
        self.sent_on = self.above_toe if uniform else np.empty_like(self.above_toe)
        multiply(self.h, self.soil_p, self.x)
        self.first_loading = None
        if soil.hyperbolic or soil.unloading_quake is not None:
            self.first_loading = FirstLoading(soil, rows, self.dt, z_above, state, kind)
        self.joints = [
            Joint(node - 1, node - 1 - first, slack, z_above[node - 1], self.dt, state.opening[index])
            for index, (node, slack) in enumerate(mesh.splices)
        ]

    def advance(self, sent: np.ndarray) -> None:
        """Take waves, springs and movements one step further.

        Parameters
        ----------
        sent : numpy.ndarray
            Wave that leaves node 0 downward, shape (n_candidates,) [N].
        """
        sides, p, soil_p, s, x, toe = self.sides, self.p, self.soil_p, self.spring, self.x, self.toe
        down, up = sides.down, sides.up
        if self.smith is not None:
            self._follow_static_force()
        subtract(down, up, p)  # (6)
        if self.weight is not None:
            add(p, self.weight, p)
        add(s, x, s)
        if self.fading is not None:
            multiply(s[:-1], self.fading[:-1], s[:-1])
            multiply(toe, self.fading[-1], toe, where=toe > 0.0)  # a toe that lifted off presses on nothing
        for joint in self.joints:
            joint.decide(self)
        self.toe_before[:] = toe
        subtract(soil_p, s, x)
        multiply(x, self.a, x)
        add(s, x, s)  # (7)
        minimum(s, self.upper if self.first_loading is None else self.first_loading.force(x), out=s)
        maximum(s, self.lower, out=s)
        subtract(soil_p, s, soil_p)
        multiply(p, self.g, p)  # (8)
        if self.energy is not None:
            self._add_work(soil_p)
        if self.first_loading is not None:
            self.first_loading.move(soil_p, s)
        multiply(self.h, soil_p, x)
        # A toe that lifted off meets the soil again where it left it: its spring remembers, though it pulls at nothing.
        add(self.toe_before, self.toe_rise, self.toe_before)
        minimum(toe, self.toe_before, out=toe)
        for joint in self.joints:
            joint.keep(down)
        subtract(down, p, down)  # (9)
        if self.ratio is not None:
            multiply(self.ratio, self.above_toe, self.sent_on)
        add(sides.through, self.sent_on, sides.through)  # (9)
        if self.plug_ratio is not None:
            sides.into_plug[:] += self.plug_ratio * p[-1]
            sides.beyond[:] = -sides.into_plug
        for joint in self.joints:
            joint.part(down, p)
        sides.head[:] = sent
        self.sides, self.swapped = self.swapped, sides

    def _follow_static_force(self) -> None:
        """Let Smith's dashpots follow the static force that the last velocity would lead to."""
        r, r_and_h = self.r, self.r_and_h
        add(self.spring, self.x, r)
        add(r, self.x, r)
        minimum(r, self.upper, out=r)
        maximum(r, self.lower, out=r)
        np.absolute(r, out=r)
        multiply(r, self.smith, r)
        add(r, self.r_viscous, r)
        add(r, self.h, r_and_h)
        np.divide(self.h, r_and_h, self.a)
        np.divide(1.0, r, self.g[self.rows])

    def _add_work(self, y: np.ndarray) -> None:
        """Add what spring and dashpot, ``R = S + D v``, take up in this step."""
        half = (self.r - self.damped) * y + self.spring
        self.energy += (half * y * (2.0 * self.dt / self.z_above[self.rows])).sum(axis=0)

    @property
    def arriving(self) -> np.ndarray:
        """Wave that arrives at node 0 from below, shape (n_candidates,) [N]."""
        return self.sides.head

    def toe_displacement(self, y: np.ndarray, start: State) -> np.ndarray:
        """Give the movement of the toe by the trapezoidal rule.

        Parameters
        ----------
        y : numpy.ndarray
            The toe's velocity times its impedance after each step, shape (n_steps, n_candidates) [N].
        start : State
            Where the run began.

        Returns
        -------
        numpy.ndarray
            Movement at the steps, shape (n_steps, n_candidates) [m].
        """
        velocity = y / self.z_above[-1]
        way = start.toe_displacement / self.dt + 0.5 * start.velocity[-1] + np.cumsum(velocity, axis=0)
        return (way - 0.5 * velocity) * self.dt

    def force_above(self) -> np.ndarray:
        """Give the force just above the nodes 1 … n at the step just made.

        Returns
        -------
        numpy.ndarray
            Sum of both waves, shape (n_segments, n_candidates) [N].
        """
        force = 2.0 * self.swapped.down + self.p  # d = sent up + y
        for joint in self.joints:
            force[joint.row] = joint.force
        return force

    def static_force(self, half_force: np.ndarray) -> np.ndarray:
        """Give the static soil force at every node from half of it where there is soil.

        Parameters
        ----------
        half_force : numpy.ndarray
            As in `spring`, shape (n_rows, n_candidates) [N].

        Returns
        -------
        numpy.ndarray
            Static soil force at the nodes 1 … n, shape (n_segments, n_candidates) [N].
        """
        force = np.zeros(self.p.shape)
        force[self.rows] = 2.0 * half_force
        return force

    def state(self, toe_displacement: np.ndarray) -> State:
        """Give the moment that has been reached.

        Parameters
        ----------
        toe_displacement : numpy.ndarray
            Movement of the toe, shape (n_candidates,) [m].

        Returns
        -------
        State
            Copies, from which another run can go on.
        """
        shape = self.p.shape
        nothing = np.zeros((1, shape[1]))
        return State(
            down=np.vstack([self.sides.down, nothing]),
            up=np.vstack([nothing, self.sides.head, self.sides.up]),
            spring=self.static_force(self.spring),
            velocity=self.p / self.z_above,
            toe_displacement=toe_displacement,
            loading=None if self.first_loading is None else self.first_loading.loading(shape),
            opening=np.array([joint.opening for joint in self.joints]).reshape(len(self.joints), shape[1]),
        )


def _first_row_of_soil(soil: Soil) -> int:
    holds = (soil.limit > 0.0) | (soil.damping > 0.0)
    rows = np.flatnonzero(np.broadcast_to(holds, soil.limit.shape).any(axis=1))
    return int(rows[0]) if len(rows) else len(soil.limit) - 1


def _aligned(values: np.ndarray, kind: type) -> np.ndarray:
    """Give a copy of a kind of float that begins on a boundary of `ALIGNMENT` bytes."""
    values = np.asarray(values, dtype=kind)
    raw = np.empty(values.nbytes + ALIGNMENT, dtype=np.uint8)
    start = -raw.ctypes.data % ALIGNMENT
    array = raw[start : start + values.nbytes].view(kind).reshape(values.shape)
    array[...] = values
    return array
