"""The simulator against an independent integration of the same case by SciPy's ordinary differential equation solver.

The pile is lumped into masses joined by springs, the soil into elastic-plastic springs (as rate equations that stop at
their bounds) and dashpots. Both are refined; the difference must shrink and end small.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from dyntest.pile import Pile, PilePart
from dyntest.wave_equation.simulator import impose_force, simulate
from dyntest.wave_equation.soil import SoilModel, mesh_pile

LENGTH, AREA, MODULUS, DENSITY = 10.0, 0.0138, 207e9, 7850.0
END = 0.016
LEVELS = np.array([0.4, 0.6, 0.8, 1.0])
"""Where the soil holds the pile, over its length; the last is the toe."""
LIMIT = np.array([2e5, 2e5, 2e5, 4e5])
QUAKE = np.array([0.0025, 0.0025, 0.0025, 0.004])
DAMPING = np.array([4e4, 4e4, 4e4, 1e5])


POWER_FACTOR = 0.5
"""Factor of the power of the velocity [(s/m)^0.5]."""


def push(time):
    """Force on the head: a smooth push of 1.6 MN in 6 ms."""
    return 1.6e6 * np.sin(np.pi * np.clip(time / 6e-3, 0.0, 1.0)) ** 2


def lumped(n, *, smith=False, unloading=1.0, hyperbolic=False, gap=0.0, plug=0.0, power=None, radiation=None):
    """Movement of the toe at given times by solve_ivp, with n springs of pile."""
    mass = np.full(n + 1, DENSITY * AREA * LENGTH / n)
    mass[[0, -1]] /= 2.0
    mass[-1] += plug
    stiffness = MODULUS * AREA * n / LENGTH
    at = np.round(LEVELS * n).astype(int)
    k = LIMIT / QUAKE / unloading
    lower = np.array([*-LIMIT[:-1], 0.0])
    own = np.array([0.0, 0.0, 0.0, gap])

    def first_loading(moved):
        way = np.maximum(moved - own, 0.0)
        return LIMIT * way / (way + QUAKE) if hyperbolic else np.minimum(LIMIT / QUAKE * way, LIMIT)

    def first_stiffness(moved):
        way = np.maximum(moved - own, 0.0)
        if hyperbolic:
            return LIMIT * QUAKE / (way + QUAKE) ** 2
        return np.where(LIMIT / QUAKE * way < LIMIT, LIMIT / QUAKE, 0.0)

    def radiating(speed, spring, apart):
        """Reaction, rate of the spring and of the toe gap: spring and dashpot under one slider."""
        stuck = spring + radiation * speed
        reaction = np.clip(stuck, lower, LIMIT)
        reaction[-1] = 0.0 if apart > 0.0 else reaction[-1]
        soil = (reaction - spring) / radiation
        opens = soil[-1] - speed[-1] if apart > 0.0 or stuck[-1] < 0.0 else 0.0
        return reaction, k * soil, opens

    curved = hyperbolic or unloading != 1.0

    def rates(time, state):
        u, v, spring, apart = np.split(state, [n + 1, 2 * n + 2, 2 * n + 6])
        speed = v[at]
        force = np.maximum(spring, lower)  # the toe's spring remembers a gap below 0
        rate = k * speed
        upper, rising = LIMIT, 0.0
        if curved:
            upper = first_loading(u[at])
            rising = first_stiffness(u[at]) * speed
        bound = (spring >= upper) & (rate > rising)
        rate = np.where(bound, rising - 1e4 * (spring - upper), rate)  # pulls a drift off the curve back onto it
        held = (spring <= lower) & (rate < 0.0)
        held[-1] = False
        rate = np.where(held, 0.0, rate)
        damping = DAMPING * (np.abs(force) / LIMIT if smith else 1.0)
        reaction = np.zeros(n + 1)
        static = np.minimum(force, upper)
        reaction[at] = static + damping * speed
        if power is not None:
            reaction[at] = static + POWER_FACTOR * np.abs(static) * np.sign(speed) * np.abs(speed) ** power
        opens = 0.0
        if radiation is not None:
            reaction[at], rate, opens = radiating(speed, spring, apart[0])
        axial = stiffness * (u[:-1] - u[1:])
        net = -reaction
        net[1:] += axial
        net[:-1] -= axial
        net[0] += push(time)
        return np.concatenate([v, net / mass, rate, [opens]])

    start = np.zeros(2 * n + 7)
    start[2 * n + 5] = -gap * k[-1]
    times = np.linspace(0.0, END, 81)
    step = 0.5 * LENGTH / n / np.sqrt(MODULUS / DENSITY)
    solution = solve_ivp(rates, (0.0, END), start, "RK45", times, max_step=step, rtol=1e-5, atol=1e-9)
    assert solution.success
    return times, solution.y[n]


def simulated(n, *, smith=False, unloading=1.0, hyperbolic=False, gap=0.0, plug=0.0, power=None, radiation=None):
    """The same by the simulator with n segments."""
    mesh = mesh_pile(Pile("P1", "steel", (PilePart(LENGTH, AREA, MODULUS, DENSITY),)), n)
    rows = np.round(LEVELS * n).astype(int) - 1
    limit, quake, damping = np.zeros((n, 1)), np.ones((n, 1)), np.zeros((n, 1))
    limit[rows, 0], quake[rows, 0], damping[rows, 0] = LIMIT, QUAKE, DAMPING
    soil = SoilModel(
        limit,
        quake,
        np.zeros((n, 1)) if smith or power or radiation else damping,
        smith_damping=damping / np.maximum(limit, 1.0) if smith else None,
        unloading_quake=unloading * quake if unloading != 1.0 else None,
        hyperbolic=hyperbolic,
        toe_gap=np.array([gap]) if gap else None,
        plug_mass=np.array([plug]) if plug else None,
        rate_damping=None if power is None else np.where(limit > 0.0, POWER_FACTOR, 0.0),
        rate_power=power or 0.2,
        radiation=None if radiation is None else np.where(limit > 0.0, radiation, 0.0),
    )
    n_steps = int(np.ceil(END / mesh.time_step)) + 1
    motion = simulate(mesh, soil, impose_force(push(np.arange(n_steps) * mesh.time_step)), n_steps)
    return motion.time, motion.toe_displacement[:, 0]


CASES = {
    "elastic-plastic": {},
    "Smith damping": {"smith": True},
    "unloading quake": {"unloading": 0.4},
    "hyperbolic": {"hyperbolic": True},
    "hyperbolic with unloading quake": {"hyperbolic": True, "unloading": 0.4},
    "gap": {"gap": 0.003},
    "gap, hyperbolic": {"gap": 0.003, "hyperbolic": True},
    "plug": {"plug": 300.0},
    "power of the velocity": {"power": 0.5},
    "power, hyperbolic": {"power": 0.5, "hyperbolic": True},
    "radiation": {"radiation": 1e5},
}


SLOW = ("hyperbolic with unloading quake", "gap, hyperbolic", "power, hyperbolic", "plug", "radiation")
"""What takes SciPy's solver longest."""


@pytest.mark.parametrize(
    "case",
    [pytest.param(case, id=name, marks=[pytest.mark.sweep] * (name in SLOW)) for name, case in CASES.items()],
)
def test_toe_movement(case):
    times, reference = lumped(80, **case)
    _, coarse_reference = lumped(40, **case)
    # The reference itself is converged: halving its elements changes little.
    np.testing.assert_allclose(coarse_reference, reference, atol=5e-4 * reference.max())
    errors = []
    for n in (20, 80):
        time, moved = simulated(n, **case)
        errors.append(np.abs(np.interp(times, time, moved) - reference).max() / reference.max())
    assert errors[0] < 2e-3
    assert errors[1] < 5e-4
    assert errors[1] < 0.5 * errors[0]
