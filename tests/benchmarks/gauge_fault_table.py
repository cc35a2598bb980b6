"""How often each fault of the gauges is found, and how often it is raised where there is none.

    python tests/benchmarks/gauge_fault_table.py [PILES [SEED]]

Piles, ground and hammers are invented (simulated_structures.py) and the records computed, so what is wrong with them
is known. Each pile is struck a few times at different strokes; its gauges have bending, noise, zero lines and scales
as sound ones have them. Then one fault is put into one channel at a time, in several strengths, and every blow counts:
found, if the check that is named for the fault names that blow (and, for a fault of one channel, that channel). On the
sound records every check that names a blow is a false one.

The stated strength (*) is about what does harm that the limits of the checks aim at; a weaker fault than the limit is
not to be raised. A record whose pile in truth still moves at its end is not counted as sound for the checks that say
so, and a wrong length in the sheet is looked for only where the sound record shows a clear return from the toe.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
from scipy.signal import butter, sosfiltfilt

sys.path.insert(0, str(Path(__file__).parent))
from simulated_structures import invent, strike

from dyntest.conditioning.condition import FEWEST_SAMPLES, Options, condition
from dyntest.conditioning.corrections import rest_samples
from dyntest.conditioning.impact import shift
from dyntest.conditioning.judging import find
from dyntest.conditioning.settling_measures import RESTLESS_LIMIT, WANDERING_LIMIT
from dyntest.conditioning.wave_measures import QUIET_LIMIT, RETURN_LIMIT, UNLOADING_LIMIT
from dyntest.pile import Pile
from dyntest.signals import Signals

PILES, BLOWS, SEED = 150, 6, 31
DURATION, RATES, QUIET = 0.088, (10e3, 20e3, 50e3), (2e-3, 8e-3)  # s, Hz, s
RECORDER_BAND = 2500.0
"""Corner of the invented recorder's filter [Hz]; contacts and slips of the simulator are sudden, recorders are not."""

FOUND_AT_LEAST, FALSE_AT_MOST = 0.95, 0.01
"""What is aimed at: found at the stated strength, and raised on sound records [1]."""

TRULY = 0.9
"""A pile that in truth moves at the end of its record by this share of a limit may be said to move [1]."""

NO_FAULT = ("small movement", "set against record")
"""Checks on pile, ground and log and not on gauges; they are counted beside the others."""


@dataclass(frozen=True)
class Case:
    """The sound records of one pile."""

    pile: Pile
    signals: Signals
    sets: np.ndarray
    unsettled: dict[str, set[int]]
    rng: np.random.Generator


@dataclass(frozen=True)
class Fault:
    """A fault: what it does to records in which strength, and the check that shall find it."""

    name: str
    check: str
    change: Callable[[Case, float], Signals | Case]
    strengths: tuple[float, ...]
    stated: float
    unit: str
    channel: str | None = None


def sound_case(number: int, seed: int = SEED) -> Case:
    """Give the records of an invented pile with sound gauges."""
    structure = invent(number, seed)
    rng = np.random.default_rng([seed, number, 1])
    stroke = structure.stroke * rng.uniform(0.85, 1.1, BLOWS)
    time, force, velocity, sets = strike(structure.mesh, structure.soil.repeated(BLOWS), structure.hammer, stroke)
    recorder = butter(2, RECORDER_BAND, fs=1.0 / structure.mesh.time_step, output="sos")
    force, velocity = (sosfiltfilt(recorder, trace, axis=0) for trace in (force, velocity))
    step, quiet = 1.0 / rng.choice(RATES), rng.uniform(*QUIET)
    grid = np.arange(int(DURATION / step)) * step - quiet
    force, velocity = (np.array([np.interp(grid, time, t, left=0.0) for t in all_.T]) for all_ in (force, velocity))
    strain = force / (structure.pile.modulus * structure.pile.area)
    acceleration = np.gradient(velocity, step, axis=1)
    shape = (BLOWS, 2, len(grid))
    bending = np.clip(0.08 * rng.standard_normal(), -0.18, 0.18) * np.array([1.0, -1.0])[:, None]
    scale = 1.0 + 0.012 * rng.standard_normal((2, 2, 1))
    strains = strain[:, None] * scale[0] * (1.0 + bending)
    strains = strains + 1e-6 * (5.0 * rng.standard_normal((BLOWS, 2, 1)) + 1.2 * rng.standard_normal(shape))
    moved = 0.8 * rng.standard_normal((BLOWS, 2, 1)) * (grid > 0)
    accelerations = acceleration[:, None] * scale[1] + moved
    accelerations = accelerations + 2.0 * rng.standard_normal((BLOWS, 2, 1)) + 6.0 * rng.standard_normal(shape)
    depth = np.full(BLOWS, structure.embedded)
    signals = Signals("simulated", np.arange(1, BLOWS + 1), grid, strains, accelerations, penetration=depth)
    return Case(structure.sheet_pile, signals, sets, _unsettled(velocity, step), rng)


def _unsettled(velocity: np.ndarray, step: float) -> dict[str, set[int]]:
    """Give the blows in which the pile truly still moves at the end of the record: to say so is not false."""
    displacement = np.cumsum(velocity, axis=1) * step
    end = slice(-rest_samples(velocity.shape[1]), None)
    swing = np.sqrt(np.square(velocity[:, end]).mean(axis=1)) / velocity.max(axis=1)
    wander = np.ptp(displacement[:, end], axis=1) / displacement.max(axis=1)
    beyond = {
        "velocity not settling": swing > TRULY * RESTLESS_LIMIT,
        "displacement not settling": wander > TRULY * WANDERING_LIMIT,
    }
    return {check: set((np.flatnonzero(which) + 1).tolist()) for check, which in beyond.items()}


def findings(case: Case, signals: Signals | None = None):
    """Give what is found on the records of a case, or on spoilt ones."""
    records = case.signals if signals is None else signals
    return find(records, condition(records, case.pile, Options(set_per_blow=case.sets)), case.pile, case.sets)


def _of_channel(kind: str, change, case: Case, strength: float) -> Signals:
    traces = getattr(case.signals, kind).copy()
    traces[:, 0] = change(traces[:, 0], strength, case)
    return replace(case.signals, **{kind: traces})


def _largest(trace: np.ndarray) -> np.ndarray:
    return np.abs(trace - np.median(trace, axis=1, keepdims=True)).max(axis=1, keepdims=True)


def _clip(trace: np.ndarray, samples: float, case: Case) -> np.ndarray:
    """Cut off the highest so many samples in a row, and at least a twentieth of the peak."""
    windows = np.lib.stride_tricks.sliding_window_view(trace, int(samples), axis=1)
    level = np.minimum(windows.min(axis=-1).max(axis=1), 0.95 * trace.max(axis=1))
    return np.minimum(trace, level[:, None])


def _noise(trace: np.ndarray, share: float, case: Case) -> np.ndarray:
    return trace + share * _largest(trace) * case.rng.standard_normal(trace.shape)


def _spike(trace: np.ndarray, share: float, case: Case) -> np.ndarray:
    spoilt = trace.copy()
    place = case.rng.integers(5, trace.shape[1] - 5, len(trace))
    sign = case.rng.choice([-1.0, 1.0], len(trace))
    spoilt[np.arange(len(trace)), place] += sign * share * _largest(trace)[:, 0]
    return spoilt


def _slip(trace: np.ndarray, share: float, case: Case) -> np.ndarray:
    return trace + share * _largest(trace) * (case.signals.time > 0.02)


def _zero_shift(trace: np.ndarray, share: float, case: Case) -> np.ndarray:
    """Let the zero move at impact so that the velocity is off by a share of its peak at the end of the record."""
    peak = condition(case.signals, case.pile).waves.velocity.max(axis=1, keepdims=True)
    return trace + share * peak / case.signals.time[-1] * (case.signals.time > 0)


def _velocity_swing(case: Case, share: float) -> Signals:
    """Let the velocity swing at 60 Hz from the rebound on, with a root mean square of a share of its peak."""
    peak = condition(case.signals, case.pile).waves.velocity.max(axis=1)
    return _swing(case, np.sqrt(2.0) * share * peak, 60.0)


def _displacement_swing(case: Case, share: float) -> Signals:
    """Let the displacement swing at 45 Hz, from end to end by a share of its peak."""
    waves = condition(case.signals, case.pile).waves
    peak = (np.cumsum(waves.velocity, axis=1) * waves.time_step).max(axis=1)
    return _swing(case, 0.5 * share * peak * 2 * np.pi * 45.0, 45.0)


def _swing(case: Case, velocity: np.ndarray, frequency: float) -> Signals:
    turning = 2 * np.pi * frequency * (case.signals.time - 0.01)
    swing = velocity[:, None, None] * 2 * np.pi * frequency * np.cos(turning) * (turning > 0)
    return replace(case.signals, acceleration=case.signals.acceleration + swing)


def _all_of(kind: str, case: Case, factor: float) -> Signals:
    return replace(case.signals, **{kind: factor * getattr(case.signals, kind)})


def _one_late(kind: str, case: Case, delay: float) -> Signals:
    """Let one gauge come late by so many milliseconds."""
    samples = np.full(BLOWS, -delay * 1e-3 / case.signals.time_step)
    return _of_channel(kind, lambda trace, *_: shift(trace, samples), case, delay)


def _one_early(kind: str, case: Case, delay: float) -> Signals:
    return _one_late(kind, case, -delay)


def _exchanged(case: Case, _: float) -> Signals:
    """Exchange the first strain and the first acceleration."""
    strain, acceleration = case.signals.strain.copy(), case.signals.acceleration.copy()
    strain[:, 0], acceleration[:, 0] = case.signals.acceleration[:, 0], case.signals.strain[:, 0]
    return replace(case.signals, strain=strain, acceleration=acceleration)


def _late(case: Case, share: float) -> Signals:
    """Let the strain come late by a share of the rise, or of 1.5 ms where that is longer."""
    waves = condition(case.signals, case.pile).waves
    rise = float(np.median(waves.first_peak - waves.onset)) * waves.time_step
    delay = share * max(rise, 1.5e-3)
    return replace(case.signals, strain=shift(case.signals.strain, np.full(BLOWS, -delay / waves.time_step)))


def _cut(case: Case, begin: int, end: int | None) -> Signals:
    part, signals = slice(begin, end), case.signals
    return replace(
        signals, time=signals.time[part], strain=signals.strain[..., part], acceleration=signals.acceleration[..., part]
    )


def _late_start(case: Case, after: float) -> Signals:
    return _cut(case, _start(case, after), None)


def _start(case: Case, after: float) -> int:
    """Give the sample that lies so many milliseconds after the onset of the earliest blow."""
    begin = int(condition(case.signals, case.pile).waves.onset.min())
    return max(begin + round(after * 1e-3 / case.signals.time_step), 0)


def _early_end(case: Case, returns: float) -> Signals:
    return _cut(case, 0, _end(case, returns))


def _end(case: Case, returns: float) -> int:
    """Give the sample that lies so many 2L/c after the first peak of the latest blow."""
    peak = int(condition(case.signals, case.pile).waves.first_peak.max())
    return max(peak + round(returns * case.pile.return_time / case.signals.time_step), FEWEST_SAMPLES)


def _other_length(case: Case, factor: float) -> Case:
    part = case.pile.parts[0]
    return replace(case, pile=replace(case.pile, parts=(replace(part, length=factor * part.length),)))


def faults() -> list[Fault]:
    """Give every fault with its strengths, the stated one among them."""
    both = []
    for kind, word in (("strain", "strain"), ("acceleration", "accelerometer")):
        of = partial(partial, _of_channel, kind)
        name = f"{kind}_1"
        offset = (0.07, 0.15, 0.3) if kind == "strain" else (0.03, 0.08, 0.2)
        both += [
            Fault(f"dead {word}", "dead channel", of(lambda x, s, c: s * x), (0.0, 0.03, 0.10), 0.03, "of twin", name),
            Fault(f"clipped {word}", "clipped channel", of(_clip), (3, 6, 12), 6, "samples", name),
            Fault(f"swapped {word}", "swapped sign", of(lambda x, s, c: -s * x), (1.0,), 1.0, "times", name),
            Fault(f"noisy {word}", "noisy channel", of(_noise), (0.02, 0.05, 0.1), 0.05, "of peak", name),
            Fault(
                f"{word} off zero",
                "offset channel",
                of(lambda x, s, c: x + s * _largest(x)),
                offset,
                offset[1],
                "of peak",
                name,
            ),
            Fault(f"spike on {word}", "spikes", of(_spike), (0.07, 0.2, 0.5), 0.2, "of peak", name),
        ]
    for kind, word in (("strain", "strain"), ("acceleration", "accelerometer")):
        name, apart = f"{kind}_1", "time lag between gauges"
        turned = partial(_all_of, kind)
        both += [
            Fault(f"both {word}s swapped", "swapped sign", turned, (-1.0,), -1.0, "times", name),
            Fault(f"one {word} late", apart, partial(_one_late, kind), (0.1, 0.3, 1.0), 0.3, "ms"),
            Fault(f"one {word} early", apart, partial(_one_early, kind), (0.1, 0.3, 1.0), 0.3, "ms"),
        ]
    strain = partial(partial, _of_channel, "strain")
    acceleration = partial(partial, _of_channel, "acceleration")
    return [
        *both,
        Fault("columns exchanged", "dead channel", _exchanged, (1.0,), 1.0, "pair", "acceleration_1"),
        Fault("strain slips", "strain not returning", strain(_slip), (0.1, 0.25, 0.5), 0.25, "of peak", "strain_1"),
        Fault("bending", "bending", strain(lambda x, s, c: s * x), (1.5, 2.5, 4.0), 2.5, "times twin"),
        Fault(
            "accelerometers disagree",
            "accelerometers disagree",
            acceleration(lambda x, s, c: s * x),
            (1.1, 1.3, 1.6),
            1.3,
            "times twin",
        ),
        Fault("both strains too small", "proportionality", partial(_all_of, "strain"), (0.9, 0.7, 0.5), 0.7, "times"),
        Fault("both strains too large", "proportionality", partial(_all_of, "strain"), (1.1, 1.35, 1.8), 1.35, "times"),
        Fault(
            "acceleration in g as m/s²", "proportionality", partial(_all_of, "acceleration"), (0.102,), 0.102, "times"
        ),
        Fault("strain late", "lag", _late, (0.05, 0.15, 0.3), 0.15, "of rise"),
        Fault("strain early", "lag", lambda c, s: _late(c, -s), (0.05, 0.15, 0.3), 0.15, "of rise"),
        Fault(
            "zero shift at impact",
            "drift",
            acceleration(_zero_shift),
            (0.1, 0.3, 0.6),
            0.3,
            "of peak",
            "acceleration_1",
        ),
        Fault("velocity unsettled", "velocity not settling", _velocity_swing, (0.1, 0.3, 0.5), 0.3, "of peak"),
        Fault(
            "displacement unsettled",
            "displacement not settling",
            _displacement_swing,
            (0.1, 0.4, 0.6),
            0.4,
            "of peak",
        ),
        Fault("record begins in the blow", "no quiet part", _late_start, (-0.5, 0.1, 0.5), 0.1, "ms"),
        Fault("no toe return", "record too short for the toe return", _early_end, (0.95, 0.8, 0.5), 0.8, "of 2L/c"),
        Fault("no unloading", "record too short for the unloading", _early_end, (1.9, 1.5, 1.2), 1.5, "of 2L/c"),
        Fault("length in sheet too small", "toe return", _other_length, (0.95, 0.8), 0.8, "times"),
        Fault("length in sheet too large", "toe return", _other_length, (1.05, 1.25), 1.25, "times"),
    ]


def found_blows(fault: Fault, found) -> set[int]:
    """Give the blows that a fault was found on."""
    named = [f for f in found if f.check == fault.check and (fault.channel is None or f.gauge == fault.channel)]
    return {blow for finding in named for blow in finding.blows}


def count(
    piles: int = PILES, seed: int = SEED
) -> tuple[list[tuple[Fault, float, float, int]], dict[str, tuple[float, float]]]:
    """Give the share of blows that each fault was found on, and that each check was raised on in sound records.

    Parameters
    ----------
    piles : int
        Number of piles [1].
    seed : int
        Draws them [1].

    Returns
    -------
    found : list of (Fault, float, float, int)
        Fault, strength, share of the blows [1] and how many blows could be judged [1].
    false : dict of str to (float, float)
        Share of the blows and of the piles that a check was raised on [1].
    """
    cases = [sound_case(number, seed) for number in range(piles)]
    on_sound = [findings(case) for case in cases]
    checks = sorted({f.check for found in on_sound for f in found} | {fault.check for fault in faults()})
    false = {}
    for check in checks:
        raised = [{b for f in found if f.check == check for b in f.blows} for found in on_sound]
        blows = [named - case.unsettled.get(check, set()) for named, case in zip(raised, cases, strict=True)]
        false[check] = (sum(map(len, blows)) / (piles * BLOWS), sum(map(bool, blows)) / piles)
    rows = []
    for fault in faults():
        for strength in fault.strengths:
            clear = [_judgeable(fault, case, strength) for case in cases]
            hits = 0
            for case, blows in zip(cases, clear, strict=True):
                spoilt = fault.change(case, strength)
                found = findings(spoilt) if isinstance(spoilt, Case) else findings(case, spoilt)
                hits += len(found_blows(fault, found) & blows)
            judged = sum(map(len, clear))
            rows.append((fault, strength, hits / judged if judged else np.nan, judged))
    return rows, false


def _judgeable(fault: Fault, case: Case, strength: float) -> set[int]:
    """Give the blows in which the fault can show: all, but for a wrong length where no toe return is clear.

    Blows of one record begin at different samples, so that a cut spares some of them.
    """
    blows = set(case.signals.blow.tolist())
    step, limits = case.signals.time_step, {"no toe return": RETURN_LIMIT, "no unloading": UNLOADING_LIMIT}
    if fault.name in limits:
        peak = condition(case.signals, case.pile).waves.first_peak
        left = (_end(case, strength) - 1 - peak) * step / case.pile.return_time
        return set(case.signals.blow[left < limits[fault.name]].tolist())
    if fault.check == "no quiet part":
        quiet = (condition(case.signals, case.pile).waves.onset - _start(case, strength)) * step
        return set(case.signals.blow[quiet < QUIET_LIMIT].tolist())
    if fault.check != "toe return":
        return blows
    from dyntest.conditioning.wave_measures import toe_return_ratio

    waves = condition(case.signals, case.pile).waves
    ratio = toe_return_ratio(
        waves.down, waves.up, waves.onset, waves.first_peak, waves.time_step, case.pile.return_time
    )
    return {blow for blow, clear in zip(case.signals.blow.tolist(), np.isfinite(ratio), strict=True) if clear}


def table(piles: int = PILES, seed: int = SEED) -> str:
    """Give both tables as text."""
    rows, false = count(piles, seed)
    lines = [f"{piles} piles of {BLOWS} blows", "", f"{'fault':28}{'strength':>20}{'found':>9}{'blows':>7}"]
    for fault, strength, share, judged in rows:
        mark = " *" if strength == fault.stated else ""
        short = "   short of the aim" if mark and share < FOUND_AT_LEAST else ""
        amount = f"{strength:g} {fault.unit}"
        lines.append(f"{fault.name:28}{amount:>20}{share:>9.1%}{judged:>7}{mark}{short}")
    lines += ["", "* stated strength", "", f"{'raised on sound records':38}{'blows':>8}{'piles':>8}"]
    for check, (of_blows, of_piles) in false.items():
        note = (
            "   of pile, ground or log" if check in NO_FAULT else "   above the aim" if of_blows > FALSE_AT_MOST else ""
        )
        lines.append(f"{check:38}{of_blows:>8.1%}{of_piles:>8.1%}{note}")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(*map(int, sys.argv[1:])))
