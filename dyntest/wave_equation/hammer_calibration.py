"""The hammer as it really worked: efficiency and cushion stiffness that give the measured force and energy."""

from dataclasses import dataclass, replace

import numpy as np

from dyntest.hammer import Hammer
from dyntest.wave_equation.bearing_graph import DURATION, drive_blows
from dyntest.wave_equation.hammer_model import hammer_setting
from dyntest.wave_equation.least_squares import fit
from dyntest.wave_equation.matching import Match

EXPECTED_EFFICIENCY = {
    "open-end diesel": 0.80,
    "closed-end diesel": 0.80,
    "air": 0.67,
    "hydraulic": 0.80,
    "drop": 0.90,
}
"""Efficiency from which the calibration starts where the sheet gives none [1] (from memory, after the FHWA driven pile
manual; that of
a drop hammer: common practice, no source)."""

EFFICIENCY_SPREAD, STIFFNESS_SPREAD = 0.4, 1.0
"""Spreads of the logarithms: how far a hammer may reasonably be from its data sheet; no source."""
AGREEMENT = 0.01
"""Share within which computed force and energy are meant to agree with the measured ones [1]."""
ACCEPTED = 0.03
"""Share of disagreement above which the calibration says that it failed [1]."""
BOUND = 3.0
SHORT = 0.03
"""Time after the toe's first return up to which the calibration simulates [s]: force and energy have peaked by then."""


@dataclass(frozen=True)
class CalibratedHammer:
    """A hammer calibrated to one measured blow.

    Parameters
    ----------
    hammer : Hammer
        With the efficiency and the cushion stiffness found.
    cushion : str
        Which cushion was calibrated: ``"pile cushion"`` where there is one, else ``"hammer cushion"``.
    stroke : float
        Stroke of the measured blow [m].
    force_ratio, energy_ratio : float
        Computed over measured peak force and transferred energy [1].
    set_per_blow : float
        Set that the calibrated model computes for that blow [m].
    agrees : bool
        Whether both ratios are within `ACCEPTED` of 1.
    """

    hammer: Hammer
    cushion: str
    stroke: float
    force_ratio: float
    energy_ratio: float
    set_per_blow: float
    agrees: bool


def calibrate_hammer(
    match: Match, hammer: Hammer, stroke: float, peak_force: float, transferred_energy: float
) -> CalibratedHammer:
    """Find efficiency and cushion stiffness that reproduce a measured blow.

    Parameters
    ----------
    match : Match
        The matched blow.
    hammer : Hammer
        The hammer; helmet mass and hammer cushion stiffness are needed.
    stroke : float
        Stroke of that blow [m].
    peak_force : float
        Measured peak force at the gauges [N].
    transferred_energy : float
        Measured transferred energy [J].

    Returns
    -------
    CalibratedHammer
        The hammer found, and how well it agrees.

    Raises
    ------
    ValueError
        If the hammer lacks a value that the model needs, or the stroke is not known.
    """
    if not stroke > 0.0:
        raise ValueError("the stroke of the representative blow is not known; give it in the driving log")
    first = replace(hammer, efficiency=hammer.efficiency or EXPECTED_EFFICIENCY[hammer.kind])
    cushion = "pile_cushion_stiffness" if hammer.pile_cushion_stiffness else "hammer_cushion_stiffness"
    hammer_setting(first, np.array([stroke]))  # says which value is missing, before anything is computed

    pile = match.problem.blow.pile
    short = SHORT + pile.return_time

    def computed(scores: np.ndarray, duration: float = short):
        efficiency = first.efficiency * np.exp(EFFICIENCY_SPREAD * scores[0])
        setting = hammer_setting(first, np.full(scores.shape[1], stroke), efficiency)
        stiffness = getattr(first, cushion) * np.exp(STIFFNESS_SPREAD * scores[1])
        setting = replace(setting, **{cushion: stiffness})
        return drive_blows(match, setting, np.full(scores.shape[1], match.matched_resistance), duration)

    def residuals(scores: np.ndarray) -> np.ndarray:
        blows = computed(scores)
        ratios = np.stack([blows.peak_force / peak_force, blows.transferred_energy / transferred_energy])
        return np.vstack([(ratios - 1.0) / AGREEMENT, scores])

    ends = fit(residuals, np.array([[0.0, 0.0], [0.7, -0.7]]), bound=BOUND, most_iterations=10)
    best = ends.scores[:, [ends.cost.argmin()]]
    blow = computed(best, DURATION)
    force, energy = float(blow.peak_force[0] / peak_force), float(blow.transferred_energy[0] / transferred_energy)
    found = replace(
        first,
        efficiency=float(first.efficiency * np.exp(EFFICIENCY_SPREAD * best[0, 0])),
        **{cushion: float(getattr(first, cushion) * np.exp(STIFFNESS_SPREAD * best[1, 0]))},
    )
    agrees = abs(force - 1.0) <= ACCEPTED and abs(energy - 1.0) <= ACCEPTED
    words = cushion.removesuffix("_stiffness").replace("_", " ")
    return CalibratedHammer(found, words, stroke, force, energy, float(blow.set_per_blow[0]), agrees)
