"""Why a bearing pile has its status, and what to check about it, each in one sentence."""

from collections.abc import Callable

import pandas as pd

from dyntest.decisions.bearing_oddities import (
    ABOVE_MINIMUM,
    ABSOLUTE,
    BELOW_CUTOFF,
    BENT,
    FELL,
    HIGH_STROKE,
    HURT_TEST,
    LOW_REFUSAL,
    NO_COUNTS,
    NO_STROKE,
    NOT_IN_TABLE,
    OFF_PLAN,
    PAST,
    RESUMED,
    SHORT_OF,
    SPLICE,
)
from dyntest.decisions.bearing_piles import ACCEPTED, BearingPileCheck
from dyntest.decisions.criterion import Criterion
from dyntest.names import decimal, display_unit, percent, show, show_length, show_required
from dyntest.presenting.criterion_words import counted_per
from dyntest.presenting.terms import short_length, show_count, show_wait, tape


def reasons(check: BearingPileCheck, system: str) -> list[str]:
    """Say why each pile has its status, in the order of the table."""
    return [reason(row, check.criterion, system) for row in check.piles.to_dict("records")]


def odd_reasons(check: BearingPileCheck, system: str) -> list[str]:
    """Say what to check, in the order of the table of odd piles."""
    return [_ODD[row["kind"]](row, system) for row in check.odd.to_dict("records")]


def second_looks(check: BearingPileCheck, system: str) -> "pd.Series[str]":
    """Give everything to check about each pile, by its mark."""
    told = check.odd.assign(reason=odd_reasons(check, system))
    return told.groupby("pile", sort=False)["reason"].agg("; ".join)


def reason(row: dict, criterion: Criterion, system: str) -> str:
    """Say why a pile has its status.

    Examples
    --------
    >>> from dyntest.decisions.criterion import CriterionRow
    >>> reason({"status": "no counts"}, Criterion((CriterionRow(2.0, 0.004),), 0.1), "SI")
    'the production log has no counts for this pile'
    """
    early = _unwaited(criterion) if row.get("restrike_early") and row["status"] not in ACCEPTED else ""
    return _SENTENCES[row["status"]](row, criterion, system) + early


def _unwaited(criterion: Criterion) -> str:
    """Say why a restrike with enough blows does not accept a pile."""
    wait = None if criterion.restrike is None else criterion.restrike.wait
    if wait is None:
        return "; its restrike has enough blows, but the wait that the test pile needed is not known"
    return f"; its restrike has enough blows, but the dates of the log do not show a wait of at least {show_wait(wait)}"


def _length(value: float, system: str) -> str:
    return show("penetration", value, system)


def _stroke(value: float, system: str) -> str:
    return show("stroke", value, system)


def _number_of(count: float, one: str) -> str:
    """Write a count of things.

    Examples
    --------
    >>> _number_of(1.0, "blow"), _number_of(2.0, "blow")
    ('1 blow', '2 blows')
    """
    return f"{count:.0f} {one}{'' if round(count) == 1 else 's'}"


MORE_DECIMALS = 3
"""Decimals added at most where a number and its limit would read alike [1]."""


def _over(code: str, value: float, limit: float, system: str) -> tuple[str, str]:
    """Write a number and the limit that it passes, with as many decimals as keep them apart.

    Examples
    --------
    >>> _over("stroke", 2.78, 2.77, "US"), _over("stroke", 3.0, 2.77, "US")
    (('9.12 ft', '9.09 ft'), ('9.8 ft', '9.1 ft'))
    """
    unit, factor, usual = display_unit(code, system)
    for decimals in range(usual, usual + MORE_DECIMALS + 1):
        both = decimal(value * factor, decimals), decimal(limit * factor, decimals)
        if both[0] != both[1]:
            break
    return f"{both[0]} {unit}", f"{both[1]} {unit}"


def _counts(row: dict, system: str) -> str:
    """Say what was counted at the end."""
    window, stroke = short_length(row["window"], system), _stroke(row["last_stroke"], system)
    return f"{_number_of(row['counted'], 'blow')} in the last {window} at a stroke of {stroke}"


def _accepted(row: dict, criterion: Criterion, system: str) -> str:
    held = short_length(row["window"], system)
    return (
        f"the criterion held over {held} at {_length(row['penetration'], system)}: "
        f"{_number_of(row['counted'], 'blow')} at a stroke of {_stroke(row['last_stroke'], system)}, "
        f"{row['asked']:.0f} required"
    )


def _restruck(row: dict, criterion: Criterion, system: str) -> str:
    shown = "" if criterion.restrike is None else show_required(criterion.restrike.resistance, system)
    return (
        f"its restrike began with {show_count(row['restrike_set'], system)} at a stroke of "
        f"{_stroke(row['restrike_stroke'], system)}, which shows {shown}"
    )


def _resumed_after(row: dict, criterion: Criterion, system: str) -> str:
    return (
        f"driving was resumed on another date, and the {_counts(row, system)} would meet the end-of-driving count; "
        "after a "
        "wait a pile is accepted only by a restrike that shows the full requirement"
    )


def _refusal(row: dict, criterion: Criterion, system: str) -> str:
    sentence = f"the pile refused at {_length(row['penetration'], system)}, with {_counts(row, system)}"
    if not row["minimum_penetration_reached"] and criterion.minimum_penetration is not None:
        least = show_length(criterion.minimum_penetration, system)
        return f"{sentence}, above the minimum penetration of {least}; the engineer must decide"
    return f"{sentence}, without an accepted criterion; the engineer must decide"


def _lost(row: dict, criterion: Criterion, system: str) -> str:
    return (
        f"the criterion held at {_length(row['met_at'], system)} but not at the end, at "
        f"{_length(row['penetration'], system)}: {_fell_short(row, criterion, system)}"
    )


def _shallow(row: dict, criterion: Criterion, system: str) -> str:
    least = show_length(criterion.minimum_penetration, system)
    return (
        f"the criterion held at {_length(row['met_anywhere'], system)}, but the toe ended "
        f"at {_length(row['depth'], system)}, above the minimum penetration of {least}"
    )


def _range(row: dict, criterion: Criterion, system: str) -> str:
    low, high = (
        _stroke(value or float("nan"), system) for value in (criterion.minimum_stroke, criterion.highest_stroke)
    )
    return (
        f"the criterion held at {_length(row['penetration'], system)}, but a stroke there is outside {low} to {high}, "
        "the strokes accepted without a second look"
    )


def _unread(row: dict, criterion: Criterion, system: str) -> str:
    held = short_length(criterion.holding_length, system)
    return f"a stroke is missing within the last {held}, so the criterion cannot be judged there"


def _fell_short(row: dict, criterion: Criterion, system: str) -> str:
    """Say which inch failed, or by how much the whole length did."""
    if row["last_stroke"] != row["last_stroke"]:
        return "the stroke was not recorded"
    if row["permitted"] != row["permitted"]:
        return f"a stroke below {_stroke(criterion.lowest_stroke, system)} does not count"
    parts = []
    if row["asked"] == row["asked"] and row["counted"] < row["asked"]:
        parts.append(f"{_counts(row, system)}, {row['asked']:.0f} required")
    if row["failed_blows"] == row["failed_blows"]:
        ends = f"{_length(row['failed_from'], system)} to {_length(row['failed_to'], system)}"
        per = counted_per(criterion, system)
        parts.append(f"{_number_of(row['failed_blows'], 'blow')} from {ends}, below the minimum per {per}")
    return ", and ".join(parts) or f"{_counts(row, system)}, not over the whole of the holding length"


def _not_met(row: dict, criterion: Criterion, system: str) -> str:
    sentence = f"at the end, at {_length(row['penetration'], system)}: {_fell_short(row, criterion, system)}"
    if row["minimum_penetration_reached"] or criterion.minimum_penetration is None:
        return sentence
    least = show_length(criterion.minimum_penetration, system)
    return f"{sentence}; the minimum penetration of {least} was not reached"


def _absent(row: dict, criterion: Criterion, system: str) -> str:
    return "the production log has no counts for this pile"


_SENTENCES: dict[str, Callable[[dict, Criterion, str], str]] = {
    "accepted": _accepted,
    "accepted at restrike": _restruck,
    "resumed after a wait": _resumed_after,
    "practical refusal": _refusal,
    "criterion lost": _lost,
    "minimum penetration not reached": _shallow,
    "stroke out of range": _range,
    "stroke not recorded": _unread,
    "not met": _not_met,
    "no counts": _absent,
}


def _beyond(how: str) -> Callable[[dict, str], str]:
    """Give the sentence on a toe that ended beyond those of the test piles."""
    return lambda r, s: (
        f"the toe ended {_length(r['value'], s)} {how} test pile, more than the tolerance of {tape(r['limit'], s)}"
    )


def _too_high(words: str) -> Callable[[dict, str], str]:
    """Give the sentence on a stroke above a limit, which stands in the words."""

    def told(row: dict, system: str) -> str:
        stroke, limit = _over("stroke", row["value"], row["limit"], system)
        return f"a stroke of {stroke} at {_length(row['depth'], system)}, {words.format(limit)}"

    return told


_ODD: dict[str, Callable[[dict, str], str]] = {
    PAST: _beyond("deeper than the deepest"),
    SHORT_OF: _beyond("shallower than the shallowest"),
    FELL: lambda r, s: (
        f"at {_length(r['depth'], s)} blow count × stroke fell to {percent(r['value'])} of its earlier value, to "
        f"{show_count(r['limit'], s)}, as driving continued; unless a soil layer explains it, the pile may be damaged "
        f"({r['note']} piles {'shows' if str(r['note']).startswith('1 ') else 'show'} such a fall)"
    ),
    LOW_REFUSAL: lambda r, s: (
        f"refusal counts at {_length(r['depth'], s)} came at a stroke of {_stroke(r['value'], s)}, below the "
        f"minimum of {_stroke(r['limit'], s)}, and do not count"
    ),
    ABSOLUTE: lambda r, s: (
        f"driven beyond absolute refusal, {show_count(r['value'], s)} at {_length(r['depth'], s)} where "
        f"{show_count(r['limit'], s)} is the limit; pile and hammer may be damaged"
    ),
    HIGH_STROKE: _too_high(
        "above the {} accepted without a second look; the driving stress may have exceeded its limit"
    ),
    BENT: _too_high(
        "above the {} of the table; with bending like the test pile's the driving stress exceeded its limit"
    ),
    ABOVE_MINIMUM: lambda r, s: (
        f"the criterion was met only at {_length(r['value'], s)}, above the minimum penetration of "
        f"{show_length(r['limit'], s)}"
    ),
    SPLICE: lambda r, s: (
        f"a splice is noted at {_length(r['depth'], s)}; counts just below may include setup from the wait"
    ),
    RESUMED: lambda r, s: (
        f"driving was resumed at {_length(r['depth'], s)} on another date ({r['note']}); counts just below may include "
        "setup"
    ),
    NO_STROKE: lambda r, s: (
        f"no stroke is recorded in {_number_of(r['value'], 'interval')} with blows, the first at "
        f"{_length(r['depth'], s)}; these do not count"
    ),
    NOT_IN_TABLE: lambda r, s: f"the pile is not in {r['note']}, so its elevations are unknown and it is assumed plumb",
    NO_COUNTS: lambda r, s: "the pile is in the table of piles but has no counts",
    BELOW_CUTOFF: lambda r, s: (
        f"the head ended {_length(r['value'], s)} below cutoff with a furnished length of "
        f"{show_length(r['limit'], s)}; a splice was not noted, or an elevation is wrong"
    ),
    HURT_TEST: lambda r, s: "its own test shows that the pile may be damaged; its count cannot show that",
    OFF_PLAN: lambda r, s: (
        f"driven from a ground elevation other than that of the plan, the battered pile is "
        f"{short_length(r['value'], s)} from its plan position at cutoff"
    ),
}
"""Sentence for each kind of oddity, from its row and the units."""
