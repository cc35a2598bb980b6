"""The pile cut into segments that the wave crosses in one time step each."""

from dataclasses import dataclass

import numpy as np

from dyntest.pile import Pile, PilePart


@dataclass(frozen=True)
class Mesh:
    """A pile as segments of equal travel time, with nodes between them; node 0 is the upper end.

    Because a wave moves exactly one segment a step, it travels through a uniform pile without numerical dispersion.

    Parameters
    ----------
    time_step : float
        Time step, and travel time of every segment [s].
    depth : numpy.ndarray
        Depth of each node below node 0, shape (n_segments + 1,) [m].
    impedance : numpy.ndarray
        Impedance of each segment, shape (n_segments,) or (n_segments, n_candidates) [N s/m].
    area : numpy.ndarray
        Section of each segment, shape (n_segments,) [m^2].
    mass : numpy.ndarray
        Mass of each segment, shape (n_segments,) [kg].
    gauge_node : int
        Node at which the gauges sit [1]; 0 where the mesh begins at the gauges.
    splices : tuple
        Joints as pairs of node and slack, see `dyntest.wave_equation.splice.add_splices`.
    """

    time_step: float
    depth: np.ndarray
    impedance: np.ndarray
    area: np.ndarray
    mass: np.ndarray
    gauge_node: int = 0
    splices: tuple[tuple[int, float | np.ndarray], ...] = ()

    @property
    def n_segments(self) -> int:
        """Number of segments [1]."""
        return len(self.depth) - 1


def mesh_pile(pile: Pile, n_segments: int, *, from_head: bool = False) -> Mesh:
    """Cut a pile into segments of equal travel time.

    Parameters
    ----------
    pile : Pile
        The pile from its gauges down.
    n_segments : int
        Segments between gauges and toe [1].
    from_head : bool
        Whether the length above the gauges, with the section at the gauges, comes on top.

    Returns
    -------
    Mesh
        The travel time of the whole is exact; a change of section falls on the nearest node, so its place is off by
        half a segment at most, and so is the level of the gauges where the mesh begins at the head.

    Raises
    ------
    ValueError
        If there is less than one segment.

    Examples
    --------
    >>> pile = Pile("P1", "steel", (PilePart(20.0, 0.01, 210e9, 7850.0),))
    >>> mesh = mesh_pile(pile, 40)
    >>> mesh.n_segments, float(mesh.depth[-1])
    (40, 20.0)
    """
    if n_segments < 1:
        raise ValueError("a pile needs at least one segment")
    time_step = pile.return_time / (2 * n_segments)
    parts = list(pile.parts)
    n_above = 0
    if from_head and pile.length_above_gauges > 0:
        first = parts[0]
        parts.insert(0, PilePart(pile.length_above_gauges, first.area, first.modulus, first.density))
        n_above = max(1, round(parts[0].travel_time / time_step))
    ends = np.cumsum([part.travel_time for part in parts])
    if n_above:
        ends = ends - parts[0].travel_time + n_above * time_step
    middles = (np.arange(n_above + n_segments) + 0.5) * time_step
    index = np.minimum(np.searchsorted(ends, middles), len(parts) - 1)
    speed = np.array([part.wave_speed for part in parts])[index]
    area = np.array([part.area for part in parts])[index]
    density = np.array([part.density for part in parts])[index]
    lengths = speed * time_step
    lengths[n_above:] *= pile.length / lengths[n_above:].sum()
    return Mesh(
        time_step=time_step,
        depth=np.concatenate([[0.0], np.cumsum(lengths)]),
        impedance=density * speed * area,
        area=area,
        mass=density * area * lengths,
        gauge_node=n_above,
    )
