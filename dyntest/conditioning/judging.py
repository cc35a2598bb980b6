"""All checks on a record, and what lies beyond their limits; to add a check is to add a function and a line here.

Each channel: dead, clipped, swapped sign, noise, offset, spikes, strain not returning. Pairs on opposite faces:
bending, accelerometers disagree, time lag between gauges. All gauges of a kind: a single gauge, pairs that disagree.
Force and velocity: proportionality, lag, quiet part, length of the record, time of the toe return, rest at the end,
movement. Each accelerometer: drift. `dyntest.presenting.finding_words` has a sentence for each.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dyntest.conditioning import channel_measures as channel
from dyntest.conditioning import settling_measures as settling
from dyntest.conditioning import wave_measures as wave
from dyntest.conditioning.channel_measures import gather_channels, sound
from dyntest.conditioning.condition import Conditioned
from dyntest.conditioning.findings import Check, Finding, judge_check
from dyntest.conditioning.gas import LEAST_GAS
from dyntest.conditioning.settling_measures import gather_record
from dyntest.pile import Pile
from dyntest.signals import AveragedTraces, Signals, opposite_pairs


def _channel_checks(kind: str) -> tuple[Check, ...]:
    shared = (
        Check("dead channel", channel.smallest_response, channel.DEAD[kind], "below", "reject", kind),
        Check("dead channel", channel.share_of_twin, channel.DEAD_SHARE, "below", "reject", "share of twin"),
        Check("clipped channel", channel.clipped_samples, channel.CLIPPED_SAMPLES - 1, "above", "reject"),
        Check("swapped sign", channel.sign, channel.SIGN_LIMIT, "below", "reject"),
        Check("noisy channel", channel.noise_ratio, channel.NOISE_LIMIT, "above", "warning"),
        Check("offset channel", channel.offset_ratio, channel.OFFSET_LIMIT[kind], "above", "warning"),
        Check("spikes", channel.spike_height, channel.SPIKE_SHARE, "above", "warning"),
    )
    if kind == "acceleration":
        return shared
    return (*shared, Check("strain not returning", channel.staying_strain, channel.STAYING_LIMIT, "above", "warning"))


CHANNEL_CHECKS = {kind: _channel_checks(kind) for kind in ("strain", "acceleration")}
"""Checks of one channel at a time, by kind."""

_BENDING = Check("bending", channel.apart, channel.BENDING_LIMIT, "above", "warning")
_VELOCITIES = Check("accelerometers disagree", channel.apart, channel.VELOCITY_LIMIT, "above", "warning")
_IN_TIME = Check("time lag between gauges", channel.apart_in_time, channel.TWINS_LIMIT, "above", "warning")

PAIR_CHECKS = {"strain": (_BENDING, _IN_TIME), "acceleration": (_VELOCITIES, _IN_TIME)}
"""Checks of two channels of a kind on opposite faces against each other."""

_GAUGES, _PAIRS = channel.gauges_on_opposite_faces, channel.pairs_apart

KIND_CHECKS = {
    "strain": (
        Check("single strain gauge", _GAUGES, 2, "below", "warning"),
        Check("strain gauge pairs disagree", _PAIRS, channel.PAIRS_LIMIT, "above", "warning"),
    ),
    "acceleration": (
        Check("single accelerometer", _GAUGES, 2, "below", "note"),
        Check("accelerometer pairs disagree", _PAIRS, channel.PAIRS_LIMIT, "above", "warning"),
    ),
}
"""Checks of all channels of a kind together."""

_SHAFT = (wave.high_proportionality_with_shaft, wave.HIGHEST_WITH_SHAFT)

RECORD_CHECKS = (
    Check("proportionality", wave.slip_of_units, wave.UNIT_LIMIT, "above", "reject", "unit"),
    Check("proportionality", wave.low_proportionality, wave.LOWEST_PROPORTIONALITY, "below", "warning", "low"),
    Check("proportionality", wave.high_proportionality, wave.HIGHEST_PROPORTIONALITY, "above", "warning", "high"),
    Check("proportionality", *_SHAFT, "above", "warning", "high with shaft"),
    Check("lag", wave.lag_size, wave.LAG_LIMIT, "above", "warning"),
    Check("no quiet part", wave.quiet_time, wave.QUIET_LIMIT, "below", "reject"),
    Check("no quiet part", wave.tension_at_rest, wave.TENSION_AT_REST, "above", "warning", "tension at rest"),
    Check("gas before impact", wave.gas_share, LEAST_GAS, "above", "note"),
    Check("record too short for the toe return", wave.returns_recorded, wave.RETURN_LIMIT, "below", "reject"),
    Check("record too short for the unloading", wave.unloading_recorded, wave.UNLOADING_LIMIT, "below", "warning"),
    Check("toe return", wave.toe_return, wave.EARLY_LIMIT, "below", "warning", "early"),
    Check("toe return", wave.toe_return, wave.LATE_LIMIT, "above", "warning", "late"),
    Check("toe return", wave.slip_of_length, 0.0, "above", "warning", "unit of length"),
    Check("velocity not settling", settling.restlessness, settling.RESTLESS_LIMIT, "above", "warning"),
    Check("displacement not settling", settling.wandering, settling.WANDERING_LIMIT, "above", "warning", "wandering"),
    Check("displacement not settling", settling.end_over_peak, settling.RISING_LIMIT, "below", "warning", "rising"),
    Check("set against record", settling.set_difference, settling.SET_LIMIT, "above", "warning"),
    Check("small movement", wave.movement, wave.MOVEMENT_LIMIT, "below", "warning"),
)
"""Checks on force and velocity."""

DRIFT_CHECK = Check("drift", settling.drift_ratio, settling.DRIFT_LIMIT, "above", "warning")
"""The check on what was taken off each accelerometer."""


__all__ = ["Finding", "Measures", "check_numbers", "find", "join", "judge"]


@dataclass(frozen=True)
class Measures:
    """The numbers of every check, not yet judged, so that those of chunks can be put together.

    Parameters
    ----------
    blow : numpy.ndarray
        Blow numbers, shape (n_blows,) [1].
    checks : tuple of (Check, str)
        Each check with the channel it looks at, or with an empty text.
    numbers : tuple of numpy.ndarray
        The numbers of each check, shape (n_blows,) each [SI unit of the check].
    """

    blow: np.ndarray
    checks: tuple[tuple[Check, str], ...]
    numbers: tuple[np.ndarray, ...]


def check_numbers(
    signals: Signals | AveragedTraces, conditioned: Conditioned, pile: Pile, set_per_blow: np.ndarray | None = None
) -> Measures:
    """Give the numbers of every check for some blows.

    A pure function of each blow alone, so a long drive can be walked in chunks and put together with `join`.

    Units: set_per_blow [m].
    """
    found: list[tuple[Check, str, np.ndarray]] = []
    comparable = np.ones(signals.n_blows, dtype=bool)
    if isinstance(signals, Signals):
        for kind, names in (("strain", signals.strain_names), ("acceleration", signals.acceleration_names)):
            places = opposite_pairs(len(names))
            pairs = [gather_channels(kind, signals, conditioned, pair) for pair in places]
            for check in CHANNEL_CHECKS[kind]:
                for place, pair in zip(places, pairs, strict=True):
                    values = check.measure(pair)
                    found += [(check, names[channel], values[:, i]) for i, channel in enumerate(place)]
            for check in PAIR_CHECKS[kind]:
                for place, pair in zip(places, pairs, strict=True):
                    who = " and ".join(names[channel] for channel in place)
                    found.append((check, who, check.measure(pair, conditioned.waves)))
            found += [(check, "", check.measure(pairs, conditioned.waves.first_peak)) for check in KIND_CHECKS[kind]]
            for pair in pairs:
                comparable &= sound(pair)
    record = gather_record(conditioned, pile, comparable, signals.penetration, set_per_blow)
    done: dict[Callable[..., np.ndarray], np.ndarray] = {}
    for check in RECORD_CHECKS:
        if check.measure not in done:
            done[check.measure] = check.measure(record)
        found.append((check, "", done[check.measure]))
    if isinstance(signals, Signals):
        values = DRIFT_CHECK.measure(record)
        found += [(DRIFT_CHECK, name, values[:, i]) for i, name in enumerate(signals.acceleration_names)]
    return Measures(signals.blow, tuple((c, who) for c, who, _ in found), tuple(numbers for _, _, numbers in found))


def join(parts: Sequence[Measures]) -> Measures:
    """Put the numbers of chunks of one drive together."""
    numbers = tuple(np.concatenate(each) for each in zip(*[part.numbers for part in parts], strict=True))
    return Measures(np.concatenate([part.blow for part in parts]), parts[0].checks, numbers)


def judge(measures: Measures) -> tuple[Finding, ...]:
    """Hold the numbers of a whole drive against the limits."""
    findings = (
        judge_check(check, numbers, measures.blow, gauge)
        for (check, gauge), numbers in zip(measures.checks, measures.numbers, strict=True)
    )
    return tuple(finding for finding in findings if finding is not None)


def find(
    signals: Signals | AveragedTraces, conditioned: Conditioned, pile: Pile, set_per_blow: np.ndarray | None = None
) -> tuple[Finding, ...]:
    """Give everything the engineer must know about a record before trusting it.

    Parameters
    ----------
    signals : Signals or AveragedTraces
        Raw records of a whole drive.
    conditioned : Conditioned
        What was made of them.
    pile : Pile
        The pile.
    set_per_blow : numpy.ndarray or None
        Set from the log, shape (n_blows,) [m]; not a number, or None, where unknown.

    Returns
    -------
    tuple of Finding
        One finding for each check and channel that has blows beyond its limit; empty for a clean record.

    Notes
    -----
    Each check gives one number a blow, held against a named limit of `dyntest.conditioning.judging`, beside which
    its source stands; most limits are common practice, no source. A warning on no more than a few blows is only
    noted.

    Examples
    --------
    >>> from dyntest.conditioning.condition import condition
    >>> from dyntest.pile import PilePart
    >>> pile = Pile("example", "steel", (PilePart(15.0, 0.01, 210e9, 7850.0),))
    >>> time = np.arange(2000) * 50e-6
    >>> rise = np.where((time > 5e-3) & (time < 9e-3), np.sin(np.pi * (time - 5e-3) / 4e-3) ** 2, 0.0)
    >>> strain = np.stack([1e-3 * rise, 0.0 * rise])[None]
    >>> acceleration = np.tile(1e-3 * np.gradient(rise, 50e-6) * pile.wave_speed, (1, 2, 1))
    >>> record = Signals("example", np.array([1]), time, strain, acceleration)
    >>> finding = find(record, condition(record, pile), pile)[0]
    >>> finding.check, finding.severity, finding.gauge, finding.blows, finding.threshold
    ('dead channel', 'reject', 'strain_2', (1,), 1e-05)
    """
    return judge(check_numbers(signals, conditioned, pile, set_per_blow))
