"""Parts of the report that describe: what was tested and with what, and the appendix.

Pile, hammer, gauges, drives, requirement and soil have their sources. The appendix has assumptions and choices,
equations, provenance, notes and seal.
"""

import platform
import tomllib
from datetime import datetime
from importlib.metadata import version
from typing import Any

from dyntest.decisions.stroke_table import BLOWS_TO_HOLD
from dyntest.hammer import Hammer
from dyntest.names import decimal, show, show_length, show_required
from dyntest.pile import Pile
from dyntest.presenting.criterion_words import refusal_length, requirement_words
from dyntest.presenting.decision_words import GOVERNING_SPECIFICATION, needed_words
from dyntest.presenting.explanations import NUMBERED, reference
from dyntest.presenting.finding_words import uniform_note
from dyntest.presenting.frames import impedance
from dyntest.presenting.report.blocks import Block, columns, facts, heading, note, rows, text
from dyntest.presenting.sentences import drive_words, sentence, short_trust
from dyntest.presenting.terms import short_length, show_ram, show_wait
from dyntest.reading.notes import fingerprint, read_notes
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review
from dyntest.signals import Signals
from dyntest.units import unit_factor

SHEET, DEFAULT = "test sheet", "default"
"""Where a value comes from: the sheet says it, or it is assumed."""

LEAST_RATE, LEAST_LENGTH = 5000.0, 0.100
"""Samples a second [1/s] and length of a record [s] that are asked at least (ASTM D4945, from memory)."""

Fact = tuple[str, str, str]


def description(review: Review) -> list[Block]:
    """Give the blocks that say what was tested and with what."""
    sheet = review.sheet
    system = sheet.display_units
    hammers = list(dict.fromkeys(drive.drive.hammer for drive in review.drives if drive.drive.hammer is not None))
    right: list[Block] = []
    for hammer in hammers:
        own = [drive_words(drive) for drive in review.drives if drive.drive.hammer == hammer]
        title = "Hammer" if len(hammers) == 1 else f"Hammer of {', '.join(own)}"
        right += [heading(title), facts(hammer_facts(hammer, system, sheet.pile.material))]
    if not hammers:
        right += [heading("Hammer"), note("The test sheet describes no hammer.")]
    left = [heading("Pile"), facts(pile_facts(sheet))]
    blocks = [columns(left, right)]
    if not sheet.pile.uniform:
        blocks += [_parts(sheet), note(sentence(uniform_note(sheet.pile) or ""))]
    blocks += [heading("Gauges"), facts(_gauges(review))]
    blocks += [heading("Requirement and soil"), facts(_requirement(review))]
    if sheet.soil.layers:
        blocks += [heading("Soil profile"), _layers(sheet)]
    return [*blocks, heading("Drives and records"), _drives(review), note(record_comment(review))]


def stated(sheet: TestSheet, *keys: str) -> bool:
    """Whether the sheet itself says a value."""
    try:
        table: Any = tomllib.loads(sheet.text)
    except tomllib.TOMLDecodeError:
        return False
    for key in keys:
        if not isinstance(table, dict) or key not in table:
            return False
        table = table[key]
    return True


def measure(value: float | None, dimension: str, unit: str, decimals: int) -> str:
    """Write a value that has no name in the table of names.

    Examples
    --------
    >>> measure(0.01, "area", "cm^2", 1)
    '100.0 cm²'
    """
    if value is None:
        return "–"
    written = unit.replace("^2", "²").replace("^3", "³")
    return f"{decimal(value / unit_factor(unit, dimension), decimals)} {written}"


def _either(system: str, value: float | None, dimension: str, si: tuple[str, int], us: tuple[str, int]) -> str:
    return measure(value, dimension, *(us if system == "US" else si))


def _stress(value: float | None, system: str) -> str:
    return _either(system, value, "stress", ("MPa", 1), ("ksi", 1))


def _stiffness(value: float | None, system: str) -> str:
    return _either(system, value, "stiffness", ("MN/m", 0), ("kip/in", 0))


def _length(value: float | None, system: str) -> str:
    return show_length(value, system)


def pile_facts(sheet: TestSheet) -> list[Fact]:
    """Give what is known of the pile, each with its source."""
    pile, system = sheet.pile, sheet.display_units
    modulus, density, _ = material_sources(sheet)
    total = "" if pile.total_length is None else _length(pile.total_length, system)
    section = SHEET if pile.section is None else "section table"
    waves = reference("wave speed and impedance")
    return [
        ("material, section", " ".join(filter(None, (pile.material, pile.section or ""))), SHEET),
        ("area A", _either(system, pile.area, "area", ("cm^2", 1), ("in^2", 1)), section),
        ("length below gauges L", _length(pile.length, system), SHEET),
        ("total length", total or "not given", SHEET if total else DEFAULT),
        ("modulus E", _either(system, pile.modulus, "stress", ("GPa", 1), ("ksi", 0)), modulus),
        ("density ρ", _either(system, pile.parts[0].density, "density", ("kg/m^3", 0), ("lb/ft^3", 1)), density),
        ("wave speed c", _either(system, pile.wave_speed, "velocity", ("m/s", 0), ("ft/s", 0)), waves),
        ("impedance Z", impedance(pile.impedance, system), waves),
        ("2L/c", f"{1e3 * pile.return_time:.2f} ms", waves),
        *_strengths(pile, system),
        ("tip reinforcement", _either(system, pile.tip_reinforcement or None, "length", ("mm", 0), ("in", 1)), SHEET),
    ]


def material_sources(sheet: TestSheet) -> tuple[str, str, str]:
    """Give where modulus, density and wave speed come from; two of them give the third, and steel has defaults."""
    modulus, speed = stated(sheet, "pile", "modulus"), stated(sheet, "pile", "wave_speed")
    density = stated(sheet, "pile", "density") or stated(sheet, "pile", "unit_weight")
    return (
        SHEET if modulus else "from c and ρ" if speed else DEFAULT,
        SHEET if density else "from c and E" if speed and modulus else DEFAULT,
        SHEET if speed else "from E and ρ",
    )


def _strengths(pile: Pile, system: str) -> list[Fact]:
    return [
        ("yield strength", _stress(pile.yield_strength, system), SHEET),
        ("compressive strength", _stress(pile.compressive_strength, system), SHEET),
        ("effective prestress", _stress(pile.effective_prestress, system), SHEET),
        ("base resistance of timber", _stress(pile.base_resistance, system), SHEET),
    ]


def _parts(sheet: TestSheet) -> Block:
    system = sheet.display_units
    cells = [
        [
            str(number),
            _length(part.length, system),
            _either(system, part.area, "area", ("cm^2", 1), ("in^2", 1)),
            _either(system, part.modulus, "stress", ("GPa", 1), ("ksi", 0)),
            _either(system, part.density, "density", ("kg/m^3", 0), ("lb/ft^3", 1)),
        ]
        for number, part in enumerate(sheet.pile.parts, 1)
    ]
    return rows(["part from the gauges down", "length", "cross-section", "modulus", "density"], cells,
                [1, 1, 1, 1, 1], "lrrrr")  # fmt: skip


def hammer_facts(hammer: Hammer, system: str, material: str = "") -> list[Fact]:
    """Give what is known of a hammer, and what is not; a pile cushion belongs to a concrete pile."""
    named = " ".join(filter(None, (hammer.make, hammer.model)))
    least, most = (show("stroke", stroke, system) for stroke in (hammer.minimum_stroke, hammer.maximum_stroke))
    approved = "" if least == most == "–" else f"{least} to {most}"
    pile_cushion = _cushion(hammer.pile_cushion, hammer.pile_cushion_stiffness, hammer.pile_cushion_restitution, system)
    known = [
        ("make, model", named),
        ("serial number", hammer.serial),
        ("kind", hammer.kind),
        ("ram weight", show_ram(hammer.ram_weight, system)),
        ("rated energy", show("transferred_energy", hammer.rated_energy, system)),
        ("fuel setting", hammer.fuel_setting),
        ("approved stroke", approved),
        ("efficiency", "" if hammer.efficiency is None else f"{hammer.efficiency:.2f}"),
        ("helmet mass", _either(system, hammer.helmet_mass, "mass", ("kg", 0), ("lb", 0))),
        ("hammer cushion", _cushion(hammer.hammer_cushion, hammer.hammer_cushion_stiffness,
                                    hammer.hammer_cushion_restitution, system)),
        *([("pile cushion", pile_cushion)] if pile_cushion or material == "concrete" else []),
    ]  # fmt: skip
    return [(name, "not given", "") if value in ("", "–") else (name, value, SHEET) for name, value in known]


def _cushion(words: str, stiffness: float | None, restitution: float, system: str) -> str:
    numbers = "" if stiffness is None else f"{_stiffness(stiffness, system)}, restitution {restitution:.2f}"
    return "; ".join(filter(None, (words, numbers)))


def _gauges(review: Review) -> list[Fact]:
    sheet, gauges = review.sheet, review.sheet.gauges
    items: list[Fact] = [("recorder", sheet.recorder or "not given", SHEET if sheet.recorder else "")]
    if gauges.averaged:
        items.append((
            "traces", f"{gauges.force} and {gauges.velocity}, averaged by the recorder", SHEET,
        ))  # fmt: skip
    else:
        for kind, names in (("strain", gauges.strain or ()), ("acceleration", gauges.acceleration or ())):
            items.append((f"{kind}, opposite faces", ", ".join(names), SHEET))
    left_out = dict.fromkeys((*gauges.leave_out, *sheet.choices.leave_out))
    items.append(("left out", ", ".join(left_out) or "none", SHEET if left_out else ""))
    for channel, words in gauges.calibration.items():
        items.append((f"calibration, {'all channels' if channel == 'all' else channel}", words, SHEET))
    if not gauges.calibration:
        items.append(("calibration: number, factor, date", "not stated; write [gauges.calibration]", ""))
    if sheet.records is not None:
        for name, mapped in sheet.records.channels.items():
            if mapped.factor != 1.0:
                items.append((f"factor of {name}", f"{mapped.factor:g} {mapped.unit or ''}".strip(), SHEET))
    above = sheet.pile.length_above_gauges
    if above > 0.0:
        items.append(("gauges below the head", _length(above, sheet.display_units), SHEET))
    return items


def _layers(sheet: TestSheet) -> Block:
    system = sheet.display_units
    ends = [[show_length(end, system) for end in (one.top, one.bottom)] for one in sheet.soil.layers]
    cells = [[" to ".join(both), layer.soil, layer.words] for both, layer in zip(ends, sheet.soil.layers, strict=True)]
    return rows(["depth below ground", "soil", "description"], cells, [1, 0.6, 3], "lll")


def _drives(review: Review) -> Block:
    waited = {setup.restrike: setup.wait for setup in review.answers.setups}
    cells = [
        [
            drive_words(drive),
            f"{len(drive.table):,}",
            f"{_clock(drive.drive.start)} to {_clock(drive.drive.end)}",
            show_wait(waited.get(drive.name)),
            show_length(drive.drive.penetration_at_start, review.sheet.display_units),
            f"{1.0 / _sampling(drive)[0]:,.0f}/s, {1e3 * _sampling(drive)[1]:.0f} ms",
            short_trust(drive.trust.answer),
        ]
        for drive in review.drives
    ]
    head = ["drive", "blows", "start to end", "waited", "penetration at start", "samples, length", "record"]
    return rows(head, cells, [0, 0, 1.7, 0, 0.9, 1, 1.1], "lrlrrrl")


def _sampling(drive: DriveReview) -> tuple[float, float]:
    """Time step and length of the records of a drive [s]."""
    signals = drive.signals
    step = signals.time_step if isinstance(signals, Signals) else float(signals.time[1] - signals.time[0])
    return step, float(signals.time[-1] - signals.time[0])


def record_comment(review: Review) -> str:
    """Compare sampling rate and length of the records with ASTM D4945."""
    least = f"{LEAST_RATE:,.0f} samples/s and {1e3 * LEAST_LENGTH:.0f} ms"
    asked = f"ASTM D4945 (from memory) requires at least {least}."
    short = [drive_words(drive) for drive in review.drives if _sampling(drive)[1] < LEAST_LENGTH]
    slow = [drive_words(drive) for drive in review.drives if 1.0 / _sampling(drive)[0] < LEAST_RATE]
    told = [asked]
    if short:
        covered = min(_sampling(drive)[1] for drive in review.drives) / review.sheet.pile.return_time
        told.append(f"Shorter: {', '.join(short)}. The records still cover {covered:.0f} times 2L/c.")
    if slow:
        told.append(f"Fewer samples: {', '.join(slow)}. Peaks may be missed; use a higher sampling rate.")
    if not short and not slow:
        told.append("All records comply.")
    return " ".join(told)


def _clock(moment: datetime | None) -> str:
    return "–" if moment is None else f"{moment:%Y-%m-%d %H:%M}"


def _requirement(review: Review) -> list[Fact]:
    sheet, required = review.sheet, review.answers.required
    system, asked, limits = sheet.display_units, sheet.requirement, review.limits
    value = show_required(required.value, system)
    items: list[Fact] = [
        (
            "required nominal resistance",
            "none" if required.value is None else f"{value}: {requirement_words(required, system)}",
            required.source,
        ),
        ("minimum penetration", show_length(asked.minimum_penetration, system), SHEET),
        ("scour depth", show_length(asked.scour_depth, system), SHEET),
        ("downdrag", show("shaft_resistance", asked.downdrag, system), SHEET),
    ]
    for limit in (limits.compression, limits.tension):
        name = f"{limit.sense} stress limit"
        if limit.value is None:
            items.append((name, f"not known; write {needed_words(limit)}", ""))
        else:
            shown = show("peak_compression_stress", limit.value, system)
            items.append((name, f"{shown}, {limit.equation}" if limit.equation else shown, limit.source))
    soil = sheet.soil
    items.append(("soil along shaft, at toe", f"{soil.shaft or 'not given'}, {soil.toe or 'not given'}", SHEET))
    elevations = (("ground elevation", soil.ground_elevation), ("water elevation", soil.water_elevation))
    items += [(name, _length(level, system), SHEET) for name, level in elevations]
    return [*items, ("boring", soil.boring, SHEET)]


LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib", "pyarrow", "pint", "pydantic", "typst")
"""Libraries whose versions may matter for a number or a page."""

CHOICES = "test sheet, [choices]"

NOTE_LINES = 5
"""Empty lines for the engineer's notes [1]."""


def assumptions(review: Review) -> list[Block]:
    """Give every assumption and choice with its source."""
    answers, system = review.answers, review.sheet.display_units
    decided = [*_conditioning(review), *_drive_choices(review)]
    if answers.criterion is not None and answers.criterion.criterion is not None:
        criterion = answers.criterion.criterion
        refusal = f"over {refusal_length(criterion, system)}, at the count of the criterion card"
        decided.append(("practical refusal", refusal, "UFC 3-220-20 (2025), 6-4.1.2"))
        held = short_length(criterion.holding_length, system)
        longer = criterion.holding_length > 1.001 * criterion.refusal_length
        why = f"longer than at refusal, to hold {BLOWS_TO_HOLD} blows" if longer else "as practical refusal"
        decided.append(("length over which the count holds", held, why))
    decided += [
        ("pile in signal matching", "segments of equal travel time", "one-dimensional waves"),
        ("soil in signal matching", "elastic-plastic or hyperbolic springs, dashpots; residual stress if the record "
                                    "shows it; no creep", "Smith (1960), ASCE J. Soil Mech. Found. Div. 86(SM4)"),
    ]  # fmt: skip
    return [facts(decided), note(GOVERNING_SPECIFICATION)]


def _conditioning(review: Review) -> list[tuple[str, str, str]]:
    choices = review.sheet.choices
    low_pass = "none" if choices.low_pass is None else f"{choices.low_pass:,.0f} Hz, without phase shift"
    lag = "corrected" if choices.align else "reported, not corrected"
    credit = {None: "not decided, so not credited", True: "credited", False: "not credited"}[choices.setup_credit]
    return [
        ("baseline", "mean of the quiet samples before the impact subtracted from every channel", "dyntest"),
        ("velocity", "trapezoidal integration; drift removed so that the pile ends at rest, or at the set of the "
                     "driving log", "dyntest"),
        ("low-pass filter", low_pass, _chosen(choices.low_pass is not None)),
        ("lag between strain and acceleration", lag, _chosen(choices.align)),
        ("soil law", choices.soil_law, _chosen(choices.soil_law != "best")),
        ("verification", choices.verification or "not chosen", _chosen(choices.verification is not None)),
        ("setup measured by a restrike", credit, _chosen(choices.setup_credit is not None)),
    ]  # fmt: skip


def _chosen(own: bool) -> str:
    return CHOICES if own else "default"


def _drive_choices(review: Review) -> list[tuple[str, str, str]]:
    system, items = review.sheet.display_units, []
    for drive in review.drives:
        name = drive_words(drive)
        factor = "none"
        if drive.damping_source != "none":
            factor, most = (
                show(name, float(drive.table[name].iloc[0]), system)
                for name in ("damping_factor", "damping_factor_maximum")
            )
            factor += "" if most == factor else f", {most} for the maximum"
        items.append((f"Case damping factor, {name}", factor, drive.damping_source))
        if drive.representative is not None:
            own = drive.name in review.sheet.choices.blow
            blow = str(drive.representative.blow)
            items.append((f"representative blow, {name}", blow, CHOICES if own else "dyntest"))
    return items


def equation_blocks() -> list[Block]:
    """Give the equations."""
    items = [{"words": f"{one.what} {one.validity}", "source": one.source} for one in NUMBERED]
    return [{"kind": "equations", "items": items}]


def provenance(review: Review) -> list[Block]:
    """Give where the data come from and what computed the results."""
    files = rows(["file", "SHA-256"], [[name, digest] for name, digest in review.inputs.items()], [1, 1.9], "ll")
    programs = [("dyntest", review.version), ("Python", platform.python_version())]
    programs += [(name, version(name)) for name in LIBRARIES]
    sheet = {"kind": "listing", "text": review.sheet.text}
    return [files, note(f"Computed with {', '.join(f'{name} {number}' for name, number in programs)}."),
            heading("The test sheet as read"), sheet]  # fmt: skip


def notes_and_seal(review: Review) -> list[Block]:
    """Give the notes and the sign-off kept beside the sheet, empty lines for more, and room for signatures and seal."""
    sheet, kept = review.sheet, read_notes(review.sheet.path)
    people = (("tested by", sheet.tested_by), ("checked by", sheet.checked_by), ("engineer", sheet.engineer))
    blocks = [text(f"{one.day.isoformat()}, {one.name}: {one.text}") for one in kept.notes]
    signed = kept.sign_off
    if signed is not None:
        reasons = f": {signed.reasons}" if signed.reasons else ""
        words = f"{signed.decision} by {signed.name} on {signed.day.isoformat()}{reasons}"
        changed = signed.fingerprint != fingerprint(review.inputs)
        blocks.append(text(sentence(f"{words}; the files have changed since, sign again" if changed else words)))
    return [*blocks, {"kind": "seal", "lines": NOTE_LINES, "people": [list(one) for one in people]}]
