from dataclasses import replace
from pickle import UnpicklingError
from types import SimpleNamespace

import numba
import numpy as np
import pytest

from dyntest.wave_equation import simulator, step
from dyntest.wave_equation.simulator import impose_down_wave, impose_force, impose_velocity, simulate
from dyntest.wave_equation.soil import SoilModel, at_rest, build_soil, mesh_pile

LAWS = {
    "elastic-plastic": {},
    "Smith damping": {"smith": True},
    "hyperbolic": {"hyperbolic": True},
    "unloading quake": {"unloading_quake": np.full((40, 2), 0.001)},
    "hyperbolic, unloading quake": {"hyperbolic": True, "unloading_quake": np.full((40, 2), 0.001)},
    "gap": {"toe_gap": np.array([0.002, 0.004])},
    "plug": {"plug_mass": np.array([100.0, 300.0])},
    "power of the velocity": {"rate_damping": np.full((40, 2), 0.6)},
    "power, hyperbolic": {"rate_damping": np.full((40, 2), 0.6), "hyperbolic": True},
    "radiation": {"radiation": np.full((40, 2), 1e5), "rate_damping": np.full((40, 2), 0.4)},
    "radiation, no rate": {"radiation": np.full((40, 2), 1e5)},
    "radiation, gap": {"radiation": np.full((40, 2), 1e5), "toe_gap": np.array([0.002, 0.004])},
    "everything upward": {"upward_limit": np.full((40, 2), 2e3)},
}
every_law = pytest.mark.parametrize("options", LAWS.values(), ids=LAWS)


@every_law
def test_the_machine_code_does_what_the_plain_lines_do(options, mesh, make_soil, pulse, monkeypatch):
    """Beyond the last digits of a logarithm."""
    wanted = {"envelope": True, "peaks": True, "work": True, "gravity": 9.8}
    compiled = simulate(mesh, make_soil(**options), impose_down_wave(pulse), 150, **wanted)
    monkeypatch.setattr(simulator, "machine_code", lambda: step.march)
    plain = simulate(mesh, make_soil(**options), impose_down_wave(pulse), 150, **wanted)
    for name in ("up", "toe_displacement", "greatest_force", "least_force_step", "greatest_spring", "dissipated"):
        there = getattr(plain, name)
        np.testing.assert_allclose(getattr(compiled, name), there, rtol=1e-9, atol=1e-9 * np.abs(there).max())
    np.testing.assert_allclose(compiled.state.spring, plain.state.spring, atol=1e-9 * np.abs(plain.state.spring).max())


@pytest.mark.parametrize("trouble", ["no folder", "full disk", "damaged"])
def test_machine_code_that_cannot_be_kept_or_read_is_made_all_the_same(
    trouble, mesh, make_soil, pulse, monkeypatch, tmp_path
):
    wanted = simulate(mesh, make_soil(), impose_down_wave(pulse), 20).up
    kept, other = tmp_path / "step.march-1.py311.nbi", tmp_path / "step.other-1.py311.nbi"
    kept.write_text("no machine code")
    other.write_text("of somebody else")
    stored = []

    def compiler(function, *, cache=False, **options):
        if cache and trouble == "no folder":
            raise RuntimeError("cannot cache function: no locator available")

        def run(*arguments):
            if cache and trouble == "damaged" and kept.exists():
                raise UnpicklingError("invalid load key")
            if cache and trouble == "full disk" and not stored:
                stored.append("in memory")
                raise OSError(28, "No space left on device")
            return function(*arguments)

        run.stats = SimpleNamespace(cache_path=str(tmp_path) if cache else None)
        return run

    monkeypatch.setattr(numba, "njit", compiler)
    monkeypatch.setattr(simulator, "machine_code", step.machine_code.__wrapped__)
    found = simulate(mesh, make_soil(), impose_down_wave(pulse), 20).up
    np.testing.assert_allclose(found, wanted, atol=1e-9 * pulse.max())
    assert other.exists()


@pytest.mark.parametrize("cut", [60, 137, 300], ids=["loading", "rebounding", "unloaded"])
@every_law
def test_a_run_goes_on_from_its_state(options, cut, mesh, make_soil, pulse):
    soil = make_soil(**options)
    whole = simulate(mesh, soil, impose_down_wave(pulse), 500, gravity=9.8)
    first = simulate(mesh, soil, impose_down_wave(pulse), cut, gravity=9.8)
    second = simulate(mesh, soil, impose_down_wave(pulse[cut:]), 500 - cut, start=first.state, gravity=9.8)
    np.testing.assert_allclose(np.vstack([first.up, second.up]), whole.up, atol=1e-6)
    moved = np.vstack([first.toe_displacement, second.toe_displacement])
    np.testing.assert_allclose(moved, whole.toe_displacement, atol=1e-12)
    np.testing.assert_allclose(second.state.spring, whole.state.spring, atol=1e-6)
    if soil.hyperbolic or soil.unloading_quake is not None:
        np.testing.assert_allclose(second.state.loading, whole.state.loading, atol=1e-12)


@every_law
def test_candidates_do_not_touch_each_other(options, mesh, make_soil, pulse):
    both = simulate(mesh, make_soil(**options), impose_down_wave(pulse), 500)
    for candidate in range(2):

        def one(value, candidate=candidate):
            return value[..., candidate : candidate + 1] if isinstance(value, np.ndarray) else value

        soil = make_soil(
            shaft=[(6e5, 9e5)[candidate]],
            toe=[(3e5, 5e5)[candidate]],
            **{name: one(value) for name, value in options.items()},
        )
        alone = simulate(mesh, soil, impose_down_wave(pulse), 500)
        np.testing.assert_array_equal(both.up[:, [candidate]], alone.up)


@every_law
def test_static_force_stays_within_its_bounds(options, mesh, make_soil, pulse):
    soil = make_soil(**options)
    state = at_rest(mesh, soil)
    least = np.zeros(soil.limit.shape)
    for part in np.split(pulse, 30):
        motion = simulate(mesh, soil, impose_down_wave(part), len(part), start=state, peaks=True)
        state = motion.state
        assert (motion.greatest_spring <= soil.limit * (1 + 1e-12)).all()
        least = np.minimum(least, state.spring)
    upward = soil.limit if soil.upward_limit is None else soil.upward_limit
    assert (least[:-1] >= -upward[:-1] * (1 + 1e-12)).all()


@pytest.mark.parametrize("slips", [True, False])
def test_soil_that_slipped_shows_its_limit_where_the_dashpot_held_the_spring_back(slips, mesh, make_soil, pulse):
    """Strong dashpots beside soft springs: the soil slips long before its springs come to the limit, or never."""
    shaft = np.array([6e5, 9e5]) * (1.0 if slips else 30.0)
    soil = make_soil(shaft=shaft, shaft_damping=0.0, toe_damping=0.0, radiation=np.full((40, 2), 4e5))
    motion = simulate(mesh, replace(soil, quake=10.0 * soil.quake), impose_down_wave(pulse), 500, peaks=True)
    begin = int(np.flatnonzero(soil.limit[:, 0])[0])
    shown = motion.greatest_spring[begin:-1] / soil.limit[begin:-1]
    assert (np.abs(motion.state.spring[begin:-1]) < 0.5 * soil.limit[begin:-1]).all()
    assert shown.min() == pytest.approx(1.0) if slips else shown.max() < 0.5


def test_a_toe_that_moves_through_a_gap_does_not_slip(mesh, make_soil, pulse):
    soil = make_soil(radiation=np.full((40, 2), 4e5), toe_gap=np.array([0.0, 1.0]))
    motion = simulate(mesh, soil, impose_down_wave(pulse), 500, peaks=True)
    assert motion.greatest_spring[-1, 0] > 0.0
    assert motion.greatest_spring[-1, 1] == 0.0


def test_soil_free_rows_change_nothing(mesh, make_soil, pulse):
    """A trace of resistance at the top makes every row soil; the answer must stay."""
    soil = make_soil()
    touched = make_soil()
    touched.limit[0] = 1e-9
    np.testing.assert_allclose(
        simulate(mesh, touched, impose_down_wave(pulse), 500).up,
        simulate(mesh, soil, impose_down_wave(pulse), 500).up,
        atol=1e-6,
    )


def test_a_gauge_below_the_head_sees_the_waves_there(steel_pile, pulse):
    whole = mesh_pile(steel_pile, 40, from_head=True)
    assert whole.gauge_node == 2
    soil_free = [np.zeros((42, 1)) for _ in range(3)]
    motion = simulate(whole, SoilModel(*soil_free), impose_force(pulse), 75)
    np.testing.assert_allclose(motion.down[2:, 0], pulse[:73], atol=1e-6)
    assert not motion.up[:75].any()


def test_bounds_of_the_force_are_those_of_the_waves(mesh, make_soil, pulse):
    soil = make_soil()
    motion = simulate(mesh, soil, impose_down_wave(pulse), 300, envelope=True)
    forces, state = [], at_rest(mesh, soil)
    for place in range(300):
        before = state
        state = simulate(mesh, soil, impose_down_wave(pulse[place:]), 1, start=state).state
        forces.append(before.down[:-1] + state.up[1:-1])  # arrives from above, and leaves upward
    forces = np.array(forces)
    np.testing.assert_allclose(motion.greatest_force, forces.max(axis=0), atol=1e-6)
    np.testing.assert_allclose(motion.least_force, forces.min(axis=0), atol=1e-6)
    np.testing.assert_array_equal(motion.greatest_force_step, forces.argmax(axis=0))
    np.testing.assert_allclose(np.take_along_axis(forces, motion.least_force_step[None], 0)[0], motion.least_force)


def test_what_was_not_asked_for_is_empty(mesh, make_soil, pulse):
    motion = simulate(mesh, make_soil(), impose_down_wave(pulse), 10)
    assert motion.greatest_force.size == motion.least_force.size == motion.greatest_spring.size == 0
    assert motion.dissipated.size == 0


def test_a_toe_lifts_off_and_meets_the_soil_where_it_left_it(mesh):
    """Pushed in, pulled up and pushed again by the same way, the toe bears again only at the end of the way back."""
    soil = build_soil(
        np.zeros((40, 1)), np.array([2e5]), shaft_quake=1.0, toe_quake=0.002, shaft_damping=0.0, toe_damping=0.0
    )
    steps = round(0.4 / mesh.time_step)
    slow = 0.04 * np.repeat([1.0, -1.0, 1.0], steps // 2)  # 8 mm in, 8 mm out, 8 mm in, in 0.2 s each
    state, moved, force = at_rest(mesh, soil), [], []
    for part in np.array_split(slow, 300):
        motion = simulate(mesh, soil, impose_velocity(part, mesh.impedance[0]), len(part), start=state)
        state = motion.state
        moved.append(motion.toe_displacement[-1, 0])
        force.append(state.spring[-1, 0])
    moved, force = np.array(moved), np.array(force)
    deepest = moved[:110].max()
    again = slice(200, 300)
    bears = moved[again][force[again] > 0.0]
    assert bears.min() == pytest.approx(deepest - 0.002, abs=2e-4)
    np.testing.assert_allclose(force[again][moved[again] > deepest], 2e5, rtol=0.05)


def test_candidates_must_agree_in_number(mesh, make_soil, pulse):
    wrong = type(mesh)(mesh.time_step, mesh.depth, np.tile(mesh.impedance[:, None], 3), mesh.area, mesh.mass)
    with pytest.raises(ValueError, match="3 candidates"):
        simulate(wrong, make_soil(), impose_down_wave(pulse), 5)


def test_a_run_without_steps_is_refused(mesh, make_soil, pulse):
    with pytest.raises(ValueError, match="step"):
        simulate(mesh, make_soil(), impose_down_wave(pulse), 0)


@pytest.mark.parametrize(
    "make",
    [impose_down_wave, impose_force, lambda trace: impose_velocity(trace, 1.0)],
    ids=["wave", "force", "velocity"],
)
def test_a_step_past_the_end_is_refused(make, mesh, make_soil):
    with pytest.raises(ValueError, match="5 steps"):
        simulate(mesh, make_soil(), make(np.ones(5)), 6)
    assert np.isfinite(simulate(mesh, make_soil(), make(np.ones(5)), 5).up).all()


@pytest.mark.parametrize("gauge", ["force", "velocity"])
def test_force_and_velocity_drive_the_pile_as_the_wave_does(gauge, mesh, make_soil, pulse):
    whole = simulate(mesh, make_soil(), impose_down_wave(pulse), 600)
    z = mesh.impedance[0]
    head = {
        "force": impose_force(whole.down + whole.up),
        "velocity": impose_velocity((whole.down - whole.up) / z, z),
    }[gauge]
    again = simulate(mesh, make_soil(), head, 600)
    np.testing.assert_allclose(again.up, whole.up, atol=1e-6 * pulse.max())
    np.testing.assert_allclose(again.toe_displacement, whole.toe_displacement, atol=1e-9)


def test_ground_that_hardly_radiates_keeps_the_gap_of_a_spring(mesh, make_soil, pulse):
    """A dashpot that carries nothing changes nothing: the toe meets the soil after the same way."""
    gap = np.array([0.002, 0.004])
    motions = [
        simulate(mesh, make_soil(shaft_damping=0.0, toe_damping=0.0, toe_gap=gap, **options), head, 500, peaks=True)
        for options, head in (
            ({}, impose_down_wave(pulse)),
            ({"radiation": np.full((40, 2), 1e-3)}, impose_down_wave(pulse)),
        )
    ]
    np.testing.assert_allclose(motions[1].up, motions[0].up, atol=1e-2 * pulse.max())  # a step of the toe
    closed = simulate(mesh, make_soil(shaft_damping=0.0, toe_damping=0.0), impose_down_wave(pulse), 500)
    assert np.abs(closed.up - motions[0].up).max() > 0.05 * pulse.max()
