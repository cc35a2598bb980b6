"""Time of signal matching. Run with `pytest tests/benchmarks --benchmark-enable -k matching`.

Asked of it: one blow under all laws in 2 s of one core, six blows together in 6 s, and 300 blows of a drive in 90 s on
two cores.
"""

from concurrent.futures import Executor, Future

import numpy as np
import pytest

from dyntest.pile import Pile, PilePart
from dyntest.processes import process_pool
from dyntest.wave_equation.every_blow import match_every_blow
from dyntest.wave_equation.fitting import BEST
from dyntest.wave_equation.matching import match_blow
from dyntest.wave_equation.problem import Blow, Reduction
from dyntest.wave_equation.simulator import impose_down_wave, simulate
from dyntest.wave_equation.soil import build_soil, mesh_pile, place_shaft

QUIET = 4e-3


class OneCore(Executor):
    """Does what it is given while it is given it."""

    def submit(self, function, *arguments):
        future = Future()
        future.set_result(function(*arguments))
        return future


def invented_blow(length=20.0, seed=0, **options):
    """A noisy record of a steel pile in a soil that damps as Smith's does, so that every law is tried."""
    pile = Pile("invented", "steel", (PilePart(length, 0.0138, 207e9, 7850.0),))
    mesh = mesh_pile(pile, round(pile.return_time / 2 / 40e-6))
    nodes = place_shaft(mesh, 0.2 * length, length, np.array([[6e5]]))
    options = {"smith": True, "shaft_damping": 0.5, "toe_damping": 0.4} | options
    soil = build_soil(nodes, np.array([4e5]), shaft_quake=0.0025, toe_quake=0.004, **options)
    steps = np.arange(round(0.09 / mesh.time_step)) * mesh.time_step
    down = 2.4e6 * np.minimum(steps / 1.5e-3, 1.0) * np.exp(-steps / 6e-3)
    up = simulate(mesh, soil, impose_down_wave(down), len(steps)).up[:, 0]
    time = np.arange(940) * 1e-4
    random = np.random.default_rng(seed)
    noise = 0.005 * 2.4e6 * random.standard_normal((2, len(time)))
    at = time - QUIET
    force = np.interp(at, steps, down + up, left=0.0) + noise[0]
    velocity = (np.interp(at, steps, down - up, left=0.0) + noise[1]) / pile.impedance
    return Blow(time, force, velocity, round(QUIET / 1e-4), round((QUIET + 1.5e-3) / 1e-4), pile, 0.8 * length)


@pytest.fixture
def law(benchmark):
    """All laws together; where nothing is timed one alone, which shows that it runs."""
    return BEST if benchmark.enabled else "hyperbolic"


@pytest.mark.parametrize("length", [10.0, 20.0, 40.0, 60.0])
def test_one_blow_by_length(benchmark, length, law):
    blow = invented_blow(length)
    found = benchmark.pedantic(match_blow, (blow,), {"law": law}, rounds=3, warmup_rounds=1)
    benchmark.extra_info |= {"segments": found.problem.mesh.n_segments, "steps": found.problem.n_steps}
    assert found.fitted


def test_six_blows_of_one_soil(benchmark, law):
    first, *further = (invented_blow(seed=seed) for seed in range(6))
    asked = {"law": law, "further": tuple(further)}
    found = benchmark.pedantic(match_blow, (first,), asked, rounds=1, warmup_rounds=0)
    assert found.fitted


def test_one_blow_with_a_reduced_section(benchmark, law):
    blow = invented_blow()
    suspected = {"law": law, "reduction": Reduction(10.0, 0.7)}
    assert benchmark.pedantic(match_blow, (blow,), suspected, rounds=3, warmup_rounds=1).fitted


@pytest.mark.parametrize("n_blows", [5, 20])
def test_every_blow_on_one_core(benchmark, n_blows, law):
    """The time grows with the number of blows and no faster."""
    blows = [invented_blow(seed=seed) for seed in range(n_blows if benchmark.enabled else 2)]
    first = match_blow(blows[0], law=law)
    found = benchmark.pedantic(match_every_blow, (blows, first), {"executor": OneCore()}, rounds=1, warmup_rounds=0)
    assert found.complete


def test_every_blow_on_two_cores(benchmark, law):
    """60 blows, the start of the processes counted; 300 take less than five times this."""
    n_blows = 60 if benchmark.enabled else 4
    blows = [invented_blow(seed=seed) for seed in range(n_blows)]
    first = match_blow(blows[0], law=law)

    def match_all():
        with process_pool(2) as pool:
            return match_every_blow(blows, first, executor=pool)

    found = benchmark.pedantic(match_all, rounds=1, warmup_rounds=0)
    assert found.complete
    assert found.fitted.all()
