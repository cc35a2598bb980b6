"""Limits of the stress a pile may see while it is driven, by material.

The rules are those of the AASHTO LRFD Bridge Design Specifications as printed in FHWA-NHI-16-009 (2016), sections
8.4.1, 8.5.1 and 8.6.1, and in UFC 3-220-20 (2025), Eqs. 6-72 to 6-75, pp. 507-508. A limit on the test sheet replaces
them. The governing specification decides.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt

from dyntest.pile import Pile
from dyntest.reading.parts import Requirement
from dyntest.units import unit_factor

MATERIAL_CODE = "AASHTO LRFD"
"""Code of every limit that follows from a material; the sources of those limits begin with it."""

_FHWA = "FHWA-NHI-16-009 (2016)"
_UFC = "UFC 3-220-20 (2025)"

DRIVING_RESISTANCE_FACTOR = {"steel": 1.0, "concrete": 1.0, "timber": 1.15}
"""Resistance factor while driving, φ_da [1] (AASHTO LRFD in FHWA-NHI-16-009, 8.4.1, 8.5.1, 8.6.1)."""

STEEL_SHARE_OF_YIELD = 0.9
"""Share of the yield strength [1] (AASHTO LRFD in FHWA-NHI-16-009, Eq. 8-33; UFC 3-220-20, Eq. 6-72)."""

CONCRETE_SHARE_OF_STRENGTH = 0.85
"""Share of the compressive strength [1] (FHWA-NHI-16-009, Eq. 8-62; UFC 3-220-20, Eq. 6-73)."""

CONCRETE_TENSION_COEFFICIENT = 0.095
"""Coefficient of the root of the strength, both in ksi [1] (FHWA-NHI-16-009, Eq. 8-63; UFC 3-220-20, Eq. 6-74)."""

TIMBER_MULTIPLE_OF_BASE_RESISTANCE = 2.6
"""Multiple of the base resistance parallel to the grain [1] (FHWA-NHI-16-009, Eq. 8-17; UFC 3-220-20, Eq. 6-75)."""


@dataclass(frozen=True)
class StressLimit:
    """The largest stress of one sense that a pile may see while it is driven.

    Parameters
    ----------
    sense : str
        ``"compression"`` or ``"tension"``.
    value : float or None
        The limit [Pa], positive in either sense; None where it cannot be stated, and then `needed` says why.
    equation : str
        How it was found, in the symbols of the source.
    source : str
        Document and equation.
    needed : tuple of str
        Keys of the test sheet that have to be given before the limit can be stated; empty where it is stated.
    prestressed_only : bool
        Whether it is for prestressed piles, and only where the place is not severely corrosive.
    """

    sense: str
    value: float | None
    equation: str
    source: str
    needed: tuple[str, ...] = ()
    prestressed_only: bool = False


@dataclass(frozen=True)
class DrivingStressLimits:
    """Both limits of one pile.

    Parameters
    ----------
    compression, tension : StressLimit
        The limit of each sense.
    """

    compression: StressLimit
    tension: StressLimit


def steel_limit(yield_strength: float) -> float:
    """Give the limit of the driving stress in steel, compression and tension alike.

    Units: yield_strength [Pa]; returns [Pa].

    ``σ = φ · 0.9 F_y`` [Pa] with φ = 1.0.

    UFC 3-220-20 (2025), Eq. 6-72, p. 507; FHWA-NHI-16-009 (2016), Eq. 8-33, which asks it of compression only
    because driving seldom pulls steel near its yield strength.

    Examples
    --------
    >>> round(steel_limit(345e6) / 1e6, 1)
    310.5
    """
    return DRIVING_RESISTANCE_FACTOR["steel"] * STEEL_SHARE_OF_YIELD * yield_strength  # Eq. 6-72


def concrete_compression_limit(compressive_strength: float, effective_prestress: float) -> float:
    """Give the limit of the compression in prestressed concrete, on the gross section.

    Units: compressive_strength, effective_prestress [Pa]; returns [Pa].

    ``σ = φ (0.85 f'_c − f_pe)`` [Pa] with φ = 1.0.

    UFC 3-220-20 (2025), Eq. 6-73, p. 508; FHWA-NHI-16-009 (2016), Eq. 8-62.

    Examples
    --------
    >>> round(concrete_compression_limit(41.4e6, 5.5e6) / 1e6, 2)
    29.69
    """
    usable = CONCRETE_SHARE_OF_STRENGTH * compressive_strength - effective_prestress
    return DRIVING_RESISTANCE_FACTOR["concrete"] * usable  # Eq. 6-73


def concrete_tension_limit(
    compressive_strength: float, effective_prestress: float, *, severely_corrosive: bool = False
) -> float:
    """Give the limit of the tension in prestressed concrete, on the gross section.

    Units: compressive_strength, effective_prestress [Pa]; returns [Pa].

    ``σ = φ (0.095 √f'_c + f_pe)``, all in ksi, with φ = 1.0, or ``f_pe`` alone where severely corrosive [Pa].

    UFC 3-220-20 (2025), Eq. 6-74, p. 508; FHWA-NHI-16-009 (2016), Eq. 8-63.

    Examples
    --------
    >>> round(concrete_tension_limit(41.4e6, 5.5e6) / 1e6, 2)
    7.11
    """
    factor = DRIVING_RESISTANCE_FACTOR["concrete"]
    if severely_corrosive:
        return factor * effective_prestress
    ksi = unit_factor("ksi", "stress")
    return factor * (
        CONCRETE_TENSION_COEFFICIENT * sqrt(compressive_strength / ksi) * ksi + effective_prestress
    )  # 6-74


def timber_limit(base_resistance: float) -> float:
    """Give the limit of the driving stress in timber, compression and tension alike.

    Units: base_resistance [Pa]; returns [Pa].

    ``σ = φ · 2.6 F_co`` [Pa] with φ = 1.15.

    UFC 3-220-20 (2025), Eq. 6-75, p. 508; FHWA-NHI-16-009 (2016), Eq. 8-17.

    Examples
    --------
    >>> round(timber_limit(8.0e6) / 1e6, 2)
    23.92
    """
    return DRIVING_RESISTANCE_FACTOR["timber"] * TIMBER_MULTIPLE_OF_BASE_RESISTANCE * base_resistance  # Eq. 6-75


def driving_stress_limits(
    pile: Pile, requirement: Requirement | None = None, *, severely_corrosive: bool = False
) -> DrivingStressLimits:
    """Give both limits of a pile, those of the test sheet first, the material's where the sheet has none.

    Parameters
    ----------
    pile : Pile
        The pile, with the strength of its material.
    requirement : Requirement or None
        The sheet's requirement; its `compression_stress_limit` and `tension_stress_limit` replace the material's.
    severely_corrosive : bool
        For prestressed concrete: whether no tension beyond the prestress is allowed.

    Returns
    -------
    DrivingStressLimits
        Each limit with its equation and source; where a strength is missing its value is None and it says what is
        needed. No strength is ever assumed.

    Notes
    -----
    Steel ``φ 0.9 F_y``; concrete and timber by the equations that each limit carries: AASHTO LRFD as printed in
    FHWA-NHI-16-009 (2016), sections 8.4.1 to 8.6.1, and UFC 3-220-20 (2025), Eqs. 6-72 to 6-75.

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> part = (PilePart(20.0, 0.01, 207e9, 7850.0),)
    >>> driving_stress_limits(Pile("P1", "steel", part, yield_strength=345e6)).compression.equation
    'φ × 0.9 Fy, φ = 1.0'
    >>> driving_stress_limits(Pile("P1", "steel", part)).compression.needed
    ('yield_strength',)
    """
    return DrivingStressLimits(
        _limit("compression", pile, requirement, severely_corrosive),
        _limit("tension", pile, requirement, severely_corrosive),
    )


def _limit(sense: str, pile: Pile, requirement: Requirement | None, severely_corrosive: bool) -> StressLimit:
    key = f"{sense}_stress_limit"
    given = getattr(requirement, key, None)
    if given is not None:
        return StressLimit(sense, given, "as given", f"test sheet, [requirement] {key}")
    rule, strengths = _RULES[pile.material]
    missing = tuple(name for name in strengths if getattr(pile, name) is None)
    if missing:
        return StressLimit(sense, None, "", "", missing)
    limit = rule(sense, severely_corrosive, *(getattr(pile, name) for name in strengths))
    if limit.value is not None and limit.value <= 0.0 and not severely_corrosive:
        return StressLimit(sense, None, limit.equation, limit.source, strengths)
    return limit


def _steel(sense: str, _severely_corrosive: bool, yield_strength: float) -> StressLimit:
    source = f"{MATERIAL_CODE}, as in {_FHWA}, Eq. 8-33, and {_UFC}, Eq. 6-72"
    return StressLimit(sense, steel_limit(yield_strength), "φ × 0.9 Fy, φ = 1.0", source)


def _concrete(sense: str, severely_corrosive: bool, strength: float, prestress: float) -> StressLimit:
    if sense == "compression":
        source = f"{MATERIAL_CODE}, as in {_FHWA}, Eq. 8-62, and {_UFC}, Eq. 6-73"
        value = concrete_compression_limit(strength, prestress)
        return StressLimit(sense, value, "φ (0.85 f'c − fpe), φ = 1.0", source)
    source = f"{MATERIAL_CODE}, as in {_FHWA}, Eq. 8-63, and {_UFC}, Eq. 6-74"
    value = concrete_tension_limit(strength, prestress, severely_corrosive=severely_corrosive)
    if severely_corrosive:
        return StressLimit(sense, value, "φ × fpe, φ = 1.0 (severely corrosive)", source)
    return StressLimit(sense, value, "φ (0.095 √f'c + fpe) in ksi, φ = 1.0", source, prestressed_only=True)


def _timber(sense: str, _severely_corrosive: bool, base_resistance: float) -> StressLimit:
    source = f"{MATERIAL_CODE}, as in {_FHWA}, Eq. 8-17, and {_UFC}, Eq. 6-75"
    return StressLimit(sense, timber_limit(base_resistance), "φ × 2.6 Fco, φ = 1.15", source)


_RULES: dict[str, tuple[Callable[..., StressLimit], tuple[str, ...]]] = {
    "steel": (_steel, ("yield_strength",)),
    "concrete": (_concrete, ("compressive_strength", "effective_prestress")),
    "timber": (_timber, ("base_resistance",)),
}
"""By material: the rule, and the strengths of the pile it needs."""
