"""What a blow leaves behind: coming to rest, the force locked into the pile, and the blow after.

Soil that holds the shaft against moving up keeps a driven pile under compression between blows, with shaft forces that
pull it down and a toe that stays loaded (from memory, after Holloway, Clough and Vesic 1978). The next blow begins from
there, and after a few blows each one leaves what the one before left: then the set repeats.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from dyntest.wave_equation.simulator import Head, Motion, impose_force, simulate
from dyntest.wave_equation.soil import Mesh, SoilModel, State, at_rest, unloading_stiffness

STILL = 1e-6
"""Share of the greatest static resistance below which velocity times impedance counts as rest [1] (our choice)."""

LONGEST_REST = 200
"""Return times after which a pile that still moves is given up (our choice)."""

LEAST_CHANGE = 1e-5
"""Change of the set from blow to blow that always counts as none [m] (our choice: far below what can be measured)."""


@dataclass(frozen=True)
class RepeatedBlows:
    """Blows until the set repeats.

    Parameters
    ----------
    motion : Motion
        The last blow, which began from `before`.
    set_per_blow : numpy.ndarray
        Permanent movement of the toe by each blow, shape (n_blows, n_candidates) [m].
    before, after : State
        At rest before and after the last blow.
    repeats : numpy.ndarray
        Whether the last set agrees with the one before, shape (n_candidates,) [1].
    """

    motion: Motion
    set_per_blow: np.ndarray
    before: State
    after: State
    repeats: np.ndarray


def come_to_rest(
    mesh: Mesh, soil: SoilModel, state: State | None = None, *, gravity: float = 0.0, still: float = STILL
) -> State:
    """Give the state in which a pile comes to rest with its upper end free.

    Beside its own damping every node gets a dashpot that lets the slowest vibration die out as fast as it can. That
    does not change where the pile can rest, but it takes the last rebounds out of the way there. Radiation is left out,
    since soil that moves along would let every force fade.

    Units: gravity [m/s^2]; still [1] as `STILL`.

    Examples
    --------
    A pile of 80 kg a segment stands on its toe; its weight of 3.92 kN is in the toe's spring:

    >>> from dyntest.wave_equation.soil import build_soil
    >>> mesh = Mesh(1e-4, np.linspace(0, 2.5, 6), np.full(5, 4e5), np.full(5, 0.01), np.full(5, 80.0))
    >>> soil = build_soil(np.zeros((5, 1)), np.array([5e5]), shaft_quake=0.0025, toe_quake=0.0025,
    ...                   shaft_damping=0.0, toe_damping=0.5)
    >>> float(come_to_rest(mesh, soil, gravity=9.8).spring[-1, 0].round(-1))
    3920.0
    """
    state = at_rest(mesh, soil) if state is None else state
    slowed = replace(
        soil,
        damping=soil.damping + _critical_damping(mesh, soil),
        smith_damping=None,
        rate_damping=None,
        radiation=None,
    )
    steps = 2 * mesh.n_segments
    free = impose_force(np.zeros(steps))
    quiet_before = False
    for _ in range(LONGEST_REST):
        state = simulate(mesh, slowed, free, steps, start=state, gravity=gravity).state
        moving = np.abs(state.down[:-1] - state.up[1:-1]).max(axis=0)
        quiet = bool((moving <= still * soil.limit.sum(axis=0)).all())
        if quiet and quiet_before:  # twice, since a vibration is still for a moment at each turn
            return state
        quiet_before = quiet
    raise ValueError("the pile does not come to rest: its soil cannot hold it")


def next_blow(state: State) -> State:
    """Give the state from which the next blow begins: the forces locked in, and movements counted anew.

    Where the law of first loading is a curve of its own (hyperbolic, or with an unloading quake), the curve begins anew
    for each blow, from the force left in the spring: the soil ahead has not been loaded before. An assumption, and the
    same that a single blow from rest makes.
    """
    return replace(
        state,
        velocity=np.zeros_like(state.velocity),
        toe_displacement=np.zeros_like(state.toe_displacement),
        loading=None,
    )


def repeat_blows(
    mesh: Mesh,
    soil: SoilModel,
    head: Head,
    n_steps: int,
    *,
    start: State | None = None,
    gravity: float = 0.0,
    tolerance: float = 0.01,
    still: float = STILL,
    most: int = 20,
    **options,
) -> RepeatedBlows:
    """Strike a pile until each blow moves it as far as the blow before; the first begins from a state at rest.

    Units: gravity [m/s^2].
    """
    state = at_rest(mesh, soil) if start is None else start
    if gravity:
        state = next_blow(come_to_rest(mesh, soil, state, gravity=gravity))
    sets, repeats = [], np.zeros(soil.n_candidates, dtype=bool)
    for _ in range(most):
        before = state
        motion = simulate(mesh, soil, head, n_steps, start=before, gravity=gravity, **options)
        after = come_to_rest(mesh, soil, motion.state, gravity=gravity, still=still)
        sets.append(after.toe_displacement)
        if len(sets) > 1:
            change = np.abs(sets[-1] - sets[-2])
            repeats = change <= np.maximum(tolerance * np.abs(sets[-1]), LEAST_CHANGE)
            if repeats.all():
                break
        state = next_blow(after)
    return RepeatedBlows(motion, np.array(sets), before, after, repeats)


def begin_side_by_side(locked: list[State | None], meshes: list[Mesh], soils: list[SoilModel]) -> State | None:
    """Give the state from which candidates of several soils begin; None where all begin without stress.

    A state of one candidate serves for all of its soil.
    """
    if all(one is None for one in locked):
        return None
    each = [at_rest(mesh, soil) if one is None else one for one, mesh, soil in zip(locked, meshes, soils, strict=True)]

    def joined(name: str) -> np.ndarray:
        parts = []
        for one, soil in zip(each, soils, strict=True):
            value = getattr(one, name)
            value = np.zeros(1) if value is None else value
            parts.append(np.broadcast_to(value, (*value.shape[:-1], soil.n_candidates)))
        return np.concatenate(parts, axis=-1)

    names = ("down", "up", "spring", "velocity", "toe_displacement", "toe_gap")
    return State(**{name: joined(name) for name in names})


def candidates_of(state: State, where: slice | np.ndarray) -> State:
    """Give the state of some of several candidates."""
    values = {each.name: getattr(state, each.name) for each in fields(State)}
    return replace(state, **{name: one[..., where] for name, one in values.items() if one is not None})


def on_mesh(state: State, there: Mesh, here: Mesh) -> State:
    """Give the stress locked into a pile on another mesh of it: the same force along it, and springs that hold it."""
    middle, before = (0.5 * (mesh.depth[1:] + mesh.depth[:-1]) for mesh in (here, there))
    force = np.interp(middle, before, state.force()[:, 0])[:, None]
    nothing = np.zeros((1, 1))
    return State(
        down=np.vstack([force / 2.0, nothing]),
        up=np.vstack([nothing, force / 2.0, nothing]),
        spring=force - np.vstack([force[1:], nothing]),
        velocity=np.zeros_like(force),
        toe_displacement=np.zeros(1),
    )


def _critical_damping(mesh: Mesh, soil: SoilModel) -> np.ndarray:
    """Give the dashpots ``2 ω m`` with ω no higher than the slowest vibration of pile and springs can be."""
    whole = soil.plug_mass if soil.plug_mass is not None else 0.0
    rigid = np.sqrt(unloading_stiffness(soil).sum(axis=0) / (mesh.mass.sum() + whole))
    elastic = np.pi / (2 * mesh.n_segments * mesh.time_step)  # a pile held at its toe alone: ω = π c / (2 L)
    return 2.0 * np.minimum(rigid, elastic) * mesh.mass[:, None]
