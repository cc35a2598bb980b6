"""One criterion for a structure from several test piles: the least favourable governs, and the output says which."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, isfinite, log

import numpy as np

from dyntest.decisions.criterion import WAYS, Criterion, CriterionRow, RestrikeRule, set_at
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.decisions.estimate import Pooled, pool
from dyntest.decisions.restrikes import NO_CHANGE, NOT_MEASURED, RELAXATION, SETUP
from dyntest.decisions.trust import Caution
from dyntest.errors import InputError

PLACE = "criteria of the structure"

SAME = 0.01
"""Share by which impedance and ram mass of piles and hammers of one kind may differ [1], for rounding; no source."""


@dataclass(frozen=True)
class PileCriterion:
    """What of a test pile's criterion is combined with those of others.

    Parameters
    ----------
    pile : str
        The test pile.
    criterion : Criterion or None
        Its own criterion; None where there is none.
    material : str
        Of the pile.
    impedance : float
        Of the pile [N s/m].
    hammer_kind : str
        Kind of the hammer.
    ram_mass : float
        Its ram [kg].
    set_deviation : float
        Standard deviation of the logarithm of the set asked for [1]; not a number where not known.
    problem : Caution or None
        Why there is no criterion; None where there is one.
    """

    pile: str
    criterion: Criterion | None
    material: str
    impedance: float
    hammer_kind: str
    ram_mass: float
    set_deviation: float = float("nan")
    problem: Caution | None = None


def combinable(found: DrivingCriterion) -> PileCriterion:
    """Give what of a driving criterion is combined with others."""
    hammer, pile = found.calibrated.hammer, found.test_pile
    return PileCriterion(found.pile, found.criterion, pile.material, pile.impedance, hammer.kind, hammer.ram_mass)


def combine(criteria: Sequence[PileCriterion]) -> Criterion:
    """Combine the criteria of several test piles of one structure; the least favourable governs at every stroke.

    Parameters
    ----------
    criteria : sequence of PileCriterion
        One a test pile, for the same kind of pile and hammer.

    Returns
    -------
    Criterion
        Over the strokes that every test pile allows; each row says which pile governs and what others would ask for.

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
    _refuse_different(criteria)
    without = [one.pile for one in criteria if one.criterion is None]
    if without:
        problem = f"no stroke is usable at {', '.join(without)}"
        raise InputError(PLACE, "", problem, "leave that pile out only with a reason, or change the hammer")
    parts = [one.criterion for one in criteria if one.criterion is not None]
    if len(parts) == 1:
        return parts[0]
    names = [one.pile for one in criteria]
    lowest = max(part.rows[0].stroke for part in parts)
    highest = min(part.maximum_stroke or part.rows[-1].stroke for part in parts)
    rows = _rows([part.rows for part in parts], names, lowest, highest)
    if not rows:
        problem = "the test piles share no usable stroke"
        raise InputError(PLACE, "", problem, "issue a criterion for each type of pile")
    penetrations = [part.minimum_penetration for part in parts if part.minimum_penetration is not None]
    named = list(zip(names, parts, strict=True))
    required = [part.required_resistance for part in parts if part.required_resistance is not None]
    return replace(
        parts[0],
        rows=rows,
        required_resistance=max(required) if required else None,
        minimum_penetration=max(penetrations) if penetrations else None,
        minimum_stroke=lowest,
        maximum_stroke=highest,
        holding_length=max(part.holding_length for part in parts),
        way=max((part.way for part in parts), key=WAYS.index),
        refusal_minimum_stroke=max(part.refusal_stroke for part in parts),
        restrike=_combined_rule([part.restrike for part in parts], names),
        ruled_out=tuple(replace(one, pile=name) for name, part in named for one in part.ruled_out),
        easy_driving=tuple(one for part in parts for one in part.easy_driving),
        alerts=tuple(replace(caution, pile=name) for name, part in named for caution in part.alerts),
        cautions=tuple(replace(caution, pile=name) for name, part in named for caution in part.cautions),
        piles=tuple(names),
        targets=tuple(target for part in parts for target in part.targets),
        above=_above(parts, names, highest),
        looked_at_stroke=min(part.highest_stroke or highest for part in parts),
    )


BASES = ("one test pile", "least favourable", "pooled")
"""What a group's criterion rests on."""


def group_criterion(criteria: Sequence[PileCriterion]) -> tuple[Criterion, str, Pooled | None, tuple[Caution, ...]]:
    """Give the criterion of a group, what of `BASES` it rests on, how its test piles agree, and what to weigh.

    Where the sets that the test piles ask for differ by no more than their own uncertainty, the pooled set
    ``exp(Σ w ln s / Σ w)`` governs at every stroke, else the least favourable pile. Test piles that disagree beyond
    their ranges are told first. Raises `InputError` as `combine` does.
    """
    combined = combine(criteria)
    if len(criteria) == 1:
        return combined, BASES[0], None, ()
    parts = [one.criterion for one in criteria if one.criterion is not None]
    deviations = [one.set_deviation for one in criteria]
    if not all(isfinite(one) and one > 0.0 for one in deviations):
        return combined, BASES[1], None, ()
    middle = combined.rows[len(combined.rows) // 2].stroke
    logs = [log(float(set_at(part.rows, np.array(middle)))) for part in parts]
    together = pool(logs, deviations)
    if not together.agree:
        facts = {"sets": {one.pile: exp(value) for one, value in zip(criteria, logs, strict=True)}, "stroke": middle}
        return combined, BASES[1], together, (Caution("test piles disagree", together.agreement, None, facts),)
    weights = np.array([1.0 / (one**2 + together.between**2) for one in deviations])
    sets = [np.log([float(set_at(part.rows, np.array(row.stroke))) for row in combined.rows]) for part in parts]
    pooled = np.exp(np.average(sets, axis=0, weights=weights))
    nan = float("nan")  # the chances were those of the governing pile's set, and a pooled one is larger
    rows = tuple(
        replace(row, set_per_blow=float(one), pile="", short=nan, driven_on=nan)
        for row, one in zip(combined.rows, pooled, strict=True)
    )
    return replace(combined, rows=rows, above=()), BASES[2], together, ()


def _refuse_different(criteria: Sequence[PileCriterion]) -> None:
    """Refuse test piles of different pile or hammer types, whose counts cannot be combined."""
    first = criteria[0]
    for other in criteria[1:]:
        alike = other.material == first.material and abs(other.impedance / first.impedance - 1.0) <= SAME
        if not alike:
            what = "piles of another kind"
        elif other.hammer_kind != first.hammer_kind or not abs(other.ram_mass / first.ram_mass - 1.0) <= SAME:
            what = "driven by another hammer"
        else:
            continue
        raise InputError(PLACE, "", f"{first.pile} and {other.pile} are {what}", "issue a criterion for each type")


def _rows(
    parts: Sequence[tuple[CriterionRow, ...]], names: Sequence[str], lowest: float, highest: float
) -> tuple[CriterionRow, ...]:
    """Give the least favourable set at every stroke.

    Units: lowest, highest [m].
    """
    inside = {row.stroke for rows in parts for row in rows if lowest <= row.stroke <= highest}
    strokes = sorted(inside | {lowest, highest}) if lowest <= highest else []
    combined = []
    for stroke in strokes:
        sets = [float(set_at(rows, np.array(stroke))) for rows in parts]
        governing = int(np.argmin(sets))
        near = min((abs(row.stroke - stroke), row.short, row.driven_on) for row in parts[governing])
        others = tuple((names[i], one) for i, one in enumerate(sets) if i != governing)
        combined.append(CriterionRow(stroke, sets[governing], names[governing], others, *near[1:]))
    return tuple(combined)


def _above(parts: Sequence[Criterion], names: Sequence[str], highest: float) -> tuple[CriterionRow, ...]:
    """Give the least favourable set at strokes above the shared range, as far as every test pile says one.

    Units: highest [m].
    """
    every = [(*part.rows, *part.above) for part in parts]
    rows = _rows(every, names, highest, min(rows[-1].stroke for rows in every))
    return tuple(row for row in rows if row.stroke > highest)


def _combined_rule(rules: list[RestrikeRule | None], names: list[str]) -> RestrikeRule | None:
    """Give the strictest of the rules: the longest wait, the least credit, the deepest test pile."""
    given = [rule for rule in rules if rule is not None]
    if len(given) < len(rules):
        return None
    changes = {rule.change for rule in given}
    change = next((one for one in (RELAXATION, NOT_MEASURED, NO_CHANGE) if one in changes), SETUP)
    stops, waits = [r.stop_penetration for r in given], [r.wait for r in given if r.wait is not None]
    rows: tuple[CriterionRow, ...] = ()
    if all(rule.rows for rule in given):
        lowest = max(rule.rows[0].stroke for rule in given)
        highest = min(rule.rows[-1].stroke for rule in given)
        rows = _rows([rule.rows for rule in given], names, lowest, highest)
    return RestrikeRule(
        change,
        None if None in stops else max(stop for stop in stops if stop is not None),
        max(waits) if waits else None,
        max(rule.resistance for rule in given),
        rows,
        min(rule.judged_length for rule in given),
        min(rule.most_length for rule in given),
    )
