"""One blow as a fitting problem: the measured downward wave drives the model, the upward wave is compared.

Errors of the gauges belong to the model: a small factor on the velocity, a lag between strain and acceleration, a
drift of the velocity and an error of the wave speed are parameters with tight expectations, so that none of them is
mistaken for soil.
"""

from dataclasses import dataclass

import numpy as np

from dyntest.conditioning.drift import rest_samples
from dyntest.pile import Pile
from dyntest.wave_equation.mesh import Mesh, mesh_pile
from dyntest.wave_equation.parameters import UNREST, Layout, Reduction, lay_out
from dyntest.wave_equation.soil import placement

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
    layout : Layout
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
    layout: Layout
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
    """Make a blow ready to be fitted.

    Parameters
    ----------
    blow : Blow
        The record.
    hyperbolic : bool
        The soil law.
    smith : bool
        Whether the damping is Smith's, which follows the static force of the moment; else it is viscous.
    reduction : Reduction or None
        A reduced section to be fitted.

    Returns
    -------
    Problem
        With segments of about `TARGET_STEP` and the window from `LEAD` before the impact to `SPAN` after the toe's
        return, or to the end of the record.

    Raises
    ------
    ValueError
        If the record ends before the toe's return.
    """
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

    Parameters
    ----------
    force : numpy.ndarray
        Force, any shape [N], compression positive.
    velocity : numpy.ndarray
        Velocity, same shape [m/s], downward positive.
    impedance : float
        Impedance [N s/m].

    Returns
    -------
    tuple of numpy.ndarray
        Both waves, same shape [N].

    Examples
    --------
    >>> waves(np.array([3.0]), np.array([1.0]), 2.0)
    (array([2.5]), array([0.5]))
    """
    return 0.5 * (force + impedance * velocity), 0.5 * (force - impedance * velocity)
