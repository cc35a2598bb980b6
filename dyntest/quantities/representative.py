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
        The rule in a sentence.
    reasons : tuple of str
        What led to this blow, in the order of the rule.
    lower_bound : bool
        Whether the pile moved too little, so that its resistance may be more than the blow shows.
    """

    blow: int
    rule: str
    reasons: tuple[str, ...]
    lower_bound: bool = False


RULES = {
    "initial": (
        f"Of the last {TAKEN['initial']} sound blows (among the last {LOOKED_AT['initial']} recorded) those with at"
        f" least {FULL_ENERGY:.0%} of their highest energy, and of these the one with the middle resistance."
    ),
    "restrike": (
        f"Of the first {TAKEN['restrike']} sound blows (among the first {LOOKED_AT['restrike']} recorded) the earliest"
        f" with at least {FULL_ENERGY:.0%} of their highest energy."
    ),
}
"""The rule of each kind of drive, as a report says it."""


def choose_blow(table: pd.DataFrame, kind: str, findings: tuple[Finding, ...] = ()) -> Representative | None:
    """Give the blow that stands for a drive.

    Examples
    --------
    >>> table = pd.DataFrame({"blow": [1, 2, 3], "transferred_energy": [9e3, 20e3, 21e3],
    ...     "case_resistance": [8e5, 9e5, 9.5e5], "set_per_blow": 0.01, "final_displacement": 0.01})
    >>> choose_blow(table, "restrike").blow
    2
    """
    near = table.tail(LOOKED_AT[kind]) if kind == "initial" else table.head(LOOKED_AT[kind])
    sound, reasons = _sound(near, findings)
    if sound.empty:
        return None
    compared = sound.tail(TAKEN[kind]) if kind == "initial" else sound.head(TAKEN[kind])
    energy = compared["transferred_energy"].to_numpy(dtype=float)
    full = compared
    if np.isfinite(energy).any():
        full = compared[energy >= FULL_ENERGY * np.nanmax(energy)]
        reasons.append(
            f"{len(full)} of {len(compared)} have at least {FULL_ENERGY:.0%} of the highest energy among them"
        )
    if kind == "initial":
        row, reason = _middle(full)
        reasons.append(reason)
    else:
        row = full.iloc[0]
        reasons.append("it is the earliest of these, before the blows wear off what was gained by waiting")
    lower_bound = _moved_too_little(row)
    if lower_bound:
        reasons.append(
            f"it moved less than {MOVEMENT_LIMIT * 1e3:.1f} mm, so its resistance is a lower bound: not all of it may"
            " have been mobilised"
        )
    return Representative(int(row["blow"]), RULES[kind], tuple(reasons), lower_bound)


def _sound(near: pd.DataFrame, findings: tuple[Finding, ...]) -> tuple[pd.DataFrame, list[str]]:
    """Give the sound blows among those near the end or the start; where there is none, those with warnings only."""
    named = {
        severity: {number for finding in findings if finding.severity == severity for number in finding.blows}
        for severity in ("warning", "reject")
    }
    usable = near[~near["blow"].isin(named["reject"])]
    sound = usable[~usable["blow"].isin(named["warning"])]
    if not sound.empty:
        return sound, [f"{len(sound)} of the {len(near)} blows looked at carry neither a warning nor a rejection"]
    checks = sorted(
        {f.check for f in findings if f.severity == "warning" and set(f.blows) & set(usable["blow"].tolist())}
    )
    return usable, [f"no blow looked at is free of warnings ({', '.join(checks)}); the rejected ones are left aside"]


def _middle(full: pd.DataFrame) -> tuple[pd.Series, str]:
    """Give the row with the middle resistance, the later of two as near, and the reason in words."""
    for code, words in (("case_resistance", "Case"), ("total_resistance", "total")):
        if code in full and full[code].notna().any():
            values = full[full[code].notna()]
            distance = (values[code] - values[code].median()).abs().to_numpy()
            near = distance <= distance.min() + AS_NEAR * abs(float(values[code].median()))
            return values.iloc[int(np.flatnonzero(near)[-1])], f"its {words} resistance is the middle one of these"
    return full.iloc[-1], "it is the last of these; none has a resistance to compare"


def _moved_too_little(row: pd.Series) -> bool:
    """Say whether the set of the log, or else the displacement at the end of the record, is too small."""
    movement = row.get("set_per_blow", np.nan)
    if not np.isfinite(movement):
        movement = row.get("final_displacement", np.nan)
    return bool(movement < MOVEMENT_LIMIT)
