"""The board of a structure in words, pictures and files.

`structure.json`, tidy tables of piles, the plan as GeoJSON, and `structure.pdf`.
"""

import io
import json
from dataclasses import dataclass
from datetime import date
from math import isfinite
from typing import Any

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from dyntest.decisions.estimate import Pooled
from dyntest.decisions.setup import SECONDS_PER_DAY
from dyntest.names import show
from dyntest.presenting import palette
from dyntest.presenting.bearing_words import reasons, second_looks
from dyntest.presenting.criterion_words import inspectors_card
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION, show_factor, show_wait, told
from dyntest.presenting.figures import STYLE, finished
from dyntest.presenting.frames import shown, title
from dyntest.presenting.report import USUAL_PAPER
from dyntest.presenting.report.blocks import answer, heading, note, rows, text
from dyntest.presenting.report.blocks import picture as pictured
from dyntest.presenting.report.compose import page_data, typeset
from dyntest.presenting.summary import number
from dyntest.presenting.survey_files import survey_table
from dyntest.presenting.tables import plain_csv
from dyntest.reviewing.pile_result import PileResult
from dyntest.reviewing.structure import GroupReview, PooledSetup, StructureReview

VERDICT_MARKS = {"accepted": "o", "second look": "^", "not met": "X", "no counts": "s", "test pile": "D"}
"""Shape of a pile on the plan by its verdict, so that a grey print tells them apart."""


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
        return GroupWords(group.group.name, f"No criterion: {why}.", (), (), "", tuple(cautions))
    held = inspectors_card(group.criterion, system)
    alerts = [f"Do not use yet: {told(alert, system).sentence}" for alert in group.criterion.alerts]
    rows = tuple((row.stroke, row.count) for row in held.rows)
    piles = ", ".join(group.criterion.piles or group.tests)
    basis = {
        "one test pile": f"rests on test pile {piles}",
        "least favourable": f"the least favourable of {piles} governs",
        "pooled": f"{piles} agree within their ranges; the pooled count governs",
    }[group.basis]
    return GroupWords(group.group.name, _counted(group), rows, tuple(held.head[:2]), basis, (*alerts, *cautions))


def _counted(group: GroupReview) -> str:
    if group.check is None:
        return "No production log is named."
    verdicts = group.check.piles["verdict"].value_counts()
    parts = [f"{verdicts.get(name, 0)} {words}" for name, words in _VERDICT_WORDS.items()]
    return f"{len(group.check.piles)} piles: {', '.join(parts)}."


_VERDICT_WORDS = {"accepted": "accepted", "second look": "want a second look", "not met": "not met"}


def tested_rows(review: StructureReview) -> pd.DataFrame:
    """Give the table of test piles as a person reads it; one that failed says why."""
    system, rows = review.display_units, []
    for record in review.records:
        one = record.result
        if one is None:
            rows.append((record.sheet, "not reviewed", "–", "–", "–", record.problem))
            continue
        last = [drive for drive in one.drives if drive.resistance is not None][-1:]
        resistance = "–"
        if last and last[0].resistance is not None:
            found = last[0].resistance
            low, high = (show("matched_resistance", value, system) for value in (found.low, found.high))
            resistance = f"{show('matched_resistance', found.value, system)} ({low} to {high})"
        required = (
            "–" if one.required_resistance is None else show("matched_resistance", one.required_resistance, system)
        )
        setup = [f"{show_factor(point.factor)} after {show_wait(point.wait)}" for point in one.setups[-1:]]
        held = one.criterion
        alerts = [] if held.criterion is None else [told(alert, system).sentence for alert in held.criterion.alerts]
        if held.problem is not None and held.criterion is None:
            alerts = [told(held.problem, system).sentence]
        shown_setup = setup[0] if setup else "–"
        rows.append((one.pile, one.trust, resistance, required, shown_setup, "; ".join(alerts) or "–"))
    return pd.DataFrame(
        rows, columns=["pile", "record", "last resistance", "required", "setup", "alerts"], dtype=object
    )


def odd_rows(group: GroupReview, system: str) -> pd.DataFrame:
    """Give every pile of a group that is not simply accepted, with its reason."""
    if group.check is None:
        return pd.DataFrame({"pile": [], "verdict": [], "because": []}, dtype=object)
    piles, second = group.check.piles, second_looks(group.check, system)
    because = [second.get(pile, why) for pile, why in zip(piles["pile"], reasons(group.check, system), strict=True)]
    rows = pd.DataFrame({"pile": piles["pile"], "verdict": piles["verdict"], "because": because})
    return rows[(rows["verdict"] != "accepted") | rows["pile"].isin(second.index)].reset_index(drop=True)


def plan(review: StructureReview) -> pd.DataFrame:
    """Give the plan: ``pile``, ``group``, ``x``, ``y`` in display units, ``verdict``; piles without x are left out."""
    frames = []
    for group in review.groups:
        table = group.piles
        if table is None or table.x is None or table.y is None:
            continue
        frame = pd.DataFrame({"pile": table.pile, "group": group.group.name, "x": table.x, "y": table.y})
        verdicts = {} if group.check is None else dict(zip(group.check.piles["pile"], _verdicts(group), strict=True))
        frame["verdict"] = [verdicts.get(pile, "no counts") for pile in frame["pile"]]
        frame.loc[frame["pile"].isin(group.tests), "verdict"] = "test pile"
        frames.append(frame.dropna(subset=["x", "y"]))
    if not frames:
        return pd.DataFrame({name: [] for name in ("pile", "group", "x", "y", "verdict")})
    whole = pd.concat(frames, ignore_index=True)
    for name in ("x", "y"):
        whole[name] = shown("penetration", whole[name], review.display_units)
    return whole


def _verdicts(group: GroupReview) -> list[str]:
    assert group.check is not None
    piles = group.check.piles
    return np.where(piles["status"] == "no counts", "no counts", piles["verdict"]).tolist()


def setup_points(review: StructureReview) -> pd.DataFrame:
    """Give every measured setup factor: ``pile``, ``soil``, ``days`` and ``factor``."""
    rows = [
        (one.pile, one.shaft_soil or "soil not named", point.wait / SECONDS_PER_DAY, point.factor.value)
        for one in review.results
        for point in one.setups
    ]
    return pd.DataFrame(rows, columns=["pile", "soil", "days", "factor"])


def setup_band(setup: PooledSetup, longest: float) -> pd.DataFrame:
    """Give the pooled setup factor over time with its range for a pile that was not tested.

    Units: longest [days].
    """
    first = setup.reference_time / SECONDS_PER_DAY
    days = np.geomspace(first, max(longest, 2.0 * first), 40)
    values = np.array([setup.factor(day * SECONDS_PER_DAY) for day in days])
    return pd.DataFrame({"days": days, "factor": values[:, 0], "low": values[:, 1], "high": values[:, 2]})


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
    """Say what the test piles tell together: setup by soil, damping factor, hammer efficiency."""
    told_together = []
    for setup in review.setups:
        week = 7.0 * SECONDS_PER_DAY
        value, low, high = setup.factor(week)
        name = setup.soil or "soil that is not named"
        words = f"Setup in {name}, {_count(setup.rate)}: {value:.2f} after 7 days"
        if np.isfinite(low):
            words += f"; {low:.2f} to {high:.2f} for a pile that was not tested"
        told_together.append(f"{words}.")
    for label, found in (("Case damping factor", review.damping_factor), ("Hammer efficiency", review.efficiency)):
        if found is not None:
            between = f", {found.between:.2f} from pile to pile" if found.count > 1 else ""
            told_together.append(f"{label}, {_count(found)}: {found.value:.2f}{between}.")
    return tuple(told_together)


def _count(found: Pooled) -> str:
    return "1 pile" if found.count == 1 else f"{found.count} piles"


def to_do(review: StructureReview) -> tuple[str, ...]:
    """Say what is still to do: restrikes with their dates, and groups without a criterion."""
    lines = []
    for group in review.groups:
        for row in group.due.itertuples():
            when = f"not before {row.earliest!s}" if row.earliest else "after the wait of the test pile"
            lines.append(f"{group.group.name}: restrike {row.pile!s}, {when}.")
        if group.criterion is None:
            lines.append(f"{group.group.name}: needs a criterion.")
    return tuple(lines)


def pay_rows(review: StructureReview) -> pd.DataFrame:
    """Give the pay length of each group."""
    system, rows = review.display_units, []
    for group in review.groups:
        if group.check is None:
            continue
        known = group.check.piles["pay_length"].dropna()
        total = show("penetration", float(known.sum()), system) if len(known) else "–"
        rows.append((group.group.name, str(len(group.check.piles)), str(len(known)), total))
    return pd.DataFrame(rows, columns=["group", "piles", "with a known length", "pay length"], dtype=object)


FORMAT = 1
"""Raised when a reader of the files would have to change."""

PILE_UNITS = dict.fromkeys(
    ("penetration", "depth", "toe_elevation", "last_set", "last_stroke", "permitted", "met_at", "pay_length", "x", "y"),
    "m",
)
"""Unit of every column of the table of bearing piles that has one."""


def structure_files(review: StructureReview, *, today: date | None = None) -> dict[str, bytes]:
    """Give every file of a structure's review."""
    bearing = bearing_table(review)
    tested = survey_table(review.records)
    files = {
        "structure.json": _json(review),
        "test_piles.csv": plain_csv(tested, {}),
        "test_piles.parquet": _parquet(tested),
        "bearing_piles.csv": plain_csv(bearing, PILE_UNITS),
        "bearing_piles.parquet": _parquet(bearing),
        "structure.pdf": structure_pdf(review, today=today),
    }
    return files | ({"plan.geojson": _geojson(review, bearing)} if review.sheet.reference_system else {})


def bearing_table(review: StructureReview) -> pd.DataFrame:
    """Give one tidy table of all bearing piles, in SI, a row a pile, with its group and coordinates."""
    frames = [_bearing(group) for group in review.groups if group.check is not None]
    columns = ["group", "pile", "verdict", "status", "penetration", "depth", "toe_elevation", "blows", "last_set"]
    columns += ["last_stroke", "permitted", "met_at", "pay_length", "x", "y"]
    if not frames:
        return pd.DataFrame({name: pd.Series(dtype=float) for name in columns})
    return pd.concat(frames, ignore_index=True)[columns]


def _bearing(group: GroupReview) -> pd.DataFrame:
    assert group.check is not None
    table = group.check.piles.assign(group=group.group.name, x=np.nan, y=np.nan)
    if group.piles is not None and group.piles.x is not None and group.piles.y is not None:
        places = pd.DataFrame({"x": group.piles.x, "y": group.piles.y}, index=list(group.piles.pile))
        table[["x", "y"]] = places.reindex(table["pile"]).to_numpy()
    return table


def _parquet(table: pd.DataFrame) -> bytes:
    buffer = io.BytesIO()
    table.to_parquet(buffer, index=False, engine="pyarrow")
    return buffer.getvalue()


def _json(review: StructureReview) -> bytes:
    system = review.display_units
    content = {
        "format": FORMAT,
        "dyntest": review.version,
        "structure": review.sheet.name,
        "inputs": dict(review.inputs),
        "test_piles": [
            {"sheet": record.sheet, "pile": record.result.pile if record.result else None, "problem": record.problem}
            for record in review.records
        ],
        "setup": [
            {
                "soil": setup.soil,
                "piles": list(setup.piles),
                "reference_time_s": setup.reference_time,
                "rate": _pooled(setup.rate),
            }
            for setup in review.setups
        ],
        "damping_factor": _pooled(review.damping_factor),
        "efficiency": _pooled(review.efficiency),
        "groups": [_group(group, system) for group in review.groups],
        "to_do": list(to_do(review)),
        "reminder": GOVERNING_SPECIFICATION,
    }
    return (json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _group(group: GroupReview, system: str) -> dict[str, Any]:
    words = group_words(group, system)
    criterion = group.criterion
    return {
        "name": group.group.name,
        "tests": list(group.tests),
        "answer": words.answer,
        "cautions": list(words.cautions),
        "basis": group.basis,
        "criterion": None
        if criterion is None
        else {
            "required_resistance": number(criterion.required_resistance),
            "holding_length": number(criterion.holding_length),
            "minimum_penetration": number(criterion.minimum_penetration),
            "rows": [
                {"stroke": number(row.stroke), "set_per_blow": number(row.set_per_blow), "governing": row.pile}
                for row in criterion.rows
            ],
        },
        "piles": []
        if group.check is None
        else group.check.piles[["pile", "verdict", "status"]].astype(str).to_dict("records"),
        "due": group.due.astype(str).to_dict("records"),
    }


def _pooled(found: Pooled | None) -> dict[str, Any] | None:
    if found is None:
        return None
    names = ("value", "low", "high", "between", "next_low", "next_high", "agreement")
    return {"piles": found.count, **{name: _finite(getattr(found, name)) for name in names}}


def _finite(value: float) -> float | None:
    return float(value) if isfinite(value) else None


def _geojson(review: StructureReview, bearing: pd.DataFrame) -> bytes:
    """Give the plan as GeoJSON, coordinates [m] as the table of piles has them, in the system that the file names."""
    known = bearing.dropna(subset=["x", "y"])
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [row.x, row.y]},
            "properties": {"pile": row.pile, "group": row.group, "verdict": row.verdict, "status": row.status},
        }
        for row in known.itertuples()
    ]
    system = {"type": "name", "properties": {"name": review.sheet.reference_system}}
    content = {"type": "FeatureCollection", "crs": system, "features": features}
    return (json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def structure_pdf(review: StructureReview, *, today: date | None = None) -> bytes:
    """Give the board of a structure as PDF."""
    system, day = review.display_units, today or date.today()
    figures = board_figures(review)
    blocks: list[dict] = []
    for group in review.groups:
        words = group_words(group, system)
        blocks += [heading(words.name), answer(words.answer)]
        blocks += [text(caution[0].upper() + caution[1:] + ".") for caution in words.cautions]
        if words.criterion:
            strokes, counts = zip(*words.criterion, strict=True)
            blocks.append(
                rows(
                    ("stroke", *strokes),
                    [(words.head[1], *counts)],
                    [2.4] + [1] * len(strokes),
                    "l" * (1 + len(strokes)),
                )
            )
            blocks.append(note(words.basis[0].upper() + words.basis[1:] + "."))
    if "plan" in figures:
        blocks.append(pictured(CAPTIONS["plan"], "plan"))
    blocks += [heading("Still to do"), *(text(line) for line in to_do(review) or ("Nothing is open.",))]
    odd = [(group, odd_rows(group, system)) for group in review.groups]
    for group, table in odd:
        if len(table):
            blocks.append(heading(f"{group.group.name}: piles to look at"))
            blocks.append(rows(("Pile", "Verdict", "Because"), table.to_numpy().tolist(), [0, 0, 1], "lll"))
    head = ("Pile", "Record", "Last resistance", "Required", "Setup", "Alerts")
    blocks.append(heading("Test piles"))
    blocks.append(rows(head, tested_rows(review).to_numpy().tolist(), [0.5, 0.5, 1.3, 0.7, 1.1, 1.8], "llllll"))
    blocks += [text(words) for words in pooled_words(review)]
    blocks += [pictured(caption, name) for name, caption in CAPTIONS.items() if name in figures and name != "plan"]
    pay = pay_rows(review)
    if len(pay):
        blocks.append(heading("Pay lengths"))
        blocks.append(
            rows(("Group", "Piles", "With a known length", "Pay length"), pay.to_numpy().tolist(), [1] * 4, "llll")
        )
    blocks.append(note(GOVERNING_SPECIFICATION))
    data = page_data("", review.sheet.name, "", USUAL_PAPER[system], day, review.version)
    content = {**data, "title": review.sheet.name, "blocks": blocks}
    return typeset("structure.typ", content, figures, day)


CAPTIONS = {
    "plan": "Plan of piles: shape and colour give the verdict.",
    "setup": "Setup factor against time of all test piles; the band holds a pile that was not tested.",
    "depth": "Maximum Case resistance against penetration of the test piles.",
}
"""What is said under each figure of the board."""


def board_figures(review: StructureReview) -> dict[str, bytes]:
    """Draw the board's figures as SVG; one that would show nothing is left out."""
    drawn = {}
    places, points = plan(review), setup_points(review)
    lines = resistance_lines(review.results, review.display_units)
    with matplotlib.rc_context(STYLE):
        if len(places):
            drawn["plan"] = _plan_figure(places, "ft" if review.display_units == "US" else "m")
        if len(points):
            drawn["setup"] = _setup_figure(review, points)
        if len(lines):
            drawn["depth"] = _depth_figure(lines)
    return drawn


VERDICT_COLOURS = {
    "accepted": palette.ACCENT,
    "second look": "#d2691e",
    "not met": palette.WARNING,
    "no counts": palette.QUIET,
    "test pile": palette.INK,
}


def _plan_figure(places: pd.DataFrame, unit: str) -> bytes:
    figure = Figure(figsize=(7.0, 3.2))
    axes = figure.subplots()
    for verdict, marker in VERDICT_MARKS.items():
        some = places[places["verdict"] == verdict]
        if len(some):
            colour = VERDICT_COLOURS[verdict]
            axes.scatter(some["x"], some["y"], marker=marker, color=colour, s=46, label=f"{verdict} ({len(some)})")
    for row in places.itertuples():
        axes.annotate(str(row.pile), (row.x, row.y), (0, 6), textcoords="offset points", ha="center", fontsize=5.5)
    axes.set(xlabel=f"x [{unit}]", ylabel=f"y [{unit}]", aspect="equal")
    axes.margins(0.08, 0.15)
    axes.legend(
        loc="upper center",
        bbox_to_anchor=(0.5, 1.22),
        ncols=len(VERDICT_MARKS),
        frameon=False,
        fontsize=7,
        columnspacing=1.0,
    )
    return finished(figure, "Plan of piles", left=0.7)


def _setup_figure(review: StructureReview, points: pd.DataFrame) -> bytes:
    figure = Figure(figsize=(7.0, 3.0))
    axes = figure.subplots()
    longest = float(points["days"].max()) * 2.0
    for number_, setup in enumerate(review.setups):
        band = setup_band(setup, longest)
        axes.plot(band["days"], band["factor"], color=palette.INK, linestyle=("solid", "dashed", "dotted")[number_ % 3])
        if band["low"].notna().all():
            axes.fill_between(band["days"], band["low"], band["high"], color=palette.QUIET, alpha=0.25, linewidth=0)
    for place, (pile, own) in enumerate(points.groupby("pile", sort=False)):
        marker = palette.MARKERS[place % len(palette.MARKERS)]
        axes.plot(
            own["days"],
            own["factor"],
            marker,
            color=palette.DRIVES["restrike"],
            markeredgecolor=palette.INK,
            label=pile,
        )
    axes.axhline(1.0, color=palette.QUIET, linewidth=0.6)
    axes.set(xscale="log", xlabel="time since end of driving [days]", ylabel="setup factor")
    axes.legend(loc="upper left")
    return finished(figure, "Setup of all test piles", left=0.7)


def _depth_figure(lines: pd.DataFrame) -> bytes:
    figure = Figure(figsize=(7.0, 3.4))
    axes = figure.subplots()
    _, depth, resistance = lines.columns
    for place, (pile, own) in enumerate(lines.groupby("pile", sort=False)):
        style = ("solid", "dashed", "dotted", "dashdot")[place % 4]
        axes.plot(own[resistance], own[depth], color=palette.INK, linestyle=style, label=pile)
    axes.invert_yaxis()
    axes.set(xlabel=resistance, ylabel=depth)
    axes.legend(loc="upper right")
    return finished(figure, "Resistance against penetration", left=0.7)


def structure_lines(review: StructureReview) -> list[str]:
    """Give the lines a terminal shows: each group's answer, the test piles that failed, and what is still to do."""
    lines = []
    for group in review.groups:
        words = group_words(group, review.display_units)
        lines += [f"{words.name}: {words.answer}"]
        lines += [f"  ! {caution}." for caution in words.cautions]
        lines += [f"  {stroke}: {count} {words.head[1]}" for stroke, count in words.criterion]
        lines += [f"  {words.basis}."] if words.basis else []
        odd = odd_rows(group, review.display_units)
        lines += [f"  - {pile}, {verdict}: {why}" for pile, verdict, why in odd.to_numpy().tolist()]
    lines += [f"{record.sheet}: {record.problem}" for record in review.records if record.result is None]
    lines += [*pooled_words(review), *to_do(review), GOVERNING_SPECIFICATION]
    return lines
