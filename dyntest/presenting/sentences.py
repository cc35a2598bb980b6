"""The answers in sentences, each with its number, its unit and its blow; terminal, pages and report say them alike."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from dyntest.decisions.criterion import permitted_set
from dyntest.decisions.driving_criterion import NO_STROKE, DrivingCriterion
from dyntest.decisions.risk import SOUND
from dyntest.decisions.setup import SECONDS_PER_DAY, Setup, gained, lost
from dyntest.decisions.stress_limits import MATERIAL_CODE, StressLimit
from dyntest.decisions.stroke_table import StrokeRow
from dyntest.decisions.time_law import CONFIDENCE, TimeLaw
from dyntest.decisions.trust import MOST_BLOWS_REJECTED, Trust
from dyntest.names import NAMES, decimal, display_unit, percent, show, show_length, show_required
from dyntest.presenting.criterion_words import RISKS, chance, count_asked, target_sentence
from dyntest.presenting.decision_words import (
    needed_words,
    ruled_out_words,
    told,
)
from dyntest.presenting.finding_words import blow_words
from dyntest.presenting.terms import drive_name, of_drive, per_count, short_length, show_blows, show_count, show_wait
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review
from dyntest.reviewing.stresses import DrivingStress
from dyntest.wave_equation.matching import Match

TRUST = {
    "yes": "the record can be trusted",
    "with care": "the record can be trusted with care",
    "no": "the record cannot be trusted",
}


STRESSES = (
    ("compression", "peak_gauge_stress"),
    ("compression", "toe_compression_stress"),
    ("tension", "peak_tension_stress"),
)
"""Limit of each stress."""


def drive_words(drive: DriveReview) -> str:
    """Give the name of a drive as it is written."""
    return drive_name(drive.name)


def short_trust(answer: str) -> str:
    """Say whether a record can be trusted in a column of that name.

    Examples
    --------
    >>> short_trust("with care")
    'can be trusted with care'
    """
    return TRUST[answer].removeprefix("the record ")


def trust_sentence(review: Review) -> str:
    """Say whether the record can be trusted, and why not where it cannot."""
    reasons = f" ({trust_reasons(review.trust)})" if review.trust.reasons else ""
    return f"{review.sheet.pile_name}: {TRUST[review.trust.answer]}{reasons}.{_noted(review)}"


def _noted(review: Review) -> str:
    """Say what else was found on the representative blows."""
    told = {
        (drive.representative.blow, finding.check): None
        for drive in review.drives
        for finding in drive.trust.at_blow
        if drive.representative is not None and finding.check not in review.trust.reasons
    }
    return f" Noted: {', '.join(f'{check} (blow {blow})' for blow, check in told)}." if told else ""


def trust_reasons(trust: Trust) -> str:
    """Give the reasons against a record in a row.

    Examples
    --------
    >>> trust_reasons(Trust("no", ("most blows rejected", "noise"), (), 20, 30))
    '20 of 30 blows rejected, noise'
    """
    rejected = f"{trust.rejected} of {trust.blows} blows rejected"
    return ", ".join(rejected if reason == MOST_BLOWS_REJECTED else reason for reason in trust.reasons)


def show_range(low: float, high: float, code: str, system: str) -> str:
    """Write a range with its unit once.

    Examples
    --------
    >>> show_range(1.5e6, 1.7e6, "matched_resistance", "SI")
    '1,500 to 1,700 kN'
    """
    unit, _, _ = display_unit(code, system)
    return f"{show(code, low, system).removesuffix(unit).strip()} to {show(code, high, system)}"


def resistance_sentence(review: Review, drive: DriveReview) -> str:
    """Say what resistance a drive shows, its range, and whether it meets the required one."""
    text = resistance_words(review, drive)
    return " ".join([text, *resistance_doubts(drive, review.sheet.display_units)])


def resistance_words(review: Review, drive: DriveReview) -> str:
    """Say what resistance a drive shows against what is required, without its cautions."""
    system, name, numbers = review.sheet.display_units, drive_words(drive).capitalize(), drive.numbers
    if drive.representative is None:
        return f"{name}: no sound blow, so no resistance."
    if drive.trust.answer == "no":
        return f"{name}: no resistance is given, since the record cannot be trusted."
    code = shown_resistance(drive)
    if code is None:
        return f"{name}: no static resistance without a damping factor or a signal match."
    how = "from signal matching" if code == "matched_resistance" else "by the Case method"
    low, high = drive.match.matched_resistance_range if drive.match else (numbers[code], numbers[code])
    spread = f" (range {show_range(low, high, code, system)})" if low < high else ""
    text = f"{name}: {show(code, numbers[code], system)}{spread} {how}, blow {drive.representative.blow}"
    required = review.answers.required.value
    if required is not None:
        text += f"; {against(required, low, high, drive.lower_bound)} {show_required(required, system)}"
    if code != "matched_resistance":
        factor = show("damping_factor_maximum", numbers.get("damping_factor_maximum"), system)
        text += f". It is based on a damping factor of {factor} that no match confirms"
    return f"{text}."


def shown_resistance(drive: DriveReview) -> str | None:
    """Give the name in code of the resistance that a drive is judged by; None where there is none."""
    return next((c for c in ("matched_resistance", "case_resistance_maximum") if c in drive.numbers), None)


def resistance_doubts(drive: DriveReview, system: str) -> list[str]:
    """Give the cautions on a resistance."""
    match, doubts, chosen = drive.match, [], drive.representative
    if chosen is None or drive.trust.answer == "no" or shown_resistance(drive) is None:
        return []
    if drive.lower_bound:
        why = "the blow moved the pile too little to mobilise the full resistance"
        doubts.append(f"LOWER BOUND: {why if chosen.lower_bound else 'the matched soil was not fully mobilised'}.")
    if match is not None and not match.fitted:
        doubts.append("POOR MATCH: do not use this resistance.")
    if drive.match_problem:
        doubts.append(f"Not matched: {drive.match_problem.rstrip('.')}.")
    if any(f.check == "integrity" and f.severity != "note" and chosen.blow in f.blows for f in drive.findings):
        depth = show("integrity_depth", drive.numbers.get("integrity_depth"), system)
        doubts.append(f"POSSIBLE DAMAGE {depth} below the gauges: do not rely on this resistance.")
    return doubts


def against(required: float, low: float, high: float, lower_bound: bool = False) -> str:
    """Say how a range compares with the required resistance; a lower bound is below nothing.

    Units: required, low, high [N].

    Examples
    --------
    >>> against(2.0, 1.0, 1.5), against(2.0, 1.0, 2.5), against(2.0, 2.1, 2.5), against(2.0, 1.0, 1.5, True)
    ('below the required', 'not clearly above the required', 'meets the required', 'not shown to meet the required')
    """
    if low >= required:
        return "meets the required"
    if high >= required:
        return "not clearly above the required"
    return "not shown to meet the required" if lower_bound else "below the required"


def stress_sentences(review: Review) -> list[str]:
    """Say how high the stress of each sense went in any drive, against its limit; from matching where there is one."""
    system, sentences = review.sheet.display_units, []
    for sense in ("compression", "tension"):
        worst = worst_stress(review, sense)
        if worst is not None:
            limit = getattr(review.limits, sense)
            if limit.value is None:
                text = f"{_stress(worst, system)}. No limit is known, write {needed_words(limit)}."
            else:
                text = f"{_stress(worst, system)}, {_against_limit(worst, system, limit)}."
            sentences.append(f"{text} {_where(worst, system)}")
    bent = gauge_stress(review)
    if bent is not None:
        value, drive = bent
        blow = int(drive.table["blow"].iloc[int(drive.table["peak_gauge_stress"].argmax())])
        limit = review.limits.compression.value
        text = f"{NAMES['peak_gauge_stress'].words.capitalize()}: "
        text += f"{show_stress(value, limit, system)[0]} ({drive_words(drive)}, blow {blow})"
        if limit is not None:
            most = show_stress(value, limit, system)[1]
            text += f", {'ABOVE' if value > limit else 'within'} the compression limit of {most}"
        sentences.append(f"{text}.")
    return sentences


def limit_note(limit: StressLimit) -> str:
    """Say what to bear in mind with a limit; nothing where there is nothing."""
    return "For prestressed piles; where severely corrosive only fpe is allowed." if limit.prestressed_only else ""


def energy_share(drive: DriveReview) -> str:
    """Say the energy ratio of the representative blow and what it is relative to; nothing where it is not known."""
    if "energy_ratio" not in drive.numbers:
        return ""
    rated = drive.drive.hammer is not None and drive.drive.hammer.rated_energy is not None
    of = "the rated energy" if rated else "ram weight × stroke"
    return f"{show('energy_ratio', drive.numbers['energy_ratio'], 'SI')} of {of}"


def worst_stress(review: Review, sense: str) -> DrivingStress | None:
    """Give the greatest stress of a sense of all drives, with the limit of the pile; None where none is known."""
    found = [one for one in review.answers.stresses if one.sense == sense]
    limit = getattr(review.limits, sense).value
    return replace(max(found, key=lambda one: one.value), limit=limit) if found else None


def gauge_stress(review: Review) -> tuple[float, DriveReview] | None:
    """Give the greatest compression at one gauge [Pa] and its drive; None where it is not known."""
    bent = [(float(drive.table["peak_gauge_stress"].max()), drive) for drive in review.drives]
    return max((pair for pair in bent if pair[0] == pair[0]), key=lambda pair: pair[0], default=None)


def estimate_sentences(review: Review) -> list[str]:
    """Say where a quick estimate from the gauges is above a limit that the matched pile keeps; its blows are drawn."""
    system, told_apart = review.sheet.display_units, []
    for sense, code in STRESSES:
        worst = worst_stress(review, sense)
        if code == "peak_gauge_stress" or worst is None or worst.limit is None or worst.above or not worst.matched:
            continue
        peaks = [(float(drive.table[code].max()), drive) for drive in review.drives if drive.table[code].notna().any()]
        value, drive = max(peaks, key=lambda pair: pair[0], default=(0.0, None))
        if drive is not None and value > worst.limit:
            blow = int(drive.table["blow"].iloc[int(drive.table[code].argmax())])
            estimate = f"{NAMES[code].words}, estimated from the gauges alone, is {show(code, value, system)}"
            estimate += f" ({drive_words(drive)}, blow {blow}), above the limit"
            told_apart.append(
                f"{sentence(estimate)} It is a quick estimate for a uniform pile; the matched stress counts."
            )
    return told_apart


def show_stress(value: float, limit: float | None, system: str) -> tuple[str, str]:
    """Write a stress and its limit, with as many digits more, up to three, as it takes to tell the two apart.

    Units: value, limit [Pa].

    Examples
    --------
    >>> show_stress(6.89e6, 7.12e6, "US"), show_stress(6.89e6, 29.6e6, "US")
    (('1.00 ksi', '1.03 ksi'), ('1.0 ksi', '4.3 ksi'))
    >>> show_stress(6.89e6, 6.9e6, "SI")
    ('6.89 MPa', '6.90 MPa')
    """
    told = (show("peak_gauge_stress", value, system), show("peak_gauge_stress", limit, system))
    if limit is None or value == limit:
        return told
    unit, factor, decimals = display_unit("peak_gauge_stress", system)
    for more in range(1, 4):
        if told[0] != told[1]:
            break
        told = (
            f"{decimal(value * factor, decimals + more)} {unit}",
            f"{decimal(limit * factor, decimals + more)} {unit}",
        )
    return told


def _stress(one: DrivingStress, system: str) -> str:
    """Say one stress with its range, the ends of which have the digits of the value."""
    value = show_stress(one.value, one.limit, system)[0]
    ends = [_as_written(value, end, system) for end in (one.low, one.high)]
    spread = f" ({ends[0].rsplit(' ', 1)[0]} to {ends[1]})" if one.low < one.high else ""
    return f"Maximum {one.sense} stress along the pile: {value}{spread}"


def _as_written(like: str, stress: float, system: str) -> str:
    """Write a stress with as many decimals as another one.

    Units: stress [Pa].

    Examples
    --------
    >>> _as_written("1.00 ksi", 6.4e6, "US"), _as_written("6.9 MPa", 7.32e6, "SI")
    ('0.93 ksi', '7.3 MPa')
    """
    number, unit = like.rsplit(" ", 1)
    _, factor, _ = display_unit("peak_gauge_stress", system)
    return f"{decimal(stress * factor, len(number.partition('.')[2]))} {unit}"


def _where(one: DrivingStress, system: str) -> str:
    """Say in which blow and at which depth a stress is, and where it comes from."""
    depth = "" if one.depth != one.depth else f", {show('penetration', one.depth, system)} below the gauges"
    how = "from the matched pile, over all blows" if one.matched else "from the gauges only, not confirmed by a match"
    return f"It occurs in blow {one.blow} of {of_drive(one.drive)}{depth} ({how})."


def _against_limit(one: DrivingStress, system: str, stated: StressLimit) -> str:
    """Say how a stress compares with its limit, and of which code that is."""
    code = f" ({MATERIAL_CODE})" if stated.source.startswith(MATERIAL_CODE) else ""
    limit = f"{show_stress(one.value, one.limit, system)[1]}{code}"
    if one.above:
        return f"ABOVE the limit of {limit}"
    within = f"within the limit of {limit}"
    return f"{within}, which its range exceeds" if one.may_be_above else within


def setup_sentence(setup: Setup) -> str:
    """Say how resistance changed between the end of initial driving and a restrike."""
    when = "" if setup.wait is None else f", {show_wait(setup.wait)} after initial driving"
    name = f"{drive_name(setup.restrike).capitalize()}{when}"
    factor = setup.setup_factor
    if factor is None or setup.basis is None:
        return f"{name}: the two drives have no resistance in common."
    spread = f" (range {factor.low:.2f} to {factor.high:.2f})" if factor.has_range else ""
    basis = "from signal matching" if setup.basis == "matched_resistance" else "by the Case method"
    if setup.inconclusive:
        seen = f"factor {factor.value:.2f}{spread}{'' if setup.initial_bound else ' or more'}, {basis}"
        return f"{name}: neither gain nor loss is shown, since the restrike is a LOWER BOUND: {seen}."
    kind = "RELAXATION, factor" if lost(factor) else "setup factor"
    if not lost(factor) and not gained(factor):
        kind = "no significant change, factor"
    return f"{name}: {kind} {factor.value:.2f}{spread}, {basis}.{_setup_bounds(setup)}"


def _setup_bounds(setup: Setup) -> str:
    """Say what a factor is worth where a resistance that it compares is a lower bound; nothing where none is."""
    first, later = f"the resistance of {of_drive(setup.initial)}", f"that of {of_drive(setup.restrike)}"
    if setup.initial_bound and setup.restrike_bound:
        return f" LOWER BOUNDS: {first} and {later}, so the factor is not certain."
    if setup.restrike_bound:
        return " LOWER BOUND: the restrike did not mobilise the full resistance."
    return f" It may be too high: {first} is a LOWER BOUND." if setup.initial_bound else ""


def law_words(law: TimeLaw) -> str:
    """Say how a time law was fitted."""
    words = f"{NAMES[law.basis].words} of {len(law.times)} drives, each at its own time, range of {percent(CONFIDENCE)}"
    if law.published_rate is not None:
        words += f"; the published rate of {percent(law.published_rate)} was weighed in"
    return words


def rate_sentence(law: TimeLaw, name: str) -> str:
    """Say how a resistance of the name given changes with time, with the range of its rate."""
    rate, gains = law.rate, law.rate.value >= 0.0
    ends = (rate.low, rate.high) if gains else (-rate.high, -rate.low)
    low, high = (f"{'−' if end < 0.0 else ''}{percent(abs(end))}" for end in ends)
    verb = "adds" if gains else "takes away"
    when = f"{law.reference_time / SECONDS_PER_DAY:.1f} days"
    return f"Each tenfold increase in time {verb} {percent(abs(rate.value))} ({low} to {high}) of the {name} at {when}."


def alert_sentences(review: Review) -> list[str]:
    """Say what forbids the use of the driving criterion until it is resolved; shown before everything else."""
    found = review.answers.criterion
    words = [told(one, review.sheet.display_units) for one in (() if found is None else found.alerts)]
    what = "THIS TEST FOR A CRITERION" if found is None or found.criterion is None else "THE CRITERION"
    return [f"DO NOT USE {what}: {one.message}. {sentence(one.cure)}" for one in words]


def case_alerts(review: Review) -> list[str]:
    """Say where the Case resistance and the matched one disagree; shown beside every Case resistance."""
    words = [told(caution, review.sheet.display_units) for caution in review.answers.case_against_match]
    return [f"CASE AND MATCHED RESISTANCE DISAGREE: {one.message}. {sentence(one.cure)}" for one in words]


def no_criterion_words(review: Review) -> str:
    """Say why there is no criterion, without a full stop; nothing where there is one."""
    answers, system = review.answers, review.sheet.display_units
    if answers.criterion is None:
        problem = answers.criterion_problem
        return "it was not requested" if problem is None else told(problem, system).sentence
    if answers.criterion.criterion is None:
        found = [told(one, system).sentence for one in answers.criterion.cautions if one.kind in NO_STROKE]
        return "; ".join(found) or "no stroke of the approved range can show the resistance"
    return ""


def criterion_sentence(review: Review) -> str:
    """Say what bearing piles have to meet, or why there is no criterion."""
    found, system = review.answers.criterion, review.sheet.display_units
    problem = no_criterion_words(review)
    if problem or found is None or found.criterion is None:
        return f"No driving criterion: {problem}."
    held = short_length(found.criterion.holding_length, system)
    text = f"{target_sentence(found.target, system)} The count must hold over {held}"
    if found.criterion.minimum_penetration is not None:
        text += f", at {show_length(found.criterion.minimum_penetration, system)} penetration or more"
    agreement = {True: "agree", False: "DO NOT agree"}.get(found.agrees) if found.agrees is not None else None
    measured = (
        f"The measured blows {agreement} with the bearing graph."
        if agreement
        else "No measured blow could be compared with the bearing graph."
    )
    return f"{text}. {measured}"


def sentence(words: str) -> str:
    """Write words as a sentence.

    Examples
    --------
    >>> sentence("look again")
    'Look again.'
    """
    words = words.strip()
    if not words:
        return ""
    end = "" if words[-1] in ".!?…" else "."
    return f"{words[0].upper()}{words[1:]}{end}"


def own_blow_sentences(found: DrivingCriterion, system: str) -> tuple[str, ...]:
    """Compare the last measured blows of the test pile with its own criterion."""
    if found.criterion is None:
        return ()
    measured = found.measured
    known = np.isfinite(measured.stroke) & np.isfinite(measured.set_per_blow)
    if not known.any():
        return ("The test pile's own last blows: stroke or set is not known, so they cannot be compared with it.",)
    stroke, moved = float(np.median(measured.stroke[known])), float(np.median(measured.set_per_blow[known]))
    asked = float(permitted_set(found.criterion, np.array(stroke)))
    counts = next(
        (pair for pair in _counts_told(moved, asked, system) if moved == asked or len(set(pair)) > 1),
        (show_count(moved, system), show_count(asked, system)),
    )
    own = f"The test pile's own last {show_blows(int(known.sum()))}: {counts[0]}"
    own += f" at a stroke of {show('stroke', stroke, system)} (medians)"
    if asked != asked:
        return (f"{own}. That stroke is below the lowest of the table.",)
    met = "meets" if moved <= asked else "does not meet"
    return (f"{own}. This {met} the {counts[1]} required there on average.",)


def _counts_told(moved: float, asked: float, system: str) -> Iterator[tuple[str, str]]:
    """Write a measured and a required count with more and more decimals: alike, they would not say which is higher."""
    for decimals in (1, 2, 3):
        yield show_count(moved, system, decimals), show_count(asked, system, decimals)


def criterion_cells(found: DrivingCriterion, row: StrokeRow, system: str) -> tuple[str, ...]:
    """Give the cells of one row of the criterion, in the order of `criterion_heads`."""
    stresses = (show("peak_gauge_stress", stress, system) for stress in (row.compression_stress, row.tension_stress))
    asked = row.ruled_out is None
    count = " ".join(count_asked(found.criterion, row, found.holding_length, system)) if asked else "–"
    chances = (chance(row.short), chance(row.driven_on)) if asked else ("–", "–")
    average = show_count(row.set_per_blow, system).split(" ")[0] if asked else "–"
    stroke = show("stroke", row.stroke, system)
    return (stroke, count, average, *stresses, *chances, ruled_out_words(row.ruled_out, system))


def criterion_heads(system: str) -> tuple[str, ...]:
    """Give the heads of the cells of `criterion_cells`."""
    average = f"average per {per_count(system)}"
    return ("stroke", "at least", average, "compression", "tension", *RISKS, "")


def risk_words() -> str:
    """Say what the two chances beside a count are."""
    return (
        "Short but accepted: the chance that a pile that just meets the count has less than required. Sound but "
        f"rejected: the chance that a pile with {percent(SOUND - 1.0)} more than required does not meet the count."
    )


def choice_rows(sheet: TestSheet) -> pd.DataFrame:
    """Give the choices of a sheet that differ from leaving everything to the rules.

    Examples
    --------
    See ``tests/presenting/test_choices_words.py``; a sheet is needed.
    """
    chosen, rows = sheet.choices, []
    rows += [(f"representative blow, {drive_name(name)}", f"{blow}") for name, blow in chosen.blow.items()]
    if chosen.damping_factor is not None:
        rows.append(("Case damping factor", show("damping_factor", chosen.damping_factor, sheet.display_units)))
    if chosen.leave_out:
        rows.append(("gauges left out", ", ".join(chosen.leave_out)))
    if chosen.low_pass is not None:
        rows.append(("low-pass filter", f"{chosen.low_pass:,.0f} Hz"))
    if chosen.align:
        rows.append(("lag between strain and acceleration", "corrected"))
    if chosen.soil_law != "best":
        rows.append(("soil law for matching", chosen.soil_law))
    if chosen.verification is not None:
        rows.append(("verification of the resistance", chosen.verification))
    if chosen.setup_credit is not None:
        rows.append(("setup measured by a restrike", "credited" if chosen.setup_credit else "not credited"))
    return pd.DataFrame(rows, columns=["choice", "value"])


def match_sentences(match: Match, system: str) -> tuple[str, ...]:
    """Say what a match gives and what it does not show."""
    return (
        _total(match, system),
        _shaft_and_toe(match, system),
        *_match_doubts(match, system),
        *_residual_stress(match, system),
        *_soil(match, system),
    )


def every_blow_sentences(drive: DriveReview) -> tuple[str, ...]:
    """Say how the matching of every blow went."""
    every = drive.every
    if every is None:
        return ()
    count, tried = len(every.total), int(np.isfinite(every.misfit).sum())
    told = [f"Every blow: {int(every.fitted.sum())} of {count} blows fit; they are in blows_{drive.name}.csv."]
    if not every.complete:
        told.insert(
            0, f"INTERRUPTED: {tried} of {count} blows were matched, and the others have no matched resistance."
        )
    if every.reasons:
        blows = drive.table["blow"].to_numpy()[sorted(every.reasons)]
        first = every.reasons[min(every.reasons)].rstrip(".")
        told.append(f"Not fitted: {blow_words(blows, count)}; the first of them: {first}.")
    return tuple(told)


def _value(match: Match, code: str, system: str) -> str:
    low, high = getattr(match, f"{code}_range")
    return f"{show(code, getattr(match, code), system)} (range {show_range(low, high, code, system)})"


def _total(match: Match, system: str) -> str:
    return f"Static resistance from signal matching: {_value(match, 'matched_resistance', system)}."


def _shaft_and_toe(match: Match, system: str) -> str:
    if match.separable:
        shaft, toe = (_value(match, code, system) for code in ("shaft_resistance", "toe_resistance"))
        return f"Shaft: {shaft}; toe: {toe}; each is a 90 % range."
    (low, high), (least, most) = match.shaft_resistance_range, match.toe_resistance_range
    shaft, toe = show_range(low, high, "shaft_resistance", system), show_range(least, most, "toe_resistance", system)
    return (
        f"SHAFT AND TOE ARE NOT SEPARATED: shaft {shaft}, toe {toe}. Use only their sum; do not use either alone for "
        "uplift, downdrag or setup."
    )


STRESS_TOLD = 0.05
"""Weight of models with residual stress from which on they are reported [1]; our own choice."""


def _residual_stress(match: Match, system: str) -> list[str]:
    """Say whether the record shows residual stress, and what it changes."""
    change = match.stress
    if change is None:
        return []
    force = show("shaft_resistance", change.toe_force, system)
    fits, fits_without = (show("misfit", value, system) for value in (change.misfit, change.misfit_without))
    misfits = f"misfit {fits} with it, {fits_without} without"
    total, shaft, toe = (decimal(ratio, 2) for ratio in change.ratio)
    changes = f"Residual stress multiplies the total by {total}, the shaft by {shaft} and the toe by {toe}."
    if match.weight_of_stress >= 1.0 - STRESS_TOLD:
        held = f"Residual stress: about {force} remains at the toe between blows ({misfits}). It is included here."
        return [held, changes]
    if match.weight_of_stress > STRESS_TOLD:
        held = f"Residual stress is possible: about {force} at the toe between blows ({misfits}). Ranges cover both."
        return [held, changes]
    if force.startswith("0 "):
        return ["Residual stress: the record shows none."]
    return [f"Residual stress: the record fits no better with {force} at the toe between blows ({misfits})."]


def _match_doubts(match: Match, system: str) -> list[str]:
    doubts = []
    if not match.fitted:
        doubts.append(f"POOR MATCH (misfit {show('misfit', match.misfit, system)}): do not use these numbers.")
    if not match.fully_mobilised:
        doubts.append("LOWER BOUND: the blow moved the pile too little to mobilise the full resistance.")
    if match.problem.hyperbolic:
        limit = show("matched_resistance", match.limit, system)
        doubts.append(f"The soil yields gradually; with more movement the same model reaches {limit} (extrapolated).")
    if match.section is not None:
        left, depth = match.section.section_left, show("integrity_depth", match.section.depth, system)
        before, after = (show("misfit", value, system) for value in (match.misfit_uniform, match.misfit))
        doubts.append(
            f"POSSIBLE DAMAGE {depth} below the gauges: {percent(left)} of the impedance is left. With it the misfit "
            f"falls from {before} to {after}."
        )
    return doubts


def _soil(match: Match, system: str) -> list[str]:
    text = f"Soil law: {match.law}, {match.damping_form} damping, misfit {show('misfit', match.misfit, system)}"
    if match.misfit_other_law == match.misfit_other_law:
        text += f" (next best {show('misfit', match.misfit_other_law, system)})"
    return [f"{text}."]
