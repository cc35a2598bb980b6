"""Resistance against set for every stroke: the matched soil under the calibrated hammer, all of it in one batched run.

The soil is the matched one, scaled: shaft share, distribution, quakes and damping per unit of resistance stay what the
test pile showed. What the graph says therefore holds for piles, soil and hammer like the test pile's.
"""

from dataclasses import dataclass

import numpy as np

from dyntest.hammer import Hammer
from dyntest.wave_equation.hammer_model import HammerHead, HammerSetting, hammer_setting
from dyntest.wave_equation.matching import Match
from dyntest.wave_equation.matching_problem import FEWEST_SEGMENTS, MOST_SEGMENTS, TARGET_STEP
from dyntest.wave_equation.mesh import Mesh, mesh_pile
from dyntest.wave_equation.simulator import simulate
from dyntest.wave_equation.soil import Soil, build_soil, placement

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

        Parameters
        ----------
        resistance : float
            Static resistance [N], within the graph.
        name : str
            A field of `DrivenBlows`.

        Returns
        -------
        numpy.ndarray
            By straight lines between the computed resistances, shape (n_strokes,) [SI unit of the field].

        Raises
        ------
        ValueError
            If the resistance lies outside the graph.
        """
        if not self.resistance[0] <= resistance <= self.resistance[-1]:
            raise ValueError("the resistance lies outside the bearing graph")
        values = getattr(self.blows, name)
        return np.array([np.interp(resistance, self.resistance, row) for row in values])

    def resistance_at(self, stroke: np.ndarray, set_per_blow: np.ndarray) -> np.ndarray:
        """Give the resistance that the graph reads from a stroke and a set.

        Parameters
        ----------
        stroke : numpy.ndarray
            Strokes, shape (n,) [m]; those outside the graph give not a number.
        set_per_blow : numpy.ndarray
            Sets, shape (n,) [m].

        Returns
        -------
        numpy.ndarray
            Static resistance, shape (n,) [N]; not a number outside the graph.
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

    Parameters
    ----------
    match : Match
        The matched blow.
    setting : HammerSetting
        The hammer of every candidate, each of shape (n_candidates,).
    resistance : numpy.ndarray
        Static resistance of every candidate, shape (n_candidates,) [N].
    duration : float
        Time that is simulated [s].

    Returns
    -------
    DrivenBlows
        Each of shape (n_candidates,). The mesh reaches up to the head where the sheet gives the total length, else to
        the gauges. Self-weight and locked-in stresses of earlier blows are left out, and so is a reduced section that
        the match found: the graph speaks of sound piles.
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


def scaled_soil(match: Match, mesh: Mesh, resistance: np.ndarray) -> Soil:
    """Give the matched soil on a mesh, scaled to given resistances.

    Parameters
    ----------
    match : Match
        The matched blow.
    mesh : Mesh
        A mesh of the same pile, from its gauges or its head.
    resistance : numpy.ndarray
        Static resistance of every candidate, shape (n_candidates,) [N].

    Returns
    -------
    Soil
        Limits times resistance over matched resistance; quakes and damping per unit of resistance unchanged.
    """
    values, blow = match.parameters, match.problem.blow
    share = np.asarray(resistance, dtype=float) / match.matched_resistance
    embedded = min(blow.embedded, blow.pile.length)
    on_nodes = placement(mesh, mesh.depth[-1] - embedded, mesh.depth[-1], len(values["shaft"])) @ values["shaft"]
    return build_soil(
        on_nodes[:, None] * share,
        values["toe_resistance"] * share,
        shaft_quake=values["shaft_quake"],
        toe_quake=values["toe_quake"],
        shaft_damping=values["shaft_damping"],
        toe_damping=values["toe_damping"],
        hyperbolic=match.problem.hyperbolic,
    )


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
    """
    strokes, resistances = np.meshgrid(stroke, resistance, indexing="ij")
    blows = drive_blows(match, hammer_setting(hammer, strokes.ravel()), resistances.ravel())
    shaped = {name: getattr(blows, name).reshape(strokes.shape) for name in DrivenBlows.__dataclass_fields__}
    return BearingGraph(np.asarray(stroke, float), np.asarray(resistance, float), DrivenBlows(**shaped), hammer)
