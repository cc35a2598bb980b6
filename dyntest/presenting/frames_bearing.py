"""Tidy frames of the bearing piles: how deep each stands and whether it meets the criterion, the odd ones first."""

import pandas as pd

from dyntest.decisions.bearing_piles import ACCEPTED, BearingPileCheck
from dyntest.decisions.criterion import show_count
from dyntest.names import show
from dyntest.presenting.frames import shown, title

MEETS, FAILS = "meets the criterion", "does not meet it"
"""What a pile is drawn as."""


def pile_depths(check: BearingPileCheck, system: str) -> pd.DataFrame:
    """Give how deep each pile stands, and where it first met the criterion.

    Parameters
    ----------
    check : BearingPileCheck
        The check.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns `pile`, penetration of the toe [m or ft], `met_at` [m or ft], `meets` (text), `odd` (whether it wants a
        second look), `why`; a pile without counts has no penetration.
    """
    piles = check.piles
    second = check.odd.groupby("pile", sort=False)["reason"].agg("; ".join)
    meets = piles["status"].isin(ACCEPTED)
    return pd.DataFrame(
        {
            "pile": piles["pile"],
            title("penetration", system): shown("penetration", piles["penetration"], system),
            "met_at": shown("penetration", piles["met_at"], system),
            "meets": meets.map({True: MEETS, False: FAILS}),
            "odd": piles["pile"].isin(second.index),
            "why": [second.get(pile, reason) for pile, reason in zip(piles["pile"], piles["reason"], strict=True)],
        }
    )


def bearing_rows(check: BearingPileCheck, system: str) -> pd.DataFrame:
    """Give the table of the bearing piles as a person reads it: those that want a look first.

    Parameters
    ----------
    check : BearingPileCheck
        The check.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        A row a pile: those that do not meet the criterion, then those that want a second look, then the rest.
    """
    piles = check.piles
    second = check.odd.groupby("pile", sort=False)["reason"].agg("; ".join)
    rows = pd.DataFrame(
        {
            "pile": piles["pile"],
            "shows": piles["status"],
            "because": piles["reason"],
            "a second look because": [second.get(pile, "–") for pile in piles["pile"]],
            "toe at": [show("penetration", depth, system) for depth in piles["penetration"]],
            "at the end": [show_count(last, system) for last in piles["last_set"]],
            "stroke at the end": [show("stroke", last, system) for last in piles["last_stroke"]],
            "pay length": [show("penetration", length, system) for length in piles["pay_length"]],
        }
    )
    failed, odd = ~piles["status"].isin(ACCEPTED), piles["pile"].isin(second.index)
    order = (2 - 2 * failed.astype(int) - odd.astype(int)).sort_values(kind="stable").index
    return rows.loc[order].reset_index(drop=True)
