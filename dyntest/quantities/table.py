"""Every quantity of every blow of a drive in one table."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from dyntest.conditioning.condition import Conditioned, Options, condition
from dyntest.conditioning.corrections import final_displacement
from dyntest.conditioning.judging import Finding, check_numbers, join, judge
from dyntest.hammer import Hammer
from dyntest.names import NAMES
from dyntest.pile import Pile
from dyntest.quantities import case_resistance as case
from dyntest.quantities import drive_findings as findings
from dyntest.quantities.case_resistance import suggested_damping
from dyntest.quantities.energy_and_motion import (
    bending_ratio,
    energy_ratio,
    peak_displacement,
    proportionality,
    shaft_resistance_before_return,
    shaft_share,
    transferred_energy,
)
from dyntest.quantities.integrity import Integrity, integrity
from dyntest.quantities.log_match import LogMatch, match_log
from dyntest.quantities.pile_calibration import (
    MOST_BLOWS,
    CalibrationEvidence,
    PileCalibration,
    calibration_evidence,
    pile_calibration,
)
from dyntest.quantities.stresses import peak_compression_stress, peak_gauge_stress, peak_tension, toe_compression_stress
from dyntest.quantities.stroke import OPEN_END_DIESEL, blow_rate, stroke_from_blow_rate
from dyntest.reading.logs import DrivingLog
from dyntest.signals import AveragedTraces, Signals


def blow_quantities(
    conditioned: Conditioned, pile: Pile, damping_factor: float, factor_for_maximum: float
) -> tuple[dict[str, np.ndarray], Integrity]:
    """Give every quantity of each blow by its name in code."""
    waves = conditioned.waves
    force, velocity, step = waves.force, waves.velocity, waves.time_step
    down, up, onset, peak, back = waves.down, waves.up, waves.onset, waves.first_peak, waves.return_time
    record = (down, up, peak, back, step)
    total = case.total_resistance(*record)
    shaft = shaft_resistance_before_return(up, onset, back, step)
    tension, tension_share = peak_tension(down, up, back, step)
    found = integrity(down, up, onset, peak, back, step, pile.length)
    gauges = conditioned.gauge_strain
    nothing = np.full(len(force), np.nan)
    bending = [] if gauges is None else [bending_ratio(gauges, peak, pair) for pair in conditioned.strain_pairs]
    known = np.isfinite(factor_for_maximum)
    return {
        "peak_force": force.max(axis=1),
        "peak_velocity": velocity.max(axis=1),
        "peak_compression_stress": peak_compression_stress(force, pile.area),
        "peak_gauge_stress": nothing if gauges is None else peak_gauge_stress(gauges, pile.modulus),
        "toe_compression_stress": toe_compression_stress(*record, shaft, pile.toe_area),
        "peak_tension_stress": tension / pile.area,
        "peak_tension_depth": tension_share * pile.length,
        "transferred_energy": transferred_energy(force, velocity, step),
        "total_resistance": total,
        "case_resistance": case.case_resistance(*record, damping_factor),
        "case_resistance_maximum": case.case_resistance_maximum(*record, factor_for_maximum) if known else nothing,
        "case_resistance_toe_at_rest": case.case_resistance_toe_at_rest(*record),
        "case_resistance_unloading": case.case_resistance_unloading(*record, damping_factor),
        "shaft_share": shaft_share(shaft, total),
        "integrity_factor": found.integrity_factor,
        "integrity_depth": found.integrity_depth,
        "proportionality": proportionality(force, velocity, waves.impedance, peak),
        **dict(zip(("bending_ratio", "bending_ratio_other"), bending or [nothing], strict=False)),
        "peak_displacement": peak_displacement(velocity, step),
        "final_displacement": final_displacement(velocity, step),
    }, found


CHUNK = 64
"""Blows conditioned and computed together [1]: few enough for their arrays to stay in the processor's cache."""


@dataclass(frozen=True)
class DriveTable:
    """The quantities of every blow of a drive and what was found on the way.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a blow; columns are names in code, in SI; not a number where there is none.
    findings : tuple of Finding
        On the records themselves, and then on log, damping factor, damage and stroke.
    damping_source : str
        Whose damping factor it is: ``"engineer"``, ``"soil at the toe"`` or ``"none"``.
    calibration : PileCalibration
        Wave speed and strain gain by the blows themselves.
    """

    table: pd.DataFrame
    findings: tuple[Finding, ...]
    damping_source: str
    calibration: PileCalibration


def drive_table(
    signals: Signals | AveragedTraces,
    pile: Pile,
    hammer: Hammer | None = None,
    *,
    options: Options | None = None,
    damping_factor: float | None = None,
    for_maximum: float | None = None,
    toe_soil: str | None = None,
    log: DrivingLog | None = None,
    first_blow: int | None = None,
    kind: str = "initial",
    penetration_at_start: float | None = None,
    chunk: int = CHUNK,
) -> DriveTable:
    """Give every quantity of every blow, and what was found on the way.

    Parameters
    ----------
    signals : Signals or AveragedTraces
        Records of a drive.
    pile : Pile
        The pile.
    hammer : Hammer or None
        The hammer, for energy ratios and for the stroke of an open-end diesel.
    options : Options or None
        What the engineer chose about conditioning; a set that it brings goes before the log's.
    damping_factor : float or None
        The engineer's Case damping factor J, or one calibrated by matching [1].
    for_maximum : float or None
        J of the maximum Case resistance [1]; None: `damping_factor`, or what the soil at the toe suggests.
    toe_soil : str or None
        Soil at the toe, which suggests a factor where the engineer gave none.
    log : DrivingLog or None
        The driving log.
    first_blow : int or None
        Number in the drive of the first blow that was recorded [1], to lay the log against the records.
    kind : str
        ``"initial"`` or ``"restrike"``: which blows of the log were recorded where it counts more than the records.
    penetration_at_start : float or None
        Penetration of the toe at the start [m], held against the log; for every blow where records and log have none.
    chunk : int
        Blows computed together [1]; the values do not depend on it.

    Returns
    -------
    DriveTable
        Table, findings, and whose damping factor it is.

    Raises
    ------
    InputError
        If the records cannot be conditioned, see `dyntest.conditioning.condition.condition`.

    Notes
    -----
    Equation, validity and source of each column stand in the function of `dyntest.quantities` that computes it,
    such as ``max ∫F·v dt`` for the transferred energy (definition). A value that the record does not reach is not a
    number.
    """
    options = Options() if options is None else options
    logged = match_log(log, signals.blow, first_blow, kind, penetration_at_start)
    if options.set_per_blow is None and logged.certain and np.isfinite(logged.set_per_blow).any():
        options = replace(options, set_per_blow=logged.set_per_blow)
    suggested = suggested_damping(toe_soil) if damping_factor is None else None
    factor = suggested.damping_factor if suggested else np.nan if damping_factor is None else damping_factor
    if for_maximum is None:
        for_maximum = suggested.factor_for_maximum if suggested else factor

    penetration = _penetration(signals, logged, penetration_at_start)

    parts, reflections, measures = [], [], []
    evidence: list[CalibrationEvidence] = []
    apart = -(-signals.n_blows // MOST_BLOWS)
    for records, chosen in _chunks(replace(signals, penetration=penetration), options, chunk):
        conditioned = condition(records, pile, chosen)
        part, reflection = blow_quantities(conditioned, pile, factor, for_maximum)
        parts.append(part)
        reflections.append(reflection)
        measures.append(check_numbers(records, conditioned, pile, chosen.set_per_blow))
        some = slice(-chunk * len(evidence) % apart, None, apart)
        depth = None if records.penetration is None else records.penetration[some]
        evidence.append(calibration_evidence(conditioned.waves.take(some), pile, depth))
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    found = Integrity(*(np.concatenate(column) for column in zip(*map(_columns, reflections), strict=True)))
    columns |= {"blow": signals.blow, "damping_factor": np.full(signals.n_blows, factor)}
    columns |= {"damping_factor_maximum": np.full(signals.n_blows, for_maximum)}
    columns |= _hammer_columns(signals, hammer, logged, columns["transferred_energy"])
    columns |= {"set_per_blow": logged.set_per_blow if options.set_per_blow is None else options.set_per_blow}
    columns |= {"penetration": penetration}
    calibration = pile_calibration(CalibrationEvidence.join(evidence), pile)
    gauges = judge(join(measures))
    found, reflected = findings.integrity_findings(found, signals.blow, pile, gauges)
    columns |= {"integrity_factor": found.integrity_factor, "integrity_depth": found.integrity_depth}
    noted = [
        *gauges,
        *findings.number_finding(signals.n_blows),
        *findings.stream_findings(signals),
        *findings.factor_findings(signals),
        *logged.findings,
        *findings.uniform_finding(pile),
        *findings.damping_finding(damping_factor, suggested, toe_soil, signals.n_blows),
        *reflected,
        *findings.geometry_findings(penetration, pile, signals.blow),
        *findings.wave_speed_finding(calibration),
        *findings.stroke_finding(columns["stroke"], logged.stroke),
        *findings.energy_finding(hammer, columns["energy_ratio"]),
    ]
    if signals.penetration is not None:
        noted += findings.depth_finding(signals.penetration, logged.penetration, signals.blow)
    table = pd.DataFrame({name: columns[name] for name in NAMES if name in columns})
    source = "engineer" if damping_factor is not None else "soil at the toe" if suggested else "none"
    return DriveTable(table, tuple(noted), source, calibration)


def _columns(found: Integrity) -> tuple[np.ndarray, ...]:
    """Give the arrays of an integrity in the order of its fields."""
    return tuple(getattr(found, field.name) for field in fields(found))


def _chunks(
    signals: Signals | AveragedTraces, options: Options, chunk: int
) -> Iterator[tuple[Signals | AveragedTraces, Options]]:
    """Give the records slice by slice, with the options cut alike."""
    for start in range(0, max(signals.n_blows, 1), chunk):
        rows = slice(start, start + chunk)
        known = options.set_per_blow
        yield signals.take(rows), replace(options, set_per_blow=None if known is None else known[rows])


def _hammer_columns(
    signals: Signals | AveragedTraces, hammer: Hammer | None, logged: LogMatch, energy: np.ndarray
) -> dict[str, np.ndarray]:
    """Give clock, blow rate, stroke (of an open-end diesel from its blow rate, else the log's) and energy ratios."""
    nothing = np.full(signals.n_blows, np.nan)
    clock = nothing if signals.clock is None else signals.clock
    rate = blow_rate(clock, signals.blow)
    from_rate = hammer is not None and hammer.kind == OPEN_END_DIESEL and bool(np.isfinite(rate).any())
    stroke = stroke_from_blow_rate(rate) if from_rate else logged.stroke
    rated = None if hammer is None else hammer.rated_energy
    against_stroke = energy_ratio(energy, hammer.ram_weight * stroke) if hammer else nothing
    return {
        "clock": clock,
        "blow_rate": rate,
        "stroke": stroke,
        "energy_ratio": energy_ratio(energy, rated) if rated else against_stroke,
        "energy_ratio_stroke": against_stroke,
    }


def _penetration(signals: Signals | AveragedTraces, logged: LogMatch, penetration_at_start: float | None) -> np.ndarray:
    """Give the penetration of the records, else of the log, else the one that stands for the whole drive."""
    if signals.penetration is not None:
        return signals.penetration
    if np.isfinite(logged.penetration).any():
        return logged.penetration
    return np.full(signals.n_blows, np.nan if penetration_at_start is None else penetration_at_start)
