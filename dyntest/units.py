"""Units at the edge: text with a unit comes in, plain SI floats live inside, text with a unit goes out.

Everything between is a float in N, m, s, Pa, kg or J. Only this module knows pint.
"""

import math
import re
from functools import lru_cache

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s^2], exact by definition (CGPM 1901; ISO 80000-3)."""

DIMENSIONS = {
    "length": ("m", "57 ft"),
    "area": ("m^2", "15.5 in^2"),
    "mass": ("kg", "3000 kg"),
    "force": ("N", "380 kip"),
    "energy": ("J", "70 kip ft"),
    "stress": ("Pa", "50 ksi"),
    "density": ("kg/m^3", "7850 kg/m^3"),
    "unit weight": ("N/m^3", "492 lbf/ft^3"),
    "velocity": ("m/s", "16800 ft/s"),
    "acceleration": ("m/s^2", "9.81 m/s^2"),
    "stiffness": ("N/m", "1500 MN/m"),
    "time": ("s", "5 day"),
    "frequency": ("Hz", "2000 Hz"),
    "strain": ("m/m", "1 µm/m"),
}
"""Dimension in words: its SI unit in this program, and an example that a message can show."""


_FACTOR = r"[A-Za-zµμε_]+(?:(?:\^|\*\*)-?\d)?"
_UNIT = re.compile(rf"{_FACTOR}(?:\s*[/*· ]\s*{_FACTOR})*")
"""What a unit may look like: single-digit powers and no brackets, so that no text can make pint work for long."""


@lru_cache(maxsize=1)
def _registry():
    import pint  # takes a third of a second, so only where a unit is really read

    registry = pint.UnitRegistry(cache_folder=None)
    registry.define("kip = 1000 * pound_force")
    registry.define("ksi = kip / inch ** 2")
    registry.define("ksf = kip / foot ** 2")
    registry.define("psf = pound_force / foot ** 2")
    registry.define("pcf = pound_force / foot ** 3")
    registry.define("tonf_us = 2000 * pound_force")
    registry.define("microstrain = 1e-6 = µε = με")
    return registry


@lru_cache(maxsize=512)
def unit_factor(unit: str, dimension: str) -> float:
    """Give the factor from a unit to this program's SI unit of a dimension.

    Examples
    --------
    >>> unit_factor("ft", "length")
    0.3048
    >>> unit_factor("g", "acceleration")
    9.80665
    """
    import pint

    registry = _registry()
    target, example = DIMENSIONS[dimension]
    text = unit.strip()
    if dimension == "acceleration" and text == "g":
        return STANDARD_GRAVITY
    article = "an" if dimension[0] in "aeiou" else "a"
    unknown = f'the unit "{text[:40]}" is not known; write {article} {dimension} such as "{example}"'
    if len(text) > 40 or not _UNIT.fullmatch(text):
        raise ValueError(unknown)
    try:
        quantity = registry.Quantity(1.0, registry.parse_units(text))
        if dimension == "strain" and quantity.dimensionless:
            return float(quantity.to("dimensionless").magnitude)
        factor = float(quantity.to(registry.parse_units(target)).magnitude)
        return float(
            f"{factor:.15g}"
        )  # pint multiplies its way there; 0.3048 shall not come out as 0.30479999999999996
    except pint.DimensionalityError:
        raise ValueError(
            f'"{text}" is not a unit of {dimension}; write {article} {dimension} such as "{example}"'
        ) from None
    except Exception:  # pint raises many kinds on nonsense, from its own classes to tokenizer errors
        raise ValueError(unknown) from None


def plain_number(text: str, decimal: str = ".") -> float:
    """Read a number as a table or a sheet writes it.

    Examples
    --------
    >>> plain_number("−2,5", ",")
    -2.5
    """
    plain = text.strip().replace(decimal, ".").replace("−", "-")
    if not plain.isascii() or "_" in plain:
        raise ValueError(f"{text!r} is not a plain number")
    return float(plain)


def to_si(text: str, dimension: str) -> float:
    """Read a physical value from text into a plain SI float.

    Examples
    --------
    >>> round(to_si("57 ft", "length"), 4)
    17.3736
    >>> round(to_si("380 kip", "force"))
    1690324
    """
    _, example = DIMENSIONS[dimension]
    article = "an" if dimension[0] in "aeiou" else "a"
    if not isinstance(text, str):
        raise ValueError(f'{text!r} has no unit; write {article} {dimension} in quotes such as "{example}"')
    number, _, unit = text.strip().partition(" ")
    if not unit:
        stripped = text.strip()
        cut = len(stripped.rstrip("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZµμε/^*23·-"))
        number, unit = stripped[:cut], stripped[cut:]
    try:
        value = plain_number(number)
    except ValueError:
        raise ValueError(
            f'"{text}" does not begin with a number; write {article} {dimension} such as "{example}"'
        ) from None
    if not math.isfinite(value):
        raise ValueError(f'"{text}" is not a finite number; write {article} {dimension} such as "{example}"')
    if not unit:
        raise ValueError(f'"{text}" has no unit; write {article} {dimension} such as "{example}"')
    return value * unit_factor(unit, dimension)
