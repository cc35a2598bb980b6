"""What a test sheet says, in plain SI floats: the frozen result of reading one."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

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
    """

    name: str
    kind: str
    signals: tuple[Path, ...]
    log: Path | None = None
    start: datetime | None = None
    end: datetime | None = None
    penetration_at_start: float | None = None
    hammer: Hammer | None = None


@dataclass(frozen=True)
class Requirement:
    """What the design asks of the pile.

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
        Least penetration of the toe [m].
    compression_stress_limit, tension_stress_limit : float or None
        Limits of the driving stresses [Pa]; where absent the material gives them.
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
class Soil:
    """The soil in a word each, for starting values and for the time law.

    Parameters
    ----------
    shaft : str or None
        ``"sand"``, ``"silt"`` or ``"clay"``.
    toe : str or None
        ``"sand"``, ``"silt"``, ``"clay"`` or ``"rock"``.
    """

    shaft: str | None = None
    toe: str | None = None


@dataclass(frozen=True)
class Gauges:
    """Names of the signal columns: two strains and two accelerations, or one averaged force and velocity.

    Parameters
    ----------
    strain, acceleration : tuple of str or None
        Names of the two channels of each kind, on opposite faces.
    force, velocity : str or None
        Names of the averaged traces where single gauges were not kept.
    leave_out : tuple of str
        Channels not to be used.
    calibration : dict of str to str
        Free text for the report, by channel; under ``"all"`` where one text stands for all.
    """

    strain: tuple[str, str] | None = None
    acceleration: tuple[str, str] | None = None
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
    """What the engineer decided while looking at the records; every one is optional.

    Parameters
    ----------
    blow : dict of str to int
        Representative blow of a drive [1], by the drive's name.
    damping_factor : float or None
        Case damping factor J [1], before that of the requirement.
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
        Whether setup measured by a restrike is counted on.
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
        The sheet; all files that it names lie beside it or below its folder.
    project, structure, pile_name, engineer : str
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
        What the design asks.
    soil : Soil
        The soil in a word each.
    drives : tuple of Drive
        As they stand in the sheet; at least one.
    choices : Choices
        What the engineer decided.
    text : str
        The sheet as read.
    """

    __test__ = False  # keeps pytest from taking the class for a test

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
    soil: Soil
    drives: tuple[Drive, ...]
    choices: Choices
    text: str = ""

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
