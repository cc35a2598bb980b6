"""What a candidate costs: the simulator against the bare recurrence of one soil law, and how both grow.

Run with ``pytest tests/benchmarks/test_simulator_speed.py --benchmark-enable -s``; the figures are printed. Both are
machine code made by Numba, and both sides must give the same waves before they are timed. What the simulator costs more
is the price of all its laws, heads and outputs.
"""

import time

import numba
import numpy as np
import pytest

from dyntest.pile import Pile, PilePart
from dyntest.wave_equation.simulator import impose_down_wave, simulate
from dyntest.wave_equation.soil import build_soil, lower_bound, mesh_pile, place_shaft, unloading_stiffness

SEGMENTS, STEPS, CANDIDATES = 64, 700, 64
REPEATS = 7


@numba.njit
def march(z, limit, lower, half_stiffness, damping, sent, up_out, down_out, toe_out, dt):
    """Equations (1) to (5) of the simulator, one candidate after another, in the nearest memory of the processor."""
    candidates, n = limit.shape
    down, up = np.zeros(n + 1), np.zeros(n + 2)
    new_down, new_up = np.zeros(n + 1), np.zeros(n + 2)
    spring, velocity, inverse, inverse_trial = np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    below = np.zeros(n)
    below[:-1] = z[1:]
    for c in range(candidates):
        for array in (down, up, new_down, new_up, spring, velocity):
            array[:] = 0.0
        upper, least, half = limit[c], lower[c], half_stiffness[c]
        for i in range(n):
            inverse[i] = 1.0 / (z[i] + below[i] + damping[c, i])
            inverse_trial[i] = 1.0 / (z[i] + below[i] + damping[c, i] + half[i])
        way = 0.0
        for step in range(len(sent)):
            up_out[c, step], down_out[c, step] = up[1], sent[step]
            memory = spring[n - 1] + half[n - 1] * velocity[n - 1]
            for i in range(n):
                push = 2.0 * (down[i] - up[i + 2])
                force = spring[i] + half[i] * velocity[i]
                force += half[i] * (push - force) * inverse_trial[i]
                force = min(max(force, least[i]), upper[i])
                speed = (push - force) * inverse[i]
                spring[i], velocity[i] = force, speed
                new_up[i + 1] = down[i] - z[i] * speed
                new_down[i + 1] = up[i + 2] + below[i] * speed
            spring[n - 1] = min(spring[n - 1], memory + half[n - 1] * velocity[n - 1])
            new_down[0] = sent[step]
            down, new_down, up, new_up = new_down, down, new_up, up
            way += velocity[n - 1]
            toe_out[c, step] = (way - 0.5 * velocity[n - 1]) * dt


def problem(segments=SEGMENTS, steps=STEPS, candidates=CANDIDATES, **options):
    """An invented steel pile of 20 m in soil from 3 m down, each candidate with its own resistances."""
    mesh = mesh_pile(Pile("P1", "steel", (PilePart(20.0, 0.0138, 207e9, 7850.0),)), segments)
    rng = np.random.default_rng(4)
    shaft = place_shaft(mesh, 3.0, 20.0, 5e4 * (0.5 + rng.random((17, candidates))))
    values = {"shaft_quake": 0.0025, "toe_quake": 0.004, "shaft_damping": 0.5, "toe_damping": 0.3}
    soil = build_soil(shaft, 3e5 * (0.5 + rng.random(candidates)), **values, **options)
    moment = np.arange(steps) * mesh.time_step
    return mesh, soil, 1.4e6 * np.minimum(moment / 1e-3, 1.0) * np.exp(-moment / 5e-3)


def through_the_library(mesh, soil, sent):
    """The run as matching has it."""
    return lambda: simulate(mesh, soil, impose_down_wave(sent), len(sent))


def arguments(mesh, soil, sent):
    """What `march` takes, laid out as suits it best."""
    soils = soil.limit, lower_bound(soil), 0.5 * mesh.time_step * unloading_stiffness(soil), soil.damping
    out = (np.empty((soil.n_candidates, len(sent))) for _ in range(3))
    return mesh.impedance, *(np.ascontiguousarray(array.T) for array in soils), sent, *out, mesh.time_step


def by_the_recurrence(mesh, soil, sent):
    """The same run by `march`."""
    given = arguments(mesh, soil, sent)

    def run():
        march(*given)
        return given[-4:-1]

    return run


def cost(run, candidates):
    """Least time of several runs over the candidates [ms]."""
    best = np.inf
    for _ in range(REPEATS):
        begin = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - begin)
    return 1e3 * best / candidates


def test_both_give_the_same():
    mesh, soil, sent = problem(candidates=5)
    motion, (up, down, toe) = through_the_library(mesh, soil, sent)(), by_the_recurrence(mesh, soil, sent)()
    np.testing.assert_allclose(motion.up, up.T, atol=1e-6)
    np.testing.assert_allclose(motion.down[:, 0], down[0])
    np.testing.assert_allclose(motion.toe_displacement, toe.T, atol=1e-12)


@pytest.mark.parametrize("candidates", [1, 16, 64, 128, 256])
@pytest.mark.parametrize("make", [through_the_library, by_the_recurrence])
def test_cost_by_candidates(benchmark, make, candidates):
    run = make(*problem(candidates=candidates))
    run()
    benchmark.extra_info["candidates"] = candidates
    benchmark(run)


@pytest.mark.parametrize("options", [{}, {"smith": True}, {"hyperbolic": True}], ids=["viscous", "smith", "hyperbolic"])
def test_cost_by_law(benchmark, options):
    benchmark(through_the_library(*problem(**options)))


def test_growth_is_printed(benchmark):
    """Cost a candidate each way, and the ratio."""
    if benchmark.disabled:
        pytest.skip("nothing is timed without --benchmark-enable")
    lines = [f"{'':>12}{'segments':>10}{'steps':>7}{'candidates':>12}{'library':>10}{'bare':>10}{'ratio':>7}"]
    cases = [("candidates", {"candidates": n}) for n in (1, 16, 64, 128, 192, 256, 512)]
    cases += [("segments", {"segments": n, "candidates": 128}) for n in (16, 32, 64, 128)]
    cases += [("steps", {"steps": n, "candidates": 128}) for n in (175, 350, 700, 1400)]
    for label, case in cases:
        size = {"segments": SEGMENTS, "steps": STEPS, "candidates": CANDIDATES} | case
        made = problem(**size)
        library, bare = (cost(way(*made), size["candidates"]) for way in (through_the_library, by_the_recurrence))
        lines.append(
            f"{label:>12}{size['segments']:>10}{size['steps']:>7}{size['candidates']:>12}"
            f"{library:>8.3f}ms{bare:>8.3f}ms{library / bare:>7.1f}"
        )
    print("\n" + "\n".join(lines))
    benchmark(through_the_library(*problem()))
