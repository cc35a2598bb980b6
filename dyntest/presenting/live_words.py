"""Sentences and tidy frames of a drive that is being followed.

They support the people who decide at the rig, and never command.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from dyntest.following import intake
from dyntest.following.depth import penetration_at
from dyntest.following.handover import Handover
from dyntest.following.record import Kept
from dyntest.following.standing import Damage, Holding, LiveRefusal, LiveStress, Standing
from dyntest.names import decimal, display_unit, show, show_length, show_required
from dyntest.presenting.frames import shown
from dyntest.presenting.sentences import show_range
from dyntest.presenting.terms import bound_mark, show_blows, show_count
from dyntest.quantities.case_resistance import factor_for_maximum
from dyntest.reviewing.drive import DriveReview

TRUST = {"yes": "trusted", "with care": "with care", "no": "not trusted"}
"""Trust of one blow in words."""


def trust_words(trust: str, doubts: tuple[tuple[str, str], ...]) -> str:
    """Say whether one blow can be trusted, with the gauge and the check if it cannot.

    Examples
    --------
    >>> trust_words("no", (("dead channel", "strain_2"),)), trust_words("yes", ())
    ('not trusted: strain_2, dead channel', 'trusted')
    """
    if not doubts:
        return TRUST[trust]
    told = [f"{gauge}, {check}" if gauge else check for check, gauge in doubts]
    more = f" and {len(told) - 1} more" if len(told) > 1 else ""
    return f"{TRUST[trust]}: {told[0]}{more}"


def stress_words(one: LiveStress, system: str) -> str:
    """Compare a stress with its limit."""
    value = show("peak_tension_stress", one.value, system)
    if one.limit is None:
        return f"{one.sense} {value}, no limit known"
    limit = show("peak_tension_stress", one.limit, system)
    word = {"above": "ABOVE the limit", "near": "near the limit", "below": "below the limit"}.get(one.state, "limit")
    return f"{one.sense} {value}, {word} {limit}"


def alarm_sentences(where: Standing, system: str) -> list[str]:
    """Give what calls for an immediate decision, stresses first."""
    told = []
    for one in where.stresses:
        if one.limit is not None and (one.state == "above" or one.above > 1):
            limit = show("peak_tension_stress", one.limit, system)
            many = f"{one.above} of the last {one.looked_at} blows were above the limit of {limit}"
            value = show("peak_tension_stress", one.value, system)
            told.append(f"Stop: stress. {one.sense.capitalize()} is {value} in blow {where.blow}; {many}.")
    if where.damage is not None:
        told.append(damage_words(where.damage, system))
    if where.refusal is not None:
        told.append(refusal_words(where.refusal, system))
    return told


def damage_words(found: Damage, system: str) -> str:
    """Say that the integrity factor is falling."""
    at = f" at {show('integrity_depth', found.depth, system)} below the gauges" if found.depth == found.depth else ""
    return f"Damage growing: the integrity factor fell from {decimal(found.before, 2)} to {decimal(found.now, 2)}{at}."


def refusal_words(found: LiveRefusal, system: str) -> str:
    """Say that the pile is at refusal."""
    kind = "absolute" if found.absolute else "practical"
    over = show("set_per_blow", found.length, system)
    told = f"Refusal ({kind}): {show_count(found.set_per_blow, system)} over {over}"
    told += f", stroke {show('stroke', found.stroke, system)}" if found.stroke == found.stroke else ""
    return told + (", below the minimum stroke." if found.low_stroke else ".")


_MISSING = {
    "resistance": "the resistance",
    "depth": "a depth mark",
    "holding": "the holding length",
    "penetration": "minimum penetration",
    "match": "a match",
    "match below": "a match whose range lies above what is required",
}


def holding_sentence(found: Holding, system: str) -> str:
    """Say whether the required resistance is reached over the holding length, and what is still missing.

    Examples
    --------
    >>> nan = float("nan")
    >>> one = Holding(1e6, 8e5, 0, 0.0, 0.075, nan, nan, nan, None, nan, ("resistance",))
    >>> holding_sentence(one, "SI")
    'Required resistance of 1,000 kN not reached: Case resistance is 800 kN. Missing: the resistance.'
    """
    required, value = show_required(found.required, system), show("case_resistance_maximum", found.resistance, system)
    places = [
        f"at stroke {show('stroke', found.stroke, system)}" if found.stroke == found.stroke else "",
        f"set {show('set_per_blow', found.set_per_blow, system)} ({show_count(found.set_per_blow, system)})"
        if found.set_per_blow == found.set_per_blow
        else "",
        f"penetration {show('penetration', found.penetration, system)}"
        if found.penetration == found.penetration
        else "",
    ]
    where = ", ".join(one for one in places if one)
    if found.reached:
        held = show("set_per_blow", found.held, system)
        return f"Required resistance of {required} reached over {held}, {where}. Whether to stop is for the engineer."
    missing = []
    for one in found.missing:
        words = _MISSING[one]
        if one == "holding":
            held, needed = (show("set_per_blow", length, system) for length in (found.held, found.needed))
            words += f" (held over {held} of {needed})"
        if one == "penetration" and found.minimum_penetration is not None:
            words += f" ({show_length(found.minimum_penetration, system)})"
        if one == "match below":
            words += f" (its low end is {show('matched_resistance', found.match, system)})"
        missing.append(words)
    if found.first:
        told = f"Required resistance of {required} reached by the Case method since blow {found.first}"
        return f"{told}{', ' + where if where else ''}. Missing: {', '.join(missing)}."
    return f"Required resistance of {required} not reached: Case resistance is {value}. Missing: {', '.join(missing)}."


def note_sentence(note: Mapping[str, Any]) -> str:
    """Give a note on the recorder's files as one line.

    Examples
    --------
    >>> note_sentence({"kind": "blow missing", "blow": 43, "file": "b_43.csv", "first": 41, "last": 43})
    'Blow missing: the recorder goes from 41 to 43 (b_43.csv); the blows present are used.'
    """
    blow, file, first, last = (note.get(name, "") for name in ("blow", "file", "first", "last"))
    at = f" ({file})" if file else ""
    told = {
        intake.MISSING: f"Blow missing: the recorder goes from {first} to {last}{at}; the blows present are used.",
        intake.RESTARTED: f"Numbering restarted: after {first} the recorder counts from {last}{at};"
        f" here the blows continue from {blow}.",
        intake.CLOCK_BACK: f"Clock went back at blow {blow}{at}; times continue after an assumed pause.",
        intake.UNREADABLE: f"File not read{at}: {note.get('problem', '')} It is tried again when it changes.",
    }
    return told.get(str(note.get("kind")), f"{note.get('kind')}{at}.")


def damping_words(numbers: Mapping[str, float], system: str) -> tuple[str, ...]:
    """Give the damping factor of a blow's Case resistance, and the resistance with the J of the last match.

    Examples
    --------
    >>> by_match = {"damping_factor_by_match": 0.55, "case_resistance_by_match": 1.2e6}
    >>> [" ".join(one.split()) for one in damping_words({"damping_factor_maximum": 0.7, **by_match}, "SI")]
    ['J 0.70', 'by match J 0.55: 1,200 kN']
    """
    used, found = (numbers.get(f"damping_factor_{name}") for name in ("maximum", "by_match"))
    told = () if used is None else (f"J\N{NO-BREAK SPACE}{decimal(used, 2)}",)
    if found is None or (used is not None and round(found, 2) == round(used, 2)):
        return told
    value = show("case_resistance_maximum", numbers.get("case_resistance_by_match"), system)
    return (*told, f"by match J\N{NO-BREAK SPACE}{decimal(found, 2)}: {value}")


def damping_sentence(match: Mapping[str, Any], used: float, chosen: bool) -> str:
    """Say what Case damping factor the last match gives.

    Examples
    --------
    >>> damping_sentence({"blow": 40, "damping_factor": 0.553}, 0.7, True)
    'With J 0.55 the Case resistance at the first peak equals the match of blow 40; the sheet has 0.70, which is used.'
    >>> damping_sentence({"blow": 40, "damping_factor": 0.553}, 0.7, False).partition(". ")[2]
    'It is used from now on, with 0.75 for the maximum.'
    """
    found = match.get("damping_factor")
    if found is None or found < 0.0:
        return ""
    told = f"With J {decimal(found, 2)} the Case resistance at the first peak equals the match of blow {match['blow']}"
    if chosen:
        return f"{told}; the sheet has {decimal(used, 2)}, which is used."
    return f"{told}. It is used from now on, with {decimal(factor_for_maximum(round(found, 2)), 2)} for the maximum."


def told_line(kind: str, entry: Mapping[str, Any], system: str) -> str:
    """Give one line of the terminal for a blow, a match or a problem."""
    if kind == "blow":
        numbers = entry["numbers"]
        codes = ("case_resistance_maximum", "stroke", "peak_compression_stress", "peak_tension_stress")
        heads = ("Case", "stroke", "compression", "tension")
        cells = [f"{head} {show(code, numbers.get(code), system)}" for head, code in zip(heads, codes, strict=True)]
        return f"blow {entry['blow']}: {', '.join(cells)}; {trust_words(entry['trust'], entry['doubts'])}"
    if kind == "match":
        if entry.get("problem"):
            return f"match of blow {entry['blow']}: {entry['problem']}"
        low, high = (float(entry.get(f"matched_resistance_{end}") or "nan") for end in ("low", "high"))
        value = show("matched_resistance", entry.get("matched_resistance"), system)
        factor = entry.get("damping_factor")
        by_it = "" if factor is None or factor < 0.0 else f", J {decimal(factor, 2)}"
        ends = show_range(low, high, "matched_resistance", system)
        return f"match of blow {entry['blow']}: {value} ({ends}){bound_mark(entry.get('lower_bound'))}{by_it}"
    if kind == "note":
        return note_sentence(entry)
    return str(entry.get("problem") or "saving again; nothing was lost")


def handed_lines(done: Handover) -> list[str]:
    """Say what was written when following stopped, and what a review still needs.

    Examples
    --------
    >>> handed_lines(Handover(0))
    ['Stopped. No blow was recorded.']
    """
    if not done.blows:
        return ["Stopped. No blow was recorded."]
    told = [f"Stopped. {show_blows(done.blows)} saved."]
    if done.signals:
        told.append(f"The recorder restarted its numbering, so the sheet now names {done.signals} as signals.")
    if done.recorder:
        told.append(
            "The recorder restarted its numbering; its files are read by [records], so check signals in the sheet."
        )
    if done.log:
        told.append(f"The sheet now names {done.log} as the driving log.")
    if done.own_log:
        told.append("The sheet names another driving log, which was not replaced.")
    if done.beyond:
        told.append(f"Blows after the last depth: {done.beyond}. Enter the final depth on the page Live.")
    return told


def matched_line(drive: DriveReview, system: str) -> str:
    """Give the result of the match saved for the review."""
    if drive.match is None or drive.representative is None:
        return f"Not matched: {(drive.match_problem or 'no blow is sound enough').rstrip('.')}."
    ends = show_range(*drive.match.matched_resistance_range, "matched_resistance", system)
    value = show("matched_resistance", drive.match.matched_resistance, system)
    return f"Blow {drive.representative.blow}: matched resistance {value} ({ends}){bound_mark(drive.lower_bound)}."


SILENT_AFTER = 20.0
"""Time without a sign of the follower after which the page says so [s]."""


def silent_sentence(state: Mapping[str, Any], now: datetime) -> str:
    """Say if the drive is not being followed; empty if it is.

    Examples
    --------
    >>> silent_sentence({"doing": "stopped", "beat": "2026-05-04T14:10:00"}, datetime(2026, 5, 4, 14, 30))
    'Following stopped at 14:10:00.'
    """
    beat = str(state.get("beat", ""))
    at = beat.partition("T")[2]
    if state.get("doing") == "stopped":
        return f"Following stopped at {at}."
    try:
        silent = (now - datetime.fromisoformat(beat)).total_seconds() > SILENT_AFTER
    except ValueError:
        return ""
    return f"No update from dyntest follow since {at}. Restart it; nothing is lost." if silent else ""


SHOWN_RETURNS = 2.5
"""Times 2L/c after the impact that are drawn [1]."""

MOST_POINTS = 400
"""Most points drawn of a trace [1]."""

MOST_BLOWS = 600
"""Most blows drawn [1]; all of them are saved."""


def live_record_frame(last: Mapping[str, np.ndarray], system: str) -> pd.DataFrame:
    """Give force and impedance × velocity of a blow from its impact: columns time [ms], value, trace."""
    time, onset = 1e3 * last["time"], int(last["onset"][0])
    time = time - time[onset]
    until = 1e3 * SHOWN_RETURNS * float(last["return_time"][0])
    inside = np.flatnonzero((time >= -1.0) & (time <= until))
    inside = inside[:: max(1, len(inside) // MOST_POINTS)]
    traces = {"force": last["force"], "impedance × velocity": last["impedance_velocity"]}
    parts = [
        pd.DataFrame({"time": time[inside], "value": shown("peak_force", trace[inside], system), "trace": name})
        for name, trace in traces.items()
    ]
    return pd.concat(parts, ignore_index=True)


def live_profile_frames(kept: Kept, start: float | None, system: str) -> tuple[pd.DataFrame, pd.DataFrame, str]:
    """Give resistance by blow, matched resistance with its range, and the axis they are drawn against.

    That is ``"penetration"``, or ``"blow"`` if there is no depth mark.
    """
    numbers = np.array(sorted(kept.blows))
    depth = penetration_at(kept.depths, start, numbers)
    against = "penetration" if np.isfinite(depth).any() else "blow"
    along = dict(zip(numbers.tolist(), (depth if against == "penetration" else numbers).tolist(), strict=True))
    drawn = numbers[:: -(-len(numbers) // MOST_BLOWS) or 1] if len(numbers) else numbers
    rows = [
        (along[int(number)], one.numbers.get("case_resistance_maximum", np.nan), one.trust != "no")
        for number in drawn
        if (one := kept.blows[int(number)])
    ]
    blows = pd.DataFrame(rows, columns=["along", "value", "sound"]).astype({"along": float, "value": float})
    ends = ("matched_resistance", "matched_resistance_low", "matched_resistance_high")
    found: list[tuple[Any, ...]] = [
        (along[number], *(entry[name] for name in ends))
        for number, entry in sorted(kept.matches.items())
        if number in along and all(name in entry for name in ends) and not entry.get("problem")
    ]
    matches = pd.DataFrame(found, columns=["along", "value", "low", "high"], dtype=float)
    for frame, names in ((blows, ["value"]), (matches, ["value", "low", "high"])):
        frame["along"] = shown(against, frame["along"].to_numpy(dtype=float), system)
        for name in names:
            frame[name] = shown("matched_resistance", frame[name].to_numpy(dtype=float), system)
    return blows.dropna(), matches.dropna(), against


def profile_note(matched: bool) -> str:
    """Say what the marks of resistance against depth are.

    Examples
    --------
    >>> profile_note(False)
    'Dots: maximum Case resistance of each blow. Crosses: blows that are not trusted.'
    """
    told = "Dots: maximum Case resistance of each blow. Crosses: blows that are not trusted."
    return f"{told} Diamonds: matched resistance with its range." if matched else told


def unit_of(code: str, system: str) -> str:
    """Give the display unit of a quantity, empty if it has none.

    Examples
    --------
    >>> unit_of("penetration", "US"), unit_of("blow", "US")
    ('ft', '')
    """
    return display_unit(code, system)[0]
