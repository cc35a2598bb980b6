"""The driving stresses compared with their limits: from the matched wave equation, anywhere along the pile.

The quick estimates of every blow assume a uniform pile without shaft resistance. Where a blow of the drive is matched,
they are multiplied by what the matched pile showed over the estimate at that blow.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dyntest.decisions.stress_limits import DrivingStressLimits
from dyntest.reviewing.drive import DriveReview
from dyntest.wave_equation.match_results import GreatestStress, greatest_stresses

ESTIMATES = {"compression": "peak_compression_stress", "tension": "peak_tension_stress"}
"""Quick estimate of each sense, by its name in the table of every blow: the mean at the gauges, and what the waves
alone make of the tension."""

LEAST_TENSION = 0.05
"""Share of the limit below which a tension estimate gives no ratio [1]: both numbers are then close to zero."""


@dataclass(frozen=True)
class DrivingStress:
    """The greatest stress of one sense in a drive.

    Parameters
    ----------
    sense : str
        ``"compression"`` or ``"tension"``.
    drive : str
        Name of the drive.
    blow : int
        Blow in which it occurred [1].
    value, low, high : float
        The stress and its range [Pa], positive in either sense.
    depth : float
        Where, below the gauges [m]; not a number where the quick estimate does not tell.
    limit : float or None
        Its limit [Pa].
    matched : bool
        Whether a matched blow of the drive stands behind it.
    ratio : float
        Matched stress over the quick estimate at the matched blow [1]; not a number without a match.
    """

    sense: str
    drive: str
    blow: int
    value: float
    low: float
    high: float
    depth: float
    limit: float | None
    matched: bool
    ratio: float

    @property
    def above(self) -> bool:
        """Whether it lies above its limit."""
        return self.limit is not None and self.value > self.limit

    @property
    def may_be_above(self) -> bool:
        """Whether its range reaches above the limit."""
        return self.limit is not None and self.high > self.limit


def driving_stresses(drives: Sequence[DriveReview], limits: DrivingStressLimits) -> tuple[DrivingStress, ...]:
    """Give the greatest stress of every drive and sense."""
    found = []
    for drive in drives:
        matched = {} if drive.match is None else {one.sense: one for one in greatest_stresses(drive.match)}
        for sense, code in ESTIMATES.items():
            if code not in drive.table:
                continue
            quick = drive.table[code].to_numpy(dtype=float)
            if np.isfinite(quick).any():
                found.append(_of_drive(drive, sense, quick, matched.get(sense), getattr(limits, sense).value))
    return tuple(found)


def _of_drive(
    drive: DriveReview, sense: str, quick: np.ndarray, matched: GreatestStress | None, limit: float | None
) -> DrivingStress:
    blows = drive.table["blow"].to_numpy()
    usable = np.where(np.isin(blows, list(_rejected(drive))), np.nan, quick)
    usable = usable if np.isfinite(usable).any() else quick
    row = int(np.nanargmax(usable))
    value = float(usable[row])
    if matched is None or drive.representative is None:
        depth = float(drive.table["peak_tension_depth"].iloc[row]) if sense == "tension" else float("nan")
        return DrivingStress(sense, drive.name, int(blows[row]), value, value, value, depth, limit, False, float("nan"))
    here = float(quick[blows == drive.representative.blow][0])
    nothing = LEAST_TENSION * (limit or float(np.nanmax(usable)))
    ratio = matched.value / here if here > nothing else 1.0
    scale = max(ratio * value, matched.value) / matched.value if matched.value > 0.0 else 0.0
    ends = (scale * matched.value, scale * matched.low, scale * matched.high) if scale else (value, 0.0, value)
    return DrivingStress(sense, drive.name, int(blows[row]), *ends, matched.depth, limit, True, ratio)


def _rejected(drive: DriveReview) -> set[int]:
    return {blow for finding in drive.findings if finding.severity == "reject" for blow in finding.blows}
