"""What a survey and a structure leave behind.

A survey: one table of all test piles in three forms. A structure: `structure.json`, tidy tables of its piles, the plan
as GeoJSON, and the board on paper.
"""

import io
import json
from collections.abc import Sequence
from datetime import date
from math import isfinite
from typing import Any

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from dyntest import __version__
from dyntest.decisions.estimate import Pooled
from dyntest.names import show
from dyntest.presenting import palette
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION
from dyntest.presenting.figures import finished
from dyntest.presenting.frames import shown
from dyntest.presenting.frames_decisions import setup_band, setup_points, setup_starts
from dyntest.presenting.report import USUAL_PAPER
from dyntest.presenting.report.blocks import answer, heading, note, rows, text
from dyntest.presenting.report.blocks import picture as pictured
from dyntest.presenting.report.compose import page_data, typeset
from dyntest.presenting.structure_board import (
    VERDICT_MARKS,
    board_answer,
    group_words,
    hammer_points,
    hammer_rows,
    hammer_words,
    odd_rows,
    pay_rows,
    plan,
    pooled_words,
    resistance_lines,
    result_rows,
    setup_note,
    soil_profiles,
    to_do,
)
from dyntest.presenting.summary import number
from dyntest.presenting.tables import DIGITS, neutral, plain_csv
from dyntest.presenting.terms import drive_name, wrapped
from dyntest.reviewing.structure import GroupReview, StructureReview
from dyntest.reviewing.survey import COLUMNS, COUNTS, TEXTS, PileRecord, header

SURVEY_FORMAT = 2
"""Raised when a reader of the table of a survey would have to change."""


def survey_files(records: Sequence[PileRecord]) -> dict[str, bytes]:
    """Give the table of all piles as CSV, Parquet and JSON, the same bytes for the same piles."""
    table = survey_table(records)
    parquet = io.BytesIO()
    table.to_parquet(parquet, index=False, engine="pyarrow")
    written = table.copy()
    for column in (*TEXTS, "problem"):
        written[column] = [neutral(text) for text in table[column]]
    csv = written.to_csv(index=False, float_format=f"%.{DIGITS}g", lineterminator="\n")
    return {"piles.csv": csv.encode(), "piles.parquet": parquet.getvalue(), "piles.json": _survey_json(records)}


SHOWN = (
    ("end of driving", "initial_matched_resistance"),
    ("restrike", "restrike_matched_resistance"),
    ("setup factor", "setup_factor"),
    ("required at end of driving", "end_of_drive_target"),
)
"""Numbers of the table on the terminal, with their heads."""


def survey_lines(records: Sequence[PileRecord]) -> list[str]:
    """Give the table of all piles as a terminal shows it, with every alert below it; each pile in its own units."""
    done = [record for record in records if record.row is not None]
    if not done:
        return []
    named = [str(dict(record.row or {})["pile"]) for record in done]
    marks = [  # piles of one name, each in a sheet of its own
        f"{pile} ({record.sheet})" if named.count(pile) > 1 else pile for pile, record in zip(named, done, strict=True)
    ]
    cells = [("pile", "trusted", *(head for head, _ in SHOWN), "alerts")]
    for record, mark in zip(done, marks, strict=True):
        row = dict(record.row or {})
        numbers = [_shown(row.get(code), code, str(row.get("display_units") or "SI")) for _, code in SHOWN]
        alerts = [one for one in str(row.get("alerts") or "").split("; ") if one]
        cells.append((mark, str(row["trust"]), *numbers, f"{len(alerts) or '–'}"))
    wide = [max(len(cell) for cell in column) for column in zip(*cells, strict=True)]
    shown = ["  ".join(f"{cell:<{w}}" for cell, w in zip(line, wide, strict=True)).rstrip() for line in cells]
    for record, mark in zip(done, marks, strict=True):
        row = dict(record.row or {})
        bounds = [drive_name(one) for one in str(row.get("lower_bounds") or "").split("; ") if one]
        shown += wrapped(f"{mark}: LOWER BOUND: {', '.join(bounds)}", "  - ", "    ") if bounds else []
        for what, told in (("alerts", row.get("alerts")), ("no criterion", row.get("criterion_problem"))):
            if told:
                words = "; ".join(KIND_WORDS.get(kind, kind) for kind in str(told).split("; "))
                shown += wrapped(f"{mark}: {what}: {words}", "  - ", "    ")
    return shown


KIND_WORDS = {
    "no requirement": "the sheet requires no resistance",
    "no initial drive": "there is no initial drive",
    "no matched soil": "the end of driving was not matched",
    "no hammer": "the hammer is not given",
    "hammer data missing": "data of the hammer are missing",
    "hammer not calibrated": "the hammer could not be calibrated",
    "count and set disagree": "records and log have different numbers of blows",
    "Case against match": "Case and matched resistance disagree",
    "bearing graph against measured blows": "bearing graph and measured blows disagree",
    "computed set against the log": "computed set and log disagree",
    "match": "poor match",
    "hammer calibration": "the calibrated hammer does not fit the measured blow",
    "reduced section": "the match has a reduced section",
    "damage": "possible damage",
    "record": "the record cannot be trusted",
    "lower bound": "the resistance is a lower bound",
    "minimum penetration not tested": "the test pile ended far above the minimum penetration",
}
"""What is told of a test pile by its kind alone: a survey keeps no numbers of it."""


def _shown(value: str | float | None, code: str, system: str) -> str:
    number = float(value) if isinstance(value, int | float) else None
    return show("setup_factor" if code == "setup_factor" else "matched_resistance", number, system)


def survey_table(records: Sequence[PileRecord]) -> pd.DataFrame:
    """Give the table of all piles."""
    rows = [dict(record.row or {}) | {"sheet": record.sheet, "problem": record.problem} for record in records]
    columns = {}
    for column in COLUMNS:
        values = [row.get(column) for row in rows]
        if column in TEXTS:
            columns[header(column)] = pd.Series([value or "" for value in values], dtype=object)
        else:
            columns[header(column)] = pd.Series(values, dtype="Int64" if column in COUNTS else float)
    return pd.DataFrame(columns | {"problem": pd.Series([row["problem"] for row in rows], dtype=object)})


def _survey_json(records: Sequence[PileRecord]) -> bytes:
    units = {name: header(name).partition(" [")[2].rstrip("]") for name in COLUMNS if "[" in header(name)}
    return _as_json(
        {
            "format": SURVEY_FORMAT,
            "dyntest": __version__,
            "units": units,
            "piles": [dict(record.row) for record in records if record.row is not None],
            "failures": [{"sheet": r.sheet, "problem": r.problem} for r in records if r.row is None],
        }
    )


def _as_json(content: dict) -> bytes:
    return (json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


FORMAT = 1
"""Raised when a reader of the files would have to change."""

PILE_UNITS = dict.fromkeys(
    ("penetration", "depth", "toe_elevation", "last_set", "last_stroke", "permitted", "met_at", "pay_length", "x", "y"),
    "m",
)
"""Unit of every column of the table of bearing piles that has one."""


FILES = (
    "structure.json",
    "structure.pdf",
    "test_piles.csv",
    "test_piles.parquet",
    "bearing_piles.csv",
    "bearing_piles.parquet",
    "plan.geojson",
)
"""Names of all files that a structure's review may leave behind."""


def structure_files(review: StructureReview, *, today: date | None = None) -> dict[str, bytes]:
    """Give every file of a structure's review."""
    names = FILES if review.sheet.reference_system else FILES[:-1]
    return {name: structure_file(review, name, today=today) for name in names}


def structure_file(review: StructureReview, name: str, *, today: date | None = None) -> bytes:
    """Give one file of a structure's review, by its name of `FILES`."""
    if name == "structure.json":
        return _structure_json(review)
    if name == "structure.pdf":
        return structure_pdf(review, today=today)
    if name == "plan.geojson":
        return _geojson(review, bearing_table(review))
    tested = name.startswith("test_piles")
    table = survey_table(review.records) if tested else bearing_table(review)
    return _parquet(table) if name.endswith(".parquet") else plain_csv(table, {} if tested else PILE_UNITS)


def bearing_table(review: StructureReview) -> pd.DataFrame:
    """Give one tidy table of all bearing piles, in SI, a row per pile, with its group and coordinates."""
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


def _structure_json(review: StructureReview) -> bytes:
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
        "hammers": [
            {
                "kind": run.kind,
                "ram_mass_kg": number(run.ram_mass),
                "piles": list(run.piles),
                "transfer_ratios": [number(one) for one in run.ratios],
                "change": None if run.change is None else [run.change.value, run.change.low, run.change.high],
            }
            for run in review.hammers
        ],
        "groups": [_group(group, system) for group in review.groups],
        "to_do": list(to_do(review)),
        "reminder": GOVERNING_SPECIFICATION,
    }
    return _as_json(content)


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
    figures, captions = board_figures(review), _captions(review)
    blocks: list[dict] = [answer(words) for words in board_answer(review)]
    for group in review.groups:
        blocks += _group_blocks(group, system)
    plans = [name for name in ("plan", "grid") if name in figures]
    blocks += [pictured(captions[name], name) for name in plans]
    blocks += [heading("Still to do"), *(text(line) for line in to_do(review) or ("Nothing left to do.",))]
    odd = [(group, odd_rows(group, system)) for group in review.groups]
    for group, table in odd:
        if len(table):
            blocks.append(heading(f"{group.group.name}: piles to check"))
            blocks.append(rows(("Pile", "Verdict", "Because"), table.to_numpy().tolist(), [0, 0, 1], "lll"))
    head = ("Pile", "Trust", "Last resistance", "Required", "Setup", "Alerts")
    blocks.append(heading("Test piles"))
    blocks.append(rows(head, result_rows(review).to_numpy().tolist(), [0.5, 0.6, 1.1, 0.7, 1.1, 3.2], "llllll"))
    together = pooled_words(review)
    blocks += [heading("All test piles together"), *(text(words) for words in together)] if together else []
    blocks += [pictured(captions[name], name) for name in ("setup", "depth") if name in figures]
    struck = hammer_rows(review)
    if len(struck):
        blocks.append(heading("Hammer from pile to pile"))
        blocks += [text(words) for words in hammer_words(review)]
        widths = [0.6, 1.3, 0.8, 0.6, 0.8, 0.7, 0.8, 1.3, 1.3]
        blocks.append(rows([one.capitalize() for one in struck.columns], struck.to_numpy().tolist(), widths, "l" * 9))
        blocks += [pictured(captions["hammer"], "hammer")] if "hammer" in figures else []
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


def _group_blocks(group: GroupReview, system: str) -> list[dict]:
    """Give what the board says of a group: its answer, cautions, counts and their basis."""
    words = group_words(group, system)
    blocks = [heading(words.name), text(words.answer)]
    blocks += [text(caution[0].upper() + caution[1:] + ".") for caution in words.cautions]
    if words.criterion:
        strokes, counts = zip(*words.criterion, strict=True)
        widths = [2.4] + [1] * len(strokes)
        blocks.append(rows(("stroke", *strokes), [(words.head[1], *counts)], widths, "l" * len(widths)))
        blocks.append(note(words.basis[0].upper() + words.basis[1:] + "."))
    return blocks


CAPTIONS = {
    "plan": "Plan of piles: shape and colour give the verdict.",
    "grid": "Piles without coordinates, by name: shape and colour give the verdict.",
    "setup": "",
    "depth": "Maximum Case resistance against penetration of the test piles",
    "hammer": "Transferred energy and maximum compression stress of each test pile, in the order of driving.",
}
"""What is said under each figure of the board; `_captions` completes two of them."""


def _captions(review: StructureReview) -> dict[str, str]:
    """Give the captions, which name a band and the soil only where they are drawn."""
    layered = any(one.layers for one in review.results)
    more = {
        "setup": setup_note(review),
        "depth": ", and the soil at each." if layered else ".",
    }
    return {name: words + more.get(name, "") for name, words in CAPTIONS.items()}


MOST_MARKS = 150
"""Piles on a plan whose marks are written beside them at most [1]."""


def board_figures(review: StructureReview) -> dict[str, bytes]:
    """Draw the board's figures as SVG; one that would show nothing is left out."""
    system, drawn = review.display_units, {}
    places, points, struck = plan(review), setup_points(review), hammer_points(review)
    lines = resistance_lines(review.results, system)
    placed = places["placed"].astype(bool)
    with matplotlib.rc_context(palette.STYLE):
        if placed.any():
            drawn["plan"] = _plan_figure(places[placed], "ft" if system == "US" else "m")
        if (~placed).any():
            drawn["grid"] = _plan_figure(places[~placed], "")
        if len(points):
            drawn["setup"] = _setup_figure(review, points)
        if len(lines):
            drawn["depth"] = _depth_figure(lines, soil_profiles(review.results, system))
        if len(struck) > 1:
            drawn["hammer"] = _hammer_figure(struck)
    return drawn


def _plan_figure(places: pd.DataFrame, unit: str) -> bytes:
    """Draw piles at their places, or in a grid where there is no unit."""
    rows_of_grid = 0 if unit else places["y"].nunique()
    figure = Figure(figsize=(7.0, 3.2 if unit else 0.9 + 0.35 * rows_of_grid))
    axes = figure.subplots()
    size = 46 if len(places) <= MOST_MARKS else 12
    for verdict, mark in VERDICT_MARKS.items():
        some = places[places["verdict"] == verdict]
        if len(some):
            label = f"{verdict} ({len(some)})"
            axes.scatter(some["x"], some["y"], marker=mark.marker, color=mark.colour, s=size, label=label)
    if len(places) <= MOST_MARKS:
        for row in places.itertuples():
            at = (float(str(row.x)), float(str(row.y)))
            axes.annotate(str(row.pile), at, (0, 6), textcoords="offset points", ha="center", fontsize=5.5)
    if unit:
        wide, high = (float(places[name].max() - places[name].min()) for name in ("x", "y"))
        fits = 0.3 <= high / max(wide, 1e-9) <= 1.2  # else marks would lie on each other
        axes.set(xlabel=f"x [{unit}]", ylabel=f"y [{unit}]", aspect="equal" if fits else "auto")
    else:
        axes.set_axis_off()
    axes.margins(0.08, 0.15)
    across = {"ncols": len(VERDICT_MARKS), "columnspacing": 1.0, "handletextpad": 0.2}  # one row, below the heading
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.02), frameon=False, fontsize=7, **across)
    return finished(figure, "Plan of piles" if unit else "Piles without coordinates", left=0.7, top=0.55)


MOST_NAMED_LINES = 12
"""Test piles that a legend names at most [1]."""


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
        marker, known = palette.MARKERS[place % len(palette.MARKERS)], str(pile)
        for fitted, face in ((True, palette.DRIVES["restrike"]), (False, "white")):
            some = own[own["fitted"] == fitted]
            if len(some):
                axes.plot(some["days"], some["factor"], marker, color=face, markeredgecolor=palette.INK, label=known)
                known = ""  # the legend names a pile once
    for _, start in setup_starts(review).iterrows():
        axes.axvline(start["days"], color=palette.QUIET, linestyle="dashdot", linewidth=0.9)
        axes.annotate(start["words"], (start["days"], 0.02), xycoords=("data", "axes fraction"), xytext=(3, 0),
                      textcoords="offset points", va="bottom", color=palette.INK, fontsize=6.5)  # fmt: skip
    axes.axhline(1.0, color=palette.QUIET, linewidth=0.6)
    axes.set(xscale="log", xlabel="time since end of driving [days]", ylabel="setup factor")
    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda days, _: f"{days:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())
    if points["pile"].nunique() <= MOST_NAMED_LINES:
        axes.legend(loc="best")
    return finished(figure, "Setup of all test piles", left=0.7)


SOIL_HATCHES = {"sand": "....", "silt": "----", "clay": "////", "rock": "xxxx"}
"""Hatch of a soil in the profile beside the resistance."""


def _depth_figure(lines: pd.DataFrame, layers: pd.DataFrame) -> bytes:
    piles = layers["pile"].unique().tolist()
    figure = Figure(figsize=(7.0, 3.4))
    widths = [6.0, *([0.55] * len(piles))]
    axes, *strips = figure.subplots(1, len(widths), sharey=True, squeeze=False, width_ratios=widths)[0]
    _, depth, resistance = lines.columns
    for place, (pile, own) in enumerate(lines.groupby("pile", sort=False)):
        style = ("solid", "dashed", "dotted", "dashdot")[place % 4]
        colour = (palette.INK, palette.DRIVES["restrike"], palette.WARNING)[place // 4 % 3]
        axes.plot(own[resistance], own[depth], color=colour, linestyle=style, label=pile)
    axes.invert_yaxis()
    axes.set(xlabel=resistance, ylabel=depth)
    if lines["pile"].nunique() <= MOST_NAMED_LINES:
        axes.legend(loc="upper right")
    deepest = float(lines[depth].max())
    for strip, pile in zip(strips, piles, strict=True):
        for layer in layers[layers["pile"] == pile].itertuples():
            top, bottom = float(str(layer.top)), min(float(str(layer.bottom)), deepest)
            if top < deepest:
                hatch = SOIL_HATCHES.get(str(layer.soil), "")
                strip.bar(0, bottom - top, 1.0, top, color="white", edgecolor=palette.QUIET, hatch=hatch, linewidth=0.4)
                strip.text(0, 0.5 * (top + bottom), str(layer.soil), ha="center", va="center", fontsize=6, rotation=90,
                           bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6})  # fmt: skip
        strip.set_title(pile, fontsize=6.5)
        strip.set_xticks([])
        strip.tick_params(left=False, labelleft=False)
    return finished(figure, "Resistance against penetration", left=0.7)


def _hammer_figure(struck: pd.DataFrame) -> bytes:
    figure = Figure(figsize=(7.0, 2.6))
    both = figure.subplots(1, 2)
    for axes, column, label in (
        (both[0], "ratio", "energy / (ram weight × stroke) [%]"),
        (both[1], "stress", "maximum compression / limit"),
    ):
        least = float(shown("energy_ratio_stroke", 0.9, "SI")) if column == "ratio" else 0.9
        for place, (hammer, own) in enumerate(struck.groupby("hammer", sort=False)):
            style, marker = ("-", "--", ":")[place % 3], palette.MARKERS[place % len(palette.MARKERS)]
            axes.plot(own["order"], own[column], style, marker=marker, color=palette.INK, label=hammer)
        axes.set(xlabel="test pile", ylabel=label, ylim=(0.0, 1.15 * np.nanmax([struck[column].max(), least])))
        named = struck if len(struck) <= 12 else struck.iloc[:: 1 + len(struck) // 12]
        axes.set_xticks(named["order"], named["pile"], fontsize=6.5)
    both[1].axhline(1.0, color=palette.WARNING, linestyle="dashdot", linewidth=0.9)
    edge = {"xycoords": ("axes fraction", "data"), "textcoords": "offset points", "xytext": (-2, 2), "ha": "right"}
    both[1].annotate("limit", (1.0, 1.0), color=palette.WARNING, fontsize=6.5, **edge)
    both[0].legend(loc="lower right", fontsize=6.5)
    figure.subplots_adjust(wspace=0.3)
    return finished(figure, "Hammer from pile to pile", left=0.7, spread=False)
