"""Test piles of invented structures with known truth: what a hammer did to them, and what bad gauges made of it.

Every structure has its own pile, ground, hammer and gauges, drawn from a seed. The truth is the library's wave
equation, made unlike the model that is fitted to it: steps a third as long, quakes and dampings that change from node
to node, Smith's or viscous damping or one of each on shaft and toe, straight or hyperbolic springs, steeper unloading,
a gap or a plug of soil at the toe, and gauges, cushions, strokes and wave speeds that are not what the sheet says.

    python tests/benchmarks/simulated_structures.py FOLDER 200

writes that many small tests, for the survey.
"""

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from dyntest.hammer import Hammer
from dyntest.pile import Pile, PilePart
from dyntest.reading.build import named_section
from dyntest.wave_equation.hammer_model import HammerHead, hammer_setting
from dyntest.wave_equation.simulator import simulate
from dyntest.wave_equation.soil import Mesh, SoilModel, mesh_pile, placement

TRUE_STEP = 27e-6  # s; the fit's is about 80e-6
COARSE_STEP = 90e-6  # s, where only the number of tests matters
SAMPLE_STEP, SAMPLES, QUIET = 1e-4, 900, 0.006  # s, 1, s
INITIAL_BLOWS, RESTRIKE_BLOWS = 24, 6
LOG_INTERVAL = 0.025  # m
DAY = 86400.0  # s

GROUNDS = {  # share of the shaft, dampings of shaft and toe [s/m], toe quake [m], changes of shaft and toe in a wait
    "clay": (("clay", "clay"), (0.65, 0.92), (0.35, 0.85), (0.3, 0.8), (2.5e-3, 6e-3), (1.2, 2.2), (1.0, 1.15)),
    "sand": (("sand", "sand"), (0.25, 0.60), (0.10, 0.30), (0.3, 0.6), (3.0e-3, 7e-3), (0.95, 1.3), (0.95, 1.1)),
    "silt over sand": (("silt", "sand"), (0.4, 0.7), (0.20, 0.50), (0.3, 0.6), (3e-3, 7e-3), (1.1, 1.8), (0.95, 1.1)),
    "clay over shale": (("clay", "rock"), (0.15, 0.45), (0.3, 0.7), (0.1, 0.5), (1e-3, 3e-3), (1.1, 1.6), (0.65, 1.0)),
}  # after the ranges of UFC 3-220-20 for quake and damping, and FHWA's for setup (GEC 12, Table 7-16); else invented

SECTIONS = ("HP10x57", "HP12x53", "HP12x74", "HP14x73", "HP14x89", "HP14x117")
CONCRETE_SIDES = (0.305, 0.356, 0.406)  # m


@dataclass(frozen=True)
class Structure:
    """What is true, and what the engineer's sheet says."""

    name: str
    pile: Pile
    sheet_pile: Pile
    width: float  # m, for the offset limit
    hammer: Hammer
    sheet_hammer: Hammer
    ground: str
    shaft_soil: str
    toe_soil: str
    embedded: float  # m
    mesh: Mesh
    soil: SoilModel  # one candidate, at the end of driving
    shaft_change: float  # resistance at the restrike over that at the end of driving
    toe_change: float
    wait: float  # s
    stroke: float  # m, of the end of the initial drive
    stroke_reading: float  # what the inspector reads over what it is
    strain_scale: np.ndarray
    acceleration_scale: np.ndarray
    required: float  # N
    rng: np.random.Generator

    @property
    def strokes(self) -> tuple[float, float]:
        """The approved range [m]."""
        return 0.75 * self.stroke, 1.15 * self.stroke


def invent(number: int, seed: int = 2026, step: float = TRUE_STEP) -> Structure:
    """Draw a structure, computed with a time step [s]; the same numbers give the same one."""
    rng = np.random.default_rng([seed, number])
    steel = bool(rng.random() < 0.65)
    pile, width, speed_error = _steel(rng) if steel else _concrete(rng)
    sheet_pile = replace(pile, parts=tuple(replace(p, modulus=p.modulus * (1 + speed_error) ** 2) for p in pile.parts))
    hammer, sheet_hammer, stroke = _hammer(pile, steel, rng)
    ground = list(GROUNDS)[int(rng.integers(len(GROUNDS)))]
    (shaft_soil, toe_soil), share, shaft_damping, toe_damping, toe_quake, shaft_change, toe_change = GROUNDS[ground]
    embedded = pile.length - rng.uniform(0.5, 3.0)
    mesh = mesh_pile(pile, max(24, round(pile.return_time / 2 / step)), from_head=True)
    share = rng.uniform(*share)
    smith = rng.choice(["Smith", "viscous", "Smith shaft, viscous toe"], p=[0.5, 0.2, 0.3])
    laws = {
        "smith": smith,
        "hyperbolic": bool(rng.random() < 0.4),
        "shaft_damping": rng.uniform(*shaft_damping),
        "toe_damping": rng.uniform(*toe_damping),
        "shaft_quake": rng.uniform(1.5e-3, 4e-3),
        "toe_quake": rng.uniform(*toe_quake),
    }
    unit = _soil(mesh, embedded, share, laws, pile, toe_soil, rng)
    wanted_set = rng.uniform(2.5e-3, 10e-3) if steel else rng.uniform(2.5e-3, 6e-3)  # soft driving tears concrete
    soil = _scaled_to_set(mesh, unit, hammer, stroke, wanted_set)
    made = Structure(
        f"S{number:03d}",
        pile,
        sheet_pile,
        width,
        hammer,
        sheet_hammer,
        ground,
        shaft_soil,
        toe_soil,
        embedded,
        mesh,
        soil,
        rng.uniform(*shaft_change),
        rng.uniform(*toe_change),
        rng.uniform(1.0, 10.0) * DAY,
        stroke,
        1.0 + 0.03 * rng.standard_normal(),
        1.0 + 0.015 * rng.standard_normal(2),
        1.0 + 0.015 * rng.standard_normal(2),
        0.0,
        rng,
    )
    return replace(made, required=float(static_resistance(made, soil)[0] * rng.uniform(0.75, 1.15)))


def _steel(rng) -> tuple[Pile, float, float]:
    section = named_section(str(rng.choice(SECTIONS)))
    part = PilePart(rng.uniform(12.0, 26.0), section.area, 207e9, 7850.0)
    width = float(np.sqrt(section.depth * section.flange_width))
    pile = Pile("", "steel", (part,), part.length + rng.uniform(0.8, 1.4), yield_strength=345e6)
    return pile, width, 0.003 * rng.standard_normal()


def _concrete(rng) -> tuple[Pile, float, float]:
    side = float(rng.choice(CONCRETE_SIDES))
    part = PilePart(rng.uniform(11.0, 22.0), side**2, rng.uniform(34e9, 42e9), 2400.0)
    pile = Pile("", "concrete", (part,), part.length + rng.uniform(0.8, 1.4), compressive_strength=45e6)
    return replace(pile, effective_prestress=8e6), side, 0.01 * rng.standard_normal()


def _hammer(pile: Pile, steel: bool, rng) -> tuple[Hammer, Hammer, float]:
    """A hammer that suits the pile's impedance, and what its data sheet says."""
    z = pile.impedance
    kind = "open-end diesel" if steel else "hydraulic"
    efficiency, expected = (rng.uniform(0.55, 0.78), 0.70) if steel else (rng.uniform(0.75, 0.95), 0.85)
    ram = z * 1e-3 * (rng.uniform(2.4, 3.6) if steel else rng.uniform(3.2, 5.0))
    cushion = z * rng.uniform(1500.0, 3500.0)
    hammer = Hammer(kind, ram, efficiency=efficiency, helmet_mass=0.42 * ram, hammer_cushion_restitution=0.8)
    hammer = replace(hammer, hammer_cushion_stiffness=cushion)
    said = replace(hammer, efficiency=expected, hammer_cushion_stiffness=cushion * np.exp(0.25 * rng.standard_normal()))
    if not steel:
        soft = z * rng.uniform(100.0, 220.0)
        hammer = replace(hammer, pile_cushion_stiffness=soft, pile_cushion_restitution=0.5)
        soft *= np.exp(0.3 * rng.standard_normal())
        said = replace(said, pile_cushion_stiffness=soft, pile_cushion_restitution=0.5)
    return hammer, said, rng.uniform(1.9, 2.8) if steel else rng.uniform(0.7, 1.1)


def _soil(mesh: Mesh, embedded: float, share: float, laws: dict, pile: Pile, toe_soil: str, rng) -> SoilModel:
    """Soil of one newton in all, its quakes and dampings changing from layer to layer."""
    n = mesh.n_segments
    top = mesh.depth[-1] - embedded
    layers = np.linspace(0.3, 1.0, 5) * np.exp(0.35 * rng.standard_normal(5))
    lengths = placement(mesh, top, mesh.depth[-1], 40)
    limit = lengths @ np.interp(np.linspace(0, 4, 40), np.arange(5), layers)
    limit *= share / limit.sum()
    limit[-1] = 1.0 - share
    wave = np.interp(np.arange(n), np.linspace(0, n - 1, 6), np.exp(0.25 * rng.standard_normal(6)))
    quake, factor = laws["shaft_quake"] * wave, laws["shaft_damping"] / wave
    quake[-1], factor[-1] = laws["toe_quake"], laws["toe_damping"]
    if laws["hyperbolic"]:
        quake = quake / 3.0  # three quarters of the limit at the quake
    smith, viscous = factor.copy(), factor * limit
    if laws["smith"] == "viscous":
        smith[:] = 0.0
    elif laws["smith"] == "Smith":
        viscous[:] = 0.0
    else:
        smith[-1], viscous[:-1] = 0.0, 0.0
    plug = pile.toe_area * pile.parts[-1].density * rng.uniform(0.3, 1.0) if rng.random() < 0.3 else 0.0
    gap = rng.uniform(0.0, 1e-3) if toe_soil == "rock" and rng.random() < 0.4 else 0.0
    column = np.array([1.0])
    return SoilModel(
        limit[:, None],
        quake[:, None],
        viscous[:, None],
        smith[:, None],
        unloading_quake=(quake * rng.uniform(0.5, 1.0))[:, None],
        hyperbolic=laws["hyperbolic"],
        toe_gap=gap * column,
        plug_mass=plug * column,
    )


def scaled(soil: SoilModel, shaft: np.ndarray, toe: np.ndarray) -> SoilModel:
    """The soil with its shaft and its toe so many times as strong, a candidate for each value."""
    shaft, toe = np.atleast_1d(shaft).astype(float), np.atleast_1d(toe).astype(float)
    many = soil.repeated(len(shaft))
    factor = np.repeat(shaft[None, :], len(soil.limit), axis=0)
    factor[-1] = toe
    return replace(many, limit=many.limit * factor, damping=many.damping * factor)


def strike(mesh: Mesh, soil: SoilModel, hammer: Hammer, stroke: np.ndarray, efficiency: np.ndarray | None = None):
    """Force and velocity at the gauges and the set, of every blow in one run."""
    head = HammerHead(hammer_setting(hammer, stroke, efficiency), float(mesh.impedance[0]), mesh.time_step)
    steps = int((SAMPLES * SAMPLE_STEP - QUIET) / mesh.time_step) + 40
    motion = simulate(mesh, soil, head, steps)
    z = mesh.impedance[mesh.gauge_node]
    rest = motion.toe_displacement[-int(0.012 / mesh.time_step) :].mean(axis=0)
    return motion.time, motion.up + motion.down, (motion.down - motion.up) / z, rest


def _scaled_to_set(mesh: Mesh, unit: SoilModel, hammer: Hammer, stroke: float, wanted: float) -> SoilModel:
    """As much soil as makes the hammer's set the wanted one."""
    energy = hammer.ram_weight * stroke * hammer.efficiency
    resistance = np.geomspace(0.15, 3.0, 16) * energy / (wanted + 5e-3)
    *_, sets = strike(mesh, scaled(unit, resistance, resistance), hammer, np.full(16, stroke))
    found = np.interp(np.log(wanted), np.log(np.maximum(sets, 1e-5))[::-1], np.log(resistance)[::-1])
    return scaled(unit, np.exp(found), np.exp(found))


def static_resistance(structure: Structure, soil: SoilModel) -> np.ndarray:
    """The load a slow static test would show, by the offset limit 3.8 mm + D/120 + QL/EA (Davisson 1972, from memory).

    The load-transfer method by a few lines of its own, from the toe upward for many toe movements at once; one value a
    candidate. A steady creep, or failure of the pile, is not in it.
    """
    mesh = structure.mesh
    slope = mesh.time_step / mesh.impedance  # Δx / EA
    offset = 3.8e-3 + structure.width / 120.0
    movement = np.linspace(0.0, 1.2 * offset + 4e-3, 400)[:, None]
    gap = soil.toe_gap[None, :]
    force = _static(soil.limit[-1], soil.quake[-1], np.maximum(movement - gap, 0.0), soil.hyperbolic)
    movement = movement + force * slope[-1]
    for node in range(mesh.n_segments - 2, -1, -1):
        if soil.limit[node].any():
            force = force + _static(soil.limit[node], soil.quake[node], movement, soil.hyperbolic)
        movement = movement + force * slope[node]
    beyond = movement - offset - force * slope.sum()
    return np.array([np.interp(0.0, b, f) for b, f in zip(beyond.T, force.T, strict=True)])


def _static(limit: np.ndarray, quake: np.ndarray, movement: np.ndarray, hyperbolic: bool) -> np.ndarray:
    if hyperbolic:
        return limit * movement / (movement + quake)
    return limit * np.minimum(movement / quake, 1.0)


def record(
    structure: Structure, soil: SoilModel, stroke: np.ndarray, bending: float
) -> tuple[pd.DataFrame, np.ndarray]:
    """What the recorder would have stored of a run of blows, and their true sets."""
    rng, pile = structure.rng, structure.pile
    n = len(stroke)
    time, force, velocity, sets = strike(structure.mesh, soil.repeated(n), structure.hammer, stroke)
    grid = np.arange(SAMPLES) * SAMPLE_STEP - QUIET
    force, velocity = (np.array([np.interp(grid, time, t, left=0.0) for t in all_.T]) for all_ in (force, velocity))
    strain = 1e6 * force / (pile.modulus * pile.area)
    acceleration = np.gradient(velocity, SAMPLE_STEP, axis=1)
    columns = {"blow": np.repeat(np.arange(1, n + 1), SAMPLES), "time [s]": np.tile(np.round(grid, 7), n)}
    for i, sign in enumerate((1.0, -1.0)):
        trace = strain * structure.strain_scale[i] * (1.0 + sign * bending) + 5.0 * rng.standard_normal((n, 1))
        trace = trace + 1.0 * rng.standard_normal((n, SAMPLES))
        columns[f"strain_{i + 1} [µm/m]"] = trace.astype(np.float32).ravel()
    for i in range(2):
        shift = 0.8 * rng.standard_normal((n, 1)) * (grid > 0)
        trace = acceleration * structure.acceleration_scale[i] + 2.0 * rng.standard_normal((n, 1)) + shift
        trace = trace + 5.0 * rng.standard_normal((n, SAMPLES))
        columns[f"acceleration_{i + 1} [m/s^2]"] = trace.astype(np.float32).ravel()
    return pd.DataFrame(columns), sets


def write_test(structure: Structure, folder: Path) -> Path:
    """Lay out sheet, log and records of a structure's test pile; give the sheet."""
    folder.mkdir(parents=True, exist_ok=True)
    rng, kind = structure.rng, structure.hammer.kind
    strokes = structure.stroke * (1.0 + 0.02 * rng.standard_normal(INITIAL_BLOWS))
    drives = [("initial", structure.soil, strokes)]
    fade = scaled(structure.soil, [structure.shaft_change], [structure.toe_change])
    drives.append(("restrike", fade, 1.05 * structure.stroke * (1.0 + 0.02 * rng.standard_normal(RESTRIKE_BLOWS))))
    begins = structure.embedded
    for name, soil, stroke in drives:
        table, sets = record(structure, soil, stroke, 0.10 * rng.standard_normal())
        if kind == "open-end diesel":  # the clock tells the stroke, h = 1.23 T² − 0.1 m
            table["clock [s]"] = np.repeat(np.cumsum(np.sqrt((stroke + 0.1) / 1.23)), SAMPLES)
        table.to_parquet(folder / f"{name}.parquet", index=False)
        if name == "initial":
            begins = structure.embedded - sets.sum()
        _write_log(folder / f"{name}.csv", structure, begins, sets, stroke)
        begins = structure.embedded
    (folder / "sheet.toml").write_text(_sheet(structure), encoding="utf-8")
    return folder / "sheet.toml"


def _write_log(path: Path, structure: Structure, begins: float, sets: np.ndarray, stroke: np.ndarray) -> None:
    ends = begins + np.cumsum(sets)
    edges = np.arange(begins, max(ends[-1] - 0.4 * LOG_INTERVAL, begins + 1e-9), LOG_INTERVAL)
    edges = np.append(edges, ends[-1] + 1e-4)  # the last interval ends with the drive
    upto = np.searchsorted(ends, edges[1:], side="right")
    read = stroke.mean() * structure.stroke_reading
    lines = ["depth_from [m],depth_to [m],blows,stroke [m]"]
    for top, bottom, count in zip(edges[:-1], edges[1:], np.diff(np.concatenate([[0], upto])), strict=True):
        lines.append(f"{top:.4f},{bottom:.4f},{count},{read:.2f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _sheet(structure: Structure) -> str:
    pile, hammer, part = structure.sheet_pile, structure.sheet_hammer, structure.sheet_pile.parts[0]
    strength = (
        f'yield_strength = "{pile.yield_strength / 1e6} MPa"'
        if pile.material == "steel"
        else f'compressive_strength = "{pile.compressive_strength / 1e6} MPa"\n'
        f'effective_prestress = "{pile.effective_prestress / 1e6} MPa"'
    )
    cushion = ""
    if hammer.pile_cushion_stiffness:
        cushion = f'pile_cushion_stiffness = "{hammer.pile_cushion_stiffness} N/m"\n'
        cushion += f"pile_cushion_restitution = {hammer.pile_cushion_restitution}\n"
    low, high = structure.strokes
    return f"""# Invented and computed, not measured.
format = 1
[test]
project = "simulated structures"
structure = "{structure.name} in {structure.ground}"
pile = "{structure.name}"
[pile]
material = "{pile.material}"
area = "{part.area} m^2"
length_below_gauges = "{pile.length} m"
total_length = "{pile.total_length} m"
modulus = "{part.modulus} Pa"
density = "{part.density} kg/m^3"
{strength}
[hammer]
kind = "{hammer.kind}"
ram_mass = "{hammer.ram_mass} kg"
minimum_stroke = "{low} m"
maximum_stroke = "{high} m"
efficiency = {hammer.efficiency}
helmet_mass = "{hammer.helmet_mass} kg"
hammer_cushion_stiffness = "{hammer.hammer_cushion_stiffness} N/m"
hammer_cushion_restitution = {hammer.hammer_cushion_restitution}
{cushion}[gauges]
strain = ["strain_1", "strain_2"]
acceleration = ["acceleration_1", "acceleration_2"]
[requirement]
nominal_resistance = "{structure.required} N"
[soil]
shaft = "{structure.shaft_soil}"
toe = "{structure.toe_soil}"
[[drive]]
kind = "initial"
signals = "initial.parquet"
log = "initial.csv"
start = 2026-05-04T12:00:00
end = 2026-05-04T13:00:00
[[drive]]
kind = "restrike"
signals = "restrike.parquet"
log = "restrike.csv"
start = {np.datetime64("2026-05-04T13:00:00") + np.timedelta64(int(structure.wait), "s")}
[choices]
setup_credit = false
"""


def main(folder: str, count: str) -> None:
    """Write so many tests, each in a folder of its own."""
    for number in range(int(count)):
        structure = invent(number, step=COARSE_STEP)
        write_test(structure, Path(folder) / structure.name)


if __name__ == "__main__":
    main(*sys.argv[1:])
