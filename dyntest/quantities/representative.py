"""The blow that stands for a drive: a late one of the initial drive, an early one of a restrike.

At the end of the initial drive the resistance changes little from blow to blow, so of the last sound blows with full
energy the one with the middle resistance is taken. In a restrike every blow wears off some of what the pile gained
while it waited, so of the first sound blows the earliest with full energy is taken. Energy counts because a weak
blow moves the pile too little to mobilise its resistance.

The rules are our own, after common practice; no source. The engineer's own choice goes before them.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dyntest.conditioning.findings import Finding
from dyntest.conditioning.wave_measures import MOVEMENT_LIMIT

LOOKED_AT = {"initial": 20, "restrike": 10}
"""How many recorded blows, from the end of an initial drive or the start of a restrike, are looked at [1]."""

TAKEN = {"initial": 10, "restrike": 5}
"""How many sound ones of them are compared [1]."""

FULL_ENERGY = 0.9
"""Energy counts as full from this share of the highest among those compared [1]."""

AS_NEAR = 1e-6
"""Share of the middle resistance within which two blows are as near to it [1]: the two beside the middle of an even
number are, and rounding shall not choose between them."""


@dataclass(frozen=True)
class Representative:
    """The blow that stands for a drive, and why.

    Parameters
    ----------
    blow : int
        Its number [1].
    rule : str
        How it was chosen: ``"initial"`` or ``"restrike"`` for the rule of that kind of drive, or ``"engineer"``.
    looked_at : int
        How many blows were looked at [1].
    sound : int
        How many of them carry neither a warning nor a rejection [1].
    warned : tuple of str
        Checks that warn of the blows looked at, where none is sound.
    compared : int
        How many were compared [1].
    full : int
        How many of these have full energy [1]; 0 where no energy is known.
    middle_of : str
        Name in code of the resistance whose middle was taken; empty where none was.
    lower_bound : bool
        Whether the pile moved too little, so that its resistance may be more than the blow shows.
    """

    blow: int
    rule: str
    looked_at: int = 1
    sound: int = 1
    warned: tuple[str, ...] = ()
    compared: int = 1
    full: int = 0
    middle_of: str = ""
    lower_bound: bool = False


def blows_looked_at(table: pd.DataFrame, kind: str) -> pd.DataFrame:
    """Give the rows of the blows from which the one that stands for a drive is taken."""
    return table.tail(LOOKED_AT[kind]) if kind == "initial" else table.head(LOOKED_AT[kind])


def representative_blow(table: pd.DataFrame, kind: str, findings: tuple[Finding, ...] = ()) -> Representative | None:
    """Give the representative blow of a drive.

    Examples
    --------
    >>> table = pd.DataFrame({"blow": [1, 2, 3], "transferred_energy": [9e3, 20e3, 21e3],
    ...     "case_resistance": [8e5, 9e5, 9.5e5], "set_per_blow": 0.01, "final_displacement": 0.01})
    >>> representative_blow(table, "restrike").blow
    2
    """
    near = blows_looked_at(table, kind)
    sound, warned = _sound(near, findings)
    if sound.empty:
        return None
    compared = sound.tail(TAKEN[kind]) if kind == "initial" else sound.head(TAKEN[kind])
    energy = compared["transferred_energy"].to_numpy(dtype=float)
    known = bool(np.isfinite(energy).any())
    full = compared[energy >= FULL_ENERGY * np.nanmax(energy)] if known else compared
    row, middle_of = _middle(full) if kind == "initial" else (full.iloc[0], "")
    return Representative(
        blow=int(row["blow"]),
        rule=kind,
        looked_at=len(near),
        sound=0 if warned else len(sound),
        warned=warned,
        compared=len(compared),
        full=len(full) if known else 0,
        middle_of=middle_of,
        lower_bound=moved_too_little(row),
    )


def _sound(near: pd.DataFrame, findings: tuple[Finding, ...]) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Give the sound blows among those near the end or the start; where there is none, those with warnings only."""
    named = {
        severity: {number for finding in findings if finding.at_blow == severity for number in finding.blows}
        for severity in ("warning", "reject")
    }
    usable = near[~near["blow"].isin(named["reject"])]
    sound = usable[~usable["blow"].isin(named["warning"])]
    if not sound.empty:
        return sound, ()
    numbers = set(usable["blow"].tolist())
    checks = {f.check for f in findings if f.at_blow == "warning" and numbers.intersection(f.blows)}
    return usable, tuple(sorted(checks))


def _middle(full: pd.DataFrame) -> tuple[pd.Series, str]:
    """Give the row with the middle resistance, the later of two as near, and which resistance it is."""
    for code in ("case_resistance", "total_resistance"):
        if code in full and full[code].notna().any():
            values = full[full[code].notna()]
            distance = (values[code] - values[code].median()).abs().to_numpy()
            near = distance <= distance.min() + AS_NEAR * abs(float(values[code].median()))
            return values.iloc[int(np.flatnonzero(near)[-1])], code
    return full.iloc[-1], ""


def moved_too_little(row: pd.Series) -> bool:
    """Say whether the set of the log, or else the displacement at the end of the record, is too small."""
    movement = row.get("set_per_blow", np.nan)
    if not np.isfinite(movement):
        movement = row.get("final_displacement", np.nan)
    return bool(movement < MOVEMENT_LIMIT)
