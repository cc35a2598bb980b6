"""What signal matching may change, and what is known of it before a record is seen.

Every parameter is a score: the number of spreads by which it, or its logarithm, lies from its expected value. Scores
make parameters of all kinds comparable, and the sum of their squares says how unusual a model is. A value the record
says little about stays where published experience puts it; that is all the regularisation does (Tikhonov's, in
Bayesian reading).

One blow as a fitting problem: the measured downward wave drives the model, the upward wave is compared.

Errors of the gauges belong to the model: a small factor on the velocity, a lag between strain and acceleration, a
drift of the velocity and an error of the wave speed are parameters with tight expectations, so that none of them is
mistaken for soil.
"""

from dataclasses import dataclass

import numpy as np

from dyntest.conditioning.corrections import rest_samples
from dyntest.pile import Pile
from dyntest.wave_equation.soil import Mesh, mesh_pile, placement

MILLIMETRE = 1e-3

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

# Spreads: standard deviations, of the natural logarithm for positive values. No source gives them; they are wide
# enough for every published value above to lie within two of them, and calibration of gauges and clocks has the usual
# accuracy.
SPREAD = {
    "shaft": 1.5,
    "toe_resistance": 1.5,
    "shaft_quake": 0.35,
    "toe_quake": 0.5,
    "shaft_damping": 0.7,
    "toe_damping": 0.6,
    "upward_share": 0.3,
    "wave_speed_error": 0.01,
    "lag": 5e-5,
    "velocity_error": 0.01,
    "section_left": 0.5,
    "section_depth": 1.0,
    "section_length": 0.5,
}
UNREST = 0.02
"""Least spread of the velocity that the pile may still have where the record is said to be at rest, as a share of its
greatest velocity [1]; over the time of the record this is the spread of the drift. Common practice, no source."""
NEIGHBOUR_SPREAD = 0.8
"""Spread of the logarithm of one length's resistance over its neighbour's: shaft resistance changes gradually."""

BOUND = 4.0
"""Greatest score, either way."""

LOGARITHMS_OF_SCALE = (
    "toe_resistance",
    "shaft_quake",
    "toe_quake",
    "shaft_damping",
    "toe_damping",
    "upward_share",
    "section_left",
    "section_length",
)
"""Parameters that are fitted by their logarithm, beside the lengths of shaft."""
GAUGE_ERRORS = ("wave_speed_error", "lag", "velocity_error", "drift")


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
    drift_spread: float = 0.5,
    hyperbolic: bool = False,
    reduction: Reduction | None = None,
) -> Parameters:
    """Give the parameters for a pile, with what is expected of them.

    Units: embedded [m]; resistance [N]; drift_spread [m/s^2].

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> pile = Pile("P1", "steel", (PilePart(20.0, 0.0138, 207e9, 7850.0),))
    >>> lay_out(pile, "clay", "clay", 17.0, 1e6).n_shaft
    8
    """
    n_shaft = int(np.clip(round(embedded / 2.0), 4, 10))
    values = {f"shaft_{k + 1}": np.log(0.5 * resistance / n_shaft) for k in range(n_shaft)}
    values["toe_resistance"] = np.log(0.5 * resistance)
    quake_share = HALF_MOVEMENT if hyperbolic else 1.0
    values["shaft_quake"] = np.log(quake_share * SHAFT_QUAKE)
    values["toe_quake"] = np.log(quake_share * TOE_QUAKE["rock" if toe_soil == "rock" else "other"])
    values["shaft_damping"] = np.log(SHAFT_DAMPING.get(shaft_soil, SHAFT_DAMPING[None]))
    values["toe_damping"] = np.log(TOE_DAMPING)
    values["upward_share"] = np.log(0.9)
    values |= dict.fromkeys(GAUGE_ERRORS, 0.0)
    if reduction is not None:
        values["section_left"] = np.log(reduction.section_left)
        values["section_depth"] = min(reduction.depth, pile.length)
        values["section_length"] = np.log(reduction.length)
    spreads = SPREAD | {"drift": drift_spread} | dict.fromkeys(list(values)[:n_shaft], SPREAD["shaft"])
    spread = [spreads[name] for name in values]
    return Parameters(tuple(values), np.array(list(values.values())), np.array(spread), n_shaft)


def physical(layout: Parameters, scores: np.ndarray) -> dict[str, np.ndarray]:
    """Give the values behind scores.

    Units: returns [N, m, s/m, s, m/s^2].

    ``"shaft"`` of shape (n_shaft, n_candidates) [N] and every other name of shape (n_candidates,): resistances [N],
    quakes [m], dampings [s/m], `upward_share`, `velocity_error`, `wave_speed_error` and `section_left` [1], `lag`
    [s], `drift` [m/s^2], `section_depth` and `section_length` [m].
    """
    raw = layout.expected[:, None] + layout.spread[:, None] * scores
    values = {"shaft": np.exp(raw[: layout.n_shaft])}
    for row in range(layout.n_shaft, layout.count):
        name = layout.names[row]
        values[name] = np.exp(raw[row]) if name in LOGARITHMS_OF_SCALE else raw[row]
    values["upward_share"] = np.minimum(values["upward_share"], 1.0)
    if "section_left" in values:
        values["section_left"] = np.minimum(values["section_left"], 1.0)
    return values


TARGET_STEP = 80e-6
"""Time step that is aimed at [s]; an impact rises in about a millisecond."""
FEWEST_SEGMENTS, MOST_SEGMENTS = 16, 96
LEAD = 0.5e-3
"""Time before the impact at which the comparison begins [s]."""
SPAN = 30e-3
"""Time after the toe's return up to which waves are compared [s]: loading, rebound and unloading."""
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


@dataclass(frozen=True)
class Problem:
    """A blow made ready to be fitted under one soil law.

    Parameters
    ----------
    blow : Blow
        The record.
    layout : Parameters
        The parameters.
    mesh : Mesh
        The pile's segments, from the gauges down.
    share : numpy.ndarray
        Which node carries what of each length of shaft, shape (n_segments, n_shaft) [1].
    hyperbolic : bool
        The soil law.
    smith : bool
        Whether the damping is Smith's.
    start : float
        Time of the first step [s].
    n_steps : int
        Number of steps compared [1].
    weight : numpy.ndarray
        Weight of each step, shape (n_steps,) [1].
    scale : float
        Greatest downward wave [N]; misfits are shares of it.
    misfit : float
        Misfit that counts as one standard deviation [1].
    """

    blow: Blow
    layout: Parameters
    mesh: Mesh
    share: np.ndarray
    hyperbolic: bool
    smith: bool
    start: float
    n_steps: int
    weight: np.ndarray
    scale: float
    misfit: float = FIRST_MISFIT


def make_problem(
    blow: Blow, *, hyperbolic: bool = False, smith: bool = False, reduction: Reduction | None = None
) -> Problem:
    """Make a blow ready to be fitted."""
    pile, time = blow.pile, blow.time
    down, up = waves(blow.force, blow.velocity, pile.impedance)
    segments = int(np.clip(round(pile.return_time / 2 / TARGET_STEP), FEWEST_SEGMENTS, MOST_SEGMENTS))
    mesh = mesh_pile(pile, segments)
    start = time[blow.onset] - LEAD
    toe_return = time[blow.first_peak] + pile.return_time
    if toe_return >= time[-1]:
        raise ValueError("the record ends before the toe's return; record for longer, or match another blow")
    n_steps = int((min(time[-1], toe_return + SPAN) - start) / mesh.time_step)
    since = start + mesh.time_step * np.arange(n_steps) - toe_return - FULL_WEIGHT_SPAN
    weight = np.clip(1.0 - since / SPAN, LEAST_WEIGHT, 1.0)
    scale = float(down[blow.first_peak])
    back = float(np.interp(toe_return, time, up))
    total = scale + back
    first_idea = max(0.1 * scale, total - 0.3 * (2.0 * scale - total))
    embedded = min(blow.embedded, pile.length)
    layout = lay_out(
        pile,
        blow.shaft_soil,
        blow.toe_soil,
        embedded,
        first_idea,
        drift_spread=_unrest(blow) / float(time[-1] - time[blow.onset]),
        hyperbolic=hyperbolic,
        reduction=reduction,
    )
    share = placement(mesh, pile.length - embedded, pile.length, layout.n_shaft)
    return Problem(blow, layout, mesh, share, hyperbolic, smith, float(start), n_steps, weight, scale)


def _unrest(blow: Blow) -> float:
    """Velocity that may be wrong at the end of the record [m/s]: there it was put to zero in the mean."""
    rest = blow.velocity[-rest_samples(len(blow.velocity)) :]
    return max(UNREST * float(np.abs(blow.velocity).max()), float(np.sqrt(np.mean(rest**2))))


def waves(force: np.ndarray, velocity: np.ndarray, impedance: float) -> tuple[np.ndarray, np.ndarray]:
    """Give the downward and the upward wave.

    Units: force [N]; velocity [m/s]; impedance [N s/m]; returns [N].

    Examples
    --------
    >>> waves(np.array([3.0]), np.array([1.0]), 2.0)
    (array([2.5]), array([0.5]))
    """
    return 0.5 * (force + impedance * velocity), 0.5 * (force - impedance * velocity)
