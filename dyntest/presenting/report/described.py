"""What was tested and with what: pile, hammer, gauges, drives and requirement, each value with its source."""

from datetime import datetime

from dyntest.decisions.setup import show_wait
from dyntest.hammer import Hammer
from dyntest.names import show
from dyntest.pile import Pile
from dyntest.presenting.explanations import reference
from dyntest.presenting.finding_words import uniform_note
from dyntest.presenting.frames_pile import impedance
from dyntest.presenting.report.blocks import Block, facts, heading, note, rows, sentence
from dyntest.presenting.sentences import TRUST, drive_words
from dyntest.reading.parts import TestSheet
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review
from dyntest.signals import Signals
from dyntest.units import unit_factor

SHEET = "test sheet"

RECORD_PRACTICE = "ASTM D4945, from memory, check the edition in force: at least 5,000 samples/s over 100 ms or more"
"""What the records are held against."""


def description(review: Review) -> list[Block]:
    """Give the blocks that say what was tested and with what."""
    sheet = review.sheet
    blocks = [heading("Pile"), facts(_pile(sheet.pile, sheet.display_units))]
    if not sheet.pile.uniform:
        blocks += [_parts(sheet), note(sentence(uniform_note(sheet.pile)))]
    hammers = list(dict.fromkeys(drive.drive.hammer for drive in review.drives if drive.drive.hammer is not None))
    for hammer in hammers:
        own = [drive_words(drive) for drive in review.drives if drive.drive.hammer == hammer]
        title = "Hammer" if len(hammers) == 1 else f"Hammer of {', '.join(own)}"
        blocks += [heading(title), facts(_hammer(hammer, sheet.display_units))]
    if not hammers:
        blocks += [heading("Hammer"), note("The test sheet describes no hammer.")]
    blocks += [heading("Gauges and their calibration"), facts(_gauges(review))]
    blocks += [heading("Drives"), _drives(review), note(f"Times are as the test sheet gives them. {RECORD_PRACTICE}.")]
    return [*blocks, heading("What is asked of the pile, and the soil"), facts(_requirement(review))]


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
    return f"{value / unit_factor(unit, dimension):,.{decimals}f} {written}"


def _either(system: str, value, dimension: str, si: tuple[str, int], us: tuple[str, int]) -> str:
    return measure(value, dimension, *(us if system == "US" else si))


def _stress(value: float | None, system: str) -> str:
    return _either(system, value, "stress", ("MPa", 1), ("ksi", 2))


def _stiffness(value: float | None, system: str) -> str:
    return _either(system, value, "stiffness", ("MN/m", 0), ("kip/in", 0))


def _mass(value: float | None, system: str) -> str:
    return _either(system, value, "mass", ("kg", 0), ("lb", 0))


def _pile(pile: Pile, system: str) -> list[tuple[str, str, str]]:
    length = {"dimension": "length", "si": ("m", 2), "us": ("ft", 2)}
    total = "not given; the head is taken to be at the gauges" if pile.total_length is None else ""
    section = SHEET if pile.section is None else f"table of sections, {pile.section}"
    return [
        ("material, section", " ".join(filter(None, (pile.material, pile.section or ""))), SHEET),
        ("cross-section at the gauges, A", _either(system, pile.area, "area", ("cm^2", 1), ("in^2", 2)), section),
        ("length from the gauges to the toe, L", _either(system, pile.length, **length), SHEET),
        ("total length when driven", total or _either(system, pile.total_length, **length), SHEET),
        ("dynamic modulus, E", _either(system, pile.modulus, "stress", ("GPa", 1), ("ksi", 0)), SHEET),
        ("density, ρ", _either(system, pile.parts[0].density, "density", ("kg/m^3", 0), ("lb/ft^3", 1)), SHEET),
        (
            "wave speed, c",
            _either(system, pile.wave_speed, "velocity", ("m/s", 0), ("ft/s", 0)),
            reference("wave speed and impedance"),
        ),
        ("impedance at the gauges, Z", impedance(pile.impedance, system), reference("wave speed and impedance")),
        ("time to the toe and back, 2L/c", f"{1e3 * pile.return_time:.2f} ms", reference("wave speed and impedance")),
        ("yield strength", _stress(pile.yield_strength, system), SHEET),
        ("compressive strength", _stress(pile.compressive_strength, system), SHEET),
        ("effective prestress", _stress(pile.effective_prestress, system), SHEET),
        ("base resistance parallel to the grain", _stress(pile.base_resistance, system), SHEET),
        ("tip reinforcement", _either(system, pile.tip_reinforcement or None, "length", ("mm", 0), ("in", 1)), SHEET),
    ]


def _parts(sheet: TestSheet) -> Block:
    system = sheet.display_units
    cells = [
        [
            str(number),
            _either(system, part.length, "length", ("m", 2), ("ft", 2)),
            _either(system, part.area, "area", ("cm^2", 1), ("in^2", 2)),
            _either(system, part.modulus, "stress", ("GPa", 1), ("ksi", 0)),
            _either(system, part.density, "density", ("kg/m^3", 0), ("lb/ft^3", 1)),
        ]
        for number, part in enumerate(sheet.pile.parts, 1)
    ]
    return rows(["part from the gauges down", "length", "cross-section", "modulus", "density"], cells,
                [1, 1, 1, 1, 1], "lrrrr")  # fmt: skip


def _hammer(hammer: Hammer, system: str) -> list[tuple[str, str, str]]:
    efficiency = "–" if hammer.efficiency is None else f"{hammer.efficiency:.2f}"
    return [
        ("kind", hammer.kind, SHEET),
        ("ram weight", _either(system, hammer.ram_weight, "force", ("kN", 1), ("kip", 2)), SHEET),
        ("rated energy", show("transferred_energy", hammer.rated_energy, system), SHEET),
        ("approved stroke, at least", show("stroke", hammer.minimum_stroke, system), SHEET),
        ("approved stroke, at most", show("stroke", hammer.maximum_stroke, system), SHEET),
        ("efficiency", efficiency, SHEET),
        ("helmet mass", _mass(hammer.helmet_mass, system), SHEET),
        ("hammer cushion, stiffness", _stiffness(hammer.hammer_cushion_stiffness, system), SHEET),
        ("hammer cushion, restitution", _given(hammer.hammer_cushion_stiffness, hammer.hammer_cushion_restitution),
         SHEET),
        ("pile cushion, stiffness", _stiffness(hammer.pile_cushion_stiffness, system), SHEET),
        ("pile cushion, restitution", _given(hammer.pile_cushion_stiffness, hammer.pile_cushion_restitution), SHEET),
    ]  # fmt: skip


def _given(stiffness: float | None, restitution: float) -> str:
    return "–" if stiffness is None else f"{restitution:.2f}"


def _gauges(review: Review) -> list[tuple[str, str, str]]:
    sheet, gauges = review.sheet, review.sheet.gauges
    if gauges.averaged:
        what = f"{gauges.force} and {gauges.velocity}, averaged before they reached this program"
        items = [("force and velocity", f"{what}: no gauge can be judged by its twin", SHEET)]
    else:
        items = [
            ("strain, on opposite faces", ", ".join(gauges.strain or ()), SHEET),
            ("acceleration, on opposite faces", ", ".join(gauges.acceleration or ()), SHEET),
        ]
    left_out = dict.fromkeys((*gauges.leave_out, *sheet.choices.leave_out))
    items.append(("left out", ", ".join(left_out) or "none", SHEET))
    for channel, words in gauges.calibration.items():
        items.append((f"calibration, {'all channels' if channel == 'all' else channel}", words, SHEET))
    if not gauges.calibration:
        items.append(("calibration", "not stated in the test sheet; write [gauges.calibration]", SHEET))
    above = sheet.pile.length_above_gauges
    if above > 0.0:
        items.append(("gauges below the head", show("penetration", above, sheet.display_units), SHEET))
    return items


def _drives(review: Review) -> Block:
    waited = {setup.restrike: setup.wait for setup in review.answers.setups}
    cells = [
        [
            drive_words(drive),
            f"{len(drive.table):,}",
            f"{_clock(drive.drive.start)} to {_clock(drive.drive.end)}",
            show_wait(waited.get(drive.name)),
            _sampling(drive),
            _at_start(drive, review.sheet.display_units),
            TRUST[drive.trust.answer],
        ]
        for drive in review.drives
    ]
    head = ["drive", "blows", "start to end", "waited", "record of a blow", "penetration at its start", "record"]
    return rows(head, cells, [0, 0, 1.5, 0, 1, 1, 1.2], "lrlrlrl")


def _sampling(drive: DriveReview) -> str:
    signals = drive.signals
    step = signals.time_step if isinstance(signals, Signals) else float(signals.time[1] - signals.time[0])
    length = float(signals.time[-1] - signals.time[0])
    return f"{1.0 / step:,.0f} samples/s, {1e3 * length:.0f} ms"


def _at_start(drive: DriveReview, system: str) -> str:
    return show("penetration", drive.drive.penetration_at_start, system)


def _clock(moment: datetime | None) -> str:
    return "–" if moment is None else f"{moment:%Y-%m-%d %H:%M}"


def _requirement(review: Review) -> list[tuple[str, str, str]]:
    sheet, required = review.sheet, review.answers.required
    system, asked, limits = sheet.display_units, sheet.requirement, review.limits
    value = show("matched_resistance", required.value, system)
    items = [
        ("required nominal resistance", "none" if required.value is None else f"{value}: {required.how}",
         required.source),
        ("minimum penetration", show("penetration", asked.minimum_penetration, system), SHEET),
    ]  # fmt: skip
    for limit in (limits.compression, limits.tension):
        name = f"limit of the {limit.sense} stress while driving"
        if limit.value is None:
            items.append((name, f"not known; write {limit.needed}", SHEET))
        else:
            shown = show("peak_compression_stress", limit.value, system)
            items.append((name, f"{shown}, {limit.equation}" if limit.equation else shown, limit.source))
    soil = sheet.soil
    items.append(("soil along the shaft, at the toe", f"{soil.shaft or 'not given'}, {soil.toe or 'not given'}", SHEET))
    return items
