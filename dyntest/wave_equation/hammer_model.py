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

LEAST_SUBSTEPS, MOST_SUBSTEPS = 4, 1000
"""Steps of the hammer within one of the pile: helmet and cushion swing faster than a wave crosses a segment."""

SUBSTEP_OF_SWING = 0.5
"""Greatest substep times the rate at which a cushion's force answers [1] (our choice: a quarter of the bound, 2, beyond
which the substeps do not settle)."""

DIESELS = ("open-end diesel", "closed-end diesel")
"""Kinds whose ram compresses gas."""

ATMOSPHERE = 101325.0
"""Standard atmosphere [Pa], exact by definition (ISO 2533)."""

COMBUSTION_PRESSURE = 8.0e6
COMPRESSION_STROKE = 0.38
COMPRESSION_RATIO = 13.0
BORE_OF_RAM = 4.2e-5
"""What a diesel hammer has where the sheet does not say: pressure of combustion [Pa], way from closed ports to impact
[m], ratio of the volumes before and after it [1], and section of the bore by mass of the ram [m^2/kg]. All from memory
of hammers with rams of 1.5 to 5 t; defaults, not data of any hammer."""

COMPRESSION_EXPONENT, EXPANSION_EXPONENT = 1.35, 1.3
"""Exponents of the adiabats [1]; 1.4 for dry air, less with fuel, heat losses and leaks (from memory)."""

IGNITION, BURNING = 1.0e-3, 3.0e-3
"""Time after impact in which the pressure rises, and in which it then stays [s] (from memory, of hammers that inject
their fuel as a spray at impact)."""

LEAST_VOLUME = 0.3
"""Share of the clearance volume to which the gas is squeezed at most [1]; the cushion takes over (our choice)."""

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


class HammerHead:
    """Drives the upper end of a pile with a hammer; called once a step by `simulate`.

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

    def __init__(
        self,
        setting: HammerSetting,
        impedance: float,
        time_step: float,
        *,
        gravity: float = STANDARD_GRAVITY,
        impact_step: int = 0,
    ):
        self.substeps = _substeps(setting, impedance, time_step)
        self.dt, self.impact_step = time_step / self.substeps, impact_step
        self.gain = gravity * self.dt  # velocity gained by falling freely over a substep
        self.impedance = impedance
        n = setting.ram_mass.shape
        self.ram_velocity, self.helmet_velocity = np.array(setting.impact_velocity, dtype=float), np.zeros(n)
        self.per_ram, self.per_helmet = self.dt / setting.ram_mass, self.dt / setting.helmet_mass
        self.hammer_cushion = _Cushion(setting.hammer_cushion_stiffness, setting.hammer_cushion_restitution)
        self.chamber = None
        if setting.gas is not None:
            self.chamber = _Chamber(setting.gas, self.dt)
            apart = np.minimum(START_APART, setting.gas.compression_stroke)
            self.hammer_cushion.part(apart)
            left = setting.impact_velocity**2 - 2.0 * (gravity * apart + setting.gas.work(apart) / setting.ram_mass)
            self.ram_velocity = np.sqrt(np.maximum(left, 0.0))
        self.cushioned = bool(np.isfinite(setting.pile_cushion_stiffness).all())
        if self.cushioned:
            self.pile_cushion = _Cushion(setting.pile_cushion_stiffness, setting.pile_cushion_restitution)
        self.lift = np.zeros(n)  # helmet above the pile head, where no cushion lies between
        self.per_impedance = -1.0 / impedance
        inertia = 1.0 / self.per_helmet
        self.share, self.reply = inertia / (inertia + impedance), 2.0 / (inertia + impedance)
        self.free, self.together, self.pressed, self.above, self.work = (np.zeros(n) for _ in range(5))
        self.pressing = np.zeros(n, dtype=bool)

    def __call__(self, step: int, arriving: np.ndarray) -> np.ndarray:
        """Give the downward wave at the head [N] from the step and the upward wave that arrives [N]."""
        if step < self.impact_step or self._flies(arriving):
            return -arriving  # nothing presses on the head
        twice = 2.0 * arriving
        if self.cushioned:
            move, same = self._on_cushion, twice
        else:
            move, same = self._on_head, twice / self.impedance
        replied = self.reply * arriving
        force = move(twice, replied, same).copy()
        for _ in range(self.substeps - 1):
            force += move(twice, replied, same)
        force /= self.substeps
        return force - arriving

    def _flies(self, arriving: np.ndarray) -> bool:
        """Move everything a whole step on if ram, helmet and head of every candidate are apart all the while."""
        if self.chamber is not None:
            return False  # the gas goes on pressing
        below = self.pile_cushion.line if self.cushioned else -self.lift
        if self.hammer_cushion.line.max() >= 0.0 or below.max() >= 0.0:
            return False
        n, dt = self.substeps, self.dt
        parting = (self.ram_velocity - self.helmet_velocity) * (n * dt)
        head_velocity = arriving * (-2.0 / self.impedance)
        fallen = (n * (n - 1) if self.cushioned else n * (n + 1)) / 2 * self.gain * dt  # as the substeps add it up
        closing = (self.helmet_velocity - head_velocity) * (n * dt) + fallen
        above = self.hammer_cushion.after(parting)
        below = self.pile_cushion.after(closing) if self.cushioned else closing - self.lift
        if above.max() >= 0.0 or below.max() >= 0.0:
            return False
        self.hammer_cushion.squeeze(parting)
        if self.cushioned:
            self.pile_cushion.squeeze(closing)
        else:
            self.lift = -below
        self.ram_velocity += n * self.gain
        self.helmet_velocity += n * self.gain
        return True

    def _ram(self) -> np.ndarray:
        """Move ram and cushion a substep on; give the force of cushion and gas [N], which the next call overwrites."""
        work = self.work
        subtract(self.ram_velocity, self.helmet_velocity, work)
        multiply(work, self.dt, work)
        force = self.hammer_cushion.squeeze(work)
        if self.chamber is not None:
            force = add(force, self.chamber.force(-self.hammer_cushion.squeezed), self.above)
        multiply(force, self.per_ram, work)
        subtract(self.ram_velocity, work, self.ram_velocity)
        add(self.ram_velocity, self.gain, self.ram_velocity)
        return force

    def _on_cushion(self, twice: np.ndarray, *_) -> np.ndarray:
        """Helmet on a pile cushion: its force F moves the head by ``v = (F − 2u)/Z``, from ``2u``."""
        above, work = self._ram(), self.work
        subtract(self.pile_cushion.force, twice, work)
        multiply(work, self.per_impedance, work)
        add(work, self.helmet_velocity, work)
        multiply(work, self.dt, work)
        below = self.pile_cushion.squeeze(work)
        subtract(above, below, work)
        multiply(work, self.per_helmet, work)
        add(self.helmet_velocity, work, self.helmet_velocity)
        add(self.helmet_velocity, self.gain, self.helmet_velocity)
        return below

    def _on_head(self, twice: np.ndarray, replied: np.ndarray, rising: np.ndarray) -> np.ndarray:
        """Helmet straight on the head: they move together while they press, and part when they would pull.

        From ``2u``, ``2u/(m/Δt + Z)`` and ``2u/Z``.
        """
        free, together, force = self.free, self.together, self.pressed
        multiply(self._ram(), self.per_helmet, free)
        add(free, self.helmet_velocity, free)
        add(free, self.gain, free)
        multiply(free, self.share, together)
        subtract(together, replied, together)
        multiply(together, self.impedance, force)
        add(force, twice, force)
        pressing = np.logical_and(self.lift <= 0.0, force > 0.0, self.pressing)
        if all_of(pressing):
            self.helmet_velocity[:] = together
            self.lift[:] = 0.0
            return force
        lift, work = self.lift, self.work
        add(rising, free, work)
        multiply(work, self.dt, work)
        subtract(lift, work, lift)
        maximum(lift, 0.0, out=lift)
        np.copyto(lift, 0.0, where=pressing)
        self.helmet_velocity[:] = free
        np.copyto(self.helmet_velocity, together, where=pressing)
        return multiply(force, pressing, force)


def _substeps(setting: HammerSetting, impedance: float, time_step: float) -> int:
    """Give the substeps that follow the quickest swing: of helmet and ram on cushions, or of a cushion on the head."""
    hammer = setting.hammer_cushion_stiffness / setting.hammer_cushion_restitution**2
    pile = setting.pile_cushion_stiffness / setting.pile_cushion_restitution**2
    cushioned = np.isfinite(pile)
    between = hammer + np.where(cushioned, pile, 0.0)
    helmet = np.sqrt(between / setting.helmet_mass)
    helmet = np.where(cushioned, np.maximum(helmet, pile / impedance), np.minimum(helmet, hammer / impedance))
    rate = max(float(helmet.max()), float(np.sqrt(hammer / setting.ram_mass).max()))
    substeps = max(LEAST_SUBSTEPS, int(np.ceil(time_step * rate / SUBSTEP_OF_SWING)))
    if substeps > MOST_SUBSTEPS:
        raise ValueError("a cushion is too stiff for the hammer model; leave it out or check its unit")
    return substeps


class _Cushion:
    """A cushion that loads along its stiffness, unloads along a steeper line and never pulls.

    Once left, it stays as thin as it was then: below 0 `line` remembers how far away the ram or helmet is.
    """

    def __init__(self, stiffness: np.ndarray, restitution: np.ndarray):
        self.stiffness, self.steeper = stiffness, stiffness / restitution**2
        self.squeezed, self.line, self.force, self.work = (np.zeros(stiffness.shape) for _ in range(4))

    def part(self, apart: np.ndarray) -> None:
        """Begin with ram or helmet so far above it [m]."""
        self.squeezed -= apart
        self.line -= self.steeper * apart

    def squeeze(self, movement: np.ndarray) -> np.ndarray:
        """Press it by a movement [m] and give its force [N], which the next call overwrites."""
        squeezed, line, work = self.squeezed, self.line, self.work
        add(squeezed, movement, squeezed)
        multiply(self.steeper, movement, work)
        add(line, work, line)
        multiply(self.stiffness, squeezed, work)
        minimum(line, work, out=line)
        return maximum(line, 0.0, out=self.force)

    def after(self, movement: np.ndarray) -> np.ndarray:
        """Give what `line` [N] would be after a movement [m], without making it."""
        return np.minimum(self.line + self.steeper * movement, self.stiffness * (self.squeezed + movement))


class _Chamber:
    """The gas as the run goes on: compression, combustion from the moment ram and helmet meet, expansion."""

    def __init__(self, gas: Gas, time_step: float):
        self.gas, self.dt, self.clearance = gas, time_step, gas.clearance
        shape = gas.area.shape
        self.since = np.full(shape, -time_step)  # time after impact, below 0 before it
        self.burnt = np.zeros(shape)  # logarithm of p V^1.3 over A^1.3 when it burns out
        self.met = self.burnt_out = False  # ram and helmet of any candidate; the gas of all
        self.least = (LEAST_VOLUME - 1.0) * gas.clearance
        self.whole = np.log(ATMOSPHERE) + COMPRESSION_EXPONENT * np.log(gas.compression_stroke + gas.clearance)
        self.depth, self.pressure, self.work, self.open = *(np.zeros(shape) for _ in range(3)), np.zeros(shape, bool)

    def force(self, apart: np.ndarray) -> np.ndarray:
        """Give the force on ram and helmet [N], which the next call overwrites, from their distance [m]."""
        # The exponentials of logarithms take less time than powers.
        depth, pressure = self.depth, self.pressure
        maximum(apart, self.least, out=depth)
        add(depth, self.clearance, depth)
        np.log(depth, depth)
        if not self.met:
            self.met = bool(least_of(apart) <= 0.0)
        if self.met and not self.burnt_out:
            np.add(self.since, self.dt, out=self.since, where=(apart <= 0.0) | (self.since >= 0.0))
            self.burnt_out = bool(least_of(self.since) > IGNITION + BURNING)
        if self.burnt_out:
            multiply(depth, EXPANSION_EXPONENT, pressure)
            subtract(self.burnt, pressure, pressure)
            np.exp(pressure, pressure)  # (3)
        else:
            multiply(depth, COMPRESSION_EXPONENT, pressure)
            subtract(self.whole, pressure, pressure)
            np.exp(pressure, pressure)  # (1)
            if self.met:
                self._burn(depth, pressure)
        subtract(pressure, ATMOSPHERE, pressure)
        maximum(pressure, 0.0, out=pressure)
        multiply(pressure, self.gas.area, pressure)  # (4)
        np.copyto(pressure, 0.0, where=np.greater_equal(apart, self.gas.compression_stroke, self.open))
        return pressure

    def _burn(self, depth: np.ndarray, pressure: np.ndarray) -> None:
        """Put combustion, and what is burnt, in the place of compression alone.

        Units: depth [ln m]; pressure [Pa].
        """
        burning = np.clip(self.since / IGNITION, 0.0, 1.0)
        add(pressure, burning * maximum(self.gas.combustion_pressure - pressure, 0.0), pressure)  # (2)
        burns = self.since <= IGNITION + BURNING
        expanding = EXPANSION_EXPONENT * depth
        self.burnt = np.where(burns, np.log(pressure) + expanding, self.burnt)
        np.copyto(pressure, np.exp(self.burnt - expanding), where=~burns)  # (3)


add, subtract, multiply, minimum, maximum = np.add, np.subtract, np.multiply, np.minimum, np.maximum
all_of, least_of = np.logical_and.reduce, np.minimum.reduce  # a fraction of the cost of `all` and `min`
