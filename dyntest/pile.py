"""The pile: parts of constant section and material from the gauges down to the toe."""

import re
from dataclasses import dataclass
from math import sqrt


@dataclass(frozen=True)
class PilePart:
    """A length of pile with one section and one material.

    Parameters
    ----------
    length : float
        Length [m].
    area : float
        Cross-section that carries the wave [m^2].
    modulus : float
        Dynamic Young's modulus E [Pa].
    density : float
        Mass density ρ [kg/m^3].
    """

    length: float
    area: float
    modulus: float
    density: float

    @property
    def wave_speed(self) -> float:
        """Speed of the stress wave, ``c = √(E/ρ)`` [m/s]."""
        return sqrt(self.modulus / self.density)

    @property
    def impedance(self) -> float:
        """Impedance, ``Z = EA/c`` [N s/m] (UFC 3-220-20, Eq. 6-2)."""
        return self.modulus * self.area / self.wave_speed

    @property
    def travel_time(self) -> float:
        """Time the wave needs through this part, one way [s]."""
        return self.length / self.wave_speed


@dataclass(frozen=True)
class Pile:
    """A pile below its gauges, with what is needed to judge its stresses.

    Formulas that assume a uniform pile use `impedance`, `area` and `modulus` at the gauges with the travel time of
    the whole; `uniform` says whether that assumption holds.

    Parameters
    ----------
    name : str
        Pile number on the plan.
    material : str
        ``"steel"``, ``"concrete"`` or ``"timber"``.
    parts : tuple of PilePart
        From the gauges down to the toe; at least one.
    total_length : float or None
        Head to toe when driven [m].
    section : str or None
        Name of the section where one was given, such as ``"HP12x53"``.
    yield_strength : float or None
        Steel's yield strength [Pa].
    compressive_strength, effective_prestress : float or None
        Concrete's strength and prestress after losses [Pa].
    base_resistance : float or None
        Timber's base resistance in compression parallel to the grain [Pa].
    tip_reinforcement : float
        Length of an attached tip [m], left out of pay length where it is paid apart.
    """

    name: str
    material: str
    parts: tuple[PilePart, ...]
    total_length: float | None = None
    section: str | None = None
    yield_strength: float | None = None
    compressive_strength: float | None = None
    effective_prestress: float | None = None
    base_resistance: float | None = None
    tip_reinforcement: float = 0.0

    @property
    def uniform(self) -> bool:
        """Whether every part has the same section and material."""
        first = self.parts[0]
        return all((p.area, p.modulus, p.density) == (first.area, first.modulus, first.density) for p in self.parts)

    @property
    def length(self) -> float:
        """Length from the gauges to the toe, L [m]."""
        return sum(part.length for part in self.parts)

    @property
    def area(self) -> float:
        """Section at the gauges, A [m^2]."""
        return self.parts[0].area

    @property
    def toe_area(self) -> float:
        """Section at the toe [m^2]."""
        return self.parts[-1].area

    @property
    def modulus(self) -> float:
        """Dynamic Young's modulus at the gauges, E [Pa]."""
        return self.parts[0].modulus

    @property
    def impedance(self) -> float:
        """Impedance at the gauges, Z [N s/m]."""
        return self.parts[0].impedance

    @property
    def wave_speed(self) -> float:
        """Mean speed of the wave from gauges to toe, c [m/s]; the material's own where the pile is uniform."""
        return 2.0 * self.length / self.return_time

    @property
    def return_time(self) -> float:
        """Time for the wave from the gauges to the toe and back, ``T = 2L/c`` [s], summed over the parts."""
        return 2.0 * sum(part.travel_time for part in self.parts)

    @property
    def length_above_gauges(self) -> float:
        """Length from the head to the gauges [m]; 0 where the total length is not known."""
        return 0.0 if self.total_length is None else self.total_length - self.length


STEEL_SHARE = 0.11
"""Section over the area within the outline of H piles and pipes [1], where a width is not known; common practice, no
source."""


def pile_width(pile: Pile) -> float:
    """Give the width of a pile [m]: of a named section, of a square as large as concrete or timber, or estimated.

    Examples
    --------
    >>> round(pile_width(Pile("P1", "steel", (PilePart(20.0, 0.01, 207e9, 7850.0),), section="HP12x53")), 3)
    0.305
    """
    named = re.match(r"HP\s*(\d+)", pile.section or "")
    if named:
        return int(named.group(1)) * 0.0254
    return sqrt(pile.toe_area / (STEEL_SHARE if pile.material == "steel" else 1.0))
