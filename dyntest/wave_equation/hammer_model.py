"""A hammer on the upper end of the simulated pile: ram, hammer cushion, helmet, and a pile cushion where there is one.

Cushions press and never pull. They load with their stiffness and unload with it divided by the square of the
restitution (Smith 1960).

The gas of a diesel hammer presses on ram and helmet from the moment its ports close until they open again. With the
volume ``V = A (x + d)`` between ram and helmet, x apart, and d of the clearance left at impact:

    p V^1.35 is constant while the ram compresses                               (1)
    p rises to the pressure of combustion after impact and stays there a while  (2)
    p V^1.3 is constant while the ram goes up                                   (3)
    force = A (p − p_atmosphere)                                                (4)

(adiabatic compression and expansion of any text on engines; the exponents from memory). Other kinds have no gas.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dyntest.hammer import Hammer
from dyntest.units import STANDARD_GRAVITY
from dyntest.wave_equation.step import (
    ATMOSPHERE,
    BORE,
    CLEARANCE,
    COMPRESSION_EXPONENT,
    GAIN,
    HAMMER,
    IMPACT_STEP,
    IMPEDANCE,
    LINE,
    PEAK,
    PER_HELMET,
    PER_RAM,
    PILE_STEEPER,
    PILE_STIFFNESS,
    RAM_VELOCITY,
    SINCE,
    SQUEEZED,
    STEEPER,
    STIFFNESS,
    STROKE,
    SUBSTEP,
    SUBSTEPS,
    TIME_STEP,
)

LEAST_SUBSTEPS, MOST_SUBSTEPS = 4, 1000
"""Steps of the hammer within one of the pile: helmet and cushion swing faster than a wave crosses a segment."""

SUBSTEP_OF_SWING = 0.5
"""Greatest substep times the rate at which a cushion's force answers [1] (our choice: a quarter of the bound, 2, beyond
which the substeps do not settle)."""

DIESELS = ("open-end diesel", "closed-end diesel")
"""Kinds whose ram compresses gas."""

COMBUSTION_PRESSURE = 8.0e6
COMPRESSION_STROKE = 0.38
COMPRESSION_RATIO = 13.0
BORE_OF_RAM = 4.2e-5
"""What a diesel hammer has where the sheet does not say: pressure of combustion [Pa], way from closed ports to impact
[m], ratio of the volumes before and after it [1], and section of the bore by mass of the ram [m^2/kg]. All from memory
of hammers with rams of 1.5 to 5 t; defaults, not data of any hammer."""

START_APART = 0.06
"""Distance between ram and helmet from which a diesel's blow is followed [m]: about 10 ms, and gas at a few percent of
the blow's force. The work of compression before is taken off the ram's energy (our choice)."""


@dataclass(frozen=True)
class Gas:
    """Gas of a diesel hammer for every candidate run, each of shape (n_candidates,).

    Parameters
    ----------
    area : numpy.ndarray
        Section of the bore [m^2].
    compression_stroke : numpy.ndarray
        Way from closed ports to impact [m].
    combustion_pressure : numpy.ndarray
        Pressure of combustion [Pa].
    """

    area: np.ndarray
    compression_stroke: np.ndarray
    combustion_pressure: np.ndarray

    @property
    def clearance(self) -> np.ndarray:
        """Clearance volume over the section, shape (n_candidates,) [m]."""
        return self.compression_stroke / (COMPRESSION_RATIO - 1.0)

    def work(self, apart: np.ndarray) -> np.ndarray:
        """Give the work the ram has done on the gas when it is so far from the helmet: the integral of (1) and (4).

        Units: apart [m]; returns [J].
        """
        whole, depth = self.compression_stroke + self.clearance, np.maximum(apart, 0.0) + self.clearance
        n = COMPRESSION_EXPONENT
        squeezed = whole / (n - 1.0) * ((whole / depth) ** (n - 1.0) - 1.0)
        return self.area * ATMOSPHERE * np.where(apart < self.compression_stroke, squeezed - (whole - depth), 0.0)


@dataclass(frozen=True)
class HammerSetting:
    """A hammer's numbers for every candidate run, each of shape (n_candidates,).

    Parameters
    ----------
    ram_mass, helmet_mass : numpy.ndarray
        Masses [kg].
    impact_velocity : numpy.ndarray
        Velocity of the ram at impact [m/s].
    hammer_cushion_stiffness, pile_cushion_stiffness : numpy.ndarray
        Stiffness in compression [N/m]; a pile cushion that is not there is infinite.
    hammer_cushion_restitution, pile_cushion_restitution : numpy.ndarray
        Restitution [1].
    gas : Gas or None
        Gas between ram and helmet; None: there is none.
    """

    ram_mass: np.ndarray
    helmet_mass: np.ndarray
    impact_velocity: np.ndarray
    hammer_cushion_stiffness: np.ndarray
    hammer_cushion_restitution: np.ndarray
    pile_cushion_stiffness: np.ndarray
    pile_cushion_restitution: np.ndarray
    gas: Gas | None = None


def hammer_setting(hammer: Hammer, stroke: np.ndarray, efficiency: np.ndarray | float | None = None) -> HammerSetting:
    """Give a hammer at a number of strokes.

    Units: stroke [m].

    With ``v = √(2 g · stroke · efficiency)``, where the efficiency may change with a power of the stroke. The impact
    velocity of a diesel is that without its gas; the gas takes its work off on the way.

    Examples
    --------
    >>> drop = Hammer("drop", 3000.0, efficiency=1.0, helmet_mass=500.0, hammer_cushion_stiffness=1e9)
    >>> hammer_setting(drop, np.array([1.0])).impact_velocity.round(4).tolist()
    [4.4287]
    """
    stroke = np.atleast_1d(np.asarray(stroke, dtype=float))
    share = hammer.efficiency_at(stroke) if efficiency is None else efficiency
    needed = {
        "helmet_mass": hammer.helmet_mass,
        "hammer_cushion_stiffness": hammer.hammer_cushion_stiffness,
        "efficiency": share,
    }
    missing = [name for name, value in needed.items() if value is None]
    if missing:
        raise ValueError(f"the hammer model needs {', '.join(missing)} in [hammer]")

    def each(value):
        return np.broadcast_to(np.asarray(value, dtype=float), stroke.shape)

    pile_cushion = np.inf if hammer.pile_cushion_stiffness is None else hammer.pile_cushion_stiffness
    return HammerSetting(
        ram_mass=each(hammer.ram_mass),
        helmet_mass=each(hammer.helmet_mass),
        impact_velocity=np.sqrt(2.0 * STANDARD_GRAVITY * stroke * each(share)),
        hammer_cushion_stiffness=each(hammer.hammer_cushion_stiffness),
        hammer_cushion_restitution=each(hammer.hammer_cushion_restitution),
        pile_cushion_stiffness=each(pile_cushion),
        pile_cushion_restitution=each(hammer.pile_cushion_restitution),
        gas=_gas(hammer, each),
    )


def _gas(hammer: Hammer, each: Callable) -> Gas | None:
    """Give a diesel's gas from the sheet, or from the defaults above."""
    if hammer.kind not in DIESELS or hammer.gas_share == 0.0:
        return None
    return Gas(
        each(hammer.gas_share * BORE_OF_RAM * hammer.ram_mass),
        each(hammer.compression_stroke or COMPRESSION_STROKE),
        each(hammer.combustion_pressure or COMBUSTION_PRESSURE),
    )


@dataclass(frozen=True)
class HammerHead:
    """Drives the upper end of a pile with a hammer.

    Parameters
    ----------
    setting : HammerSetting
        The hammer of every candidate.
    impedance : float
        Impedance of the uppermost segment [N s/m].
    time_step : float
        Time step of the simulation [s].
    gravity : float
        Acceleration of free fall that goes on acting on ram and helmet [m/s^2].
    impact_step : int
        The step at which the ram touches the cushion [1].

    Raises
    ------
    ValueError
        If a cushion is so stiff that its swing cannot be followed.
    """

    setting: HammerSetting
    impedance: float
    time_step: float
    gravity: float = STANDARD_GRAVITY
    impact_step: int = 0

    def __post_init__(self):
        self.substeps()

    def substeps(self) -> np.ndarray:
        """Give the substeps that follow the quickest swing: helmet and ram on cushions, or a cushion on the head."""
        setting = self.setting
        hammer = setting.hammer_cushion_stiffness / setting.hammer_cushion_restitution**2
        pile = setting.pile_cushion_stiffness / setting.pile_cushion_restitution**2
        cushioned = np.isfinite(pile)
        helmet = np.sqrt((hammer + np.where(cushioned, pile, 0.0)) / setting.helmet_mass)
        helmet = np.where(
            cushioned, np.maximum(helmet, pile / self.impedance), np.minimum(helmet, hammer / self.impedance)
        )
        rate = np.maximum(helmet, np.sqrt(hammer / setting.ram_mass))
        substeps = np.maximum(np.ceil(self.time_step * rate / SUBSTEP_OF_SWING), LEAST_SUBSTEPS)
        if substeps.max() > MOST_SUBSTEPS:
            raise ValueError("a cushion is too stiff for the hammer model; leave it out or check its unit")
        return substeps.astype(np.int64)

    def before_the_blow(self) -> np.ndarray:
        """Give the rows `HAMMER` of every candidate as they stand before the blow, shape (25, n_candidates)."""
        setting, gas = self.setting, self.setting.gas
        substeps = self.substeps()
        rows = np.zeros((len(HAMMER), len(substeps)))
        rows[IMPACT_STEP], rows[TIME_STEP], rows[IMPEDANCE] = self.impact_step, self.time_step, self.impedance
        rows[SUBSTEPS], rows[SUBSTEP] = substeps, self.time_step / substeps
        rows[GAIN] = self.gravity * rows[SUBSTEP]
        rows[PER_RAM] = rows[SUBSTEP] / setting.ram_mass
        rows[PER_HELMET] = rows[SUBSTEP] / setting.helmet_mass
        rows[STIFFNESS], rows[PILE_STIFFNESS] = setting.hammer_cushion_stiffness, setting.pile_cushion_stiffness
        rows[STEEPER] = rows[STIFFNESS] / setting.hammer_cushion_restitution**2
        rows[PILE_STEEPER] = rows[PILE_STIFFNESS] / setting.pile_cushion_restitution**2
        rows[RAM_VELOCITY], rows[SINCE] = setting.impact_velocity, -1.0
        if gas is not None:
            rows[BORE], rows[STROKE], rows[PEAK] = gas.area, gas.compression_stroke, gas.combustion_pressure
            rows[CLEARANCE] = gas.clearance
            apart = np.minimum(START_APART, gas.compression_stroke)
            left = rows[RAM_VELOCITY] ** 2 - 2.0 * (self.gravity * apart + gas.work(apart) / setting.ram_mass)
            rows[RAM_VELOCITY] = np.sqrt(np.maximum(left, 0.0))
            rows[SQUEEZED], rows[LINE] = -apart, -rows[STEEPER] * apart
        return rows
