"""Values of a test sheet: their types, and the ranges outside which a unit or a digit must be wrong.

The ranges catch slips such as ``"30000 psi"`` for a modulus of steel. They are not design limits. A range without a
source beside it is common practice, no source, and deliberately wide.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from dyntest.reading.wording import as_written
from dyntest.units import to_si


@dataclass(frozen=True)
class Range:
    """A range of plausible values.

    Parameters
    ----------
    low, high : float
        Bounds, both allowed [`unit`].
    unit : str
        Unit of the bounds, SI in the sense of `dyntest.units.DIMENSIONS`; empty for a ratio.
    """

    low: float
    high: float
    unit: str = ""

    def __contains__(self, value: float) -> bool:
        """Whether a value lies inside [`unit`]."""
        return self.low <= value <= self.high

    def __str__(self) -> str:
        """Both bounds and the unit, for a message."""
        factor, unit = self._written()
        return f"{self.low / factor:g} to {self.high / factor:g} {unit}".rstrip()

    def write(self, value: float) -> str:
        """Give a value as the bounds are written.

        Examples
        --------
        >>> Range(1e9, 1e12, "Pa").write(2.1e11)
        '210 GPa'
        """
        factor, unit = self._written()
        return f"{value / factor:.4g} {unit}".rstrip()

    def _written(self) -> tuple[float, str]:
        if self.unit != "Pa":
            return 1.0, self.unit
        return (1e9, "GPa") if self.high > 2e9 else (1e6, "MPa")


LENGTH = Range(0.1, 300.0, "m")
LENGTH_FROM_ZERO = Range(0.0, 300.0, "m")
AREA = Range(1e-4, 20.0, "m^2")
STROKE = Range(0.05, 20.0, "m")
MASS = Range(1.0, 1e6, "kg")
RAM_MASS = Range(10.0, 1e6, "kg")
RAM_WEIGHT = Range(100.0, 1e7, "N")
"""A ram of ``"4 lbf"`` was meant in kip: the lightest rams that drive piles weigh some tens of kilograms."""
FORCE = Range(1e4, 1e9, "N")
"""A resistance or load of ``"380 lbf"`` was meant in kip: no pile is tested for less than a tonne."""
ENERGY = Range(100.0, 1e7, "J")
STRESS = Range(1e5, 2e9, "Pa")
STRESS_FROM_ZERO = Range(0.0, 2e9, "Pa")
STIFFNESS = Range(1e5, 1e12, "N/m")
FREQUENCY = Range(100.0, 1e5, "Hz")
MODULUS = Range(1e6, 1e12, "Pa")
DENSITY = Range(300.0, 10_000.0, "kg/m^3")
UNIT_WEIGHT = Range(3e3, 1e5, "N/m^3")
WAVE_SPEED = Range(1000.0, 7000.0, "m/s")

ELEVATION = Range(-1000.0, 9000.0, "m")
PRESSURE = Range(1e5, 5e7, "Pa")
LOAD = Range(0.0, 1e9, "N")
SAMPLE_RATE = Range(1e3, 1e7, "Hz")
TRIGGER_STRAIN = Range(1e-6, 5e-3, "m/m")
STREAM_TIME = Range(1e-5, 10.0, "s")

SHARE = Range(0.01, 1.0)
"""Efficiency, restitution, resistance factor [1]; none of them can exceed 1."""
SAFETY_FACTOR = Range(1.0, 10.0)
DAMPING_FACTOR = Range(0.0, 2.0)
"""Case damping factor [1]; published values by soil run from 0.05 to 1.10 (from memory, after FHWA-HI-97-013,
ch. 17)."""


@dataclass(frozen=True)
class Material:
    """Plausible properties of a pile material.

    Parameters
    ----------
    modulus : Range
        Dynamic Young's modulus [Pa].
    density : Range
        Mass density [kg/m^3].
    wave_speed : Range
        Speed of the stress wave [m/s].
    strength : dict of str to Range
        Keys of the sheet that state its strength, each with its range [Pa].
    """

    modulus: Range
    density: Range
    wave_speed: Range
    strength: dict[str, Range]


MATERIALS = {
    # Wave speed of steel about 16,800 ft/s (UFC 3-220-20, 6-9.2), modulus 29,000 ksi (FHWA-NHI-16-009, 8.2).
    "steel": Material(
        modulus=Range(180e9, 225e9, "Pa"),
        density=Range(7600.0, 8100.0, "kg/m^3"),
        wave_speed=Range(4800.0, 5400.0, "m/s"),
        strength={"yield_strength": Range(150e6, 1000e6, "Pa")},
    ),
    # Wave speed of concrete 10,000 to 13,000 ft/s (UFC 3-220-20, 6-9.2), widened for light and very strong concrete.
    "concrete": Material(
        modulus=Range(10e9, 65e9, "Pa"),
        density=Range(1500.0, 3000.0, "kg/m^3"),
        wave_speed=Range(2500.0, 5000.0, "m/s"),
        strength={
            "compressive_strength": Range(10e6, 200e6, "Pa"),
            "effective_prestress": Range(0.0, 30e6, "Pa"),
        },
    ),
    # Modulus of timber 1,250 to 1,500 ksi and base resistance 0.90 to 1.25 ksi (FHWA-NHI-16-009, 8.2.1), widened.
    "timber": Material(
        modulus=Range(4e9, 20e9, "Pa"),
        density=Range(350.0, 1300.0, "kg/m^3"),
        wave_speed=Range(2500.0, 5500.0, "m/s"),
        strength={"base_resistance": Range(2e6, 20e6, "Pa")},
    ),
}
"""Every material by its name in the sheet."""

STEEL_MODULUS = 210e9
"""Modulus of steel if the sheet gives none [Pa] (EN 1993-1-1, 3.2.6, from memory)."""

STEEL_DENSITY = 7850.0
"""Density of steel if the sheet gives none [kg/m^3] (EN 1991-1-1, Table A.4, 77.0 to 78.5 kN/m³, from memory)."""


_KIN = {"force": "mass", "mass": "force", "unit weight": "density", "density": "unit weight"}
"""Dimensions that are easily confused: for `dyntest.units` the pound is a unit of mass."""

_KIN_CURE = {
    "force": "write lbf or kip for a force, or give a mass under its own key",
    "mass": "write kg or lb for a mass, or give a weight under its own key",
    "unit weight": 'write "492 lbf/ft^3", or give it as density',
    "density": 'write "7850 kg/m^3", or give it as unit_weight',
}


@dataclass(frozen=True)
class Physical:
    """Marks a physical value: text with a unit in the sheet, an SI float inside its plausible range once read.

    Parameters
    ----------
    dimension : str
        What it is, a key of `dyntest.units.DIMENSIONS`.
    allowed : Range
        Plausible values [SI unit of the dimension].
    example : str
        How the value is written in a sheet, with its quotes.
    """

    dimension: str
    allowed: Range
    example: str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self.read, handler(source))

    def read(self, value: object) -> float:
        """Give the value in SI [SI unit of the dimension]; a `ValueError` has problem and cure, separated by "; "."""
        dimension = self.dimension
        article = "an" if dimension[0] in "aeiou" else "a"
        if not isinstance(value, str):
            came = as_written(value).strip(chr(34))
            cure = f"write {article} {dimension} with its unit in quotes, such as {self.example}"
            raise ValueError(f"{came} has no unit; {cure}")
        if as_written(value) != f'"{value}"':
            raise ValueError(f"{as_written(value)} is not a number with a unit; write it in one short line")
        try:
            number = to_si(value, dimension)
        except ValueError:
            if dimension in _KIN and _reads_as(value, _KIN[dimension]):
                raise ValueError(
                    f'"{value}" is a {_KIN[dimension]}, not a {dimension}; {_KIN_CURE[dimension]}'
                ) from None
            raise
        if number not in self.allowed:
            raise ValueError(f'"{value}" cannot be right: it is outside {self.allowed}; check the number and its unit')
        return number


def _reads_as(text: str, dimension: str) -> bool:
    try:
        to_si(text, dimension)
    except ValueError:
        return False
    return True


@dataclass(frozen=True)
class Ratio:
    """Marks a plain number inside its plausible range.

    Parameters
    ----------
    allowed : Range
        Plausible values [1].
    """

    allowed: Range

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_after_validator_function(self.check, handler(source))

    def check(self, value: float) -> float:
        """Give the number back, or refuse it [1]."""
        if value not in self.allowed:
            raise ValueError(f"{value:g} cannot be right: it is outside {self.allowed}; check the number")
        return value


def _one_line(text: str) -> str:
    if not text.isprintable():
        raise ValueError("the text has line breaks or control characters; write it in one line")
    return text.strip()


def _not_empty(text: str) -> str:
    if not text.strip():
        raise ValueError("the text is empty; fill it in or remove the key")
    return text


def _local(value: object) -> object:
    if not isinstance(value, datetime):
        raise ValueError(
            f"{as_written(value)} is not a date with a time; write it without quotes as 2026-05-04T13:05:00"
        )
    if value.tzinfo is not None:
        raise ValueError(f"{as_written(value)} has a time zone; write the local clock without one")
    return value


def _names(value: object) -> object:
    return [value] if isinstance(value, str) else value


def _column(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, (str, int)):
        raise ValueError(f"{as_written(value)} is not a column; write its name in quotes, or its number from 1")
    if isinstance(value, int) and not 1 <= value <= 100_000:
        raise ValueError(f"{as_written(value)} is not a column number; count the columns from 1")
    return value


def _texts_by_channel(value: object) -> object:
    return {"all": value} if isinstance(value, str) else value


Text = Annotated[str, AfterValidator(_one_line)]
Word = Annotated[str, AfterValidator(_one_line), AfterValidator(_not_empty)]
LocalTime = Annotated[datetime, BeforeValidator(_local)]
Names = Annotated[list[Word], BeforeValidator(_names)]
ColumnName = Annotated[Word | int, BeforeValidator(_column)]
ByChannel = Annotated[dict[str, str], BeforeValidator(_texts_by_channel)]
Area = Annotated[float, Physical("area", AREA, '"15.5 in^2"')]
Modulus = Annotated[float, Physical("stress", MODULUS, '"210 GPa"')]
UnitWeight = Annotated[float, Physical("unit weight", UNIT_WEIGHT, '"492 lbf/ft^3"')]
Density = Annotated[float, Physical("density", DENSITY, '"7850 kg/m^3"')]
WaveSpeed = Annotated[float, Physical("velocity", WAVE_SPEED, '"16800 ft/s"')]
Length = Annotated[float, Physical("length", LENGTH, '"57 ft"')]
Depth = Annotated[float, Physical("length", LENGTH_FROM_ZERO, '"57 ft"')]
Elevation = Annotated[float, Physical("length", ELEVATION, '"212 ft"')]
Stroke = Annotated[float, Physical("length", STROKE, '"8 ft"')]
Stress = Annotated[float, Physical("stress", STRESS, '"50 ksi"')]
Prestress = Annotated[float, Physical("stress", STRESS_FROM_ZERO, '"0.8 ksi"')]
Pressure = Annotated[float, Physical("stress", PRESSURE, '"1500 psi"')]
Force = Annotated[float, Physical("force", FORCE, '"380 kip"')]
Load = Annotated[float, Physical("force", LOAD, '"40 kip"')]
RamWeight = Annotated[float, Physical("force", RAM_WEIGHT, '"6.6 kip"')]
RamMass = Annotated[float, Physical("mass", RAM_MASS, '"3000 kg"')]
HelmetMass = Annotated[float, Physical("mass", MASS, '"900 kg"')]
Energy = Annotated[float, Physical("energy", ENERGY, '"70 kip ft"')]
Stiffness = Annotated[float, Physical("stiffness", STIFFNESS, '"1500 MN/m"')]
Corner = Annotated[float, Physical("frequency", FREQUENCY, '"2000 Hz"')]
SampleRate = Annotated[float, Physical("frequency", SAMPLE_RATE, '"20 kHz"')]
TriggerStrain = Annotated[float, Physical("strain", TRIGGER_STRAIN, '"80 µm/m"')]
StreamTime = Annotated[float, Physical("time", STREAM_TIME, '"100 ms"')]
Share = Annotated[float, Ratio(SHARE)]
SafetyFactor = Annotated[float, Ratio(SAFETY_FACTOR)]
DampingFactor = Annotated[float, Ratio(DAMPING_FACTOR)]
