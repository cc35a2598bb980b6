"""Units at the edge: text with a unit comes in, plain SI floats live inside, text with a unit goes out.

Everything between is a float in N, m, s, Pa, kg or J. Common units stand in a table of exact factors. Only this module
knows pint, which reads the others.
"""

import math
import re
from fractions import Fraction
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


_Powers = tuple[int, int, int]
_MASS, _LENGTH, _TIME = (1, 0, 0), (0, 1, 0), (0, 0, 1)
_FORCE, _STRESS, _ENERGY, _NUMBER = (1, 1, -2), (1, -1, -2), (1, 2, -2), (0, 0, 0)

_INCH = Fraction("0.0254")
_POUND = Fraction("0.45359237")
_POUND_FORCE = _POUND * Fraction("9.80665")
_METRIC: dict[str, Fraction] = {
    "G": Fraction(10**9),
    "M": Fraction(10**6),
    "k": Fraction(1000),
    "": Fraction(1),
    "m": Fraction(1, 1000),
    "µ": Fraction(1, 10**6),
}


def _table() -> dict[str, tuple[Fraction, _Powers]]:
    """Give factor and powers of kg, m and s of each common unit.

    The inch and the pound are exact by the international agreement of 1959 (NIST SP 811, Appendix B, from memory).
    """
    foot = 12 * _INCH
    metric: dict[str, tuple[Fraction, _Powers]] = {
        "m": (Fraction(1), _LENGTH),
        "g": (Fraction(1, 1000), _MASS),
        "s": (Fraction(1), _TIME),
        "N": (Fraction(1), _FORCE),
        "Pa": (Fraction(1), _STRESS),
        "J": (Fraction(1), _ENERGY),
        "Hz": (Fraction(1), (0, 0, -1)),
    }
    table = {
        f"{prefix}{name}": (power * size, of)
        for name, (size, of) in metric.items()
        for prefix, power in _METRIC.items()
    }
    table |= {
        "cm": (Fraction(1, 100), _LENGTH),
        "us": (Fraction(1, 10**6), _TIME),
        "min": (Fraction(60), _TIME),
        "hour": (Fraction(3600), _TIME),
        "day": (Fraction(86400), _TIME),
        "lbf": (_POUND_FORCE, _FORCE),
        "kip": (1000 * _POUND_FORCE, _FORCE),
        "kips": (1000 * _POUND_FORCE, _FORCE),
        "psi": (_POUND_FORCE / _INCH**2, _STRESS),
        "ksi": (1000 * _POUND_FORCE / _INCH**2, _STRESS),
        "psf": (_POUND_FORCE / foot**2, _STRESS),
        "ksf": (1000 * _POUND_FORCE / foot**2, _STRESS),
        "pcf": (_POUND_FORCE / foot**3, (1, -2, -2)),
        "µε": (Fraction(1, 10**6), _NUMBER),
        "με": (Fraction(1, 10**6), _NUMBER),
        "microstrain": (Fraction(1, 10**6), _NUMBER),
    }
    table |= dict.fromkeys(("in", "inch"), (_INCH, _LENGTH)) | dict.fromkeys(("ft", "foot", "feet"), (foot, _LENGTH))
    table |= dict.fromkeys(("lb", "pound"), (_POUND, _MASS)) | {"μm": table["µm"], "μs": table["µs"]}
    return table


COMMON_UNITS = _table()
"""Factor to SI and powers of kg, m and s of the units that records and sheets use most."""


def _in_common_units(text: str) -> tuple[Fraction, _Powers] | None:
    """Give factor and powers of a unit such as ``lbf/ft^3``; None where a part of it is not in the table."""
    factor, powers, sign = Fraction(1), [0, 0, 0], 1
    for piece in re.split(r"(\s*[/*· ]\s*(?![*]))", text.replace("**", "^")):
        if not piece.strip(" *·/"):
            sign = -1 if "/" in piece else 1
            continue
        name, _, power = piece.partition("^")
        if name not in COMMON_UNITS:
            return None
        size, of = COMMON_UNITS[name]
        exponent = sign * int(power or 1)
        factor *= size**exponent
        powers = [have + exponent * one for have, one in zip(powers, of, strict=True)]
    return factor, (powers[0], powers[1], powers[2])


_GRAVITY = ("g", "gn", "g0", "g_n", "G")
"""Ways to write the standard acceleration of free fall where an acceleration is meant."""

_SUPERSCRIPTS = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")
_MICRO = {"um": "µm", **dict.fromkeys(("ue", "uE", "uε", "µE", "µe", "ustrain", "uStrain", "µstrain", "με"), "µε")}

_WRITINGS = {
    "length": {
        **dict.fromkeys(("ft", "ft.", "feet", "foot"), "ft"),
        **dict.fromkeys(("in", "in.", "inch", "inches"), "in"),
        **{name: name for name in ("m", "cm", "mm")},
    },
    "time": {
        **dict.fromkeys(("s", "sec", "sec.", "secs", "second", "seconds"), "s"),
        **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), "ms"),
        **dict.fromkeys(("us", "usec", "µs", "µsec", "microsecond", "microseconds"), "us"),
    },
    "strain": {
        **dict.fromkeys(("ue", "µe", "µε", "um/m", "µm/m", "ustrain", "µstrain", "u-strain", "µ-strain"), "µε"),
        **dict.fromkeys(("microstrain", "microstrains", "micro strain", "micro-strain"), "µε"),
        **dict.fromkeys(("1e-6", "1.0e-6", "10^-6", "10**-6", "10⁻⁶", "x10^-6", "×10⁻⁶"), "µε"),
        **dict.fromkeys(("µdef", "udef", "µstr", "ustr"), "µε"),
        "%": "percent",
        "‰": "permille",
    },
    "acceleration": {
        **dict.fromkeys(("g", "gs", "g's"), "g"),
        **dict.fromkeys(("m/s2", "m/s^2", "m/s²", "m/sec2", "m/sec^2", "m/sec²"), "m/s^2"),
        **dict.fromkeys(("ft/s2", "ft/s^2", "ft/s²", "ft/sec2", "ft/sec^2", "ft/sec²"), "ft/s^2"),
    },
}
"""Common ways to write a unit, in small letters: people and recorders write ``FT``, ``Sec`` or ``G's`` too."""

_STRAIN_NAMES = ("strain", "ppm", "percent", "permille")
"""Ends of the names of numbers that are strains; an angle, a level or a ratio of voltages is a number too, but none."""


def _plain_unit(unit: str) -> str:
    """Give a unit with powers and micro signs as the table has them.

    Examples
    --------
    >>> _plain_unit("m/s²"), _plain_unit("m/s2"), _plain_unit("um/m")
    ('m/s^2', 'm/s^2', 'µm/m')
    """
    text = unit.strip()
    if len(text) > 40:
        return text
    text = re.sub("[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+", lambda power: "^" + power[0].translate(_SUPERSCRIPTS), text)
    text = re.sub(r"(?<=[A-Za-z])(?=[2-4](?![\w]))", "^", text)
    return re.sub(r"[A-Za-zµμε]+", lambda name: _MICRO.get(name[0], name[0]), text)


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
    target, example = DIMENSIONS[dimension]
    small = unit.strip().lower().replace("μ", "µ")
    text = _WRITINGS.get(dimension, {}).get(small) or _plain_unit(unit)
    if dimension == "acceleration" and text in _GRAVITY:
        return STANDARD_GRAVITY
    if dimension == "acceleration" and small == "mg":
        return STANDARD_GRAVITY / 1000.0
    article = "an" if dimension[0] in "aeiou" else "a"
    unknown = f'the unit "{text[:40]}" is not known; write {article} {dimension} such as "{example}"'
    if len(text) > 40 or not _UNIT.fullmatch(text):
        raise ValueError(unknown)
    other = f'"{text}" is not a unit of {dimension}; write {article} {dimension} such as "{example}"'
    common, wanted = _in_common_units(text), _in_common_units(target)
    if common is not None and wanted is not None:
        if common[1] != wanted[1]:
            raise ValueError(other)
        return float(common[0])
    return _by_pint(text, dimension, unknown, other)


def _by_pint(text: str, dimension: str, unknown: str, other: str) -> float:
    """Give the factor of a unit that is not in the table [SI unit of the dimension]."""
    import pint

    registry = _registry()
    try:
        quantity = registry.Quantity(1.0, registry.parse_units(text))
        if dimension == "strain" and quantity.dimensionless:
            if not all(_is_of_strain(registry, name) for name in re.findall(r"[A-Za-zµμε_]+", text)):
                raise ValueError(other)
            return float(quantity.to("dimensionless").magnitude)
        factor = float(quantity.to(registry.parse_units(DIMENSIONS[dimension][0])).magnitude)
        return float(f"{factor:.15g}")  # pint multiplies its way there, which leaves an error in the last digit
    except pint.DimensionalityError:
        raise ValueError(other) from None
    except ValueError:
        raise
    except Exception:  # pint raises many kinds on nonsense, from its own classes to tokenizer errors
        raise ValueError(unknown) from None


def _is_of_strain(registry, name: str) -> bool:
    """Whether a part of a unit without dimension is a length or a name of strain."""
    unit = registry.parse_units(name)
    return unit.dimensionality == {"[length]": 1} or str(unit).endswith(_STRAIN_NAMES)


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
