"""Contents of a test sheet in plain SI floats: the frozen result of reading one."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Literal

from dyntest.hammer import Hammer
from dyntest.pile import Pile


@dataclass(frozen=True)
class Drive:
    """One drive of the test pile: the initial one, or a restrike.

    Parameters
    ----------
    name : str
        ``kind`` where it is the only drive of its kind, else numbered: ``"restrike_1"``.
    kind : str
        ``"initial"`` or ``"restrike"``.
    signals : tuple of Path
        Signal tables, in the order of driving.
    log : Path or None
        Driving log.
    start, end : datetime or None
        Local clock.
    penetration_at_start : float or None
        Penetration of the toe when the drive began [m].
    hammer : Hammer or None
        The hammer of this drive: its own table ``[drive.hammer]`` where there is one, else the sheet's.
    first_blow : int or None
        Number in the drive of the first blow that was recorded [1].
    """

    name: str
    kind: str
    signals: tuple[Path, ...]
    log: Path | None = None
    start: datetime | None = None
    end: datetime | None = None
    penetration_at_start: float | None = None
    hammer: Hammer | None = None
    first_blow: int | None = None


@dataclass(frozen=True)
class Requirement:
    """What the design requires of the pile.

    Parameters
    ----------
    nominal_resistance : float or None
        Required nominal resistance [N].
    factored_load : float or None
        Factored load [N].
    resistance_factor : float or None
        Resistance factor φ [1].
    service_load : float or None
        Service load [N].
    safety_factor : float or None
        Factor of safety [1].
    damping_factor : float or None
        Case damping factor J chosen by the engineer [1].
    minimum_penetration : float or None
        Minimum penetration of the toe [m].
    compression_stress_limit, tension_stress_limit : float or None
        Limits of the driving stresses [Pa]; if absent, those of the material apply.
    redundant : bool or None
        Whether the foundation has other piles that can take over from this one; None if the sheet does not say.
    scour_depth : float or None
        Scour depth below the ground [m].
    downdrag : float or None
        Downdrag load from settling soil [N].
    count : str or None
        How the blow count is specified: ``"every inch"`` or ``"whole length"``.
    """

    nominal_resistance: float | None = None
    factored_load: float | None = None
    resistance_factor: float | None = None
    service_load: float | None = None
    safety_factor: float | None = None
    damping_factor: float | None = None
    minimum_penetration: float | None = None
    compression_stress_limit: float | None = None
    tension_stress_limit: float | None = None
    redundant: bool | None = None
    scour_depth: float | None = None
    downdrag: float | None = None
    count: str | None = None

    @property
    def is_stated(self) -> bool:
        """Whether a resistance or a load is required."""
        return any(one is not None for one in (self.nominal_resistance, self.factored_load, self.service_load))

    @property
    def required_resistance(self) -> float | None:
        """Required nominal resistance [N]: as given, or ``factored load / φ``, or ``service load × safety factor``."""
        if self.nominal_resistance is not None:
            return self.nominal_resistance
        if self.factored_load is not None and self.resistance_factor is not None:
            return self.factored_load / self.resistance_factor
        if self.service_load is not None and self.safety_factor is not None:
            return self.service_load * self.safety_factor
        return None


@dataclass(frozen=True)
class Layer:
    """A layer of soil, from its top to its bottom below the ground.

    Parameters
    ----------
    top, bottom : float
        Depths below the ground [m].
    soil : str
        ``"sand"``, ``"silt"``, ``"clay"`` or ``"rock"``.
    words : str
        Description of the soil in the boring log; empty if the sheet has none.
    """

    top: float
    bottom: float
    soil: str
    words: str = ""


@dataclass(frozen=True)
class SoilProfile:
    """Type of soil at shaft and toe, for starting values and the time law, and the layers.

    Parameters
    ----------
    shaft : str or None
        ``"sand"``, ``"silt"`` or ``"clay"``.
    toe : str or None
        ``"sand"``, ``"silt"``, ``"clay"`` or ``"rock"``.
    boring : str
        The boring that shows the layers; empty if absent.
    ground_elevation, water_elevation : float or None
        Elevations [m], upward positive.
    layers : tuple of Layer
        From the ground down, without gaps; empty where the sheet has none.
    """

    shaft: str | None = None
    toe: str | None = None
    boring: str = ""
    ground_elevation: float | None = None
    water_elevation: float | None = None
    layers: tuple[Layer, ...] = ()


@dataclass(frozen=True)
class Channel:
    """Place of a channel in a recorder's file, with unit and sign.

    Parameters
    ----------
    column : str or int
        Its name in the file, or its number from 1 [1].
    unit : str or None
        Unit of the numbers after the factor; None if the file gives it.
    factor : float
        Multiplies the numbers of the file [unit of the channel per unit in the file].
    positive : str or None
        ``"compression"``, ``"tension"``, ``"down"`` or ``"up"``; None if the sheet does not say.
    """

    column: str | int
    unit: str | None = None
    factor: float = 1.0
    positive: Literal["compression", "tension", "down", "up"] | None = None

    @property
    def sign(self) -> float:
        """What turns a number into one with compression or downward motion positive [1]."""
        return -1.0 if self.positive in ("tension", "up") else 1.0


@dataclass(frozen=True)
class Records:
    """Format of a recorder's files; None means that it is found from the file.

    Parameters
    ----------
    format : str or None
        ``"text"``, ``"excel"``, ``"matlab"``, ``"hdf5"``, ``"tdms"``, ``"uff58"`` or ``"parquet"``.
    skip_lines : int or None
        Lines above the header [1].
    delimiter, decimal : str or None
        What stands between columns, and the decimal mark, as characters.
    sheet : str or None
        Sheet of a workbook.
    group : str or None
        Group or path above the channels.
    sample_rate : float or None
        Sampling rate, if the file has no time [Hz].
    blows : str or None
        ``"column"``, ``"one a file"``, ``"rows"`` or ``"continuous"``.
    trigger : float or None
        Mean strain at which a blow of a continuous stream begins [m/m].
    before, length : float or None
        Time before the impact, and total length, of each blow cut from a continuous stream [s].
    channels : dict of str to Channel
        By the names that the gauges have, and ``time``, ``blow``, ``clock`` and ``penetration``.
    """

    format: str | None = None
    skip_lines: int | None = None
    delimiter: str | None = None
    decimal: str | None = None
    sheet: str | None = None
    group: str | None = None
    sample_rate: float | None = None
    blows: str | None = None
    trigger: float | None = None
    before: float | None = None
    length: float | None = None
    channels: dict[str, Channel] = field(default_factory=dict)


@dataclass(frozen=True)
class LogLayout:
    """Layout of the inspectors' logs of a test; None means that it is found from the file.

    Parameters
    ----------
    format : str or None
        ``"text"`` or ``"excel"``.
    sheet : str or None
        Sheet of a workbook.
    skip_lines : int or None
        Lines above the header [1].
    delimiter, decimal : str or None
        What stands between columns, and the decimal mark, as characters.
    dates : str or None
        ``"month first"`` or ``"day first"``, where dates could be read in both ways.
    cumulative : bool or None
        Whether the blow count is cumulative from the start of driving; None if the header says it.
    columns : dict of str to Channel
        Columns by this program's names, such as ``depth_to``.
    """

    format: str | None = None
    sheet: str | None = None
    skip_lines: int | None = None
    delimiter: str | None = None
    decimal: str | None = None
    dates: str | None = None
    cumulative: bool | None = None
    columns: dict[str, Channel] = field(default_factory=dict)


@dataclass(frozen=True)
class Gauges:
    """Names of the signal columns: two or four strains and accelerations, or one averaged force and velocity.

    Parameters
    ----------
    strain, acceleration : tuple of str or None
        Names of the two or four channels of each kind. The first two are on opposite faces, and so are the others.
    force, velocity : str or None
        Names of the averaged traces if single gauges were not stored.
    leave_out : tuple of str
        Channels not to be used.
    calibration : dict of str to str
        Free text for the report, by channel; under ``"all"`` if one text applies to all.
    """

    strain: tuple[str, ...] | None = None
    acceleration: tuple[str, ...] | None = None
    force: str | None = None
    velocity: str | None = None
    leave_out: tuple[str, ...] = ()
    calibration: dict[str, str] = field(default_factory=dict)

    @property
    def averaged(self) -> bool:
        """Whether the records only exist as averaged force and velocity."""
        return self.force is not None


@dataclass(frozen=True)
class Choices:
    """Decisions of the engineer on the records; every one is optional.

    Parameters
    ----------
    blow : dict of str to int
        Representative blow of a drive [1], by the drive's name.
    damping_factor : float or None
        Case damping factor J [1]; it overrides that of the requirement.
    leave_out : tuple of str
        Channels not to be used, with those of the gauges.
    low_pass : float or None
        Corner of the low-pass filter [Hz].
    align : bool
        Whether the lag between strain and acceleration is to be corrected.
    soil_law : str
        ``"elastic-plastic"``, ``"hyperbolic"`` or ``"best"``.
    verification : str or None
        How the nominal resistance is verified in the field.
    setup_credit : bool or None
        Whether setup measured by a restrike is credited.
    """

    blow: dict[str, int] = field(default_factory=dict)
    damping_factor: float | None = None
    leave_out: tuple[str, ...] = ()
    low_pass: float | None = None
    align: bool = False
    soil_law: str = "best"
    verification: str | None = None
    setup_credit: bool | None = None


@dataclass(frozen=True)
class TestSheet:
    """One test pile and everything measured on it.

    Parameters
    ----------
    path : Path
        The sheet; all files that it names are in its folder or below.
    project, structure, pile_name, engineer, tested_by, checked_by, recorder, location : str
        Free text for the report; empty where absent.
    display_units : str
        ``"SI"`` or ``"US"``, how numbers are shown.
    pile : Pile
        The pile below its gauges.
    hammer : Hammer or None
        The hammer; a drive may have its own.
    gauges : Gauges
        Names of the signal columns.
    requirement : Requirement
        What the design requires.
    soil : SoilProfile
        Type of soil at shaft and toe, and the layers.
    drives : tuple of Drive
        In the order of the sheet; at least one.
    choices : Choices
        Decisions of the engineer.
    records : Records or None
        Format of the recorder's signal files; None for tables in the program's own format.
    log_layout : LogLayout or None
        Layout of the logs; None for tables in the program's own format.
    text : str
        The sheet as read.
    """

    path: Path
    project: str
    structure: str
    pile_name: str
    engineer: str
    display_units: str
    pile: Pile
    hammer: Hammer | None
    gauges: Gauges
    requirement: Requirement
    soil: SoilProfile
    drives: tuple[Drive, ...]
    choices: Choices
    text: str = ""
    tested_by: str = ""
    checked_by: str = ""
    recorder: str = ""
    location: str = ""
    records: Records | None = None
    log_layout: LogLayout | None = None

    @property
    def inputs(self) -> tuple[Path, ...]:
        """The sheet and every file that it names, each once."""
        named = [self.path]
        for drive in self.drives:
            named += drive.signals
            if drive.log is not None:
                named.append(drive.log)
        return tuple(dict.fromkeys(named))

    @property
    def damping_factor(self) -> float | None:
        """Case damping factor J [1]: the engineer's choice, else that of the requirement."""
        return self.requirement.damping_factor if self.choices.damping_factor is None else self.choices.damping_factor
