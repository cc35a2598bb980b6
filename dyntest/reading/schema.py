"""The test sheet as written: the types of its values and one pydantic model per table, physical values already in SI.

A value of the wrong kind or unit, an unknown key and a missing key are found here. Checks across several keys are made
where the sheet is assembled.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from dyntest.reading.values import (
    AREA,
    COMPRESSION_LIMIT,
    DAMPING_FACTOR,
    DENSITY,
    ELEVATION,
    ENERGY,
    FORCE,
    FREQUENCY,
    LENGTH,
    LENGTH_FROM_ZERO,
    LOAD,
    MASS,
    MODULUS,
    PENETRATION,
    PRESSURE,
    RAM_MASS,
    RAM_WEIGHT,
    RESISTANCE_FACTOR,
    SAFETY_FACTOR,
    SAMPLE_RATE,
    SHARE,
    SOIL_DEPTH,
    STIFFNESS,
    STREAM_TIME,
    STRESS,
    STRESS_FROM_ZERO,
    STROKE,
    TRIGGER_STRAIN,
    UNIT_WEIGHT,
    WAVE_SPEED,
    Range,
)
from dyntest.reading.wording import as_written
from dyntest.units import to_si

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
Penetration = Annotated[float, Physical("length", PENETRATION, '"40 ft"')]
SoilDepth = Annotated[float, Physical("length", SOIL_DEPTH, '"12 ft"')]
Elevation = Annotated[float, Physical("length", ELEVATION, '"212 ft"')]
Stroke = Annotated[float, Physical("length", STROKE, '"8 ft"')]
Stress = Annotated[float, Physical("stress", STRESS, '"50 ksi"')]
CompressionLimit = Annotated[float, Physical("stress", COMPRESSION_LIMIT, '"45 ksi"')]
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
ResistanceFactor = Annotated[float, Ratio(RESISTANCE_FACTOR)]
SafetyFactor = Annotated[float, Ratio(SAFETY_FACTOR)]
DampingFactor = Annotated[float, Ratio(DAMPING_FACTOR)]

MOST_COUNTED = 10_000_000
"""Largest count of blows or lines accepted [1]; our own bound, no source."""


class Keys(BaseModel):
    """A table of the sheet: unknown keys are refused, and no value is converted to another type."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class JobKeys(Keys):
    """``[test]``: what the report prints."""

    project: Text = ""
    structure: Text = ""
    pile: Word = Field(examples=['"P2-4"'])
    engineer: Text = ""
    tested_by: Text = ""
    checked_by: Text = ""
    recorder: Text = ""
    location: Text = ""
    display_units: Literal["SI", "US"] = "SI"


class PartKeys(Keys):
    """``[[pile.part]]``: a length of pile that differs from the rest."""

    length: Length
    area: Area | None = None
    modulus: Modulus | None = None
    unit_weight: UnitWeight | None = None
    density: Density | None = None


class PileKeys(Keys):
    """``[pile]``: section, lengths and material."""

    material: Literal["steel", "concrete", "timber"] = Field(examples=['"steel"'])
    section: Word | None = None
    area: Area | None = None
    length_below_gauges: Length
    total_length: Length | None = None
    modulus: Modulus | None = None
    unit_weight: UnitWeight | None = None
    density: Density | None = None
    wave_speed: WaveSpeed | None = None
    yield_strength: Stress | None = None
    compressive_strength: Stress | None = None
    effective_prestress: Prestress | None = None
    base_resistance: Stress | None = None
    tip_reinforcement: Depth = 0.0
    part: list[PartKeys] = []


class HammerKeys(Keys):
    """``[hammer]`` or ``[drive.hammer]``: the hammer and its cushions."""

    kind: Literal["open-end diesel", "closed-end diesel", "air", "hydraulic", "drop"] = Field(
        examples=['"open-end diesel"']
    )
    ram_weight: RamWeight | None = None
    ram_mass: RamMass | None = None
    rated_energy: Energy | None = None
    minimum_stroke: Stroke | None = None
    maximum_stroke: Stroke | None = None
    efficiency: Share | None = None
    helmet_mass: HelmetMass | None = None
    hammer_cushion_stiffness: Stiffness | None = None
    hammer_cushion_restitution: Share = 1.0
    pile_cushion_stiffness: Stiffness | None = None
    pile_cushion_restitution: Share = 1.0
    make: Text = ""
    model: Text = ""
    serial: Text = ""
    fuel_setting: Text = ""
    hammer_cushion: Text = ""
    pile_cushion: Text = ""
    combustion_pressure: Pressure | None = None
    compression_stroke: Stroke | None = None


class GaugeKeys(Keys):
    """``[gauges]``: names of the signal columns."""

    strain: list[Word] | None = None
    acceleration: list[Word] | None = None
    force: Word | None = None
    velocity: Word | None = None
    leave_out: Names = []
    calibration: ByChannel = {}


class RequirementKeys(Keys):
    """``[requirement]``: what the design requires."""

    nominal_resistance: Force | None = None
    factored_load: Force | None = None
    resistance_factor: ResistanceFactor | None = None
    service_load: Force | None = None
    safety_factor: SafetyFactor | None = None
    damping_factor: DampingFactor | None = None
    minimum_penetration: Penetration | None = None
    compression_stress_limit: CompressionLimit | None = None
    tension_stress_limit: Stress | None = None
    redundant: bool | None = None
    scour_depth: SoilDepth | None = None
    downdrag: Load | None = None
    count: Literal["every inch", "whole length"] | None = None


class LayerKeys(Keys):
    """``[[soil.layer]]``: a layer from the layer above, or from the ground, down to a depth."""

    to: SoilDepth
    soil: Literal["sand", "silt", "clay", "rock"] = Field(examples=['"clay"'])
    words: Text = ""


class SoilKeys(Keys):
    """``[soil]``: type of soil at shaft and toe, and the layers."""

    shaft: Literal["sand", "silt", "clay"] | None = None
    toe: Literal["sand", "silt", "clay", "rock"] | None = None
    boring: Text = ""
    ground_elevation: Elevation | None = None
    water_elevation: Elevation | None = None
    layer: list[LayerKeys] = []


class ChannelKeys(Keys):
    """``[records.channels.NAME]``: place of a channel in a recorder's file, with unit and sign."""

    column: ColumnName | None = None
    unit: Word | None = None
    factor: float = 1.0
    positive: Literal["compression", "tension", "down", "up"] | None = None


class RecordKeys(Keys):
    """``[records]``: format of the recorder's files."""

    format: Literal["text", "excel", "matlab", "hdf5", "tdms", "uff58", "parquet"] | None = None
    skip_lines: Annotated[int, Field(ge=0, le=MOST_COUNTED)] | None = None
    delimiter: Literal["comma", "semicolon", "tab", "space", "pipe"] | None = None
    decimal: Literal[".", ","] | None = None
    sheet: Word | None = None
    group: Word | None = None
    sample_rate: SampleRate | None = None
    blows: Literal["column", "one a file", "rows", "continuous"] | None = None
    trigger: TriggerStrain | None = None
    before: StreamTime | None = None
    length: StreamTime | None = None
    channels: dict[str, ChannelKeys] = {}


class LogColumnKeys(Keys):
    """A column of an inspector's log, such as ``depth_to = { column = "Depth", unit = "ft" }``."""

    column: ColumnName = Field(examples=['"Depth"'])
    unit: Word | None = None


class LogKeys(Keys):
    """``[log]``: layout of driving logs and production logs."""

    format: Literal["text", "excel"] | None = None
    sheet: Word | None = None
    skip_lines: Annotated[int, Field(ge=0, le=MOST_COUNTED)] | None = None
    delimiter: Literal["comma", "semicolon", "tab", "space", "pipe"] | None = None
    decimal: Literal[".", ","] | None = None
    dates: Literal["month first", "day first"] | None = None
    cumulative: bool | None = None
    depth_from: LogColumnKeys | None = None
    depth_to: LogColumnKeys | None = None
    blows: LogColumnKeys | None = None
    stroke: LogColumnKeys | None = None
    remark: LogColumnKeys | None = None
    pile: LogColumnKeys | None = None
    date: LogColumnKeys | None = None


class DriveKeys(Keys):
    """``[[drive]]``: one drive and its files."""

    kind: Literal["initial", "restrike"] = Field(examples=['"initial"'])
    signals: Names = Field(examples=['"initial.parquet"'])
    log: Word | None = None
    start: LocalTime | None = None
    end: LocalTime | None = None
    penetration_at_start: Depth | None = None
    first_blow: Annotated[int, Field(ge=0, le=MOST_COUNTED)] | None = None
    hammer: HammerKeys | None = None


class ChoiceKeys(Keys):
    """``[choices]``: what the engineer decided while looking at the records."""

    blow: dict[str, int] = {}
    damping_factor: DampingFactor | None = None
    leave_out: Names = []
    low_pass: Corner | None = None
    align: bool = False
    soil_law: Literal["elastic-plastic", "hyperbolic", "best"] = "best"
    verification: Word | None = None
    setup_credit: bool | None = None


class SheetModel(Keys):
    """The whole sheet."""

    format: Literal[1]
    test: JobKeys
    pile: PileKeys
    hammer: HammerKeys | None = None
    gauges: GaugeKeys = Field(
        examples=['strain = ["strain_1", "strain_2"]', 'acceleration = ["acceleration_1", "acceleration_2"]']
    )
    records: RecordKeys | None = None
    log: LogKeys | None = None
    requirement: RequirementKeys = RequirementKeys()
    soil: SoilKeys = SoilKeys()
    drive: list[DriveKeys] = Field(min_length=1)
    choices: ChoiceKeys = ChoiceKeys()
