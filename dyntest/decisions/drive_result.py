"""What one drive says about resistance, as it is handed to the decisions."""

from dataclasses import dataclass

from dyntest.decisions.estimate import Estimate
from dyntest.hammer import Hammer
from dyntest.reading.sheet_parts import Drive


@dataclass(frozen=True)
class DriveResult:
    """What one drive says about resistance: the last blows of an initial drive, the first sound blows of a restrike.

    Parameters
    ----------
    drive : Drive
        The drive, with its name, kind, clocks and hammer.
    matched_resistance, case_resistance : Estimate or None
        Resistance from signal matching and by the Case method [N].
    shaft_resistance, toe_resistance : Estimate or None
        Its parts from signal matching [N].
    set_per_blow : float or None
        Set of the blow [m].
    stroke : float or None
        Stroke of the ram [m].
    gauges : str
        Which gauges measured it, in any words that change when a gauge is replaced; empty where not known.
    """

    drive: Drive
    matched_resistance: Estimate | None = None
    case_resistance: Estimate | None = None
    shaft_resistance: Estimate | None = None
    toe_resistance: Estimate | None = None
    set_per_blow: float | None = None
    stroke: float | None = None
    gauges: str = ""

    @property
    def hammer(self) -> Hammer | None:
        """The hammer of the drive."""
        return self.drive.hammer
