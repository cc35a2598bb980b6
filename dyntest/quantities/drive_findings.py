"""Findings that need the quantities or the log: damage, damping factor, wave speed, several sections, stroke, depth."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from dyntest.conditioning.findings import Check, Finding, judge_check
from dyntest.hammer import Hammer
from dyntest.pile import Pile
from dyntest.quantities.case_resistance import SuggestedDamping
from dyntest.quantities.integrity import RESOLUTION, Integrity
from dyntest.quantities.pile_calibration import PileCalibration
from dyntest.signals import AveragedTraces, Signals

LARGEST_STROKE_DIFFERENCE = 0.10
"""Median difference of the stroke from the blow rate and the observed one, over the observed [1]; our own choice."""

LARGEST_DEPTH_DIFFERENCE = 0.3
"""Difference of the penetration in the records and in the log [m], about an interval of one foot; our own choice."""

DEPTH_DOUBT = 0.1
"""A depth in a log is not known better than this [m]; our own choice."""

DEEPEST_GAUGES = 2.0
"""Gauges cannot be read deeper in the ground than this [m]: they are two or three widths below a head that the hammer
strikes above ground or in a shallow pit (common practice, no source; the number is ours)."""

LEAST_SPEED_DIFFERENCE, SPEED_ERRORS = 0.02, 2.0
"""A wave speed differs from the sheet's beyond this share of it and so many standard errors [1]; our own choice."""

LEAST_BLOWS = 3
"""Blows of a drive below which nothing tells a usual blow from an odd one [1]; our own choice."""

DAMPING_CHECK = "damping factor"
"""Name of the finding on a damping factor that is not the engineer's."""


GAUGE_CHECKS = frozenset(
    {
        "dead channel",
        "clipped channel",
        "swapped sign",
        "noisy channel",
        "spikes",
        "strain not returning",
        "bending",
        "accelerometers disagree",
        "time lag between gauges",
        "single strain gauge",
        "strain gauge pairs disagree",
        "accelerometer pairs disagree",
        "proportionality",
        "lag",
        "no quiet part",
    }
)
"""Checks that gauges have to pass before a reflection is told as damage: each fault makes force and velocity differ."""


def stream_findings(signals: Signals | AveragedTraces) -> list[Finding]:
    """Say what was struck in a continuous stream besides its blows, and what of it was left out."""
    impacts = signals.impacts if isinstance(signals, Signals) else None
    if impacts is None:
        return []
    found = []
    for case, times in (("bounces", impacts.bounces), ("double strikes", impacts.double_strikes)):
        if len(times):
            more: dict[str, float | str] = {"first": f"{times[0]:.2f}"}
            found.append(Finding("stream", "note", (), float(len(times)), 0.0, case=case, more=more))
    if impacts.incomplete:
        found.append(Finding("stream", "note", (), float(impacts.incomplete), 0.0, case="incomplete"))
    return found


def number_finding(n_blows: int) -> list[Finding]:
    """Give a warning where a drive has so few blows that none confirms the one that stands for it.

    Examples
    --------
    >>> number_finding(1)[0].severity, number_finding(3)
    ('warning', [])
    """
    if n_blows >= LEAST_BLOWS:
        return []
    case = "one" if n_blows == 1 else ""
    return [Finding("few blows recorded", "warning", (), float(n_blows), float(LEAST_BLOWS), case=case)]


def factor_findings(signals: Signals | AveragedTraces) -> list[Finding]:
    """Say for which gauges the file states a factor that may not be in its numbers."""
    said = signals.untold if isinstance(signals, Signals) else {}
    return [Finding("file factor", "note", (), 0.0, 0.0, gauge, more={"first": text}) for gauge, text in said.items()]


def integrity_findings(
    found: Integrity, blow: np.ndarray, pile: Pile, gauges: Iterable[Finding] = ()
) -> tuple[Integrity, list[Finding]]:
    """Give a warning for blows that show damage, and a note for those where soil or a gauge could look like it.

    Damage is told only where the gauges pass their own checks and the reflection comes after the rise of the blow.
    Where they do not, factor and depth are taken back: they tell of the gauge.
    """
    faults = [f for f in gauges if f.check in GAUGE_CHECKS and f.at_blow != "note"]
    faulty = np.isin(blow, [number for fault in faults for number in fault.blows])
    with np.errstate(invalid="ignore"):
        near = ~faulty & (found.integrity_depth < found.resolved_depth)
    taken_back, clear = faulty | near, ~faulty & ~near
    findings = []
    for name, case, mask, severity in (
        ("integrity", "", clear & ~found.could_be_soil, "warning" if pile.uniform else "note"),
        ("integrity or soil", "", clear & found.could_be_soil, "note"),
        ("integrity or gauges", "faulty", faulty, "note"),
        ("integrity or gauges", "near", near, "note"),
    ):
        factor = np.where(mask, found.integrity_factor, np.nan)
        finding = judge_check(Check(name, np.asarray, 1.0 - RESOLUTION, "below", severity, case), factor, blow)
        if finding is None:
            continue
        worst = int(np.nanargmin(factor))
        more: dict[str, float | str] = {"depth": float(found.integrity_depth[worst])}
        if case == "faulty":
            named = set(finding.blows)
            more["gauges"] = ", ".join(sorted({f.check for f in faults if named.intersection(f.blows)}))
        elif case == "near":
            more["resolved"] = float(found.resolved_depth[worst])
        else:
            more["upper_bound"] = float(found.upper_bound[worst])
        findings.append(replace(finding, more=more))
    with np.errstate(invalid="ignore"):
        reflected = taken_back & (found.integrity_factor <= 1.0 - RESOLUTION)
    factor, depth = (np.where(reflected, np.nan, values) for values in (found.integrity_factor, found.integrity_depth))
    return replace(found, integrity_factor=factor, integrity_depth=depth), findings


def geometry_findings(penetration: np.ndarray, pile: Pile, blow: np.ndarray) -> list[Finding]:
    """Give what cannot be: a toe deeper than the pile is long, or gauges in the ground.

    Units: penetration [m].

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> pile = Pile("A", "steel", (PilePart(15.0, 0.01, 210e9, 7850.0),), total_length=16.0)
    >>> depth = np.array([14.0, 15.5, 16.2])
    >>> [(f.case, f.severity, f.blows) for f in geometry_findings(depth, pile, np.array([1, 2, 3]))]
    [('beyond the pile', 'reject', (3,)), ('gauges in the ground', 'warning', (2,))]
    """
    whole = pile.length if pile.total_length is None else pile.total_length
    longest, free, deepest = whole + DEPTH_DOUBT, pile.length + DEPTH_DOUBT, pile.length + DEEPEST_GAUGES
    beyond = penetration > longest
    buried = np.where(beyond, np.nan, penetration)
    found = []
    for numbers, limit, severity, case, length in (
        (penetration, longest, "reject", "beyond the pile", whole),
        (buried, deepest, "reject", "gauges deep in the ground", pile.length),
        (np.where(buried > deepest, np.nan, buried), free, "warning", "gauges in the ground", whole),
    ):
        one = judge_check(Check("penetration", np.asarray, limit, "above", severity, case), numbers, blow)
        if one is not None:
            found.append(replace(one, more={"length": length}))
    return found


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
    if suggested is None:
        soil: dict[str, float | str] = {"soil": toe_soil or "unnamed soil"}
        return [Finding(DAMPING_CHECK, "note", (), float(n_blows), 0.0, case="none", more=soil)]
    more: dict[str, float | str] = {
        "soil": suggested.soil,
        "upper": "or higher" if suggested.highest is None else f"to {suggested.highest:.2f}",
        "source": suggested.source,
        "for_maximum": suggested.factor_for_maximum,
    }
    return [Finding(DAMPING_CHECK, "note", (), suggested.damping_factor, suggested.lowest, more=more)]


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
    return [Finding("wave speed", "warning", (), ratio, threshold, more={"error": error})]


def uniform_finding(pile: Pile) -> list[Finding]:
    """Give a note where the pile is not uniform but formulas take it for so."""
    return [] if pile.uniform else [Finding("uniform pile", "note", (), float(len(pile.parts)), 1.0)]


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
    return [Finding("stroke", "note", (), difference, LARGEST_STROKE_DIFFERENCE)]


def energy_finding(hammer: Hammer | None, ratio: np.ndarray) -> list[Finding]:
    """Give a note where the energy ratio is not against the rated energy, because the sheet has none.

    Examples
    --------
    >>> energy_finding(Hammer("drop", 3000.0, rated_energy=40e3), np.array([0.8]))
    []
    """
    if hammer is None or hammer.rated_energy or np.isnan(ratio).all():
        return []
    return [Finding("energy ratio", "note", (), float(np.nanmedian(ratio)), 1.0)]


def depth_finding(recorded: np.ndarray, logged: np.ndarray, blow: np.ndarray) -> list[Finding]:
    """Give a warning where the penetration in the records and in the log differ.

    Units: recorded, logged [m].

    Examples
    --------
    >>> depth_finding(np.array([1.0, 2.5]), np.array([1.1, 2.0]), np.array([1, 2]))[0].blows
    (2,)
    """
    apart = np.abs(recorded - logged)
    found = judge_check(Check("log depth", np.asarray, LARGEST_DEPTH_DIFFERENCE, "above", "warning"), apart, blow)
    return [] if found is None else [replace(found, severity="warning")]
