"""The static load–movement curve that a matched soil implies, at head and toe."""

from dataclasses import dataclass

import numpy as np

from dyntest.wave_equation.comparison import candidate_mesh, candidate_soil
from dyntest.wave_equation.law_fits import HYPERBOLIC
from dyntest.wave_equation.matching import Match
from dyntest.wave_equation.parameters import physical


@dataclass(frozen=True)
class LoadMovement:
    """A computed static load test.

    Parameters
    ----------
    head_load : numpy.ndarray
        Load at the gauges' level, shape (n_points,) [N].
    head_movement : numpy.ndarray
        Its movement, shape (n_points,) [m], downward positive.
    toe_load : numpy.ndarray
        Load at the toe, shape (n_points,) [N].
    toe_movement : numpy.ndarray
        Its movement, shape (n_points,) [m], downward positive.
    """

    head_load: np.ndarray
    head_movement: np.ndarray
    toe_load: np.ndarray
    toe_movement: np.ndarray


def load_movement(match: Match, greatest_toe_movement: float | None = None, n_points: int = 80) -> LoadMovement:
    """Give the static load–movement curve of a matched pile.

    Parameters
    ----------
    match : Match
        The matched blow.
    greatest_toe_movement : float or None
        Toe movement up to which the curve goes [m]; None: three toe quakes and at least a sixtieth of the square root
        of the
        section, the order of movement at which static tests are read.
    n_points : int
        Number of points [1].

    Returns
    -------
    LoadMovement
        From no load on. Dashpots carry nothing; creep, residual stress and any gain after the test are not in it.

    Notes
    -----
    From the toe upward, for every toe movement at once: ``F += soil(u)`` at a node and ``u += F Δx / EA`` along a
    segment; the
    load-transfer method of Coyle and Reese (1966), ASCE J. Soil Mech. Found. Div. 92(SM2) (from memory).
    """
    problem, values = match.problem, physical(match.problem.layout, match.scores[:, None])
    mesh, soil = candidate_mesh(problem, values), candidate_soil(problem, values)
    toe_quake = float(values["toe_quake"][0])
    if greatest_toe_movement is None:
        greatest_toe_movement = max(3.0 * toe_quake, float(np.sqrt(mesh.area[-1])) / 60.0)
    toe_movement = greatest_toe_movement * np.linspace(0.0, 1.0, n_points) ** 2
    length = np.diff(mesh.depth)
    impedance = np.broadcast_to(np.reshape(mesh.impedance, (mesh.n_segments, -1)), (mesh.n_segments, 1))[:, 0]
    flexibility = mesh.time_step / impedance  # Δx / EA = Δt / Z
    movement, force, toe_load = toe_movement.copy(), np.zeros(n_points), None
    for node in range(len(length) - 1, -1, -1):
        limit, quake = float(soil.limit[node, 0]), float(soil.quake[node, 0])
        if match.law == HYPERBOLIC:
            force = force + limit * movement / (movement + quake)
        else:
            force = force + limit * np.minimum(movement / quake, 1.0)
        toe_load = force.copy() if toe_load is None else toe_load
        movement = movement + force * flexibility[node]
    return LoadMovement(force, movement, toe_load, toe_movement)
