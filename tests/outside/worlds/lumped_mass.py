"""Pile driving by an explicit lumped-mass scheme, for many piles at once, sharing no code with the library.

After Smith (1960), "Pile-driving analysis by the wave equation", ASCE J. Soil Mech. Found. Div. 86(SM4), from memory:
ram, hammer cushion with restitution, helmet, pile cushion where there is one, the pile as masses and springs, and soil
with a quake, a limit and damping. Velocities and positions follow each other explicitly (velocities half a step on).

The soil may follow other laws than Smith's:

- ``"smith"``: R = S (1 + J v) (Smith 1960, from memory);
- ``"viscous"``: R = S + J v R_u (the variant in UFC 3-220-20, 2025, 6-9.2);
- ``"rate power"``: R = S (1 + J |v|^0.2), after Coyle and Gibson (1970), from memory;
- ``"radiation"``: on the shaft a spring of 2.9 G beside a dashpot 2 pi r sqrt(G rho), per length, in the ground, and a
  slider whose limit grows with the rate, tau_s (1 + J dv^0.2), after Randolph and Simons (1986), from memory; at the
  toe spring and dashpot of a half-space, 4 G r/(1 - nu) and 3.4 r^2 sqrt(G rho)/(1 - nu), after Lysmer and Richart
  (1966), from memory, below a slider of its own.

The static spring is elastic and then plastic, or a hyperbola that starts with the same stiffness and is cut off at the
limit. A toe takes no tension and comes back to the soil where it left it.

The gas of an open-end diesel hammer, from memory of any text on engines: adiabatic compression p V^n from the moment
the ports close, a rise of pressure to a plateau during combustion, and adiabatic expansion until the ports open.

SI throughout; compression and downward motion are positive. Rows are masses, columns are piles.
"""

from dataclasses import dataclass, field

import numpy as np

FREE_FALL = 9.81
ATMOSPHERE = 101.3e3
INTERNAL_DAMPING = (
    6e-6  # of the pile, force = k (strain + this times its rate) [s]: quiets what masses this long ring at
)
CLOSED = 1e-9  # a gap that is none [m]
FAILURE_RATIO = 0.85  # limit over the asymptote of the hyperbola, after Duncan and Chang (1970), from memory


@dataclass(frozen=True)
class Rod:
    """A uniform pile: lengths [m], area [m^2], modulus [Pa], density [kg/m^3]; `above` reaches from head to gauges."""

    above: float
    below: float
    area: float
    modulus: float
    density: float
    perimeter_radius: float = 0.15

    @property
    def impedance(self) -> float:
        return self.area * float(np.sqrt(self.modulus * self.density))


@dataclass(frozen=True)
class Gas:
    """What an open-end diesel's gas does: bore area [m^2], way from the closing of the ports to impact [m],
    compression ratio, pressure of combustion [Pa], and its times after impact [s]."""

    area: float
    compression_stroke: float
    ratio: float = 14.0
    combustion_pressure: float = 80e5
    delay: float = 0.5e-3
    rise: float = 1.5e-3
    plateau: float = 2.0e-3
    compression_exponent: float = 1.35
    expansion_exponent: float = 1.28


@dataclass(frozen=True)
class Driver:
    """A hammer: masses [kg], cushion stiffness [N/m] and restitution, share of the stroke's energy left at impact."""

    ram: float
    helmet: float
    cushion: float
    restitution: float = 0.8
    efficiency: float = 0.8
    pile_cushion: float = np.inf
    pile_cushion_restitution: float = 1.0
    gas: Gas | None = None


@dataclass(frozen=True)
class Ground:
    """Soil of a number of piles. `shaft` [N] has a row a mass of the pile, `toe` [N] one value a pile.

    Quakes [m] and damping are one value or an array a row each; `damping` is J of the law in its own units."""

    shaft: np.ndarray
    toe: np.ndarray
    shaft_quake: np.ndarray | float = 2.5e-3
    toe_quake: np.ndarray | float = 3e-3
    shaft_damping: np.ndarray | float = 0.3
    toe_damping: np.ndarray | float = 0.3
    law: str = "smith"
    hyperbolic: bool = False
    soil_density: float = 1900.0
    poisson: float = 0.4
    viscous_rows: np.ndarray | None = None  # more dashpots, J v R_u, of a layer [s/m]


@dataclass(frozen=True)
class Blows:
    """What the blows did. Traces have the shape (n_piles, n_samples); the rest is a value a pile."""

    time: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    set_per_blow: np.ndarray
    greatest_toe: np.ndarray
    energy: np.ndarray
    peak_force: np.ndarray
    compression: np.ndarray
    tension: np.ndarray
    impact_energy: np.ndarray = field(default_factory=lambda: np.zeros(0))
    shaft: np.ndarray = field(default_factory=lambda: np.zeros(0))  # greatest static resistance mobilised [N]
    toe: np.ndarray = field(default_factory=lambda: np.zeros(0))


def masses(rod: Rod, piece: float = 0.45) -> tuple[int, int, float]:
    """Number of masses, of those above the gauges, and their length [m]; gauges sit between two masses."""
    above = max(2, round(rod.above / piece))
    size = rod.above / above
    return above + round(rod.below / size), above, size


def along_shaft(rod: Rod, embedded: float, shape, piece: float = 0.45) -> np.ndarray:
    """Share of the shaft resistance at each mass; `shape` gives its density from 0 at the ground to 1 at the toe."""
    count, _, size = masses(rod, piece)
    middle = (np.arange(count) + 0.5) * size
    at = 1.0 - (count * size - middle) / embedded
    share = np.where(at >= 0.0, shape(np.clip(at, 0.0, 1.0)), 0.0)
    return share / share.sum()


class _Cushion:
    """Loads along its stiffness, unloads steeper by 1/e^2, and never pulls (Smith 1960)."""

    def __init__(self, stiffness, restitution, piles):
        self.k, self.steep = stiffness, stiffness / restitution**2
        self.most = np.zeros(piles)

    def force(self, squeezed):
        self.most = np.maximum(self.most, squeezed)
        line = self.k * self.most - self.steep * (self.most - squeezed)
        return np.maximum(np.minimum(line, self.k * squeezed), 0.0)


class _Chamber:
    """The gas between ram and anvil."""

    def __init__(self, gas: Gas, piles: int):
        self.gas, self.dead = gas, gas.compression_stroke / (gas.ratio - 1.0)
        self.since = np.full(piles, -1.0)
        self.burnt = np.zeros(piles)  # p V^n after combustion

    def force(self, apart, touching, dt):
        """Force on ram and anvil [N] from their distance [m] and whether they have met."""
        g = self.gas
        self.since = np.where(touching | (self.since >= 0.0), np.where(self.since < 0.0, 0.0, self.since + dt), -1.0)
        depth = np.maximum(apart, -0.7 * self.dead) + self.dead
        whole = g.compression_stroke + self.dead
        squeezed = ATMOSPHERE * (whole / depth) ** g.compression_exponent
        burning = np.clip((self.since - g.delay) / g.rise, 0.0, 1.0)
        pressure = squeezed + burning * np.maximum(g.combustion_pressure - squeezed, 0.0)
        after = self.since > g.delay + g.rise + g.plateau
        self.burnt = np.where(after, self.burnt, pressure * depth**g.expansion_exponent)
        pressure = np.where(after, self.burnt / depth**g.expansion_exponent, pressure)
        return np.where(apart < g.compression_stroke, np.maximum(pressure - ATMOSPHERE, 0.0), 0.0) * g.area


class _Resistance:
    """Soil at every mass and, in the last row, at the toe."""

    def __init__(self, ground: Ground, rod: Rod, size: float, step: float):
        n, piles = ground.shaft.shape
        self.limit = np.vstack([ground.shaft, np.broadcast_to(ground.toe, (1, piles))])
        self.law, self.hyperbolic, self.step = ground.law, ground.hyperbolic, step

        def rows(shaft, toe):
            shaft, toe = np.asarray(shaft, float), np.asarray(toe, float)
            shaft = shaft[:, None] if shaft.ndim == 1 else shaft
            return np.vstack([np.broadcast_to(shaft, (n, piles)), np.broadcast_to(toe, (1, piles))])

        self.j = rows(ground.shaft_damping, ground.toe_damping)
        more = np.zeros(n + 1) if ground.viscous_rows is None else np.append(ground.viscous_rows, 0.0)
        self.viscous = more[:, None] * self.limit
        quake = rows(ground.shaft_quake, ground.toe_quake)
        if ground.law == "viscous":
            self.viscous = self.viscous + self.j * self.limit
        self.k = self.limit / quake
        if ground.law == "radiation":  # the shear modulus is what gives the quake
            r, rho = rod.perimeter_radius, ground.soil_density
            self.c = 2.0 * np.pi * r * size * np.sqrt(self.k / (2.9 * size) * rho)
            self.c[-1] = 3.4 * r**2 * np.sqrt(self.k[-1] * (1.0 - ground.poisson) / (4.0 * r) * rho)
            self.soil = np.zeros_like(self.limit)
        self.lower = -self.limit.copy()
        self.lower[-1] = 0.0
        self.slid = np.zeros_like(self.limit)  # plastic part of the movement
        self.greatest = np.zeros_like(self.limit)  # static resistance

    def force(self, u, v):
        if self.law == "radiation":
            return self._radiating(u, v)
        static = self.k * (u - self.slid)
        upper = self.limit
        if self.hyperbolic:
            way = np.maximum(u, 0.0) * self.k
            upper = np.minimum(way / (1.0 + FAILURE_RATIO * way / (self.limit + 1e-9)), self.limit)
        bounded = np.minimum(np.maximum(static, self.lower), upper)
        shift = (static - bounded) / np.maximum(self.k, 1e-9)
        shift[-1] = np.maximum(shift[-1], 0.0)  # a toe that lifts off leaves the soil where it was
        self.slid += shift
        np.maximum(self.greatest, bounded, out=self.greatest)
        if self.law == "smith":
            f = bounded + self.j * np.abs(bounded) * v
        elif self.law == "rate power":
            speed = np.abs(v)
            f = bounded + self.j * np.abs(bounded) * np.sign(v) * speed**0.2 * np.minimum(speed / 0.05, 1.0)
        else:
            f = bounded.copy()
        f += self.viscous * v
        f[-1] = np.where(bounded[-1] > 0.0, np.maximum(f[-1], 0.0), 0.0)
        return f

    def _radiating(self, u, v):
        """Ground of spring and dashpot, and a slider between it and the pile; `soil` is how far the ground moved."""
        held = self.k * self.soil + self.c * v
        over = np.abs(held) - self.limit
        over[-1] = np.where(held[-1] > 0.0, over[-1], -1.0)
        limit = self.limit * (1.0 + self.j * self._fifth_root_of_slip(np.maximum(over, 0.0)))
        lower = -limit
        lower[-1] = 0.0
        f = np.minimum(np.maximum(held, lower), limit)
        # slid: how far the toe went through the ground. The ground has not moved in this step yet, so neither may the
        # toe have: one in contact that turns back would else count as parted while the ground still presses on it.
        before = u[-1] - v[-1] * self.step
        parted = before < self.slid[-1] + self.soil[-1] - CLOSED
        f[-1] = np.where(parted, 0.0, f[-1])
        moves = (f - self.k * self.soil) / np.maximum(self.c, 1e-9)
        moves = np.where(self.c > 0.0, moves, 0.0)
        self.soil += moves * self.step
        np.maximum(self.greatest, np.minimum(self.k * self.soil, self.limit), out=self.greatest)
        self.slid[-1] = np.maximum(self.slid[-1], u[-1] - self.soil[-1])
        return f + self.viscous * v

    def _fifth_root_of_slip(self, over):
        """x of c x^5 + j limit x = over by Newton's method, which comes down to it: the slip is x^5 [(m/s)^0.2].

        The slip of the step before would not do: the limit rises so steeply from rest that every other step would
        slip, and the rest stick."""
        c, a = np.maximum(self.c, 1e-9), np.maximum(self.j * self.limit, 1e-9)
        x = np.minimum((over / c) ** 0.2, over / a)
        for _ in range(6):
            fourth = x**2 * x**2
            x = x - (c * fourth * x + a * x - over) / np.maximum(5.0 * c * fourth + a, 1e-9)
        return x


def drive(
    rod: Rod,
    driver: Driver,
    ground: Ground,
    stroke: np.ndarray,
    *,
    efficiency: np.ndarray | None = None,
    sample: float = 50e-6,
    before: float = 6e-3,
    duration: float = 0.1,
    settle: float = 0.09,
    piece: float = 0.45,
    blows_before: int = 0,
) -> Blows:
    """Strike every pile from rest, once or after so many blows whose stress stays in it; stroke [m], a value a pile.

    The set is where the toe comes to rest. Traces begin `before` the first contact of the ram (of the quickest pile).
    """
    stroke = np.atleast_1d(np.asarray(stroke, float))
    piles = len(stroke)
    count, above, size = masses(rod, piece)
    m = rod.density * rod.area * size
    k = rod.modulus * rod.area / size
    head = 1.0 / (1.0 / (2.0 * k) + (0.0 if np.isinf(driver.pile_cushion) else 1.0 / driver.pile_cushion))
    steep = driver.cushion / driver.restitution**2 + head / driver.pile_cushion_restitution**2
    step = min(0.35 * size / np.sqrt(rod.modulus / rod.density), 0.2 * np.sqrt(driver.helmet / steep))
    soil = _Resistance(ground, rod, size, step)
    share = driver.efficiency if efficiency is None else np.asarray(efficiency)
    start = 0.0 if driver.gas is None else driver.gas.compression_stroke
    u = np.zeros((count, piles))
    for _ in range(blows_before + 1):
        gas = None if driver.gas is None else _Chamber(driver.gas, piles)
        ram = u[0] - start
        ram_v = np.sqrt(2.0 * FREE_FALL * share * np.maximum(stroke - start, 0.0))
        helmet, helmet_v = u[0].copy(), np.zeros(piles)
        cushion = _Cushion(driver.cushion, driver.restitution, piles)
        top = _Cushion(head, driver.pile_cushion_restitution, piles)
        v, toe_before = np.zeros((count, piles)), u[-1].copy()
        soil.greatest[:] = 0.0
        net, ends = np.empty_like(u), np.empty((count + 1, piles))
        met = np.zeros(piles, bool)
        first = None if start else 0  # the step at which the first ram meets its anvil
        impact = np.zeros(piles)
        forces, speeds, toes = [], [], []
        most, least = np.full(piles, 0.0), np.full(piles, 0.0)
        lead_steps = int(0.5 / step) if start else 0
        total, number = None, 0
        while total is None or number < total:
            ram = ram + ram_v * step
            helmet = helmet + helmet_v * step
            u += v * step
            ends[:-1], ends[-1] = u, u[-1]
            speed = np.vstack([v, v[-1:]])
            resistance = soil.force(ends, speed)
            on_helmet = cushion.force(ram - helmet)
            touching = ram >= helmet
            impact = np.where(touching & ~met, 0.5 * driver.ram * ram_v**2, impact)
            met |= touching
            pressed = top.force(helmet - u[0])
            inner = k * (u[:-1] - u[1:] + INTERNAL_DAMPING * (v[:-1] - v[1:]))
            blown = 0.0 if gas is None else gas.force(helmet - ram, met, step)
            ram_v = ram_v + (FREE_FALL - (on_helmet + blown) / driver.ram) * step
            # The helmet rests on the pile before the blow, so only what leaves it again has weight to fall with.
            weight = np.where(pressed > 0.0, 0.0, np.where(helmet < u[0], FREE_FALL, 0.0))
            helmet_v = helmet_v + ((on_helmet + blown - pressed) / driver.helmet + weight) * step
            np.negative(resistance[:-1], out=net)
            net[0] += pressed
            net[:-1] -= inner
            net[1:] += inner
            net[-1] -= resistance[-1]
            before_v = 0.5 * (v[above - 1] + v[above])
            v += net * (step / m)
            forces.append(inner[above - 1].copy())
            speeds.append(0.5 * (before_v + 0.5 * (v[above - 1] + v[above])))
            toes.append(u[-1] - toe_before)
            np.maximum(most, inner.max(axis=0), out=most)
            np.minimum(least, inner.min(axis=0), out=least)
            if first is None and met.any():
                first = number
            number += 1
            if total is None and (first is not None or number > lead_steps):
                first = number if first is None else first
                total = first + int((duration - before + settle) / step)
    time = (np.arange(number) - first) * step
    force, velocity, toe = np.array(forces), np.array(speeds), np.array(toes)
    grid = np.arange(round(duration / sample)) * sample - before
    at = [np.array([np.interp(grid, time, t, left=t[0] if start else 0.0) for t in x.T]) for x in (force, velocity)]
    energy = (np.cumsum(force * velocity, axis=0) * step).max(axis=0)
    rest = toe[-int(0.03 / step) :].mean(axis=0)
    return Blows(
        grid,
        *at,
        rest,
        toe.max(axis=0),
        energy,
        force.max(axis=0),
        most / rod.area,
        -least / rod.area,
        impact,
        soil.greatest[:-1].sum(axis=0),
        soil.greatest[-1],
    )
