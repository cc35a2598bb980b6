"""The bearing graph, resistance against set for every stroke, and the calibration of its hammer to measured blows.

The soil is the matched one, scaled: shaft share, distribution, quakes and damping per unit of resistance stay what the
test pile showed. What the graph says therefore holds for piles, soil and hammer like the test pile's.

Calibrated are efficiency, cushion stiffness and the share of a diesel's gas, to the measured force, energy and impulse;
how the efficiency changes with the stroke; and what is left of the measured sets.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from dyntest.hammer import Hammer
from dyntest.wave_equation.candidates import matched_soil
from dyntest.wave_equation.comparison import fit
from dyntest.wave_equation.hammer_model import HammerHead, HammerSetting, hammer_setting
from dyntest.wave_equation.matching import Match
from dyntest.wave_equation.problem import FEWEST_SEGMENTS, MOST_SEGMENTS, TARGET_STEP, physical
from dyntest.wave_equation.rest import come_to_rest, repeat_blows
from dyntest.wave_equation.simulator import simulate
from dyntest.wave_equation.soil import Mesh, SoilModel, mesh_pile, placement

DURATION = 0.12
"""Time that is simulated after impact [s]; a pile has come to rest by then."""
REST = 1e-4
"""Share of the resistance below which velocity times impedance counts as rest, for the set [1] (our choice)."""
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
        Greatest compression stress anywhere along the pile [Pa]; not a number where it was not asked for.
    peak_tension_stress : numpy.ndarray
        The same for tension [Pa], tension positive.
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
    match: Match, setting: HammerSetting, resistance: np.ndarray, duration: float = DURATION, *, stresses: bool = True
) -> DrivenBlows:
    """Strike the matched pile with a hammer, its soil scaled to given resistances.

    Units: resistance [N]; duration [s].

    Stresses that nobody asks for are not numbers: to keep them costs a tenth of a run.
    """
    return _struck(match, setting, resistance, duration, stresses=stresses)[0]


def _struck(
    match: Match,
    setting: HammerSetting,
    resistance: np.ndarray,
    duration: float,
    window: float = 0.0,
    stresses: bool = False,
) -> tuple[DrivenBlows, np.ndarray]:
    """Strike the matched pile; give the blows and the impulse at the gauges over a window from the rise on.

    Units: resistance [N]; duration, window [s]; returns [N s].
    """
    pile, mesh = match.problem.blow.pile, _graph_mesh(match)
    soil = scaled_soil(match, mesh, resistance)
    head = HammerHead(setting, float(mesh.impedance[0]), mesh.time_step)
    n_steps = int(duration / mesh.time_step)
    motion = simulate(mesh, soil, head, n_steps, envelope=stresses)
    force = motion.up + motion.down
    velocity = (motion.down - motion.up) / pile.impedance
    energy = np.cumsum(force * velocity, axis=0).max(axis=0) * mesh.time_step
    # What still swings after a blow would leave a set that jumps by some percent from one resistance to the next.
    final = motion.state if duration < DURATION else come_to_rest(mesh, soil, motion.state, still=REST)
    area, unknown = mesh.area[:, None], np.full(soil.n_candidates, np.nan)
    step, begins = mesh.time_step, np.argmax(force >= RISE * force.max(axis=0), axis=0)
    at = np.arange(n_steps)[:, None]
    impulse = np.where((at >= begins) & (at < begins + int(window / step)), force, 0.0).sum(axis=0) * step
    found = DrivenBlows(
        np.maximum(final.toe_displacement, LEAST_SET),
        force.max(axis=0),
        energy,
        (motion.greatest_force / area).max(axis=0) if stresses else unknown,
        np.maximum((-motion.least_force / area).max(axis=0), 0.0) if stresses else unknown,
    )
    return found, impulse


def _graph_mesh(match: Match) -> Mesh:
    pile = match.problem.blow.pile
    segments = int(np.clip(round(pile.return_time / 2 / TARGET_STEP), FEWEST_SEGMENTS, MOST_SEGMENTS))
    return mesh_pile(pile, segments, from_head=True)


def scaled_soil(match: Match, mesh: Mesh, resistance: np.ndarray) -> SoilModel:
    """Give the matched soil on a mesh, scaled to given resistances; that of blows from rest, as a graph has them.

    Units: resistance [N].
    """
    match = match.from_rest
    problem, blow = match.problem, match.problem.blow
    values = physical(problem.layout, match.scores[:, None])
    embedded = min(blow.embedded, blow.pile.length)
    share = placement(mesh, mesh.depth[-1] - embedded, mesh.depth[-1], problem.layout.n_shaft)
    return matched_soil(problem, values, share, scale=np.asarray(resistance, dtype=float) / match.modelled_resistance)


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
manual; that of a drop hammer: common practice, no source)."""

EFFICIENCY_SPREAD, STIFFNESS_SPREAD, GAS_SPREAD = 0.4, 1.0, 0.5
"""Spreads of the logarithms of efficiency and stiffness, and of the share of the gas force: how far a hammer may
reasonably be from its data sheet; no source."""
POWER_SPREAD = 0.15
"""Spread of the power with which the efficiency changes with the stroke [1]; no source."""
AGREEMENT, IMPULSE_AGREEMENT = 0.01, 0.03
"""Shares within which computed force and energy, and impulse, are meant to agree with the measured ones [1]; a zero
line that is a few microstrain off moves the impulse by some percent."""
IMPULSE_TIME = 0.05
"""Time over which the impulse is taken [s]: a diesel's gas has expanded by then (our choice)."""
ENERGY_SCATTER = 0.03
"""Scatter of the transferred energy from blow to blow at one stroke [1]; common practice, no source."""
ACCEPTED = 0.03
"""Share of disagreement above which the calibration says that it failed [1]."""
BOUND = 3.0
SHORT = 0.03
"""Time after the toe's first return up to which the calibration simulates [s]: force and energy have peaked by then."""
RISE = 0.1
"""Share of the peak force at which the impulse begins, in the record and in the computed blow [1]."""
BEFORE_IMPACT = 0.015
"""Time that a diesel's ram may need from the start of the run to the rise of the force at the gauges [s]."""
LEAST_GAIN = 0.1
"""Gain of an iteration of the calibration below which it has ended [1]; 1 is one of the agreements above, squared."""
MOST_ITERATIONS = 6
"""Iterations of the calibration; force, energy and impulse are nearly powers of what is sought [1]."""
MOST_REPEATED = 6
"""Blows after which a set that does not yet repeat is given up [1]; four are usual."""
READ_BOUNDS = (0.5, 2.0)
"""Shares of the resistance between which the bearing graph is read back [1]."""
MOST_BLOWS = 8
"""Blows to which the change of the efficiency with the stroke is fitted at the most [1]."""


@dataclass(frozen=True)
class StruckBlows:
    """Measured blows of a drive, of every stroke there was; each of shape (n_blows,).

    Parameters
    ----------
    stroke : numpy.ndarray
        Stroke [m].
    peak_force : numpy.ndarray
        Measured peak force at the gauges [N].
    transferred_energy : numpy.ndarray
        Measured transferred energy [J].
    resistance : numpy.ndarray
        Static resistance at that blow [N].
    set_per_blow : numpy.ndarray
        Set from the driving log [m]; not a number for blows that shall not speak about the set.
    """

    stroke: np.ndarray
    peak_force: np.ndarray
    transferred_energy: np.ndarray
    resistance: np.ndarray
    set_per_blow: np.ndarray


@dataclass(frozen=True)
class CalibratedHammer:
    """A hammer calibrated to measured blows.

    Parameters
    ----------
    hammer : Hammer
        With the efficiency, the cushion stiffness and the share of the gas found.
    cushion : str
        Which cushion was calibrated: ``"pile cushion"`` where there is one, else ``"hammer cushion"``.
    stroke : float
        Stroke of the blow that was matched [m].
    force_ratio, energy_ratio : float
        Computed over measured peak force and transferred energy of that blow [1].
    set_per_blow : float
        Set that the calibrated model computes for that blow [m].
    agrees : bool
        Whether both ratios are within `ACCEPTED` of 1.
    impulse_ratio : float
        Computed over measured impulse of that blow [1].
    set_ratio : float
        Computed over logged penetration of the blows with a set, all together [1]; not a number without any.
    read_ratio : float
        Resistance that the bearing graph reads from the same blows, all together, over what they had [1]: a graph
        whose resistances are divided by it gives the logged penetration. Not a number without any, or beyond
        `READ_BOUNDS`.
    residual_ratio : float
        Set of that blow after blows like it, between which stress stays locked in the pile, over its set from rest
        [1]. A match from rest that gives the logged set leaves no room for it; it says how far the two may differ.
        Not a number where the set does not repeat.
    blow_stroke, blow_force_ratio, blow_energy_ratio : numpy.ndarray
        What is left at blows of other strokes, shape (n_blows,): stroke [m], computed over measured peak force and
        energy [1].
    """

    hammer: Hammer
    cushion: str
    stroke: float
    force_ratio: float
    energy_ratio: float
    set_per_blow: float
    agrees: bool
    impulse_ratio: float = float("nan")
    set_ratio: float = float("nan")
    read_ratio: float = float("nan")
    residual_ratio: float = float("nan")
    blow_stroke: np.ndarray = field(default_factory=lambda: np.zeros(0))
    blow_force_ratio: np.ndarray = field(default_factory=lambda: np.zeros(0))
    blow_energy_ratio: np.ndarray = field(default_factory=lambda: np.zeros(0))


def calibrate_hammer(
    match: Match,
    hammer: Hammer,
    stroke: float,
    peak_force: float,
    transferred_energy: float,
    blows: StruckBlows | None = None,
) -> CalibratedHammer:
    """Find efficiency, cushion stiffness and gas force that reproduce measured blows.

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
    blows : StruckBlows or None
        Other blows of the drive, for the change of the efficiency with the stroke and for the set; None: it does not
        change, and the sets are not compared.

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
    matched pile and soil; for a diesel hammer ``computed impulse = measured impulse`` too, for the share of the gas
    force. The efficiency then follows ``e(h) = e (h / stroke)^n`` through the energies of the other blows. The set is
    not fitted: what is left of it speaks about soil and gauges as well, and the bearing graph is corrected by it.
    """
    if not stroke > 0.0:
        raise ValueError("the stroke of the representative blow is not known; give it in the driving log")
    first = replace(hammer, efficiency=hammer.efficiency or EXPECTED_EFFICIENCY[hammer.kind], efficiency_stroke=stroke)
    cushion = "pile_cushion_stiffness" if hammer.pile_cushion_stiffness else "hammer_cushion_stiffness"
    gas = hammer_setting(first, np.array([stroke])).gas is not None  # and says which value is missing
    impulse, window = _measured_impulse(match)
    duration = window + BEFORE_IMPACT if gas else SHORT + match.problem.blow.pile.return_time

    def computed(scores: np.ndarray, duration: float = duration) -> tuple[DrivenBlows, np.ndarray]:
        efficiency = first.efficiency * np.exp(EFFICIENCY_SPREAD * scores[0])
        setting = hammer_setting(first, np.full(scores.shape[1], stroke), efficiency)
        setting = replace(setting, **{cushion: getattr(first, cushion) * np.exp(STIFFNESS_SPREAD * scores[1])})
        if gas and setting.gas is not None:
            setting = replace(setting, gas=replace(setting.gas, area=setting.gas.area * _gas_share(scores[2])))
        resistance = np.full(scores.shape[1], match.modelled_resistance)
        return _struck(match, setting, resistance, duration, window)

    def residuals(scores: np.ndarray) -> np.ndarray:
        struck, impulses = computed(scores)
        ratios = np.stack([struck.peak_force / peak_force, struck.transferred_energy / transferred_energy])
        left = [(ratios - 1.0) / AGREEMENT, scores]
        if gas:
            left.append((impulses / impulse - 1.0)[None, :] / IMPULSE_AGREEMENT)
        return np.vstack(left)

    starts = np.array([[0.0, -0.5], [0.5, 0.0], [-0.5, -2.0]] if gas else [[0.0, 0.0], [0.7, -0.7]])
    ends = fit(residuals, starts, bound=BOUND, most_iterations=MOST_ITERATIONS, least_gain=LEAST_GAIN)
    best = ends.scores[:, [ends.cost.argmin()]]
    struck, impulses = computed(best, max(DURATION, duration))
    force, energy = float(struck.peak_force[0] / peak_force), float(struck.transferred_energy[0] / transferred_energy)
    numbers: dict[str, Any] = {
        "efficiency": float(first.efficiency * np.exp(EFFICIENCY_SPREAD * best[0, 0])),
        "gas_share": float(first.gas_share * _gas_share(best[2, 0])) if gas else first.gas_share,
        cushion: float(getattr(first, cushion) * np.exp(STIFFNESS_SPREAD * best[1, 0])),
    }
    found = replace(first, **numbers)
    agrees = abs(force - 1.0) <= ACCEPTED and abs(energy - 1.0) <= ACCEPTED
    words = cushion.removesuffix("_stiffness").replace("_", " ")
    moved = float(struck.set_per_blow[0])
    calibrated = CalibratedHammer(
        found,
        words,
        stroke,
        force,
        energy,
        moved,
        agrees,
        impulse_ratio=float(impulses[0] / impulse),
        residual_ratio=_repeated_set(match, found, stroke) / moved,
    )
    return calibrated if blows is None else _over_the_drive(match, calibrated, blows, duration)


def _repeated_set(match: Match, hammer: Hammer, stroke: float) -> float:
    """Give the set of the matched blow once it repeats [m]; not a number where it does not."""
    mesh, setting = _graph_mesh(match), hammer_setting(hammer, np.array([stroke]))
    soil = scaled_soil(match, mesh, np.array([match.matched_resistance]))
    impedance, steps = float(mesh.impedance[0]), int(DURATION / mesh.time_step)
    try:
        blows = repeat_blows(mesh, soil, HammerHead(setting, impedance, mesh.time_step), steps, most=MOST_REPEATED)
    except ValueError:  # a pile that comes to no rest
        return float("nan")
    return float(blows.set_per_blow[-1, 0]) if blows.repeats.all() else float("nan")


def _gas_share(score):
    return np.maximum(1.0 + GAS_SPREAD * score, 0.0)


def _measured_impulse(match: Match) -> tuple[float, float]:
    """Give the measured impulse of the matched blow [N s] from the rise of the force on, and its time [s]."""
    blow = match.problem.blow
    begins = int(np.argmax(blow.force >= RISE * blow.force.max()))
    step = float(blow.time[1] - blow.time[0])
    window = min(float(blow.time[-1] - blow.time[begins]), IMPULSE_TIME)
    return float(blow.force[begins : begins + int(window / step)].sum() * step), window


def _over_the_drive(
    match: Match, calibrated: CalibratedHammer, blows: StruckBlows, duration: float
) -> CalibratedHammer:
    """Fit the change of the efficiency with the stroke, and say what is left of force, energy and set.

    Units: duration [s], after which force and energy have peaked.
    """
    hammer = calibrated.hammer
    whole = np.isfinite([blows.stroke, blows.peak_force, blows.transferred_energy, blows.resistance]).all(axis=0)
    order = np.flatnonzero(whole & (blows.stroke > 0.0))
    order = order[np.argsort(blows.stroke[order], kind="stable")]
    places = np.linspace(0, len(order) - 1, MOST_BLOWS).round().astype(int) if len(order) else np.empty(0, dtype=int)
    chosen = order[np.unique(places)]
    stroke, resistance = blows.stroke[chosen], blows.resistance[chosen]
    if len(chosen):
        more = 1.05  # of the efficiency, for the slope of the energy
        tried = np.concatenate([np.ones(len(chosen)), np.full(len(chosen), more)])
        efficiency = np.tile(np.asarray(hammer.efficiency_at(stroke), dtype=float), 2)
        setting = hammer_setting(hammer, np.tile(stroke, 2), efficiency * tried)
        doubled = drive_blows(match, setting, np.tile(resistance, 2), duration, stresses=False)
        energy = doubled.transferred_energy.reshape(2, -1)
        slope = np.log(energy[1] / energy[0]) / np.log(more)
        wanted = np.log(blows.transferred_energy[chosen] / energy[0]) / np.maximum(slope, 0.3)
        away = np.log(stroke / hammer.efficiency_stroke)
        # A straight line through the matched blow's own efficiency, its slope held near 0 where strokes hardly differ.
        power = float((away * wanted).sum() / ((away**2).sum() + (ENERGY_SCATTER / POWER_SPREAD) ** 2))
        hammer = replace(hammer, efficiency_power=power)
    known, strokes, resistances = _graph_of_sets(blows)
    each, against = (one.ravel() for one in np.meshgrid(strokes, resistances, indexing="ij"))
    asked = np.concatenate([stroke, each]), np.concatenate([resistance, against])
    if not len(asked[0]):
        return calibrated
    struck = drive_blows(match, hammer_setting(hammer, asked[0]), asked[1], stresses=False)  # all in one run
    n, left = len(chosen), (float("nan"), float("nan"))
    if len(known):
        left = _sets_left(blows, known, strokes, resistances, struck.set_per_blow[n:].reshape(len(strokes), -1))
    return replace(
        calibrated,
        hammer=hammer,
        blow_stroke=stroke,
        blow_force_ratio=struck.peak_force[:n] / blows.peak_force[chosen],
        blow_energy_ratio=struck.transferred_energy[:n] / blows.transferred_energy[chosen],
        set_ratio=left[0],
        read_ratio=left[1],
    )


def _graph_of_sets(blows: StruckBlows) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give the blows with stroke, resistance and set, and the strokes [m] and resistances [N] that enclose them."""
    known = np.flatnonzero(np.isfinite([blows.stroke, blows.resistance, blows.set_per_blow]).all(axis=0))
    if not blows.set_per_blow[known].sum() > 0.0:
        return np.empty(0, dtype=int), np.empty(0), np.empty(0)
    stroke, resistance = blows.stroke[known], blows.resistance[known]
    strokes = np.linspace(0.99 * stroke.min(), 1.01 * stroke.max(), 3)
    lowest, highest = 0.99 * resistance.min() * READ_BOUNDS[0], 1.01 * resistance.max() * READ_BOUNDS[1]
    return known, strokes, np.geomspace(lowest, highest, 12)


def _sets_left(
    blows: StruckBlows, known: np.ndarray, strokes: np.ndarray, resistances: np.ndarray, sets: np.ndarray
) -> tuple[float, float]:
    """Hold computed against logged penetration of all blows with stroke, resistance and set; see `CalibratedHammer`.

    Units: strokes [m]; resistances [N]; sets [m], of every pair of them.
    """
    logged, resistance = float(blows.set_per_blow[known].sum()), blows.resistance[known]
    places = np.interp(blows.stroke[known], strokes, np.arange(len(strokes)))
    below = np.minimum(places.astype(int), len(strokes) - 2)
    share = places - below

    def computed(ratio: float) -> float:
        """Linear in the stroke and in the logarithm of the resistance."""
        wanted = np.log(ratio * resistance)
        lines = np.stack([np.interp(wanted, np.log(resistances), line) for line in sets])
        at = np.arange(len(wanted))
        return float(((1.0 - share) * lines[below, at] + share * lines[below + 1, at]).sum())

    ratios = np.geomspace(*READ_BOUNDS, 25)
    penetrations = np.array([computed(ratio) for ratio in ratios])
    inside = penetrations[-1] <= logged <= penetrations[0]
    read = float(np.interp(-logged, -penetrations, ratios)) if inside else float("nan")
    return computed(1.0) / logged, read
