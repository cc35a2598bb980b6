import numpy as np
import pytest

from dyntest.wave_equation.simulator import impose_down_wave, impose_force, impose_velocity, resample, simulate

ARRIVING = np.array([3.0, -1.0])


def test_a_downward_wave_lets_pass_what_comes_up():
    head = impose_down_wave(np.array([5.0, 7.0]))
    np.testing.assert_allclose(np.broadcast_to(head(1, ARRIVING), 2), 7.0)


def test_a_velocity():
    sent = impose_velocity(np.array([0.0, 2.0]), 10.0)(1, ARRIVING)
    np.testing.assert_allclose((sent - ARRIVING) / 10.0, 2.0)  # v = (down − up) / Z


def test_a_force():
    sent = impose_force(np.array([[4.0, 5.0]]))(0, ARRIVING)
    np.testing.assert_allclose(sent + ARRIVING, [4.0, 5.0])  # F = down + up


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


def test_resample():
    time = np.array([0.0, 1.0, 2.0])
    np.testing.assert_allclose(resample(np.array([1.0, 2.0, 4.0]), time, -0.5, 0.75, 5), [0.0, 1.25, 2.0, 3.5, 0.0])
