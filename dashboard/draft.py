"""A test sheet being written on the page: its files, channels, fields and log, and the text of the sheet."""

import secrets
from dataclasses import dataclass, field, replace
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyntest.errors import DyntestError, InputError
from dyntest.presenting.inspection import sheet_with_mapping
from dyntest.reading.channel_guess import look_at_impact, numbers_of
from dyntest.reading.files import read_bytes, read_text, refuse_other_text, write_all
from dyntest.reading.form import (
    as_remarks,
    field_toml,
    form_fields,
    typed_rows,
    typed_values,
    with_values,
    without_tables,
)
from dyntest.reading.formats import open_records
from dyntest.reading.guess import Inspection, inspect_files
from dyntest.reading.log_layouts import guess_log_layout
from dyntest.reading.logs import read_driving_log
from dyntest.reading.parts import Channel
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals
from dyntest.units import unit_factor

FILLED = ("test", "pile", "hammer", "requirement", "soil")
"""Tables shown as fields."""

ROWS = {"pile": "pile.part", "soil": "soil.layer"}
"""Tables that may occur several times, one row each, by the table under which they are shown."""

LOG_NAME, SHEET_NAME = "driving_log.csv", "sheet.toml"

LOG_COLUMNS = ("from", "to", "blows", "stroke", "remark")
"""Columns of the table for typing or pasting a log."""

NOT_USED = "not used"
MARKS = ("time", "blow", "clock", "penetration")
SIGNS = {"strain": ("compression", "tension"), "acceleration": ("down", "up")}
"""Signs of a gauge; the first is positive in the program."""

MOST_POINTS = 240
"""Points drawn of a channel's first blow [1]."""


@dataclass
class DraftDrive:
    """One drive of a draft: its kind, files, start time and start depth, as typed."""

    kind: str
    paths: list[Path] = field(default_factory=list)
    typed: dict[str, str] = field(default_factory=dict)


@dataclass
class Draft:
    """Everything typed or chosen so far; `base` is the text of a sheet being changed."""

    folder: Any = None
    drives: list[DraftDrive] = field(default_factory=lambda: [DraftDrive("initial")])
    found: Inspection | None = None
    mapping: pd.DataFrame | None = None
    typed: dict[str, dict[str, str]] = field(default_factory=dict)
    rows: dict[str, list[dict[str, str]]] = field(default_factory=dict)
    log: pd.DataFrame | None = None
    unit: str = "ft"
    base: str | None = None
    path: Path | None = None


def draft_of(path: Path) -> Draft:
    """Give a draft of an existing sheet; unchanged parts stay byte for byte."""
    text = read_text(path)
    sheet = read_sheet(path)
    typed = {table: typed_values(text, table) for table in FILLED}
    rows = {table: typed_rows(text, table) for table in ROWS.values()}
    drives = [
        DraftDrive(one.kind, list(one.signals), typed_values(text, "drive", number))
        for number, one in enumerate(sheet.drives)
    ]
    unit = "ft" if sheet.display_units == "US" else "m"
    return Draft(drives=drives, typed=typed, rows=rows, base=text, path=path, unit=unit)


def row_table(draft: Draft, table: str) -> pd.DataFrame:
    """Give the rows of a table as edited on the page, one column per key, empty if nothing is typed."""
    keys = [one.key for one in form_fields(table)]
    rows = [{key: row.get(key, "") for key in keys} for row in draft.rows.get(table, [])]
    return pd.DataFrame(rows, columns=keys, dtype="string")


def rows_typed(table: pd.DataFrame) -> list[dict[str, str]]:
    """Give the values typed into such a table; empty rows are omitted.

    Examples
    --------
    >>> rows_typed(pd.DataFrame({"to": ["3 m", None], "soil": ["clay", ""]}))
    [{'to': '3 m', 'soil': 'clay'}]
    """
    found = []
    for row in table.fillna("").astype(str).to_dict("records"):
        kept = {str(key): text.strip() for key, text in row.items() if text.strip()}
        found += [kept] if kept else []
    return found


def inspected(draft: Draft, paths: list[Path], decimal: str | None = None) -> None:
    """Examine the files of the first drive, and fill in the probable use of each channel.

    `decimal` is the decimal mark where no number of the files settles it.
    """
    draft.drives[0].paths = paths
    draft.found = inspect_files(paths, decimal)
    rows = []
    for one in draft.found.channels:
        channel = one.channel or Channel(one.number)
        sign = channel.positive or SIGNS.get(one.role, ("",))[0]
        name = one.name or f"column {one.number}"
        rows.append((name, one.target or NOT_USED, channel.unit or "", float(channel.factor), sign))
    draft.mapping = pd.DataFrame(rows, columns=["channel", "use as", "unit", "factor", "positive"])


def uses(draft: Draft) -> list[str]:
    """Give the possible uses of a channel: two or four gauges of a kind, in pairs, and others."""
    gauges = [f"{kind}_{number}" for kind in ("strain", "acceleration") for number in (1, 2, 3, 4)]
    found = [] if draft.found is None else [one.target for one in draft.found.channels if one.target]
    return [NOT_USED, *dict.fromkeys([*gauges, *MARKS, *found])]


def first_blows(draft: Draft) -> dict[str, list[float]]:
    """Give the first blow of each channel with its factor and sign, thinned, by the channel's name."""
    if draft.found is None or draft.mapping is None:
        return {}
    contents = open_records(draft.drives[0].paths[0], draft.found.records)[0]
    drawn: dict[str, list[float]] = {}
    for place, row in enumerate(draft.mapping.itertuples(index=False)):
        values = numbers_of(contents, place)
        look = look_at_impact(values, draft.found.n_samples)
        if look.flat:
            drawn[str(row[0])] = []
            continue
        begin = max(0, look.start - 60)
        cut = look.blow[begin : begin + 1200]
        sign = -1.0 if row[4] in ("tension", "up") else 1.0
        step = max(1, len(cut) // MOST_POINTS)
        drawn[str(row[0])] = (sign * float(row[3]) * cut[::step]).tolist()
    return drawn


def problems(draft: Draft) -> list[str]:
    """List what is still missing or wrong, field by field."""
    told = []
    for table in FILLED:
        typed = draft.typed.get(table, {})
        for one in form_fields(table):
            text = typed.get(one.key, "")
            if text.strip():
                try:
                    field_toml(one, text)
                except DyntestError as problem:
                    told.append(str(problem))
            elif one.required and not (table == "hammer" and not any(typed.values())):
                told.append(f"{'The job' if table == 'test' else table.capitalize()}, {one.words}: missing.")
    for table in ROWS.values():
        told += _row_problems(draft, table)
    if draft.base is None:
        told += _mapping_problems(draft)
    return told


def _row_problems(draft: Draft, table: str) -> list[str]:
    told = []
    for number, row in enumerate(draft.rows.get(table, []), start=1):
        for one in form_fields(table):
            where = f"{table.replace('.', ' ')} {number}"
            if row.get(one.key):
                try:
                    field_toml(one, row[one.key])
                except DyntestError as problem:
                    told.append(f"{where}, {problem}")
            elif one.required:
                told.append(f"{where}, {one.words}: missing.")
    return told


def _mapping_problems(draft: Draft) -> list[str]:
    if draft.mapping is None:
        return ["Records: no file was chosen."]
    used = [use for use in draft.mapping["use as"] if use != NOT_USED]
    twice = sorted({use for use in used if used.count(use) > 1})
    told = [f"Channels: {use} is used twice." for use in twice]
    for kind in ("strain", "acceleration"):
        count = sum(use.startswith(kind) for use in used)
        if count not in (2, 4):
            told.append(f"Channels: {count} are used as {kind}; choose two or four, in pairs.")
    return told


def draft_text(draft: Draft, log: str = LOG_NAME) -> str:
    """Give the text of the sheet with its comments; an existing sheet keeps its own. `log` names a typed log."""
    text = draft.base if draft.base is not None else _new_text(draft)
    for table in FILLED:
        before = typed_values(text, table)
        typed = {key: value.strip() for key, value in draft.typed.get(table, {}).items()}
        values: dict[str, str | None] = {}
        for one in form_fields(table):
            wanted = typed.get(one.key, "")
            if wanted != before.get(one.key, ""):
                values[one.key] = field_toml(one, wanted) if wanted else None
        text = with_values(text, table, values)
    for table in ROWS.values():
        if draft.rows.get(table, []) != typed_rows(text, table):
            text = without_tables(text, table)
            fields = {one.key: one for one in form_fields(table)}
            for number, row in enumerate(draft.rows.get(table, [])):
                text = with_values(text, table, {key: field_toml(fields[key], row[key]) for key in row}, number)
    for number, drive in enumerate(draft.drives):
        text = _with_drive(text, draft, number, drive, log)
    return text


def _with_drive(text: str, draft: Draft, number: int, drive: DraftDrive, log: str) -> str:
    fields = {one.key: one for one in form_fields("drive")}
    known = typed_values(text, "drive", number) if text.count("[[drive]]") > number else {}
    typed = {"kind": drive.kind, **{key: value.strip() for key, value in drive.typed.items()}}
    values: dict[str, str | None] = {}
    for key, value in typed.items():
        if key in fields and value != known.get(key, ""):
            values[key] = field_toml(fields[key], value) if value else None
    if draft.base is None:
        names = [f'"{path.name}"' for path in drive.paths]
        values["signals"] = names[0] if len(names) == 1 else f"[{', '.join(names)}]"
    if number == 0 and draft.log is not None:
        values["log"] = f'"{log}"'
    return with_values(text, "drive", values, number)


def _new_text(draft: Draft) -> str:
    if draft.found is None or draft.mapping is None:
        raise InputError("new test", "records", "no file was chosen", "choose the files of the initial drive")
    channels: dict[str, Channel] = {}
    for place, row in enumerate(draft.mapping.itertuples(index=False)):
        use, unit, factor, positive = str(row[1]), str(row[2]).strip(), float(row[3]), str(row[4])
        if use == NOT_USED:
            continue
        kind = use.rpartition("_")[0]
        column = draft.found.channels[place].name or draft.found.channels[place].number
        guessed = draft.found.channels[place].channel
        column = guessed.column if guessed is not None else column
        signed: Any = positive if kind in SIGNS and positive in SIGNS[kind] else None
        channels[use] = Channel(column, unit or None, factor, signed)
    gauges = {kind: tuple(sorted(use for use in channels if use.startswith(kind))) for kind in SIGNS}
    records = replace(draft.found.records, channels=channels)
    found = replace(draft.found, records=records, strain=gauges["strain"], acceleration=gauges["acceleration"])
    text = sheet_with_mapping(found, [path.name for path in draft.drives[0].paths]).decode()
    for table in ("test", "pile", "hammer"):  # values in the blank sheet are examples
        typed = draft.typed.get(table, {})
        text = as_remarks(text, table, {key for key in typed_values(text, table) if not typed.get(key, "").strip()})
    if not any(value.strip() for value in draft.typed.get("hammer", {}).values()):
        text = text.replace("\n[hammer]\n", "\n# [hammer]\n", 1)
    return text


def read_log(draft: Draft, path: Path) -> None:
    """Read an inspector's log into the table, its columns guessed from their headers."""
    log = read_driving_log(path, guess_log_layout(path, draft.unit))
    factor = unit_factor(draft.unit, "length")
    draft.log = pd.DataFrame(
        {
            "from": np.round(log.depth_from / factor, 4),
            "to": np.round(log.depth_to / factor, 4),
            "blows": log.blows,
            "stroke": np.round(log.stroke / factor, 3),
            "remark": log.remark,
        }
    )


def log_csv(draft: Draft) -> bytes:
    """Give the typed log as a driving log; an interval without a top begins where the previous one ended."""
    if draft.log is None:
        return b""
    rows = draft.log.dropna(subset=["to", "blows"]).reset_index(drop=True)
    tops = rows["from"].fillna(rows["to"].shift())
    if len(rows) and tops.isna().any():
        problem = "has no start depth"
        raise InputError("driving log", f"row {int(tops.isna().argmax()) + 1}", problem, "fill in the column from")
    table = pd.DataFrame(
        {
            f"depth_from [{draft.unit}]": tops,
            f"depth_to [{draft.unit}]": rows["to"],
            "blows": rows["blows"].astype(int),
            f"stroke [{draft.unit}]": rows["stroke"],
            "remark": rows["remark"].fillna(""),
        }
    )
    if rows["stroke"].isna().all():
        table = table.drop(columns=f"stroke [{draft.unit}]")
    return table.to_csv(index=False).encode()


def kept_log(draft: Draft, folder: Path) -> str:
    """Give the new name of an existing driving log that would be overwritten; empty if there is none."""
    there = folder / LOG_NAME
    if draft.log is None or not there.is_file() or there.read_bytes() == log_csv(draft):
        return ""
    stem, _, ending = LOG_NAME.partition(".")
    return next(name for n in count(1) if not (folder / (name := f"{stem}_before_{n}.{ending}")).exists())


def write(draft: Draft, folder: Path) -> Path:
    """Write sheet and log into a folder if the whole test can be read, else nothing; give the path of the sheet.

    An existing driving log is renamed as in `kept_log`. A sheet that another program changed or created in the meantime
    is not replaced; `ChangedError` is raised.
    """
    name = draft.path.name if draft.path is not None else SHEET_NAME
    trial, trial_log = (f".{secrets.token_hex(4)}-{one}" for one in (name, LOG_NAME))
    text, there = draft_text(draft), folder / LOG_NAME
    log = None if draft.log is None else log_csv(draft)
    before = there.read_bytes() if there.is_file() else None
    aside = kept_log(draft, folder)
    tried = {trial: draft_text(draft, trial_log).encode(), **({} if log is None else {trial_log: log})}
    try:
        write_all(folder, tried)
        sheet = read_sheet(folder / trial)
        for drive in sheet.drives:
            read_signals(sheet, drive)
            if drive.log is not None:
                read_driving_log(drive.log, sheet.log_layout)
    except InputError as problem:
        said = (problem.source, problem.place, problem.problem, problem.cure)
        raise InputError(*(one.replace(trial, name).replace(trial_log, LOG_NAME) for one in said)) from problem
    finally:
        for one in tried:
            (folder / one).unlink(missing_ok=True)
    files = {name: text.encode()}
    read: dict[str, bytes | None] = {}
    if log is not None:
        files[LOG_NAME], read[LOG_NAME] = log, before
    if aside and before is not None:
        files[aside], read[aside] = before, None
    if draft.path is None:
        read[name] = None
    else:
        now = read_bytes(draft.path)
        refuse_other_text(draft.path, now, draft.base or "")
        read[name] = now
    return write_all(folder, files, read)[0]
