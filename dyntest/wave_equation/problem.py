"""What signal matching may change, and what is known of it before a record is seen.

Every parameter is a score: the number of spreads by which it, or its logarithm, lies from its expected value. Scores
make parameters of all kinds comparable, and the sum of their squares says how unusual a model is. A value the record
says little about stays where published experience puts it; that is all the regularisation does (Tikhonov's, in
Bayesian reading).

One blow, or several of one drive, as a fitting problem: the measured downward wave drives the model, the upward wave is
compared. Blows share pile, gauges and soil; the drift of the velocity is each blow's own, and the shaft of a restrike
may lose a share of its resistance with every blow.

Errors of the gauges belong to the model: factors on force and velocity, a lag between strain and acceleration, a drift
of the velocity and an error of the wave speed are parameters with tight expectations, so that none of them is mistaken
for soil, and what is not known of them widens the ranges. Concrete and timber take their modulus from the wave speed,
``E = ρ c²``: an error of c then moves travel time, impedance and force together.
"""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from dyntest.conditioning.corrections import rest_samples
from dyntest.pile import Pile
from dyntest.signals import waves
from dyntest.wave_equation.soil import Mesh, State, mesh_pile, placement

MILLIMETRE = 1e-3

ELASTIC_PLASTIC, HYPERBOLIC = "elastic-plastic", "hyperbolic"
VISCOUS, SMITH, LAYERED = "viscous", "Smith", "Smith with viscous layers"
POWER, RADIATION, OPEN_RADIATION = "power of velocity", "radiation", "radiation with a toe dashpot"


class SoilLaw(NamedTuple):
    """A static law and a form of damping, as `SOIL_LAWS` pairs them."""

    backbone: str
    damping: str


SOIL_LAWS = (
    SoilLaw(ELASTIC_PLASTIC, VISCOUS),
    SoilLaw(ELASTIC_PLASTIC, LAYERED),
    SoilLaw(ELASTIC_PLASTIC, SMITH),
    SoilLaw(HYPERBOLIC, SMITH),
    SoilLaw(HYPERBOLIC, LAYERED),
    SoilLaw(HYPERBOLIC, VISCOUS),
    SoilLaw(HYPERBOLIC, POWER),
    SoilLaw(ELASTIC_PLASTIC, POWER),
    SoilLaw(ELASTIC_PLASTIC, RADIATION),
    SoilLaw(ELASTIC_PLASTIC, OPEN_RADIATION),
)
RADIATING = (RADIATION, OPEN_RADIATION)
"""Every law that is fitted and compared. Damping: ``D v``; Smith's ``J |S| v``, alone or with viscous dashpots that
differ along the shaft; ``J |S| v^N`` (Coyle and Gibson 1970); and radiation, a dashpot beside the spring under a slider
whose limit grows with the rate of slip (Randolph and Simons 1986; at the toe an elastic half-space after Lysmer, once
with the slider over spring and dashpot and once over the spring alone). Sources from memory, see
`dyntest.wave_equation.soil` and `step`."""

SHAFT_QUAKE = 2.5 * MILLIMETRE
"""Expected shaft quake [m]: 0.1 in (UFC 3-220-20, §6-9.2)."""

TOE_QUAKE = {"rock": 1.0 * MILLIMETRE, "other": 3.0 * MILLIMETRE}
"""Expected toe quake [m], within UFC 3-220-20, §6-9.2: 0.04 in on rock to 0.4 in; 0.10 in for piles that displace
little soil (from memory, after the FHWA driven pile manual)."""

HALF_MOVEMENT = 0.5
"""Movement at half the limit over the quake [1]. Published quakes belong to straight lines, which reach half the limit
at half the quake; a hyperbola is expected to reach half its limit at that same movement."""

SHAFT_DAMPING = {"sand": 0.164, "silt": 0.35, "clay": 0.656, None: 0.35}
"""Expected shaft damping [s/m]: 0.05 s/ft in sand to 0.20 s/ft in clay (UFC 3-220-20, §6-9.2); between them where
unknown. Used for viscous and for Smith's damping: the same source gives both forms and one set of values."""

TOE_DAMPING = 0.492
"""Expected toe damping [s/m]: 0.15 s/ft (UFC 3-220-20, §6-9.2)."""

FADE, FADE_SPREAD = 0.03, 0.03
"""Share of the shaft resistance that each blow of a restrike is expected to take away, and its spread [1]: what had
grown is lost again as the pile is struck. Common practice, no source."""

RATE_FACTOR, TOE_RATE_FACTOR = {"sand": 0.15, "silt": 0.4, "clay": 0.8, None: 0.4}, 0.4
"""Expected factors of v^0.2 [(s/m)^0.2]: about 0.1 in sand to 1 in clay (Randolph and Simons 1986, from memory); at the
toe between them, no source."""
TOE_SLIP_FACTOR = 0.3
"""The same at a toe with a dashpot beside the spring, which takes part of the rate effect: the geometric mean of 0.1
and 1, no source."""

LAYERS = 4
"""Stretches of shaft that may have a viscous dashpot of their own [1]."""
LAYER_DAMPING = 0.02
"""Expected dashpot of such a stretch, over the impedance of the pile [1]: small, with a wide spread; no source."""
RATE_POWER = 0.22
"""Expected power of the velocity in rate effects [1]: 0.18 in clay to 0.20 in sand (Coyle and Gibson 1970), 0.2
(Randolph and Simons 1986), both from memory; its spread reaches half-way to Smith's 1."""
RADIATION_QUAKE = 1.3 * MILLIMETRE
"""Expected shaft quake where the spring is the elastic soil around the pile [m]: ``q = 2 π r τ / (2.9 G)`` (Randolph
and Simons 1986, from memory) for a radius of 0.18 m and a rigidity G/τ of 300."""
SOIL_DENSITY, POISSON = 1900.0, 0.35
"""Density [kg/m^3] and Poisson's ratio [1] of the ground in the dashpots of radiation; usual values, no source."""
DASHPOT_POWER = 0.5
"""Expected power of the spring's stiffness per length to which the dashpot along the shaft grows [1]: 0.5 where the
rigidity of the ground gives both (Randolph and Simons 1986, from memory), 1 where its shear waves are everywhere as
fast; the spread reaches half-way."""

UNLOADING_SHARE = 0.9
"""Expected unloading quake over the quake [1]: soil unloads as stiff as it was loaded, or stiffer; common practice, no
source. A hyperbola is expected to unload along its first slope."""
TOE_GAP = 0.7 * MILLIMETRE
"""Spread of the gap that the blow before may have left under the toe [m]: none is expected; no source."""

# Spreads: standard deviations, of the natural logarithm for positive values. No source gives them; they are wide
# enough for every published value above to lie within two of them, and calibration of gauges and clocks has the usual
# accuracy.
SPREAD = {
    "shaft": 1.5,
    "toe_resistance": 1.5,
    "shaft_quake": 0.35,
    "toe_quake": 0.5,
    "quake_rise": 0.4,
    "shaft_damping": 0.7,
    "damping_rise": 0.5,
    "toe_damping": 0.6,
    "upward_share": 0.3,
    "toe_gap": TOE_GAP,
    "unloading_share": 0.3,
    "rate_power": 0.5,
    "layer_damping": 1.2,
    "shaft_radiation": 0.5,
    "toe_radiation": 0.5,
    "dashpot_power": 0.25,
    "force_error": 0.02,
    "wave_speed_error": 0.01,
    "lag": 5e-5,
    "velocity_error": 0.01,
    "section_left": 0.5,
    "section_depth": 1.0,
    "section_length": 0.5,
}
RADIATION_QUAKE_SPREAD = 0.6
KNOWN_RATE_SPREAD, SLIP_POWER_SPREAD = 0.4, 0.3
"""Spreads of the rate factor along the shaft where the sheet tells the soil, and of its power, where a slider's limit
grows with the rate of slip [1]. The record hardly tells that growth from resistance, so that published values have to:
a factor of 0.4 to 1.8 in clay and a power of 0.12 to 0.4 lie within two spreads, wider than the sources above."""
LEAST_SPEED_SPREAD = 0.004
"""Least uncertainty of the wave speed's error from toe returns [1]; our own choice."""
LINKED_SPREAD = 0.03
"""Spread of the wave speed's error where the material is concrete or timber [1], whose modulus comes from it."""
SET_SPREAD = 0.1, 0.5 * MILLIMETRE
"""Uncertainty of a set from a log: a share of it [1], and at least this [m]; common practice, no source."""
UNREST = 0.02
"""Least spread of the velocity that the pile may still have where the record is said to be at rest, as a share of its
greatest velocity [1]; over the time of the record this is the spread of the drift. Common practice, no source."""
SHAFT_RISE = 1.5
"""Spread of the logarithm of the shaft resistance per length at the toe over that at the ground [1]; no source."""
NEIGHBOUR_SPREAD = 0.35
"""Spread of the logarithm of one length's resistance over its neighbour's, beside that trend: shaft resistance
changes gradually, save where the ground does; common practice, no source."""
LAST_STEP = 2.0
"""Factor on that spread for the last length, where shaft resistance is often greatest since few metres of pile have
passed (friction fatigue; Heerema 1980, from memory); the factor is our own choice."""

BOUND = 4.0
"""Greatest score, either way."""

LAYER_NAMES = tuple(f"layer_damping_{k + 1}" for k in range(LAYERS))
LOGARITHMS_OF_SCALE = (
    "toe_resistance",
    "shaft_quake",
    "toe_quake",
    "shaft_damping",
    "toe_damping",
    "upward_share",
    "unloading_share",
    "rate_power",
    *LAYER_NAMES,
    "shaft_radiation",
    "toe_radiation",
    "section_left",
    "section_length",
)
"""Parameters that are fitted by their logarithm, beside the lengths of shaft."""
GAUGE_ERRORS = ("wave_speed_error", "lag", "force_error", "velocity_error", "drift")


@dataclass(frozen=True)
class Parameters:
    """Which parameters there are, in order, with their expected values and spreads.

    Parameters
    ----------
    names : tuple of str
        Names; the first `n_shaft` are the lengths of shaft from the top down.
    expected : numpy.ndarray
        Expected values, or their logarithms, shape (n_parameters,) [SI units, 1].
    spread : numpy.ndarray
        Spreads, shape (n_parameters,) [SI units, 1].
    n_shaft : int
        Number of lengths of shaft [1].
    """

    names: tuple[str, ...]
    expected: np.ndarray
    spread: np.ndarray
    n_shaft: int

    @property
    def count(self) -> int:
        """Number of parameters [1]."""
        return len(self.names)

    def row(self, name: str) -> int:
        """Give the row of a parameter."""
        return self.names.index(name)


@dataclass(frozen=True)
class Reduction:
    """Where a section reduction is looked for.

    Parameters
    ----------
    depth : float
        Upper end below the gauges [m].
    section_left : float
        Share of the impedance that is left [1], between 0 and 1.
    length : float
        Length of the reduced part [m].
    """

    depth: float
    section_left: float = 0.7
    length: float = 1.0


def lay_out(
    pile: Pile,
    shaft_soil: str | None,
    toe_soil: str | None,
    embedded: float,
    resistance: float,
    *,
    drift_spread: tuple[float, ...] = (0.5,),
    shaft_damping: float | None = None,
    law: SoilLaw = SOIL_LAWS[0],
    reduction: Reduction | None = None,
    wave_speed: tuple[float, float] | None = None,
    fading: bool = False,
) -> Parameters:
    """Give the parameters for a pile, with what is expected of them.

    Units: embedded [m]; resistance [N]; drift_spread [m/s^2]; shaft_damping as the law has it, None as the soil tells.

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> pile = Pile("P1", "steel", (PilePart(20.0, 0.0138, 207e9, 7850.0),))
    >>> lay_out(pile, "clay", "clay", 17.0, 1e6).n_shaft
    8
    """
    n_shaft = lengths_of_shaft(embedded)
    values = {f"shaft_{k + 1}": np.log(0.5 * resistance / n_shaft) for k in range(n_shaft)}
    values["toe_resistance"] = np.log(0.5 * resistance)
    quake_share = HALF_MOVEMENT if law.backbone == HYPERBOLIC else 1.0
    values["shaft_quake"] = np.log(quake_share * SHAFT_QUAKE)
    values["toe_quake"] = np.log(quake_share * TOE_QUAKE["rock" if toe_soil == "rock" else "other"])
    values["shaft_damping"] = np.log(shaft_damping or published_damping(law, shaft_soil))
    values["toe_damping"] = np.log(TOE_DAMPING)
    values["upward_share"] = np.log(0.9)
    values |= dict.fromkeys(("quake_rise", "damping_rise", "toe_gap"), 0.0)
    if law.damping not in RADIATING:
        values["unloading_share"] = np.log(1.0 if law.backbone == HYPERBOLIC else UNLOADING_SHARE)
    spreads = dict(SPREAD)
    if law.damping in (POWER, *RADIATING):
        values["toe_damping"] = np.log(TOE_RATE_FACTOR)
        values["rate_power"] = np.log(RATE_POWER)
    if law.damping == LAYERED:
        values |= dict.fromkeys(LAYER_NAMES, np.log(LAYER_DAMPING))
        spreads |= dict.fromkeys(LAYER_NAMES, SPREAD["layer_damping"])
    if law.damping in RADIATING:
        values["shaft_quake"], spreads["shaft_quake"] = np.log(RADIATION_QUAKE), RADIATION_QUAKE_SPREAD
        values["toe_damping"] = np.log(TOE_SLIP_FACTOR)
        spreads["rate_power"] = SLIP_POWER_SPREAD
        if shaft_soil in RATE_FACTOR.keys() - {None}:
            spreads["shaft_damping"] = KNOWN_RATE_SPREAD
        values |= {"shaft_radiation": 0.0, "toe_radiation": 0.0, "dashpot_power": DASHPOT_POWER}
    if linked(pile):
        spreads["wave_speed_error"] = LINKED_SPREAD
    values |= dict.fromkeys(GAUGE_ERRORS, 0.0)
    if wave_speed is not None and wave_speed[1] < spreads["wave_speed_error"]:
        values["wave_speed_error"] = wave_speed[0]
        spreads["wave_speed_error"] = max(wave_speed[1], LEAST_SPEED_SPREAD)
    for blow, of_blow in enumerate(drift_spread):
        values[drift_name(blow)], spreads[drift_name(blow)] = 0.0, of_blow
    if reduction is not None:
        values["section_left"] = np.log(reduction.section_left)
        values["section_depth"] = min(reduction.depth, pile.length)
        values["section_length"] = np.log(reduction.length)
    if fading:
        values["fade"], spreads["fade"] = FADE, FADE_SPREAD
    spreads |= dict.fromkeys(list(values)[:n_shaft], SPREAD["shaft"])
    spread = [spreads[name] for name in values]
    return Parameters(tuple(values), np.array(list(values.values())), np.array(spread), n_shaft)


def lengths_of_shaft(embedded: float) -> int:
    """Give the number of lengths into which a shaft of so many metres is divided [1]."""
    return int(np.clip(round(embedded / 2.0), 4, 10))


def published_damping(law: SoilLaw, soil: str | None) -> float:
    """Give the shaft damping that is expected in a soil, as the law has it [s/m or (s/m)^0.2]."""
    table = RATE_FACTOR if law.damping in (POWER, *RADIATING) else SHAFT_DAMPING
    return table.get(soil, table[None])


def damping_along(blow: "Blow", law: SoilLaw) -> np.ndarray:
    """Give the damping that is expected of each length of shaft, shape (n_shaft,) [s/m or (s/m)^0.2].

    It is that of the sheet's layers, by their thickness and on the logarithm, where the sheet has them.
    """
    embedded = min(blow.embedded, blow.pile.length)
    edges = np.linspace(0.0, embedded, lengths_of_shaft(embedded) + 1)
    rest, found = np.diff(edges), np.zeros(len(edges) - 1)
    for top, bottom, soil in blow.layers:
        within = np.clip(np.minimum(edges[1:], bottom) - np.maximum(edges[:-1], top), 0.0, None)
        found += within * np.log(published_damping(law, soil))
        rest = rest - within
    found += np.maximum(rest, 0.0) * np.log(published_damping(law, blow.shaft_soil))
    return np.exp(found / np.diff(edges))


def stretches(blow: "Blow") -> np.ndarray:
    """Give where `LAYERS` stretches of shaft end, as shares of it, shape (LAYERS + 1,) [1].

    They end where the soil changes; of more layers the thinnest are left out, of fewer the thickest are halved.
    """
    embedded = min(blow.embedded, blow.pile.length)
    ends = {top / embedded for top, _, _ in blow.layers if 0.0 < top < embedded}
    bounds = [0.0, *sorted(ends), 1.0]
    while len(bounds) > LAYERS + 1:
        thin = int(np.diff(bounds).argmin())
        del bounds[min(max(thin, 1), len(bounds) - 2)]
    while len(bounds) < LAYERS + 1:
        thick = int(np.diff(bounds).argmax())
        bounds.insert(thick + 1, 0.5 * (bounds[thick] + bounds[thick + 1]))
    return np.array(bounds)


def linked(pile: Pile) -> bool:
    """Say whether the modulus comes from the wave speed."""
    return pile.material != "steel"


def drift_name(blow: int) -> str:
    """Give the name of a blow's own drift; the first of the blows stands without a number."""
    return "drift" if blow == 0 else f"drift_{blow + 1}"


def physical(layout: Parameters, scores: np.ndarray) -> dict[str, np.ndarray]:
    """Give the values behind scores.

    Units: returns [N, m, s/m, s, m/s^2].

    ``"shaft"`` of shape (n_shaft, n_candidates) [N] and every other name of shape (n_candidates,): resistances [N],
    quakes [m], dampings at half the depth [s/m] or, with a power of the velocity, [(s/m)^N], `rate_power` N [1], layer
    dampings over the impedance [1], `shaft_radiation` and `toe_radiation` as factors on the ground's dashpots and
    `dashpot_power` [1], logarithms `quake_rise` and `damping_rise` of the value at the end of the shaft over that at
    its beginning [1], `upward_share`, `unloading_share` of the quake, `force_error`, `velocity_error`,
    `wave_speed_error`, `section_left` and `fade` [1], `lag` [s], `drift` [m/s^2], `toe_gap`, `section_depth` and
    `section_length` [m]. Only a hyperbola unloads softer than it was first loaded.
    """
    raw = layout.expected[:, None] + layout.spread[:, None] * scores
    values = {"shaft": np.exp(raw[: layout.n_shaft])}
    for row in range(layout.n_shaft, layout.count):
        name = layout.names[row]
        values[name] = np.exp(raw[row]) if name in LOGARITHMS_OF_SCALE else raw[row]
    for share in {"upward_share", "section_left"} & values.keys():
        values[share] = np.minimum(values[share], 1.0)
    values["toe_gap"] = np.maximum(values["toe_gap"], 0.0)
    return values


TARGET_STEP = 80e-6
"""Time step that is aimed at [s]; an impact rises in about a millisecond."""
FEWEST_SEGMENTS, MOST_SEGMENTS = 16, 96
LEAD = 0.5e-3
"""Time before the impact at which the comparison begins [s]."""
SPAN = 30e-3
"""Time after the toe's return up to which waves are compared [s]: loading, rebound and unloading."""
STEPS_TOGETHER = 8
"""Numbers of steps are multiples of this, so that blows of about one length can be computed together [1]."""
FULL_WEIGHT_SPAN, LEAST_WEIGHT = 4e-3, 0.35
"""Time after the toe's return with full weight [s], and the weight that is left at the end [1]: drift grows with
time."""
FIRST_MISFIT = 0.01
"""Misfit that is expected before anything is known, as a share of the greatest downward wave [1]."""


@dataclass(frozen=True)
class Blow:
    """One blow's record and what is known of pile and soil.

    Parameters
    ----------
    time : numpy.ndarray
        Time of the samples, shape (n_samples,) [s].
    force : numpy.ndarray
        Force at the gauges, shape (n_samples,) [N], compression positive.
    velocity : numpy.ndarray
        Velocity at the gauges, shape (n_samples,) [m/s], downward positive.
    onset, first_peak : int
        Samples at which the impact begins and the downward wave first peaks [1].
    pile : Pile
        The pile.
    embedded : float
        Length of the shaft in soil [m], counted from the toe; no more than the length below the gauges.
    shaft_soil, toe_soil : str or None
        Soil along the shaft and at the toe, as in the sheet's [soil].
    set_per_blow : float
        Set that the log gives [m]; not a number where it is not known.
    wave_speed : tuple of float or None
        Error of the pile's wave speed as the toe returns of the drive tell it, and its uncertainty [1].
    layers : tuple of (float, float, str)
        Depth of top and bottom below the ground [m] and soil of the layers along the shaft, as the sheet has them.
    after : int
        How many blows of a restrike after the one that it is matched with [1], below 0 before it; 0 while the pile is
        driven, whose soil stays as it is from blow to blow.
    """

    time: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    onset: int
    first_peak: int
    pile: Pile
    embedded: float
    shaft_soil: str | None = None
    toe_soil: str | None = None
    set_per_blow: float = float("nan")
    wave_speed: tuple[float, float] | None = None
    layers: tuple[tuple[float, float, str], ...] = ()
    after: int = 0


@dataclass(frozen=True)
class Problem:
    """Blows of one soil made ready to be fitted under one soil law.

    Parameters
    ----------
    blows : tuple of Blow
        The records; the first is the one whose resistance is asked for.
    layout : Parameters
        The parameters.
    mesh : Mesh
        The pile's segments, from the gauges down.
    share : numpy.ndarray
        Which node carries what of each length of shaft, shape (n_segments, n_shaft) [1].
    law : SoilLaw
        The soil law.
    start : numpy.ndarray
        Time of the first step, shape (n_blows,) [s].
    n_steps : int
        Number of steps compared [1].
    weight : numpy.ndarray
        Weight of each step, shape (n_steps,) [1].
    scale : numpy.ndarray
        Greatest downward wave, shape (n_blows,) [N]; misfits are shares of it.
    misfit : float
        Misfit that counts as one standard deviation [1].
    linked : bool
        Whether the modulus comes from the wave speed, see `linked`.
    zones : numpy.ndarray or float
        Damping expected of each length of shaft over the mean of all, shape (n_shaft,) [1].
    ends : numpy.ndarray
        Ends of the stretches with a viscous dashpot of their own [1], see `stretches`.
    locked : State or None
        Stress that blows before have locked into the pile, of one candidate; None: every blow begins without stress.
    """

    blows: tuple[Blow, ...]
    layout: Parameters
    mesh: Mesh
    share: np.ndarray
    law: SoilLaw
    start: np.ndarray
    n_steps: int
    weight: np.ndarray
    scale: np.ndarray
    misfit: float = FIRST_MISFIT
    linked: bool = field(default=False)
    zones: np.ndarray | float = 1.0
    ends: np.ndarray = field(default_factory=lambda: np.linspace(0.0, 1.0, LAYERS + 1))
    locked: State | None = None

    @property
    def blow(self) -> Blow:
        """The blow whose resistance is asked for."""
        return self.blows[0]

    @property
    def hyperbolic(self) -> bool:
        """Whether the first loading follows a hyperbola."""
        return self.law.backbone == HYPERBOLIC

    @property
    def smith(self) -> bool:
        """Whether the damping is Smith's."""
        return self.law.damping in (SMITH, LAYERED)


def make_problem(
    blows: Blow | tuple[Blow, ...],
    *,
    law: SoilLaw = SOIL_LAWS[0],
    reduction: Reduction | None = None,
    time_step: float = TARGET_STEP,
    span: float = SPAN,
) -> Problem:
    """Make blows ready to be fitted, up to a time after the toe's return.

    Units: time_step, span [s].
    """
    blows = (blows,) if isinstance(blows, Blow) else tuple(blows)
    pile = blows[0].pile
    segments = int(np.clip(round(pile.return_time / 2 / time_step), FEWEST_SEGMENTS, MOST_SEGMENTS))
    mesh = mesh_pile(pile, segments)
    starts, scales, totals, ends = [], [], [], []
    for blow in blows:
        down, up = waves(blow.force, blow.velocity, pile.impedance)
        start, toe_return = blow.time[blow.onset] - LEAD, blow.time[blow.first_peak] + pile.return_time
        if toe_return >= blow.time[-1]:
            raise ValueError("the record ends before the toe's return; record for longer, or match another blow")
        starts.append(start)
        ends.append(min(blow.time[-1], toe_return + span) - start)
        scales.append(float(down[blow.first_peak]))
        totals.append(scales[-1] + float(np.interp(toe_return, blow.time, up)))
    n_steps = int(min(ends) / mesh.time_step) // STEPS_TOGETHER * STEPS_TOGETHER
    first = blows[0]
    toe_return = first.time[first.first_peak] + pile.return_time
    since = starts[0] + mesh.time_step * np.arange(n_steps) - toe_return - FULL_WEIGHT_SPAN
    weight = np.clip(1.0 - since / SPAN, LEAST_WEIGHT, 1.0)
    first_idea = max(0.1 * scales[0], totals[0] - 0.3 * (2.0 * scales[0] - totals[0]))
    embedded = min(first.embedded, pile.length)
    damping = damping_along(first, law)
    mean_damping = float(np.exp(np.log(damping).mean()))
    layout = lay_out(
        pile,
        first.shaft_soil,
        first.toe_soil,
        embedded,
        first_idea,
        drift_spread=tuple(_drift_spread(blow) for blow in blows),
        shaft_damping=mean_damping,
        law=law,
        reduction=reduction,
        wave_speed=first.wave_speed,
        fading=any(blow.after for blow in blows),
    )
    share = placement(mesh, pile.length - embedded, pile.length, layout.n_shaft)
    return Problem(
        blows,
        layout,
        mesh,
        share,
        law,
        np.array(starts),
        n_steps,
        weight,
        np.array(scales),
        linked=linked(pile),
        zones=damping / mean_damping,
        ends=stretches(first),
    )


def _drift_spread(blow: Blow) -> float:
    """Drift that the velocity may have [m/s^2]; a set from the log ties the movement at the end of the record down."""
    length = float(blow.time[-1] - blow.time[blow.onset])
    spread = _unrest(blow) / length
    if blow.set_per_blow == blow.set_per_blow:
        spread = min(spread, 2.0 * set_spread(blow) / length**2)
    return spread


def set_spread(blow: Blow) -> float:
    """Uncertainty of a blow's set from the log [m]."""
    share, least = SET_SPREAD
    return max(share * blow.set_per_blow, least)


def _unrest(blow: Blow) -> float:
    """Velocity that may be wrong at the end of the record [m/s]: there it was put to zero in the mean."""
    rest = blow.velocity[-rest_samples(len(blow.velocity)) :]
    return max(UNREST * float(np.abs(blow.velocity).max()), float(np.sqrt(np.mean(rest**2))))
