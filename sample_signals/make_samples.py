"""Makes the sample test piles of an invented bridge, from the wave equation and a gauge that is as bad as real ones.

Nothing here was measured: bridge, piles, soil and hammers are invented. Run from the top of the repository:

    python sample_signals/make_samples.py

The records come from `dyntest`'s own simulator, so they show that the program works and never that it is right; that is
what the checks against outside sources are for.
"""

import csv
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from dyntest.hammer import Hammer
from dyntest.pile import Pile, PilePart
from dyntest.reading.build import named_section
from dyntest.units import STANDARD_GRAVITY, to_si
from dyntest.wave_equation.hammer_model import HammerHead, hammer_setting
from dyntest.wave_equation.simulator import simulate
from dyntest.wave_equation.soil import SoilModel, mesh_pile

HERE = Path(__file__).parent
FOOT = to_si("1 ft", "length")
KIP = to_si("1 kip", "force")
SEGMENTS = 56
SAMPLE_STEP = 1e-4
SAMPLES = 760
QUIET = 0.006
STRAIN_QUANTUM, ACCELERATION_QUANTUM = 1.0, 4.0  # µm/m, m/s², as a 16-bit recorder would store them


@dataclass(frozen=True)
class Ground:
    """Invented ground: what the pile meets at a depth below ground, while it is driven."""

    shaft: Callable[[np.ndarray], np.ndarray]  # N per metre of pile at a depth
    toe: Callable[[np.ndarray], np.ndarray]  # N at a penetration
    shaft_damping: float  # s/m
    toe_damping: float
    shaft_quake: float = 0.0025
    toe_quake: float = 0.0035


@dataclass(frozen=True)
class Gauges:
    """How far the invented gauges are from perfect."""

    seed: int
    bending: float = 0.10  # share of the mean strain by which the two gauges differ, each way
    strain_noise: float = 1.2  # µm/m
    acceleration_noise: float = 6.0  # m/s²
    zero_shift: float = 1.0  # m/s², by which an accelerometer's zero moves at impact


@dataclass(frozen=True)
class Blows:
    """A run of blows to be simulated."""

    penetration: np.ndarray
    stroke: np.ndarray
    shaft_factor: np.ndarray
    toe_factor: np.ndarray
    section_left: np.ndarray  # share of the section that is left where the pile is damaged
    damage: tuple[float, float] | None = None  # between these depths below the gauges


@dataclass(frozen=True)
class Records:
    """Simulated truth at the gauges."""

    strain: np.ndarray
    velocity: np.ndarray
    set_per_blow: np.ndarray
    extra: dict = field(default_factory=dict)


def simulate_blows(pile: Pile, hammer: Hammer, ground: Ground, blows: Blows) -> Records:
    """Give strain and velocity at the gauges, and the set, of every blow in one run."""
    mesh = mesh_pile(pile, SEGMENTS, from_head=True)
    n = len(blows.stroke)
    impedance = np.repeat(mesh.impedance[:, None], n, axis=1)
    if blows.damage:
        below = 0.5 * (mesh.depth[1:] + mesh.depth[:-1]) - mesh.depth[mesh.gauge_node]
        hurt = (below >= blows.damage[0]) & (below <= blows.damage[1])
        impedance[hurt] *= blows.section_left
    mesh = replace(mesh, impedance=impedance)
    nodes = mesh.depth[1:, None]
    depth = blows.penetration - (mesh.depth[-1] - nodes)
    per_node = np.gradient(mesh.depth)[1:, None]
    limit = np.where(depth > 0, ground.shaft(np.maximum(depth, 0)), 0.0) * per_node * blows.shaft_factor
    damping = limit * ground.shaft_damping
    quake = np.full(limit.shape, ground.shaft_quake)
    limit[-1] = ground.toe(blows.penetration) * blows.toe_factor
    damping[-1] = limit[-1] * ground.toe_damping
    quake[-1] = ground.toe_quake
    soil = SoilModel(limit, quake, damping)
    head = HammerHead(hammer_setting(hammer, blows.stroke), mesh.impedance[0, 0], mesh.time_step)
    length = SAMPLES * SAMPLE_STEP - QUIET
    steps = int((length + 0.004) / mesh.time_step)
    motion = simulate(mesh, soil, head, steps)
    force, velocity = motion.up + motion.down, (motion.down - motion.up) / impedance[mesh.gauge_node]
    grid = np.arange(SAMPLES) * SAMPLE_STEP - QUIET
    at = [
        np.array([np.interp(grid, motion.time, trace, left=0.0) for trace in traces.T]) for traces in (force, velocity)
    ]
    tail = motion.toe_displacement[-int(0.01 / mesh.time_step) :].mean(axis=0)
    return Records(at[0] / (pile.modulus * pile.area), at[1], tail)


def drive(pile, hammer, ground, start, end, stroke, rng, damage=None, section_left=None):
    """Give the blows of an initial drive from one penetration to another, each set agreeing with its record."""
    n = 900
    penetration = np.linspace(start, end, n)
    ones = np.ones(n)
    jitter = 1.0 + 0.03 * rng.standard_normal(n)
    for _ in range(12):
        resistance = ground.toe(penetration)
        blows = Blows(penetration, stroke(penetration, resistance) * jitter, ones, ones, ones)
        every = slice(None, None, 9)  # sets are smooth along the drive: a few of them, and straight lines between
        few = replace(
            blows,
            **{
                name: getattr(blows, name)[every]
                for name in ("penetration", "shaft_factor", "toe_factor", "section_left")
            },
            stroke=stroke(penetration, resistance)[every],
        )
        sets = np.interp(np.arange(n), np.arange(n)[every], simulate_blows(pile, hammer, ground, few).set_per_blow)
        sets = np.maximum(sets * jitter**1.5, 2e-4)
        penetration = np.minimum(start + np.concatenate([[0.0], np.cumsum(sets)[:-1]]), end + 0.5)
    count = int(np.searchsorted(penetration, end))
    keep = slice(0, count)
    left = np.ones(count) if section_left is None else section_left(penetration[keep])
    blows = Blows(penetration[keep], blows.stroke[keep], np.ones(count), np.ones(count), left, damage)
    records = simulate_blows(pile, hammer, ground, blows)
    true_penetration = start + np.cumsum(records.set_per_blow)
    return blows, records, true_penetration


def restrike(pile, hammer, ground, penetration, stroke, shaft_factor, toe_factor, rng):
    """Give the blows of a restrike; setup fades blow by blow."""
    n = len(shaft_factor)
    strokes = stroke * (1.0 + 0.025 * rng.standard_normal(n))
    blows = Blows(np.full(n, penetration), strokes, shaft_factor, toe_factor, np.ones(n))
    return blows, simulate_blows(pile, hammer, ground, blows)


def gauge_table(records: Records, stroke: np.ndarray, gauges: Gauges, clock: np.ndarray) -> pd.DataFrame:
    """Give what the recorder would have stored: two strains and two accelerations, none of them perfect."""
    rng = np.random.default_rng(gauges.seed)
    n, samples = records.strain.shape
    acceleration = np.gradient(records.velocity, SAMPLE_STEP, axis=1)
    smooth = np.pad(records.strain, ((0, 0), (1, 1)), mode="edge")
    strain = 1e6 * (smooth[:, :-2] + 2 * smooth[:, 1:-1] + smooth[:, 2:]) / 4
    bending = gauges.bending * (1.0 + 0.3 * rng.standard_normal((n, 1)))
    columns = {"blow": np.repeat(np.arange(1, n + 1), samples).astype(np.int32)}
    grid = np.round(np.arange(samples) * SAMPLE_STEP - QUIET, 7)
    columns["time [s]"] = np.tile(grid, n)
    hit = grid > 0
    for name, sign in (("strain_1 [µm/m]", 1), ("strain_2 [µm/m]", -1)):
        offset = 8.0 * rng.standard_normal((n, 1))
        trace = strain * (1 + sign * bending) + offset + gauges.strain_noise * rng.standard_normal((n, samples))
        columns[name] = _stored(trace, STRAIN_QUANTUM)
    for name in ("acceleration_1 [m/s^2]", "acceleration_2 [m/s^2]"):
        offset = 2.0 * rng.standard_normal((n, 1))
        shift = gauges.zero_shift * rng.standard_normal((n, 1)) * hit
        trace = acceleration * (1 + 0.01 * rng.standard_normal((n, 1))) + offset + shift
        columns[name] = _stored(
            trace + gauges.acceleration_noise * rng.standard_normal((n, samples)), ACCELERATION_QUANTUM
        )
    columns["clock [s]"] = np.repeat(np.round(clock, 2), samples)
    return pd.DataFrame(columns)


def _stored(trace: np.ndarray, quantum: float) -> np.ndarray:
    return (np.round(trace / quantum) * quantum).astype(np.float32).ravel()


def clock_of(stroke: np.ndarray, hammer: Hammer) -> np.ndarray:
    """Give the clock of every blow; an open-end diesel's period follows its stroke, h = 1.23 T² − 0.1 m."""
    period = np.sqrt((stroke + 0.1) / 1.23) if hammer.kind == "open-end diesel" else np.full(stroke.shape, 1.4)
    return np.concatenate([[0.0], np.cumsum(period[1:])])


def write_signals(path: Path, table: pd.DataFrame) -> None:
    """Write a table small: a recorder's steps make the bytes of neighbouring samples alike."""
    gauges = [name for name in table.columns if name.startswith(("strain", "acceleration"))]
    packing = {"compression": "zstd", "compression_level": 19, "use_dictionary": ["blow", "time [s]", "clock [s]"]}
    table.to_parquet(path, index=False, engine="pyarrow", use_byte_stream_split=gauges, **packing)


def write_log(path: Path, penetration: np.ndarray, stroke: np.ndarray, start: float, remarks: dict[int, str]) -> None:
    """Write the inspector's log in feet: a row a foot, and by the inch over the last foot."""
    ends = penetration / FOOT
    last_foot = int(ends[-1])
    inches = max(1, int((ends[-1] - last_foot) * 12))
    edges = np.concatenate([np.arange(round(start / FOOT), last_foot + 1), last_foot + np.arange(1, inches + 1) / 12.0])
    upto = np.searchsorted(ends, edges[1:], side="right")
    upto[-1] = len(ends)
    counts = np.diff(np.concatenate([[0], upto]))
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["depth_from [ft]", "depth_to [ft]", "blows", "stroke [ft]", "remark"])
        for top, bottom, end, count in zip(edges[:-1], edges[1:], upto, counts, strict=True):
            height = f"{stroke[end - count : end].mean() / FOOT:.1f}" if count else ""
            remark = remarks.get(round(top), "") if bottom - top > 0.5 else ""
            writer.writerow([_feet(top), _feet(bottom), count, height, remark])


def _feet(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")


def ramp(value, *points):
    """Give straight lines through (depth in feet, value) points, for a depth in metres."""
    depth, height = np.array(points).T
    return np.interp(np.asarray(value) / FOOT, depth, height)


def steel_pile(name: str, section: str, below_gauges: float, total: float) -> Pile:
    """Give an HP pile; lengths in feet."""
    area = named_section(section).area
    part = PilePart(below_gauges * FOOT, area, to_si("30000 ksi", "stress"), 7850.0)
    return Pile(name, "steel", (part,), total * FOOT, section, to_si("50 ksi", "stress"))


def concrete_pile(name: str, below_gauges: float, total: float) -> Pile:
    """Give a prestressed pile of 14 in square; lengths in feet."""
    part = PilePart(below_gauges * FOOT, to_si("196 in^2", "area"), to_si("5600 ksi", "stress"), 2400.0)
    return Pile(name, "concrete", (part,), total * FOOT)


DIESEL = Hammer(
    "open-end diesel",
    to_si("4.0 kip", "force") / STANDARD_GRAVITY,
    efficiency=0.62,
    helmet_mass=to_si("1.8 kip", "force") / STANDARD_GRAVITY,
    hammer_cushion_stiffness=to_si("9000 kip/in", "stiffness"),
    hammer_cushion_restitution=0.8,
)
HYDRAULIC = Hammer(
    "hydraulic",
    to_si("9 kip", "force") / STANDARD_GRAVITY,
    efficiency=0.90,
    helmet_mass=to_si("3.0 kip", "force") / STANDARD_GRAVITY,
    hammer_cushion_stiffness=to_si("12000 kip/in", "stiffness"),
    hammer_cushion_restitution=0.8,
    pile_cushion_stiffness=to_si("1500 kip/in", "stiffness"),
    pile_cushion_restitution=0.5,
)


def make_clay() -> None:
    """Pier 2: clay that gains strength while the pile waits."""
    rng = np.random.default_rng(2001)
    folder = HERE / "pier_2_clay"
    pile = steel_pile("P2-4", "HP14x89", 66, 70)
    gained = 1.0
    ground = Ground(
        shaft=lambda z: gained * KIP / FOOT * ramp(z, (0, 0.5), (30, 1.2), (38, 3.6), (45, 7.4), (66, 9.6)),
        toe=lambda d: KIP * ramp(d, (0, 15), (22, 24), (40, 48), (60, 66), (66, 72)),
        shaft_damping=0.4,
        toe_damping=0.5,
    )

    def stroke(penetration, resistance):
        return FOOT * ramp(penetration, (20, 5.6), (30, 6.1), (45, 7.0), (60, 8.0))

    blows, records, end = drive(pile, DIESEL, ground, 30 * FOOT, 60 * FOOT, stroke, rng)
    _write_drive(folder, "initial", records, blows, DIESEL, Gauges(11))
    write_log(folder / "driving_log.csv", end, blows.stroke, 30 * FOOT, {45: "warm-up stop 5 min, helmet checked"})
    for number, (gain, height) in enumerate(((1.35, 8.8), (1.62, 9.4)), start=1):
        fade = 1.0 - 0.16 * (1.0 - np.exp(-np.arange(24) / 12.0))
        again, felt = restrike(pile, DIESEL, ground, end[-1], height * FOOT, gain * fade, np.full(24, 1.06), rng)
        _write_drive(folder, f"restrike_{number}", felt, again, DIESEL, Gauges(11 + number, bending=0.13))
        print(folder.name, f"restrike {number}: set {1e3 * felt.set_per_blow[[0, -1]]} mm")
    _report(folder, blows, records, end, ground)


def make_shale() -> None:
    """Pier 3: weathered shale that lets go while the pile waits."""
    rng = np.random.default_rng(2002)
    folder = HERE / "pier_3_shale"
    pile = steel_pile("P3-1", "HP12x74", 46, 50)
    ground = Ground(
        shaft=lambda z: KIP / FOOT * ramp(z, (0, 0.6), (30, 2.2), (36, 4.5), (46, 6.0)),
        toe=lambda d: KIP * ramp(d, (0, 15), (34, 70), (37, 170), (40.5, 360), (42, 430), (46, 560)),
        shaft_damping=0.2,
        toe_damping=0.25,
        toe_quake=0.002,
    )

    def stroke(penetration, resistance):
        return FOOT * ramp(penetration, (12, 5.8), (30, 6.6), (38, 8.2), (42, 9.0))

    blows, records, end = drive(pile, DIESEL, ground, 24 * FOOT, 41.6 * FOOT, stroke, rng)
    _write_drive(folder, "initial", records, blows, DIESEL, Gauges(31))
    write_log(
        folder / "driving_log.csv", end, blows.stroke, 24 * FOOT, {36: "top of weathered shale by boring (invented)"}
    )
    again, felt = restrike(pile, DIESEL, ground, end[-1], 8.8 * FOOT, np.full(20, 1.08), np.full(20, 0.66), rng)
    _write_drive(folder, "restrike", felt, again, DIESEL, Gauges(32, bending=0.08))
    print(folder.name, f"restrike: set {1e3 * felt.set_per_blow[[0, -1]]} mm")
    _report(folder, blows, records, end, ground)


def make_concrete(name: str, pile_name: str, seed: int, damage: bool) -> None:
    """Abutments: prestressed concrete through soft silt into sand; one of the two breaks low down."""
    rng = np.random.default_rng(seed)
    folder = HERE / name
    pile = concrete_pile(pile_name, 57, 60)
    ground = Ground(
        shaft=lambda z: KIP / FOOT * ramp(z, (0, 0.5), (28, 1.2), (32, 3.0), (57, 5.5)),
        toe=lambda d: KIP * ramp(d, (0, 10), (28, 16), (33, 70), (42, 130), (52, 190), (57, 215)),
        shaft_damping=0.25,
        toe_damping=0.3,
        toe_quake=0.0045,
    )

    def stroke(penetration, resistance):
        return FOOT * ramp(penetration, (12, 1.7), (30, 1.8), (36, 2.4), (52, 2.6))

    where = (40 * FOOT, 48 * FOOT) if damage else None

    def left(penetration):
        return ramp(penetration, (0, 1.0), (44, 1.0), (46, 0.75), (51, 0.42), (60, 0.4))

    blows, records, end = drive(
        pile, HYDRAULIC, ground, 22 * FOOT, 51 * FOOT, stroke, rng, where, left if damage else None
    )
    _write_drive(folder, "initial", records, blows, HYDRAULIC, Gauges(seed, bending=0.07, strain_noise=1.0))
    write_log(folder / "driving_log.csv", end, blows.stroke, 22 * FOOT, {22: "new pile cushion"})
    _report(folder, blows, records, end, ground)


def _write_drive(folder: Path, name: str, records: Records, blows: Blows, hammer: Hammer, gauges: Gauges) -> None:
    folder.mkdir(exist_ok=True)
    write_signals(
        folder / f"{name}.parquet", gauge_table(records, blows.stroke, gauges, clock_of(blows.stroke, hammer))
    )


def _report(folder: Path, blows: Blows, records: Records, end: np.ndarray, ground: Ground) -> None:
    """Print the invented truth, so that whoever changes it sees what becomes of it."""
    depth = np.linspace(0, end[-1], 400)
    shaft = np.trapezoid(ground.shaft(depth), depth)
    size = sum(path.stat().st_size for path in folder.glob("*.parquet"))
    print(
        f"{folder.name}: {len(end)} blows to {end[-1] / FOOT:.1f} ft, last sets {1e3 * records.set_per_blow[-3:]} mm, "
        f"shaft {shaft / KIP:.0f} kip, toe {ground.toe(end[-1]) / KIP:.0f} kip, {size / 1e6:.2f} MB"
    )


def make_export(blows: int = 12) -> None:
    """Write the last blows of pile A1-2 and its log again as another recorder and another inspector would have."""
    folder, source = HERE / "recorder_export", HERE / "abutment_1_concrete"
    folder.mkdir(exist_ok=True)
    records = pd.read_parquet(source / "initial.parquet")
    records = records[records["blow"] > records["blow"].max() - blows]
    sample = records.groupby("blow").cumcount()
    table = {"Blow": records["blow"], "Time ms": (1e3 * SAMPLE_STEP * sample).round(4)}
    table |= {f"SG{n} ue": records[f"strain_{n} [µm/m]"].round(1) for n in (1, 2)}
    table |= {f"AC{n} g": (records[f"acceleration_{n} [m/s^2]"] / STANDARD_GRAVITY).round(2) for n in (1, 2)}
    pd.DataFrame(table).to_csv(folder / "drive.txt", sep="\t", index=False)
    log = pd.read_csv(source / "driving_log.csv")
    count = {"Depth": log["depth_to [ft]"], "Total": log["blows"].cumsum(), "Drop": log["stroke [ft]"]}
    lines = pd.DataFrame(count).to_csv(index=False)
    (folder / "inspector.csv").write_text(f"Invented inspector's log, pile A1-2, started at 22 ft\n{lines}")


if __name__ == "__main__":
    make_clay()
    make_shale()
    make_concrete("abutment_1_concrete", "A1-2", 2003, damage=False)
    make_concrete("abutment_4_damaged", "A4-3", 2004, damage=True)
    make_export()
