"""What is kept of a reviewed test pile for its structure, as plain data, and what several test piles say together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from math import expm1, isfinite, log, log10
from statistics import NormalDist

import numpy as np
from pydantic import TypeAdapter

from dyntest.decisions.combined_criterion import PileCriterion
from dyntest.decisions.driving_criterion import NO_STROKE, DrivingCriterion
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.estimate import Estimate, Pooled, pool
from dyntest.decisions.setup import compared_for_sure
from dyntest.decisions.time_law import reference_time
from dyntest.decisions.trust import Caution
from dyntest.reading.parts import Layer
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review

MOST_POINTS = 120
"""Depths at which the resistance along a drive is kept at most [1]."""

NEAR = 0.05
"""Share by which resistance is varied to see how the set follows it [1]."""


@dataclass(frozen=True)
class SetupPoint:
    """What one wait changed at one test pile.

    Parameters
    ----------
    restrike : str
        Name of the restrike.
    wait : float
        Time since the end of the initial drive [s].
    factor : Estimate
        Resistance over that at the end of driving [1].
    matched : bool
        Whether it rests on two fitted matches, the first of which is not a lower bound.
    lower_bound : bool
        Whether the restrike did not mobilise all of the resistance.
    """

    restrike: str
    wait: float
    factor: Estimate
    matched: bool
    lower_bound: bool = False


@dataclass(frozen=True)
class DriveResistance:
    """Resistance of one drive.

    Parameters
    ----------
    drive, kind : str
        Its name, and ``"initial"`` or ``"restrike"``.
    start : datetime or None
        When it began.
    penetration : float
        Penetration of the toe at its representative blow [m]; not a number where not known.
    resistance : Estimate or None
        Matched resistance [N]; None where it was not matched.
    case_resistance : float
        Maximum Case resistance [N]; not a number where not known.
    energy, energy_ratio, transfer_ratio, stroke, peak_stress : float
        Of the representative blow: transferred energy [J], over the rated energy [1] and over ram weight times stroke
        [1], stroke [m], stress of the gauge that reads most [Pa]; not a number where not known.
    damping_factor : float
        Case damping factor calibrated by matching [1]; not a number where it was not.
    lower_bound : bool
        Whether the blow did not mobilise all of the resistance.
    """

    drive: str
    kind: str
    start: datetime | None
    penetration: float
    resistance: Estimate | None
    case_resistance: float
    energy: float
    energy_ratio: float
    transfer_ratio: float
    stroke: float
    peak_stress: float
    damping_factor: float
    lower_bound: bool = False


@dataclass(frozen=True)
class PileResult:
    """What a structure takes from one of its test piles.

    Parameters
    ----------
    pile : str
        Its mark.
    display_units : str
        ``"SI"`` or ``"US"``, as its sheet asks.
    shaft_soil, toe_soil : str
        As the sheet says; empty where it does not.
    trust : str
        Whether the record can be trusted.
    required_resistance : float or None
        What is asked of every pile [N].
    condition : str
        What the chosen resistance factor asks for; empty where none was chosen.
    least_tests, least_share : int, float
        Dynamic tests that it requires at the least, and their least share of the production piles [1].
    drives : tuple of DriveResistance
        In the order of the sheet.
    setups : tuple of SetupPoint
        What each wait changed, where the clocks are known and a restrike shows it.
    efficiency : float
        Hammer efficiency found by calibration [1]; not a number where none was.
    depth, case_resistance : tuple of float
        Penetration [m] along the initial drive, and maximum Case resistance there [N].
    layers : tuple of Layer
        The soil profile at the pile, from the ground down; empty where the sheet has none.
    tip_reinforcement : float
        Length of an attached tip [m].
    criterion : PileCriterion
        What of its criterion is combined with others.
    targets : tuple of EndOfDriveTarget
        Resistance to be shown at the end of driving, where there is one.
    alerts : tuple of Caution
        What forbids the use of counts of this pile, also where it has no criterion.
    """

    pile: str
    display_units: str
    shaft_soil: str
    toe_soil: str
    trust: str
    required_resistance: float | None
    condition: str
    drives: tuple[DriveResistance, ...]
    setups: tuple[SetupPoint, ...]
    efficiency: float
    depth: tuple[float, ...]
    case_resistance: tuple[float, ...]
    layers: tuple[Layer, ...]
    tip_reinforcement: float
    criterion: PileCriterion
    targets: tuple[EndOfDriveTarget, ...]
    alerts: tuple[Caution, ...] = ()
    least_tests: int = 0
    least_share: float = 0.0

    @property
    def end_penetration(self) -> float:
        """Penetration of the toe at the end of the initial drive [m]; not a number where not known."""
        return self.depth[-1] if self.depth else float("nan")


def pile_result(review: Review) -> PileResult:
    """Give what a structure takes from a reviewed test pile."""
    sheet, answers = review.sheet, review.answers
    initial = [drive for drive in review.drives if drive.kind == "initial"]
    depth, case = _along(initial[-1]) if initial else ((), ())
    found = answers.criterion
    return PileResult(
        pile=sheet.pile_name,
        display_units=sheet.display_units,
        shaft_soil=sheet.soil.shaft or "",
        toe_soil=sheet.soil.toe or "",
        trust=review.trust.answer,
        required_resistance=answers.required.value,
        condition=answers.required.condition,
        least_tests=answers.required.least_tests,
        least_share=answers.required.least_share,
        drives=tuple(_drive(drive) for drive in review.drives),
        setups=tuple(
            SetupPoint(one.restrike, one.wait, factor, one.matched and not one.initial_bound, one.restrike_bound)
            for one, factor in compared_for_sure(answers.setups)
            if one.wait is not None
        ),
        efficiency=_number(None if found is None else found.calibrated.hammer.efficiency),
        depth=depth,
        case_resistance=case,
        layers=tuple(sheet.soil.layers),
        tip_reinforcement=sheet.pile.tip_reinforcement or 0.0,
        criterion=_criterion(review, found),
        targets=() if answers.target is None else (answers.target,),
        alerts=() if found is None else found.alerts,
    )


def _criterion(review: Review, found: DrivingCriterion | None) -> PileCriterion:
    """Give what of a criterion is combined; its target is kept beside it, so that each has its own type."""
    sheet, problem = review.sheet, review.answers.criterion_problem
    hammer = sheet.hammer
    kind, mass = ("", float("nan")) if hammer is None else (hammer.kind, hammer.ram_mass)
    held = None if found is None or found.criterion is None else replace(found.criterion, targets=())
    if found is not None and found.criterion is None and problem is None:
        without = [one for one in found.cautions if one.kind in NO_STROKE]
        problem = next(iter((*without, *found.alerts)), None)
    return PileCriterion(
        sheet.pile_name, held, sheet.pile.material, sheet.pile.impedance, kind, mass, _set_deviation(found), problem
    )


def _set_deviation(found: DrivingCriterion | None) -> float:
    """Give the standard deviation of the logarithm of the set asked for, from that of the target [1].

    The bearing graph tells how the set follows resistance: ``σ_s = |d ln s / d ln R| σ_R``.
    """
    if found is None:
        return float("nan")
    target, graph = found.target, found.graph
    middle = int(np.abs(graph.stroke - found.calibrated.stroke).argmin())
    near = target.value * np.array([1.0 - NEAR, 1.0 + NEAR])
    if not graph.resistance[0] <= near[0] < near[1] <= graph.resistance[-1]:
        return float("nan")
    sets = np.interp(near, graph.resistance, graph.blows.set_per_blow[middle])
    if not (sets > 0.0).all():
        return float("nan")
    slope = log(sets[1] / sets[0]) / log(near[1] / near[0])
    return abs(slope) * target.deviation


def _drive(drive: DriveReview) -> DriveResistance:
    numbers, match = drive.numbers, drive.match
    resistance = None
    if match is not None:
        low, high = match.matched_resistance_range
        resistance = Estimate(match.matched_resistance, low, high)
    return DriveResistance(
        drive=drive.name,
        kind=drive.kind,
        start=drive.drive.start,
        penetration=_number(numbers.get("penetration")),
        resistance=resistance,
        case_resistance=_number(numbers.get("case_resistance_maximum")),
        energy=_number(numbers.get("transferred_energy")),
        energy_ratio=_number(numbers.get("energy_ratio")),
        transfer_ratio=_number(numbers.get("energy_ratio_stroke")),
        stroke=_number(numbers.get("stroke")),
        peak_stress=_number(numbers.get("peak_gauge_stress")),
        damping_factor=_number(drive.calibrated_damping_factor),
        lower_bound=drive.lower_bound,
    )


def _along(drive: DriveReview) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Give penetration [m] and maximum Case resistance [N] along a drive, thinned; none where depths are not known."""
    names = ("penetration", "case_resistance_maximum")
    if any(name not in drive.table for name in names) or drive.end_penetration is None:
        return (), ()
    known = drive.table[list(names)].dropna()
    rows = np.unique(np.linspace(0, len(known) - 1, min(len(known), MOST_POINTS)).round().astype(int))
    depth, case = (known[name].to_numpy(dtype=float)[rows] for name in names)
    return tuple(depth.tolist()), tuple(case.tolist())


def _number(value: float | None) -> float:
    return float("nan") if value is None or not isfinite(value) else float(value)


@cache
def _adapter() -> TypeAdapter[PileResult]:
    return TypeAdapter(PileResult)


def as_plain(result: PileResult) -> dict:
    """Give a result as plain values for JSON, numbers that are none included."""
    return _adapter().dump_python(result, mode="json")


def from_plain(kept: object) -> PileResult:
    """Give a result back from `as_plain`; raise ``ValueError`` where something is missing or of another kind."""
    return _adapter().validate_python(kept)


RANGE_CONFIDENCE = 0.90
"""Confidence that the range of a match or of a setup factor is taken to have [1], to give it a deviation."""

LEAST_DEVIATION = 0.03
"""Least standard deviation of a rate of setup [1], so that no pile outweighs all others; our choice."""

PILE_SCATTER = {"damping factor": 0.10, "efficiency": 0.05}
"""Standard deviation with which one pile gives its Case damping factor and hammer efficiency [1]; no source."""

SAME_TIME = 1.5
"""Waits shorter than this many times the reference time give no rate of setup [1]: the logarithm is then too small."""


@dataclass(frozen=True)
class PooledSetup:
    """Setup against time of all test piles in one soil.

    Parameters
    ----------
    soil : str
        Soil along the shaft; empty where the sheets do not say.
    rate : Pooled
        Gain for each tenfold of time, A in ``R(t)/R_0 = 1 + A log10(t/t_0)`` [1].
    reference_time : float
        t_0 [s].
    piles : tuple of str
        Test piles it rests on.
    waits, factors : tuple of float
        Every measured wait [s] and setup factor [1].
    """

    soil: str
    rate: Pooled
    reference_time: float
    piles: tuple[str, ...]
    waits: tuple[float, ...]
    factors: tuple[float, ...]

    def factor(self, wait: float) -> tuple[float, float, float]:
        """Give the setup factor after a wait and its range for a pile that was not tested [1]; none is below 0.

        Units: wait [s].
        """
        tenfolds = log10(max(wait / self.reference_time, 1.0))
        rates = (self.rate.value, self.rate.next_low, self.rate.next_high)
        value, low, high = (max(0.0, 1.0 + rate * tenfolds) if isfinite(rate) else rate for rate in rates)
        return value, low, high


@dataclass(frozen=True)
class HammerRun:
    """What one hammer passed into the test piles at the end of driving, one pile after the other.

    Parameters
    ----------
    kind : str
        Kind of the hammer.
    ram_mass : float
        Its ram [kg].
    piles : tuple of str
        Test piles in the order in which they were driven; those without a date last.
    starts : tuple of datetime or None
        When each was driven.
    ratios : tuple of float
        Transferred energy over ram weight times stroke, over the rated energy where no stroke is known [1].
    change : Estimate or None
        By how much the ratio changed from the first pile to the last, as a share of the first, with its 90 % range;
        None with fewer than two dates.
    """

    kind: str
    ram_mass: float
    piles: tuple[str, ...]
    starts: tuple[datetime | None, ...]
    ratios: tuple[float, ...]
    change: Estimate | None

    @property
    def drifts(self) -> bool:
        """Whether the range of the change leaves out none at all."""
        return self.change is not None and not self.change.low <= 0.0 <= self.change.high


def pooled_setups(results: Sequence[PileResult]) -> tuple[PooledSetup, ...]:
    """Pool the rate of setup over all test piles, soil by soil; each pile counts once, with all its restrikes."""
    pooled = []
    for soil in dict.fromkeys(one.shaft_soil for one in results):
        time = reference_time(soil or None)
        rates: list[float] = []
        deviations: list[float] = []
        names, waits, factors = [], [], []
        for one in results:
            own = [point for point in one.setups if gives_rate(point, time)]
            if one.shaft_soil != soil or not own:
                continue
            rate, deviation = _rate(own, time)
            rates.append(rate)
            deviations.append(max(deviation, LEAST_DEVIATION))
            names.append(one.pile)
            waits += [point.wait for point in own]
            factors += [point.factor.value for point in own]
        if rates:
            pooled.append(PooledSetup(soil, pool(rates, deviations), time, tuple(names), tuple(waits), tuple(factors)))
    return tuple(pooled)


def gives_rate(point: SetupPoint, time: float) -> bool:
    """Whether a setup factor counts for the rate of setup: it is matched, and not too soon after the reference time.

    Units: time [s].
    """
    return point.matched and point.wait > SAME_TIME * time


def _rate(points: Sequence, time: float) -> tuple[float, float]:
    """Give one pile's rate of setup and its deviation [1]; its restrikes share the end of driving, so errors stay."""
    quantile = NormalDist().inv_cdf(0.5 + 0.5 * RANGE_CONFIDENCE)
    tenfolds = np.array([log10(point.wait / time) for point in points])
    gains = np.array([point.factor.value - 1.0 for point in points])
    spreads = np.array([(point.factor.high - point.factor.low) / (2.0 * quantile) for point in points])
    weights = np.where(np.isfinite(spreads), tenfolds**2 / np.maximum(spreads, 1e-3) ** 2, 0.0)
    if not weights.any():
        return float((gains / tenfolds).mean()), float(1.0 / tenfolds.min())
    rate = float(np.average(gains / tenfolds, weights=weights))
    return rate, float(np.average(np.nan_to_num(spreads, posinf=0.0) / tenfolds, weights=weights))


TRANSFER_SCATTER = 0.07
"""Least standard deviation of a pile's transfer ratio about the hammer's own, as a share [1]: soil and gauges differ;
common practice, no source."""


def hammer_runs(results: Sequence[PileResult]) -> tuple[HammerRun, ...]:
    """Give what each hammer passed into the test piles in their order, and whether it drifts.

    The logarithm of the ratio is fitted by a straight line over time, ``ln η = a + b t``. The range of b is that of
    Student's t from the residuals (least squares, any textbook), with `TRANSFER_SCATTER` as their least deviation.
    """
    found: dict[tuple[str, int], list[tuple[datetime | None, str, float, float]]] = {}
    for one in results:
        last = [drive for drive in one.drives if drive.kind == "initial"][-1:]
        for drive in last:
            ratio = drive.transfer_ratio if isfinite(drive.transfer_ratio) else drive.energy_ratio
            if isfinite(ratio) and ratio > 0.0 and one.criterion.hammer_kind:
                hammer = (one.criterion.hammer_kind, round(one.criterion.ram_mass))
                found.setdefault(hammer, []).append((drive.start, one.pile, ratio, one.criterion.ram_mass))
    runs = []
    for (kind, _), rows in found.items():
        rows.sort(key=lambda row: (row[0] is None, row[0] or datetime.min))
        starts, piles, ratios, masses = zip(*rows, strict=True)
        runs.append(HammerRun(kind, masses[0], piles, starts, ratios, _drift(starts, ratios)))
    return tuple(runs)


def _drift(starts: Sequence[datetime | None], ratios: Sequence[float]) -> Estimate | None:
    """Give the change of a ratio from the first date to the last, as a share of the first."""
    dated = [(start, ratio) for start, ratio in zip(starts, ratios, strict=True) if start is not None]
    if len(dated) < 2 or dated[0][0] == dated[-1][0]:
        return None
    times = np.array([(start - dated[0][0]).total_seconds() for start, _ in dated])
    logs = np.array([log(ratio) for _, ratio in dated])
    away = times - times.mean()
    spread = float(away @ away)
    slope = float(away @ logs) / spread
    left = logs - logs.mean() - slope * away
    end, free = 0.5 + 0.5 * RANGE_CONFIDENCE, len(dated) - 2
    half = NormalDist().inv_cdf(end) * TRANSFER_SCATTER
    if free > 0:
        from scipy.special import stdtrit  # slow to load

        half = max(half, float(stdtrit(free, end)) * float(left @ left / free) ** 0.5)
    half /= spread**0.5
    value, low, high = (expm1(float(times[-1]) * one) for one in (slope, slope - half, slope + half))
    return Estimate(value, low, high)


def pooled_damping(results: Sequence[PileResult]) -> Pooled | None:
    """Pool the Case damping factor that matching gave at each test pile, of its first drive that has one [1].

    None where the toes stand in different soils, on which the factor depends.
    """
    own = [(one.toe_soil, [d.damping_factor for d in one.drives if isfinite(d.damping_factor)]) for one in results]
    if len({soil for soil, values in own if values}) > 1:
        return None
    return _pooled([values[0] for _, values in own if values], PILE_SCATTER["damping factor"])


def pooled_efficiency(results: Sequence[PileResult]) -> Pooled | None:
    """Pool the hammer efficiency that calibration gave at each test pile [1]; None where hammers differ."""
    known = [one.criterion for one in results if isfinite(one.efficiency)]
    if len({(one.hammer_kind, round(one.ram_mass)) for one in known}) > 1:
        return None
    return _pooled([one.efficiency for one in results], PILE_SCATTER["efficiency"])


def _pooled(values: Sequence[float], deviation: float) -> Pooled | None:
    known = [value for value in values if isfinite(value)]
    return pool(known, [deviation] * len(known)) if known else None
