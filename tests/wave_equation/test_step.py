import math

import numpy as np
import pytest
from scipy.optimize import brentq

from dyntest.wave_equation.rest import next_blow
from dyntest.wave_equation.simulator import impose_velocity, simulate
from dyntest.wave_equation.soil import Mesh, SoilModel, at_rest
from dyntest.wave_equation.step import exponential, find_velocity, logarithm

LIMIT, QUAKE, UNLOADING = 1e5, 0.0025, 0.001
MESH = Mesh(1e-5, np.array([0.0, 0.05]), np.array([5e7]), np.array([0.01]), np.array([500.0]))
"""A short stiff block, whose only node follows the imposed velocity."""


def soil(**options):
    return SoilModel(*(np.full((1, 1), value) for value in (LIMIT, QUAKE, 0.0)), **options)


def push(law, way, state, speed=0.2):
    """Movements and static forces while the block is pushed by a way, slowly; and the state after."""
    steps = max(round(abs(way) / speed / MESH.time_step), 1)
    moved, force, start = [], [], 0.0 if state is None else float(state.toe_displacement[0])
    velocity = np.full(steps, np.sign(way) * speed)
    for part in np.array_split(velocity, 40):
        motion = simulate(MESH, law, impose_velocity(part, MESH.impedance[0]), len(part), start=state)
        state = motion.state
        moved.append(state.toe_displacement[0] - start)
        force.append(state.spring[0, 0])
    return np.array(moved), np.array(force), state


def hyperbola(way):
    return LIMIT * way / (way + QUAKE)


def test_first_loading_follows_the_hyperbola():
    moved, force, _ = push(soil(hyperbolic=True), 0.02, None)
    np.testing.assert_allclose(force, hyperbola(moved), rtol=2e-3)


def test_first_loading_follows_the_line_up_to_the_limit():
    moved, force, _ = push(soil(unloading_quake=np.full((1, 1), UNLOADING)), 0.01, None)
    np.testing.assert_allclose(force, np.minimum(LIMIT * moved / QUAKE, LIMIT), rtol=2e-3)


@pytest.mark.parametrize("hyperbolic", [True, False])
def test_unloading_and_reloading_follow_the_unloading_line(hyperbolic):
    law = soil(hyperbolic=hyperbolic, unloading_quake=np.full((1, 1), UNLOADING))
    moved, force, state = push(law, 0.004, None)
    top, reached = force[-1], moved[-1]
    back, force, state = push(law, -0.0004, state)
    np.testing.assert_allclose(force, top + back * LIMIT / UNLOADING, rtol=5e-3)
    bottom = force[-1]
    again, force, state = push(law, 0.0008, state)
    total = reached + back[-1] + again
    curve = hyperbola(total) if hyperbolic else np.minimum(LIMIT * total / QUAKE, LIMIT)
    np.testing.assert_allclose(force, np.minimum(bottom + again * LIMIT / UNLOADING, curve), rtol=5e-3)


@pytest.mark.parametrize("left", [0.4 * LIMIT, 0.0, 0.9 * LIMIT])
def test_a_new_blow_begins_on_the_curve_at_the_force_left(left):
    law = soil(hyperbolic=True, unloading_quake=np.full((1, 1), UNLOADING))
    start = at_rest(MESH, law)
    start.spring[:] = left
    moved, force, _ = push(law, 0.01, next_blow(start))
    begins = QUAKE * left / (LIMIT - left)
    np.testing.assert_allclose(force, hyperbola(begins + moved), rtol=5e-3)


def test_a_gap_is_closed_before_the_curve_begins():
    law = soil(hyperbolic=True, toe_gap=np.array([0.003]))
    moved, force, _ = push(law, 0.01, None)
    np.testing.assert_allclose(np.maximum(force, 0.0), hyperbola(np.maximum(moved - 0.003, 0.0)), atol=2e-3 * LIMIT)


def test_logarithm_and_exponential_are_those_of_the_c_library():
    values = np.concatenate([np.linspace(-700.0, 700.0, 4001), [0.0, -0.0, 1e-300, 0.5 * math.log(2.0), math.log(2.0)]])
    np.testing.assert_allclose([exponential(x) for x in values], np.exp(values), rtol=1e-12)
    forces = np.concatenate([np.geomspace(1e-290, 1e290, 4001), [1.0, 2.0, math.sqrt(2.0), np.nextafter(1.0, 2.0)]])
    np.testing.assert_allclose([logarithm(x) for x in forces], np.log(forces), rtol=1e-12, atol=1e-12)


def test_the_velocity_is_the_root_that_scipy_finds():
    """Velocities from a nanometre to a hundred metres a second, from nearly all viscous to nearly all rate effect."""
    rng = np.random.default_rng(5)
    count, most = 400, 1e-4  # relative error after two steps
    impedance, power = np.exp(rng.uniform(9.0, 16.0, count)), rng.uniform(0.05, 1.0, count)
    q, w = np.exp(rng.uniform(-3.0, 16.0, count)), np.exp(rng.uniform(-3.0, 16.0, count))
    found, scratch = np.empty(count), np.empty(count)
    find_velocity(np.log(impedance), power, q, w.copy(), found, scratch)
    for place in range(count):

        def miss(log_velocity, place=place):
            parts = impedance[place] * np.exp(log_velocity), q[place] * np.exp(power[place] * log_velocity)
            return np.log(sum(parts)) - np.log(w[place])

        root = max(brentq(miss, -700.0, 50.0, xtol=1e-12), -18.0)
        assert found[place] == pytest.approx(root, abs=most + 2e-3 / min(q[place], w[place]) / power[place])
