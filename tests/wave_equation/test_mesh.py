import numpy as np
import pytest

from dyntest.pile import Pile, PilePart
from dyntest.wave_equation.soil import mesh_pile

STEEL, THIN = PilePart(8.0, 0.0138, 207e9, 7850.0), PilePart(4.0, 0.0069, 207e9, 7850.0)
CONCRETE = PilePart(8.0, 0.1, 36e9, 2450.0)


def pile(*parts, **options):
    return Pile("P1", "steel", parts, **options)


@pytest.mark.parametrize("n_segments", [1, 7, 64])
@pytest.mark.parametrize("parts", [(STEEL,), (STEEL, THIN), (CONCRETE, STEEL)])
def test_travel_time_and_length_are_exact(parts, n_segments):
    made = pile(*parts)
    mesh = mesh_pile(made, n_segments)
    assert mesh.n_segments == n_segments
    assert 2 * n_segments * mesh.time_step == pytest.approx(made.return_time, rel=1e-12)
    assert mesh.depth[0] == 0.0
    assert mesh.depth[-1] == pytest.approx(made.length, rel=1e-12)
    assert mesh.gauge_node == 0


def test_segments_of_a_uniform_pile():
    mesh = mesh_pile(pile(STEEL), 16)
    np.testing.assert_allclose(mesh.impedance, STEEL.impedance)
    np.testing.assert_allclose(np.diff(mesh.depth), 0.5)
    assert mesh.mass.sum() == pytest.approx(8.0 * 0.0138 * 7850.0)
    np.testing.assert_allclose(mesh.impedance * mesh.time_step, mesh.mass)  # Z = m / dt where a wave crosses it in dt


def test_a_change_of_section_falls_on_the_nearest_node():
    mesh = mesh_pile(pile(STEEL, THIN, STEEL), 20)
    np.testing.assert_allclose(mesh.area, [0.0138] * 8 + [0.0069] * 4 + [0.0138] * 8)
    rough = mesh_pile(pile(STEEL, THIN, STEEL), 7)
    middles = 0.5 * (rough.depth[1:] + rough.depth[:-1])
    assert np.abs(middles[rough.area < 0.01].mean() - 10.0) < 20.0 / 7


def test_the_length_above_the_gauges_comes_on_top():
    mesh = mesh_pile(pile(STEEL, THIN, total_length=13.0), 24, from_head=True)
    assert mesh.gauge_node == 2
    assert mesh.depth[mesh.gauge_node] == pytest.approx(1.0)
    assert mesh.depth[-1] == pytest.approx(13.0)
    np.testing.assert_allclose(mesh.area[:2], 0.0138)


def test_nothing_on_top_where_the_total_length_is_not_known():
    assert mesh_pile(pile(STEEL), 24, from_head=True).gauge_node == 0


def test_no_segments_is_refused():
    with pytest.raises(ValueError, match="segment"):
        mesh_pile(pile(STEEL), 0)
