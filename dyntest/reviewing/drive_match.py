"""The signal match of a reviewed drive: of its representative blow, or of every blow.

The representative blow is matched together with blows of other energy near it, where the drive has them.
"""

import base64
import hashlib
import json
import re
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, fields, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyntest.decisions.trust import ANSWERS
from dyntest.pile import Pile, PilePart
from dyntest.processes import Errands
from dyntest.quantities.case_resistance import calibrated_damping_factor
from dyntest.quantities.log_match import sets_are_certain
from dyntest.quantities.pile_calibration import PileCalibration
from dyntest.reading.files import FOLLOWED, program, write_all
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.drive import DriveReview, waves_by_chunk, waves_of
from dyntest.signals import Waves
from dyntest.wave_equation.bearing_graph import StruckBlows
from dyntest.wave_equation.comparison import LawFit, Search, StressChange, run_search, side_by_side
from dyntest.wave_equation.every_blow import DriveMatches, match_every_blow
from dyntest.wave_equation.matching import Match, search_match, with_reduction
from dyntest.wave_equation.problem import Blow, Parameters, Problem, Reduction, SoilLaw
from dyntest.wave_equation.soil import Mesh, State

LEAST_SECTION = 0.3
"""Share of the section from which the fit of a reduction starts at the least [1]."""
SUSPICIOUS_MISFIT = 0.015
"""Misfit above which a reduction is looked for although the integrity factor shows none [1]: a record of a sound pile
fits
several times better; common practice, no source."""
TRIED_DEPTHS = (0.35, 0.6, 0.85)
"""Where it is looked for then, as shares of the length below the gauges [1]."""


def match_drive(sheet: TestSheet, drive: DriveReview) -> DriveReview:
    """Match the representative blow of a drive."""
    return match_begun(sheet, drive, begin_matches(sheet, [drive], Errands(None))[0])


Begun = Callable[[], "Match | str"]
"""Waits for a match that was begun; gives it, or why there is none."""


def begin_matches(sheet: TestSheet, drives: Sequence[DriveReview], among: Errands) -> list[Begun]:
    """Have the representative blows of drives matched by whoever has time first, all in one go.

    Each is matched as if alone, to the last digit, and together they take much less time.
    """
    errand = among.add(_answered, [_asked(sheet, drive) for drive in drives])

    def result(place: int) -> Match | str:
        return errand.result()[place]

    return [partial(result, place) for place in range(len(drives))]


def match_begun(sheet: TestSheet, drive: DriveReview, begun: Begun) -> DriveReview:
    """Give a drive with the match that was begun, or with the reason why there is none."""
    found = _refused(drive) or begun()
    if isinstance(found, str):
        return replace(drive, match_problem=found)
    assert drive.waves is not None
    return replace(drive, match=found, calibrated_damping_factor=calibrated_with_match(found, drive.waves, sheet))


def _refused(drive: DriveReview) -> str:
    """Say why a drive is not matched; nothing where it can be."""
    if drive.representative is None or drive.waves is None:
        return "no blow is sound enough to be matched"
    return "the record cannot be trusted, so it was not matched" if drive.trust.answer == ANSWERS[-1] else ""


def _asked(sheet: TestSheet, drive: DriveReview) -> "MatchTask | Match | str":
    """Give what is to be matched, the match where it was kept, or why there is none."""
    try:
        return _refused(drive) or kept_match(sheet, drive) or _task(sheet, drive)
    except ValueError as problem:
        return str(problem)


def _answered(asked: "Sequence[MatchTask | Match | str]") -> list[Match | str]:
    """Give the matches, or why there are none."""
    try:
        return run_search(side_by_side([_answering(one) for one in asked]))
    except ValueError as problem:  # one of them cannot be computed
        return [str(problem)] if len(asked) == 1 else [_answered([one])[0] for one in asked]


def _answering(asked: "MatchTask | Match | str") -> Search[Match | str]:
    if not isinstance(asked, MatchTask):
        return asked
    try:
        return (yield from _matched(asked))
    except ValueError as problem:
        return str(problem)


@dataclass(frozen=True)
class MatchTask:
    """Everything that the match of a representative blow depends on: blows, soil law, and a reduction suspected."""

    blow: Blow
    further: tuple[Blow, ...]
    law: str
    reduction: Reduction | None


def _task(sheet: TestSheet, drive: DriveReview) -> MatchTask:
    assert drive.representative is not None and drive.waves is not None
    row = _row(drive, int(np.flatnonzero(drive.table["blow"] == drive.representative.blow)[0]))
    blow = as_blow(drive.waves, 0, sheet, row, drive.calibration)
    factor, depth = (float(row.get(name, np.nan)) for name in ("integrity_factor", "integrity_depth"))
    return MatchTask(blow, _further(sheet, drive), sheet.choices.soil_law, _suspected(factor, depth))


def _matched(task: MatchTask) -> Search[Match]:
    match = yield from search_match(task.blow, law=task.law, reduction=task.reduction, further=task.further)
    if match.misfit > SUSPICIOUS_MISFIT and task.reduction is None:
        length = task.blow.pile.length
        match = yield from with_reduction(match, tuple(Reduction(share * length) for share in TRIED_DEPTHS))
    return match


KEPT_MATCH = "match.json"
"""The match of a followed drive's representative blow, in the folder of the drive in it."""

_KEPT_CLASSES: tuple[type, ...] = (
    *(MatchTask, Match, LawFit, StressChange, Problem, State, Blow, Parameters, Reduction, Mesh, Pile, PilePart),
)


def kept_match(sheet: TestSheet, drive: DriveReview) -> Match | None:
    """Give the match that was kept when the drive had been followed, or None where there is none of the very same task.

    It is found by a fingerprint of everything that it depends on, so it is what matching would give again.
    """
    try:
        kept = json.loads(_kept_path(sheet, drive).read_bytes())
        if kept["task"] != _fingerprint(_task(sheet, drive)):
            return None
        if kept["digest"] != _digest(kept["match"]):
            return None
        found = _unpacked(kept["match"], [])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return found if isinstance(found, Match) else None


def keep_match(sheet: TestSheet, drive: DriveReview) -> DriveReview:
    """Match the representative blow of a drive that was followed, and keep the match for the review."""
    matched = match_drive(sheet, drive)
    if matched.match is not None:
        packed = _packed(matched.match, {})
        kept = {"task": _fingerprint(_task(sheet, drive)), "digest": _digest(packed), "match": packed}
        path = _kept_path(sheet, drive)
        write_all(path.parent, {path.name: json.dumps(kept).encode()})
    return matched


def _kept_path(sheet: TestSheet, drive: DriveReview) -> Path:
    return sheet.path.parent / FOLLOWED / drive.name / KEPT_MATCH


def _digest(packed: object) -> str:
    return hashlib.sha256(json.dumps(packed).encode()).hexdigest()


def _fingerprint(task: MatchTask) -> str:
    return _digest([program(), _packed(task, {})])


def _packed(value: Any, seen: dict[int, int]) -> Any:
    """Give arrays and the dataclasses of matching as JSON takes them, each object once, with every digit."""
    if value is None or isinstance(value, (bool, str)):
        return value
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value).hex()
    if isinstance(value, SoilLaw):
        return {"law": list(value)}
    if isinstance(value, tuple):
        return {"items": [_packed(one, seen) for one in value]}
    if id(value) in seen:
        return {"again": seen[id(value)]}
    if isinstance(value, np.ndarray):
        data = base64.b64encode(np.ascontiguousarray(value).tobytes()).decode()
        packed: dict[str, Any] = {"array": data, "kind": value.dtype.str, "shape": list(value.shape)}
    else:
        if type(value) not in _KEPT_CLASSES:
            raise TypeError(f"{type(value).__name__} is not kept")
        inner = {one.name: _packed(getattr(value, one.name), seen) for one in fields(value)}
        packed = {"class": type(value).__name__, "fields": inner}
    seen[id(value)] = len(seen)
    return packed


def _unpacked(packed: Any, seen: list[Any]) -> Any:
    """Give back what `_packed` made."""
    if packed is None or isinstance(packed, (bool, int)):
        return packed
    if isinstance(packed, str):
        return float.fromhex(packed) if _HEX.fullmatch(packed) else packed
    if "law" in packed:
        return SoilLaw(*packed["law"])
    if "items" in packed:
        return tuple(_unpacked(one, seen) for one in packed["items"])
    if "again" in packed:
        return seen[packed["again"]]
    found: Any
    if "array" in packed:
        flat = np.frombuffer(base64.b64decode(packed["array"]), dtype=np.dtype(packed["kind"]))
        found = flat.reshape(packed["shape"]).copy()
    else:
        kind = next(one for one in _KEPT_CLASSES if one.__name__ == packed["class"])
        if packed["fields"].keys() != {one.name for one in fields(kind)}:
            raise ValueError("kept by a program whose matches hold something else")
        found = kind(**{name: _unpacked(one, seen) for name, one in packed["fields"].items()})
    seen.append(found)
    return found


_HEX = re.compile(r"-?(?:0x[01]\.[0-9a-f]+p[+-]\d+|inf)|nan")
"""How a float is written with every digit."""


MOST_TOGETHER = {"initial": 5, "restrike": 3}
"""Blows that are matched together at most [1]: fewer of a restrike, whose shaft loosens from blow to blow."""
NEARBY, NEARBY_WAY = {"initial": 12, "restrike": 8}, 0.15
"""Blows before and after the representative one among which others are looked for [1], and the way of the toe from it
within which the soil counts as the same [m]; our own choice."""
OTHER_FORCE = 1.01
"""Greatest over least peak force from which on blows count as of different energy [1]; our own choice."""


def blows_beside(drive: DriveReview) -> np.ndarray:
    """Give the rows of sound blows of other energy near the representative one, shape (at most 4,) [1].

    Empty where all blows are alike. They are spread evenly over the peak forces.
    """
    nothing = np.empty(0, dtype=int)
    if drive.representative is None:
        return nothing
    table = drive.table
    chosen = int(np.flatnonzero(table["blow"] == drive.representative.blow)[0])
    doubted = {number for finding in drive.findings for number in finding.blows if finding.severity != "note"}
    near = np.abs(np.arange(len(table)) - chosen) <= NEARBY[drive.kind]
    way = np.abs(table["penetration"].to_numpy() - table["penetration"].to_numpy()[chosen])
    near &= ~(way > NEARBY_WAY)  # where the penetration is not known, the number of blows decides
    near &= ~table["blow"].isin(doubted).to_numpy()
    near[chosen] = False
    rows = np.flatnonzero(near)
    force = table["peak_force"].to_numpy()
    rows = rows[np.isfinite(force[rows])]
    reach = np.append(force[rows], force[chosen])
    if not len(rows) or reach.max() < OTHER_FORCE * reach.min():
        return nothing
    rows = rows[np.argsort(force[rows], kind="stable")]
    places = np.unique(np.linspace(0, len(rows) - 1, min(MOST_TOGETHER[drive.kind] - 1, len(rows))).round().astype(int))
    return rows[places]


def _further(sheet: TestSheet, drive: DriveReview) -> tuple[Blow, ...]:
    """Give the blows that are matched with the representative one, those of a restrike with how long after it."""
    rows = blows_beside(drive)
    if not len(rows) or drive.representative is None:
        return ()
    waves = waves_of(sheet, drive, rows)
    found = [as_blow(waves, place, sheet, _row(drive, row), drive.calibration) for place, row in enumerate(rows)]
    if drive.kind == "restrike":
        after = drive.table["blow"].to_numpy()[rows] - drive.representative.blow
        found = [replace(blow, after=int(each)) for blow, each in zip(found, after, strict=True)]
    return tuple(blow for blow in found if blow.time[blow.first_peak] + sheet.pile.return_time < blow.time[-1])


def _suspected(factor: float, depth: float) -> Reduction | None:
    """Give the reduction that the integrity factor indicates; it has no depth where the pile counts as uniform."""
    if not np.isfinite(depth):
        return None
    return Reduction(depth, float(np.clip(factor, LEAST_SECTION, 0.9)))


def match_drive_blows(
    sheet: TestSheet,
    drive: DriveReview,
    *,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    keep_going: Callable[[], bool] = lambda: True,
) -> DriveReview:
    """Match every blow of a drive, each started from its neighbour's soil."""
    if drive.match is None:
        return drive
    blows = []
    for rows, waves in waves_by_chunk(sheet, drive):
        blows += [as_blow(waves, place, sheet, _row(drive, row), drive.calibration) for place, row in enumerate(rows)]
    every = match_every_blow(blows, drive.match, executor=executor, progress=progress, keep_going=keep_going)
    return with_matches(drive, every)


def with_matches(drive: DriveReview, every: DriveMatches) -> DriveReview:
    """Give a drive with the matches of its blows."""
    columns = {
        "matched_resistance": every.total,
        "matched_resistance_low": every.total_range[:, 0],
        "matched_resistance_high": every.total_range[:, 1],
        "shaft_resistance": every.shaft,
        "toe_resistance": every.toe,
        "misfit": every.misfit,
    }
    return replace(drive, every=every, table=drive.table.assign(**columns))


LAST_LENGTH, LAST_BLOWS = 0.3048, 20
"""Length of penetration [m], and blows at the least [1], at the end of a drive whose sets are compared with computed
ones: one foot, over which whole blows in every inch count for little; our choice."""
RESISTANCES = ("matched_resistance", "case_resistance_maximum", "total_resistance")
"""Numbers of every blow by which its resistance is told from that of the matched blow, the first that is there."""

RATIO_BOUNDS = (0.3, 2.0)
"""Bounds of a blow's resistance over that of the matched one [1]: beyond them the soil is another."""


def struck_blows(drive: DriveReview) -> StruckBlows | None:
    """Give the sound blows of a matched drive as the calibration of its hammer takes them.

    The resistance of each follows the matched one as its Case resistance does, or is its own matched one. The sets are
    those of the end of the drive only: further up other soil stood along the shaft.
    """
    if drive.match is None or drive.representative is None or "stroke" not in drive.table:
        return None
    rejected = {blow for finding in drive.findings if finding.severity == "reject" for blow in finding.blows}
    table = drive.table[~drive.table["blow"].isin(rejected)]
    by = next((name for name in RESISTANCES if name in table and table[name].notna().any()), None)
    ratio = np.ones(len(table))
    if by is not None:
        here = table.loc[table["blow"] == drive.representative.blow, by]
        if len(here) and here.iloc[0] > 0.0:
            ratio = (table[by] / here.iloc[0]).clip(*RATIO_BOUNDS).to_numpy()
    sets, depth = (
        table[name].to_numpy(dtype=float) if name in table else np.full(len(table), np.nan)
        for name in ("set_per_blow", "penetration")
    )
    last = np.arange(len(table)) >= len(table) - LAST_BLOWS
    if np.isfinite(depth).any():
        last |= depth >= np.nanmax(depth) - LAST_LENGTH
    stroke, force, energy = (
        table[name].to_numpy(dtype=float) for name in ("stroke", "peak_force", "transferred_energy")
    )
    return StruckBlows(
        stroke,
        force,
        energy,
        resistance=drive.match.matched_resistance * ratio,
        set_per_blow=np.where(last, sets, np.nan),
    )


def _row(drive: DriveReview, place: int) -> pd.Series:
    """Give a blow's row of the drive's table, without its set where the log does not tell it for certain."""
    row = drive.table.iloc[place]
    if "set_per_blow" in row and not sets_are_certain(drive.findings):
        row = row.copy()
        row["set_per_blow"] = np.nan
    return row


def as_blow(
    waves: Waves, place: int, sheet: TestSheet, row: pd.Series, calibration: PileCalibration | None = None
) -> Blow:
    """Give one blow as matching takes it, from its row of the drive's table."""
    penetration = float(row["penetration"])
    speed = None
    if calibration is not None and np.isfinite(calibration.wave_speed_ratio):
        speed = calibration.wave_speed_ratio - 1.0, calibration.wave_speed_ratio_error
    embedded = penetration if penetration == penetration else sheet.pile.length
    return Blow(
        waves.time,
        waves.force[place],
        waves.velocity[place],
        int(waves.onset[place]),
        int(waves.first_peak[place]),
        sheet.pile,
        min(embedded, sheet.pile.length),
        sheet.soil.shaft,
        sheet.soil.toe,
        set_per_blow=float(row.get("set_per_blow", np.nan)),
        wave_speed=speed,
        layers=tuple((layer.top, layer.bottom, layer.soil) for layer in sheet.soil.layers),
    )


def calibrated_with_match(match: Match, waves: Waves, sheet: TestSheet) -> float:
    """Case damping factor with which the Case method at the first peak agrees with a match."""
    times = (sheet.pile.return_time, waves.time_step)
    found = calibrated_damping_factor(waves.down, waves.up, waves.first_peak, *times, match.matched_resistance)
    return float(found[0])
