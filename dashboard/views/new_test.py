"""The page for a new test: a test sheet from files, channels, pile, hammer, soil, requirement and log."""

import html
import tomllib
from dataclasses import replace
from pathlib import Path

import pandas as pd
import streamlit as st

from dyntest.errors import DyntestError, InputError
from dyntest.presenting import palette
from dyntest.presenting.inspection import RATES, words
from dyntest.reading.form import FormField, field_toml, form_fields
from dyntest.reading.wording import in_natural_order

from .. import draft as drafts
from .. import pages, pieces, state, uploads, work
from ..draft import Draft, DraftDrive

TITLES = {
    "test": "The job",
    "pile": "Pile",
    "hammer": "Hammer",
    "requirement": "Requirement",
    "soil": "Soil",
}

FIRST = {
    "test": ("project", "structure", "pile", "engineer", "display_units"),
    "pile": ("material", "section", "area", "length_below_gauges", "total_length", "yield_strength"),
    "hammer": ("kind", "ram_weight", "rated_energy", "minimum_stroke", "maximum_stroke"),
    "requirement": ("nominal_resistance", "minimum_penetration", "damping_factor"),
    "soil": ("shaft", "toe"),
}
"""Fields that are shown at once; the others are folded."""

ROWS = {
    "pile.part": (
        "Parts of a pile that is not uniform",
        "From the gauges down, one row each, with units; empty cells are as for the pile.",
    ),
    "soil.layer": ("Soil layers", "From the ground down, one row each; depths with units, such as 12 ft."),
}
"""Titles and notes of tables with several rows."""

RESTRIKE_START = "2026-05-09 09:00"
"""Example of the start of a restrike, some days after the initial drive of the blank sheet."""

EMPTY_LOG = 12
"""Empty rows of a typed log [1]; more can be added."""

MOST_NAMED = 400
"""Most files that a pattern may match [1]."""


def draw() -> None:
    """Draw the page."""
    draft = _draft()
    _begin(draft)
    _files(draft)
    if draft.mapping is not None:
        _channels(draft)
    for table in drafts.FILLED:
        _form(draft, table)
        if table in drafts.ROWS:
            _rows(draft, drafts.ROWS[table])
    _log(draft)
    _finish(draft)


def _draft() -> Draft:
    kept = st.session_state.get("new_test")
    if kept is None:
        kept = st.session_state["new_test"] = Draft()
    return kept


def _begin(draft: Draft) -> None:
    if draft.base is not None and draft.path is not None:
        named = f"{draft.path.parent.name}/{draft.path.name}"
        pieces.draw_answer([f"{named} is open in this form; its comments are kept."])
    else:
        pieces.draw_answer(
            ["Choose the recorder's files and fill in the form; it is saved as a test sheet, and the review opens."]
        )
    row = st.container(horizontal=True)
    row.button("Start a new sheet", key="new_clear", on_click=_clear)
    try:
        path = work.test().as_read.path
    except DyntestError:
        return
    row.button(f"Edit the open sheet ({path.parent.name})", key="new_change", on_click=_change, args=(path,))


def _clear() -> None:
    for key in [key for key in st.session_state if str(key).startswith("new_")]:
        st.session_state.pop(key)
    _show(Draft())


def _change(path: Path) -> None:
    _clear()
    st.session_state["new_test"] = changed = drafts.draft_of(path)
    _show(changed)


def _show(draft: Draft) -> None:
    """Make every field show the draft; a field that is only redrawn keeps what was typed."""
    for table in drafts.FILLED:
        for one in form_fields(table):
            value = draft.typed.get(table, {}).get(one.key, "")
            chosen = one.kind in ("choice", "flag")
            st.session_state[f"new_{table}_{one.key}"] = (value or None) if chosen else value


def _files(draft: Draft) -> None:
    """Offer the files of each drive, uploaded or on this computer."""
    if draft.base is not None:
        return
    pieces.draw_heading("Records")
    for number, drive in enumerate(draft.drives):
        title = "the initial drive" if drive.kind == "initial" else f"restrike {number}"
        left, right = st.columns(2)
        sent = left.file_uploader(f"Files of {title}", accept_multiple_files=True, key=f"new_files_{number}")
        named = right.text_input(
            f"Or files of {title} on this computer", placeholder="/data/P2-4/blow_*.txt", key=f"new_paths_{number}"
        )
        if drive.kind == "restrike":
            start = next(one for one in form_fields("drive") if one.key == "start")
            _fields(draft, "drive", (replace(start, example=RESTRIKE_START),), number)
        else:
            wanted = ("start", "end", "penetration_at_start", "first_blow")
            _fields(draft, "drive", tuple(one for one in form_fields("drive") if one.key in wanted), number)
        decimal = _decimal() if number == 0 else None
        mark = (tuple((one.file_id, one.size) for one in sent), named, decimal)
        if mark[:2] != ((), "") and st.session_state.get(f"new_seen_{number}") != mark:
            _take(draft, number, sent, named, decimal)
            st.session_state[f"new_seen_{number}"] = mark
        if drive.paths:
            shown = ", ".join(path.name for path in drive.paths[:4]) + (" …" if len(drive.paths) > 4 else "")
            pieces.draw_note(f"{len(drive.paths)} file{'s' if len(drive.paths) > 1 else ''}: {shown}")
    st.button(
        "Add a restrike",
        key="new_restrike",
        on_click=state.once("new_restrike", lambda: draft.drives.append(DraftDrive("restrike"))),
    )


def _decimal() -> str | None:
    """Offer the decimal mark of a text; it has to be said only where no number settles it."""
    return st.selectbox(
        "Decimal mark of a text",
        [",", "."],
        index=None,
        placeholder="found in the file",
        key="new_decimal",
        help="Choose it if a number such as 1,234 may be 1234 or 1.234.",
    )


def _take(draft: Draft, number: int, sent, named: str, decimal: str | None = None) -> None:
    if sent:
        if draft.folder is None:
            draft.folder = uploads.Folder()
        paths = in_natural_order(uploads.keep(sent, draft.folder))
    else:
        place = Path(named).expanduser()
        paths = in_natural_order(place.parent.glob(place.name))[:MOST_NAMED] if place.name else []
        if not paths:
            raise InputError(named, "", "matches no file", "write the path of a file, or a pattern such as blow_*.txt")
    draft.drives[number].paths = paths
    if number == 0:
        drafts.inspected(draft, paths, decimal)


def _channels(draft: Draft) -> None:
    """Offer the use of each channel; the first blow of each is drawn as it will be read."""
    found, mapping = draft.found, draft.mapping
    if found is None or mapping is None:
        return
    pieces.draw_heading("Channels")
    rate = "unknown" if found.sample_rate is None else f"{found.sample_rate:,.6g} Hz"
    told = f"{found.format[0].upper()}{found.format[1:]}, {found.n_samples:,} samples at {rate}"
    told += f" ({RATES[found.rate_reason.kind].format(text=found.rate_reason.text)})"
    pieces.draw_note(f"{told}. The use of each channel was guessed; correct it where needed.")
    left, right = st.columns([3, 2])
    with left:
        changed = st.data_editor(
            mapping,
            key="new_mapping",
            hide_index=True,
            width="stretch",
            disabled=["channel"],
            placeholder="",
            column_config={
                "use as": st.column_config.SelectboxColumn(options=drafts.uses(draft), required=True),
                "positive": st.column_config.SelectboxColumn(options=["compression", "tension", "down", "up", ""]),
                "factor": st.column_config.NumberColumn(format="%g"),
            },
        )
    current = Draft(drives=draft.drives, found=found, mapping=changed)
    with right:
        st.html("".join(_picture(name, line) for name, line in drafts.first_blows(current).items()))
    doubts = [
        f"{one.name or one.number}: {words(doubt)}" for one in found.channels for doubt in one.doubts if one.target
    ]
    doubts += [words(doubt) for doubt in found.doubts]
    for doubt in doubts:
        pieces.draw_note(f"Doubtful: {doubt}.")
    pieces.draw_note("Pairs on opposite faces: 1 and 2 are one pair, 3 and 4 the other.")
    st.session_state["new_mapped"] = changed


def _picture(name: str, line: list[float]) -> str:
    """Give the first blow of a channel as a small figure."""
    if not line:
        return f'<div class="dyntest-channel">{html.escape(name)}: no signal</div>'
    low, high = min(*line, 0.0), max(*line, 0.0)
    span = high - low or 1.0
    across, up = 232.0 / max(len(line) - 1, 1), 36.0 / span
    points = " ".join(f"{4 + across * k:.1f},{40 - up * (v - low):.1f}" for k, v in enumerate(line))
    zero = 40 + 36 * low / span
    drawn = f'<line x1="4" x2="236" y1="{zero:.1f}" y2="{zero:.1f}" stroke="{pages.colour(palette.QUIET)}"/>'
    drawn += f'<polyline points="{points}" fill="none" stroke="{pages.colour(palette.INK)}" stroke-width="1.5"/>'
    words = f"{name}, first blow, {min(line):,.4g} to {max(line):,.4g}"
    return f'<div class="dyntest-channel">{html.escape(name)}{pieces.small_drawing(drawn, 240, 44, words)}</div>'


def _form(draft: Draft, table: str) -> None:
    """Show a table of the sheet as a form, usual fields first; each is checked on leaving it."""
    pieces.draw_heading(TITLES[table])
    known = form_fields(table)
    first = tuple(one for key in FIRST[table] for one in known if one.key == key)
    others = tuple(one for one in known if one not in first)
    _fields(draft, table, first)
    with st.expander(f"More on the {TITLES[table].lower().removeprefix('the ')}"):
        _fields(draft, table, others)


def _rows(draft: Draft, table: str) -> None:
    """Offer a table for soil layers or parts of the pile, one row each."""
    words, note = ROWS[table]
    with st.expander(words, expanded=bool(draft.rows.get(table))):
        key = f"new_rows_{table}"
        begun = st.session_state.setdefault(f"{key}_begun", drafts.row_table(draft, table))
        columns = {}
        for one in form_fields(table):
            label = one.words + (" (required)" if one.required else "")
            if one.kind == "choice":
                columns[one.key] = st.column_config.SelectboxColumn(label, options=list(one.choices))
            else:
                columns[one.key] = st.column_config.TextColumn(label, help=one.example and f"such as {one.example}")
        changed = st.data_editor(
            begun, key=key, num_rows="dynamic", hide_index=True, width="stretch", column_config=columns, placeholder=""
        )
        st.session_state[f"{key}_now"] = drafts.rows_typed(changed)
        pieces.draw_note(note)


def _fields(draft: Draft, table: str, fields: tuple[FormField, ...], number: int | None = None) -> None:
    typed = draft.drives[number].typed if number is not None else draft.typed.setdefault(table, {})
    for start in range(0, len(fields), 3):  # row by row: a field of several lines moves the whole next row down
        columns = st.columns(3)
        for column, one in zip(columns, fields[start : start + 3], strict=False):
            with column:
                _field(one, f"new_{table}_{one.key}" + ("" if number is None else f"_{number}"), typed)


def _field(one: FormField, key: str, typed: dict[str, str]) -> None:
    needed = "required if a hammer is given" if one.table == "hammer" else "required"
    label = one.words + (f" ({needed})" if one.required else "")
    value = typed.get(one.key, "")
    if one.kind in ("choice", "flag"):
        options = list(one.choices or ("yes", "no"))
        if key not in st.session_state:
            first = "US" if (one.table, one.key) == ("test", "display_units") else None
            st.session_state[key] = value if value in options else first
        typed[one.key] = st.pills(label, options, key=key, help=one.remark or None, wrap=True) or ""
        return
    if key not in st.session_state:
        st.session_state[key] = value
    typed[one.key] = st.text_input(label, key=key, placeholder=one.example, help=one.remark or None)
    if typed[one.key].strip():
        try:
            field_toml(one, typed[one.key])
        except DyntestError as problem:
            st.html(f'<div class="dyntest-wrong" role="alert">{html.escape(str(problem))}</div>')


def _log(draft: Draft) -> None:
    """Offer the inspector's log: uploaded, typed, or pasted into a table."""
    pieces.draw_heading("Inspector's log")
    left, right = st.columns([1, 3])
    draft.unit = left.selectbox("Depths in", ["ft", "m"], index=["ft", "m"].index(draft.unit), key="new_log_unit")
    sent = right.file_uploader("The log as a workbook or text", key="new_log_file")
    if sent is not None and st.session_state.get("new_log_seen") != sent.file_id:
        folder = uploads.Folder()
        drafts.read_log(draft, uploads.keep([sent], folder)[0])
        st.session_state["new_log_seen"] = sent.file_id
    blank = pd.DataFrame(
        {
            **{name: pd.Series([None] * EMPTY_LOG, dtype="float") for name in drafts.LOG_COLUMNS[:4]},
            "remark": pd.Series([""] * EMPTY_LOG, dtype="string"),
        }
    )
    start = draft.log if draft.log is not None else blank
    columns = {name: st.column_config.NumberColumn(f"{name} [{draft.unit}]") for name in ("from", "to", "stroke")}
    changed = st.data_editor(
        start,
        key=f"new_log_{len(start)}",
        column_config=columns,
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        height=260,
        placeholder="",
    )
    st.session_state["new_logged"] = changed.dropna(subset=["to", "blows"])
    pieces.draw_note("Type it or paste it from a spreadsheet: one row per interval, from the top down.")


def _finish(draft: Draft) -> None:
    """List what is missing; then save the sheet beside the files, or offer it for download."""
    pieces.draw_heading("The sheet")
    whole = _as_typed(draft)
    missing = drafts.problems(whole)
    if missing:
        pieces.draw_list(missing)
    row = st.container(horizontal=True)
    folder = _home(whole)
    writing = row.button(
        "Save the sheet and open the review", key="new_write", type="primary", disabled=bool(missing) or folder is None
    )
    if not missing:
        text = drafts.draft_text(whole)
        row.download_button("Download the sheet", text, "sheet.toml", key="new_save", on_click="ignore")
        if whole.log is not None:
            counts = drafts.log_csv(whole)
            row.download_button("Download the log", counts, drafts.LOG_NAME, key="new_save_log", on_click="ignore")
    if folder is not None and draft.folder is None:
        pieces.draw_note(f"It will be saved in {folder}.")
    aside = drafts.kept_log(whole, folder) if folder is not None and not missing else ""
    if aside:
        pieces.draw_note(f"{drafts.LOG_NAME} already exists there; it will be renamed {aside}.")
    named = _log_of(draft)
    if whole.log is not None and named not in ("", drafts.LOG_NAME):
        pieces.draw_note(
            f"The sheet names {named} as its log. It will name {drafts.LOG_NAME} instead; {named} is not changed."
        )
    if writing and folder is not None and not missing:  # a press may arrive with a change that spoils the sheet
        path = drafts.write(whole, folder)
        kept = draft.folder
        state.open_sheet(path)
        if kept is not None:
            st.session_state["folder"] = kept
        _clear()
        st.session_state["go_to"] = "trust"
        st.rerun()


def _as_typed(draft: Draft) -> Draft:
    """Give the draft with the present tables of channels and log."""
    logged = st.session_state.get("new_logged")
    log = logged if logged is not None and len(logged) else None
    mapped = st.session_state.get("new_mapped", draft.mapping)
    rows = {table: st.session_state.get(f"new_rows_{table}_now", []) for table in drafts.ROWS.values()}
    return drafts.replace(draft, mapping=mapped, log=log, rows=rows)


def _log_of(draft: Draft) -> str:
    """Give the log that an edited sheet names for its first drive; empty if it names none."""
    table = tomllib.loads(draft.base or "").get("drive", [{}])[0]
    return str(table.get("log", ""))


def _home(draft: Draft) -> Path | None:
    """Give the folder for the sheet: that of the edited sheet, or the common folder of the files."""
    if draft.path is not None:
        return draft.path.parent
    folders = {path.parent for drive in draft.drives for path in drive.paths}
    return folders.pop() if len(folders) == 1 else None
