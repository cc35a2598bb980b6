"""Records that a general finite-element program computed, conditioned and matched once for every check against them."""

import json
from pathlib import Path

import pytest

from dyntest.conditioning.condition import condition
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals
from dyntest.wave_equation.matching import match_blow, match_from
from dyntest.wave_equation.problem import Blow, Reduction

FOLDER = Path(__file__).parent.parent / "data" / "reference_tests"
SUSPECTED = {"steel_reduced_section": Reduction(12.3, 0.75)}
"""Where a reduced section is looked for; its true place is 11.0 to 12.5 m, with half of the section left."""


@pytest.fixture(scope="session")
def reference_record():
    """Conditioned blows of a folder, with their truth."""
    kept = {}

    def load(name):
        if name not in kept:
            sheet = read_sheet(FOLDER / name / "sheet.toml")
            waves = condition(read_signals(sheet, sheet.drives[0]), sheet.pile).waves
            truth = json.loads((FOLDER / name / "truth.json").read_text())["blows"]
            embedded = sheet.drives[0].penetration_at_start
            blows = [
                Blow(
                    waves.time,
                    waves.force[row],
                    waves.velocity[row],
                    int(waves.onset[row]),
                    int(waves.first_peak[row]),
                    sheet.pile,
                    embedded,
                    sheet.soil.shaft,
                    sheet.soil.toe,
                )
                for row in range(len(truth))
            ]
            kept[name] = blows, waves, truth
        return kept[name]

    return load


@pytest.fixture(scope="session")
def reference_match(reference_record):
    """The first blow of a folder matched as review does it, and the others from it."""
    kept = {}

    def every(name):
        if name not in kept:
            blows, _, _ = reference_record(name)
            first = match_blow(blows[0], reduction=SUSPECTED.get(name))
            kept[name] = [first, *(match_from(blow, first) for blow in blows[1:])]
        return kept[name]

    return every
