"""The test sheet as written: one pydantic model per table, physical values already in SI.

A value of the wrong kind or unit, an unknown key and a missing key are found here. Checks across several keys are made
where the sheet is assembled.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from dyntest.reading.values import (
    Area,
    ByChannel,
    ColumnName,
    Corner,
    DampingFactor,
    Density,
    Depth,
    Elevation,
    Energy,
    Force,
    HelmetMass,
    Length,
    Load,
    LocalTime,
    Modulus,
    Names,
    Pressure,
    Prestress,
    RamMass,
    RamWeight,
    SafetyFactor,
    SampleRate,
    Share,
    Stiffness,
    StreamTime,
    Stress,
    Stroke,
    Text,
    TriggerStrain,
    UnitWeight,
    WaveSpeed,
    Word,
)

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
    resistance_factor: Share | None = None
    service_load: Force | None = None
    safety_factor: SafetyFactor | None = None
    damping_factor: DampingFactor | None = None
    minimum_penetration: Depth | None = None
    compression_stress_limit: Stress | None = None
    tension_stress_limit: Stress | None = None
    redundant: bool | None = None
    scour_depth: Depth | None = None
    downdrag: Load | None = None
    count: Literal["every inch", "whole length"] | None = None


class LayerKeys(Keys):
    """``[[soil.layer]]``: a layer from the layer above, or from the ground, down to a depth."""

    to: Depth
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
    delimiter: Literal["comma", "semicolon", "tab", "space"] | None = None
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
    delimiter: Literal["comma", "semicolon", "tab", "space"] | None = None
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
