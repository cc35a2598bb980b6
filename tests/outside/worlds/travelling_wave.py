"""Simulated records of driven piles in soils that matching need not assume; shares no code with the library.

Waves travel one segment a step (d'Alembert), the soil at each node is any rising law ``R(v)``, and the velocity of the
node is found by bisection of ``(Z1 + Z2) v + R(v) = 2 down − 2 up``. Laws:

* ``smith``: ``S (1 + J v)``; ``power``: ``S (1 + J v^N)`` with any N (Coyle and Gibson 1970, from memory);
  ``viscous``: ``S + J S_limit v``; ``mixed``: a viscous soft layer in a soil that damps after Smith;
* ``radiation``: spring and dashpot side by side under a slider whose limit grows with the slip rate,
  ``L (1 + a w^b)`` (Randolph and Simons 1986, from memory), at the toe an elastic half-space (Lysmer, from memory);
* backbone: a spring with a limit, or a hyperbola; unloading stiffer than loading; quakes that differ along the shaft;
  a weaker limit upward; a toe gap.

The hammer is a ram on a cushion on a helmet, in explicit substeps, with the upward wave reflected from it. Gauges have
a gain and noise. Truth is the greatest static force that the blow mobilised at every node, and the set is where
the toe came to rest.
"""

from dataclasses import dataclass, field

import numpy as np

N_NODES = 84
RATE = 20e3
DURATION, QUIET = 0.1, 6e-3
BISECTIONS = 14
FAMILIES = ("smith", "power", "viscous", "mixed", "radiation")


@dataclass(frozen=True)
class World:
    """One pile with its soil, and what its gauges would record; arrays of force and velocity (n_blows, n_samples)."""

    name: str
    family: str
    material: str
    length: float
    area: float
    modulus: float
    density: float
    embedded: float
    time: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    total: np.ndarray
    shaft: np.ndarray
    toe: np.ndarray
    set_per_blow: np.ndarray
    told: dict = field(default_factory=dict)


def worlds(
    n: int, seed: int, families=FAMILIES, n_blows: int = 5, gain: float = 0.025, concrete: float = 0.35, **fixed
):
    """Give n piles of random size, soil, law, hammer and gauge errors."""
    rng = np.random.default_rng(seed)
    plans = [_plan(rng, families[i % len(families)], gain, concrete, fixed) for i in range(n)]
    motions: list = [None] * n
    for family in families:  # apart, since each family has its own way to the velocity
        places = [i for i, plan in enumerate(plans) if plan["family"] == family]
        for place, motion in zip(places, _run([plans[i] for i in places], n_blows) if places else (), strict=True):
            motions[place] = motion
    return [
        _record(plan, rng, *motion, f"W{seed}-{i}") for i, (plan, motion) in enumerate(zip(plans, motions, strict=True))
    ]


def _plan(rng, family, gain, concrete, fixed):
    p = {"family": family, "material": "concrete" if rng.random() < concrete else "steel"}
    if p["material"] == "steel":
        p |= {"area": rng.uniform(0.009, 0.022), "modulus": 207e9, "density": 7850.0}
        p["width"], p["length"] = rng.uniform(0.25, 0.36), rng.uniform(13.0, 32.0)
        p["speed_error"] = 0.0
    else:
        speed, side = rng.uniform(3600.0, 4100.0), rng.uniform(0.3, 0.45)
        p |= {"area": side**2, "density": 2450.0, "width": side, "modulus": 2450.0 * speed**2}
        p["length"], p["speed_error"] = rng.uniform(12.0, 26.0), rng.choice([-0.03, 0.0, 0.03])
    if rng.random() < 0.15:
        p["length"] *= 1.8
    p["embedded"] = p["length"] * rng.uniform(0.75, 0.95)
    p["impedance"] = p["area"] * np.sqrt(p["modulus"] * p["density"])
    p["gain"] = 1.0 + rng.uniform(-gain, gain)
    # resistance against the force that a hammer of this size makes, and how much of it is at the toe
    p["peak"] = p["impedance"] * rng.uniform(2.5, 3.6) * (1.0 if p["material"] == "steel" else 0.55)
    p["limit"] = p["peak"] * rng.uniform(0.55, 1.25) * (1.0 if p["length"] < 35 else 0.9)
    p["toe_share"] = rng.uniform(0.08, 0.65)
    p["shape"] = rng.uniform(0.0, 2.0)
    p["wiggle"] = rng.uniform(0.0, 0.5, 3)
    p["shaft_quake"] = 2.5e-3 * np.exp(rng.normal(0.0, 0.3))
    p["toe_quake"] = p["width"] / 90.0 * np.exp(rng.normal(0.0, 0.4))
    p["unloading"] = rng.choice([1.0, 1.0, 0.7])
    p["upward"] = rng.uniform(0.6, 1.0)
    p["gap"] = rng.choice([0.0, 0.0, 0.0, 0.001])
    p["hyperbolic"] = rng.random() < 0.2 and family != "radiation"
    clay = rng.random()
    p["soil"] = "clay" if clay > 0.6 else ("sand" if clay < 0.3 else "silt")
    j = 0.2 + 0.6 * clay
    p["power"] = 1.0
    p["shaft_rate"], p["toe_rate"] = j * np.exp(rng.normal(0, 0.3)), 0.5 * np.exp(rng.normal(0, 0.35))
    if family == "power":
        p["power"] = rng.choice([0.15, 0.2, 0.3, 0.5])
        p["shaft_rate"], p["toe_rate"] = 0.25 + 0.75 * clay, rng.uniform(0.2, 0.7)
    if family == "radiation":
        p["power"] = rng.choice([0.2, 0.3])
        p["shaft_rate"], p["toe_rate"] = 0.1 + 0.8 * clay, rng.uniform(0.05, 0.4)
        p["open_toe"] = rng.random() < 0.5  # the toe's dashpot outside the slider
        p["shear_speed"], p["toe_speed"] = rng.uniform(90.0, 220.0), rng.uniform(150.0, 300.0)
        p["shaft_quake"] = 1.3e-3 * np.exp(rng.normal(0.0, 0.4))
    p["layer"] = (rng.uniform(0.1, 0.4), rng.uniform(0.45, 0.7), rng.uniform(1.0, 2.5))
    p["cushion"] = p["impedance"] * rng.uniform(600.0, 1500.0)
    p["ram"] = p["impedance"] * rng.uniform(3.2e-3, 7e-3) * (1.0 if p["length"] < 35 else 1.3)
    return p | fixed


def _column(plans, name):
    return np.array([plan[name] for plan in plans], dtype=float)


def _run(plans, n_blows, strokes=(1.0, 0.85, 1.2, 0.93, 1.1, 0.75)):
    plans_of = [plan for plan in plans for _ in range(n_blows)]
    m = len(plans_of)
    get = lambda name: _column(plans_of, name)  # noqa: E731
    z, length, embedded = get("impedance"), get("length"), get("embedded")
    above = 0.9
    speed = np.sqrt(get("modulus") / get("density"))
    dx = length / N_NODES
    dt = dx / speed
    extra = np.maximum(np.round(above / dx), 1).astype(int)
    most = int(extra.max())
    n = N_NODES + most  # segments; column j begins at row most - extra[j]
    depth = (np.arange(1, n + 1)[:, None] - most) * dx  # below the gauges
    middle = depth - 0.5 * dx
    into = np.clip((middle - (length - embedded)) / embedded, 0.0, None)
    weight = np.where(into > 0.0, 0.3 + get("shape") * into, 0.0)
    for k in range(3):
        weight *= 1.0 + np.array([p["wiggle"][k] for p in plans_of]) * np.sin((2 + 2 * k) * np.pi * into + k)
    weight = np.maximum(weight, 0.0)
    weight[-1] = 0.0
    limit = get("limit") * (1.0 - get("toe_share")) * weight / weight.sum(axis=0)
    left = (1.0 - np.array([plan.get("fade", 0.0) for plan in plans_of])) ** np.tile(np.arange(n_blows), len(plans))
    limit *= left * np.array([plan.get("grown", 1.0) for plan in plans_of])
    limit[-1] = get("limit") * get("toe_share")
    quake = np.broadcast_to(get("shaft_quake"), limit.shape) * (0.7 + 0.6 * np.clip(into, 0.0, 1.0))
    quake[-1] = get("toe_quake")
    k_load = limit / quake
    k_un = k_load / get("unloading")
    lower = -limit * get("upward")
    lower[-1] = 0.0
    rate = np.broadcast_to(get("shaft_rate"), limit.shape).copy()
    rate[-1] = get("toe_rate")
    power = get("power")
    family = np.array([plan["family"] for plan in plans_of])
    viscous = np.zeros(limit.shape, dtype=bool)
    viscous[:, family == "viscous"] = True
    for j in np.flatnonzero(family == "mixed"):
        top, bottom, strong = plans_of[j]["layer"]
        soft = (into[:, j] >= top) & (into[:, j] < bottom)
        soft[-1] = False
        viscous[soft, j] = True
        rate[soft, j] *= strong
    linear = np.where(viscous, rate * limit, 0.0)
    grows = np.where(viscous, 0.0, rate)
    radiating = family == "radiation"
    dashpot = np.full(limit.shape, np.inf)
    for j in np.flatnonzero(radiating):
        p = plans_of[j]
        radius = p["width"] / 2.0
        dashpot[:, j] = k_load[:, j] * 2.0 * np.pi * radius / (2.9 * p["shear_speed"])
        dashpot[-1, j] = k_load[-1, j] * 3.4 * radius / (4.0 * p["toe_speed"])
    open_toe = np.array([plan.get("open_toe", False) for plan in plans_of])
    curved = np.array([plan["hyperbolic"] for plan in plans_of])
    gap = get("gap")

    # hammer: ram, cushion with loss, helmet on the pile
    ram, cushion = get("ram"), get("cushion")
    helmet = 0.12 * ram
    factor = np.tile(np.array([strokes[i % len(strokes)] for i in range(n_blows)]), len(plans))
    v_ram = get("peak") / z * 1.35 * np.sqrt(factor)
    v_helmet, squeeze, force_c, most_squeeze = (np.zeros(m) for _ in range(4))
    head_row = most - extra

    down, up = np.zeros((n + 1, m)), np.zeros((n + 1, m))  # arriving at the lower, leaving at the upper end of segments
    spring, moved = np.zeros((n, m)), np.zeros((n, m))
    moved[-1] -= gap
    greatest = np.zeros((n, m))
    steps = int(np.ceil(0.13 / dt.min()))
    f_out, v_out = np.empty((steps, m)), np.empty((steps, m))
    toe_out = np.empty((steps, m))
    columns = np.arange(m)
    first_soil = int(np.flatnonzero((limit > 0).any(axis=1))[0])
    rows = slice(first_soil, n)
    lim, low, kl, ku = limit[rows], lower[rows], k_load[rows], k_un[rows]
    lin, gro, dash = linear[rows], grows[rows], dashpot[rows]
    toe_way = np.zeros(m)
    z2 = np.full((n, m), 2.0) * z
    z2[-1] = z
    for step in range(steps):
        arriving_d, arriving_u = down[1:].copy(), up[1:].copy()  # at nodes 1 … n
        push = 2.0 * arriving_d - 2.0 * arriving_u
        v = push / z2
        s, way = spring[rows], moved[rows]
        pushed, zz = push[rows], z2[rows]
        static = _static(s, way, lim, low, kl, ku, curved)

        def resistance(speed, s=s, static=static):
            rise = static(speed * dt)
            powered = np.sign(speed) * np.abs(speed) ** power
            return rise + lin * speed + gro * np.abs(rise) * powered

        aside = (lim + np.abs(s)) / zz
        lo, hi = pushed / zz - aside, pushed / zz + aside
        lo, hi = np.minimum(lo, 0.0), np.maximum(hi, 0.0)
        if radiating.all():
            vs = None
        else:
            # by the power of the velocity, since the force rises without end at no velocity
            a, b = _signed(lo, power), _signed(hi, power)

            def excess(root, pushed=pushed, zz=zz, resistance=resistance):
                speed = _signed(root, 1.0 / power)
                return zz * speed + resistance(speed) - pushed

            for _ in range(BISECTIONS):
                mid = 0.5 * (a + b)
                over = excess(mid) > 0.0
                b = np.where(over, mid, b)
                a = np.where(over, a, mid)
            below, above_it = excess(a), excess(b)
            share = np.clip(-below / np.maximum(above_it - below, 1e-9), 0.0, 1.0)
            vs = _signed(a + share * (b - a), 1.0 / power)
        if radiating.any():
            rad, soil_speed = _radiating(pushed, zz, s, lim, low, kl, gro, dash, power, dt)
            vs = rad if vs is None else np.where(radiating, rad, vs)
            elastic = (pushed[-1] - s[-1]) / (zz[-1] + dash[-1] + kl[-1] * dt)
            there = s[-1] + kl[-1] * elastic * dt
            toe = np.where(there > lim[-1], (pushed[-1] - lim[-1]) / (zz[-1] + dash[-1]), elastic)
            toe = np.where(there < 0.0, pushed[-1] / zz[-1], toe)
            vs[-1] = np.where(open_toe, toe, vs[-1])
        v[rows] = vs
        new = static(vs * dt)
        if radiating.any():
            new = np.where(radiating, s + kl * soil_speed * dt, new)
            under = np.minimum(s[-1] + kl[-1] * vs[-1] * dt, lim[-1])
            new[-1] = np.where(open_toe, under, new[-1])
            new[-1] = np.where(
                radiating & ~open_toe,
                np.maximum(new[-1], np.where(s[-1] <= 0.0, s[-1] + kl[-1] * vs[-1] * dt, 0.0)),
                new[-1],
            )
        spring[rows] = new
        moved[rows] = way + vs * dt
        greatest[rows] = np.maximum(greatest[rows], np.minimum(new, lim))
        # head: helmet and ram in substeps, u is the wave that arrives at the head
        u_head = up[head_row, columns]
        sent = np.zeros(m)
        for _ in range(4):
            h = dt / 4.0
            squeeze = squeeze + (v_ram - v_helmet) * h
            rise = cushion * (v_ram - v_helmet) * h
            loading = squeeze >= most_squeeze
            force_c = np.where(loading, force_c + rise, force_c + rise / 0.6)
            force_c = np.where(squeeze <= -0.5, 0.0, np.maximum(force_c, 0.0))
            most_squeeze = np.maximum(most_squeeze, squeeze)
            v_ram = v_ram - force_c / ram * h
            v_helmet = (v_helmet + (force_c - 2.0 * u_head) / helmet * h) / (1.0 + z / helmet * h)
            free = z * v_helmet + 2.0 * u_head < 0.0
            v_helmet = np.where(free, -2.0 * u_head / z, v_helmet)
            sent += np.where(free, -u_head, z * v_helmet + u_head) / 4.0
        # gauges at node `most`: waves there now
        f_out[step] = down[most] + up[most]
        v_out[step] = (down[most] - up[most]) / z
        toe_way += v[-1] * dt
        toe_out[step] = toe_way
        new_up = arriving_d - z * v  # leaves node i upward through segment i
        new_down = arriving_u[:-1] + z * v[:-1]
        up[:-1] = new_up
        up[-1] = 0.0
        down[2:] = new_down
        down[1] = 0.0
        down[head_row + 1, columns] = sent
        up_masked = np.arange(n + 1)[:, None] < head_row
        up[up_masked] = 0.0
    out = []
    for i in range(len(plans)):
        cut = slice(i * n_blows, (i + 1) * n_blows)
        out.append(
            (np.arange(steps) * dt[i * n_blows], f_out[:, cut], v_out[:, cut], greatest[:, cut], toe_out[:, cut])
        )
    return out


def _signed(values, power):
    return np.sign(values) * np.abs(values) ** power


def _static(s, way, lim, low, kl, ku, curved):
    """Give the static force after a movement; toe rows remember a gap through `way`."""
    quake = lim / np.maximum(kl, 1e-3) + 1e-9

    def after(move):
        there = way + move
        curve = np.where(
            curved, lim * np.maximum(there, 0.0) / (np.maximum(there, 0.0) + 0.5 * quake), kl * np.maximum(there, 0.0)
        )
        cap = np.minimum(curve, lim)
        new = s + ku * move
        new = np.minimum(new, np.maximum(cap, 0.0))
        return np.maximum(new, low)

    return after


def _radiating(push, zz, s, lim, low, kl, grow, dash, power, dt):
    """Give velocity of node and of the soil beside it: stuck while the interface holds, else slipping."""
    c = np.where(dash > 0.0, dash, 1.0)
    stuck = (push - s) / (zz + c + kl * dt)
    held = s + (c + kl * dt) * stuck
    v, soil = stuck.copy(), stuck.copy()
    for sign, bound in ((1.0, lim), (-1.0, -low)):
        slips = sign * held > bound
        a, b = np.zeros_like(v), np.where(slips, np.abs(push) / zz + 1.0, 0.0) ** power
        for _ in range(BISECTIONS + 4):
            root = 0.5 * (a + b)
            r = sign * bound * (1.0 + grow * root)
            speed = (r - s) / (c + kl * dt)
            over = sign * (zz * (speed + sign * root ** (1.0 / power)) + r - push) > 0.0
            b = np.where(over, root, b)
            a = np.where(over, a, root)
        root = 0.5 * (a + b)
        w = root ** (1.0 / power)
        r = sign * bound * (1.0 + grow * root)
        speed = (r - s) / (c + kl * dt)
        v, soil = np.where(slips, speed + sign * w, v), np.where(slips, speed, soil)
    return v, soil


def _record(plan, rng, time, force, velocity, greatest, toe_way, name):
    at = np.arange(round(DURATION * RATE)) / RATE - QUIET
    f = np.array([np.interp(at, time, row, left=0.0) for row in force.T])
    v = np.array([np.interp(at, time, row, left=0.0) for row in velocity.T])
    scale = np.abs(f).max()
    # the sheet tells a wave speed that may be wrong: E = ρ c², so the force that is read from strain goes with c²
    told = plan["modulus"] * (1.0 + plan["speed_error"]) ** 2
    f = f * plan["gain"] * told / plan["modulus"] + 0.002 * scale * rng.standard_normal(f.shape)
    v = v + 0.002 * scale / plan["impedance"] * rng.standard_normal(v.shape)
    tail = time > time[-1] - 0.02
    return World(
        name,
        plan["family"],
        plan["material"],
        plan["length"],
        plan["area"],
        told,
        plan["density"],
        plan["embedded"],
        at + QUIET,
        f,
        v,
        greatest.sum(axis=0),
        greatest[:-1].sum(axis=0),
        greatest[-1],
        toe_way[tail].mean(axis=0),
        plan,
    )
