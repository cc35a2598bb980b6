"""What a candidate of signal matching stands for: measured waves put right, the pile, its soil, and stress locked in.

Candidates of several problems stand side by side, each with some columns, and are computed in one run.
"""

from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import numpy as np

from dyntest.pile import Pile, pile_width
from dyntest.signals import waves
from dyntest.wave_equation.problem import (
    LAYER_NAMES,
    LAYERED,
    OPEN_RADIATION,
    POISSON,
    POWER,
    RADIATING,
    SOIL_DENSITY,
    Problem,
    drift_name,
    physical,
)
from dyntest.wave_equation.rest import begin_side_by_side, candidates_of, next_blow, repeat_blows
from dyntest.wave_equation.simulator import impose_down_wave
from dyntest.wave_equation.soil import SMALL, Mesh, SoilModel, State, build_soil

GAUGE_ERRORS = "wave_speed_error", "lag", "velocity_error", "force_error"
"""What moves the measured waves of a blow beside its drift."""

NEARLY_STILL = 1e-3
"""Share of the greatest static resistance below which a pile counts as still before the next blow [1]; our choice."""


def measured_waves(problem: Problem, values: dict[str, np.ndarray], place: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Give the measured waves at every candidate's steps, put right for its gauge errors.

    Units: returns [N].
    """
    blow = problem.blows[place]
    clock = np.broadcast_to(values["wave_speed_error"] + 1j * values["lag"], values["drift"].shape)
    unlike, which = np.unique(clock, return_inverse=True)  # as complex numbers: pairs take ten times as long to sort
    time = problem.start[place] + np.arange(problem.n_steps)[:, None] * (problem.mesh.time_step / (1.0 + unlike.real))
    force = np.interp(time.ravel(), blow.time, blow.force).reshape(time.shape)[:, which]
    velocity = np.interp((time - unlike.imag).ravel(), blow.time, blow.velocity).reshape(time.shape)[:, which]
    velocity *= 1.0 + values["velocity_error"]
    velocity += values[drift_name(place)] * np.maximum(time - blow.time[blow.onset], 0.0)[:, which]
    stretch = 1.0 + values["wave_speed_error"] if problem.linked else 1.0
    force *= (1.0 + values["force_error"]) * stretch**2
    velocity *= stretch
    return waves(force, velocity, blow.pile.impedance)


def waves_side_by_side(
    models: list[tuple[Problem, dict[str, np.ndarray], int]],
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Give the measured waves of several models, each a problem, values and the place of its blow.

    Units: returns [N].

    Those that read one record at the same steps read it together, since most of the time is lost from call to call.
    """
    alike: dict[tuple, list[int]] = {}
    for number, (problem, _, place) in enumerate(models):
        steps = problem.start[place], problem.n_steps, problem.mesh.time_step
        alike.setdefault((id(problem.blows[place]), place, *steps, problem.linked), []).append(number)
    found: dict[int, tuple[np.ndarray, np.ndarray]] = {}
    for numbers in alike.values():
        problem, _, place = models[numbers[0]]
        names = dict.fromkeys((*GAUGE_ERRORS, drift_name(place), "drift"))
        joined = {name: np.concatenate([models[number][1][name] for number in numbers]) for name in names}
        edges = np.cumsum([len(models[number][1]["drift"]) for number in numbers])[:-1]
        down, up = (np.split(wave, edges, axis=1) for wave in measured_waves(problem, joined, place))
        found |= dict(zip(numbers, zip(down, up, strict=True), strict=True))
    return [found[number] for number in range(len(models))]


def candidate_soil(problem: Problem, values: dict[str, np.ndarray], place: int = 0) -> SoilModel:
    """Give the soil of every candidate at one of the blows, the first unless said otherwise.

    It stands in the time of the mesh, which is stretched by the error of the wave speed. The shaft of a restrike loses
    ``exp(−fade)`` with every blow.
    """
    if problem.blows[place].after:
        values = values | {"shaft": values["shaft"] * np.exp(-values["fade"] * problem.blows[place].after)}
    return matched_soil(problem, values, problem.share, stretch=1.0 + values["wave_speed_error"])


def matched_soil(
    problem: Problem,
    values: dict[str, np.ndarray],
    share: np.ndarray,
    *,
    scale: np.ndarray | float = 1.0,
    stretch: np.ndarray | float = 1.0,
) -> SoilModel:
    """Give the soil of parameters on the nodes of any mesh, its resistances scaled and its quakes stretched.

    The one builder: matching, load–movement, the hammer's calibration and the bearing graph all take their soil here.
    `share` of shape (n_segments, n_shaft) says which node carries what; `scale` and `stretch` [1] may differ from
    candidate to candidate.
    """
    law, n_shaft = problem.law.damping, share.shape[1]
    carried = np.maximum(share.sum(axis=1), 1e-12)
    along = (share @ (np.arange(n_shaft) + 0.5) / n_shaft / carried - 0.5)[:-1, None]  # −0.5 to 0.5 down the shaft
    zones = (share @ np.broadcast_to(problem.zones, n_shaft) / carried)[:-1, None]
    soil = build_soil(
        share @ values["shaft"] * scale,
        values["toe_resistance"] * scale,
        shaft_quake=values["shaft_quake"] * stretch * np.exp(values["quake_rise"] * along),
        toe_quake=values["toe_quake"] * stretch,
        shaft_damping=values["shaft_damping"] * np.exp(values["damping_rise"] * along) * zones,
        toe_damping=values["toe_damping"],
        smith=True,  # keeps the factors
        hyperbolic=problem.hyperbolic,
    )
    limit, quake, factor = soil.limit, soil.quake, soil.smith_damping
    assert factor is not None
    # a spring that carries waves away is the ground itself: it unloads as it loads
    unloading = 1.0 if law in RADIATING else values["unloading_share"]
    unloading = unloading if problem.hyperbolic else np.minimum(unloading, 1.0)
    rated = law in (POWER, *RADIATING)
    damping = np.zeros_like(limit) if problem.smith or rated else factor * limit
    if law == LAYERED:
        layers = np.stack([values[name] for name in LAYER_NAMES]) * problem.blow.pile.impedance
        damping += share @ (layer_lengths(n_shaft, problem.ends) @ layers) * scale
    radiation = None
    if law in RADIATING:
        lengths = share.sum(axis=1) * min(problem.blow.embedded, problem.blow.pile.length) / n_shaft
        springs = limit / np.maximum(quake, SMALL) * stretch
        radiation = dashpots(springs, lengths, problem.blow.pile, values["dashpot_power"])
        radiation[:-1] *= values["shaft_radiation"]
        radiation[-1] *= values["toe_radiation"]
        if law == OPEN_RADIATION:
            damping[-1], radiation[-1], factor[-1] = radiation[-1], 0.0, 0.0
    return replace(
        soil,
        damping=damping,
        smith_damping=factor if problem.smith else None,
        rate_damping=factor if rated else None,
        rate_power=values["rate_power"] if rated else 0.2,
        upward_limit=limit * values["upward_share"],
        unloading_quake=quake * unloading,
        toe_gap=np.broadcast_to(values["toe_gap"] * stretch, soil.n_candidates),
        radiation=radiation,
    )


def dashpots(stiffness: np.ndarray, lengths: np.ndarray, pile: Pile, power: np.ndarray) -> np.ndarray:
    """Give the dashpots of ground that carries waves away from the pile, from the springs that it gives at each node.

    Units: stiffness [N/m]; lengths [m]; power [1]; returns [N s/m].

    The spring gives the dashpot, by ``k = 2.9 G`` and ``c = 2 π r √(G ρ)`` per length of shaft (Randolph and Simons
    1986) and ``K = 4 G r/(1 − ν)`` and ``C = 3.4 r² √(G ρ)/(1 − ν)`` under a round toe (Lysmer and Richart 1966), both
    from memory. Along the shaft c keeps its mean and follows ``k^power``.
    """
    width, soft = pile_width(pile), 1e-3
    radius = 2.0 * width / np.pi  # of the same perimeter as a square
    per_length = stiffness[:-1] / np.maximum(lengths[:-1, None], soft)
    mean = np.maximum(stiffness[:-1].sum(axis=0) / max(lengths.sum(), soft), soft)
    found = np.empty_like(stiffness)
    found[:-1] = 2.0 * np.pi * radius * lengths[:-1, None] * np.sqrt(SOIL_DENSITY * mean / 2.9)
    found[:-1] *= np.maximum(per_length / mean, soft) ** power
    radius = width / np.sqrt(np.pi)  # of the same area
    rigidity = stiffness[-1] * (1.0 - POISSON) / (4.0 * radius)
    found[-1] = 3.4 * radius**2 * np.sqrt(rigidity * SOIL_DENSITY) / (1.0 - POISSON)
    return found


def layer_lengths(n_shaft: int, ends: np.ndarray) -> np.ndarray:
    """Give how stretches that end at shares of the shaft are spread over its lengths, shape (n_shaft, LAYERS) [1]."""
    edges = np.linspace(0.0, 1.0, n_shaft + 1)
    overlap = np.minimum(edges[1:, None], ends[None, 1:]) - np.maximum(edges[:-1, None], ends[None, :-1])
    return np.clip(overlap, 0.0, None) / np.diff(ends)


def candidate_mesh(problem: Problem, values: dict[str, np.ndarray]) -> Mesh:
    """Give the pile of every candidate: the sheet's, with the wave speed and the reduced section being fitted."""
    mesh = problem.mesh
    if problem.linked:
        mesh = replace(mesh, impedance=mesh.impedance[:, None] * (1.0 + values["wave_speed_error"]))
    if "section_left" not in values:
        return mesh
    top, bottom = mesh.depth[:-1, None], mesh.depth[1:, None]
    upper, lower = values["section_depth"], values["section_depth"] + values["section_length"]
    covered = np.clip(np.minimum(bottom, lower) - np.maximum(top, upper), 0.0, None) / (bottom - top)
    impedance = np.reshape(mesh.impedance, (mesh.n_segments, -1))
    return replace(mesh, impedance=impedance * (1.0 - (1.0 - values["section_left"]) * covered))


def join_meshes(meshes: list[Mesh]) -> Mesh:
    """Give the mesh of candidates of one pile side by side."""
    if np.ndim(meshes[0].impedance) == 1:
        return meshes[0]
    return replace(meshes[0], impedance=np.concatenate([each.impedance for each in meshes], axis=1))


def join_soils(soils: list[SoilModel]) -> SoilModel:
    """Give the candidates of several soils side by side."""
    joined: dict[str, Any] = {}
    for name in (each.name for each in fields(SoilModel)):
        values = [getattr(soil, name) for soil in soils]
        if name in ("hyperbolic", "rate_power"):
            values = [np.broadcast_to(value, soil.n_candidates) for value, soil in zip(values, soils, strict=True)]
        elif all(value is None for value in values):
            joined[name] = None
            continue
        blank = [np.zeros_like(soil.limit) for soil in soils]
        values = [other if value is None else value for value, other in zip(values, blank, strict=True)]
        joined[name] = np.concatenate(values, axis=-1)
    return SoilModel(**joined)


def locked_in(models: list[tuple[Problem, np.ndarray]], most: int = 1) -> list[State | None]:
    """Give the stress that so many blows, the first of each problem, lock into the pile of its models, run together.

    Models are problems of one pile with scores of shape (n_parameters, n_candidates) [1]; their blows begin from what
    the problem has locked in. None where a pile comes to no rest.
    """
    lengths = {problem.n_steps for problem, _ in models}
    if len(lengths) != 1:
        return [locked_in([model], most)[0] for model in models]
    values = [physical(problem.layout, scores) for problem, scores in models]
    read = waves_side_by_side([(problem, of, 0) for (problem, _), of in zip(models, values, strict=True)])
    down = np.hstack([wave for wave, _ in read])
    meshes = [candidate_mesh(problem, of) for (problem, _), of in zip(models, values, strict=True)]
    soils = [candidate_soil(problem, of) for (problem, _), of in zip(models, values, strict=True)]
    soil, mesh = join_soils(soils), join_meshes(meshes)
    start = begin_side_by_side([problem.locked for problem, _ in models], meshes, soils)
    try:
        blows = repeat_blows(
            mesh, soil, impose_down_wave(down), lengths.pop(), start=start, still=NEARLY_STILL, most=most
        )
    except ValueError:
        return [None] if len(models) == 1 else [locked_in([model], most)[0] for model in models]
    after, edges = next_blow(blows.after), np.cumsum([0, *(scores.shape[1] for _, scores in models)])
    return [candidates_of(after, slice(*ends)) for ends in pairwise(edges)]


def begin(
    tasks: list[tuple[Problem, np.ndarray]],
    meshes: list[Mesh],
    soils: list[SoilModel],
    searches: list[tuple[int, ...]] | None = None,
) -> State | None:
    """Give the state from which candidates begin: where stress is locked in, what one more blow of their own leaves.

    So the stress changes with the soil of each candidate; a drift moves it too little to count. Tasks are problems with
    scores of shape (n_parameters, n_candidates) [1]. Those of one of the searches come to rest together, and how long
    that takes may show in the last digits; so no other search joins them.
    """
    problems = {id(problem): problem for problem, _ in tasks if problem.locked is not None}
    begins: list[State | None] = [None] * len(tasks)
    models, places = [], []
    for problem in problems.values():
        mine = [place for place, task in enumerate(tasks) if task[0] is problem]
        scores = np.hstack([tasks[place][1] for place in mine])
        still = [not name.startswith("drift") for name in problem.layout.names]
        _, first, back = np.unique(scores[still], axis=1, return_index=True, return_inverse=True)
        models.append((problem, scores[:, first]))
        edges = np.cumsum([tasks[place][1].shape[1] for place in mine])[:-1]
        places.append(list(zip(mine, np.split(np.ravel(back), edges), strict=True)))
    asked_by = [() if searches is None else searches[of[0][0]] for of in places]
    for search in dict.fromkeys(asked_by):
        own = [which for which, one in enumerate(asked_by) if one == search]
        for which, state in zip(own, locked_in([models[which] for which in own]), strict=True):
            for place, back in places[which]:
                begins[place] = models[which][0].locked if state is None else candidates_of(state, back)
    return begin_side_by_side(begins, meshes, soils)
