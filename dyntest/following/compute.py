"""Quantities and trust of each new blow, and the match of one blow, by the functions that a review uses.

A few earlier blows are computed again with the new ones, so that the time between blows is known.
"""

import contextlib
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from dyntest.conditioning.condition import condition
from dyntest.conditioning.findings import SEVERITIES, Finding
from dyntest.decisions.trust import ANSWERS
from dyntest.quantities.case_resistance import factor_for_maximum
from dyntest.quantities.representative import moved_too_little
from dyntest.reading.parts import Drive, TestSheet
from dyntest.reviewing.drive import case_columns, chosen_options, table_of_drive
from dyntest.reviewing.drive_match import as_blow, calibrated_with_match
from dyntest.signals import AveragedTraces, Signals, Waves
from dyntest.wave_equation.matching import match_blow

CONTEXT = 4
"""Earlier blows that are computed again with the new ones [1], to distinguish a pause from a stroke."""


@dataclass(frozen=True)
class Computed:
    """Results for some new blows.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per blow, columns named as in the code, in SI.
    trust : tuple of str
        For each blow alone, one of `dyntest.decisions.trust.ANSWERS`.
    doubts : tuple of tuple of (str, str)
        For each blow the checks against it with their gauges, the worst first.
    waves : Waves
        Force and velocity of the new blows.
    """

    table: pd.DataFrame
    trust: tuple[str, ...]
    doubts: tuple[tuple[tuple[str, str], ...], ...]
    waves: Waves


def compute_blows(
    sheet: TestSheet,
    drive: Drive,
    new: Signals | AveragedTraces,
    before: Signals | AveragedTraces | None,
    damping_factor: float | None,
    by_match: float | None = None,
) -> Computed:
    """Compute new blows; earlier ones serve only for the time between blows.

    With the damping factor J of the last match, the maximum Case resistance is also computed with the J that belongs
    to it.
    """
    together = new if before is None else joined([before, new])
    for_maximum = None
    if sheet.damping_factor is None and damping_factor is not None:  # from the last match, at the first peak
        for_maximum = factor_for_maximum(damping_factor)
    worked = table_of_drive(sheet, drive, together, damping_factor, for_maximum=for_maximum)
    judged = [judged_blow(int(number), worked.findings) for number in new.blow]
    table = worked.table.tail(new.n_blows).reset_index(drop=True)
    waves = condition(new, sheet.pile, chosen_options(sheet)).waves
    if by_match is not None:
        found = case_columns(waves, by_match, factor_for_maximum(by_match))
        table = table.assign(
            damping_factor_by_match=found["damping_factor_maximum"],
            case_resistance_by_match=found["case_resistance_maximum"],
        )
    return Computed(table, tuple(one for one, _ in judged), tuple(why for _, why in judged), waves)


def judged_blow(number: int, findings: Sequence[Finding]) -> tuple[str, tuple[tuple[str, str], ...]]:
    """Say whether one blow can be trusted by itself, with the checks against it and the gauge of each.

    Examples
    --------
    >>> dead = Finding("dead channel", "reject", (3,), 0.0, 1e-5, "strain_2")
    >>> judged_blow(3, [dead]), judged_blow(4, [dead])
    (('no', (('dead channel', 'strain_2'),)), ('yes', ()))
    """
    here = [one for one in findings if number in one.blows and one.at_blow != SEVERITIES[0]]
    here.sort(key=lambda one: -SEVERITIES.index(one.at_blow))
    answer = ANSWERS[SEVERITIES.index(here[0].at_blow)] if here else ANSWERS[0]
    return answer, tuple(dict.fromkeys((one.check, one.gauge) for one in here))


def joined(parts: Sequence[Signals | AveragedTraces]) -> Signals | AveragedTraces:
    """Join records of one drive, one after the other."""
    first = parts[0]
    names = ["blow", *(("strain", "acceleration") if isinstance(first, Signals) else ("force", "velocity"))]
    names += [one for one in ("clock", "penetration") if all(getattr(part, one) is not None for part in parts)]
    known = {name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    missing = {one: None for one in ("clock", "penetration") if one not in known}
    changed: dict[str, Any] = {**known, **missing}
    return replace(first, **changed)


def match_one(sheet: TestSheet, waves: Waves, row: dict[str, float], nice: int = 0) -> dict[str, float | str]:
    """Match one blow: resistance with its range [N], shaft, toe, misfit, J by the match [1], and 1 if a lower bound.

    In its own process it may run at a lower priority, by `nice` steps.
    """
    if nice and hasattr(os, "getpriority"):
        with contextlib.suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, 0, nice)
    blow = as_blow(waves, 0, sheet, pd.Series(row))
    try:
        match = match_blow(blow, law=sheet.choices.soil_law)
    except ValueError as problem:
        return {"problem": str(problem)}
    low, high = match.matched_resistance_range
    found = {
        "matched_resistance": match.matched_resistance,
        "matched_resistance_low": low,
        "matched_resistance_high": high,
        "shaft_resistance": match.shaft_resistance,
        "toe_resistance": match.toe_resistance,
        "misfit": match.misfit,
        "damping_factor": calibrated_with_match(match, waves, sheet),
        "lower_bound": not match.fully_mobilised or moved_too_little(pd.Series(row, dtype=float)),
    }
    fitted = "" if match.fitted else "the misfit is too large for a meaningful result"
    return {name: float(value) for name, value in found.items() if np.isfinite(value)} | {"problem": fitted}
