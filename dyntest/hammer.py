"""The hammer and what lies between its ram and the pile head."""

from dataclasses import dataclass

import numpy as np

from dyntest.units import STANDARD_GRAVITY


@dataclass(frozen=True)
class Hammer:
    """A pile-driving hammer as its data sheet and the site describe it.

    Parameters
    ----------
    kind : str
        ``"open-end diesel"``, ``"closed-end diesel"``, ``"air"``, ``"hydraulic"`` or ``"drop"``.
    ram_mass : float
        Mass of the ram [kg].
    rated_energy : float or None
        Rated energy [J].
    minimum_stroke, maximum_stroke : float or None
        Approved range of the stroke [m].
    efficiency : float or None
        Share of ram weight times stroke that is left as kinetic energy at impact [1].
    helmet_mass : float or None
        Mass between hammer cushion and pile [kg].
    hammer_cushion_stiffness, pile_cushion_stiffness : float or None
        Stiffness in compression [N/m].
    hammer_cushion_restitution, pile_cushion_restitution : float
        Coefficient of restitution e [1]; a cushion unloads with its stiffness divided by e² (Smith 1960).
    make, model, serial, fuel_setting, hammer_cushion, pile_cushion : str
        Free text for the report; empty where absent.
    combustion_pressure : float or None
        Highest gas pressure of a diesel hammer at this fuel setting [Pa].
    compression_stroke : float or None
        Length over which a diesel hammer compresses before impact [m].
    gas_share : float
        Share of the gas force of a diesel hammer that acts [1]; other kinds have none.
    efficiency_power, efficiency_stroke : float
        Where the efficiency changes with the stroke: ``efficiency × (stroke / efficiency_stroke)^efficiency_power``
        [1], [m].
    """

    kind: str
    ram_mass: float
    rated_energy: float | None = None
    minimum_stroke: float | None = None
    maximum_stroke: float | None = None
    efficiency: float | None = None
    helmet_mass: float | None = None
    hammer_cushion_stiffness: float | None = None
    hammer_cushion_restitution: float = 1.0
    pile_cushion_stiffness: float | None = None
    pile_cushion_restitution: float = 1.0
    make: str = ""
    model: str = ""
    serial: str = ""
    fuel_setting: str = ""
    hammer_cushion: str = ""
    pile_cushion: str = ""
    combustion_pressure: float | None = None
    compression_stroke: float | None = None
    gas_share: float = 1.0
    efficiency_power: float = 0.0
    efficiency_stroke: float = 1.0

    @property
    def ram_weight(self) -> float:
        """Weight of the ram, W [N]."""
        return self.ram_mass * STANDARD_GRAVITY

    def efficiency_at(self, stroke: np.ndarray) -> np.ndarray | None:
        """Give the efficiency at a stroke, or None where the sheet has none.

        Units: stroke [m]; returns [1].
        """
        if self.efficiency is None:
            return None
        return self.efficiency * (np.asarray(stroke) / self.efficiency_stroke) ** self.efficiency_power
