"""The one table of names: every number the program gives, with its symbol, its words, its units and its sign.

Column headers, `summary.json`, the terminal, pages and the report all read it, so a number is called the same
everywhere. Values are SI floats; the display units are only how an engineer likes to read them.
"""

import math
from dataclasses import dataclass

from dyntest.units import unit_factor


@dataclass(frozen=True)
class Name:
    """One number's name and how it is written.

    Parameters
    ----------
    code : str
        The name in code, in CSV headers and in `summary.json`.
    symbol : str
        The symbol used in equations and on axes.
    words : str
        The name in words, as a report says it.
    dimension : str
        A key of `dyntest.units.DIMENSIONS`, or ``"ratio"`` or ``"count"``.
    unit : str
        Unit of the stored number (SI); ``"1"`` for a ratio.
    si, us : tuple of (str, int)
        Display unit and number of decimals [1] where SI or US units are asked for.
    sign : str
        What positive means, or empty where only positive values exist.
    figures : int
        Significant figures [1] shown at least.
    """

    code: str
    symbol: str
    words: str
    dimension: str
    unit: str
    si: tuple[str, int]
    us: tuple[str, int]
    sign: str = ""
    figures: int = 1


_FORCE = ("force", "N", ("kN", 0), ("kip", 0))
_STRESS = ("stress", "Pa", ("MPa", 1), ("ksi", 1))
_VELOCITY = ("velocity", "m/s", ("m/s", 2), ("ft/s", 1))
_LENGTH = ("length", "m", ("m", 2), ("ft", 1))
_MOVEMENT = ("length", "m", ("mm", 1), ("in", 2))
_ENERGY = ("energy", "J", ("kJ", 1), ("kip ft", 1))
_RATIO = ("ratio", "1", ("", 2), ("", 2))
_SHARE = ("ratio", "1", ("%", 0), ("%", 0))
_COMPRESSION = "compression positive"
_DOWN = "downward positive"

NAMES = {
    name.code: name
    for name in (
        Name("blow", "n", "blow number", "count", "1", ("", 0), ("", 0)),
        Name("clock", "t", "time since the start of the drive", "time", "s", ("s", 1), ("s", 1)),
        Name("peak_force", "F_max", "maximum force at the gauges", *_FORCE, _COMPRESSION),
        Name("peak_velocity", "v_max", "maximum velocity at the gauges", *_VELOCITY, _DOWN),
        Name(
            "peak_compression_stress",
            "σ_c",
            "maximum compression stress at the gauges, average",
            *_STRESS,
            _COMPRESSION,
        ),
        Name("peak_gauge_stress", "σ_g", "maximum compression stress at one gauge", *_STRESS, _COMPRESSION),
        Name("toe_compression_stress", "σ_toe", "maximum compression stress at the toe", *_STRESS, _COMPRESSION),
        Name("peak_tension_stress", "σ_t", "maximum tension stress in the pile", *_STRESS, "tension positive"),
        Name("peak_tension_depth", "x_t", "depth of maximum tension below the gauges", *_LENGTH),
        Name("transferred_energy", "E_max", "transferred energy", *_ENERGY),
        Name("energy_ratio", "η", "energy ratio", *_SHARE),
        Name("energy_ratio_stroke", "η_h", "energy ratio, by ram weight × stroke", *_SHARE),
        Name("blow_rate", "f", "blow rate", "frequency", "Hz", ("blows/min", 1), ("blows/min", 1)),
        Name("stroke", "h", "stroke", *_LENGTH),
        Name("total_resistance", "R", "total resistance, static and dynamic", *_FORCE),
        Name("case_resistance", "R_s", "Case resistance at the first peak", *_FORCE),
        Name("case_resistance_maximum", "R_max", "maximum Case resistance", *_FORCE),
        Name("case_resistance_toe_at_rest", "R_0", "Case resistance, toe at rest", *_FORCE),
        Name("case_resistance_unloading", "R_u", "Case resistance, unloading correction", *_FORCE),
        Name("damping_factor", "J", "Case damping factor", *_RATIO),
        Name("damping_factor_maximum", "J_max", "Case damping factor of the maximum Case resistance", *_RATIO),
        Name("matched_resistance", "R_m", "resistance from signal matching", *_FORCE),
        Name("matched_resistance_low", "R_m,low", "matched resistance, low end of range", *_FORCE),
        Name("matched_resistance_high", "R_m,high", "matched resistance, high end of range", *_FORCE),
        Name("shaft_resistance", "R_shaft", "shaft resistance", *_FORCE),
        Name("toe_resistance", "R_toe", "toe resistance", *_FORCE),
        Name("shaft_share", "r_s", "shaft share of static and dynamic resistance", *_RATIO),
        Name("misfit", "ε", "misfit of the match", "ratio", "1", ("", 3), ("", 3), figures=2),
        Name("integrity_factor", "β", "integrity factor", *_RATIO),
        Name("integrity_depth", "x_β", "depth of the reflection below the gauges", *_LENGTH),
        Name("proportionality", "F/Zv", "proportionality at the first peak", *_RATIO),
        Name("bending_ratio", "b", "bending at the first peak", *_RATIO),
        Name("bending_ratio_other", "b_2", "bending at the first peak, other pair", *_RATIO),
        Name("peak_displacement", "u_max", "maximum displacement at the gauges", *_MOVEMENT, _DOWN),
        Name("final_displacement", "u_end", "final displacement of the record", *_MOVEMENT, _DOWN),
        Name("set_per_blow", "s", "set per blow", *_MOVEMENT, _DOWN),
        Name("matched_set", "s_m", "set computed by the match", *_MOVEMENT, _DOWN),
        Name("penetration", "d", "penetration of the toe", *_LENGTH, _DOWN),
        Name("setup_factor", "k_t", "setup factor", *_RATIO),
    )
}
"""Every `Name` by its code."""


def column_header(code: str) -> str:
    """Give the header of a CSV column, the name with its SI unit in square brackets.

    Examples
    --------
    >>> column_header("peak_force"), column_header("blow")
    ('peak_force [N]', 'blow')
    """
    unit = NAMES[code].unit
    return code if unit == "1" else f"{code} [{unit}]"


_OWN_FACTORS = {"blows/min": 60.0, "%": 100.0}
"""Factor to display units that `dyntest.units` does not read [1]."""


def display_unit(code: str, system: str) -> tuple[str, float, int]:
    """Give how a number is shown to an engineer.

    Examples
    --------
    >>> display_unit("set_per_blow", "SI")
    ('mm', 1000.0, 1)
    """
    name = NAMES[code]
    unit, decimals = name.us if system == "US" else name.si
    if not unit:
        return "", 1.0, decimals
    if unit in _OWN_FACTORS:
        return unit, _OWN_FACTORS[unit], decimals
    if unit == name.unit:
        return unit, 1.0, decimals
    return unit, 1.0 / unit_factor(unit, name.dimension), decimals


FURTHER_DECIMALS = 4
"""Decimals added at most to show a small number [1]; a smaller one is what rounding leaves of a zero."""


def decimal(value: float, decimals: int, figures: int = 1) -> str:
    """Write a number with fixed decimals; one too small for them gets two significant figures instead of zero.

    Examples
    --------
    >>> decimal(12.34, 1), decimal(0.04, 1), decimal(-1e-9, 1)
    ('12.3', '0.040', '0.0')
    """
    if 0.0 < abs(value) < 10.0 ** (figures - 1 - decimals):
        further = 1 - math.floor(math.log10(abs(value)))
        if further <= decimals + FURTHER_DECIMALS:
            return f"{value:.{further}f}"
        value = 0.0
    return f"{value + 0.0:,.{decimals}f}"


def percent(share: float, decimals: int = 0) -> str:
    """Write a share of one in percent.

    Examples
    --------
    >>> percent(0.123), percent(0.0004), percent(0.048, 1)
    ('12 %', '0.040 %', '4.8 %')
    """
    return f"{decimal(100.0 * share, decimals)} %"


def show(code: str, value: float | None, system: str) -> str:
    """Write a number with its unit, as an engineer reads it.

    Examples
    --------
    >>> show("case_resistance", 1.69e6, "US"), show("case_resistance", 1.69e6, "SI")
    ('380 kip', '1,690 kN')
    """
    if value is None or value != value:
        return "–"
    unit, factor, decimals = display_unit(code, system)
    return f"{decimal(value * factor, decimals, NAMES[code].figures)} {unit}".strip()


STATED_DECIMALS, STATED_FIGURES = 3, 4
"""Decimals at most, and significant figures at least, of a required resistance [1]; our own choice."""


def show_required(value: float | None, system: str) -> str:
    """Write a required resistance to the digits it is stated with; one in other units to four figures.

    Units: value [N].

    Examples
    --------
    >>> show_required(1397e3, "SI"), show_required(2440.7e3, "SI"), show_required(2404e3, "US")
    ('1,397 kN', '2,440.7 kN', '540.4 kip')
    """
    if value is None or value != value:
        return "–"
    number = value * display_unit("matched_resistance", system)[1]
    figures = STATED_FIGURES - 1 - math.floor(math.log10(abs(number)))
    return _stated("matched_resistance", value, system, STATED_DECIMALS, figures)


def show_length(value: float | None, system: str) -> str:
    """Write a length or depth that the sheet states with its digits, without zeros behind them.

    Units: value [m].

    Examples
    --------
    >>> show_length(12.0, "SI"), show_length(15.24, "SI"), show_length(15.24, "US"), show_length(16.77, "US")
    ('12 m', '15.24 m', '50 ft', '55.0 ft')
    """
    if value is None or value != value:
        return "–"
    usual = display_unit("penetration", system)[2]
    return _stated("penetration", value, system, usual, usual)


def _stated(code: str, value: float, system: str, most: int, otherwise: int) -> str:
    """Write a number with as few decimals as hold it, up to the most; with others where more would be needed."""
    unit, factor, _ = display_unit(code, system)
    number = value * factor
    holding = (n for n in range(most + 1) if abs(round(number, n) - number) <= 1e-9 * abs(number))
    decimals = next(holding, max(0, otherwise))
    return f"{number:,.{decimals}f} {unit}"
