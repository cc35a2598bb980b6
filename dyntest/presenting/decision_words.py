"""What decisions say in words: cautions, requirement, target, waits and limits, in the units of the reader."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dyntest.decisions.criterion import RuledOut
from dyntest.decisions.stress_limits import StressLimit
from dyntest.decisions.trust import Caution
from dyntest.names import decimal, percent, show, show_length
from dyntest.presenting.terms import (
    drive_name,
    names_in_sentence,
    of_drive,
    per_count,
    show_count,
    show_wait,
)

GOVERNING_SPECIFICATION = (
    "Decision support only: the governing specification, the contract and the licensed engineer in charge decide."
)
"""Shown beside every limit, factor and criterion that comes from a general code."""

EXAMPLES = {
    "yield_strength": "50 ksi",
    "compressive_strength": "6 ksi",
    "effective_prestress": "0.8 ksi",
    "base_resistance": "1.2 ksi",
}
"""An example for each strength that a stress limit needs."""


@dataclass(frozen=True)
class Told:
    """A caution in words.

    Parameters
    ----------
    check : str
        What was looked at.
    message : str
        What was seen, a sentence without its capital and full stop.
    cure : str
        What to do, in the same way; empty where there is nothing to do.
    """

    check: str
    message: str
    cure: str

    @property
    def sentence(self) -> str:
        """Both parts together, without a capital and full stop."""
        return f"{self.message}; {self.cure}" if self.cure else self.message


def told(caution: Caution, system: str = "SI") -> Told:
    """Say a caution, in the units of the reader.

    Examples
    --------
    >>> told(Caution("wait not known", facts={"restrike": "restrike_1"})).message
    'the wait before restrike 1 is not known'
    """
    message, cure = _WORDS[caution.kind]
    pile = f"{caution.pile}: " if caution.pile else ""
    words = message(_Numbers(caution, system))
    return Told(caution.kind, f"{pile}{words}", cure(_Numbers(caution, system)) if callable(cure) else cure)


class _Numbers:
    """The numbers of a caution, written with their units."""

    def __init__(self, caution: Caution, system: str) -> None:
        self.value, self.threshold, self.facts, self.system = caution.value, caution.threshold, caution.facts, system

    def __call__(self, code: str, value: float | None) -> str:
        return show(code, float("nan") if value is None else value, self.system)

    def of(self, name: str) -> Any:
        return self.facts[name]

    def drive(self, name: str) -> str:
        return drive_name(self.facts[name])

    def in_sentence(self, name: str) -> str:
        return of_drive(self.facts[name])

    def ratio(self, value: float | None) -> str:
        return "–" if value is None else decimal(value, 2)

    def share(self, value: float | None) -> str:
        return "–" if value is None else percent(value)

    def force(self, value: float | None) -> str:
        return self("matched_resistance", value)

    def stroke(self, value: float | None) -> str:
        return self("stroke", value)

    def length(self, value: float | None) -> str:
        return self("penetration", value)

    def stress(self, value: float | None) -> str:
        return self("peak_gauge_stress", value)

    def stated(self, value: float | None) -> str:
        return show_length(value, self.system)

    def moved(self, value: float | None) -> str:
        return self("set_per_blow", value)


_BOUND = {
    "initial": "the setup factor may be too high",
    "restrike": "its resistance and the setup factor are lower bounds",
    "both": "its resistance is a lower bound",
    "nothing shown": "the restrike shows neither gain nor loss",
}
"""What it means for the change that a drive's resistance is a lower bound."""


def _moved_too_little(n: _Numbers) -> str:
    moved, limit = n.moved(max(n.value or 0.0, 0.0)), n.moved(n.threshold)
    return f"{n.drive('drive')}: the pile moved {moved} per blow, below {limit}, so {_BOUND[n.of('meaning')]}"


def _more_energy(n: _Numbers) -> str:
    first = n.of("meaning") == "initial"
    return "judge the setup by the matched shaft resistance" if first else "strike with more energy"


def _relaxation(n: _Numbers) -> str:
    beyond = ", outside the ranges of both" if n.of("high") < 1.0 else ""
    return f"{n.drive('restrike')}: resistance fell to {n.value:.2f} of that at the end of the initial drive{beyond}"


def _graph(n: _Numbers) -> str:
    matched = n.force(n.of("matched"))
    if n.value is None:
        return f"the measured blows are outside the bearing graph, which covers resistances near the matched {matched}"
    return (
        f"the bearing graph reads {n.force(n.of('read'))} from the measured blows, the match gives {matched}: they "
        f"disagree by more than {n.share(n.threshold)}"
    )


def _case(n: _Numbers) -> str:
    share = n.value or 0.0
    return (
        f"the Case resistance of {of_drive(n.facts['drive'])} is {n.force(n.of('case'))} with "
        f"J = {n.of('factor'):.2f}, {n.share(abs(share))} {'above' if share > 0 else 'below'} "
        f"the matched {n.force(n.of('matched'))} (first-peak J = {n.of('calibrated'):.2f})"
    )


def _raised(n: _Numbers) -> str:
    parts = []
    if "scour" in n.facts:
        parts.append(f"{n.force(n.of('scour'))} of shaft resistance lost to scour")
    if "downdrag load" in n.facts:
        parts.append(
            f"{n.force(n.of('downdrag load'))} for the downdrag load ({n.of('load_factor'):.2f} over "
            f"{n.of('factor'):.2f})"
        )
        parts.append(f"{n.force(n.of('downdrag zone'))} of shaft resistance of the settling soil")
    return f"the required resistance during driving includes {', '.join(parts)}"


def _tests(n: _Numbers) -> str:
    """Say how many piles a resistance factor wants tested; without a share they are counted, not per site condition."""
    if n.of("share") == 1.0:
        return "a dynamic test of every pile"
    per = f"per site condition and {n.share(n.of('share'))} of the piles" if n.of("share") else "of one kind"
    return f"at least {n.threshold:.0f} tested piles {per}"


def _no_usable(n: _Numbers) -> str:
    """Say each reason once: of the counts beyond refusal the range, and of the stresses the lowest stroke's."""
    found = [one for one in n.of("reasons") if one is not None]
    sets = [one.value for one in found if one.kind == "refusal"]
    told = [ruled_out_words(one, n.system) for one in found if one.kind not in ("refusal", "lower stroke")]
    if sets:
        ends = dict.fromkeys(show_count(one, n.system, 0).split(" ")[0] for one in (max(sets), min(sets)))
        told.append(f"the count would be {' to '.join(ends)} {_REFUSED.format(per_count(n.system))}")
    return f"no stroke of the approved range can show the resistance: {'; '.join(dict.fromkeys(told))}"


_CREDIT = {"not measured": ", restrike to see whether setup can be credited", "not credited": ", credit the setup"}
"""What setup may do where counts are out of reach, by the kind of the target: nothing after a loss or once credited."""


def _hammer_cure(n: _Numbers) -> str:
    """Say what to write into [hammer], and what to write of a concrete pile that has no cushion."""
    needed = n.of("needed")
    words = f"give {names_in_sentence(needed)} in [hammer]"
    return f'{words}, or pile_cushion = "none" if there is none' if "pile_cushion_stiffness" in needed else words


def _and_hammer(n: _Numbers) -> str:
    needed = n.facts.get("needed")
    return f", and {names_in_sentence(needed)} in [hammer]" if needed else ""


_Words = tuple[Callable[[_Numbers], str], str | Callable[[_Numbers], str]]

_WORDS: dict[str, _Words] = {
    "test piles disagree": (
        lambda n: (
            f"the test piles disagree beyond their ranges: at {n.stroke(n.of('stroke'))} "
            + ", ".join(f"{pile} requires {show_count(one, n.system)}" for pile, one in n.of("sets").items())
        ),
        "the least favourable governs; check for different soil, or a damaged pile, before the counts are used",
    ),
    "damaged test pile": (
        lambda n: "the test pile may be damaged, so its counts are left out of the group's criterion",
        "inspect that pile before the others are driven",
    ),
    "too few tested piles": (
        lambda n: (
            f"{n.value:.0f} test pile{'' if n.value == 1 else 's'} for {n.of('piles')} piles, where the resistance "
            f"factor requires {n.threshold:.0f}"
        ),
        lambda n: f"it is based on {n.of('condition')}; test more piles, or use a lower factor",
    ),
    "test pile not reviewed": (
        lambda n: f"the test pile {n.of('sheet')} has no review: {str(n.of('why')).rstrip('.')}",
        "review it, or remove it from the group",
    ),
    "no test pile reviewed": (lambda n: "no test pile of the group has a review", "review at least one"),
    "criteria not combined": (
        lambda n: f"the criteria of the test piles cannot be combined: {n.of('why')}",
        "make a separate group for each type of pile and hammer",
    ),
    "moved too little": (_moved_too_little, _more_energy),
    "soil not mobilised": (
        lambda n: f"{n.drive('drive')}: the matched soil was not fully mobilised, so {_BOUND[n.of('meaning')]}",
        _more_energy,
    ),
    "hammer not at stroke": (
        lambda n: f"{n.drive('drive')}: the stroke was {n.stroke(n.value)}, below the approved {n.stroke(n.threshold)}",
        "warm the hammer up on another pile and restrike",
    ),
    "different stroke": (
        lambda n: (
            f"the stroke was {n.stroke(n.of('before'))} in {n.in_sentence('initial')} and "
            f"{n.stroke(n.of('after'))} in {n.in_sentence('restrike')}"
        ),
        "compare matched resistances, not blow counts",
    ),
    "different hammer or cushion": (
        lambda n: (
            f"another {', '.join('kind of hammer' if part == 'kind' else part for part in n.of('parts'))} in "
            f"{n.in_sentence('restrike')} than in {n.in_sentence('initial')}"
        ),
        "compare resistances, not blow counts",
    ),
    "different gauges": (
        lambda n: (
            f"{n.in_sentence('restrike')} was measured with {n.of('after')}, {n.in_sentence('initial')} with "
            f"{n.of('before')}"
        ),
        "check the proportionality of both records before comparing them",
    ),
    "wait not known": (
        lambda n: f"the wait before {n.in_sentence('restrike')} is not known",
        "give the end of the initial drive and the start of the restrike",
    ),
    "short wait": (
        lambda n: (
            f"{n.in_sentence('restrike')} came {show_wait(n.value)} after the initial drive, sooner than the "
            f"{show_wait(n.threshold)} usual in {n.of('soil')}"
        ),
        "expect further change, or restrike later",
    ),
    "relaxation": (
        _relaxation,
        "design for the lower resistance, restrike more piles, and check whether relaxation continues",
    ),
    "setup not matched": (
        lambda n: (
            f"the change by {n.in_sentence('restrike')}, a factor of {n.value:.2f}, is not based on two good "
            "matches, so no setup is credited"
        ),
        "match both drives, or correct the record that does not fit",
    ),
    "unusual setup": (
        lambda n: (
            f"the setup factor {n.value:.2f} is outside {n.of('low'):.1f} to {n.of('high'):.1f}, the range published "
            f"for {n.of('soil')}"
        ),
        "check both records and the wait",
    ),
    "large change": (
        lambda n: f"resistance changed by {n.share(n.value)} in {show_wait(n.of('wait'))}",
        "restrike production piles too",
    ),
    "setup credited": (
        lambda n: (
            "setup is credited as measured"
            + ("" if n.of("wait") is None else f" after {show_wait(n.of('wait'))}")
            + ": a pile that is loaded or tested earlier has less"
        ),
        "restrike some bearing piles to confirm it",
    ),
    "relaxation uncertain": (
        lambda n: f"the range of the relaxation factor reaches below {n.threshold:.2f}, too low to set a target",
        "match other blows of both drives",
    ),
    "resistance factor": (
        lambda n: (
            f"the sheet's resistance factor {n.value:.2f} is higher than {n.threshold:.2f}, the factor of "
            f'"{n.of("verification")}" in {n.of("source")}'
        ),
        "confirm it with the governing specification",
    ),
    "stress limits of another code": (
        lambda n: f"the driving stress limits are from {n.of('limits')}, the resistance factor from {n.of('factor')}",
        "write the limits of the governing specification in [requirement]",
    ),
    "not redundant": (
        lambda n: (
            "the foundation is not redundant, and the sheet states its own resistance or factor: it may not include "
            f"the {n.threshold:.2f} for non-redundant foundations"
        ),
        "confirm it with the governing specification",
    ),
    "scour not known": (
        lambda n: f"scour will remove {n.stated(n.value)} of soil, and no match shows how much resistance is lost",
        "match the test pile, or add that resistance to the requirement",
    ),
    "driving resistance raised": (
        _raised,
        "do not include it in the requirement as well, so that it is not counted twice",
    ),
    "factor without restrike": (
        lambda n: (
            f"the resistance factor {n.value:.2f} requires signal matching at a restrike, and no restrike was matched"
        ),
        "restrike the test pile after a wait, or confirm the factor",
    ),
    "tested piles": (
        lambda n: (
            f"the resistance factor {n.of('factor'):.2f} requires {_tests(n)} ({n.of('source')}); this sheet is one"
        ),
        "make sure that this many are tested on the site",
    ),
    "graph not checked": (
        lambda n: "no measured blow has both a stroke and a set, so the bearing graph is not checked by the log",
        "add a driving log with strokes",
    ),
    "not fully mobilised": (
        lambda n: (
            "the matched blow did not mobilise all the resistance, so the bearing graph is based on a lower bound"
        ),
        "take the counts as conservative",
    ),
    "no usable stroke": (_no_usable, "use another hammer or cushion, or restrike after a wait"),
    "stroke not reached": (
        lambda n: (
            f"the lowest stroke that can show the resistance is {n.stroke(n.value)}, and "
            f"the hammer reached {n.stroke(n.threshold)} at the end of driving"
        ),
        lambda n: (
            f"use a hammer with more energy{_CREDIT.get(n.facts.get('kind', ''), '')}, or accept by restrike only"
        ),
    ),
    "minimum penetration not tested": (
        lambda n: (
            f"the test pile ended at {n.length(n.value)}, and bearing piles would stop at {n.stated(n.threshold)} or "
            "deeper, in soil that was not tested"
        ),
        "drive it to the minimum penetration and test it again",
    ),
    "minimum penetration not shown": (
        lambda n: f"it is not known whether the test pile reached the minimum penetration of {n.stated(n.threshold)}",
        "add a driving log, or the penetration to the records",
    ),
    "test pile above minimum penetration": (
        lambda n: (
            f"the test pile ended at {n.length(n.value)}, above the minimum penetration of {n.stated(n.threshold)}, so "
            "its counts are from other soil than that of the bearing piles"
        ),
        "drive it to the minimum penetration and test it again, or confirm the counts by restrikes there",
    ),
    "bending": (
        lambda n: (
            f"with the measured bending ({n.of('bending'):.2f} times the mean) the compression at one gauge "
            f"exceeds the limit at strokes of {n.stroke(n.of('stroke'))} and more: {n.stress(n.value)} against "
            f"{n.stress(n.threshold)}"
        ),
        "align hammer and pile; the table ends below that stroke",
    ),
    "short but accepted": (
        lambda n: f"of piles that just meet the count, up to {n.share(n.value)} have less than required",
        "require more blows, or confirm some bearing piles by restrikes",
    ),
    "resistance not reached": (
        lambda n: (
            f"the counts are for {n.force(n.value)}, more than {n.threshold:.1f} times the {n.force(n.of('matched'))} "
            "matched at the end of driving, so they are extrapolated"
        ),
        "confirm them by a dynamic test of a pile that is driven to them",
    ),
    "few blows": (
        lambda n: (
            f"{show_count(n.value, n.system)} are required, fewer than the {show_count(n.threshold, n.system)} below "
            "which dynamic methods tend to over-predict (UFC 3-220-20, 6-4.1.2)"
        ),
        "confirm the resistance by a restrike",
    ),
    "bearing graph against measured blows": (
        _graph,
        "do not use the counts until the reason is found: stroke, log, cushions, or soil that changes during driving",
    ),
    "match": (
        lambda n: (
            f"the match has a misfit of {show('misfit', n.value, n.system)}, so soil and bearing graph may be wrong"
        ),
        "match another blow, or check pile and record",
    ),
    "computed set against the log": (
        lambda n: (
            f"the set computed over the last foot is {n.ratio(n.value)} times that of the log, outside "
            f"{1.0 / (n.threshold or 1.0):.2f} to {n.threshold:.2f}; uncorrected, the bearing graph requires too "
            f"{'few' if (n.value or 1.0) > 1.0 else 'many'} blows"
        ),
        "check strokes, counts and cushions of the last foot, and the match",
    ),
    "residual stress": (
        lambda n: (
            f"with residual stress from earlier blows the computed set is {n.ratio(n.value)} times that without it, "
            "which match and bearing graph assume"
        ),
        "consider this when using the counts",
    ),
    "hammer calibration": (
        lambda n: (
            f"the calibrated hammer gives {n.ratio(n.value)} times the measured force and "
            f"{n.ratio(n.of('energy_ratio'))} times the measured energy"
        ),
        "check ram, helmet and cushions in the sheet",
    ),
    "reduced section": (
        lambda n: (
            f"matching finds a reduced section {n.length(n.of('depth'))} below the gauges, with "
            f"{n.share(n.value)} of the impedance left"
        ),
        "take the criterion from a sound test pile",
    ),
    "damage": (
        lambda n: (
            f"the test pile may be damaged {n.length(n.of('depth'))} below the gauges (integrity factor {n.value:.2f})"
        ),
        "take the criterion from a sound test pile",
    ),
    "lower bound": (
        lambda n: (
            "the representative blow at the end of driving moved the pile too little, so its resistance is a lower "
            "bound"
        ),
        "match a blow with more movement, or strike with more energy",
    ),
    "record": (
        lambda n: "the record of the initial drive cannot be trusted",
        lambda n: f"check {', '.join(n.of('reasons'))}",
    ),
    "Case against match": (
        _case,
        "do not use the Case resistance with this factor until the reason is found",
    ),
    "no requirement": (
        lambda n: "no resistance is required in the sheet",
        lambda n: f"give nominal_resistance in [requirement]{_and_hammer(n)}",
    ),
    "no initial drive": (
        lambda n: "there is no initial drive, and a criterion is for the end of driving",
        'add the records of the end of driving as a [[drive]] of kind "initial"',
    ),
    "no matched soil": (
        lambda n: (
            f"the initial drive has no matched soil, since {n.of('why').rstrip('.')}"
            if n.of("why")
            else "the representative blow of the initial drive was not matched"
        ),
        lambda n: "" if n.of("why") else "match it",
    ),
    "no hammer": (lambda n: "the sheet has no [hammer], and the bearing graph needs it", _hammer_cure),
    "hammer data missing": (
        lambda n: f"[hammer] lacks {names_in_sentence(n.of('needed'))}, which the bearing graph needs",
        _hammer_cure,
    ),
    "hammer not calibrated": (lambda n: str(n.of("why")).rstrip("."), ""),
    "count and set disagree": (
        lambda n: (
            f"the records of {n.in_sentence('drive')} end with blow {n.value:.0f} and its log counts "
            f"{n.threshold:.0f}, so no blow's set is certain"
        ),
        "compare the blow numbers with the log, or write first_blow in [[drive]]",
    ),
    "strokes of another hammer": (
        lambda n: (
            f"{n.value:.0f} of {n.of('of')} piles end at strokes outside the criterion's "
            f"{n.stroke(n.of('low'))} to {n.stroke(n.of('high'))}"
        ),
        "check that this log, hammer and test pile belong together",
    ),
    "depths of another structure": (
        lambda n: (
            f"{n.value:.0f} of {n.of('of')} piles end more than {n.length(n.of('far'))} above or below the test piles' "
            f"{n.length(n.of('low'))} to {n.length(n.of('high'))}"
        ),
        "check that this log and test pile belong together",
    ),
}
"""Message and cure of every kind of caution."""


_REFUSED = "blows per {}, at or beyond practical refusal"  # in whole blows: 9.9 would read as below the 10 of the card


def ruled_out_words(reason: RuledOut | None, system: str) -> str:
    """Say why a stroke cannot be used; nothing where it can.

    Examples
    --------
    >>> ruled_out_words(RuledOut("refusal", 2.0, 0.0254 / 11, 0.0254 / 10), "US")
    'the count would be 11 blows per inch, at or beyond practical refusal'
    """
    if reason is None:
        return ""
    if reason.kind == "refusal":
        number = show_count(reason.value, system, 0).split(" ")[0]
        return f"the count would be {number} {_REFUSED.format(per_count(system))}"
    if reason.kind == "lower stroke":
        return f"a stress exceeds its limit at a lower stroke, {show('stroke', reason.stroke, system)}"
    bent = reason.kind == "bending"
    code = "peak_gauge_stress" if bent else f"peak_{reason.kind}_stress"
    name = "compression stress with the measured bending" if bent else f"{reason.kind} stress"
    value, limit = show(code, reason.value, system), show(code, reason.limit, system)
    if value == limit:
        return f"the {name} is just above the limit of {limit}"
    return f"the {name} of {value} is above the limit of {limit}"


def needed_words(limit: StressLimit) -> str:
    """Say what has to be written before a limit can be stated."""
    keys = names_in_sentence([f'[pile] {name}, such as "{EXAMPLES[name]}"' for name in limit.needed])
    return f"{keys}, or [requirement] {limit.sense}_stress_limit"
