"""Tidy frames of the decisions: setup of a pile and of a structure, the criterion, and the bearing piles."""

from itertools import groupby

import numpy as np
import pandas as pd

from dyntest.decisions.bearing_piles import ACCEPTED, VERDICTS, BearingPileCheck
from dyntest.decisions.criterion import COUNTING, PRACTICAL_REFUSAL_SET, Criterion, blow_count, permitted_set
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.decisions.setup import SECONDS_PER_DAY, Setup
from dyntest.decisions.time_law import END_OF_DRIVING, RestrikeFade, TimeLaw, resistance_after
from dyntest.names import NAMES, display_unit, show
from dyntest.presenting.bearing_words import reasons, second_looks
from dyntest.presenting.frames import shown, title
from dyntest.presenting.frames_record import resistance_title
from dyntest.presenting.sentences import criterion_cells, criterion_heads
from dyntest.presenting.terms import bound_mark, drive_name, show_count, show_factor, show_wait
from dyntest.reading.production_log import PileTable, ProductionLog
from dyntest.reviewing.pile_result import PooledSetup, gives_rate
from dyntest.reviewing.structure import StructureReview

WAIT = "time since the end of the initial drive [days]"

NO_SOIL = "soil not named"
"""What stands for the soil along the shaft where the sheet does not name it."""

LINE_POINTS = 60
"""Points of the law's line [1]; it is straight over the logarithm of time."""

BEYOND = 3.0
"""How far past the last restrike the law's line is drawn [1], as a multiple of its wait."""


SHAFT = "shaft_resistance"
"""Basis of a time law through the shaft alone; a requirement, which is for shaft and toe, cannot be held against it."""


def law_title(law: TimeLaw, system: str) -> str:
    """Give the title of the axis of a time law."""
    return title(SHAFT, system) if law.basis == SHAFT else resistance_title(system)


def law_requirement(law: TimeLaw, required: float | None) -> float | None:
    """Give the required resistance that a time law can be held against; none where it is of the shaft alone [N]."""
    return None if law.basis == SHAFT else required


def measured_over_time(law: TimeLaw, system: str) -> pd.DataFrame:
    """Give the resistance of each drive at its time.

    Units: returns [days].
    """
    times = np.array(law.times) / SECONDS_PER_DAY
    numbers = {end: [getattr(one, end) for one in law.resistances] for end in ("value", "low", "high")}
    scaled = {end: shown("matched_resistance", values, system) for end, values in numbers.items()}
    kinds = ["initial" if time <= END_OF_DRIVING else "restrike" for time in law.times]
    return pd.DataFrame(
        {WAIT: times, law_title(law, system): scaled["value"], "low": scaled["low"], "high": scaled["high"]}
    ).assign(drive=kinds)


def law_over_time(law: TimeLaw, system: str) -> pd.DataFrame:
    """Give the line of a time law with its range.

    Units: returns [days].
    """
    last = max(law.times)
    times = np.union1d(np.geomspace(min(law.times), min(BEYOND * last, law.last_time), LINE_POINTS), last)
    found = resistance_after(law, times)
    ends = {end: shown("matched_resistance", getattr(found, end), system) for end in ("value", "low", "high")}
    frame = pd.DataFrame({WAIT: times / SECONDS_PER_DAY, law_title(law, system): ends["value"]})
    return frame.assign(low=ends["low"], high=ends["high"], measured=times <= last)


def fade_line(fade: RestrikeFade, first_blow: int, system: str) -> pd.DataFrame:
    """Give the line through the first blows of a restrike."""
    ends = shown("case_resistance", np.array([fade.first_resistance, fade.last_resistance]), system)
    return pd.DataFrame({"along": [first_blow, first_blow + fade.span - 1], "value": ends})


def setup_rows(setups: tuple[Setup, ...]) -> pd.DataFrame:
    """Give the setup factors as shown to a reader."""
    rows = []
    for setup in setups:
        row = {
            "restrike": f"{drive_name(setup.restrike)}{bound_mark(setup.restrike_bound)}",
            "waited": show_wait(setup.wait),
        }
        for code, factor in setup.factors.items():
            row[NAMES[code].words] = show_factor(factor)
        rows.append(row)
    return pd.DataFrame(rows).fillna("–")


ASKED, GRAPH, GATES = "required blow count", "bearing graph", "modified Gates formula, for comparison"
"""Lines of the chart: the required count, the bearing graph, and a public formula."""

RULED_OUT = "stroke ruled out"
"""Points of the chart at strokes that are not to be used."""


def count_title(system: str) -> str:
    """Give the title of an axis of blow counts.

    Examples
    --------
    >>> count_title("US"), count_title("SI")
    ('blows per inch', 'blows per 25 mm')
    """
    return f"blows per {'inch' if system == 'US' else '25 mm'}"


def criterion_lines(found: DrivingCriterion, system: str) -> pd.DataFrame:
    """Give the counts required at each stroke, the strokes that are ruled out, and the cautions."""
    usable = [row for row in found.rows if row.ruled_out is None]
    barred = [row for row in found.rows if row.ruled_out is not None]
    whole = [found.holding_length / row.count for row in usable]
    lines = {
        ASKED: (usable, whole),
        GRAPH: (found.rows, [row.set_per_blow for row in found.rows]),
        GATES: (found.rows, [row.gates_set for row in found.rows]),
        RULED_OUT: (barred, [row.set_per_blow for row in barred]),
    }
    parts = [
        _counts([row.stroke for row in rows], sets, system).assign(line=line) for line, (rows, sets) in lines.items()
    ]
    return pd.concat(parts, ignore_index=True)


def measured_counts(found: DrivingCriterion, system: str) -> pd.DataFrame:
    """Give the measured blows at the end of the initial drive."""
    return _counts(found.measured.stroke, found.measured.set_per_blow, system)


def _counts(stroke, set_per_blow, system: str) -> pd.DataFrame:
    """Give counts at strokes; a set of nothing has none."""
    with np.errstate(divide="ignore"):
        counts = blow_count(np.asarray(set_per_blow, dtype=float), COUNTING[system].length)
    frame = pd.DataFrame({title("stroke", system): shown("stroke", stroke, system), count_title(system): counts})
    return frame.loc[np.isfinite(frame.to_numpy()).all(axis=1)].reset_index(drop=True)


def refusal_count(found: DrivingCriterion, system: str) -> float:
    """Give the count at practical refusal."""
    refusal = PRACTICAL_REFUSAL_SET if found.criterion is None else found.criterion.refusal_set
    return float(blow_count(np.array(refusal), COUNTING[system].length))


def criterion_rows(found: DrivingCriterion, system: str) -> pd.DataFrame:
    """Give the table of the criterion as an inspector reads it; why strokes are not to be used stands apart."""
    cells = [criterion_cells(found, row, system)[:-1] for row in found.rows]
    return pd.DataFrame(cells, columns=criterion_heads(system)[:-1])


def ruled_out_lines(found: DrivingCriterion, system: str) -> list[str]:
    """Say why strokes of the table are not to be used, a line for neighbours with the same reason."""
    cells = [criterion_cells(found, row, system) for row in found.rows]
    lines = []
    for reason, group in groupby(cells, key=lambda row: row[-1]):
        strokes = [row[0] for row in group]
        if reason:
            which = strokes[0] if len(strokes) == 1 else f"{strokes[0]} to {strokes[-1]}"
            lines.append(f"Not to be used: {which}; {reason}.")
    return lines


def formula_rows(found: DrivingCriterion, system: str) -> pd.DataFrame:
    """Give the resistance of the measured blows by other methods."""
    rows = [("bearing graph, from the measured blows", found.graph_resistance, "calibrated to the matched blow")]
    rows += [(one.formula, one.resistance, one.source) for one in found.formulas]
    shown_rows = [(method, show("matched_resistance", value, system), source) for method, value, source in rows]
    return pd.DataFrame(shown_rows, columns=["method", "resistance", "source"])


ACCEPTED_VERDICT, SECOND_LOOK, NOT_MET = VERDICTS
NO_COUNTS, UNUSUAL = "no counts", "something unusual"
"""What a pile is shown as: the verdict on it, none without counts, and whether something is unusual."""


def count_met(verdict: str, status: str) -> str:
    """Give what a pile shows; one that meets its count and still needs a second look is not called accepted.

    Examples
    --------
    >>> count_met("second look", "accepted"), count_met("accepted", "accepted")
    ('count met', 'accepted')
    """
    return "count met" if verdict == SECOND_LOOK and status in ACCEPTED else status


def pile_depths(check: BearingPileCheck, system: str) -> pd.DataFrame:
    """Give how deep each pile stands, and where it first met the criterion."""
    piles = check.piles
    second = second_looks(check, system)
    return pd.DataFrame(
        {
            "pile": piles["pile"],
            title("penetration", system): shown("penetration", piles["penetration"], system),
            "met_at": shown("penetration", piles["met_at"], system),
            "verdict": shown_verdicts(check),
            "odd": piles["pile"].isin(second.index),
            "why": [second.get(pile, why) for pile, why in zip(piles["pile"], reasons(check, system), strict=True)],
        }
    )


def shown_verdicts(check: BearingPileCheck) -> list[str]:
    """Give the verdict on each pile as every page and paper shows it: one without counts is not judged at all."""
    piles = check.piles
    return np.where(piles["status"] == NO_COUNTS, NO_COUNTS, piles["verdict"]).tolist()


def pile_plan(check: BearingPileCheck, piles: PileTable | None, system: str) -> pd.DataFrame:
    """Give where each pile stands and what it shows, those without counts among them; empty where no place is given."""
    unit, factor, _ = display_unit("penetration", system)
    columns = [f"x [{unit}]", f"y [{unit}]", "pile", "shows", "odd", "why"]
    if piles is None or piles.x is None or piles.y is None or np.isnan(piles.x).all():
        return pd.DataFrame(columns=columns)
    depths = pile_depths(check, system).set_index("pile")
    shows = [str(depths["verdict"].get(mark, NO_COUNTS)) for mark in piles.pile]
    odd = [bool(depths["odd"].get(mark, False)) for mark in piles.pile]
    why = [str(depths["why"].get(mark, "not in the log")) for mark in piles.pile]
    values = (piles.x * factor, piles.y * factor, piles.pile, shows, odd, why)
    frame = pd.DataFrame(dict(zip(columns, values, strict=True)))
    return frame.dropna(subset=columns[:2]).reset_index(drop=True)


def setup_points(review: StructureReview) -> pd.DataFrame:
    """Give every measured setup factor: ``pile``, ``soil``, ``days``, ``factor``; ``fitted`` if a line rests on it."""
    lines = {setup.soil: setup for setup in review.setups}
    rows = [
        (
            one.pile,
            one.shaft_soil or NO_SOIL,
            point.wait / SECONDS_PER_DAY,
            point.factor.value,
            one.shaft_soil in lines and gives_rate(point, lines[one.shaft_soil].reference_time),
        )
        for one in review.results
        for point in one.setups
    ]
    return pd.DataFrame(rows, columns=["pile", "soil", "days", "factor", "fitted"]).astype({"fitted": bool})


def setup_starts(review: StructureReview) -> pd.DataFrame:
    """Give the reference time of the pooled lines of setup, each once: ``days``, and in ``words`` with its soils."""
    soils: dict[float, list[str]] = {}
    for setup in review.setups:
        soils.setdefault(setup.reference_time / SECONDS_PER_DAY, []).append(setup.soil or NO_SOIL)
    rows = [
        (days, f"t₀ = {days:g} day{'' if days == 1.0 else 's'}, {', '.join(names)}") for days, names in soils.items()
    ]
    return pd.DataFrame(rows, columns=["days", "words"])


def setup_band(setup: PooledSetup, longest: float) -> pd.DataFrame:
    """Give the pooled setup factor over time with its range for a pile that was not tested.

    Units: longest [days].
    """
    first = setup.reference_time / SECONDS_PER_DAY
    days = np.geomspace(first, max(longest, 2.0 * first), 40)
    values = np.array([setup.factor(day * SECONDS_PER_DAY) for day in days])
    return pd.DataFrame({"days": days, "factor": values[:, 0], "low": values[:, 1], "high": values[:, 2]})


def pile_counts(log: ProductionLog, criterion: Criterion, pile: str, system: str) -> pd.DataFrame:
    """Give the count of each interval of a pile's log, and the count that the criterion requires at its stroke."""
    own = log.of(pile)
    required = blow_count(permitted_set(criterion, own.stroke), COUNTING[system].length)
    with np.errstate(divide="ignore", invalid="ignore"):
        counted = blow_count((own.depth_to - own.depth_from) / own.blows, COUNTING[system].length)
    frame = pd.DataFrame(
        {
            "top": shown("penetration", own.depth_from, system),
            "bottom": shown("penetration", own.depth_to, system),
            "counted": counted,
            "required": required,
            "stroke": shown("stroke", own.stroke, system),
            "remark": own.remark,
        }
    )
    return frame[np.isfinite(frame["counted"])].reset_index(drop=True)


def bearing_rows(check: BearingPileCheck, system: str) -> pd.DataFrame:
    """Give the table of the bearing piles as shown to a reader: those not accepted first, then the unusual ones."""
    piles = check.piles
    second = second_looks(check, system)
    rows = pd.DataFrame(
        {
            "pile": piles["pile"],
            "verdict": shown_verdicts(check),
            "shows": [count_met(*both) for both in zip(piles["verdict"], piles["status"], strict=True)],
            "because": reasons(check, system),
            "unusual": [second.get(pile, "–") for pile in piles["pile"]],
            "toe at": [show("penetration", depth, system) for depth in piles["penetration"]],
            "at the end": [show_count(last, system) for last in piles["last_set"]],
            "stroke at the end": [show("stroke", last, system) for last in piles["last_stroke"]],
            "pay length": [show("penetration", length, system) for length in piles["pay_length"]],
        }
    )
    rank = rows["verdict"].map(
        dict(zip((NOT_MET, SECOND_LOOK, NO_COUNTS, ACCEPTED_VERDICT), range(0, 8, 2), strict=True))
    )
    kept = (rank + ~rows["pile"].isin(second.index)).sort_values(kind="stable").index
    return rows.loc[kept].reset_index(drop=True)
