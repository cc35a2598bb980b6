"""What stands behind each number: the sentences that findings, pages and the report show beside it.

Findings that need the quantities or the log: damage, damping factor, a pile of several sections, stroke, depth.
"""

import numpy as np

from dyntest.conditioning.findings import Check, Finding, blow_words, judge_check
from dyntest.hammer import Hammer
from dyntest.pile import Pile
from dyntest.quantities.case_resistance import SuggestedDamping
from dyntest.quantities.integrity import RESOLUTION, Integrity, integrity_class
from dyntest.quantities.pile_calibration import PileCalibration

ASSUMES_UNIFORM = {
    "total_resistance": "a uniform pile between gauges and toe",
    "case_resistance": "a uniform pile with all damping at the toe",
    "case_resistance_maximum": (
        "a uniform pile with all damping at the toe; with the damping factor of the first peak it is on the high side"
    ),
    "case_resistance_toe_at_rest": "a uniform pile without damping along the shaft",
    "case_resistance_unloading": "a uniform pile with all damping at the toe",
    "shaft_share": "a uniform pile, whose upward wave shows soil alone",
    "toe_compression_stress": "a uniform pile, whose upward wave shows soil alone",
    "peak_tension_stress": "a uniform pile without friction, its section everywhere that at the gauges",
    "integrity_factor": "a pile designed to be uniform",
}
"""What each number by formula takes for granted, by its name in code."""

DEFERS = (
    "Resistances, stresses and criteria are decision support. The governing specification and the licensed engineer"
    " in charge go before them."
)
"""Stands wherever a resistance or a limit is shown."""


def uniform_note(pile: Pile) -> str | None:
    """Give the caution that a pile of several sections needs; nothing where it is uniform.

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> uniform_note(Pile("A", "steel", (PilePart(10.0, 0.01, 210e9, 7850.0),))) is None
    True
    """
    if pile.uniform:
        return None
    return (
        f"the pile has {len(pile.parts)} parts of different section or material, but Case resistance, shaft share,"
        " toe stress, tension along the pile and integrity factor are formulas for a uniform one: they use the"
        " impedance at the gauges and the travel time of the whole, and take what a change of section sends up for"
        " soil or damage"
    )


LARGEST_STROKE_DIFFERENCE = 0.10
"""Median difference of the stroke from the blow rate and the observed one, over the observed [1]; our own choice."""

LARGEST_DEPTH_DIFFERENCE = 0.3
"""Difference of the penetration in the records and in the log [m], about an interval of one foot; our own choice."""

LEAST_SPEED_DIFFERENCE, SPEED_ERRORS = 0.02, 2.0
"""A wave speed differs from the sheet's beyond this share of it and so many standard errors [1]; our own choice."""

DAMPING_CHECK = "damping factor"
"""Name of the finding on a damping factor that is not the engineer's."""


def integrity_findings(found: Integrity, blow: np.ndarray, pile: Pile) -> list[Finding]:
    """Give a warning for blows that show damage, and a note for those where soil alone could look like it."""
    kinds = (
        ("integrity", ~found.could_be_soil, "warning" if pile.uniform else "note", "", "inspect the pile there"),
        (
            "integrity or soil",
            found.could_be_soil,
            "note",
            "; a layer with much damping or an enlarged section could look the same",
            "compare with the borings and with the first blows in that depth",
        ),
    )
    findings = []
    for name, mask, severity, doubt, cure in kinds:
        factor = np.where(mask, found.integrity_factor, np.nan)
        if np.isnan(factor).all():
            continue
        worst = int(np.nanargmin(factor))
        depth = found.integrity_depth[worst]
        if found.upper_bound[worst]:
            doubt += "; the reduction is shorter than the front of the wave, so much less of the section may be left"
        problem = (
            f"a reflection before the toe's return, {depth:.1f} m ({depth / 0.3048:.0f} ft) below the gauges, gives an"
            f" integrity factor of {{value}} ({integrity_class(factor[worst])}; uniform above {{limit}}) in"
            f" {{where}}{doubt}"
        )
        check = Check(name, lambda numbers: numbers, 1.0 - RESOLUTION, "below", severity, problem, cure)
        finding = judge_check(check, factor, blow, "pile")
        findings += [finding] if finding else []
    return findings


def damping_finding(
    chosen: float | None, suggested: SuggestedDamping | None, toe_soil: str | None, n_blows: int
) -> list[Finding]:
    """Give a note where the damping factor was not the engineer's, with what was taken and where it stands.

    Examples
    --------
    >>> damping_finding(None, None, "rock", 3)[0].severity, damping_finding(0.4, None, "rock", 3)
    ('note', [])
    """
    if chosen is not None:
        return []
    cure = "give damping_factor in the test sheet, or calibrate it by signal matching or a static load test"
    if suggested is None:
        message = (
            f"no damping factor is given, and there is no suggestion for {toe_soil or 'unnamed soil'} at the toe: Case"
            " resistances that need one are left out"
        )
        return [Finding(DAMPING_CHECK, "note", (), float(n_blows), 0.0, message, cure)]
    upper = "or higher" if suggested.highest is None else f"to {suggested.highest:.2f}"
    message = (
        f"no damping factor is given; {suggested.damping_factor:.2f} was taken for {suggested.soil} at the toe (range"
        f" {suggested.lowest:.2f} {upper}, {suggested.source}), and {suggested.factor_for_maximum:.2f} for the largest"
        " resistance over time"
    )
    return [Finding(DAMPING_CHECK, "note", (), suggested.damping_factor, suggested.lowest, message, cure)]


def wave_speed_finding(found: PileCalibration) -> list[Finding]:
    """Give a warning where clear returns from the toe tell another wave speed than the sheet.

    Examples
    --------
    >>> wave_speed_finding(PileCalibration(3800.0, 38.0, 0.95, 0.0095, 1.0, 0.01, 8, 8))[0].check
    'wave speed'
    """
    ratio, error = found.wave_speed_ratio, found.wave_speed_ratio_error
    threshold = max(LEAST_SPEED_DIFFERENCE, SPEED_ERRORS * error) if np.isfinite(error) else np.inf
    if not abs(ratio - 1.0) > threshold:
        return []
    message = (
        f"the wave comes back from the toe in {found.return_blows} clear blows as at {ratio:.3f} ± {error:.3f} of the"
        f" wave speed in the sheet (limit 1 ± {threshold:.3f})"
    )
    cure = "give this wave_speed in [pile] if the length is right; modulus, impedance and force follow from it"
    return [Finding("wave speed", "warning", (), ratio, threshold, message, cure)]


def uniform_finding(pile: Pile) -> list[Finding]:
    """Give a note where the pile is not uniform but formulas take it for so."""
    note = uniform_note(pile)
    cure = "use signal matching, which follows the sections, for resistance; take the rest as rough"
    return [Finding("uniform pile", "note", (), float(len(pile.parts)), 1.0, note, cure)] if note else []


def stroke_finding(from_rate: np.ndarray, observed: np.ndarray) -> list[Finding]:
    """Give a note where the stroke from the blow rate and the inspector's differ.

    Units: from_rate, observed [m].

    Examples
    --------
    >>> stroke_finding(np.array([2.0, 2.0]), np.array([2.1, np.nan]))
    []
    """
    both = np.isfinite(from_rate) & np.isfinite(observed) & (observed > 0)
    if not both.any():
        return []
    difference = float(np.median(from_rate[both] / observed[both] - 1.0))
    if abs(difference) <= LARGEST_STROKE_DIFFERENCE:
        return []
    message = (
        f"the stroke from the blow rate is {abs(difference):.0%} {'above' if difference > 0 else 'below'} the observed"
        f" one in the log, at the median (limit {LARGEST_STROKE_DIFFERENCE:.0%})"
    )
    cure = "check the clock of the recorder, the log, and whether the hammer is an open-end diesel"
    return [Finding("stroke", "note", (), difference, LARGEST_STROKE_DIFFERENCE, message, cure)]


def energy_finding(hammer: Hammer | None, ratio: np.ndarray) -> list[Finding]:
    """Give a note where the energy ratio is not against the rated energy, because the sheet has none.

    Examples
    --------
    >>> energy_finding(Hammer("drop", 3000.0, rated_energy=40e3), np.array([0.8]))
    []
    """
    if hammer is None or hammer.rated_energy or np.isnan(ratio).all():
        return []
    message = "no rated energy is given, so the energy ratio is against ram weight times the stroke of each blow"
    cure = "give rated_energy in [hammer] to have it against the hammer's rating"
    return [Finding("energy ratio", "note", (), float(np.nanmedian(ratio)), 1.0, message, cure)]


def depth_finding(recorded: np.ndarray, logged: np.ndarray, blow: np.ndarray) -> list[Finding]:
    """Give a warning where the penetration in the records and in the log differ.

    Units: recorded, logged [m].

    Examples
    --------
    >>> depth_finding(np.array([1.0, 2.5]), np.array([1.1, 2.0]), np.array([1, 2]))[0].blows
    (2,)
    """
    apart = np.abs(recorded - logged)
    far = apart > LARGEST_DEPTH_DIFFERENCE
    if not far.any():
        return []
    worst = float(apart[far].max())
    message = (
        f"the penetration in the records and in the log differ by up to {worst:.2f} m (limit"
        f" {LARGEST_DEPTH_DIFFERENCE:.2f} m) in {blow_words(blow[far], len(blow))}; that of the records is used"
    )
    numbers = tuple(int(number) for number in blow[far])
    cure = "compare the blow numbers with the inspector's log"
    return [Finding("log depth", "warning", numbers, worst, LARGEST_DEPTH_DIFFERENCE, message, cure)]
