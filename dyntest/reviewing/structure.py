"""The bearing piles of reviewed test piles, and a whole structure of several test piles and groups of bearing piles."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import isfinite, log10
from statistics import NormalDist

import numpy as np
import pandas as pd

from dyntest import __version__
from dyntest.decisions.bearing_intervals import toe_elevation
from dyntest.decisions.bearing_oddities import GRAVE
from dyntest.decisions.bearing_piles import BearingPileCheck, check_bearing_piles
from dyntest.decisions.caution import Caution
from dyntest.decisions.combined_criterion import PileCriterion, combinable, combine, group_criterion
from dyntest.decisions.criterion import Criterion
from dyntest.decisions.estimate import Pooled, pool
from dyntest.decisions.resistance_factors import least_dynamic_tests
from dyntest.decisions.restrikes import DATE
from dyntest.decisions.time_law import reference_time
from dyntest.errors import InputError
from dyntest.reading.files import sha256
from dyntest.reading.production_log import PileTable, ProductionLog, read_pile_table, read_production_log
from dyntest.reading.sheet import read_sheet
from dyntest.reading.structure_sheet import Group, StructureSheet
from dyntest.reading.wording import known_as
from dyntest.reviewing.pile_result import PileResult
from dyntest.reviewing.review import Progress, Review
from dyntest.reviewing.survey import PileRecord, survey


def review_bearing_piles(
    reviews: Sequence[Review], log: ProductionLog, piles: PileTable | None = None
) -> BearingPileCheck:
    """Hold every pile of a production log against the criterion of one or several test piles."""
    criteria = []
    for review in reviews:
        found = review.answers.criterion
        if found is None or found.criterion is None:
            cure = 'see "dyntest review" for what stands against it'
            raise InputError(known_as(review.sheet.path), "", f"there is no driving criterion{_why(review)}", cure)
        criteria.append(found)
    sheet = reviews[0].sheet
    depths = {review.sheet.pile_name: penetration_of_test_pile(review) for review in reviews}
    known = {pile: depth for pile, depth in depths.items() if depth == depth}
    return check_bearing_piles(
        log,
        combine([combinable(one) for one in criteria]),
        piles,
        test_toe_elevations=_elevations(known, piles),
        test_penetrations=tuple(known.values()),
        tip_reinforcement=sheet.pile.tip_reinforcement or 0.0,
    )


def _why(review: Review) -> str:
    """Give the kind of what stands against a criterion, in brackets."""
    answers = review.answers
    if answers.criterion_problem is not None:
        return f" ({answers.criterion_problem.kind})"
    found = () if answers.criterion is None else answers.criterion.cautions
    kinds = [caution.kind for caution in found if caution.kind in ("no usable stroke", "stroke not reached")]
    return f" ({kinds[0]})" if kinds else ""


def penetration_of_test_pile(review: Review) -> float:
    """Give how deep a test pile stood at the end of its initial drive.

    Units: returns [m].
    """
    initial = [drive for drive in review.drives if drive.kind == "initial"]
    return float(initial[-1].table["penetration"].iloc[-1]) if initial else float("nan")


def _elevations(depths: dict[str, float], piles: PileTable | None) -> tuple[float, ...]:
    """Give the toe elevations of the test piles; none where one of them is not in the table."""
    if piles is None or not all(pile in piles.pile for pile in depths):
        return ()
    at = {pile: piles.pile.index(pile) for pile in depths}
    return tuple(
        float(toe_elevation(piles.ground_elevation[at[pile]], depth, piles.batter[at[pile]]))
        for pile, depth in depths.items()
    )


RANGE_CONFIDENCE = 0.90
"""Confidence that the range of a match or of a setup factor is taken to have [1], to give it a deviation."""

LEAST_DEVIATION = 0.03
"""Least standard deviation of a rate of setup [1], so that no pile outweighs all others; our choice."""

PILE_SCATTER = {"damping factor": 0.10, "efficiency": 0.05}
"""Standard deviation with which one pile gives its Case damping factor and hammer efficiency [1]; no source."""

HURT = ("reduced section", "damage")
"""Alerts after which a test pile is no measure for others while a sound one stands beside it."""

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
        """Give the setup factor after a wait and its range for a pile that was not tested [1].

        Units: wait [s].
        """
        tenfolds = log10(max(wait / self.reference_time, 1.0))
        rates = (self.rate.value, self.rate.next_low, self.rate.next_high)
        value, low, high = (1.0 + rate * tenfolds for rate in rates)
        return value, low, high


@dataclass(frozen=True)
class GroupReview:
    """A group of bearing piles held against its criterion.

    Parameters
    ----------
    group : Group
        As the structure's file names it.
    tests : tuple of str
        Its test piles that were reviewed.
    criterion : Criterion or None
        What its piles are held against; None where there is none.
    basis : str
        What of `dyntest.decisions.combined_criterion.BASES` the criterion rests on; empty without one.
    agreement : Pooled or None
        Sets that its test piles ask for, pooled [logarithm of m].
    problem : Caution or None
        Why there is no criterion.
    cautions : tuple of Caution
        What to weigh, the gravest first.
    check : BearingPileCheck or None
        Its bearing piles; None without a log or a criterion.
    piles : PileTable or None
        Levels, lengths and coordinates of its piles.
    due : pandas.DataFrame
        Piles to be restruck: ``pile``, ``since`` and ``earliest``, dates; empty text where not known.
    """

    group: Group
    tests: tuple[str, ...]
    criterion: Criterion | None
    basis: str
    agreement: Pooled | None
    problem: Caution | None
    cautions: tuple[Caution, ...]
    check: BearingPileCheck | None
    piles: PileTable | None
    due: pd.DataFrame


@dataclass(frozen=True)
class StructureReview:
    """What the piles of a structure say.

    Parameters
    ----------
    sheet : StructureSheet
        The structure's file.
    display_units : str
        ``"SI"`` or ``"US"``.
    records : tuple of PileRecord
        One a test sheet; one that failed says why.
    setups : tuple of PooledSetup
        One a soil.
    damping_factor, efficiency : Pooled or None
        Calibrated Case damping factor and hammer efficiency over the test piles [1].
    groups : tuple of GroupReview
        In the order of the file.
    inputs : mapping of str to str
        SHA-256 of the structure's own files by name.
    version : str
        Version of dyntest.
    """

    sheet: StructureSheet
    display_units: str
    records: tuple[PileRecord, ...]
    setups: tuple[PooledSetup, ...]
    damping_factor: Pooled | None
    efficiency: Pooled | None
    groups: tuple[GroupReview, ...]
    inputs: Mapping[str, str]
    version: str = __version__

    @property
    def results(self) -> tuple[PileResult, ...]:
        """What was found at every test pile that could be reviewed."""
        return tuple(record.result for record in self.records if record.result is not None)


def review_structure(
    sheet: StructureSheet,
    *,
    match: str = "best",
    known: Mapping[str, PileRecord] | None = None,
    keep: Callable[[PileRecord], None] = lambda record: None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> StructureReview:
    """Review every test pile of a structure, and hold its bearing piles against the criterion of their group.

    Parameters
    ----------
    sheet : StructureSheet
        The structure's file, as `dyntest.reading.structure_sheet.read_structure` gives it.
    match : str
        ``"best"`` or ``"none"``.
    known : mapping of str to PileRecord or None
        What an earlier run kept, by the test sheet's name; a pile is reviewed again only when its files change.
    keep : callable
        Given each pile that is newly done.
    executor : concurrent.futures.Executor or None
        Where piles are reviewed; None: a pool with a process a core.
    progress : callable or None
        Told what is being done.

    Returns
    -------
    StructureReview
        Plain data; a test pile that could not be reviewed is a record with its reason.

    Raises
    ------
    InputError
        If a log or a table of piles cannot be used, a pile stands in two groups, or units are mixed.

    Notes
    -----
    Setup is pooled by soil with a random effect for each pile, see `dyntest.decisions.estimate` for source and
    equation; the criterion of a group is that of `dyntest.decisions.combined_criterion.group_criterion`.
    """
    tables = [_tables(group) for group in sheet.groups]  # before the long work, so that what is wrong is said at once
    _refuse_shared_piles(sheet, tables)
    folder = sheet.path.parent
    known = {name: kept for name, kept in (known or {}).items() if kept is not None and kept.result is not None}
    records = survey(folder, sheet.tests, match=match, known=known, keep=keep, executor=executor, progress=progress)
    by_path = {(folder / record.sheet).resolve(): record for record in records}
    results = tuple(record.result for record in records if record.result is not None)
    groups = tuple(
        _group(group, log, piles, [by_path[path.resolve()] for path in group.tests])
        for group, (log, piles) in zip(sheet.groups, tables, strict=True)
    )
    return StructureReview(
        sheet,
        _display_units(sheet, results),
        records,
        pooled_setups(results),
        _pooled([_last_damping(one) for one in results], PILE_SCATTER["damping factor"]),
        _pooled([one.efficiency for one in results], PILE_SCATTER["efficiency"]),
        groups,
        {path.name: sha256(path) for path in sheet.inputs},
    )


def _tables(group: Group) -> tuple[ProductionLog | None, PileTable | None]:
    """Give a group's log and table of piles; the log is laid out as its first test sheet says."""
    layout = None
    if group.production_log is not None:
        with suppress(InputError):  # what is wrong with that sheet is told with its test pile
            layout = read_sheet(group.tests[0]).log_layout
    log = None if group.production_log is None else read_production_log(group.production_log, layout)
    return log, None if group.piles is None else read_pile_table(group.piles)


def _refuse_shared_piles(
    sheet: StructureSheet, tables: Sequence[tuple[ProductionLog | None, PileTable | None]]
) -> None:
    """Refuse a bearing pile that stands in the logs of two groups."""
    home: dict[str, str] = {}
    for group, (log, _) in zip(sheet.groups, tables, strict=True):
        for pile in () if log is None else log.piles:
            if pile in home:
                problem = f"pile {pile} stands in {home[pile]} and in {group.name}"
                raise InputError(known_as(sheet.path), "[[group]]", problem, "keep each pile in one group's log")
            home[pile] = group.name


def _display_units(sheet: StructureSheet, results: Sequence[PileResult]) -> str:
    asked = {one.display_units for one in results}
    if sheet.display_units is not None:
        return sheet.display_units
    if len(asked) > 1:
        cure = 'write display_units = "US" or "SI" there'
        raise InputError(known_as(sheet.path), "[structure]", "the test sheets ask for SI and for US units", cure)
    return asked.pop() if asked else "SI"


def _group(
    group: Group, log: ProductionLog | None, piles: PileTable | None, records: Sequence[PileRecord]
) -> GroupReview:
    """Give a group's criterion, and its piles held against it."""
    done = [record.result for record in records if record.result is not None]
    names = tuple(one.pile for one in done)
    cautions = list(_failed(records)) + list(_too_few(done, log))
    none = pd.DataFrame({name: pd.Series(dtype=object) for name in ("pile", "since", "earliest")})
    parts = [replace(one.criterion, criterion=_whole(one)) for one in done]
    hurt = [part for part in parts if _is_hurt(part)]
    if hurt and len(hurt) < len(parts):  # a sound pile of the group stands for all
        parts = [part for part in parts if part not in hurt]
        cautions = [Caution("hurt test pile", pile=part.pile) for part in hurt] + cautions
    without = [part for part in parts if part.criterion is None]
    if not parts or without:
        problem = without[0].problem if without and without[0].problem is not None else Caution("no test pile reviewed")
        if without:
            problem = replace(problem, pile=without[0].pile)
        return GroupReview(group, names, None, "", None, problem, tuple(cautions), None, piles, none)
    try:
        criterion, basis, agreement, found = group_criterion(parts)
    except InputError as refused:
        problem = Caution("criteria not combined", facts={"why": refused.problem})
        return GroupReview(group, names, None, "", None, problem, tuple(cautions), None, piles, none)
    cautions = [*found, *cautions]
    check = None
    if log is not None:
        known = {one.pile: one.end_penetration for one in done if isfinite(one.end_penetration)}
        check = check_bearing_piles(
            log,
            criterion,
            piles,
            test_toe_elevations=_elevations(known, piles),
            test_penetrations=tuple(known.values()),
            tip_reinforcement=done[0].tip_reinforcement,
        )
    due = none if check is None or log is None else _due(check, log, criterion)
    return GroupReview(group, names, criterion, basis, agreement, None, tuple(cautions), check, piles, due)


def _is_hurt(part: PileCriterion) -> bool:
    """Whether a test pile's own criterion says that the pile may be damaged."""
    return part.criterion is not None and any(alert.kind in HURT for alert in part.criterion.alerts)


def _whole(result: PileResult) -> Criterion | None:
    held = result.criterion.criterion
    return None if held is None else replace(held, targets=result.targets)


def _failed(records: Sequence[PileRecord]) -> tuple[Caution, ...]:
    """Name the test piles of a group that could not be reviewed."""
    return tuple(
        Caution("test pile not reviewed", facts={"sheet": record.sheet, "why": record.problem})
        for record in records
        if record.result is None
    )


def _too_few(done: Sequence[PileResult], log: ProductionLog | None) -> tuple[Caution, ...]:
    """Tell where fewer piles were tested than the resistance factor asks for."""
    chosen = [one for one in done if one.condition]
    if not chosen or log is None:
        return ()
    least = least_dynamic_tests(len(log.piles))
    if len(done) >= least:
        return ()
    facts = {"condition": chosen[0].condition, "piles": len(log.piles)}
    return (Caution("too few tested piles", len(done), least, facts),)


def _due(check: BearingPileCheck, log: ProductionLog, criterion: Criterion) -> pd.DataFrame:
    """Give the piles that were stopped for a restrike and when it may be done at the earliest."""
    rule = criterion.restrike
    grave = check.odd["pile"][check.odd["kind"].isin(GRAVE)]
    table = check.piles
    open_piles = table[(table["status"] == "not met") & ~table["resumed"].astype(bool) & ~table["pile"].isin(grave)]
    if rule is None or rule.change == "relaxation":
        return pd.DataFrame({"pile": [], "since": [], "earliest": []}, dtype=object)
    dates: dict[str, str] = {}
    for pile, date in zip(log.pile.tolist(), log.date, strict=True):
        if date:
            dates[pile] = date
    rows = [(pile, dates.get(pile, ""), _after(dates.get(pile, ""), rule.wait)) for pile in open_piles["pile"]]
    return pd.DataFrame(rows, columns=["pile", "since", "earliest"], dtype=object)


def _after(date: str, wait: float | None) -> str:
    """Give the date a wait [s] later; empty where either is not known."""
    if wait is None:
        return ""
    try:
        return (datetime.strptime(date, DATE) + timedelta(seconds=wait)).strftime(DATE)
    except ValueError:
        return ""


def pooled_setups(results: Sequence[PileResult]) -> tuple[PooledSetup, ...]:
    """Pool the rate of setup over all test piles, soil by soil; each pile counts once, with all its restrikes."""
    pooled = []
    for soil in dict.fromkeys(one.shaft_soil for one in results):
        time = reference_time(soil or None)
        rates: list[float] = []
        deviations: list[float] = []
        names, waits, factors = [], [], []
        for one in results:
            own = [point for point in one.setups if point.matched and point.wait > SAME_TIME * time]
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


def _last_damping(result: PileResult) -> float:
    known = [drive.damping_factor for drive in result.drives if isfinite(drive.damping_factor)]
    return known[0] if known else float("nan")


def _pooled(values: Sequence[float], deviation: float) -> Pooled | None:
    known = [value for value in values if isfinite(value)]
    return pool(known, [deviation] * len(known)) if known else None
