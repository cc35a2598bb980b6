"""The files of a check of the bearing piles: two tables and `check.json`, in SI."""

import json

import pandas as pd

from dyntest import __version__
from dyntest.decisions.bearing_piles import ACCEPTED, BearingPileCheck
from dyntest.presenting.summary import number
from dyntest.presenting.tables import plain_csv

FORMAT = 1
"""Raised when a reader of the file would have to change."""

UNITS = dict.fromkeys(
    (
        "penetration",
        "depth",
        "toe_elevation",
        "last_set",
        "last_stroke",
        "permitted",
        "met_at",
        "pay_length",
        "pay_length_without_tip",
        "offset_at_cutoff",
    ),
    "m",
)
"""Unit of every column that has one."""


def check_files(check: BearingPileCheck, inputs: dict[str, str]) -> dict[str, bytes]:
    """Give every file of a check.

    Parameters
    ----------
    check : BearingPileCheck
        The check.
    inputs : dict of str to str
        SHA-256 of every file that was read, by its name.

    Returns
    -------
    dict of str to bytes
        Contents by name relative to the folder of the results.
    """
    return {
        "bearing_piles.csv": plain_csv(check.piles, UNITS),
        "odd_piles.csv": plain_csv(check.odd, UNITS),
        "check.json": _json(check, inputs),
    }


def _json(check: BearingPileCheck, inputs: dict[str, str]) -> bytes:
    held = check.criterion
    accepted = check.piles["status"].isin(ACCEPTED)
    content = {
        "format": FORMAT,
        "dyntest": __version__,
        "inputs": inputs,
        "alerts": list(held.alerts),
        "piles": len(check.piles),
        "met": int(accepted.sum()),
        "not_met": _records(check.piles[~accepted], ("pile", "status", "reason")),
        "odd": _records(check.odd, ("pile", "kind", "depth", "reason")),
        "criterion": {
            "source": held.source,
            "required_resistance": number(held.required_resistance),
            "holding_length": number(held.holding_length),
            "minimum_penetration": number(held.minimum_penetration),
            "rows": [
                {
                    "stroke": number(row.stroke),
                    "set_per_blow": number(row.set_per_blow),
                    "blows_per_25mm": number(0.025 / row.set_per_blow),
                    "governing": row.governing,
                }
                for row in held.rows
            ],
        },
        "reminder": held.reminder,
    }
    return (json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _records(table: pd.DataFrame, names: tuple[str, ...]) -> list[dict]:
    rows = table[list(names)].to_dict("records")
    return [{name: number(value) if isinstance(value, float) else value for name, value in row.items()} for row in rows]
