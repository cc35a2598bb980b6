"""Makes the production logs and tables of piles of an invented bridge: pier 2 with some of every oddity, and abutments.

Nothing here was measured: bridge, piles, counts and levels are invented. Run from the top of the repository:

    python sample_signals/make_production_log.py
"""

import csv
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
GROUND, CUTOFF, FURNISHED = 100.0, 103.0, 75.0  # ft
LATER = {1: "2026-05-18", 2: "2026-05-19", 3: "2026-05-20"}


def count_per_inch(depth: float, stroke: float, strength: float) -> float:
    """Give blows per inch at a depth [ft] and a stroke [ft]; harder with depth, fewer with more stroke."""
    return 3.9 * strength * (depth / 60.0) ** 2.6 * (8.0 / stroke) ** 1.1


MADE = {
    **dict.fromkeys((1, 2, 3, 5, 6, 8, 10, 12, 15, 17), ("accepted", "a tenth stronger than the test pile")),
    4: ("accepted", "the test pile, just below the count, shown by its restrike"),
    7: ("not met", "the last blows came at a stroke below the approved range"),
    9: ("accepted", "stopped soft, shown by its restrike"),
    11: ("accepted", "soft, driven deeper until the count was reached"),
    13: ("not met", "damaged on the way"),
    14: ("second look", "met, then driven on beyond absolute refusal"),
    16: ("accepted", "a splice on the way"),
    18: ("not met", "resumed after a night, so that its count may hold setup"),
    19: ("not met", "no strokes written down at the end"),
    20: ("second look", "the last blows came at a stroke above the approved range"),
    21: ("not met", "met far above the minimum penetration"),
    22: ("accepted", "battered, started below the planned ground"),
    23: ("second look", "shorter than furnished, so that the head is below cutoff"),
    24: ("not met", "not driven yet"),
}
"""Verdict that each pile of pier 2 was made to get, and why."""

MADE_AT_ABUTMENTS = {
    **dict.fromkeys(("A1-1", "A1-3", "A4-1", "A4-2", "A4-4"), ("accepted", "three tenths above the count")),
    "A1-2": ("accepted", "the test pile"),
    "A1-4": ("not met", "three tenths below the count"),
    "A4-3": ("second look", "the test pile that was damaged, whose count is met all the same"),
}
"""The same at the abutments."""


class Pile:
    """The log of one pile, row by row."""

    def __init__(self, mark: str, date: str, rng: np.random.Generator, strength: float = 1.0):
        self.mark, self.date, self.rng, self.strength = mark, date, rng, strength
        self.depth, self.rows = 20.0, []

    def row(self, length: float, count: int, stroke: float | str, remark: str = "") -> None:
        """Add a row of a length [ft]."""
        end = self.depth + length
        height = f"{stroke:.1f}" if isinstance(stroke, float) else stroke
        self.rows.append((self.mark, _feet(self.depth), _feet(end), count, height, self.date, remark))
        self.depth = end

    def drive(self, end: float, remarks: dict[int, str] | None = None, weaker_below: float = 1e3) -> None:
        """Drive by the foot to a depth [ft]."""
        while self.depth < end - 1e-6:
            stroke = float(np.round(np.interp(self.depth, (20, 30, 45, 60), (5.6, 6.2, 7.2, 8.2)), 1))
            strength = self.strength * (0.35 if self.depth >= weaker_below else 1.0)
            count = 12 * count_per_inch(self.depth, stroke, strength) * (1 + 0.04 * self.rng.standard_normal())
            self.row(1.0, max(1, round(count)), stroke, (remarks or {}).get(round(self.depth), ""))

    def inches(self, *counts: int, stroke: float | str = 8.2, remark: str = "") -> None:
        """Drive by the inch."""
        for count in counts:
            self.row(1 / 12, count, stroke, remark)


def _feet(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")


def make_piles() -> list[Pile]:
    """Give the logs of all piles; those in the second part are odd, each in its own way."""
    rng = np.random.default_rng(2405)
    piles = {}

    def pile(number: int, day: int, strength: float = 1.0) -> Pile:
        piles[number] = Pile(f"P2-{number}", LATER[day], rng, strength)
        return piles[number]

    for number in (1, 2, 3, 5, 6, 8, 10, 12, 15, 17):
        usual = pile(number, 1 + number % 3, 1.10 + 0.05 * rng.standard_normal())
        usual.drive(61 + number % 3)
        usual.inches(*(int(count) for count in rng.integers(5, 7, 3)))
    test = pile(4, 1)
    test.date = "2026-05-04"
    test.drive(60, {45: "test pile, restruck twice: see its own sheet"})
    test.inches(3)
    test.date = "2026-05-11"
    test.inches(8, 7, stroke=9.4, remark="restrike 2")

    low = pile(7, 1, 1.5)
    low.drive(53)
    low.inches(11, 12, 12, stroke=5.2, remark="hammer cold")
    soft = pile(9, 2, 0.72)
    soft.drive(64, {63: "stopped, to be restruck"})
    soft.date = "2026-05-27"
    soft.inches(10, 9, stroke=8.6, remark="restrike, hammer warm")
    past = pile(11, 2, 0.70)
    past.drive(69)
    past.inches(5, 5, 6, stroke=8.4)
    hurt = pile(13, 3, 1.2)
    hurt.drive(62, {54: "pile moved sideways"}, weaker_below=54)
    hard = pile(14, 3, 1.5)
    hard.drive(57)
    hard.inches(9, 14, 22, stroke=8.6, remark="boulder?")
    spliced = pile(16, 1, 1.12)
    spliced.drive(62, {40: "splice, 35 min"})
    spliced.inches(5, 6, 6)
    resumed = pile(18, 1, 1.15)
    resumed.drive(55)
    resumed.date = LATER[2]
    resumed.drive(61)
    resumed.inches(6, 6, 6)
    unread = pile(19, 2, 1.12)
    unread.drive(62)
    unread.inches(6, 6, 6, stroke="")
    high = pile(20, 3, 1.10)
    high.drive(62)
    high.inches(5, 5, 5, stroke=10.6)
    shallow = pile(21, 3, 2.3)
    shallow.drive(46)
    shallow.inches(8, 8, 9, stroke=7.4)
    for number in (22, 23):
        usual = pile(number, 3, 1.12)
        usual.drive(63)
        usual.inches(6, 6, 5)
    return [piles[number] for number in sorted(piles)]


def make_abutment_piles() -> list[Pile]:
    """Give the logs of the concrete piles of both abutments, driven with a hydraulic hammer at one stroke."""
    rng, piles = np.random.default_rng(1704), []
    for place, mark in enumerate(MADE_AT_ABUTMENTS_IN_ORDER):
        strength = {"A1-4": 0.7, "A1-2": 1.0, "A4-3": 1.0}.get(mark, 1.3)
        pile = Pile(mark, f"2026-05-{21 + place // 2}", rng)
        if strength == 1.0:
            pile.date = "2026-05-07" if mark == "A1-2" else "2026-05-08"
        while pile.depth < 50.0:
            blows = 46.0 * strength * ((pile.depth + 1.0) / 50.5) ** 2.4 * (1 + 0.04 * rng.standard_normal())
            pile.row(1.0, max(1, round(blows)), 2.6)
        each = {1.3: (5, 5, 5, 4, 5, 5), 1.0: (4, 4, 3, 3, 4, 6), 0.7: (3, 2, 3, 2, 3, 2)}[strength]
        pile.inches(*each, stroke=2.6)
        piles.append(pile)
    return piles


MADE_AT_ABUTMENTS_IN_ORDER = tuple(sorted(MADE_AT_ABUTMENTS))


def write_log(name: str, piles: list[Pile]) -> None:
    """Write a production log."""
    with (HERE / name).open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["pile", "depth_from [ft]", "depth_to [ft]", "blows", "stroke [ft]", "date", "remark"])
        for pile in piles:
            first, *others = pile.rows
            note = ", ".join(text for text in ("invented", first[-1]) if text)
            writer.writerows([(*first[:-1], note), *others])


def main() -> None:
    """Write all tables."""
    piles = make_piles()
    write_log("production_log.csv", piles)
    write_log("abutment_log.csv", make_abutment_piles())
    with (HERE / "abutment_piles.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(
            ["pile", "cutoff_elevation [ft]", "ground_elevation [ft]", "furnished_length [ft]", "x [ft]", "y [ft]"]
        )
        for mark in MADE_AT_ABUTMENTS_IN_ORDER:
            along, number = -12.0 if mark.startswith("A1") else 54.0, int(mark[-1])
            writer.writerow([mark, 110.0, 105.0, 60.0, along, 4.0 * number - 4.0])
    with (HERE / "piles.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        levels = ("cutoff_elevation [ft]", "ground_elevation [ft]", "furnished_length [ft]", "batter")
        writer.writerow(["pile", *levels, "planned_ground_elevation [ft]", "x [ft]", "y [ft]"])
        for place, mark in enumerate((*(pile.mark for pile in piles), "P2-24")):
            ground, furnished, batter, planned = GROUND, FURNISHED, 0.0, GROUND
            if mark == "P2-22":
                ground, batter = 98.0, 0.25  # staked out for the plan's ground, started two feet lower
            if mark == "P2-23":
                furnished = 64.0
            along, across = divmod(place, 3)
            writer.writerow([mark, CUTOFF, ground, furnished, batter, planned, 6.0 * along, 6.0 * across])


if __name__ == "__main__":
    main()
