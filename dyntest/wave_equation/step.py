"""One time step of the simulator, for every node and every candidate, in arrays that are filled again and again.

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

and two of Newton's steps on its logarithm find it (`dyntest.wave_equation.soil.PowerRoot`). Where a dashpot stands
beside the spring under a slider (radiation), the force on the node is what a stuck slider would carry, cut back to the
limits and raised with the rate of slip w by ``1 + J w^N``; the soil follows with the velocity ``(R − S)/(c + k dt/2)``.
With ``κ = r/(h + c/(2 Z1))`` and ``e = p + κ s`` the node slips where ``e`` leaves its bounds ``(1 + κ) s_limit``.
Equation (10) then holds with ``A = r Z1``, ``Q = (1 + κ) J s_limit`` and with W what e is beyond its bound.

Each law's own lines run over its own columns only.

A plug of mass m at the toe is one more piece of pile, half a step long, of impedance ``2 m/dt`` and with a free end: it
sends back what came a step before with its sign turned. That keeps energy and momentum whole.
"""

from dataclasses import dataclass

import numpy as np

from dyntest.wave_equation.soil import (
    SMALL,
    Mesh,
    PowerRoot,
    SoilModel,
    aligned_copy,
    columns_with,
    first_row_of_soil,
    lower_bound,
    over,
    runs_of,
    unloading_stiffness,
)


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
        radiates = columns_with(soil.radiation, spring.shape)  # ground that radiates keeps its gap by itself
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
    """Keeps how far each node has gone along its curve of first loading, and gives the force there.

    The curve is the hyperbola ``limit · u / (u + quake)`` or the line ``limit · u / quake``, of which what lies over
    the limit is cut off by others. Soil that was unloaded is loaded again along its unloading line until it meets the
    curve at the movement it then has. It holds the rows and the columns (candidates) `where` of the soil.
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
        hyperbolic = np.broadcast_to(soil.hyperbolic, shape[1:])[where[1]]
        self.bent, self.all_bent = bool(hyperbolic.any()), bool(hyperbolic.all())
        limit = soil.limit[where] / 2.0  # half forces throughout, as in `Step`
        quake = np.broadcast_to(np.maximum(soil.quake, SMALL), shape)[where]
        way_of_y = np.broadcast_to(time_step / z_above, shape)[where]
        if state.loading is None:
            loading = _from_force(state.spring[where] / 2.0, stiffness, limit, quake, hyperbolic)
        else:
            loading = state.loading[where]
        y = (state.velocity * z_above)[where]
        # ``scale · u / (bend · u + quake)`` is both, the straight one with a bend of 0 and a quake of 1.
        self.bend, self.quake, self.scale, self.way_of_y = (
            aligned_copy(np.broadcast_to(values, quake.shape), kind)
            for values in (
                hyperbolic,
                np.where(hyperbolic, quake, 1.0),
                np.where(hyperbolic, limit, limit / quake),
                way_of_y,
            )
        )
        # The trial movement of half a step from the trial rise of the half force: Δu = 2 Δs / k.
        self.way_of_force = aligned_copy(np.where(stiffness > 0.0, 2.0 / np.maximum(stiffness, SMALL), 0.0), kind)
        self.way = aligned_copy(loading + 0.5 * way_of_y * y, kind)
        self.cap, self.work = aligned_copy(self.way, kind), aligned_copy(self.way, kind)
        self.nothing: np.ndarray = np.zeros((), kind)

    def stand_on(self, trial_rise: np.ndarray, half_force: np.ndarray, y: np.ndarray) -> None:
        """Take the arrays of a run in which rise and force of these springs and the waves of their nodes stand [N]."""
        columns = self.where[1]
        self.trial_rise, self.held, self.y = trial_rise[:, columns], half_force[:, columns], y[:, columns]

    def force(self) -> np.ndarray:
        """Give the force on the curve at the movement that this step would reach.

        Units: returns [N].
        """
        cap, work = self.cap, self.work
        multiply(self.trial_rise, self.way_of_force, cap)
        add(cap, self.way, cap)
        maximum(cap, self.nothing, out=cap)
        if self.bent:
            add(cap if self.all_bent else multiply(cap, self.bend, work), self.quake, work)
            divide(cap, work, cap)
        return multiply(cap, self.scale, cap)

    def part(self, begin: int, end: int) -> np.ndarray:
        """Give where the force of the columns from one on to another of the soil stands, once it is asked for."""
        return self.cap[:, begin - self.where[1].start : end - self.where[1].start]

    def hold(self) -> None:
        """Cut the springs back to the curve."""
        minimum(self.held, self.force(), out=self.held)

    def move(self) -> None:
        """Take the movement of a step."""
        multiply(self.y, self.way_of_y, self.work)
        add(self.way, self.work, self.way)

    def loading(self, shape: tuple[int, int]) -> np.ndarray:
        """Give the way along the curve so far.

        Units: returns [m].
        """
        way = np.zeros(shape)
        way[self.where] = self.way - 0.5 * self.way_of_y * self.y
        return way


def _from_force(
    half_force: np.ndarray, stiffness: np.ndarray, limit: np.ndarray, quake: np.ndarray, hyperbolic: np.ndarray
) -> np.ndarray:
    """Give the way along the curve that belongs to a force; below 0 what is left until it begins.

    Units: half_force, limit [N]; stiffness [N/m]; quake [m]; returns [m].
    """
    short = 2.0 * half_force / np.maximum(stiffness, SMALL)
    force = np.clip(half_force, 0.0, limit * (1.0 - SMALL))
    left = np.where(hyperbolic, limit - force, limit)
    return np.where(half_force < 0.0, short, quake * force / np.maximum(left, SMALL))


SHOWN_SLIP = 1e-3
"""Slip that shows the static limit of soil whose dashpot carries part of the force [m]; up to it the resistance shown
rises from the spring's to the limit. Our own choice: a movement that is small beside the set of a blow."""

add, subtract, multiply, divide, minimum, maximum = np.add, np.subtract, np.multiply, np.divide, np.minimum, np.maximum
absolute, exp, reciprocal, sign = np.absolute, np.exp, np.reciprocal, np.sign


class _Sides:
    """Names for the parts of the two arrays of waves, as they stand in every other step."""

    def __init__(self, from_above: np.ndarray, from_below: np.ndarray):
        self.down, self.up = from_above[:-1], from_below[1:]  # arrive at the nodes 1 … n
        self.head, self.beyond = from_below[0], from_above[-1]  # arrives at node 0; comes from below the toe next
        self.through, self.into_plug = from_below[1:-1], from_below[-1]  # what is sent down, once it is


class _Following:
    """Dashpots that follow the static force: Smith's, and those of a power of the velocity."""

    def __init__(self, step: "Step", columns: slice, factor: np.ndarray, powers: np.ndarray):
        """Take the factors j of these columns [s/m or (s/m)^N] and their powers of the velocity [1], 1 for Smith's."""
        self.columns, kind = columns, step.r.dtype.type
        of, h, lower, upper = (one[:, columns] for one in (step.r, step.h, step.lower, step.upper))
        # Copies, since the columns of a few candidates take several times as long to read as an array of their own.
        self.viscous, self.h, self.lower, self.upper = (aligned_copy(values, kind) for values in (of, h, lower, upper))
        self.r, self.rise, self.work = (aligned_copy(of, kind) for _ in range(3))
        z = np.broadcast_to(step.z_above, step.p.shape)[step.rows, columns]
        self.factor = aligned_copy(np.where(powers == 1.0, factor / z, factor), kind)
        self.step_rise, self.step_spring = step.x[:, columns], step.spring[:, columns]
        self.a, self.g = step.a[:, columns], step.g[step.rows, columns]
        self.powered = [
            _Powered(self.r[:, own], self.viscous[:, own], z[:, own], powers[own], step.soil_p[:, columns][:, own])
            for own in runs_of(powers != 1.0)
        ]
        self.bounds: list[tuple[np.ndarray, np.ndarray]] = []

    def bound_by(self, curve: FirstLoading) -> None:
        """Have a curve bound the static force in the columns that it shares with these."""
        first, others = self.columns.start, curve.where[1]
        begin, end = max(first, others.start), min(self.columns.stop, others.stop)
        if begin < end:
            self.bounds.append((self.r[:, begin - first : end - first], curve.part(begin, end)))

    def follow(self) -> None:
        """Set r, a and g of these columns from the static force that the last velocity would lead to."""
        r, rise, work = self.r, self.rise, self.work
        rise[...] = self.step_rise
        add(self.step_spring, rise, r)
        add(r, rise, r)
        for own, curve in self.bounds:
            minimum(own, curve, out=own)
        minimum(r, self.upper, out=r)
        maximum(r, self.lower, out=r)
        for powered in self.powered:
            powered.take_push()
        absolute(r, r)
        multiply(r, self.factor, r)
        for powered in self.powered:
            powered.find()
        add(r, self.viscous, r)
        add(r, self.h, work)
        divide(self.h, work, self.a)
        reciprocal(r, self.g)


class _Powered:
    """Some columns of dashpots that follow the static force with a power of the velocity; r stands in for them all."""

    def __init__(self, r: np.ndarray, viscous: np.ndarray, z: np.ndarray, power: np.ndarray, p: np.ndarray):
        kind = r.dtype.type
        self.r, self.p = r, p
        self.root = PowerRoot(np.asarray(viscous * z, kind), power)
        self.less, self.z = self.root.power - 1.0, aligned_copy(z, kind)
        self.push, self.work = aligned_copy(z, kind), aligned_copy(z, kind)

    def take_push(self) -> None:
        """Take what drives the nodes against the static force, which stands in r."""
        subtract(self.p, self.r, self.push)
        absolute(self.push, self.push)

    def find(self) -> None:
        """Put ``j |s| v^N / y`` with y = Z1 v in the place of ``j |s|``."""
        r, work = self.r, self.work
        multiply(self.root.find(r, self.push), self.less, work)
        exp(work, work)
        multiply(r, work, r)
        divide(r, self.z, r)


class _Radiating:
    """Springs with a dashpot beside them, both under a slider whose limit grows with the rate of slip."""

    def __init__(self, step: "Step", soil: SoilModel, columns: slice, state: State):
        self.columns = columns
        kind, rows = step.r.dtype.type, step.rows
        z = np.broadcast_to(step.z_above, step.p.shape)[rows, columns]
        r, h = step.r[:, columns].astype(float), step.h[:, columns].astype(float)
        radiation, rate = soil.radiation, soil.rate_damping
        assert radiation is not None
        dashpot = np.broadcast_to(radiation, soil.limit.shape)[rows, columns] / (2.0 * z)
        follows = 1.0 / np.maximum(h + dashpot, SMALL)
        kappa = r * follows
        kappa[h + dashpot <= 0.0] = 0.0
        growth = 0.0 if rate is None else np.broadcast_to(rate, soil.limit.shape)[rows, columns]
        velocity = state.velocity if state.soil_velocity is None else state.soil_velocity
        self.kappa, self.upper, self.lower, self.h, self.follows, self.share, self.growth, self.per_r, self.soil_y = (
            aligned_copy(np.broadcast_to(values, kappa.shape), kind)
            for values in (
                kappa,
                step.upper[:, columns] * (1.0 + kappa),
                step.lower[:, columns] * (1.0 + kappa),
                step.h[:, columns],
                follows,
                1.0 / (1.0 + kappa),
                growth,
                1.0 / r,
                (velocity * step.z_above)[rows, columns],
            )
        )
        power = np.broadcast_to(soil.rate_power, soil.limit.shape[1:])[columns]
        self.root = PowerRoot(np.asarray(r * z, kind), power)
        # Own copies, since the columns of a few candidates take several times as long to read as an array of their own.
        self.spring, self.limit = (aligned_copy(values[:, columns], kind) for values in (step.spring, step.upper))
        self.y, self.e, self.within, self.q, self.half_force, self.slid = (
            aligned_copy(np.zeros_like(kappa), kind) for _ in range(6)
        )
        self.rise = self.h * self.soil_y
        self.gap = np.zeros(kappa.shape[1], kind) if state.toe_gap is None else state.toe_gap[columns].astype(kind)
        self.way_of_y, self.nothing = np.asarray(step.dt / z, kind), np.zeros((), kind)
        self.step_p, self.step_spring = step.soil_p[:, columns], step.spring[:, columns]

    def take_p(self) -> None:
        """Take p of (6) before the springs of other columns change it."""
        self.y[...] = self.step_p

    def move(self) -> None:
        """Take the soil of these columns a step further from p of (6), which stands in y."""
        s, y, e, within, q, toe, gap = self.spring, self.y, self.e, self.within, self.q, self.half_force[-1], self.gap
        add(s, self.rise, s)
        multiply(s, self.kappa, e)
        add(e, y, e)
        minimum(e, self.upper, out=within)
        maximum(within, self.lower, out=within)
        subtract(e, within, e)
        absolute(within, q)
        multiply(q, self.growth, q)
        x = self.root.find(q, absolute(e, self.half_force))
        multiply(x, self.root.power, x)
        exp(x, x)
        multiply(within, self.share, self.half_force)  # stuck, or at the limit
        multiply(q, self.share, q)
        multiply(q, x, q)
        multiply(q, sign(e, e), q)
        add(self.half_force, q, self.half_force)
        maximum(toe, self.nothing, out=toe)
        multiply(toe, gap <= self.nothing, toe)
        subtract(y, self.half_force, y)
        multiply(y, self.per_r, y)
        subtract(self.half_force, s, self.soil_y)
        multiply(self.soil_y, self.follows, self.soil_y)
        multiply(self.soil_y, self.h, self.rise)
        add(s, self.rise, s)
        add(gap, self.soil_y[-1], gap)
        subtract(gap, y[-1], gap)  # the soil under a toe that lifted off rises slower than the toe
        maximum(gap, self.nothing, out=gap)
        multiply(gap, toe <= self.nothing, gap)
        self.step_spring[...], self.step_p[...] = s, y

    def add_slip(self) -> None:
        """Add the downward slip of the last step; a toe on its way through a gap does not slip."""
        slip = (self.y - self.soil_y) * self.way_of_y
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
            return aligned_copy(values, kind)

        shape = n, candidates = state.spring.shape
        z_above = mesh.impedance[:, None] if np.ndim(mesh.impedance) == 1 else np.asarray(mesh.impedance)
        if z_above.shape[1] not in (1, candidates):
            raise ValueError(f"the pile has {z_above.shape[1]} candidates, the soil {candidates}")
        plug = np.zeros(candidates) if soil.plug_mass is None else 2.0 * soil.plug_mass / mesh.time_step
        z_below = np.vstack([np.broadcast_to(z_above[1:], (n - 1, candidates)), plug])
        self.dt, self.z_above = mesh.time_step, z_above
        self.rows = rows = slice(first_row_of_soil(soil), n)  # above these, no soil: waves only

        undamped = (z_above + z_below) / (2.0 * z_above)
        self.r = aligned((undamped + soil.damping / (2.0 * z_above))[rows])
        self.h = aligned((unloading_stiffness(soil) * self.dt / (4.0 * z_above))[rows])
        self.a, self.x = aligned(self.h / (self.r + self.h)), aligned(np.zeros_like(self.r))
        self.g = aligned(np.broadcast_to(undamped, shape))
        self.g[rows] = self.r
        np.reciprocal(self.g, out=self.g)  # rounded alike with soil beside and without, however long the soil is
        self.upper, self.lower = aligned(soil.limit[rows] / 2.0), aligned(lower_bound(soil)[rows] / 2.0)
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

        radiates = columns_with(soil.radiation, shape)
        powered = columns_with(soil.rate_damping, shape) & ~radiates
        factors = np.where(powered, over(soil.rate_damping, shape), over(soil.smith_damping, shape))
        powers = np.where(powered, soil.rate_power, 1.0)
        self.following = [
            _Following(self, columns, factors[rows, columns], powers[columns])
            for columns in runs_of(powered | columns_with(soil.smith_damping, shape))
        ]
        self.radiating = [_Radiating(self, soil, columns, state) for columns in runs_of(radiates)]
        curved = np.broadcast_to(soil.hyperbolic, (candidates,)) | (soil.unloading_quake is not None)
        self.first_loading = [
            FirstLoading(soil, (rows, columns), self.dt, z_above, state, kind)
            for columns in runs_of(curved & ~radiates)
        ]
        for curve in self.first_loading:
            curve.stand_on(self.x, self.spring, self.soil_p)
            for damped in self.following:
                damped.bound_by(curve)

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
                first.force()
        for damped in self.following:
            damped.follow()
        add(s, x, s)
        self.toe_before[:] = toe
        for apart in self.radiating:
            apart.take_p()
        subtract(soil_p, s, x)
        multiply(x, self.a, x)
        add(s, x, s)  # (7)
        for curve in self.first_loading:
            curve.hold()
        minimum(s, self.upper, out=s)
        maximum(s, self.lower, out=s)
        subtract(soil_p, s, soil_p)
        multiply(p, self.g, p)  # (8)
        for apart in self.radiating:
            apart.move()
        if self.undamped is not None:
            self._add_work(soil_p)
        for curve in self.first_loading:
            curve.move()
        multiply(self.h, soil_p, x)
        # A toe that lifted off meets the soil again where it left it: its spring remembers, though it pulls at nothing.
        add(self.toe_before, self.toe_rise, self.toe_before)
        for apart in self.radiating:
            self.toe_before[apart.columns] = toe[apart.columns]  # soil that radiates keeps its gap by itself
        minimum(toe, self.toe_before, out=toe)
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
