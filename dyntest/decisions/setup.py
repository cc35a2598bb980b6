"""Setup or relaxation: resistance at a restrike over resistance at the end of the initial drive, and its cautions.

The wait comes from the clocks of the sheet. Each caution against crediting a measured setup is one small function.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from math import exp, hypot, log
from statistics import NormalDist

from dyntest.conditioning.wave_measures import MOVEMENT_LIMIT
from dyntest.decisions.estimate import RANGE_DEVIATIONS, Estimate, ratio
from dyntest.decisions.trust import Caution
from dyntest.errors import InputError
from dyntest.hammer import Hammer
from dyntest.reading.parts import Drive

SECONDS_PER_DAY = 86400.0
"""Length of a day [s], exact."""


def wait(initial_end: datetime | None, restrike_start: datetime | None, source: str = "test sheet") -> float | None:
    """Give the time from the end of the initial drive to the start of a restrike.

    Units: returns [s].

    Examples
    --------
    >>> wait(datetime(2026, 5, 4, 14), datetime(2026, 5, 9, 14)) / SECONDS_PER_DAY
    5.0
    """
    if initial_end is None or restrike_start is None:
        return None
    if (initial_end.utcoffset() is None) != (restrike_start.utcoffset() is None):
        problem = "some times of the drives have a time zone and some have none"
        raise InputError(source, "[[drive]] start and end", problem, "write all with the same local clock")
    seconds = (restrike_start - initial_end).total_seconds()
    if seconds <= 0.0:
        problem = f"the restrike starts at {restrike_start:%Y-%m-%d %H:%M}, not after the end of the initial drive at "
        problem += f"{initial_end:%Y-%m-%d %H:%M}"
        raise InputError(source, "[[drive]] start and end", problem, "correct the clocks")
    return seconds


@dataclass(frozen=True)
class DriveResult:
    """What one drive says about resistance: the last blows of an initial drive, the first sound blows of a restrike.

    Parameters
    ----------
    drive : Drive
        The drive, with its name, kind, clocks and hammer.
    matched_resistance : Estimate or None
        Resistance from signal matching [N].
    case_resistance_maximum : Estimate or None
        Case resistance, largest over time, with the range that the damping factor leaves [N].
    shaft_resistance, toe_resistance : Estimate or None
        Its parts from signal matching [N].
    set_per_blow : float or None
        Set of the blow [m].
    stroke : float or None
        Stroke of the ram [m].
    gauges : str
        Which gauges measured it, in any words that change when a gauge is replaced; empty where not known.
    fitted : bool
        Whether the match fits well enough for its numbers to mean anything.
    lower_bound : bool
        Whether the blow did not mobilise all of the resistance, so that the pile may have more.
    changes : dict of str to Estimate
        Of a restrike: its resistances over those at the end of the initial drive, from both matches at once [1], by the
        name of the resistance; empty where not known.
    case_by_damping : tuple of float
        Case resistance, largest over time, for the same rising damping factors at every drive [N]; empty where not
        known.
    """

    drive: Drive
    matched_resistance: Estimate | None = None
    case_resistance_maximum: Estimate | None = None
    shaft_resistance: Estimate | None = None
    toe_resistance: Estimate | None = None
    set_per_blow: float | None = None
    stroke: float | None = None
    gauges: str = ""
    fitted: bool = True
    lower_bound: bool = False
    case_by_damping: tuple[float, ...] = ()
    changes: Mapping[str, Estimate] = field(default_factory=dict)

    @property
    def hammer(self) -> Hammer | None:
        """The hammer of the drive."""
        return self.drive.hammer


STROKE_CHANGE = 0.10
"""Strokes of the two drives that differ by more than this share [1] are said; no source."""

CHANGE_FOR_PRODUCTION_RESTRIKES = 0.25
CHANGE_WAIT = 16 * 3600.0
"""A change by more than this share [1] after more than this wait [s] asks for restrikes of production piles (US Army
Corps of Engineers, EI 02G001, 1997, 4-2c)."""

PUBLISHED_SETUP_FACTORS = {"clay": (1.2, 5.5), "silt": (1.5, 5.0), "sand": (0.8, 2.0)}
"""Range of measured setup factors by the soil along the shaft [1] (FHWA-NHI-16-009, 2016, Table 7-16, after Rausche et
al. 1996)."""

RESTRIKE_WAITS = {"sand": 1 * SECONDS_PER_DAY, "silt": 3 * SECONDS_PER_DAY, "clay": 7 * SECONDS_PER_DAY}
"""Shortest usual wait before a restrike [s] (from memory, after the FHWA driven-pile manuals: clean sand 1 day, sandy
silt 3 to 5 days, silt and clay 7 to 14 days or longer)."""

_HAMMER_PARTS = {
    "kind": "kind",
    "ram_mass": "ram",
    "helmet_mass": "helmet",
    "hammer_cushion_stiffness": "hammer cushion",
    "hammer_cushion_restitution": "hammer cushion",
    "pile_cushion_stiffness": "pile cushion",
    "pile_cushion_restitution": "pile cushion",
}


def setup_cautions(
    initial: DriveResult, restrike: DriveResult, setup: "Setup", *, soil: str | None
) -> tuple[Caution, ...]:
    """Give the cautions against crediting a measured setup."""
    factor, waited = setup.setup_factor, setup.wait
    found = [
        _too_little(initial, "both" if setup.restrike_bound and setup.initial_bound else "initial"),
        _too_little(restrike, _meaning(setup)),
        _below_stroke(initial),
        _below_stroke(restrike),
        _other_stroke(initial, restrike),
        _other_hammer(initial, restrike),
        _other_gauges(initial, restrike),
        _wait(restrike, waited, soil),
        *(() if setup.inconclusive else (_relaxation(restrike, factor), _unusual(factor, soil))),
        _not_matched(restrike, setup),
        None if setup.inconclusive else _large_change(factor, waited),
    ]
    return tuple(caution for caution in found if caution is not None)


def _known(value: float | None) -> float | None:
    """Give a number, or None where it is absent or not a number."""
    return None if value is None or value != value else value


def _bound(result: DriveResult) -> bool:
    """Whether the resistance of a drive is a lower bound, by its match or by the movement of its blow."""
    moved = _known(result.set_per_blow)
    return result.lower_bound or (moved is not None and moved < MOVEMENT_LIMIT)


def _too_little(result: DriveResult, meaning: str) -> Caution | None:
    """Caution where a blow did not mobilise the whole resistance, by its movement or by its match."""
    moved, facts = _known(result.set_per_blow), {"drive": result.drive.name, "meaning": meaning}
    if moved is not None and moved < MOVEMENT_LIMIT:
        return Caution("moved too little", moved, MOVEMENT_LIMIT, facts)
    return Caution("soil not mobilised", facts=facts) if result.lower_bound else None


def _meaning(setup: "Setup") -> str:
    """Tell what a restrike that is a lower bound leaves of the comparison."""
    if setup.inconclusive:
        return "nothing shown"
    return "both" if setup.initial_bound else "restrike"


def _below_stroke(result: DriveResult) -> Caution | None:
    least = None if result.hammer is None else result.hammer.minimum_stroke
    stroke = _known(result.stroke)
    if least is None or stroke is None or stroke >= least:
        return None
    return Caution("hammer not at stroke", stroke, least, {"drive": result.drive.name})


def _other_stroke(initial: DriveResult, restrike: DriveResult) -> Caution | None:
    before, after = _known(initial.stroke), _known(restrike.stroke)
    if before is None or after is None or abs(after - before) <= STROKE_CHANGE * before:
        return None
    facts = {"initial": initial.drive.name, "restrike": restrike.drive.name, "before": before, "after": after}
    return Caution("different stroke", after / before - 1.0, STROKE_CHANGE, facts)


def _other_hammer(initial: DriveResult, restrike: DriveResult) -> Caution | None:
    before, after = initial.hammer, restrike.hammer
    if before is None or after is None or before == after:
        return None
    changed = [f.name for f in fields(before) if getattr(before, f.name) != getattr(after, f.name)]
    parts = tuple(dict.fromkeys(_HAMMER_PARTS[name] for name in changed if name in _HAMMER_PARTS))
    if not parts:
        return None
    facts = {"initial": initial.drive.name, "restrike": restrike.drive.name, "parts": parts}
    return Caution("different hammer or cushion", facts=facts)


def _other_gauges(initial: DriveResult, restrike: DriveResult) -> Caution | None:
    if not initial.gauges or not restrike.gauges or initial.gauges == restrike.gauges:
        return None
    facts = {"initial": initial.drive.name, "restrike": restrike.drive.name}
    return Caution("different gauges", facts={**facts, "before": initial.gauges, "after": restrike.gauges})


def _wait(restrike: DriveResult, waited: float | None, soil: str | None) -> Caution | None:
    facts = {"restrike": restrike.drive.name, "soil": soil}
    if waited is None:
        return Caution("wait not known", facts=facts)
    usual = RESTRIKE_WAITS.get(soil or "")
    if usual is None or waited >= usual:
        return None
    return Caution("short wait", waited, usual, facts)


def _relaxation(restrike: DriveResult, factor: Estimate | None) -> Caution | None:
    if factor is None or not lost(factor):
        return None
    return Caution("relaxation", factor.value, 1.0, {"restrike": restrike.drive.name, "high": factor.high})


def _not_matched(restrike: DriveResult, setup: "Setup") -> Caution | None:
    if setup.setup_factor is None or setup.matched:
        return None
    return Caution("setup not matched", setup.setup_factor.value, None, {"restrike": restrike.drive.name})


def _unusual(factor: Estimate | None, soil: str | None) -> Caution | None:
    if factor is None or soil not in PUBLISHED_SETUP_FACTORS:
        return None
    low, high = PUBLISHED_SETUP_FACTORS[soil]
    if low <= factor.value <= high or lost(factor):  # a loss has its own caution
        return None
    return Caution("unusual setup", factor.value, high, {"low": low, "high": high, "soil": soil})


def _large_change(factor: Estimate | None, waited: float | None) -> Caution | None:
    if factor is None or waited is None or waited <= CHANGE_WAIT:
        return None
    change = abs(factor.value - 1.0)
    if change <= CHANGE_FOR_PRODUCTION_RESTRIKES:
        return None
    return Caution("large change", change, CHANGE_FOR_PRODUCTION_RESTRIKES, {"wait": waited})


SURE = 0.90
"""Probability from which a gain or a loss counts as sure [1]; our choice."""


def gained(factor: Estimate) -> bool:
    """Tell whether a restrike gained for sure: with a probability of `SURE`, both errors lognormal.

    Examples
    --------
    >>> gained(Estimate(1.3, 1.1, 1.5)), gained(Estimate(1.02, 0.9, 1.15))
    (True, False)
    """
    return factor.value > 1.0 and _beyond(factor)


def lost(factor: Estimate) -> bool:
    """Tell whether a restrike lost for sure, in the same way.

    Examples
    --------
    >>> lost(Estimate(0.99, 0.92, 1.06)), lost(Estimate(0.8, 0.7, 0.9))
    (False, True)
    """
    return factor.value < 1.0 and _beyond(factor)


def _beyond(factor: Estimate) -> bool:
    return abs(log(factor.value)) > NormalDist().inv_cdf(SURE) * factor.log_deviation


RESISTANCES = ("matched_resistance", "case_resistance_maximum", "shaft_resistance", "toe_resistance")
"""What is compared, by the names in the table of names; the first that both drives have is the setup factor."""


@dataclass(frozen=True)
class Setup:
    """A restrike compared with the end of the initial drive.

    Parameters
    ----------
    initial, restrike : str
        Names of the drives.
    wait : float or None
        Time from the end of the initial drive to the start of the restrike [s]; None where a clock is not given.
    factors : dict of str to Estimate
        Ratio restrike over initial [1] by the name of the resistance, for those that both drives have.
    cautions : tuple of Caution
        What to weigh before counting on it.
    fitted : bool
        Whether both matches fit well enough for their numbers to mean anything.
    initial_bound, restrike_bound : bool
        Whether the resistance of the drive is a lower bound.
    initial_resistance, restrike_resistance : Estimate or None
        Matched resistance at the end of the initial drive, and at the restrike: from its own match, or from the first
        and the change where that is surer [N].
    """

    initial: str
    restrike: str
    wait: float | None
    factors: dict[str, Estimate]
    cautions: tuple[Caution, ...] = ()
    fitted: bool = True
    initial_resistance: Estimate | None = None
    restrike_resistance: Estimate | None = None
    initial_bound: bool = False
    restrike_bound: bool = False

    @property
    def inconclusive(self) -> bool:
        """Whether it shows neither gain nor loss: a lower bound at the restrike that is not above the first for sure.

        A hammer that does not move the pile shows less than it has, whatever the wait did.
        """
        factor = self.setup_factor
        return self.restrike_bound and factor is not None and not gained(factor)

    @property
    def matched(self) -> bool:
        """Whether the setup factor rests on two fitted matches; on nothing less is setup credited."""
        return self.basis == RESISTANCES[0] and self.fitted

    @property
    def basis(self) -> str | None:
        """Name of the resistance the setup factor rests on: total resistance from matching, else the Case method."""
        return next((name for name in RESISTANCES[:2] if name in self.factors), None)

    @property
    def setup_factor(self) -> Estimate | None:
        """Setup factor with its range; None where the drives share no total resistance."""
        return None if self.basis is None else self.factors[self.basis]


def compare(
    initial: DriveResult, restrike: DriveResult, *, soil: str | None = None, source: str = "test sheet"
) -> Setup:
    """Hold a restrike against the end of the initial drive.

    ``k_t = R_restrike/R_initial`` for each resistance, from ``low/high`` to ``high/low``, and the cautions. What both
    matches at once say of the change goes before the ratio of the two. The range of the Case method is that of the
    same damping factor at both drives.

    The wait counts from the end of the initial drive for every restrike, also after an earlier one (common
    practice, no source). Resistances of zero or below give no factor.

    Examples
    --------
    >>> from dyntest.reading.parts import Drive
    >>> start = DriveResult(Drive("initial", "initial", ()), matched_resistance=Estimate(1.0e6, 0.9e6, 1.1e6))
    >>> later = DriveResult(Drive("restrike", "restrike", ()), matched_resistance=Estimate(1.4e6, 1.3e6, 1.5e6))
    >>> compare(start, later).setup_factor.value
    1.4
    """
    waited = wait(initial.drive.end, restrike.drive.start, source)
    pairs = {name: ratio(getattr(restrike, name), getattr(initial, name)) for name in RESISTANCES}
    by_case = pairs["case_resistance_maximum"]
    if by_case is not None:
        pairs["case_resistance_maximum"] = _same_damping(by_case.value, initial, restrike)
    pairs |= {name: change for name, change in restrike.changes.items() if pairs.get(name) is not None}
    factors = {name: factor for name, factor in pairs.items() if factor is not None}
    fitted = initial.fitted and restrike.fitted
    names = (initial.drive.name, restrike.drive.name)
    before, after = initial.matched_resistance, restrike.matched_resistance
    surer, bounds = _surer(before, after, restrike.changes), tuple(map(_bound, (initial, restrike)))
    setup = Setup(*names, waited, factors, (), fitted, before, surer, *bounds)
    return replace(setup, cautions=setup_cautions(initial, restrike, setup, soil=soil))


def compared_for_sure(setups: Sequence[Setup]) -> list[tuple[Setup, Estimate]]:
    """Give the restrikes that show a gain, a loss or no change, each with its setup factor.

    Examples
    --------
    >>> lower = Setup("initial", "restrike", None, {"matched_resistance": Estimate(0.6, 0.5, 0.7)}, restrike_bound=True)
    >>> compared_for_sure([lower])
    []
    """
    return [(one, one.setup_factor) for one in setups if one.setup_factor is not None and not one.inconclusive]


def _surer(before: Estimate | None, after: Estimate | None, changes: Mapping[str, Estimate]) -> Estimate | None:
    """Give the restrike's resistance from its own match, or from the first match and the change where that is surer.

    Units: before, after [N].
    """
    change = changes.get(RESISTANCES[0])
    if before is None or after is None or change is None:
        return after
    deviation = hypot(before.log_deviation, change.log_deviation)
    if not deviation < after.log_deviation:
        return after
    value, spread = before.value * change.value, exp(RANGE_DEVIATIONS * deviation)
    return Estimate(value, value / spread, value * spread, deviation)


def _same_damping(value: float, initial: DriveResult, restrike: DriveResult) -> Estimate:
    """Give the ratio by the Case method with the range that an unknown damping factor, equal for both, leaves."""
    pairs = zip(restrike.case_by_damping, initial.case_by_damping, strict=False)
    ratios = [value, *(after / before for after, before in pairs if before > 0.0 and after > 0.0)]
    return Estimate(value, min(ratios), max(ratios))


def setups(drives: Sequence[DriveResult], *, soil: str | None = None, source: str = "test sheet") -> tuple[Setup, ...]:
    """Hold every restrike against the initial drive.

    Parameters
    ----------
    drives : sequence of DriveResult
        All drives of the pile in their order; where the initial drive was interrupted, its last part counts.
    soil : str or None
        Soil along the shaft.
    source : str
        The sheet, for messages.

    Returns
    -------
    tuple of Setup
        One for each restrike; empty where either kind is absent.

    Raises
    ------
    InputError
        If the clocks contradict each other.

    Notes
    -----
    ``setup factor = R(restrike) / R(end of initial drive)``, from the sound blows of each (definition).

    Examples
    --------
    >>> from dyntest.reading.parts import Drive
    >>> setups([DriveResult(Drive("initial", "initial", ()))])
    ()
    """
    initial = [result for result in drives if result.drive.kind == "initial"]
    restrikes = [result for result in drives if result.drive.kind == "restrike"]
    if not initial:
        return ()
    return tuple(compare(initial[-1], later, soil=soil, source=source) for later in restrikes)
