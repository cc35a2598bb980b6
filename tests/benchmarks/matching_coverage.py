"""How often the ranges of matching hold the truth, in soils that its laws do not describe.

    python tests/benchmarks/matching_coverage.py [PILES] [SEED] [BLOWS] [FAMILY ...]

Piles of random size, soil and gauge errors come from `tests/outside/worlds/travelling_wave.py`, an independent
computation by travelling waves: powers of the velocity from 0.15 to 0.5, viscous layers at any depth, radiation under a
slider, hyperbolas, unloading stiffer than loading, toe gaps, shaft quakes that nearly double along the pile and
resistance that wanders along it; strain gauges up to 2.5 % off, concrete wave speeds 3 % off. The families ``lumped``
and ``lumped radiation`` come from the explicit scheme of masses and springs in `lumped_mass.py` instead, which struck
the test piles of `structures.py`, from number SEED on. With the word ``restrike`` all shafts lose 4 % of their
resistance with every blow, as in a restrike; with ``hyperbolic`` all soil is. Each is matched as a review does it, with
BLOWS blows together. Printed are found over truth, width of the ranges over the true total, and the share of ranges
that hold the truth. Seeds are fixed: the same call prints the same table.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

from dyntest.conditioning.condition import condition
from dyntest.pile import Pile, PilePart
from dyntest.signals import AveragedTraces
from dyntest.wave_equation.matching import Match, match_blow
from dyntest.wave_equation.problem import Blow

sys.path.insert(0, str(Path(__file__).parent.parent / "outside" / "worlds"))
from structures import invent
from travelling_wave import FAMILIES, World, worlds

LUMPED, LUMPED_RADIATION = "lumped", "lumped radiation"
ALSO = {"restrike": {"fade": 0.04}, "hyperbolic": {"hyperbolic": True}}
"""What a word among the families makes of all piles."""
STROKES = (1.0, 0.9, 1.12, 0.95, 1.06)
"""Strokes over the usual one [1]."""

PARTS = ("matched", "shaft", "toe")


def lumped_worlds(n: int, first: int, radiating: bool) -> list[World]:
    """Give test piles of invented structures, struck five times, each time from rest."""
    found: list[World] = []
    number = first
    while len(found) < n:
        made, number = invent(number), number + 1
        if (made.kind.law == "radiation") != radiating:
            continue
        sample = made.kind.sample
        options = {"sample": sample, "before": 40e-3 if made.driver.gas else 6e-3}
        struck = made.strike_at(np.full(5, made.end_of_drive), made.usual * np.array(STROKES), **options)
        random = np.random.default_rng(number)
        noise = random.standard_normal((2, *struck.force.shape)) * 0.002 * struck.force.max()
        told = made.rod.modulus * (1.0 + made.wave_speed_error) ** 2
        force = struck.force * made.gains[:2].mean() * told / made.rod.modulus + noise[0]
        velocity = struck.velocity * made.gains[2:].mean() + noise[1] / made.rod.impedance
        rod, kind = made.rod, made.kind
        found.append(
            World(
                made.name,
                "radiation" if radiating else f"lumped {kind.law}",
                kind.material,
                rod.below,
                rod.area,
                told,
                rod.density,
                made.embedded,
                struck.time - struck.time[0],
                force,
                velocity,
                struck.shaft + struck.toe,
                struck.shaft,
                struck.toe,
                struck.set_per_blow,
                {"soil": made.shaft_soil},
            )
        )
    return found


def blows_of(world: World) -> list[Blow]:
    """Give the blows of a simulated pile, conditioned as a review conditions averaged traces.

    Those of a pile whose shaft weakens know how long after the first they were.
    """
    pile = Pile(world.name, world.material, (PilePart(world.length, world.area, world.modulus, world.density),))
    numbers = np.arange(1, len(world.force) + 1)
    waves = condition(AveragedTraces(world.name, numbers, world.time, world.force, world.velocity), pile).waves
    soil = world.told["soil"]
    return [
        Blow(
            waves.time,
            waves.force[k],
            waves.velocity[k],
            int(waves.onset[k]),
            int(waves.first_peak[k]),
            pile,
            world.embedded,
            soil,
            soil,
            after=k if world.told.get("fade") else 0,
        )
        for k in range(len(numbers))
    ]


def row_of(world: World, match: Match) -> dict:
    """Give what one match came to, against the truth."""
    truth = dict(zip(PARTS, (world.total[0], world.shaft[0], world.toe[0]), strict=True))
    row = {"pile": world.name, "family": world.family, "material": world.material}
    row["law"], row["misfit"] = ", ".join(match.problem.law), match.misfit
    for part, value in truth.items():
        low, high = getattr(match, f"{part}_resistance_range")
        row |= {
            f"{part}_held": low <= value <= high,
            f"{part}_width": (high - low) / truth["matched"],
            f"{part}_above": low > value,
            f"{part}_error": (getattr(match, f"{part}_resistance") - value) / truth["matched"],
        }
    row["ratio"] = match.matched_resistance / truth["matched"]
    row["set_ratio"] = match.matched_set / world.set_per_blow[0]
    return row


def table(piles: int, seed: int, blows: int, families: tuple[str, ...]) -> pd.DataFrame:
    """Match every pile and give a row each."""
    rows = []
    lumped = [name for name in (LUMPED, LUMPED_RADIATION) if name in families]
    some = [world for name in lumped for world in lumped_worlds(piles, seed, name == LUMPED_RADIATION)]
    fixed = {name: value for word in families for name, value in ALSO.get(word, {}).items()}
    families = tuple(name for name in families if name not in ALSO) or FAMILIES
    for world in some or worlds(piles, seed, families=families, **fixed):
        start = time.process_time()
        first, *further = blows_of(world)
        match = match_blow(first, further=tuple(further[: blows - 1]))
        row = row_of(world, match) | {"seconds": time.process_time() - start}
        print(
            f"{row['pile']:>9} {row['family']:>9} {row['material']:>8} {row['law']:>45} misfit {row['misfit']:.4f} "
            f"ratio {row['ratio']:.3f} width {row['matched_width']:.2f} held {row['matched_held']!s:>5} "
            f"shaft {row['shaft_error']:+.3f} {row['shaft_held']!s:>5} toe {row['toe_error']:+.3f} "
            f"{row['toe_held']!s:>5} set {row['set_ratio']:.2f} {row['seconds']:.1f} s",
            flush=True,
        )
        rows.append(row)
    return pd.DataFrame(rows)


def summed_up(rows: pd.DataFrame) -> str:
    """Give the table's summary, with and without radiation."""
    lines = []
    for words, some in (
        ("without radiation", rows[rows["family"] != "radiation"]),
        ("with radiation", rows[rows["family"] == "radiation"]),
    ):
        if some.empty:
            continue
        lines.append(
            f"{words}: {len(some)} piles, found over truth {some['ratio'].min():.2f} to {some['ratio'].max():.2f}, "
            f"wholly above the truth {some['matched_above'].mean():.0%}, "
            f"set within 15 % {(abs(some['set_ratio'] - 1) <= 0.15).mean():.0%}"
        )
        for part in PARTS:
            held, width = some[f"{part}_held"], some[f"{part}_width"]
            lines.append(f"  {part}: held {held.sum()} of {len(held)}, median width {width.median():.1%} of the total")
    return "\n".join(lines)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:4]]
    n_piles, first_seed, n_blows = [*numbers, *(30, 1, 5)[len(numbers) :]]
    print(summed_up(table(n_piles, first_seed, n_blows, tuple(sys.argv[4:]) or FAMILIES)))
