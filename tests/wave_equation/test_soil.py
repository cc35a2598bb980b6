import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.pile import Pile, PilePart
from dyntest.wave_equation.soil import build_soil, lower_bound, mesh_pile, place_shaft, placement, unloading_stiffness

MESH = mesh_pile(Pile("P1", "steel", (PilePart(20.0, 0.0138, 207e9, 7850.0),)), 40)


@given(
    bounds=st.tuples(st.floats(0.0, 19.9), st.floats(0.05, 20.0)).map(lambda b: (b[0], min(20.0, b[0] + b[1]))),
    n_lengths=st.integers(1, 60),
)
def test_every_length_is_carried_whole(bounds, n_lengths):
    share = placement(MESH, *bounds, n_lengths)
    np.testing.assert_allclose(share.sum(axis=0), 1.0)
    assert (share >= 0.0).all()
    assert (share[-1] == 0.0).all()  # the toe is nothing but the toe


def test_resistance_stays_at_its_depth():
    share = placement(MESH, 4.0, 16.0, 6)
    depths = MESH.depth[1:] @ share
    np.testing.assert_allclose(depths, 4.0 + 2.0 * (np.arange(6) + 0.5), atol=1e-9)


def test_a_uniform_shaft_gives_equal_nodes():
    nodes = place_shaft(MESH, 5.0, 15.0, np.full((4, 1), 250.0))[:, 0]
    assert nodes.sum() == pytest.approx(1000.0)
    np.testing.assert_allclose(nodes[10:29], 50.0)  # 0.5 m of 10 m each; the ends are halves
    np.testing.assert_allclose(nodes[[9, 29]], 25.0)


def test_the_shaft_along_the_toes_half_segment_goes_to_the_node_above():
    nodes = place_shaft(MESH, 10.0, 20.0, np.full((5, 1), 200.0))[:, 0]
    np.testing.assert_allclose(nodes[19:], [25.0] + [50.0] * 18 + [75.0, 0.0], atol=1e-9)


def test_one_segment_keeps_its_shaft_at_the_only_node():
    mesh = mesh_pile(Pile("P1", "steel", (PilePart(20.0, 0.0138, 207e9, 7850.0),)), 1)
    np.testing.assert_allclose(placement(mesh, 0.0, 20.0, 3), 1.0)


def soil(**options):
    shaft = place_shaft(MESH, 2.0, 20.0, np.array([[6e5, 9e5]]))
    return build_soil(
        shaft, np.array([3e5, 4e5]), shaft_quake=0.0025, toe_quake=np.array([0.004, 0.005]), **damping(), **options
    )


def damping():
    return {"shaft_damping": np.array([0.4, 0.5]), "toe_damping": 0.3}


def test_shaft_and_toe_have_their_own_numbers():
    built = soil()
    assert built.n_candidates == 2
    np.testing.assert_allclose(built.limit.sum(axis=0), [9e5, 13e5])
    np.testing.assert_allclose(built.limit[-1], [3e5, 4e5])
    np.testing.assert_allclose(built.quake[-1], [0.004, 0.005])
    np.testing.assert_allclose(built.quake[:-1], 0.0025)
    np.testing.assert_allclose(built.damping[:-1].sum(axis=0), [0.4 * 6e5, 0.5 * 9e5])  # viscous, on the limit
    np.testing.assert_allclose(built.damping[-1], [0.3 * 3e5, 0.3 * 4e5])
    assert built.smith_damping is None


def test_smith_damping_is_kept_as_a_factor():
    built = soil(smith=True)
    assert not built.damping.any()
    np.testing.assert_allclose(built.smith_damping[:-1, 1], 0.5)


def test_bounds_and_stiffness():
    built = soil()
    np.testing.assert_allclose(unloading_stiffness(built)[-1], [3e5 / 0.004, 4e5 / 0.005])
    stiffer = soil(unloading_quake=built.quake / 2)
    np.testing.assert_allclose(unloading_stiffness(stiffer), 2 * unloading_stiffness(built))
    np.testing.assert_allclose(lower_bound(built)[:-1], -built.limit[:-1])
    assert not lower_bound(built)[-1].any()
    weak = soil(upward_limit=0.5 * built.limit)
    np.testing.assert_allclose(lower_bound(weak)[:-1], -0.5 * built.limit[:-1])
    assert weak.upward_limit[-1, 0] == 1.5e5  # what was given is not written over


def test_repeated_keeps_every_field():
    built = soil(smith=True, toe_gap=np.array([0.001, 0.002]), hyperbolic=True)
    many = built.repeated(3)
    assert many.n_candidates == 6
    assert many.hyperbolic
    np.testing.assert_allclose(many.limit[:, ::3], built.limit)
    np.testing.assert_allclose(many.toe_gap, [0.001] * 3 + [0.002] * 3)
    assert many.plug_mass is None


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
