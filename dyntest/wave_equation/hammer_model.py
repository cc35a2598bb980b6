"""A hammer on the upper end of the simulated pile: ram, hammer cushion, helmet, and a pile cushion where there is one.

Cushions press and never pull. They load with their stiffness and unload with it divided by the square of the
restitution (Smith 1960). The pressure of a diesel's gas is not modelled: the ram is taken to arrive with the energy
that its stroke and its efficiency leave.
"""

from dataclasses import dataclass

import numpy as np

from dyntest.hammer import Hammer
from dyntest.units import STANDARD_GRAVITY

LEAST_SUBSTEPS, MOST_SUBSTEPS = 4, 1000
"""Steps of the hammer within one of the pile: helmet and cushion swing faster than a wave crosses a segment."""

SUBSTEP_OF_SWING = 0.5
"""Greatest substep times the rate at which a cushion's force answers [1] (our choice: a quarter of the bound, 2, beyond
which the substeps do not settle)."""


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
    """

    ram_mass: np.ndarray
    helmet_mass: np.ndarray
    impact_velocity: np.ndarray
    hammer_cushion_stiffness: np.ndarray
    hammer_cushion_restitution: np.ndarray
    pile_cushion_stiffness: np.ndarray
    pile_cushion_restitution: np.ndarray


def hammer_setting(hammer: Hammer, stroke: np.ndarray, efficiency: np.ndarray | float | None = None) -> HammerSetting:
    """Give a hammer at a number of strokes.

    Units: stroke [m].

    With ``v = √(2 g · stroke · efficiency)``.

    Examples
    --------
    >>> drop = Hammer("drop", 3000.0, efficiency=1.0, helmet_mass=500.0, hammer_cushion_stiffness=1e9)
    >>> hammer_setting(drop, np.array([1.0])).impact_velocity.round(4).tolist()
    [4.4287]
    """
    share = hammer.efficiency if efficiency is None else efficiency
    needed = {
        "helmet_mass": hammer.helmet_mass,
        "hammer_cushion_stiffness": hammer.hammer_cushion_stiffness,
        "efficiency": share,
    }
    missing = [name for name, value in needed.items() if value is None]
    if missing:
        raise ValueError(f"the hammer model needs {', '.join(missing)} in [hammer]")
    stroke = np.atleast_1d(np.asarray(stroke, dtype=float))

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
        self.ram_velocity, self.helmet_velocity = np.array(setting.impact_velocity), np.zeros(n)
        self.per_ram, self.per_helmet = self.dt / setting.ram_mass, self.dt / setting.helmet_mass
        self.hammer_cushion = _Cushion(setting.hammer_cushion_stiffness, setting.hammer_cushion_restitution)
        self.cushioned = bool(np.isfinite(setting.pile_cushion_stiffness).all())
        self.pile_cushion = (
            _Cushion(setting.pile_cushion_stiffness, setting.pile_cushion_restitution) if self.cushioned else None
        )
        self.lift = np.zeros(n)  # helmet above the pile head, where no cushion lies between
        inertia = 1.0 / self.per_helmet
        self.share, self.reply = inertia / (inertia + impedance), 2.0 / (inertia + impedance)
        self.free, self.together, self.pressed, self.work = (np.zeros(n) for _ in range(4))

    def __call__(self, step: int, arriving: np.ndarray) -> np.ndarray:
        """Give the downward wave at the head [N] from the step and the upward wave that arrives [N]."""
        if step < self.impact_step or self._flies(arriving):
            return -arriving  # nothing presses on the head
        move = self._on_cushion if self.cushioned else self._on_head
        twice, replied = 2.0 * arriving, self.reply * arriving
        force = move(twice, replied).copy()
        for _ in range(self.substeps - 1):
            force += move(twice, replied)
        force /= self.substeps
        return force - arriving

    def _flies(self, arriving: np.ndarray) -> bool:
        """Move everything a whole step on if ram, helmet and head of every candidate are apart all the while."""
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
        """Move ram and hammer cushion a substep on; give the cushion's force [N]."""
        np.subtract(self.ram_velocity, self.helmet_velocity, out=self.work)
        self.work *= self.dt
        force = self.hammer_cushion.squeeze(self.work)
        np.multiply(force, self.per_ram, out=self.work)
        self.ram_velocity -= self.work
        self.ram_velocity += self.gain
        return force

    def _on_cushion(self, twice: np.ndarray, _) -> np.ndarray:
        """Helmet on a pile cushion: its force F moves the head by ``v = (F − 2u)/Z``, from ``2u``."""
        above = self._ram()
        np.subtract(self.pile_cushion.force, twice, out=self.work)
        self.work *= -1.0 / self.impedance
        self.work += self.helmet_velocity
        self.work *= self.dt
        below = self.pile_cushion.squeeze(self.work)
        np.subtract(above, below, out=self.work)
        self.work *= self.per_helmet
        self.helmet_velocity += self.work
        self.helmet_velocity += self.gain
        return below

    def _on_head(self, twice: np.ndarray, replied: np.ndarray) -> np.ndarray:
        """Helmet straight on the head: they move together while they press, and part when they would pull.

        From ``2u`` and ``2u/(m/Δt + Z)``.
        """
        free, together, force = self.free, self.together, self.pressed
        np.multiply(self._ram(), self.per_helmet, out=free)
        free += self.helmet_velocity
        free += self.gain
        np.multiply(free, self.share, out=together)
        together -= replied
        np.multiply(together, self.impedance, out=force)
        force += twice
        pressing = (self.lift <= 0.0) & (force > 0.0)
        if pressing.all():
            self.helmet_velocity[:] = together
            self.lift[:] = 0.0
            return force
        lift = self.lift - (twice / self.impedance + free) * self.dt
        self.lift = np.where(pressing, 0.0, np.maximum(lift, 0.0))
        np.copyto(self.helmet_velocity, np.where(pressing, together, free))
        force *= pressing
        return force


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

    def squeeze(self, movement: np.ndarray) -> np.ndarray:
        """Press it by a movement [m] and give its force [N], which the next call overwrites."""
        self.squeezed += movement
        np.multiply(self.steeper, movement, out=self.work)
        self.line += self.work
        np.multiply(self.stiffness, self.squeezed, out=self.work)
        np.minimum(self.line, self.work, out=self.line)
        return np.maximum(self.line, 0.0, out=self.force)

    def after(self, movement: np.ndarray) -> np.ndarray:
        """Give what `line` [N] would be after a movement [m], without making it."""
        return np.minimum(self.line + self.steeper * movement, self.stiffness * (self.squeezed + movement))
