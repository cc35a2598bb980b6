"""Restrikes by independent schemes.

One after Smith (1960), whose fit once stayed where the toe is too weak; its origin is told in
tests/data/restrike_smith/PROVENANCE.md, and the limit below is that of soils outside our own scheme. The other by
travelling waves, its shaft weaker from blow to blow, as a restrike wears off what had grown (common practice, no
source).
"""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

from dyntest.conditioning.condition import condition
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals
from dyntest.wave_equation.matching import match_blow
from dyntest.wave_equation.problem import Blow

sys.path.insert(0, str(Path(__file__).parent / "worlds"))
sys.path.insert(0, str(Path(__file__).parent.parent / "benchmarks"))
from matching_coverage import blows_of
from travelling_wave import worlds

FOLDER = Path(__file__).parent.parent / "data" / "restrike_smith"
TRUE_RESISTANCE = 2209.3e3


def test_the_resistance_is_within_five_percent_and_its_range_holds_it():
    sheet = read_sheet(FOLDER / "sheet.toml")
    waves = condition(read_signals(sheet, sheet.drives[0]), sheet.pile).waves
    at = int(waves.onset[0]), int(waves.first_peak[0])
    embedded = sheet.drives[0].penetration_at_start
    found = match_blow(Blow(waves.time, waves.force[0], waves.velocity[0], *at, sheet.pile, embedded, "clay", "clay"))
    assert found.matched_resistance == pytest.approx(TRUE_RESISTANCE, rel=0.05)
    low, high = found.matched_resistance_range
    assert low < TRUE_RESISTANCE < high


def test_blows_of_a_shaft_that_weakens_are_matched_together():
    (pile,) = worlds(1, 7, ("smith",), n_blows=3, fade=0.08)
    first, *others = blows_of(pile)
    found = match_blow(first, law="elastic-plastic", further=tuple(others))
    assert found.parameters["fade"] == pytest.approx(0.08, abs=0.02)
    for part in ("matched", "shaft", "toe"):
        low, high = getattr(found, f"{part}_resistance_range")
        assert low < getattr(pile, part.replace("matched", "total"))[0] < high
    unchanged = match_blow(first, law="elastic-plastic", further=tuple(replace(blow, after=0) for blow in others))
    assert found.misfit < 0.7 * unchanged.misfit
