"""The board of a structure as words and tidy frames, for the page and for the paper."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from dyntest.decisions.bearing_piles import ACCEPTED
from dyntest.decisions.setup import SECONDS_PER_DAY
from dyntest.names import NAMES, percent, show, show_required
from dyntest.presenting import palette
from dyntest.presenting.bearing_words import reasons, second_looks
from dyntest.presenting.criterion_words import chance_sentences, inspectors_card
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION, told
from dyntest.presenting.frames import shown, title
from dyntest.presenting.frames_decisions import setup_points, shown_verdicts
from dyntest.presenting.sentences import sentence, short_trust, show_range, show_stress
from dyntest.presenting.terminal import wrapped
from dyntest.presenting.terms import between_words, bound_mark, show_factor, show_ram, show_wait
from dyntest.reviewing.pile_result import SAME_TIME, DriveResistance, HammerRun, PileResult, SetupPoint
from dyntest.reviewing.structure import GroupReview, StructureReview
from dyntest.reviewing.survey import NOT_REVIEWED
from dyntest.units import STANDARD_GRAVITY

TEST_PILE, NOT_JUDGED = "test pile", "not judged"
"""What a pile on the plan is beside the verdicts of the bearing piles."""


class VerdictMark(NamedTuple):
    """How a verdict is drawn: its colour, its shape on the page (Vega-Lite) and on paper (matplotlib)."""

    colour: str
    shape: str
    marker: str


VERDICT_MARKS = {
    "accepted": VerdictMark(palette.ACCENT, "circle", "o"),
    "second look": VerdictMark("#d2691e", "triangle-up", "^"),
    "not met": VerdictMark(palette.WARNING, "cross", "X"),
    "no counts": VerdictMark(palette.QUIET, "square", "s"),
    NOT_JUDGED: VerdictMark(palette.QUIET, "triangle-down", "v"),
    TEST_PILE: VerdictMark(palette.INK, "diamond", "D"),
}
"""Colour and shape of a pile on the plan by its verdict; the shape alone distinguishes them in a grey print."""


@dataclass(frozen=True)
class GroupWords:
    """A group of the board in words.

    Parameters
    ----------
    name : str
        The group.
    answer : str
        What its piles come to, in a sentence.
    criterion : tuple of tuple of str
        Stroke and count, row by row; empty without a criterion.
    head : tuple of str
        Heads of those two columns.
    basis : str
        What the criterion rests on.
    cautions : tuple of str
        What to weigh, the gravest first.
    """

    name: str
    answer: str
    criterion: tuple[tuple[str, str], ...]
    head: tuple[str, ...]
    basis: str
    cautions: tuple[str, ...]


def group_words(group: GroupReview, system: str) -> GroupWords:
    """Say what a group of bearing piles comes to."""
    cautions = [told(caution, system).sentence for caution in group.cautions]
    if group.criterion is None:
        why = "" if group.problem is None else told(group.problem, system).sentence
        return GroupWords(group.group.name, f"No criterion. {sentence(why)}".strip(), (), (), "", tuple(cautions))
    held = inspectors_card(group.criterion, system)
    alerts = [f"Do not use yet: {told(alert, system).sentence}" for alert in group.criterion.alerts]
    rows = tuple((row.stroke, row.count) for row in held.rows)
    piles = ", ".join(group.criterion.piles or group.tests)
    basis = {
        "one test pile": f"based on test pile {piles}",
        "least favourable": f"the least favourable of {piles} governs",
        "pooled": f"{piles} agree within their ranges; the pooled count governs",
    }[group.basis]
    basis = ". ".join([basis, *(one.removesuffix(".") for one in chance_sentences(group.criterion, system))])
    return GroupWords(group.group.name, _counted(group), rows, tuple(held.head[:2]), basis, (*alerts, *cautions))


def _counted(group: GroupReview) -> str:
    if group.check is None:
        return "No production log is named."
    return f"{_count(len(group.check.piles))}: {_tally(_verdicts(group))}."


def _tally(verdicts: Sequence[str]) -> str:
    """Count verdicts in words; those that no pile has are left out, but for the accepted."""
    counts = Counter(verdicts)
    parts = [
        f"{counts[name]:,} {words}" for name, words in _VERDICT_WORDS.items() if counts[name] or name == "accepted"
    ]
    return ", ".join(parts)


def board_answer(review: StructureReview) -> tuple[str, ...]:
    """Give the first sentences about a structure: where test piles disagree, then the count of its piles."""
    system, told_first = review.display_units, []
    for group in review.groups:
        for caution in group.cautions:
            if caution.kind == DISAGREE:
                words = told(caution, system).sentence
                told_first.append(f"{group.group.name}: {words}.")
    verdicts = [one for group in review.groups if group.check is not None for one in _verdicts(group)]
    if verdicts:
        told_first.append(f"{_count(len(verdicts))} judged: {_tally(verdicts)}.")
    without = [group.group.name for group in review.groups if group.criterion is None]
    if without:
        told_first.append(f"No criterion for {', '.join(without)}.")
    missing = [record.problem for record in review.records if record.result is None]
    waiting = missing.count(NOT_REVIEWED)
    if waiting == len(review.records):
        return (f"None of the {waiting} test piles is reviewed yet.",)
    tested = f"{len(review.results)} of {len(review.records)} test piles reviewed"
    tested += f", {waiting} still to be reviewed" if waiting else ""
    told_first.append(f"{tested}, {len(missing) - waiting} failed." if len(missing) > waiting else f"{tested}.")
    return tuple(told_first)


def is_sound(review: StructureReview) -> bool:
    """Whether nothing needs attention: every group has a criterion and every pile is accepted."""
    groups = review.groups
    return (
        len(review.results) == len(review.records)
        and all(group.criterion is not None and not group.criterion.alerts and not group.cautions for group in groups)
        and all(group.check is None or set(_verdicts(group)) <= {"accepted"} for group in groups)
    )


def is_unusable(review: StructureReview) -> bool:
    """Whether a group has no criterion, one that must not be used yet, or test piles that disagree.

    Before any test pile is reviewed there is nothing to be used or not.
    """
    return bool(review.results) and any(
        group.criterion is None
        or bool(group.criterion.alerts)
        or any(caution.kind == DISAGREE for caution in group.cautions)
        for group in review.groups
    )


DISAGREE = "test piles disagree"
"""The caution that is said before all others."""

_VERDICT_WORDS = {
    "accepted": "accepted",
    "second look": "for a second look",
    "not met": "not met",
    "no counts": "without counts",
}


def _alerts(one: PileResult, system: str) -> str:
    """Say why a test pile has no criterion, and what forbids the use of its counts; a dash where nothing does."""
    held = one.criterion
    why = [held.problem] if held.criterion is None and held.problem is not None else []
    kept = held.criterion.alerts if held.criterion is not None else one.alerts
    return "; ".join(dict.fromkeys(told(each, system).sentence for each in (*why, *kept))) or "–"


def result_rows(review: StructureReview) -> pd.DataFrame:
    """Give the table of test piles as shown to a reader; one that failed says why."""
    system, rows = review.display_units, []
    for record in review.records:
        one = record.result
        if one is None:
            rows.append((record.sheet, "not reviewed", "–", "–", "–", record.problem))
            continue
        last = [drive for drive in one.drives if drive.resistance is not None][-1:]
        resistance = _resistance(last[0] if last else None, system)
        required = show_required(one.required_resistance, system)
        setup = _setup_words(one.setups[-1:])
        rows.append((one.pile, short_trust(one.trust), resistance, required, setup, _alerts(one, system)))
    return pd.DataFrame(
        rows, columns=["pile", "record", "last resistance", "required", "setup", "alerts"], dtype=object
    )


def odd_rows(group: GroupReview, system: str) -> pd.DataFrame:
    """Give every pile of a group that is not simply accepted, with its reason."""
    if group.check is None:
        return pd.DataFrame({"pile": [], "verdict": [], "because": []}, dtype=object)
    piles, second = group.check.piles, second_looks(group.check, system)
    told_apart = zip(piles["pile"], piles["status"], reasons(group.check, system), strict=True)
    because = []
    for pile, status, why in told_apart:
        more = second.get(pile, "")
        known = status in ACCEPTED or status == "no counts"  # the first needs no reason, the second has one of its own
        because.append(more if more and known else f"{why}; {more}" if more else why)
    rows = pd.DataFrame({"pile": piles["pile"], "verdict": _verdicts(group), "because": because})
    return rows[(rows["verdict"] != "accepted") | rows["pile"].isin(second.index)].reset_index(drop=True)


PLAN = ("pile", "group", "x", "y", "verdict", "odd", "because", "placed")
"""Columns of the plan."""

GRID_COLUMNS = 12
"""Piles in a row of the grid of piles without coordinates [1]."""


def plan(review: StructureReview) -> pd.DataFrame:
    """Give every bearing pile and test pile with its place on the plan and its verdict, columns as in `PLAN`.

    ``x`` and ``y`` are in display units. A pile without coordinates has its place in a grid by name, a row or more a
    group, and is not ``placed``. ``odd`` marks a pile with something unusual, ``because`` says why a pile has its
    verdict.
    """
    frames, row = [], 0
    for group in review.groups:
        frame = _piles_of(group, review.display_units)
        if frame.empty:
            continue
        frame["placed"] = frame[["x", "y"]].notna().all(axis=1)
        frame[["x", "y"]] = shown("penetration", frame[["x", "y"]].to_numpy(dtype=float), review.display_units)
        loose = frame.index[~frame["placed"]]
        order = sorted(loose, key=lambda place: _by_number(str(frame.at[place, "pile"])))
        for number, place in enumerate(order):
            frame.loc[place, ["x", "y"]] = (float(number % GRID_COLUMNS), -float(row + number // GRID_COLUMNS))
        row += 1 + (len(order) - 1) // GRID_COLUMNS if order else 0
        frames.append(frame)
    if not frames:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in PLAN})
    return pd.concat(frames, ignore_index=True)[list(PLAN)]


def _piles_of(group: GroupReview, system: str) -> pd.DataFrame:
    """Give the piles of a group with their verdicts, and their coordinates [m] where they have some."""
    table, marks = group.piles, []
    if group.check is not None:
        marks = group.check.piles["pile"].tolist()
    elif group.log is not None:
        marks = list(group.log.piles)
    marks = list(dict.fromkeys([*marks, *(() if table is None else table.pile)]))
    marks += [pile for pile in group.tests if marks and pile not in marks]
    frame = pd.DataFrame({"pile": marks, "group": group.group.name, "x": np.nan, "y": np.nan}).astype({"pile": object})
    if table is not None and table.x is not None and table.y is not None:
        places = pd.DataFrame({"x": table.x, "y": table.y}, index=list(table.pile))
        frame[["x", "y"]] = places.reindex(frame["pile"]).to_numpy()
    verdicts, why, odd = {}, {}, set()
    if group.check is not None:
        second = second_looks(group.check, system)
        verdicts = dict(zip(group.check.piles["pile"], _verdicts(group), strict=True))
        why = dict(zip(group.check.piles["pile"], reasons(group.check, system), strict=True))
        why |= {pile: f"{why[pile]}; {words}" if pile in why else words for pile, words in second.items()}
        odd = set(second.index)
    frame["verdict"] = [verdicts.get(pile, NOT_JUDGED) for pile in frame["pile"]]
    frame.loc[frame["pile"].isin(group.tests), "verdict"] = TEST_PILE
    frame["odd"] = frame["pile"].isin(odd)
    frame["because"] = [why.get(pile, "") for pile in frame["pile"]]
    return frame


def _by_number(mark: str) -> tuple:
    """Give the order of a pile's mark, its numbers as numbers.

    Examples
    --------
    >>> sorted(["P10", "P9"], key=_by_number)
    ['P9', 'P10']
    """
    return tuple((1, int(part), "") if part.isdigit() else (0, 0, part) for part in re.split(r"(\d+)", mark))


def _verdicts(group: GroupReview) -> list[str]:
    assert group.check is not None
    return shown_verdicts(group.check)


def setup_note(review: StructureReview) -> str:
    """Say what a figure of setup factors over time shows, and what it cannot."""
    words = ["Setup factor of all test piles."]
    if review.setups:
        words += [
            "Line: factor = 1 + A log10(t/t₀), with one rate A for all test piles in a soil.",
            "It starts with a factor of 1 at the reference time t₀, so it leaves out what was gained before t₀.",
            "Measured factors include that gain and may lie off the line.",
        ]
    if any(np.isfinite(setup.rate.next_low) for setup in review.setups):
        words.append("The band is the range for a pile that was not tested.")
    if not setup_points(review)["fitted"].all():
        early = f"driven within {SAME_TIME:g} t₀ of the initial drive" if review.setups else "driven too soon"
        words.append(f"Hollow marks give no line: {early}, not matched, or from a lower bound.")
    return " ".join(words)


def resistance_lines(results: tuple[PileResult, ...], system: str) -> pd.DataFrame:
    """Give maximum Case resistance against penetration of every test pile."""
    frames = [
        pd.DataFrame(
            {
                "pile": one.pile,
                title("penetration", system): shown("penetration", pd.Series(one.depth, dtype=float), system),
                title("case_resistance_maximum", system): shown(
                    "case_resistance_maximum", pd.Series(one.case_resistance, dtype=float), system
                ),
            }
        )
        for one in results
    ]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def pooled_words(review: StructureReview) -> tuple[str, ...]:
    """Say what the test piles give together: setup by soil, damping factor, hammer efficiency."""
    told_together = []
    for setup in review.setups:
        week = 7.0 * SECONDS_PER_DAY
        value, low, high = setup.factor(week)
        name = setup.soil or "soil that is not named"
        change = "Setup" if value >= 1.0 else "Relaxation"
        words = f"{change} in {name}, {_count(setup.rate.count)}: {value:.2f} after 7 days"
        if np.isfinite(low):
            few = "" if low > 0.0 else " (too few test piles for a useful range)"
            words += f"; {low:.2f} to {high:.2f} for a pile that was not tested{few}"
        told_together.append(f"{words}.")
    for label, found in (
        ("Case damping factor at the first peak", review.damping_factor),
        ("Hammer efficiency", review.efficiency),
    ):
        if found is not None:
            told_together.append(f"{label}, {_count(found.count)}: {found.value:.2f}{between_words(found)}.")
    return tuple(told_together)


def _count(piles: int) -> str:
    return "1 pile" if piles == 1 else f"{piles:,} piles"


def hammer_rows(review: StructureReview) -> pd.DataFrame:
    """Give what the hammers passed into the test piles in the order of driving, as shown to a reader."""
    system, rows = review.display_units, []
    stresses = {record.result.pile: record.row or {} for record in review.records if record.result is not None}
    for run in review.hammers:
        for pile in run.piles:
            drive = _end_of_driving(review, pile)
            row = stresses[pile]
            rows.append(
                (
                    pile,
                    _hammer(run, system),
                    f"{drive.start:%Y-%m-%d}" if drive.start else "–",
                    show("stroke", drive.stroke, system),
                    show("transferred_energy", drive.energy, system),
                    show("energy_ratio", drive.energy_ratio, system),
                    show("energy_ratio_stroke", drive.transfer_ratio, system),
                    _against(row, "compression_stress", "compression_stress_limit", system),
                    _against(row, "tension_stress", "tension_stress_limit", system),
                )
            )
    ratios = [NAMES[code].words for code in ("energy_ratio", "energy_ratio_stroke")]
    head = ["pile", "hammer", "driven", "stroke", "energy", *ratios]
    return pd.DataFrame(rows, columns=[*head, "maximum compression (limit)", "maximum tension (limit)"], dtype=object)


def _hammer(run: HammerRun, system: str) -> str:
    """Name a hammer by its kind and the weight of its ram."""
    return f"{run.kind}, ram {show_ram(run.ram_mass * STANDARD_GRAVITY, system)}"


def _end_of_driving(review: StructureReview, pile: str) -> DriveResistance:
    result = next(one for one in review.results if one.pile == pile)
    return [drive for drive in result.drives if drive.kind == "initial"][-1]


def _against(row: Mapping, code: str, limit: str, system: str) -> str:
    """Write a stress with its limit behind it; a stress above it says so."""
    value, most = row.get(code), row.get(limit)
    if value is None:
        return "–"
    if most is None:
        return show("peak_gauge_stress", float(value), system)
    words, allowed = show_stress(float(value), float(most), system)
    return f"{words} ({allowed})" + (", above the limit" if float(value) > float(most) else "")


def hammer_points(review: StructureReview) -> pd.DataFrame:
    """Give energy and stress from pile to pile, to be drawn: ``order`` and ``pile``, ``hammer``, ``ratio`` [%].

    ``stress`` is the largest compression as a share of its limit [1]; not a number where no limit is known.
    """
    rows, order = [], 0
    found = {record.result.pile: record.row or {} for record in review.records if record.result is not None}
    for run in review.hammers:
        for pile, ratio in zip(run.piles, run.ratios, strict=True):
            order += 1
            value, limit = (found[pile].get(code) for code in ("compression_stress", "compression_stress_limit"))
            share = float(value) / float(limit) if value is not None and limit else float("nan")
            told_ratio = float(shown("energy_ratio_stroke", ratio, review.display_units))
            rows.append((order, pile, _hammer(run, review.display_units), told_ratio, share))
    return pd.DataFrame(rows, columns=["order", "pile", "hammer", "ratio", "stress"])


def hammer_words(review: StructureReview) -> tuple[str, ...]:
    """Say of each hammer that struck several test piles whether it drifted."""
    lines = []
    for run in review.hammers:
        change = run.change
        if change is None or run.starts[0] is None:
            continue
        last = max(start for start in run.starts if start is not None)
        span = f"from {run.starts[0]:%Y-%m-%d} to {last:%Y-%m-%d}"
        share, low, high = (
            f"{'−' if one < 0.0 else '+'}{percent(abs(one))}" for one in (change.value, change.low, change.high)
        )
        said = f"{share} {span} ({low} to {high})"
        name = f"{run.kind[0].upper()}{run.kind[1:]} hammer, {_count(len(run.piles))}"
        if run.drifts:
            lines.append(f"{name}: transferred energy changed by {said}; check the hammer first.")
        else:
            lines.append(f"{name}: no significant change of transferred energy, {said}.")
    return tuple(lines)


def soil_profiles(results: tuple[PileResult, ...], system: str) -> pd.DataFrame:
    """Give the soil profile at each test pile that has one: ``pile``, ``top``, ``bottom``, ``soil`` and ``words``."""
    rows = [(one.pile, layer.top, layer.bottom, layer.soil, layer.words) for one in results for layer in one.layers]
    frame = pd.DataFrame(rows, columns=["pile", "top", "bottom", "soil", "words"])
    for end in ("top", "bottom"):
        frame[end] = shown("penetration", frame[end].to_numpy(dtype=float), system)
    return frame


def pair_rows(review: StructureReview, piles: Sequence[str]) -> pd.DataFrame:
    """Give test piles side by side, a column a pile: record, resistance by drive, setup, energy, stress, criterion."""
    system = review.display_units
    chosen = [next(one for one in review.results if one.pile == pile) for pile in piles]
    found = {record.result.pile: record.row or {} for record in review.records if record.result is not None}
    rows: list[tuple[str, ...]] = [("record", *(short_trust(one.trust) for one in chosen))]
    rows.append(("required", *(show_required(one.required_resistance, system) for one in chosen)))
    for name in dict.fromkeys(drive.drive for one in chosen for drive in one.drives):
        own = [next((drive for drive in one.drives if drive.drive == name), None) for one in chosen]
        words = name.replace("_", " ")
        rows.append((f"resistance, {words}", *(_resistance(drive, system) for drive in own)))
        case = ["–" if drive is None else show("case_resistance", drive.case_resistance, system) for drive in own]
        rows.append((f"maximum Case resistance, {words}", *case))
    rows.append(("setup", *(_setup_words(one.setups) for one in chosen)))
    ends = [[drive for drive in one.drives if drive.kind == "initial"][-1:] for one in chosen]
    for code, field in _OF_THE_HAMMER.items():
        cells = [show(code, getattr(end[0], field), system) if end else "–" for end in ends]
        rows.append((f"{NAMES[code].words}, end of driving", *cells))
    for head, code, limit in _STRESSES:
        rows.append((head, *(_against(found[one.pile], code, limit, system) for one in chosen)))
    rows.append(("alerts", *(_alerts(one, system) for one in chosen)))
    return pd.DataFrame(rows, columns=["", *piles], dtype=object)


_OF_THE_HAMMER = {
    "transferred_energy": "energy",
    "energy_ratio": "energy_ratio",
    "energy_ratio_stroke": "transfer_ratio",
    "stroke": "stroke",
}
_STRESSES = (
    ("maximum compression (limit)", "compression_stress", "compression_stress_limit"),
    ("maximum tension (limit)", "tension_stress", "tension_stress_limit"),
)


def _resistance(drive: DriveResistance | None, system: str) -> str:
    if drive is None or drive.resistance is None:
        return "–"
    found = drive.resistance
    ends = show_range(found.low, found.high, "matched_resistance", system)
    return f"{show('matched_resistance', found.value, system)} ({ends}){bound_mark(drive.lower_bound)}"


def _setup_words(points: Sequence[SetupPoint]) -> str:
    """Say what each wait changed; a dash where nothing was shown."""
    told = [f"{show_factor(one.factor)} after {show_wait(one.wait)}{bound_mark(one.lower_bound)}" for one in points]
    return "; ".join(told) or "–"


def pair_counts(review: StructureReview, piles: Sequence[str]) -> pd.DataFrame:
    """Give the counts that test piles require at each stroke, a column a pile."""
    system = review.display_units
    columns: dict[str, dict[str, str]] = {}
    for pile in piles:
        held = next(one for one in review.results if one.pile == pile).criterion.criterion
        if held is not None:
            card = inspectors_card(held, system)
            columns[f"{pile}, {card.head[1].replace(', at least', '')}"] = {row.stroke: row.count for row in card.rows}
    strokes = sorted({one for own in columns.values() for one in own}, key=lambda words: float(words.split()[0]))
    frame = pd.DataFrame({head: [own.get(one, "–") for one in strokes] for head, own in columns.items()})
    frame.insert(0, "stroke", strokes)
    return frame


def to_do(review: StructureReview) -> tuple[str, ...]:
    """Say what is still to do: test piles to mend, restrikes by date and wait, piles without counts."""
    lines = [f"{one.sheet}: {one.problem.rstrip('.')}." for one in review.records if one.result is None]
    for group in review.groups:
        name = group.group.name
        if group.criterion is None:
            lines.append(f"{name}: needs a criterion.")
        rule = None if group.criterion is None else group.criterion.restrike
        wait = None if rule is None else rule.wait
        due = group.due.assign(order=group.due["earliest"].replace("", "9999")).sort_values("order", kind="stable")
        waited = "" if wait is None else f", {show_wait(wait)} after driving"
        for earliest, rows in due.groupby(due["earliest"].astype(str), sort=False):
            unknown = waited or "; no test pile shows how long to wait"
            when = f" from {earliest!s} on{waited}" if earliest else unknown
            lines.append(f"{name}: restrike {', '.join(map(str, rows['pile']))}{when}.")
        if group.check is not None:
            lines += _to_decide(group)
            silent = group.check.piles.loc[group.check.piles["status"] == "no counts", "pile"]
            if len(silent):
                lines.append(f"{name}: no counts yet for {_some(silent.tolist())}.")
    return tuple(lines)


def _to_decide(group: GroupReview) -> list[str]:
    """Name the piles that the engineer has to decide on: those not met without a restrike ahead, and second looks."""
    assert group.check is not None
    piles = group.check.piles.assign(verdict=_verdicts(group))
    waiting = set(group.due["pile"])
    missed = [pile for pile in piles.loc[piles["verdict"] == "not met", "pile"] if pile not in waiting]
    second = piles.loc[piles["verdict"] == "second look", "pile"].tolist()
    name = group.group.name
    lines = [f"{name}: decide on {_some(missed)}, which did not meet the criterion."] if missed else []
    return lines + ([f"{name}: take a second look at {_some(second)}."] if second else [])


MOST_NAMED = 12
"""Piles named one by one in a sentence at most [1]; tables name them all."""


def _some(piles: list[str]) -> str:
    named = ", ".join(map(str, piles[:MOST_NAMED]))
    return named if len(piles) <= MOST_NAMED else f"{named} and {len(piles) - MOST_NAMED:,} more"


def pay_rows(review: StructureReview) -> pd.DataFrame:
    """Give the pay length of each group."""
    system, rows = review.display_units, []
    for group in review.groups:
        if group.check is None:
            continue
        known = group.check.piles["pay_length"].dropna()
        total = show("penetration", float(known.sum()), system) if len(known) else "–"
        rows.append((group.group.name, f"{len(group.check.piles):,}", f"{len(known):,}", total))
    return pd.DataFrame(rows, columns=["group", "piles", "with a known length", "pay length"], dtype=object)


MOST_TOLD = 40
"""Piles of a group told one by one on a terminal at most [1]."""


def structure_lines(review: StructureReview) -> list[str]:
    """Give the lines a terminal shows: each group's answer, the test piles that failed, and what is still to do."""
    lines = []
    for group in review.groups:
        words = group_words(group, review.display_units)
        lines += _wrap(f"{words.name}: {words.answer}")
        lines += [line for caution in words.cautions for line in _wrap(f"  ! {sentence(caution)}")]
        counted = words.head[1].replace(", at least", "") if words.criterion else ""
        lines += [f"  {stroke}: at least {count} {counted}" for stroke, count in words.criterion]
        lines += _wrap(f"  {sentence(words.basis)}") if words.basis else []
        odd = odd_rows(group, review.display_units)
        told_rows = odd.head(MOST_TOLD).to_numpy().tolist()
        lines += [line for pile, verdict, why in told_rows for line in _wrap(f"  - {pile}, {verdict}: {why}.")]
        if len(odd) > MOST_TOLD:
            lines.append(f"  - and {len(odd) - MOST_TOLD:,} more, all of them in structure.pdf")
    for words_of_all in (*pooled_words(review), *hammer_words(review), *to_do(review), GOVERNING_SPECIFICATION):
        lines += _wrap(words_of_all)
    return lines


def _wrap(words: str) -> list[str]:
    """Break a line of the terminal; what follows is indented by two more."""
    indent = " " * (2 + len(words) - len(words.lstrip()))
    return wrapped(words, rest=indent)
