"""Piles, soils and records that the tests of the wave equation share."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from dyntest.pile import Pile, PilePart
from dyntest.wave_equation.fitting import BEST
from dyntest.wave_equation.matching import match_blow
from dyntest.wave_equation.problem import Blow
from dyntest.wave_equation.simulator import impose_down_wave, simulate
from dyntest.wave_equation.soil import build_soil, mesh_pile, place_shaft


@pytest.fixture
def steel_pile():
    """An invented steel pile of 20 m."""
    return Pile("P1", "steel", (PilePart(20.0, 0.0138, 207e9, 7850.0),), total_length=21.0)


@pytest.fixture
def mesh(steel_pile):
    """It in 40 segments."""
    return mesh_pile(steel_pile, 40)


@pytest.fixture
def make_soil(mesh):
    """Soil from 3 m down to the toe, a column a candidate, with options of `build_soil`."""

    def make(shaft=(6e5, 9e5), toe=(3e5, 5e5), shaft_damping=0.4, toe_damping=0.3, **options):
        shaft, toe = np.array(shaft, dtype=float), np.array(toe, dtype=float)
        nodes = place_shaft(mesh, 3.0, mesh.depth[-1], np.repeat(shaft[None], 8, axis=0) / 8)
        quakes = {"shaft_quake": 0.0025, "toe_quake": 0.004}
        return build_soil(nodes, toe, shaft_damping=shaft_damping, toe_damping=toe_damping, **quakes, **options)

    return make


@pytest.fixture
def pulse(mesh):
    """A downward wave of 1.4 MN that rises in 1 ms and decays in 5 ms, for 600 steps."""
    time = np.arange(600) * mesh.time_step
    return 1.4e6 * np.minimum(time / 1e-3, 1.0) * np.exp(-time / 5e-3)


@pytest.fixture(scope="session")
def invented_blow():
    """A record whose soil is known: another mesh, another step and another sampling than matching uses, and noise.

    It comes from the same wave equation, so it shows that matching finds its way back, and not that the wave equation
    is right; checks against records from elsewhere stand in tests/outside.
    """

    def make(
        *,
        length=20.0,
        embedded=16.0,
        shaft=6e5,
        toe=4e5,
        shaft_quake=0.0025,
        toe_quake=0.004,
        shaft_damping=0.4,
        toe_damping=0.35,
        peak=2.4e6,
        decay=6e-3,
        noise=0.002,
        duration=0.08,
        rate=12.5e3,
        stretch=0.0,
        lag=0.0,
        velocity_factor=1.0,
        at_rest=True,
        section=None,
        unloading=None,
        seed=1,
        **options,
    ):
        part = PilePart(length, 0.0138, 207e9, 7850.0)
        pile = Pile("invented", "steel", (part,))
        mesh = mesh_pile(pile, round(part.travel_time / 31e-6))
        if section is not None:
            top, bottom, left = section
            covered = np.minimum(mesh.depth[1:], bottom) - np.maximum(mesh.depth[:-1], top)
            covered = np.clip(covered, 0.0, None) / np.diff(mesh.depth)
            mesh = replace(mesh, impedance=mesh.impedance * (1.0 - (1.0 - left) * covered))
        nodes = place_shaft(mesh, length - embedded, length, np.array([[shaft]]))
        rows = {"shaft_quake": shaft_quake, "toe_quake": toe_quake}
        soil = build_soil(
            nodes, np.array([toe]), shaft_damping=shaft_damping, toe_damping=toe_damping, **rows, **options
        )
        if unloading is not None:
            soil = replace(soil, unloading_quake=unloading * soil.quake)
        quiet = 4e-3
        steps = np.arange(round((duration - quiet) / mesh.time_step)) * mesh.time_step
        down = peak * np.sin(0.5 * np.pi * np.minimum(steps / 1.5e-3, 1.0)) ** 2
        down *= np.exp(-np.maximum(steps - 1.5e-3, 0.0) / decay)
        motion = simulate(mesh, soil, impose_down_wave(down), len(steps), peaks=True)
        random = np.random.default_rng(seed)
        time = np.arange(round(duration * rate)) / rate
        force = np.interp(time - quiet, steps, motion.up[:, 0] + down, left=0.0)
        velocity = (np.interp(time - quiet + lag, steps, down - motion.up[:, 0], left=0.0)) / part.impedance
        velocity = velocity_factor * velocity
        if not at_rest:  # what conditioning does to a pile that still moves where the record ends
            velocity -= velocity[-len(time) // 5 :].mean() * np.maximum(time - quiet, 0.0) / (0.9 * duration - quiet)
        force += noise * peak * random.standard_normal(len(time))
        velocity += noise * peak / part.impedance * random.standard_normal(len(time))
        told = replace(pile, parts=(replace(part, length=length * (1.0 + stretch)),))
        onset, first_peak = round(quiet * rate), round((quiet + 1.5e-3) * rate)
        blow = Blow(time, force, velocity, onset, first_peak, told, embedded)
        mobilised = motion.greatest_spring[:, 0]
        return SimpleNamespace(
            blow=blow, total=mobilised.sum(), shaft=mobilised[:-1].sum(), toe=mobilised[-1], limit=shaft + toe
        )

    return make


@pytest.fixture(scope="session")
def match_invented(invented_blow):
    """Give a record of `invented_blow` and its match, made once however many tests ask something of it."""
    kept = {}

    def give(law=BEST, **options):
        name = law, repr(sorted(options.items()))
        if name not in kept:
            record = invented_blow(**options)
            kept[name] = record, match_blow(record.blow, law=law)
        return kept[name]

    return give


@pytest.fixture(scope="session")
def matched(match_invented):
    """The plain record and its match."""
    return match_invented()
