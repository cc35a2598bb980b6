from dataclasses import replace

import numpy as np
import pytest

from dyntest.wave_equation.candidates import candidate_soil
from dyntest.wave_equation.problem import (
    HYPERBOLIC,
    LAYERS,
    SHAFT_QUAKE,
    SOIL_LAWS,
    TOE_DAMPING,
    VISCOUS,
    Reduction,
    SoilLaw,
    damping_along,
    lay_out,
    make_problem,
    physical,
    stretches,
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


LAYERS_OF_SHEET = ((0.0, 4.0, "sand"), (4.0, 12.0, "clay"), (12.0, 30.0, "sand"))


def test_damping_is_expected_as_the_layers_of_the_sheet_have_it(invented_blow):
    blow = replace(invented_blow(embedded=16.0).blow, shaft_soil="silt", layers=LAYERS_OF_SHEET)
    along = damping_along(blow, SOIL_LAWS[0])
    assert along.tolist() == pytest.approx([0.164] * 2 + [0.656] * 4 + [0.164] * 2)
    problem = make_problem(blow)
    row = problem.layout.row("shaft_damping")
    np.testing.assert_allclose(np.exp(problem.layout.expected[row]) * problem.zones, along)
    without = damping_along(replace(blow, layers=()), SOIL_LAWS[0])
    assert without.tolist() == pytest.approx([0.35] * 8)
    above = damping_along(replace(blow, layers=LAYERS_OF_SHEET[:2]), SOIL_LAWS[0])  # the sheet says nothing below
    assert above[-1] == pytest.approx(0.35)


@pytest.mark.parametrize(
    ("layers", "ends"),
    [
        ((), [0.0, 0.25, 0.5, 0.75, 1.0]),
        (LAYERS_OF_SHEET, [0.0, 0.25, 0.5, 0.75, 1.0]),
        (((0.0, 2.0, "sand"), (2.0, 8.0, "clay"), (8.0, 40.0, "silt")), [0.0, 0.125, 0.5, 0.75, 1.0]),
        (tuple((at, at + 2.0, "clay") for at in np.arange(0.0, 16.0, 2.0)), None),
    ],
)
def test_stretches_of_the_shaft_end_where_the_soil_changes(invented_blow, layers, ends):
    found = stretches(replace(invented_blow(embedded=16.0).blow, layers=layers))
    assert (found[0], found[-1], len(found)) == (0.0, 1.0, LAYERS + 1)
    assert (np.diff(found) > 0.0).all()
    if ends is not None:
        assert found.tolist() == ends


def test_a_layer_of_clay_damps_where_it_lies(invented_blow):
    """The soil of a candidate has the published damping of each layer at its nodes, and keeps it under any mean."""
    blow = replace(invented_blow(embedded=16.0).blow, layers=LAYERS_OF_SHEET)
    problem = make_problem(blow, law=next(law for law in SOIL_LAWS if law.damping == "Smith"))
    values = physical(problem.layout, np.zeros((problem.layout.count, 1)))
    damping = candidate_soil(problem, values).smith_damping[:-1, 0]
    depth = problem.mesh.depth[1:-1] - 4.0  # below the ground
    assert damping[(depth > 5.0) & (depth < 11.0)] == pytest.approx(0.656, rel=0.02)
    assert damping[(depth > 13.0) | ((depth > 1.0) & (depth < 3.0))] == pytest.approx(0.164, rel=0.02)
