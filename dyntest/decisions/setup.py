"""How long a pile waited between the end of its initial drive and a restrike, from the clocks of the sheet.

What one drive says about resistance, as it is handed to the decisions.

What stands against counting on a measured setup, one small function a check.

What changed while the pile waited: resistance at a restrike over resistance at the end of the initial drive.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime

from dyntest.conditioning.wave_measures import MOVEMENT_LIMIT
from dyntest.decisions.caution import Caution
from dyntest.decisions.estimate import Estimate, ratio
from dyntest.errors import InputError
from dyntest.hammer import Hammer
from dyntest.names import show
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
        problem = "one clock of the drives has a time zone and another has none"
        raise InputError(source, "[[drive]] start and end", problem, "write all with the same local clock")
    seconds = (restrike_start - initial_end).total_seconds()
    if seconds <= 0.0:
        problem = f"the restrike starts at {restrike_start:%Y-%m-%d %H:%M}, not after the end of the initial drive at "
        problem += f"{initial_end:%Y-%m-%d %H:%M}"
        raise InputError(source, "[[drive]] start and end", problem, "correct the clocks")
    return seconds


def show_wait(seconds: float | None) -> str:
    """Write a wait as an engineer reads it.

    Units: seconds [s].

    Examples
    --------
    >>> show_wait(5 * SECONDS_PER_DAY), show_wait(5400.0), show_wait(None)
    ('5.0 days', '1.5 hours', '–')
    """
    if seconds is None:
        return "–"
    if seconds < 2.0 * SECONDS_PER_DAY:
        return f"{seconds / 3600.0:.1f} hours"
    return f"{seconds / SECONDS_PER_DAY:.1f} days"


@dataclass(frozen=True)
class DriveResult:
    """What one drive says about resistance: the last blows of an initial drive, the first sound blows of a restrike.

    Parameters
    ----------
    drive : Drive
        The drive, with its name, kind, clocks and hammer.
    matched_resistance, case_resistance : Estimate or None
        Resistance from signal matching and by the Case method [N].
    shaft_resistance, toe_resistance : Estimate or None
        Its parts from signal matching [N].
    set_per_blow : float or None
        Set of the blow [m].
    stroke : float or None
        Stroke of the ram [m].
    gauges : str
        Which gauges measured it, in any words that change when a gauge is replaced; empty where not known.
    """

    drive: Drive
    matched_resistance: Estimate | None = None
    case_resistance: Estimate | None = None
    shaft_resistance: Estimate | None = None
    toe_resistance: Estimate | None = None
    set_per_blow: float | None = None
    stroke: float | None = None
    gauges: str = ""

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

_HAMMER_WORDS = {
    "kind": "kind of hammer",
    "ram_mass": "ram",
    "helmet_mass": "helmet",
    "hammer_cushion_stiffness": "hammer cushion",
    "hammer_cushion_restitution": "hammer cushion",
    "pile_cushion_stiffness": "pile cushion",
    "pile_cushion_restitution": "pile cushion",
}


def setup_cautions(
    initial: DriveResult,
    restrike: DriveResult,
    factor: Estimate | None,
    waited: float | None,
    *,
    soil: str | None,
    system: str,
) -> tuple[Caution, ...]:
    """Give everything that stands against counting on a measured setup.

    Units: waited [s].
    """
    found = [
        _moved_too_little(initial, system, "initial drive", "the setup factor may be overstated"),
        _moved_too_little(restrike, system, "restrike", "its resistance and the setup factor are lower bounds"),
        _below_stroke(initial, system),
        _below_stroke(restrike, system),
        _other_stroke(initial, restrike, system),
        _other_hammer(initial, restrike),
        _other_gauges(initial, restrike),
        _wait(restrike, waited, soil),
        _relaxation(restrike, factor),
        _unusual(factor, soil),
        _large_change(factor, waited),
    ]
    return tuple(caution for caution in found if caution is not None)


def _name(result: DriveResult) -> str:
    return result.drive.name.replace("_", " ")


def _unknown(value: float | None) -> bool:
    """Whether a number is absent or not a number."""
    return value is None or value != value


def _moved_too_little(result: DriveResult, system: str, which: str, meaning: str) -> Caution | None:
    moved = result.set_per_blow
    if _unknown(moved) or moved >= MOVEMENT_LIMIT:
        return None
    message = f"{_name(result)}: the pile moved {show('set_per_blow', moved, system)} a blow, less than "
    message += f"{show('set_per_blow', MOVEMENT_LIMIT, system)}, so {meaning}"
    cure = "strike with more energy" if which == "restrike" else "judge the setup by the matched shaft resistance"
    return Caution("moved too little", message, cure, moved, MOVEMENT_LIMIT)


def _below_stroke(result: DriveResult, system: str) -> Caution | None:
    least = None if result.hammer is None else result.hammer.minimum_stroke
    if least is None or _unknown(result.stroke) or result.stroke >= least:
        return None
    message = f"{_name(result)}: the stroke was {show('stroke', result.stroke, system)}, below the approved "
    message += f"{show('stroke', least, system)}"
    return Caution(
        "hammer not at stroke", message, "warm the hammer up elsewhere and strike again", result.stroke, least
    )


def _other_stroke(initial: DriveResult, restrike: DriveResult, system: str) -> Caution | None:
    before, after = initial.stroke, restrike.stroke
    if _unknown(before) or _unknown(after) or abs(after - before) <= STROKE_CHANGE * before:
        return None
    message = f"the stroke was {show('stroke', before, system)} in {_name(initial)} and "
    message += f"{show('stroke', after, system)} in {_name(restrike)}"
    cure = "rest the comparison on matched resistances, not on blow counts"
    return Caution("another stroke", message, cure, after / before - 1.0, STROKE_CHANGE)


def _other_hammer(initial: DriveResult, restrike: DriveResult) -> Caution | None:
    before, after = initial.hammer, restrike.hammer
    if before is None or after is None or before == after:
        return None
    changed = [f.name for f in fields(before) if getattr(before, f.name) != getattr(after, f.name)]
    words = dict.fromkeys(_HAMMER_WORDS[name] for name in changed if name in _HAMMER_WORDS)
    if not words:
        return None
    message = f"another {', '.join(words)} in {_name(restrike)} than in {_name(initial)}"
    return Caution("another hammer or cushion", message, "compare resistances only, never the blow counts")


def _other_gauges(initial: DriveResult, restrike: DriveResult) -> Caution | None:
    if not initial.gauges or not restrike.gauges or initial.gauges == restrike.gauges:
        return None
    message = f"{_name(restrike)} was measured with {restrike.gauges}, {_name(initial)} with {initial.gauges}"
    return Caution("other gauges", message, "check the proportionality of both records before comparing them")


def _wait(restrike: DriveResult, waited: float | None, soil: str | None) -> Caution | None:
    if waited is None:
        message = f"how long the pile waited before {_name(restrike)} is not known"
        return Caution("wait not known", message, "write end of the initial drive and start of the restrike")
    usual = RESTRIKE_WAITS.get(soil)
    if usual is None or waited >= usual:
        return None
    message = f"{_name(restrike)} came {show_wait(waited)} after the initial drive, sooner than the "
    message += f"{show_wait(usual)} usual in {soil}"
    return Caution("short wait", message, "expect further change, or strike again later", waited, usual)


def _relaxation(restrike: DriveResult, factor: Estimate | None) -> Caution | None:
    if factor is None or factor.value >= 1.0:
        return None
    message = f"{_name(restrike)}: resistance fell to {factor.value:.2f} of that at the end of the initial drive"
    message += ", beyond the ranges of both" if factor.has_range and factor.high < 1.0 else ""
    cure = "design for the lower resistance, strike more piles again, and consider a higher target at the end of drive"
    return Caution("relaxation", message, cure, factor.value, 1.0)


def _unusual(factor: Estimate | None, soil: str | None) -> Caution | None:
    if factor is None or soil not in PUBLISHED_SETUP_FACTORS:
        return None
    low, high = PUBLISHED_SETUP_FACTORS[soil]
    if low <= factor.value <= high:
        return None
    message = (
        f"the setup factor {factor.value:.2f} lies outside {low:.1f} to {high:.1f}, the range published for {soil}"
    )
    return Caution("unusual setup", message, "check both records and the wait", factor.value, high)


def _large_change(factor: Estimate | None, waited: float | None) -> Caution | None:
    if factor is None or waited is None or waited <= CHANGE_WAIT:
        return None
    change = abs(factor.value - 1.0)
    if change <= CHANGE_FOR_PRODUCTION_RESTRIKES:
        return None
    message = f"resistance changed by {change:.0%} in {show_wait(waited)}"
    cure = "strike production piles again too"
    return Caution("large change", message, cure, change, CHANGE_FOR_PRODUCTION_RESTRIKES)


RESISTANCES = ("matched_resistance", "case_resistance", "shaft_resistance", "toe_resistance")
"""What is compared; the first that both drives have is the setup factor."""


@dataclass(frozen=True)
class Setup:
    """A restrike held against the end of the initial drive.

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
    """

    initial: str
    restrike: str
    wait: float | None
    factors: dict[str, Estimate]
    cautions: tuple[Caution, ...]

    @property
    def basis(self) -> str | None:
        """Name of the resistance the setup factor rests on: total resistance from matching, else the Case method."""
        return next((name for name in RESISTANCES[:2] if name in self.factors), None)

    @property
    def setup_factor(self) -> Estimate | None:
        """Setup factor with its range; None where the drives share no total resistance."""
        return None if self.basis is None else self.factors[self.basis]


def compare(
    initial: DriveResult, restrike: DriveResult, *, soil: str | None = None, system: str = "SI", source="test sheet"
) -> Setup:
    """Hold a restrike against the end of the initial drive.

    ``k_t = R_restrike/R_initial`` for each resistance, from ``low/high`` to ``high/low``, and the cautions.

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
    factors = {name: factor for name, factor in pairs.items() if factor is not None}
    setup = Setup(initial.drive.name, restrike.drive.name, waited, factors, ())
    cautions = setup_cautions(initial, restrike, setup.setup_factor, waited, soil=soil, system=system)
    return replace(setup, cautions=cautions)


def setups(
    drives: Sequence[DriveResult], *, soil: str | None = None, system: str = "SI", source: str = "test sheet"
) -> tuple[Setup, ...]:
    """Hold every restrike against the initial drive.

    Parameters
    ----------
    drives : sequence of DriveResult
        All drives of the pile in their order; where the initial drive was interrupted, its last part counts.
    soil : str or None
        Soil along the shaft.
    system : str
        ``"SI"`` or ``"US"``.
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
    return tuple(compare(initial[-1], later, soil=soil, system=system, source=source) for later in restrikes)
