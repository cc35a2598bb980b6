"""The bearing graph against what was computed elsewhere: a finite-element program, and Smith's explicit scheme.

The finite-element records' origin is told in tests/data/reference_tests/PROVENANCE.md; nothing here is adjusted to
them. Smith's scheme (Smith 1960, ASCE J. Soil Mech. Found. Div. 86(SM4), from memory, with the viscous variant of the
damping of UFC 3-220-20, 2025, 6-9.2) is written below on its own: lumped masses and springs, explicit in time, sharing
nothing with the library's segments of equal travel time but the numbers of pile, soil and hammer.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dyntest.hammer import Hammer
from dyntest.reading.sheet import read_sheet
from dyntest.units import STANDARD_GRAVITY
from dyntest.wave_equation.bearing_graph import bearing_graph, drive_blows
from dyntest.wave_equation.hammer_model import hammer_setting

FOLDER = Path(__file__).parent.parent / "data" / "reference_tests"
NAMES = sorted(path.name for path in FOLDER.iterdir() if path.is_dir())


@pytest.fixture(scope="module")
def reference(reference_record, reference_match):
    """Sheet, truth and the match of a record's first blow."""

    def give(name):
        truth = reference_record(name)[2][0]
        return read_sheet(FOLDER / name / "sheet.toml"), truth, reference_match(name)[0]

    return give


AT_ONCE = ("concrete_sand", "steel_clay", "steel_hard_toe")
"""Records that every run of the tests looks at."""


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.sweep] * (name not in AT_ONCE)) for name in NAMES]
)
def test_set_and_stress_from_the_matched_soil_and_the_true_hammer(reference, name):
    sheet, truth, match = reference(name)
    hammer = replace(sheet.drives[0].hammer, efficiency=1.0)  # all of the stated energy is left at impact
    stroke = truth["potential_or_kinetic"] / hammer.ram_weight
    blows = drive_blows(match, hammer_setting(hammer, np.array([stroke])), np.array([match.matched_resistance]))
    assert blows.set_per_blow[0] == pytest.approx(truth["final_set"], rel=0.10)
    assert blows.peak_force[0] == pytest.approx(truth["max_force"], rel=0.02)
    assert blows.transferred_energy[0] == pytest.approx(truth["transferred_energy"], rel=0.04)
    if name != "steel_reduced_section":  # the graph speaks of sound piles
        assert blows.peak_compression_stress[0] == pytest.approx(truth["max_compression_anywhere"], rel=0.03)
        assert blows.peak_tension_stress[0] == pytest.approx(truth["max_tension_anywhere"], rel=0.25)


def smith_set(pile, hammer: Hammer, stroke, shaft, toe, quakes, dampings, embedded, duration=0.15):
    """Sets by Smith's explicit scheme, one for each column of `shaft` (n_lengths, n) and of `toe` (n,).

    Ram, hammer cushion, helmet, and the pile as masses of half a metre or less; the helmet's spring to the first mass
    is that of the pile. Gives the movement of the toe once all is at rest, and the greatest. Smith took the set as the
    greatest less the toe's quake, which is too small where the shaft, with another quake, holds most of the pile.
    """
    part = pile.parts[0]
    length = pile.total_length
    count = int(np.ceil(length / 0.4))
    piece = length / count
    mass = np.concatenate([[hammer.ram_mass, hammer.helmet_mass], np.full(count, part.density * part.area * piece)])
    spring = np.concatenate([[hammer.hammer_cushion_stiffness], np.full(count, part.modulus * part.area / piece)])
    loss = np.concatenate([[hammer.hammer_cushion_restitution], np.ones(count)])
    step = 0.3 * min(np.sqrt(mass[1:] / spring).min(), np.sqrt(mass[:-1] / spring).min())
    assert step < piece / part.wave_speed
    columns = shaft.shape[1]
    tops = length - embedded + np.linspace(0, embedded, len(shaft) + 1)
    edges = np.linspace(0, length, count + 1)
    share = np.minimum(edges[1:, None], tops[1:]) - np.maximum(edges[:-1, None], tops[:-1])
    limit = np.zeros((count + 1, columns))  # a row a mass of the pile, and one for the toe under the last
    limit[:-1] = np.clip(share, 0, None) / np.diff(tops) @ shaft
    limit[-1] = toe
    quake = np.append(np.full(count, quakes[0]), quakes[1])[:, None]
    damping = np.append(np.full(count, dampings[0]), dampings[1])[:, None]
    moved, velocity = np.zeros((count + 2, columns)), np.zeros((count + 2, columns))
    velocity[0] = np.sqrt(2 * STANDARD_GRAVITY * stroke * hammer.efficiency)
    weight = np.zeros((count + 2, 1))
    weight[:2, 0] = mass[:2] * STANDARD_GRAVITY  # as in the graph, the pile's own weight is left out
    ground, most, greatest = np.zeros((count + 1, columns)), np.zeros((count + 1, columns)), np.zeros(columns)
    stiffness, restitution = spring[:, None], loss[:, None]
    steps = int(duration / step)
    resting, last = np.zeros(columns), int(0.01 / step)
    for number in range(steps):
        moved = moved + velocity * step
        squeezed = moved[:-1] - moved[1:]
        most = np.maximum(most, squeezed)
        force = stiffness / restitution**2 * squeezed - (1 / restitution**2 - 1) * stiffness * most
        force[:2] = np.maximum(force[:2], 0.0)  # the cushion and the helmet press and never pull
        at = np.vstack([moved[2:], moved[-1:]])
        speed = np.vstack([velocity[2:], velocity[-1:]])
        ground = np.maximum(ground, at - quake)
        ground[:-1] = np.minimum(ground[:-1], at[:-1] + quake[:-1])
        static = (at - ground) * limit / quake
        resistance = static + damping * limit * speed
        resistance[-1] = np.where(static[-1] > 0.0, np.maximum(resistance[-1], 0.0), 0.0)
        net = weight - np.vstack([force, np.zeros(columns)])
        net[1:] += force
        net[2:] -= resistance[:-1]
        net[-1] -= resistance[-1]
        velocity = velocity + net / mass[:, None] * step
        greatest = np.maximum(greatest, moved[-1])
        resting += moved[-1] / last if number >= steps - last else 0.0
    return resting, greatest


def test_smiths_scheme_agrees_with_the_graph(reference):
    sheet, _, match = reference("steel_clay")
    hammer = replace(
        sheet.drives[0].hammer,
        efficiency=0.8,
        hammer_cushion_stiffness=0.6e9,
        hammer_cushion_restitution=0.8,
    )
    strokes, resistances = np.array([1.4, 2.0]), np.array([0.7e6, 1.1e6, 1.5e6, 1.9e6])
    graph = bearing_graph(match, hammer, strokes, resistances)
    values = match.parameters
    scale = resistances / match.matched_resistance
    for row, stroke in enumerate(strokes):
        sets, greatest = smith_set(
            sheet.pile,
            hammer,
            stroke,
            values["shaft"][:, None] * scale,
            values["toe_resistance"] * scale,
            (values["shaft_quake"], values["toe_quake"]),
            (values["shaft_damping"], values["toe_damping"]),
            sheet.drives[0].penetration_at_start,
        )
        np.testing.assert_allclose(graph.blows.set_per_blow[row], sets, rtol=0.05)
        assert (graph.blows.set_per_blow[row] > greatest - values["toe_quake"]).all()
