"""Where all candidates stand at one moment of a run."""

from dataclasses import dataclass

import numpy as np

from dyntest.wave_equation.mesh import Mesh
from dyntest.wave_equation.soil import Soil, unloading_stiffness


@dataclass(frozen=True)
class State:
    """Waves, springs and movements at one moment, from which a run can go on.

    Parameters
    ----------
    down : numpy.ndarray
        Waves leaving downward from nodes 0 … n, the last always 0, shape (n_segments + 1, n_candidates) [N].
    up : numpy.ndarray
        Waves leaving upward from nodes 0 … n + 1, the first always 0, the last out of a plug or 0, shape
        (n_segments + 2, n_candidates) [N].
    spring : numpy.ndarray
        Static soil force at the nodes 1 … n, shape (n_segments, n_candidates) [N]. Below 0 at the toe it presses on
        nothing and remembers the gap.
    velocity : numpy.ndarray
        Of the nodes 1 … n, shape (n_segments, n_candidates) [m/s].
    toe_displacement : numpy.ndarray
        Movement of the toe, shape (n_candidates,) [m].
    loading : numpy.ndarray or None
        Way of the nodes 1 … n along their curve of first loading, shape (n_segments, n_candidates) [m]; None: the curve
        begins anew, from the force that is in the spring.
    opening : numpy.ndarray or None
        How far each splice of the mesh is open, shape (n_splices, n_candidates) [m]; None: all closed.
    """

    down: np.ndarray
    up: np.ndarray
    spring: np.ndarray
    velocity: np.ndarray
    toe_displacement: np.ndarray
    loading: np.ndarray | None = None
    opening: np.ndarray | None = None

    def force(self) -> np.ndarray:
        """Give the force in every segment, right for a pile at rest.

        Returns
        -------
        numpy.ndarray
            Sum of both waves, shape (n_segments, n_candidates) [N], compression positive.
        """
        return self.down[:-1] + self.up[1:-1]


def at_rest(mesh: Mesh, soil: Soil) -> State:
    """Give the state of a pile and soil without any stress.

    Parameters
    ----------
    mesh : Mesh
        The pile's segments.
    soil : Soil
        The soil, for its number of candidates and its toe gap.

    Returns
    -------
    State
        All zero, except for a toe spring that has a gap to close.
    """
    n, candidates = mesh.n_segments, soil.n_candidates
    spring = np.zeros((n, candidates))
    if soil.toe_gap is not None:
        spring[-1] = -soil.toe_gap * unloading_stiffness(soil)[-1]
    return State(
        down=np.zeros((n + 1, candidates)),
        up=np.zeros((n + 2, candidates)),
        spring=spring,
        velocity=np.zeros((n, candidates)),
        toe_displacement=np.zeros(candidates),
    )
