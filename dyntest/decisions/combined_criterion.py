"""One criterion for a structure from several test piles: the least favourable governs, and the output says which."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from dyntest.decisions.criterion import Criterion, CriterionRow, RestrikeRule, set_at, show_count
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.decisions.restrikes import NO_CHANGE, NOT_MEASURED, RELAXATION, SETUP
from dyntest.errors import InputError
from dyntest.names import show

PLACE = "criteria of the structure"

SAME = 0.01
"""Share by which impedance and ram mass of piles and hammers of one kind may differ [1], for rounding; no source."""


def combine(criteria: Sequence[DrivingCriterion], system: str = "SI") -> Criterion:
    """Combine the criteria of several test piles of one structure; the least favourable governs at every stroke.

    Parameters
    ----------
    criteria : sequence of DrivingCriterion
        One a test pile, for the same kind of pile and hammer.
    system : str
        ``"SI"`` or ``"US"``, the units of the sentences.

    Returns
    -------
    Criterion
        Over the strokes that every test pile allows; each row says which pile governs, and the first note why.

    Raises
    ------
    InputError
        If there is none, one of them has no usable stroke, piles or hammers are not of one kind, or they share no
        stroke.

    Notes
    -----
    ``set(stroke) = min over the test piles``, over the strokes that all of them allow (common practice, no source).
    """
    if not criteria:
        raise InputError(PLACE, "", "there is no test pile", "review at least one")
    _refuse_strangers(criteria)
    without = [one.pile for one in criteria if one.criterion is None]
    if without:
        problem = f"no stroke is usable at {', '.join(without)}"
        raise InputError(PLACE, "", problem, "leave that pile out only with a reason, or change the hammer")
    parts = [one.criterion for one in criteria]
    if len(parts) == 1:
        return parts[0]
    names = [one.pile for one in criteria]
    lowest = max(part.rows[0].stroke for part in parts)
    highest = min(part.maximum_stroke or part.rows[-1].stroke for part in parts)
    rows = _rows([part.rows for part in parts], names, lowest, highest, system)
    if not rows:
        problem = "the test piles share no usable stroke"
        raise InputError(PLACE, "", problem, "issue a criterion for each kind of pile")
    penetrations = [part.minimum_penetration for part in parts if part.minimum_penetration is not None]
    notes = [_who_governs(rows, criteria, system)]
    notes += [f"{name}: {note}" for name, part in zip(names, parts, strict=True) for note in part.notes]
    marked = {
        field: tuple(
            f"{name}: {text}" for name, part in zip(names, parts, strict=True) for text in getattr(part, field)
        )
        for field in ("alerts", "ruled_out")
    }
    return replace(
        parts[0],
        rows=rows,
        required_resistance=max(part.required_resistance for part in parts),
        minimum_penetration=max(penetrations) if penetrations else None,
        minimum_stroke=lowest,
        maximum_stroke=highest,
        holding_length=max(part.holding_length for part in parts),
        refusal_minimum_stroke=max(part.refusal_stroke for part in parts),
        restrike=_combined_rule([part.restrike for part in parts], names, system),
        source=f"test piles {', '.join(names)}; the least favourable governs at every stroke",
        notes=tuple(notes),
        **marked,
    )


def _refuse_strangers(criteria: Sequence[DrivingCriterion]) -> None:
    """Refuse test piles whose counts cannot stand for each other's piles."""
    first = criteria[0]
    for other in criteria[1:]:
        pile, than = other.test_pile, first.test_pile
        hammer, usual = other.calibrated.hammer, first.calibrated.hammer
        alike = pile.material == than.material and abs(pile.impedance / than.impedance - 1.0) <= SAME
        if not alike:
            what = "piles of another kind"
        elif hammer.kind != usual.kind or abs(hammer.ram_mass / usual.ram_mass - 1.0) > SAME:
            what = "driven by another hammer"
        else:
            continue
        raise InputError(PLACE, "", f"{first.pile} and {other.pile} are {what}", "issue a criterion for each kind")


def _rows(parts, names, lowest: float, highest: float, system: str) -> tuple[CriterionRow, ...]:
    strokes = sorted({row.stroke for rows in parts for row in rows if lowest <= row.stroke <= highest})
    combined = []
    for stroke in strokes:
        sets = [float(set_at(rows, stroke)) for rows in parts]
        governing = int(np.argmin(sets))
        others = tuple(
            f"{names[i]} alone would ask for {show_count(one, system, asked=True)}"
            for i, one in enumerate(sets)
            if i != governing
        )
        combined.append(CriterionRow(stroke, sets[governing], f"test pile {names[governing]}", others))
    return tuple(combined)


def _who_governs(rows: tuple[CriterionRow, ...], criteria: Sequence[DrivingCriterion], system: str) -> str:
    """Say which pile governs, and what it asks for beside the others."""
    governing = dict.fromkeys(row.governing.removeprefix("test pile ") for row in rows)
    asked = "; ".join(f"{one.pile}: {one.target.how.rstrip('.')}" for one in criteria)
    if len(governing) == 1:
        which = f"{next(iter(governing))} governs at every stroke"
    else:
        which = ", ".join(
            f"{name} governs from {show('stroke', next(r.stroke for r in rows if r.governing.endswith(name)), system)}"
            for name in governing
        )
    return f"{which}, for its soil and its target ask for the most blows ({asked})"


def _combined_rule(rules: list[RestrikeRule | None], names: list[str], system: str) -> RestrikeRule | None:
    """Give the strictest of the rules: the longest wait, the fewest promises, the deepest test pile."""
    given = [rule for rule in rules if rule is not None]
    if len(given) < len(rules):
        return None
    changes = {rule.change for rule in given}
    change = next((one for one in (RELAXATION, NOT_MEASURED, NO_CHANGE) if one in changes), SETUP)
    stops, waits = [r.stop_penetration for r in given], [r.wait for r in given if r.wait is not None]
    rows = ()
    if all(rule.rows for rule in given):
        lowest = max(rule.rows[0].stroke for rule in given)
        highest = min(rule.rows[-1].stroke for rule in given)
        rows = _rows([rule.rows for rule in given], names, lowest, highest, system)
    return RestrikeRule(
        change,
        None if None in stops else max(stops),
        max(waits) if waits else None,
        max(rule.resistance for rule in given),
        rows,
        min(rule.judged_length for rule in given),
        min(rule.most_length for rule in given),
    )
