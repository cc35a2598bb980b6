"""The pile of a test sheet: its section, its material and its parts."""

from math import sqrt

from dyntest.errors import InputError
from dyntest.pile import Pile, PilePart
from dyntest.reading.plausible import MATERIALS, STEEL_DENSITY, STEEL_MODULUS, Material, Range
from dyntest.reading.sections import named_section
from dyntest.reading.sheet_models import PartTable, PileTable
from dyntest.reading.wording import listed
from dyntest.units import STANDARD_GRAVITY

WAVE_SPEED_AGREEMENT = 0.01
"""Most that a stated wave speed may differ from ``√(E/ρ)`` [1]; the rule of the test sheet's format."""

PART_LENGTH_TOLERANCE = 0.01
"""Most that the parts together may differ from the length below the gauges [m]: lengths rounded to a tenth of a foot
or to a centimetre. Our own, no source."""


def pile_from(table: PileTable, name: str, source: str) -> Pile:
    """Give the pile that the sheet describes.

    Two of modulus, density and wave speed give the third. Where all three stand and agree, modulus and density are
    kept. Steel alone has defaults.

    Parameters
    ----------
    table : PileTable
        ``[pile]`` as written.
    name : str
        The pile's mark.
    source : str
        The sheet's name for messages.

    Returns
    -------
    Pile
        In SI.

    Raises
    ------
    InputError
        If something is missing, contradicts itself or is nothing that a pile of this material can have.
    """
    section = named_section(table.section, source, "[pile] section") if table.section else None
    if section and table.area is not None:
        raise InputError(source, "[pile]", "has both section and area", "keep one of them")
    area = section.area if section else table.area
    modulus, density = _material(table, source)
    _check_strengths(table, source)
    parts = _parts(table, area, modulus, density, source)
    if table.total_length is not None and table.total_length < table.length_below_gauges:
        problem = "is shorter than length_below_gauges"
        raise InputError(source, "[pile] total_length", problem, "write the length from head to toe")
    if table.tip_reinforcement >= table.length_below_gauges:
        problem = "is not shorter than length_below_gauges"
        raise InputError(source, "[pile] tip_reinforcement", problem, "write the length of the tip alone")
    return Pile(
        name=name,
        material=table.material,
        parts=parts,
        total_length=table.total_length,
        section=section.name if section else None,
        yield_strength=table.yield_strength,
        compressive_strength=table.compressive_strength,
        effective_prestress=table.effective_prestress,
        base_resistance=table.base_resistance,
        tip_reinforcement=table.tip_reinforcement,
    )


def _material(table: PileTable, source: str) -> tuple[float, float]:
    """Give modulus [Pa] and density [kg/m^3] from any two of modulus, density and wave speed."""
    name = table.material
    ranges = MATERIALS[name]
    modulus, speed = table.modulus, table.wave_speed
    density = _density(table, "[pile]", source)
    if name == "steel":
        if density is None and (modulus is None or speed is None):
            density = STEEL_DENSITY
        if modulus is None and speed is None:
            modulus = STEEL_MODULUS
    if modulus is None and speed is None:
        cure = 'write modulus = "36 GPa" or wave_speed = "3800 m/s", with your own value'
        raise InputError(source, "[pile] modulus", f"is missing; {name} has no default", cure)
    if density is None and (modulus is None or speed is None):
        cure = 'write unit_weight = "24 kN/m^3" or density = "2450 kg/m^3", with your own value'
        raise InputError(source, "[pile] unit_weight", f"is missing; {name} has no default", cure)
    if speed is not None and speed not in ranges.wave_speed:
        raise _implausible(source, "[pile] wave_speed", speed, name, ranges.wave_speed)
    if modulus is None:
        modulus = density * speed**2  # c = √(E/ρ)
    elif density is None:
        density = modulus / speed**2
    elif speed is not None:
        computed = sqrt(modulus / density)
        if abs(speed / computed - 1.0) > WAVE_SPEED_AGREEMENT:
            problem = f"{speed:.0f} m/s differs by more than 1 % from √(modulus/density) = {computed:.0f} m/s"
            raise InputError(source, "[pile] wave_speed", problem, "correct one of the three, or take one out")
    _check_material(ranges, name, modulus, density, table.wave_speed is not None, source)
    return modulus, density


def _check_material(ranges: Material, name: str, modulus: float, density: float, timed: bool, source: str) -> None:
    """Refuse a modulus or density, stated or following, that the material cannot have."""
    place = "[pile] modulus, or wave_speed and density" if timed else "[pile] modulus"
    if modulus not in ranges.modulus:
        raise _implausible(source, place, modulus, name, ranges.modulus)
    if density not in ranges.density:
        place = "[pile] density, or modulus and wave_speed" if timed else "[pile] density or unit_weight"
        raise _implausible(source, place, density, name, ranges.density)


def _implausible(source: str, place: str, value: float, name: str, allowed: Range) -> InputError:
    problem = f"{allowed.write(value)} is not possible for {name}, which lies in {allowed}"
    return InputError(source, place, problem, "check the number and its unit")


def _density(table: PileTable | PartTable, place: str, source: str) -> float | None:
    if table.density is not None and table.unit_weight is not None:
        raise InputError(source, place, "has both density and unit_weight", "keep one of them")
    return table.density if table.unit_weight is None else table.unit_weight / STANDARD_GRAVITY


def _check_strengths(table: PileTable, source: str) -> None:
    """Refuse a strength that belongs to another material or that this one cannot have."""
    for name, material in MATERIALS.items():
        for key, allowed in material.strength.items():
            value = getattr(table, key)
            if value is None:
                continue
            if name != table.material:
                own = listed(MATERIALS[table.material].strength)
                problem = f"belongs to {name}, but the pile is of {table.material}"
                raise InputError(source, f"[pile] {key}", problem, f"take it out, or write {own}")
            if value not in allowed:
                raise _implausible(source, f"[pile] {key}", value, name, allowed)


def _parts(table: PileTable, area: float | None, modulus: float, density: float, source: str) -> tuple[PilePart, ...]:
    """Give the parts from the gauges down; what a part leaves out it has from ``[pile]``."""
    no_area = "is missing; neither a section nor an area is given"
    cure = 'write section = "HP12x53" or area = "15.5 in^2", with your own value'
    if not table.part:
        if area is None:
            raise InputError(source, "[pile] area", no_area, cure)
        return (PilePart(table.length_below_gauges, area, modulus, density),)
    parts = []
    for number, part in enumerate(table.part, start=1):
        place = f"[[pile.part]] {number}"
        own_area = area if part.area is None else part.area
        if own_area is None:
            raise InputError(source, f"{place} area", no_area, cure)
        own_density = _density(part, place, source)
        own = PilePart(
            length=part.length,
            area=own_area,
            modulus=modulus if part.modulus is None else part.modulus,
            density=density if own_density is None else own_density,
        )
        _check_part(own, place, source)
        parts.append(own)
    total = sum(part.length for part in parts)
    if abs(total - table.length_below_gauges) > PART_LENGTH_TOLERANCE:
        problem = (
            f"the parts are {total:.3f} m long together, but length_below_gauges is {table.length_below_gauges:.3f} m"
        )
        raise InputError(source, "[[pile.part]] length", problem, "correct the lengths so that their sum agrees")
    return tuple(parts)


def _check_part(part: PilePart, place: str, source: str) -> None:
    """Refuse a part that no material can be; a part may be of another material than the rest of the pile."""
    if not any(part.modulus in m.modulus and part.density in m.density for m in MATERIALS.values()):
        problem = (
            f"no pile material has a modulus of {part.modulus / 1e9:.4g} GPa at a density of {part.density:.4g} kg/m^3"
        )
        raise InputError(source, place, problem, "check modulus and unit_weight, and state both for another material")
