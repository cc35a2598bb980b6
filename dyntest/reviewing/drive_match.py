"""The signal match of a reviewed drive: of its representative blow, or of every blow."""

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np

from dyntest.decisions.trust import ANSWERS
from dyntest.quantities.case_resistance import calibrated_damping_factor
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.drive import DriveReview, waves_by_chunk
from dyntest.signals import Waves
from dyntest.wave_equation.bearing_graph import StruckBlows
from dyntest.wave_equation.every_blow import DriveMatches, match_every_blow
from dyntest.wave_equation.matching import Match, match_blow
from dyntest.wave_equation.problem import Blow, Reduction

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
    if drive.representative is None or drive.waves is None:
        return replace(drive, match_problem="no blow is sound enough to be matched")
    if drive.trust.answer == ANSWERS[-1]:
        return replace(drive, match_problem="the record cannot be trusted, so it was not matched")
    row = drive.table.loc[drive.table["blow"] == drive.representative.blow].iloc[0]
    blow = as_blow(drive.waves, 0, sheet, float(row["penetration"]))
    factor, depth = (float(row.get(name, np.nan)) for name in ("integrity_factor", "integrity_depth"))
    try:
        match = match_blow(blow, law=sheet.choices.soil_law, reduction=_suspected(factor, depth))
        if match.misfit > SUSPICIOUS_MISFIT and not np.isfinite(depth):
            match = _searched(blow, sheet.choices.soil_law, match)
    except ValueError as problem:
        return replace(drive, match_problem=str(problem))
    return replace(drive, match=match, calibrated_damping_factor=_calibrated(match, drive.waves, sheet))


def _suspected(factor: float, depth: float) -> Reduction | None:
    """Give the reduction that the integrity factor speaks of; it has no depth where the pile counts as uniform."""
    if not np.isfinite(depth):
        return None
    return Reduction(depth, float(np.clip(factor, LEAST_SECTION, 0.9)))


def _searched(blow: Blow, law: str, uniform: Match) -> Match:
    """Give the best match with a reduction at any of some depths, or the one without where none is better."""
    tried = [match_blow(blow, law=law, reduction=Reduction(share * blow.pile.length)) for share in TRIED_DEPTHS]
    return min([uniform, *(match for match in tried if match.section is not None)], key=lambda match: match.misfit)


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
    penetration = drive.table["penetration"].to_numpy()
    blows = []
    for rows, waves in waves_by_chunk(sheet, drive):
        blows += [as_blow(waves, place, sheet, float(penetration[row])) for place, row in enumerate(rows)]
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
"""Length of penetration [m], and blows at the least [1], at the end of a drive whose sets are held against computed
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
    return StruckBlows(
        *(table[name].to_numpy(dtype=float) for name in ("stroke", "peak_force", "transferred_energy")),
        resistance=drive.match.matched_resistance * ratio,
        set_per_blow=np.where(last, sets, np.nan),
    )


def as_blow(waves: Waves, place: int, sheet: TestSheet, penetration: float) -> Blow:
    """Give one blow as matching takes it.

    Units: penetration [m].
    """
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
    )


def _calibrated(match: Match, waves: Waves, sheet: TestSheet) -> float:
    """Case damping factor with which the Case method at the first peak agrees with a match."""
    times = (sheet.pile.return_time, waves.time_step)
    found = calibrated_damping_factor(waves.down, waves.up, waves.first_peak, *times, match.matched_resistance)
    return float(found[0])
