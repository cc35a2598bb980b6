"""The page for use at the rig: the last blow, the status of the drive, and the depth as it is called out.

It reads only what ``dyntest follow`` saves.
"""

import html
from datetime import datetime
from pathlib import Path

import altair as alt
import pandas as pd
import streamlit as st

from dyntest.decisions.stress_limits import driving_stress_limits
from dyntest.errors import InputError
from dyntest.following.depth import STEPS, correct_mark, enter_mark, enter_remark, intervals_of, marks_of, remarks_of
from dyntest.following.record import FOLDER, Kept, last_blow, state_of
from dyntest.following.standing import standing
from dyntest.names import display_unit, show, show_required
from dyntest.presenting import palette
from dyntest.presenting.live_words import (
    alarm_sentences,
    damping_sentence,
    damping_words,
    holding_sentence,
    live_profile_frames,
    live_record_frame,
    note_sentence,
    profile_note,
    silent_sentence,
    stress_words,
    trust_words,
    unit_of,
)
from dyntest.presenting.terms import bound_mark
from dyntest.reading.sheet import read_sheet

from .. import pages, pieces, state, uploads
from ..charts import DASHES, axis, finish, layered, line_legend
from ..charts import draw as draw_chart

EVERY = 0.5
"""Interval at which the saved files are read [s]."""

SHOWN_NOTES = 3
"""Most notes on the recorder's files shown [1]; the newest first."""

BIG = """<style>
  .live-top { display: grid; gap: 0.6rem;
              grid-template-columns: repeat(auto-fit, minmax(max(9.5rem, calc(25%% - 0.6rem)), 1fr)); }
  .live-tile { border: 1px solid %(line)s; border-radius: 0.4rem; padding: 0.35rem 0.8rem 0.5rem; }
  .live-tile.bad { border: 4px solid %(warning)s; } .live-tile.care { border: 3px dashed %(care)s; }
  .live-tile .name { font-size: 1.05rem; color: %(quiet)s; }
  .live-tile .value { font-size: 2.5rem; font-weight: 650; line-height: 1.1; color: %(ink)s; white-space: nowrap;
                      font-variant-numeric: tabular-nums; }
  .live-tile .more { font-size: 1.1rem; line-height: 1.25; color: %(ink)s; overflow-wrap: anywhere; }
  .live-alarm { background: %(warning)s; color: #fff; border-radius: 0.4rem; padding: 0.5rem 1rem; font-size: 1.9rem;
                font-weight: 700; line-height: 1.25; }
  .live-alarm p { margin: 0 0 0.2rem; font-size: 1.9rem; font-weight: 700; }
  .dyntest-answer p { font-size: 1.45rem; line-height: 1.3; }
</style>"""


@st.cache_resource(max_entries=8, show_spinner=False)
def _kept(folder: str, begun: int) -> Kept:
    return Kept(Path(folder))


@st.cache_resource(max_entries=8, show_spinner=False)
def _standing(folder: str, counts: tuple[int, ...], drive: str, _sheet, _kept: Kept):
    return standing(_sheet, drive, _kept, driving_stress_limits(_sheet.pile, _sheet.requirement))


@st.cache_resource(max_entries=4, show_spinner=False)
def _sheet(path: str, changed: int):
    return read_sheet(path, recorded=False)


def _followed(sheet) -> list[str]:
    """Give the drives that are or were followed, the latest first."""
    folder = sheet.path.parent / FOLDER
    beats = {one.name: state_of(folder / one.name).get("beat", "") for one in sheet.drives}
    return sorted((name for name, beat in beats.items() if beat), key=lambda name: beats[name], reverse=True)


def draw() -> None:
    """Draw the page."""
    path = state.sheet_path() or uploads.first_sample()
    if path is None:
        raise InputError("dashboard", "", "no test is open and no samples are installed", "open or upload a test sheet")
    sheet = _sheet(str(path), path.stat().st_mtime_ns if path.exists() else 0)
    names = _followed(sheet)
    if not names:
        pieces.draw_answer(["No drive of this test has been followed yet."], pieces.CARE)
        pieces.draw_note(f"Run dyntest follow {path.name} in the folder of the sheet, on this computer.")
        _await(sheet)
        return
    colours = {"line": pages.colour(palette.QUIET) + "88", "warning": pages.colour(palette.WARNING)}
    colours |= {"quiet": pages.quiet_text(), "ink": pages.colour(palette.INK), "care": pages.CARE[pages.ground()]}
    st.html(BIG % colours)
    name = names[0]
    if len(names) > 1:
        name = st.segmented_control("Drive", names, default=names[0], key="live_drive") or names[0]
    _depth(sheet, name)  # above what changes with every blow: a button must not move under the pointer
    _now(sheet, name)
    _marks(sheet, name)


@st.fragment(run_every=EVERY)
def _await(sheet) -> None:
    """Draw the page again as soon as a drive is followed; it may have been opened before that."""
    if _followed(sheet):
        st.rerun()


def _look(sheet, name: str) -> Kept:
    folder = sheet.path.parent / FOLDER / name
    begun = (folder / "records").stat().st_ino if (folder / "records").exists() else 0
    return _kept(str(folder), begun).look()


@st.fragment(run_every=EVERY)
def _now(sheet, name: str) -> None:
    """Draw the last blow and the status of the drive."""
    system = state.system(sheet)
    kept = _look(sheet, name)
    if kept.last is None:
        pieces.draw_answer(["Waiting for the first blow."], pieces.CARE)
        return
    drive = next(one for one in sheet.drives if one.name == name)
    counts = (len(kept.blows), kept.last.blow, len(kept.matches), len(kept.depths))
    where = _standing(str(kept.folder), counts, name, sheet, kept)
    alarms = alarm_sentences(where, system)
    if alarms:
        st.html(f'<div class="live-alarm" role="alert">{"".join(f"<p>{html.escape(one)}</p>" for one in alarms)}</div>')
    st.html(f'<div class="live-top">{"".join(_tiles(sheet, kept, where, system))}</div>')
    told = [] if where.holding is None else [holding_sentence(where.holding, system)]
    beat = silent_sentence(state_of(kept.folder), datetime.now())
    if beat:
        told.append(beat)
    if told:
        reached = where.holding is not None and where.holding.reached and not alarms and not beat
        pieces.draw_answer(told, pieces.GOOD if reached else pieces.CARE)
    left, right = st.columns([3, 2])
    last = last_blow(kept.folder)
    with left:
        if last is not None:
            draw_chart(_record_chart(live_record_frame(last, system), system), "live_record")
    with right:
        draw_chart(_profile_chart(sheet, kept, drive.penetration_at_start, system), "live_profile")
        pieces.draw_note(profile_note(bool(kept.matches)))
    matched = [kept.matches[number] for number in sorted(kept.matches)]
    if matched:
        used = kept.last.numbers.get("damping_factor", float("nan"))
        chosen = sheet.damping_factor is not None or sheet.soil.toe is not None
        factor = damping_sentence(matched[-1], used, chosen)
        if factor:
            pieces.draw_note(factor)
    for note in kept.notes[: -SHOWN_NOTES - 1 : -1]:
        pieces.draw_note(note_sentence(note))


def _tiles(sheet, kept: Kept, where, system: str) -> list[str]:
    one = kept.blows[max(kept.blows)]
    numbers = one.numbers
    means = {"yes": "", "with care": "care", "no": "bad"}[one.trust]
    told = [_tile(f"Blow {one.blow}", trust_words(one.trust, ()), trust_words(one.trust, one.doubts), means)]
    required = sheet.requirement.required_resistance
    under = "" if required is None else f"required {show_required(required, system)}"
    under = "; ".join(one for one in (under, *damping_words(numbers, system)) if one)
    told.append(
        _tile("Case resistance", show("case_resistance_maximum", numbers.get("case_resistance_maximum"), system), under)
    )
    matches = [kept.matches[number] for number in sorted(kept.matches)]
    usable = [match for match in matches if "matched_resistance" in match and not match.get("problem")]
    if usable:
        low, high = (
            show("matched_resistance", usable[-1][f"matched_resistance_{end}"], system) for end in ("low", "high")
        )
        low = low.rsplit(" ", 1)[0]
        value = show("matched_resistance", usable[-1]["matched_resistance"], system)
        told.append(
            _tile(
                "Matched",
                value,
                f"{low} to {high}, blow {usable[-1]['blow']}{bound_mark(usable[-1].get('lower_bound'))}",
            )
        )
    marks = marks_of(kept.depths)
    if marks:
        since = one.blow - marks[-1].blow
        depth = show("penetration", marks[-1].depth, system)
        told.append(_tile("Depth", depth, f"{since} blows since" if since else "at this blow"))
    told.append(
        _tile(
            "Stroke", show("stroke", numbers.get("stroke"), system), show("blow_rate", numbers.get("blow_rate"), system)
        )
    )
    energy = show("transferred_energy", numbers.get("transferred_energy"), system)
    told.append(_tile("Energy ratio", show("energy_ratio", numbers.get("energy_ratio"), system), energy))
    for stress in where.stresses:
        value = show("peak_tension_stress", stress.value, system)
        words = stress_words(stress, system).partition(", ")[2]
        kind = {"above": "bad", "near": "care"}.get(stress.state, "")
        told.append(_tile(stress.sense.capitalize(), value, words, kind))
    return told


def _tile(name: str, value: str, more: str = "", kind: str = "") -> str:
    told = (("name", name), ("value", value))
    cells = (f'<div class="{style}">{html.escape(pieces.unbroken(text))}</div>' for style, text in told)
    under = f'<div class="more">{html.escape(pieces.unbroken(more))}</div>' if more and more != value else ""
    return f'<div class="live-tile {kind}">{"".join(cells)}{under}</div>'


def _record_chart(frame: pd.DataFrame, system: str) -> alt.LayerChart:
    names = list(dict.fromkeys(frame["trace"]))
    colours = alt.Scale(domain=names, range=[pages.colour(palette.TRACES[one][0]) for one in names])
    dashes = alt.Scale(domain=names, range=[DASHES[palette.TRACES[one][1]] for one in names])
    legend = line_legend(labelFontSize=18)
    lines = (
        alt.Chart(frame)
        .mark_line(strokeWidth=3)
        .encode(
            x=alt.X("time:Q", axis=axis("time after impact [ms]")),
            y=alt.Y("value:Q", axis=axis(f"force [{unit_of('peak_force', system)}]")),
            color=alt.Color("trace:N", scale=colours, legend=legend),
            strokeDash=alt.StrokeDash("trace:N", scale=dashes, legend=legend),
        )
    )
    return finish(layered(lines), 380, "Force and impedance times velocity of the last blow.")


def _profile_chart(sheet, kept: Kept, start: float | None, system: str) -> alt.LayerChart:
    blows, matches, against = live_profile_frames(kept, start, system)
    unit = unit_of("penetration", system)
    y = alt.Y(
        "along:Q",
        axis=axis(f"penetration [{unit}]" if against == "penetration" else "blow"),
        scale=alt.Scale(reverse=True, zero=False),
    )
    heading = f"resistance [{unit_of('matched_resistance', system)}]"
    x = alt.X("value:Q", axis=axis(heading), scale=alt.Scale(zero=True))
    ink, accent = pages.colour(palette.INK), pages.colour(palette.ACCENT)
    sound = alt.Chart(blows[blows["sound"]]).mark_point(filled=True, size=45, color=ink, opacity=0.8).encode(x=x, y=y)
    doubted = alt.Chart(blows[~blows["sound"]]).mark_point(shape="cross", angle=45, size=60, opacity=0.8)
    layers = [sound, doubted.encode(x=x, y=y, color=alt.ColorValue(pages.colour(palette.WARNING)))]
    if len(matches):
        ranges = alt.Chart(matches).mark_rule(strokeWidth=3, color=accent)
        layers.append(ranges.encode(x=alt.X("low:Q", axis=axis(heading)), x2=alt.X2("high:Q"), y=y))
        marks = alt.Chart(matches).mark_point(shape="diamond", filled=True, size=140, color=accent, opacity=1)
        layers.append(marks.encode(x=x, y=y))
    required = sheet.requirement.required_resistance
    if required is not None:
        value = required * display_unit("matched_resistance", system)[1]
        rule = alt.Chart(pd.DataFrame({"v": [value], "t": ["required"]}))
        layers.append(rule.mark_rule(color=accent, strokeDash=DASHES["dashdot"], strokeWidth=3).encode(x=alt.X("v:Q")))
        words = rule.mark_text(color=accent, align="right", dx=-6, y=10, fontSize=16)
        layers.append(words.encode(x=alt.X("v:Q"), text=alt.Text("t:N")))
    words = "Maximum Case resistance of every blow, and matched resistance with its range, against depth."
    return finish(layered(*layers), 380, words)


def _depth(sheet, name: str) -> None:
    """Offer entry of the depth and of remarks."""
    system = state.system(sheet)
    kept = _look(sheet, name)
    drive = next(one for one in sheet.drives if one.name == name)
    unit, scale, _ = display_unit("penetration", system)
    marks = marks_of(kept.depths)
    start = drive.penetration_at_start
    last = marks[-1].depth if marks else start

    def stamp(depth: float | None = None, step: float | None = None) -> None:
        fresh = _look(sheet, name)
        before = marks_of(fresh.depths)
        now = before[-1].depth if before else start
        if step is not None:
            depth = (now or 0.0) + step
        blow = fresh.last.blow if fresh.last else 0
        _entered(lambda: enter_mark(fresh.folder, blow, float(depth or 0.0), system, start=start))

    row = st.container(horizontal=True, vertical_alignment="bottom")
    with row:
        for (words, size), key in zip(STEPS[system], ("F", "I"), strict=True):
            st.button(
                f"One more {words}",
                key=f"live_step_{key}",
                shortcut=key,
                type="primary",
                on_click=state.once(f"live_step_{key}", stamp),
                kwargs={"step": size},
                disabled=last is None,
            )
        known = name, system, last
        if st.session_state.get("live_depth_of") != known:  # another mark: the field goes on from it
            st.session_state["live_depth_of"] = known
            state.widget_key("live_depth", None if last is None else round(last * scale, 3))
        asked = st.number_input(f"Depth now [{unit}]", 0.0, None, None, key="live_depth", width=220)
        st.button(
            "Enter this depth",
            key="live_stamp",
            on_click=state.once("live_stamp", lambda: stamp(depth=(state.typed("live_depth") or 0.0) / scale)),
            disabled=asked is None,
        )
        st.text_input("Remark", key="live_remark", max_chars=300, width=320)
        st.button(
            "Keep remark",
            key="live_keep",
            on_click=state.once("live_keep", lambda: _remark(sheet, name, system, start)),
        )
    _say_problem("live_problem")


def _say_problem(key: str) -> None:
    """Say once why something could not be entered."""
    if problem := st.session_state.pop(key, ""):
        st.error(pieces.plain(problem), icon=":material/error:")


def _entered(act, problem_key: str = "live_problem") -> bool:
    """Enter something; say whether it could be."""
    try:
        act()
    except InputError as problem:
        st.session_state[problem_key] = str(problem)
        return False
    return True


def _remark(sheet, name: str, system: str, start: float | None) -> None:
    fresh, text = _look(sheet, name), state.typed("live_remark") or ""
    if text.strip():
        blow = fresh.last.blow if fresh.last else 0
        _entered(lambda: enter_remark(fresh.folder, blow, text, system, start=start))
        st.session_state["live_remark"] = ""


def _marks(sheet, name: str) -> None:
    """Show the driving log so far, and offer correction of a depth mark."""
    system, kept = state.system(sheet), _look(sheet, name)
    start = next(one for one in sheet.drives if one.name == name).penetration_at_start
    unit, scale, _ = display_unit("penetration", system)
    marks, intervals = marks_of(kept.depths), intervals_of(kept.depths, start)
    if intervals:
        rows = [
            (
                show("penetration", one.depth_from, system),
                show("penetration", one.depth_to, system),
                str(one.recorded),
                "–" if one.counted is None else str(one.counted),
                one.remark,
            )
            for one in intervals[::-1]
        ]
        heads = ["from", "to", "recorded blows", "inspector's count", "remark"]
        pieces.worded(pd.DataFrame(rows, columns=heads), numeric=True)
    for one in remarks_of(kept.depths)[-2:]:
        pieces.draw_note(f"{one.at.partition('T')[2]}, blow {one.blow}: {one.text}")
    if not marks:
        return
    _say_problem("live_mark_problem")
    with st.expander("Correct a depth"):
        by_number = {mark.number: mark for mark in marks}
        of_drive, pinned = st.session_state.get("live_pinned", ("", 0))
        kept_mark = pinned if of_drive == name and pinned in by_number else marks[-1].number
        if st.session_state.get("live_mark") != kept_mark:
            state.widget_key("live_mark", kept_mark)

        def pin() -> None:
            """Keep to the mark that is being corrected, whatever depth is entered meanwhile; else the last one is."""
            st.session_state["live_pinned"] = name, state.typed("live_mark")

        row = st.container(horizontal=True, vertical_alignment="bottom")
        with row:
            st.selectbox(
                "Mark",
                [mark.number for mark in marks[::-1]],
                key="live_mark",
                format_func=lambda number: (
                    f"{show('penetration', by_number[number].depth, system)} at blow {by_number[number].blow}"
                    if number in by_number
                    else ""
                ),
                width=260,
                on_change=pin,
            )
            st.number_input(f"Correct depth [{unit}]", 0.0, None, None, key="live_right", width=200, on_change=pin)
            st.number_input("Inspector's count", 0, None, None, key="live_count", width=200, on_change=pin)

            def correct(removed: bool = False) -> None:
                chosen, right, count = (state.typed(key) for key in ("live_mark", "live_right", "live_count"))
                if not removed and right is None and count is None:
                    st.session_state["live_mark_problem"] = "Enter the correct depth, the inspector's count or both."
                    return
                depth = None if right is None or removed else right / scale
                done = _entered(
                    lambda: correct_mark(
                        kept.folder, chosen, system, start=start, depth=depth, counted=count, removed=removed
                    ),
                    "live_mark_problem",
                )
                if done:  # what was entered for one mark must not go to the next
                    st.session_state.update(live_right=None, live_count=None)
                    st.session_state.pop("live_pinned", None)

            st.button("Correct", key="live_correct", on_click=state.once("live_correct", correct))
            st.button(
                "Remove this mark", key="live_out", on_click=state.once("live_out", correct), kwargs={"removed": True}
            )
