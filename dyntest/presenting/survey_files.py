"""What a survey leaves behind: one table of all piles in three forms, and a small JSON for each pile that is done."""

import contextlib
import hashlib
import io
import json
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from dyntest import __version__
from dyntest.names import show
from dyntest.presenting.tables import DIGITS, neutral
from dyntest.reading.files import write_all
from dyntest.reviewing.pile_result import as_plain, from_plain
from dyntest.reviewing.survey import COLUMNS, COUNTS, NUMBERS, TEXTS, PileRecord, header

FORMAT = 2
"""Raised when a reader of the files would have to change; a pile kept in another format is done again."""

KEPT = "piles"
"""Folder of the small files, in the folder of the results."""

_NAME_CHARACTERS = 60


def survey_files(records: Sequence[PileRecord]) -> dict[str, bytes]:
    """Give the table of all piles as CSV, Parquet and JSON, the same bytes for the same piles."""
    table = survey_table(records)
    parquet = io.BytesIO()
    table.to_parquet(parquet, index=False, engine="pyarrow")
    written = table.copy()
    for column in (*TEXTS, "problem"):
        written[column] = [neutral(text) for text in table[column]]
    csv = written.to_csv(index=False, float_format=f"%.{DIGITS}g", lineterminator="\n")
    return {"piles.csv": csv.encode(), "piles.parquet": parquet.getvalue(), "piles.json": _as_json(records)}


WIDTH = 100
"""Columns of a line on the terminal at most [1]."""

SHOWN = (
    ("end of driving", "initial_matched_resistance"),
    ("restrike", "restrike_matched_resistance"),
    ("setup", "setup_factor"),
    ("at end of drive", "end_of_drive_target"),
)
"""Numbers of the table on the terminal, with their heads."""


def survey_lines(records: Sequence[PileRecord]) -> list[str]:
    """Give the table of all piles as a terminal shows it, with every alert below it; each pile in its own units."""
    done = [record for record in records if record.row is not None]
    if not done:
        return []
    cells = [("pile", "record", *(head for head, _ in SHOWN), "alerts")]
    for record in done:
        row = dict(record.row or {})
        numbers = [_shown(row.get(code), code, str(row.get("display_units") or "SI")) for _, code in SHOWN]
        alerts = [text for text in str(row.get("alerts") or "").split("; ") if text]
        cells.append((str(row["pile"]), str(row["trust"]), *numbers, f"{len(alerts) or '–'}"))
    wide = [max(len(cell) for cell in column) for column in zip(*cells, strict=True)]
    shown = ["  ".join(f"{cell:<{w}}" for cell, w in zip(line, wide, strict=True)).rstrip() for line in cells]
    for record in done:
        row = dict(record.row or {})
        for text in (row.get("alerts"), row.get("criterion_problem")):
            if text:
                words = f"{row['pile']}: {text}"
                shown += textwrap.wrap(words, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return shown


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


def keep_record(directory: Path, record: PileRecord) -> None:
    """Write the small JSON of a pile that is done, whole."""
    kept = {
        "format": FORMAT,
        "sheet": record.sheet,
        "inputs": dict(record.inputs),
        "match": record.match,
        "dyntest": record.version,
        "row": dict(record.row or {}),
        "result": None if record.result is None else as_plain(record.result),
    }
    write_all(directory, {_kept_name(record.sheet): (json.dumps(kept, indent=1) + "\n").encode()})


def kept_records(directory: Path, sheets: Iterable[str]) -> dict[str, PileRecord]:
    """Give what an earlier survey kept; a file that is damaged or of another format is as if it were not there."""
    found = {}
    for sheet in sheets:
        with contextlib.suppress(OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
            text = (directory / _kept_name(sheet)).read_text(encoding="utf-8")
            kept = json.loads(text)  # numbers that are none stand in results
            if kept["format"] == FORMAT and kept["sheet"] == sheet and _whole(kept["row"]):
                inputs = {str(name): str(digest) for name, digest in kept["inputs"].items()}
                result = None if kept["result"] is None else from_plain(kept["result"])
                found[sheet] = PileRecord(sheet, inputs, kept["match"], kept["dyntest"], kept["row"], "", result)
    return found


def _whole(row: dict) -> bool:
    """Whether a kept row has every column, each of its kind."""
    kinds: list[tuple[Any, Any]] = [(TEXTS, str), (COUNTS, int), (NUMBERS, (int, float, type(None)))]
    return set(row) == set(COLUMNS) and all(
        isinstance(row[name], kind) and row[name] == row[name] for names, kind in kinds for name in names
    )


def _kept_name(sheet: str) -> str:
    """Give a name that any file system takes and no two sheets share."""
    plain = "".join(character if character.isascii() and character.isalnum() else "_" for character in sheet)
    return f"{KEPT}/{plain[-_NAME_CHARACTERS:]}.{hashlib.sha256(sheet.encode()).hexdigest()[:12]}.json"


def _as_json(records: Sequence[PileRecord]) -> bytes:
    units = {name: header(name).partition(" [")[2].rstrip("]") for name in COLUMNS if "[" in header(name)}
    return _json(
        {
            "format": FORMAT,
            "dyntest": __version__,
            "units": units,
            "piles": [dict(record.row) for record in records if record.row is not None],
            "failures": [{"sheet": r.sheet, "problem": r.problem} for r in records if r.row is None],
        }
    )


def _json(content: dict) -> bytes:
    return (json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()
