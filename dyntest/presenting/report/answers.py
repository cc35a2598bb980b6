"""The sections that answer the questions: records, hammer and stresses, resistance, setup and criterion."""

from collections.abc import Iterable

import numpy as np

from dyntest.conditioning.findings import Finding
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.decisions.dynamic_formulas import LEAST_COUNT, MOST_COUNT
from dyntest.names import NAMES, decimal, percent, show
from dyntest.presenting.criterion_words import chance_sentences
from dyntest.presenting.decision_words import ruled_out_words, told
from dyntest.presenting.explanations import reference
from dyntest.presenting.finding_words import RULES, blow_words, choice_reasons, finding_cure, finding_message
from dyntest.presenting.report.blocks import Block, about, answer, cautions, heading, note, picture, rows, text
from dyntest.presenting.report.tables import blow_summary, match_tables, representative_blows, soil_tables, summary_key
from dyntest.presenting.sentences import (
    STRESSES,
    case_alerts,
    criterion_cells,
    criterion_heads,
    criterion_sentence,
    drive_words,
    estimate_sentences,
    law_words,
    resistance_sentence,
    risk_words,
    sentence,
    setup_sentence,
    stress_sentences,
    trust_sentence,
)
from dyntest.presenting.terms import bound_mark, drive_name, show_blows, show_wait
from dyntest.reviewing.answers import drive_result
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review
from dyntest.wave_equation.bearing_graph import CalibratedHammer

DELIVERED = (
    "penetration", "set_per_blow", "peak_displacement", "final_displacement", "blow_rate", "stroke",
    "transferred_energy", "energy_ratio", "energy_ratio_stroke", "peak_force", "peak_velocity",
    "peak_compression_stress", "peak_gauge_stress", "bending_ratio", "toe_compression_stress", "peak_tension_stress",
    "peak_tension_depth", "integrity_factor", "integrity_depth", "proportionality",
)  # fmt: skip
"""Numbers of hammer, stresses and integrity, in this order."""

CASE = (
    "damping_factor", "damping_factor_maximum", "total_resistance", "case_resistance", "case_resistance_maximum",
    "case_resistance_toe_at_rest", "case_resistance_unloading", "shaft_share",
)  # fmt: skip
"""Numbers of the Case method, in this order."""

DONE = {
    "reject": "not used for the representative blow, nor for the resistance",
    "warning": "kept in the tables; not used for the representative blow where others are sound",
    "note": "kept and used",
}
"""What was done about the blows of a finding, by its severity."""


def trust_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on the records."""
    blocks, system = [answer(trust_sentence(review))], review.sheet.display_units
    sound = [drive_words(drive) for drive in review.drives if not drive.findings]
    if sound:
        blocks.append(note(f"No findings: {', '.join(sound)}."))
    for drive in review.drives:
        name = drive_words(drive)
        if drive.findings:
            blocks.append(heading(f"{name.capitalize()}: findings on {show_blows(len(drive.table))}"))
            blocks.append(_findings(drive, system))
        if drive.representative is None:
            blocks.append(text(f"{name.capitalize()}: no sound blow, so no representative blow."))
            continue
        chosen = drive.representative
        reasons = "".join(f" {sentence(reason)}" for reason in choice_reasons(chosen, system))
        blocks.append(note(f"{name.capitalize()}, representative blow {chosen.blow}. {RULES[chosen.rule]}{reasons}"))
    for drive in review.drives:
        if f"blow_{drive.name}" in figures and drive.representative is not None:
            blow = drive.representative.blow
            caption = f"{drive_words(drive).capitalize()}, blow {blow}: force and impedance × velocity; downward and "
            caption += "upward wave"
            matched = ", with the computed wave on the measured one and the residual below" if drive.match else ""
            blocks.append(picture(f"{caption}{matched}.", f"blow_{drive.name}"))
    return blocks


def _findings(drive: DriveReview, system: str) -> Block:
    numbers = drive.table["blow"].to_numpy()
    cells = [
        [
            {"warning": finding.severity} if finding.severity == "reject" else finding.severity,
            finding.check,
            sentence(finding_message(finding, system)),
            sentence(_done(finding, numbers)),
            sentence(finding_cure(finding, system)),
        ]
        for finding in sorted(drive.findings, key=lambda one: ("reject", "warning", "note").index(one.severity))
    ]
    return rows(["", "check", "finding", "what was done", "what to do"], cells, [0, 0.9, 2.4, 1.4, 1.6], "lllll")


def _done(finding: Finding, numbers: np.ndarray) -> str:
    if not finding.blows:
        return "none; it applies to the whole drive"
    return f"{blow_words(finding.blows, len(numbers))}: {DONE[finding.at_blow]}"


def delivery_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on hammer, stresses and integrity."""
    system = review.sheet.display_units
    blocks = [answer(" ".join(stress_sentences(review)))]
    for drive in review.drives:
        if f"profile_{drive.name}" in figures:
            alone = drive.match is not None and drive.every is None
            caption = f"{drive_words(drive).capitalize()}: blow count of the log, and every blow"
            matched = "; diamond: resistance from signal matching" if alone else ""
            blocks.append(picture(f"{caption}{matched}.", f"profile_{drive.name}"))
    if "profile_restrikes" in figures:
        blocks.append(
            picture("Blows of the restrikes; diamonds: resistance from signal matching.", "profile_restrikes")
        )
    blocks += [heading("Maximum stress of each drive against its limit"), _stresses(review)]
    blocks += [note(words) for words in estimate_sentences(review)]
    return [*blocks, heading("Representative blows"), *representative_blows(review.drives, DELIVERED, system)]


def _stresses(review: Review) -> Block:
    system, cells = review.sheet.display_units, []
    for drive in review.drives:
        for sense, code in STRESSES:
            if not drive.table[code].notna().any():
                continue
            row, limit = drive.table.iloc[int(drive.table[code].argmax())], getattr(review.limits, sense)
            value = show(code, float(row[code]), system)
            above = limit.value is not None and row[code] > limit.value
            cells.append([
                drive_words(drive), NAMES[code].words, {"warning": f"{value}, above"} if above else value,
                f"{int(row['blow'])}", "not known" if limit.value is None else show(code, limit.value, system),
                reference(code),
            ])  # fmt: skip
    head = ["drive", "stress", "maximum", "blow", "limit", "from"]
    return rows(head, cells, [1, 2.2, 1, 0.6, 0.8, 0.6], "llrrrl")


def summary_blocks(review: Review) -> list[Block]:
    """Give the blows of every drive in a summary."""
    blocks: list[Block] = []
    for drive in review.drives:
        title = f"{drive_words(drive).capitalize()}, {show_blows(len(drive.table))}"
        blocks += [heading(title), blow_summary(drive, review.sheet.display_units)]
        if drive.log is not None and any(drive.log.remark):
            told = [
                f"{show('penetration', float(depth), review.sheet.display_units)}: {words}"
                for depth, words in zip(drive.log.depth_to, drive.log.remark, strict=True)
                if words
            ]
            blocks.append(note(f"Remarks of the log: {'; '.join(told)}."))
    return [*blocks, summary_key(review.drives)]


def resistance_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on resistance by the Case method and by signal matching."""
    system = review.sheet.display_units
    blocks = [answer(resistance_sentence(review, drive)) for drive in review.drives]
    blocks += [answer(alert) for alert in case_alerts(review)]
    blocks += [heading("Case method"), *representative_blows(review.drives, CASE, system)]
    matched = [drive for drive in review.drives if drive.match is not None]
    blocks.append(heading("Signal matching, with ranges"))
    if not matched:
        reasons = {drive.match_problem for drive in review.drives} - {""}
        return [*blocks, note(sentence("; ".join(sorted(reasons)) or "no blow was matched"))]
    blocks += match_tables(matched, system)
    blocks.append(note("Ranges are meant to contain the true total in 95 % of cases, and true shaft and toe in 90 %."))
    for drive in matched:
        section = drive.match.section if drive.match is not None else None
        if section is not None:
            depth, length = (show("integrity_depth", value, system) for value in (section.depth, section.length))
            left = f"{percent(section.section_left)} of the impedance left {depth} below the gauges, over {length}"
            blocks.append(note(f"{drive_words(drive).capitalize()}: matched with a reduced section, {left}."))
    if "shaft_resistance" in figures:
        caption = "Left: soil profile, matched shaft resistance and maximum matched stresses along the pile. Right: "
        caption += "static load–movement computed from the matched soil, without creep or further setup. "
        caption += "Shaded: its 95 % range; marks: failure by Davisson's offset (0.15 in and D/120 beyond PL/EA; from "
        caption += "memory) and at a toe movement of 5 % of the width."
        blocks.append(picture(caption, "shaft_resistance", "load_movement", shares=(0.62, 0.36)))
    blocks += [heading("Soil model by segment, depth below the gauges"), *soil_tables(matched, system)]
    return blocks


def setup_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on setup and relaxation."""
    answers = review.answers
    if not answers.setups:
        return [answer("Setup was not measured: it needs an initial drive and a restrike.")]
    blocks = [answer(setup_sentence(setup)) for setup in answers.setups]
    cells = []
    for setup in answers.setups:
        first = [f"{drive_name(setup.restrike)}{bound_mark(setup.restrike_bound)}", show_wait(setup.wait)]
        for code, factor in setup.factors.items():
            spread = f"{factor.low:.2f} to {factor.high:.2f}" if factor.has_range else "–"
            cells.append([*first, NAMES[code].words, f"{factor.value:.2f}", spread, reference("setup_factor")])
            first = ["", ""]
    head = ["restrike", "waited", "resistance", "factor", "range", "from"]
    blocks += [rows(head, cells, [1.3, 0.7, 1.8, 0.8, 1, 0.5], "lllrrl"), heading("Conditions of the drives")]
    blocks.append(_conditions(review))
    for name, fade in answers.fades.items():
        lost = percent(abs(fade.lost_share))
        course = f"fell by {lost}" if fade.fades else f"changed by {lost}, within its scatter,"
        blocks.append(note(
            f"{drive_name(name).capitalize()}: resistance {course} over its first {fade.span} blows (Theil–Sen line "
            f"through {fade.blows} sound blows)."
        ))  # fmt: skip
    system = review.sheet.display_units
    found = [about(setup.restrike, told(one, system)) for setup in answers.setups for one in setup.cautions]
    blocks += [cautions(found)] if found else []
    if "initial_against_restrike" in figures:
        caption = "Overlay of the representative blows, aligned at impact. "
        caption += "A higher upward wave before the toe return means more shaft resistance."
        blocks.append(picture(caption, "initial_against_restrike"))
    law = answers.time_law
    if "setup" in figures and law is not None:
        words = f"Rate A = {law.rate.value:.2f} (range {law.rate.low:.2f} to {law.rate.high:.2f}) from t₀ = "
        words += f"{show_wait(law.reference_time)}, {reference('resistance over time')}; {law_words(law)}."
        blocks.append(picture(f"Resistance over time. {words}", "setup"))
    return blocks


def _conditions(review: Review) -> Block:
    """Stroke, energy, set and mobilisation of each drive."""
    system, cells = review.sheet.display_units, []
    for drive in review.drives:
        result, numbers = drive_result(review.sheet, drive), drive.numbers
        chosen = drive.representative
        cells.append([
            drive_words(drive), "–" if chosen is None else f"{chosen.blow}", show("stroke", result.stroke, system),
            show("transferred_energy", numbers.get("transferred_energy"), system),
            show("set_per_blow", result.set_per_blow, system),
            show("peak_displacement", numbers.get("peak_displacement"), system),
            {"warning": "LOWER BOUND"} if drive.lower_bound else "fully" if chosen is not None else "–",
        ])  # fmt: skip
    head = ["drive", "blow", "stroke", "energy", "set per blow", "maximum displacement", "mobilised"]
    return rows(head, cells, [1, 0.5, 0.8, 1, 0.9, 1.2, 0.9], "lrrrrrl")


def criterion_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on the driving criterion."""
    found, system = review.answers.criterion, review.sheet.display_units
    blocks = [answer(criterion_sentence(review))]
    if found is None:
        return blocks
    blocks += [cautions([told(one, system) for one in found.cautions])] if found.cautions else []
    cells = [
        [*criterion_cells(found, row, system)[:-1], show("transferred_energy", row.transferred_energy, system),
         sentence(ruled_out_words(row.ruled_out, system))]
        for row in found.rows
    ]  # fmt: skip
    head = [*criterion_heads(system)[:-1], "energy", "ruled out because"]
    why = any(row.ruled_out is not None for row in found.rows)
    width = len(head) if why else len(head) - 1
    widths = [0.6, 0.9, 0.7, 1, 0.7, 0.7, 0.7, 0.9, 1.7]
    blocks.append(rows(head[:width], [row[:width] for row in cells], widths[:width], "rrrrrrrrl"[:width]))
    if found.criterion is not None:
        blocks.append(note(" ".join([*chance_sentences(found.criterion, system), risk_words()])))
    if "criterion" in figures:
        caption = "Blow count required at each stroke, the bearing graph it comes from, and the last measured blows."
        blocks.append(picture(caption, "criterion"))
    hammer = found.calibrated
    blocks.append(note(
        "Bearing graph: wave equation with the soil of the matched blow. The hammer is calibrated by its "
        f"{hammer.cushion} and an efficiency of {hammer.hammer.efficiency:.2f} to the blow measured at a stroke of "
        f"{show('stroke', hammer.stroke, system)}. It gives {decimal(hammer.force_ratio, 2)} times the measured force "
        f"and {decimal(hammer.energy_ratio, 2)} times the measured energy. {_sets_left(hammer)}{_shifted(found)}"
        f"Compression includes the measured bending, {found.bending:.2f} times the mean."
    ))  # fmt: skip
    return [*blocks, heading("Dynamic formulas for comparison"), _formulas(review), note(
        "The formulas use the set and the energy of the ram or at the gauges; they consider neither pile nor soil. The "
        "modified Gates formula was calibrated on load tests after setup, so it over-predicts before setup. The energy "
        "approach includes dynamic resistance, so it over-predicts in easy driving. Dynamic methods apply from "
        f"{LEAST_COUNT:.0f} to {MOST_COUNT:.0f} blows per foot (UFC 3-220-20, 6-4.1.2)."
    )]  # fmt: skip


def _shifted(found: DrivingCriterion) -> str:
    """Say whether the bearing graph was made to pass through the measured blows."""
    if not found.agrees:
        return "Its resistances are not corrected by the measured blows. "
    return f"Its resistances are multiplied by {found.shift:.3f}, so that it passes through the measured blows. "


def _sets_left(hammer: CalibratedHammer) -> str:
    """Compare the computed set with the log, and with that under residual stress."""
    found = ""
    if not np.isnan(hammer.set_ratio):
        found = f"The computed set of the last foot is {decimal(hammer.set_ratio, 2)} times that of the log. "
    if not np.isnan(hammer.residual_ratio):
        found += f"With residual stress the set is {decimal(hammer.residual_ratio, 2)} times that without. "
    return found


def _formulas(review: Review) -> Block:
    found, system = review.answers.criterion, review.sheet.display_units
    assert found is not None
    lines = [("bearing graph", found.graph_resistance, "calibrated to the matched blow")]
    lines += [(one.formula, one.resistance, one.source) for one in found.formulas]
    cells = [[way, show("matched_resistance", value, system), sentence(source)] for way, value, source in lines]
    return rows(["from the last measured blows", "resistance", "basis"], cells, [1.4, 0.8, 3], "lrl")
