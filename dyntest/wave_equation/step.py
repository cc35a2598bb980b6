"""Where all candidates stand at one moment of a run.

The curve along which soil is loaded for the first time, where it is not the line along which it unloads.

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

Laws whose dashpot depends on the velocity itself use the same lines. Smith's dashpot and the power of the velocity
put ``r + j |s| / …`` in the place of r, from the static force that the last velocity leads to; with a power N the
velocity solves

    A v + Q v^N = W                                                         (10)

and two of Newton's steps on its logarithm find it. Where a dashpot stands beside the spring under a slider
(radiation), the force on the node is what a stuck slider would carry, cut back to the limits and raised with the rate
of slip w by ``1 + J w^N``; the soil follows with the velocity ``(R − S)/(c + k dt/2)``. With ``κ = r/(h + c/(2 Z1))``
and ``e = p + κ s`` the node slips where ``e`` leaves its bounds ``(1 + κ) s_limit``. Equation (10) then holds with
``A = r Z1``, ``Q = (1 + κ) J s_limit`` and with W what e is beyond its bound.

Each law's own lines run over its own columns only.

A plug of mass m at the toe is one more piece of pile, half a step long, of impedance ``2 m/dt`` and with a free end: it
sends back what came a step before with its sign turned. That keeps energy and momentum whole.
"""

from dataclasses import dataclass

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
    soil_velocity : numpy.ndarray or None
        Of the soil beside the nodes 1 … n, shape (n_segments, n_candidates) [m/s]; None: that of the nodes.
    toe_gap : numpy.ndarray or None
        Gap under a toe with a radiation dashpot, as movement over the time step times the impedance above it, shape
        (n_candidates,) [N]; None: closed.
    """

    down: np.ndarray
    up: np.ndarray
    spring: np.ndarray
    velocity: np.ndarray
    toe_displacement: np.ndarray
    loading: np.ndarray | None = None
    soil_velocity: np.ndarray | None = None
    toe_gap: np.ndarray | None = None

    def force(self) -> np.ndarray:
        """Give the force in every segment, right for a pile at rest.

        Units: returns [N].
        """
        return self.down[:-1] + self.up[1:-1]


def at_rest(mesh: Mesh, soil: SoilModel) -> State:
    """Give the state of a pile and soil without any stress."""
    n, candidates = mesh.n_segments, soil.n_candidates
    spring, gap = np.zeros((n, candidates)), None
    if soil.toe_gap is not None:
        radiates = _columns_with(soil.radiation, spring.shape)  # ground that radiates keeps its gap by itself
        spring[-1] = np.where(radiates, 0.0, -soil.toe_gap * unloading_stiffness(soil)[-1])
        z_above = np.broadcast_to(np.reshape(mesh.impedance, (n, -1))[-1], candidates)
        gap = np.where(radiates, soil.toe_gap / mesh.time_step * z_above, 0.0)
    return State(
        down=np.zeros((n + 1, candidates)),
        up=np.zeros((n + 2, candidates)),
        spring=spring,
        velocity=np.zeros((n, candidates)),
        toe_displacement=np.zeros(candidates),
        toe_gap=gap,
    )


class FirstLoading:
    """Keeps how far each node has gone along its curve of first loading, and bounds its spring by the force there.

    The curve is the hyperbola ``limit · u / (u + quake)`` or the line ``limit · u / quake`` up to the limit. Soil
    that was unloaded is loaded again along its unloading line until it meets the curve at the movement it then has.
    It holds the rows and the columns (candidates) `where` of the soil.
    """

    def __init__(
        self,
        soil: SoilModel,
        where: tuple[slice, slice],
        time_step: float,
        z_above: np.ndarray,
        state: State,
        kind: type,
    ):
        shape, stiffness = soil.limit.shape, unloading_stiffness(soil)[where]
        self.where = where
        curved = np.broadcast_to(soil.hyperbolic, shape[1:])[where[1]]
        self.hyperbolic, self.straight = bool(curved.any()), np.flatnonzero(~curved)
        limit = soil.limit[where] / 2.0  # half forces throughout, as in `Step`
        quake = np.broadcast_to(np.maximum(soil.quake, SMALL), shape)[where]
        way_of_y = np.broadcast_to(time_step / z_above, shape)[where]
        if state.loading is None:
            loading = self._from_force(state.spring[where] / 2.0, stiffness, limit, quake)
        else:
            loading = state.loading[where]
        y = (state.velocity * z_above)[where]
        self.limit: np.ndarray = limit.astype(kind)
        self.quake: np.ndarray = quake.astype(kind)
        self.rise: np.ndarray = (limit / quake).astype(kind)
        self.way_of_y: np.ndarray = way_of_y.astype(kind)
        # The trial movement of half a step from the trial rise of the half force: Δu = 2 Δs / k.
        self.way_of_force: np.ndarray = np.where(stiffness > 0.0, 2.0 / np.maximum(stiffness, SMALL), 0.0).astype(kind)
        self.y, self.way = y.astype(kind), (loading + 0.5 * way_of_y * y).astype(kind)
        self.cap, self.work = np.empty_like(self.way), np.empty_like(self.way)

    def _from_force(
        self, half_force: np.ndarray, stiffness: np.ndarray, limit: np.ndarray, quake: np.ndarray
    ) -> np.ndarray:
        """Give the way along the curve that belongs to a force; below 0 what is left until it begins."""
        short = 2.0 * half_force / np.maximum(stiffness, SMALL)
        force = np.clip(half_force, 0.0, limit * (1.0 - SMALL))
        left = limit - force
        left[:, self.straight] = limit[:, self.straight]
        return np.where(half_force < 0.0, short, quake * force / np.maximum(left, SMALL))

    def force(self, trial_rise: np.ndarray) -> np.ndarray:
        """Give the force on the curve at the movement that this step would reach.

        Units: trial_rise [N]; returns [N].
        """
        cap = self.cap
        np.multiply(trial_rise, self.way_of_force, cap)
        np.add(cap, self.way, cap)
        np.maximum(cap, 0.0, out=cap)
        if self.hyperbolic:
            np.add(cap, self.quake, self.work)
            if len(self.straight):
                line = cap[:, self.straight] * self.rise[:, self.straight]
            np.divide(cap, self.work, cap)
            np.multiply(cap, self.limit, cap)
            if len(self.straight):
                cap[:, self.straight] = np.minimum(line, self.limit[:, self.straight])
            return cap
        np.multiply(cap, self.rise, cap)
        return np.minimum(cap, self.limit, out=cap)

    def move(self, y: np.ndarray) -> None:
        """Take the movement of a step.

        Units: y [N].
        """
        np.multiply(y, self.way_of_y, self.work)
        np.add(self.way, self.work, self.way)
        self.y = y

    def loading(self, shape: tuple[int, int]) -> np.ndarray:
        """Give the way along the curve so far.

        Units: returns [m].
        """
        way = np.zeros(shape)
        way[self.where] = self.way - 0.5 * self.way_of_y * self.y
        return way


class PowerRoot:
    """Finds the logarithm of the velocity that solves (10) for arrays of one shape, without making new ones."""

    def __init__(self, linear: np.ndarray, power: np.ndarray):
        self.linear = np.log(linear)
        self.power = np.broadcast_to(power, linear.shape[1:]).astype(linear.dtype)
        self.u, self.one, self.other, self.both, self.target, self.of_q = (np.empty_like(linear) for _ in range(6))
        self.iterations = 2 if linear.dtype == np.float32 else 6

    def find(self, q: np.ndarray, w: np.ndarray) -> np.ndarray:
        """Give ln v, from q and w of 0 or more [N]."""
        u, one, other, both, target, of_q = self.u, self.one, self.other, self.both, self.target, self.of_q
        np.log(add(w, TINY, target), out=target)
        np.log(add(q, TINY, of_q), out=of_q)
        subtract(target, self.linear, u)
        subtract(target, of_q, one)
        np.divide(one, self.power, one)
        minimum(u, one, out=u)
        for _ in range(self.iterations):  # u −= (ln(A eᵘ + Q eᴺᵘ) − ln W) / slope
            maximum(u, SLOWEST, out=u)
            np.exp(add(u, self.linear, one), out=one)
            multiply(u, self.power, other)
            np.exp(add(other, of_q, other), out=other)
            add(one, other, both)
            multiply(other, self.power, other)
            add(one, other, one)
            np.divide(one, both, one)
            np.log(both, out=both)
            subtract(both, target, both)
            np.divide(both, one, both)
            subtract(u, both, u)
        return maximum(u, SLOWEST, out=u)


SHOWN_SLIP = 1e-3
"""Slip that shows the static limit of soil whose dashpot carries part of the force [m]; up to it the resistance shown
rises from the spring's to the limit. Our own choice: a movement that is small beside the set of a blow."""

TINY = 1e-3
"""Force that keeps logarithms finite [N]."""
SLOWEST = -18.0
"""Logarithm of the least velocity that is told from none [ln m/s]."""

add, subtract, multiply, minimum, maximum = np.add, np.subtract, np.multiply, np.minimum, np.maximum

ALIGNMENT = 64
"""Bytes; the processor reads arrays that begin on such a boundary a tenth faster (measured)."""


class _Sides:
    """Names for the parts of the two arrays of waves, as they stand in every other step."""

    def __init__(self, from_above: np.ndarray, from_below: np.ndarray):
        self.down, self.up = from_above[:-1], from_below[1:]  # arrive at the nodes 1 … n
        self.head, self.beyond = from_below[0], from_above[-1]  # arrives at node 0; comes from below the toe next
        self.through, self.into_plug = from_below[1:-1], from_below[-1]  # what is sent down, once it is


class _Following:
    """Dashpots that follow the static force: Smith's, and those of a power of the velocity."""

    def __init__(self, step: "Step", columns: slice, factor: np.ndarray, power: np.ndarray | None):
        self.columns = columns
        self.viscous = step.r[:, columns].copy()
        self.r, self.work = self.viscous.copy(), np.empty_like(self.viscous)
        self.root: PowerRoot | None = None
        z = np.broadcast_to(step.z_above, step.p.shape)[step.rows, columns]
        self.factor = np.asarray(factor / z if power is None else factor, dtype=self.r.dtype)
        if power is not None:
            self.z = np.asarray(z, dtype=self.r.dtype)
            self.root = PowerRoot(self.viscous * self.z, power)
            self.less = self.root.power - 1.0
            self.push = np.empty_like(self.r)

    def follow(self, step: "Step") -> None:
        """Set r, a and g of these columns from the static force that the last velocity would lead to."""
        c, r, work = self.columns, self.r, self.work
        s, x, h = step.spring[:, c], step.x[:, c], step.h[:, c]
        add(s, x, r)
        add(r, x, r)
        minimum(r, step.curve[:, c], out=r)
        maximum(r, step.lower[:, c], out=r)
        if self.root is not None:
            subtract(step.soil_p[:, c], r, self.push)
            np.absolute(self.push, out=self.push)
        np.absolute(r, out=r)
        multiply(r, self.factor, r)
        if self.root is not None:
            multiply(self.root.find(r, self.push), self.less, work)
            np.exp(work, out=work)
            multiply(r, work, r)
            np.divide(r, self.z, r)  # j |s| v^N / y with y = Z1 v
        add(r, self.viscous, r)
        add(r, h, work)
        np.divide(h, work, step.a[:, c])
        np.divide(1.0, r, step.g[step.rows, c])


class _Radiating:
    """Springs with a dashpot beside them, both under a slider whose limit grows with the rate of slip."""

    def __init__(self, step: "Step", soil: SoilModel, columns: slice, state: State):
        self.columns = columns
        kind, rows = step.r.dtype, step.rows
        z = np.broadcast_to(step.z_above, step.p.shape)[rows, columns]
        r, h = step.r[:, columns].astype(float), step.h[:, columns].astype(float)
        radiation, rate = soil.radiation, soil.rate_damping
        assert radiation is not None
        dashpot = np.broadcast_to(radiation, soil.limit.shape)[rows, columns] / (2.0 * z)
        follows = 1.0 / np.maximum(h + dashpot, SMALL)
        kappa = r * follows
        kappa[h + dashpot <= 0.0] = 0.0
        growth = 0.0 if rate is None else np.broadcast_to(rate, soil.limit.shape)[rows, columns]
        upper, lower = (bound[:, columns] * (1.0 + kappa) for bound in (step.upper, step.lower))
        self.kappa, self.upper, self.lower = (np.asarray(array, kind) for array in (kappa, upper, lower))
        self.h, self.follows, self.share = (
            np.asarray(array, kind) for array in (step.h[:, columns], follows, 1.0 / (1.0 + kappa))
        )
        self.growth, self.per_r = np.asarray(growth * np.ones_like(kappa), kind), np.asarray(1.0 / r, kind)
        power = np.broadcast_to(soil.rate_power, soil.limit.shape[1:])[columns]
        self.root = PowerRoot(np.asarray(r * z, kind), power)
        self.e, self.within, self.q, self.w = (np.empty_like(self.kappa) for _ in range(4))
        velocity = state.velocity if state.soil_velocity is None else state.soil_velocity
        self.soil_y = np.asarray((velocity * step.z_above)[rows, columns], kind)
        step.x[:, columns] = self.h * self.soil_y
        self.gap = np.zeros(self.kappa.shape[1], kind) if state.toe_gap is None else state.toe_gap[columns].astype(kind)
        self.half_force, self.kept, self.kept_p, self.slid = (np.zeros_like(self.kappa) for _ in range(4))
        self.limit, self.way_of_y = step.upper[:, columns], np.asarray(step.dt / z, kind)

    def move(self, step: "Step") -> None:
        """Put spring and velocity of these columns in the place of what the common lines found."""
        c, e, within, q, w = self.columns, self.e, self.within, self.q, self.w
        s, y = step.spring[:, c], step.soil_p[:, c]
        multiply(s, self.kappa, e)
        add(e, y, e)  # y still holds p of (6)
        minimum(e, self.upper, out=within)
        maximum(within, self.lower, out=within)
        subtract(e, within, e)
        np.absolute(within, out=q)
        multiply(q, self.growth, q)
        np.absolute(e, out=w)
        x = self.root.find(q, w)
        multiply(x, self.root.power, x)
        np.exp(x, out=x)
        multiply(within, self.share, self.half_force)  # stuck, or at the limit
        multiply(q, self.share, q)
        multiply(q, x, q)
        np.copysign(q, e, out=q)
        np.copyto(q, 0.0, where=w <= 0.0)
        add(self.half_force, q, self.half_force)
        maximum(self.half_force[-1], 0.0, out=self.half_force[-1])
        self.half_force[-1, self.gap > 0.0] = 0.0
        subtract(y, self.half_force, y)
        multiply(y, self.per_r, y)
        subtract(self.half_force, s, self.soil_y)
        multiply(self.soil_y, self.follows, self.soil_y)
        multiply(self.soil_y, self.h, w)
        add(s, w, s)
        opens = self.gap + self.soil_y[-1] - y[-1]  # the soil under a toe that lifted off rises slower than the toe
        self.gap = np.where(self.half_force[-1] <= 0.0, maximum(opens, 0.0), 0.0)

    def add_slip(self, step: "Step") -> None:
        """Add the downward slip of the last step; a toe on its way through a gap does not slip."""
        slip = (step.soil_p[:, self.columns] - self.soil_y) * self.way_of_y
        self.slid += np.where(self.half_force >= 0.999 * self.limit, np.maximum(slip, 0.0), 0.0)

    def shown(self, springs: np.ndarray) -> np.ndarray:
        """Give the greatest half forces of the springs, raised to the limit where the soil slipped."""
        return springs + np.maximum(self.limit - springs, 0.0) * np.minimum(self.slid / SHOWN_SLIP, 1.0)


class Step:
    """The arrays of one run and the lines that take them a step further.

    From a mesh, a soil, the state where the run begins and the acceleration of free fall [m/s^2]; `work` adds up the
    work done on the soil, in `energy`, and `single` marches in single precision.
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
        self.rows = rows = slice(_first_row_of_soil(soil), n)  # above these, no soil: waves only

        undamped = (z_above + z_below) / (2.0 * z_above)
        self.r = aligned((undamped + soil.damping / (2.0 * z_above))[rows])
        self.h = aligned((unloading_stiffness(soil) * self.dt / (4.0 * z_above))[rows])
        self.a, self.x = aligned(self.h / (self.r + self.h)), aligned(np.zeros_like(self.r))
        self.g = aligned(np.broadcast_to(1.0 / undamped, shape))
        np.divide(1.0, self.r, out=self.g[rows])
        self.upper, self.lower = aligned(soil.limit[rows] / 2.0), aligned(lower_bound(soil)[rows] / 2.0)
        self.curve = self.upper.copy()  # bounds of first loading, for dashpots that follow the static force
        uniform = (z_above[:-1] == z_below[:-1]).all()
        self.ratio = None if uniform else aligned(np.broadcast_to(z_below / z_above, shape)[:-1])
        self.plug_ratio = None if soil.plug_mass is None else z_below[-1] / z_above[-1]
        self.weight = gravity * mesh.mass[:, None] / 2.0 if gravity else None
        self.energy = np.zeros(candidates)
        self.undamped = np.broadcast_to(undamped, shape)[rows] if work else None

        one, other = aligned(state.down), aligned(state.up[1:])
        self.sides, self.swapped = _Sides(one, other), _Sides(other, one)
        self.spring = aligned(state.spring[rows] / 2.0)
        self.p = aligned(state.velocity * z_above)  # p of (6) becomes y of (8)
        self.soil_p, self.toe, self.toe_rise = self.p[rows], self.spring[-1], self.x[-1]
        self.toe_before, self.above_toe = np.empty(candidates, dtype=kind), self.p[:-1]
        self.sent_on = self.above_toe if uniform else np.empty_like(self.above_toe)
        multiply(self.h, self.soil_p, self.x)

        self.following: list[_Following] = []
        radiates = _columns_with(soil.radiation, shape)
        powers = np.broadcast_to(soil.rate_power, (candidates,))
        for columns in _runs(_columns_with(soil.smith_damping, shape)):
            self.following.append(_Following(self, columns, _of(soil.smith_damping, shape)[rows, columns], None))
        for columns in _runs(_columns_with(soil.rate_damping, shape) & ~radiates):
            factor = _of(soil.rate_damping, shape)[rows, columns]
            self.following.append(_Following(self, columns, factor, powers[columns]))
        self.radiating = [_Radiating(self, soil, columns, state) for columns in _runs(radiates)]
        curved = np.broadcast_to(soil.hyperbolic, (candidates,)) | (soil.unloading_quake is not None)
        self.first_loading = [
            FirstLoading(soil, (rows, columns), self.dt, z_above, state, kind) for columns in _runs(curved & ~radiates)
        ]

    def advance(self, sent: np.ndarray) -> None:
        """Take waves, springs and movements one step further.

        Units: sent [N].
        """
        sides, p, soil_p, s, x, toe = self.sides, self.p, self.soil_p, self.spring, self.x, self.toe
        down, up = sides.down, sides.up
        subtract(down, up, p)  # (6)
        if self.weight is not None:
            add(p, self.weight, p)
        if self.following:
            for first in self.first_loading:
                self.curve[:, first.where[1]] = first.force(x[:, first.where[1]])
        for damped in self.following:
            damped.follow(self)
        add(s, x, s)
        self.toe_before[:] = toe
        for apart in self.radiating:
            apart.kept[...] = s[:, apart.columns]
        subtract(soil_p, s, x)
        multiply(x, self.a, x)
        add(s, x, s)  # (7)
        for curve in self.first_loading:
            columns = curve.where[1]
            minimum(s[:, columns], curve.force(x[:, columns]), out=s[:, columns])
        minimum(s, self.upper, out=s)
        maximum(s, self.lower, out=s)
        for apart in self.radiating:
            s[:, apart.columns] = apart.kept
            apart.kept_p[...] = soil_p[:, apart.columns]
        subtract(soil_p, s, soil_p)
        multiply(p, self.g, p)  # (8)
        for apart in self.radiating:
            soil_p[:, apart.columns] = apart.kept_p
            apart.move(self)
        if self.undamped is not None:
            self._add_work(soil_p)
        for curve in self.first_loading:
            curve.move(soil_p[:, curve.where[1]])
        multiply(self.h, soil_p, x)
        # A toe that lifted off meets the soil again where it left it: its spring remembers, though it pulls at nothing.
        add(self.toe_before, self.toe_rise, self.toe_before)
        for apart in self.radiating:
            self.toe_before[apart.columns] = toe[apart.columns]  # soil that radiates keeps its gap by itself
        minimum(toe, self.toe_before, out=toe)
        for apart in self.radiating:
            multiply(self.h[:, apart.columns], apart.soil_y, x[:, apart.columns])
        subtract(down, p, down)  # (9)
        if self.ratio is not None:
            multiply(self.ratio, self.above_toe, self.sent_on)
        add(sides.through, self.sent_on, sides.through)  # (9)
        if self.plug_ratio is not None:
            sides.into_plug[:] += self.plug_ratio * p[-1]
            sides.beyond[:] = -sides.into_plug
        sides.head[:] = sent
        self.sides, self.swapped = self.swapped, sides

    def _add_work(self, y: np.ndarray) -> None:
        """Add what spring and dashpot, ``R = S + D v``, take up in this step."""
        r = 1.0 / self.g[self.rows]
        assert self.undamped is not None
        half = (r - self.undamped) * y + self.spring
        for apart in self.radiating:
            half[:, apart.columns] = apart.half_force
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
        return 2.0 * self.swapped.down + self.p  # d = sent up + y

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
            loading=self._loading(shape) if self.first_loading else None,
            soil_velocity=self._soil_velocity() if self.radiating else None,
            toe_gap=self._toe_gap() if self.radiating else None,
        )

    def _loading(self, shape: tuple[int, int]) -> np.ndarray:
        way = np.zeros(shape)
        for curve in self.first_loading:
            way += curve.loading(shape)
        return way

    def _toe_gap(self) -> np.ndarray:
        gap = np.zeros(self.p.shape[1])
        for apart in self.radiating:
            gap[apart.columns] = apart.gap
        return gap

    def _soil_velocity(self) -> np.ndarray:
        velocity = self.p / self.z_above
        for apart in self.radiating:
            z = np.broadcast_to(self.z_above, self.p.shape)[self.rows, apart.columns]
            velocity[self.rows, apart.columns] = apart.soil_y / z
        return velocity


def _of(values: np.ndarray | None, shape: tuple[int, int]) -> np.ndarray:
    return np.broadcast_to(0.0 if values is None else values, shape)


def _columns_with(values: np.ndarray | None, shape: tuple[int, int]) -> np.ndarray:
    """Say which candidates have a dashpot of a kind."""
    return np.any(_of(values, shape) > 0.0, axis=0)


def _runs(chosen: np.ndarray) -> list[slice]:
    """Give the runs of neighbouring columns that are chosen."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]]).astype(int)))
    return [slice(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def _first_row_of_soil(soil: SoilModel) -> int:
    holds = (soil.limit > 0.0) | (soil.damping > 0.0)
    rows = np.flatnonzero(np.broadcast_to(holds, soil.limit.shape).any(axis=1))
    return int(rows[0]) if len(rows) else len(soil.limit) - 1


def _aligned(values: np.ndarray, kind: type) -> np.ndarray:
    """Give a copy of a kind of float that begins on a boundary of `ALIGNMENT` bytes."""
    values = np.asarray(values, dtype=kind)
    raw = np.empty(values.nbytes + ALIGNMENT, dtype=np.uint8)
    start = -raw.ctypes.data % ALIGNMENT
    array: np.ndarray = raw[start : start + values.nbytes].view(kind).reshape(values.shape)
    array[...] = values
    return array
