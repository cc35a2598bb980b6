"""Pile and soil of the simulator, and their state: segments that the wave crosses in a time step, springs and dashpots.

The toe takes no tension.

Static part after Smith (1960): an elastic spring up to the quake, then a constant limit. Dynamic part: a viscous
dashpot, or Smith's, whose force is the static one times a factor times the velocity (UFC 3-220-20, §6-9.2).
"""

from dataclasses import dataclass, replace

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
    """

    time_step: float
    depth: np.ndarray
    impedance: np.ndarray
    area: np.ndarray
    mass: np.ndarray
    gauge_node: int = 0

    @property
    def n_segments(self) -> int:
        """Number of segments [1]."""
        return len(self.depth) - 1


def mesh_pile(pile: Pile, n_segments: int, *, from_head: bool = False) -> Mesh:
    """Cut a pile into segments of equal travel time.

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


SMALL = 1e-12
"""Keeps quotients finite where a resistance is zero."""


@dataclass(frozen=True)
class SoilModel:
    """Springs and dashpots at the nodes below the upper end, for a number of candidate models at once.

    Row i belongs to node i + 1 of the mesh; the last row is the toe and nothing but the toe. Every array has the
    shape (n_segments, n_candidates) unless said otherwise; one column serves all candidates where there is only one.

    Parameters
    ----------
    limit : numpy.ndarray
        Greatest static resistance, against downward movement [N].
    quake : numpy.ndarray
        Movement that mobilises the limit along a straight line [m]; for a hyperbolic law the movement at half of it.
    damping : numpy.ndarray
        Viscous damping [N s/m].
    smith_damping : numpy.ndarray or None
        Smith's damping factor, force = factor × abs(static force) × velocity [s/m].
    rate_damping : numpy.ndarray or None
        Factor of a power of the velocity, force = factor × abs(static force) × velocity^power, its value at 1 m/s [1];
        where there is `radiation`, the growth of the limit with the velocity of slip, ``1 + factor × w^power``.
    rate_power : float or numpy.ndarray
        The power [1], also of shape (n_candidates,): 0.2 after Coyle and Gibson (1970), J. Soil Mech. Found. Div. ASCE
        96(SM3), and Randolph and Simons (1986) (both from memory).
    upward_limit : numpy.ndarray or None
        Greatest static resistance against upward movement [N]; None: equal to `limit` on the shaft. At the toe always
        0.
    unloading_quake : numpy.ndarray or None
        Movement over which the limit is unloaded [m]; None: equal to `quake`.
    hyperbolic : bool or numpy.ndarray
        Whether the first loading follows the hyperbola ``limit · u / (u + quake)`` in place of two straight lines; also
        one of each candidate, shape (n_candidates,) [1].
    toe_gap : numpy.ndarray or None
        Way of the toe before it meets the soil, shape (n_candidates,) [m].
    plug_mass : numpy.ndarray or None
        Mass of soil that moves with the toe, shape (n_candidates,) [kg].
    radiation : numpy.ndarray or None
        Dashpot beside the spring, both under a slider with the limit (Randolph and Simons 1986, 3rd Int. Conf.
        Numerical Methods in Offshore Piling, from memory) [N s/m]; 0 in candidates that have none.
    """

    limit: np.ndarray
    quake: np.ndarray
    damping: np.ndarray
    smith_damping: np.ndarray | None = None
    rate_damping: np.ndarray | None = None
    rate_power: float | np.ndarray = 0.2
    upward_limit: np.ndarray | None = None
    unloading_quake: np.ndarray | None = None
    hyperbolic: bool | np.ndarray = False
    toe_gap: np.ndarray | None = None
    plug_mass: np.ndarray | None = None
    radiation: np.ndarray | None = None

    @property
    def n_candidates(self) -> int:
        """Number of candidate models [1]."""
        return self.limit.shape[1]

    def repeated(self, n_candidates: int) -> "SoilModel":
        """Give the same soil for a number of candidates, each a copy."""

        def spread(array):
            return np.repeat(array, n_candidates, axis=-1) if isinstance(array, np.ndarray) else array

        names = list(self.__dataclass_fields__)
        return replace(self, **{name: spread(getattr(self, name)) for name in names})


def unloading_stiffness(soil: SoilModel) -> np.ndarray:
    """Give the stiffness of the springs wherever they are not on their curve of first loading.

    Units: returns [N/m].
    """
    quake = soil.quake if soil.unloading_quake is None else soil.unloading_quake
    return soil.limit / np.maximum(quake, SMALL)


def lower_bound(soil: SoilModel) -> np.ndarray:
    """Give the least static force, which holds the pile against moving up.

    Units: returns [N].
    """
    limit = soil.limit if soil.upward_limit is None else soil.upward_limit
    bound = -np.broadcast_to(limit, soil.limit.shape)
    bound[-1] = 0.0
    return bound


def columns_with(values: np.ndarray | None, candidates: int) -> np.ndarray:
    """Say which candidates have a dashpot of a kind."""
    nowhere = np.zeros(candidates, dtype=bool)
    return nowhere if values is None else nowhere | np.any(values > 0.0, axis=0)


def first_row_of_soil(soil: SoilModel) -> int:
    """Give the first node at which any candidate has soil."""
    holds = (soil.limit > 0.0) | (soil.damping > 0.0)
    rows = np.flatnonzero(np.broadcast_to(holds, soil.limit.shape).any(axis=1))
    return int(rows[0]) if len(rows) else len(soil.limit) - 1


def place_shaft(mesh: Mesh, top: float, bottom: float, distribution: np.ndarray) -> np.ndarray:
    """Give the shaft resistance at every node from resistances of equal lengths of shaft.

    Parameters
    ----------
    mesh : Mesh
        The pile in segments.
    top, bottom : float
        Ends of the embedded shaft, from the gauges down [m].
    distribution : numpy.ndarray
        Resistance of each length of shaft, all as long as each other, shape (n_lengths, candidates) [N].

    Returns
    -------
    numpy.ndarray
        Resistance at every node, shape (nodes, candidates) [N].

    Notes
    -----
    ``R_node = Σ share · R_length``, the share of a length that lies nearer to this node than to another (definition).

    Examples
    --------
    >>> mesh = Mesh(1e-4, np.linspace(0, 10, 11), np.ones(10), np.ones(10), np.ones(10))
    >>> float(place_shaft(mesh, 5.0, 10.0, np.array([[500.0]])).sum())
    500.0
    """
    return placement(mesh, top, bottom, len(distribution)) @ distribution


def placement(mesh: Mesh, top: float, bottom: float, n_lengths: int) -> np.ndarray:
    """Give the share of each length of shaft that each node carries.

    Units: top, bottom [m].
    """
    middles = 0.5 * (mesh.depth[1:] + mesh.depth[:-1])
    edges_up = middles.copy()
    edges_down = np.append(middles[1:], mesh.depth[-1])
    bounds = np.linspace(top, bottom, n_lengths + 1)
    overlap = np.minimum(edges_down[:, None], bounds[None, 1:]) - np.maximum(edges_up[:, None], bounds[None, :-1])
    share = np.clip(overlap, 0.0, None)
    if len(share) > 1:
        share[-2] += share[-1]
        share[-1] = 0.0
    lost = share.sum(axis=0) <= SMALL
    share[-2 if len(share) > 1 else -1, lost] = 1.0  # a length above the first half segment, or none at all
    return share / share.sum(axis=0)


def build_soil(
    shaft: np.ndarray,
    toe: np.ndarray,
    *,
    shaft_quake: np.ndarray | float,
    toe_quake: np.ndarray | float,
    shaft_damping: np.ndarray | float,
    toe_damping: np.ndarray | float,
    smith: bool = False,
    **options,
) -> SoilModel:
    """Give a soil of one quake and one damping along the shaft and another pair at the toe.

    Units: shaft, toe [N]; shaft_quake, toe_quake [m]; shaft_damping, toe_damping [s/m].
    """
    shaft = np.asarray(shaft, dtype=float)
    n_candidates = shaft.shape[1]

    def rows(on_shaft, at_toe):
        out = np.empty(shaft.shape)
        out[:-1] = on_shaft
        out[-1] = at_toe
        return out

    limit = shaft.copy()
    limit[-1] = toe
    factor = rows(shaft_damping, toe_damping)
    return SoilModel(
        limit=limit,
        quake=rows(shaft_quake, toe_quake),
        damping=np.zeros((len(shaft), n_candidates)) if smith else factor * limit,
        smith_damping=factor if smith else None,
        **options,
    )


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
    soil_velocity : numpy.ndarray or None
        Of the soil beside the nodes 1 … n, shape (n_segments, n_candidates) [m/s]; None: that of the nodes.
    toe_gap : numpy.ndarray or None
        Gap under a toe with a radiation dashpot, as movement over the time step times the impedance above it, shape
        (n_candidates,) [N]; None: closed.
    """

    down: np.ndarray
    up: np.ndarray
    spring: np.ndarray
    velocity: np.ndarray
    toe_displacement: np.ndarray
    loading: np.ndarray | None = None
    soil_velocity: np.ndarray | None = None
    toe_gap: np.ndarray | None = None

    def force(self) -> np.ndarray:
        """Give the force in every segment, right for a pile at rest.

        Units: returns [N].
        """
        return self.down[:-1] + self.up[1:-1]


def at_rest(mesh: Mesh, soil: SoilModel) -> State:
    """Give the state of a pile and soil without any stress."""
    n, candidates = mesh.n_segments, soil.n_candidates
    spring, gap = np.zeros((n, candidates)), None
    if soil.toe_gap is not None:
        radiates = columns_with(soil.radiation, candidates)  # ground that radiates keeps its gap by itself
        spring[-1] = np.where(radiates, 0.0, -soil.toe_gap * unloading_stiffness(soil)[-1])
        z_above = np.broadcast_to(np.reshape(mesh.impedance, (n, -1))[-1], candidates)
        gap = np.where(radiates, soil.toe_gap / mesh.time_step * z_above, 0.0)
    return State(
        down=np.zeros((n + 1, candidates)),
        up=np.zeros((n + 2, candidates)),
        spring=spring,
        velocity=np.zeros((n, candidates)),
        toe_displacement=np.zeros(candidates),
        toe_gap=gap,
    )
