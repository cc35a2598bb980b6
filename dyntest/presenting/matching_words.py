"""What a signal match says, in sentences and in the user's units, its doubts before its details."""

import numpy as np

from dyntest.conditioning.check import blow_words
from dyntest.names import show
from dyntest.presenting.sentences import show_range
from dyntest.reviewing.drive_review import DriveReview
from dyntest.wave_equation.matching import Match


def match_sentences(match: Match, system: str) -> tuple[str, ...]:
    """Say what a match gives and what it cannot tell.

    Parameters
    ----------
    match : Match
        The matched blow.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    tuple of str
        Sentences: the total with its range; shaft and toe with theirs, or that the record does not tell them apart;
        then whatever stands against the numbers, a reduced section, and the soil law with its misfit.
    """
    return (_total(match, system), _shaft_and_toe(match, system), *_doubts(match, system), *_soil(match, system))


def every_blow_sentences(drive: DriveReview) -> tuple[str, ...]:
    """Say how the matching of every blow went.

    Parameters
    ----------
    drive : DriveReview
        The reviewed drive.

    Returns
    -------
    tuple of str
        How many blows fit, which would not and why, and whether the work was interrupted; nothing where only the
        representative blow was matched.
    """
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
        told.append(f"Would not fit: {blow_words(blows, count)}; the first of them: {first}.")
    return tuple(told)


def _value(match: Match, code: str, system: str) -> str:
    low, high = getattr(match, f"{code}_range")
    return f"{show(code, getattr(match, code), system)} ({show_range(low, high, code, system)})"


def _total(match: Match, system: str) -> str:
    return f"Signal matching gives a static resistance of {_value(match, 'matched_resistance', system)} for this blow."


def _shaft_and_toe(match: Match, system: str) -> str:
    if match.separable:
        shaft, toe = (_value(match, code, system) for code in ("shaft_resistance", "toe_resistance"))
        return f"The shaft carries {shaft} of it and the toe {toe}."
    shaft = show_range(*match.shaft_resistance_range, "shaft_resistance", system)
    toe = show_range(*match.toe_resistance_range, "toe_resistance", system)
    return (
        f"THE RECORD DOES NOT TELL SHAFT FROM TOE: the shaft may carry {shaft} and the toe {toe}. Use their sum, and "
        "take neither part alone for uplift, downdrag or setup."
    )


def _doubts(match: Match, system: str) -> list[str]:
    doubts = []
    if not match.fitted:
        doubts.append(
            f"THE MATCH IS POOR (misfit {show('misfit', match.misfit, system)}): computed and measured waves differ "
            "too much for these numbers to be used."
        )
    if not match.fully_mobilised:
        doubts.append("A LOWER BOUND: the blow moved the pile too little to mobilise the soil fully.")
    if match.problem.hyperbolic:
        doubts.append(
            f"The soil gives way little by little: with further movement the same model would reach "
            f"{show('matched_resistance', match.limit, system)}, an extrapolation that the blow did not prove."
        )
    if match.section is not None:
        left, depth = match.section.section_left, match.section.depth
        doubts.append(
            f"THE PILE MAY BE DAMAGED: {left:.0%} of the impedance left from {show('integrity_depth', depth, system)} "
            f"below the gauges lowers the misfit from {show('misfit', match.misfit_uniform, system)} to "
            f"{show('misfit', match.misfit, system)}."
        )
    return doubts


def _soil(match: Match, system: str) -> list[str]:
    text = f"Soil law: {match.law}, {match.damping_form} damping, misfit {show('misfit', match.misfit, system)}"
    if match.misfit_other_law == match.misfit_other_law:
        text += f" ({show('misfit', match.misfit_other_law, system)} with the next best)"
    return [f"{text}."]
