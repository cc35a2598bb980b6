import numpy as np
import pytest

from dyntest.wave_equation.problem import (
    HYPERBOLIC,
    SHAFT_QUAKE,
    TOE_DAMPING,
    VISCOUS,
    Reduction,
    SoilLaw,
    lay_out,
    physical,
)


@pytest.fixture
def values(steel_pile):
    def at(score=0.0, **options):
        layout = lay_out(steel_pile, "clay", "sand", 17.0, 1e6, **options)
        return layout, physical(layout, np.full((layout.count, 2), score))

    return at


def test_no_score_is_what_is_expected(values):
    layout, found = values()
    assert found["shaft"].shape == (layout.n_shaft, 2)
    np.testing.assert_allclose(found["shaft"].sum(axis=0) + found["toe_resistance"], 1e6)
    np.testing.assert_allclose(found["shaft_quake"], SHAFT_QUAKE)
    np.testing.assert_allclose(found["toe_damping"], TOE_DAMPING)
    for name in ("wave_speed_error", "lag", "force_error", "velocity_error", "drift"):
        np.testing.assert_array_equal(found[name], 0.0)


def test_a_hyperbola_reaches_half_its_limit_where_straight_lines_do(values):
    _, straight = values()
    _, curved = values(law=SoilLaw(HYPERBOLIC, VISCOUS))
    for name in ("shaft_quake", "toe_quake"):
        limit, movement = 1.0, 0.5 * straight[name]
        on_line = limit * movement / straight[name]
        on_hyperbola = limit * movement / (movement + curved[name])
        np.testing.assert_allclose(on_line, on_hyperbola)


@pytest.mark.parametrize("damping", [0.05 / 0.3048, 0.20 / 0.3048])
def test_published_dampings_lie_within_two_spreads_of_any_soil(steel_pile, damping):
    """0.05 s/ft in sand to 0.20 s/ft in clay (UFC 3-220-20, §6-9.2)."""
    for soil in ("sand", "silt", "clay", None):
        layout = lay_out(steel_pile, soil, None, 17.0, 1e6)
        row = layout.row("shaft_damping")
        assert abs(np.log(damping) - layout.expected[row]) <= 2.0 * layout.spread[row] + 1e-3


def test_shares_never_pass_one(values):
    _, found = values(4.0, reduction=Reduction(10.0, 0.9))
    assert found["upward_share"].max() == 1.0
    assert found["section_left"].max() == 1.0


def test_a_suspected_reduction_is_looked_for_within_the_pile(steel_pile):
    layout = lay_out(steel_pile, None, None, 17.0, 1e6, reduction=Reduction(99.0))
    assert layout.expected[layout.row("section_depth")] == steel_pile.length


def test_a_rock_toe_is_expected_to_be_stiff(steel_pile):
    """0.04 in on rock (UFC 3-220-20, §6-9.2), to the whole millimetre."""
    layout = lay_out(steel_pile, None, "rock", 17.0, 1e6)
    quake = physical(layout, np.zeros((layout.count, 1)))["toe_quake"][0]
    assert quake == pytest.approx(0.04 * 0.0254, rel=0.02)
