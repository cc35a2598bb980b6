"""Where all candidates stand at one moment of a run.

The curve along which soil is loaded for the first time, where it is not the line along which it unloads.

Joints with slack: they carry compression at once, and tension only after they have opened by their slack.

One step of every node and every candidate, in arrays that are made once and filled again and again.

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

from dataclasses import dataclass, replace

import numpy as np

from dyntest.wave_equation.soil import SMALL, Mesh, SoilModel, lower_bound, unloading_stiffness


@dataclass(frozen=True)
class State:
    """Waves, springs and movements at one moment, from which a run can go on.

    Parameters
    ----------
    down : numpy.ndarray
        Waves leaving downward from nodes 0 … n, the last always 0, shape (n_segments + 1, n_candidates) [N].
    up : numpy.ndarray
        Waves leaving upward from nodes 0 … n + 1, the first always 0, the last out of a plug or 0, shape
        (n_segments + 2, n_candidates) [N].
    spring : numpy.ndarray
        Static soil force at the nodes 1 … n, shape (n_segments, n_candidates) [N]. Below 0 at the toe it presses on
        nothing and remembers the gap.
    velocity : numpy.ndarray
        Of the nodes 1 … n, shape (n_segments, n_candidates) [m/s].
    toe_displacement : numpy.ndarray
        Movement of the toe, shape (n_candidates,) [m].
    loading : numpy.ndarray or None
        Way of the nodes 1 … n along their curve of first loading, shape (n_segments, n_candidates) [m]; None: the curve
        begins anew, from the force that is in the spring.
    opening : numpy.ndarray or None
        How far each splice of the mesh is open, shape (n_splices, n_candidates) [m]; None: all closed.
    """

    down: np.ndarray
    up: np.ndarray
    spring: np.ndarray
    velocity: np.ndarray
    toe_displacement: np.ndarray
    loading: np.ndarray | None = None
    opening: np.ndarray | None = None

    def force(self) -> np.ndarray:
        """Give the force in every segment, right for a pile at rest.

        Units: returns [N].
        """
        return self.down[:-1] + self.up[1:-1]


def at_rest(mesh: Mesh, soil: SoilModel) -> State:
    """Give the state of a pile and soil without any stress."""
    n, candidates = mesh.n_segments, soil.n_candidates
    spring = np.zeros((n, candidates))
    if soil.toe_gap is not None:
        spring[-1] = -soil.toe_gap * unloading_stiffness(soil)[-1]
    return State(
        down=np.zeros((n + 1, candidates)),
        up=np.zeros((n + 2, candidates)),
        spring=spring,
        velocity=np.zeros((n, candidates)),
        toe_displacement=np.zeros(candidates),
    )


class FirstLoading:
    """Keeps how far each node has gone along its curve of first loading, and bounds its spring by the force there.

    The curve is the hyperbola ``limit · u / (u + quake)`` or the line ``limit · u / quake`` up to the limit. Soil
    that was unloaded is loaded again along its unloading line until it meets the curve at the movement it then has.

    Parameters
    ----------
    soil : SoilModel
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

    def __init__(self, soil: SoilModel, rows: slice, time_step: float, z_above: np.ndarray, state: State, kind: type):
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

        Units: trial_rise [N]; returns [N].
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

        Units: y, half_force [N].
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

        Units: returns [m].
        """
        way = np.zeros(shape)
        way[self.rows] = self.way - 0.5 * self.way_of_y * self.y
        if self.slip is not None:
            way[self.rows] += self.slip
        return way


def add_splices(mesh: Mesh, depths: tuple[float, ...], slacks: tuple[float | np.ndarray, ...]) -> Mesh:
    """Give the mesh with joints at the nodes nearest to some depths.

    Units: depths, slacks [m].

    Examples
    --------
    >>> mesh = Mesh(1e-4, np.linspace(0, 10, 11), np.ones(10), np.ones(10), np.ones(10))
    >>> add_splices(mesh, (4.1,), (0.002,)).splices
    ((4, 0.002),)
    """
    nodes = [int(np.abs(mesh.depth - depth).argmin()) for depth in depths]
    if len(nodes) != len(slacks):
        raise ValueError("every splice needs a depth and a slack")
    if any(not 0 < node < mesh.n_segments for node in nodes):
        raise ValueError("a splice falls on the upper end or the toe of the pile, where there is nothing to join")
    if len(set(nodes)) != len(nodes):
        raise ValueError("two splices fall on one node; cut the pile into more segments")
    if any(not np.all(np.asarray(slack) >= 0.0) for slack in slacks):
        raise ValueError("a splice needs a slack of 0 or more")
    return replace(mesh, splices=tuple(sorted(zip(nodes, slacks, strict=True), key=lambda splice: splice[0])))


class Joint:
    """One joint in a run. Its two ends either move apart freely or keep the opening at a bound, 0 or the slack.

    Held at a bound, the ends' velocities differ by the ``w`` that leads there within the step, and equilibrium gives

        v_lower = (2d − 2u − S + Z1 w) / (Z1 + Z2 + D),   v_upper = v_lower − w       (10)

    and free, ``v_lower = (−2u − S) / (Z2 + D)``, ``v_upper = 2d / Z1``                (11).

    Parameters
    ----------
    row, soil_row : int
        Row of the node among all nodes and among those with soil [1].
    slack : float or numpy.ndarray
        Opening at which it begins to pull, also of shape (n_candidates,) [m].
    z_above : numpy.ndarray
        Impedance above, shape (1,) or (n_candidates,) [N s/m].
    time_step : float
        Time step [s].
    opening : numpy.ndarray
        How far it is open at the beginning, shape (n_candidates,) [m].
    """

    def __init__(self, row, soil_row, slack, z_above, time_step, opening):
        self.row, self.soil_row, self.slack = row, soil_row, slack
        self.z_above, self.dt, self.opening = z_above, time_step, np.array(opening)
        self.force = np.zeros_like(self.opening)

    def decide(self, step) -> None:
        """Find out whether the ends are free in this step, and set their node's numbers accordingly."""
        row, i = self.row, self.soil_row
        down, p, s, r, h = step.sides.down[row], step.p[row], step.spring[i], step.r[i], step.h[i]
        pull, r_free = p - down, r - 0.5
        held = np.clip(s + h / (r_free + h) * (pull - s), step.lower[i], step.upper[i])
        apart = ((pull - held) / r_free - 2.0 * down) * (self.dt / self.z_above)
        bound = np.clip(self.opening + apart, 0.0, self.slack)
        self.free = bound == self.opening + apart
        self.w = np.where(self.free, 0.0, (bound - self.opening) / self.dt)
        step.p[row] = np.where(self.free, pull, p + 0.5 * self.z_above * self.w)  # (10), (11)
        r_now = np.where(self.free, r_free, r)
        step.g[row], step.a[i] = 1.0 / r_now, h / (r_now + h)

    def keep(self, down: np.ndarray) -> None:
        """Keep the wave from above before it is overwritten.

        Units: down [N].
        """
        self.arrived = down[self.row].copy()

    def part(self, up: np.ndarray, y: np.ndarray) -> None:
        """Give the upper end its own velocity.

        Units: up, y [N].
        """
        row, arrived = self.row, self.arrived
        up[row] = np.where(self.free, -arrived, up[row] + self.z_above * self.w)
        self.force = arrived + up[row]
        apart = np.where(self.free, (y[row] - 2.0 * arrived) / self.z_above, self.w)
        self.opening = self.opening + apart * self.dt


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
    soil : SoilModel
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
        self, mesh: Mesh, soil: SoilModel, state: State, gravity: float, *, work: bool = False, single: bool = False
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

        Units: sent [N].
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

        Units: y [N]; returns [m].
        """
        velocity = y / self.z_above[-1]
        way = start.toe_displacement / self.dt + 0.5 * start.velocity[-1] + np.cumsum(velocity, axis=0)
        return (way - 0.5 * velocity) * self.dt

    def force_above(self) -> np.ndarray:
        """Give the force just above the nodes 1 … n at the step just made.

        Units: returns [N].
        """
        force = 2.0 * self.swapped.down + self.p  # d = sent up + y
        for joint in self.joints:
            force[joint.row] = joint.force
        return force

    def static_force(self, half_force: np.ndarray) -> np.ndarray:
        """Give the static soil force at every node from half of it where there is soil.

        Units: half_force [N]; returns [N].
        """
        force = np.zeros(self.p.shape)
        force[self.rows] = 2.0 * half_force
        return force

    def state(self, toe_displacement: np.ndarray) -> State:
        """Give the moment that has been reached.

        Units: toe_displacement [m].
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


def _first_row_of_soil(soil: SoilModel) -> int:
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
