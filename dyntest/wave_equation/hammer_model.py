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

    Parameters
    ----------
    hammer : Hammer
        The hammer; helmet mass and hammer cushion stiffness are needed, and an efficiency from here or there.
    stroke : numpy.ndarray
        Stroke of the ram, shape (n_candidates,) [m].
    efficiency : numpy.ndarray or float or None
        Share of ram weight times stroke left as kinetic energy [1]; None: the hammer's own.

    Returns
    -------
    HammerSetting
        With ``v = √(2 g · stroke · efficiency)``.

    Raises
    ------
    ValueError
        If the hammer lacks a value that the model needs; the text names it.

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
        self.setting, self.impedance, self.gravity = setting, impedance, gravity
        self.substeps = _substeps(setting, impedance, time_step)
        self.dt, self.impact_step = time_step / self.substeps, impact_step
        zero = np.zeros(setting.ram_mass.shape)
        self.ram_velocity, self.helmet_velocity = np.array(setting.impact_velocity), zero.copy()
        self.hammer_cushion = _Cushion(setting.hammer_cushion_stiffness, setting.hammer_cushion_restitution)
        self.cushioned = bool(np.isfinite(setting.pile_cushion_stiffness).all())
        self.pile_cushion = (
            _Cushion(setting.pile_cushion_stiffness, setting.pile_cushion_restitution) if self.cushioned else None
        )
        self.lift = zero.copy()  # helmet above the pile head, where no cushion lies between

    def __call__(self, step: int, arriving: np.ndarray) -> np.ndarray:
        """Give the downward wave at the head [N] from the step and the upward wave that arrives [N]."""
        if step < self.impact_step:
            return -arriving  # nothing presses on the head
        move = self._on_cushion if self.cushioned else self._on_head
        force = sum(move(arriving) for _ in range(self.substeps)) / self.substeps
        return force - arriving

    def _ram(self, helmet_velocity: np.ndarray) -> np.ndarray:
        """Move ram and hammer cushion a substep on; give the cushion's force [N]."""
        force = self.hammer_cushion.squeeze((self.ram_velocity - helmet_velocity) * self.dt)
        self.ram_velocity = self.ram_velocity + (self.gravity - force / self.setting.ram_mass) * self.dt
        return force

    def _on_cushion(self, arriving: np.ndarray) -> np.ndarray:
        """Helmet on a pile cushion: its force F moves the head by ``v = (F − 2u)/Z``."""
        above = self._ram(self.helmet_velocity)
        head_velocity = (self.pile_cushion.force - 2.0 * arriving) / self.impedance
        below = self.pile_cushion.squeeze((self.helmet_velocity - head_velocity) * self.dt)
        pull = self.gravity + (above - below) / self.setting.helmet_mass
        self.helmet_velocity = self.helmet_velocity + pull * self.dt
        return below

    def _on_head(self, arriving: np.ndarray) -> np.ndarray:
        """Helmet straight on the head: they move together while they press, and part when they would pull."""
        above = self._ram(self.helmet_velocity)
        inertia = self.setting.helmet_mass / self.dt
        free = self.helmet_velocity + self.gravity * self.dt + above / inertia
        together = (inertia * free - 2.0 * arriving) / (inertia + self.impedance)
        force = self.impedance * together + 2.0 * arriving
        head_alone = -2.0 * arriving / self.impedance
        pressing = (self.lift <= 0.0) & (force > 0.0)
        lift = self.lift + (head_alone - free) * self.dt
        self.lift = np.where(pressing, 0.0, np.maximum(lift, 0.0))
        self.helmet_velocity = np.where(pressing, together, free)
        return np.where(pressing, force, 0.0)


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
        self.squeezed, self.line, self.force = (np.zeros(stiffness.shape) for _ in range(3))

    def squeeze(self, movement: np.ndarray) -> np.ndarray:
        """Press it by a movement [m] and give its force [N]."""
        self.squeezed = self.squeezed + movement
        self.line = np.minimum(self.line + self.steeper * movement, self.stiffness * self.squeezed)
        self.force = np.maximum(self.line, 0.0)
        return self.force
