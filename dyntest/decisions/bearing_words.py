"""Why a bearing pile was judged as it was, in one sentence with units."""

from dyntest.decisions.criterion import Criterion, show_count
from dyntest.names import show


def reason(row: dict, criterion: Criterion, system: str) -> str:
    """Say why a pile has its status.

    Examples
    --------
    >>> from dyntest.decisions.criterion import CriterionRow
    >>> reason({"status": "no counts"}, Criterion((CriterionRow(2.0, 0.004),), 0.1), "SI")
    'the production log has no counts of this pile'
    """
    return _SENTENCES[row["status"]](row, criterion, system)


def _length(value: float, system: str) -> str:
    return show("penetration", value, system)


def _counts(row: dict, system: str) -> str:
    return f"{show_count(row['last_set'], system)} at a stroke of {show('stroke', row['last_stroke'], system)}"


def _asked(row: dict, criterion: Criterion, system: str) -> str:
    if row["last_stroke"] != row["last_stroke"]:
        return "the stroke was not recorded"
    if row["permitted"] != row["permitted"]:
        return f"a stroke below {show('stroke', criterion.lowest_stroke, system)} does not count"
    return f"{show_count(row['permitted'], system, asked=True)} are asked at that stroke"


def _holding(criterion: Criterion, system: str) -> str:
    return show("set_per_blow", criterion.holding_length, system)


def _accepted(row: dict, criterion: Criterion, system: str) -> str:
    return (
        f"the criterion held over {_holding(criterion, system)} at {_length(row['penetration'], system)}, "
        f"with {_counts(row, system)}"
    )


def _restruck(row: dict, criterion: Criterion, system: str) -> str:
    return (
        f"its restrike began with {show_count(row['restrike_set'], system)} at a stroke of "
        f"{show('stroke', row['restrike_stroke'], system)}, which shows "
        f"{show('matched_resistance', criterion.restrike.resistance, system)}"
    )


def _refusal(row: dict, criterion: Criterion, system: str) -> str:
    sentence = f"practical refusal at {_length(row['penetration'], system)}, with {_counts(row, system)}"
    if not row["minimum_penetration_reached"]:
        least = _length(criterion.minimum_penetration, system)
        return f"{sentence}, above the minimum penetration of {least}; the engineer has to decide"
    return f"{sentence}, without an accepted criterion; the engineer has to decide"


def _lost(row: dict, criterion: Criterion, system: str) -> str:
    return (
        f"the criterion held at {_length(row['met_at'], system)} but not at the end, at "
        f"{_length(row['penetration'], system)}, with {_counts(row, system)}"
    )


def _shallow(row: dict, criterion: Criterion, system: str) -> str:
    least = _length(criterion.minimum_penetration, system)
    return (
        f"the criterion held at {_length(row['met_anywhere'], system)}, but the toe ended "
        f"{_length(row['depth'], system)} deep, above the minimum penetration of {least}"
    )


def _range(row: dict, criterion: Criterion, system: str) -> str:
    low, high = (show("stroke", value, system) for value in (criterion.minimum_stroke, criterion.maximum_stroke))
    return (
        f"the criterion held at {_length(row['penetration'], system)}, but a stroke there lies outside the approved "
        f"range of {low} to {high}"
    )


def _unread(row: dict, criterion: Criterion, system: str) -> str:
    return f"a stroke is missing within the last {_holding(criterion, system)}, so the criterion cannot be judged there"


def _not_met(row: dict, criterion: Criterion, system: str) -> str:
    sentence = (
        f"at the end, at {_length(row['penetration'], system)}, there were {_counts(row, system)}; "
        f"{_asked(row, criterion, system)}, over {_holding(criterion, system)}"
    )
    if row["minimum_penetration_reached"]:
        return sentence
    return f"{sentence}; the minimum penetration of {_length(criterion.minimum_penetration, system)} was not reached"


def _absent(row: dict, criterion: Criterion, system: str) -> str:
    return "the production log has no counts of this pile"


_SENTENCES = {
    "accepted": _accepted,
    "accepted at restrike": _restruck,
    "practical refusal": _refusal,
    "criterion lost": _lost,
    "minimum penetration not reached": _shallow,
    "stroke out of range": _range,
    "stroke not recorded": _unread,
    "not met": _not_met,
    "no counts": _absent,
}
