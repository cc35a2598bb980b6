"""The sections that answer the questions: trust, hammer and stresses, resistance, waiting and criterion."""

from collections.abc import Iterable

from dyntest.conditioning.findings import Finding
from dyntest.decisions.setup import show_wait
from dyntest.names import NAMES, show
from dyntest.presenting.explanations import reference
from dyntest.presenting.finding_words import RULES, blow_words, choice_reasons, finding_cure, finding_message
from dyntest.presenting.report.blocks import (
    Block,
    about,
    answer,
    cautions,
    heading,
    note,
    picture,
    rows,
    sentence,
    text,
)
from dyntest.presenting.report.tables import match_tables, representative_blows
from dyntest.presenting.sentences import (
    CRITERION_HEADS,
    STRESSES,
    criterion_cells,
    criterion_sentence,
    drive_words,
    resistance_sentence,
    setup_sentence,
    stress_sentences,
    trust_sentence,
)
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review

DELIVERED = (
    "penetration", "set_per_blow", "peak_displacement", "final_displacement", "blow_rate", "stroke",
    "transferred_energy", "energy_ratio", "energy_ratio_stroke", "peak_force", "peak_velocity",
    "peak_compression_stress", "peak_gauge_stress", "bending_ratio", "toe_compression_stress", "peak_tension_stress",
    "peak_tension_depth", "integrity_factor", "integrity_depth",
)  # fmt: skip
"""Numbers of hammer, stresses and integrity, in this order."""

CASE = (
    "proportionality", "damping_factor", "total_resistance", "case_resistance", "case_resistance_maximum",
    "case_resistance_toe_at_rest", "case_resistance_unloading", "shaft_share",
)  # fmt: skip
"""Numbers of the Case method, in this order."""

DONE = {
    "reject": "not taken to stand for the drive, nor for its resistance",
    "warning": "kept in the tables; passed over for the representative blow where others are sound",
    "note": "kept and used",
}
"""What was done about the blows of a finding, by its severity."""


def trust_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on the records."""
    blocks, system = [answer(trust_sentence(review))], review.sheet.display_units
    for drive in review.drives:
        name = drive_words(drive)
        blocks.append(heading(f"{name.capitalize()}: findings on {len(drive.table):,} blows"))
        blocks.append(_findings(drive, system) if drive.findings else note("Nothing was found by any check."))
        if drive.representative is None:
            blocks.append(text("No blow is sound enough to stand for this drive."))
            continue
        chosen = drive.representative
        reasons = "".join(f" {sentence(reason)}" for reason in choice_reasons(chosen, system))
        blocks.append(text(f"Blow {chosen.blow} stands for this drive. {RULES[chosen.rule]}{reasons}"))
        if f"blow_{drive.name}" in figures:
            matched = "; dotted: upward wave computed by signal matching" if drive.match else ""
            caption = f"{name.capitalize()}, blow {chosen.blow}: force and impedance × velocity above, the two waves"
            blocks.append(picture(f"{caption} below{matched}.", f"blow_{drive.name}"))
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
    return rows(["", "check", "what was found", "what was done", "what to do"], cells, [0, 0.9, 2.4, 1.4, 1.6], "lllll")


def _done(finding: Finding, numbers) -> str:
    if not finding.blows:
        return "nothing; it concerns the drive as a whole"
    return f"{blow_words(finding.blows, len(numbers))}: {DONE[finding.at_blow]}"


def delivery_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on hammer, stresses and integrity."""
    system = review.sheet.display_units
    blocks = [answer(" ".join(stress_sentences(review))), heading("Highest stress of every drive against its limit")]
    cells = []
    for drive in review.drives:
        for sense, code in STRESSES:
            if not drive.table[code].notna().any():
                continue
            row, limit = drive.table.loc[drive.table[code].idxmax()], getattr(review.limits, sense)
            value = show(code, row[code], system)
            above = limit.value is not None and row[code] > limit.value
            cells.append([
                drive_words(drive), NAMES[code].words, {"warning": f"{value}, above"} if above else value,
                f"{int(row['blow'])}", "not known" if limit.value is None else show(code, limit.value, system),
                reference(code),
            ])  # fmt: skip
    head = ["drive", "stress", "highest", "in blow", "limit", "from"]
    blocks.append(rows(head, cells, [1, 2.2, 1, 0.6, 0.8, 0.6], "llrrrl"))
    blocks += [heading("The blows that stand for the drives"), *representative_blows(review.drives, DELIVERED, system)]
    for drive in review.drives:
        if f"profile_{drive.name}" in figures:
            alone = drive.match is not None and drive.every is None
            matched = "; diamond: resistance from signal matching" if alone else ""
            blocks.append(picture(f"{drive_words(drive).capitalize()}: every blow{matched}.", f"profile_{drive.name}"))
    return blocks


def resistance_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on resistance by the Case method and by signal matching."""
    system = review.sheet.display_units
    blocks = [answer(resistance_sentence(review, drive)) for drive in review.drives]
    blocks += [heading("Case method"), *representative_blows(review.drives, CASE, system)]
    matched = [drive for drive in review.drives if drive.match is not None]
    blocks.append(heading("Signal matching"))
    if not matched:
        reasons = {drive.match_problem for drive in review.drives} - {""}
        return [*blocks, note(sentence("; ".join(sorted(reasons)) or "no blow was matched"))]
    blocks += match_tables(matched, system)
    blocks += [note(sentence(_match_note(drive, system))) for drive in matched]
    if "shaft_resistance" in figures:
        caption = "Left: shaft resistance from matching, per length of pile. Right: static load–movement computed from"
        caption += " the matched soil; creep and any gain after the test are not in it."
        blocks.append(picture(caption, "shaft_resistance", "load_movement"))
    return blocks


def _match_note(drive: DriveReview, system: str) -> str:
    match = drive.match
    parts = [f"{drive_words(drive)}: {match.law} soil"]
    parts.append("fitted well" if match.fitted else "NOT fitted well enough for the numbers to mean anything")
    parts.append("the record tells shaft from toe" if match.separable else "the record does NOT tell shaft from toe")
    parts.append(
        "all of the resistance was mobilised" if match.fully_mobilised else "a LOWER BOUND: not all was mobilised"
    )
    if match.section is not None:
        left = f"a reduced section with {match.section.section_left:.2f} of the impedance left was fitted"
        depth, length = (show("integrity_depth", v, system) for v in (match.section.depth, match.section.length))
        parts.append(f"{left} {depth} below the gauges, {length} long")
    return "; ".join(parts)


def waiting_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on what changed while the pile waited."""
    answers = review.answers
    if not answers.setups:
        return [answer("Not measured: a restrike and an initial drive are needed.")]
    blocks = [answer(setup_sentence(setup)) for setup in answers.setups]
    cells = []
    for setup in answers.setups:
        first = [setup.restrike.replace("_", " "), show_wait(setup.wait)]
        for code, factor in setup.factors.items():
            spread = f"{factor.low:.2f} to {factor.high:.2f}" if factor.has_range else "–"
            cells.append([*first, NAMES[code].words, f"{factor.value:.2f}", spread, reference("setup_factor")])
            first = ["", ""]
    head = ["restrike", "waited", "ratio of", "restrike over end of drive", "range", "from"]
    blocks.append(rows(head, cells, [0.8, 0.8, 2, 1, 1, 0.5], "lllrrl"))
    for name, fade in answers.fades.items():
        course = "faded" if fade.fades else "did not fade beyond its scatter"
        blocks.append(note(
            f"{name.replace('_', ' ').capitalize()}: resistance {course} over its first {fade.span} blows; "
            f"{fade.lost_share:.0%} of the first blow's was lost (line through {fade.blows} sound blows, Theil–Sen)."
        ))  # fmt: skip
    for setup in answers.setups:
        if setup.cautions:
            blocks.append(cautions([about(setup.restrike, caution) for caution in setup.cautions]))
    if "initial_against_restrike" in figures:
        caption = "Initial drive against restrike, aligned at impact: the representative blows. What is higher in the"
        blocks.append(picture(f"{caption} upward wave before the toe's return is shaft.", "initial_against_restrike"))
    if "setup" in figures:
        law = answers.time_law
        words = f"Rate A = {law.rate.value:.2f} ({law.rate.low:.2f} to {law.rate.high:.2f}) from t₀ = "
        words += f"{show_wait(law.reference_time)}, {reference('resistance over time')}; {law.method}."
        blocks.append(picture(f"Resistance against the time waited. {words}", "setup"))
    return blocks


def criterion_blocks(review: Review, figures: Iterable[str]) -> list[Block]:
    """Give the section on the driving criterion."""
    found, system = review.answers.criterion, review.sheet.display_units
    blocks = [answer(criterion_sentence(review))]
    if found is None:
        return blocks
    blocks += [cautions(found.cautions)] if found.cautions else []
    if "criterion" in figures:
        caption = "Blows asked for at each stroke: the bearing graph of the matched pile and the calibrated hammer, the"
        caption += (
            f" measured blows, and the modified Gates formula ({reference('modified Gates formula')}), a sanity check."
        )
        blocks.append(picture(caption, "criterion"))
    cells = [
        [*criterion_cells(row, system)[:4], show("transferred_energy", row.transferred_energy, system),
         sentence(row.ruled_out)]
        for row in found.rows
    ]  # fmt: skip
    head = [*CRITERION_HEADS[:4], "energy", "ruled out because"]
    blocks.append(rows(head, cells, [0.7, 1.5, 1, 0.8, 0.9, 2.2], "rrrrrl"))
    hammer = found.calibrated
    blocks.append(note(
        "Computed by the wave equation with the soil of the matched blow. The hammer was calibrated by its "
        f"{hammer.cushion} and its efficiency of {hammer.hammer.efficiency:.2f} to the blow measured at a stroke of "
        f"{show('stroke', hammer.stroke, system)}: it gives {hammer.force_ratio:.3f} of the measured peak force and "
        f"{hammer.energy_ratio:.3f} of the measured transferred energy. From the last measured blows the graph reads "
        f"{show('matched_resistance', found.graph_resistance, system)}."
    ))  # fmt: skip
    return blocks
