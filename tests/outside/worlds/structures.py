"""Whole structures of known truth from the lumped-mass scheme: a test pile, its restrike, and sixty bearing piles.

    python tests/outside/worlds/structures.py FOLDER [number of structures]

Everything is invented and drawn from fixed seeds. A structure's folder holds what an engineer gets (sheet.toml, records
of the last foot and of a restrike, log.csv, production.csv) and truth.json. `made(number)` makes one on demand and
keeps it in a folder of temporary files.

Eight kinds follow each other, see `KINDS`: steel H and concrete piles; soils after Smith, with a rate effect that is a
power of the velocity, with radiation, with a viscous layer, hyperbolic; drop, hydraulic and diesel hammers, these with
and without the force of their gas. Gauges, wave speed, cushions and strokes are not quite what the sheet says.
"""

import hashlib
import json
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent))
from lumped_mass import Blows, Driver, Gas, Ground, Rod, along_shaft, drive, masses

FOOT, INCH = 0.3048, 0.0254
SEED = 1960
BEARING_PILES = 60


@dataclass(frozen=True)
class Kind:
    material: str
    law: str
    hammer: str
    gas: bool = False
    hyperbolic: bool = False
    viscous_layer: bool = False
    scattered: bool = False
    sample: float = 50e-6


KINDS = (
    Kind("steel", "smith", "open-end diesel"),
    Kind("steel", "rate power", "open-end diesel", gas=True, sample=100e-6),
    Kind("steel", "radiation", "hydraulic"),
    Kind("concrete", "smith", "drop", scattered=True, sample=100e-6),
    Kind("concrete", "rate power", "hydraulic"),
    Kind("steel", "viscous", "open-end diesel", gas=True, viscous_layer=True, sample=100e-6),
    Kind("steel", "smith", "open-end diesel", gas=True, hyperbolic=True, scattered=True),
    Kind("concrete", "radiation", "drop", sample=100e-6),
)
H_AREAS = {"HP10x57": 16.7, "HP12x53": 15.5, "HP12x74": 21.8, "HP14x73": 21.4, "HP14x89": 26.1}  # in^2, AISC


@dataclass(frozen=True)
class Structure:
    """A structure as it is: pile, hammer, ground at the end of driving (`share` of it on the shaft)."""

    name: str
    kind: Kind
    rod: Rod
    driver: Driver
    efficiency_power: float  # efficiency = driver.efficiency * (stroke / usual)^power
    usual: float  # stroke at the end of driving, m
    embedded: float
    shape: str
    shaft_soil: str
    toe_soil: str
    share: float
    ground: dict
    end_of_drive: float  # N
    rise: float  # of the resistance over the last foot, share
    shaft_gain: float  # resistance of the shaft after the wait over that at the end of driving
    needed: float
    wave_speed_error: float  # the sheet's over the true, less 1
    gains: np.ndarray  # of the two strain and the two acceleration gauges
    bending: float
    stroke_reading: float
    days: int

    @property
    def restrike(self) -> float:
        return self.end_of_drive * (self.share * self.shaft_gain + 1.0 - self.share)

    @property
    def setup(self) -> float:
        return self.restrike / self.end_of_drive

    @property
    def target(self) -> float:
        return self.needed / self.setup

    def strike(self, shaft, toe, stroke, **options) -> Blows:
        """Blows on piles of given shaft and toe resistance [N] at given strokes [m]."""
        shaft, toe, stroke = np.broadcast_arrays(*(np.asarray(x, float) for x in (shaft, toe, stroke)))
        share = along_shaft(self.rod, self.embedded, SHAPES[self.shape])
        ground = Ground(share[:, None] * shaft, toe, **self.ground)
        efficiency = np.minimum(self.driver.efficiency * (stroke / self.usual) ** self.efficiency_power, 0.98)
        return drive(self.rod, self.driver, ground, stroke, efficiency=efficiency, **options)

    def strike_at(self, resistance, stroke, **options) -> Blows:
        """Blows on the test pile at the end of driving, scaled to given resistances [N]."""
        resistance = np.asarray(resistance, float)
        return self.strike(resistance * self.share, resistance * (1.0 - self.share), stroke, **options)


SHAPES = {
    "uniform": lambda x: np.ones_like(x),
    "triangular": lambda x: x,
    "layered": lambda x: np.where(x < 0.35, 0.25, np.where(x < 0.7, 0.7, 1.3)),
}


def invent(number: int) -> Structure:
    """Draw a structure; the same number gives the same one."""
    kind, rng = KINDS[number % len(KINDS)], np.random.default_rng([SEED, number])
    rod, driver, usual = (_steel if kind.material == "steel" else _concrete)(kind, rng)
    embedded = rod.below - rng.uniform(0.8, 3.0)
    clay = bool(rng.random() < 0.5)
    share = rng.uniform(0.55, 0.8) if clay else rng.uniform(0.35, 0.6)
    made = Structure(
        name=f"W{number:02d}",
        kind=kind,
        rod=rod,
        driver=driver,
        efficiency_power=rng.uniform(-0.1, 0.1),
        usual=usual,
        embedded=embedded,
        shape=str(rng.choice(list(SHAPES))),
        shaft_soil="clay" if clay else "sand",
        toe_soil="clay" if clay else "sand",
        share=share,
        ground=_ground(kind, rod, embedded, clay, rng),
        end_of_drive=0.0,
        rise=rng.uniform(0.03, 0.12),
        shaft_gain=rng.uniform(1.25, 1.7) if clay else rng.uniform(1.0, 1.25),
        needed=0.0,
        wave_speed_error=rng.normal(0.0, 0.012 if kind.material == "concrete" else 0.003),
        gains=1.0 + 0.015 * rng.standard_normal(4),
        bending=rng.normal(0.0, 0.10),
        stroke_reading=1.0 + (0.003 if kind.hammer == "open-end diesel" else 0.01) * rng.standard_normal(),
        days=int(rng.integers(3, 15)),
    )
    wanted = rng.uniform(3.5e-3, 8e-3)
    energy = driver.ram * 9.81 * usual * 0.6
    tried = np.geomspace(0.35, 2.5, 14) * energy / (wanted + 6e-3)
    sets = made.strike_at(tried, np.full(14, usual)).set_per_blow
    found = np.interp(-wanted, -sets, tried)
    made = replace(made, end_of_drive=float(found))
    return replace(made, needed=made.restrike * rng.uniform(0.82, 0.97))


def _steel(kind: Kind, rng) -> tuple[Rod, Driver, float]:
    area = H_AREAS[str(rng.choice(list(H_AREAS)))] * INCH**2
    rod = Rod(rng.uniform(0.9, 1.2), rng.uniform(16.0, 25.0), area, 206.84e9, 7850.0, 0.19)
    ram = round(rod.impedance * 1e-3 * rng.uniform(5.4, 7.2) / 2.0, -2)
    helmet, cushion = rng.uniform(0.22, 0.36) * ram, rod.impedance * rng.uniform(2400.0, 3800.0)
    driver = Driver(ram, helmet, cushion, rng.uniform(0.75, 0.85))
    if kind.hammer != "open-end diesel":
        return rod, replace(driver, efficiency=rng.uniform(0.8, 0.93)), rng.uniform(1.2, 1.5)
    if not kind.gas:
        return rod, replace(driver, efficiency=rng.uniform(0.62, 0.78)), 8.0 * FOOT
    gas = Gas(
        area=ram * rng.uniform(3.6e-5, 4.6e-5),
        compression_stroke=rng.uniform(0.34, 0.42),
        ratio=rng.uniform(12.0, 15.0),
        combustion_pressure=rng.uniform(65e5, 90e5),
        delay=rng.uniform(0.0, 1e-3),
    )
    return rod, replace(driver, efficiency=rng.uniform(0.86, 0.95), gas=gas), 8.0 * FOOT


def _concrete(kind: Kind, rng) -> tuple[Rod, Driver, float]:
    side, modulus = float(rng.choice([0.30, 0.35, 0.40])), rng.uniform(35e9, 42e9)
    rod = Rod(rng.uniform(0.9, 1.2), rng.uniform(13.0, 20.0), side**2, modulus, 2420.0, 2.0 * side / np.pi)
    ram = round(rod.impedance * 1e-3 * rng.uniform(3.6, 5.0), -2)
    driver = Driver(
        ram,
        rng.uniform(0.18, 0.28) * ram,
        rod.impedance * rng.uniform(1200.0, 2000.0),
        rng.uniform(0.75, 0.85),
        efficiency=rng.uniform(0.75, 0.95),
        pile_cushion=rod.impedance * rng.uniform(350.0, 600.0),
        pile_cushion_restitution=rng.uniform(0.45, 0.6),
    )
    return rod, driver, rng.uniform(0.9, 1.3)


def _ground(kind: Kind, rod: Rod, embedded: float, clay: bool, rng) -> dict:
    count = masses(rod)[0]
    smooth = np.interp(np.arange(count), np.linspace(0, count - 1, 7), 0.3 * rng.standard_normal(7))
    quake = rng.uniform(1.8e-3, 3.2e-3) * (np.exp(smooth) if kind.scattered else np.ones(count))
    toe_quake = rng.uniform(2.5e-3, 5.5e-3)
    if kind.hyperbolic:
        quake, toe_quake = quake / 2.0, toe_quake / 2.0
    shaft, toe = (rng.uniform(0.45, 0.75) if clay else rng.uniform(0.15, 0.35)), rng.uniform(0.35, 0.55)
    if kind.law in ("rate power", "radiation"):
        shaft, toe = (rng.uniform(0.4, 0.9) if clay else rng.uniform(0.1, 0.35)), rng.uniform(0.15, 0.4)
    layer = None
    if kind.viscous_layer:
        at = (np.arange(count) + 0.5) / count
        layer = np.where((at > 0.35) & (at < 0.6), rng.uniform(0.5, 1.0), 0.0)
    return {
        "shaft_quake": quake,
        "toe_quake": toe_quake,
        "shaft_damping": shaft,
        "toe_damping": toe,
        "law": kind.law,
        "hyperbolic": kind.hyperbolic,
        "viscous_rows": layer,
    }


def _strokes(structure: Structure, n: int, rng, usual: float | None = None) -> np.ndarray:
    return (usual or structure.usual) * (1.0 + 0.012 * rng.standard_normal(n))


def _before(structure: Structure) -> float:
    return 40e-3 if structure.driver.gas else 6e-3


def _last_foot(structure: Structure, rng) -> tuple[Blows, np.ndarray, np.ndarray, np.ndarray]:
    """Blows that end within the last foot, their strokes, resistances, and the depths at which they end."""
    end = structure.end_of_drive
    tried = end * np.linspace(1.0 - 1.2 * structure.rise, 1.0, 5)
    sets = structure.strike_at(tried, np.full(5, structure.usual)).set_per_blow
    back, resistances = 0.0, []
    while back < FOOT:
        now = end * (1.0 - structure.rise * back / FOOT)
        resistances.append(now)
        back += float(np.interp(now, tried, sets))
    resistance = np.array(resistances[::-1])
    stroke = _strokes(structure, len(resistance), rng)
    blows = structure.strike_at(resistance, stroke, sample=structure.kind.sample, before=_before(structure))
    depth = structure.embedded - np.append(np.cumsum(blows.set_per_blow[:0:-1])[::-1], 0.0)
    return blows, stroke, resistance, depth


def _records(structure: Structure, blows: Blows, stroke: np.ndarray, rng) -> pd.DataFrame:
    n, samples = blows.force.shape
    strain = 1e6 * blows.force / (structure.rod.modulus * structure.rod.area)
    acceleration = np.gradient(blows.velocity, blows.time, axis=1)
    columns = {"blow": np.repeat(np.arange(1, n + 1), samples), "time [s]": np.tile(np.round(blows.time, 7), n)}
    for i, side in enumerate((1.0, -1.0)):
        trace = strain * structure.gains[i] * (1.0 + side * structure.bending) + 6.0 * rng.standard_normal((n, 1))
        columns[f"strain_{i + 1} [µm/m]"] = trace + 4.0 * rng.standard_normal((n, samples))
    for i in range(2):
        trace = acceleration * structure.gains[2 + i] + 2.0 * rng.standard_normal((n, 1))
        columns[f"acceleration_{i + 1} [m/s^2]"] = trace + 6.0 * rng.standard_normal((n, samples))
    if structure.kind.hammer == "open-end diesel":  # free flight up and down, h = 1.23 T^2 - 0.1 m
        clock = np.cumsum(np.sqrt((stroke + 0.1) / 1.23))
        columns["clock [s]"] = np.repeat(clock - clock[0], samples)
    table = pd.DataFrame({name: np.asarray(column).ravel() for name, column in columns.items()})
    gauges = [name for name in table if name.startswith(("strain", "acceleration"))]
    return table.astype(dict.fromkeys(gauges, np.float32))


def _bearing_piles(structure: Structure, rng) -> tuple[pd.DataFrame, list[dict]]:
    """Logs of the last two feet, by the inch, and the truth of every pile."""
    n = BEARING_PILES
    common = 0.14 * rng.standard_normal(n)
    level = structure.target / structure.end_of_drive * 1.04
    shaft = structure.end_of_drive * structure.share * level * np.exp(common + 0.08 * rng.standard_normal(n))
    toe = structure.end_of_drive * (1 - structure.share) * level * np.exp(common + 0.08 * rng.standard_normal(n))
    gain = 1.0 + (structure.shaft_gain - 1.0) * np.exp(0.12 * rng.standard_normal(n))
    later = shaft * gain + toe
    usual = structure.usual * rng.uniform(0.83, 1.2, n)
    rise = rng.uniform(0.06, 0.25, n)
    points = np.array([0.0, 0.5, 1.0])  # of the last two feet
    level = 1.0 - rise * (1.0 - points[:, None])
    blows = structure.strike((shaft * level).ravel(), (toe * level).ravel(), np.tile(usual, 3))
    more = structure.strike(shaft, toe, 1.1 * usual)
    sets = blows.set_per_blow.reshape(3, n)
    power = np.log(more.set_per_blow / sets[-1]) / np.log(1.1)
    tables, truth = [], []
    top = structure.embedded / FOOT - 2.0
    edges = top + np.arange(25) / 12.0  # ft
    for i in range(n):
        curve = np.polyfit(points, sets[:, i], 2)
        at, ends = rng.uniform(0.0, 1.0) * sets[0, i], []
        strokes = []
        while at < 2 * FOOT:
            stroke = float(_strokes(structure, 1, rng, usual[i])[0])
            at += float(np.polyval(curve, at / (2 * FOOT))) * (stroke / usual[i]) ** power[i]
            ends.append(at)
            strokes.append(stroke * structure.stroke_reading)
        place = np.minimum((np.array(ends) / INCH).astype(int), 24)
        counts = np.bincount(place, minlength=25)[:24]
        read = np.array([np.mean(np.array(strokes)[place == k]) if (place == k).any() else np.nan for k in range(24)])
        read = pd.Series(read).ffill().bfill().to_numpy()
        tables.append(
            pd.DataFrame(
                {
                    "pile": f"B{i + 1}",
                    "depth_from [ft]": edges[:-1],
                    "depth_to [ft]": edges[1:],
                    "blows": counts,
                    "stroke [ft]": np.round(read / FOOT, 1 if structure.usual > 1.8 else 2),
                }
            )
        )
        truth.append(
            {
                "pile": f"B{i + 1}",
                "end": float(shaft[i] + toe[i]),
                "later": float(later[i]),
                "needed": structure.needed,
                "stroke": float(usual[i]),
            }
        )
    return pd.concat(tables, ignore_index=True), truth


def write(structure: Structure, folder: Path) -> Path:
    """Lay out a structure in a folder; give the sheet."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([SEED, int(structure.name[1:]), 1])
    blows, stroke, resistance, depth = _last_foot(structure, rng)
    _records(structure, blows, stroke, rng).to_parquet(folder / "initial.parquet", index=False)
    edges = structure.embedded - FOOT + INCH * np.arange(13)
    places = np.clip(np.searchsorted(edges, depth - 1e-9, side="right") - 1, 0, 11)
    log = pd.DataFrame({"depth_from [ft]": edges[:-1] / FOOT, "depth_to [ft]": edges[1:] / FOOT})
    log["blows"] = np.bincount(places, minlength=12)
    read = [np.mean(stroke[places == k]) * structure.stroke_reading / FOOT for k in range(12)]
    log["stroke [ft]"] = np.round(read, 1 if structure.usual > 1.8 else 2)
    log.to_csv(folder / "log.csv", index=False)
    again = _strokes(structure, 8, rng, 1.03 * structure.usual)
    fading = (structure.shaft_gain - 1.0) * 0.97 ** np.arange(8) + 1.0  # the shaft loosens again as it is struck
    end = structure.end_of_drive
    options = {"sample": structure.kind.sample, "before": _before(structure)}
    restruck = structure.strike(end * structure.share * fading, end * (1 - structure.share), again, **options)
    _records(structure, restruck, again, rng).to_parquet(folder / "restrike.parquet", index=False)
    production, piles = _bearing_piles(structure, rng)
    production.to_csv(folder / "production.csv", index=False)
    (folder / "sheet.toml").write_text(_sheet(structure), encoding="utf-8")
    (folder / "truth.json").write_text(json.dumps(_truth(structure, blows, stroke, resistance, restruck, piles)))
    return folder / "sheet.toml"


def _truth(structure: Structure, blows: Blows, stroke, resistance, restruck: Blows, piles: list[dict]) -> dict:
    strokes = structure.usual * np.array([6.5, 8.0, 9.5]) / 8.0
    sets = structure.strike_at(np.full(3, structure.target), strokes).set_per_blow
    last = {
        "resistance": resistance,
        "stroke": stroke,
        "set": blows.set_per_blow,
        "energy": blows.energy,
        "peak_force": blows.peak_force,
        "compression": blows.compression,
        "tension": blows.tension,
    }
    again = {
        "set": restruck.set_per_blow,
        "energy": restruck.energy,
        "compression": restruck.compression,
        "tension": restruck.tension,
    }
    return {
        "r_eod": structure.end_of_drive,
        "shaft": structure.end_of_drive * structure.share,
        "restrike": structure.restrike,
        "setup": structure.setup,
        "needed": structure.needed,
        "target": structure.target,
        "share": structure.share,
        "law": structure.kind.law,
        "gas": structure.kind.gas,
        "material": structure.kind.material,
        # by the stroke as this inspector reads it, as in every log
        "set_at_target": {
            f"{s * structure.stroke_reading / FOOT:.2f}": float(x) for s, x in zip(strokes, sets, strict=True)
        },
        "initial": {name: list(map(float, values)) for name, values in last.items()},
        "again": {name: list(map(float, values)) for name, values in again.items()},
        "piles": piles,
    }


def _sheet(structure: Structure) -> str:
    rod, driver, kind = structure.rod, structure.driver, structure.kind
    rng = np.random.default_rng([SEED, int(structure.name[1:]), 2])
    modulus = rod.modulus * (1.0 + structure.wave_speed_error) ** 2
    strength = 'yield_strength = "50 ksi"'
    if kind.material == "concrete":
        strength = 'compressive_strength = "45 MPa"\neffective_prestress = "7 MPa"'
    told = f'helmet_mass = "{driver.helmet:.0f} kg"\n'
    told += f'hammer_cushion_stiffness = "{driver.cushion * np.exp(0.12 * rng.standard_normal()) / 1e6:.0f} MN/m"\n'
    told += "hammer_cushion_restitution = 0.8"
    if np.isfinite(driver.pile_cushion):
        stiffness = driver.pile_cushion * np.exp(0.25 * rng.standard_normal())
        told += f'\npile_cushion_stiffness = "{stiffness / 1e6:.0f} MN/m"\npile_cushion_restitution = 0.5'
    low, high = (round(structure.usual / FOOT * x, 1) for x in (0.75, 1.25))
    begin = structure.embedded - FOOT
    gone = 5 + structure.days
    return f"""# Invented and computed, not measured.
format = 1
[test]
project = "Invented structure"
structure = "{structure.name}"
pile = "T{structure.name[1:]}"
display_units = "US"
[pile]
material = "{kind.material}"
area = "{rod.area * 1e4:.4f} cm^2"
length_below_gauges = "{rod.below:.2f} m"
total_length = "{rod.below + rod.above:.2f} m"
modulus = "{modulus / 1e9:.4f} GPa"
density = "{rod.density:.0f} kg/m^3"
{strength}
[hammer]
kind = "{kind.hammer}"
ram_mass = "{driver.ram:.0f} kg"
rated_energy = "{driver.ram * 9.80665 * structure.usual * 1.25 / 1e3:.1f} kJ"
minimum_stroke = "{low} ft"
maximum_stroke = "{high} ft"
{told}
[gauges]
strain = ["strain_1", "strain_2"]
acceleration = ["acceleration_1", "acceleration_2"]
[requirement]
nominal_resistance = "{structure.needed / 1e3:.1f} kN"
minimum_penetration = "{structure.embedded - 3.0:.2f} m"
[soil]
shaft = "{structure.shaft_soil}"
toe = "{structure.toe_soil}"
[[drive]]
kind = "initial"
signals = "initial.parquet"
log = "log.csv"
start = 2026-05-04T13:05:00
end = 2026-05-04T14:10:00
penetration_at_start = "{begin:.4f} m"
[[drive]]
kind = "restrike"
signals = "restrike.parquet"
start = 2026-05-{gone - 1:02d}T09:00:00
end = 2026-05-{gone - 1:02d}T09:02:00
penetration_at_start = "{structure.embedded:.4f} m"
[choices]
setup_credit = true
"""


def _fingerprint() -> str:
    here = Path(__file__).parent
    whole = b"".join((here / name).read_bytes() for name in ("lumped_mass.py", "structures.py"))
    return hashlib.sha256(whole).hexdigest()[:12]


def made(number: int, folder: Path | None = None) -> Path:
    """The folder of a structure, made now or before by this same code."""
    root = folder or Path(tempfile.gettempdir()) / f"dyntest_worlds_{_fingerprint()}"
    place = root / f"W{number:02d}"
    if not (place / "truth.json").exists():  # written last
        write(invent(number), place)
    return place


if __name__ == "__main__":
    for index in range(int(sys.argv[2]) if len(sys.argv) > 2 else len(KINDS)):
        print(made(index, Path(sys.argv[1])))
