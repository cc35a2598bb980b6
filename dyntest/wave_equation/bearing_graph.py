"""Resistance against set for every stroke: the matched soil under the calibrated hammer, all of it in one batched run.

The soil is the matched one, scaled: shaft share, distribution, quakes and damping per unit of resistance stay what the
test pile showed. What the graph says therefore holds for piles, soil and hammer like the test pile's.

The hammer as it really worked: efficiency and cushion stiffness that give the measured force and energy.
"""

from dataclasses import dataclass, replace

import numpy as np

from dyntest.hammer import Hammer
from dyntest.wave_equation.comparison import matched_soil
from dyntest.wave_equation.fitting import fit
from dyntest.wave_equation.hammer_model import HammerHead, HammerSetting, hammer_setting
from dyntest.wave_equation.matching import Match
from dyntest.wave_equation.problem import FEWEST_SEGMENTS, MOST_SEGMENTS, TARGET_STEP, physical
from dyntest.wave_equation.simulator import simulate
from dyntest.wave_equation.soil import Mesh, SoilModel, mesh_pile, placement

DURATION = 0.12
"""Time that is simulated after impact [s]; a pile has come to rest by then."""
REST = 0.01
"""Time at the end over which the final movement is averaged [s]."""
LEAST_SET = 1e-5
"""Set below which a pile counts as not moved [m]."""


@dataclass(frozen=True)
class DrivenBlows:
    """What computed blows did; every array has the shape of the candidates.

    Parameters
    ----------
    set_per_blow : numpy.ndarray
        Final movement of the toe [m].
    peak_force : numpy.ndarray
        Greatest force at the gauges [N].
    transferred_energy : numpy.ndarray
        Greatest energy that passed the gauges [J].
    peak_compression_stress : numpy.ndarray
        Greatest compression stress anywhere along the pile [Pa].
    peak_tension_stress : numpy.ndarray
        Greatest tension stress anywhere along the pile [Pa], tension positive.
    """

    set_per_blow: np.ndarray
    peak_force: np.ndarray
    transferred_energy: np.ndarray
    peak_compression_stress: np.ndarray
    peak_tension_stress: np.ndarray


@dataclass(frozen=True)
class BearingGraph:
    """Sets, stresses and energies over strokes and resistances.

    Parameters
    ----------
    stroke : numpy.ndarray
        Strokes, shape (n_strokes,) [m], rising.
    resistance : numpy.ndarray
        Static resistances, shape (n_resistances,) [N], rising.
    blows : DrivenBlows
        What each pair gives, shape (n_strokes, n_resistances).
    hammer : Hammer
        The hammer as it was calibrated.
    """

    stroke: np.ndarray
    resistance: np.ndarray
    blows: DrivenBlows
    hammer: Hammer

    def at_resistance(self, resistance: float, name: str) -> np.ndarray:
        """Give a computed quantity at a resistance for every stroke.

        Units: resistance [N].
        """
        if not self.resistance[0] <= resistance <= self.resistance[-1]:
            raise ValueError("the resistance lies outside the bearing graph")
        values = getattr(self.blows, name)
        return np.array([np.interp(resistance, self.resistance, row) for row in values])

    def resistance_at(self, stroke: np.ndarray, set_per_blow: np.ndarray) -> np.ndarray:
        """Give the resistance that the graph reads from a stroke and a set.

        Units: stroke, set_per_blow [m]; returns [N].
        """
        stroke, sets = np.atleast_1d(stroke), np.atleast_1d(set_per_blow)
        position = np.interp(stroke, self.stroke, np.arange(len(self.stroke)), left=np.nan, right=np.nan)
        known = np.isfinite(position)
        lower = np.clip(np.nan_to_num(position).astype(int), 0, max(len(self.stroke) - 2, 0))
        upper = np.minimum(lower + 1, len(self.stroke) - 1)
        share = np.nan_to_num(position) - lower
        curves = self.blows.set_per_blow
        rows = (1.0 - share)[:, None] * curves[lower] + share[:, None] * curves[upper]
        found = [
            np.interp(s, row[::-1], self.resistance[::-1], left=np.nan, right=np.nan)
            for s, row in zip(sets, rows, strict=True)
        ]
        return np.where(known, found, np.nan)


def drive_blows(
    match: Match, setting: HammerSetting, resistance: np.ndarray, duration: float = DURATION
) -> DrivenBlows:
    """Strike the matched pile with a hammer, its soil scaled to given resistances.

    Units: resistance [N]; duration [s].
    """
    pile = match.problem.blow.pile
    segments = int(np.clip(round(pile.return_time / 2 / TARGET_STEP), FEWEST_SEGMENTS, MOST_SEGMENTS))
    mesh = mesh_pile(pile, segments, from_head=True)
    soil = scaled_soil(match, mesh, resistance)
    head = HammerHead(setting, float(mesh.impedance[0]), mesh.time_step)
    n_steps = int(duration / mesh.time_step)
    motion = simulate(mesh, soil, head, n_steps, envelope=True)
    force = motion.up + motion.down
    velocity = (motion.down - motion.up) / pile.impedance
    energy = np.cumsum(force * velocity, axis=0).max(axis=0) * mesh.time_step
    rest = max(1, int(REST / mesh.time_step))
    area = mesh.area[:, None]
    return DrivenBlows(
        np.maximum(motion.toe_displacement[-rest:].mean(axis=0), LEAST_SET),
        force.max(axis=0),
        energy,
        (motion.greatest_force / area).max(axis=0),
        np.maximum((-motion.least_force / area).max(axis=0), 0.0),
    )


def scaled_soil(match: Match, mesh: Mesh, resistance: np.ndarray) -> SoilModel:
    """Give the matched soil on a mesh, scaled to given resistances.

    Units: resistance [N].
    """
    problem, blow = match.problem, match.problem.blow
    values = physical(problem.layout, match.scores[:, None])
    embedded = min(blow.embedded, blow.pile.length)
    share = placement(mesh, mesh.depth[-1] - embedded, mesh.depth[-1], problem.layout.n_shaft)
    return matched_soil(problem, values, share, scale=np.asarray(resistance, dtype=float) / match.matched_resistance)


def bearing_graph(match: Match, hammer: Hammer, stroke: np.ndarray, resistance: np.ndarray) -> BearingGraph:
    """Compute the bearing graph of a matched pile and a calibrated hammer in one run.

    Parameters
    ----------
    match : Match
        The matched blow.
    hammer : Hammer
        The hammer, calibrated.
    stroke : numpy.ndarray
        Strokes, shape (n_strokes,) [m], rising.
    resistance : numpy.ndarray
        Static resistances, shape (n_resistances,) [N], rising.

    Returns
    -------
    BearingGraph
        Every pair of stroke and resistance.

    Raises
    ------
    ValueError
        If the hammer lacks a value that the model needs.

    Notes
    -----
    ``soil(R) = matched soil · R / R_matched``, struck by the calibrated hammer at each stroke; the set is what
    stays when pile and soil have come to rest. After Smith (1960), ASCE J. Soil Mech. Found. Div. 86(SM4). It holds
    for piles, soil and hammer like the test pile's.
    """
    strokes, resistances = np.meshgrid(stroke, resistance, indexing="ij")
    blows = drive_blows(match, hammer_setting(hammer, strokes.ravel()), resistances.ravel())
    shaped = {name: getattr(blows, name).reshape(strokes.shape) for name in DrivenBlows.__dataclass_fields__}
    return BearingGraph(np.asarray(stroke, float), np.asarray(resistance, float), DrivenBlows(**shaped), hammer)


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

    Notes
    -----
    ``computed energy = measured energy`` and ``computed peak force = measured peak force`` are solved for the
    efficiency and the stiffness of the hammer cushion, with ram, helmet and cushions after Smith (1960) above the
    matched pile and soil.
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
