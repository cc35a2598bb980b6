"""Reading a test sheet: from a TOML file to one frozen `TestSheet` in SI."""

import re
import sys
import tomllib
from pathlib import Path

from pydantic import ValidationError

from dyntest.errors import InputError
from dyntest.hammer import Hammer
from dyntest.pile import Pile
from dyntest.reading.build import choices_from, drives_from, gauges_from, pile_from
from dyntest.reading.files import check_file, read_text
from dyntest.reading.mapping import log_layout_from, records_from
from dyntest.reading.parts import Layer, Requirement, SoilProfile, TestSheet
from dyntest.reading.schema import HammerKeys, RequirementKeys, SheetModel, SoilKeys
from dyntest.reading.sheet_errors import explain
from dyntest.reading.values import MATERIALS, STROKE
from dyntest.reading.wording import as_written, known_as, printable
from dyntest.units import STANDARD_GRAVITY

SHEET_FORMAT = 1
"""The format of the sheet that this program reads."""

MAX_SHEET_BYTES = 1_000_000
"""Largest test sheet [byte]; a long one has a few thousand. Our own bound, no source."""

_HEAD = 512
"""Bytes in which text is told from other files [byte]."""

BINARY_MARKS = (b"PAR1", b"\x89HDF", b"PK\x03\x04", b"TDSm", b"%PDF", b"\xd0\xcf\x11\xe0", b"MATLAB 5.0")
"""First bytes of Parquet, HDF5, zipped and older workbooks, TDMS, PDF and MATLAB files."""

RECORD_ENDINGS = (
    ".csv",
    ".csv.gz",
    ".parquet",
    ".xlsx",
    ".xls",
    ".mat",
    ".h5",
    ".hdf5",
    ".tdms",
    ".uff",
    ".unv",
    ".pdf",
)
"""Endings of files that hold records, logs or reports, not a sheet."""

MOST_DOTS = 100
"""Most points in a line of a sheet outside of texts and comments [1]; a key has two at most. Our own, no source."""

_TEXT_OR_REMARK = re.compile(r'"[^"]*"|\'[^\']*\'|#.*')

MOST_OF_STRENGTH = 5.0
"""Most that is required of a pile, in multiples of its area times the highest strength of its material [1]. A pipe that
is filled with concrete and gains by setup stays below 2. Our own bound, no source."""

REQUIREMENT_AGREEMENT = 0.01
"""Largest difference of a required resistance stated in two ways [1], to allow for rounding. Our own, no source."""


def read_sheet(path: str | Path, *, recorded: bool = True) -> TestSheet:
    """Read a test sheet.

    Parameters
    ----------
    path : str or Path
        The TOML file.
    recorded : bool
        Whether everything is recorded. If not, signals and logs may be missing, and a drive has only the files present.

    Returns
    -------
    TestSheet
        Everything in it, in SI; all its files exist and are below its folder.

    Raises
    ------
    InputError
        With file, place and cure, for the first thing in the sheet that cannot be used.
    """
    path = Path(path)
    source = known_as(path)
    text = read_sheet_text(path)
    model = _validated(parsed_toml(text, source), source)
    folder = path.parent.resolve()
    hammer = _hammer(model.hammer, "[hammer]", source)
    own_hammers = [
        _hammer(drive.hammer, f"[[drive]] {number} hammer", source) for number, drive in enumerate(model.drive, start=1)
    ]
    pile = pile_from(model.pile, model.test.pile, source)
    requirement = _requirement(model.requirement, model.choices.verification, source)
    _check_carries(pile, requirement, source)
    drives = drives_from(model.drive, [own or hammer for own in own_hammers], folder, source, recorded=recorded)
    gauges = gauges_from(model.gauges, source)
    return TestSheet(
        path=folder / path.name,
        project=model.test.project,
        structure=model.test.structure,
        pile_name=model.test.pile,
        engineer=model.test.engineer,
        display_units=model.test.display_units,
        pile=pile,
        hammer=hammer,
        gauges=gauges,
        requirement=requirement,
        soil=_soil(model.soil, source),
        drives=drives,
        choices=choices_from(model.choices, gauges, drives, source),
        text=text,
        tested_by=model.test.tested_by,
        checked_by=model.test.checked_by,
        recorder=model.test.recorder,
        location=model.test.location,
        records=None if model.records is None else records_from(model.records, gauges, source),
        log_layout=None if model.log is None else log_layout_from(model.log, source),
    )


def read_sheet_text(path: Path, usual: str = "sheet.toml") -> str:
    """Give the text of a sheet; for a folder or a file of records say which file is wanted instead."""
    source = known_as(path)
    try:
        folder, file = path.is_dir(), path.is_file()
    except (OSError, ValueError):  # a name that cannot be one; said when it is read
        folder = file = False
    if folder:
        inside = [path / usual] if (path / usual).is_file() else sorted(path.glob("*.toml"))
        cure = f"name {printable(str(inside[0]), 120)} in it" if len(inside) == 1 else "name the file in it"
        raise InputError(source, "", "is a folder", cure)
    if file:
        check_file(path, sys.maxsize)
        with path.open("rb") as stream:
            head = stream.read(_HEAD)
        large = path.stat().st_size > MAX_SHEET_BYTES
        if large or path.name.lower().endswith(RECORD_ENDINGS) or _is_binary(head):
            size = f": it is larger than {MAX_SHEET_BYTES / 1e6:g} megabyte" if large else ""
            one = "a test sheet" if usual == "sheet.toml" else "the file of a structure"
            raise InputError(source, "", f"is not {one}{size}", f"name the {usual}, which names the other files")
    return read_text(path, MAX_SHEET_BYTES)


def _is_binary(head: bytes) -> bool:
    """Whether a file begins as no text does; text in UTF-16, which has its zeros in every second byte, is text."""
    in_turn = (head[::2], head[1::2])
    return head.startswith(BINARY_MARKS) or all(b"\x00" in half for half in in_turn)


def parsed_toml(text: str, source: str) -> dict:
    """Give the TOML as plain values, after its format number is checked."""
    _check_keys(text, source)
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        raise InputError(source, "", "has brackets nested too deeply", "write plain tables and lists") from None
    except ValueError as trouble:  # TOMLDecodeError is one; so is an integer of too many digits
        problem, _, where = str(trouble).rpartition(" (at ")
        line = where.partition(",")[0].rstrip(")") if problem else ""
        problem = printable(problem or str(trouble), 120)
        cure = "correct the line; write text and values with units in quotes"
        raise InputError(source, line, f"is not valid TOML ({problem})", cure) from None
    if "format" not in raw:
        raise InputError(source, "format", "is missing", f"write format = {SHEET_FORMAT} in the first line")
    if raw["format"] != SHEET_FORMAT or type(raw["format"]) is not int:  # neither true nor 1.0 is a format
        problem = f"{as_written(raw['format'])} is not a format that this version reads"
        raise InputError(source, "format", problem, f"write format = {SHEET_FORMAT}, and the sheet accordingly")
    return raw


def _check_keys(text: str, source: str) -> None:
    """Refuse a key of very many parts, which would take a TOML reader too long."""
    for number, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > MOST_DOTS and _TEXT_OR_REMARK.sub("", line).count(".") > MOST_DOTS:
            problem = f"has more than {MOST_DOTS} dots outside quotes"
            raise InputError(source, f"line {number}", problem, "write plain tables and keys")


def _validated(raw: dict, source: str) -> SheetModel:
    try:
        return SheetModel.model_validate(raw)
    except ValidationError as error:
        raise explain(error, source) from None


def _hammer(table: HammerKeys | None, place: str, source: str) -> Hammer | None:
    """Give the hammer; its mass from its weight if the sheet gives the weight."""
    if table is None:
        return None
    cure = 'write one of them, such as ram_weight = "6.6 kip"'
    if table.ram_mass is not None and table.ram_weight is not None:
        raise InputError(source, place, "has both ram_weight and ram_mass", cure)
    mass = table.ram_mass if table.ram_weight is None else table.ram_weight / STANDARD_GRAVITY
    if mass is None:
        raise InputError(source, place, "has neither ram_weight nor ram_mass", cure)
    if (
        table.minimum_stroke is not None
        and table.maximum_stroke is not None
        and table.minimum_stroke > table.maximum_stroke
    ):
        raise InputError(source, f"{place} minimum_stroke", "is above maximum_stroke", "write the lower bound here")
    if table.rated_energy is not None and table.rated_energy / (mass * STANDARD_GRAVITY) not in STROKE:
        stroke = table.rated_energy / (mass * STANDARD_GRAVITY)
        problem = f"a ram of {mass:,.4g} kg would fall {stroke:.3g} m for it, which is outside {STROKE}"
        raise InputError(source, f"{place} rated_energy", problem, "check the energy, the ram and their units")
    values = table.model_dump(exclude={"ram_weight", "ram_mass"})
    return Hammer(ram_mass=mass, **values)


def _check_carries(pile: Pile, requirement: Requirement, source: str) -> None:
    """Refuse a resistance far beyond what the strongest pile of this area and material could be driven to."""
    required = requirement.required_resistance
    strongest = max(one.high for one in MATERIALS[pile.material].strength.values())
    area = max(part.area for part in pile.parts)
    if required is not None and required > MOST_OF_STRENGTH * strongest * area:
        problem = (
            f"{required / 1e6:.4g} MN is required of {area * 1e4:.4g} cm^2 of {pile.material}, which no pile carries"
        )
        raise InputError(source, "[requirement]", problem, "check the required resistance, the area, and their units")


def _soil(table: SoilKeys, source: str) -> SoilProfile:
    """Give the soil; layers from the ground down."""
    layers: list[Layer] = []
    for number, layer in enumerate(table.layer, start=1):
        top = layers[-1].bottom if layers else 0.0
        if layer.to <= top:
            problem = "is not below the layer above" if layers else "is not below the ground"
            raise InputError(source, f"[[soil.layer]] {number} to", problem, "write layers from the ground down")
        layers.append(Layer(top, layer.to, layer.soil, layer.words))
    return SoilProfile(**table.model_dump(exclude={"layer"}), layers=tuple(layers))


def _requirement(table: RequirementKeys, verification: str | None, source: str) -> Requirement:
    """Give the requirement; a load needs its factor and the reverse."""
    pairs = (("factored_load", "resistance_factor"), ("service_load", "safety_factor"))
    for load, factor in pairs:
        has_load, has_factor = getattr(table, load) is not None, getattr(table, factor) is not None
        if has_factor and not has_load:
            raise InputError(
                source, f"[requirement] {factor}", f"is given without {load}", f"write {load} too, or remove it"
            )
        if has_load and not has_factor and not (load == "factored_load" and verification):
            alternative = " or [choices] verification" if load == "factored_load" else ""
            raise InputError(
                source, f"[requirement] {load}", f"is given without {factor}", f"write {factor}{alternative} too"
            )
    requirement = Requirement(**table.model_dump())
    ways = {
        "nominal_resistance": requirement.nominal_resistance,
        "factored_load / resistance_factor": Requirement(
            factored_load=table.factored_load, resistance_factor=table.resistance_factor
        ).required_resistance,
        "service_load × safety_factor": Requirement(
            service_load=table.service_load, safety_factor=table.safety_factor
        ).required_resistance,
    }
    given = {way: value for way, value in ways.items() if value is not None}
    if given and max(given.values()) > (1.0 + REQUIREMENT_AGREEMENT) * min(given.values()):
        problem = "is contradictory: " + ", ".join(f"{way} is {value / 1e3:.0f} kN" for way, value in given.items())
        raise InputError(source, "[requirement]", problem, "keep one way of stating the required resistance")
    return requirement
