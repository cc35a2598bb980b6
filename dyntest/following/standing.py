"""Status of a drive: stresses, required resistance and what is still missing, refusal, growing damage.

Data for the people who decide at the rig; nothing here controls the rig.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dyntest.decisions.criterion import (
    ABSOLUTE_REFUSAL_SET,
    COUNTING,
    PRACTICAL_REFUSAL_LENGTH,
    PRACTICAL_REFUSAL_SET,
    ROUNDING,
    Counting,
)
from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.decisions.stroke_table import holding_length
from dyntest.following.depth import intervals_of, penetration_at
from dyntest.following.record import Kept
from dyntest.reading.parts import TestSheet

ALARM_BLOWS = 10
"""Last blows over which stresses above their limit are counted [1]. Our own choice."""

NEAR_LIMIT = 0.9
"""Share of a stress limit above which a stress counts as near it [1]. Our own choice."""

EASY_SHARE = 0.5
"""Share of the required resistance below which driving counts as easy, where tension governs [1]. Our own choice."""

DAMAGE_LAST, DAMAGE_BEFORE = 10, 30
"""Blows whose median integrity factor is compared with that of the blows before them [1]. Our own choice."""

DAMAGE_FALL, DAMAGE_BELOW = 0.05, 0.9
"""Drop of the median integrity factor, and value it must be below, to count as growing damage [1]. Our own choice;
the scatter on sound piles is smaller."""


@dataclass(frozen=True)
class LiveStress:
    """The stress in the last blow, tension or compression.

    Parameters
    ----------
    sense : str
        ``"tension"`` or ``"compression"``.
    value : float
        In the last blow [Pa], positive for tension and for compression.
    limit : float or None
        Its limit [Pa].
    above : int
        Blows above the limit among the last ones [1].
    looked_at : int
        Number of those blows [1].
    """

    sense: str
    value: float
    limit: float | None
    above: int
    looked_at: int

    @property
    def state(self) -> str:
        """``"above"``, ``"near"``, ``"below"`` or ``"no limit"``, by the last blow."""
        if self.limit is None or self.value != self.value:
            return "no limit"
        return "above" if self.value > self.limit else "near" if self.value > NEAR_LIMIT * self.limit else "below"


@dataclass(frozen=True)
class Holding:
    """The required resistance, and over which length it has been reached.

    Parameters
    ----------
    required : float
        Required resistance [N].
    resistance : float
        Lowest maximum Case resistance of the run of blows at or above it, else that of the last sound blow [N].
    first : int
        First blow of that run; 0 where the last sound blow is below [1].
    held, needed : float
        Length over which it was held by the depth marks, and must be held [m].
    stroke, set_per_blow, penetration : float
        Median stroke of the run [m], set per blow of the last interval [m], and last depth mark [m]; not a number if
        unknown.
    minimum_penetration : float or None
        Minimum penetration of the toe [m].
    match : float
        Low end of the range of the last match [N]; not a number if there is none in the run.
    missing : tuple of str
        What is missing before it counts as reached: ``"resistance"``, ``"depth"``, ``"holding"``,
        ``"penetration"``, ``"match"``, ``"match below"``.
    """

    required: float
    resistance: float
    first: int
    held: float
    needed: float
    stroke: float
    set_per_blow: float
    penetration: float
    minimum_penetration: float | None
    match: float
    missing: tuple[str, ...]

    @property
    def reached(self) -> bool:
        """Whether nothing is missing."""
        return not self.missing


@dataclass(frozen=True)
class LiveRefusal:
    """Refusal by the depth marks.

    Parameters
    ----------
    absolute : bool
        Whether the last interval is beyond absolute refusal.
    set_per_blow : float
        Over that length [m].
    length : float
        Length at refusal [m].
    stroke : float
        Median stroke over that length [m]; not a number if unknown.
    low_stroke : bool
        Whether that stroke is below the minimum of the approved range.
    """

    absolute: bool
    set_per_blow: float
    length: float
    stroke: float
    low_stroke: bool


@dataclass(frozen=True)
class Damage:
    """A falling integrity factor: medians before and now [1], and its depth [m]."""

    before: float
    now: float
    depth: float


@dataclass(frozen=True)
class Standing:
    """Status of a drive after its last blow; the stress that matters most now comes first."""

    blow: int
    stresses: tuple[LiveStress, ...]
    holding: Holding | None
    refusal: LiveRefusal | None
    damage: Damage | None


def standing(sheet: TestSheet, drive: str, kept: Kept, limits: DrivingStressLimits) -> Standing | None:
    """Give the status of a drive; None before its first blow."""
    if kept.last is None:
        return None
    of_drive = next(one for one in sheet.drives if one.name == drive)
    table = kept.table()
    table["penetration"] = penetration_at(kept.depths, of_drive.penetration_at_start, table["blow"].to_numpy())
    required = sheet.requirement.required_resistance
    minimum = None if of_drive.hammer is None else of_drive.hammer.minimum_stroke
    return Standing(
        kept.last.blow,
        live_stresses(table, limits, required),
        None
        if required is None
        else holding(
            table,
            required,
            COUNTING[sheet.display_units],
            kept,
            of_drive.penetration_at_start,
            sheet.requirement.minimum_penetration,
        ),
        live_refusal(table, kept.depths, of_drive.penetration_at_start, minimum),
        growing_damage(table),
    )


def live_stresses(
    table: pd.DataFrame, limits: DrivingStressLimits, required: float | None = None
) -> tuple[LiveStress, ...]:
    """Give the stresses of the last blow and how often they exceeded their limits in the last blows.

    Tension comes first while driving is easy.
    """
    found = []
    for sense, code in (("tension", "peak_tension_stress"), ("compression", "peak_compression_stress")):
        values = _column(table, code)[-ALARM_BLOWS:]
        limit = getattr(limits, sense).value
        above = 0 if limit is None else int((values > limit).sum())
        found.append(LiveStress(sense, float(values[-1]), limit, above, len(values)))
    resistance = _column(table, "case_resistance_maximum")[-1]
    easy = required is None or not resistance >= EASY_SHARE * required
    return tuple(found if easy else found[::-1])


def holding(
    table: pd.DataFrame,
    required: float,
    counting: Counting,
    kept: Kept,
    start: float | None,
    minimum_penetration: float | None,
) -> Holding:
    """Give the length over which the maximum Case resistance of sound blows was at or above the required resistance."""
    sound = table[(table["trust"] != "no").to_numpy()]
    values = _column(sound, "case_resistance_maximum")
    known = np.isfinite(values)
    sound, values = sound[known], values[known]
    below = np.flatnonzero(values < required)
    run = sound.iloc[(int(below[-1]) + 1 if below.size else 0) :]
    depths = _column(sound, "penetration")
    marked = depths[np.isfinite(depths)]
    inside = _column(run, "penetration")
    inside = inside[np.isfinite(inside)]
    held = float(inside.max() - inside.min()) if inside.size else 0.0
    last = float(marked[-1]) if marked.size else float("nan")
    matches = [kept.matches[number] for number in sorted(kept.matches) if "matched_resistance" in kept.matches[number]]
    within = [one for one in matches if len(run) and one["blow"] >= int(run["blow"].iloc[0]) and not one["problem"]]
    low = float(within[-1]["matched_resistance_low"]) if within else float("nan")
    intervals = intervals_of(kept.depths, start)
    moved = intervals[-1] if intervals else None
    way = float("nan")
    if moved is not None and moved.recorded > 0:
        way = (moved.depth_to - moved.depth_from) / moved.recorded
    needed = holding_length(way if way == way else counting.length, counting)
    missing = []
    if not len(run):
        missing.append("resistance")
    if not marked.size:
        missing.append("depth")
    elif len(run) and held < needed * (1.0 - ROUNDING):
        missing.append("holding")
    if minimum_penetration is not None and not last >= minimum_penetration - ROUNDING:
        missing.append("penetration")
    if len(run) and not within:
        missing.append("match")
    elif low < required:
        missing.append("match below")
    of_run = run if len(run) else sound.tail(ALARM_BLOWS)
    strokes = _column(of_run, "stroke")
    least = (
        float(_column(run, "case_resistance_maximum").min()) if len(run) else float(values[-1]) if len(values) else 0.0
    )
    return Holding(
        required,
        least,
        int(run["blow"].iloc[0]) if len(run) else 0,
        held,
        needed,
        float(np.median(strokes[np.isfinite(strokes)])) if np.isfinite(strokes).any() else float("nan"),
        way,
        last,
        minimum_penetration,
        low,
        tuple(missing),
    )


def live_refusal(
    table: pd.DataFrame, depths: Sequence[Mapping[str, Any]], start: float | None, minimum_stroke: float | None
) -> LiveRefusal | None:
    """Say whether the last intervals are at refusal: practical over its length, or absolute in the last one."""
    run = []
    for one in reversed(intervals_of(depths, start)):
        blows = one.recorded if one.counted is None else one.counted
        if blows == 0 or (one.depth_to - one.depth_from) / blows > PRACTICAL_REFUSAL_SET * (1.0 + ROUNDING):
            break
        run.append((one, blows))
    length = sum(one.depth_to - one.depth_from for one, _ in run)
    if not run:
        return None
    last = (run[0][0].depth_to - run[0][0].depth_from) / run[0][1]
    absolute = last < ABSOLUTE_REFUSAL_SET * (1.0 - ROUNDING)
    if length < PRACTICAL_REFUSAL_LENGTH * (1.0 - 1e-6) and not absolute:
        return None
    inside = table[(table["blow"] >= run[-1][0].first).to_numpy() & (table["blow"] <= run[0][0].last).to_numpy()]
    strokes = _column(inside, "stroke")
    stroke = float(np.median(strokes[np.isfinite(strokes)])) if np.isfinite(strokes).any() else float("nan")
    low = minimum_stroke is not None and stroke < minimum_stroke * (1.0 - ROUNDING)
    return LiveRefusal(absolute, length / sum(blows for _, blows in run), length, stroke, low)


def growing_damage(table: pd.DataFrame) -> Damage | None:
    """Say whether the integrity factor of the last blows is below that of the blows before.

    Examples
    --------
    >>> table = pd.DataFrame({"integrity_factor": [0.95] * 30 + [0.8] * 10, "trust": "yes", "integrity_depth": 9.0})
    >>> growing_damage(table)
    Damage(before=0.95, now=0.8, depth=9.0)
    >>> growing_damage(table.head(33)) is None
    True
    """
    sound = table[(table["trust"] != "no").to_numpy()]
    factor = _column(sound, "integrity_factor")
    known = np.flatnonzero(np.isfinite(factor))
    if len(known) < 2 * DAMAGE_LAST:
        return None
    last, before = known[-DAMAGE_LAST:], known[-DAMAGE_LAST - DAMAGE_BEFORE : -DAMAGE_LAST]
    now, then = float(np.median(factor[last])), float(np.median(factor[before]))
    if now > DAMAGE_BELOW or now > then - DAMAGE_FALL:
        return None
    depth = _column(sound, "integrity_depth")[last]
    return Damage(then, now, float(np.median(depth[np.isfinite(depth)])) if np.isfinite(depth).any() else float("nan"))


def _column(table: pd.DataFrame, code: str) -> np.ndarray:
    return table[code].to_numpy(dtype=float) if code in table else np.full(len(table), np.nan)
