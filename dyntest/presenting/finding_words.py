"""What was found on a record, and why a blow is the representative one, in sentences with the reader's units.

A finding and a choice of blow are data; this table, by the name of the check and its case, says them. Fields in braces
are the numbers of the finding: ``{value}`` and ``{limit}``, ``{gauge}``, ``{where}`` (the blows), and what it has more.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dyntest.conditioning.findings import Finding
from dyntest.conditioning.wave_measures import MOVEMENT_LIMIT
from dyntest.names import NAMES, decimal, percent, show
from dyntest.pile import Pile
from dyntest.quantities.integrity import integrity_class
from dyntest.quantities.representative import FULL_ENERGY, LOOKED_AT, TAKEN, Representative
from dyntest.units import STANDARD_GRAVITY

MOST_NUMBERS = 5
"""A sentence names no more blow numbers than this [1]; the finding carries them all."""


@dataclass(frozen=True)
class FindingWords:
    """How a finding is said.

    Parameters
    ----------
    problem : str
        The sentence, with fields.
    cure : str
        What to do, with fields.
    number : str
        How value and limit are written, a key of `_WRITTEN`.
    """

    problem: str
    cure: str
    number: str = "ratio"


def _movement(value: float, system: str, more: int = 0) -> str:
    value = max(value, 0.0)  # drift alone lets a pile that stood still end a little above where it began
    return f"{decimal(value / 0.0254, 2 + more)} in" if system == "US" else f"{decimal(value * 1e3, 1 + more)} mm"


def _acceleration(value: float, system: str) -> str:
    return f"{decimal(value / STANDARD_GRAVITY, 1)} g" if system == "US" else f"{decimal(value, 0)} m/s²"


_WRITTEN = {
    "ratio": lambda value, system: decimal(value, 2),
    "exact ratio": lambda value, system: decimal(value, 3),
    "percent": lambda value, system: percent(value),
    "tenth percent": lambda value, system: percent(value, 1),
    "count": lambda value, system: decimal(value, 0),
    "strain": lambda value, system: f"{decimal(value * 1e6, 0)} {'µε' if system == 'US' else 'µm/m'}",
    "acceleration": _acceleration,
    "movement": _movement,
    "exact movement": lambda value, system: _movement(value, system, 1),
    "depth": lambda value, system: show("penetration", value, system),
    "milliseconds": lambda value, system: f"{decimal(value * 1e3, 1)} ms",
    "exact milliseconds": lambda value, system: f"{decimal(value * 1e3, 2)} ms",
}
"""How a number is written: functions of the SI value and of the system of units."""

_MORE = {
    **dict.fromkeys(("depth", "length", "resolved", "level", "top", "bottom"), "depth"),
    "error": "exact ratio",
}
"""How the further numbers of a finding are written, by their names; others as ratios."""

_LEAVE_OUT = "leave {gauge} out if most blows show it, and repair or replace it before the next pile"
_CALIBRATION = "check calibrations, area, modulus and wave speed in the sheet, and look for loose gauges"
_DEAD = "{gauge} does not respond: it moves by {value} at most, less than {limit}, in {where}"
_ALL_BLOWS = "give all blows of the drive; where there are no more, confirm the resistance by another test"
_ALL_FOUR = "check the calibration and bolts of all four; leave out the one that does not fit"
_REFLECTION = (
    "a reflection before the toe's return, {depth} below the gauges, gives an integrity factor of {value} ({state};"
    " uniform above {limit}) in {where}"
)

WORDS = {
    ("dead channel", "strain"): FindingWords(_DEAD, _LEAVE_OUT, "strain"),
    ("dead channel", "acceleration"): FindingWords(_DEAD, _LEAVE_OUT, "acceleration"),
    ("dead channel", "share of twin"): FindingWords(
        "{gauge} hardly responds: its signal is {value} of the opposite gauge's, less than {limit}, in {where}",
        _LEAVE_OUT,
        "tenth percent",
    ),
    ("clipped channel", ""): FindingWords(
        "{gauge} stays at its extreme value for {value} samples in a row, more than {limit}, in {where}",
        "set a wider range; clipped peaks make force, velocity and energy too low",
        "count",
    ),
    ("swapped sign", ""): FindingWords(
        "{gauge} has the wrong sign at impact (mean over mean size {value}, below {limit}) in {where}",
        "check mounting and wiring; if that is the cause, reverse positive in [records.channels.{gauge}] of the"
        ' sheet: "tension" for a strain, "up" for an acceleration, or back',
    ),
    ("noisy channel", ""): FindingWords(
        "{gauge} has noise of {value} of its maximum response, above {limit}, before the impact in {where}",
        "check cable, connector and bolt, or leave {gauge} out",
        "tenth percent",
    ),
    ("offset channel", ""): FindingWords(
        "{gauge} has a zero offset of {value} of its maximum response, above {limit}, in {where}; it was subtracted",
        "balance the gauge; a zero that shifts from blow to blow means a loose gauge",
        "percent",
    ),
    ("spikes", ""): FindingWords(
        "{gauge} has spikes of up to {value} of its maximum response, above {limit}, in {where}",
        "check cable and connector; use other blows, or leave {gauge} out",
        "percent",
    ),
    ("strain not returning", ""): FindingWords(
        "{gauge} ends {value} of its maximum strain away from zero, above {limit}, in {where}",
        "check whether the gauge slipped or its bolts are loose, or leave {gauge} out",
        "percent",
    ),
    ("bending", ""): FindingWords(
        "{gauge} differ by {value} of their sum at the first peak, above {limit}, in {where}",
        "align hammer and pile, check both gauges, and compare the stress at the single gauge with its limit",
        "percent",
    ),
    ("accelerometers disagree", ""): FindingWords(
        "the velocities of {gauge} differ by {value} of their sum at the first peak, above {limit}, in {where}",
        "check both calibrations and bolts; leave out the one whose velocity does not fit the force",
        "tenth percent",
    ),
    ("time lag between gauges", ""): FindingWords(
        "{gauge} rise {value} apart in time, above {limit}, in {where}",
        "check the recorder's delays and filters channel by channel, or leave out the late gauge",
        "exact milliseconds",
    ),
    ("single strain gauge", ""): FindingWords(
        "force is from {value} strain gauge instead of {limit} on opposite faces in {where}, so it includes bending",
        "treat force, stress, energy and resistance with care; measure with two gauges on opposite faces",
        "count",
    ),
    ("single accelerometer", ""): FindingWords(
        "velocity is from {value} accelerometer instead of {limit} on opposite faces in {where}",
        "compare force with impedance times velocity at the first peak with care",
        "count",
    ),
    ("strain gauge pairs disagree", ""): FindingWords(
        "the two pairs of strain gauges differ by {value} of the sum of their means at the first peak, above {limit},"
        " in {where}",
        _ALL_FOUR,
        "tenth percent",
    ),
    ("accelerometer pairs disagree", ""): FindingWords(
        "the velocities of the two pairs of accelerometers differ by {value} of their sum at the first peak, above"
        " {limit}, in {where}",
        _ALL_FOUR,
        "tenth percent",
    ),
    ("proportionality", "unit"): FindingWords(
        "force and impedance times velocity differ by a factor of {value} (limit {limit}) at the first peak in {where}:"
        " too much for a gauge error",
        "check unit and factor in [records.channels] or the units in the headers, and area and modulus",
    ),
    ("proportionality", "low"): FindingWords(
        "force is only {value} of impedance times velocity at the first peak, below {limit}, in {where}",
        _CALIBRATION + "; a wrong time step has the same effect",
    ),
    ("proportionality", "high"): FindingWords(
        "force is {value} of impedance times velocity at the first peak, above {limit}, before any reflection"
        " can arrive, in {where}",
        _CALIBRATION,
    ),
    ("proportionality", "high with shaft"): FindingWords(
        "force is {value} of impedance times velocity at the first peak, above {limit}, in {where}",
        _CALIBRATION + "; high resistance just below the gauges can have the same effect",
    ),
    ("lag", ""): FindingWords(
        "strain and acceleration are {value} apart in time on the rise, above {limit}, in {where}",
        "check the filters and delays of the recorder; align in the sheet corrects the lag",
        "exact milliseconds",
    ),
    ("no quiet part", ""): FindingWords(
        "only {value} before the impact is quiet, less than {limit}, in {where}: the zero lines are not known",
        "record with more time before the trigger, 5 ms or more",
        "milliseconds",
    ),
    ("no quiet part", "tension at rest"): FindingWords(
        "all strain gauges end in tension, up to {value} of the peak, above {limit}, in {where}; the record begins too"
        " late, and forces are too low by about as much",
        "record 80 ms before the impact; if that was done, check the mounting of the strain gauges",
        "tenth percent",
    ),
    ("gas before impact", ""): FindingWords(
        "gas pressure in the hammer is already {value} of the peak force at the start of the record, above {limit}, in"
        " {where}; the zero line was computed from the gas compression",
        "record 80 ms before the impact, so that the zero line is measured",
        "tenth percent",
    ),
    ("record too short for the toe return", ""): FindingWords(
        "the record ends {value} times 2L/c after the first peak, before the return from the toe, in {where}",
        "record longer; no resistance can be computed",
    ),
    ("record too short for the unloading", ""): FindingWords(
        "the record ends {value} times 2L/c after the first peak, less than {limit}, in {where}; the unloading after"
        " the toe return is cut off",
        "record longer, 100 ms or more",
    ),
    ("toe return", "early"): FindingWords(
        "the toe return is at {value} of 2L/c, earlier than {limit}, in {where}",
        "check length and wave speed in the sheet; if they are right, the pile may be damaged above its toe",
    ),
    ("toe return", "late"): FindingWords(
        "the toe return is at {value} of 2L/c, later than {limit}, in {where}",
        "check length and wave speed in the sheet, and look for cracks that slow the wave",
    ),
    ("velocity not settling", ""): FindingWords(
        "the velocity still has {value} of its peak (root mean square), above {limit}, at the end in {where}",
        "record longer; do not rely on displacement and set from the record",
        "percent",
    ),
    ("displacement not settling", "wandering"): FindingWords(
        "the displacement still varies by {value} of its peak, above {limit}, at the end in {where}",
        "record longer, or check the accelerometers; use the set from the log",
        "percent",
    ),
    ("displacement not settling", "rising"): FindingWords(
        "the displacement ends at {value} of its peak, below {limit}, in {where}: above its start",
        "check the accelerometers; use the set from the log",
        "percent",
    ),
    ("set against record", ""): FindingWords(
        "the displacement at the end and the log's set differ by {value} of the peak displacement, above {limit}, in"
        " {where}: more than drift explains",
        "compare the log's counts and blow numbers with the records; check the accelerometers; record longer if the"
        " pile was still moving",
        "percent",
    ),
    ("small movement", ""): FindingWords(
        "the pile moved only {value}, less than {limit}, in {where}: the resistance found is a lower bound",
        "use a heavier ram or a higher stroke if the full resistance must be shown",
        "movement",
    ),
    ("drift", ""): FindingWords(
        "{gauge} drifts: its velocity was corrected by {value} of the peak velocity at the end, above {limit}, in"
        " {where}",
        "check its mounting; use other blows or leave {gauge} out; use the set from the log",
        "percent",
    ),
    ("integrity", ""): FindingWords(_REFLECTION, "inspect the pile there"),
    ("integrity or soil", ""): FindingWords(
        _REFLECTION + "; a layer with much damping or an enlarged section would look the same",
        "compare with the borings and with the first blows in that depth",
    ),
    ("integrity or gauges", "faulty"): FindingWords(
        "a possible reflection {depth} below the gauges (integrity factor {value}) in {where} is not judged: the"
        " gauges fail their own checks ({gauges})",
        "repair or leave out the gauge first; then check the integrity factor again",
    ),
    ("integrity or gauges", "near"): FindingWords(
        "a possible reflection {depth} below the gauges (integrity factor {value}) in {where} is not judged; less than"
        " {resolved} down, within the rise of the blow, a small gauge error looks the same",
        "check the calibration of the gauges, and the head of the pile",
    ),
    ("penetration", "beyond the pile"): FindingWords(
        "the toe is given as {value} deep in {where}, but the pile is only {length} long",
        "correct the log, the penetration or total_length; check their units and the datum of the depths",
        "depth",
    ),
    ("penetration", "gauges deep in the ground"): FindingWords(
        "the toe is {value} deep, but length_below_gauges is only {length}: gauges cannot be so deep in the ground"
        " ({where})",
        "correct the unit of length_below_gauges (ft or m), or the penetration or log",
        "depth",
    ),
    ("penetration", "gauges in the ground"): FindingWords(
        "the toe is given as {value} deep in {where}, more than the length below the gauges ({limit})",
        "correct the log, the penetration or length_below_gauges; shaft resistance above the gauges is not measured",
        "depth",
    ),
    ("penetration", "above the drive before"): FindingWords(
        "the restrike begins at a penetration of {value}, above where the drive before ended ({limit})",
        "correct penetration_at_start or the logs; a pile heaves only when others are driven nearby",
        "depth",
    ),
    ("penetration", "below the drive before"): FindingWords(
        "the restrike begins at a penetration of {value}, below where the drive before ended by its log ({limit})",
        "check that the log is of this pile, penetration_at_start, and whether the pile was driven on between",
        "depth",
    ),
    ("penetration", "end not known"): FindingWords(
        "the depth at the end of the drive is not known: every blow, and its match, has that of the start, {value}",
        "add a driving log, or the penetration to the records",
        "depth",
    ),
    ("toe return", "unit of length"): FindingWords(
        "the toe return is at {value} of 2L/c in {where}: as if feet were written for metres, or metres for feet",
        "correct the unit of length_below_gauges",
    ),
    ("log count", "taken for initial"): FindingWords(
        "{log} counts {limit} blows, and the record has {value}: assumed to be the last, {first} to {last}",
        "give the first recorded blow of the drive in first_blow",
        "count",
    ),
    ("log count", "taken for restrike"): FindingWords(
        "{log} counts {limit} blows, and the record has {value}: assumed to be the first, {first} to {last}",
        "give the first recorded blow of the drive in first_blow",
        "count",
    ),
    ("log start", ""): FindingWords(
        "{log} does not give the top of its first interval; it is assumed as long as the next, {value}",
        "write penetration_at_start in the [[drive]], or depth_from in the log",
        "depth",
    ),
    ("file factor", ""): FindingWords(
        "the file says {first} for {gauge}, and its numbers are used as they are",
        "write it as factor in [records] if the numbers are not yet multiplied by it",
        "count",
    ),
    ("few blows recorded", "one"): FindingWords("only one blow was recorded, so no other blow confirms it", _ALL_BLOWS),
    ("few blows recorded", ""): FindingWords(
        "only {value} blows were recorded, fewer than {limit}, so little confirms them", _ALL_BLOWS, "count"
    ),
    ("stream", "bounces"): FindingWords(
        "weak impacts soon after a blow ({value}) are assumed to be ram bounces, the first at {first} s of the stream",
        "set trigger in [records] if they are blows",
        "count",
    ),
    ("stream", "double strikes"): FindingWords(
        "impacts that follow a blow too soon for any hammer ({value}) are assumed to be double strikes, the first at"
        " {first} s of the stream",
        "check the stream there; they have no blow number",
        "count",
    ),
    ("stream", "incomplete"): FindingWords(
        "incomplete blows at the ends of the stream ({value}) were left out",
        "set a shorter length or before in [records] if they are needed",
        "count",
    ),
    ("damping factor", ""): FindingWords(
        "no damping factor is given; {value} was assumed for {soil} at the toe (range {limit} {upper}, {source}), and"
        " {for_maximum} for the maximum Case resistance",
        "give damping_factor in the test sheet, or calibrate it by signal matching or a static load test",
    ),
    ("damping factor", "none"): FindingWords(
        "no damping factor is given, and there is no suggestion for {soil} at the toe: Case resistances that need one"
        " are left out",
        "give damping_factor in the test sheet, or calibrate it by signal matching or a static load test",
    ),
    ("wave speed", ""): FindingWords(
        "the toe return corresponds to {value} ± {error} of the wave speed in the sheet (limit 1 ± {limit})",
        "give this wave_speed in [pile] if the length is right; modulus, impedance and force follow from it",
        "exact ratio",
    ),
    ("uniform pile", ""): FindingWords(
        "the pile has {value} parts of different section or material; Case resistance, "
        f"{NAMES['shaft_share'].words}, toe stress, tension along the pile and integrity factor "
        "assume a uniform pile, so section changes look like soil or damage",
        "use signal matching, which models the sections, for resistance; the rest is approximate",
        "count",
    ),
    ("stroke", ""): FindingWords(
        "the stroke from the blow rate differs from that of the log by {value} (median; limit {limit})",
        "check the clock of the recorder, the log, and whether the hammer is an open-end diesel",
        "percent",
    ),
    ("energy ratio", ""): FindingWords(
        "no rated energy is given, so the energy ratio is relative to ram weight times the stroke of each blow",
        "give rated_energy in [hammer] for the ratio to the hammer's rating",
    ),
    ("log depth", ""): FindingWords(
        "the penetration in the records and in the log differ by up to {value} (limit {limit}) in {where}; that of the"
        " records is used",
        "compare the blow numbers with the inspector's log",
        "depth",
    ),
    ("log depth", "another start"): FindingWords(
        "penetration_at_start is {value}, but by {log} blows were recorded from {limit}; the log covers {top} to"
        " {bottom}, so the depth of the blows is not known",
        "check that the log is of this drive, penetration_at_start, and the units and datum of both",
        "depth",
    ),
    ("log count", ""): FindingWords(
        "the records end with blow {value} but {log} counts {limit} blows; {consequence}",
        "compare the blow numbers with the inspector's log; set and penetration are only as reliable as these",
        "count",
    ),
}
"""What is said of each finding, by the name of its check and its case."""


def finding_message(finding: Finding, system: str) -> str:
    """Say what was found.

    Examples
    --------
    >>> finding_message(Finding("small movement", "warning", (3,), 1e-3, 2.54e-3, n_blows=9), "US")
    'the pile moved only 0.04 in, less than 0.10 in, in blow 3: the resistance found is a lower bound'
    """
    said = _say(finding, system, WORDS[finding.check, finding.case].problem)
    if finding.more.get("upper_bound"):
        said += "; the reduction is shorter than the wave front, so the remaining section may be much smaller"
    return said


def finding_cure(finding: Finding, system: str) -> str:
    """Say what to do about a finding."""
    return _say(finding, system, WORDS[finding.check, finding.case].cure)


def _say(finding: Finding, system: str, text: str) -> str:
    value, limit = _apart(WORDS[finding.check, finding.case].number, finding.value, finding.threshold, system)
    fields = {
        "gauge": finding.gauge,
        "value": value,
        "limit": limit,
        "where": blow_words(finding.blows, finding.n_blows),
        "state": integrity_class(finding.value) if "{state}" in text else "",  # of nothing else
        "consequence": (
            f"{blow_words(finding.blows, finding.n_blows)} have no depth"
            if finding.blows
            else "some blows were not recorded, or the numbering starts at another blow"
        ),
    }
    for name, number in finding.more.items():
        fields[name] = number if isinstance(number, str) else _WRITTEN[_MORE.get(name, "ratio")](number, system)
    return text.format(**fields)


_FINER = {
    "percent": "tenth percent",
    "ratio": "exact ratio",
    "milliseconds": "exact milliseconds",
    "movement": "exact movement",
}
"""How a number is written where its usual digits do not tell it from its threshold."""


def _apart(kind: str, value: float, limit: float, system: str) -> tuple[str, str]:
    """Write a value and its threshold, the value with a digit more where the two would read alike."""
    told = _WRITTEN[kind](value, system), _WRITTEN[kind](limit, system)
    if told[0] != told[1] or value == limit or kind not in _FINER:
        return told
    finer = _WRITTEN[_FINER[kind]]
    return finer(value, system), finer(limit, system) if kind == "movement" else told[1]  # 2.53 mm is not below 2.5 mm


def blow_words(numbers: Sequence[int] | np.ndarray, n_blows: int) -> str:
    """Put into words which blows a finding is about.

    Such as ``"blow 3"``.

    Examples
    --------
    >>> blow_words([3], 20), blow_words([3, 4], 20), blow_words(range(1, 301), 300)
    ('blow 3', 'blows 3 and 4', 'all 300 blows')
    >>> blow_words(range(7, 19), 300)
    '12 of 300 blows (7, 8, 9, 10, 11, …)'
    """
    listed = [str(int(number)) for number in numbers[:MOST_NUMBERS]]
    if len(numbers) == 1:
        return f"blow {listed[0]}"
    if len(numbers) == n_blows:
        return f"all {n_blows} blows"
    if len(numbers) <= MOST_NUMBERS:
        return f"blows {', '.join(listed[:-1])} and {listed[-1]}" if listed else "no blow"
    return f"{len(numbers)} of {n_blows} blows ({', '.join(listed)}, …)"


RULES = {
    "initial": (
        f"Of the last {TAKEN['initial']} sound blows (among the last {LOOKED_AT['initial']} recorded) those with at"
        f" least {percent(FULL_ENERGY)} of their highest energy; of these the one with the median resistance."
    ),
    "restrike": (
        f"Of the first {TAKEN['restrike']} sound blows (among the first {LOOKED_AT['restrike']} recorded) the earliest"
        f" with at least {percent(FULL_ENERGY)} of their highest energy."
    ),
    "engineer": "The engineer's own choice, [choices] blow in the test sheet.",
}
"""How the representative blow of a drive is chosen, by who chose it."""


def choice_reasons(chosen: Representative, system: str) -> list[str]:
    """Say what led to the representative blow of a drive, in the order of the rule."""
    if chosen.rule == "engineer":
        return []
    if chosen.warned:
        told = [
            f"none of the blows examined is free of warnings ({', '.join(chosen.warned)}); rejected ones are excluded"
        ]
    else:
        told = [f"{chosen.sound} of the {chosen.looked_at} blows examined have neither a warning nor a rejection"]
    if chosen.looked_at > 1:
        told = _compared(chosen, told)
    else:
        told = ["it is the only blow recorded", *(told if chosen.warned else ())]
    if chosen.lower_bound:
        told.append(
            f"it moved less than {_movement(MOVEMENT_LIMIT, system)}, so its resistance may not be fully mobilised:"
            " it is a lower bound"
        )
    return told


def _compared(chosen: Representative, told: list[str]) -> list[str]:
    if chosen.full:
        told.append(
            f"{chosen.full} of {chosen.compared} have at least {percent(FULL_ENERGY)} of the highest energy among them"
        )
    if chosen.rule == "restrike":
        told.append("it is the earliest of these, before the blows reduce the setup")
    elif chosen.middle_of:
        told.append(f"its {NAMES[chosen.middle_of].words} is the median of these")
    else:
        told.append("it is the last of these; none has a resistance to compare")
    return told


def choice_words(chosen: Representative, system: str) -> str:
    """Say in a clause why a blow is the representative one."""
    return "; ".join(choice_reasons(chosen, system)) or RULES[chosen.rule].rstrip(".")


ASSUMES_UNIFORM = {
    "total_resistance": "a uniform pile between gauges and toe",
    "case_resistance": "a uniform pile with all damping at the toe",
    "case_resistance_maximum": (
        "a uniform pile with all damping at the toe; with the damping factor of the first peak it is on the high side"
    ),
    "case_resistance_toe_at_rest": "a uniform pile without damping along the shaft",
    "case_resistance_unloading": "a uniform pile with all damping at the toe",
    "shaft_share": "a uniform pile, whose upward wave is from the soil only",
    "toe_compression_stress": "a uniform pile, whose upward wave is from the soil only",
    "peak_tension_stress": "a uniform pile without shaft resistance",
    "integrity_factor": "a pile designed to be uniform",
}
"""What each number by formula takes for granted, by its name in code."""


def uniform_note(pile: Pile) -> str | None:
    """Give the caution that a pile of several sections needs; nothing where it is uniform.

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> uniform_note(Pile("A", "steel", (PilePart(10.0, 0.01, 210e9, 7850.0),))) is None
    True
    """
    found = Finding("uniform pile", "note", (), float(len(pile.parts)), 1.0)
    return None if pile.uniform else finding_message(found, "SI")
