"""The bearing piles of reviewed test piles, and a whole structure of several test piles and groups of bearing piles."""

import re
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import isfinite, nan
from pathlib import Path

import pandas as pd

from dyntest import __version__
from dyntest.decisions.bearing_intervals import toe_elevation
from dyntest.decisions.bearing_oddities import GRAVE, HURT_TEST
from dyntest.decisions.bearing_piles import VERDICTS, BearingPileCheck, check_bearing_piles
from dyntest.decisions.combined_criterion import PileCriterion, combinable, combine, group_criterion
from dyntest.decisions.criterion import Criterion
from dyntest.decisions.driving_criterion import NO_STROKE
from dyntest.decisions.estimate import Pooled
from dyntest.decisions.resistance_factors import least_dynamic_tests
from dyntest.decisions.restrikes import DATE
from dyntest.decisions.trust import Caution
from dyntest.errors import InputError
from dyntest.reading.files import sha256
from dyntest.reading.parts import TestSheet
from dyntest.reading.production_log import (
    PileTable,
    ProductionLog,
    read_pile_table,
    read_production_log,
    refuse_other_piles,
)
from dyntest.reading.sheet import read_sheet
from dyntest.reading.structure_sheet import Group, StructureSheet
from dyntest.reading.wording import known_as
from dyntest.reviewing.pile_result import (
    HammerRun,
    PileResult,
    PooledSetup,
    hammer_runs,
    pooled_damping,
    pooled_efficiency,
    pooled_setups,
)
from dyntest.reviewing.review import Progress, Review
from dyntest.reviewing.survey import PileRecord, survey


def review_bearing_piles(
    reviews: Sequence[Review], log: ProductionLog, piles: PileTable | None = None
) -> BearingPileCheck:
    """Check every pile of a production log against the criterion of one or several test piles."""
    refuse_other_piles(log, piles)
    criteria = []
    for review in reviews:
        found = review.answers.criterion
        if found is None or found.criterion is None:
            cure = "run dyntest review to see the reason"
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
    """Give the kind of what prevents a criterion, in brackets."""
    answers = review.answers
    if answers.criterion_problem is not None:
        return f" ({answers.criterion_problem.kind})"
    found = () if answers.criterion is None else answers.criterion.cautions
    kinds = [caution.kind for caution in found if caution.kind in NO_STROKE]
    return f" ({kinds[0]})" if kinds else ""


def penetration_of_test_pile(review: Review) -> float:
    """Give how deep a test pile stood at the end of its initial drive.

    Units: returns [m]; not a number where it is not known.
    """
    initial = [drive for drive in review.drives if drive.kind == "initial"]
    known = initial[-1].end_penetration if initial else None
    return float("nan") if known is None else known


def _elevations(depths: dict[str, float], piles: PileTable | None) -> tuple[float, ...]:
    """Give the toe elevations of the test piles; none where one of them is not in the table."""
    if piles is None or not all(pile in piles.pile for pile in depths):
        return ()
    at = {pile: piles.pile.index(pile) for pile in depths}
    return tuple(
        float(toe_elevation(piles.ground_elevation[at[pile]], depth, piles.batter[at[pile]]))
        for pile, depth in depths.items()
    )


HURT = ("reduced section", "damage")
"""Alerts that exclude a test pile from the criterion of its group if another is sound."""


@dataclass(frozen=True)
class GroupReview:
    """A group of bearing piles checked against its criterion.

    Parameters
    ----------
    group : Group
        As the structure's file names it.
    tests : tuple of str
        Its test piles that were reviewed.
    criterion : Criterion or None
        Criterion its piles are checked against; None where there is none.
    basis : str
        What of `dyntest.decisions.combined_criterion.BASES` the criterion rests on; empty without one.
    agreement : Pooled or None
        Sets that its test piles ask for, pooled [logarithm of m].
    problem : Caution or None
        Why there is no criterion.
    cautions : tuple of Caution
        Cautions, the most serious first.
    check : BearingPileCheck or None
        Its bearing piles; None without a log or a criterion.
    log : ProductionLog or None
        Counts of its bearing piles.
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
    log: ProductionLog | None
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
    hammers : tuple of HammerRun
        What each hammer passed into the test piles, one after the other.
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
    hammers: tuple[HammerRun, ...]
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
    """Review every test pile of a structure, and check its bearing piles against the criterion of their group.

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
    tables = read_tables(sheet)  # before the long work, so that what is wrong is said at once
    folder = sheet.path.parent
    known = {name: kept for name, kept in (known or {}).items() if kept is not None and kept.result is not None}
    records = survey(folder, sheet.tests, match=match, known=known, keep=keep, executor=executor, progress=progress)
    return conclude_structure(sheet, records, tables)


Tables = tuple[ProductionLog | None, PileTable | None]
"""A group's production log and its table of piles."""


def conclude_structure(
    sheet: StructureSheet, records: Sequence[PileRecord], tables: Sequence[Tables]
) -> StructureReview:
    """Give what the reviewed test piles of a structure say together, from the tables that `read_tables` gives."""
    folder = sheet.path.parent
    by_path = {(folder / record.sheet).resolve(): record for record in records}
    results = tuple(record.result for record in records if record.result is not None)
    groups = tuple(
        _group(group, log, piles, [by_path[path.resolve()] for path in group.tests])
        for group, (log, piles) in zip(sheet.groups, tables, strict=True)
    )
    return StructureReview(
        sheet,
        _display_units(sheet, [one.display_units for one in results]),
        tuple(records),
        pooled_setups(results),
        pooled_damping(results),
        pooled_efficiency(results),
        hammer_runs(results),
        groups,
        {path.relative_to(folder).as_posix(): sha256(path) for path in sheet.inputs},
    )


def read_tables(sheet: StructureSheet) -> tuple[Tables, ...]:
    """Give log and table of piles of every group; raise `InputError` for what cannot be used together.

    A table that several groups name is cut to the piles of each group's log; a pile without counts stays with the
    first of them.
    """
    tests = {}
    for path in sheet.tests:
        with suppress(InputError):  # the error in that sheet is reported with its test pile
            tests[path] = read_sheet(path)
    _display_units(sheet, [one.display_units for one in tests.values()])
    _refuse_other_tests(sheet, tests)
    logs: list[ProductionLog | None] = []
    tables: dict[Path, PileTable] = {}
    kept: list[Tables] = []
    for group in sheet.groups:
        layout = tests[group.tests[0]].log_layout if group.tests[0] in tests else None
        logs.append(None if group.production_log is None else read_production_log(group.production_log, layout))
        if group.piles is not None and group.piles not in tables:
            tables[group.piles] = read_pile_table(group.piles)
    home: dict[str, str] = {}
    for group, counts in zip(sheet.groups, logs, strict=True):
        _take_in(sheet, home, group.name, () if counts is None else counts.piles)
    for group, counts in zip(sheet.groups, logs, strict=True):
        if group.piles is None:
            kept.append((counts, None))
            continue
        table = tables[group.piles]
        shared = [one for one in sheet.groups if one.piles == group.piles]
        own = [home.get(pile, shared[0].name) == group.name for pile in table.pile]
        if len(shared) == 1:
            _take_in(sheet, home, group.name, table.pile)
        if counts is not None:
            refuse_other_piles(counts, table)
        kept.append((counts, table if all(own) else table.take(own)))
    return tuple(kept)


def _take_in(sheet: StructureSheet, home: dict[str, str], group: str, piles: Sequence[str]) -> None:
    """Note in whose log or table each pile stands; refuse one that stands in those of two groups."""
    for pile in piles:
        if home.setdefault(pile, group) != group:
            problem = f"pile {pile} is in {home[pile]} and in {group}"
            raise InputError(known_as(sheet.path), "[[group]]", problem, "keep each pile in one group's log and table")


GENERAL_WORDS = frozenset(
    (
        *(
            "abutment",
            "abutments",
            "approach",
            "bent",
            "bridge",
            "building",
            "crossing",
            "invented",
            "overpass",
            "pier",
        ),
        *("pier", "piers", "pile", "piles", "project", "ramp", "site", "structure", "test", "tower", "viaduct", "wall"),
    )
)
"""Words that many names of structures share, so that they tell none from another."""


def _refuse_other_tests(sheet: StructureSheet, tests: Mapping[Path, TestSheet]) -> None:
    """Refuse a test pile whose sheet names another structure, and one pile that two sheets describe.

    Names are written in many ways, so only those that share no word of their own are taken for two structures.
    """
    folder = sheet.path.parent
    piles: dict[str, str] = {}
    named = _own_words(sheet.name)
    for path, test in tests.items():
        name = path.relative_to(folder).as_posix()
        words = _own_words(test.structure)
        if named and words and not named & words:
            problem = f'is "{test.structure}", but the structure is "{sheet.name}"'
            cure = f"take the test out of {known_as(sheet.path)}, or write the same name in both"
            raise InputError(known_as(path), "[test] structure", problem, cure)
        if test.pile_name in piles:
            problem = f"{piles[test.pile_name]} and {name} both describe test pile {test.pile_name}"
            raise InputError(known_as(sheet.path), "[[group]] tests", problem, "name each test pile once")
        piles[test.pile_name] = name


def _own_words(name: str) -> frozenset[str]:
    """Give the words of a structure's name that tell it from others.

    Examples
    --------
    >>> sorted(_own_words("Mill Creek Bridge, pier 2"))
    ['creek', 'mill']
    """
    return frozenset(re.findall(r"[^\W\d_]{3,}", name.casefold())) - GENERAL_WORDS


def _display_units(sheet: StructureSheet, of_tests: Sequence[str]) -> str:
    """Give the display units; refuse test sheets that ask for two where the structure's file does not choose."""
    asked = set(of_tests)
    if sheet.display_units is not None:
        return sheet.display_units
    if len(asked) > 1:
        cure = 'write display_units = "US" or "SI" there'
        raise InputError(known_as(sheet.path), "[structure]", "the test sheets use both SI and US units", cure)
    return asked.pop() if asked else "SI"


def _group(
    group: Group, log: ProductionLog | None, piles: PileTable | None, records: Sequence[PileRecord]
) -> GroupReview:
    """Give a group's criterion, and its piles checked against it."""
    done = [record.result for record in records if record.result is not None]
    names = tuple(one.pile for one in done)
    cautions = list(_failed(records)) + list(_too_few(done, log))
    none = pd.DataFrame({name: pd.Series(dtype=object) for name in ("pile", "since", "earliest")})
    parts = [replace(one.criterion, criterion=_whole(one)) for one in done]
    hurt = [part for part in parts if _is_damaged(part)]
    if hurt and len(hurt) < len(parts):  # a sound pile of the group stands for all
        parts = [part for part in parts if part not in hurt]
        cautions = [Caution("damaged test pile", pile=part.pile) for part in hurt] + cautions
    without = [part for part in parts if part.criterion is None]
    if not parts or without:
        problem = without[0].problem if without and without[0].problem is not None else Caution("no test pile reviewed")
        if without:
            problem = replace(problem, pile=without[0].pile)
        return GroupReview(group, names, None, "", None, problem, tuple(cautions), None, log, piles, none)
    try:
        criterion, basis, agreement, found = group_criterion(parts)
    except InputError as refused:
        problem = Caution("criteria not combined", facts={"why": refused.problem})
        return GroupReview(group, names, None, "", None, problem, tuple(cautions), None, log, piles, none)
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
        check = _with_damaged_tests(check, [one.pile for one in done if _is_damaged(one.criterion)])
        cautions += check.cautions  # its strokes or depths may be of another hammer or structure
    due = none if check is None or log is None else _due(check, log, criterion)
    return GroupReview(group, names, criterion, basis, agreement, None, tuple(cautions), check, log, piles, due)


def _with_damaged_tests(check: BearingPileCheck, hurt: Sequence[str]) -> BearingPileCheck:
    """Require a second look at every test pile that may be damaged, whatever its count."""
    own = check.piles["pile"].isin(hurt)
    if not own.any():
        return check
    piles, look = check.piles.copy(), own & (check.piles["verdict"] == VERDICTS[0])
    piles.loc[look, "verdict"] = VERDICTS[1]
    marks = piles.loc[own, "pile"].tolist()
    told = pd.DataFrame({"pile": marks, "kind": HURT_TEST, "depth": nan, "value": nan, "limit": nan, "note": ""})
    return replace(check, piles=piles, odd=pd.concat([check.odd, told], ignore_index=True))


def _is_damaged(part: PileCriterion) -> bool:
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
    """Caution where fewer piles were tested than the resistance factor requires."""
    chosen = [one for one in done if one.condition]
    if not chosen or log is None:
        return ()
    least = max(least_dynamic_tests(len(log.piles), one.least_tests, one.least_share) for one in chosen)
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
