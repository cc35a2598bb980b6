"""Ranges in which a value of a test sheet can lie at all; outside them a unit or a digit is wrong.

They catch slips such as ``"30000 psi"`` for a modulus of steel. They are not limits of design. Unless a source stands
beside a range it is common practice, no source, and deliberately wide.

The test sheet as it is written: one pydantic model a table, physical values already in SI.

A value of the wrong kind or unit, an unknown key and a missing one are found here; what concerns several keys at once
is found where the sheet is assembled.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from dyntest.reading.wording import shown
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
"""A ram of ``"4 lbf"`` was meant in kip: the lightest that drive a pile at all weigh some tens of kilograms."""
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

SHARE = Range(0.01, 1.0)
"""Efficiency, restitution, resistance factor [1]; none of them can exceed 1."""
SAFETY_FACTOR = Range(1.0, 10.0)
DAMPING_FACTOR = Range(0.0, 2.0)
"""Case damping factor [1]; published values by soil run from 0.05 to 1.10 (from memory, after FHWA-HI-97-013,
ch. 17)."""


@dataclass(frozen=True)
class Material:
    """What the material of a pile can be.

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
"""Modulus of steel where the sheet states none [Pa] (EN 1993-1-1, 3.2.6, from memory)."""

STEEL_DENSITY = 7850.0
"""Density of steel where the sheet states none [kg/m^3] (EN 1991-1-1, Table A.4, 77.0 to 78.5 kN/m³, from memory)."""


_KIN = {"force": "mass", "mass": "force", "unit weight": "density", "density": "unit weight"}
"""Dimensions that a sheet confuses easily: the pound is one of mass for `dyntest.units`."""

_KIN_CURE = {
    "force": "write lbf or kip for a force, or state a mass under its own key",
    "mass": "write kg or lb for a mass, or state a weight under its own key",
    "unit weight": 'write "492 lbf/ft^3", or state it as density',
    "density": 'write "7850 kg/m^3", or state it as unit_weight',
}


def _physical(dimension: str, allowed: Range, example: str = "") -> Any:
    """Give the type of a physical value: text with a unit in, SI float out, inside its plausible range."""

    def read(value: object) -> float:
        if not isinstance(value, str):
            value = shown(value) if isinstance(value, (dict, list, bool)) else value
            article = "an" if dimension[0] in "aeiou" else "a"
            cure = f"write {article} {dimension} with its unit in quotes"
            raise ValueError(
                f"{shown(value).strip(chr(34))} has no unit; {cure}" + (f", such as {example}" if example else "")
            )
        if shown(value) != f'"{value}"':
            raise ValueError(f"{shown(value)} is no number with a unit; write it in one short line")
        try:
            number = to_si(value, dimension)
        except ValueError:
            if dimension in _KIN and _reads_as(value, _KIN[dimension]):
                raise ValueError(
                    f'"{value}" is a {_KIN[dimension]}, not a {dimension}; {_KIN_CURE[dimension]}'
                ) from None
            raise
        if number not in allowed:
            raise ValueError(f'"{value}" cannot be right, it lies outside {allowed}; check the number and its unit')
        return number

    return Annotated[float, BeforeValidator(read), Field(examples=[example] if example else None)]


def _reads_as(text: str, dimension: str) -> bool:
    try:
        to_si(text, dimension)
    except ValueError:
        return False
    return True


def _ratio(allowed: Range) -> Any:
    """Give the type of a plain number inside its plausible range."""

    def check(value: float) -> float:
        if value not in allowed:
            raise ValueError(f"{value:g} cannot be right, it lies outside {allowed}; check the number")
        return value

    return Annotated[float, AfterValidator(check)]


def _one_line(text: str) -> str:
    if not text.isprintable():
        raise ValueError("the text has line breaks or control characters; write it in one line")
    return text.strip()


def _not_empty(text: str) -> str:
    if not text.strip():
        raise ValueError("the text is empty; fill it in or take the key out")
    return text


def _local(value: object) -> object:
    if not isinstance(value, datetime):
        raise ValueError(f"{shown(value)} is no date with a time; write it without quotes as 2026-05-04T13:05:00")
    if value.tzinfo is not None:
        raise ValueError(f"{shown(value)} has a time zone; write the local clock without one")
    return value


def _names(value: object) -> object:
    return [value] if isinstance(value, str) else value


def _texts_by_channel(value: object) -> object:
    return {"all": value} if isinstance(value, str) else value


Text = Annotated[str, AfterValidator(_one_line)]
Word = Annotated[str, AfterValidator(_one_line), AfterValidator(_not_empty)]
LocalTime = Annotated[datetime, BeforeValidator(_local)]
Names = Annotated[list[Word], BeforeValidator(_names)]
Area = _physical("area", AREA, '"15.5 in^2"')
Modulus = _physical("stress", MODULUS, '"210 GPa"')
UnitWeight = _physical("unit weight", UNIT_WEIGHT, '"492 lbf/ft^3"')
Density = _physical("density", DENSITY, '"7850 kg/m^3"')
Length = _physical("length", LENGTH, '"57 ft"')
Depth = _physical("length", LENGTH_FROM_ZERO, '"57 ft"')
Stroke = _physical("length", STROKE, '"8 ft"')
Stress = _physical("stress", STRESS, '"50 ksi"')
Force = _physical("force", FORCE, '"380 kip"')
Stiffness = _physical("stiffness", STIFFNESS, '"1500 MN/m"')
Share = _ratio(SHARE)
DampingFactor = _ratio(DAMPING_FACTOR)


class Table(BaseModel):
    """A table of the sheet: no key beyond those named, no value bent to fit."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class TestTable(Table):
    """``[test]``: what the report prints."""

    __test__ = False  # keeps pytest from taking the class for a test

    project: Text = ""
    structure: Text = ""
    pile: Word = Field(examples=['"P2-4"'])
    engineer: Text = ""
    display_units: Literal["SI", "US"] = "SI"


class PartTable(Table):
    """``[[pile.part]]``: a length of pile that differs from the rest."""

    length: Length
    area: Area | None = None
    modulus: Modulus | None = None
    unit_weight: UnitWeight | None = None
    density: Density | None = None


class PileTable(Table):
    """``[pile]``: section, lengths and material."""

    material: Literal["steel", "concrete", "timber"] = Field(examples=['"steel"'])
    section: Word | None = None
    area: Area | None = None
    length_below_gauges: Length
    total_length: Length | None = None
    modulus: Modulus | None = None
    unit_weight: UnitWeight | None = None
    density: Density | None = None
    wave_speed: _physical("velocity", WAVE_SPEED, '"16800 ft/s"') | None = None
    yield_strength: Stress | None = None
    compressive_strength: Stress | None = None
    effective_prestress: _physical("stress", STRESS_FROM_ZERO, '"0.8 ksi"') | None = None
    base_resistance: Stress | None = None
    tip_reinforcement: Depth = 0.0
    part: list[PartTable] = []


class HammerTable(Table):
    """``[hammer]`` or ``[drive.hammer]``: the hammer and its cushions."""

    kind: Literal["open-end diesel", "closed-end diesel", "air", "hydraulic", "drop"] = Field(
        examples=['"open-end diesel"']
    )
    ram_weight: _physical("force", RAM_WEIGHT, '"6.6 kip"') | None = None
    ram_mass: _physical("mass", RAM_MASS, '"3000 kg"') | None = None
    rated_energy: _physical("energy", ENERGY, '"70 kip ft"') | None = None
    minimum_stroke: Stroke | None = None
    maximum_stroke: Stroke | None = None
    efficiency: Share | None = None
    helmet_mass: _physical("mass", MASS, '"900 kg"') | None = None
    hammer_cushion_stiffness: Stiffness | None = None
    hammer_cushion_restitution: Share = 1.0
    pile_cushion_stiffness: Stiffness | None = None
    pile_cushion_restitution: Share = 1.0


class GaugesTable(Table):
    """``[gauges]``: names of the signal columns."""

    strain: list[Word] | None = None
    acceleration: list[Word] | None = None
    force: Word | None = None
    velocity: Word | None = None
    leave_out: Names = []
    calibration: Annotated[dict[str, str], BeforeValidator(_texts_by_channel)] = {}


class RequirementTable(Table):
    """``[requirement]``: what the design asks."""

    nominal_resistance: Force | None = None
    factored_load: Force | None = None
    resistance_factor: Share | None = None
    service_load: Force | None = None
    safety_factor: _ratio(SAFETY_FACTOR) | None = None
    damping_factor: DampingFactor | None = None
    minimum_penetration: Depth | None = None
    compression_stress_limit: Stress | None = None
    tension_stress_limit: Stress | None = None


class SoilTable(Table):
    """``[soil]``: the soil in a word each."""

    shaft: Literal["sand", "silt", "clay"] | None = None
    toe: Literal["sand", "silt", "clay", "rock"] | None = None


class DriveTable(Table):
    """``[[drive]]``: one drive and its files."""

    kind: Literal["initial", "restrike"] = Field(examples=['"initial"'])
    signals: Names = Field(examples=['"initial.parquet"'])
    log: Word | None = None
    start: LocalTime | None = None
    end: LocalTime | None = None
    penetration_at_start: Depth | None = None
    hammer: HammerTable | None = None


class ChoicesTable(Table):
    """``[choices]``: what the engineer decided while looking at the records."""

    blow: dict[str, int] = {}
    damping_factor: DampingFactor | None = None
    leave_out: Names = []
    low_pass: _physical("frequency", FREQUENCY, '"2000 Hz"') | None = None
    align: bool = False
    soil_law: Literal["elastic-plastic", "hyperbolic", "best"] = "best"
    verification: Word | None = None
    setup_credit: bool | None = None


class SheetModel(Table):
    """The whole sheet."""

    format: Literal[1]
    test: TestTable
    pile: PileTable
    hammer: HammerTable | None = None
    gauges: GaugesTable = Field(
        examples=['strain = ["strain_1", "strain_2"]', 'acceleration = ["acceleration_1", "acceleration_2"]']
    )
    requirement: RequirementTable = RequirementTable()
    soil: SoilTable = SoilTable()
    drive: list[DriveTable] = Field(min_length=1)
    choices: ChoicesTable = ChoicesTable()
