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
from typing import Any, NamedTuple, TypeAlias

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

SLOWEST = 1e-6
"""Keeps a quotient finite where ram and helmet meet without closing [m/s]."""

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


Values: TypeAlias = Any
"""A number of every candidate, in an array, or of the only one, in a plain float; which of them, a `Kind` says."""


class Kind(NamedTuple):
    """What the lines of the hammer are worked out with.

    A run calls them a hundred thousand times. For one candidate alone a plain float takes a tenth of the time that an
    array of one element does, and gives the same number.
    """

    of: Callable
    minimum: Callable
    maximum: Callable
    where: Callable
    all: Callable
    least: Callable
    greatest: Callable
    log: Callable
    exp: Callable


def _itself(value: Any) -> Any:
    return value


def _least(values: np.ndarray) -> Any:
    """Give the least of a few values: twice as quick as a reduction, which is quicker than the method `min`."""
    return values[values.argmin()]


def _greatest(values: np.ndarray) -> Any:
    return values[values.argmax()]


TOGETHER = Kind(
    of=_itself,
    minimum=np.minimum,
    maximum=np.maximum,
    where=np.where,
    all=_least,
    least=_least,
    greatest=_greatest,
    log=np.log,
    exp=np.exp,
)
ALONE = Kind(
    of=np.ndarray.item,
    minimum=min,
    maximum=max,
    where=lambda chosen, one, other: one if chosen else other,
    all=_itself,
    least=_itself,
    greatest=_itself,
    log=lambda value: float(np.log(value)),  # as `math.log`, but for a last digit that is the same in an array
    exp=lambda value: float(np.exp(value)),
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
        self.impact_step, substep = impact_step, time_step / self.substeps
        self.kind = kind = ALONE if len(setting.ram_mass) == 1 else TOGETHER
        # Numbers that all candidates share stand in arrays too: a plain number is made into one at every call.
        self.dt, self.gain, self.impedance, self.nothing = (
            kind.of(np.full(len(setting.ram_mass), value)) for value in (substep, gravity * substep, impedance, 0.0)
        )  # the gain is the velocity gained by falling freely over a substep
        velocity, self.chamber = setting.impact_velocity, None
        self.hammer_cushion = _Cushion(setting.hammer_cushion_stiffness, setting.hammer_cushion_restitution, kind)
        if setting.gas is not None:
            self.chamber, self.half_step = _Chamber(setting.gas, time_step, kind), 0.5 * time_step
            apart = np.minimum(START_APART, setting.gas.compression_stroke)
            self.hammer_cushion.part(kind.of(apart))
            left = velocity**2 - 2.0 * (gravity * apart + setting.gas.work(apart) / setting.ram_mass)
            velocity = np.sqrt(np.maximum(left, 0.0))
        self.cushioned = bool(np.isfinite(setting.pile_cushion_stiffness).all())
        if self.cushioned:
            self.pile_cushion = _Cushion(setting.pile_cushion_stiffness, setting.pile_cushion_restitution, kind)
        inertia = 1.0 / (substep / setting.helmet_mass)
        self.per_ram, self.per_helmet, self.share, self.reply, self.ram_velocity, self.helmet_velocity = (
            kind.of(np.asarray(values, dtype=float))
            for values in (
                substep / setting.ram_mass,
                substep / setting.helmet_mass,
                inertia / (inertia + impedance),
                2.0 / (inertia + impedance),
                velocity,
                np.zeros_like(velocity),
            )
        )
        self.none = self.lift = self.helmet_velocity  # helmet above the pile head, where no cushion lies between
        self.per_impedance = -1.0 / self.impedance
        # What the substeps of a whole step do to the helmet on the head: ``v ← share (v + …)``, a geometric series.
        left = inertia / (inertia + impedance)
        self.left = kind.of(left**self.substeps)
        self.series = kind.of((1.0 - left**self.substeps) / (1.0 - left))
        self.sums = kind.of((self.substeps - (1.0 - left**self.substeps) / (1.0 - left)) / (1.0 - left))

    def __call__(self, step: int, arriving: np.ndarray) -> np.ndarray:
        """Give the downward wave at the head [N] from the step and the upward wave that arrives [N]."""
        if step < self.impact_step:
            return -arriving  # nothing presses on the head
        wave = self.kind.of(arriving)
        if self._flies(wave):
            return -arriving
        if self.chamber is not None:  # the gas changes by less than a percent within a step
            closing = self.ram_velocity - self.helmet_velocity
            self.gas_force = self.chamber.force(self.hammer_cushion.squeezed + closing * self.half_step, closing)
        twice, replied = 2.0 * wave, self.reply * wave
        ridden = self._rides(twice, replied)
        if ridden is not None:
            return ridden - arriving
        move, rising = (self._on_cushion, twice) if self.cushioned else (self._on_head, twice / self.impedance)
        force = move(twice, replied, rising)
        for _ in range(self.substeps - 1):
            force = force + move(twice, replied, rising)
        return force / self.substeps - arriving

    def _flies(self, arriving: Values) -> bool:
        """Move everything a whole step on if ram, helmet and head of every candidate are apart all the while."""
        if self.chamber is not None:
            return False  # the gas goes on pressing
        greatest = self.kind.greatest
        below = self.pile_cushion.line if self.cushioned else -self.lift
        if greatest(self.hammer_cushion.line) >= 0.0 or greatest(below) >= 0.0:
            return False
        n, dt = self.substeps, self.dt
        parting = (self.ram_velocity - self.helmet_velocity) * (n * dt)
        head_velocity = arriving * (-2.0 / self.impedance)
        fallen = (n * (n - 1) if self.cushioned else n * (n + 1)) / 2 * self.gain * dt  # as the substeps add it up
        closing = (self.helmet_velocity - head_velocity) * (n * dt) + fallen
        above = self.hammer_cushion.after(parting)
        below = self.pile_cushion.after(closing) if self.cushioned else closing - self.lift
        if greatest(above) >= 0.0 or greatest(below) >= 0.0:
            return False
        self.hammer_cushion.squeeze(parting)
        if self.cushioned:
            self.pile_cushion.squeeze(closing)
        else:
            self.lift = -below
        self.ram_velocity = self.ram_velocity + n * self.gain
        self.helmet_velocity = self.helmet_velocity + n * self.gain
        return True

    def _rides(self, twice: Values, replied: Values) -> Values | None:
        """Move everything a whole step on where the ram is off its cushion and the helmet stays on, or off, the head.

        Gives the force on the head [N], that of the substeps of `_on_head` added up; None where it is not so.
        """
        kind, n, cushion, dt = self.kind, self.substeps, self.hammer_cushion, self.dt
        if self.cushioned or kind.greatest(cushion.line) >= 0.0:
            return None
        slower, faster = self.gain, self.gain  # of ram and helmet, in a substep
        if self.chamber is not None:
            slower, faster = slower - self.gas_force * self.per_ram, faster + self.gas_force * self.per_helmet
        helmet, added = self.helmet_velocity, faster * self.share - replied
        first, last = helmet * self.share + added, helmet * self.left + added * self.series
        # The velocity on the head goes one way, so the force is least at an end of the step.
        pressing = kind.minimum(first, last) * self.impedance + twice > self.nothing
        before = helmet * self.series + added * self.sums  # the sum of the velocities at the beginning of each substep
        lift = self.lift
        if lift is not self.none:
            pressing = pressing & (lift <= self.nothing)
        free = not kind.all(pressing)
        if free:
            lift = lift - (n * (twice / self.impedance + helmet) + (n * (n + 1) / 2) * faster) * dt
            if not kind.all(pressing | ((self.lift > self.nothing) & (lift > self.nothing))):
                return None
            last = kind.where(pressing, last, helmet + n * faster)
            before = kind.where(pressing, before, n * helmet + (n * (n - 1) / 2) * faster)
        ram = self.ram_velocity + n * slower
        closing = kind.maximum(self.ram_velocity, ram) - kind.minimum(helmet, last)
        if kind.greatest(cushion.after(kind.maximum(closing, self.nothing) * (n * dt))) >= 0.0:
            return None
        cushion.squeeze((n * self.ram_velocity + (n * (n - 1) / 2) * slower - before) * dt)
        self.ram_velocity, self.helmet_velocity = ram, last
        self.lift = kind.where(pressing, self.nothing, lift) if free else self.none
        return ((before - helmet + last) * self.impedance / n + twice) * pressing

    def _ram(self) -> Values:
        """Move ram and hammer cushion a substep on; give the force of cushion and gas [N]."""
        force = self.hammer_cushion.squeeze((self.ram_velocity - self.helmet_velocity) * self.dt)
        if self.chamber is not None:
            force = force + self.gas_force
        self.ram_velocity = self.ram_velocity - force * self.per_ram + self.gain
        return force

    def _on_cushion(self, twice: Values, *_) -> Values:
        """Helmet on a pile cushion: its force F moves the head by ``v = (F − 2u)/Z``, from ``2u``."""
        above = self._ram()
        movement = (self.pile_cushion.force - twice) * self.per_impedance + self.helmet_velocity
        below = self.pile_cushion.squeeze(movement * self.dt)
        self.helmet_velocity = self.helmet_velocity + (above - below) * self.per_helmet + self.gain
        return below

    def _on_head(self, twice: Values, replied: Values, rising: Values) -> Values:
        """Helmet straight on the head: they move together while they press, and part when they would pull.

        From ``2u``, ``2u/(m/Δt + Z)`` and ``2u/Z``.
        """
        kind = self.kind
        free = self._ram() * self.per_helmet + self.helmet_velocity + self.gain
        together = free * self.share - replied
        force = together * self.impedance + twice
        nothing, dt = self.nothing, self.dt
        pressing = force > nothing if self.lift is self.none else (self.lift <= nothing) & (force > nothing)
        if kind.all(pressing):
            self.helmet_velocity, self.lift = together, self.none
            return force
        lift = kind.maximum(self.lift - (rising + free) * dt, nothing)
        self.lift = kind.where(pressing, nothing, lift)
        self.helmet_velocity = kind.where(pressing, together, free)
        return force * pressing


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

    def __init__(self, stiffness: np.ndarray, restitution: np.ndarray, kind: Kind = TOGETHER):
        self.kind = kind
        self.stiffness, self.steeper = kind.of(stiffness), kind.of(stiffness / restitution**2)
        self.squeezed = self.line = self.force = self.nothing = kind.of(np.zeros(stiffness.shape))

    def part(self, apart: Values) -> None:
        """Begin with ram or helmet so far above it [m]."""
        self.squeezed = self.squeezed - apart
        self.line = self.line - self.steeper * apart

    def squeeze(self, movement: Values) -> Values:
        """Press it by a movement [m] and give its force [N]."""
        self.squeezed = squeezed = self.squeezed + movement
        self.line = line = self.kind.minimum(self.line + self.steeper * movement, self.stiffness * squeezed)
        self.force = force = self.kind.maximum(line, self.nothing)
        return force

    def after(self, movement: Values) -> Values:
        """Give what `line` [N] would be after a movement [m], without making it."""
        return self.kind.minimum(self.line + self.steeper * movement, self.stiffness * (self.squeezed + movement))


class _Chamber:
    """The gas as the run goes on: compression, combustion from the moment ram and helmet meet, expansion."""

    def __init__(self, gas: Gas, time_step: float, kind: Kind):
        self.dt, self.kind = time_step, kind
        self.area, self.stroke, self.peak, self.clearance = (
            kind.of(values) for values in (gas.area, gas.compression_stroke, gas.combustion_pressure, gas.clearance)
        )
        self.since = kind.of(np.full(gas.area.shape, -time_step))  # time after impact, below 0 before it
        self.burnt = kind.of(np.zeros(gas.area.shape))  # logarithm of p V^1.3 over A^1.3 when it burns out
        self.met = self.burnt_out = False  # ram and helmet of any candidate; the gas of all
        self.most, self.opens = (1.0 - LEAST_VOLUME) * self.clearance, -self.stroke
        self.compression, self.expansion, self.atmosphere, self.nothing = (
            kind.of(np.full(gas.area.shape, value))
            for value in (COMPRESSION_EXPONENT, EXPANSION_EXPONENT, ATMOSPHERE, 0.0)
        )
        whole = np.log(ATMOSPHERE) + COMPRESSION_EXPONENT * np.log(gas.compression_stroke + gas.clearance)
        self.whole = kind.of(whole)

    def force(self, squeezed: Values, closing: Values) -> Values:
        """Give the force on ram and helmet [N] from how far they have moved together since they met, and how fast.

        Units: squeezed [m]; closing [m/s].
        """
        kind = self.kind
        # The exponentials of logarithms take less time than powers.
        depth = kind.log(self.clearance - kind.minimum(squeezed, self.most))
        if not self.met:
            self.met = kind.greatest(squeezed) >= 0.0
        if self.met and not self.burnt_out:
            begun = kind.minimum(squeezed / kind.maximum(closing, SLOWEST), self.dt)  # within this step
            since = kind.where(squeezed >= 0.0, begun, self.since)
            self.since = kind.where(self.since >= 0.0, self.since + self.dt, since)
            self.burnt_out = kind.least(self.since) > IGNITION + BURNING
        if self.burnt_out:
            pressure = kind.exp(self.burnt - self.expansion * depth)  # (3)
        else:
            pressure = kind.exp(self.whole - self.compression * depth)  # (1)
            if self.met:
                pressure = self._burning(depth, pressure)
        pressing = kind.maximum(pressure - self.atmosphere, self.nothing) * self.area  # (4)
        return kind.where(squeezed <= self.opens, self.nothing, pressing)

    def _burning(self, depth: Values, squeezed: Values) -> Values:
        """Give the pressure with combustion [Pa], and keep what is burnt.

        Units: depth [ln m]; squeezed [Pa].
        """
        kind = self.kind
        burning = kind.minimum(kind.maximum(self.since / IGNITION, 0.0), 1.0)
        pressure = squeezed + burning * kind.maximum(self.peak - squeezed, 0.0)  # (2)
        burns = self.since <= IGNITION + BURNING
        expanding = EXPANSION_EXPONENT * depth
        self.burnt = kind.where(burns, kind.log(pressure) + expanding, self.burnt)
        return kind.where(burns, pressure, kind.exp(self.burnt - expanding))  # (3)
